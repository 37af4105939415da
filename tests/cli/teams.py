"""A team at the command line: passphrases through a descriptor, keys that open cheaply."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

import pytest

from flightlog.cli.app import main
from flightlog.logbook.keyfile import Cost
from flightlog.logbook.keys import KeyFolder

CHEAP = Cost(n=2**10)


def passphrase_of(name: str) -> str:
    return f"long words of the {name}"


@dataclass
class Terminal:
    """Runs commands as if typed, in one profile and for one team folder."""

    root: Path
    capture: pytest.CaptureFixture[str]
    patch: pytest.MonkeyPatch
    out: str = ""
    err: str = ""

    def __post_init__(self) -> None:
        self.laptop("profile")
        self.patch.setattr("flightlog.logbook.keys.KeyFolder", partial(KeyFolder, cost=CHEAP))
        self.patch.setenv("FLIGHTLOG_TEAM", str(self.team))

    @property
    def team(self) -> Path:
        return self.root / "team"

    def laptop(self, profile: str) -> None:
        """Go on at another laptop."""
        self.patch.setenv("FLIGHTLOG_PROFILE", str(self.root / profile))

    def at(self, now: datetime) -> None:
        """Set this laptop's clock; it then stands still."""
        self.patch.setattr("flightlog.cli.signing.clock", lambda: (now, "laptop clock"))

    def run(self, *words: str, types: Sequence[str] = ()) -> int:
        """Run one command; ``types`` are passphrases, one per line."""
        read, write = os.pipe()
        try:
            os.write(write, "".join(f"{text}\n" for text in types).encode())
            os.close(write)
            given = [*words, "--passphrase-fd", str(read)] if types else list(words)
            code = main(given)
        finally:
            os.close(read)
        self.out, self.err = self.capture.readouterr()
        return code

    def signs(self, *words: str, by: Sequence[str]) -> int:
        """Run one command that the named persons sign."""
        return self.run(*words, types=[passphrase_of(name) for name in by])

    def found(self) -> None:
        """Pilot and mechanic found the record."""
        names = ("pilot", "mechanic")
        code = self.signs(
            *("team", "new", str(self.team), "--name", "Hill farm"),
            *("--person", "pilot", "--roles", "pilot"),
            *("--person", "mechanic", "--roles", "mechanic,inspector"),
            by=[*names, *names],
        )
        assert 0 == code, self.err

    def head(self) -> str:
        """Give the code of the one head."""
        assert 0 == self.run("logbook", "head"), self.err
        return self.out.splitlines()[1].split()[0]


@pytest.fixture
def terminal(tmp_path, capsys, monkeypatch):
    return Terminal(tmp_path, capsys, monkeypatch)
