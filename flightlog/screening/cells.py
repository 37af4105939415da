"""How many cells the battery can have, from its voltage at rest."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.packs import VOLTAGE_SCALE_STD, battery_of
from flightlog.findings import Finding, make_finding
from flightlog.screening.context import LogView
from flightlog.screening.series import column
from flightlog.screening.signals import LEAST_REST_S, REST_MARGIN_S

if TYPE_CHECKING:
    import pandas as pd

CELL_V = (3.3, 4.25)
"""A lithium-polymer cell at rest, from spent to full. [V]"""

HIGH_CELL_V = 4.35
"""A full cell of the high-voltage kind, which only its label tells. [V]"""

QUIET_A = 3.0
"""With less current than this the battery is as good as at rest: 3 A over some 5 mΩ a cell is
0.4 %, less than two standard uncertainties of the voltage. [A]"""

_LOOK_S = 10.0
_ALLOWED = 1 + 2 * VOLTAGE_SCALE_STD


def possible_cells(rested_v: float) -> range:
    """Numbers of cells in series that a voltage at rest fits.

    Parameters
    ----------
    rested_v : float
        Of the whole battery. [V]
    """
    low, high = CELL_V
    least = math.ceil(rested_v / (high * _ALLOWED))
    return range(max(1, least), math.floor(rested_v * _ALLOWED / low) + 1)


def rested_voltage(rows: pd.DataFrame, before_s: float) -> float | None:
    """Median voltage of the first 10 s with little current, before any flight. [V]

    Parameters
    ----------
    rows : DataFrame
        One battery monitor.
    before_s : float
        Start of the first flight. [s]

    Returns
    -------
    float or None
        None where the log shows no such stretch of `LEAST_REST_S`.
    """
    time_s, volts = column(rows, "time_s"), column(rows, "voltage_v")
    use = np.isfinite(volts) & (volts > 0) & (time_s < before_s)
    use &= ~(np.abs(column(rows, "current_a")) > QUIET_A)
    if not use.any():
        return None
    use &= time_s <= time_s[use][0] + _LOOK_S
    if np.ptp(time_s[use]) < LEAST_REST_S or use.sum() < 3:
        return None
    return float(np.median(volts[use]))


def cell_count(view: LogView) -> Iterator[Finding]:
    """Compare the voltage at rest with the number of cells in the aircraft file.

    Where several monitors measure packs in series (`flightlog.analyses.packs`), their sum counts;
    in parallel the one that carries most. With a file that lacks the number a voltage that fits
    several is told; one that fits a single number needs no word, and neither has a log without
    a file, in which no figure depends on the number.
    """
    aircraft = view.inputs.aircraft
    declared = aircraft.cells if aircraft is not None else None
    volts = _whole_battery(view)
    if volts is None:
        return
    fits = possible_cells(volts)
    evidence: dict[str, float | int | str] = {"rested_v": volts, "possible": _list(fits)}
    if declared is None:
        # Nothing but the check for an empty pack depends on it, and only an aircraft file can say.
        if not fits or (aircraft is not None and len(fits) != 1):
            yield make_finding(
                "cell-count",
                f"The battery rests at {volts:.2f} V, which fits {_fits(volts, fits)}"
                f"{'; the aircraft file does not tell how many it has' if fits else ''}.",
                severity="note",
                affects=("battery.min_voltage",),
                evidence=evidence,
            )
        return
    if declared in fits:
        return
    each = volts / declared
    evidence |= {"declared": declared, "volts_per_cell": each}
    high_kind = CELL_V[1] < each <= HIGH_CELL_V * _ALLOWED
    yield make_finding(
        "cell-count",
        f"The battery rests at {volts:.2f} V, {each:.2f} V for each of the {declared} cells in "
        f"the aircraft file; it fits {_fits(volts, fits)}"
        f"{', or full cells of the high-voltage kind' if high_kind else ''}.",
        severity="note" if high_kind else "stop",
        evidence=evidence,
    )


def _whole_battery(view: LogView) -> float | None:
    table = view.recording.get("battery")
    if table is None:
        return None
    first = view.sorties[0] if view.sorties else None
    if first is not None and first.starts != "rest":
        return None
    before = math.inf if first is None else first.start_s - REST_MARGIN_S
    instances = (
        [table]
        if "instance" not in table
        else [rows for _, rows in table.groupby("instance", sort=True)]
    )
    volts = [rested_voltage(rows, before) for rows in instances]
    known = [(v, rows) for v, rows in zip(volts, instances, strict=True) if v is not None]
    if not known:
        return None
    battery = battery_of(view.recording)
    in_series = len(battery.monitors) > 1 and not battery.charges_add
    if in_series and len(known) == len(instances) == len(battery.monitors):
        return sum(v for v, _ in known)
    return max(known, key=lambda one: (_greatest_current(one[1]), one[0]))[0]


def _greatest_current(rows: pd.DataFrame) -> float:
    amps = column(rows, "current_a")
    return float(np.max(amps, where=np.isfinite(amps), initial=0.0))


def _fits(volts: float, cells: range) -> str:
    if not cells:
        return "no number of cells"
    words = [
        f"{n} cell{'s' if n > 1 else ''} at {volts / n:.2f} V" if n == cells[0]
        else f"{n} at {volts / n:.2f} V"
        for n in cells
    ]  # fmt: skip
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _list(cells: range) -> str:
    return ", ".join(str(n) for n in cells)
