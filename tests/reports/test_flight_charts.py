from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flightlog.operations.flight_view import BY_HAND, FlightView
from flightlog.reports.chart import Mark
from flightlog.reports.flight_charts import NO_POSITION, flight_charts
from tests.reports.views import HOSTILE, NO_RECORD, stored, view, with_debrief, without

NAMES = ["roll", "track", "laps", "power", "flight"]


@pytest.fixture(scope="module")
def charts():
    return flight_charts(view())


def panel(chart, label):
    return next(p for p in chart.panels if p.label == label)


def values(view, name):
    return view.debrief["figures"][name]


def test_every_chart_is_there_and_lacks_nothing(charts):
    assert NAMES == list(charts)
    assert [""] * 5 == [c.lacking for c in charts.values()]
    assert [""] * 5 == [c.left_out for c in charts.values()]
    for name, chart in charts.items():
        assert name == chart.id
        assert chart.x_unit
        for each in chart.panels:
            looks = [(one.stroke, one.strong) for one in each.lines]
            assert len(looks) == len(set(looks)), (name, each.label)


# --- the roll


def test_the_roll_goes_from_the_start_to_beyond_the_lift_off(charts):
    speed, height = (charts["roll"].panels[n].lines[0] for n in (0, 1))

    assert 0 == pytest.approx(speed.x[0], abs=0.01)
    assert values(view(), "takeoff.ground_roll")["value"] + 40 == pytest.approx(
        speed.x[-1], abs=2.0
    )
    assert (np.diff(speed.x) >= 0).all()
    assert speed.y[0] < 0.3
    at = values(view(), "takeoff.ground_roll")["value"]
    told = values(view(), "takeoff.liftoff_ground_speed")
    assert told["low"] < np.interp(at, speed.x, speed.y) < told["high"]
    assert abs(np.interp(at, height.x, height.y)) < 0.3
    assert 2 < height.y[-1] < 15


def test_the_roll_has_bands_that_hold_its_lines(charts):
    for each in charts["roll"].panels:
        one = each.lines[0]
        assert (one.low < one.y).all()
        assert (one.y < one.high).all()


def test_lift_off_has_the_interval_of_the_figure_and_the_limit_its_clause(charts):
    figure = values(view(), "takeoff.ground_roll")

    assert (
        Mark("start of roll", 0.0),
        Mark("lift-off", figure["value"], figure["low"], figure["high"]),
        Mark("limit 40 m (clause 4.2)", 40.0, limit=True),
    ) == charts["roll"].marks


def test_a_limit_from_the_painted_line_lies_where_that_line_is():
    flight = view()
    outcome = {**flight.debrief["outcomes"][0], "definition": {"start": "line"}}
    chart = flight_charts(with_debrief(flight, outcomes=[outcome]))["roll"]
    behind = (
        values(flight, "takeoff.distance_from_line")["value"]
        - values(flight, "takeoff.ground_roll")["value"]
    )

    assert 40.0 - behind == chart.marks[-1].x


def test_a_limit_from_a_line_that_is_not_known_is_not_drawn():
    flight = view()
    outcome = {**flight.debrief["outcomes"][0], "definition": {"start": "line"}}
    figures = {k: v for k, v in flight.debrief["figures"].items() if "from_line" not in k}
    chart = flight_charts(with_debrief(flight, outcomes=[outcome], figures=figures))["roll"]

    assert ["start of roll", "lift-off"] == [mark.name for mark in chart.marks]


def test_a_roll_that_was_not_measured_says_why():
    flight = view()
    figures = {k: v for k, v in flight.debrief["figures"].items() if k != "takeoff.ground_roll"}
    withheld = {"takeoff.ground_roll": "launched by hand: there is no ground roll"}
    chart = flight_charts(with_debrief(flight, figures=figures, withheld=withheld))["roll"]

    assert () == tuple(chart.panels)
    assert "The roll can't be drawn: launched by hand: there is no ground roll." == chart.lacking


# --- the track


def test_the_track_is_in_metres_from_the_start_of_roll(charts):
    track = charts["track"].panels[0]
    roll = next(one for one in track.lines if one.name == "roll and climb")
    laps = next(one for one in track.lines if one.name == "laps")
    spots = {spot.name: spot for spot in track.spots}

    assert charts["track"].map
    assert 2.0 > np.hypot(roll.x[0], roll.y[0])
    told = values(view(), "takeoff.ground_roll")["value"]
    assert told == pytest.approx(np.hypot(spots["lift-off"].x, spots["lift-off"].y), abs=0.2)
    flown = np.hypot(np.diff(laps.x), np.diff(laps.y)).sum()
    assert sum(lap["distance"]["value"] for lap in view().debrief["laps"]) == pytest.approx(
        flown, rel=0.01
    )
    assert {"start of roll": "circle", "lift-off": "triangle", "touchdown": "square"}.items() <= {
        name: spot.shape for name, spot in spots.items()
    }.items()


def test_the_gate_is_where_the_laps_begin(charts):
    track = charts["track"].panels[0]
    gate = next(one for one in track.lines if one.name == "gate")
    laps = next(one for one in track.lines if one.name == "laps")
    along = np.array([gate.x[1] - gate.x[0], gate.y[1] - gate.y[0]])
    first = np.array([laps.x[0] - gate.x[0], laps.y[0] - gate.y[0]])
    off = abs(along[0] * first[1] - along[1] * first[0]) / np.hypot(*along)

    assert off < 3.0  # one step of the path
    assert 0 < first @ along < along @ along


def test_the_wind_stands_in_the_title(charts):
    assert charts["track"].title.startswith("Track over the ground, wind 0.4 m/s from 9")


def test_without_laps_the_flight_is_cut_at_its_events():
    track = flight_charts(with_debrief(view(), laps=[], gate=None))["track"].panels[0]

    assert ["flight", "roll", "landing roll"] == [one.name for one in track.lines]


def test_a_gate_of_another_place_is_not_drawn():
    gate = {"origin": "given", "left": [10.0, 10.0], "right": [10.0, 10.001]}
    track = flight_charts(with_debrief(view(), gate=gate))["track"].panels[0]

    assert "gate" not in [one.name for one in track.lines]


def test_nothing_is_drawn_where_no_fix_was():
    flight = view()
    start = flight.debrief["laps"][0]["start_s"] + 10
    path = replace(flight.path, gaps_s=((start, start + 8.0),))
    charts = flight_charts(replace(flight, path=path))
    laps = next(one for one in charts["track"].panels[0].lines if one.name == "laps")
    speed = panel(charts["flight"], "Speed").lines[0]

    assert 70 < np.isnan(laps.y).sum() < 90
    hole = (speed.x > start) & (speed.x < start + 8.0)
    assert np.isnan(speed.y[hole]).all()
    assert np.isfinite(speed.y[~hole]).all()


# --- laps


def test_laps_lie_side_by_side_and_the_best_is_strong(charts):
    height = panel(charts["laps"], "Height")
    best = [one for one in height.lines if one.strong]

    assert ["lap 1 (50.4 s, best)"] == [one.name for one in best]
    assert best[0] is height.lines[-1]
    assert 3 == len(height.lines)
    for one in height.lines:
        assert 0 == pytest.approx(one.x[0], abs=2.0)
        assert 857 == pytest.approx(one.x[-1], abs=5.0)
    assert ["Height", "Ground speed", "Power"] == [p.label for p in charts["laps"].panels]


def test_of_many_laps_all_but_three_are_thin():
    flight = view()
    first = flight.debrief["laps"][0]["start_s"]
    laps = [
        {"number": n + 1, "start_s": first + 10 * n, "end_s": first + 10 * (n + 1), "time": None}
        for n in range(12)
    ]
    charts = flight_charts(with_debrief(flight, laps=laps))
    looks = [(one.stroke, one.strong) for one in panel(charts["laps"], "Height").lines]
    names = [m.name for m in charts["flight"].marks if m.name.startswith("gate")]

    assert {
        ("solid", False): 9,
        ("dashed", False): 1,
        ("dotted", False): 1,
        ("solid", True): 1,
    } == {look: looks.count(look) for look in looks}
    assert ["gate 1", "gate 3", "gate 5", "gate 7", "gate 9", "gate 11", "gate 13"] == names


def test_without_a_lap_it_says_why():
    flight = with_debrief(view(), laps=[], withheld={"laps.mean_time": "the gate was crossed once"})

    assert (
        "There is no whole lap: the gate was crossed once." == flight_charts(flight)["laps"].lacking
    )


# --- battery and the whole flight


def test_power_is_drawn_with_limits_and_ends_at_the_energy_of_the_debrief(charts):
    chart = charts["power"]
    used = panel(chart, "Energy used")
    told = values(view(), "energy.used")

    assert ["Voltage", "Current", "Power", "Energy used"] == [p.label for p in chart.panels]
    end = np.interp(view().debrief["end_s"], used.lines[0].x, used.lines[0].y)
    assert told["value"] == pytest.approx(end, abs=0.01)
    assert 0 == pytest.approx(used.lines[0].y[0], abs=0.05)  # one sample after the start
    assert ["at most 60 A (clause 3.4)"] == [b.name for b in panel(chart, "Current").bounds]
    mean = next(one for one in panel(chart, "Current").lines if one.strong)
    most = values(view(), "battery.max_current")
    assert most["low"] < np.nanmax(mean.y) < most["high"]


def test_the_whole_flight_has_its_events_on_the_clock_of_the_log(charts):
    debrief = view().debrief
    crossings = [lap["start_s"] for lap in debrief["laps"]] + [debrief["laps"][-1]["end_s"]]

    assert [
        ("start of roll", debrief["start_s"]),
        ("lift-off", debrief["liftoff_s"]),
        *((f"gate {n}", at) for n, at in enumerate(crossings, start=1)),
        ("touchdown", debrief["touchdown_s"]),
        ("standstill", debrief["end_s"]),
    ] == [(m.name, m.x) for m in charts["flight"].marks]
    assert charts["flight"].marks == charts["power"].marks


def test_the_whole_flight_shows_height_speeds_attitude_and_throttle(charts):
    chart = charts["flight"]
    bank = panel(chart, "Bank and pitch").lines[0]
    throttle = panel(chart, "Throttle").lines[0]
    speed = panel(chart, "Speed")

    assert values(view(), "flight.max_bank")["value"] == pytest.approx(
        np.abs(bank.y).max(), abs=3.0
    )
    assert ("output 3", 1000, 1950) == (throttle.name, throttle.y.min(), throttle.y.max())
    assert ["over ground", "airspeed"] == [one.name for one in speed.lines]
    assert ["airspeed at most 24 m/s (aircraft file)"] == [b.name for b in speed.bounds]
    top = panel(chart, "Height").lines[0]
    assert values(view(), "flight.max_height")["value"] == pytest.approx(np.nanmax(top.y), abs=1.0)


# --- what is missing


@pytest.mark.parametrize(
    ("tables", "chart", "says", "gone"),
    [
        (("airspeed",), "flight", "airspeed (fit an airspeed sensor and log it)", None),
        (("attitude",), "flight", "bank and pitch (log the attitude)", "Bank and pitch"),
        (("outputs",), "flight", "throttle (log what the outputs were told)", "Throttle"),
        (("battery",), "laps", "Power is left out: the log has no battery data", "Power"),
    ],
)
def test_a_sensor_that_is_missing_is_named_and_its_panel_left_out(tables, chart, says, gone):
    made = flight_charts(without(view(), *tables))[chart]

    assert says in made.left_out
    assert "" == made.lacking
    assert made.panels
    assert gone not in [p.label for p in made.panels]


def test_without_a_battery_the_power_says_what_to_connect():
    chart = flight_charts(without(view(), "battery"))["power"]

    assert () == tuple(chart.panels)
    assert "connect a battery monitor and log it" in chart.lacking


def test_without_a_current_the_voltage_is_drawn():
    flight = view()
    log = flight.recording.without_column("battery.current_a")
    chart = flight_charts(replace(flight, recording=log))["power"]

    assert ["Voltage"] == [p.label for p in chart.panels]
    assert chart.left_out.startswith("Current, power and energy are left out: the log has no cur")


def test_without_positions_there_is_no_path_but_the_rest():
    charts = flight_charts(without(view(), "gps"))

    for name in ("roll", "track", "laps"):
        assert NO_POSITION == charts[name].lacking
    assert "speed over ground (log GPS position and speed)" in charts["flight"].left_out
    assert 4 == len(charts["power"].panels)


def test_without_heights_the_speed_stays():
    flight = view()
    path = replace(flight.path, height_m=None, height_std_m=None)
    charts = flight_charts(replace(flight, path=path))

    for name in ("roll", "laps", "flight"):
        assert not any(p.label.startswith("Height") for p in charts[name].panels)
        assert "log a barometer" in charts[name].left_out


@pytest.mark.parametrize("debrief", [{}, view().debrief])
def test_without_a_log_every_chart_says_why(debrief):
    charts = flight_charts(FlightView(NO_RECORD, debrief, why=BY_HAND))

    assert NAMES == list(charts)
    for chart in charts.values():
        assert () == tuple(chart.panels)
        assert f"T{BY_HAND[1:]}." == chart.lacking


def test_a_log_without_its_debrief_is_not_drawn():
    charts = flight_charts(FlightView(NO_RECORD, recording=stored()[0], why="no debrief"))

    assert {"No debrief."} == {chart.lacking for chart in charts.values()}


def test_a_motor_that_nobody_named_is_asked_for():
    chart = flight_charts(replace(view(), motors=()))["flight"]

    assert "throttle (name the motor's output in the aircraft file)" in chart.left_out


def test_positions_once_a_second_are_enough_for_every_chart():
    charts = flight_charts(view("position_1hz_only.bin"))

    assert [""] * 5 == [chart.lacking for chart in charts.values()]


def test_texts_of_the_record_get_into_names_without_control_codes():
    flight = view()
    outcomes = [{**o, "source": HOSTILE, "limit": HOSTILE} for o in flight.debrief["outcomes"]]
    charts = flight_charts(with_debrief(flight, outcomes=outcomes))
    names = [m.name for m in charts["roll"].marks]
    names += [b.name for c in charts.values() for p in c.panels for b in p.bounds]

    assert all(name.isprintable() and len(name) < 120 for name in names)
