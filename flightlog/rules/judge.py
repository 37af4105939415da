"""What the figures of one sortie say about the limits.

A limit is met when the probability that its bound holds is at least the required one, not met
when it is at most one minus that, not shown in between, and not assessable when the figure is
missing. Numbers are compared as they are, never as they print.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from flightlog.figures import Figure
from flightlog.rules.book import Limit
from flightlog.rules.outcomes import Outcome, Verdict
from flightlog.rules.spread import probability_at_least, probability_at_most
from flightlog.uncertain import Quantity


def judge(
    limits: Iterable[Limit], figures: Mapping[str, Figure], withheld: Mapping[str, str]
) -> tuple[Outcome, ...]:
    """Judge every limit, in the order given.

    Parameters
    ----------
    limits : iterable of Limit
        Of the rule book and of the aircraft; see `flightlog.rules.book.limits_after_flight`.
    figures : mapping of str to Figure
        What stands, by figure id.
    withheld : mapping of str to str
        Figure id -> why it does not.
    """
    return tuple(_outcome(limit, figures, withheld) for limit in limits)


def _outcome(limit: Limit, figures: Mapping[str, Figure], withheld: Mapping[str, str]) -> Outcome:
    figure = figures.get(limit.measured)
    quantity = figure.quantity if figure is not None else None
    reason = ""
    if quantity is None:
        reason = withheld.get(limit.measured, "no analysis gave it")
        if limit.measured != limit.figure:
            reason = f"{limit.measured}: {reason}"
    elif not (math.isfinite(quantity.value) and math.isfinite(quantity.std)):
        quantity, reason = None, "its value is not a finite number"
    probability = None if quantity is None else probability_of(limit, quantity)
    return Outcome(
        limit=limit.id,
        kind=limit.kind,
        figure=limit.figure,
        definition=limit.definition,
        quantity=quantity,
        outcome=verdict(probability, limit.shown_at),
        probability=probability,
        bound=limit.bound,
        required_probability=limit.shown_at,
        source=limit.source,
        reason=reason,
    )


def probability_of(limit: Limit, quantity: Quantity) -> float:
    """Probability that a limit's bound holds.

    Parameters
    ----------
    limit : Limit
        Its bound is in the unit of its figure.
    quantity : Quantity
        What was measured, in the same unit.

    Raises
    ------
    ValueError
        If the units differ.
    """
    bound = limit.bound
    if quantity.unit != bound.unit:
        raise ValueError(f"limit {limit.id} is in {bound.unit!r}, got {quantity.unit!r}")
    if bound.op == "<=":
        return probability_at_most(quantity, bound.value)
    return probability_at_least(quantity, bound.value)


def verdict(probability: float | None, required: float) -> Verdict:
    """Turn a probability into the word for it; None means that the data are missing."""
    if probability is None or math.isnan(probability):
        return "not assessable"
    if probability >= required:
        return "met"
    return "not met" if probability <= 1 - required else "not shown"
