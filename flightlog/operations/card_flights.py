"""Prediction against outcome: which flight card goes with which flight, and what came of it.

A card is the prediction of a flight only if its release was signed in the knowledge of it, and
both rest on the same load sheet and the same weather. So a card that came after lift-off never
counts: what was flown can't be predicted any more. Of several the newest one before the release is
taken, and none where they were made apart from each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import LOAD_SHEET, WEATHER
from flightlog.operations.card_numbers import FIGURE, CardNumbers
from flightlog.operations.card_points import PointState, points_of
from flightlog.operations.card_worth import cards, sound_numbers
from flightlog.operations.desk import Desk
from flightlog.operations.flown_takeoffs import FlownTakeoffs, flown_takeoffs
from flightlog.operations.positions import named, newest
from flightlog.operations.sorties import SortieRecord, debrief_of, sorties
from flightlog.prediction.calibration import Score, score

CLIMB, ENERGY, LAPS = "climb.best_rate", "energy.used", "laps.count"


@dataclass(frozen=True, slots=True)
class Against:
    """What a card expects of one figure, beside what was measured.

    Attributes
    ----------
    figure, unit : str
        Which, and in what.
    expected : float
        Of the card.
    low, high : float or None
        Ends of what it expects; None where it has no such end.
    measured : float or None
        By the flight.
    why : str
        Why the two are not compared; "" where they are.
    """

    figure: str
    unit: str
    expected: float
    low: float | None
    high: float | None
    measured: float | None
    why: str = ""

    @property
    def inside(self) -> bool | None:
        """Whether it lies within what was expected; None where it is not compared."""
        if self.measured is None or self.why:
            return None
        above = self.low is None or self.measured >= self.low
        return above and (self.high is None or self.measured <= self.high)


@dataclass(frozen=True, slots=True)
class CardOutcome:
    """A flight and its card.

    Attributes
    ----------
    flight : SortieRecord
        What was flown.
    card : Entry or None
        That stands nearest to being its prediction.
    why : str
        Why there is no prediction of this flight; "" where the card is one. A clause.
    numbers : CardNumbers or None
        Of the prediction.
    roll_m, roll_std_m : float or None
        As measured, by log and tape where both are there, and how sure that is. [m]
    no_roll : str
        Why it was not measured.
    score : Score or None
        Prediction against outcome.
    others : tuple of Against
        Climb and energy, where the card expects something of them.
    points : tuple of PointState
        Test points of the card.
    """

    flight: SortieRecord
    card: Entry | None
    why: str
    numbers: CardNumbers | None = None
    roll_m: float | None = None
    roll_std_m: float | None = None
    no_roll: str = ""
    score: Score | None = None
    others: tuple[Against, ...] = ()
    points: tuple[PointState, ...] = ()


def card_of(desk: Desk, flight: SortieRecord) -> tuple[Entry | None, str]:
    """Find the card that predicted a flight.

    Returns
    -------
    card : Entry or None
        The nearest one; None where none is near.
    why : str
        Why it is no prediction of this flight; "" where it is one.
    """
    ledger, release = desk.ledger, flight.release
    every = cards(desk, flight.aircraft) if flight.aircraft else ()
    if not every:
        return None, "no flight card of this aircraft was signed"
    if release is None:
        return None, "it was flown without a release, so that no card can be told to be before it"
    seen = newest(ledger, [c for c in every if ledger.has_seen(release, c)])
    if len(seen) > 1:
        codes = " and ".join(map(named, seen))
        return None, f"{codes} were made apart from each other, and none of them is the later one"
    later = [c for c in every if c not in seen and _is_about(desk, c, release)]
    if not seen:
        if later:
            return later[-1], f"it came after the release {named(release)}: that is no prediction"
        return None, "no flight card was signed before its release"
    why = _why_not(desk, flight, release, seen[0])
    return seen[0], why


def _is_about(desk: Desk, card: Entry, release: Entry) -> bool:
    """Whether a card that the release does not know rests on what the release rests on."""
    if desk.ledger.has_seen(release, card):
        return False
    return set(card.body.related(CITES)) <= set(release.body.related(CITES))


def _why_not(desk: Desk, flight: SortieRecord, release: Entry, card: Entry) -> str:
    ledger = desk.ledger
    found = sound_numbers(desk, card)
    if isinstance(found, str):
        return f"it {found}"
    signed, airborne = card.body.time.utc, flight.liftoff or flight.start
    if ledger.has_seen(card, flight.entry):
        return "it was signed when the flight was in the record already"
    if airborne is not None and signed > airborne:
        return (
            f"it says it was signed at {signed:%H:%M:%S} UTC, after lift-off at "
            f"{airborne:%H:%M:%S} UTC by the log"
        )
    between = [
        other
        for other in sorties(desk, flight.aircraft)
        if signed < other.began < flight.began and other.entry not in flight.entries
    ]
    if between:
        return (
            f"it was for the flight {named(between[0].entry)} before it: a card is for one flight"
        )
    for kind, word in ((LOAD_SHEET, "load sheet"), (WEATHER, "weather")):
        mine = {e.hash for e in ledger.named(card, CITES, kind)}
        theirs = {e.hash for e in ledger.named(release, CITES, kind)}
        if not mine or not mine <= theirs:
            return f"it was made for another {word} than the flight was released with"
    if card.body.content["pack"] != release.body.content["pack"]:
        return "it was made for another pack than the flight was released with"
    return ""


def outcome_of(desk: Desk, flight: SortieRecord) -> CardOutcome:
    """Put a flight beside its card.

    Parameters
    ----------
    desk : Desk
        The record.
    flight : SortieRecord
        Of it.
    """
    card, why = card_of(desk, flight)
    if card is None:
        return CardOutcome(flight, None, why)
    roll, no_roll = measured_roll(desk, flight)
    roll_m, roll_std_m = roll or (None, None)
    points = points_of(desk, card, flight)
    numbers = sound_numbers(desk, card)
    if why or isinstance(numbers, str):
        return CardOutcome(flight, card, why, None, roll_m, roll_std_m, no_roll, points=points)
    judged = score(numbers.quantiles, roll_m) if roll_m is not None else None
    others = _others(card.body.content, debrief_of(desk, flight))
    return CardOutcome(
        flight, card, "", numbers, roll_m, roll_std_m, no_roll, judged, others, points
    )


def predicted_by(desk: Desk, card: Entry) -> SortieRecord | None:
    """Give the flight that a card was the prediction of, None where there is none."""
    aircraft = str(card.body.content["aircraft"])
    key = f"predicted by cards of {aircraft}"
    if key not in desk.kept:
        found = {}
        for flight in sorties(desk, aircraft):
            of, why = card_of(desk, flight)
            if of is not None and not why:
                found[of.hash] = flight
        desk.kept[key] = found
    return cast(dict[str, SortieRecord], desk.kept[key]).get(card.hash)


def takeoffs_of(desk: Desk, aircraft: str) -> FlownTakeoffs:
    """Give the take-offs of an aircraft, gathered once for a state of the record."""
    key = f"flown takeoffs {aircraft}"
    if key not in desk.kept:
        desk.kept[key] = flown_takeoffs(desk, aircraft)
    return cast(FlownTakeoffs, desk.kept[key])


def measured_roll(
    desk: Desk, flight: SortieRecord
) -> tuple[tuple[float, float | None] | None, str]:
    """Give the roll of a flight by log and tape with its uncertainty [m], or why there is none."""
    name = named(flight.entry)
    past = takeoffs_of(desk, flight.aircraft)
    found = next((t for t in past.takeoffs if t.name == name and not t.given_up), None)
    if found is not None:
        return (found.roll_m, found.roll_std_m), ""
    debrief = debrief_of(desk, flight) or {}
    value = _figure(debrief, FIGURE)
    if value is not None:
        return (value, None), ""
    why = (debrief.get("withheld") or {}).get(FIGURE)
    told = next((one.why for one in past.left_out if one.name == name), "")
    return None, str(why or told or "its debrief has no ground roll")


def _figure(debrief: Mapping[str, Any], id_: str) -> float | None:
    found = (debrief.get("figures") or {}).get(id_) or {}
    value = found.get("value")
    return float(value) if value is not None else None


def _others(said: Mapping[str, Any], debrief: Mapping[str, Any] | None) -> tuple[Against, ...]:
    def of(key: str) -> float | None:
        return float(said[key]["value"]) if key in said else None

    seen = debrief or {}
    found = []
    climb, energy = of("climb"), of("energy")
    if climb is not None:
        found.append(
            _against(seen, CLIMB, "m/s", climb, of("climb_low"), of("climb_high")),
        )
    if energy is not None:
        laps, planned = _figure(seen, LAPS), said.get("laps")
        why = ""
        if laps is None or planned is None or round(laps) != planned:
            flown = "not known" if laps is None else f"{laps:g}"
            why = f"{planned} laps were planned, and {flown} were flown"
        found.append(_against(seen, ENERGY, "Wh", energy, None, of("energy_bound"), why))
    return tuple(found)


def _against(
    seen: Mapping[str, Any],
    figure: str,
    unit: str,
    expected: float,
    low: float | None,
    high: float | None,
    why: str = "",
) -> Against:
    measured = _figure(seen, figure)
    if measured is None:
        reason = (seen.get("withheld") or {}).get(figure)
        why = str(reason or "the flight has no such number")
    return Against(figure, unit, expected, low, high, measured, why)
