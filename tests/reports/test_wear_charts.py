"""The charts of what is wearing out show their figures, and name a sensor that is missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flightlog.inputs import LinkSetting
from flightlog.operations.flight_view import BY_HAND, FlightView
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.figure_groups import WEAR
from flightlog.reports.wear_charts import wear_chart
from tests.reports.views import NO_RECORD, view, with_debrief, without


def with_figures(flight, **numbers):
    """Give a flight whose debrief has these figures, and withholds none of them."""
    said = {
        id_.replace("__", "."): {"value": value, "low": low, "high": high, "unit": unit}
        for id_, (value, low, high, unit) in numbers.items()
    }
    withheld = {k: v for k, v in flight.debrief["withheld"].items() if k not in said}
    figures = {**flight.debrief["figures"], **said}
    return with_debrief(flight, figures=figures, withheld=withheld)


@pytest.fixture(scope="module")
def flight():
    return with_figures(
        view(),
        battery__resistance=(0.020, 0.019, 0.021, "ohm"),
        landing__sink_rate=(0.7, 0.6, 0.8, "m/s"),
        landing__peak_load_factor=(2.4, 2.3, 2.5, ""),
        link__range_exponent=(2.0, 1.8, 2.2, ""),
        link__margin=(31.6, 27.0, 36.0, "dB"),
    )


@pytest.mark.parametrize("group", WEAR)
def test_every_group_has_a_chart_that_is_drawn(flight, group):
    chart = wear_chart(flight, group)

    assert "" == chart.lacking
    assert chart.x_unit
    for panel in chart.panels:
        looks = [(one.stroke, one.strong) for one in panel.lines]
        assert len(looks) == len(set(looks)), "told apart in greys"
        for one in panel.lines:
            assert (np.diff(one.x) >= 0).all()
    assert "<svg" in chart_svg(chart, 400, 235)


def test_the_battery_loses_what_its_resistance_says(flight):
    (panel,) = wear_chart(flight, "Battery").panels
    means, line = panel.lines

    assert 0.020 == pytest.approx(line.y[-1] / line.x[-1])
    assert 0.021 == pytest.approx(line.high[-1] / line.x[-1])
    # Samples lie about the line: what the charge takes is off, and nothing is left at no current.
    expected = np.interp(means.x, line.x, line.y)
    assert abs(float(np.median(means.y - expected))) < 0.03
    assert float(np.corrcoef(means.x, means.y)[0, 1]) > 0.9


def test_a_resistance_that_is_withheld_says_why(flight):
    figures = {k: v for k, v in flight.debrief["figures"].items() if k != "battery.resistance"}
    withheld = {"battery.resistance": "the current hardly changed"}
    chart = wear_chart(with_debrief(flight, figures=figures, withheld=withheld), "Battery")

    assert "Without the resistance nothing is drawn: the current hardly changed." == chart.lacking


def test_the_landing_stands_at_its_first_contact(flight):
    chart = wear_chart(flight, "Landing")
    height, load = chart.panels
    (mark,) = chart.marks

    assert ("first contact", 0.0) == (mark.name, mark.x)
    assert mark.low < 0 < mark.high
    flown, sink = height.lines
    assert -0.7 == pytest.approx((sink.y[1] - sink.y[0]) / (sink.x[1] - sink.x[0]))
    assert np.interp(-4.0, flown.x, flown.y) > 2 + np.interp(4.0, flown.x, flown.y)
    (spot,) = load.spots
    assert 2.4 == spot.y
    assert 0 <= spot.x < 1.5
    # Before the contact it flies: the load factor is about 1.
    (felt,) = load.lines
    assert 1 == pytest.approx(float(np.nanmean(felt.y[felt.x < -1])), abs=0.1)


def test_the_link_falls_with_its_exponent_and_names_the_margin(flight):
    chart = wear_chart(flight, "Link")
    (panel,) = chart.panels
    received, law = panel.lines

    # 10 n log10 of a tenfold distance
    at = np.interp([30.0, 300.0], law.x, law.y)
    assert -20.0 == pytest.approx(at[1] - at[0], abs=0.2)
    assert abs(float(np.median(received.y - np.interp(received.x, law.x, law.y)))) < 1.0
    assert ("dBm", "weakest usable power", -108.0) == (
        panel.unit,
        panel.bounds[0].name,
        panel.bounds[0].value,
    )
    assert [("margin 31.6 dB", 600.0)] == [(mark.name, mark.x) for mark in chart.marks]


def test_counts_that_nobody_scaled_stay_counts(flight):
    unscaled = replace(flight, aircraft=replace(flight.aircraft, link=LinkSetting()))
    chart = wear_chart(unscaled, "Link")

    assert "counts" == chart.panels[0].unit
    assert "raw_scale" in chart.left_out
    assert () == tuple(chart.marks)


def test_vibration_marks_the_ground_test_and_says_what_is_left_out(flight):
    tested = replace(flight, aircraft=replace(flight.aircraft, structure_hz=(11.5, 900.0)))
    chart = wear_chart(tested, "Vibration")

    assert [("ground test 11.5 Hz", 11.5)] == [
        (mark.name, mark.x) for mark in chart.marks if mark.limit
    ]
    middle = next(one for one in chart.panels[0].lines if one.strong)
    assert middle.x[0] >= 5.0
    assert (middle.y > 0).all()
    assert bool(chart.left_out) != any("turn" in mark.name for mark in chart.marks)


def test_a_surface_is_drawn_where_it_moved_most_as_wide_as_its_play(flight):
    played = with_figures(flight, surface__aileron__play=(3.0, 2.0, 4.0, "deg"))
    told, answer = wear_chart(played, "Surfaces").panels
    (line,) = told.lines

    assert "Told to the aileron" == told.label
    assert line.high - line.low == pytest.approx(3.0)
    assert line.y.max() - line.y.min() > 10
    assert "°/s" == answer.unit
    (rate,) = answer.lines
    assert abs(rate.x[0] - line.x[0]) < 0.5
    # Trailing edge of the right one up rolls right: rate and deflection go opposite ways.
    most = line.x[int(np.argmax(np.abs(line.y)))]
    after = rate.y[(rate.x >= most) & (rate.x < most + 0.3)]
    assert -np.sign(line.y[np.argmax(np.abs(line.y))]) * float(after.mean()) > 20


def test_a_surface_at_fault_comes_before_one_that_moves_more(flight):
    fault = {"code": "surface-play", "evidence": {"channel": 2}}
    chart = wear_chart(with_debrief(flight, findings=[fault]), "Surfaces")

    assert "Told to the elevator" == chart.panels[0].label


@pytest.mark.parametrize(
    ("tables", "group", "says"),
    [
        (("battery",), "Battery", "connect a battery monitor and log it"),
        (("outputs",), "Surfaces", "log what the outputs were told"),
        (("imu", "baro", "gps"), "Landing", "log a barometer"),
        (("link",), "Link", "log it"),
        (("imu",), "Vibration", "log the IMU"),
    ],
)
def test_a_sensor_that_is_missing_is_named(flight, tables, group, says):
    chart = wear_chart(without(flight, *tables), group)

    assert () == tuple(chart.panels)
    assert says in chart.lacking


def test_without_an_aircraft_file_surfaces_say_where_to_name_them(flight):
    assert "aircraft file" in wear_chart(replace(flight, aircraft=None), "Surfaces").lacking


@pytest.mark.parametrize("group", WEAR)
def test_a_flight_without_a_log_says_so(group):
    assert f"T{BY_HAND[1:]}." == wear_chart(FlightView(NO_RECORD, why=BY_HAND), group).lacking
