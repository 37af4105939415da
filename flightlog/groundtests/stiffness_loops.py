"""Rows of a static deflection, cut into loadings: from no load up to the greatest, and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import BenchTable, FloatArray

Indices = NDArray[np.int64]

TURN_SHARE = 0.25
"""A load that falls by less of the whole span has not turned yet. [-]"""
_BEYOND_N = 1e150
"""No load; its square would leave the range of numbers. [N]"""
ALIKE_SHARE = 0.02
"""Loads that differ by less of the whole span count as the same. [-]"""
_LEAST_SHARE = 0.002
"""Rows that are within so much of the least load end a loading. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of all files that hold both numbers, in their order.

    Attributes
    ----------
    file : array, shape (n,)
        Number of the file.
    line : array, shape (n,)
        Line of the file, from 1.
    load_n, net_m : array, shape (n,)
        Load, and deflection of the loaded place less that of the fixed end. [N], [m]
    cycle : array, shape (n,)
        Number of the loading as the file has it; NaN where it has none.
    left_out : int
        Rows that lack a number.
    rooted : bool
        Whether every file has the movement of the fixed end.
    hung : bool
        Whether a load is a mass times gravity.
    """

    file: Indices
    line: Indices
    load_n: FloatArray
    net_m: FloatArray
    cycle: FloatArray
    left_out: int
    rooted: bool
    hung: bool

    def __len__(self) -> int:
        return int(self.load_n.size)


@dataclass(frozen=True, slots=True, eq=False)
class Loading:
    """One loading.

    Attributes
    ----------
    number : int
        From 1.
    up, down : array of int
        Its rows while the load rises, the greatest load last; and afterwards.
    returned : bool
        Whether it ends at the load at which it began.
    """

    number: int
    up: Indices
    down: Indices
    returned: bool

    @property
    def rows(self) -> Indices:
        """All of them, in order."""
        return np.concatenate([self.up, self.down])


def rows_of(tables: Sequence[BenchTable], gravity_m_s2: float) -> Rows:
    """Put the files together; masses become loads.

    Parameters
    ----------
    tables : sequence of BenchTable
        Each with ``deflection``, and with ``load`` or ``mass``.
    gravity_m_s2 : float
        [m/s²]
    """
    parts: list[tuple[FloatArray, ...]] = []
    rooted, hung = bool(tables), False
    for k, table in enumerate(tables):
        has = table.columns
        n = len(table)
        with np.errstate(over="ignore"):  # what is too large for a number is none, below
            if "load" in has:
                load = has["load"]
            else:
                load, hung = has["mass"] * gravity_m_s2, True
            net = has["deflection"] - has.get("root", np.zeros(n))
        rooted = rooted and "root" in has
        lines = table.lines if len(table.lines) == n else np.arange(1, n + 1)
        cycle = has.get("cycle", np.full(n, np.nan))
        parts.append((np.full(n, float(k)), lines.astype(float), load, net, cycle))
    file, line, load, net, cycle = (np.concatenate(column) for column in zip(*parts, strict=True))
    kept = np.isfinite(load) & np.isfinite(net)
    return Rows(
        file[kept].astype(np.int64),
        line[kept].astype(np.int64),
        load[kept],
        net[kept],
        cycle[kept],
        int((~kept).sum()),
        rooted,
        hung,
    )


def loadings_of(rows: Rows) -> list[Loading]:
    """Cut rows into loadings.

    A file, and a number of a loading, begins a new one; within, each fall of the load by
    `TURN_SHARE` and rise after it does. Rows while nothing hangs on it, between two loadings or
    before the first, belong to none, but for the first and the last of them.
    """
    if not len(rows) or float(np.abs(rows.load_n).max()) > _BEYOND_N:
        return []
    span = float(np.ptp(rows.load_n))
    if not span > 0:
        return []
    changed = np.diff(rows.file) != 0
    both = np.isfinite(rows.cycle[1:]) & np.isfinite(rows.cycle[:-1])
    changed |= both & (np.diff(np.nan_to_num(rows.cycle)) != 0)
    found: list[Loading] = []
    for part in np.split(np.arange(len(rows)), np.flatnonzero(changed) + 1):
        for first, top, last in _cuts(rows.load_n[part], span):
            up, down = part[first : top + 1], part[top + 1 : last + 1]
            ends = rows.load_n[part[last]] - rows.load_n[part[first]]
            returned = bool(down.size and abs(ends) <= ALIKE_SHARE * span)
            found.append(Loading(len(found) + 1, up, down, returned))
    return found


def _cuts(load: FloatArray, span: float) -> list[tuple[int, int, int]]:
    """Give the first row, that of the greatest load, and the last row of each loading."""
    tops = _tops(load, TURN_SHARE * span)
    alike = _LEAST_SHARE * span
    cuts = []
    for k, top in enumerate(tops):
        start = tops[k - 1] + 1 if k else 0
        end = tops[k + 1] if k + 1 < len(tops) else load.size
        before, after = load[start : top + 1], load[top + 1 : end]
        first = start + int(np.flatnonzero(before <= before.min() + alike)[-1])
        last = top
        if after.size:
            last = top + 1 + int(np.flatnonzero(after <= after.min() + alike)[0])
        if first < top:
            cuts.append((first, top, last))
    return cuts


def _tops(load: FloatArray, band: float) -> list[int]:
    """Find the highest rows between falls of at least a band."""
    step = np.sign(np.diff(load))
    moved = np.flatnonzero(step)
    turns = moved[1:][np.diff(step[moved]) != 0]
    low, top = float(load[0]), -1
    tops: list[int] = []
    for i in (0, *turns.tolist(), load.size - 1):
        value = float(load[i])
        if top < 0:
            low = min(low, value)
            if value - low >= band:
                top = i
        elif value >= load[top]:
            top = i
        elif load[top] - value >= band:
            tops.append(top)
            low, top = value, -1
    return [*tops, top] if top >= 0 else tops
