"""Units that a bound may be written in, and their exact ratios."""

from __future__ import annotations

import math
from fractions import Fraction

_RATIOS: tuple[dict[str, Fraction], ...] = (
    {"m": Fraction(1), "cm": Fraction(1, 100), "km": Fraction(1000), "ft": Fraction(3048, 10000)},
    {"m/s": Fraction(1), "km/h": Fraction(1000, 3600), "kn": Fraction(1852, 3600)},
    {"s": Fraction(1), "min": Fraction(60)},
    {"Wh": Fraction(3600), "J": Fraction(1), "kJ": Fraction(1000)},
    {"Ah": Fraction(1), "mAh": Fraction(1, 1000)},
    {"A": Fraction(1), "mA": Fraction(1, 1000)},
    {"V": Fraction(1), "mV": Fraction(1, 1000)},
    {"W": Fraction(1), "kW": Fraction(1000)},
    {"ohm": Fraction(1), "mohm": Fraction(1, 1000)},
    {"kg": Fraction(1), "g": Fraction(1, 1000)},
    {"deg": Fraction(1), "rad": Fraction(180 / math.pi)},
    {"": Fraction(1), "%": Fraction(1, 100)},
)
"""One dictionary per kind: unit -> its size. Foot and knot are exact (1959, 1954); the ratio of
degree and radian is the nearest double."""


def units_like(unit: str) -> tuple[str, ...]:
    """Give the units that can be turned into one, itself first."""
    kind = next((k for k in _RATIOS if unit in k), {})
    return (unit, *(u for u in kind if u != unit))


def converted(value: float, unit: str, to: str) -> float:
    """Convert a number as it was written, with one rounding at the end.

    Parameters
    ----------
    value : float
        Taken as the decimal that it prints as: 0.1 is one tenth, not the nearest double.
    unit, to : str
        Units of one kind.

    Raises
    ------
    ValueError
        If the units are of different kinds.
    """
    if unit == to:
        return value
    kind = next((k for k in _RATIOS if unit in k and to in k), None)
    if kind is None:
        raise ValueError(f"{unit!r} can't be turned into {to!r}")
    return float(Fraction(repr(float(value))) * kind[unit] / kind[to])
