"""What has to be known of a static deflection before its figures are trusted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import GroundFigure
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.stiffness_loops import ALIKE_SHARE
from flightlog.groundtests.stiffness_setup import (
    BEND,
    DEFLECTION_SHARE,
    LOAD_SHARE,
    SET,
    Loaded,
    Setup,
)
from flightlog.uncertain import NORMAL_95

LEAST_STEPS = 4
MOST_SET_PCT, MOST_DEFLECTION_PCT = 5.0, 15.0
BENDS_PCT = 3.0
"""A stiffness that changes less from no load to the greatest is not told. [%]"""
_OFF = 6.0
"""A reading that lies so many times the usual distance off is told. [-]"""


def findings_of(
    test: Loaded, tables: Sequence[BenchTable], figures: Mapping[str, GroundFigure]
) -> list[Finding]:
    """Give the findings of a test and its figures.

    Parameters
    ----------
    test : Loaded
        The test.
    tables : sequence of BenchTable
        Its files, for their names.
    figures : mapping
        What stands.
    """
    found = []
    if test.rows.left_out:
        found.append(
            ground_finding(
                "stiffness-rows-left-out",
                f"{test.rows.left_out} rows lack a load or a deflection.",
                evidence={"rows": test.rows.left_out},
            )
        )
    if not test.rows.rooted:
        found.append(
            ground_finding(
                "stiffness-root-unmeasured",
                "Movement of the fixed end was not measured, so that it counts as deflection.",
            )
        )
    loads = np.bincount(test.each.level, weights=test.each.load_n) / np.bincount(test.each.level)
    steps = int((loads > ALIKE_SHARE * test.greatest_n).sum())
    if steps < LEAST_STEPS:
        found.append(
            ground_finding(
                "stiffness-few-steps",
                f"{steps} loads beside none; a curve shows from {LEAST_STEPS} on.",
                evidence={"steps": steps},
            )
        )
    found += _rows_off(test, tables)
    found += _of_figures(figures, test.setup)
    return found


def _rows_off(test: Loaded, tables: Sequence[BenchTable]) -> list[Finding]:
    """Name readings that lie off the others at their load: mistyped, or a gauge that slipped."""
    each, left = test.each, test.fit.residual_m
    group = 2 * each.level + each.falling
    usual = np.zeros(int(group.max()) + 1)
    for k in np.unique(group):
        usual[k] = np.median(left[group == k])
    count = np.bincount(group)
    off = np.abs(left - np.where(count > 2, usual, 0.0)[group])
    size = 1.4826 * float(np.median(off))
    least = max(size, (test.setup.reading_std_mm or 0.0) / 1e3, 1e-3 * test.deflection_m)
    rows = np.unique(each.row[off > _OFF * least])
    if not rows.size:
        return []
    at = rows[:5]
    told = ", ".join(f"{tables[test.rows.file[i]].name}:{test.rows.line[i]}" for i in at.tolist())
    more = f" and {rows.size - 5} more" if rows.size > 5 else ""
    message = f"{rows.size} readings lie far off the others at their load: {told}{more}."
    return [ground_finding("stiffness-rows-off", message, evidence={"rows": int(rows.size)})]


def _of_figures(figures: Mapping[str, GroundFigure], setup: Setup) -> list[Finding]:
    found = []
    left = figures.get(SET)
    if left is not None and left.quantity.value > MOST_SET_PCT:
        shown = left.quantity.probability_below(MOST_SET_PCT) < 0.05
        found.append(
            ground_finding(
                "stiffness-set-large",
                f"{left.quantity.value:.1f} % of the greatest deflection is left, more than "
                f"{MOST_SET_PCT:g} %{'' if shown else ', though the readings may explain it'}.",
                evidence={"set_pct": left.quantity.value},
            )
        )
    bends = figures.get(BEND)
    if bends is not None:
        value = bends.quantity.value
        if abs(value) > max(BENDS_PCT, NORMAL_95 * bends.quantity.std):
            found.append(
                ground_finding(
                    "stiffness-bends",
                    f"Stiffness {'rises' if value > 0 else 'falls'} by {abs(value):.1f} % from no "
                    "load to the greatest; the figure is the mean over these loads.",
                    evidence={"change_pct": value},
                )
            )
    share = figures.get(LOAD_SHARE)
    if share is not None and share.quantity.value < 100:
        found.append(
            ground_finding(
                "stiffness-below-limit-load",
                f"The greatest load is {share.quantity.value:.0f} % of the limit load of "
                f"{setup.limit_load_n:.4g} N.",
                evidence={"share_pct": share.quantity.value},
            )
        )
    bent = figures.get(DEFLECTION_SHARE)
    if bent is not None and bent.quantity.value > MOST_DEFLECTION_PCT:
        found.append(
            ground_finding(
                "stiffness-deflection-large",
                f"At limit load the tip bends by {bent.quantity.value:.1f} % of the semispan, "
                f"more than {MOST_DEFLECTION_PCT:g} %.",
                evidence={"share_pct": bent.quantity.value},
            )
        )
    return found
