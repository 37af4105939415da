"""The ready farm at the command line: its keys under passphrases, its clock standing."""

from __future__ import annotations

import hashlib
import os
import shutil
from datetime import datetime
from pathlib import Path

from flightlog.logbook.keyfile import Passphrase
from flightlog.logbook.keys import KeyFolder
from flightlog.logbook.names import Names
from flightlog.team.folder import TeamFolder
from tests.cli.teams import CHEAP, Terminal, passphrase_of
from tests.logbook.made import public_of
from tests.operations.made import CREW


def settled(terminal: Terminal, place: Path, now: datetime) -> Terminal:
    """Put a farm that was kept where a terminal works, and set its clock."""
    shutil.copytree(place, terminal.root, dirs_exist_ok=True)
    names = Names()
    for name in CREW:
        seeds = iter([hashlib.sha256(name.encode()).digest()])
        folder = KeyFolder(
            terminal.root / "profile" / "keys",
            cost=CHEAP,
            randomness=lambda count, seeds=seeds: next(seeds, None) or os.urandom(count),
        )
        assert public_of(name) == folder.create(Passphrase(passphrase_of(name))).key
        names = names.with_name(public_of(name), name)
    names.write(TeamFolder.read(terminal.team).names)
    terminal.at(now)
    return terminal
