"""How a delimited text is written: its delimiter, where its header stands, which lines to skip.

    # exported by the card reader
    Zeit;Spannung [V];Strom [A]
    0,0;25,1;0,2

A line of nothing but units below the names is no row; its units are kept::

    time;speed;current
    [ms];[km/h];[A]
    0;0,0;0,2

The delimiter is the one of ``, ; tab |`` that cuts the most lines into the same number of cells,
the header's line among them. Not seen: files cut by spaces, and by columns of fixed width.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from flightlog.team_files.column_units import is_unit

DELIMITERS = ("\t", ";", "|", ",")
"""Those that are looked for; of equals the first, since numbers may hold commas."""

COMMENTS = ("#", "//", "%")
"""How lines start that are no rows, unless the user says otherwise."""

MOST_COLUMNS = 1000
"""No logger writes more; cells behind them are left out."""

_SAMPLE_CHARS = 100_000
_SAMPLE_LINES = 400
_LONGEST_LINE = 20_000
"""A longer line is no header and tells nothing of the delimiter."""

_NO_NAME = re.compile(
    r"[+\-]?[\d.,:/'\sTZ+\-]*\d[\d.,:/'\sTZ+\-]*([eE][+\-]?\d+)?|0[xX][0-9a-fA-F]+"
)
_NO_UNIT = re.compile(
    # What stands in a line of units above dates, times, text and pure numbers.
    r"[-–—#./1]|[DdMmYyTtJjHhSsFf:./ _-]{4,}|n/?a|none|text|utc|str|string|bool|int|float",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Dialect:
    """How one file is written.

    Attributes
    ----------
    delimiter : str
        One character.
    header_line : int
        Number of the header's line, from 1; 0 for a file without a header.
    first_row_line : int
        Number of the line at which rows start.
    comments : tuple of str
        How lines start that are no rows.
    width : int
        Cells of the header, or of most lines without one.
    regular : float
        Share of the rows looked at that have as many cells as most.
    explained : float
        Share of all lines looked at that are the header or such rows.
    units : tuple of str
        Cells of a line of units below the header, without brackets; empty without one.
    """

    delimiter: str
    header_line: int
    first_row_line: int
    comments: tuple[str, ...] = COMMENTS
    width: int = 0
    regular: float = 0.0
    explained: float = 0.0
    units: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Line:
    number: int
    cells: tuple[str, ...]
    comment: bool


def find_dialect(
    text: str,
    *,
    delimiter: str | None = None,
    header_line: int | None = None,
    skip_lines: int = 0,
    comments: tuple[str, ...] | None = None,
) -> Dialect | None:
    """Find how a text is written; None when it is no table.

    Parameters
    ----------
    text : str
        The file's characters, lines ended by newlines; only the first part is looked at.
    delimiter, header_line, skip_lines, comments :
        What the user says; the rest is found.
    """
    marks = COMMENTS if comments is None else comments
    sample = list(_sample(text, skip_lines))
    tried = DELIMITERS if delimiter is None else (delimiter,)
    found = [d for one in tried if (d := _try(sample, one, header_line, marks)) is not None]
    if not found:
        return None
    best = max(found, key=_worth)
    return best if delimiter is not None or best.width >= 2 else None


def _sample(text: str, skip_lines: int) -> Iterator[tuple[int, str]]:
    """Give the number and text of the first lines that are not blank."""
    given = 0
    # One more line than fits may be cut; it only counts when it is the only one.
    lines = text[:_SAMPLE_CHARS].split("\n")
    if len(text) > _SAMPLE_CHARS and len(lines) > 1:
        lines.pop()
    for number, line in enumerate(lines, start=1):
        if number <= skip_lines or not line.strip() or len(line) > _LONGEST_LINE:
            continue
        yield number, line
        given += 1
        if given >= _SAMPLE_LINES:
            return


def cut(line: str, delimiter: str) -> list[str]:
    """Cut one line into cells; quotes that don't close are taken as characters."""
    if '"' not in line:
        return line.split(delimiter, MOST_COLUMNS)
    if line.count('"') % 2:
        return line.split(delimiter, MOST_COLUMNS)
    try:
        return next(csv.reader([line], delimiter=delimiter), [])[: MOST_COLUMNS + 1]
    except csv.Error:
        return line.split(delimiter, MOST_COLUMNS)


def _try(
    sample: Sequence[tuple[int, str]],
    delimiter: str,
    header_line: int | None,
    comments: tuple[str, ...],
) -> Dialect | None:
    """Cut the sample by one delimiter."""
    lines = [_line(n, text, delimiter, comments) for n, text in sample]
    rows = [line for line in lines if not line.comment]
    widths = Counter(len(line.cells) for line in rows)
    if not widths:
        return None
    # Of equally many the wider: a table behind a long preamble.
    usual = max(widths, key=lambda w: (widths[w] * (1 if w > 1 else 0.5), w))
    if header_line is None:
        header = _header(lines, usual)
    else:
        header = next((line for line in lines if line.number == header_line), None)
        if header is None and header_line:
            return None
    first = header.number + 1 if header else min(n.number for n in rows)
    behind = [line for line in rows if line.number >= first]
    units: tuple[str, ...] = ()
    if header and behind and (units := units_in(behind[0].cells)):
        first = behind[0].number + 1
        rows.remove(behind.pop(0))
    if not header:
        behind = [line for line in behind if len(line.cells) == usual] or behind
        first = behind[0].number
        behind = [line for line in rows if line.number >= first]
    fitting = sum(1 for line in behind if len(line.cells) == usual)
    return Dialect(
        delimiter=delimiter,
        header_line=header.number if header else 0,
        first_row_line=first,
        comments=comments,
        width=min(len(header.cells) if header else usual, MOST_COLUMNS),
        regular=fitting / len(behind) if behind else 0.0,
        explained=(fitting + bool(header)) / (len(rows) + bool(header and header.comment)),
        units=units,
    )


def units_in(cells: Sequence[str]) -> tuple[str, ...]:
    """Give the units that a line holds for its columns; empty when it is no line of units.

    Each cell has to be a unit, empty, or a mark for none, and two thirds of the filled ones units.
    """
    bare = [cell.strip().strip("()[]{}<>").strip() for cell in cells]
    filled = [cell for cell in bare if cell]
    units = [cell for cell in filled if _NO_UNIT.fullmatch(cell) is None and is_unit(cell)]
    others = sum(1 for cell in filled if _NO_UNIT.fullmatch(cell) is not None)
    if not units or len(units) + others < len(filled) or 3 * len(units) < 2 * len(filled):
        return ()
    return tuple("" if _NO_UNIT.fullmatch(cell) else cell for cell in bare)


def _line(number: int, text: str, delimiter: str, comments: tuple[str, ...]) -> _Line:
    mark = next((m for m in comments if m and text.lstrip().startswith(m)), "")
    bare = text.lstrip().lstrip(mark) if mark else text
    return _Line(number, tuple(cut(bare, delimiter)), bool(mark))


def _header(lines: Sequence[_Line], usual: int) -> _Line | None:
    """Find the line of names: above the first row, the fullest that names more than the next ones.

    A line marked as a comment is one when no other is there and it has as many cells.
    """
    rows = [line for line in lines if not line.comment]
    found: _Line | None = None
    most = 0
    for place, line in enumerate(rows[:60]):
        # Spreadsheets fill a line of preamble up with empty cells.
        filled = sum(1 for cell in line.cells[:usual] if cell.strip())
        if filled < max(2, usual // 2):
            continue
        below = [names_share(other.cells) for other in rows[place + 1 : place + 6]]
        share = names_share(line.cells)
        if share < 0.6 and len(line.cells) == usual:
            return found or _marked(lines, line, usual)
        if share >= 0.6 and filled > most and (not below or min(below) < share - 0.1):
            # A line of units is as full as that of the names above it, and fuller where some
            # columns have no name.
            if found is None or not units_in(line.cells):
                found, most = line, filled
    return found


def _marked(lines: Sequence[_Line], first: _Line, usual: int) -> _Line | None:
    """Give the last line above the first row that is marked as a comment, if it holds names."""
    marked = [line for line in lines if line.comment and line.number < first.number]
    if marked and len(marked[-1].cells) == usual and names_share(marked[-1].cells) >= 0.6:
        return marked[-1]
    return None


def names_share(cells: Sequence[str]) -> float:
    """Share of the cells with something in them that are no number, date or time."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled:
        return 0.0
    return sum(1 for cell in filled if not _NO_NAME.fullmatch(cell[:60])) / len(filled)


def _worth(dialect: Dialect) -> tuple[float, int]:
    """Order of the delimiters: regular and wide, with a header that fits."""
    if dialect.width < 2:
        return 0.0, 0
    wide = 1.0 - 0.5 / dialect.width
    header = 1.0 if dialect.header_line else 0.7
    return dialect.explained * wide * header, -DELIMITERS.index(dialect.delimiter) if (
        dialect.delimiter in DELIMITERS
    ) else 0
