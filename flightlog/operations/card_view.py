"""A flight card as it stands now: for the next flight, of a flight that was flown, or of none."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.logbook.entry import Entry
from flightlog.operations.card_flights import CardOutcome, outcome_of, predicted_by
from flightlog.operations.card_numbers import CardNumbers
from flightlog.operations.card_points import PointState, points_of
from flightlog.operations.card_worth import cards, not_in_force, sound_numbers
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Plan
from flightlog.operations.positions import newest

IN_FORCE, FLOWN, OUT = "in force", "flown", "not in force"


@dataclass(frozen=True, slots=True)
class CardView:
    """A card.

    Attributes
    ----------
    card : Entry
        It.
    word : str
        `IN_FORCE` for the next flight, `FLOWN` where it predicted one, else `OUT`.
    why : str
        Why it is not in force; "" where it is, or where it was flown. A clause about it.
    numbers : CardNumbers or None
        Of the roll; None where they can't be used.
    outcome : CardOutcome or None
        With the flight that it predicted.
    points : tuple of PointState
        Its test points.
    """

    card: Entry
    word: str
    why: str
    numbers: CardNumbers | None
    outcome: CardOutcome | None
    points: tuple[PointState, ...]


def plan_of_card(card: Entry) -> Plan:
    """Give what a card was made for."""
    said = card.body.content
    return Plan(said["aircraft"], said["pack"], said.get("rules", ""), said.get("site", ""))


def card_view(desk: Desk, card: Entry) -> CardView:
    """Say how a card stands now."""
    found = sound_numbers(desk, card)
    numbers = None if isinstance(found, str) else found
    points = points_of(desk, card)
    flight = predicted_by(desk, card)
    if flight is not None:
        return CardView(card, FLOWN, "", numbers, outcome_of(desk, flight), points)
    why = "" if card in cards(desk) else "does not count, or was put right by another entry"
    why = why or not_in_force(desk, plan_of_card(card), card) or _older(desk, card)
    return CardView(card, OUT if why else IN_FORCE, why, numbers, None, points)


def _older(desk: Desk, card: Entry) -> str:
    every = cards(desk, card.body.content["aircraft"])
    last = newest(desk.ledger, every)
    return "" if card in last else "is not the newest one"
