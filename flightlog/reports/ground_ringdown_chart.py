"""How a structure rang: each release under its fitted decay, and what the fit leaves."""

from __future__ import annotations

import numpy as np

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.ring_reading import Release
from flightlog.groundtests.ringdown import RingdownDetail
from flightlog.reports.chart import Array, Chart, Line, Panel, Stroke
from flightlog.reports.thinning import thinned

TITLE = "Ring-down"
_MOST_RELEASES = 4
_MOST_POINTS = 2000
_STROKES: tuple[Stroke, ...] = ("solid", "dashed", "dotted", "points")


def chart(answer: GroundAnswer) -> Chart:
    """Draw releases over the time since each window begins.

    Parameters
    ----------
    answer : GroundAnswer
        Of a ring-down.
    """
    detail = answer.detail
    if not isinstance(detail, RingdownDetail) or not detail.releases:
        reason = next(iter(answer.withheld.values()), "nothing rings")
        return Chart("ringdown", TITLE, lacking=f"Nothing to draw: {reason.rstrip('.')}.")
    shown = detail.releases[:_MOST_RELEASES]
    unit, size = ("mm", 1000.0) if detail.unit == "m" else (detail.unit, 1.0)
    panels = [_release(k, each, unit, size) for k, each in enumerate(shown, 1)]
    left = [
        _line(f"release {k}", each.ring.t, size * each.ring.fit.rest, _STROKES[k - 1])
        for k, each in enumerate(shown, 1)
    ]
    panels.append(Panel("Left by the fit", unit, left))
    more = len(detail.releases) - len(shown)
    return Chart(
        "ringdown",
        TITLE,
        "time since the window begins",
        "s",
        panels,
        left_out=f"{more} more releases are not drawn; the tables hold them." if more else "",
    )


def _release(number: int, found: Release, unit: str, size: float) -> Panel:
    """Draw the signal, without what does not decay, between the sums of fitted amplitudes."""
    ring = found.ring
    envelope = size * ring.envelope
    lines = (
        _line("signal, without hum and drift", ring.t, size * ring.signal, "solid"),
        _line("fitted decay", ring.t, envelope, "dashed"),
        _line("the same below", ring.t, -envelope, "dotted", strong=False),
    )
    return Panel(f"Release {number}, from {found.start_s:.2f} s", unit, lines)


def _line(name: str, x: Array, y: Array, stroke: Stroke, *, strong: bool = True) -> Line:
    line = Line(name, np.asarray(x), np.asarray(y), stroke=stroke, strong=strong)
    return thinned(line, _MOST_POINTS)
