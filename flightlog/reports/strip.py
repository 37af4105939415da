"""The strip: the one picture of an outcome.

A line, the bound as a tick, the figure as a mark, and a bar between the two one-sided
limits of the figure at the required probability. The side of the line that the bound allows
is drawn through, the other side is broken. So the picture reads as the word does: the whole
bar on the allowed side is ``met``, the whole bar beyond the tick is ``not met``, a bar across
the tick is ``not shown``, and no bar is ``not assessable``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from flightlog.rules.outcomes import Outcome
from flightlog.uncertain import Quantity

_MARGIN = 0.2
"""Free line beyond the outermost thing drawn, as a share of what is drawn."""

MIN_WIDTH = 12
"""Fewest characters in which tick, mark and bar stay apart."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Where things stand on a strip, as fractions of its length from the left.

    Attributes
    ----------
    bound : float
        The tick.
    value, low, high : float or None
        The mark and the ends of the bar; None when there is nothing to draw.
    allowed : {"left", "right"}
        Which side of the tick the bound allows.
    """

    bound: float
    value: float | None
    low: float | None
    high: float | None
    allowed: str


@dataclass(frozen=True, slots=True)
class Look:
    """The characters of a strip, and the shape that goes with each word."""

    line: str
    beyond: str
    bar: str
    tick: str
    mark: str
    shapes: dict[str, str]

    def characters(self) -> str:
        """All of them, to see whether a screen can print them."""
        return "".join(
            (self.line, self.beyond, self.bar, self.tick, self.mark, *self.shapes.values())
        )


DRAWN = Look(
    line="─",
    beyond="╌",
    bar="━",
    tick="╂",
    mark="◆",
    shapes={"met": "●", "not met": "✕", "not shown": "◐", "not assessable": "○"},
)
"""For screens with the full character set."""

TYPED = Look(
    line="-",
    beyond=".",
    bar="=",
    tick="|",
    mark="o",
    shapes={"met": "+", "not met": "x", "not shown": "?", "not assessable": "/"},
)
"""For screens that can only print ASCII."""


def one_sided(quantity: Quantity, required: float) -> tuple[float, float]:
    """Give the lower and the upper one-sided limit of a quantity.

    Parameters
    ----------
    quantity : Quantity
        What was judged.
    required : float
        The required probability, p. [-]

    Returns
    -------
    tuple of float
        The quantiles 1 - p and p, in the quantity's unit. With p of one half or less both
        are the median.
    """
    return quantity.interval(max(0.0, 2 * required - 1))


def layout(outcome: Outcome) -> Layout:
    """Place tick, mark and bar; the scale follows from the outermost of them."""
    allowed = "left" if outcome.bound.op == "<=" else "right"
    bound = outcome.bound.value
    quantity = outcome.quantity
    if quantity is None or outcome.outcome == "not assessable":
        return Layout(0.5, None, None, None, allowed)
    low, high = one_sided(quantity, outcome.required_probability)
    things = (bound, quantity.value, low, high)
    if not all(math.isfinite(x) and abs(x) < 1e300 for x in things):
        return Layout(0.5, None, None, None, allowed)
    left, right = min(things), max(things)
    size = right - left or abs(bound) or 1.0
    left, size = left - _MARGIN * size, (1 + 2 * _MARGIN) * (right - left or size)

    def place(x: float) -> float:
        return min(1.0, max(0.0, (x - left) / size))

    return Layout(place(bound), place(quantity.value), place(low), place(high), allowed)


def draw(outcome: Outcome, width: int, look: Look = DRAWN) -> str:
    """Draw a strip as one line of text.

    Parameters
    ----------
    outcome : Outcome
        What to draw.
    width : int
        Characters; at least `MIN_WIDTH`.
    look : Look
        Which characters.

    Notes
    -----
    Places are rounded to characters, but never so that the picture says another word than
    the outcome: a bar that ends just short of the tick stays short of it.
    """
    width = max(width, MIN_WIDTH)
    spots = layout(outcome)
    # Worked out with the allowed side on the left, and mirrored at the end where it is not.
    mirrored = spots.allowed == "right"

    def column(fraction: float) -> int:
        return round((1 - fraction if mirrored else fraction) * (width - 1))

    tick = min(max(column(spots.bound), 2), width - 3)
    cells = [look.line] * tick + [look.tick] + [look.beyond] * (width - 1 - tick)
    if spots.value is not None and spots.low is not None and spots.high is not None:
        ends = sorted((column(spots.low), column(spots.high)))
        mark = column(spots.value)
        if mark == tick:
            mark += 1 if (spots.value > spots.bound) != mirrored else -1
        first, last, mark = _on_its_side(outcome.outcome, ends[0], ends[1], mark, tick)
        for i in range(first, last + 1):
            if i != tick:
                cells[i] = look.bar
        cells[min(max(mark, first), last)] = look.mark
    return "".join(reversed(cells) if mirrored else cells)


def _on_its_side(word: str, first: int, last: int, mark: int, tick: int) -> tuple[int, int, int]:
    """Keep bar and mark on the side of the tick that the word says."""
    if word == "met":
        last = min(last, tick - 1)
        return min(first, last), last, min(mark, last)
    if word == "not met":
        first = max(first, tick + 1)
        return first, max(first, last), max(mark, first)
    return min(first, tick - 1), max(last, tick + 1), mark
