"""The strip of a stored outcome as a picture for paper and pages; see ``strip`` for its meaning.

A stored outcome has its interval at 95 %, two-sided. The bar is the one-sided interval at the
required probability: each side is taken as that of a normal distribution and stretched. The word
was judged on the distribution itself; the picture never says another one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

from flightlog.figures import LEVEL
from flightlog.reports.look import INK, PAPER
from flightlog.reports.stored_words import outcome_text
from flightlog.reports.svg_pieces import rule, svg

HEIGHT = 26.0
"""Of the picture. [px]"""
_MARGIN = 0.2
_EDGE = 10.0
_CLEAR = 9.0
"""A bar that ends on one side of the tick stays so far from it; the mark is half as wide. [px]"""
_ALMOST_ONE = 1 - 1e-9
_LARGEST = 1e300


@dataclass(frozen=True, slots=True)
class _Spots:
    """Where things stand, as fractions of the length from the left; no bar where None."""

    bound: float
    value: float | None = None
    low: float | None = None
    high: float | None = None


def one_sided(value: float, low: float, high: float, required: float) -> tuple[float, float]:
    """Give the one-sided limits of a stored number.

    Parameters
    ----------
    value, low, high : float
        The number with its two-sided interval at 95 %.
    required : float
        Probability of the one-sided limits; with one half or less both are the number itself. [-]
    """
    normal = NormalDist()
    reach = normal.inv_cdf(min(max(required, 0.5), _ALMOST_ONE)) / normal.inv_cdf((1 + LEVEL) / 2)
    return value - reach * (value - low), value + reach * (high - value)


def strip_svg(outcome: Mapping[str, Any], width: float = 420) -> str:
    """Draw an outcome of the JSON contract as a strip.

    Parameters
    ----------
    outcome : mapping
        Of the stored debrief.
    width : float
        Of the picture. [px]

    Returns
    -------
    str
        An ``<svg>``: the line through where it is allowed and broken beyond, the bound as a tick,
        the figure as a diamond, its interval as a bar. The bar stands where the word says.
    """
    left, right, middle = _EDGE, width - _EDGE, HEIGHT / 2
    spots = _layout(outcome)
    word = str(outcome["outcome"])
    allowed_left = outcome["bound"]["op"] == "<="

    def place(fraction: float) -> float:
        return left + fraction * (right - left)

    tick = min(max(place(spots.bound), left + 2 * _CLEAR), right - 2 * _CLEAR)
    through, beyond = (
        ((left, tick), (tick, right)) if allowed_left else ((tick, right), (left, tick))
    )
    parts = [
        rule(through[0], middle, through[1], middle, INK, 1.6),
        rule(beyond[0], middle, beyond[1], middle, INK, 1.6, "3 5"),
    ]
    if spots.value is not None and spots.low is not None and spots.high is not None:
        ends = sorted((place(spots.low), place(spots.high)))
        first, last, mark = _on_its_side(
            word, ends[0], ends[1], place(spots.value), tick, allowed_left=allowed_left
        )
        parts.append(rule(first, middle, last, middle, INK, 7.0))
        parts.append(_diamond(min(max(mark, first), last), middle))
    parts.append(rule(tick, 2, tick, HEIGHT - 2, INK, 2.6))
    return svg(width, HEIGHT, f"{word}: {outcome_text(outcome)}", parts)


def _layout(outcome: Mapping[str, Any]) -> _Spots:
    """Place tick, mark and bar; the scale follows from the outermost of them."""
    bound = float(outcome["bound"]["value"])
    numbers = [outcome["value"], outcome["low"], outcome["high"]]
    if outcome["outcome"] == "not assessable" or any(n is None for n in numbers):
        return _Spots(0.5)
    value = float(numbers[0])
    required = float(outcome["required_probability"])
    low, high = one_sided(value, float(numbers[1]), float(numbers[2]), required)
    things = (bound, value, low, high)
    if not all(math.isfinite(x) and abs(x) < _LARGEST for x in things):
        return _Spots(0.5)
    first, last = min(things), max(things)
    size = last - first or abs(bound) or 1.0
    first, size = first - _MARGIN * size, (1 + 2 * _MARGIN) * size
    return _Spots(*(min(1.0, max(0.0, (x - first) / size)) for x in things))


def _on_its_side(
    word: str, first: float, last: float, mark: float, tick: float, *, allowed_left: bool
) -> tuple[float, float, float]:
    """Keep bar and mark on the side of the tick that the word says."""
    if word == "not shown":
        return min(first, tick - _CLEAR), max(last, tick + _CLEAR), mark
    if (word == "met") == allowed_left:
        last = min(last, tick - _CLEAR)
        return min(first, last), last, min(mark, last)
    first = max(first, tick + _CLEAR)
    return first, max(first, last), max(mark, first)


def _diamond(x: float, y: float) -> str:
    size = 6.5
    return (
        f'<path d="M{x - size:.1f} {y:.1f}l{size} {-size}l{size} {size}l{-size} {size}Z" '
        f'fill="{PAPER}" stroke="{INK}" stroke-width="2.2"/>'
    )
