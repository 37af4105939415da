"""Records whose last write was interrupted, and journals that somebody made up."""

from __future__ import annotations

import shutil
import sqlite3
import struct
from contextlib import closing
from pathlib import Path


def interrupted_copy(record: Path, folder: Path) -> Path:
    """A copy of a record in the middle of a write that had begun to change pages."""
    folder.mkdir()
    with closing(sqlite3.connect(record, isolation_level=None)) as connection:
        connection.execute("PRAGMA cache_size=1")  # so that pages go to the file before the end
        connection.execute("BEGIN")
        connection.execute("CREATE TABLE big AS SELECT zeroblob(9000) FROM entries, entries AS b")
        for path in record.parent.glob("record*"):
            shutil.copy(path, folder / path.name)
        connection.execute("ROLLBACK")
    return folder / record.name


def name_another_file(record: Path, other: Path) -> None:
    """Make the journal of a record name a file for SQLite to remove (fileformat.html, 3)."""
    name = str(other).encode()
    page = struct.pack(">I", 0x40000000 // 4096 + 1)
    with Path(f"{record}-journal").open("ab") as journal:
        journal.write(page + name + struct.pack(">II", len(name), sum(name)))
        journal.write(bytes.fromhex("d9d505f920a163d7"))
