"""Words for a flight as its stored debrief has it: JSON types, as the contract gives them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flightlog.figures import FIGURES
from flightlog.reports.numbers import digits, digits_beside, probability, with_unit
from flightlog.reports.plain import plain
from flightlog.rules.book import whose
from flightlog.rules.outcomes import WORST_FIRST

_LONGEST = 400


def in_order(outcomes: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Give outcomes with the worst first, and of the same word those of the rule book first."""
    return sorted(outcomes, key=lambda o: (WORST_FIRST.index(o["outcome"]), o["kind"] != "rule"))


def figure_text(id_: str, figure: Mapping[str, Any]) -> str:
    """Write a stored figure with unit and interval: "28.1 m (27.8 to 30.1)"."""
    value, unit, interval = figure_parts(id_, figure)
    return with_unit(value, unit) + (f" ({interval})" if interval else "")


def figure_parts(id_: str, figure: Mapping[str, Any], others: int = 2) -> tuple[str, str, str]:
    """Give value, unit and interval of a stored figure as they are printed.

    The interval is empty for an exact number. Directions stay within the circle. ``others`` are
    the decimals of what is no figure.
    """
    kind = FIGURES.get(id_)
    decimals = kind.decimals if kind else others
    value, low, high = (float(figure[key]) for key in ("value", "low", "high"))
    unit = str(figure["unit"])
    if id_.endswith(".from_deg"):
        if not high - low < 360:
            return digits(value % 360, decimals), unit, "any direction"
        value, low, high = value % 360, low % 360, high % 360
    interval = "" if low == high else f"{digits(low, decimals)} to {digits(high, decimals)}"
    return digits(value, decimals), unit, interval


def label_of(id_: str) -> str:
    """Give what a figure is called."""
    return FIGURES[id_].label if id_ in FIGURES else plain(id_, 60)


def outcome_text(outcome: Mapping[str, Any]) -> str:
    """Write what was judged and the bound: "Ground roll 28.1 m, at most 40 m"."""
    bound = outcome["bound"]
    word = "at most" if bound["op"] == "<=" else "at least"
    limit = f"{word} {with_unit(format(bound['value'], 'g'), bound['unit'])}"
    own = ", by the limit's own definition" if outcome["definition"] is not None else ""
    if outcome["value"] is None:
        return f"{label_of(outcome['figure'])} is not known, {limit}{own}"
    kind = FIGURES.get(outcome["figure"])
    value = digits_beside(outcome["value"], bound["value"], kind.decimals if kind else 2)
    return f"{label_of(outcome['figure'])} {with_unit(value, bound['unit'])}, {limit}{own}"


def outcome_source(outcome: Mapping[str, Any]) -> str:
    """Write whose limit it is and where it stands."""
    limit, source = plain(str(outcome["limit"]), 60), plain(str(outcome["source"]), 80)
    told = [source] if limit in source else [limit, source]
    own = whose(outcome["kind"], source)
    if own and own not in source:
        told.append(own)
    return ", ".join(part for part in told if part)


def outcome_chance(outcome: Mapping[str, Any]) -> str:
    """Write how likely the bound holds and what is needed, or why that can't be said."""
    chance, needed = outcome["probability"], outcome["required_probability"]
    if chance is None:
        return plain(str(outcome.get("reason", "the data are missing")), _LONGEST)
    return f"p {probability(chance, needed)}, needs {needed:g}"
