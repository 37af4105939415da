"""How good the predictions of a season were, in words: counts with what they can and can't show."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Any

from flightlog.operations.card_season import Calibration
from flightlog.prediction.calibration import (
    BOUND_LEVEL,
    CARD,
    LEVEL,
    METHODS,
    Method,
    Row,
    Score,
    flights_to_show,
)
from flightlog.reports.load_today_words import in_hundred
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain
from flightlog.uncertain import NORMAL_95

METHOD_HEAD = (
    "predicted by", "flights", "inside 95 %", "of them", "above bound", "CRPS m", "width m",
)  # fmt: skip
FLIGHT_HEAD = (
    "flight", "roll m", "card", "expected m", "95 % m", "was at", "last roll m", "straight line m",
)  # fmt: skip
WHY_HEAD = ("flight", "why")
NUMBERS = (*METHOD_HEAD[1:], *FLIGHT_HEAD[1:2], *FLIGHT_HEAD[3:])
"""Columns that stand to the right."""
METHOD_WORDS = {
    CARD: "flight card",
    "last roll": "last flight's roll",
    "straight line": "straight line on mass and wind",
}
_LONGEST, _WIDEST, _INDENT, _NONE = 600, 100, "  ", "-"


def calibration_texts(found: Calibration) -> list[str]:
    """Say what the season shows, in sentences, and what it can't show."""
    season = found.season
    card = season.methods[0]
    if not card.flights:
        return [
            f"No flight of {plain(found.aircraft, 60)} with a measured roll had a flight card: "
            "nothing can be said yet of how good the predictions are. Sign one before the next "
            "flight: 'flightlog card sign --help' says how.",
            *_kept(found),
        ]
    return [*_coverage(card), *_compared(found), *_kept(found)]


def _coverage(card: Method) -> list[str]:
    needed = flights_to_show()
    texts = [
        f"{card.inside} of {card.flights} rolls lay within the 95 % interval of their card: a "
        f"share between {_share(card, ' and ')} % (exact interval).",
        f"{card.over} of {card.flights} lay above the bound that {100 * BOUND_LEVEL:g} of 100 "
        "should stay below"
        + (
            f"; at least so many come in {100 * (card.as_many_over or 0.0):.1f} of 100 such "
            "seasons even where the bounds are right."
            if card.over
            else f"; none come in {100 * BOUND_LEVEL**card.flights:.0f} of 100 such seasons "
            "where the bounds are right."
        ),
    ]
    if card.flights < needed:
        texts.append(
            f"So few flights can't prove {100 * LEVEL:g} %: it takes {needed} in a row, none above "
            "its bound."
        )
    return texts


def _share(method: Method, between: str) -> str:
    """Write the exact interval of a share in per cent, rounded outwards."""
    low, high = method.coverage or (0.0, 1.0)
    return f"{math.floor(100 * low)}{between}{math.ceil(100 * high)}"


def _compared(found: Calibration) -> list[str]:
    season = found.season
    if not season.common:
        return ["No flight was predicted by card and both baselines: they can't be compared yet."]
    flights = "1 flight" if season.common == 1 else f"{season.common} flights"
    told = ", ".join(
        f"{METHOD_WORDS[m.name]} {digits(m.common_crps_m or 0.0, 2)} m (intervals "
        f"{digits(m.common_width_m or 0.0, 1)} m wide)"
        for m in season.methods
    )
    return [
        f"On the {flights} that all three predict, the mean score (CRPS, how far what came "
        f"lay from what was expected; the smaller the better): {told}."
    ]


def _kept(found: Calibration) -> list[str]:
    texts = [found.tape_says] if found.tape_says else []
    if found.other_configuration:
        texts.append(f"Flights in other configurations, left out: {found.other_configuration}.")
    return texts


def method_rows(found: Calibration) -> list[tuple[str, ...]]:
    """Give what each way to predict came to, in the order of `METHOD_HEAD`."""
    return [
        (
            METHOD_WORDS[m.name],
            str(m.flights),
            str(m.inside) if m.flights else _NONE,
            _NONE
            if m.coverage is None
            else f"{100 * m.inside / m.flights:.0f} % ({_share(m, ' to ')})",
            str(m.over) if m.flights else _NONE,
            _NONE if m.crps_m is None else digits(m.crps_m, 2),
            _NONE if m.width_m is None else digits(m.width_m, 1),
        )
        for m in found.season.methods
    ]


def flight_rows(found: Calibration) -> list[tuple[str, ...]]:
    """Give every flight with what was predicted of it, in the order of `FLIGHT_HEAD`."""
    return [_flight(found, row) for row in found.season.rows]


def _flight(found: Calibration, row: Row) -> tuple[str, ...]:
    card = row.scores.get(CARD)
    return (
        row.takeoff.name,
        f"{digits(row.takeoff.roll_m, 1)} ± {digits(NORMAL_95 * row.takeoff.roll_std_m, 1)}",
        found.cards.get(row.takeoff.name, _NONE),
        _NONE if card is None else digits(card.median, 1),
        _NONE if card is None else _span(card),
        _NONE if card is None else f"{in_hundred(card.pit, LEVEL)} of 100",
        *(_span(row.scores[name]) if name in row.scores else _NONE for name in METHODS[1:]),
    )


def _span(score: Score) -> str:
    mark = "" if score.inside else " (out)"
    return f"{digits(score.low, 1)} to {digits(score.high, 1)}{mark}"


def why_rows(found: Calibration) -> list[tuple[str, str]]:
    """Give what no card predicted, or can't be judged, with the reason; alike ones in one row."""
    without = [(row.takeoff.name, row.why[CARD]) for row in found.season.rows if CARD in row.why]
    names: dict[str, list[str]] = {}
    for name, why in (*without, *found.left_out):
        names.setdefault(why, []).append(name)
    return [
        (plain(", ".join(listed), _LONGEST), plain(why, _LONGEST)) for why, listed in names.items()
    ]


# --- for a terminal


def calibration_lines(found: Calibration, *, width: int = 80) -> list[str]:
    """Give the season's calibration for a terminal."""
    lines = []
    for text in calibration_texts(found):
        lines += _wrap(text, width)
    if found.season.rows:
        lines += ["", *_table(METHOD_HEAD, method_rows(found))]
        lines += ["", *_table(FLIGHT_HEAD, flight_rows(found))]
    whys = why_rows(found)
    if whys:
        lines += ["", "Without a prediction, or not to be judged"]
        for name, why in whys:
            lines += _wrap(f"{name}: {why}", width, _INDENT)
    return lines


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[n]) for row in (head, *rows)) for n in range(len(head))]
    return [
        (
            _INDENT
            + "  ".join(
                cell.rjust(size) if n else cell.ljust(size)
                for n, (cell, size) in enumerate(zip(row, widths, strict=True))
            )
        ).rstrip()
        for row in (head, *rows)
    ]


def _wrap(text: str, width: int, first: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text, _LONGEST),
        min(max(width, 50), _WIDEST),
        initial_indent=first,
        subsequent_indent=first + _INDENT,
        break_on_hyphens=False,
    )


# --- for programs


def calibration_json(found: Calibration) -> dict[str, Any]:
    """Give the season's calibration as an object for JSON."""
    return {
        "schema": "flightlog.calibration/1",
        "aircraft": found.aircraft,
        "says": calibration_texts(found),
        "flights": [
            {
                "sortie": row.takeoff.name,
                "roll_m": row.takeoff.roll_m,
                "roll_std_m": row.takeoff.roll_std_m,
                "card": found.cards.get(row.takeoff.name),
                "predictions": {name: _score_json(s) for name, s in row.scores.items()},
                "without": row.why,
            }
            for row in found.season.rows
        ],
        "methods": [
            {
                "method": m.name,
                "flights": m.flights,
                "inside": m.inside,
                "above_bound": m.over,
                "coverage": None if m.coverage is None else list(m.coverage),
                "at_least_so_many_above": m.as_many_over,
                "crps_m": m.crps_m,
                "width_m": m.width_m,
                "common_crps_m": m.common_crps_m,
                "common_width_m": m.common_width_m,
            }
            for m in found.season.methods
        ],
        "common_flights": found.season.common,
        "left_out": [{"name": name, "why": why} for name, why in found.left_out],
        "other_configuration": found.other_configuration,
    }


def _score_json(score: Score) -> dict[str, Any]:
    return {
        "median_m": score.median,
        "low_m": score.low,
        "high_m": score.high,
        "bound_m": score.bound,
        "inside": score.inside,
        "above_bound": score.over,
        "probability_of_at_most": score.pit,
        "crps_m": score.crps,
    }
