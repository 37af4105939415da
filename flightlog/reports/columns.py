"""What the columns of an unknown delimited text seem to be, in words."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from flightlog.reports.plain import plain

if TYPE_CHECKING:
    from flightlog.importers.delimited_guess import Guess, GuessedColumn

_NAMES = {"\t": "tab", " ": "space"}


def guess_lines(guess: Guess, *, width: int = 80) -> list[str]:
    """Write how the text is written, its time, and column by column what it was taken for.

    Parameters
    ----------
    guess : Guess
        From `flightlog.importers.delimited_guess`.
    width : int, default 80
        Characters of a line.
    """
    width = min(max(width, 50), 100)
    file, dialect = guess.file, guess.file.table.dialect
    header = f"header in line {dialect.header_line}" if dialect.header_line else "no header"
    if dialect.units:
        header += ", units in the line below"
    decimal = repr(file.decimal) if file.decimal else "not to be told"
    lines = [
        f"{plain(file.path.name, 60)}: no known log format; a table as text",
        f"encoding {file.decoded.encoding}, delimiter "
        f"{_NAMES.get(dialect.delimiter, dialect.delimiter)!r}, decimal sign {decimal}",
        f"{header}, {len(file.table)} rows of {len(file.table.header)} columns",
    ]
    odd = file.table.odd
    if odd.short or odd.long or odd.fragments:
        lines.append(
            f"rows with fewer cells {odd.short}, with more {odd.long}, left out {odd.fragments}"
        )
    lines += ["", "Time", *_wrapped(_time(guess), width), "", "Columns"]
    for column in guess.columns:
        if not column.is_time:
            lines += _column(column, width)
    return [plain(line) for line in lines]


def _time(guess: Guess) -> str:
    time = guess.time
    if time is None:
        return f"not found: {guess.why_no_time}"
    text = f"{' and '.join(time.columns)}: {time.format} ({time.why})"
    if time.unclear:
        text += f"; whether day or month comes first is unclear, read as {time.order}"
    elif time.order:
        text += f"; dates as {time.order}"
    return text


def _column(column: GuessedColumn, width: int) -> list[str]:
    shown = ", ".join(column.examples) if column.examples else "nothing"
    first = f"{column.header}: {shown}"
    if column.assignments:
        taken = "; ".join(
            f"{a.table}.{a.column}{f', {a.unit}' if a.unit else ''}" for a in column.assignments
        )
        second = f"-> {taken} ({column.why})"
    else:
        maybe = f"; would be {'.'.join(column.maybe)}" if column.maybe else ""
        second = f"-> not recognised: {column.why}{maybe}"
    return [
        *_wrapped(first, width),
        *textwrap.wrap(
            plain(second, 300), width, initial_indent="      ", subsequent_indent="         "
        ),
    ]


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(plain(text, 300), width, initial_indent="  ", subsequent_indent="      ")
