"""What a column map may hold: how a delimited text is written and what its columns are."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, Strict

from flightlog.columns import TABLES, Column
from flightlog.errors import TeamFileError
from flightlog.team_files.checking import Table, Text, checked
from flightlog.team_files.column_units import named_unit, spelled_unit, units_for
from flightlog.team_files.reading import near_miss, read_toml

KIND = "columns"

TimeFormat = Literal[
    "seconds",
    "milliseconds",
    "microseconds",
    "unix seconds",
    "unix milliseconds",
    "unix microseconds",
    "date and time",
    "time of day",
    "gps week",
]
DateOrder = Literal["year-month-day", "day-month-year", "month-day-year"]

_NO_CHARSETS = ("idna", "punycode", "undefined", "unicode_escape", "raw_unicode_escape", "utf_7")
_CHANNEL_TABLES = ("outputs", "inputs")
_Missing = list[Annotated[float, Strict(False)] | str]
_Header = Annotated[str, Field(min_length=1, max_length=200)]
_MISSING = 'a list of numbers and texts that stand for "not measured", such as [-1, "--"]'


class FileSection(Table):
    """How the file is written; what is left out is found."""

    encoding: Annotated[str, Field(min_length=1, max_length=40)] | None = Field(
        default=None, description='the encoding, such as "utf-8", "utf-16" or "cp1252"'
    )
    delimiter: Annotated[str, Field(min_length=1, max_length=3)] | None = Field(
        default=None, description='one character between the cells, or "tab"'
    )
    decimal: Literal[".", ","] | None = Field(
        default=None, description='the decimal sign, "." or ","'
    )
    header_line: int | None = Field(
        default=None,
        ge=0,
        le=10_000,
        description="the number of the line with the names, from 1; 0 for a file without one",
    )
    skip_lines: int = Field(
        default=0, ge=0, le=10_000, description="how many lines at the start are not looked at"
    )
    comment: Annotated[str, Field(min_length=1, max_length=10)] | None = Field(
        default=None, description='how a line starts that is no row, such as "#"'
    )
    missing: _Missing = Field(default_factory=list, description=_MISSING)


class TimeSection(Table):
    """Which columns are the time."""

    columns: list[_Header] = Field(
        min_length=1,
        max_length=2,
        description="a list of one or two headers in quotes, the date before the time",
    )
    format: TimeFormat = Field(
        description='"seconds", "milliseconds" or "microseconds" since the logger\'s start, the '
        'same with "unix " before it, "date and time", "time of day" or "gps week"'
    )
    order: DateOrder | None = Field(
        default=None, description='"year-month-day", "day-month-year" or "month-day-year"'
    )
    utc_offset_h: float | None = Field(
        default=None, ge=-14, le=14, description="the hours that local time is ahead of UTC"
    )
    date: datetime.date | None = Field(
        default=None, description="the day of the first row, such as 2027-03-02 without quotes"
    )


class ColumnSection(Table):
    """What one column is."""

    header: _Header = Field(description="the header of the column as the file has it, in quotes")
    table: str = Field(description=f"one of {', '.join(TABLES)}")
    is_: str = Field(alias="is", description="a column of that table")
    unit: Text | None = Field(default=None, description="the unit that the file's numbers are in")
    sign: Literal[1, -1] = Field(default=1, description="1, or -1 where the file counts back")
    scale: float = Field(
        default=1.0, ge=-1e12, le=1e12, description="a number other than 0 to multiply by"
    )
    wrap: float | None = Field(
        default=None, gt=0, le=1e12, description="a number to add to negative numbers that ran over"
    )
    missing: _Missing = Field(default_factory=list, description=_MISSING)
    instance: int = Field(default=0, ge=0, le=64, description="which of several sensors, from 0")
    channel: int | None = Field(default=None, ge=1, le=64, description="the channel, from 1")
    cell: int | None = Field(default=None, ge=1, le=64, description="the battery cell, from 1")
    part: int | None = Field(
        default=None, ge=1, le=20, description="which word of the cell, from 1"
    )
    decimal: Literal[".", ","] | None = Field(
        default=None, description='the decimal sign of this column, "." or ","'
    )
    every_row: bool = Field(
        default=False,
        description="true where each row is a sample though it repeats the one before",
    )


class ColumnMap(Table):
    """A column map; see `flightlog.importers.delimited` for its keys."""

    time: TimeSection = Field(description="the table [time] with columns and format")
    column: list[ColumnSection] = Field(
        min_length=1, max_length=1000, description="one [[column]] for each column of use"
    )
    file: FileSection = FileSection()


def read_column_map(path: Path) -> tuple[ColumnMap, str]:
    """Read a column map.

    Returns
    -------
    map : ColumnMap
        Checked: tables, columns and units exist and fit together.
    sha256 : str
        Hash of its bytes.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.
    """
    table, sha256 = read_toml(path, KIND)
    made = checked(ColumnMap, table, str(path))
    check_file(made.file, f"{path}: [file]")
    check_time(made.time, f"{path}: [time]")
    for number, column in enumerate(made.column, start=1):
        _check_column(column, f"{path}: [[column]] number {number}")
    _check_together(made, path)
    return made, sha256


def check_file(file: FileSection, where: str) -> None:
    """Check what the model can't: a delimiter that can stand between cells, a known encoding.

    Raises
    ------
    TeamFileError
        Naming the key.
    """
    if file.delimiter is not None and len(file.delimiter) != 1 and file.delimiter != "tab":
        raise TeamFileError(
            f"is {file.delimiter!r}, not one character",
            where=f"{where} delimiter",
            fix='Give the character between the cells, or "tab".',
        )
    if file.delimiter is not None and file.delimiter in '"\n\r\0':
        raise TeamFileError(
            f"is {file.delimiter!r}, which can't stand between cells",
            where=f"{where} delimiter",
            fix='Give the character between the cells, or "tab".',
        )
    if file.encoding is not None:
        _check_encoding(file.encoding, f"{where} encoding")


def _check_encoding(name: str, where: str) -> None:
    try:
        b"a".decode(name, "replace")  # of nothing, any name is taken
        known = name.lower().replace("-", "_") not in _NO_CHARSETS
    except (LookupError, ValueError):  # ValueError: a NUL in the name
        known = False
    if not known:
        usual = ["utf-8", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1", "cp1251"]
        raise TeamFileError(
            f"is {name!r}, which is no encoding of texts",
            where=where,
            fix=near_miss(name, usual) or f"Usual ones are {', '.join(usual)}.",
        )


def check_time(time: TimeSection, where: str) -> None:
    """Check that columns and keys go with the format.

    Raises
    ------
    TeamFileError
        Naming the key.
    """
    two = time.format in ("date and time", "gps week")
    if len(time.columns) == 2 and not two:
        raise TeamFileError(
            f"names two columns, and {time.format!r} stands in one",
            where=f"{where} columns",
            fix="Name the one with the time.",
        )
    if time.format == "gps week" and len(time.columns) != 2:
        raise TeamFileError(
            "names one column, and a GPS week needs two",
            where=f"{where} columns",
            fix="Name the week's column, then the time of week's in seconds.",
        )
    dated = time.format == "date and time"
    for key, value, fits in (
        ("order", time.order, dated),
        ("date", time.date, time.format == "time of day"),
        ("utc_offset_h", time.utc_offset_h, dated or time.format == "time of day"),
    ):
        if value is not None and not fits:
            raise TeamFileError(
                f"does not go with the format {time.format!r}",
                where=f"{where} {key}",
                fix="Leave it out, or correct the format.",
            )


def _check_column(column: ColumnSection, where: str) -> None:
    if column.table not in TABLES:
        raise TeamFileError(
            f"is {column.table!r}, which is no table",
            where=f"{where} table",
            fix=near_miss(column.table, list(TABLES)) or f"Tables: {', '.join(TABLES)}.",
        )
    known = {c.name: c for c in TABLES[column.table] if c.name != "time_s"}
    if column.is_ not in known:
        hint = near_miss(column.is_, list(known)) or f"It has {', '.join(known)}."
        if column.is_ == "time_s":
            hint = "The time is named under [time]."
        raise TeamFileError(
            f"is {column.is_!r}, which is no column of {column.table}",
            where=f"{where} is",
            fix=hint,
        )
    _check_unit(column, known[column.is_], where)
    _check_numbers(column, set(known), where)


def _check_unit(column: ColumnSection, house: Column, where: str) -> None:
    units = [u.name for u in units_for(house.unit)]
    if house.text or not house.unit:
        if column.unit:
            raise TeamFileError(
                f"is {column.unit!r}, and {column.is_} has no unit",
                where=f"{where} unit",
                fix="Leave it out.",
            )
        return
    if column.unit is None:
        raise TeamFileError(
            "is missing",
            where=f"{where} unit",
            fix=f"Add the unit that the file's numbers are in: {', '.join(units)}.",
        )
    if named_unit(column.unit, house.unit) is None:
        other = spelled_unit(column.unit, house.unit)
        hint = f"Write {other.name!r}." if other else near_miss(column.unit, units)
        raise TeamFileError(
            f"is {column.unit!r}, which is no unit of {column.is_}",
            where=f"{where} unit",
            fix=hint or f"Units that fit: {', '.join(units)}.",
        )


def _check_numbers(column: ColumnSection, known: set[str], where: str) -> None:
    faults = (
        ("scale", column.scale == 0, "is 0", "Give the number to multiply by."),
        (
            "channel",
            column.channel is not None and "channel" not in known,
            f"is given, and {column.table} has no channels",
            "Leave it out.",
        ),
        (
            "instance",
            column.instance > 0 and "instance" not in known,
            f"is given, and {column.table} has one sensor only",
            "Leave it out.",
        ),
        (
            "cell",
            column.cell is not None and column.is_ != "cell_voltages",
            f"is given, and {column.is_} is not one battery cell",
            'Leave it out, or write is = "cell_voltages".',
        ),
    )
    for key, wrong, found, fix in faults:
        if wrong:
            raise TeamFileError(found, where=f"{where} {key}", fix=fix)


def _check_together(made: ColumnMap, path: Path) -> None:
    """Check what several columns say of one table."""
    seen: dict[tuple[object, ...], int] = {}
    for number, column in enumerate(made.column, start=1):
        where = f"{path}: [[column]] number {number}"
        key = (column.table, column.is_, column.instance, column.channel, column.cell)
        if key in seen:
            raise TeamFileError(
                f"says again what feeds {column.table}.{column.is_}; number {seen[key]} does "
                "already",
                where=where,
                fix="Delete one, or give them different instances, channels or cells.",
            )
        seen[key] = number
        if column.table in _CHANNEL_TABLES and column.is_ == "pulse_us":
            long = any(c.table == column.table and c.is_ == "channel" for c in made.column)
            if column.channel is None and not long:
                raise TeamFileError(
                    "is missing",
                    where=f"{where} channel",
                    fix="Add the number of the channel that the column belongs to, from 1.",
                )
