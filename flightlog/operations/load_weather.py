"""Whether the weather that a load is asked for lies within the limits of the aircraft's file."""

from __future__ import annotations

from flightlog.operations.desk import Desk
from flightlog.operations.load_answer import FAILS, HOLDS, UNKNOWN, Bind
from flightlog.operations.load_setting import Today
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.weather_limits import (
    WEATHER,
    against_limits,
    heading_of,
    weather_conditions,
)


def weather_bind(desk: Desk, plan: Plan, today: Today) -> Bind:
    """Judge the weather as the release does; no load makes it another one.

    Parameters
    ----------
    desk, plan, today
        What is asked about, and the measurement that the rolls are predicted for.
    """
    limits = desk.aircraft(plan.aircraft).weather
    judged = (
        [
            one
            for one in against_limits(today.weather, limits, heading_of(desk, plan.site))
            if one.bound is not None
        ]
        if limits is not None
        else []
    )
    beyond = [one.says for one in judged if not one.holds]
    if beyond:
        return Bind(WEATHER, FAILS, f"{named(today.weather)}: {'; '.join(beyond)}")
    if not judged:
        says = f"the file of {plan.aircraft} sets no limits for the weather"
        return Bind(WEATHER, UNKNOWN, f"{says}. Add [weather] to it.")
    # The release asks all that was measured lately, not the last alone.
    (condition,) = weather_conditions(desk, plan)
    if not condition.holds:
        return Bind(WEATHER, FAILS, f"{condition.says}. {condition.clear}".strip())
    return Bind(WEATHER, HOLDS, "; ".join(one.says for one in judged))
