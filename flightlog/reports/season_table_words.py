"""The table of a season for a screen, for a spreadsheet and for programs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

from flightlog.figures import FIGURES, LEVEL
from flightlog.operations.season_figures import SeasonTables
from flightlog.operations.season_kept import SCHEMA, Tables, told_in
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain

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
ENDINGS = ("", ".low", ".high")
_NONE, _GAP, _NARROWEST, _LONGEST = "-", 2, 7, 40
_OTHER_DECIMALS = 3
_OF_FIGURE = ("entry_sha256", "figure", "value", "low", "high", "withheld")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LEVEL = f"{100 * LEVEL:.0f} %"


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
    found: SeasonTables, chosen: Tables, figures: Sequence[str] = (), *, width: int = 80
) -> list[str]:
    """Write the table as far as it fits, and say what is left out.

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
    """
    wide = chosen.flights
    ids = figures_of(wide)
    if not wide.num_rows:
        return ["The record has no such flight.", "", *_wrapped(found.checked, width)]
    columns, shown = _about(wide), []
    # What no flight has takes no room, unless it was asked for.
    there = [id_ for id_ in ids if id_ in figures or wide[id_].null_count < wide.num_rows]
    for id_ in _in_order(there, figures):
        column = _figure(id_, wide)
        if sum(c.width + _GAP for c in (*columns, column)) - _GAP > width:
            break
        columns.append(column)
        shown.append(id_)
    lines = _lines(columns)
    said = [f"{_count(wide.num_rows, 'flight')}. {_left_out(ids, shown)}", found.checked]
    return [*lines, *(line for text in said for line in ("", *_wrapped(text, width)))]


def figures_of(wide: pa.Table) -> list[str]:
    """Give the ids of the figures that a table of flights has columns of."""
    names = wide.column_names
    return [name for name in names if f"{name}.low" in names]


def _in_order(ids: Sequence[str], figures: Sequence[str]) -> list[str]:
    first = [id_ for id_ in dict.fromkeys(figures or FIRST) if id_ in ids]
    return [*first, *(id_ for id_ in ids if id_ not in first)]


def _about(wide: pa.Table) -> list[_Column]:
    began = (at[:16].replace("T", " ") for at in values_of(wide, "start_utc"))
    times = tuple(at or "not known" for at in began)
    columns = [
        _Column(("Sortie",), tuple(wide["sortie"].to_pylist())),
        _Column(("Start UTC",), times),
    ]
    for title, name in (("Aircraft", "aircraft"), ("Pack", "pack")):
        cells = tuple(plain(text or _NONE, _LONGEST) for text in wide[name].to_pylist())
        columns.append(_Column((title,), cells))
    return columns


def _figure(id_: str, wide: pa.Table) -> _Column:
    kind = FIGURES[id_] if id_ in FIGURES else None
    decimals = kind.decimals if kind is not None else _OTHER_DECIMALS
    told = _told(wide)[id_]
    cells = tuple(
        _NONE if value is None else digits(value, decimals) for value in wide[id_].to_pylist()
    )
    room = max(_NARROWEST, *map(len, cells))
    head = textwrap.wrap(str(told["label"]), room, break_long_words=False, break_on_hyphens=False)
    return _Column((*head, str(told["unit"])) if told["unit"] else tuple(head), cells, number=True)


def _told(wide: pa.Table) -> dict[str, dict[str, Any]]:
    return {one["figure"]: one for one in told_in(wide)["figures"]}


def _lines(columns: Sequence[_Column]) -> Iterator[str]:
    height = max(len(column.head) for column in columns)
    heads = [(*[""] * (height - len(c.head)), *c.head) for c in columns]
    rows = [*zip(*heads, strict=True), *zip(*(c.cells for c in columns), strict=True)]
    for row in rows:
        cells = (column.line(text) for column, text in zip(columns, row, strict=True))
        yield (" " * _GAP).join(cells).rstrip()


def _left_out(ids: Sequence[str], shown: Sequence[str]) -> str:
    if not ids:
        return "None has a figure."
    more = len(ids) - len(shown)
    left = f"{_count(more, 'more figure')}, " if more else ""
    return (
        f"Left out here: {left}the {_LEVEL} intervals, and why a figure is withheld "
        f"('{_NONE}'); --csv FILE or --parquet FILE writes all, --figure ID chooses."
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
    """Give a table as CSV: numbers in full, times in UTC, what is missing empty."""
    from flightlog.reports.markup import spreadsheet

    columns = [values_of(table, name) for name in table.column_names]
    rows = (["" if v is None else v for v in row] for row in zip(*columns, strict=True))
    return spreadsheet(table.column_names, rows)


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
