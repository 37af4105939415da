"""Flights, works and parts of the hill farm, entered in one line each."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from flightlog.logbook.book import Logbook
from flightlog.logbook.entry import Entry, write_utc
from flightlog.logbook.merge import merge
from flightlog.operations.desk import Desk
from flightlog.team.folder import TeamFolder
from tests.operations.made import FILES, HandClock, HillFarm

DOER = ("mechanic", "performed", "mechanic")
LOOKER = ("observer", "inspected", "inspector")


def flown(
    farm: HillFarm,
    seconds: float | None = 600,
    *,
    aircraft: str = "pannier",
    pack: str = "pack-a",
    landings: int = 1,
    start: datetime | None = None,
    recording: Entry | None = None,
    number: int = 1,
    source: str = "log",
    **more: Any,
) -> Entry:
    """Add a sortie that began at ``start``, else one that ended five minutes before."""
    farm.clock.later(seconds=(seconds or 0) + 600)
    began = start or farm.clock.now - timedelta(seconds=(seconds or 0) + 300)
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "number": number,
        "source": source,
        "start": write_utc(began),
        "landings": landings,
        "attempts": 0,
        "pack": pack,
        "paired": "made for a test",
    }
    if seconds is not None:
        content["flown"] = {"value": f"{seconds:g}", "unit": "s"}
    cites = [recording] if recording is not None else []
    more.setdefault("cites", cites)
    return farm.add("sortie", {k: v for k, v in content.items() if v != ""}, **more)


def recorded(farm: HillFarm, sha256: str) -> Entry:
    """Add a recording."""
    content = {
        "file": "a.bin",
        "sha256": sha256,
        "format": "dataflash",
        "analyses": 1,
        "sorties": 2,
        "attempts": 0,
    }
    return farm.add("recording", content)


def moved(
    farm: HillFarm,
    done: str,
    component: str = "propeller-1",
    aircraft: str = "pannier",
    **more: Any,
) -> Entry:
    """Add that a component was fitted or removed."""
    content = {"component": component, "aircraft": aircraft, "position": "nose", "done": done}
    return farm.add("fitting", content, DOER, **more)


def did(farm: HillFarm, task: str, *signers: tuple[str, str, str], **about: Any) -> Entry:
    """Add that a task was done: of the aircraft, by the mechanic, unless said otherwise."""
    more = {k: about.pop(k) for k in ("occurred", "relations") if k in about}
    what = about or {"aircraft": "pannier"}
    return farm.add("task-done", {"task": task, **what}, *(signers or (DOER,)), **more)


def second_aircraft(farm: HillFarm) -> None:
    """Enter the file of another aircraft, "drover", without hours and tasks of its own."""
    text = FILES["aircraft", "pannier"].read_text(encoding="utf-8")
    text = text.replace('id = "pannier"', 'id = "drover"').replace("PN-01", "DR-01")
    text = text.replace("hours_before = 3.2", "hours_before = 0.0")
    text = text.replace("landings_before = 14", "landings_before = 0")
    farm.enter("aircraft", "drover", text.split("[[task]]")[0].encode())


def with_tasks(farm: HillFarm, *tasks: str, since: str = "2027-03-14") -> None:
    """Enter the file of the aircraft anew, first used on a day, with these tasks alone."""
    text = FILES["aircraft", "pannier"].read_text(encoding="utf-8").split("[[task]]")[0]
    text = text.replace("since = 2026-09-05", f"since = {since}" if since else "")
    text = text.replace("hours_before = 3.2", "hours_before = 0.0")
    text = text.replace("landings_before = 14", "landings_before = 0")
    farm.enter("aircraft", "pannier", (text + "".join(tasks)).encode())


def task(name: str, **keys: object) -> str:
    """Write a task of a team file."""
    words = {True: "true", False: "false"}
    lines = [f"{k} = {words.get(v, v) if isinstance(v, bool) else v}" for k, v in keys.items()]
    return "\n".join(["", "[[task]]", f'id = "{name}"', f'title = "The {name}"', *lines, ""])


def apart(farm: HillFarm, root: Path) -> HillFarm:
    """Give the farm at another laptop, with a copy of the folder as it is now."""
    other = HillFarm.__new__(HillFarm)
    other.clock = HandClock(farm.clock.now)
    shutil.copytree(farm.folder.path, root / "team")
    other.folder = TeamFolder.read(root / "team")
    other.book = Logbook.open(other.folder.logbook, profile=root / "profile", clock=other.clock)
    other.desk = Desk(other.folder, other.book, farm.desk.names)
    return other


def united(farm: HillFarm, other: HillFarm) -> None:
    """Take over what was entered at the other laptop, which is put away."""
    other.close()
    merge(farm.book, other.folder.logbook)
    farm.clock.now = max(farm.clock.now, other.clock.now) + timedelta(minutes=1)
    farm.desk.refresh()
