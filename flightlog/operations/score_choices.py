"""The score that each choice of payload units can be expected to bring, by the rule book's formula.

What is declared comes from the choice, laps from the plan, the ground roll from its prediction.
Every other figure is drawn from what the aircraft's earlier flights showed, at the mass of the
choice. A take-off that misses the limit scores nothing: rule books seldom say so in their formula,
so it is an assumption of this program, and every answer says it.

All choices are computed with the same draws, so that what differs between two is not chance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from flightlog.errors import NotEnoughDataError
from flightlog.operations.load_answer import Choice, ScoreSpread
from flightlog.operations.score_inputs import Carried, Past, lacking, past_flights, values_of
from flightlog.rules.working import evaluate

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flightlog.rules.book import ScoreRule

__all__ = ["Carried", "Past", "best_and_safest", "past_flights", "score_of", "score_slopes"]

ONE_UNIT, ONE_WIND, ONE_LAP = "one unit more", "1 m/s more headwind", "one lap more"
MISSED = "a take-off that misses the limit is taken to score nothing, which is our assumption"
NO_LIMIT = "no take-off limit is judged"


def score_of(
    rule: ScoreRule,
    carried: Carried,
    *,
    laps: int | None,
    entered: Mapping[str, float],
    past: Past,
) -> ScoreSpread:
    """Give the distribution of the score of one choice.

    Parameters
    ----------
    rule : ScoreRule
        Of the rule book.
    carried : Carried
        The choice.
    laps : int or None
        As planned, and taken as flown; else drawn from earlier flights.
    entered : mapping of str to float
        Numbers that only people know.
    past : Past
        From `past_flights`.

    Raises
    ------
    NotEnoughDataError
        If a number is missing, or the formula can't be computed; with what would unlock it.
    """
    import numpy as np

    missing = lacking(rule, carried, laps, entered, past)
    if missing:
        raise NotEnoughDataError(
            "; ".join(reason.found for reason in missing),
            fix=" ".join(dict.fromkeys(reason.fix for reason in missing)),
        )
    values, sources = values_of(rule, carried, laps, entered, past)
    points = _points(rule, values)
    keeps = 1.0 if carried.keeps is None else min(1.0, max(0.0, carried.keeps))
    low, high = (_quantile(np.sort(points), keeps, p) for p in (0.025, 0.975))
    said = [*sources, MISSED if carried.keeps is not None else NO_LIMIT]
    return ScoreSpread(keeps * float(points.mean()), low, high, "; ".join(said))


def _points(rule: ScoreRule, values: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """Work out the total for each draw."""
    try:
        for name, formula in rule.terms.items():
            values[name] = evaluate(formula, values)
        return evaluate(rule.total, values)
    except NotEnoughDataError as error:
        raise NotEnoughDataError(
            f"the score can't be computed: {error.found}",
            fix="Check the formula of the rule book, and the numbers given with --entered.",
        ) from error


def _quantile(points: NDArray[np.float64], keeps: float, probability: float) -> float:
    """Give a quantile where the points count with probability ``keeps``, and 0 with the rest.

    Points may be below 0, as penalties are: the mass at 0 then lies among them.
    """
    import numpy as np

    below = int(np.searchsorted(points, 0.0, side="left"))
    share = keeps / len(points)
    weights = np.insert(np.full(len(points), share), below, 1.0 - keeps)
    every = np.insert(points, below, 0.0)
    # Without interpolation: whole points stay whole, and nothing lies between a miss and a score.
    index = int(np.searchsorted(np.cumsum(weights), probability - 1e-12, side="left"))
    return float(every[min(index, len(every) - 1)])


def best_and_safest(choices: Sequence[Choice], needed: float) -> tuple[int | None, int | None]:
    """Give the units with the largest expected score: of all choices, and of the safe ones.

    Parameters
    ----------
    choices : sequence of Choice
        Those that something else forbids are left out.
    needed : float
        Probability with which a safe one keeps the take-off limit.

    Returns
    -------
    best, safest : int or None, int or None
        Of equal scores the fewest units. None where no choice that is meant has a score.
    """
    scored = sorted(
        ((c, c.score) for c in choices if c.allowed and c.score is not None),
        key=lambda pair: (-pair[1].expected, pair[0].units),
    )
    best = next((c.units for c, _ in scored), None)
    kept = (c.units for c, _ in scored if c.probability is None or c.probability >= needed)
    return best, next(kept, None)


def score_slopes(
    rule: ScoreRule,
    carried: Carried,
    *,
    more: Carried | None,
    windier: Carried | None,
    laps: int | None,
    entered: Mapping[str, float],
    past: Past,
) -> tuple[tuple[str, float], ...]:
    """Say by what the expected score changes when one thing changes.

    Parameters
    ----------
    rule, laps, entered, past
        As `score_of` takes them.
    carried : Carried
        The choice that it is about.
    more, windier : Carried or None
        The same with one unit more, and in 1 m/s more headwind; None where that is not known. Of
        the wind only what it does to the take-off counts.

    Returns
    -------
    tuple of (str, float)
        What changes, and the change in points. Without "one lap more" where none are planned.

    Raises
    ------
    NotEnoughDataError
        As `score_of` does.
    """

    def expected(choice: Carried, flown: int | None) -> float:
        return score_of(rule, choice, laps=flown, entered=entered, past=past).expected

    now = expected(carried, laps)
    found: list[tuple[str, float]] = []
    if more is not None:
        found.append((ONE_UNIT, expected(more, laps) - now))
    if windier is not None:
        found.append((ONE_WIND, expected(windier, laps) - now))
    if laps is not None and "laps.count" in rule.variables.values():
        found.append((ONE_LAP, expected(carried, laps + 1) - now))
    return tuple(found)
