"""What the columns of an unknown delimited text seem to be.

Names and units in the headers tell, never the physics. A column whose unit no header and no cell
states is not recognised, but for places and courses, where the range of degrees leaves one choice.
A table that ``flightlog convert`` wrote is known again as a whole.

Not seen: two sensors of one kind; the second is not recognised.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from flightlog.columns import TABLES
from flightlog.importers.common import FloatArray, Notes, clean_text
from flightlog.importers.delimited_dialect import names_share
from flightlog.importers.delimited_file import TextFile, open_text
from flightlog.importers.delimited_numbers import numbers, style_of
from flightlog.importers.delimited_tables import Assignment, house_column
from flightlog.importers.delimited_times import joined, read_moments
from flightlog.team_files.column_units import is_unit, named_unit, spelled_unit

_BRACKETS = re.compile(r"(?P<name>[^()\[\]]*?)\s*[(\[](?P<unit>[^()\[\]]*)[)\]]")
_BEHIND = re.compile(r"(?P<name>.+?)\s*(?:,\s*|/\s*|\s+in\s+|_|\s)(?P<unit>\S+)")
_OTHER = re.compile(r"[^\w]+|_+")
_TIMES_1E7 = re.compile(r"(?P<name>.+?)[\s_]*(?:1?e7)", re.IGNORECASE)
_PAIRS = ("gps", "position", "coordinates", "lat lon", "latlon", "koordinaten")


MOST_FALLS = 0.01
"""A clock falls where its logger restarted, in fewer than this share of the rows."""


@dataclass(frozen=True, slots=True)
class GuessedColumn:
    """One column of the file.

    Attributes
    ----------
    at : int
        Its place, from 0.
    header : str
        Its name in the file.
    examples : tuple of str
        Some of its cells.
    assignments : tuple of Assignment
        What it was taken for; empty when it was not recognised.
    why : str
        What told it, or why it was not recognised.
    is_time : bool
        Whether it is the time, or part of it.
    maybe : tuple of str
        Table and column of what it would be if its unit were known.
    """

    at: int
    header: str
    examples: tuple[str, ...]
    assignments: tuple[Assignment, ...] = ()
    why: str = "the name is not known"
    is_time: bool = False
    maybe: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class GuessedTime:
    """The time of the rows: columns and format of ``[time]`` in a map, and what told it."""

    columns: tuple[str, ...]
    format: str
    why: str
    order: str = ""
    unclear: bool = False


@dataclass(frozen=True, slots=True)
class Guess:
    """What a delimited text seems to hold; ``known`` where an importer reads it by itself."""

    file: TextFile
    columns: tuple[GuessedColumn, ...]
    time: GuessedTime | None
    why_no_time: str = ""
    known: bool = False


@cache
def _data() -> Mapping[str, Any]:
    text = files("flightlog.importers").joinpath("delimited_guess.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def guess_columns(path: Path) -> Guess:
    """Say what the columns of a delimited text seem to be.

    Raises
    ------
    LogFileError
        If it can't be read, or is no table.
    """
    file = open_text(path)
    whole = _house_table(file.table.header, path.stem)
    if whole is not None:
        return _of_house(file, whole)
    time, why_not = _time(file)
    taken: set[tuple[str, str]] = set()
    columns = []
    for at, header in enumerate(file.table.header):
        examples = _examples(file, at)
        if time is not None and header in time.columns:
            columns.append(GuessedColumn(at, header, examples, why=time.why, is_time=True))
            continue
        column = _column(file, at, header, examples)
        for one in column.assignments:
            if (one.table, one.column) in taken:
                column = replace(
                    column,
                    assignments=(),
                    why=f"another column feeds {one.table}.{one.column} already",
                    maybe=(one.table, one.column),
                )
                break
            taken.add((one.table, one.column))
        columns.append(column)
    return Guess(file, tuple(columns), time, why_not)


def guess_card(path: Path) -> Guess:
    """Give a transmitter card's columns as its importer takes them, for a map to correct."""
    from flightlog.importers.transmitter_rules import assignments

    file = open_text(path)
    table, notes = file.table, Notes()
    made, unclear = assignments(table, notes, file.decimal)
    time = tuple(name for name in ("Date", "Time") if name in table.header)
    columns = []
    for at, header in enumerate(table.header):
        mine = tuple(a for a in made if a.at == at)
        doubt = next((text for text in unclear if text.split(" (")[0] == header.split(" (")[0]), "")
        why = mine[0].why if mine else (f"unclear: {doubt}" if doubt else "feeds no table")
        columns.append(
            GuessedColumn(at, header, _examples(file, at), mine, why, is_time=header in time)
        )
    moments = "date and time" if len(time) == 2 else "time of day"
    guessed = GuessedTime(time, moments, "the names") if time else None
    return Guess(file, tuple(columns), guessed, known=True)


def _examples(file: TextFile, at: int, count: int = 3) -> tuple[str, ...]:
    some = dict.fromkeys(clean_text(cell)[:24] for cell in file.table.some(at, 20))
    return tuple(some)[:count]


# --- tables of the house


def _house_table(header: tuple[str, ...], stem: str) -> str | None:
    """Name the table whose columns the header lists; of two with the same, the file's name."""
    fitting = [
        name
        for name, columns in TABLES.items()
        if header == tuple(column.name for column in columns)
    ]
    if len(fitting) > 1:
        fitting = [name for name in fitting if name == stem.casefold()]
    return fitting[0] if fitting else None


def _of_house(file: TextFile, name: str) -> Guess:
    why = f"a table {name} as 'convert' writes it"
    columns = []
    for at, column in enumerate(TABLES[name]):
        examples = _examples(file, at)
        if column.name == "time_s":
            columns.append(GuessedColumn(at, column.name, examples, why=why, is_time=True))
            continue
        unit = "" if column.text or not column.unit else _own_unit(column.unit)
        made = Assignment(at, name, column.name, unit, why, every_row=True)
        columns.append(GuessedColumn(at, column.name, examples, (made,), why))
    return Guess(file, tuple(columns), GuessedTime(("time_s",), "seconds", why))


def _own_unit(house: str) -> str:
    unit = named_unit(house, house) or spelled_unit(house, house)
    return unit.name if unit else ""


# --- names and units


def split_header(header: str) -> tuple[str, str]:
    """Cut a header into name and unit; the unit is "" where it states none."""
    match = _BRACKETS.fullmatch(header.strip())
    if match:
        return match["name"].strip(), match["unit"].strip()
    match = _TIMES_1E7.fullmatch(header.strip())
    if match:
        return match["name"], "degE7"
    match = _BEHIND.fullmatch(header.strip())
    if match and is_unit(match["unit"].replace("_", "/")):
        return match["name"].strip(), match["unit"].replace("_", "/")
    return header.strip(), ""


def _name_and_unit(file: TextFile, at: int) -> tuple[str, str, str]:
    """Give the name of a column, the unit that is stated for it, and what states it."""
    name, unit = split_header(file.table.header[at])
    units = file.table.dialect.units
    if not unit and at < len(units) and units[at]:
        return name, units[at], "the header and the line of units below it"
    return name, unit, "the header"


def _plain(name: str) -> str:
    return _OTHER.sub(" ", name).strip().casefold()


def _meaning(name: str, unit: str) -> Mapping[str, Any] | None:
    """Give what a name means: of several the one that has the unit, else the first."""
    plain = _plain(name)
    fitting = [m for m in _data()["meaning"] if plain in m["words"]]
    has_unit = (m for m in fitting if unit and spelled_unit(unit, _house_unit(m)))
    return next(has_unit, fitting[0] if fitting else None)


def _house_unit(meaning: Mapping[str, Any]) -> str:
    return house_column(meaning["table"], meaning["is"]).unit


def _feeds(header: tuple[str, ...], column: str) -> bool:
    """Whether the name of any column is one of this house column."""
    meanings = (_meaning(split_header(name)[0], "") for name in header)
    return any(m is not None and m["is"] == column for m in meanings)


def _sensor(meaning: Mapping[str, Any], header: tuple[str, ...]) -> tuple[str, str, str]:
    """Give the table and column of a meaning, and a remark where the sensor is not said."""
    instead = meaning.get("beside_places")
    places = _feeds(header, "latitude_deg") or any(_is_pair(split_header(h)[0]) for h in header)
    if instead and places and not _feeds(header, instead):
        return "gps", instead, "; beside places, so perhaps the receiver's: else baro.height_m"
    return meaning["table"], meaning["is"], ""


def _column(file: TextFile, at: int, header: str, examples: tuple[str, ...]) -> GuessedColumn:
    """Recognise one column."""
    plain = GuessedColumn(at, header, examples)
    if not file.table.dialect.header_line:
        plain = replace(plain, why="the file names no columns")
    if not examples:
        return replace(plain, why="it is empty")
    name, unit_text, told = _name_and_unit(file, at)
    meaning = _meaning(name, unit_text) or _meaning(header, "")
    if meaning is None:
        pair = _pair(file, at, plain, name)
        return pair or plain
    table, column, remark = _sensor(meaning, file.table.header)
    house = house_column(table, column)
    if house.text:
        return replace(plain, assignments=(Assignment(at, table, column),), why="the name")
    values, units, share = _numbers(file, at)
    if share > 0.5:
        return replace(plain, why="most cells are no numbers", maybe=(table, column))
    if not house.unit:
        return replace(plain, assignments=(Assignment(at, table, column),), why="the name")
    spelled = spelled_unit(unit_text, house.unit) if unit_text else None
    why = told
    if spelled is None and len(units) == 1:
        spelled, why = spelled_unit(next(iter(units)), house.unit), "the cells"
    if spelled is None and column in ("latitude_deg", "longitude_deg"):
        found = _degrees(values, 90 if column == "latitude_deg" else 180)
        spelled, why = named_unit(found, "deg"), "the name, and the range of the numbers"
    if spelled is None and not unit_text and column == "course_deg" and _is_circle(values):
        spelled, why = named_unit("deg", "deg"), "the name, and the range of the numbers"
    if spelled is None:
        said = f"the unit {unit_text!r} does not fit" if unit_text else "no unit is stated"
        return replace(plain, why=said, maybe=(table, column))
    why += remark
    return replace(plain, assignments=(Assignment(at, table, column, spelled.name, why),), why=why)


def _is_circle(values: FloatArray) -> bool:
    """Whether courses go beyond a circle in radians and stay within one in degrees."""
    return bool(len(values)) and 2 * np.pi + 0.1 < float(np.abs(values).max()) <= 360.0


def _degrees(values: FloatArray, bound: float) -> str:
    """Unit of a latitude or longitude by its range; "" when there is a choice."""
    if not len(values):
        return ""
    top = float(np.abs(values).max())
    whole = bool((values == np.floor(values)).all())
    if top <= bound and not whole:
        return "deg"
    return "1e-7 deg" if whole and 1e4 < top <= bound * 1e7 else ""


def _pair(file: TextFile, at: int, plain: GuessedColumn, name: str) -> GuessedColumn | None:
    """Recognise a cell with latitude and longitude."""
    if not _is_pair(name):
        return None
    some = [cell.split() for cell in file.table.some(at, 50)]
    if not some or any(len(cell) != 2 for cell in some):
        return None
    if any(names_share(cell) for cell in some):
        return None
    pair = tuple(
        Assignment(at, "gps", column, "deg", "the name, and two numbers in each cell", part=part)
        for part, column in ((1, "latitude_deg"), (2, "longitude_deg"))
    )
    return replace(plain, assignments=pair, why=pair[0].why)


def _is_pair(name: str) -> bool:
    return _plain(name) in _PAIRS


def _numbers(file: TextFile, at: int) -> tuple[FloatArray, set[str], float]:
    """Give numbers of a column, the units behind them, and the share of cells that are none."""
    style = style_of(file.table.some(at), elsewhere=file.decimal)
    values, bad = numbers(file.table, at, style)
    share = 1.0 if style.unclear else bad.count / max(bad.filled, 1)
    return values[np.isfinite(values)], bad.units, share


# --- time


def _time(file: TextFile) -> tuple[GuessedTime | None, str]:
    """Find the time of the rows, or say why there is none."""
    words = _data()["time"]
    found: dict[str, int] = {}
    for at, header in enumerate(file.table.header):
        name, _ = split_header(header)
        for kind in ("date", "time", "both", "count"):
            if _plain(name) in words[kind] or _plain(header) in words[kind]:
                found.setdefault(kind, at)
    why = "no name tells the time"
    if not file.table.dialect.header_line:
        why = "the file names no columns"
    for kind in ("both", "date", "time", "count"):
        if kind not in found:
            continue
        time, said = _one_time(file, kind, found)
        if time is not None:
            return time, ""
        why = said
    return None, why


def _one_time(
    file: TextFile, kind: str, found: Mapping[str, int]
) -> tuple[GuessedTime | None, str]:
    at, header = found[kind], file.table.header
    _, _, no_numbers = _numbers(file, at)
    if no_numbers < 0.1 and kind != "date":
        return _counted(file, at)
    cells = file.table.cells(at)
    names: tuple[str, ...] = (header[at],)
    if kind in ("date", "time") and {"date", "time"} <= set(found):
        at_date, at_time = found["date"], found["time"]
        cells = joined(file.table.cells(at_date), file.table.cells(at_time))
        names = (header[at_date], header[at_time])
    moments = read_moments(cells)
    good = np.isfinite(moments.stamp_s)
    if 2 * good.sum() < max(len(good), 1):
        return None, f"most cells of {' and '.join(names)} are no times"
    if not moments.dated:
        return GuessedTime(names, "time of day", "the name, and times in the cells"), ""
    why = "the name, and dates and times in the cells"
    return GuessedTime(names, "date and time", why, moments.order, moments.unclear), ""


def _counted(file: TextFile, at: int) -> tuple[GuessedTime | None, str]:
    """Recognise a time that is a plain number."""
    header = file.table.header[at]
    _, unit_text, told = _name_and_unit(file, at)
    values, _, _ = _numbers(file, at)
    falls = int((np.diff(values) < 0).sum())
    if falls > MOST_FALLS * len(values):
        return None, f"{header} falls in {falls} of {len(values)} rows: it is no clock of the rows"
    spelled = spelled_unit(unit_text, "s") if unit_text else None
    kinds = {"s": "seconds", "ms": "milliseconds", "us": "microseconds"}
    kind = kinds.get(spelled.name, "") if spelled else ""
    plain = _plain(header)
    if not kind:
        kind = next((k for k in _SPOKEN if plain in _SPOKEN[k]), "")
    middle = float(np.median(values)) if len(values) else 0.0
    for factor, unit in ((1.0, "seconds"), (1e3, "milliseconds"), (1e6, "microseconds")):
        # From 2001 on, and no logger runs for thirty years.
        if 1e9 * factor < middle < 1e10 * factor and kind in ("", unit):
            return GuessedTime((header,), f"unix {unit}", "the size of the numbers"), ""
    if not kind:
        return None, f"{header} states no unit"
    return GuessedTime((header,), kind, told), ""


_SPOKEN = {
    "seconds": ("s", "seconds", "time s"),
    "milliseconds": ("ms", "millis", "milliseconds", "timems", "time ms"),
    "microseconds": ("us", "micros", "microseconds", "timeus", "time us"),
}
