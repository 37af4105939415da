"""Each page in a real browser: nothing leaves, nothing fails, nothing is cut off."""

from __future__ import annotations

import shutil
from datetime import timedelta

import pytest

from tests.browser.serving import served
from tests.browser.watching import watched
from tests.dashboard.screens import keep_keys, keep_names

NAMES = ("Before", "After", "Season", "Ground tests", "Records")
LEGEND_PX = 84
"""So much of the picture of the load may stand below the first screen: name of the axis, legend."""
SIZES = ((1366, 768), (1180, 820))


@pytest.fixture(scope="module")
def released_address(released_place, tmp_path_factory):
    place, now = released_place
    root = tmp_path_factory.mktemp("pages")
    shutil.copytree(place, root, dirs_exist_ok=True)
    keep_names(root / "team")
    keep_keys(root / "stick")
    with served(root, now + timedelta(minutes=1)) as address:
        yield address


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_every_page_holds_at_the_sizes_of_field_laptops(browser, released_address, size):
    with watched(browser, released_address, *size) as window:
        window.open()
        for name in NAMES:
            window.go(name)
            window.refuse_cut_off()
            window.refuse_small_or_faint()
            here = window.page.locator('[data-testid="stTopNavLink"][aria-current="page"]')
            assert name == here.inner_text()
            said = window.page.locator(".stMain").inner_text()
            assert len(said) > 60, name
            assert "a fault of this program" not in said


@pytest.fixture(scope="module")
def season_address(season_place, tmp_path_factory):
    place, now = season_place
    root = tmp_path_factory.mktemp("load")
    shutil.copytree(place, root, dirs_exist_ok=True)
    keep_names(root / "team")
    keep_keys(root / "stick")
    with served(root, now + timedelta(minutes=1)) as address:
        yield address


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_how_much_may_be_loaded_is_answered_without_scrolling(browser, season_address, size):
    with watched(browser, season_address, *size) as window:
        window.open()
        window.page.get_by_role("radio", name="Load").click()
        window.settle()
        window.refuse_cut_off()
        window.refuse_small_or_faint()

        assert "units" in window.page.locator(".fl-tile-number").first.inner_text()
        picture = window.page.locator(".fl-picture").first.bounding_box()
        assert picture["y"] + picture["height"] - LEGEND_PX <= size[1]
        drawn = window.page.locator(".fl-picture").first.evaluate("e => e.naturalWidth")
        assert drawn == pytest.approx(picture["width"], abs=1), "letters are made smaller"


def test_the_first_page_is_found_by_its_name_too(browser, released_address):
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{released_address}/before")

    page.locator(".fl-state").first.wait_for()
    assert 0 == page.get_by_text("Page not found").count()
    context.close()
