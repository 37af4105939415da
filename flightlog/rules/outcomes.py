"""What a figure says about a limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from flightlog.uncertain import Quantity

Verdict = Literal["met", "not met", "not shown", "not assessable"]
WORST_FIRST: tuple[Verdict, ...] = ("not met", "not shown", "not assessable", "met")
"""The order in which outcomes are read."""


@dataclass(frozen=True, slots=True)
class Bound:
    """``op`` is "<=" or ">="; value in ``unit``."""

    op: Literal["<=", ">="]
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """One limit judged.

    Attributes
    ----------
    limit : str
        The limit's id.
    kind : {"rule", "aircraft"}
        Whose limit it is.
    figure : str
        Figure id.
    definition : mapping or None
        The limit's own definition of the quantity, where it differs from the figure's.
    quantity : Quantity or None
        What was judged, in ``bound.unit``; None when not assessable.
    outcome : str
        "met", "not met", "not shown" or "not assessable".
    probability : float or None
        Probability that the bound holds.
    bound : Bound
        The bound.
    required_probability : float
        Probability needed for "met".
    source : str
        Clause of the rule book, or where in the aircraft file.
    reason : str
        Why it is not assessable; else "".
    """

    limit: str
    kind: Literal["rule", "aircraft"]
    figure: str
    definition: Mapping[str, object] | None
    quantity: Quantity | None
    outcome: Verdict
    probability: float | None
    bound: Bound
    required_probability: float
    source: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Score:
    """The rule book's formula over one sortie; None where it can't be had, with the reason."""

    total: Quantity | None
    terms: Mapping[str, Quantity] = field(default_factory=dict)
    reason: str = ""
