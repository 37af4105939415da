"""The chart of a discharge shows what was measured and says what is not there."""

from __future__ import annotations

import numpy as np

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.discharge import reduce
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.ground_discharge_chart import chart
from tests.groundtests import packs
from tests.groundtests.discharge_reach import SETUP
from tests.groundtests.packs import table
from tests.groundtests.test_discharge import SETUP as STRAIGHT
from tests.groundtests.test_discharge import straight


def test_a_pulsed_discharge_has_voltage_cells_and_resistance():
    rng = np.random.default_rng(1)
    (one,) = packs.discharges([22.0], every_s=110.0)
    read = packs.Logger(5.0).read(one, rng)
    cells = {f"cell_{k}": read.columns["voltage"] / 6 - 0.01 * k for k in range(1, 7)}
    drawn = chart(reduce([table(**read.columns, **cells)], SETUP))

    labels = [panel.label for panel in drawn.panels]
    assert labels == ["Voltage of the pack", "Voltage of the cells", "Resistance, 1 s scale"]
    assert (drawn.x_label, drawn.x_unit) == ("charge drawn", "Ah")
    assert [mark.name for mark in drawn.marks] == ["cut-off"]
    assert drawn.panels[2].lines[0].low is not None
    assert "<svg" in chart_svg(drawn)


def test_a_plain_file_says_what_is_left_out():
    drawn = chart(reduce([straight(rate=0.2)], STRAIGHT))

    assert [panel.label for panel in drawn.panels] == ["Voltage of the pack", "Voltage per cell"]
    assert "Single cells are left out" in drawn.left_out
    assert "The resistance is left out" in drawn.left_out


def test_more_discharges_than_strokes_are_said():
    drawn = chart(reduce([straight() for _ in range(6)], STRAIGHT))

    assert len({line.stroke for line in drawn.panels[0].lines}) == len(drawn.panels[0].lines)
    assert "3 earlier discharges are not drawn" in drawn.left_out


def test_without_a_discharge_the_reason_stands_there():
    answer = GroundAnswer(withheld={"discharge.capacity": "the file has no current; log it"})

    assert chart(answer).lacking == "Nothing to draw: the file has no current; log it."
