"""What became of the test points of a flight card: flown, to repeat, or dropped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import (
    FLIGHT_CARD,
    FLIGHT_CARD_DONE,
    POINT_AGAIN,
    POINT_DROPPED,
    POINT_FLOWN,
)
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named, newest
from flightlog.operations.sorties import SortieRecord
from flightlog.team_files.reading import near_miss

RESULTS = (POINT_FLOWN, POINT_AGAIN, POINT_DROPPED)
STATED = "stated"
_LONGEST = 1000


@dataclass(frozen=True, slots=True)
class PointState:
    """One test point of a card, and what is said of it.

    Attributes
    ----------
    name, setup, measure, stop : str
        As the card has them.
    result : str
        One of `RESULTS`; "" where nobody said.
    text : str
        What was said besides.
    """

    name: str
    setup: str
    measure: str
    stop: str
    result: str = ""
    text: str = ""


def is_card(entry: Entry) -> Entry:
    """Give a flight card back.

    Raises
    ------
    UsageError
        If the entry is none.
    """
    if entry.body.kind != FLIGHT_CARD:
        raise UsageError(
            f"is a {entry.body.kind}, no flight card",
            where=named(entry),
            fix="'flightlog card show --aircraft ID' names the cards.",
        )
    return entry


def draft_done(
    desk: Desk,
    card: Entry,
    flight: SortieRecord,
    points: Mapping[str, tuple[str, str]],
    by: str,
    *,
    text: str = "",
) -> Draft:
    """Draft what became of a card's test points.

    Parameters
    ----------
    desk : Desk
        The record.
    card : Entry
        The flight card.
    flight : SortieRecord
        Which was flown by it.
    points : mapping of str to (str, str)
        Name of each point of the card -> one of `RESULTS`, and words.
    by : str
        Public key of who says it.
    text : str
        About the flight as a whole.

    Raises
    ------
    UsageError
        If a point is left out, is not on the card, or a word is none of `RESULTS`.
    RefusedError
        If the flight is of another aircraft, or was entered before the card.
    """
    said = is_card(card).body.content
    if flight.aircraft != said["aircraft"]:
        raise RefusedError(
            f"is a flight of {flight.aircraft or 'an aircraft that is not known'}, and the card is "
            f"for {said['aircraft']}",
            where=named(flight.entry),
            fix="Name the flight that the card was for.",
        )
    if desk.ledger.has_seen(card, flight.entry):
        raise RefusedError(
            f"was in the record before the card {named(card)} was signed",
            where=named(flight.entry),
            fix="Name the flight that the card was for.",
        )
    names = [str(point["point"]) for point in said["points"]]
    _refuse_others(points, names)
    content: dict[str, Any] = {
        "points": [
            {"point": name, "result": points[name][0]}
            | ({"text": points[name][1][:_LONGEST]} if points[name][1] else {})
            for name in names
        ]
    }
    if text:
        content |= {"text": text}
    relations = [Relation(CITES, card.hash), Relation(CITES, flight.entry.hash)]
    return Draft(FLIGHT_CARD_DONE, content, [Signer(by, STATED)], relations=relations)


def _refuse_others(points: Mapping[str, tuple[str, str]], names: list[str]) -> None:
    for name, (result, _) in points.items():
        if name not in names:
            there = f"There are {', '.join(names)}." if names else "It has none."
            hint = near_miss(name, names) or there
            raise UsageError("the card has no such point", where=name[:60], fix=hint)
        if result not in RESULTS:
            raise UsageError(
                f"{result[:40]!r} is none of {', '.join(RESULTS)}", where=name, fix="Say which."
            )
    left = [name for name in names if name not in points]
    if left:
        raise UsageError(
            f"nothing is said of {', '.join(left)}",
            where="--point",
            fix=f"Say of each point whether it was {', '.join(RESULTS)}.",
        )


def done_of(desk: Desk, card: Entry, flight: SortieRecord | None = None) -> Entry | None:
    """Give what was said last of a card's points, of one flight where it is named."""
    ledger = desk.ledger
    entries = [
        entry
        for entry in ledger.naming(card, CITES, FLIGHT_CARD_DONE)
        if not ledger.corrections(entry)
        and ledger.persons(entry, STATED)
        and (flight is None or any(e.hash in entry.body.related(CITES) for e in flight.entries))
    ]
    found = newest(ledger, entries)
    return found[-1] if found else None


def points_of(
    desk: Desk, card: Entry, flight: SortieRecord | None = None
) -> tuple[PointState, ...]:
    """Give a card's points with what is said of them."""
    done = done_of(desk, card, flight)
    said = {p["point"]: p for p in done.body.content["points"]} if done is not None else {}
    return tuple(
        PointState(
            str(p["point"]),
            str(p["setup"]),
            str(p["measure"]),
            str(p["stop"]),
            str(said.get(p["point"], {}).get("result", "")),
            str(said.get(p["point"], {}).get("text", "")),
        )
        for p in card.body.content["points"]
    )
