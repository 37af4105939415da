"""Weighings and load sheets of the hill farm, entered in one line each."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from flightlog.logbook.book import Logbook
from flightlog.logbook.entry import Entry, Signer
from flightlog.logbook.merge import merge
from flightlog.operations.desk import Desk
from flightlog.operations.load_sheet import sheet_draft
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.weighing import weighing_draft
from tests.logbook.made import public_of
from tests.operations.made import HillFarm
from tests.operations.released import copied

SCALES = ("nose=0.10,0=0.650", "left=0.50,-0.25=2.170", "right=0.50,0.25=2.180")
"""5.000 kg at (0.065 + 1.085 + 1.090) / 5 = 0.448 m."""
PLAN = Plan("pannier", "pack-a", site="top-field")


def signer(name: str = "mechanic", role: str = "engineer", meaning: str = "performed") -> Signer:
    return Signer(public_of(name), meaning, role)


def weighing_of(farm: HillFarm, scales: Any = SCALES, by: Any = None, **more: Any) -> Any:
    given = {
        "reading_std": "0.005",
        "arm_std": "0.001",
        "instrument": "SC-1 to SC-3",
        "state": "level, without pack",
        "signers": [by or signer()],
        **more,
    }
    return weighing_draft(farm.desk, "pannier", scales, **given)


def weighed(farm: HillFarm, scales: Any = SCALES, **more: Any) -> Entry:
    farm.clock.later(minutes=1)
    return farm.sign(weighing_of(farm, scales, **more), "mechanic")


def sheeted(farm: HillFarm, units: int = 8, pack: str = "pack-a", **more: Any) -> Entry:
    farm.clock.later(minutes=1)
    items = more.pop("items", ())
    draft = sheet_draft(farm.desk, "pannier", pack, units, [signer()], items, **more)
    return farm.sign(draft, "mechanic")


def made_by_hand(farm: HillFarm, sheet: Entry, **changed: Any) -> Entry:
    """Enter a sheet that says what another one does, but for what is changed."""
    content = {**dict(sheet.body.content), **changed}
    cited = farm.desk.ledger.named(sheet)
    return farm.add("load-sheet", content, ("mechanic", "performed", "engineer"), cites=cited)


def kg(value: str) -> dict[str, str]:
    return {"value": value, "unit": "kg"}


def happened(farm: HillFarm, event: str, **about: str) -> Entry:
    return farm.add("event", {"event": event, **(about or {"aircraft": "pannier"})})


def condition(found: list[Condition], name: str) -> Condition:
    (one,) = (c for c in found if c.name == name)
    return one


def rewritten(
    farm: HillFarm, old: str, new: str, kind: str = "aircraft", id_: str = "pannier"
) -> Entry:
    """Enter a file with one text in it replaced."""
    path = farm.desk.version(kind, id_).path
    text = path.read_text(encoding="utf-8")
    assert old in text
    farm.clock.later(minutes=1)
    return farm.enter(kind, id_, text.replace(old, new).encode())


@contextmanager
def other_laptop(farm: HillFarm, root: Path) -> Iterator[HillFarm]:
    """Give a copy of the farm at another laptop; what is entered there comes in at the end."""
    other = copied(farm.folder.path.parent, root / "other", farm.clock.now)
    other.book.close()
    shutil.rmtree(root / "other" / "profile")
    other.book = Logbook.open(
        other.folder.logbook, profile=root / "other" / "profile", clock=other.clock
    )
    other.desk = Desk(other.folder, other.book, other.desk.names)
    yield other
    merge(farm.book, other.folder.logbook)
    other.close()
    farm.clock.now = max(farm.clock.now, other.clock.now)
    farm.desk.refresh()
