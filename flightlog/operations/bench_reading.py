"""A file from the bench, read into the columns that its kind of test can have.

What a bench file states is taken as it says; every other column is recognised by its header and
the unit in it. Nothing is taken without one, but times that are written as a clock shows them. How
a bench file is written stands in `flightlog.team_files.bench_file`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import TeamFileError
from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.bench_table import BenchColumn, BenchTable, FloatArray
from flightlog.groundtests.registry import GroundKind
from flightlog.groundtests.video_files import is_video
from flightlog.operations.bench_clock import MINUTES, TIME_OF_DAY, clock_of, is_clock
from flightlog.operations.stated_columns import numbers_at, opened, place_of, unlike
from flightlog.team_files.bench_file import BenchColumnTable, BenchFile
from flightlog.team_files.column_map import FileSection
from flightlog.team_files.reading import near_miss

if TYPE_CHECKING:
    from flightlog.importers.delimited_file import TextFile
    from flightlog.importers.delimited_numbers import Unreadable
    from flightlog.team_files.column_units import ColumnUnit

LARGEST_BYTES = 200_000_000
"""No bench writes a larger text [bytes]."""
TEXT = "text"
_MOST_LINES = 8
_OTHER = re.compile(r"[^0-9a-zµμäöü]+")


@dataclass(frozen=True, slots=True)
class BenchReading:
    """One file as it was read.

    Attributes
    ----------
    table : BenchTable
        Its columns.
    sha256 : str
        Hash of its bytes.
    findings : tuple of Finding
        What was noticed while reading.
    taken : tuple of (str, str, str)
        Column, the header that it came from, and the unit that its numbers were in.
    """

    table: BenchTable
    sha256: str
    findings: tuple[Finding, ...]
    taken: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Header:
    """A header that names a column of a kind of test; its unit may be unknown, or no unit of it."""

    name: str
    header: str
    unit: str


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a column stands in the file, and how its numbers are read."""

    name: str
    column: BenchColumn
    at: int
    header: str
    unit: str
    stated: BenchColumnTable | None


def read_bench_table(path: Path, kind: GroundKind, bench: BenchFile | None) -> BenchReading:
    """Read one file of a test.

    Parameters
    ----------
    path : Path
        A table of delimited text: a stand, a logger, or what somebody wrote down. For a ring-down
        also a video, by its content: see `flightlog.groundtests.tip_video`.
    kind : GroundKind
        What it is a test of.
    bench : BenchFile or None
        What states its columns.

    Raises
    ------
    LogFileError
        If it can't be read, is no table, or lacks a column that the test can't be without.
    TeamFileError
        If the bench file names a column that the test does not have.
    """
    if kind.word == "ringdown" and is_video(path):
        return _filmed(path, bench)
    section = bench.file if bench is not None else FileSection()
    file = opened(path, section, LARGEST_BYTES, "a bench file")
    if not len(file.table):
        raise unlike(path, "holds no row", "Name a file with rows of numbers.")
    places, unclear = _places(file, kind, bench)
    columns: dict[str, FloatArray] = {}
    texts: dict[str, tuple[str, ...]] = {}
    findings: list[Finding] = []
    for place in places:
        if place.column.unit == TEXT:
            texts[place.name] = tuple(c.strip()[:80] for c in file.table.cells(place.at))
            continue
        values, found = _values(file, section, place)
        findings += found
        if np.isfinite(values).any():
            columns[place.name] = values
        else:
            some = next(iter(file.table.some(place.at, 1)), "").strip()[:40]
            told = f"{place.header!r} holds no number" + (f", but {some!r}" if some else "")
            unclear[place.name] = told
    lines = np.asarray(file.table.lines, dtype=np.int64)
    units = {place.name: place.unit for place in places}
    table = BenchTable(path.name, columns, texts, lines, units)
    _check_needed(table, kind, path, unclear)
    guessed = [p for p in places if p.stated is None]
    if guessed:
        findings.insert(0, _guess_finding(guessed))
    findings += _time_findings(table)
    taken = tuple((p.name, p.header, p.unit) for p in places)
    return BenchReading(table, file.sha256, tuple(findings), taken)


def recognised_headers(path: Path, kind: GroundKind) -> tuple[tuple[Header, ...], tuple[str, ...]]:
    """Give the headers of a file that name columns of a kind of test, each column once; and others.

    Raises
    ------
    LogFileError
        If the file can't be read, or is no table.
    """
    if kind.word == "ringdown" and is_video(path):
        return (), ()
    file = opened(path, FileSection(), LARGEST_BYTES, "a bench file")
    found: dict[str, Header] = {}
    used: set[int] = set()
    for column in kind.columns:
        for name, at, unit in _recognised(file, column):
            if name not in found and at not in used:
                found[name] = Header(name, file.table.header[at], unit)
                used.add(at)
    others = tuple(h for at, h in enumerate(file.table.header) if at not in used and h)
    return tuple(found.values()), others


def _filmed(path: Path, bench: BenchFile | None) -> BenchReading:
    """Read the motion of a marker out of a video."""
    from flightlog.groundtests.tip_video import read_tip_video
    from flightlog.importers.common import sha256_of_file

    seen = read_tip_video(path, bench.setup.get("video") if bench is not None else None)
    return BenchReading(seen.table, sha256_of_file(path), seen.findings, seen.taken)


# --- which column is which


def _places(
    file: TextFile, kind: GroundKind, bench: BenchFile | None
) -> tuple[list[_Place], dict[str, str]]:
    """Find the columns; of those that can't be taken, say why, by name."""
    known = {column.name: column for column in kind.columns}
    places: dict[str, _Place] = {}
    for name, stated in (bench.columns if bench is not None else {}).items():
        column = _known(name, known, bench)
        at = place_of(file, stated.header)
        unit = _stated_unit(name, column, stated, bench, file.table.some(at))
        places[name] = _Place(name, column, at, stated.header, unit, stated)
    used = {place.at for place in places.values()}
    unclear: dict[str, str] = {}
    for column in kind.columns:
        for name, at, unit in _recognised(file, column):
            if name in places or at in used:
                continue
            header = file.table.header[at]
            if _fits(unit, column):
                places[name] = _Place(name, column, at, header, unit, None)
                used.add(at)
            else:
                unclear.setdefault(name, _unclear(file, at, column, unit))
    return list(places.values()), unclear


def _unclear(file: TextFile, at: int, column: BenchColumn, unit: str) -> str:
    """Say why a column that its header names can't be taken."""
    header, cells = file.table.header[at], file.table.some(at)
    if column.name == "time" and is_clock(cells):
        return (
            f"{header!r} holds times such as {cells[0].strip()[:40]!r}, and nothing says whether "
            f"of hours and minutes ({TIME_OF_DAY!r}) or of minutes and seconds ({MINUTES!r})"
        )
    if unit:
        return f"{header!r} is in {unit!r}, which is no unit of it"
    return f"{header!r} does not say its unit"


def _known(name: str, known: dict[str, BenchColumn], bench: BenchFile | None) -> BenchColumn:
    column = known.get(name)
    stem, _, number = name.rpartition("_")
    if column is None and number.isdigit() and stem in known and known[stem].numbered:
        column = known[stem]
    if column is None:
        where = f"{bench.path}: [columns.{name}]" if bench is not None else name
        hint = near_miss(name, list(known)) or f"Known here: {', '.join(known)}."
        raise TeamFileError("is no column of this test", where=where, fix=hint)
    return column


def _stated_unit(
    name: str,
    column: BenchColumn,
    stated: BenchColumnTable,
    bench: BenchFile | None,
    cells: Sequence[str],
) -> str:
    from flightlog.team_files.column_units import units_for

    if column.unit in ("", TEXT):
        return stated.unit or ""
    if name == "time" and (how := clock_of(cells, stated.unit or "")):
        return how
    clock = name == "time" and is_clock(cells)
    if not clock and stated.unit is not None and _unit(stated.unit, column) is not None:
        return stated.unit
    where = f"{bench.path}: [columns.{name}] unit" if bench is not None else name
    found = "is missing" if stated.unit is None else f"is {stated.unit!r}, which is no unit of it"
    if clock and stated.unit:
        found = f"is {stated.unit!r}, and the column holds {cells[0].strip()[:40]!r}"
    fitting = ", ".join(u.name for u in units_for(column.unit))
    if clock:
        fitting = f"{TIME_OF_DAY}, {MINUTES}"
    raise TeamFileError(found, where=where, fix=f"Units that fit: {fitting}.")


def _fits(unit: str, column: BenchColumn) -> bool:
    """Whether the numbers of a column can be taken in a unit, or need none."""
    if column.unit in ("", TEXT) or (column.name == "time" and unit in (TIME_OF_DAY, MINUTES)):
        return True
    return _unit(unit, column) is not None


def _unit(spelling: str, column: BenchColumn) -> ColumnUnit | None:
    from flightlog.team_files.column_units import named_unit, spelled_unit

    return named_unit(spelling, column.unit) or spelled_unit(spelling, column.unit)


def _recognised(file: TextFile, column: BenchColumn) -> list[tuple[str, int, str]]:
    """Give the headers that name a column: its name, which one, and the unit; best word first."""
    from flightlog.importers.delimited_guess import split_header

    units = file.table.dialect.units
    found: list[tuple[int, str, int, str]] = []
    for at, header in enumerate(file.table.header):
        text, unit = split_header(header)
        if not unit and at < len(units):
            unit = units[at]
        plain = _OTHER.sub(" ", text.casefold()).strip()
        if column.numbered:
            match = re.fullmatch(r"(.*?) ?(\d{1,2})", plain)
            if match and match[1] in column.words:
                found.append((0, f"{column.name}_{int(match[2])}", at, unit))
        elif plain in column.words or plain == column.name.replace("_", " "):
            rank = column.words.index(plain) if plain in column.words else len(column.words)
            if column.name == "time" and (clock := clock_of(file.table.some(at), unit)):
                # A count of seconds is finer than a clock beside it.
                rank, unit = rank + len(column.words) + 1, clock
            found.append((rank, column.name, at, unit))
    return [(name, at, unit) for _, name, at, unit in sorted(found, key=lambda f: (f[0], f[2]))]


def _guess_finding(places: Sequence[_Place]) -> Finding:
    # Which header each came from stands with the file; a stand has more than a sentence takes.
    told = ", ".join(p.name.replace("_", " ") for p in places)
    return ground_finding("columns-guessed", f"Recognised by their headers: {told}.")


def _check_needed(table: BenchTable, kind: GroundKind, path: Path, unclear: dict[str, str]) -> None:
    """Refuse a file without a column that the test can't be without; name all of them at once."""
    from flightlog.team_files.column_units import units_for

    lacking = [c for c in kind.columns if c.needed and not table.has(c.name)]
    if not lacking:
        return
    told, fixes = [], []
    for column in lacking:
        name, why = column.name, unclear.get(column.name, "no header names it")
        told.append(f"no {name.replace('_', ' ')}: {why}")
        units = ", ".join(u.name for u in units_for(column.unit)) if column.unit != TEXT else ""
        fixes.append(f"[columns.{name}] with header" + (f" and unit ({units})" if units else ""))
    raise unlike(
        path,
        f"has {'; '.join(told)}",
        f"State {'; '.join(fixes)} in a bench file. 'flightlog groundtest bench {kind.word} FILE' "
        "prints a first one",
    )


# --- numbers


def _values(
    file: TextFile, section: FileSection, place: _Place
) -> tuple[FloatArray, list[Finding]]:
    """Read the numbers of a column, in the unit of its kind."""
    from flightlog.importers.delimited_tables import to_house

    if place.column.name == "time" and place.unit in (TIME_OF_DAY, MINUTES):
        return _clock(file, place)
    values, bad = numbers_at(file, section, place.at, place.header, "a bench file")
    unit = _unit(place.unit, place.column) if place.column.unit else None
    if unit is not None:
        values = to_house(values, unit)
    if place.stated is not None:
        values = values * (place.stated.sign * place.stated.scale)
    return values, _unreadable(bad, place, "number")


def _clock(file: TextFile, place: _Place) -> tuple[FloatArray, list[Finding]]:
    """Read times that are written as a clock shows them."""
    from flightlog.operations.bench_clock import clock_seconds

    lines = np.asarray(file.table.lines, dtype=np.int64)
    seconds, bad, shared = clock_seconds(file.table.cells(place.at), place.unit, lines)
    findings = _unreadable(bad, place, "time")
    if shared:
        findings.append(
            ground_finding(
                "time-whole-seconds",
                f"The times are whole seconds with {shared} rows in each; the rows were spread "
                "evenly over their second.",
                evidence={"rows_per_second": shared},
            )
        )
    return seconds, findings


def _unreadable(bad: Unreadable, place: _Place, what: str) -> list[Finding]:
    if not bad.count:
        return []
    return [
        ground_finding(
            "cells-unreadable",
            f"{bad.count} of {bad.filled} cells of {place.header!r} hold no {what}, the first "
            f"{bad.text[:40]!r} on line {bad.line}.",
            evidence={"column": place.name, "cells": bad.count, "line": bad.line},
        )
    ]


def _time_findings(table: BenchTable) -> list[Finding]:
    """Say where the clock of a file goes back; the rows stay in the order of the file."""
    if "time" not in table.columns:
        return []
    times = table.columns["time"]
    known = np.flatnonzero(np.isfinite(times))
    back = known[1:][np.diff(times[known]) < 0]
    if not len(back):
        return []
    lines = ", ".join(str(table.lines[i]) for i in back[:_MOST_LINES])
    more = f" and {len(back) - _MOST_LINES} more" if len(back) > _MOST_LINES else ""
    message = f"Time goes back at {len(back)} of {len(known)} rows, on lines {lines}{more}."
    return [ground_finding("time-not-monotonic", message, evidence={"rows": len(back)})]
