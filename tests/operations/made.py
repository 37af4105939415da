"""The hill farm's desk for tests: a team folder, a crew whose keys open at once, files in force."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flightlog.logbook.book import Draft, Founder, Logbook, founding
from flightlog.logbook.entry import CITES, Attachment, Effect, Entry, Relation, Signer
from flightlog.logbook.names import Names
from flightlog.operations.desk import Desk
from flightlog.team.files import FOLDERS
from flightlog.team.folder import TeamFolder
from tests.logbook.made import public_of
from tests.logbook.teams import unlocked

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_flights"
MORNING = datetime(2027, 3, 15, 7, 0, 0, tzinfo=UTC)

CREW = {
    "pilot": ("pilot", "inspector", "battery", "ground-station"),
    "mechanic": ("mechanic", "inspector", "safety", "engineer"),
    "observer": ("inspector", "safety", "engineer"),
}
"""Who founds the record, with which roles."""

FILES = {
    ("aircraft", "pannier"): SAMPLES / "pannier.toml",
    ("pack", "pack-a"): SAMPLES / "pack_a.toml",
    ("pack", "pack-b"): SAMPLES / "pack_b.toml",
    ("component", "propeller-1"): SAMPLES / "propeller_1.toml",
    ("site", "top-field"): SAMPLES / "site.toml",
    ("rules", "club-trial-2027"): ROOT / "checklists" / "club_trial_2027.toml",
    **{
        ("checklist", path.stem): path
        for path in sorted((ROOT / "checklists").glob("*.toml"))
        if path.stem != "club_trial_2027"
    },
}


class HandClock:
    """A clock that stands still until it is moved."""

    def __init__(self, now: datetime = MORNING) -> None:
        self.now = now

    def __call__(self) -> tuple[datetime, str]:
        return self.now, "laptop clock"

    def later(self, **by: float) -> datetime:
        self.now += timedelta(**by)
        return self.now


class HillFarm:
    """A desk in a folder of its own. ``farm.desk`` is what operations get."""

    def __init__(self, root: Path, now: datetime = MORNING) -> None:
        self.clock = HandClock(now)
        self.folder = TeamFolder.create(root / "team", "Hill farm")
        draft = founding([Founder(public_of(name), roles) for name, roles in CREW.items()])
        keys = [unlocked(name) for name in CREW]
        profile = root / "profile"
        self.book = Logbook.found(
            self.folder.logbook, draft, keys, profile=profile, clock=self.clock
        )
        names = Names()
        for name in CREW:
            names = names.with_name(public_of(name), name)
        self.desk = Desk(self.folder, self.book, names)

    def close(self) -> None:
        self.book.close()

    def add(
        self,
        kind: str,
        content: Mapping[str, Any],
        *signers: tuple[str, str] | tuple[str, str, str],
        cites: Iterable[Entry] = (),
        relations: Iterable[tuple[str, Entry]] = (),
        effect: tuple[str, str] | None = None,
        attachments: Iterable[Attachment] = (),
        occurred: datetime | None = None,
        minutes: float = 1,
    ) -> Entry:
        """Add an entry a minute after the last one; signers are (name, meaning[, role])."""
        self.clock.later(minutes=minutes)
        who = [Signer(public_of(s[0]), s[1], *s[2:]) for s in signers]
        related = [Relation(CITES, e.hash) for e in cites]
        related += [Relation(word, e.hash) for word, e in relations]
        draft = Draft(
            kind,
            content,
            who,
            list(attachments),
            related,
            Effect(*effect) if effect else None,
            occurred,
            "written down late" if occurred else "",
        )
        return self.sign(draft, *(s[0] for s in signers))

    def sign(self, draft: Draft, *names: str, list_name: str = "") -> Entry:
        """Show a draft, have it signed by the named persons, add it."""
        shown = self.book.show(draft) if names else None
        keys = tuple(unlocked(name, list_name) for name in names)
        return self.desk.append(draft, keys, shown=shown, list_name=list_name)

    def enter_files(self, files: Mapping[tuple[str, str], Path] = FILES) -> None:
        """Put team files into the folder and into the record, signed by two."""
        for (kind, id_), source in files.items():
            self.enter(kind, id_, source.read_bytes())

    def enter(self, kind: str, id_: str, data: bytes) -> Entry:
        place = self.folder.path / FOLDERS[kind] / f"{id_}.toml"
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(data)
        before = self.desk.versions.in_force(kind, id_)
        content = {
            "kind": kind,
            "id": id_,
            "sha256": hashlib.sha256(data).hexdigest(),
            "limit_changed": before is not None,
            "changes": [],
        }
        if before is not None:
            content["before"] = before.sha256
        attached = self.book.attach(place)
        return self.add(
            "file-version",
            content,
            ("mechanic", "entered", "mechanic"),
            ("observer", "agreed", "inspector"),
            attachments=[attached],
        )
