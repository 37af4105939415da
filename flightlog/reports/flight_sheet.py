"""The sheet of a flight: what it did, beside it what it was flown under, and what is wearing out.

A page each; the third only where the log tells something of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from flightlog.figures import FIGURES
from flightlog.operations.desk import Desk
from flightlog.operations.flight_view import FlightView, flight_view
from flightlog.operations.pairing import NOT_CLEAR
from flightlog.operations.positions import heads_of, named
from flightlog.operations.sorties import SortieRecord
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.chart import Chart
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.figure_groups import WEAR, in_groups
from flightlog.reports.flight_charts import flight_charts
from flightlog.reports.flight_sheet_record import grave_text, record_bands
from flightlog.reports.flight_sheet_wear import tells_of_wear, wear_bands, withheld_of_wear
from flightlog.reports.flights import WITHOUT, times_text
from flightlog.reports.headline import sortie_headline
from flightlog.reports.numbers import (
    bound_text,
    digits,
    span,
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
from flightlog.reports.sheet_figures import (
    declared_words,
    figure_rows,
    figure_table,
    strange_rows,
    withheld_words,
)
from flightlog.reports.stored_debrief import (
    StoredLap,
    StoredScore,
    StoredSortie,
    stored_sortie,
)
from flightlog.reports.stored_words import in_order, outcome_chance, outcome_source
from flightlog.reports.strip_svg import strip_svg
from flightlog.reports.wear_charts import wear_chart
from flightlog.reports.words import CAUTION, judged_value
from flightlog.rules.outcomes import Outcome

_MOST_STRIPS, _MOST_LAPS = 14, 8
_CHART, _CHART_HIGH, _CHART_LOW = 400, 235, 200
"""Size of a chart, in its own units; on paper it is half a page wide."""
_STRIP = 300
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
            *_wear(view, stored),
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
    groups = in_groups(stored.figures.values())
    rows = figure_rows({name: group for name, group in groups.items() if name not in WEAR})
    rows += strange_rows(stored.strange)
    half = (len(rows) + 1) // 2
    left, right = (figure_table(part) for part in (rows[:half], rows[half:]))
    yield beside([left], [right]) if right.rows else wide(left)


def _wear(view: FlightView, stored: StoredSortie | None) -> Iterable[tuple[Band, ...]]:
    """Give the part about what is wearing out, where there is any."""
    if stored is not None and tells_of_wear(stored):
        yield tuple(wear_bands(stored, lambda name: wear_chart(view, name), _picture))


# --- laps and energy


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
    apart = withheld_of_wear(stored) if tells_of_wear(stored) else {}
    withheld = {id_: why for id_, why in stored.withheld.items() if id_ not in apart}
    right: list[Block] = [*declared_words(stored.figures.values())]
    if withheld or not apart:
        right.append(withheld_words(withheld))
    return beside([table, *_score(stored.score)], right)


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
