from __future__ import annotations

from dataclasses import replace

import pytest

from flightlog.inputs import WeatherLimits
from flightlog.operations.plan import Plan
from flightlog.operations.weather_limits import Judged, against_limits, weather_conditions
from tests.operations.loads import other_laptop, rewritten
from tests.operations.released import wind
from tests.operations.test_weather import Said

PLAN = Plan("pannier", "pack-a", site="top-field")
LIMITS = WeatherLimits(8.0, 11.0, 4.0, -5.0, 40.0)


def weather(farm, plan=PLAN):
    (found,) = weather_conditions(farm.desk, plan)
    assert "weather" == found.name
    assert bool(found.clear) != found.holds
    return found


def beyond(limits=LIMITS, heading=68.0, **numbers):
    return {j.name for j in against_limits(Said(**numbers), limits, heading) if not j.holds}


@pytest.mark.parametrize(
    ("numbers", "names"),
    [
        ({"wind_mean": "8.0", "wind_gust": "11.0", "wind_from": "68"}, set()),
        ({"wind_mean": "8.000001", "wind_gust": "11", "wind_from": "68"}, {"mean wind"}),
        ({"wind_mean": "8", "wind_gust": "11.000001", "wind_from": "68"}, {"gusts"}),
        ({"wind_mean": "3", "wind_gust": "4", "wind_from": "158"}, set()),
        ({"wind_mean": "3", "wind_gust": "4.000001", "wind_from": "158"}, {"crosswind in gusts"}),
        ({"wind_mean": "3", "wind_gust": "4.000001", "wind_from": "338"}, {"crosswind in gusts"}),
        (
            {"wind_mean": "4.1", "wind_gust": "4.1", "wind_from": "338"},
            {"crosswind", "crosswind in gusts"},
        ),
        ({"temperature": "40.000001"}, {"temperature"}),
        ({"temperature": "-5.000001"}, {"temperature"}),
        ({"temperature": "-5"}, set()),
    ],
)
def test_limits_are_compared_unrounded(numbers, names):
    assert names == beyond(**numbers)


def test_without_a_runway_the_whole_wind_is_judged_as_crosswind():
    names = beyond(heading=None, wind_mean="4.1", wind_gust="4.5", wind_from="68")

    assert all(name.endswith("(no runway known, so the whole wind)") for name in names)
    assert 2 == len(names)


def test_what_is_shown_stays_on_its_side_of_the_limit():
    assert "gusts 11.00001 m/s, at most 11 m/s" == Judged("gusts", 11.00001, "m/s", 11.0).says
    assert "gusts 11.0 m/s, at most 11 m/s" == Judged("gusts", 10.99, "m/s", 11.0).says
    assert "t -5.001 °C, at least -5 °C" == Judged("t", -5.001, "°C", -5.0, True).says
    assert "sets no limit" in Judged("gusts", 11.0, "m/s", None).says


# --- the condition


def test_fresh_weather_within_limits_holds(farm):
    entry = wind(farm)

    found = weather(farm)

    assert found.holds
    assert (entry,) == found.rests_on
    assert "top-field, 0 min ago: wind 3.3 m/s from 70 deg, gusts 4.6 m/s" in found.says
    assert "crosswind in gusts 0.2 m/s, at most 4 m/s" in found.says


def test_nothing_measured_is_held(farm):
    assert "nobody measured it at top-field" == weather(farm).says
    assert "flightlog weather add --place top-field" in weather(farm).clear


@pytest.mark.parametrize(
    ("numbers", "says"),
    [
        ({"wind_gust": "11.1"}, "gusts 11.1 m/s, at most 11 m/s"),
        ({"wind_from": "158"}, "crosswind in gusts 4.6 m/s, at most 4 m/s"),
        ({"temperature": "-6"}, "temperature -6.0 °C, at least -5 °C"),
    ],
)
def test_weather_beyond_a_limit_is_held_with_its_numbers(farm, numbers, says):
    entry = wind(farm, **numbers)

    assert not weather(farm).holds
    assert says in weather(farm).says
    assert (entry,) == weather(farm).rests_on


def test_it_holds_for_as_long_as_the_file_says(farm):
    wind(farm)
    farm.clock.later(minutes=60)
    farm.desk.refresh()
    assert weather(farm).holds

    farm.clock.later(minutes=0.1)
    farm.desk.refresh()
    assert not weather(farm).holds
    assert "measured 60 min ago at top-field; it holds for 60 min" == weather(farm).says


def test_what_is_written_down_late_counts_from_when_it_was_measured(farm):
    content = dict(wind(farm).body.content)
    farm.clock.later(hours=3)
    farm.add(
        "weather",
        content,
        ("observer", "measured", "engineer"),
        occurred=farm.clock.now.replace(hour=7, minute=30),
    )

    assert not weather(farm).holds


def test_another_place_counts_only_where_the_plan_names_no_site(farm):
    wind(farm, place="far-field", wind_mean="3.3", wind_gust="3.9")

    assert not weather(farm).holds
    anywhere = weather(farm, replace(PLAN, site=""))
    assert anywhere.holds
    assert "far-field" in anywhere.says
    assert "(no runway known, so the whole wind)" in anywhere.says


def test_only_an_engineer_lets_an_aircraft_fly_but_anybody_can_hold_it(farm):
    content = dict(wind(farm).body.content)
    farm.clock.later(hours=2)
    farm.add("weather", content, ("pilot", "measured", "pilot"))
    assert "nobody measured it at top-field in the role 'engineer'" == weather(farm).says

    wind(farm)
    assert weather(farm).holds
    strong = {**content, "wind_gust": {"value": "14", "unit": "m/s"}}
    entry = farm.add("weather", strong, ("pilot", "measured", "pilot"))
    assert not weather(farm).holds
    assert (entry,) == weather(farm).rests_on

    wind(farm)
    assert weather(farm).holds, "an engineer measured again, in the knowledge of it"


def test_a_late_entry_about_an_earlier_time_does_not_replace_what_was_measured_since(farm):
    strong = wind(farm, wind_gust="14.0")
    content = {**strong.body.content, "wind_gust": {"value": "4.6", "unit": "m/s"}}
    farm.clock.later(minutes=5)
    farm.add(
        "weather",
        content,
        ("observer", "measured", "engineer"),
        occurred=farm.desk.ledger.when(strong).replace(second=0, minute=1),
    )

    assert not weather(farm).holds


def test_an_earlier_gust_that_is_written_down_late_is_replaced_by_what_was_measured_since(farm):
    calm = wind(farm)
    content = {**calm.body.content, "wind_gust": {"value": "14", "unit": "m/s"}}
    before = farm.desk.ledger.when(calm).replace(second=0, minute=1)
    farm.add("weather", content, ("observer", "measured", "engineer"), occurred=before)

    assert weather(farm).holds


def test_weather_ahead_of_the_clock_is_held_until_it_is_measured_again(farm):
    wind(farm)
    farm.clock.later(minutes=-20)
    farm.desk.refresh()
    assert "lies ahead of this laptop's clock" in weather(farm).says

    wind(farm)
    assert weather(farm).holds


def test_what_can_not_be_is_held(farm):
    content = dict(wind(farm).body.content)
    for name in ("wind_mean", "wind_gust"):
        content[name] = {"value": "-3", "unit": "m/s"}
    farm.add("weather", content, ("observer", "measured", "engineer"))

    assert not weather(farm).holds
    assert "wind mean -3 m/s can't be" in weather(farm).says


# --- files


def test_without_limits_in_the_file_it_is_held(farm):
    wind(farm)
    text = farm.desk.version("aircraft", "pannier").path.read_text("utf-8")
    table = text[text.index("[weather]") : text.index("[[task]]")]

    rewritten(farm, table, "")
    assert "sets no limits for the weather" in weather(farm).says
    assert "Add [weather]" in weather(farm).clear

    rewritten(
        farm, '[[task]]\nid = "linkages"', '[weather]\nvalid_min = 60.0\n[[task]]\nid = "linkages"'
    )
    assert "sets no limits for the weather" in weather(farm).says


def test_a_limit_that_the_file_leaves_out_is_named(farm):
    wind(farm)
    rewritten(farm, "wind_gust_m_s = 11.0\n", "")

    assert weather(farm).holds
    assert "the aircraft's file sets no limit for gusts" in weather(farm).says


@pytest.mark.parametrize(
    "plan", [replace(PLAN, site="no-field"), replace(PLAN, aircraft="no-aircraft")]
)
def test_a_file_that_is_missing_is_held_and_raises_nothing(farm, plan):
    wind(farm, place="no-field")

    assert not weather(farm, plan).holds


def test_of_measurements_made_apart_all_have_to_be_within_the_limits(farm, tmp_path):
    with other_laptop(farm, tmp_path) as other:
        strong = wind(other, wind_gust="14.0")
        farm.clock.later(minutes=10)
        wind(farm)

    assert not weather(farm).holds
    assert (strong,) == weather(farm).rests_on
    again = wind(farm)
    assert weather(farm).holds
    assert (again,) == weather(farm).rests_on


def test_an_old_measurement_at_another_laptop_is_in_nobodys_way(farm, tmp_path):
    with other_laptop(farm, tmp_path) as other:
        wind(other, wind_gust="14.0")
        farm.clock.later(minutes=90)
        wind(farm)

    assert weather(farm).holds
