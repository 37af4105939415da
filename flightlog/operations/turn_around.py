"""A further flight of the day: when the short list stands in for the long one.

The turn-around renews items of the pre-flight list. It may do so on the same day, by persons who
signed for the flight before, and only if nothing was found since then: no item failed, no defect,
no event that grounds, the same configuration by the same file.
"""

from __future__ import annotations

from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import CHECK, DEFECT, EVENT, FAIL, LIST_BEGUN
from flightlog.operations.checks import About, ItemState, ListState, checks_of, list_state
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS
from flightlog.operations.plan import Plan
from flightlog.operations.sorties import sorties

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
    items = tuple(_renewed(item, renewing) for item in whole.items)
    return ListState(whole.checklist, about, items, whole.begun), short, ""


def _renewed(item: ItemState, renewing: dict[str, ItemState]) -> ItemState:
    by = renewing.get(f"{PRE_FLIGHT}/{item.item.id}")
    # What failed is not mended by looking at it in a shorter way.
    if item.fine or by is None or item.result is None or item.state not in ("reopened", "expired"):
        return item
    return ItemState(item.item, by.state, by.why, by.result, f"{TURN_AROUND}/{by.item.id}")


def why_no_turn_around(desk: Desk, plan: Plan, short: ListState) -> str:
    """Say why a turn-around can't stand in for a whole pre-flight list, "" where it can."""
    flown = [f for f in sorties(desk, plan.aircraft) if f.release is not None]
    today = desk.ledger.now.date()
    if not flown or flown[-1].release is None or flown[-1].began.date() != today:
        return "no released flight of this day came before"
    release = flown[-1].release
    if flown[-1] is not sorties(desk, plan.aircraft)[-1]:
        return "the flight before was flown without a release"
    version = desk.versions.in_force("aircraft", plan.aircraft)
    if version is None or release.body.content["aircraft_file"] != version.sha256:
        return "another version of the aircraft's file is in force"
    found = _found_since(desk, plan, release)
    if found:
        return found
    strangers = _signers(desk, short.begun) - _crew_of(desk, release)
    if strangers:
        who = ", ".join(sorted(desk.crew.label(person) for person in strangers))
        return f"not the same crew: {who} did not sign for the flight before"
    return ""


def _found_since(desk: Desk, plan: Plan, release: Entry) -> str:
    ledger = desk.ledger
    for defect in ledger.of(DEFECT):
        if defect.body.content.get("aircraft") == plan.aircraft and not ledger.has_seen(
            release, defect
        ):
            return "a defect was found since the flight before was released"
    for event in ledger.of(EVENT, aircraft=plan.aircraft):
        kind = EVENTS.get(event.body.content["event"])
        if (kind is None or kind.grounds) and not ledger.has_seen(release, event):
            return f"since the flight before was released: {event.body.content['event']}"
    for check in ledger.of(CHECK):
        begun = ledger.named(check, CITES, LIST_BEGUN)
        about = any(b.body.content.get("aircraft") == plan.aircraft for b in begun)
        if about and check.body.content["result"] == FAIL and not ledger.has_seen(release, check):
            return f"an item failed since the flight before was released: {_name(check)}"
    return ""


def _name(check: Entry) -> str:
    return str(check.body.content["item"])


def _signers(desk: Desk, begun: tuple[Entry, ...]) -> set[str]:
    today = desk.ledger.now.date()
    lists = [b for b in begun if b.body.time.utc.date() == today]
    return {
        person
        for checks in checks_of(desk, lists).values()
        for check in checks
        for person in desk.ledger.persons(check)
    }


def _crew_of(desk: Desk, release: Entry) -> set[str]:
    """Give the persons who signed the release, or a check of a list that it rests on."""
    crew = set(desk.ledger.persons(release))
    lists = desk.ledger.named(release, CITES, LIST_BEGUN)
    for checks in checks_of(desk, lists).values():
        for check in checks:
            crew |= set(desk.ledger.persons(check))
    return crew
