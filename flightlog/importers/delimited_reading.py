"""Delimited text to columns of cells, whatever a card, an editor or a spreadsheet did to it.

    Date,Time,RQly(%),GPS,GSpd(kmh)
    2027-03-02,10:14:59.200,100,0.000881 0.000245,12.5
    2027-03-02,10:14:59.700,100,0.000881
    Date,Time,RQly(%),GPS,GSpd(kmh)

Cells stay text, one joined text per column and chunk of rows, so that a file takes little more
memory than its size; numbers are made of a column when it is asked for.

Traps: rows cut short by a loss of power, cells behind the last name, the header once more where
a session was appended (perhaps with the columns in another order), a quote that never closes.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import Notes, clean_text
from flightlog.importers.delimited_dialect import MOST_COLUMNS, Dialect, cut
from flightlog.importers.text import DecodedText

IntArray = npt.NDArray[np.int64]

_PIECE_CHARS = 1_000_000
_CHUNK_CELLS = 400_000
_LONGEST_QUOTED_LINES = 20
"""A cell in quotes may hold so many lines; a longer one is a quote that never closes."""

_BETWEEN = "\0"
"""Between the cells of a column; decoding took this character out of the text."""


@dataclass(slots=True)
class OddRows:
    """What was unusual about the lines.

    Attributes
    ----------
    short, long : int
        Rows with fewer or more cells than the header; they were kept.
    fragments : int
        Rows with less than a quarter of the cells; they were left out.
    quotes : int
        Lines with a quote that does not close.
    headers : int
        Header lines between the rows.
    first_line : int
        Number of the first line that is short or long, 0 without one.
    """

    short: int = 0
    long: int = 0
    fragments: int = 0
    quotes: int = 0
    headers: int = 0
    first_line: int = 0


@dataclass(slots=True)
class TextTable:
    """The cells of a file, column by column.

    Attributes
    ----------
    header : tuple of str
        Names of the columns, each once: a second one of the same name gets " (2)".
    dialect : Dialect
        How the file is written.
    encoding : str
        What it was decoded from.
    lines : array of int
        Number of the line of each row, from 1.
    session_rows : tuple of int
        Rows before which the header stood once more.
    late_names : tuple of str
        Names that only a later header has; their cells were left out.
    odd : OddRows
        What was unusual.
    """

    header: tuple[str, ...]
    dialect: Dialect
    encoding: str
    lines: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    session_rows: tuple[int, ...] = ()
    late_names: tuple[str, ...] = ()
    odd: OddRows = field(default_factory=OddRows)
    chunks: list[tuple[str, ...]] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.lines)

    def pieces(self, at: int) -> Iterator[list[str]]:
        """Cells of one column, some thousands of rows at a time."""
        for chunk in self.chunks:
            yield chunk[at].split(_BETWEEN)

    def cells(self, at: int) -> list[str]:
        """All cells of one column."""
        return list(chain.from_iterable(self.pieces(at)))

    def some(self, at: int, rows: int = 400) -> list[str]:
        """Some cells of a column that are not blank, spread over the file."""
        every = max(len(self.chunks) // 4, 1)
        found: list[str] = []
        for chunk in self.chunks[::every]:
            cells = chunk[at].split(_BETWEEN)
            filled = [cell for cell in cells[:: max(len(cells) // rows, 1)] if cell.strip()]
            # Of a column with few filled cells the steps may meet none.
            found += filled or [cell for cell in cells if cell.strip()][:rows]
        return found


def read_table(decoded: DecodedText, dialect: Dialect) -> TextTable:
    """Cut a text into columns of cells; never fails.

    Parameters
    ----------
    decoded : DecodedText
        The file's characters, lines ended by newlines.
    dialect : Dialect
        How it is written.
    """
    text = decoded.text
    lines = _lines(text, dialect.first_row_line)
    header = _header(text, dialect)
    table = TextTable(header, dialect, decoded.encoding)
    builder = _Builder(table)
    for number, piece in lines:
        builder.add(number, piece)
    builder.close()
    return table


def unix_lines(text: str) -> str:
    """End all lines by newlines alone."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text.rstrip("\x1a")


def _header(text: str, dialect: Dialect) -> tuple[str, ...]:
    if not dialect.header_line:
        return tuple(f"column {n + 1}" for n in range(dialect.width))
    start = _start_of(text, dialect.header_line)
    end = text.find("\n", start)
    line = text[start : end if end >= 0 else len(text)]
    mark = next((m for m in dialect.comments if m and line.lstrip().startswith(m)), "")
    bare = line.lstrip().lstrip(mark) if mark else line
    return unique_names(cut(bare, dialect.delimiter)[:MOST_COLUMNS])


def unique_names(cells: Sequence[str]) -> tuple[str, ...]:
    """Names of columns without control codes, each once."""
    names: list[str] = []
    taken: dict[str, int] = {}
    for place, cell in enumerate(cells, start=1):
        name = clean_text(cell).strip()[:80] or f"column {place}"
        taken[name] = taken.get(name, 0) + 1
        names.append(name if taken[name] == 1 else f"{name} ({taken[name]})")
    return tuple(names)


def _start_of(text: str, line: int) -> int:
    """Give the place of the first character of a line."""
    place = 0
    for _ in range(line - 1):
        place = text.find("\n", place) + 1
        if not place:
            return len(text)
    return place


def _lines(text: str, first: int) -> Iterator[tuple[int, list[str]]]:
    """Give the lines from one on in pieces, each with the number of its first line."""
    place, number = _start_of(text, first), first
    while place < len(text):
        end = text.find("\n", place + _PIECE_CHARS)
        if end < 0:
            end = len(text)
        piece = text[place:end].split("\n")
        yield number, piece
        number += len(piece)
        place = end + 1


class _Builder:
    """Collects rows and turns them into chunks of columns."""

    def __init__(self, table: TextTable) -> None:
        self.table = table
        self.width = len(table.header)
        self.names = {name.casefold() for name in table.header}
        self.rows: list[list[str]] = []
        self.numbers: list[int] = []
        self.lines: list[IntArray] = []
        self.count = 0
        self.order: list[int] | None = None
        self.most = max(_CHUNK_CELLS // max(self.width, 1), 1)

    def add(self, number: int, lines: list[str]) -> None:
        """Take some lines."""
        marks = self.table.dialect.comments
        starts = tuple(m for m in marks if m)
        delimiter = self.table.dialect.delimiter
        plain = not any('"' in line for line in lines)
        if plain:
            cut_lines: Iterable[tuple[int, list[str]]] = zip(
                range(number, number + len(lines)), _quick(lines, delimiter), strict=True
            )
        else:
            cut_lines = self._quoted(number, lines, delimiter)
        width, order = self.width, self.order
        for at, row in cut_lines:
            if len(row) != width or order is not None or row[0].casefold() in self.names:
                odd = self._odd(at, row)
                order = self.order
                if odd is None:
                    continue
                row = odd
            if starts and row[0].lstrip().startswith(starts):
                continue
            self.rows.append(row)
            self.numbers.append(at)
            if len(self.rows) >= self.most:
                self._flush()

    def _odd(self, at: int, row: list[str]) -> list[str] | None:
        """Repair a row that is not like the others; None when it is none."""
        odd, width = self.table.odd, self.width
        if not row or (len(row) == 1 and not row[0].strip()):
            return None
        if self._is_header(row):
            odd.headers += 1
            self.table.session_rows += (self.count + len(self.rows),)
            self._reorder(row)
            return None
        if row[0].lstrip().startswith(tuple(m for m in self.table.dialect.comments if m) or "\0"):
            return None
        wanted = width if self.order is None else len(self.order)
        if len(row) != wanted:
            if 4 * len(row) < wanted:
                odd.fragments += 1
                return None
            # A delimiter behind the last cell is a habit of some writers, not a cell.
            if len(row) > wanted and any(cell.strip() for cell in row[wanted:]):
                odd.long += 1
                odd.first_line = odd.first_line or at
            elif len(row) < wanted:
                odd.short += 1
                odd.first_line = odd.first_line or at
        if self.order is not None:
            placed = [""] * width
            for cell, place in zip(row, self.order, strict=False):
                if place >= 0:
                    placed[place] = cell
            return placed
        return row[:width] if len(row) >= width else row + [""] * (width - len(row))

    def _is_header(self, row: list[str]) -> bool:
        known = sum(1 for cell in row if cell.strip().casefold() in self.names)
        return known >= 2 and 2 * known > len(row) and 4 * known >= self.width

    def _reorder(self, row: list[str]) -> None:
        """Put the cells below a header in the middle where the first header has them."""
        names = unique_names(row[:MOST_COLUMNS])
        if names == self.table.header:
            self.order = None
            return
        places = {name.casefold(): place for place, name in enumerate(self.table.header)}
        self.order = [places.get(name.casefold(), -1) for name in names]
        late = (name for name in names if name.casefold() not in places)
        self.table.late_names = tuple(dict.fromkeys((*self.table.late_names, *late)))[:MOST_COLUMNS]

    def _quoted(
        self, number: int, lines: list[str], delimiter: str
    ) -> Iterator[tuple[int, list[str]]]:
        """Cut lines some of which hold quotes; a quote that does not close is a character."""
        at = 0
        while at < len(lines):
            line, taken = lines[at], 1
            if line.count('"') % 2:
                joined = self._joined(lines, at, delimiter)
                if joined is None:
                    self.table.odd.quotes += 1
                else:
                    line, taken = joined
            yield number + at, cut(line, delimiter)
            at += taken

    def _joined(self, lines: list[str], at: int, delimiter: str) -> tuple[str, int] | None:
        """Give a row whose quoted cell holds ends of lines, and how many lines it takes."""
        for end in range(at + 1, min(at + _LONGEST_QUOTED_LINES, len(lines))):
            if lines[end].count('"') % 2:
                row = "\n".join(lines[at : end + 1])
                return (row, end + 1 - at) if len(cut(row, delimiter)) == self.width else None
        return None

    def _flush(self) -> None:
        if not self.rows:
            return
        columns = zip(*self.rows, strict=True)
        self.table.chunks.append(tuple(_BETWEEN.join(column) for column in columns))
        self.lines.append(np.array(self.numbers, dtype=np.int64))
        self.count += len(self.rows)
        self.rows, self.numbers = [], []

    def close(self) -> None:
        """Finish the table."""
        self._flush()
        if self.lines:
            self.table.lines = np.concatenate(self.lines)


def _quick(lines: list[str], delimiter: str) -> Iterator[list[str]]:
    """Cut lines without quotes."""
    reader = csv.reader(lines, delimiter=delimiter, quoting=csv.QUOTE_NONE)
    for line in lines:
        try:
            row = next(reader)
        except csv.Error:  # a cell longer than the module takes
            row = line.split(delimiter, MOST_COLUMNS)
        yield row if len(row) <= MOST_COLUMNS else row[: MOST_COLUMNS + 1]


def tell_odd_rows(table: TextTable, decoded: DecodedText, notes: Notes) -> None:
    """Count what was unusual about the lines, and say it."""
    odd = table.odd
    notes.drop("rows with less than a quarter of the cells", odd.fragments)
    if odd.short or odd.long or odd.fragments:
        parts = [
            f"{odd.short} rows have fewer cells than the header" if odd.short else "",
            f"{odd.long} have more" if odd.long else "",
            f"{odd.fragments} hold less than a quarter of them" if odd.fragments else "",
        ]
        first = f", the first is line {odd.first_line}" if odd.first_line else ""
        kept = "; missing cells are missing values, cells behind the last name were left out"
        left = "; the last were left out" if odd.fragments else ""
        notes.find(
            "odd-rows",
            f"Of {len(table) + odd.fragments} rows {', '.join(p for p in parts if p)}{first}"
            f"{kept if odd.short or odd.long else ''}{left}.",
            evidence={"short": odd.short, "long": odd.long, "fragments": odd.fragments},
        )
    if odd.quotes:
        notes.find(
            "damaged-lines",
            f"{odd.quotes} lines hold a quote that does not close; it was taken as a character.",
            evidence={"lines": odd.quotes},
        )
    if decoded.damaged:
        notes.find(
            "damaged-lines",
            f"{decoded.damaged} characters could not be read as {decoded.encoding}.",
            evidence={"characters": decoded.damaged},
        )
    if odd.headers:
        notes.lines.append(
            f"the header stands {odd.headers} more times between the rows: sessions were appended"
        )
    notes.unused.extend(f"{name} (only below a later header)" for name in table.late_names)
