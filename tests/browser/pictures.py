"""Makes the pictures of the pages that stand in the documents.

Run as ``python -m tests.browser.pictures [DEMO]``: DEMO is a folder that ``flightlog demo`` made;
without it one is made first. Needs Chromium.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.seasons import EVENING, MORNING, laid_out, make_season, measured
from tests.browser.serving import served
from tests.browser.watching import ARGUMENTS, Watched, watched

PLACE = Path(__file__).parent / "pictures"
PAGES = ("Before", "After", "Season", "Ground tests", "Records")
SIZE = (1366, 768)


def picture(window: Watched, name: str) -> None:
    """Keep what is on the screen."""
    window.page.wait_for_timeout(1000)  # charts are drawn after the page has settled
    PLACE.mkdir(exist_ok=True)
    window.page.screenshot(path=str(PLACE / f"{name}.png"))


def before_load(window: Watched) -> None:
    """Ask how much may be loaded, with a pack that is nearly full."""
    page = window.page
    page.get_by_role("radio", name="Load").click()
    window.settle()
    volts = page.get_by_label("Pack at rest, V")
    volts.fill("25.0")
    volts.press("Tab")
    page.locator(".fl-tile-number").first.wait_for()
    window.settle()
    page.locator('[data-testid="stMain"]').evaluate("e => e.scrollTo(0, 0)")


def main(demo: Path | None) -> None:
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        root = laid_out(demo, Path(place) / "season") if demo else make_season(Path(place))
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=ARGUMENTS
        )
        with served(root, EVENING) as address, watched(browser, address, *SIZE) as window:
            window.open()
            for name in PAGES:
                window.go(name)
                picture(window, name.lower().replace(" ", "-"))
                window.refuse_cut_off()
        measured(root, MORNING)
        with served(root, MORNING) as address, watched(browser, address, *SIZE) as window:
            window.open()
            before_load(window)
            picture(window, "before-load")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
