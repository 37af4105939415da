"""Accelerometer and attitude against gravity: unit, sign, mounting, limit, sampling.

At rest the accelerometer feels what holds the aircraft up. In body axes (forward, right, down) that
is ``g (sin pitch, -sin roll cos pitch, -cos roll cos pitch)``, (0, 0, -9.81) when level.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from flightlog.constants import FOOT_M, G0_M_S2
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.recording import Recording
from flightlog.screening.context import FlightView, LogView
from flightlog.screening.series import unit_remedy
from flightlog.screening.signals import airborne, cut, rest_before

ACCEL = tuple(f"accel_{axis}_m_s2" for axis in "xyz")

UNITS = (
    (1 / G0_M_S2, "g"),
    (1000 / G0_M_S2, "thousandths of g"),
    (100.0, "cm/s²"),
    (1 / FOOT_M, "ft/s²"),
)
"""Reading at rest over what it would be in m/s², and the unit that it then is in."""

UNIT_TOLERANCE = 0.05
"""Zero and scale of an accelerometer that nobody calibrated: 0.4 m/s² and 3 %. [-]"""

SOUND_AT_REST = (0.9, 1.1)
SOUND_IN_FLIGHT = (0.6, 1.6)
"""Reading over one g that an accelerometer in m/s² shows: at rest within twice its errors, and
in the middle of a flight, which may be one long turn (60° of bank is 2 g). [-]"""

TILT_STOP_DEG = 5.0
"""Angle between gravity as felt and as the attitude has it, at rest: a zero that is off by
0.4 m/s² turns it by 2.3°, an attitude is good to 1°, and this is twice both together. [deg]"""

RESTS_ROLLED_DEG = 5.0
RESTS_PITCHED_DEG = 15.0
"""Attitudes in which no aircraft on level ground rests: wheels stand level across, and a tailwheel
lifts the nose by 8 to 15°. [deg]"""

LEAST_LIMIT_M_S2 = 1.9 * G0_M_S2
"""Accelerometers of autopilots end at 2 g or above. [m/s²]"""

FOLDING_RATE_HZ = 100.0
"""At this rate and above the usual motor (60 to 120 turns a second) folds into no slow motion that
means anything. [Hz]"""

SLOWEST_RATE_HZ = 15.0
"""Below this, samples differ by manoeuvres, and nobody reads vibration from them. [Hz]"""

LOUD_M_S2 = 1.0
"""Scatter from sample to sample from which on a slow IMU's means are not clean. [m/s²]"""

_LEAST_AT_LIMIT = 5
_BAND = 2e-3
_MOST_SAMPLES = 20_000
_UPSIDE_DOWN_DEG = 150.0


def felt_gravity(recording: Recording, window_s: tuple[float, float]) -> Array | None:
    """Median specific force in a window, forward, right, down; None with too few samples."""
    rows = cut(recording.one("imu"), ACCEL, window_s)
    if rows is None or rows[0].size < 10:
        return None
    values = rows[1][:: rows[0].size // _MOST_SAMPLES + 1]
    return np.asarray(np.median(values, axis=0))


def unit_of(ratio: float) -> str:
    """Unit that a reading over 9.81 at rest fits; "" when it fits none.

    Parameters
    ----------
    ratio : float
        Length of the specific force at rest over one g.
    """
    near = [(abs(ratio / factor - 1), name) for factor, name in UNITS]
    off, name = min(near)
    return name if off <= UNIT_TOLERANCE else ""


def accelerometer_unit(view: LogView) -> Iterator[Finding]:
    """Check length and sign of what the accelerometer feels: at rest where the log shows it."""
    rest = next((w for s in view.sorties if (w := rest_before(s)) is not None), None)
    window = rest or (-math.inf, math.inf)
    force = felt_gravity(view.recording, window)
    if force is None:
        yield from _left_out(view.recording)
        return
    ratio = float(np.linalg.norm(force)) / G0_M_S2
    low, high = SOUND_IN_FLIGHT if rest is None else SOUND_AT_REST
    when = "in the middle of the log" if rest is None else "at rest"
    if not low <= ratio <= high:
        yield _unit_finding(view.recording, ratio, when)
    elif force[2] > 0.5 * G0_M_S2 and not _inverted(view.recording, window):
        yield make_finding(
            "accelerometer-unit",
            f"The accelerometer reads {force[2]:+.2f} m/s² downwards {when}, where "
            f"{-G0_M_S2:.2f} is expected: its sign is turned round, or the board lies on its back.",
            evidence={"down_m_s2": float(force[2])},
            remedy=unit_remedy(view.recording),
        )


def _unit_finding(recording: Recording, ratio: float, when: str) -> Finding:
    unit = unit_of(ratio)
    looks = f"it looks like {unit}" if unit else "it fits no unit that is known"
    return make_finding(
        "accelerometer-unit",
        f"The accelerometer reads {ratio * G0_M_S2:.3g} {when}, where 9.81 m/s² is expected: "
        f"{looks}.",
        evidence={"reads": ratio * G0_M_S2, "ratio": ratio, "looks_like": unit},
        remedy=unit_remedy(recording),
    )


def _left_out(recording: Recording) -> Iterator[Finding]:
    """Speak of an axis that the importer left out because it can't be in m/s²."""
    for finding in recording.findings:
        middle = finding.evidence.get("imu.accel_z_m_s2.middle")
        if finding.code == "values-out-of-range" and middle is not None:
            yield _unit_finding(recording, abs(float(middle)) / G0_M_S2, "in the middle of the log")
            return


def _inverted(recording: Recording, window: tuple[float, float]) -> bool:
    """Whether the attitude has the aircraft on its back, which explains the sign."""
    rows = cut(recording.get("attitude"), ("roll_rad",), window)
    return rows is not None and bool(abs(np.median(rows[1])) > math.pi / 2)


@dataclass(frozen=True, slots=True)
class Tilt:
    """How the aircraft rests.

    Attributes
    ----------
    roll_deg, pitch_deg : float
        By the attitude. [deg]
    felt_roll_deg, felt_pitch_deg : float
        By what the accelerometer feels. [deg]
    apart_deg : float
        Angle between the two directions of gravity. [deg]
    """

    roll_deg: float
    pitch_deg: float
    felt_roll_deg: float
    felt_pitch_deg: float
    apart_deg: float


def tilt_at_rest(force: Array, roll_rad: float, pitch_rad: float) -> Tilt:
    """Compare what the accelerometer feels at rest with the attitude.

    Parameters
    ----------
    force : array, shape (3,)
        Specific force, forward, right, down; any unit.
    roll_rad, pitch_rad : float
        Attitude. [rad]
    """
    told = np.array(
        [
            math.sin(pitch_rad),
            -math.sin(roll_rad) * math.cos(pitch_rad),
            -math.cos(roll_rad) * math.cos(pitch_rad),
        ]
    )
    felt = force / float(np.linalg.norm(force))
    return Tilt(
        math.degrees(roll_rad),
        math.degrees(pitch_rad),
        math.degrees(math.atan2(-felt[1], -felt[2])),
        math.degrees(math.asin(float(np.clip(felt[0], -1, 1)))),
        math.degrees(math.acos(float(np.clip(felt @ told, -1, 1)))),
    )


def board_rotated(view: FlightView) -> Iterator[Finding]:
    """Compare gravity as felt with the attitude, while the aircraft stands before the roll.

    Where both agree that it rests tilted, the board may sit crooked and both be wrong together:
    only a person beside the aircraft can tell, so that is a note.
    """
    window = rest_before(view.sortie)
    if window is None:
        return
    force = felt_gravity(view.recording, window)
    rows = cut(view.recording.get("attitude"), ("roll_rad", "pitch_rad"), window)
    if force is None or rows is None or not np.linalg.norm(force) > 0:
        return
    roll, pitch = np.median(rows[1], axis=0)
    tilt = tilt_at_rest(force, float(roll), float(pitch))
    if tilt.apart_deg > _UPSIDE_DOWN_DEG:
        return  # a sign, and not a mounting: `accelerometer_unit`
    evidence = {
        "apart_deg": tilt.apart_deg,
        "roll_deg": tilt.roll_deg,
        "pitch_deg": tilt.pitch_deg,
        "felt_roll_deg": tilt.felt_roll_deg,
        "felt_pitch_deg": tilt.felt_pitch_deg,
    }
    if tilt.apart_deg > TILT_STOP_DEG:
        yield make_finding(
            "board-rotated",
            f"At rest gravity lies {tilt.apart_deg:.1f}° from where the attitude has it: the "
            f"accelerometer feels roll {tilt.felt_roll_deg:+.1f}° and pitch "
            f"{tilt.felt_pitch_deg:+.1f}°, the attitude says {tilt.roll_deg:+.1f}° and "
            f"{tilt.pitch_deg:+.1f}°.",
            evidence=evidence,
            start_s=view.sortie.start_s,
            end_s=view.sortie.end_s,
        )
    elif abs(tilt.roll_deg) > RESTS_ROLLED_DEG or abs(tilt.pitch_deg) > RESTS_PITCHED_DEG:
        yield make_finding(
            "board-rotated",
            f"The aircraft rests at roll {tilt.roll_deg:+.1f}° and pitch {tilt.pitch_deg:+.1f}° "
            "by attitude and accelerometer alike: if it stood level, the board sits crooked and "
            "every bank is off by as much.",
            severity="note",
            evidence=evidence,
            start_s=view.sortie.start_s,
            end_s=view.sortie.end_s,
            remedy="Look whether the aircraft stood level; if so, level the board again.",
        )


@dataclass(frozen=True, slots=True)
class Limit:
    """Where the readings of an axis pile up.

    Attributes
    ----------
    value : float
        The largest reading. [m/s²]
    count : int
        Samples at it.
    """

    value: float
    count: int


def find_limit(values: Array) -> Limit | None:
    """Find a limit at the upper end: readings pile up there instead of thinning out.

    Parameters
    ----------
    values : array
        Readings of one axis, finite. [m/s²]

    Notes
    -----
    Of a signal that is not cut off, each band of values holds about as many samples as those
    below it, or fewer. The end is a limit where its band holds at least five and exceeds the
    mean of the four bands below by five standard deviations of a Poisson count. A band is 0.2 %
    of the reading, or one step of a log in coarse steps.
    """
    if values.size < 10 * _LEAST_AT_LIMIT:
        return None
    top = float(values.max())
    if top < LEAST_LIMIT_M_S2:
        return None
    near = np.unique(values[values > top * (1 - 20 * _BAND)])
    step = float(np.min(np.diff(near))) if near.size > 1 else 0.0
    band = max(_BAND * top, step)
    count = int((values > top - band).sum())
    below = int(((values <= top - band) & (values > top - 5 * band)).sum()) / 4
    if count < _LEAST_AT_LIMIT or count - below <= 5 * math.sqrt(below + 1):
        return None
    return Limit(top, count)


def accelerometer_clipped(view: FlightView) -> Iterator[Finding]:
    """Find readings at the end of the accelerometer's range.

    Airborne and along the down axis they make the load factor a bound; elsewhere in the sortie
    they are told.
    """
    window = airborne(view.sortie)
    rows = cut(view.recording.one("imu"), ACCEL, (view.sortie.search_s[0], view.sortie.end_s))
    if rows is None:
        return
    time_s, force = rows
    flying = (time_s >= window[0]) & (time_s <= window[1])
    for sign, figure, bound in (
        (-1.0, "flight.max_load_factor", "at least"),
        (1.0, "flight.min_load_factor", "at most"),
    ):
        limit = find_limit(sign * force[flying, 2])
        if limit is not None:
            yield _clipped(view, limit, sign, figure, bound)
    for axis, name in enumerate(("forward", "right", "down")):
        for sign in (-1.0, 1.0):
            limit = find_limit(sign * force[~flying, axis])
            if limit is not None:
                yield make_finding(
                    "accelerometer-clipped",
                    f"The accelerometer stood at its limit of {sign * limit.value:.1f} m/s² "
                    f"{name} in {limit.count} samples on the ground.",
                    severity="note",
                    affects=("takeoff.*", "landing.*"),
                    evidence={"limit_m_s2": sign * limit.value, "samples": limit.count},
                    start_s=view.sortie.start_s,
                    end_s=view.sortie.end_s,
                )


def _clipped(view: FlightView, limit: Limit, sign: float, figure: str, bound: str) -> Finding:
    known = view.figures.get(figure)
    what = "greatest" if bound == "at least" else "least"
    told = f": the {what} load factor is {bound} {known.quantity.value:.2f}" if known else ""
    return make_finding(
        "accelerometer-clipped",
        f"The accelerometer stood at its limit of {sign * limit.value:.1f} m/s² "
        f"({limit.value / G0_M_S2:.1f} g) in {limit.count} samples while airborne{told}.",
        affects=(figure,),
        evidence={
            "limit_m_s2": sign * limit.value,
            "samples": limit.count,
            **({bound.replace(" ", "_"): known.quantity.value} if known else {}),
        },
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


def vibration_folds(view: FlightView) -> Iterator[Finding]:
    """Tell an IMU that is too slow for the motor's vibration: it folds into slower motion."""
    rows = cut(view.recording.one("imu"), ACCEL[2:], airborne(view.sortie))
    if rows is None or rows[0].size < 100:
        return
    time_s, force = rows
    step = float(np.median(np.diff(time_s)))
    if not 1 / FOLDING_RATE_HZ < 0.95 * step < 1 / SLOWEST_RATE_HZ:
        return
    scatter = 1.4826 * float(np.median(np.abs(np.diff(force[:, 0], 2)))) / math.sqrt(6)
    if scatter < LOUD_M_S2:
        return
    yield make_finding(
        "vibration-folds",
        f"The IMU was logged at {1 / step:.0f} Hz and scatters by {scatter:.1f} m/s² from sample "
        f"to sample: what shakes faster than {0.5 / step:.3g} Hz shows as slower motion.",
        evidence={"rate_hz": 1 / step, "scatter_m_s2": scatter},
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )
