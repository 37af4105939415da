"""How a number is written for people: rounded here and nowhere before."""

from __future__ import annotations

import math

from flightlog.figures import FIGURES, LEVEL, Figure
from flightlog.rules.outcomes import Bound
from flightlog.uncertain import Quantity

_LARGEST = 1e9
"""From here on a number is written with an exponent, to keep its line short."""

_NO_NOISE = 12
"""Significant digits of a number that are no noise of computing."""

_MORE_DECIMALS = 3
"""How many decimals may be added to keep a number on its own side of a bound."""


def digits(value: float, decimals: int) -> str:
    """Write a number with a fixed count of decimals; never "-0.0"."""
    if not math.isfinite(value):
        return "unknown"
    if abs(value) >= _LARGEST:
        return f"{value:.3g}"
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text


def wider_side(value: float, low: float, high: float, decimals: int) -> str:
    """Write how far an interval reaches on its wider side, from a value as it is printed.

    Rounded up, so that what is printed holds the interval, and is 0 for no uncertain number.
    """
    printed = float(f"{value:.{decimals}f}") if math.isfinite(value) else value
    reach = max(printed - low, high - printed)
    if not math.isfinite(reach) or abs(reach) >= _LARGEST:
        return digits(reach, decimals)
    steps = float(f"{reach * 10**decimals:.9g}")
    return digits(math.ceil(steps) / 10**decimals, decimals)


def without_noise(value: float) -> float:
    """Give a number without the noise of computing, for files: 22.0 for 21.9999999999995."""
    return float(f"{value:.{_NO_NOISE}g}")


def digits_beside(value: float, bound: float, decimals: int) -> str:
    """Write a number so that rounding does not carry it onto or over a bound.

    40.04 against a bound of 40 is "40.04" and not "40.0": the word beside it says that the
    two are not the same.
    """
    for places in range(decimals, decimals + _MORE_DECIMALS):
        text = digits(value, places)
        if text == "unknown" or _side(float(text), bound) == _side(value, bound):
            return text
    return digits(value, decimals + _MORE_DECIMALS)


def _side(value: float, bound: float) -> int:
    return (value > bound) - (value < bound)


def probability(value: float, required: float) -> str:
    """Write a probability; never 1 or 0, and never rounded onto what is required."""
    if value > 0.999 and required <= 0.999:
        return "over 0.999"
    if value < 0.001:
        return "under 0.001"
    return digits_beside(value, required, 3 if value > 0.99 else 2)


def with_unit(text: str, unit: str) -> str:
    """Write a number and its unit."""
    return f"{text} {unit}" if unit else text


def bound_text(bound: Bound) -> str:
    """Write a bound as people say it: "at most 40 m"."""
    word = "at most" if bound.op == "<=" else "at least"
    return f"{word} {with_unit(f'{bound.value:g}', bound.unit)}"


def span(quantity: Quantity, decimals: int) -> str:
    """Write the interval at the printed level, "27.8 to 30.1"; empty for an exact number."""
    low, high = quantity.interval(LEVEL)
    if quantity.std == 0 and low == high:
        return ""
    return f"{digits(low, decimals)} to {digits(high, decimals)}"


def figure_span(figure: Figure) -> str:
    """Write the interval of a figure; directions stay within the circle."""
    decimals = FIGURES[figure.id].decimals
    if not figure.id.endswith(".from_deg"):
        return span(figure.quantity, decimals)
    low, high = figure.quantity.interval(LEVEL)
    if not high - low < 360:
        return "any direction"
    return f"{digits(low % 360, decimals)} to {digits(high % 360, decimals)}"


def figure_value(figure: Figure) -> str:
    """Write the value of a figure without its unit."""
    value = figure.quantity.value
    if figure.id.endswith(".from_deg"):
        value %= 360
    return digits(value, FIGURES[figure.id].decimals)
