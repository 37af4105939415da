"""Which limit on the ground roll a load is judged by, and how often a roll keeps it."""

from __future__ import annotations

from flightlog.operations.load_sheet import Load
from flightlog.prediction.takeoff_model import PredictedRoll
from flightlog.rules.book import Limit

ROLL = "takeoff.ground_roll"
_SELDOM = 0.01
"""Choices that keep the limit more seldom are not told, but for a few."""
_FEW = 2


def keeps(limit: Limit | None, roll: PredictedRoll, offset_m: float) -> float | None:
    """Give the probability that a roll keeps a limit, judged so much longer; None without one."""
    if limit is None:
        return None
    below = roll.at_most(limit.bound.value - offset_m)
    return below if limit.bound.op == "<=" else 1.0 - below


def roll_limits(
    limits: tuple[Limit, ...], rolls: list[PredictedRoll], offset_m: float
) -> tuple[Limit | None, tuple[Limit, ...]]:
    """Give the limit on the roll that allows the fewest units, and the others."""
    about = [limit for limit in limits if ROLL in (limit.figure, limit.measured)]
    judged = [limit for limit in about if limit.measured == ROLL]

    def allowed(limit: Limit) -> float:
        # Where all or none keep it, the probability of the last one tells which is the tighter.
        margins = [(keeps(limit, roll, offset_m) or 0.0) - limit.plan_at for roll in rolls]
        first = next((n for n, margin in enumerate(margins) if margin < 0), len(margins))
        return first + margins[min(first, len(margins) - 1)] / 2

    limit = min(judged, key=allowed, default=None)
    return limit, tuple(one for one in about if one is not limit)


def told(
    loads: tuple[Load, ...], rolls: list[PredictedRoll], limit: Limit | None, offset_m: float
) -> tuple[Load, ...]:
    """Leave out what keeps the limit so seldom that nobody asks, but for the first few."""
    if limit is None:
        return loads
    likely = [n for n, roll in enumerate(rolls) if (keeps(limit, roll, offset_m) or 0.0) >= _SELDOM]
    return loads[: max(likely, default=0) + 1 + _FEW]
