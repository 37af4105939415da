"""The next flight with what is chosen for it: released, ready to be signed, or held and why.

A release that is open is looked at where it is for what is chosen. Where another pack, rule book
or site is chosen, that release stands in the way of a new one like any other that is open.
"""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.operations.all_conditions import conditions
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.release_worth import HELD, RELEASED, ReleaseState, release_state

READY = "ready"
"""Everything holds, and nobody has signed yet."""


@dataclass(frozen=True, slots=True)
class NextFlight:
    """How the next flight stands.

    Attributes
    ----------
    word : str
        "released", "ready" or "held".
    plan : Plan
        What is chosen.
    last : ReleaseState
        What the open release, else the last one, is worth.
    found : tuple of Condition
        All conditions as they stand now, by what is chosen.
    reasons : tuple of Condition
        Why it is held; empty otherwise.
    """

    word: str
    plan: Plan
    last: ReleaseState
    found: tuple[Condition, ...]
    reasons: tuple[Condition, ...]

    @property
    def is_open(self) -> bool:
        """Whether there is an open release, for whatever pack, rule book and site."""
        return self.last.plan is not None


def next_flight(desk: Desk, plan: Plan) -> NextFlight:
    """Say how the next flight stands with what is chosen for it.

    Raises
    ------
    UsageError
        If the record holds no file of the aircraft.
    """
    last = release_state(desk, plan.aircraft)
    if last.plan is not None and _is_for(last.plan, plan):
        return NextFlight(last.word, plan, last, last.conditions, last.reasons)
    found = conditions(desk, plan)
    held = tuple(c for c in found if not c.holds)
    return NextFlight(HELD if held else READY, plan, last, found, held)


def _is_for(released: Plan, chosen: Plan) -> bool:
    return (released.aircraft, released.pack, released.rules, released.site) == (
        chosen.aircraft,
        chosen.pack,
        chosen.rules,
        chosen.site,
    )


__all__ = ["HELD", "READY", "RELEASED", "NextFlight", "next_flight"]
