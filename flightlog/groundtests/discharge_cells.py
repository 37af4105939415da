"""Single cells and the temperature of a pack in a discharge."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.groundtests.discharge_run import Run
from flightlog.groundtests.discharge_steps import believable

AFTER_S = 600.0
"""A pack goes on warming at its surface for so long. [s]"""

_MEAN_S = 2.0
_CELL_V = (0.5, 5.0)


@dataclass(frozen=True, slots=True)
class CellsAt:
    """Voltages of the cells at one moment.

    Attributes
    ----------
    time_s : float
        [s]
    volts : dict of str to float
        Column -> mean over the two seconds before. [V]
    std_v : float
        Noise and steps of one of these means. [V]
    """

    time_s: float
    volts: dict[str, float]
    std_v: float

    @property
    def spread_v(self) -> float:
        """Highest less lowest. [V]"""
        return max(self.volts.values()) - min(self.volts.values())

    @property
    def lowest(self) -> str:
        """Column of the lowest cell."""
        return min(self.volts, key=lambda name: self.volts[name])


def cells_at(run: Run, time_s: float) -> CellsAt | None:
    """Cells under load in the two seconds before a time; None with fewer than two."""
    rows = run.rows
    t = rows.time_s
    # Rows may be far apart: the last one under load counts then.
    back = max(_MEAN_S, rows.step_s)
    near = (t <= time_s) & (t >= time_s - back - 1e-9) & rows.loaded
    near[: run.first] = near[run.last :] = False
    volts, noise = {}, 0.0
    for name, column in rows.cells.items():
        with np.errstate(invalid="ignore"):
            good = near & (column > _CELL_V[0]) & (column < _CELL_V[1])
        if good.any():
            volts[name] = float(np.mean(column[good]))
            noise = max(noise, _std(column[run.load_on : run.load_off + 1], int(good.sum())))
    return CellsAt(time_s, volts, noise) if len(volts) >= 2 else None


def _std(column: Array, count: int) -> float:
    """Of a mean of some readings. [V]"""
    known = column[np.isfinite(column)]
    if known.size < 6:
        return 0.0
    noise = float(1.4826 * np.median(np.abs(np.diff(known, 2)))) / math.sqrt(6)
    levels = np.diff(np.unique(known[:20_000]))
    grain = float(np.min(levels[levels > 1e-6], initial=1.0)) if levels.size else 0.0
    return math.hypot(noise / math.sqrt(count), (grain if grain < 0.1 else 0.0) / math.sqrt(12))


def first_below(run: Run, cell_v: float) -> tuple[str, float] | None:
    """Cell that fell below a voltage under load first, to stay there for two seconds, and when."""
    rows = run.rows
    span = np.arange(run.load_on, run.load_off + 1)
    span = span[rows.loaded[span] & (rows.time_s[span] <= run.end_s)]
    t = rows.time_s[span]
    held = np.searchsorted(t, t + _MEAN_S, side="right")
    found: tuple[str, float] | None = None
    for name, column in rows.cells.items():
        with np.errstate(invalid="ignore"):
            # A lead that is not plugged in reads about nothing.
            low = (column[span] < cell_v) & (column[span] > _CELL_V[0])
        above = np.append(0, np.cumsum(~low))
        whole = (t + _MEAN_S <= run.end_s) & low & (above[held] == above[np.arange(t.size)])
        at = np.flatnonzero(whole)
        if at.size and (found is None or t[at[0]] < found[1]):
            found = (name, float(t[at[0]]))
    return found


@dataclass(frozen=True, slots=True)
class Warmth:
    """How warm a pack was: at the start, at most, and the noise of either. [K]"""

    start_k: float
    most_k: float
    std_k: float


def warmth(run: Run) -> Warmth | None:
    """Temperature of the pack from the load on until ten minutes after the end."""
    kelvin, t = run.rows.temperature_k, run.rows.time_s
    if kelvin is None:
        return None
    good = believable(kelvin)
    good[: run.first] = good[run.last :] = False
    begin = t[run.load_on]
    before = good & (t >= begin - 30.0) & (t <= begin + max(5.0, run.rows.step_s))
    during = np.flatnonzero(good & (t >= begin) & (t <= run.end_s + AFTER_S))
    if not before.any() or during.size < 3:
        return None
    series = kelvin[during]
    # A single high reading is noise: the middle one of three.
    calm = np.median([series[:-2], series[1:-1], series[2:]], axis=0)
    noise = float(1.4826 * np.median(np.abs(np.diff(series, 2)))) / math.sqrt(6)
    levels = np.diff(np.unique(series[:20_000]))
    grain = float(np.min(levels[levels > 1e-6], initial=np.inf)) if levels.size else 0.0
    grain = grain if grain <= 2.0 else 0.0
    return Warmth(
        float(np.median(kelvin[before])), float(calm.max()), math.hypot(noise, grain / math.sqrt(6))
    )
