"""A second laptop of the hill farm, with a copy of the team folder and a profile of its own."""

from __future__ import annotations

import shutil
from pathlib import Path

from flightlog.logbook.book import Logbook
from flightlog.logbook.merge import merge
from flightlog.operations.desk import Desk
from flightlog.team.folder import TeamFolder
from tests.operations.made import HandClock, HillFarm


def second_laptop(farm: HillFarm, root: Path) -> HillFarm:
    """Copy the team folder as it is now."""
    other = HillFarm.__new__(HillFarm)
    shutil.copytree(farm.folder.path, root / "team")
    other.clock = HandClock(farm.clock.now)
    other.folder = TeamFolder.read(root / "team")
    other.book = Logbook.open(other.folder.logbook, profile=root / "profile", clock=other.clock)
    other.desk = Desk(other.folder, other.book, farm.desk.names)
    return other


def take_over(farm: HillFarm, other: HillFarm) -> None:
    """Merge what another laptop has into this one's record."""
    merge(farm.book, other.folder.logbook)
    farm.desk.refresh()
