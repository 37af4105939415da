"""What the chart of a discharge is drawn from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flightlog.constants import COULOMB_PER_AH
from flightlog.estimation.frames import Array
from flightlog.groundtests.discharge_run import Run
from flightlog.groundtests.discharge_steps import StepResistance

_MOST_POINTS = 4000


@dataclass(frozen=True, slots=True, eq=False)
class DrawnLine:
    """One discharge as lines over the charge drawn.

    Attributes
    ----------
    name : str
        "discharge 1".
    drawn_ah : array
        Shape (n,), not falling. [Ah]
    volts : array
        Of the pack, rests left out as NaN. [V]
    lowest_v, highest_v : array or None
        Of the cells. [V]
    end_ah : float or None
        Where the cut-off was reached. [Ah]
    """

    name: str
    drawn_ah: Array
    volts: Array
    lowest_v: Array | None
    highest_v: Array | None
    end_ah: float | None


@dataclass(frozen=True, slots=True)
class DischargeDetail:
    """All that is drawn.

    Attributes
    ----------
    lines : tuple of DrawnLine
        One for each discharge.
    steps : tuple of StepResistance
        Of all of them.
    cells : int or None
        In series.
    cutoff_v : float or None
        Of the pack, as stated. [V]
    """

    lines: tuple[DrawnLine, ...]
    steps: tuple[StepResistance, ...]
    cells: int | None
    cutoff_v: float | None


def drawn_line(run: Run, name: str) -> DrawnLine:
    """Thin a discharge out to what a chart can show."""
    rows = run.rows
    span = np.arange(run.load_on, run.load_off + 1)
    span = span[:: max(1, -(-span.size // _MOST_POINTS))]
    # While the load is off the charge stands still, and a line over charge would be upright.
    loaded = rows.loaded[span]
    volts = np.where(loaded, rows.volts[span], np.nan)
    lowest = highest = None
    if len(rows.cells) >= 2:
        cells = np.array([column[span] for column in rows.cells.values()])
        cells[:, ~loaded] = np.nan
        whole = np.isfinite(cells).all(axis=0)
        lowest = np.where(whole, cells.min(axis=0), np.nan)
        highest = np.where(whole, cells.max(axis=0), np.nan)
    charge = np.maximum.accumulate(run.charge_at[span - run.first]) / COULOMB_PER_AH
    end = run.charge.value / COULOMB_PER_AH if run.reached else None
    return DrawnLine(name, charge, volts, lowest, highest, end)
