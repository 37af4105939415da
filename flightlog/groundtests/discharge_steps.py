"""Resistance of a pack at each lasting step of the current, along a discharge.

It is the one of flights (`flightlog.estimation.resistance`): the voltage lost for each ampere, as a
mean over the first second after a step, so that bench and flight compare.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.pack_temperature import at_25c
from flightlog.estimation.resistance import SCALE_S, fit_resistance
from flightlog.groundtests.discharge_rows import Index
from flightlog.groundtests.discharge_run import Run

STEP_SHARE = 0.15
"""A smaller change of the current, against that of the load, is no step. [-]"""

LARGEST_STD = 0.10
"""With a larger standard uncertainty, scales left out, a step tells no resistance. [-]"""

LEAST_STATE = 0.30
"""Below this state of charge the resistance of a sound pack rises; as in flights. [-]"""

SLOWEST_S = 1.5
"""Rows farther apart tell nothing of the first second. [s]"""

DELAY_STD_S = 0.03
"""Prior of the delay between current and voltage of a logger that reads both at once. [s]"""

DRIFT_STD = 0.02
"""Prior of how much the resistance changes over the half minute to an end of a fit. [-]"""

_BEFORE_S, _AFTER_S, _WHOLE_S = 30.0, 45.0, 64.0
_MOST_WINDOWS = 60
_NEAR_S = 5.0


@dataclass(frozen=True, slots=True)
class StepResistance:
    """Resistance about one step of the current, or several close to each other.

    Attributes
    ----------
    time_s : float
        Of the largest step. [s]
    step_a : float
        Its height, positive where the load went on. [A]
    charge_c : float
        Drawn until then. [C]
    state : float or None
        State of charge [-]; None where nothing says how much the pack holds.
    temperature_k : float or None
        Of the pack. [K]
    ohm, std_ohm : float
        And its standard uncertainty, the scales of the sensors left out. [ohm]
    """

    time_s: float
    step_a: float
    charge_c: float
    state: float | None
    temperature_k: float | None
    ohm: float
    std_ohm: float

    @property
    def ohm_25c(self) -> float | None:
        """At 25 °C. [ohm]"""
        return None if self.temperature_k is None else at_25c(self.ohm, self.temperature_k)


def resistances(
    run: Run, holds_c: float | None, state_at_end: float | None
) -> list[StepResistance]:
    """Give the resistance at every step that tells one.

    Parameters
    ----------
    run : Run
        One discharge.
    holds_c : float or None
        Charge of the full pack down to the cut-off. [C]
    state_at_end : float or None
        State of charge at the end of the run: 0 at the cut-off. [-]
    """
    rows = run.rows
    if rows.step_s > SLOWEST_S:
        return []
    found = []
    for at, first, last in _windows(run):
        span = slice(first, last)
        fit = fit_resistance(
            rows.time_s[span],
            rows.amps[span],
            rows.volts[span],
            noise_a=rows.noise_a,
            delay_std_s=DELAY_STD_S,
            drift_std=DRIFT_STD,
        )
        if fit is None or not fit.ohm > 0 or not fit.std_ohm <= LARGEST_STD * fit.ohm:
            continue
        time_s, height = _largest(run, at)
        charge = run.charge_by(time_s)
        state = None
        if holds_c and state_at_end is not None:
            state = state_at_end + (run.charge_by(run.end_s) - charge) / holds_c
        found.append(
            StepResistance(
                time_s, height, charge, state, _temperature(run, time_s), fit.ohm, fit.std_ohm
            )
        )
    return found


def steps_of(run: Run) -> Index:
    """Rows after which the current of a run changes by a step; shape (k,)."""
    rows = run.rows
    span = slice(run.first, run.last)
    t, amps = rows.time_s[span], rows.amps[span]
    half = max(0.5 * SCALE_S, rows.step_s)
    middle = 0.5 * (t[1:] + t[:-1])
    change = np.interp(middle + half, t, amps) - np.interp(middle - half, t, amps)
    change[np.diff(t) > rows.gap_s] = 0.0
    large = np.abs(change) > max(STEP_SHARE * rows.high_a, 6 * rows.noise_a)
    at = np.flatnonzero(large)
    if not at.size:
        return at
    # Neighbours see the same step: the steepest of them is it.
    groups = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    steep = np.abs(np.diff(amps))
    return np.array([int(g[np.argmax(steep[g])]) for g in groups]) + run.first


def _windows(run: Run) -> list[tuple[Index, int, int]]:
    """Stretches that hold steps, none in two: the steps in it, first row, one past the last."""
    steps, t = steps_of(run), run.rows.time_s
    found: list[tuple[Index, int, int]] = []
    free = run.first
    while steps.size:
        begin = max(free, int(np.searchsorted(t, t[steps[0]] - _BEFORE_S)))
        to = max(t[steps[0]] + _AFTER_S, t[begin] + _WHOLE_S)
        end = min(run.last, int(np.searchsorted(t, to, side="right")))
        if t[end - 1] - t[begin] < _WHOLE_S - _NEAR_S:  # at the end of the rows: look farther back
            begin = max(free, int(np.searchsorted(t, t[end - 1] - _WHOLE_S)))
        inside = steps < end - 1
        if inside.any() and not run.rows.apart[begin:end].any():
            found.append((steps[inside], begin, end))
        steps = steps[~inside] if inside.any() else steps[1:]
        free = end
    every = -(-len(found) // _MOST_WINDOWS)
    return found[::every] if every > 1 else found


def _largest(run: Run, steps: Index) -> tuple[float, float]:
    """Time [s] and height [A] of the largest of some steps."""
    rows = run.rows
    half = max(0.5 * SCALE_S, rows.step_s)
    middle = 0.5 * (rows.time_s[steps] + rows.time_s[steps + 1])
    height = np.interp(middle + half, rows.time_s, rows.amps)
    height -= np.interp(middle - half, rows.time_s, rows.amps)
    k = int(np.argmax(np.abs(height)))
    return float(middle[k]), float(height[k])


def _temperature(run: Run, time_s: float) -> float | None:
    """Temperature of the pack about a time. [K]"""
    kelvin = run.rows.temperature_k
    if kelvin is None:
        return None
    t = run.rows.time_s
    near = (np.abs(t - time_s) <= max(_NEAR_S, 2 * run.rows.step_s)) & believable(kelvin)
    return float(np.median(kelvin[near])) if near.any() else None


def believable(kelvin: Array) -> Array:
    """Whether temperatures can be those of a pack."""
    with np.errstate(invalid="ignore"):
        return np.asarray((kelvin > 230) & (kelvin < 400))


def joined(steps: list[StepResistance], values: list[float]) -> tuple[float, float]:
    """Weighted mean of some resistances and its standard uncertainty. [ohm]

    Where they scatter more than their own uncertainties say, it is as wide as the scatter makes
    it (Birge 1932).
    """
    ohm = np.array(values)
    std = np.array([s.std_ohm for s in steps]) * ohm / np.array([s.ohm for s in steps])
    weight = 1 / std**2
    mean = float(weight @ ohm / weight.sum())
    own = 1 / math.sqrt(float(weight.sum()))
    if ohm.size == 1:
        return mean, own
    ratio = math.sqrt(float(weight @ (ohm - mean) ** 2) / (ohm.size - 1))
    return mean, own * max(1.0, ratio)
