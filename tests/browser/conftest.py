"""A browser for the journeys; without Chromium they are skipped and say so."""

from __future__ import annotations

import shutil

import pytest

from tests.browser.watching import ARGUMENTS
from tests.operations.conftest import farm_place  # noqa: F401
from tests.operations.released import ready_place, released_place  # noqa: F401
from tests.operations.takeoff_days import season_place  # noqa: F401

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


@pytest.fixture(scope="session")
def browser():
    """The system's Chromium, without a window and without a network."""
    found = next((place for name in _NAMES if (place := shutil.which(name))), None)
    if found is None:
        pytest.skip(f"no Chromium on this machine (looked for {', '.join(_NAMES)})")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield browser
        browser.close()
