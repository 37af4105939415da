"""The score: a rule book's formula over the figures of one sortie.

The figures are drawn many times within their uncertainty, always with the same draws, and the
formula is computed for each; from exact figures comes an exact number. Figures that share an
error source share its draws.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING

from flightlog.errors import NotEnoughDataError
from flightlog.figures import Figure
from flightlog.rules.outcomes import Score
from flightlog.rules.spread import draw, is_exact
from flightlog.rules.working import evaluate
from flightlog.uncertain import Posterior, Quantity, Uncertain

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flightlog.rules.book import ScoreRule

    Array = NDArray[np.float64]

DRAWS = 4000
"""Draws from the figures: the ends of a 95 % interval are then good to some 3 % of its width."""

KEPT = 400
"""Quantiles kept of each result."""

_SEED = 20270302
_TOTAL = "total"


def score(
    rule: ScoreRule,
    figures: Mapping[str, Figure],
    withheld: Mapping[str, str],
    entered: Mapping[str, float],
) -> Score:
    """Compute the score of one sortie.

    Parameters
    ----------
    rule : ScoreRule
        Formulas and the names that they use.
    figures : mapping of str to Figure
        Figure id -> figure; in formulas each is a number in its own unit.
    withheld : mapping of str to str
        Figure id -> why it can't be had.
    entered : mapping of str to float
        Numbers that the user gave.

    Returns
    -------
    Score
        Points without unit. The total is None, with the reason, where a number is missing or
        a computation fails for any of the draws; terms that could be computed are there all
        the same.
    """
    missing = _missing(rule, figures, withheld, entered)
    values = _values(rule, missing, figures, entered)
    # A term may lack several things; each is said once, however many terms lie between.
    reasons: dict[str, tuple[str, ...]] = {name: (text,) for name, text in missing.items()}
    results: dict[str, Quantity] = {}
    for name, formula in (*rule.terms.items(), (_TOTAL, rule.total)):
        lacking = [text for n in sorted(formula.names & reasons.keys()) for text in reasons[n]]
        if lacking:
            reasons[name] = tuple(dict.fromkeys(lacking))
            continue
        try:
            values[name] = evaluate(formula, values)
        except NotEnoughDataError as error:
            reasons[name] = (f"{name} can't be computed: {error.found}",)
            continue
        results[name] = _quantity(values[name])
    terms = {name: results[name] for name in rule.terms if name in results}
    return Score(results.get(_TOTAL), terms, "; ".join(reasons.get(_TOTAL, ())))


def _missing(
    rule: ScoreRule,
    figures: Mapping[str, Figure],
    withheld: Mapping[str, str],
    entered: Mapping[str, float],
) -> dict[str, str]:
    """Say of each name without a number why it has none, and what would give it one."""
    reasons: dict[str, str] = {}
    for name, id_ in rule.variables.items():
        if id_ not in figures:
            why = withheld.get(id_, "it was not computed for this sortie")
            reasons[name] = f"{name} needs {id_}: {why}"
    strange = [name for name in entered if name not in rule.entered]
    for name, asked in rule.entered.items():
        unit = f", in {asked.unit}" if asked.unit else ""
        text = f"{name} ({asked.meaning}{unit}) is not given: give --entered {name}=VALUE"
        if name not in entered:
            near = get_close_matches(name, strange, n=1)
            reasons[name] = f"{text} ({near[0]} was given)" if near else text
        elif not math.isfinite(entered[name]):
            reasons[name] = f"{name} is not a finite number: give --entered {name}=VALUE"
    return reasons


def _values(
    rule: ScoreRule,
    missing: Mapping[str, str],
    figures: Mapping[str, Figure],
    entered: Mapping[str, float],
) -> dict[str, Array]:
    """Give every name its numbers: one where all are exact, else one per draw."""
    import numpy as np

    known = {n: figures[id_].quantity for n, id_ in rule.variables.items() if n not in missing}
    given = {rule.variables[n]: q for n, q in known.items() if not is_exact(q)}
    count = DRAWS if given else 1
    drawn = draw(given, DRAWS, _SEED)
    values = {
        n: drawn[rule.variables[n]] if rule.variables[n] in drawn else np.full(count, q.value)
        for n, q in known.items()
    }
    return values | {n: np.full(count, float(entered[n])) for n in rule.entered if n not in missing}


def _quantity(numbers: Array) -> Quantity:
    import numpy as np

    if (numbers == numbers[0]).all():
        return Uncertain(float(numbers[0]))
    # Quantiles stand for the draws; taken without interpolation, so that whole points stay whole.
    every = DRAWS // KEPT
    return Posterior.from_samples(np.sort(numbers)[every // 2 :: every])
