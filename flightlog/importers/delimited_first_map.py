"""A first column map of a delimited text: what was recognised, and the rest as comments.

# holds 25,20 | 25,19
# the header
[[column]]
header = "Spannung [V]"
table = "battery"
is = "voltage_v"
unit = "V"
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator

from flightlog.columns import TABLES
from flightlog.importers.common import clean_text
from flightlog.importers.delimited_guess import Guess, GuessedColumn
from flightlog.importers.delimited_tables import Assignment, house_column
from flightlog.team_files.column_units import units_for

_NOT_CHOSEN = ("time_s", "instance")
"""Columns that stand in keys of their own: the time of the rows, and ``instance``."""


def map_text(guess: Guess) -> str:
    """Write a first column map: what was recognised, and the rest as comments."""
    file = guess.file
    dialect = file.table.dialect
    lines = [
        f"# A first column map of {_comment(file.path.name)}: check each line, correct what is",
        "# wrong, and take the marks off the columns that you want.",
        'schema = "flightlog.columns/1"',
        "",
        "[file]",
        f"encoding = {_toml(file.decoded.encoding)}",
        f"delimiter = {_toml('tab' if dialect.delimiter == chr(9) else dialect.delimiter)}",
    ]
    if file.decimal is not None:
        lines.append(f"decimal = {_toml(file.decimal)}")
    lines += [f"header_line = {dialect.header_line}", *_time_lines(guess)]
    for column in guess.columns:
        if not column.is_time:
            lines += ["", *_column_lines(column)]
    if not all(column.assignments or column.is_time for column in guess.columns):
        lines += ["", *_choice()]
    return "\n".join(lines) + "\n"


def _choice() -> Iterator[str]:
    """What a column can be, for those that were not recognised."""
    yield "# What a column can be, table by table:"
    for table, columns in TABLES.items():
        names = " ".join(column.name for column in columns if column.name not in _NOT_CHOSEN)
        yield from textwrap.wrap(
            f"{table}: {names}", 96, initial_indent="# ", subsequent_indent="#   "
        )


def _time_lines(guess: Guess) -> Iterator[str]:
    time = guess.time
    yield ""
    if time is None:
        yield f"# The time was not found: {_comment(guess.why_no_time)}. It is needed:"
        yield "# [time]"
        yield '# columns = ["..."]'
        yield '# format = "seconds"  # or "milliseconds", "microseconds", "unix seconds" and so on,'
        yield '#                     # "date and time", "time of day", "gps week"'
        return
    yield "[time]"
    yield f"columns = [{', '.join(_toml(name) for name in time.columns)}]"
    yield f"format = {_toml(time.format)}"
    if time.order:
        doubt = "  # unclear: correct it if the month comes first" if time.unclear else ""
        mark = "# " if time.unclear else ""
        yield f"{mark}order = {_toml(time.order)}{doubt}"
    if time.format == "date and time":
        yield "# utc_offset_h = 0.0  # hours that this time is ahead of UTC"


def _column_lines(column: GuessedColumn) -> Iterator[str]:
    shown = " | ".join(_comment(cell) for cell in column.examples) or "nothing"
    yield f"# holds {shown}"
    yield f"# {_comment(column.why)}"
    if not column.assignments:
        table, name = column.maybe if column.maybe else ("...", "...")
        unit = _hint(table, name) if column.maybe else "..."
        yield "# [[column]]"
        yield f"# header = {_toml(column.header)}"
        yield f"# table = {_toml(table)}"
        yield f"# is = {_toml(name)}"
        yield f'# unit = "{unit}"'
        return
    for number, made in enumerate(column.assignments):
        if number:
            yield ""
        yield "[[column]]"
        yield f"header = {_toml(column.header)}"
        yield f"table = {_toml(made.table)}"
        yield f"is = {_toml(made.column)}"
        if made.unit:
            yield f"unit = {_toml(made.unit)}"
        yield from _details(made)


def _hint(table: str, name: str) -> str:
    units = [u.name for u in units_for(house_column(table, name).unit)]
    return " or ".join(units) if units else "..."


def _details(made: Assignment) -> Iterator[str]:
    plain = Assignment(0, "", "")
    for key in ("sign", "scale", "wrap", "instance", "channel", "cell", "part"):
        value = getattr(made, key)
        if value != getattr(plain, key):
            yield f"{key} = {value}"
    if made.decimal:
        yield f"decimal = {_toml(made.decimal)}"
    if made.every_row:
        yield "every_row = true"


def _toml(text: str) -> str:
    """Write a text as TOML does; JSON's marks mean the same there."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    return " ".join(clean_text(text).split())[:200]
