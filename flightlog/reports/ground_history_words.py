"""How figures went from ground test to ground test: in words, and as JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from flightlog.contract import Json, bounds_json, plain_json
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.operations.ground_history import GroundSeries
from flightlog.operations.positions import named
from flightlog.prediction.trends import FEWEST
from flightlog.reports.numbers import digits, span, with_unit
from flightlog.reports.plain import plain
from flightlog.uncertain import Uncertain

SCHEMA = "flightlog.groundtest-history/1"
NOTHING = (
    "No ground test is in the record, of what was asked for. Enter one: 'flightlog groundtest KIND "
    "FILE --bench FILE --by WHO'."
)
NOTE = (
    "A change is counted from the first test, with the uncertainty of both; what both tests share, "
    "such as the scale of the stand, makes it less sure here than it is."
)
HISTORY_HEAD = ("Figure", "Tests", "First", "Last", "Change since the first", "95 % interval")
_INDENT = "  "
_WIDEST, _NARROWEST = 100, 50


def label_of(one: GroundSeries) -> str:
    """Give what the figure of a series is called."""
    return GROUND_FIGURES[one.figure].label


def title_of(one: GroundSeries) -> str:
    """Name test and thing of a series: "Ring-down, aircraft pannier (PN-01), left wing tip"."""
    kind = GROUND_KINDS.get(one.test)
    return f"{kind.label if kind else one.test}, {plain(one.subject.text, 200)}"


def history_cells(one: GroundSeries) -> tuple[str, ...]:
    """Give a series as a row of `HISTORY_HEAD`."""
    places = GROUND_FIGURES[one.figure].decimals
    first, last = one.points[0].figure, one.points[-1].figure
    change, interval = _change(one)
    return (
        label_of(one),
        str(len(one.points)),
        _sure(first, places, one.unit),
        _sure(last, places, one.unit),
        change or "one test only",
        interval,
    )


def _sure(figure: Uncertain, places: int, unit: str) -> str:
    """Write a figure with its interval: "32.95 N (32.01 to 33.89)"; an exact one has none."""
    interval = span(figure, places)
    text = with_unit(digits(figure.value, places), unit)
    return f"{text} ({interval})" if interval else text


def _change(one: GroundSeries) -> tuple[str, str]:
    change = one.change
    if change is None:
        return "", ""
    places = GROUND_FIGURES[one.figure].decimals
    sign = "+" if change.value > 0 else ""
    text = with_unit(f"{sign}{digits(change.value, places)}", one.unit)
    shown = "" if one.is_shown else ", not shown"
    return f"{text}{shown}", span(change, places)


def trend_text(one: GroundSeries) -> str:
    """Say how a figure changes from test to test; empty for too few tests."""
    slope = one.slope
    if slope is None or one.trend is None:
        return ""
    places = GROUND_FIGURES[one.figure].decimals + 1
    value, low, high = (digits(n, places) for n in (slope.value, slope.low, slope.high))
    unit = f" {one.unit}" if one.unit else ""
    shown = "" if slope.low > 0 or slope.high < 0 else ": no trend is shown"
    return f"{value}{unit} a test ({low} to {high}, {one.trend.flights} tests){shown}"


def history_lines(
    found: Sequence[GroundSeries], *, width: int = 80, full: bool = False
) -> list[str]:
    """Write series for people.

    Parameters
    ----------
    found : sequence of GroundSeries
        What was asked for.
    width : int
        Characters of a line.
    full : bool
        Whether each test is listed.
    """
    width = min(max(width, _NARROWEST), _WIDEST)
    if not found:
        return _wrap(NOTHING, width)
    lines: list[str] = []
    title = ""
    for one in found:
        if title_of(one) != title:
            title = title_of(one)
            lines += [*([""] if lines else []), *_wrap(title, width)]
        lines += _wrap(_line(one), width, _INDENT, _INDENT * 3)
        if text := trend_text(one):
            lines += _wrap(f"trend {text}", width, _INDENT * 3, _INDENT * 3)
        elif full:
            lines += _wrap(f"{FEWEST} tests make a trend.", width, _INDENT * 3, _INDENT * 3)
        if full:
            lines += [line for text in _tests(one) for line in _wrap(text, width, _INDENT * 2)]
    return [plain(line) for line in [*lines, "", *_wrap(NOTE, width)]]


def _line(one: GroundSeries) -> str:
    label, count, first, last, change, interval = history_cells(one)
    points = one.points
    if len(points) == 1:
        return f"{label}: {last} on {points[0].when:%Y-%m-%d}, one test ({named(points[0].entry)})"
    days = f"{points[0].when:%Y-%m-%d} to {points[-1].when:%Y-%m-%d}"
    return f"{label}: {first}, then {last}; {change} ({interval}); {count} tests, {days}"


def _tests(one: GroundSeries) -> Iterator[str]:
    places = GROUND_FIGURES[one.figure].decimals
    for point in one.points:
        value = with_unit(digits(point.figure.value, places), one.unit)
        interval = span(point.figure, places) or "exact"
        yield f"{point.when:%Y-%m-%d}  {named(point.entry)}  {value} ({interval})"


def _wrap(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text), width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )


def history_json(found: Sequence[GroundSeries]) -> Json:
    """Turn series into plain JSON types."""
    body: Json = plain_json({"schema": SCHEMA, "series": [_series(one) for one in found]})
    return body


def _series(one: GroundSeries) -> dict[str, Any]:
    subject, slope = one.subject, one.slope
    return {
        "test": one.test,
        subject.thing: subject.id,
        "serial": subject.serial,
        "part": subject.part,
        "configuration": subject.configuration,
        "figure": one.figure,
        "unit": one.unit,
        "tests": [
            {
                "entry": named(point.entry),
                "utc": f"{point.when:%Y-%m-%dT%H:%M:%SZ}",
                **bounds_json(point.figure, unit=False, level=True),
            }
            for point in one.points
        ],
        "change": bounds_json(one.change, unit=False, level=True) if one.change else None,
        "change_is_shown": one.is_shown,
        "slope_per_test": (
            {"value": slope.value, "low": slope.low, "high": slope.high} if slope else None
        ),
    }
