"""Which way a surface really moves: the turning rate that follows a longer pulse.

Signs. Body axes point forward, right, down: roll rate is positive right wing down, pitch rate nose
up, yaw rate nose right. A surface moves the positive way when its trailing edge goes down, a
rudder's to the left. By that a positive elevator lifts the tail and puts the nose down, a positive
rudder pushes the tail right and the nose left, a positive right aileron lifts the right wing:
each turns the aircraft the *negative* way, and a positive left aileron the positive way.

Each panel of a V tail pitches and yaws: which way follows from the direction of its own force
(`flightlog.estimation.deflection.panel_turn`). Trailing edge down, either panel puts the nose
down; the left one puts it left on a V and right on an inverted V, the right one the other way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.deflection import panel_turn
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.context import FlightView
from flightlog.screening.signals import airborne, cut, means
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    import pandas as pd

HORIZON_S = 0.3
"""Span after a pulse over which the turning rate is averaged: the servo and the first answer of
the aircraft are in it, its next manoeuvre is not. [s]"""

CONFIDENT = 5.0
"""Standard uncertainties that the answer has to be from zero: made-up flights with a surface that
does nothing have shown up to 3.5, because a flight holds few manoeuvres."""

CONFIDENT_OF_RUDDER = 8.0
"""The same for a surface that is told by the yaw alone: air that comes from the side turns the
nose too, and the pilot answers with the rudder. Two of 200 made-up flights with a sound rudder
have shown 5.3 the wrong way. [-]"""

CONFIDENT_OF_PANEL = 4.5
"""The same for a panel of a V tail, both of its axes together. [-]"""

LATE_S = {0.1: 1.0, 0.2: 0.5}
"""Rows of outputs may be stamped so late, by a logger that writes them last. A wrong sense is told
only where it is clearer than the right one that comes out when that is allowed for; the less usual
delay counts half. [s], [-]"""

AXES = ("roll", "pitch", "yaw")

_LATER_S = 0.4
_STEP_S = 0.1
_SLOWEST_STEP_S = 0.25
_SLOWEST_IMU_S = 0.06
_PAST = 4
_SETTLED_S = 2.0
_LEAST_ROWS = 150
_LEAST_PULSE_US = 2.0
_PER_US = 400.0
_GYRO = tuple(f"gyro_{axis}_rad_s" for axis in "xyz")
_SIDE = "accel_y_m_s2"
_PANEL = "ruddervator"
_WAYS = {"roll": ("right", "left"), "pitch": ("nose up", "nose down"), "yaw": ("right", "left")}


@dataclass(frozen=True, slots=True)
class Surface:
    """What an output drives.

    Attributes
    ----------
    axis : int
        0 roll, 1 pitch, 2 yaw.
    turns : int
        Sign of the turning rate that its positive way brings.
    """

    axis: int
    turns: int


def surface_named(name: str) -> Surface | None:
    """Understand an output's name; None for what turns the aircraft about no single axis."""
    words = name.lower()
    if _PANEL in words:
        return None
    if "aileron" in words:
        return Surface(0, 1 if "left" in words else -1)
    if "elevator" in words:
        return Surface(1, -1)
    if "rudder" in words:
        return Surface(2, -1)
    return None


LEAST_DIHEDRAL_DEG = 10.0
"""A flatter tail yaws too little to tell by. [deg]"""


def panel_named(name: str, dihedral_deg: float | None) -> tuple[Surface, ...]:
    """Understand the name of a panel of a V tail: how it pitches, and how it yaws.

    Parameters
    ----------
    name : str
        "left tail", "right tail", "left ruddervator" ...; anything else is no panel, and gives
        nothing.
    dihedral_deg : float or None
        Tips up positive; None where the aircraft file does not say. [deg]
    """
    words = name.lower()
    sides = [side for side in ("left", "right") if side in words]
    named = "tail" in words or _PANEL in words
    if not named or "wheel" in words or len(sides) != 1 or dihedral_deg is None:
        return ()
    turn = panel_turn(right=sides[0] == "right", dihedral_deg=dihedral_deg)
    ways = [Surface(1, 1 if turn.pitch > 0 else -1)]
    if abs(dihedral_deg) >= LEAST_DIHEDRAL_DEG:
        ways.append(Surface(2, 1 if turn.yaw > 0 else -1))
    return tuple(ways)


def rate_responses(
    grid_s: Array,
    pulses: Mapping[int, Array],
    gyro: tuple[Array, Array],
    tilt: Array | None = None,
    horizons_s: tuple[float, ...] = (HORIZON_S,),
) -> dict[tuple[int, int], tuple[Uncertain, ...]]:
    """What each pulse does to each turning rate within a short while.

    Parameters
    ----------
    grid_s : array, shape (n,)
        Evenly spaced times. [s]
    pulses : mapping of int to array, shape (n,)
        Channel -> pulse at those times. [us]
    gyro : (array, shape (m,), array, shape (m, 3) or (m, 4))
        Times [s] and turning rates about forward, right, down [rad/s]; then, where it is known,
        the side force, which shows that the air comes from the side.
    tilt : array, shape (n, 2), optional
        Roll and pitch at those times. [rad]
    horizons_s : tuple of float, optional
        The mean rates over these spans after each time are explained. [s]

    Returns
    -------
    dict
        (channel, axis) -> change of the mean rate for a pulse 400 us longer, one for each
        horizon [rad/s]. Empty where there are too few rows.

    Notes
    -----
    An autopilot moves surfaces *because* the aircraft turns, so that pulse and rate at one time
    say nothing of cause. The mean rate after a time is therefore regressed on the pulse at that
    time and on everything that the pulse was made from: pulses, rates and side force of the 0.4 s
    before, and the attitude (direct identification in closed loop; Ljung, System Identification,
    1999, section 13.4). Neighbouring residuals agree, and those of manoeuvres are larger: the
    uncertainty allows for both (Newey and West, Econometrica 55, 1987).
    """
    span = float(np.median(np.diff(grid_s)))
    past = [(-k * span, (1 - k) * span) for k in range(1, _PAST + 1)]
    windows = past + [(0.0, horizon) for horizon in horizons_s]
    seen = _windowed(gyro, grid_s, windows)
    columns = list(pulses.values())
    columns += [_earlier(p, k) for k in range(1, _PAST + 1) for p in pulses.values()]
    columns += [seen[k, axis] for k in range(_PAST) for axis in range(seen.shape[1])]
    if tilt is not None:
        columns += [tilt[:, 0], tilt[:, 1]]
    x = np.column_stack([*columns, np.ones(grid_s.size)])
    y = seen[_PAST:, :3]
    good = np.isfinite(x).all(axis=1) & np.isfinite(y).all(axis=(0, 1))
    x, y = x[good], y[:, :, good]
    if x.shape[0] < max(_LEAST_ROWS, 4 * x.shape[1]):
        return {}
    alike = [2 * math.ceil(horizon / span) for horizon in horizons_s]
    return _regressed(x, y, list(pulses), alike)


def _windowed(
    gyro: tuple[Array, Array], grid_s: Array, windows: list[tuple[float, float]]
) -> Array:
    """Mean rates over windows about every time: shape (windows, axes, times)."""
    time_s, rates = gyro
    start = np.concatenate([grid_s + a for a, _ in windows])
    end = np.concatenate([grid_s + b for _, b in windows])
    seen = [means(time_s, rates[:, k], start, end) for k in range(rates.shape[1])]
    return np.stack(seen).reshape(rates.shape[1], len(windows), -1).swapaxes(0, 1)


def _earlier(values: Array, steps: int) -> Array:
    return np.concatenate([np.full(steps, np.nan), values[:-steps]])


def _regressed(
    x: Array, rates: Array, channels: list[int], alike: list[int]
) -> dict[tuple[int, int], tuple[Uncertain, ...]]:
    """Least squares; for each horizon residuals of so many neighbours may agree."""
    size = x.std(axis=0)
    size[-1] = 1.0
    moving = size > 1e-9
    scaled = x[:, moving] / size[moving]
    inverse = np.linalg.pinv(scaled.T @ scaled, rcond=1e-10, hermitian=True)
    horizons, axes, rows = rates.shape
    wanted = rates.reshape(-1, rows).T
    solution = inverse @ (scaled.T @ wanted)
    residual = wanted - scaled @ solution
    place = np.flatnonzero(moving)
    found = {}
    for k, channel in enumerate(channels):
        at = np.flatnonzero(place == k)
        if not at.size or size[k] < _LEAST_PULSE_US:
            continue
        weight = scaled @ inverse[:, at[0]]
        factor = _PER_US / float(size[k])
        answers = [
            Uncertain.of(
                float(solution[at[0], column]) * factor,
                _robust_std(weight * residual[:, column], alike[column // axes]) * factor,
                "rad/s",
                source="regression",
            )
            for column in range(horizons * axes)
        ]
        for axis in range(axes):
            found[channel, axis] = tuple(answers[axis::axes])
    return found


def _robust_std(influence: Array, alike: int) -> float:
    """Standard deviation of the sum of influences of which neighbours agree."""
    variance = float(influence @ influence)
    for lag in range(1, min(alike, influence.size - 1) + 1):
        weight = 1 - lag / (alike + 1)
        variance += 2 * weight * float(influence[lag:] @ influence[:-lag])
    return math.sqrt(max(variance, 0.0))


def surface_sense(view: FlightView) -> Iterator[Finding]:
    """Compare the way that each surface turns the aircraft with the sense in the aircraft file.

    Nothing is said where the file gives no sense, where outputs or gyro are too slow, or where
    the flight does not tell with confidence.
    """
    aircraft = view.inputs.aircraft
    if aircraft is None or not aircraft.senses:
        return
    known: dict[int, tuple[Surface, ...]] = {}
    for channel, name in sorted(aircraft.outputs.items()):
        one = surface_named(name)
        ways = (one,) if one is not None else panel_named(name, aircraft.tail_dihedral_deg)
        if ways and channel in aircraft.senses:
            known[channel] = ways
    responses = _responses(view) if known else {}
    for channel, ways in known.items():
        sense = aircraft.senses[channel]
        against, turned = _wrong_way(channel, ways, sense, responses)
        if against <= _enough(ways):
            continue
        moved = [
            _wrong_way(channel, ways, sense, _responses(view, late))[0] * weight
            for late, weight in LATE_S.items()
        ]
        if against > -min(moved):
            yield _reversed(view, aircraft.outputs[channel], channel, sense, turned)
        else:
            yield make_finding(
                "not-excluded",
                f"A wrong sense of output {channel} ({aircraft.outputs[channel]}) cannot be "
                "excluded: the log shows one, but the right one if its outputs were stamped "
                f"{min(LATE_S):g} to {max(LATE_S):g} s too late; look which way the surface goes, "
                "and log outputs and inertial sensor with one clock",
                evidence={"fault": "surface-sense"},
            )


def _wrong_way(
    channel: int,
    ways: tuple[Surface, ...],
    sense: int,
    responses: Mapping[tuple[int, int], tuple[Uncertain, ...]],
) -> tuple[float, list[tuple[Surface, Uncertain]]]:
    """How much goes against the sense, and the answers that do.

    Both axes of a panel tell of one sense: squares of how many standard uncertainties each is
    from zero add up, those of an axis that goes with the sense count against it.
    """
    found, against = [], 0.0
    for way in ways:
        answers = responses.get((channel, way.axis))
        if answers is None or answers[0].value * answers[1].value <= 0:
            continue
        sure = answers[0].value / max(answers[0].std, 1e-12) * way.turns * sense
        against -= sure * abs(sure)
        if sure < 0:
            found.append((way, answers[0]))
    return against, found


def _enough(ways: tuple[Surface, ...]) -> float:
    """Square of the standard uncertainties that it takes."""
    if len(ways) > 1:
        return CONFIDENT_OF_PANEL**2
    return (CONFIDENT_OF_RUDDER if AXES[ways[0].axis] == "yaw" else CONFIDENT) ** 2


def _reversed(
    view: FlightView,
    name: str,
    channel: int,
    sense: int,
    turned: list[tuple[Surface, Uncertain]],
) -> Finding:
    does, would = [], []
    evidence: dict[str, float | int | str] = {"channel": channel, "sense": sense}
    for way, answer in turned:
        axis = AXES[way.axis]
        seen, told = _WAYS[axis] if answer.value > 0 else _WAYS[axis][::-1]
        does.append(
            f"{_verb(axis)} {seen} ({answer.value:+.2f} ± {2 * answer.std:.2f} rad/s for 400 µs)"
        )
        would.append(told)
        first = "" if len(evidence) == 2 else f"{axis}_"
        evidence |= {
            f"{first}response_rad_s_per_400us": answer.value,
            f"{first}response_std_rad_s_per_400us": answer.std,
        }
    return make_finding(
        "surface-sense",
        f"Output {channel} ({name}): after a longer pulse the aircraft {' and '.join(does)}, "
        f"and by sense {sense:+d} of the aircraft file it would go {' and '.join(would)}: check "
        "it before the next flight.",
        evidence=evidence,
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


def _verb(axis: str) -> str:
    return {"roll": "rolls", "pitch": "pitches", "yaw": "yaws"}[axis]


def _responses(
    view: FlightView, late_s: float = 0.0
) -> dict[tuple[int, int], tuple[Uncertain, ...]]:
    """Answers to all pulses, with rows of the outputs that were stamped so much too late. [s]"""
    start, end = airborne(view.sortie)
    window = (start + _SETTLED_S, end - _SETTLED_S)
    imu = view.recording.one("imu")
    aside = (_SIDE,) if imu is not None and _SIDE in imu and imu[_SIDE].notna().all() else ()
    gyro = cut(imu, (*_GYRO, *aside), (window[0] - 1.0, end))
    outputs = view.recording.get("outputs")
    if gyro is None or outputs is None or gyro[0].size < _LEAST_ROWS:
        return {}
    if float(np.median(np.diff(gyro[0]))) > _SLOWEST_IMU_S:
        return {}
    pulses = _pulses(outputs, window, late_s)
    if pulses is None:
        return {}
    grid, series = pulses
    return rate_responses(grid, series, gyro, _tilt(view, grid), (HORIZON_S, _LATER_S))


def _pulses(
    outputs: pd.DataFrame, window: tuple[float, float], late_s: float
) -> tuple[Array, dict[int, Array]] | None:
    """Times about 0.1 s apart at which outputs were logged, and all moving outputs there."""
    rows = cut(outputs, ("channel", "pulse_us"), window)
    if rows is None:
        return None
    time_s, (channel, pulse) = rows[0] - late_s, rows[1].T
    grid: Array | None = None
    series: dict[int, Array] = {}
    for number in np.unique(channel):
        rows = channel == number
        t, p = time_s[rows], pulse[rows]
        if t.size < _LEAST_ROWS or float(np.median(np.diff(t))) > _SLOWEST_STEP_S:
            continue
        if float(p.std()) < _LEAST_PULSE_US:
            continue
        if grid is None:
            step = max(float(np.median(np.diff(t))), 1e-3)
            grid = t[:: max(1, round(_STEP_S / step))]
        series[int(number)] = np.interp(grid, t, p)
    return (grid, series) if grid is not None else None


def _tilt(view: FlightView, grid: Array) -> Array | None:
    rows = cut(
        view.recording.get("attitude"),
        ("roll_rad", "pitch_rad"),
        (float(grid[0]) - 1.0, float(grid[-1]) + 1.0),
    )
    if rows is None:
        return None
    time_s, tilt = rows
    return np.column_stack([np.interp(grid, time_s, tilt[:, k]) for k in range(2)])
