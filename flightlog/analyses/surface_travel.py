"""How far and how often surfaces are moved: ends of travel, reversals, trim."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.surface_data import Surface, Told, means_about, series
from flightlog.analyses.track import Window
from flightlog.estimation.deflection import REVERSAL_BAND_DEG, TABLE_STD_DEG, reversals, travel
from flightlog.estimation.frames import Array
from flightlog.figures import Figure
from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.estimation.path import FlightPath
    from flightlog.inputs import Baseline
    from flightlog.recording import Recording

AT_END_US = 5.0
"""Nearer to an end of the travel than this is at the end. [us]"""

MOST_SATURATED = 0.02
LONGEST_SATURATED_S = 0.5
LAST_S = 20.0
"""At an end for more than this share of the flight, or as long at once, or at all in so many
seconds before touchdown: there is no travel left for the next gust. [-], [s], [s]"""

MOST_SHIFT_DEG = 2.0
"""A trim further than this from the baseline asks for a look at linkage, horn and balance. [deg]"""

CONFIDENCE = 0.95

TURNING_DEG_S = 5.0
BANK_DEG = 5.0
CLIMB_M_S = 0.7
"""Steady level flight turns, banks and climbs less than this. [deg/s], [deg], [m/s]"""

_STEADY_S = 5.0
_LONGEST_S = 1e5
_STEP_S = 0.2
_SLOWEST_STEP_S = 1.0
_NEAR_END_US = 50.0
_OFF_END_US = 10.0


@dataclass(frozen=True, slots=True)
class Steady:
    """Stretches of steady level flight.

    Attributes
    ----------
    time_s : array
        Times in them, evenly spaced within each. [s]
    part : array of int
        Which stretch each time lies in.
    """

    time_s: Array
    part: NDArray[np.intp]


_SET = ("flap", "spoiler", "brake")  # put to an end and left there


def saturation(told: Told, window: Window) -> tuple[Figure, Iterator[Finding]]:
    """Share of the airborne time at an end of the travel, and whether that is too much.

    Parameters
    ----------
    told : Told
        Pulses.
    window : Window
        Airborne.
    """
    surface, pulse = told.surface, told.pulse_us
    low, high = surface.ends_us
    # A sample holds until the next one, but not over a hole in the log.
    holds = np.minimum(np.diff(told.time_s, append=told.time_s[-1] + told.step_s), 5 * told.step_s)
    at_end = (pulse >= high - AT_END_US) | (pulse <= low + AT_END_US)
    whole = float(holds.sum())
    share = float(holds[at_end].sum()) / whole
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at_end.astype(int), [0]])))
    begun, ended = edges[::2], edges[1::2]
    # Every end of a stay lies somewhere between two samples; with none, one may have been missed.
    std = told.step_s * math.sqrt(max(1, edges.size) / 12) / whole
    given = "of the aircraft file" if surface.points else "1000 and 2000 us: no table of travel"
    nearest = float(np.minimum(high - pulse, pulse - low).min())
    never = f"; never within {_NEAR_END_US:.0f} us of them" if nearest > _NEAR_END_US else ""
    beyond = f"; went {-nearest:.0f} us beyond" if nearest < -_OFF_END_US else ""
    figure = Figure(
        surface.figure("saturation"),
        Uncertain.of(share, std, "", source="sampling"),
        f"within {AT_END_US:.0f} us of the ends {given} ({low:.0f} and {high:.0f} us)"
        f"{never}{beyond}",
        ("outputs",),
    )
    stays = [
        (float(told.time_s[a]), float(told.time_s[b - 1] + holds[b - 1]))
        for a, b in zip(begun, ended, strict=True)
    ]
    return figure, _saturated(told, share, std, stays, window)


def _saturated(
    told: Told, share: float, std: float, stays: list[tuple[float, float]], window: Window
) -> Iterator[Finding]:
    longest = max((b - a for a, b in stays), default=0.0)
    landed = not window.missing.endswith("ends in the air")
    late = window.end_s - LAST_S
    before_touchdown = sum(max(0.0, b - max(a, late)) for a, b in stays) if landed else 0.0
    why: list[str] = []
    if any(word in told.surface.name.lower() for word in _SET):
        return
    if share - 1.645 * std > MOST_SATURATED:
        why.append(f"{100 * share:.1f} % of the flight")
    if longest - told.step_s > LONGEST_SATURATED_S:
        why.append(f"{longest:.1f} s at once")
    if before_touchdown > 0:
        why.append(f"{before_touchdown:.1f} s of the last {LAST_S:.0f} s before touchdown")
    if not why:
        return
    yield make_finding(
        "surface-saturated",
        f"{_named(told.surface)} was at an end of its travel for {', '.join(why)}.",
        evidence={
            "channel": told.surface.channel,
            "share": share,
            "longest_s": longest,
            "before_touchdown_s": before_touchdown,
        },
        start_s=stays[0][0],
        end_s=stays[-1][1],
    )


def _named(surface: Surface) -> str:
    return f"Output {surface.channel} ({surface.name})"


def moves(told: Told) -> tuple[dict[str, Figure], dict[str, str]]:
    """Reversals and travel a second."""
    surface, angle = told.surface, told.deflection_deg
    ids = [surface.figure("reversals"), surface.figure("travel")]
    if angle is None:
        return {}, dict.fromkeys(ids, surface.needs_points)
    if told.step_s > _SLOWEST_STEP_S:
        why = f"outputs every {told.step_s:.1f} s hide the moves between; log them at 10 Hz"
        return {}, dict.fromkeys(ids, why)
    length = max(told.length_s, told.step_s)
    # An error of the table stretches all moves alike.
    stretch = TABLE_STD_DEG * math.sqrt(2) / max(abs(p[1]) for p in surface.points)
    stretch = min(stretch, 0.5)
    count = reversals(angle)
    spread = abs(
        reversals(angle, REVERSAL_BAND_DEG * (1 - stretch))
        - reversals(angle, REVERSAL_BAND_DEG * (1 + stretch))
    )
    far = travel(angle) / length
    how = f"from outputs at {1 / told.step_s:.0f} Hz; moves between two samples are not in it"
    return {
        ids[0]: Figure(
            ids[0],
            Uncertain(
                count / length,
                {"linkage table": spread / 2 / length, "ends of the window": 0.5 / length},
                "1/s",
            ),
            f"{count} turning points in {length:.0f} s, {how}",
            ("outputs",),
        ),
        ids[1]: Figure(
            ids[1],
            Uncertain.of(far, stretch * far, "deg/s", source="linkage table"),
            f"{far * length:.0f} deg in {length:.0f} s, {how}",
            ("outputs",),
        ),
    }, {}


# --- trim


def steady_flight(
    recording: Recording, window: Window, path: FlightPath | None
) -> tuple[Steady | None, str]:
    """Find steady level flight; without, say why."""
    gyro = series(
        recording.one("imu"),
        tuple(f"gyro_{a}_rad_s" for a in "xyz"),
        window.start_s,
        window.end_s,
    )
    bank = series(recording.get("attitude"), ("roll_rad",), window.start_s, window.end_s)
    if gyro is None or bank is None:
        return None, "steady level flight can't be told; log turning rates and attitude"
    if path is None or path.climb_m_s is None or path.time_s.size < 2:
        return None, "steady level flight can't be told without heights; log a barometer or GPS"
    length = window.length_s
    if not _STEADY_S < length < _LONGEST_S:
        return None, f"under {_STEADY_S:.0f} s of steady level flight"
    grid = np.arange(window.start_s, window.end_s, _STEP_S)
    turning = np.degrees(np.abs(means_about(*gyro, grid, 0.5)).max(axis=1))
    banked = np.degrees(np.abs(means_about(*bank, grid, 0.5))[:, 0])
    climb = np.abs(np.interp(grid, path.time_s, path.climb_m_s))
    steady = (turning < TURNING_DEG_S) & (banked < BANK_DEG) & (climb < CLIMB_M_S)
    steady &= _near(gyro[0], grid) & _near(bank[0], grid)
    if steady.sum() * _STEP_S < _STEADY_S:
        return None, (
            f"under {_STEADY_S:.0f} s of steady level flight (turning under {TURNING_DEG_S:.0f} "
            f"deg/s, bank under {BANK_DEG:.0f} deg, climb under {CLIMB_M_S:.1f} m/s)"
        )
    rows = np.flatnonzero(steady)
    return Steady(grid[rows], np.cumsum(np.diff(rows, prepend=rows[0]) > 1)), ""


def _near(time_s: Array, grid: Array) -> NDArray[np.bool_]:
    """Whether a sample lies within a second."""
    after = np.clip(np.searchsorted(time_s, grid), 1, time_s.size - 1)
    near: NDArray[np.bool_] = (
        np.minimum(np.abs(time_s[after] - grid), np.abs(grid - time_s[after - 1])) < 1.0
    )
    return near


def trim(
    told: Told, steady: Steady, baseline: Mapping[str, Baseline]
) -> tuple[dict[str, Figure], dict[str, str], list[Finding]]:
    """Median deflection in steady level flight, and how far it is from what it was.

    Parameters
    ----------
    told : Told
        Pulses.
    steady : Steady
        Where it is taken.
    baseline : mapping
        Of the aircraft file.
    """
    surface, angle = told.surface, told.deflection_deg
    trim_id, shift_id = surface.figure("trim"), surface.figure("trim_shift")
    if angle is None:
        return {}, dict.fromkeys((trim_id, shift_id), surface.needs_points), []
    if told.step_s > _SLOWEST_STEP_S:
        why = f"outputs every {told.step_s:.1f} s are too slow; log them at 10 Hz"
        return {}, dict.fromkeys((trim_id, shift_id), why), []
    value = np.interp(steady.time_s, told.time_s, angle)
    found = float(np.median(value))
    scatter = _scatter(value, steady)
    seconds = value.size * _STEP_S
    how = (
        f"median over {seconds:.0f} s of steady level flight in {steady.part[-1] + 1} parts, "
        "at the speed, mass and balance flown"
    )
    figures = {
        trim_id: Figure(
            trim_id,
            Uncertain(found, {"linkage table": TABLE_STD_DEG, "between parts": scatter}, "deg"),
            how,
            ("outputs", "imu", "attitude"),
        )
    }
    if (before := baseline.get(trim_id)) is None:
        return figures, {shift_id: _needs_baseline(trim_id)}, []
    # The table is the same one: its error cancels.
    shift = Uncertain(
        found - before.value, {"between parts": scatter, "between flights": before.spread}, "deg"
    )
    figures[shift_id] = Figure(shift_id, shift, f"{how}, less the baseline", ("outputs", "imu"))
    beyond = max(
        1 - shift.probability_below(MOST_SHIFT_DEG), shift.probability_below(-MOST_SHIFT_DEG)
    )
    if beyond < CONFIDENCE:
        return figures, {}, []
    finding = make_finding(
        "trim-shifted",
        f"{_named(surface)} flew steady and level at {found:+.1f} deg, {shift.value:+.1f} deg "
        f"(± {1.96 * shift.std:.1f}) from the {before.value:+.1f} deg of sound flights: linkage or "
        "horn has slipped, unless the balance, the load or the speed was another one.",
        evidence={
            "channel": surface.channel,
            "trim_deg": found,
            "shift_deg": shift.value,
            "shift_std_deg": shift.std,
        },
    )
    return figures, {}, [finding]


def _needs_baseline(figure: str) -> str:
    """Why a comparison is withheld."""
    return (
        f'needs [baseline] "{figure}" in the aircraft file; `flightlog trends --baseline` prints '
        "the lines"
    )


def _scatter(value: Array, steady: Steady) -> float:
    """Standard uncertainty of the median: the parts against each other, else seconds."""
    medians = np.array([np.median(value[steady.part == k]) for k in range(steady.part[-1] + 1)])
    lengths = np.bincount(steady.part)
    long = medians[lengths * _STEP_S >= 1.0]
    if long.size >= 3:
        return 1.2533 * float(long.std(ddof=1)) / math.sqrt(long.size)
    # Neighbours within a second or two agree.
    return 1.2533 * float(value.std()) / math.sqrt(max(1.0, value.size * _STEP_S / 2))
