"""The journey after a flight: a log is dropped, the answer is read, the sheet is printed."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime

import pytest

from tests.browser.serving import served
from tests.browser.watching import watched
from tests.dashboard.screens import keep_keys, keep_names
from tests.operations.made import SAMPLES

EVENING = datetime(2027, 3, 15, 18, 0, tzinfo=UTC)


@pytest.fixture
def window(browser, farm_place, tmp_path):
    """The pages of the hill farm, which has flown nothing yet."""
    shutil.copytree(farm_place[0], tmp_path, dirs_exist_ok=True)
    keep_names(tmp_path / "team")
    keep_keys(tmp_path / "stick")
    with served(tmp_path, EVENING) as address, watched(browser, address) as window:
        yield window.open()


def dropped(window, *names):
    """Drop logs onto the page, and wait until the answer stands there."""
    window.go("After")
    files = [str(SAMPLES / name) for name in names]
    window.page.locator("input[type=file]").first.set_input_files(files)
    window.page.locator(".fl-answer").wait_for()
    window.settle()


def test_a_dropped_log_is_answered_with_its_limits_its_charts_and_what_it_lacked(window):
    window.go("After")
    assert "No flight is in the record" in window.page.locator(".fl-empty").inner_text()

    dropped(window, "calm.bin")

    page = window.page
    said = page.locator(".stMain").inner_text()
    assert re.search(r"Ground roll 2[78]\.\d m \(\d\d\.\d to \d\d\.\d\)", said)
    assert "FLOWN WITHOUT A RELEASE" in said
    assert "What came of the log" in said
    page.locator(".js-plotly-plot").nth(2).wait_for()
    page.get_by_role("radio", name="Laps side by side").click()
    window.settle()
    assert 1 == page.locator(".fl-heading", has_text="Laps side by side").count()
    assert "What is wearing out" in said
    assert "95 % interval" in said
    window.refuse_cut_off()


def test_log_and_card_dropped_together_are_one_flight(window):
    dropped(window, "calm.bin", "calm_transmitter.csv")

    window.page.get_by_text("What came of the log").click()
    said = window.page.locator(".stMain").inner_text()
    assert 1 == said.count("Sortie 1 is")


def test_a_file_that_is_no_log_is_told_and_the_page_goes_on(window, tmp_path):
    noise = tmp_path / "holiday.jpg"
    noise.write_bytes(bytes(range(256)) * 20)
    window.go("After")

    window.page.locator("input[type=file]").first.set_input_files(str(noise))
    window.page.locator(".fl-warn").wait_for()
    assert "holiday.jpg" in window.page.locator(".fl-warn").first.inner_text()

    dropped(window, "calm.bin")
    assert 0 == window.page.locator(".fl-warn", has_text="holiday.jpg").count()


def test_the_sheet_is_printed_and_opens_from_a_stick(window, browser, tmp_path):
    dropped(window, "calm.bin")
    page = window.page
    names = {}
    for ending in ("PDF", "HTML"):
        with page.expect_download() as coming:
            page.get_by_role("button", name=f"({ending})").click()
        names[ending] = tmp_path / coming.value.suggested_filename
        coming.value.save_as(names[ending])

    paper = names["PDF"].read_bytes()
    assert paper.startswith(b"%PDF-")
    roll = re.search(r"Ground roll \d\d\.\d m", page.locator(".fl-answer").inner_text()).group()
    with watched(browser, names["HTML"].as_uri()) as stick:
        stick.page.goto(names["HTML"].as_uri())
        said = stick.page.locator("body").inner_text()
        stick.refuse_cut_off()
    assert roll in said, "the same number on screen and sheet"
    assert names["PDF"].stem == names["HTML"].stem
    assert names["PDF"].stem in said
