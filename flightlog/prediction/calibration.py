"""Whether predictions that were made before flights hold, beside two plain baselines.

A prediction is judged by what came after it. The share of flights within its 95 % intervals has
an interval of its own, the exact one of a binomial; of few flights it is wide: they can show that
an interval is wrong, and can't prove that it is right.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.quantiles import Quantiles
from flightlog.prediction.roll_baselines import last_roll, straight_line
from flightlog.prediction.takeoffs import Takeoff

LEVEL, BOUND_LEVEL = 0.95, 0.95
"""Of the central interval, and of the one-sided bound. [-]"""
CARD, LAST, LINE = "card", "last roll", "straight line"
METHODS = (CARD, LAST, LINE)


@dataclass(frozen=True, slots=True)
class Score:
    """A prediction against what was measured.

    Attributes
    ----------
    median, low, high, bound : float
        Of the prediction: the central 95 %, and what 95 of 100 do not exceed. [m]
    inside : bool
        Whether the measured number lies within the central interval.
    over : bool
        Whether it lies above the bound.
    pit : float
        Probability that the prediction gave to at most what was measured; spread evenly over 0 to
        1 where predictions are right. [-]
    crps : float
        Continuous ranked probability score; smaller is better. [m]
    """

    median: float
    low: float
    high: float
    bound: float
    inside: bool
    over: bool
    pit: float
    crps: float


def score(predicted: Quantiles, seen: float) -> Score:
    """Judge a prediction."""
    low = predicted.quantile(0.5 - 0.5 * LEVEL)
    high = predicted.quantile(0.5 + 0.5 * LEVEL)
    bound = predicted.quantile(BOUND_LEVEL)
    return Score(
        predicted.quantile(0.5),
        low,
        high,
        bound,
        low <= seen <= high,
        seen > bound,
        predicted.below(seen),
        predicted.crps(seen),
    )


# --- how often


def probability_of_at_least(count: int, of: int, share: float) -> float:
    """Probability that at least so many of some happen, each with a probability of ``share``."""
    return math.fsum(
        math.comb(of, k) * share**k * (1 - share) ** (of - k) for k in range(count, of + 1)
    )


def exact_interval(count: int, of: int, level: float = LEVEL) -> tuple[float, float]:
    """Give the exact interval of a share (Clopper & Pearson 1934).

    Parameters
    ----------
    count, of : int
        How many of how many, at least one.
    level : float
        Of the interval.
    """
    from scipy.special import betaincinv

    tail = 0.5 * (1 - level)
    low = float(betaincinv(count, of - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, of - count, 1 - tail)) if count < of else 1.0
    return low, high


def flights_to_show(level: float = BOUND_LEVEL, sure: float = 0.95) -> int:
    """Give how many flights in a row, none above its bound, show that the bound holds so often."""
    return math.ceil(math.log(1 - sure) / math.log(level))


# --- a season


@dataclass(frozen=True, slots=True)
class Row:
    """One flight of a season with what was predicted of it.

    Attributes
    ----------
    takeoff : Takeoff
        As it was measured.
    scores : mapping of str to Score
        By method, where it gave a prediction.
    why : mapping of str to str
        By method, where it gave none.
    """

    takeoff: Takeoff
    scores: dict[str, Score]
    why: dict[str, str]


@dataclass(frozen=True, slots=True)
class Method:
    """What one way to predict came to.

    Attributes
    ----------
    name : str
        Of `METHODS`.
    flights, inside, over : int
        Predicted; within the central interval; above the one-sided bound.
    coverage : tuple of float or None
        Exact 95 % interval of the share inside; None without flights.
    as_many_over : float or None
        Probability of at least so many above bounds that are right.
    crps_m, width_m : float or None
        Mean score, and mean width of the central interval.
    common_crps_m, common_width_m : float or None
        The same over those flights alone that every method predicted.
    """

    name: str
    flights: int
    inside: int
    over: int
    coverage: tuple[float, float] | None
    as_many_over: float | None
    crps_m: float | None
    width_m: float | None
    common_crps_m: float | None
    common_width_m: float | None


@dataclass(frozen=True, slots=True)
class SeasonScores:
    """A season: every flight, what each method came to, and on how many they can be compared."""

    rows: tuple[Row, ...]
    methods: tuple[Method, ...]
    common: int


def season_scores(
    takeoffs: Sequence[Takeoff],
    predicted: Sequence[Quantiles | None],
    why: Sequence[str] = (),
) -> SeasonScores:
    """Judge the predictions of a season beside the baselines.

    Parameters
    ----------
    takeoffs : sequence of Takeoff
        That lifted off, in the order in which they were flown. A baseline learns from those
        before it only.
    predicted : sequence of Quantiles or None
        What was signed before each flight.
    why : sequence of str
        Why there is none, for each.
    """
    rows = []
    reasons = why or [""] * len(takeoffs)
    for n, (one, card, reason) in enumerate(zip(takeoffs, predicted, reasons, strict=True)):
        scores: dict[str, Score] = {}
        lacking: dict[str, str] = {}
        if card is not None:
            scores[CARD] = score(card, one.roll_m)
        else:
            lacking[CARD] = reason
        for name, make in ((LAST, last_roll), (LINE, straight_line)):
            try:
                scores[name] = score(make(takeoffs[:n], one), one.roll_m)
            except NotEnoughDataError as error:
                lacking[name] = error.found
        rows.append(Row(one, scores, lacking))
    common = [row for row in rows if all(name in row.scores for name in METHODS)]
    return SeasonScores(
        tuple(rows), tuple(_method(name, rows, common) for name in METHODS), len(common)
    )


def _method(name: str, rows: Sequence[Row], common: Sequence[Row]) -> Method:
    own = [row.scores[name] for row in rows if name in row.scores]
    shared = [row.scores[name] for row in common]
    inside, over = sum(s.inside for s in own), sum(s.over for s in own)
    many = len(own)
    return Method(
        name,
        many,
        inside,
        over,
        exact_interval(inside, many) if many else None,
        probability_of_at_least(over, many, 1 - BOUND_LEVEL) if many else None,
        _mean([s.crps for s in own]),
        _mean([s.high - s.low for s in own]),
        _mean([s.crps for s in shared]),
        _mean([s.high - s.low for s in shared]),
    )


def _mean(numbers: Sequence[float]) -> float | None:
    return math.fsum(numbers) / len(numbers) if numbers else None
