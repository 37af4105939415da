"""Weather on the page before a flight: looked at, signed, and what is typed wrong."""

from __future__ import annotations

from tests.dashboard.before_page import (
    kept,
    length,
    ok,
    press,
    section,
    typed,
)
from tests.dashboard.screens import passphrase_of, texts
from tests.logbook.made import public_of
from tests.operations.released import WIND


def _weather(page, **numbers):
    for name, value in {**WIND, **numbers}.items():
        page.text_input(key=f"before-weather-{name}").set_value(value)
    page.text_input(key="before-weather-instrument").set_value("WM-1")
    return press(page, "before-weather-look")


def test_weather_is_looked_at_signed_and_clears_its_reason(farm_screen):
    page = section(ok(farm_screen.page("before")), "weather")
    assert "nobody measured it at top-field" in texts(page)

    _weather(page)
    assert "crosswind" in texts(page)
    page.selectbox(key="before-weather-by").set_value(public_of("mechanic")).run()
    press(typed(page, passphrase_of("mechanic")), "before-weather-sign")

    ok(page)
    assert "Signed and added: the weather" in texts(page)
    assert "nobody measured it at top-field" not in texts(page)
    field = page.text_input(key="before-weather-wind_mean")
    assert (True, "") == (field.proto.set_value, field.value), "the browser is told too"
    assert passphrase_of("mechanic") not in kept(page)


def test_a_wrong_number_is_told_and_what_was_typed_stays(farm_screen):
    page = section(ok(farm_screen.page("before")), "weather")

    _weather(page, pressure="100400")

    ok(page)
    assert "It looks like Pa" in texts(page)
    assert "100400" == page.text_input(key="before-weather-pressure").value
    assert not [f for f in page.text_input if "passphrase" in f.label.lower()]


def test_wind_beyond_the_limits_says_so_before_it_is_signed(farm_screen):
    page = section(ok(farm_screen.page("before")), "weather")

    _weather(page, wind_mean="9", wind_gust="14")

    assert "✕ beyond" in texts(page)


def test_a_wrong_passphrase_is_told_and_nothing_is_added(farm_screen):
    page = section(ok(farm_screen.page("before")), "weather")
    _weather(page)
    before = length(farm_screen)

    press(typed(page, "not the right words"), "before-weather-sign")

    ok(page)
    assert "passphrase" in texts(page)
    assert before == length(farm_screen)
    assert "not the right words" not in kept(page)


def test_weather_that_was_typed_a_while_ago_can_not_be_signed_as_measured_now(farm_screen):
    page = section(ok(farm_screen.page("before")), "weather")
    _weather(page)
    page.selectbox(key="before-weather-by").set_value(public_of("mechanic")).run()
    before = length(farm_screen)

    farm_screen.clock.later(minutes=11)
    press(typed(page, passphrase_of("mechanic")), "before-weather-sign")

    ok(page)
    assert "older than ten minutes" in texts(page)
    assert before == length(farm_screen)
    assert passphrase_of("mechanic") not in kept(page)
    press(page, "before-weather-look")
    assert "older than ten minutes" not in texts(page)
