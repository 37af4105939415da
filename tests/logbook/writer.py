"""Write to a logbook's folder as a laptop does: by hand in tests, and as a process of its own.

python -m tests.logbook.writer entries RECORD NAME COUNT
python -m tests.logbook.writer turns FOLDER PROFILE COUNT
python -m tests.logbook.writer dies RECORD
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from flightlog.errors import NotWritableError
from flightlog.logbook.database import Connect, sqlite_connect
from flightlog.logbook.device import DeviceMemory
from flightlog.logbook.entry import Body, ClaimedTime, Entry, write_body
from flightlog.logbook.layout import RECORD
from flightlog.logbook.store import Store
from tests.logbook.made import NOON, TEAM, Maker


class Watched:
    """A connection that calls somebody before each statement, who may give another one."""

    def __init__(self, path: Path, mode: str, before: Callable[[str], str | None]) -> None:
        self.connection = sqlite_connect(path, mode)
        self.before = before

    def execute(self, sql: str, parameters: Iterable[object] = ()) -> object:
        return self.connection.execute(self.before(sql) or sql, parameters)

    def close(self) -> None:
        self.connection.close()


def watched(before: Callable[[str], str | None]) -> Callable[[Path, str], Watched]:
    return lambda path, mode: Watched(path, mode, before)


quick = watched(lambda sql: "PRAGMA synchronous=OFF" if "synchronous" in sql else None)
"""For what loses no power: a tenth of the time."""


def heads(entries: Iterable[Entry]) -> dict[str, tuple[str, ...]]:
    """Device -> the ends of its chain."""
    entries = list(entries)
    followed = {entry.body.previous for entry in entries}
    found: dict[str, tuple[str, ...]] = {}
    for entry in entries:
        if entry.hash not in followed:
            found[entry.body.device] = (*found.get(entry.body.device, ()), entry.hash)
    return found


def write_one(
    folder: Path,
    memory: DeviceMemory,
    text: str,
    at: Callable[[str], None] = lambda place: None,
    connect: Connect = sqlite_connect,
) -> Entry:
    """Add one entry of this laptop; ``at`` is told each place at which a process could die."""
    with Store(folder / RECORD, connect=connect) as store:
        with store.writing() as writing:
            entries = {row.hash: row.entry() for row in store.rows()}
            turn = memory.chain(TEAM, folder, heads(entries.values()))
            at("chosen")
            number = entries[turn.before].body.number + 1 if turn.before else 1
            data = write_body(
                Body(
                    team=TEAM,
                    device=turn.device,
                    number=number,
                    previous=turn.before,
                    seen=(),
                    time=ClaimedTime(NOON, "laptop clock"),
                    kind="remark",
                    content={"text": text},
                )
            )
            entry = Entry(data, turn.sign(data), ())
            turn.noting(entry.hash, number)
            at("noted")
            assert writing.add(entry)
        at("written")
    turn.done()
    return entry


def add_entries(record: Path, name: str, count: int) -> None:
    maker = Maker()
    for _ in range(count):
        maker.add(name, "remark")
    with Store(record) as store:
        for entry in maker.entries:
            with store.writing() as writing:
                assert writing.add(entry)


def take_turns(folder: Path, profile: Path, count: int) -> None:
    memory = DeviceMemory(profile)
    done = 0
    while done < count:
        try:
            write_one(folder, memory, f"{folder.name} {done}")
        except NotWritableError as error:
            if "at the same moment" not in error.found:
                raise
        else:
            done += 1


def die_before_the_mark(record: Path) -> None:
    def die(sql: str) -> None:
        if sql.startswith("INSERT INTO marks"):
            os._exit(77)

    Store(record, connect=watched(die)).close()


if __name__ == "__main__":
    task, *rest = sys.argv[1:]
    if task == "entries":
        add_entries(Path(rest[0]), rest[1], int(rest[2]))
    elif task == "turns":
        take_turns(Path(rest[0]), Path(rest[1]), int(rest[2]))
    elif task == "dies":
        die_before_the_mark(Path(rest[0]))
    else:
        sys.exit(f"{task}: what is that?")
