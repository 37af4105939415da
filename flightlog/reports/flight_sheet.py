"""The sheet of a flight: what it did, and beside it what it was flown under, on two pages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from flightlog.figures import FIGURES, Figure
from flightlog.operations.desk import Desk
from flightlog.operations.flight_view import FlightView, flight_view
from flightlog.operations.pairing import NOT_CLEAR
from flightlog.operations.positions import heads_of, named
from flightlog.operations.sorties import SortieRecord
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.chart import Chart
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.flight_charts import flight_charts
from flightlog.reports.flight_sheet_record import grave_text, record_bands
from flightlog.reports.flights import WITHOUT, times_text
from flightlog.reports.headline import sortie_headline
from flightlog.reports.numbers import (
    bound_text,
    digits,
    figure_span,
    figure_value,
    span,
    with_unit,
)
from flightlog.reports.sheet_content import (
    Band,
    Block,
    Facts,
    Notice,
    Picture,
    SheetContent,
    Strip,
    Strips,
    Table,
    Words,
    beside,
    wide,
)
from flightlog.reports.stored_debrief import (
    StoredLap,
    StoredQuantity,
    StoredScore,
    StoredSortie,
    stored_sortie,
)
from flightlog.reports.stored_words import in_order, outcome_chance, outcome_source
from flightlog.reports.strip_svg import strip_svg
from flightlog.reports.words import CAUTION, DECLARED, TOLD_ELSEWHERE, judged_value, subject
from flightlog.rules.outcomes import Outcome

_MOST_STRIPS, _MOST_FIGURES, _MOST_LAPS, _MOST_WITHHELD = 14, 26, 8, 10
_CHART, _CHART_HIGH, _CHART_LOW = 400, 235, 200
"""Size of a chart, in its own units; on paper it is half a page wide."""
_STRIP = 300
_FIGURE_HEAD = ("", "figure", "value", "95 % interval")
_LEGEND = (
    "Line: allowed; broken line: beyond the bound; tick: the bound; diamond: the figure; bar: its "
    "one-sided limits at the required probability p."
)
HAND_ONLY = "Entered by hand: no log says what this flight did."
NO_DEBRIEF = "The stored debrief of this flight is missing or damaged: see the record."


def flight_sheet(desk: Desk, flight: SortieRecord, view: FlightView | None = None) -> SheetContent:
    """Give the sheet of a flight.

    Parameters
    ----------
    desk : Desk
        The record.
    flight : SortieRecord
        The flight.
    view : FlightView, optional
        With its log read already; read here when not given.

    Returns
    -------
    SheetContent
        Never raises for a log or a debrief that is missing or damaged: the sheet says so.
    """
    view = view or flight_view(desk, flight)
    stored = stored_sortie(view.debrief, view.whole) if view.debrief else None
    charts = flight_charts(view)
    at = flight.start or flight.liftoff
    about = [
        flight.aircraft or "aircraft not known",
        flight.pack or "pack not known",
        f"{at:%Y-%m-%d %H:%M:%S} UTC" if at is not None else "time not known",
    ]
    return SheetContent(
        title=f"Flight {named(flight.entry)}",
        subtitle=", ".join(about),
        team=desk.folder.name,
        headline=_headline(flight, stored),
        top=tuple(_top(desk, flight)),
        parts=(
            tuple(_did(view, stored, charts)),
            tuple(record_bands(desk, flight, stored, _energy(charts["power"]))),
        ),
        notes=(CAUTION, *CAUTIONS),
        heads=heads_of(desk.ledger),
        made=desk.ledger.now,
        one_page_each=True,
    )


def _headline(flight: SortieRecord, stored: StoredSortie | None) -> str:
    if stored is not None:
        return sortie_headline(stored, stored.of_log)
    return NO_DEBRIEF if flight.recording is not None else HAND_ONLY


def _top(desk: Desk, flight: SortieRecord) -> Iterable[Block]:
    if flight.release is None:
        unclear = flight.paired.startswith(NOT_CLEAR)
        yield Notice("release not clear" if unclear else WITHOUT, flight.paired)
    rows = [("flown", times_text(flight))]
    if flight.recording is not None:
        said = flight.recording.body.content
        rows.append(("log", f"{said['file']}, {said['format']}, {named(flight.recording)}"))
    else:
        rows.append(("log", "none"))
    if flight.release is not None:
        rows.append(("release", f"{named(flight.release)} ({flight.paired})"))
    rows.append(("contradictions", grave_text(desk, flight)))
    yield Facts("", tuple(rows))


# --- what it did


def _did(
    view: FlightView, stored: StoredSortie | None, charts: Mapping[str, Chart]
) -> Iterable[Band]:
    if stored is not None:
        yield wide(_strips(stored, (view.debrief or {}).get("outcomes", ())))
    yield beside([_picture(charts["roll"])], [_picture(charts["track"])])
    if stored is not None:
        yield from _figures(stored)
        yield _laps(stored)
    if view.why and not charts["roll"].lacking:  # else it stands in the chart's place
        yield wide(Words("What the charts lack", (view.why,)))


def _picture(chart: Chart, high: float = _CHART_HIGH) -> Picture:
    if chart.lacking:
        return Picture(chart.title, "", chart.lacking)
    return Picture(chart.title, chart_svg(chart, _CHART, high))


def _strips(stored: StoredSortie, bodies: Sequence[Mapping[str, Any]]) -> Strips:
    outcomes = {id(body): o for body, o in zip(bodies, stored.outcomes, strict=True)}
    return Strips(
        "Limits",
        tuple(_strip(outcomes[id(body)], body) for body in in_order(bodies)),
        _LEGEND if any(o.quantity is not None for o in stored.outcomes) else "",
        "No limit was given: neither rule book nor aircraft file names one.",
        _MOST_STRIPS,
    )


def _strip(outcome: Outcome, body: Mapping[str, Any]) -> Strip:
    kind = FIGURES.get(outcome.figure)
    label, decimals = (kind.label, kind.decimals) if kind else (outcome.figure, 2)
    interval = span(outcome.quantity, decimals) if outcome.quantity is not None else ""
    says = f"{label} {judged_value(outcome)}{f' ({interval})' if interval else ''}"
    says += f", {bound_text(outcome.bound)}"
    if outcome.definition is not None:
        says += ", by the limit's own definition"
    source, chance = outcome_source(body), outcome_chance(body)
    return Strip(outcome.outcome, says, source, chance, strip_svg(body, _STRIP))


def _figures(stored: StoredSortie) -> Iterable[Band]:
    shown = [f for f in stored.figures.values() if f.id not in TOLD_ELSEWHERE]
    rows = [_figure_row(f) for f in shown if f.sources != DECLARED]
    rows += [_strange_row(id_, quantity) for id_, quantity in stored.strange]
    half = (len(rows) + 1) // 2
    left, right = (_figure_table(part) for part in (rows[:half], rows[half:]))
    yield beside([left], [right]) if right.rows else wide(left)


def _declared(stored: StoredSortie) -> Iterable[Words]:
    """Give what people said and no sensor measured."""
    texts = [
        f"{FIGURES[f.id].label.lower()} {with_unit(figure_value(f), FIGURES[f.id].unit)}"
        for f in stored.figures.values()
        if f.sources == DECLARED and f.id not in TOLD_ELSEWHERE
    ]
    if texts:
        yield Words("Declared, not measured", (f"{', '.join(texts)}.",))


def _figure_table(rows: Sequence[tuple[str, ...]]) -> Table:
    """Write a heading only where it changes."""
    before, told = "", []
    for heading, *rest in rows:
        told.append(("" if heading == before else heading, *rest))
        before = heading
    none = "No figure could be computed." if not rows else ""
    return Table("", _FIGURE_HEAD, tuple(told), (0, 1, 0, 0), (2, 3), (), none, _MOST_FIGURES)


def _figure_row(figure: Figure) -> tuple[str, ...]:
    kind = FIGURES[figure.id]
    value = with_unit(figure_value(figure), kind.unit)
    return subject(figure.id), kind.label, value, figure_span(figure) or "exact"


def _strange_row(id_: str, quantity: StoredQuantity) -> tuple[str, ...]:
    value = with_unit(f"{quantity.value:.4g}", quantity.unit)
    return "Others", id_, value, f"{quantity.low:.4g} to {quantity.high:.4g}"


# --- laps and energy


def _withheld(stored: StoredSortie) -> Words:
    """Group figures that are withheld for the same reason."""
    groups: dict[str, list[str]] = {}
    for id_, reason in stored.withheld.items():
        kind = FIGURES.get(id_)
        groups.setdefault(reason, []).append(kind.label if kind else id_)
    told = tuple(f"{', '.join(labels)}: {reason}" for reason, labels in groups.items())
    return Words("Withheld figures", told, "None.", _MOST_WITHHELD)


def _laps(stored: StoredSortie) -> Band:
    gate = f", gate {stored.gate}" if stored.gate else ""
    table = Table(
        f"Laps{gate}",
        ("lap", "time s", "95 % interval", "energy Wh", "m"),
        tuple(_lap_row(lap) for lap in stored.laps),
        (0, 1, 1.6, 1, 1),
        (0, 1, 2, 3, 4),
        none="No lap was counted.",
        most=_MOST_LAPS,
    )
    return beside([table, *_score(stored.score)], [*_declared(stored), _withheld(stored)])


def _energy(chart: Chart) -> Picture:
    return _picture(chart, _CHART_LOW)


def _lap_row(lap: StoredLap) -> tuple[str, ...]:
    interval = span(lap.time, 2) if lap.time is not None else ""
    return (
        str(lap.number),
        digits(lap.time.value, 2) if lap.time is not None else "-",
        interval,
        digits(lap.energy.value, 2) if lap.energy is not None else "-",
        digits(lap.distance.value, 0) if lap.distance is not None else "-",
    )


def _score(score: StoredScore | None) -> Iterable[Words]:
    if score is None:
        return
    if score.total is None:
        yield Words("Score", (f"Withheld: {score.reason}",))
        return
    interval = span(score.total, 1)
    yield Words("Score", (digits(score.total.value, 1) + (f" ({interval})" if interval else ""),))
