"""What a release asks of check lists."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import EVENT
from flightlog.operations.check_worth import FAILED, knows
from flightlog.operations.checks import (
    About,
    ItemState,
    ListState,
    checklist_in_force,
    list_state,
)
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.turn_around import PRE_FLIGHT, TURN_AROUND, flight_list

DAILY = "daily"
_MOST_NAMED = 6


def list_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the lists of the next flight are done: daily, of the flight, after events."""
    return [
        _tried("daily-list", lambda: _daily(desk, plan)),
        _tried("flight-list", lambda: _flight(desk, plan)),
        _tried("event-lists", lambda: _events(desk, plan)),
        _tried("acceptances", lambda: _acceptances(desk, plan)),
    ]


def _tried(name: str, judge: Callable[[], Condition]) -> Condition:
    try:
        return judge()
    except FlightlogError as error:
        return Condition(name, False, f"{error.where}: {error.found}", error.fix)


def _daily(desk: Desk, plan: Plan) -> Condition:
    state = list_state(desk, DAILY, About(plan.aircraft))
    return _whole("daily-list", state, f"checks walk daily --aircraft {plan.aircraft}")


def _flight(desk: Desk, plan: Plan) -> Condition:
    state, short, why_not = flight_list(desk, plan)
    command = f"checks walk {PRE_FLIGHT} --aircraft {plan.aircraft} --pack {plan.pack}"
    if short is not None and not short.complete:
        return _whole(
            "flight-list",
            short,
            f"checks walk {TURN_AROUND} --aircraft {plan.aircraft} --pack {plan.pack}",
        )
    condition = _whole("flight-list", state, command)
    if short is None and not why_not and not condition.holds:
        clear = (
            f"The turn-around does it too: 'flightlog checks walk {TURN_AROUND} "
            f"--aircraft {plan.aircraft} --pack {plan.pack} --by WHO'."
        )
        return replace(condition, clear=clear)
    if condition.holds and short is not None:
        says = f"{condition.says}; turn-around complete, {len(short.items)} items"
        return Condition(condition.name, True, says, "", condition.rests_on)
    if not condition.holds and why_not and state.begun:
        return Condition(
            condition.name,
            False,
            f"{condition.says}; a turn-around does not do: {why_not}",
            condition.clear,
        )
    return condition


def _whole(name: str, state: ListState, command: str) -> Condition:
    title = state.checklist.title
    if state.complete:
        says = f"{title} complete, {len(state.items)} items"
        return Condition(name, True, says, "", state.rests_on)
    missing = state.open_items
    listed = ", ".join(_named(item) for item in missing[:_MOST_NAMED])
    more = f" and {len(missing) - _MOST_NAMED} more" if len(missing) > _MOST_NAMED else ""
    return Condition(
        name,
        False,
        f"{title}: {len(missing)} of {len(state.items)} items to do: {listed}{more}",
        f"'flightlog {command} --by WHO'.",
    )


def _named(item: ItemState) -> str:
    why = f" ({item.state}{': ' + item.why if item.why else ''})" if item.state != "open" else ""
    return f"{item.item.id}{why}"


def _events(desk: Desk, plan: Plan) -> Condition:
    """Each event that has a list of its own asks for that list, done in its knowledge."""
    wanted, rests_on = lists_after_events(desk, plan.aircraft)
    if not wanted:
        return Condition("event-lists", True, "none is due", "", rests_on)
    says = "; ".join(f"list {name} after {', '.join(words)}" for name, words in wanted.items())
    first = next(iter(wanted))
    clear = f"'flightlog checks walk {first} --aircraft {plan.aircraft} --by WHO'."
    return Condition("event-lists", False, says, clear)


def lists_after_events(desk: Desk, aircraft: str) -> tuple[dict[str, list[str]], tuple[Entry, ...]]:
    """Give the lists that events ask for and that were not done since.

    Returns
    -------
    wanted : dict
        Id of a list -> the events, in words.
    rests_on : tuple of Entry
        Lists that were begun and done in the knowledge of an event.

    Raises
    ------
    UsageError, TeamFileError
        If there is no version of such a list in force, or it can't be read.
    """
    wanted: dict[str, list[str]] = {}
    rests_on: list[Entry] = []
    for entry in desk.ledger.of(EVENT, aircraft=aircraft):
        kind = EVENTS.get(entry.body.content["event"])
        if kind is None or not kind.list:
            continue
        state = list_state(desk, kind.list, About(aircraft))
        done = state.complete and all(
            item.result is not None and knows(desk.ledger, item.result, entry)
            for item in state.items
        )
        if done:
            rests_on += state.rests_on
        elif kind.word not in wanted.setdefault(kind.list, []):
            wanted[kind.list].append(kind.word)
    return wanted, tuple(dict.fromkeys(rests_on))


def _acceptances(desk: Desk, plan: Plan) -> Condition:
    """No item of any list stands failed, unless it was accepted where its list allows that."""
    failed = [
        f"{list_id}/{item.item.id}{f' ({item.why})' if item.why else ''}"
        for list_id in desk.versions.ids("checklist")
        if desk.versions.in_force("checklist", list_id) is not None
        for item in _failed(desk, plan, list_id)
    ]
    if not failed:
        return Condition("acceptances", True, "no item stands failed")
    return Condition(
        "acceptances",
        False,
        f"failed: {', '.join(failed[:_MOST_NAMED])}"
        + (f" and {len(failed) - _MOST_NAMED} more" if len(failed) > _MOST_NAMED else ""),
        "Put it right and do the item again; where the list allows it, pilot and safety accept it "
        "with 'flightlog checks accept'.",
    )


def _failed(desk: Desk, plan: Plan, list_id: str) -> list[ItemState]:
    about = About(plan.aircraft, plan.pack)
    if checklist_in_force(desk, list_id).about == "pack":
        about = About("", plan.pack)
    failed = [item for item in list_state(desk, list_id, about).items if item.state == FAILED]
    if list_id == TURN_AROUND and failed:
        whole = list_state(desk, PRE_FLIGHT, about)
        failed = [item for item in failed if not _done_since(desk, item, whole)]
    return failed


def _done_since(desk: Desk, failed: ItemState, whole: ListState) -> bool:
    """Whether what failed in a turn-around was done since by the whole list."""
    places = [name.removeprefix(f"{PRE_FLIGHT}/") for name in failed.item.renews]
    done = [whole.of(place) for place in places]
    return bool(done) and all(
        item is not None
        and item.fine
        and item.result is not None
        and failed.result is not None
        and knows(desk.ledger, item.result, failed.result)
        for item in done
    )
