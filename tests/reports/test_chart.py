"""Charts over one axis: all panels, each event once, and what one of them lacks is said."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.reports.chart import Chart, Line, Mark, Panel, together

ROW = np.array([0.0, 1.0])
LIFT = Mark("lift-off", 12.0)


def chart(id_, *panels, unit="s", **more):
    lines = [Panel(name, "m", (Line(name, ROW, ROW),)) for name in panels]
    return Chart(id_, id_, "time", unit, lines, **more)


def test_panels_follow_each_other_and_an_event_of_both_is_drawn_once():
    one = chart("one", "Height", "Speed", marks=[LIFT], left_out="No pitch.")
    two = chart("two", "Current", marks=[LIFT, Mark("standstill", 40.0)])

    found = together("time", "Over time", one, two)

    assert ["Height", "Speed", "Current"] == [panel.label for panel in found.panels]
    assert ["lift-off", "standstill"] == [mark.name for mark in found.marks]
    assert ("time", "s", "No pitch.", "") == (
        found.x_label,
        found.x_unit,
        found.left_out,
        found.lacking,
    )


def test_what_one_lacks_stands_beside_the_other():
    empty = Chart("two", "two", lacking="The log has no battery.")

    found = together("time", "Over time", chart("one", "Height"), empty)

    assert 1 == len(found.panels)
    assert "The log has no battery." == found.left_out


def test_without_any_panel_the_reasons_are_all_there_is():
    found = together("t", "T", Chart("a", "a", lacking="No log."), Chart("b", "b", lacking="Gone."))

    assert ((), "No log. Gone.") == (tuple(found.panels), found.lacking)


def test_other_axes_are_refused():
    with pytest.raises(ValueError, match="different axes"):
        together("t", "T", chart("one", "Height"), chart("two", "Height", unit="m"))
    with pytest.raises(ValueError, match="different axes"):
        together("t", "T", chart("one", "Height"), chart("map", "Track", map=True))
