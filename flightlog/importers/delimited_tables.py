"""From columns of cells to the house's tables, by a list of what each column is.

One `Assignment` says which column of the file feeds which column of which table, and how its
numbers are written. The transmitter's names, a column map and the guess all end in such a list.

Rows in which a table has nothing are no samples of it; a fix that repeats the one before is
counted and left out; the values that stand for "not measured" (0 V, no current throughout, place
0/0) become missing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.columns import TABLES, Column
from flightlog.importers.common import (
    AnyArray,
    BoolArray,
    FloatArray,
    Notes,
    clean_text,
    note_repeated_fixes,
    repeated_rows,
)
from flightlog.importers.delimited_clock import FileClock
from flightlog.importers.delimited_numbers import NumberStyle, Unreadable, numbers, style_of
from flightlog.importers.delimited_reading import TextTable
from flightlog.importers.house import house_table
from flightlog.recording import ColumnSource
from flightlog.team_files.column_units import ColumnUnit, named_unit, spelled_unit

if TYPE_CHECKING:
    import pandas as pd

Columns = dict[str, AnyArray]

EVENTS = ("modes", "messages", "parameters", "arming")
"""Tables of events: of equal rows the first is the event."""

MOST_SENSORS = 64
"""Higher numbers of sensors and channels are damage."""

_WORDS = re.compile(r"[\s;]+")
_PLACES = {"latitude_deg": "NS", "longitude_deg": "EW"}
_CONSTANT_ROWS = 20


@dataclass(frozen=True, slots=True)
class Assignment:
    """What one column of the file is.

    Attributes
    ----------
    at : int
        Its place in the file, from 0.
    table, column : str
        In `flightlog.columns.TABLES`.
    unit : str
        Name in `flightlog.team_files.column_units`.
    why : str
        What told it, for the receipt.
    sign : int
        -1 where the file counts the other way.
    scale : float
        The number is multiplied by it before the unit.
    wrap : float or None
        Added to negative numbers: a counter of 16 bits that ran over.
    missing : tuple of float or str
        Cells that stand for "not measured".
    instance : int
        Which of several sensors.
    channel, cell : int or None
        Number of the channel, or of the battery's cell, that the whole column belongs to.
    part : int or None
        Which word of the cell, from 1; None for all of it.
    decimal : str or None
        Decimal sign of this column, where it is known.
    every_row : bool
        Whether each row is a sample, be it like the one before or without any value.
    """

    at: int
    table: str
    column: str
    unit: str = ""
    why: str = "the header"
    sign: int = 1
    scale: float = 1.0
    wrap: float | None = None
    missing: tuple[float | str, ...] = ()
    instance: int = 0
    channel: int | None = None
    cell: int | None = None
    part: int | None = None
    decimal: str | None = None
    every_row: bool = False


def house_column(table: str, name: str) -> Column:
    """Give the dictionary's entry of a column."""
    return next(column for column in TABLES[table] if column.name == name)


def to_house(values: FloatArray, unit: ColumnUnit) -> FloatArray:
    """Turn numbers in a unit into the house's unit."""
    if unit.over != 1.0:
        values = values / unit.over
    if unit.times != 1.0:
        values = values * unit.times
    return values + unit.offset if unit.offset else values


def assemble(
    table: TextTable,
    assignments: Sequence[Assignment],
    clock: FileClock,
    notes: Notes,
    *,
    decimal: str | None = None,
) -> dict[str, pd.DataFrame]:
    """Make all tables of a file.

    Parameters
    ----------
    table : TextTable
        The file.
    assignments : sequence of Assignment
        What each column is.
    clock : FileClock
        Time of each row.
    notes : Notes
        Receives findings, sources and counts.
    decimal : str, optional
        Decimal sign of the file, where it is known.
    """
    made: dict[str, pd.DataFrame] = {}
    reader = _Reader(table, notes, decimal)
    for name in TABLES:
        wanted = [a for a in assignments if a.table == name]
        if not wanted:
            continue
        columns = _table(name, wanted, reader, clock, notes)
        if columns is not None and len(columns["time_s"]):
            made[name] = house_table(name, columns, notes)
    reader.tell()
    return made


def _table(
    name: str, wanted: list[Assignment], reader: _Reader, clock: FileClock, notes: Notes
) -> Columns | None:
    """Put the sensors of one table behind each other, in the order of time."""
    every = any(a.every_row for a in wanted)
    found = (_rows(name, group, reader, clock, every, notes) for group in _sensors(wanted))
    sets = [one for one in found if one is not None]
    if not sets:
        return None
    if len(sets) == 1:
        return sets[0]
    names = list(dict.fromkeys(column for one in sets for column in one))
    joined = {column: np.concatenate([_filled(one, column) for one in sets]) for column in names}
    order = np.argsort(joined["time_s"], kind="stable")
    return {column: values[order] for column, values in joined.items()}


def _filled(columns: Columns, name: str) -> AnyArray:
    if name in columns:
        return columns[name]
    rows = len(columns["time_s"])
    if name == "cell_voltages":
        return np.full(rows, None, dtype=object)
    return np.full(rows, np.nan)


def _sensors(wanted: list[Assignment]) -> Iterator[list[Assignment]]:
    """Give the columns of each sensor or channel."""
    keys = dict.fromkeys((a.instance, a.channel) for a in wanted if a.cell is None)
    keys.update(dict.fromkeys((a.instance, None) for a in wanted if a.cell is not None))
    for instance, channel in keys:
        yield [a for a in wanted if (a.instance, a.channel) == (instance, channel)]


def _rows(
    name: str,
    group: list[Assignment],
    reader: _Reader,
    clock: FileClock,
    every: bool,
    notes: Notes,
) -> Columns | None:
    """Give the samples of one sensor."""
    columns: Columns = {}
    cells = [a for a in group if a.cell is not None]
    for assignment in group:
        if assignment.cell is not None:
            continue
        values = reader.values(assignment)
        if values is not None:
            columns[assignment.column] = values
    if cells:
        columns["cell_voltages"] = _cell_lists(
            [v for a in cells if (v := reader.values(a)) is not None]
        )
    named = [c for c in columns if c not in ("instance", "channel", "time_s")]
    if not named:
        return None
    filled = np.zeros(len(clock.keep), dtype=bool)
    for column in named:
        filled |= _has(columns[column])
    keep = clock.keep & (filled | every)
    columns = {column: values[keep] for column, values in columns.items()}
    columns = {"time_s": clock.time_s[keep], **columns}
    rows = len(columns["time_s"])
    if group[0].channel is not None:
        columns["channel"] = np.full(rows, group[0].channel, dtype=np.int64)
    if any(column.name == "instance" for column in TABLES[name]):
        own = columns.get("instance", np.full(rows, float(group[0].instance)))
        columns["instance"] = np.where(_number_of(own), own, 0).astype(np.int64)
    elif "instance" in columns:
        del columns["instance"]
    if "channel" in columns and columns["channel"].dtype.kind == "f":
        columns = _whole_channels(columns)
    return _cleaned(name, columns, every, notes)


def _has(values: AnyArray) -> BoolArray:
    """Whether each row has a value."""
    if values.dtype == object:
        return np.array([value is not None and value != "" for value in values], dtype=bool)
    return np.asarray(np.isfinite(values), dtype=bool)


def _number_of(values: AnyArray) -> BoolArray:
    """Whether each value can be the number of a sensor or channel."""
    with np.errstate(invalid="ignore"):
        return np.asarray((values >= 0) & (values <= MOST_SENSORS), dtype=bool)


def _whole_channels(columns: Columns) -> Columns:
    """Channels are whole numbers; rows without one are no samples."""
    good = _number_of(columns["channel"])
    columns = {name: values[good] for name, values in columns.items()}
    return {**columns, "channel": columns["channel"].astype(np.int64)}


def _cell_lists(columns: list[FloatArray]) -> AnyArray:
    """Voltages of several columns as one list a row; None where none is measured."""
    if not columns:
        return np.zeros(0, dtype=object)
    rows = np.column_stack(columns)
    out = np.full(len(rows), None, dtype=object)
    for row in np.flatnonzero(np.isfinite(rows).any(axis=1)).tolist():
        out[row] = rows[row].tolist()
    return out


def _cleaned(name: str, columns: Columns, every: bool, notes: Notes) -> Columns:
    """Take out what is no measurement."""
    if name == "gps":
        return _fixes(columns, every, notes)
    if name == "battery":
        _sentinels(columns, notes)
    if name in EVENTS and not every and len(columns["time_s"]):
        texts = [v for c, v in columns.items() if c != "time_s"]
        changed = ~repeated_rows(texts)
        return {column: values[changed] for column, values in columns.items()}
    return columns


def _fixes(columns: Columns, every: bool, notes: Notes) -> Columns:
    """Positions without those of a receiver that had none, and without repeats."""
    if "course_deg" in columns:
        course = columns["course_deg"]
        # Some count from -180 to 180: the same directions.
        columns["course_deg"] = np.where((course < 0) & (course >= -180), course + 360, course)
    if not {"latitude_deg", "longitude_deg"} <= set(columns):
        return columns
    latitude, longitude = columns["latitude_deg"], columns["longitude_deg"]
    nowhere = (latitude == 0) & (longitude == 0)
    if nowhere.any():
        count = int(nowhere.sum())
        notes.find(
            "values-missing",
            f"In {count} of {len(nowhere)} rows the receiver had no position (latitude 0 and "
            "longitude 0).",
            evidence={"rows": count, "table": "gps"},
            remedy="Wait for a position before the flight.",
        )
        for column in set(columns) - {"time_s", "instance", "fix", "satellites", "hdop"}:
            columns[column] = np.where(nowhere, np.nan, columns[column])
    if every or not len(latitude):
        return columns
    seen = [v for c, v in columns.items() if c not in ("time_s", "instance", "time_utc")]
    same = repeated_rows(seen, columns["instance"]) & ~nowhere
    note_repeated_fixes(same, columns["time_s"], notes)
    return {column: values[~same] for column, values in columns.items()}


def _sentinels(columns: Columns, notes: Notes) -> None:
    """Set what a pack's monitor did not measure to NaN."""
    voltage = columns.get("voltage_v")
    if voltage is not None and (voltage == 0).any():
        count = int((voltage == 0).sum())
        columns["voltage_v"] = np.where(voltage == 0, np.nan, voltage)
        notes.find(
            "values-missing",
            f"Of {len(voltage)} rows {count} hold 0 V, which stands for 'not measured'.",
            evidence={"voltage_v": count},
        )
    current = columns.get("current_a")
    if current is None or len(current) < _CONSTANT_ROWS:
        return
    if (current == current[0]).all() and current[0] in (0.0, 0.01, -0.01, -1.0):
        notes.find(
            "current-not-measured",
            f"The current reads {current[0]:.2f} A in all {len(current)} rows.",
            evidence={"rows": len(current)},
        )
        for column in {"current_a", "charge_used_coulomb", "energy_used_j"} & set(columns):
            columns[column] = np.full(len(current), np.nan)


class _Reader:
    """Values of the file's columns in the house's units."""

    def __init__(self, table: TextTable, notes: Notes, decimal: str | None) -> None:
        self.table = table
        self.notes = notes
        self.decimal = decimal
        self.unclear: list[str] = []

    def values(self, a: Assignment) -> AnyArray | None:
        """Values of one assignment, one a row; None where they can't be had."""
        column = house_column(a.table, a.column)
        if column.text:
            texts = self.table.cells(a.at)
            out = np.full(len(texts), "", dtype=object)
            out[:] = [clean_text(text) for text in texts]
            self._source(a)
            return out
        if a.column == "cell_voltages" and a.cell is None:
            return self._lists(a)
        return self._numbers(a, column.unit if a.column != "cell_voltages" else "V")

    def _numbers(self, a: Assignment, house: str) -> FloatArray | None:
        header = self.table.header[a.at]
        unit = named_unit(a.unit, house)
        style = self._style(a)
        if style.unclear:
            self.unclear.append(f"{header} (thousands or decimal comma)")
            return None
        values, bad = numbers(self.table, a.at, style, cells=self._cells(a))
        behind = {u for text in bad.units if (u := spelled_unit(text, house)) is not None}
        if unit is None and len(behind) == 1:
            unit = next(iter(behind))
        if unit is None or (behind and behind != {unit}):
            self.unclear.append(f"{header} ({', '.join(sorted(bad.units)) or 'no unit'})")
            return None
        if 2 * bad.count > max(bad.filled, 1):
            self._unreadable(header, bad)
            self.notes.lines.append(f"{header}: most cells are no numbers; it was left out")
            return None
        if bad.count:
            self._unreadable(header, bad)
        for sentinel in a.missing:
            if not isinstance(sentinel, str):
                values[values == sentinel] = np.nan
        if a.wrap is not None:
            values = np.where(values < 0, values + a.wrap, values)
        if a.scale != 1.0:
            values = values * a.scale
        self._source(a, unit.name)
        return to_house(-values if a.sign == -1 else values, unit)

    def _style(self, a: Assignment) -> NumberStyle:
        if a.decimal is not None:
            return NumberStyle(a.decimal)
        some = self.table.some(a.at)
        if a.part is not None:
            some = [word for cell in some for word in _WORDS.split(cell.strip())]
        return style_of(some, elsewhere=self.decimal)

    def _cells(self, a: Assignment) -> Iterator[list[str]] | None:
        """Give the cells as they are to be read; None for as they are."""
        blank = {s for s in a.missing if isinstance(s, str)}
        letters = _PLACES.get(a.column, "")
        if a.part is None and not blank and not (letters and self._lettered(a.at)):
            return None
        return (
            [_word(cell, a.part, blank, letters) for cell in piece]
            for piece in self.table.pieces(a.at)
        )

    def _lettered(self, at: int) -> bool:
        return any(cell.strip()[-1:].upper() in tuple("NSEW") for cell in self.table.some(at, 20))

    def _lists(self, a: Assignment) -> AnyArray:
        """Lists of voltages, written with spaces in one cell."""
        out = np.full(len(self.table), None, dtype=object)
        row = 0
        for piece in self.table.pieces(a.at):
            for cell in piece:
                if cell.strip():
                    out[row] = _voltages(cell)
                row += 1
        self._source(a, a.unit or "V")
        return out

    def _source(self, a: Assignment, unit: str = "") -> None:
        name = self.table.header[a.at]
        if a.part is not None:
            name += f" (part {a.part})"
        column = a.column
        self.notes.sources.append(ColumnSource(a.table, column, name, unit, a.why))

    def _unreadable(self, header: str, bad: Unreadable) -> None:
        self.notes.find(
            "unreadable-cells",
            f"{bad.count} of {bad.filled} cells of {header!r} are no numbers; the first is "
            f"{clean_text(bad.text)[:40]!r} in line {bad.line}.",
            evidence={"column": header, "cells": bad.count, "line": bad.line},
        )

    def tell(self) -> None:
        """Say which columns were left out because their unit is unclear."""
        tell_unclear(self.unclear, self.notes)


def tell_unclear(columns: Sequence[str], notes: Notes) -> None:
    """Say which columns were left out because their unit or their meaning is unclear."""
    if columns:
        many = len(columns) > 1
        notes.find(
            "unit-unclear",
            f"The unit of {len(columns)} column{'s' if many else ''} is unclear; "
            f"{'they were' if many else 'it was'} left out: {', '.join(columns[:12])}"
            f"{' and more' if len(columns) > 12 else ''}.",
            evidence={"columns": len(columns), "first": columns[0]},
        )


def _word(cell: str, part: int | None, blank: set[str], letters: str) -> str:
    """Give one word of a cell, with a sign for the hemisphere that a letter names."""
    text = cell.strip()
    if text in blank:
        return ""
    if part is not None:
        words = _WORDS.split(text) if ";" in text else text.split()
        text = words[part - 1] if part <= len(words) else ""
        text = text.strip(",")
    if letters and text and text[-1].upper() in letters:
        negative = text[-1].upper() == letters[1]  # south or west
        text = ("-" if negative else "") + text[:-1].strip()
    return text


def _voltages(cell: str) -> list[float] | None:
    """Give the voltages that a cell lists; None where one is no number."""
    values: list[float] = []
    for word in cell.split()[:64]:
        try:
            values.append(float(word))
        except ValueError:
            return None
    return values
