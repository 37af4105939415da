"""The journey of a ground test: files dropped, figures read, signed, seen in the history."""

from __future__ import annotations

import json
import re
import shutil
from datetime import UTC, datetime

import pytest

from tests.browser.serving import served
from tests.browser.watching import watched
from tests.dashboard.screens import keep_keys, keep_names, passphrase_of
from tests.operations.made import SAMPLES

EVENING = datetime(2027, 3, 15, 18, 0, tzinfo=UTC)
BENCH = SAMPLES / "bench"


@pytest.fixture
def window(browser, farm_place, tmp_path):
    """The page of the hill farm, which has tested nothing yet."""
    shutil.copytree(farm_place[0], tmp_path, dirs_exist_ok=True)
    keep_names(tmp_path / "team")
    keep_keys(tmp_path / "stick")
    with served(tmp_path, EVENING) as address, watched(browser, address, 1180, 820) as window:
        window.open()
        window.go("Ground tests")
        yield window


def dropped(window, *names):
    files = [str(BENCH / name) for name in names]
    window.page.locator("input[type=file]").first.set_input_files(files)
    window.page.locator(".fl-answer, .fl-warn").first.wait_for()
    window.settle()


def pressed(window, name):
    window.page.get_by_role("button", name=name).click()
    window.settle()


def test_a_stand_file_is_dropped_read_signed_and_seen_in_the_history(window, tmp_path):
    page = window.page
    assert "Nothing was measured" in page.locator(".fl-empty").first.inner_text()

    dropped(window, "thrust_a.csv", "thrust_a.toml")
    answer = page.locator(".fl-answer")
    said = answer.inner_text()
    low, high = re.search(r"greatest thrust [\d.]+ N \(([\d.]+) to ([\d.]+)\)", said).groups()
    truth = json.loads((BENCH / "bench_truth.json").read_text(encoding="utf-8"))["thrust_a"]
    assert float(low) <= truth["steps"][-1]["thrust_n"] <= float(high)
    box = answer.bounding_box()
    assert box["y"] + box["height"] < 820, "the answer stands on the first screen"
    page.locator(".js-plotly-plot").first.wait_for()
    window.refuse_cut_off()
    window.refuse_small_or_faint()
    with page.expect_download() as coming:
        pressed(window, "(PDF)")
    paper = tmp_path / "sheet.pdf"
    coming.value.save_as(paper)
    assert paper.read_bytes().startswith(b"%PDF-")

    pressed(window, "Look at it before signing")
    page.get_by_label("passphrase").fill(passphrase_of("mechanic"))
    pressed(window, "Sign the test")
    page.get_by_text("Signed and added").wait_for()
    window.settle()

    said = page.locator(".stMain").inner_text()
    assert "component propeller-1" in said
    assert "PR-07" in said
    assert "one test only" in said
    assert "the next one shows whether it moves" in said
    assert 0 == page.locator(".fl-answer").count(), "the files are put away"
    window.refuse_cut_off()
    window.refuse_small_or_faint()

    window.go("After")
    window.go("Ground tests")
    assert "Measured last" in page.locator(".stMain").inner_text()


def test_what_lies_on_the_page_is_still_there_after_another_page(window):
    dropped(window, "weighing.csv", "weighing.toml")
    window.go("Season")
    window.go("Ground tests")

    assert "Weighing" in window.page.locator(".fl-answer").inner_text()
    pressed(window, "Put these files away")
    assert 0 == window.page.locator(".fl-answer").count()
