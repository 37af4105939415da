"""Few points of a line, so that it draws fast and looks the same.

The line is cut into stretches of equally many points, and of each the lowest and the highest stay,
at their own places: no peak is lost. The first and the last point stay, and a gap stays a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from flightlog.reports.chart import Array, Line

LEAST = 16
"""Fewer points can't hold ends, peaks and gaps."""

Rows = NDArray[np.intp]


def thinned(line: Line, most: int, *, plane: bool = False) -> Line:
    """Give a line with few points.

    Parameters
    ----------
    line : Line
        Its bands are taken at the same places.
    most : int
        So many points are left, at the most; at least `LEAST`.
    plane : bool
        Whether x is a place as y is, as on a map: then the peaks of both stay.
    """
    if len(line.x) <= most:
        return line
    rows = thinned_rows([line.y, line.x] if plane else [line.y], most, line.x)
    return replace(
        line,
        x=line.x[rows],
        y=line.y[rows],
        low=None if line.low is None else line.low[rows],
        high=None if line.high is None else line.high[rows],
    )


def thinned_rows(values: Sequence[Array], most: int, *others: Array) -> Rows:
    """Choose which rows are left.

    Parameters
    ----------
    values : sequence of array
        What the peaks are looked for in; shape (n,) each.
    most : int
        So many rows are left, at the most.
    *others : array
        A row is a gap where any value, or any of these, is not finite.

    Returns
    -------
    array of int
        Rising. Between two rows that are left there is a gap where there was one, as long as
        there are rows for all; with more gaps than that, at least one of those in between.

    Raises
    ------
    ValueError
        If fewer than `LEAST` are to be left.
    """
    if most < LEAST:
        raise ValueError(f"a line keeps at least {LEAST} points, not {most}")
    good = np.all([np.isfinite(v) for v in (*values, *others)], axis=0)
    if len(good) <= most:
        return np.arange(len(good))
    rows = np.flatnonzero(good)
    if not rows.size:
        return rows
    fixed = _ends_and_gaps(rows)
    if fixed.size <= most // 2:
        return np.union1d(fixed, _peaks(values, rows, most - fixed.size))
    peaks = np.union1d(_peaks(values, rows, most // 2 - 2), rows[[0, -1]])
    missing = np.flatnonzero(~good)
    before = np.searchsorted(missing, peaks)
    gaps = missing[before[:-1][np.diff(before) > 0]]
    return np.union1d(peaks, gaps)


def _ends_and_gaps(rows: Rows) -> Rows:
    """Give the ends of all runs, and one missing row between each two of them."""
    breaks = np.flatnonzero(np.diff(rows) > 1)
    firsts = rows[np.concatenate([[0], breaks + 1])]
    lasts = rows[np.concatenate([breaks, [rows.size - 1]])]
    return np.unique(np.concatenate([firsts, lasts, lasts[:-1] + 1]))


def _peaks(values: Sequence[Array], rows: Rows, most: int) -> Rows:
    """Give the lowest and highest row of each stretch, so many at the most."""
    stretches = max(1, most // (2 * len(values)))
    size = -(-rows.size // stretches)
    # The last stretch is filled up with its last row, which changes no peak.
    filled = np.append(rows, np.full(-rows.size % size, rows[-1])).reshape(-1, size)
    each = np.arange(len(filled))
    found = [
        filled[each, place]
        for value in values
        for place in (value[filled].argmin(axis=1), value[filled].argmax(axis=1))
    ]
    return np.unique(np.concatenate(found))
