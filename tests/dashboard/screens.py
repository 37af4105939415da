"""A laptop with the pages open: a team folder, the crew's key files, and a clock in the hand."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from flightlog.dashboard import setup, shell
from flightlog.logbook.keyfile import Cost, seal
from flightlog.logbook.keys import KeyFolder
from flightlog.logbook.names import Names
from flightlog.logbook.passphrases import Passphrase
from flightlog.team.folder import TeamFolder
from tests.logbook.made import key_of, public_of
from tests.operations.made import CREW, HandClock

CHEAP = Cost(n=2**10)
PATIENCE_S = 60


def passphrase_of(name: str) -> str:
    return f"long words of the {name}"


class Screen:
    """The pages as one person has them open, without a browser."""

    def __init__(self, team: Path | None, root: Path, now: datetime) -> None:
        self.team = team
        self.keys = root / "stick"
        self.clock = HandClock(now)

    def page(self, name: str) -> AppTest:
        """Open a page in a new tab and draw it."""
        script = f"from flightlog.dashboard.pages import {name}\n{name}.show()\n"
        return AppTest.from_string(script, default_timeout=PATIENCE_S).run()


def keep_keys(place: Path) -> None:
    """Write the key files of persons, as on a stick of theirs; they open cheaply."""
    folder = KeyFolder(place)
    for name in CREW:
        sealed = seal(key_of(name), Passphrase(passphrase_of(name)), CHEAP, os.urandom)
        folder._write(folder._file(sealed.public), sealed)


def keep_names(team: Path) -> None:
    """Write the names of the crew beside the record."""
    names = Names()
    for name in CREW:
        names = names.with_name(public_of(name), name)
    names.write(TeamFolder.read(team).names)


def texts(page: AppTest) -> str:
    """Give all that a page says in its own HTML."""
    return "\n".join(
        str(element.proto.body) for element in page.main if element.type == "html"
    ) + "\n".join(str(e.proto.body) for e in page.get("html"))


def opened(monkeypatch: pytest.MonkeyPatch, screen: Screen, profile: Path) -> Screen:
    """Open the pages with a screen's team folder, keys and clock."""
    shell.close()
    monkeypatch.setenv("FLIGHTLOG_PROFILE", str(profile))
    given = setup.Setup(screen.team, (screen.keys,), screen.clock)
    monkeypatch.setattr(setup, "SETUP", given)
    return screen
