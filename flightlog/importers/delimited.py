"""Any other delimited text, by a column map that the team writes or corrects.

A column map is TOML in UTF-8; ``flightlog explain`` writes a first one::

    schema = "flightlog.columns/1"

    [file]                      # all may be left out: it is found
    encoding = "utf-8"          # any that Python knows; a byte-order mark goes before it
    delimiter = ";"             # one character, or "tab"
    decimal = ","               # "." or ","
    header_line = 3             # the line with the names, from 1; 0: columns are "column 1", ...
    skip_lines = 2              # lines at the start that are not looked at
    comment = "#"               # how a line starts that is no row
    missing = [-1, "--"]        # cells that stand for "not measured", in any column

    [time]
    columns = ["Date", "Time"]  # one header or two
    format = "date and time"    # see below
    order = "day-month-year"    # of dates; left out, a day above 12 tells it
    utc_offset_h = 1.0          # hours that local time is ahead of UTC
    date = 2027-03-02           # for "time of day": the day of the first row

    [[column]]                  # one for each column of use
    header = "GSpd"             # as in the file
    table = "gps"               # the table and column that it feeds, as 'convert' writes them
    is = "ground_speed_m_s"
    unit = "km/h"               # needed where the column has a unit
    sign = 1                    # -1 where the file counts back
    scale = 1.0                 # the number is multiplied by it
    wrap = 65.536               # added to negative numbers of a counter that ran over
    missing = [0]
    instance = 0                # which of several sensors
    channel = 3                 # of outputs and inputs; or a column with is = "channel"
    cell = 1                    # of cell_voltages, one column for each
    part = 1                    # which word of the cell, as in "lat lon"
    decimal = ","               # where this column differs from the file
    every_row = false           # true: each row is a sample, be it as the one before or empty

Formats of the time: "seconds", "milliseconds", "microseconds" since the logger was switched on;
"unix seconds" and so on; "date and time" in one column or two, with ``Z`` or ``+01:00`` behind it
where the zone is known; "time of day", which goes on over midnight; "gps week" with the week in
the first column and seconds of the week in the second.

A line of nothing but units below the header is found and is no row; the map's own units count.

A number becomes ``(number + wrap if negative) * scale * sign``, then the unit is taken out.
"""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError, TeamFileError
from flightlog.importers.common import (
    FloatArray,
    Notes,
    clean_text,
    gps_unix_s,
    unrolled_weeks,
    utc_relation,
)
from flightlog.importers.delimited_clock import FileClock, boot_clock, moments_clock, unix_clock
from flightlog.importers.delimited_dialect import find_dialect, names_share
from flightlog.importers.delimited_file import TextFile, open_text, recording_of
from flightlog.importers.delimited_numbers import numbers, style_of
from flightlog.importers.delimited_reading import read_table, unix_lines
from flightlog.importers.delimited_tables import Assignment, assemble
from flightlog.importers.delimited_times import joined, read_moments, tell_moments
from flightlog.importers.registry import IMPORTERS, Match, Progress
from flightlog.importers.text import DecodedText, head_text
from flightlog.recording import Recording
from flightlog.team_files.reading import near_miss

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.team_files.column_map import ColumnMap, ColumnSection, TimeSection

VERSION = 1
FORMAT = "delimited"
"""Format that the receipt names; a transmitter's card stays one, whatever map it is read by."""

CARD = "transmitter"

_BINARY = ("dataflash", "mavlink-telemetry", "ulog")
_FEWEST_BARE_ROWS = 5
"""A table without names has at least so many rows."""

_FACTORS = {"seconds": 1.0, "milliseconds": 1e3, "microseconds": 1e6}


def looks_delimited(head: bytes) -> bool:
    """Whether the first bytes are a table as text: names above numbers, or numbers alone."""
    text = head_text(head)
    if text is None:
        return False
    text = unix_lines(text)
    dialect = find_dialect(text)
    if dialect is None or dialect.regular < 0.8:
        return False
    table = read_table(DecodedText(text, "utf-8"), dialect)
    if len(table) < 2:
        return False
    filled = [some for at in range(len(table.header)) if (some := table.some(at, 50))]
    numeric = sum(1 for some in filled if names_share(some) < 0.3)
    if dialect.header_line:
        return numeric > 0
    # Without names only numbers make a table, and enough of them that it is no accident.
    return len(table) >= _FEWEST_BARE_ROWS and len(filled) >= 3 and numeric == len(filled)


def load_by_map(path: Path, map_path: Path, progress: Progress | None = None) -> Recording:
    """Read a delimited text by a column map.

    Parameters
    ----------
    path : Path
        The text.
    map_path : Path
        The map; the module's text lists its keys.
    progress : callable, optional
        As for `flightlog.importers.read`.

    Raises
    ------
    TeamFileError
        If the map is at fault, or names a header that the file lacks.
    LogFileError
        If the file can't be read, is no table, or no row has a time.
    """
    from flightlog.team_files.column_map import read_column_map

    tell = progress or (lambda _fraction, _what: None)
    made, sha256 = read_column_map(map_path)
    tell(0.05, "reading")
    format_ = _format_of(path)
    section = made.file
    file = open_text(
        path,
        encoding=section.encoding,
        delimiter="\t" if section.delimiter == "tab" else section.delimiter,
        header_line=section.header_line,
        skip_lines=section.skip_lines,
        comments=None if section.comment is None else (section.comment,),
    )
    tell(0.5, "making tables")
    notes = Notes()
    notes.lines.append(f"column map {clean_text(map_path.name)}, SHA-256 {sha256}")
    places = _places(file, made, map_path)
    clock = _clock(file, made.time, places, notes, section.decimal)
    if not clock.keep.any():
        raise LogFileError(
            f"no row holds a time of the format {made.time.format!r} in "
            f"{' and '.join(made.time.columns)}",
            where=path.name,
            fix="Correct [time] in the column map.",
        )
    missing = tuple(section.missing)
    assignments = [_assignment(column, places, missing) for column in made.column]
    tables = assemble(
        file.table, assignments, clock, notes, decimal=section.decimal or file.decimal
    )
    clock = _with_receiver_time(clock, tables)
    used = {a.at for a in assignments} | {places[name] for name in made.time.columns}
    notes.unused[:0] = [h for at, h in enumerate(file.table.header) if at not in used]
    tell(1.0, "done")
    return recording_of(
        file, format=format_, importer_version=VERSION, tables=tables, clock=clock, notes=notes
    )


def _format_of(path: Path) -> str:
    """Tell a transmitter's card from other tables, as what is known of cards holds by a map too.

    A binary log, whose bytes would pass for characters of some encoding, is refused.
    """
    from flightlog.importers import read_head

    head = read_head(path)
    for one in IMPORTERS:
        if one.format in _BINARY and one.sniff(head) == Match.YES:
            raise LogFileError(
                f"it is a {one.title.split(' (')[0]}, and a column map is for tables as text",
                where=path.name,
                fix="Leave out --columns.",
            )
    card = next(one for one in IMPORTERS if one.format == CARD)
    return CARD if card.sniff(head) == Match.YES else FORMAT


def _places(file: TextFile, made: ColumnMap, map_path: Path) -> dict[str, int]:
    """Give the place of every header that the map names."""
    known = {name: place for place, name in enumerate(file.table.header)}
    wanted = [(f"[time] columns, {name!r}", name) for name in made.time.columns]
    wanted += [
        (f"[[column]] number {n} header, {c.header!r}", c.header)
        for n, c in enumerate(made.column, start=1)
    ]
    places: dict[str, int] = {}
    found = [known.get(name, known.get(clean_text(name).strip()[:80])) for _, name in wanted]
    some = ", ".join(repr(h) for h in file.table.header[:8])
    if wanted and all(place is None for place in found):
        raise TeamFileError(
            f"names no header of {clean_text(file.path.name)}: it is the map of another file",
            where=str(map_path),
            fix=f"'flightlog explain' writes one for this file. Its headers start with {some}.",
        )
    for (where, name), place in zip(wanted, found, strict=True):
        if place is None:
            raise TeamFileError(
                f"is no header of {clean_text(file.path.name)} (line "
                f"{file.table.dialect.header_line})",
                where=f"{map_path}: {where}",
                fix=near_miss(name, list(known)) or f"Its headers start with {some}.",
            )
        places[name] = place
    return places


def _assignment(
    column: ColumnSection, places: dict[str, int], missing: tuple[float | str, ...]
) -> Assignment:
    return Assignment(
        at=places[column.header],
        table=column.table,
        column=column.is_,
        unit=column.unit or "",
        why="the column map",
        sign=column.sign,
        scale=column.scale,
        wrap=column.wrap,
        missing=(*missing, *column.missing),
        instance=column.instance,
        channel=column.channel,
        cell=column.cell,
        part=column.part,
        decimal=column.decimal,
        every_row=column.every_row,
    )


def _clock(
    file: TextFile,
    time: TimeSection,
    places: dict[str, int],
    notes: Notes,
    decimal: str | None,
) -> FileClock:
    """Make the clock that the map describes."""
    table, at = file.table, [places[name] for name in time.columns]
    named = " and ".join(table.header[one] for one in at)
    if time.format in ("date and time", "time of day"):
        cells = table.cells(at[0])
        if len(at) == 2:
            cells = joined(cells, table.cells(at[1]))
        moments = read_moments(cells, time.order)
        tell_moments(moments, table.lines, notes)
        offset = None if time.utc_offset_h is None else 3600.0 * time.utc_offset_h
        return moments_clock(
            moments,
            table,
            notes,
            named=named,
            file_name=clean_text(file.path.name),
            utc_offset_s=offset,
            day_s=_day_s(time.date),
        )
    values = [_time_numbers(file, one, notes, decimal) for one in at]
    if time.format == "gps week":
        weeks = unrolled_weeks(np.nan_to_num(values[0]), file.path.stat().st_mtime, notes)
        unix = gps_unix_s(weeks, np.nan_to_num(values[1], nan=-1.0))
        return unix_clock(unix, table, notes, named=named, receiver=True)
    kind = time.format.removeprefix("unix ")
    values_s = values[0] / _FACTORS[kind]
    if time.format.startswith("unix "):
        return unix_clock(values_s, table, notes, named=named)
    return boot_clock(values_s, table, notes, named=named)


def _day_s(day: datetime.date | None) -> float | None:
    if day is None:
        return None
    return (day - datetime.date(1970, 1, 1)).total_seconds()


def _time_numbers(file: TextFile, at: int, notes: Notes, decimal: str | None) -> FloatArray:
    style = style_of(file.table.some(at), elsewhere=decimal or file.decimal or ".")
    values, bad = numbers(file.table, at, style)
    if bad.count:
        notes.find(
            "unreadable-cells",
            f"{bad.count} of {bad.filled} cells of the time are no numbers; the first is "
            f"{clean_text(bad.text)[:40]!r} in line {bad.line}.",
            evidence={"column": "time", "cells": bad.count, "line": bad.line},
        )
    return values


def _with_receiver_time(clock: FileClock, tables: dict[str, pd.DataFrame]) -> FileClock:
    """Take the relation to UTC from the receiver's own time where nothing else tells it."""
    gps = tables.get("gps")
    if gps is None or clock.utc.offset_s is not None:
        return clock
    relation = utc_relation(
        gps["time_s"].to_numpy(dtype=np.float64),
        gps["time_utc"].to_numpy(dtype=np.float64),
        "the receiver's time",
    )
    return replace(clock, utc=relation)
