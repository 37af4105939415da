"""Which check lists are to be walked now, why, and how each stands."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.errors import FlightlogError
from flightlog.operations.calls import CALLS_LIST
from flightlog.operations.checks import About, ListState, checklist_in_force, list_state
from flightlog.operations.desk import Desk
from flightlog.operations.events import BATTERY_CHANGE
from flightlog.operations.list_conditions import DAILY, lists_after_events
from flightlog.operations.plan import Plan
from flightlog.operations.turn_around import PRE_FLIGHT, TURN_AROUND, flight_list


@dataclass(frozen=True, slots=True)
class ListNow:
    """A list that can be walked, and whether the next flight asks for it.

    Attributes
    ----------
    id : str
        Of the list.
    why : str
        Why it is asked for, or when it is walked. A clause.
    needed : bool
        Whether the release asks for it.
    state : ListState or None
        How it stands; None where it can't be told.
    fault : FlightlogError or None
        Why it can't.
    """

    id: str
    why: str
    needed: bool
    state: ListState | None
    fault: FlightlogError | None = None

    @property
    def title(self) -> str:
        """What it is called."""
        return self.state.checklist.title if self.state is not None else self.id

    @property
    def done(self) -> bool:
        """Whether nothing is to be done about it now."""
        return not self.needed or (self.state is not None and self.state.complete)


def lists_now(desk: Desk, plan: Plan) -> tuple[ListNow, ...]:
    """Give all lists of an aircraft and its pack: first those that the next flight asks for.

    A turn-around stands before the pre-flight list where it does: then it is the one to walk, and
    the long one only for what it leaves over.
    """
    asked = [(DAILY, "each day of flying", True), *_for_flight(desk, plan)]
    after, _ = lists_after_events(desk, plan.aircraft)
    asked += [(id_, f"after {', '.join(words)}", True) for id_, words in after.items()]
    known = {id_ for id_, _, _ in asked} | {CALLS_LIST, TURN_AROUND}
    others = [(id_, "", False) for id_ in desk.versions.ids("checklist") if id_ not in known]
    return tuple(
        _list_now(desk, plan, id_, why, needed=needed) for id_, why, needed in (*asked, *others)
    )


def _for_flight(desk: Desk, plan: Plan) -> list[tuple[str, str, bool]]:
    """Give the lists of the next flight, with why; the turn-around only where it does something."""
    before = "before the first flight, and where a turn-around does not do"
    try:
        whole, short, why_not = flight_list(desk, plan)
    except FlightlogError:
        return [(PRE_FLIGHT, before, True)]
    if whole.complete:
        return [(PRE_FLIGHT, before, True)]
    if why_not:
        says = f"a turn-around does not do: {why_not}" if whole.begun else before
        return [(PRE_FLIGHT, says, True)]
    if short is not None and short.complete:
        return [(PRE_FLIGHT, "for what the turn-around leaves over", True)]
    return [
        (TURN_AROUND, "a further flight of the day, by the same crew", True),
        (PRE_FLIGHT, "where the turn-around does not do", False),
    ]


def _list_now(desk: Desk, plan: Plan, id_: str, why: str, *, needed: bool) -> ListNow:
    try:
        state = state_now(desk, plan, id_)
    except FlightlogError as error:
        return ListNow(id_, why, needed, None, error)
    return ListNow(id_, why or state.checklist.when, needed, state)


def about_of(desk: Desk, plan: Plan, list_id: str) -> About:
    """Give what a list is walked for: a pack, or an aircraft, with its pack where that matters.

    Raises
    ------
    UsageError, TeamFileError
        If there is no version of the list in force, or it can't be read.
    """
    checklist = checklist_in_force(desk, list_id)
    if checklist.about == "pack":
        return About("", plan.pack)
    looks_at_pack = any(BATTERY_CHANGE in item.reopened_by for item in checklist.items)
    return About(plan.aircraft, plan.pack if looks_at_pack else "")


def state_now(desk: Desk, plan: Plan, list_id: str) -> ListState:
    """Give how a list stands; that of the flight with what a turn-around did again.

    Raises
    ------
    UsageError, TeamFileError
        If there is no version of the list in force, or it can't be read.
    """
    if list_id == PRE_FLIGHT:
        return flight_list(desk, plan)[0]
    return list_state(desk, list_id, about_of(desk, plan, list_id))
