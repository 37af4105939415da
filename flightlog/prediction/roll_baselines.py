"""Two plain ways to predict the next ground roll, for a better one to be measured against.

They know the flights before and nothing else: the last roll, or a straight line on mass and
headwind. Both give Student's t, since the spread is estimated from few flights.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.quantiles import Quantiles
from flightlog.prediction.takeoffs import Takeoff

FEWEST_LAST, FEWEST_LINE = 3, 5
"""Flights before without which a baseline gives nothing."""

_NO_SPREAD_M = 1e-3
_MOVED = 1e-6


def last_roll(before: Sequence[Takeoff], following: Takeoff) -> Quantiles:
    """Predict the last roll once more; its spread is that of differences between flights in a row.

    Parameters
    ----------
    before : sequence of Takeoff
        In the order in which they were flown.
    following : Takeoff
        The next one, of which nothing is used.

    Raises
    ------
    NotEnoughDataError
        If they are fewer than `FEWEST_LAST`.
    """
    _need(before, FEWEST_LAST)
    rolls = np.array([t.roll_m for t in before])
    steps = np.diff(rolls)
    scale = max(float(np.sqrt(np.mean(steps**2))), _NO_SPREAD_M)
    return _student(float(rolls[-1]), scale, len(steps))


def straight_line(before: Sequence[Takeoff], following: Takeoff) -> Quantiles:
    """Predict by least squares on mass and headwind, as a straight line in both.

    What never differed among the flights before has no slope; where it differs on the next one
    there is no answer.

    Raises
    ------
    NotEnoughDataError
        If they are fewer than `FEWEST_LINE`, or the next one differs in what never did.
    """
    _need(before, FEWEST_LINE)
    columns, at = [np.ones(len(before))], [1.0]
    for name, unit, of in (("mass", "kg", "mass_kg"), ("headwind", "m/s", "headwind_m_s")):
        values = np.array([float(getattr(t, of)) for t in before])
        middle, value = float(values.mean()), float(getattr(following, of))
        if float(np.ptp(values)) > _MOVED:
            columns.append(values - middle)
            at.append(value - middle)
        elif abs(value - middle) > _MOVED:
            raise NotEnoughDataError(
                f"the flights before it all had a {name} of {middle:.3g} {unit}",
                fix="Fly with others.",
            )
    x, y = np.column_stack(columns), np.array([t.roll_m for t in before])
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise NotEnoughDataError(
            "mass and headwind went together on the flights before it", fix="Fly with others."
        )
    fit, *_ = np.linalg.lstsq(x, y, rcond=None)
    freedoms = len(y) - x.shape[1]
    left = y - x @ fit
    row = np.array(at)
    spread = float(left @ left) / freedoms * (1 + float(row @ np.linalg.inv(x.T @ x) @ row))
    scale = max(float(np.sqrt(spread)), _NO_SPREAD_M)
    return _student(float(row @ fit), scale, freedoms)


def _student(centre: float, scale: float, freedoms: int) -> Quantiles:
    from scipy.special import stdtrit

    return Quantiles.of(lambda level: centre + scale * float(stdtrit(freedoms, level)))


def _need(before: Sequence[Takeoff], fewest: int) -> None:
    if len(before) < fewest:
        raise NotEnoughDataError(
            f"{len(before)} flights before it, and {fewest} are needed", fix="Fly more."
        )
