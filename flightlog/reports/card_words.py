"""A flight card in words, and what came of it: for terminals, pages and programs.

It never says that a flight is safe or legal: it says what was expected, and by whom.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import POINT_AGAIN, POINT_DROPPED, POINT_FLOWN
from flightlog.operations.card_flights import Against, CardOutcome, outcome_of
from flightlog.operations.card_numbers import CardNumbers
from flightlog.operations.card_points import PointState
from flightlog.operations.card_view import IN_FORCE, CardView
from flightlog.operations.card_worth import cards
from flightlog.operations.desk import Desk
from flightlog.operations.positions import heads_of, named
from flightlog.operations.sorties import SortieRecord
from flightlog.prediction.calibration import Score
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.load_today_words import CAUTION, in_hundred
from flightlog.reports.numbers import digits, digits_beside
from flightlog.reports.plain import plain
from flightlog.reports.release_words import signature_lines
from flightlog.uncertain import NORMAL_95

POINT_WORDS = {
    POINT_FLOWN: "flown",
    POINT_AGAIN: "to repeat",
    POINT_DROPPED: "dropped",
    "": "nothing said yet",
}
_NAMES = {"climb.best_rate": "best climb", "energy.used": "energy used"}
_LONGEST, _WIDEST, _INDENT = 1000, 100, "  "


def value(said: Mapping[str, Any], key: str) -> float:
    """Give a number of a card."""
    return float(said[key]["value"])


# --- what a card says


def fact_rows(card: Entry) -> list[tuple[str, str]]:
    """Give what a card is for and what it expects, as (what, text)."""
    said = card.body.content
    rows = [
        ("aircraft, pack", f"{said['aircraft']}, {said['pack']}"),
        ("load", f"{said['units']} units, {value(said, 'mass'):.3f} kg at take-off"),
        (
            "air",
            f"headwind {digits(value(said, 'headwind'), 1)} m/s, density "
            f"{value(said, 'density'):.3f} kg/m³",
        ),
        (
            "ground roll",
            f"{digits(value(said, 'roll'), 1)} m, {digits(value(said, 'roll_low'), 1)} to "
            f"{digits(value(said, 'roll_high'), 1)} m in 95 of 100",
        ),
        (
            "bound",
            f"{100 * value(said, 'needed'):g} of 100 such take-offs stay below "
            f"{digits(value(said, 'bound'), 1)} m",
        ),
        *((f"limit {one['limit']}", _limit(one)) for one in said["limits"]),
        ("give up", _abort(said)),
        ("best climb", _climb(said)),
        ("energy", _energy(said)),
        ("predicted by", str(said["model"])),
    ]
    if "pack_state" in said:
        rows.append(("pack", str(said["pack_state"])))
    if "judged_longer" in said:
        longer = digits(value(said, "judged_longer"), 1)
        rows.append(("judged", f"tape or judge read {longer} m longer: limits are so much nearer"))
    rows += [
        (f"{str(one['what']).upper()} DOES NOT HOLD", str(one["says"]))
        for one in said.get("fails") or []
    ]
    if "beyond" in said:
        rows.append(("BEYOND WHAT WAS FLOWN", str(said["beyond"])))
    return [(what, plain(text, _LONGEST)) for what, text in rows]


def _limit(one: Mapping[str, Any]) -> str:
    required = value(one, "required")
    return (
        f"at most {value(one, 'at_most'):g} m: kept in "
        f"{in_hundred(value(one, 'probability'), required)} of 100, {100 * required:g} are asked"
    )


def _abort(said: Mapping[str, Any]) -> str:
    if "abort" not in said:
        return "no point is named on this card"
    return f"when not airborne {digits(value(said, 'abort'), 1)} m from the start line"


def _climb(said: Mapping[str, Any]) -> str:
    if "climb" not in said:
        return "not predicted: too few flights with one"
    ends = (digits(value(said, key), 1) for key in ("climb", "climb_low", "climb_high"))
    middle, low, high = ends
    return f"{middle} m/s, {low} to {high} m/s in 95 of 100"


def _energy(said: Mapping[str, Any]) -> str:
    if "energy" not in said:
        return "not on this card: 'flightlog load' with planned laps tells what they need"
    return (
        f"{said.get('laps', '?')} laps need {digits(value(said, 'energy'), 1)} Wh; 95 of 100 such "
        f"flights need at most {digits(value(said, 'energy_bound'), 1)} Wh"
    )


def state_text(view: CardView) -> str:
    """Say how a card stands."""
    if view.outcome is not None:
        return f"flown: it predicted the flight {named(view.outcome.flight.entry)}"
    if view.word == IN_FORCE:
        return "in force for the next flight"
    return f"not in force: it {view.why}"


# --- what came of it


def outcome_texts(outcome: CardOutcome) -> list[str]:
    """Say what came of a prediction, in sentences, the roll first."""
    if outcome.card is None:
        return [f"No prediction: {outcome.why}."]
    name = named(outcome.card)
    if outcome.why or outcome.numbers is None:
        return [f"No prediction: of the flight card {name}, {outcome.why}."]
    if outcome.score is None or outcome.roll_m is None:
        said = outcome.card.body.content
        expected = digits(value(said, "roll"), 1)
        return [f"Flight card {name} expected {expected} m; not measured: {outcome.no_roll}."]
    texts = [
        _roll_text(name, outcome.score, outcome.roll_m, outcome.roll_std_m),
        *_bound_text(outcome.numbers, outcome.roll_m),
        *(_against_text(one) for one in outcome.others),
    ]
    gave = in_hundred(outcome.score.pit, 0.95)
    return [*texts, f"The prediction gave {gave} of 100 to a roll of at most what was measured."]


def flight_texts(desk: Desk, flight: SortieRecord) -> tuple[str, ...]:
    """Say what a flight's card predicted and what came of it; nothing where no card was signed."""
    if not flight.aircraft or not cards(desk, flight.aircraft):
        return ()
    try:
        outcome = outcome_of(desk, flight)
    except FlightlogError as error:
        return (f"It can't be compared: {error.sentence()}",)
    counted = points_text(outcome.points)
    return (*outcome_texts(outcome), *((counted,) if counted else ()))


def _roll_text(name: str, score: Score, roll_m: float, std_m: float | None) -> str:
    word = "inside" if score.inside else ("LONGER" if roll_m > score.high else "SHORTER")
    seen = digits_beside(roll_m, score.high if roll_m > score.median else score.low, 1)
    sure = f" ± {digits(NORMAL_95 * std_m, 1)}" if std_m is not None else ""
    return (
        f"Flight card {name} expected a roll of {digits(score.median, 1)} m, "
        f"{digits(score.low, 1)} to {digits(score.high, 1)} m in 95 of 100; measured "
        f"{seen}{sure} m: {word}."
    )


def _bound_text(numbers: CardNumbers, roll_m: float) -> list[str]:
    if roll_m <= numbers.bound_m:
        return []
    return [
        f"It is above the {digits_beside(numbers.bound_m, roll_m, 1)} m that "
        f"{100 * numbers.needed:g} of 100 should stay below."
    ]


def _against_text(one: Against) -> str:
    name = _NAMES.get(one.figure, one.figure)
    expected = f"{digits(one.expected, 1)} {one.unit} of {name} expected"
    if one.low is not None and one.high is not None:
        expected += f" ({digits(one.low, 1)} to {digits(one.high, 1)})"
    elif one.high is not None:
        expected += f" (at most {digits(one.high, 1)} in 95 of 100)"
    if one.inside is None or one.measured is None:
        return f"{expected}; not compared: {plain(one.why, 200)}."
    word = "inside" if one.inside else "OUTSIDE"
    return f"{expected}; measured {digits(one.measured, 1)}: {word}."


def point_rows(points: Sequence[PointState]) -> list[tuple[str, str, str]]:
    """Give what became of test points: name, word, text."""
    return [
        (plain(p.name, 60), POINT_WORDS.get(p.result, p.result), plain(p.text, _LONGEST))
        for p in points
    ]


def points_text(points: Sequence[PointState]) -> str:
    """Count what became of test points; "" where there is none."""
    words = [POINT_WORDS.get(p.result, p.result) for p in points]
    counted = (f"{words.count(word)} {word}" for word in dict.fromkeys(words))
    return f"Test points: {', '.join(counted)}." if points else ""


# --- for a terminal


def card_lines(desk: Desk, view: CardView, *, width: int = 80) -> list[str]:
    """Give a card for a terminal: how it stands, what it expects, its points, what came of it."""
    card = view.card
    lines = [f"Flight card {named(card)}, signed {utc(card.body.time.utc)}"]
    lines += _wrap(f"{state_text(view)}.", width)
    lines += [f"{_INDENT}{line}" for line in signature_lines(desk, card)]
    cited = ", ".join(f"{named(e)} ({e.body.kind})" for e in desk.ledger.named(card))
    lines.append(f"{_INDENT}rests on {cited or 'nothing'}")
    for what, text in fact_rows(card):
        lines += _wrap(f"{what}: {text}", width, _INDENT)
    if view.outcome is not None:
        lines += ["", "What came of it"]
        for text in outcome_texts(view.outcome):
            lines += _wrap(text, width, _INDENT)
    if view.points:
        lines += ["", "Test points"]
        lines += _point_lines(view.points, width)
    lines += ["", f"Head of the record: {', '.join(heads_of(desk.ledger))}"]
    for text in (CAUTION, *CAUTIONS):
        lines += _wrap(text, width)
    return lines


def _point_lines(points: Sequence[PointState], width: int) -> Iterator[str]:
    for point, (name, word, text) in zip(points, point_rows(points), strict=True):
        yield from _wrap(f"{name}: {word}{f', {text}' if text else ''}", width, _INDENT)
        for what in ("setup", "measure", "stop"):
            yield from _wrap(f"{what}: {getattr(point, what)}", width, 2 * _INDENT)


def list_lines(views: Sequence[CardView], *, width: int = 80) -> list[str]:
    """Give cards as a list, a line or two each."""
    if not views:
        return ["No flight card was signed yet: 'flightlog card sign --help' says how."]
    lines = []
    for view in views:
        said = view.card.body.content
        text = (
            f"{named(view.card)}  {utc(view.card.body.time.utc)}  {said['aircraft']}, "
            f"{said['units']} units: {digits(value(said, 'roll'), 1)} m, "
            f"{100 * value(said, 'needed'):g} of 100 below {digits(value(said, 'bound'), 1)} m; "
            f"{state_text(view)}"
        )
        lines += _wrap(text, width)
    return lines


def utc(when: datetime) -> str:
    """Write a time."""
    return f"{when:%Y-%m-%d %H:%M} UTC"


def _wrap(text: str, width: int, first: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text, _LONGEST),
        min(max(width, 50), _WIDEST),
        initial_indent=first,
        subsequent_indent=first + _INDENT,
        break_on_hyphens=False,
    )
