"""How a surface follows its pulse: deflections of both ways, and what is off the straight line."""

from __future__ import annotations

import numpy as np

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.linkage_tables import LinkageDetail, ReducedSurface
from flightlog.reports.chart import Array, Chart, Line, Panel, Stroke
from flightlog.uncertain import NORMAL_95

_ID, _TITLE = "linkage", "Pulse and deflection"
_MOST_SURFACES = 3


def chart(answer: GroundAnswer) -> Chart:
    """Draw the deflection of up to three surfaces over the pulse, and what is off the line.

    Parameters
    ----------
    answer : GroundAnswer
        Of a linkage.
    """
    detail = answer.detail
    if not isinstance(detail, LinkageDetail) or not detail.surfaces:
        return Chart(_ID, _TITLE, lacking="No surface was read at two pulses.")
    shown = detail.surfaces[:_MOST_SURFACES]
    panels = [panel for one in shown for panel in _panels(one)]
    more = len(detail.surfaces) - len(shown)
    left_out = f"{more} more surfaces are not drawn; the tables hold them." if more else ""
    return Chart(_ID, _TITLE, "pulse", "us", panels, left_out=left_out)


def _panels(one: ReducedSurface) -> tuple[Panel, Panel]:
    middle = one.middle
    pulse, at = middle.pulse_us, middle.deflection_deg
    line = at - one.off_line_deg
    half = NORMAL_95 * one.reading_std_deg
    band = bool(np.isfinite(half).all())
    name = "middle of both ways" if middle.sided else "as read, one way"
    whole = Line(
        name, pulse, at, at - half if band else None, at + half if band else None, "points"
    )
    straight = Line("straight line", pulse, line, stroke="dashed", strong=False)
    sides = [
        Line(word, pulse, values - line, stroke=stroke, strong=False)
        for word, values, stroke in _sides(one)
        if np.isfinite(values).any()
    ]
    off = Line(name, pulse, one.off_line_deg, stroke="points")
    return (
        Panel(f"{one.name}: deflection, trailing edge down", "deg", (whole, straight)),
        Panel(f"{one.name}: off the straight line", "deg", (off, *sides)),
    )


def _sides(one: ReducedSurface) -> tuple[tuple[str, Array, Stroke], ...]:
    return (
        ("pulse from below", one.from_side(1), "solid"),
        ("pulse from above", one.from_side(-1), "dashed"),
    )
