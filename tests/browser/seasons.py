"""The sample season's folder as the pages need it: made once, copied for each use."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from flightlog.cli.app import main

EVENING = datetime(2027, 4, 6, 15, 0, tzinfo=UTC)
"""After the last flight of the season."""


def make_season(place: Path) -> Path:
    """Make the demo's season in a folder, laid out as ``serving`` wants it."""
    demo = place / "demo"
    assert 0 == main(["demo", "--to", str(demo)])
    return laid_out(demo, place / "season")


def laid_out(demo: Path, root: Path) -> Path:
    """Copy team folder, keys and profile of a demo."""
    for name, there in (("team", "team"), ("keys", "stick"), ("profile", "profile")):
        shutil.copytree(demo / name, root / there)
    return root
