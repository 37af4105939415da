"""The tables of a season on the disk, and when they still hold.

::

    TEAM/tables/season/
      flights.parquet   a row for each flight: what is known of it, and its figures
      figures.parquet   a row for each figure of each flight: the number, or why it is withheld

They are made out of the record, can be thrown away, and are for anybody to read. Who can write in
the team folder could write anything into them. So this program believes them only where this laptop
made them itself: it notes, in the user's profile and so outside of the team folder, the digest of
the record whose signatures it had checked then, how the stored debriefs stood on the disk, and the
SHA-256 of what it wrote. While all of that is the same, the tables say what the record says.

Of the debriefs, size and times on the disk are compared, and not their bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.disk import PART, own_folder, read_small, remove_old, write_whole
from flightlog.figures import FIGURES
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.layout import ATTACHMENTS
from flightlog.logbook.state import stored_state
from flightlog.team.folder import TeamFolder

if TYPE_CHECKING:
    import pyarrow as pa

SCHEMA = "flightlog.season/1"
META = b"flightlog"
"""Under this key the schema of the files holds a JSON object; see `season_build.build`."""
UNIT = b"unit"
"""Under this key a column of numbers has its unit, in the file as in memory."""
FORM = 2
"""Rises when the tables would be others for the same record."""
FLIGHTS, FIGURES_FILE = "flights.parquet", "figures.parquet"
NOTE = "season.json"
NOTE_SCHEMA = "flightlog.season-note/1"
MOST_NOTES = 50
"""Of so many folders a laptop remembers what it made."""

_LARGEST = 1_000_000_000
_LARGEST_NOTE = 1_000_000
_OLD_S = 3600.0


class Tables:
    """Both tables, as pyarrow has them.

    Parameters
    ----------
    flights : pyarrow.Table
        A row for each flight.
    figures : callable
        Gives the table with a row for each figure of each flight, once it is asked for: most
        questions need only the other one.
    """

    def __init__(self, flights: pa.Table, figures: Callable[[], pa.Table]) -> None:
        self.flights = flights
        self._figures = figures

    @cached_property
    def figures(self) -> pa.Table:
        """A row for each figure of each flight: the number, or why it is withheld."""
        return self._figures()

    @cached_property
    def told(self) -> dict[str, Any]:
        """What their schema tells: entries, figures with label and unit, ids that are known."""
        return told_in(self.flights)


def told_in(table: pa.Table) -> dict[str, Any]:
    """Give what the schema of one of the tables tells; see `Tables.told`."""
    return dict(json.loads(table.schema.metadata[META]))


@dataclass(frozen=True, slots=True)
class Note:
    """What this laptop remembers of the tables that it made last for a folder.

    Attributes
    ----------
    form : str
        Of this program; see `form`.
    state : str
        Digest of the record.
    debriefs : str
        How the stored debriefs stood on the disk.
    made_utc : str
        When they were made, by the clock of this laptop.
    flights, figures : str
        SHA-256 of both files.
    """

    form: str
    state: str
    debriefs: str
    made_utc: str
    flights: str
    figures: str


@dataclass(frozen=True, slots=True)
class Kept:
    """Tables that this laptop made.

    Attributes
    ----------
    tables : Tables
        As they were made.
    made_utc : str
        When.
    hold : bool
        Whether they are of the record as it is now.
    """

    tables: Tables
    made_utc: str
    hold: bool


def form() -> str:
    """Say what this program would make: another one may know other figures."""
    kinds = [(kind.id, kind.unit, kind.label) for kind in FIGURES.values()]
    return f"{FORM}-{hashlib.sha256(repr(kinds).encode('utf-8')).hexdigest()[:16]}"


def folder_of(team: TeamFolder) -> Path:
    """Give the folder of the tables."""
    return team.tables / "season"


def debriefs_state(team: TeamFolder, sha256s: Iterable[str]) -> str:
    """Give a digest of how stored debriefs stand on the disk; another one means: look again."""
    store = AttachmentStore(team.logbook / ATTACHMENTS)
    found = hashlib.sha256()
    for sha256 in sha256s:
        try:
            info = store.path(sha256).lstat()
            there: object = (info.st_ino, info.st_size, info.st_mtime_ns, info.st_ctime_ns)
        except OSError:
            there = "missing"
        found.update(repr((sha256, there)).encode("utf-8"))
    return found.hexdigest()


# --- reading


def read_kept(team: TeamFolder, profile: Path) -> Kept | None:
    """Give the tables that this laptop made last; None where they are not what it wrote."""
    note = _notes(profile).get(_key(team))
    if note is None or note.form != form() or not _is_apart(team, profile):
        return None
    tables = _tables(folder_of(team), note)
    if tables is None:
        return None
    hold = note.state == stored_state(team.logbook)
    hold = hold and note.debriefs == debriefs_state(team, tables.told["debriefs"])
    return Kept(tables, note.made_utc, hold)


def _tables(folder: Path, note: Note) -> Tables | None:
    found = []
    for name, sha256 in ((FLIGHTS, note.flights), (FIGURES_FILE, note.figures)):
        data = _bytes(folder / name, _LARGEST)
        # Bytes of others are not even parsed.
        if data is None or hashlib.sha256(data).hexdigest() != sha256:
            return None
        found.append(data)
    return Tables(_parsed(found[0]), partial(_parsed, found[1]))


def _parsed(data: bytes) -> pa.Table:
    import pyarrow as pa
    import pyarrow.parquet as pq

    # Not read_table, which loads far more than it takes to read one file.
    return pq.ParquetFile(pa.BufferReader(data)).read()


def _bytes(path: Path, most: int) -> bytes | None:
    """Read a file of ours; None where there is none, or something else."""
    try:
        return read_small(path, most)
    except OSError:
        return None


# --- writing


def keep(team: TeamFolder, profile: Path, tables: Tables, debriefs: str, made_utc: str) -> bool:
    """Put tables on the disk, and note that this laptop made them.

    Parameters
    ----------
    team : TeamFolder
        Whose they are.
    profile : Path
        Of this laptop's user.
    tables : Tables
        What was made now.
    debriefs : str
        How the stored debriefs stood before they were read.
    made_utc : str
        Now. It is no part of the files: the same record gives the same bytes to every laptop.

    Returns
    -------
    bool
        Whether they are kept; False where the team folder can't be written, which is no fault.
    """
    hashes = []
    try:
        folder = own_folder(team.tables, folder_of(team).name)
        remove_old(folder, PART, _OLD_S)  # of processes that were ended
        for name, table in ((FLIGHTS, tables.flights), (FIGURES_FILE, tables.figures)):
            data = parquet_bytes(table)
            write_whole(folder / name, data)
            hashes.append(hashlib.sha256(data).hexdigest())
    except OSError:
        return False
    if _is_apart(team, profile):
        with suppress(OSError):  # then they are made once more the next time
            note = Note(form(), tables.told["state"], debriefs, made_utc, *hashes)
            _write_note(profile, _key(team), note)
    return True


def parquet_bytes(table: pa.Table) -> bytes:
    """Give a table as a Parquet file."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd")
    return bytes(sink.getvalue())


# --- the note


def _key(team: TeamFolder) -> str:
    return os.path.realpath(team.path)


def _is_apart(team: TeamFolder, profile: Path) -> bool:
    """Whether the profile is outside of the team folder: else others could write the note."""
    return not Path(os.path.realpath(profile)).is_relative_to(_key(team))


def _notes(profile: Path) -> dict[str, Note]:
    """Read all notes; none where there are none that this program wrote."""
    data = _bytes(profile / NOTE, _LARGEST_NOTE)
    try:
        body = json.loads(data or b"{}")
        folders: Mapping[str, Any] = body["folders"] if body["schema"] == NOTE_SCHEMA else {}
        return {key: Note(**{name: str(one[name]) for name in Note.__slots__})
                for key, one in folders.items()}  # fmt: skip
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}


def _write_note(profile: Path, key: str, note: Note) -> None:
    # Of two processes the last one counts; what the other noted is made once more, when asked for.
    notes = _notes(profile)
    notes.pop(key, None)
    latest = [*notes.items(), (key, note)][-MOST_NOTES:]
    folders = {where: asdict(one) for where, one in latest}
    body = {"schema": NOTE_SCHEMA, "folders": folders}
    profile.mkdir(mode=0o700, parents=True, exist_ok=True)
    remove_old(profile, PART, _OLD_S)
    text = json.dumps(body, ensure_ascii=False, indent=1)
    write_whole(profile / NOTE, text.encode("utf-8", "replace"))
