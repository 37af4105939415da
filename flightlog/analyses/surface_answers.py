"""What the aircraft does when a surface is told to move: lag, gain, play, limit cycles."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from statistics import NormalDist

import numpy as np

from flightlog.analyses.surface_data import Surface, Told
from flightlog.analyses.surface_motion import Motion, other_outputs
from flightlog.analyses.surface_travel import CONFIDENCE
from flightlog.estimation.frames import Array
from flightlog.estimation.linkage_play import WIDEST_PLAY_DEG
from flightlog.estimation.surface_answer import STEP_S, Answered, answer_to_surface
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Aircraft, Baseline
from flightlog.uncertain import NORMAL_95, Posterior, Uncertain

MOST_PLAY_DEG = 1.0
"""Play beyond this asks for work, unless the aircraft file has its own limit. [deg]"""

SLOWER_S = 0.03
WEAKER = 0.25
"""A lag longer than the baseline by this, or a gain lower by this share. [s], [-]"""

ENOUGH_IMU_HZ, ENOUGH_OUTPUTS_HZ = 200.0, 25.0
"""From these rates on, a flight without signs of play excludes it. [Hz]"""

PLAY_STD_DEG = 0.2
"""Standard uncertainty of a width beyond that of the fit: commands between the logged ones, a
servo's own dead band, and the steps of the widths. [deg]"""

_ENOUGH = (
    f"log the inertial sensor at {ENOUGH_IMU_HZ:.0f} Hz, outputs at {ENOUGH_OUTPUTS_HZ:.0f} Hz"
)
_RATE_TOLERANCE = 0.9
_SLOWEST_OUTPUTS_S = 0.15
_LEAST_IMU_HZ, _LEAST_OUTPUTS_HZ = 90.0, 16.0
_CLEAR = 10.0
_UNIT_DEVIATES = np.array([NormalDist().inv_cdf((k + 0.5) / 15) for k in range(15)])
_LAG_DEVIATES = np.array([NormalDist().inv_cdf((k + 0.5) / 201) for k in range(201)])
_AXES = {"roll": 0, "pitch": 1, "yaw": 2}


def axis_of(surface: Surface) -> str | None:
    """Give the axis that a surface turns the aircraft about by its name; None for a flap."""
    words = surface.name.lower()
    turns = ("aileron", "roll"), ("ruddervator", "pitch"), ("rudder", "yaw"), ("elevator", "pitch")
    for word, axis in turns:
        if word in words:
            return axis
    # Either panel of a V tail and a stabilator pitches; "left tail" yaws as well, but less alone.
    return "pitch" if "tail" in words or "stabil" in words else None


PLAY_RAISED_AT = 0.75
"""Probability of more play than the limit from which on it is told. To move a surface by hand
costs a minute, and a linkage that wears on may cost the aircraft; sound flights stay far below.
[-]"""

_LATEST_S, _LEAST_S = 0.12, 60.0
# The widest gap that was tried lets the surface follow the air alone: where that explains the
# turning best, it is the model that does not fit the aircraft.
_UNFIT_DEG = 0.85 * WIDEST_PLAY_DEG
_UNFIT = (
    f"no width up to {WIDEST_PLAY_DEG:.0f} deg explains how the aircraft turns; "
    "move the surface by hand to feel for play"
)


def answers(
    surfaces: Mapping[int, Told],
    pulses: Mapping[int, tuple[Array, Array]],
    motion: Motion | None,
    why_no_motion: str,
    aircraft: Aircraft,
) -> Answer:
    """Give lag, gain and play of every surface.

    Parameters
    ----------
    surfaces : mapping of int to Told
        The surfaces, by channel.
    pulses : mapping of int to (array, array)
        Times [s] and pulses [us] of every output, those that drive no surface too.
    motion : Motion or None
        How the aircraft moved.
    why_no_motion : str
        What to say without.
    aircraft : Aircraft
        Limits, senses and baseline.
    """
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings: list[Finding] = []
    for told in surfaces.values():
        surface = told.surface
        lag, gain, play = (surface.figure(what) for what in ("lag", "gain", "play"))
        answered, why = _answered(told, pulses, motion, why_no_motion)
        if answered is None:
            withheld.update(dict.fromkeys((lag, gain, play), why))
            continue
        delay = _lag(lag, answered, told.step_s)
        early = delay if isinstance(delay, str) else ""
        if isinstance(delay, str):
            withheld[lag] = delay
        else:
            figures[lag] = delay
        if not surface.points:
            withheld.update(dict.fromkeys((gain, play), surface.needs_points))
            continue
        figures[gain] = _gain(gain, answered, _turns(surface))
        found, worn = _play(told, answered, aircraft)
        slow = _too_slow(told, motion)
        if found is not None and found.quantity.value > _UNFIT_DEG:
            withheld[play] = _UNFIT
            worn = None
        elif found is not None and early:
            withheld[play] = early
            worn = None
        elif found is not None and answered.lag_s > _LATEST_S:
            withheld[play] = (
                f"the aircraft answers {answered.lag_s:.2f} s after the command, too late for play "
                "to be told from a slow servo or a log of two clocks"
            )
            worn = None
        elif found is not None and (worn is not None or not slow):
            figures[play] = found
        else:
            withheld[play] = f"{' and '.join(slow)}; {_ENOUGH}"
        long = motion is not None and motion.grid_s.size * STEP_S >= _LEAST_S
        findings += [worn] if worn is not None and long else []
        findings += _slower(surface, answered, figures, aircraft.baseline)
    findings += _not_excluded(surfaces.values(), motion, why_no_motion, findings)
    return Answer(figures, withheld, tuple(findings))


def _turns(surface: Surface) -> int:
    """Sign of the turning rate about its axis that a positive deflection brings."""
    words = surface.name.lower()
    return 1 if "aileron" in words and "left" in words else -1


def _answered(
    told: Told,
    pulses: Mapping[int, tuple[Array, Array]],
    motion: Motion | None,
    why_no_motion: str,
) -> tuple[Answered | None, str]:
    axis = axis_of(told.surface)
    if axis is None:
        return None, "it turns the aircraft about no single axis"
    if motion is None:
        return None, why_no_motion
    if told.step_s > _SLOWEST_OUTPUTS_S:
        return None, (
            f"outputs were logged at {1 / told.step_s:.1f} Hz, which is too slow; "
            f"log them at {ENOUGH_OUTPUTS_HZ:.0f} Hz"
        )
    if float(np.diff(told.time_s).max()) > 0.05 * told.length_s:
        return None, "outputs were not logged for too much of the flight"
    angle = told.deflection_deg
    command = np.interp(motion.grid_s, told.time_s, told.pulse_us if angle is None else angle)
    others = [*motion.rates.T, *motion.force.T, motion.pressure]
    others += other_outputs(told, pulses, motion.grid_s, command)
    worth = (
        angle is not None
        and motion.imu_hz >= _LEAST_IMU_HZ
        and told.step_s * _LEAST_OUTPUTS_HZ <= 1
    )
    # Lift shows the angle of the air before the wing and the tail, side force that at the fin.
    air = motion.force[:, 1 if axis == "yaw" else 2] / motion.pressure if worth else None
    answered = answer_to_surface(
        motion.rates[:, _AXES[axis]], command, others, motion.pressure, air
    )
    if answered is None or answered.significance < _CLEAR:
        return None, f"the flight does not show how the aircraft's {axis} answers it"
    return answered, ""


def _lag(figure: str, answered: Answered, step_s: float) -> Figure | str:
    """How late the aircraft turns, or why what was found can't be that.

    Nothing answers before it is told. What is found below 0 comes from the noise of the fit and
    from commands that were logged too seldom, so an interval that reaches below 0 begins there,
    and its upper end stays. One that lies below 0 as a whole comes from two clocks.

    A servo that follows gradually is found later than at once, and less late than its time
    constant: the quick moves tell most of the delay, and these it follows with atan(w T) / w.
    """
    # Whether a command was held until the next row, or went on changing, the log does not tell.
    std = math.hypot(answered.lag_std_s, step_s / math.sqrt(12))
    latest = answered.lag_s + NORMAL_95 * std
    if latest < 0:
        return (
            f"the aircraft seems to turn {-answered.lag_s:.3f} s before it is told to: outputs and "
            "inertial sensor are stamped by two clocks; log both with the time of the board"
        )
    spread = np.maximum(answered.lag_s + std * _LAG_DEVIATES, 0.0)
    return Figure(
        figure,
        Posterior.from_samples(spread, None, "s"),
        "delay that fits the turning acceleration best, 0.15 to 6 Hz; never below 0",
        ("outputs", "imu"),
    )


def _gain(figure: str, answered: Answered, turns: int) -> Figure:
    return Figure(
        figure,
        Uncertain.of(turns * answered.gain, answered.gain_std, "1/s", source="fit"),
        "turning rate 0.3 s after a step, for each degree, at the speed flown; "
        "positive where it turns the way that it should",
        ("outputs", "imu"),
    )


def _play(
    told: Told, answered: Answered, aircraft: Aircraft
) -> tuple[Figure | None, Finding | None]:
    surface = told.surface
    id_ = surface.figure("play")
    if not answered.widths_deg.size:
        return None, None
    width = play_posterior(answered)
    limit = _limit(aircraft, id_)
    figure = Figure(
        id_,
        width,
        "width of the gap that explains the turning acceleration best, "
        f"0 to {WIDEST_PLAY_DEG:.0f} deg equally likely before; a gap that the air load keeps shut "
        "throughout is not seen",
        ("outputs", "imu"),
    )
    sure = 1 - width.probability_below(limit)
    if sure < PLAY_RAISED_AT:
        return figure, None
    low, high = width.interval()
    return figure, make_finding(
        "surface-play",
        f"Output {surface.channel} ({surface.name}): the turning of the aircraft shows "
        f"{width.value:.1f} deg of play ({low:.1f} to {high:.1f}) between command and surface, "
        f"more than {limit:g} deg.",
        evidence={
            "channel": surface.channel,
            "play_deg": width.value,
            "low_deg": low,
            "high_deg": high,
            "limit_deg": limit,
            "probability": sure,
        },
    )


def play_posterior(answered: Answered) -> Posterior:
    """Widths and their probabilities, with what the fit does not know; never below 0. [deg]"""
    likely = answered.probability > 1e-6 * float(answered.probability.max())
    width, weight = answered.widths_deg[likely], answered.probability[likely]
    spread = np.maximum(width[:, None] + PLAY_STD_DEG * _UNIT_DEVIATES, 0.0)
    return Posterior.from_samples(spread, np.repeat(weight, _UNIT_DEVIATES.size), "deg")


def _limit(aircraft: Aircraft, figure: str) -> float:
    """The limit of the aircraft file where it has one in degrees. [deg]"""
    written = aircraft.limits.get(figure, {})
    bound, unit = written.get("at_most"), written.get("unit", "deg")
    if isinstance(bound, int | float) and not isinstance(bound, bool) and math.isfinite(bound):
        if unit == "deg":
            return float(bound)
        if unit == "rad":
            return math.degrees(bound)
    return MOST_PLAY_DEG


def _slower(
    surface: Surface,
    answered: Answered,
    figures: Mapping[str, Figure],
    baseline: Mapping[str, Baseline],
) -> list[Finding]:
    """Compare lag and gain with what they were."""
    why = []
    evidence: dict[str, float | int | str] = {"channel": surface.channel}
    lag, gain = (figures.get(surface.figure(what)) for what in ("lag", "gain"))
    before = baseline.get(surface.figure("lag"))
    if lag is not None and before is not None:
        # One logger writes its rows in one way, in the baseline's flights as in this one.
        own = math.hypot(answered.lag_std_s, before.spread)
        risen = Uncertain.of(lag.quantity.value - before.value, own, "s", source="flights")
        if 1 - risen.probability_below(SLOWER_S) >= CONFIDENCE:
            why.append(f"{1000 * risen.value:.0f} ms later than on sound flights")
            evidence |= {"lag_risen_s": risen.value, "lag_risen_std_s": risen.std}
    before = baseline.get(surface.figure("gain"))
    if gain is not None and before is not None and before.value > 0:
        left = Uncertain(
            gain.quantity.value / before.value,
            {"fit": gain.quantity.std / before.value, "flights": before.spread / before.value},
        )
        if left.probability_below(1 - WEAKER) >= CONFIDENCE:
            why.append(f"with {100 * left.value:.0f} % of the turning rate of sound flights")
            evidence |= {"gain_left": left.value, "gain_left_std": left.std}
    if not why:
        return []
    text = (
        f"After output {surface.channel} ({surface.name}) moves, the aircraft answers "
        f"{' and '.join(why)}."
    )
    return [make_finding("surface-slow", text, evidence=evidence)]


def _too_slow(told: Told, motion: Motion | None) -> list[str]:
    """Rates of the log that are too low to exclude play."""
    slow = []
    if motion is not None and motion.imu_hz < _RATE_TOLERANCE * ENOUGH_IMU_HZ:
        slow.append(f"the inertial sensor was logged at {motion.imu_hz:.0f} Hz")
    if told.step_s * _RATE_TOLERANCE * ENOUGH_OUTPUTS_HZ > 1:
        slow.append(f"outputs were logged at {1 / told.step_s:.0f} Hz")
    return slow


def _not_excluded(
    surfaces: Iterable[Told],
    motion: Motion | None,
    why_no_motion: str,
    findings: list[Finding],
) -> list[Finding]:
    """Say once that play can't be excluded, where the log is too slow or lacks a sensor.

    Where a linkage was never measured, the withheld figure asks for that first.
    """
    worn = {f.evidence.get("channel") for f in findings if f.code == "surface-play"}
    names, why = [], []
    for told in surfaces:
        surface = told.surface
        slow = [why_no_motion] if motion is None else _too_slow(told, motion)
        if surface.points and axis_of(surface) and slow and surface.channel not in worn:
            names.append(surface.name)
            why += [reason for reason in slow if reason not in why]
    if not names:
        return []
    text = f"Play in linkages ({', '.join(names)}) cannot be excluded: {' and '.join(why)}; "
    return [make_finding("not-excluded", text + _ENOUGH, evidence={"fault": "surface-play"})]
