"""A further flight of the day: when the short list stands in for the long one.

The turn-around renews items of the pre-flight list. It may do so on the same day, by persons who
signed for the flight before, and only if nothing was found since then: no item failed or was put
off, no defect, no event that grounds, no incident, the same configuration by the same file. What
something other than the flight reopened, of which the turn-around knew nothing, stays to be done.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import (
    CHECK,
    DEFERRED,
    FAIL,
    INCIDENT,
    LIST_BEGUN,
    OUT_OF_SERVICE,
)
from flightlog.operations.check_worth import EXPIRED, REOPENED, seconded
from flightlog.operations.checks import (
    SAME_DAY,
    About,
    ItemState,
    ListState,
    checks_of,
    happened,
    list_state,
    reopening,
)
from flightlog.operations.defect_states import defects_of_flight
from flightlog.operations.desk import Desk
from flightlog.operations.events import CONFIGURATION_CHANGE, EVENTS
from flightlog.operations.plan import Plan
from flightlog.operations.sorties import sorties
from flightlog.team.ledger import AIRCRAFT, PACK

PRE_FLIGHT, TURN_AROUND = "pre-flight", "turn-around"


def flight_list(desk: Desk, plan: Plan) -> tuple[ListState, ListState | None, str]:
    """Say how the list of the next flight stands, with what a turn-around renewed.

    Returns
    -------
    state : ListState
        The pre-flight list; items that a turn-around did again name it.
    short : ListState or None
        The turn-around list, where it was begun and may stand in.
    why_not : str
        Why a turn-around can't stand in; empty where it can.

    Raises
    ------
    UsageError, TeamFileError
        If the pre-flight list has no version in force, or can't be read.
    """
    about = About(plan.aircraft, plan.pack)
    whole = list_state(desk, PRE_FLIGHT, about)
    if desk.versions.in_force("checklist", TURN_AROUND) is None:
        return whole, None, "the record holds no turn-around list"
    short = list_state(desk, TURN_AROUND, about)
    why_not = why_no_turn_around(desk, plan, short)
    if why_not or not short.begun:
        return whole, None, why_not
    renewing = {name: item for item in short.items if item.fine for name in item.item.renews}
    items = tuple(_renewed(desk, about, item, renewing) for item in whole.items)
    rests_on = tuple(dict.fromkeys((*whole.rests_on, *short.rests_on)))
    return replace(whole, items=items, rests_on=rests_on), short, ""


def _renewed(
    desk: Desk, about: About, item: ItemState, renewing: dict[str, ItemState]
) -> ItemState:
    by = renewing.get(f"{PRE_FLIGHT}/{item.item.id}")
    # What failed is not mended by looking at it in a shorter way.
    if by is None or by.result is None or item.result is None:
        return item
    if item.state not in (REOPENED, EXPIRED):
        return item
    word = reopening(desk, item.item, about, by.result)
    if word:
        return replace(item, state=REOPENED, why=word)
    return ItemState(item.item, by.state, by.why, by.result, f"{TURN_AROUND}/{by.item.id}")


def why_no_turn_around(desk: Desk, plan: Plan, short: ListState) -> str:
    """Say why a turn-around can't stand in for a whole pre-flight list, "" where it can."""
    flown = sorties(desk, plan.aircraft)
    released = [f for f in flown if f.release is not None]
    age = desk.ledger.now - released[-1].began if released else SAME_DAY
    if not timedelta(hours=-1) <= age < SAME_DAY or released[-1].release is None:
        return "no released flight of this day came before"
    release = released[-1].release
    if released[-1] is not flown[-1]:
        return "the flight before was flown without a release"
    version = desk.versions.in_force("aircraft", plan.aircraft)
    if version is None or release.body.content["aircraft_file"] != version.sha256:
        return "another version of the aircraft's file is in force"
    found = _found_since(desk, plan, release)
    if found:
        return f"since the flight before was released, {found}"
    strangers = _signers(desk, short) - _crew_of(desk, release)
    if strangers:
        who = ", ".join(sorted(desk.crew.label(person) for person in strangers))
        return f"not the same crew: {who} did not sign for the flight before"
    return ""


def _found_since(desk: Desk, plan: Plan, release: Entry) -> str:
    """Say what was found, happened or changed since a release, "" where nothing was."""
    ledger = desk.ledger
    for defect in defects_of_flight(desk, plan):
        if not ledger.has_seen(release, defect.entry):
            return f"a defect was found: {defect.entry.body.content['part']}"
    for event in happened(desk, About(plan.aircraft, plan.pack)):
        word = str(event.body.content["event"])
        kind = EVENTS.get(word)
        grounds = kind is None or kind.grounds or word == CONFIGURATION_CHANGE
        if grounds and not ledger.has_seen(release, event):
            return f"there was an event: {word}"
    for entry in (*ledger.of(INCIDENT), *ledger.of(OUT_OF_SERVICE)):
        if _names(entry, plan) and not ledger.has_seen(release, entry):
            return f"there is an entry of the kind {entry.body.kind}"
    for check in ledger.of(CHECK):
        said = check.body.content
        if said["result"] in (FAIL, DEFERRED) and not ledger.has_seen(release, check):
            begun = ledger.named(check, CITES, LIST_BEGUN)
            if any(_names(b, plan) for b in begun):
                word = "failed" if said["result"] == FAIL else "was put off"
                return f"an item {word}: {said['item']}"
    return ""


def _names(entry: Entry, plan: Plan) -> bool:
    """Whether an entry is about the aircraft or the pack of a flight."""
    said = entry.body.content
    packs = said.get("packs", ())
    about = (said.get(PACK), *(packs if isinstance(packs, (list, tuple)) else ()))
    return said.get(AIRCRAFT) == plan.aircraft or (bool(plan.pack) and plan.pack in about)


def _signers(desk: Desk, short: ListState) -> set[str]:
    """Give the persons by whose results a turn-around list stands."""
    found: set[str] = set()
    for item in short.items:
        if item.fine and item.result is not None:
            for entry in (item.result, *seconded(desk, item.item, item.result)):
                found |= set(desk.ledger.persons(entry))
    return found


def _crew_of(desk: Desk, release: Entry) -> set[str]:
    """Give the persons who signed the release, or a check of a list that it rests on."""
    crew = set(desk.ledger.persons(release))
    lists = desk.ledger.named(release, CITES, LIST_BEGUN)
    for checks in checks_of(desk, lists).values():
        for check in checks:
            if desk.ledger.has_seen(release, check):
                crew |= set(desk.ledger.persons(check))
    return crew
