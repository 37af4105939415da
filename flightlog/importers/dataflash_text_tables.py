"""Tables of a DataFlash text log: rows of lines, decoded column by column when asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from flightlog.importers.dataflash_formats import Field, Format, read_units
from flightlog.importers.dataflash_lines import (
    BLANK,
    UNDECLARED,
    Declaration,
    Lines,
    as_text,
    line_types,
    read_declarations,
)
from flightlog.importers.dataflash_mapping import mapping
from flightlog.importers.text_numbers import read_integers, read_numbers, trimmed

LONGEST_TEXT = 256
"""A text takes further cells of its line up to so many bytes; more is damage."""

MOST_HEADER_LINES = 50

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]
Offsets = npt.NDArray[np.signedinteger[Any]]


@dataclass(frozen=True, slots=True)
class Rows:
    """The lines of one type whose cells can be told apart.

    Attributes
    ----------
    line : array of int
        Their numbers.
    first : array of int
        Number of the first mark of each.
    extra : array of int or None
        How many cells more than declared each has; None where none has.
    takes : tuple of int
        The cells that share what is more.
    """

    line: IntArray
    first: Offsets
    extra: IntArray | None
    takes: tuple[int, ...]

    def only(self, keep: BoolArray) -> Rows:
        """Those that are marked."""
        extra = None if self.extra is None else self.extra[keep]
        return Rows(self.line[keep], self.first[keep], extra, self.takes)

    def bounds(self, marks: Offsets, cell: int) -> tuple[Offsets, Offsets]:
        """First byte and end of one cell, counted from 0 after the type, of every line."""
        before, upto = self.first + cell, self.first + (cell + 1)
        if self.extra is not None and self.takes:
            share = self.extra // len(self.takes)
            before = before + share * sum(taker < cell for taker in self.takes)
            upto = upto + share * sum(taker <= cell for taker in self.takes)
        starts: Offsets = marks[before] + 1
        return starts, marks[upto]

    def can_take(self, marks: Offsets, longest: int) -> BoolArray:
        """Whether texts (or arrays) can have taken the cells that each line has too many."""
        if self.extra is None:
            return np.ones(len(self.first), dtype=bool)
        can: BoolArray = self.extra % len(self.takes) == 0
        for cell in self.takes:
            starts, ends = self.bounds(marks, cell)
            can &= ends - starts <= longest
        return can


class TextTable:
    """All rows of one message type, decoded column by column when asked.

    Values as in `flightlog.importers.dataflash_formats.Messages`.

    Attributes
    ----------
    format : Format
        As declared; modes that are printed as names, and arrays, have the character of a text.
    rows : array of int
        Place of each row among all records of the file.
    """

    def __init__(self, log: TextLog, format: Format, rows: Rows) -> None:
        self._log = log
        self._at = rows
        self._kept: dict[str, npt.NDArray[Any]] = {}
        self.format = format
        self.rows: IntArray = rows.line

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in the file's order."""
        return self.format.columns

    @property
    def units(self) -> Mapping[str, str]:
        """Unit text per field, where the file states it."""
        return self._log.units.get(self.format.id, ({}, {}))[0]

    @property
    def multipliers(self) -> Mapping[str, float]:
        """What to multiply a value with to have it in its unit; 1 for scaled fields."""
        return self._log.units.get(self.format.id, ({}, {}))[1]

    def __len__(self) -> int:
        return len(self._at.first)

    def __getitem__(self, column: str) -> npt.NDArray[Any]:
        """Decode one column; KeyError when the type has no such field."""
        if column in self._kept:
            return self._kept[column]
        one = self.format.field(column)
        content = self._log.lines.content
        starts, ends = self._at.bounds(self._log.lines.marks, one.offset)
        if one.char in "nNZ":
            return _texts(content, starts, ends)
        if one.is_integer:
            whole = read_integers(content, starts, ends)
            self._log.count(self.format.name, column, whole.unreadable)
            if not whole.unreadable.any():
                return whole.values
            return np.where(whole.unreadable, np.nan, whole.values)
        numbers = read_numbers(content, starts, ends)
        self._log.count(self.format.name, column, numbers.unreadable)
        return numbers.values

    def __repr__(self) -> str:
        return f"<{self.format.name} {len(self)} rows: {', '.join(self.columns)}>"

    def settle(self, keys: Sequence[str]) -> tuple[TextTable, BoolArray]:
        """See how modes are printed, and leave out lines whose clock or instance can't be read.

        Returns
        -------
        table : TextTable
            The lines that are left.
        keep : array of bool
            Which they are.
        """
        at = self._at
        marks, content = self._log.lines.marks, self._log.lines.content
        keep = np.ones(len(at.first), dtype=bool)
        kept: dict[str, IntArray] = {}
        for key in keys:
            if key in self.columns and self.format.field(key).is_integer:
                cells = read_integers(content, *at.bounds(marks, self.format.field(key).offset))
                kept[key] = cells.values
                keep &= ~cells.unreadable
        fields = []
        for one in self.format.fields:
            char = "Z" if one.char == "a" else one.char
            if char == "M":
                cells = read_integers(content, *at.bounds(marks, one.offset))
                char = "N" if cells.unreadable[keep].any() else char
            fields.append(one._replace(char=char))
        format = Format(self.format.id, self.format.length, self.format.name, tuple(fields))
        table = TextTable(self._log, format, at if keep.all() else at.only(keep))
        # Kept: they are asked for again and again.
        table._kept = {key: values[keep] for key, values in kept.items()}
        return table, keep


def _texts(content: npt.NDArray[np.uint8], starts: Offsets, ends: Offsets) -> npt.NDArray[Any]:
    """Texts of cells: UTF-8, else Latin-1; without blanks around, long ones cut."""
    starts, ends = trimmed(content, starts, ends)
    raw = memoryview(content)  # type: ignore[arg-type]
    known: dict[bytes, str] = {}
    words = np.empty(len(starts), dtype=object)
    for i, (a, z) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        cell = bytes(raw[a : min(z, a + 4 * LONGEST_TEXT)])
        word = known.get(cell)
        if word is None:
            word = known[cell] = as_text(cell)
        words[i] = word
    return words


@dataclass(slots=True)
class Lost:
    """What is in no table.

    Attributes
    ----------
    damaged : dict of str to int
        Reason -> lines that can't be read.
    first : int
        Number of the first of them; -1 for none.
    cut : bool
        Whether the last line is cut.
    undeclared, contradicted : int
        Lines of types that no line declares; lines under a refused declaration.
    cells : dict of str to int
        Column -> cells that hold no number, of the columns that were decoded for the tables.
    """

    damaged: dict[str, int] = field(default_factory=dict)
    first: int = -1
    cut: bool = False
    undeclared: int = 0
    contradicted: int = 0
    cells: dict[str, int] = field(default_factory=dict)

    def add(self, reason: str, lines: IntArray, last_open: int) -> None:
        """Count damaged lines; the one of number ``last_open`` is only cut."""
        if len(lines) and int(lines[-1]) == last_open:
            self.cut, lines = True, lines[:-1]
        if len(lines):
            self.damaged[reason] = self.damaged.get(reason, 0) + len(lines)
            at = int(lines[0])
            self.first = at if self.first < 0 else min(self.first, at)


class TextLog(Mapping[str, TextTable]):
    """All message types of one text by name.

    Attributes
    ----------
    lines : Lines
        The text.
    declared : Declared
        The declared types.
    header : tuple of str
        Lines before the first message that are none, as some loggers print them.
    records : int
        Lines that are in a table.
    lost : Lost
        Lines and cells that are not.
    units : mapping
        Type number -> units and multipliers of its fields, where the file states them.
    """

    def __init__(self, lines: Lines) -> None:
        self.lines = lines
        self.declared = read_declarations(lines)
        self.lost = Lost()
        names = list(self.declared.types)
        kinds = line_types(lines, names)
        self._tables: dict[str, TextTable] = {}
        self.units: dict[int, tuple[dict[str, str], dict[str, float]]] = {}
        known = np.flatnonzero(kinds >= 0)
        order = known[np.argsort(kinds[known], kind="stable")]
        counts = np.bincount(kinds[known], minlength=len(names))
        a = 0
        for name, count in zip(names, counts.tolist(), strict=True):
            self._add(self.declared.types[name], order[a : a + count])
            a += count
        del known, order
        self.header = self._strange_lines(kinds)
        self.records = self._number_rows()
        self.units = read_units(self)
        # Only columns that are decoded from here on feed the tables.
        self.lost.cells.clear()

    def __getitem__(self, name: str) -> TextTable:
        return self._tables[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)

    def count(self, name: str, column: str, unreadable: BoolArray) -> None:
        """Note how many cells of a column hold no number."""
        if unreadable.any():
            self.lost.cells[f"{name}.{column}"] = int(np.count_nonzero(unreadable))

    def _add(self, declared: Declaration, line: IntArray) -> None:
        """Make the table of one type from its lines."""
        line = self._under_own_declaration(declared, line)
        if not len(line):
            return
        format, takes = _format(declared)
        first = self.lines.first[line]
        extra = (self.lines.first[line + 1] - first - 1 - len(declared.chars)).astype(np.int64)
        if len(declared.chars) - 1 not in takes:
            extra[self._ends_in_comma(line, extra)] = 0
        rows = Rows(line, first, extra if extra.any() else None, takes)
        keep = extra == 0
        more = extra > 0
        if takes and more.any():
            longest = len(self.lines.content) if declared.name == "FMT" else LONGEST_TEXT
            keep[more] = rows.only(more).can_take(self.lines.marks, longest)
        self._lose("too few fields", line[extra < 0])
        self._lose("too many fields", line[more & ~keep])
        kept = rows.only(keep)
        table, placed = TextTable(self, format, kept).settle(_keys())
        self._lose("no readable time or number of the sensor", kept.line[~placed])
        if len(table):
            self._tables[declared.name] = table

    def _ends_in_comma(self, line: IntArray, extra: IntArray) -> IntArray:
        """Those of some lines with one cell too many whose last cell is empty."""
        one = np.flatnonzero(extra == 1)
        last = self.lines.first[line[one] + 1] - 1
        marks = self.lines.marks
        starts, ends = trimmed(self.lines.content, marks[last - 1] + 1, marks[last])
        empty: IntArray = one[starts == ends]
        return empty

    def _lose(self, reason: str, line: IntArray) -> None:
        """Note lines that can't be read, rising."""
        self.lost.add(reason, line, -1 if self.lines.closed else len(self.lines) - 1)

    def _strange_lines(self, kinds: npt.NDArray[np.int16]) -> tuple[str, ...]:
        """Note the lines that are no messages; give those that are a header."""
        self.lost.undeclared = int(np.count_nonzero(kinds == UNDECLARED))
        strange = np.flatnonzero((kinds < 0) & (kinds != UNDECLARED) & (kinds != BLANK))
        known = kinds >= 0
        first = int(known.argmax()) if known.any() else 0
        header: list[str] = []
        if first <= MOST_HEADER_LINES:
            texts = {i: self.lines.text(i).strip() for i in strange[strange < first].tolist()}
            header = [t for t in texts.values() if t.isprintable() and "," not in t]
            is_header = [i for i, t in texts.items() if t in header]
            strange = strange[~np.isin(strange, is_header)]
        self._lose("no message", strange)
        return tuple(header)

    def _under_own_declaration(self, declared: Declaration, line: IntArray) -> IntArray:
        """Leave out the lines that stand under another declaration of their type."""
        others = self.declared.others.get(declared.name)
        if not others:
            return line
        at = np.searchsorted([one.line for one in others], line) - 1
        same = np.array([one[4:] == declared[4:] for one in others])
        keep = same[np.maximum(at, 0)] | (at < 0)
        self.lost.contradicted += int(np.count_nonzero(~keep))
        return line[keep]

    def _number_rows(self) -> int:
        """Turn the line numbers of the rows into places among all records."""
        used = np.zeros(len(self.lines) + 1, dtype=bool)
        for table in self._tables.values():
            used[table.rows] = True
        place = np.cumsum(used, dtype=self.lines.marks.dtype)
        for table in self._tables.values():
            table.rows = place[table.rows].astype(np.int64) - 1
        return int(used.sum())


def _keys() -> tuple[str, ...]:
    """Fields without which a row can't be placed: clocks, instances, the ids of units."""
    clock = mapping()["clock"]
    specs = [*clock["fields"], *(spec for of in clock["of"].values() for spec in of)]
    names = [spec["field"] for spec in specs]
    return tuple(dict.fromkeys([*names, *mapping()["instances"]["fields"], "FmtType"]))


def _format(declared: Declaration) -> tuple[Format, tuple[int, ...]]:
    """Make the format, with cell numbers as offsets, and choose the cells that take more."""
    fields: dict[str, Field] = {}
    for cell, (char, label) in enumerate(zip(declared.chars, declared.labels, strict=False)):
        if label:
            fields[label] = Field(label, char, cell)
    arrays = tuple(i for i, char in enumerate(declared.chars) if char == "a")
    long = tuple(i for i, char in enumerate(declared.chars) if char == "Z")[-1:]
    end = len(declared.chars) - 1
    takes = long or arrays or ((end,) if declared.chars[end] in "nN" else ())
    return Format(declared.id, declared.length, declared.name, tuple(fields.values())), takes
