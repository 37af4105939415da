"""The numbers of a flight card: how they are written, and whether they go together.

A card may have been written by any program. So what it says of the ground roll is taken from its
quantiles, and a median, an interval, a bound or a probability that does not fit them makes the
whole card worth nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Any

from flightlog.errors import UsageError
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import Entry
from flightlog.prediction.quantiles import Quantiles

FIGURE = "takeoff.ground_roll"
"""The figure that a flight card says what is expected of."""
STEP_M = Decimal("0.000001")
"""Rolls are written with so many digits, rounded up: a bound never comes out too short."""
_PLACES = 9
_SLACK, _SLACK_M = 1e-5, 2e-6
_CENTRAL = (0.025, 0.5, 0.975)


@dataclass(frozen=True, slots=True)
class CardLimit:
    """A limit on the ground roll as a card names it.

    Attributes
    ----------
    id : str
        Of the limit.
    at_most_m : float
        Its bound. [m]
    required, probability : float
        That is asked for before the flight, and that the card says.
    """

    id: str
    at_most_m: float
    required: float
    probability: float


@dataclass(frozen=True, slots=True)
class CardNumbers:
    """What a card predicts of the ground roll.

    Attributes
    ----------
    quantiles : Quantiles
        Of the roll. [m]
    bound_m, needed : float
        Roll that is not exceeded with the probability needed [m], and that probability.
    limits : tuple of CardLimit
        That it names.
    judged_longer_m : float
        By which tape or judge read a roll longer than the log; each limit is so much nearer. [m]
    """

    quantiles: Quantiles
    bound_m: float
    needed: float
    limits: tuple[CardLimit, ...]
    judged_longer_m: float = 0.0

    def limit(self, id_: str, at_most_m: float) -> CardLimit | None:
        """Give what the card says of a limit with this very bound, None where it names none."""
        return next((x for x in self.limits if x.id == id_ and x.at_most_m == at_most_m), None)

    def probability(self, limit: CardLimit) -> float:
        """Give the probability that a limit holds: the lesser of quantiles and card."""
        roll_m = limit.at_most_m - self.judged_longer_m
        return min(limit.probability, self.quantiles.below(roll_m))


def written(value_m: float) -> str:
    """Write a roll for a record, rounded up."""
    return f"{Decimal(repr(value_m)).quantize(STEP_M, ROUND_CEILING):f}"


def written_probability(value: float) -> str:
    """Write a probability for a record, rounded down."""
    text = f"{Decimal(repr(value)):f}"
    head, stop, tail = text.partition(".")
    return f"{head}{stop}{tail[:_PLACES]}"


def quantiles_text(quantiles: Quantiles) -> str:
    """Write quantiles for a record."""
    pairs = zip(quantiles.levels, quantiles.values, strict=True)
    return " ".join(f"{level!r}={written(value)}" for level, value in pairs)


def roll_content(quantiles: Quantiles, needed: float) -> dict[str, Any]:
    """Give what a card says of the ground roll, its limits left out."""
    low, median, high = (quantity(written(quantiles.quantile(p)), "m") for p in _CENTRAL)
    return {
        "roll": median,
        "roll_low": low,
        "roll_high": high,
        "bound": quantity(written(quantiles.quantile(needed)), "m"),
        "needed": quantity(repr(needed), ""),
        "quantiles": quantiles_text(quantiles),
    }


def numbers_of(card: Entry) -> CardNumbers:
    """Read the numbers of a card.

    Raises
    ------
    UsageError
        If they can't be read, or do not go together; it says which.
    """
    said = card.body.content
    found = CardNumbers(
        _quantiles(str(said["quantiles"])),
        _value(said, "bound"),
        _value(said, "needed"),
        tuple(
            CardLimit(
                str(one["limit"]),
                _value(one, "at_most"),
                _value(one, "required"),
                _value(one, "probability"),
            )
            for one in said["limits"]
        ),
        _value(said, "judged_longer") if "judged_longer" in said else 0.0,
    )
    fault = _fault(said, found)
    if fault:
        raise UsageError(fault, where="flight card", fix="Sign a new one: 'flightlog card sign'.")
    return found


def _value(said: Mapping[str, Any], key: str) -> float:
    return float(said[key]["value"])


def _quantiles(text: str) -> Quantiles:
    levels, values = [], []
    for pair in text.split():
        level, _, value = pair.partition("=")
        try:
            levels.append(float(level))
            values.append(float(value))
        except ValueError as error:
            raise UsageError(
                "its quantiles can't be read",
                where="flight card",
                fix="Sign a new one: 'flightlog card sign'.",
            ) from error
    return Quantiles(tuple(levels), tuple(values))


def _fault(said: Mapping[str, Any], found: CardNumbers) -> str:
    """Say which number does not fit the quantiles; "" where all do."""
    quantiles = found.quantiles
    if not 0 < found.needed < 1:
        return "the probability that it needs is none between 0 and 1"
    if found.judged_longer_m < 0:
        return "it has the limit farther away than it is"
    named = zip(("roll_low", "roll", "roll_high"), _CENTRAL, strict=True)
    for key, level in (*named, ("bound", found.needed)):
        if level not in quantiles.levels:
            return f"its quantiles leave out {level:g}"
        if abs(_value(said, key) - quantiles.quantile(level)) > _SLACK_M:
            return f"its {key.replace('_', ' ')} does not fit its quantiles"
    for limit in found.limits:
        # What lies between two levels a reader of the card can't know; outside it is a slip.
        low, high = quantiles.around(limit.at_most_m - found.judged_longer_m)
        if not low - _SLACK <= limit.probability <= high + _SLACK:
            return (
                f"its probability {limit.probability:g} for {limit.id} does not fit its quantiles"
            )
    return ""
