"""The figures of all flights as two tables, made out of the record.

What is read once of a stored debrief is not read again: its bytes are still held against their
hash, but not parsed. Everything else follows from the entries, and is made anew each time.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from flightlog.figures import FIGURES
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment
from flightlog.logbook.flying_kinds import FILE_VERSION
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.season_kept import META, SCHEMA, UNIT, Tables
from flightlog.operations.season_table import (
    DENSITY,
    DENSITY_UNIT,
    Number,
    density_of,
    numbers_in,
    released_word,
    why_no_debrief,
)
from flightlog.operations.sorties import SortieRecord, debrief_in, debriefs_named, sorties
from flightlog.operations.usage import AIRCRAFT, PACK, is_whole, timed_first

if TYPE_CHECKING:
    import pyarrow as pa

_EPOCH, _TICK = datetime(1970, 1, 1, tzinfo=UTC), timedelta(microseconds=1)
DENSITY_LABEL = "Density of the air"


@dataclass(frozen=True, slots=True)
class Numbers:
    """What the stored debrief of one flight says: its figures, and why others are withheld."""

    figures: Mapping[str, Number]
    withheld: Mapping[str, str]


Known = Mapping[tuple[str, int], Numbers]
"""SHA-256 of a stored debrief and number of the flight in it -> what it says."""


@dataclass
class _Reader:
    """Reads stored debriefs, each once, and keeps no more of them than their numbers."""

    store: AttachmentStore
    known: Known
    _whole: dict[str, bool] = field(default_factory=dict)
    _parsed: dict[str, dict[int, Numbers] | None] = field(default_factory=dict)

    def of(self, flight: SortieRecord) -> tuple[str, Numbers | None]:
        """Give the SHA-256 of a flight's debrief and what it says; None where it can't be had."""
        named_ = debriefs_named(flight.recording) if flight.recording is not None else ()
        for attachment in filter(self._is_whole, named_):
            key = attachment.sha256, flight.number
            if key in self.known:
                return attachment.sha256, self.known[key]
            each = self._each(attachment.sha256)
            if each is not None:
                found = each.get(flight.number)
                return (attachment.sha256, found) if found is not None else ("", None)
        return "", None

    def _is_whole(self, attachment: Attachment) -> bool:
        if attachment.sha256 not in self._whole:
            self._whole[attachment.sha256] = self.store.problem(attachment) is None
        return self._whole[attachment.sha256]

    def _each(self, sha256: str) -> dict[int, Numbers] | None:
        """Read a debrief: number of a flight -> what it says; None where it is no debrief."""
        if sha256 not in self._parsed:
            try:
                body = debrief_in(self.store.path(sha256))
            except OSError:  # gone since it was looked at
                body = {}
            said = reversed(body.get("sorties", []))  # of two of one number the first counts
            each = {one["number"]: Numbers(*numbers_in(one)) for one in said}
            self._parsed[sha256] = each if body else None
        return self._parsed[sha256]


@dataclass(frozen=True, slots=True)
class _Flight:
    record: SortieRecord
    debrief_sha256: str
    figures: Mapping[str, Number]
    withheld: Mapping[str, str]
    no_debrief: str


def watched_of(desk: Desk) -> list[str]:
    """Give the SHA-256 of all stored debriefs on which the tables rest, whole or not."""
    recordings = {f.recording.hash: f.recording for f in sorties(desk) if f.recording is not None}
    return sorted({a.sha256 for one in recordings.values() for a in debriefs_named(one)})


def build(desk: Desk, known: Known) -> Tables:
    """Make both tables.

    Parameters
    ----------
    desk : Desk
        The record.
    known : mapping
        What was read earlier; what was read of bytes holds for ever.
    """
    reader = _Reader(desk.book.attachments, known)
    flights = [_flight(desk, flight, reader) for flight in timed_first(sorties(desk))]
    seen = {id_ for flight in flights for id_ in (*flight.figures, *flight.withheld)}
    ids = [id_ for id_ in (*FIGURES.ordered(_figures(seen)), DENSITY) if id_ in seen]
    told = {
        "schema": SCHEMA,
        "state": desk.book.state,
        "entries": len(desk.book.order),
        "debriefs": watched_of(desk),
        "figures": [{"figure": id_, "label": label_of(id_), "unit": unit_of(id_)} for id_ in ids],
        "known": {AIRCRAFT: _ids(desk, AIRCRAFT), PACK: _ids(desk, PACK)},
    }
    return Tables(_wide(flights, ids, told), partial(_long, flights, told))


def _figures(ids: Iterable[str]) -> set[str]:
    """Keep those that this program knows: a debrief may be of a newer one."""
    return {id_ for id_ in ids if id_ in FIGURES}


def _ids(desk: Desk, kind: str) -> list[str]:
    files = [e.body.content for e in desk.ledger.of(FILE_VERSION)]
    entered = {said["id"] for said in files if said["kind"] == kind}
    return sorted(entered | {getattr(flight, kind) for flight in sorties(desk)} - {""})


def unit_of(id_: str) -> str:
    """Give the unit of a figure, or of the density of the air."""
    return DENSITY_UNIT if id_ == DENSITY else FIGURES[id_].unit


def label_of(id_: str) -> str:
    """Give the short name of a figure, or of the density of the air."""
    return DENSITY_LABEL if id_ == DENSITY else FIGURES[id_].label


def _flight(desk: Desk, record: SortieRecord, reader: _Reader) -> _Flight:
    sha256, numbers = reader.of(record)
    figures = dict(numbers.figures) if numbers is not None else {}
    withheld = dict(numbers.withheld) if numbers is not None else {}
    density, why = density_of(desk, record)
    if density is not None:
        figures[DENSITY] = density
    else:
        withheld[DENSITY] = why
    no_debrief = "" if numbers is not None else why_no_debrief(record)
    return _Flight(record, sha256, figures, withheld, no_debrief)


# --- as tables


def _wide(flights: Sequence[_Flight], ids: Iterable[str], told: Mapping[str, Any]) -> pa.Table:
    import pyarrow as pa

    rows = [_about(flight) for flight in flights]
    columns = {
        name: _column(kind, [row[place] for row in rows])
        for place, (name, kind) in enumerate(COLUMNS)
    }
    units = {name: unit for name, unit in UNITS.items() if name in columns}
    for id_ in ids:
        found = [flight.figures.get(id_) for flight in flights]
        for ending in ("value", "low", "high"):
            values = [getattr(number, ending) if number is not None else None for number in found]
            name = id_ if ending == "value" else f"{id_}.{ending}"
            columns[name] = pa.array(values, pa.float64())
            units[name] = unit_of(id_)
    return _told(_with_units(pa.table(columns), units), told)


def _with_units(table: pa.Table, units: Mapping[str, str]) -> pa.Table:
    """Let each column of numbers say its unit, under the key ``unit`` of its own metadata."""
    import pyarrow as pa

    fields = [
        field.with_metadata({UNIT: units[field.name]}) if units.get(field.name) else field
        for field in table.schema
    ]
    return pa.Table.from_arrays(table.columns, schema=pa.schema(fields))


COLUMNS = (
    ("sortie", "text"),
    ("aircraft", "text"),
    ("pack", "text"),
    ("start_utc", "time"),
    ("configuration", "text"),
    ("released", "text"),
    ("release", "text"),
    ("number", "count"),
    ("source", "text"),
    ("file", "text"),
    ("sha256", "text"),
    ("analyses", "count"),
    ("flown_s", "number"),
    ("landings", "count"),
    ("whole", "flag"),
    ("no_debrief", "text"),
    ("entry_sha256", "text"),
    ("debrief_sha256", "text"),
)
"""What stands before the figures of a flight; what nobody knows is missing.

Where ``whole`` is false the log does not hold the whole flight: ``flown_s`` and ``landings`` are
what was flown at least.
"""
UNITS = {"flown_s": "s"}
"""Units of these columns, where they have one."""


def _column(kind: str, values: list[Any]) -> pa.Array:
    import pyarrow as pa

    if kind == "time":
        # As numbers: pyarrow takes times by a library that is slow to load.
        counts = [(at - _EPOCH) // _TICK if at is not None else None for at in values]
        return pa.array(counts, pa.timestamp("us", tz="UTC"))
    types = {"text": pa.string(), "count": pa.int64(), "number": pa.float64(), "flag": pa.bool_()}
    try:
        return pa.array(values, types[kind])
    except UnicodeEncodeError:  # half a character, as a JSON text may hold, is none in a file
        texts = [v.encode("utf-8", "replace").decode("utf-8") if v else v for v in values]
        return pa.array(texts, types[kind])


def _about(flight: _Flight) -> tuple[object, ...]:
    record = flight.record
    release = record.release
    said: Mapping[str, Any] = record.recording.body.content if record.recording is not None else {}
    return (
        named(record.entry),
        record.aircraft or None,
        record.pack or None,
        _start(record),
        (str(release.body.content.get("configuration") or "") if release else "") or None,
        released_word(record),
        named(release) if release is not None else None,
        record.number,
        record.source,
        said.get("file"),
        said.get("sha256"),
        said.get("analyses"),
        record.flown_s if record.flown_s > 0 else None,
        record.landings,
        is_whole(record),
        flight.no_debrief or None,
        record.entry.hash,
        flight.debrief_sha256 or None,
    )


def _start(record: SortieRecord) -> datetime | None:
    return record.start or record.liftoff


def _long(flights: Iterable[_Flight], told: Mapping[str, Any]) -> pa.Table:
    import pyarrow as pa

    rows = [row for flight in flights for row in _each(flight)]
    columns = {
        name: _column(kind, [row[place] for row in rows]) for place, (name, kind) in enumerate(LONG)
    }
    return _told(pa.table(columns), told)


LONG = (
    ("sortie", "text"),
    ("aircraft", "text"),
    ("pack", "text"),
    ("start_utc", "time"),
    ("whole", "flag"),
    ("figure", "text"),
    ("unit", "text"),
    ("value", "number"),
    ("low", "number"),
    ("high", "number"),
    ("withheld", "text"),
    ("entry_sha256", "text"),
)
"""A figure of a flight, or why it has none. All but the figure stands in `COLUMNS` too."""


def _each(flight: _Flight) -> Iterable[tuple[object, ...]]:
    record = flight.record
    digest = record.entry.hash
    of = (
        *(named(record.entry), record.aircraft or None, record.pack or None),
        *(_start(record), is_whole(record)),
    )
    for id_, one in flight.figures.items():
        yield *of, id_, unit_of(id_), one.value, one.low, one.high, None, digest
    for id_, why in flight.withheld.items():
        if id_ not in flight.figures:
            unit = unit_of(id_) if id_ == DENSITY or id_ in FIGURES else ""
            yield *of, id_, unit, None, None, None, why, digest


def _told(table: pa.Table, told: Mapping[str, Any]) -> pa.Table:
    return table.replace_schema_metadata({META: json.dumps(told, ensure_ascii=False)})


# --- what earlier tables hold


def known_of(tables: Tables) -> dict[tuple[str, int], Numbers]:
    """Give what was read of debriefs for tables that were made before."""
    wide = tables.flights.select(["entry_sha256", "debrief_sha256", "number"]).to_pydict()
    keys = {
        entry: (sha256, number)
        for entry, sha256, number in zip(*wide.values(), strict=True)
        if sha256 is not None
    }
    known = {key: Numbers({}, {}) for key in keys.values()}
    long = tables.figures.to_pydict()
    for entry, id_, value, low, high, why in zip(
        *(long[name] for name in ("entry_sha256", "figure", "value", "low", "high", "withheld")),
        strict=True,
    ):
        if entry not in keys or id_ == DENSITY:
            continue
        one = known[keys[entry]]
        if why is None:
            one.figures[id_] = Number(value, low, high)  # type: ignore[index]
        else:
            one.withheld[id_] = why  # type: ignore[index]
    return known
