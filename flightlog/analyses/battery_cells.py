"""Single cells of the battery: how far apart they are, and whether one was driven too low."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.battery_left import QUIET_A, state_of_charge
from flightlog.analyses.packs import VOLTAGE_SCALE_STD
from flightlog.analyses.phases import Sortie
from flightlog.analyses.power import voltages
from flightlog.estimation.frames import Array
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

RESTED_LIMIT_V, LOADED_LIMIT_V = 0.030, 0.080
"""Cells of a sound pack are not farther apart than this, at rest and under load. [V]"""

LOWEST_CELL_V, LOWEST_FOR_S = 3.0, 2.0
"""A lithium-polymer cell that is held below the one [V] for longer than the other [s] is harmed."""

CELL_STD_V = 0.005
"""Standard uncertainty of one cell's reading against its neighbour's. [V]"""

_CELL_V = (1.0, 5.0)
_MEAN_S = 1.0
_MOST_CELLS = 24
_LEAST_ROWS = 5
_REST_ROWS = 50
_LOOK_S = 10.0
_MARGIN_S = 1.0
NO_CELLS = "the log has no voltages of single cells; fit a monitor on the balance lead, and log it"


@dataclass(frozen=True, slots=True)
class Cells:
    """Voltages of the cells of one monitor: times [s], shape (n,); [V], shape (n, cells)."""

    time_s: Array
    volts: Array
    current_a: Array


def cells_of(recording: Recording) -> tuple[Cells, ...]:
    """Give the cells of every monitor that reads two or more of them.

    Rows with another number of cells than most, or with one that no cell can have, are left out.
    """
    table = recording.get("battery")
    if table is None or "cell_voltages" not in table:
        return ()
    parts = [table] if "instance" not in table else [p for _, p in table.groupby("instance")]
    found = (_cells(part) for part in parts)
    return tuple(one for one in found if one is not None)


def _cells(rows: pd.DataFrame) -> Cells | None:
    lists = [_numbers(value) for value in rows["cell_voltages"]]
    counts = [len(one) for one in lists if len(one) >= 2]
    if len(counts) < _LEAST_ROWS:
        return None
    count = int(np.bincount(counts).argmax())
    keep = np.array([len(one) == count for one in lists])
    volts = np.array([one for one in lists if len(one) == count])
    time_s = rows["time_s"].to_numpy(dtype=float)[keep]
    amps = np.zeros(time_s.size)
    if "current_a" in rows:
        amps = rows["current_a"].to_numpy(dtype=float, na_value=np.nan)[keep]
    good = np.isfinite(time_s) & ((volts > _CELL_V[0]) & (volts < _CELL_V[1])).all(axis=1)
    good[1:] &= np.diff(time_s) > 0
    if good.sum() < _LEAST_ROWS:
        return None
    return Cells(time_s[good], volts[good], amps[good])


def _numbers(value: object) -> list[float]:
    """A row's cells; none where it is no list of numbers. Absent cells at the end are left out."""
    if not isinstance(value, list | tuple | np.ndarray):
        return []
    try:
        numbers = [float(one) for one in value[:_MOST_CELLS]]
    except (TypeError, ValueError):
        return []
    while numbers and not numbers[-1] > 0:
        numbers.pop()
    return numbers


def answer(recording: Recording, sortie: Sortie, inputs: Inputs) -> Answer:
    """Give battery.cell_spread and battery.cell_spread_loaded, and what cells say.

    Parameters
    ----------
    recording, sortie
        The log and one flight of it.
    inputs : Inputs
        The number of cells, with which a battery without single cells is judged by its mean one.
    """
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings: list[Finding] = []
    packs = cells_of(recording)
    for id_, spreads, why in (
        ("battery.cell_spread", [_rested(p, sortie) for p in packs], _NO_REST),
        ("battery.cell_spread_loaded", [_loaded(p, sortie) for p in packs], _NO_FLIGHT),
    ):
        known = [s for s in spreads if s is not None]
        if not known:
            withheld[id_] = why if packs else NO_CELLS
            continue
        most = max(known, key=lambda s: s.value)
        how = "greatest of all packs" if len(packs) > 1 else f"{packs[0].volts.shape[1]} cells"
        figures[id_] = Figure(id_, most, how, ("battery",))
    findings += _apart(figures, sortie)
    findings += _low(recording, packs, sortie, inputs)
    return Answer(figures, withheld, tuple(findings))


_NO_REST = "the log shows no 2 s at rest with cell voltages before the roll; start it 10 s earlier"
_NO_FLIGHT = "no cell voltages were logged in the air"


def _rested(cells: Cells, sortie: Sortie) -> Uncertain | None:
    """Spread of the medians over the last rest before the roll. [V]"""
    if sortie.starts != "rest":
        return None
    t = cells.time_s
    rows = (t < sortie.start_s - _MARGIN_S) & ~(np.abs(cells.current_a) > QUIET_A)
    if not rows.any():
        return None
    rows &= t >= t[rows][-1] - _LOOK_S
    if rows.sum() < 2 or np.ptp(t[rows]) < 2.0:
        return None
    return _spread(float(np.ptp(np.median(cells.volts[rows], axis=0))), 0.0)


def _loaded(cells: Cells, sortie: Sortie) -> Uncertain | None:
    """Greatest spread of 1 s means in the air. [V]"""
    start = sortie.start_s if sortie.liftoff_s is None else sortie.liftoff_s
    end = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    time_s, means, count = _one_second(cells.time_s, cells.volts, start, end)
    if time_s.size < _LEAST_ROWS:
        return None
    noise = np.diff(cells.volts, 2, axis=0)
    std = float(np.median(np.abs(noise))) * 1.4826 / np.sqrt(6 * count)
    return _spread(float(np.ptp(means, axis=1).max()), std)


def _spread(volts: float, noise_v: float) -> Uncertain:
    pair = float(np.sqrt(2))
    return Uncertain(volts, {"cell readings": pair * CELL_STD_V, "noise": pair * noise_v}, "V")


def _one_second(
    time_s: Array, values: Array, start_s: float, end_s: float
) -> tuple[Array, Array, float]:
    """Means over whole seconds of a window: their times, the means, and how many rows a mean has.

    A second without rows is left out.
    """
    rows = (time_s >= start_s) & (time_s <= end_s)
    t, x = time_s[rows], values[rows]
    if not t.size:
        return t, x, 1.0
    number = np.floor((t - t[0]) / _MEAN_S)
    first = np.concatenate([[0], np.flatnonzero(np.diff(number) > 0) + 1])
    count = np.diff(np.append(first, t.size))
    means = np.add.reduceat(x, first, axis=0) / count[:, None]
    return t[first], means, float(np.median(count))


def _apart(figures: dict[str, Figure], sortie: Sortie) -> Iterator[Finding]:
    for id_, limit, when in (
        ("battery.cell_spread", RESTED_LIMIT_V, "at rest"),
        ("battery.cell_spread_loaded", LOADED_LIMIT_V, "under load"),
    ):
        figure = figures.get(id_)
        if figure is None or figure.quantity.value - figure.quantity.std <= limit:
            continue
        spread = figure.quantity
        yield make_finding(
            "cells-apart",
            f"The cells are {1e3 * spread.value:.0f} (± {2e3 * spread.std:.0f}) mV apart {when}; "
            f"more than {1e3 * limit:.0f} mV is none of a sound pack.",
            evidence={"spread_v": spread.value, "limit_v": limit, "when": when},
            start_s=sortie.start_s,
            end_s=sortie.end_s,
        )


def _low(
    recording: Recording, packs: tuple[Cells, ...], sortie: Sortie, inputs: Inputs
) -> Iterator[Finding]:
    """Find cells that were held too low under load; by the mean cell where none was read."""
    start = sortie.start_s if sortie.liftoff_s is None else sortie.liftoff_s
    end = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    number = inputs.pack.cells if inputs.pack is not None else None
    if number is None and inputs.aircraft is not None:
        number = inputs.aircraft.cells
    series = [(p.time_s, p.volts.min(axis=1), "A cell") for p in packs]
    flows = voltages(recording)
    # Several monitors may be in series: the number of cells of each is not known.
    if not series and number and len(flows) == 1:
        flow = flows[0]
        rest = flow.rate[flow.time_s < sortie.start_s - _MARGIN_S][-_REST_ROWS:]
        # A voltage that never was that of so many cells says that the number is wrong.
        if rest.size and state_of_charge(float(np.median(rest)) / number) is not None:
            series = [(flow.time_s, flow.rate / number, f"The mean of the {number} cells")]
    for time_s, volts, what in series:
        t, means, _ = _one_second(time_s, volts[:, None], start, end)
        seconds, least = _longest_below(t, means[:, 0])
        if seconds > LOWEST_FOR_S:
            yield make_finding(
                "cell-low",
                f"{what} was below {LOWEST_CELL_V:.1f} V for {seconds:.0f} s under load, "
                f"{least:.2f} (± {2 * VOLTAGE_SCALE_STD * least:.2f}) V at the least.",
                evidence={"least_v": least, "seconds": seconds, "limit_v": LOWEST_CELL_V},
                start_s=sortie.start_s,
                end_s=sortie.end_s,
            )
            return


def _longest_below(time_s: Array, volts: Array) -> tuple[float, float]:
    """Longest run of 1 s means below `LOWEST_CELL_V` [s], and the least mean in any. [V]"""
    if not volts.size:
        return 0.0, np.inf
    # What lies in a hole of the log nobody knows: a run ends there.
    part = np.concatenate([[0], np.cumsum(np.diff(time_s) > 2.5 * _MEAN_S)])
    longest = 0.0
    for number in range(int(part[-1]) + 1):
        t, low = time_s[part == number], volts[part == number] < LOWEST_CELL_V
        below = np.concatenate([[0], low.astype(int), [0]])
        begins, ends = np.flatnonzero(np.diff(below) == 1), np.flatnonzero(np.diff(below) == -1)
        lengths = t[ends - 1] - t[begins] + _MEAN_S
        longest = max(longest, float(lengths.max(initial=0.0)))
    return longest, float(volts.min())
