"""The figures of a stored flight as blocks of its sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from flightlog.figures import FIGURES, Figure
from flightlog.reports.figure_groups import (
    DECLARED,
    TOLD_ELSEWHERE,
    SurfaceTable,
    withheld_texts,
)
from flightlog.reports.numbers import figure_span, figure_value, with_unit
from flightlog.reports.sheet_content import Table, Words
from flightlog.reports.stored_debrief import StoredQuantity

_HEAD = ("", "figure", "value", "95 % interval")
_MOST_FIGURES, _MOST_WITHHELD, _MOST_SURFACES = 26, 10, 12

Row = tuple[str, str, str, str]


def figure_rows(groups: Mapping[str, Sequence[Figure]]) -> list[Row]:
    """Give a row for each figure: its group, what it is called, value with unit, interval."""
    return [_row(name, figure) for name, group in groups.items() for figure in group]


def strange_rows(strange: Iterable[tuple[str, StoredQuantity]]) -> list[Row]:
    """Give the rows of figures that only a newer program knows."""
    return [
        ("Others", id_, with_unit(f"{q.value:.4g}", q.unit), f"{q.low:.4g} to {q.high:.4g}")
        for id_, q in strange
    ]


def figure_table(rows: Sequence[Row], title: str = "") -> Table:
    """Set rows as a table; the group is written only where it changes."""
    before, told = "", []
    for heading, *rest in rows:
        told.append(("" if heading == before else heading, *rest))
        before = heading
    none = "No figure could be computed." if not rows else ""
    return Table(title, _HEAD, tuple(told), (0, 1, 0, 0), (2, 3), (), none, _MOST_FIGURES)


def _row(group: str, figure: Figure) -> Row:
    kind = FIGURES[figure.id]
    value = with_unit(figure_value(figure), kind.unit)
    return group, kind.label, value, figure_span(figure) or "exact"


def surfaces_block(table: SurfaceTable) -> Table:
    """Set the surfaces: a row for each, and its 95 % intervals below it."""
    rows: list[tuple[str, ...]] = []
    for n, name in enumerate(table.surfaces):
        cells = [column.cells[n] for column in table.columns]
        rows.append((name, *(value or "–" for value, _ in cells)))
        rows.append(("", *(interval for _, interval in cells)))
    columns = range(1, len(table.columns) + 1)
    return Table(
        "Surfaces, each with its 95 % interval below it",
        ("", *(column.head for column in table.columns)),
        tuple(rows),
        (0, *(1.0 for _ in columns)),
        tuple(columns),
        most=2 * _MOST_SURFACES,
    )


def declared_words(figures: Iterable[Figure]) -> Iterable[Words]:
    """Give what people said and no sensor measured."""
    texts = [
        f"{FIGURES[f.id].label.lower()} {with_unit(figure_value(f), FIGURES[f.id].unit)}"
        for f in figures
        if f.sources == DECLARED and f.id not in TOLD_ELSEWHERE
    ]
    if texts:
        yield Words("Declared, not measured", (f"{', '.join(texts)}.",))


def withheld_words(withheld: Mapping[str, str], title: str = "Withheld figures") -> Words:
    """Say what is withheld, those of one reason together."""
    return Words(title, tuple(withheld_texts(withheld)), "None.", _MOST_WITHHELD)
