"""The sample season's folder as the pages need it: made once, copied for each use."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from flightlog.cli.app import main
from flightlog.cli.season import PASSPHRASE
from flightlog.logbook.book import Logbook
from flightlog.logbook.keys import KeyFolder
from flightlog.logbook.names import Names
from flightlog.logbook.passphrases import Passphrase
from flightlog.operations.desk import Desk
from flightlog.operations.signers import hands_for
from flightlog.operations.weather import ROLE, weather_draft
from flightlog.team.folder import TeamFolder

EVENING = datetime(2027, 4, 6, 15, 0, tzinfo=UTC)
"""After the last flight of the season."""
MORNING = datetime(2027, 4, 7, 7, 30, tzinfo=UTC)
"""Before the first one of the day after."""
_WEATHER = {
    "mast_height": "2",
    "wind_mean": "2.4",
    "wind_gust": "3.6",
    "wind_from": "85",
    "pressure": "1004.0",
    "temperature": "14.5",
    "humidity": "62",
}


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


def measured(root: Path, now: datetime) -> None:
    """Enter weather, as an engineer measures it."""
    folder = TeamFolder.find(root / "team")
    profile, clock = root / "profile", lambda: (now, "laptop clock")
    with Logbook.open(folder.logbook, profile=profile, clock=clock) as book:
        desk = Desk(folder, book, Names.read(folder.names))
        who = hands_for(desk, (ROLE,), ())[0].key
        draft = weather_draft("top-field", "WM-1", _WEATHER, who)
        with KeyFolder(root / "stick").unlock(who, Passphrase(PASSPHRASE)) as unlocked:
            desk.append(draft, (unlocked,), shown=book.show(draft, desk.names))
