from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import UsageError
from flightlog.operations.weather import (
    FIELDS,
    air_density,
    impossible,
    latest_weather,
    weather_draft,
    wind_components,
)
from tests.logbook.made import public_of
from tests.operations.released import WIND, wind


def drafted(place="top-field", elevation_m=None, **numbers):
    given = {k: v for k, v in {**WIND, **numbers}.items() if v is not None}
    return weather_draft(place, "WM-1", given, public_of("observer"), elevation_m=elevation_m)


class Said:
    """An entry as far as a weather entry is read."""

    def __init__(self, **numbers):
        content = dict(drafted().content)
        for name, value in numbers.items():
            content[name] = {"value": value, "unit": FIELDS[name].unit}
        self.body = type("Body", (), {"content": content})


def test_numbers_stand_in_the_entry_as_they_were_typed():
    content = drafted(wind_mean="3.30", averaged="120").content

    assert {"value": "3.30", "unit": "m/s"} == content["wind_mean"]
    assert {"value": "1004.0", "unit": "hPa"} == content["pressure"]
    assert {"value": "120", "unit": "s"} == content["averaged"]
    assert "read-off" == content["source"]


@pytest.mark.parametrize(
    ("numbers", "where", "says"),
    [
        ({"wind_gust": "3.2"}, "wind gust", "3.2 m/s is below the mean of 3.3 m/s"),
        ({"pressure": "100400"}, "pressure", "It looks like Pa: 1004 hPa"),
        ({"pressure": "100.4"}, "pressure", "It looks like kPa: 1004 hPa"),
        ({"pressure": "29.92"}, "pressure", "inches of mercury: 1013.2 hPa"),
        ({"pressure": "753"}, "pressure", "millimetres of mercury. Then it is 1003.9 hPa"),
        ({"pressure": "300"}, "pressure", "in hPa at the strip itself"),
        ({"temperature": "68"}, "temperature", "It looks like Fahrenheit"),
        ({"temperature": "284.6"}, "temperature", "It looks like kelvin"),
        ({"temperature": "-41"}, "temperature", "is not from -40 to 55"),
        ({"humidity": "0.62"}, "humidity", "It looks like a share of one: 62 %"),
        ({"humidity": "101"}, "humidity", "is not from 2 to 100"),
        ({"wind_mean": "41", "wind_gust": "50"}, "wind mean", "not in km/h or knots"),
        ({"wind_mean": "-1"}, "wind mean", "is not from 0 to 40"),
        ({"wind_from": "361"}, "wind from", "where the wind comes from"),
        ({"mast_height": "0.3"}, "mast height", "in metres"),
        ({"mast_height": "200"}, "mast height", "in metres"),
        ({"wind_mean": "3,3"}, "wind mean", "Write a full stop"),
        ({"humidity": "nan"}, "humidity", "is not a number"),
        ({"temperature": "1e1"}, "temperature", "is not a number"),
        ({"humidity": None}, "humidity", "is missing"),
        ({"wind_gust": None}, "wind gust", "is missing"),
    ],
)
def test_what_can_not_be_is_refused_and_the_likely_unit_named(numbers, where, says):
    with pytest.raises(UsageError) as caught:
        drafted(**numbers)

    assert where == caught.value.where
    assert says in caught.value.sentence()


def test_a_gust_may_equal_the_mean():
    assert drafted(wind_mean="3.30", wind_gust="3.3")


@pytest.mark.parametrize(
    ("hpa", "elevation", "fits"),
    [
        ("1013", 0.0, True),
        ("955", 500.0, True),  # 954.6 hPa in standard air
        ("1013", 500.0, False),  # reduced to sea level
        ("753", 0.0, False),
        ("753", 2400.0, True),  # 756.3 hPa: no millimetres up there
        ("970", 0.0, False),
    ],
)
def test_a_pressure_has_to_be_that_of_the_strip_where_its_height_is_known(hpa, elevation, fits):
    if fits:
        assert drafted(pressure=hpa, elevation_m=elevation)
        return
    with pytest.raises(UsageError, match="usual at"):
        drafted(pressure=hpa, elevation_m=elevation)


# --- components and density


@pytest.mark.parametrize(
    ("origin", "head", "cross"),
    [
        ("68", 5.0, 0.0),
        ("158", 0.0, 5.0),  # from the right
        ("338", 0.0, -5.0),
        ("248", -5.0, 0.0),
        ("98", 5 * math.cos(math.pi / 6), 2.5),
        ("8", 2.5, -5 * math.sin(math.pi / 3)),
    ],
)
def test_wind_splits_along_and_across_the_runway(origin, head, cross):
    parts = wind_components(Said(wind_mean="5", wind_gust="10", wind_from=origin), 68.0)

    assert pytest.approx((head, cross), abs=1e-9) == (parts.head, parts.cross)
    assert pytest.approx((2 * head, 2 * cross), abs=1e-9) == (parts.gust_head, parts.gust_cross)


def test_without_a_runway_the_whole_wind_is_crosswind():
    parts = wind_components(Said(wind_mean="5", wind_gust="10", wind_from="68"), None)

    assert (0.0, 5.0, 0.0, 10.0) == (parts.head, parts.cross, parts.gust_head, parts.gust_cross)


@given(st.integers(0, 360), st.floats(0, 360), st.integers(0, 40))
def test_components_make_the_wind_again(origin, heading, speed):
    entry = Said(wind_mean=str(speed), wind_gust=str(speed), wind_from=str(origin))
    parts = wind_components(entry, heading)

    assert math.hypot(parts.head, parts.cross) == pytest.approx(speed, abs=1e-9)
    turned = math.degrees(math.atan2(parts.cross, parts.head)) - (origin - heading)
    assert speed == 0 or abs((turned + 180) % 360 - 180) < 1e-6


def test_density_is_that_of_moist_air():
    """986 hPa, 30 °C, 60 %: 1.12204 kg/m³, computed outside of this program."""
    entry = Said(pressure="986.00", temperature="30.00", humidity="60")

    found = air_density(entry)

    assert pytest.approx(1.1220377018558598, rel=1e-9) == found.value
    # 1 hPa is 0.1 % of it, 2 K are 0.7 % and a little moisture, 5 % humidity 0.1 %.
    parts = {k: abs(v) / found.value for k, v in found.sources.items()}
    assert pytest.approx(100 / 98600, rel=0.02) == parts["air pressure"]
    assert 2 / 303.15 < parts["air temperature"] < 2.4 * 2 / 303.15
    assert pytest.approx(0.05 * 0.378 * 4233.72 / 98600, rel=0.02) == parts["air humidity"]


@pytest.mark.parametrize(
    "numbers",
    [
        {"temperature": "-243.12"},
        {"temperature": "9" * 39},
        {"humidity": "500"},
        {"pressure": "-1"},
        {"wind_mean": "-3.0"},
        {"wind_gust": "1.0"},
    ],
)
def test_an_entry_of_another_program_that_can_not_be_is_told_and_not_computed_with(numbers):
    entry = Said(**numbers)

    assert impossible(entry)
    assert air_density(entry) is None
    assert "" == impossible(Said())


# --- the record


def test_several_a_day_stand_beside_each_other_and_the_last_measured_is_the_latest(farm):
    assert latest_weather(farm.desk) is None
    first = wind(farm, wind_mean="2.0")
    elsewhere = wind(farm, place="far-field")
    late = farm.add(
        "weather",
        dict(first.body.content),
        ("observer", "measured", "engineer"),
        occurred=farm.clock.now.replace(hour=6),
    )

    assert elsewhere == latest_weather(farm.desk)
    assert first == latest_weather(farm.desk, "top-field")
    assert late != latest_weather(farm.desk, "top-field")
    assert latest_weather(farm.desk, "no-field") is None


def test_what_corrects_an_entry_takes_its_place(farm):
    wrong = wind(farm, wind_gust="14.6")
    farm.clock.later(minutes=1)
    draft = weather_draft("top-field", "WM-1", WIND, public_of("observer"), corrects=wrong)
    right = farm.sign(draft, "observer")

    assert right == latest_weather(farm.desk, "top-field")
    assert (right,) == farm.desk.ledger.of("weather")
