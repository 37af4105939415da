"""The season's calibration: what the cards predicted, beside two plain baselines.

Only signed cards count, each against the flight that it was for. A baseline is given the flights
before and nothing else, so that all three had the same chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from flightlog.operations.card_flights import card_of, takeoffs_of
from flightlog.operations.card_worth import sound_numbers
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from flightlog.prediction.calibration import SeasonScores, season_scores
from flightlog.prediction.quantiles import Quantiles


@dataclass(frozen=True, slots=True)
class Calibration:
    """How good the predictions of an aircraft's flights were.

    Attributes
    ----------
    aircraft : str
        Id of its file.
    season : SeasonScores
        Flights with a measured roll, in the order in which they were flown.
    cards : mapping of str to str
        Name of a flight -> that of its card, where it has one.
    left_out : tuple of (str, str)
        Flights and rolls that can't be judged, and why.
    other_configuration : int
        Flights in other configurations, which are not compared.
    tape_says : str
        What was kept of tapes and judges; "" without any.
    """

    aircraft: str
    season: SeasonScores
    cards: dict[str, str]
    left_out: tuple[tuple[str, str], ...]
    other_configuration: int
    tape_says: str


def calibration(desk: Desk, aircraft: str) -> Calibration:
    """Judge the cards of an aircraft.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    """
    key = f"calibration {aircraft}"
    if key not in desk.kept:
        desk.kept[key] = _calibration(desk, aircraft)
    return cast(Calibration, desk.kept[key])


def _calibration(desk: Desk, aircraft: str) -> Calibration:
    past = takeoffs_of(desk, aircraft)
    flown = [t for t in past.takeoffs if not t.given_up]
    flights = {named(f.entry): f for f in sorties(desk, aircraft)}
    predicted: list[Quantiles | None] = []
    reasons, of_flight = [], {}
    for takeoff in flown:
        card, why = card_of(desk, flights[takeoff.name])
        numbers = sound_numbers(desk, card) if card is not None and not why else why
        if isinstance(numbers, str):
            predicted.append(None)
        else:
            predicted.append(numbers.quantiles)
        if card is not None and not why:
            of_flight[takeoff.name] = named(card)
        reasons.append(why)
    return Calibration(
        aircraft,
        season_scores(flown, predicted, reasons),
        of_flight,
        tuple((one.name, one.why) for one in past.left_out),
        past.other_configuration,
        past.tape_says,
    )
