"""Whole teams in folders, with keys that open cheaply, for tests of the logbook as a whole."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flightlog.logbook.book import Draft, Founder, Logbook, founding
from flightlog.logbook.entry import Entry, Signer
from flightlog.logbook.unlocking import Unlocked
from tests.logbook.made import NOON, key_of, public_of

FOUNDERS = ("pilot", "mechanic")


@dataclass
class Watch:
    """A clock that goes on by a minute with each look, unless it is set."""

    now: datetime = NOON

    def __call__(self) -> tuple[datetime, str]:
        self.now += timedelta(minutes=1)
        return self.now, "laptop clock"

    def set_back(self, hours: float) -> None:
        self.now -= timedelta(hours=hours)


def unlocked(name: str, list_name: str = "") -> Unlocked:
    """A person's key, unlocked; without a passphrase, which other tests are about."""
    return Unlocked(key_of(name), list_name)


@dataclass
class Laptop:
    """One laptop with its own profile and its own copy of the team folder."""

    root: Path
    clock: Callable[[], tuple[datetime, str]] = field(default_factory=Watch)

    @property
    def team(self) -> Path:
        return self.root / "team"

    @property
    def logbook(self) -> Path:
        return self.team / "logbook"

    @property
    def profile(self) -> Path:
        return self.root / "profile"

    def found(self, founders: Sequence[str] = FOUNDERS) -> Logbook:
        draft = founding([Founder(public_of(name), (name,)) for name in founders])
        keys = [unlocked(name) for name in founders]
        return Logbook.found(self.logbook, draft, keys, profile=self.profile, clock=self.clock)

    def open(self, **options: Any) -> Logbook:
        return Logbook.open(self.logbook, profile=self.profile, clock=self.clock, **options)

    def copy_from(self, other: Laptop) -> Laptop:
        """Get a copy of the other laptop's team folder, as on a memory stick."""
        shutil.copytree(other.team, self.team)
        return self


def signed(book: Logbook, draft: Draft, names: Sequence[str] = (), *, list_name: str = "") -> Entry:
    """Show a draft, unlock, sign, add."""
    shown = book.show(draft)
    keys = [unlocked(name, list_name) for name in names]
    return book.append(draft, keys, shown=shown, list_name=list_name)


def remark(text: str, *names: str, **parts: Any) -> Draft:
    """A remark that the named persons are to sign."""
    return Draft(
        "remark", {"text": text}, [Signer(public_of(name), "stated") for name in names], **parts
    )


def noon_utc(hours: float) -> datetime:
    return (NOON + timedelta(hours=hours)).astimezone(UTC)
