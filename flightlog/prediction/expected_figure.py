"""What a figure of the next flight will be, from those of earlier flights and their masses.

The figure is a level and a slope on the logarithm of the mass, with a prior that is wide: what it
changes by with mass is not known beforehand, so a mass far from those flown makes the answer wide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.regression import Belief, Regression, StudentT

FEWEST = 3
"""Earlier flights without which a figure is not predicted."""

_SLOPE_STD = 1.5
"""Of d ln(figure) / d ln(mass): a climb rate falls with about the power of -2, a speed rises
with that of 0.5. [-]"""
_LEVEL_STD = 10.0
_SCATTER = 0.10
"""From flight to flight, as a share of the figure; believed as firmly as one flight. [-]"""
_FREEDOM = 0.5


def expect_figure(
    values: Sequence[float], masses_kg: Sequence[float | None], mass_kg: float
) -> StudentT:
    """Give the distribution of a figure on the next flight.

    Parameters
    ----------
    values : sequence of float
        Of earlier flights, in the figure's own unit.
    masses_kg : sequence of float or None
        Take-off masses of the same flights. [kg]
    mass_kg : float
        Of the next one. [kg]

    Raises
    ------
    NotEnoughDataError
        If they are fewer than `FEWEST`.
    """
    if len(values) < FEWEST:
        raise NotEnoughDataError(
            f"{len(values)} earlier flights have it, and {FEWEST} are needed",
            fix="Import the logs of more flights.",
        )
    y = np.array(values, dtype=float)
    centre = float(np.mean(y))
    size = max(abs(centre), float(np.std(y)), 1e-9)
    known = [math.log(m) for m in masses_kg if m is not None]
    middle = float(np.mean(known)) if known else math.log(mass_kg)
    from_middle = [0.0 if m is None else math.log(m) - middle for m in masses_kg]
    unit = (_SCATTER * size) ** 2
    prior = Belief(
        np.array([[centre], [0.0]]),
        np.diag([(_LEVEL_STD * size) ** 2, (_SLOPE_STD * size) ** 2]) / unit,
        _FREEDOM,
        np.array([_FREEDOM * unit]),
    )
    x = np.column_stack([np.ones(len(y)), from_middle])
    fit = Regression(prior, x, y[:, None], np.eye(len(y)))
    at = np.array([1.0, math.log(mass_kg) - middle])
    return fit.next(at, np.zeros(len(y)), 1.0)
