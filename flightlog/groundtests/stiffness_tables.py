"""What was read in a static deflection: means for its chart, loadings and rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flightlog.groundtests.answer import ResultColumn, ResultTable
from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.groundtests.stiffness_fit import Branches
from flightlog.groundtests.stiffness_loops import Loading
from flightlog.groundtests.stiffness_setup import Loaded

_MOST_ROWS = 400


def mean_of(each: Branches, falling: bool) -> FloatArray:
    """Give load and mean deflection of each load, from that of no load on the way up."""
    chosen = each.falling == falling
    if not chosen.any():
        return np.zeros((0, 2))
    zero = np.zeros(int(each.loading.max()) + 1)
    _, first = np.unique(each.loading, return_index=True)
    zero[each.loading[first]] = each.net_m[first]
    net = (each.net_m - zero[each.loading])[chosen]
    level, load = each.level[chosen], each.load_n[chosen]
    count = np.bincount(level)
    kept = count > 0
    sums = [np.bincount(level, weights=w)[kept] / count[kept] for w in (load, net)]
    return np.stack(sums, axis=1)


def tables_of(test: Loaded, tables: Sequence[BenchTable]) -> tuple[ResultTable, ...]:
    """Give the loadings, and the first rows against the line."""
    rows = test.rows
    loadings = ResultTable(
        "loadings",
        "Loadings",
        (
            ResultColumn("loading", "Loading", "", 0),
            ResultColumn("readings", "Readings", "", 0),
            ResultColumn("greatest_load_n", "Greatest load", "N", 2),
            ResultColumn("deflection_mm", "Deflection", "mm", 2),
            ResultColumn("stiffness_n_m", "Stiffness", "N/m", 1),
            ResultColumn("left_mm", "Left", "mm", 2),
        ),
        [_loading_row(test, each) for each in test.loadings[:_MOST_ROWS]],
    )
    every = ResultTable(
        "rows",
        "Readings, each against the line",
        (
            ResultColumn("file", "File"),
            ResultColumn("line", "Line", "", 0),
            ResultColumn("loading", "Loading", "", 0),
            ResultColumn("way", "Way"),
            ResultColumn("load_n", "Load", "N", 2),
            ResultColumn("deflection_mm", "Deflection", "mm", 3),
            ResultColumn("off_mm", "Off the line", "mm", 3),
        ),
        [
            (
                tables[rows.file[i]].name,
                int(rows.line[i]),
                int(loading) + 1,
                "down" if falling else "up",
                float(rows.load_n[i]),
                1e3 * float(rows.net_m[i]),
                1e3 * float(off),
            )
            for i, loading, falling, off in zip(
                test.each.row[:_MOST_ROWS],
                test.each.loading,
                test.each.falling,
                test.fit.residual_m,
                strict=False,
            )
        ],
    )
    return loadings, every


def _loading_row(test: Loaded, each: Loading) -> tuple[float | int | None, ...]:
    rows = test.rows
    mine = test.each.loading == each.number - 1
    branch = test.each.branch[mine]
    x, y = test.each.load_n[mine], test.each.net_m[mine]
    for b in np.unique(branch):
        x = np.where(branch == b, x - x[branch == b].mean(), x)
        y = np.where(branch == b, y - y[branch == b].mean(), y)
    sxy = float(x @ y)
    left = rows.net_m[each.down[-1]] - rows.net_m[each.up[0]] if each.returned else None
    return (
        each.number,
        int(each.rows.size),
        float(rows.load_n[each.up[-1]]),
        1e3 * float(rows.net_m[each.up[-1]] - rows.net_m[each.up[0]]),
        float(x @ x) / sxy if sxy > 0 else None,
        1e3 * float(left) if left is not None else None,
    )
