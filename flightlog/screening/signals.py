"""Cuts and means of columns, as the detectors need them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.screening.series import column

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.analyses.phases import Sortie

REST_MARGIN_S = 1.0
"""The coarse start of a roll is this good: rest ends so long before it. [s]"""

MOST_EDGES = 200_000
"""More of them are not a log, but a clock that leapt."""

LEAST_REST_S = 2.0
"""A shorter stretch at rest shows no level. [s]"""


def rest_before(sortie: Sortie) -> tuple[float, float] | None:
    """Where the aircraft stood before the roll [s]; None where the log does not show it."""
    if sortie.starts != "rest":
        return None
    start, end = sortie.search_s[0], sortie.start_s - REST_MARGIN_S
    return (start, end) if end - start >= LEAST_REST_S else None


def airborne(sortie: Sortie) -> tuple[float, float]:
    """Lift-off to touchdown, or what the log holds of it. [s]"""
    start = sortie.start_s if sortie.liftoff_s is None else sortie.liftoff_s
    end = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    return start, end


def cut(
    table: pd.DataFrame | None, names: tuple[str, ...], window_s: tuple[float, float]
) -> tuple[Array, Array] | None:
    """Times and columns of the rows in a window in which all of the columns are finite.

    Parameters
    ----------
    table : DataFrame or None
        With rising ``time_s``.
    names : tuple of str
        Columns.
    window_s : (float, float)
        First and last time. [s]

    Returns
    -------
    time_s, values : array, shape (n,) and (n, columns)
        None where the table or a column is missing, or no row is left.
    """
    if table is None or any(name not in table for name in names):
        return None
    time_s = column(table, "time_s")
    first, last = np.searchsorted(time_s, window_s)
    values = np.column_stack([column(table, name)[first:last] for name in names])
    good = np.isfinite(values).all(axis=1)
    if not good.any():
        return None
    return time_s[first:last][good], values[good]


def edges(start_s: float, end_s: float, step_s: float) -> Array:
    """Evenly spaced times; none for a window that no flight lasts, which only damage can give."""
    if not 0 < end_s - start_s < MOST_EDGES * step_s:
        return np.empty(0)
    return np.arange(start_s, end_s, step_s)


def means(time_s: Array, values: Array, start_s: Array, end_s: Array) -> Array:
    """Mean of the samples in each of many windows; NaN where a window holds none.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Rising times [s], finite values.
    start_s, end_s : array
        Windows, end not included. [s]
    """
    total = np.concatenate([[0.0], np.cumsum(values)])
    first, last = np.searchsorted(time_s, start_s), np.searchsorted(time_s, end_s)
    count = last - first
    return np.where(count > 0, (total[last] - total[first]) / np.maximum(count, 1), np.nan)


def blocks(time_s: Array, values: Array, edges_s: Array) -> Array:
    """Means between neighbouring edges; NaN where there is no sample."""
    return means(time_s, values, edges_s[:-1], edges_s[1:])
