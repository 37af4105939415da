"""After something went wrong: restrict first, keep second, look last.

The aircraft and its packs are out of service before a single file is opened. Then every source is
copied by its hash, as it was found, and only then anything is read: logs that end in the middle of
a line, with clocks that disagree, are what to expect.
"""

from __future__ import annotations

import math
import stat
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from flightlog.columns import TABLES
from flightlog.errors import FlightlogError, UsageError
from flightlog.importers import read
from flightlog.joining.match import match
from flightlog.joining.sketch import sketch
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import (
    CITES,
    RESTRICTS,
    Attachment,
    Effect,
    Entry,
    Relation,
    Signer,
    write_utc,
)
from flightlog.logbook.flying_kinds import (
    BASELINE,
    FILE_VERSION,
    FITTING,
    INCIDENT,
    RECTIFICATION,
    RELEASE,
)
from flightlog.logbook.kinds import REMARK
from flightlog.operations.desk import Desk
from flightlog.operations.service import stop_draft
from flightlog.team.ledger import AIRCRAFT, PACK, subject

if TYPE_CHECKING:
    import numpy.typing as npt

    from flightlog.recording import Recording

LAST_S = 60.0
"""So much of the end is laid on one axis [s]."""
MOST_FILES = 2_000
MOST_IN_ONE = 60
"""Attachments of one entry; more go into further entries that cite the first."""
MOST_POINTS = 400
"""Points of a channel that are kept; lowest and highest of each stretch among them."""

Tell = Callable[[str], None]
_UNITS = {column.name: column.unit for columns in TABLES.values() for column in columns}


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one source."""

    path: Path
    attachment: Attachment | None
    why_not: str = ""


def restrict(
    desk: Desk,
    aircraft: str,
    packs: Sequence[str],
    facts: str,
    *,
    at: datetime | None = None,
    place: str = "",
) -> Entry:
    """Put aircraft and packs out of service at once, by the device alone.

    What is named need not be in the record: nothing is refused here for a slip of the pen.

    Returns
    -------
    Entry
        The incident.
    """
    content: dict[str, Any] = {"facts": facts, "packs": list(dict.fromkeys(packs))}
    if aircraft:
        content["aircraft"] = aircraft
    if at is not None:
        content["at"] = write_utc(at)
    if place:
        content["place"] = place
    thing, id_ = (AIRCRAFT, aircraft) if aircraft else (PACK, packs[0] if packs else "")
    if not id_:
        raise UsageError("of what?", where="incident", fix="Give --aircraft or --pack.")
    entry = desk.append(Draft(INCIDENT, content, effect=Effect(RESTRICTS, subject(thing, id_))))
    for pack in content["packs"]:
        if (thing, id_) != (PACK, pack):
            desk.append(stop_draft(PACK, pack, f"was in an incident: {facts}"[:400]))
    return entry


def keep(desk: Desk, incident: Entry, sources: Iterable[Path], tell: Tell) -> list[Kept]:
    """Copy every source by its hash; sources are opened for reading only.

    A file that can't be read is told and left; the others are kept all the same.
    """
    kept = []
    for path in _files(sources, tell):
        tell(f"keeping {path.name}")
        try:
            before = path.stat()
            attachment = desk.book.attachments.put(path, path.name)
            after = path.stat()
        except FlightlogError as error:
            kept.append(Kept(path, None, error.found))
            continue
        except OSError as error:
            kept.append(Kept(path, None, f"can't be read ({error.strerror})"))
            continue
        changed = (before.st_size, before.st_mtime) != (after.st_size, after.st_mtime)
        kept.append(Kept(path, attachment, "it changed while it was copied" if changed else ""))
    attachments = list({k.attachment.sha256: k.attachment for k in kept if k.attachment}.values())
    said = incident.body.content
    for start in range(0, len(attachments), MOST_IN_ONE):
        content = {
            "facts": "Sources as they were found, copied by their hash.",
            "packs": list(said["packs"]),
        }
        if AIRCRAFT in said:
            content[AIRCRAFT] = said[AIRCRAFT]
        desk.append(
            Draft(
                INCIDENT,
                content,
                attachments=attachments[start : start + MOST_IN_ONE],
                relations=[Relation(CITES, incident.hash)],
            )
        )
    return kept


def _files(sources: Iterable[Path], tell: Tell) -> Iterator[Path]:
    """Give the files among sources and below them; links and devices are told and left out."""
    count, seen = 0, set()
    waiting = list(sources)[::-1]
    while waiting:
        path = waiting.pop()
        try:
            info = path.lstat()
            if stat.S_ISLNK(info.st_mode):
                tell(f"left out, a link: {path}")
            elif stat.S_ISDIR(info.st_mode):
                waiting += sorted(path.iterdir(), reverse=True)
            elif not stat.S_ISREG(info.st_mode):
                tell(f"left out, no file: {path}")
            elif path.absolute() not in seen:
                seen.add(path.absolute())
                count += 1
                if count > MOST_FILES:
                    tell(f"left out from here: more than {MOST_FILES} files")
                    return
                yield path
        except OSError as error:
            tell(f"left out, can't be read ({error.strerror}): {path}")


def sources_of(desk: Desk, incident: Entry) -> tuple[Attachment, ...]:
    """Give all files that were kept of an incident."""
    entries = (incident, *desk.ledger.naming(incident, CITES, INCIDENT))
    found = {a.sha256: a for entry in entries for a in entry.body.attachments}
    return tuple(found.values())


# --- the last minute


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel on the common axis.

    Attributes
    ----------
    source, table, column, unit : str
        Where it comes from; the name of a column ends in its unit.
    time_s, value : array
        Seconds before the end (negative), and the values.
    """

    source: str
    table: str
    column: str
    unit: str
    time_s: npt.NDArray[np.float64]
    value: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Timeline:
    """The last minute of all logs.

    Attributes
    ----------
    channels : tuple of Channel
        On one axis: zero is the end of the log that goes on longest, or the time given.
    notes : tuple of str
        How each log was put on the axis, and what can't be read.
    """

    channels: tuple[Channel, ...]
    notes: tuple[str, ...]


def timeline(desk: Desk, attachments: Iterable[Attachment], at: datetime | None = None) -> Timeline:
    """Lay the last minute of all logs that can be read on one axis.

    Logs are aligned by what they both saw, else by their UTC; one that allows neither ends where
    the first ends, and that is said.
    """
    read_, notes = [], []
    for attachment in attachments:
        path = desk.book.attachments.path(attachment.sha256)
        try:
            read_.append((attachment.name, read(path)))
        except FlightlogError as error:
            notes.append(f"{attachment.name}: not read as a log: {error.found}")
    read_ = [(name, recording) for name, recording in read_ if math.isfinite(_end(recording))]
    if not read_:
        return Timeline((), (*notes, "no log could be read"))
    read_.sort(key=lambda r: -r[1].receipt.size)
    first_name, first = read_[0]
    offsets = [(first_name, first, 0.0, "the axis is its clock")]
    for name, recording in read_[1:]:
        offset, how = _offset(first, recording)
        offsets.append((name, recording, offset, how))
    end = max(_end(r) + offset for _, r, offset, _ in offsets)
    unix = first.receipt.utc.unix_offset_s
    if at is not None and unix is not None:
        end = at.timestamp() - unix
    elif unix is not None:
        with suppress(OverflowError, OSError, ValueError):
            notes.append(f"zero is {datetime.fromtimestamp(unix + end, UTC):%Y-%m-%d %H:%M:%S} UTC")
    channels: list[Channel] = []
    for name, recording, offset, how in offsets:
        notes.append(f"{name}: {how}")
        channels += _channels(name, recording, end - offset)
    return Timeline(tuple(channels), tuple(notes))


def _end(recording: Recording) -> float:
    ends = [
        float(np.nanmax(times))
        for name in recording
        if (table := recording.get(name)) is not None
        and len(table)
        and np.isfinite(times := table["time_s"].to_numpy(dtype=float)).any()
    ]
    return max(ends, default=math.nan)


def _offset(first: Recording, other: Recording) -> tuple[float, str]:
    """Give what is added to another log's clock, and how that was found."""
    found = match(sketch(first), sketch(other))
    if found.alignment is not None:
        clock = found.alignment.clock
        return clock.offset_s, f"by what both saw, within {1.96 * clock.std_s:.2f} s"
    one, two = first.receipt.utc, other.receipt.utc
    if one.unix_offset_s is not None and two.unix_offset_s is not None:
        std = math.hypot(one.std_s or 0.0, two.std_s or 0.0)
        return two.unix_offset_s - one.unix_offset_s, f"by UTC, within {1.96 * std:.1f} s"
    return _end(first) - _end(other), "NOT ALIGNED: its end is put on the end of the first"


def _channels(name: str, recording: Recording, end: float) -> Iterator[Channel]:
    for table_name in recording:
        table = recording.get(table_name)
        if table is None or table_name in ("parameters", "messages", "modes"):
            continue
        every = table["time_s"].to_numpy(dtype=float) - end
        near = (every >= -LAST_S) & (every <= 0.0)
        for column in table.columns:
            if column in ("time_s", "instance", "channel") or table[column].dtype.kind not in "fiu":
                continue
            for part, rows in _parts(table, near):
                values = table[column].to_numpy(dtype=float)[rows]
                good = np.isfinite(values)
                if good.any():
                    time_s, value = _thinned(every[rows][good], values[good])
                    unit = _UNITS.get(column, "")
                    yield Channel(name, f"{table_name}{part}", column, unit, time_s, value)


def _parts(table: Any, near: npt.NDArray[np.bool_]) -> Iterator[tuple[str, Any]]:
    """Split a table by instance or channel."""
    key = next((k for k in ("instance", "channel") if k in table.columns), None)
    if key is None:
        yield "", near
        return
    ids = table[key].to_numpy()
    for id_ in sorted(set(ids[near].tolist()))[:32]:
        yield f" {id_}", near & (ids == id_)


def _thinned(
    time_s: npt.NDArray[np.float64], value: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Leave the lowest and the highest value of each stretch, so that no peak is lost."""
    if len(time_s) <= MOST_POINTS:
        return time_s, value
    picked: set[int] = {0, len(time_s) - 1}
    for rows in np.array_split(np.arange(len(time_s)), MOST_POINTS // 2):
        picked |= {int(rows[value[rows].argmin()]), int(rows[value[rows].argmax()])}
    index = np.array(sorted(picked))
    return time_s[index], value[index]


# --- what the record says


@dataclass(frozen=True, slots=True)
class Around:
    """What the record says about an incident: facts of the record, and what persons think.

    Attributes
    ----------
    release : Entry or None
        The last one of the aircraft that the incident had seen.
    changes : tuple of Entry
        Last versions of files, baselines, fittings and repairs, the latest first.
    opinions : tuple of Entry
        Remarks that cite the incident.
    """

    release: Entry | None
    changes: tuple[Entry, ...]
    opinions: tuple[Entry, ...]


def around(desk: Desk, incident: Entry) -> Around:
    """Collect what the record says about an incident."""
    ledger = desk.ledger
    aircraft = incident.body.content.get(AIRCRAFT)
    seen = [e for e in ledger.order if ledger.has_seen(incident, e)]
    releases = [
        e for e in seen if e.body.kind == RELEASE and e.body.content["aircraft"] == aircraft
    ]
    kinds = (FILE_VERSION, BASELINE, FITTING, RECTIFICATION)
    changes = [e for e in seen if e.body.kind in kinds][::-1][:12]
    return Around(
        releases[-1] if releases else None,
        tuple(changes),
        ledger.naming(incident, CITES, REMARK),
    )


def opinion_draft(incident: Entry, text: str, key: str) -> Draft:
    """Draft what a person thinks about an incident; it stands apart from the facts."""
    relations = [Relation(CITES, incident.hash)]
    return Draft(REMARK, {"text": text}, [Signer(key, "stated")], relations=relations)
