"""What a choice has to hold, and what is shown of it; the front of those that nothing beats."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from flightlog.groundtests.draws import Spread

SHOWN: Final = 0.95
"""With this probability one choice must be better than another for that to be said. [-]"""
Verdict = Literal["met", "not met", "not shown", "not assessable"]
FITS: Final = "holds every limit"
OPEN: Final = "open"
OUT: Final = "ruled out"
State = Literal["holds every limit", "open", "ruled out"]


@dataclass(frozen=True, slots=True)
class Demand:
    """A limit of the mission, of the rule book or of a maker.

    Attributes
    ----------
    figure : str
        Which figure of a choice it bounds.
    label : str
        As people read it.
    op : {"<=", ">="}
        Its side.
    bound : float or None
        In ``unit``; None where it is not known for this choice.
    unit : str
        Of the bound.
    shown_at : float
        Probability with which it has to hold. [-]
    missing : str
        What to state where the bound or the figure is not known.
    """

    figure: str
    label: str
    op: Literal["<=", ">="]
    bound: float | None
    unit: str
    shown_at: float
    missing: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """A demand judged: word, probability where there is one, and why where there is none."""

    demand: Demand
    word: Verdict
    probability: float | None = None
    why: str = ""


def judged(demand: Demand, figures: Mapping[str, Spread], withheld: Mapping[str, str]) -> Judged:
    """Judge one demand; what lacks the figure or the bound is not assessable."""
    spread = figures.get(demand.figure)
    if demand.bound is None:
        return Judged(demand, "not assessable", why=demand.missing)
    if spread is None:
        return Judged(demand, "not assessable", why=withheld.get(demand.figure, demand.missing))
    ask = spread.at_most if demand.op == "<=" else spread.at_least
    probability = ask(demand.bound)
    if probability >= demand.shown_at:
        return Judged(demand, "met", probability)
    word: Verdict = "not met" if probability <= 1 - demand.shown_at else "not shown"
    return Judged(demand, word, probability)


def state_of(every: Sequence[Judged]) -> State:
    """Say what all demands together leave of a choice."""
    words = {each.word for each in every}
    if "not met" in words:
        return OUT
    return FITS if words <= {"met"} else OPEN


def beaten_by(
    of: Mapping[str, tuple[Spread, Spread]],
) -> Mapping[str, str]:
    """Give who beats whom in two figures, less of each being better.

    Parameters
    ----------
    of : mapping of str to pair of Spread
        Name -> its two figures, drawn from the same sources.

    Returns
    -------
    mapping of str to str
        Name -> who beats it: in both figures together, with the probability `SHOWN`. Who is not
        in it lies on the front, as far as is shown.
    """
    found = {}
    for name, (x, y) in of.items():
        chance = {
            other: float(np.mean((a.draws < x.draws) & (b.draws < y.draws)))
            for other, (a, b) in of.items()
            if other != name
        }
        best = max(chance, key=lambda other: chance[other], default="")
        if best and chance[best] >= SHOWN:
            found[name] = best
    return found


def least(of: Mapping[str, Spread]) -> tuple[str, tuple[str, ...]]:
    """Give the name with the least figure, and those that are not shown to be worse than it.

    Both empty where there is none.
    """
    finite = {name: spread for name, spread in of.items() if np.isfinite(spread.value)}
    if not finite:
        return "", ()
    best = min(finite, key=lambda name: finite[name].value)
    lead = finite[best].draws
    rest = (name for name in of if name != best)
    return best, tuple(n for n in rest if float(np.mean(lead < of[n].draws)) < SHOWN)
