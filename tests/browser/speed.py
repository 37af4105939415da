"""Measures the pages in a real browser: warm page switches, and a log dropped onto them.

Run as ``python -m tests.browser.speed [DEMO [LOG]]``: DEMO is a folder that ``flightlog demo``
made, LOG the log that is dropped; without them the season is made, and a sample flight dropped.
Prints a table; asserts nothing, since machines are noisy.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.pictures import PAGES
from tests.browser.seasons import EVENING, laid_out, make_season
from tests.browser.serving import served
from tests.browser.watching import ARGUMENTS, Watched, watched
from tests.operations.made import SAMPLES

ROUNDS = 5
ASKED = "document.querySelector('.st-key-after-whose-said') !== null"
ANSWERED = f"""before => {{ const e = document.querySelector('.fl-answer');
  return e && e.textContent !== before || {ASKED} }}"""


def switches(window: Watched) -> dict[str, list[float]]:
    """Go round the pages; the first round warms them up [s]."""
    found: dict[str, list[float]] = {name: [] for name in PAGES}
    for _ in range(ROUNDS + 1):
        for name in PAGES:
            began = time.perf_counter()
            window.go(name)
            found[name].append(time.perf_counter() - began)
    return {name: times[1:] for name, times in found.items()}


def drop(window: Watched, log: Path) -> tuple[float, float]:
    """Drop a log; give the times until the answer stands there, and until all is drawn [s].

    A log that does not name its aircraft is asked about, and answered at once: that waiting counts.
    """
    window.go("After")
    page = window.page
    before = page.locator(".fl-answer").first.text_content() or ""
    began = time.perf_counter()
    page.locator("input[type=file]").first.set_input_files(str(log))
    page.wait_for_function(ANSWERED, arg=before, timeout=120_000)
    said = page.get_by_role("button", name="It is of this one")
    if said.count():
        said.click()
        page.wait_for_function(f"b => !({ASKED}) && ({ANSWERED})(b)", arg=before, timeout=120_000)
    first = time.perf_counter() - began
    page.locator(".js-plotly-plot").nth(2).wait_for(timeout=120_000)
    window.settle()
    return first, time.perf_counter() - began


def main(demo: Path | None, log: Path) -> None:
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        root = laid_out(demo, Path(place) / "season") if demo else make_season(Path(place))
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=ARGUMENTS
        )
        with served(root, EVENING) as address, watched(browser, address) as window:
            window.open()
            for name, times in switches(window).items():
                print(f"{name:<14} {statistics.median(times):5.2f} s  (most {max(times):.2f} s)")
            first, whole = drop(window, log)
            size = log.stat().st_size / 1e6
            print(f"{log.name}, {size:.1f} MB: answer after {first:.2f} s, all {whole:.2f} s")
        browser.close()


if __name__ == "__main__":
    given = [Path(word) for word in sys.argv[1:]]
    main(given[0] if given else None, given[1] if len(given) > 1 else SAMPLES / "calm.bin")
