"""The journey before a flight: two persons walk the daily list by the keyboard, and release."""

from __future__ import annotations

import shutil

import pytest

from flightlog.operations.checks import About
from tests.browser.serving import served
from tests.browser.watching import watched
from tests.dashboard.screens import keep_keys, keep_names, passphrase_of
from tests.operations.made import HillFarm
from tests.operations.released import (
    PLAN,
    baseline,
    charged,
    crewed,
    expected,
    keep,
    loaded,
    parameters_read,
    stated_fit,
    upkept,
    walked,
    weighed,
    wind,
)

DAILY = 7
"""Items of the daily list."""


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    """A farm that lacks nothing for a release but the daily list."""
    farm = HillFarm(tmp_path_factory.mktemp("made"))
    farm.enter_files()
    crewed(farm)
    upkept(farm, PLAN)
    baseline(farm)
    weighed(farm)
    stated_fit(farm)
    walked(farm, "pre-flight", About(PLAN.aircraft, PLAN.pack))
    parameters_read(farm)
    charged(farm)
    loaded(farm)
    wind(farm)
    expected(farm)
    place = tmp_path_factory.mktemp("kept")
    now = keep(farm, place)
    farm.close()
    keep_names(place / "team")
    keep_keys(place / "stick")
    return place, now


def state(window) -> str:
    return window.page.locator(".fl-state").first.inner_text()


def begin(window, name: str) -> None:
    """Let a person come to the laptop: choose the name, type the passphrase, press Enter."""
    page = window.page
    page.get_by_label("At the laptop").click()
    page.get_by_role("option", name=name).click()
    field = page.get_by_label("Passphrase")
    field.fill(passphrase_of(name))
    field.press("Enter")
    page.get_by_text(f"{name} ").and_(page.locator(".fl-note")).first.wait_for()
    window.settle()


def walk(window) -> int:
    """Pass every item that is before the person at the laptop, by the keyboard alone."""
    page, count = window.page, 0
    while page.get_by_role("button", name="Pass").count():
        text = page.locator(".bf-item").first.inner_text()
        page.wait_for_timeout(700)  # looked at: what is pressed at once is refused
        page.keyboard.press("p")
        page.wait_for_function(
            "text => document.querySelector('.bf-item')?.innerText !== text", arg=text
        )
        window.settle()
        count += 1
    return count


def test_the_daily_list_is_walked_by_two_and_the_release_signed(browser, morning, tmp_path):
    shutil.copytree(morning[0], tmp_path, dirs_exist_ok=True)
    with served(tmp_path, morning[1]) as address, watched(browser, address) as window:
        window.open()
        page = window.page
        assert "held" in state(window)

        page.get_by_role("radio", name="Lists").click()
        window.settle()
        page.get_by_role("button", name="Walk it").first.click()
        page.get_by_role("button", name="Begin: ").click()
        window.settle()
        window.refuse_cut_off()

        begin(window, "mechanic")
        assert DAILY - 1 == walk(window)
        page.get_by_role("button", name="Hand over").click()
        window.settle()
        begin(window, "pilot")
        assert 3 == walk(window), "the packs, and two second looks"

        window.settle()
        assert "ready" in state(window), page.locator(".stMain").inner_text()
        page.get_by_role("radio", name="Release").click()
        window.settle()
        window.refuse_cut_off()
        page.get_by_label("pilot").and_(page.locator("input[type=password]")).fill(
            passphrase_of("pilot")
        )
        page.locator("input[type=password]").nth(1).fill(passphrase_of("mechanic"))
        page.get_by_role("button", name="Sign the release, both").click()

        page.locator(".fl-state", has_text="released").wait_for()
        window.settle()
        assert "For one flight, until" in page.locator(".stMain").inner_text()
        assert 0 == page.locator("input[type=password]").count()
        page.reload()
        window.settle()
        assert "released" in state(window)
