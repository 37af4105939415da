"""The table of a season for a screen, for a spreadsheet and for programs."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

from flightlog.figures import FIGURES, LEVEL
from flightlog.operations.season_figures import SeasonTables
from flightlog.operations.season_kept import SCHEMA, UNIT, Tables, told_in
from flightlog.reports.numbers import wider_side, without_noise
from flightlog.reports.plain import plain
from flightlog.reports.stored_words import figure_parts

if TYPE_CHECKING:
    import pyarrow as pa

FIRST = (
    "takeoff.ground_roll",
    "mass.takeoff",
    "climb.best_rate",
    "energy.per_lap",
    "energy.used",
    "battery.resistance_25c",
    "landing.sink_rate",
    "battery.energy_left",
    "flight.max_airspeed",
)
"""Figures that a screen shows first, as far as they fit."""
OF_THE_LOG = ("takeoff.start_time", "takeoff.liftoff_time")
"""Times by the clock of a log, which mean nothing from flight to flight: only when asked for."""
ENDINGS = ("", ".low", ".high")
_NONE, _GAP, _NARROWEST, _LONGEST = "-", 2, 7, 40
_OTHER_DECIMALS = 3
_OF_FIGURE = ("entry_sha256", "figure", "value", "low", "high", "withheld")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LEVEL = f"{100 * LEVEL:.0f} %"
_HALF_CIRCLE = 180.0
_EXACT = "a number without one is exact."


@dataclass(frozen=True)
class _Column:
    head: tuple[str, ...]
    cells: tuple[str, ...]
    number: bool = False

    @cached_property
    def width(self) -> int:
        return max(map(len, (*self.head, *self.cells)))

    def line(self, text: str) -> str:
        return text.rjust(self.width) if self.number else text.ljust(self.width)


def season_table_lines(
    found: SeasonTables,
    chosen: Tables,
    figures: Sequence[str] = (),
    *,
    width: int = 80,
    sign: str = "±",
) -> list[str]:
    """Write the table as far as it fits, and say what is left out.

    Each number has its uncertainty: the interval where figures were asked for and all of them have
    room for it, else how far the interval reaches on its wider side.

    Parameters
    ----------
    found : SeasonTables
        As it was had.
    chosen : Tables
        What was asked for of it.
    figures : sequence of str
        Those that were asked for, which come first; the usual ones where empty.
    width : int, default 80
        Characters of a line.
    sign : str
        What stands before how far an interval reaches, as the screen has it.
    """
    wide = chosen.flights
    if not wide.num_rows:
        return ["The record has no such flight.", "", *_wrapped(found.checked, width)]
    above, columns = _about(wide)
    ids = figures_of(wide)
    # What no flight has takes no room, unless it was asked for.
    there = [id_ for id_ in ids if id_ in figures or wide[id_].null_count < wide.num_rows]
    wanted = _in_order(there, figures)
    room = width - sum(column.width + _GAP for column in columns)
    shown = _fitting([_figure(id_, wide, "") for id_ in wanted], room) if figures else []
    in_full = bool(figures) and len(shown) == len(wanted)
    if not in_full:
        shown = _fitting((_figure(id_, wide, sign) for id_ in wanted), room)
    said = [
        f"{_count(wide.num_rows, 'flight')}. {_of_times(wide)}",
        f"{_reading(in_full, sign) if shown else ''}{_left_out(ids, len(shown))}",
        found.checked,
    ]
    told = (line for text in said for line in ("", *_wrapped(text, width)))
    return [*above, *_lines([*columns, *shown]), *told]


def figures_of(wide: pa.Table) -> list[str]:
    """Give the ids of the figures that a table of flights has columns of."""
    names = wide.column_names
    return [name for name in names if f"{name}.low" in names]


def _in_order(ids: Sequence[str], figures: Sequence[str]) -> list[str]:
    first = [id_ for id_ in dict.fromkeys(figures or FIRST) if id_ in ids]
    rest = (id_ for id_ in ids if id_ not in first and id_ not in OF_THE_LOG)
    return [*first, *rest]


def _about(wide: pa.Table) -> tuple[list[str], list[_Column]]:
    """Give what stands above the table, and its first columns.

    The aircraft or pack of all flights stands above: figures have more use for the room.
    """
    times = tuple(at[:16].replace("T", " ") for at in values_of(wide, "start_utc"))
    columns = [
        _Column(("Sortie",), tuple(wide["sortie"].to_pylist())),
        _Column(("Start UTC",), times),
    ]
    above: list[str] = []
    for title, name in (("Aircraft", "aircraft"), ("Pack", "pack")):
        texts = wide[name].to_pylist()
        cells = tuple(plain(text or _NONE, _LONGEST) for text in texts)
        if None not in texts and len(set(texts)) == 1:
            above.append(f"{name if above else title}: {cells[0]}")
        else:
            columns.append(_Column((title,), cells))
    return ([", ".join(above), ""] if above else []), columns


def _fitting(columns: Iterable[_Column], room: int) -> list[_Column]:
    """Give as many columns, from the first one on, as there is room for."""
    found = []
    for column in columns:
        room -= column.width
        if room < 0:
            break
        found.append(column)
        room -= _GAP
    return found


def _figure(id_: str, wide: pa.Table, sign: str) -> _Column:
    """Give the column of a figure; without a sign it has the whole interval."""
    told = _told(wide)[id_]
    names = [f"{id_}{ending}" for ending in ENDINGS]
    rows = zip(*(wide[name].to_pylist() for name in names), strict=True)
    parts = [_number(id_, row, sign) for row in rows]
    longest, widest = (max(map(len, column)) for column in zip(*parts, strict=True))
    # One below the other: the numbers, the signs, and the digits behind them.
    cells = tuple(f"{value:>{longest}} {_beside(text, sign, widest)}".rstrip().ljust(
        longest + (1 + widest if widest else 0)) for value, text in parts)  # fmt: skip
    room = max(_NARROWEST, *map(len, cells))
    head = textwrap.wrap(str(told["label"]), room, break_long_words=False, break_on_hyphens=False)
    return _Column((*head, str(told["unit"])) if told["unit"] else tuple(head), cells, number=True)


def _number(
    id_: str, row: tuple[float | None, float | None, float | None], sign: str
) -> tuple[str, str]:
    """Give a number and what says how sure it is, which an exact one lacks."""
    value, low, high = row
    if value is None or low is None or high is None:
        return _NONE, ""
    said = {"value": value, "low": low, "high": high, "unit": ""}
    text, _, interval = figure_parts(id_, said, _OTHER_DECIMALS)
    if not interval or not sign:
        return text, f"({interval})" if interval else ""
    decimals = FIGURES[id_].decimals if id_ in FIGURES else _OTHER_DECIMALS
    if id_.endswith(".from_deg"):
        low, high = max(low, value - _HALF_CIRCLE), min(high, value + _HALF_CIRCLE)
    return text, f"{sign}{wider_side(value, low, high, decimals)}"


def _beside(text: str, sign: str, width: int) -> str:
    if not text or not sign:
        return text
    return sign + text.removeprefix(sign).rjust(width - len(sign))


def _told(wide: pa.Table) -> dict[str, dict[str, Any]]:
    return {one["figure"]: one for one in told_in(wide)["figures"]}


def _lines(columns: Sequence[_Column]) -> Iterator[str]:
    height = max(len(column.head) for column in columns)
    heads = [(*[""] * (height - len(c.head)), *c.head) for c in columns]
    rows = [*zip(*heads, strict=True), *zip(*(c.cells for c in columns), strict=True)]
    for row in rows:
        cells = (column.line(text) for column, text in zip(columns, row, strict=True))
        yield (" " * _GAP).join(cells).rstrip()


def _of_times(wide: pa.Table) -> str:
    """Say how many flights have no time, and so stand where they stand."""
    count = wide["start_utc"].null_count
    if not count:
        return ""
    last = "has no known time and comes" if count == 1 else "have no known time and come"
    return f"{_count(count, 'flight')} {last} last."


def _reading(in_full: bool, sign: str) -> str:
    """Say what stands beside the numbers."""
    if in_full:
        return f"In brackets the {_LEVEL} interval; {_EXACT} "
    return f"{sign} is the wider side of the {_LEVEL} interval, rounded up; {_EXACT} "


def _left_out(ids: Sequence[str], shown: int) -> str:
    if not ids:
        return "None has a figure."
    more = len(ids) - shown
    left = f"{_count(more, 'more figure')}, and " if more else ""
    return (
        f"Left out here: {left}why a figure is withheld ('{_NONE}'); --csv FILE or --parquet FILE "
        "writes all, --figure ID chooses."
    )


def _count(number: int, word: str) -> str:
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, min(max(width, 50), 100))


# --- for spreadsheets and programs


def values_of(table: pa.Table, name: str) -> list[Any]:
    """Give a column; times as texts in UTC, "" where there is none, all else as it is."""
    import pyarrow as pa

    column = table[name]
    if not pa.types.is_timestamp(column.type):
        return list(column.to_pylist())
    # As numbers: pyarrow makes times by a library whose loading takes longer than all the rest.
    numbers = [us for chunk in column.chunks for us in chunk.view(pa.int64()).to_pylist()]
    return [_utc(us) if us is not None else "" for us in numbers]


def _utc(us: int) -> str:
    return (_EPOCH + timedelta(microseconds=us)).isoformat().replace("+00:00", "Z")


def season_csv(table: pa.Table) -> str:
    """Give a table as CSV: numbers without rounding, times in UTC, what is missing empty.

    Columns of numbers end in their unit, as those of tables of a log do.
    """
    from flightlog.reports.markup import spreadsheet

    columns = [values_of(table, name) for name in table.column_names]
    rows = ([_cell(v) for v in row] for row in zip(*columns, strict=True))
    return spreadsheet([_head(field) for field in table.schema], rows)


def _head(field: pa.Field) -> str:
    unit = (field.metadata or {}).get(UNIT, b"").decode("utf-8")
    ending = f"_{unit_word(unit)}" if unit else ""
    return str(field.name) if field.name.endswith(ending) else f"{field.name}{ending}"


def unit_word(unit: str) -> str:
    """Write a unit as the name of a column ends in it: ``m_s2`` for m/s², ``per_s`` for 1/s."""
    if unit in _WORDS:
        return _WORDS[unit]
    text = unit.replace("²", "2").replace("³", "3").lower()
    return re.sub("^1_", "per_", re.sub("[^a-z0-9]+", "_", text).strip("_"))


_WORDS = {"%": "pct", "°C": "c", "Ω": "ohm"}


def _cell(value: Any) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return without_noise(value)
    return "" if value is None else value


def season_json(found: SeasonTables, chosen: Tables) -> dict[str, object]:
    """Give the table as a JSON object: unrounded, with why each figure is withheld."""
    told = _told(chosen.flights)
    return {
        "schema": SCHEMA,
        "checked": found.checked,
        "how": found.how,
        "level": LEVEL,
        "figures": {
            id_: {"label": told[id_]["label"], "unit": told[id_]["unit"]}
            for id_ in figures_of(chosen.flights)
        },
        "flights": _flights(chosen),
    }


def _flights(chosen: Tables) -> list[dict[str, object]]:
    wide = chosen.flights
    ids = {f"{id_}{ending}" for id_ in figures_of(wide) for ending in ENDINGS}
    names = [name for name in wide.column_names if name not in ids]
    numbers: dict[str, dict[str, object]] = {e: {} for e in wide["entry_sha256"].to_pylist()}
    withheld: dict[str, dict[str, object]] = {entry: {} for entry in numbers}
    long = [chosen.figures[name].to_pylist() for name in _OF_FIGURE]
    for entry, id_, value, low, high, why in zip(*long, strict=True):
        if why is None:
            numbers[entry][id_] = {"value": value, "low": low, "high": high}
        else:
            withheld[entry][id_] = why
    rows = zip(*(values_of(wide, name) for name in names), strict=True)
    return [
        {name: None if value == "" else value for name, value in zip(names, row, strict=True)}
        | {"figures": numbers[entry], "withheld": withheld[entry]}
        for row, entry in zip(rows, numbers, strict=True)
    ]
