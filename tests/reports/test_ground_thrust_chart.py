"""The chart of a thrust stand shows what stands, and says what it leaves out and why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.thrust import reduce
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.ground_thrust_chart import chart
from tests.groundtests.made_stand import Truth, made_stand


def answer(without: tuple[str, ...] = (), **stated: object) -> GroundAnswer:
    table, setup, _ = made_stand(3, Truth(rate_hz=20.0, levels=5))
    columns = {name: column for name, column in table.columns.items() if name not in without}
    return settled(reduce([replace(table, columns=columns)], replace(setup, **stated)))


def test_all_of_it_is_drawn_against_speed_with_bands():
    made = chart(answer())

    assert (made.x_label, made.x_unit) == ("speed", "rpm")
    assert len(made.panels) == 6
    for panel in made.panels:
        line = panel.lines[0]
        assert line.low is not None
        assert (line.low <= line.y).all()
        assert (np.diff(line.x) > 0).all()
    assert made.left_out == ""
    assert "<svg" in chart_svg(made)


def test_without_a_speed_it_is_drawn_against_power_and_says_what_is_missing():
    made = chart(answer(without=("speed",)))

    assert made.x_label == "electrical power"
    assert [panel.label for panel in made.panels] == ["Thrust"]
    assert "speed" in made.left_out


def test_without_power_it_is_drawn_against_the_throttle():
    made = chart(answer(without=("speed", "voltage", "current", "torque")))

    assert (made.x_label, made.x_unit) == ("pulse", "µs")


def test_a_thrust_that_nobody_can_vouch_for_has_no_band():
    made = chart(answer(thrust_std_n=None, thrust_std_pct=None))

    assert made.panels[0].lines[0].low is None
    assert "thrust_std_n" in made.left_out


def test_nothing_to_draw_is_said():
    assert chart(GroundAnswer()).lacking
