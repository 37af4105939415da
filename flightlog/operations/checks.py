"""Results of check lists: what each item is worth now.

No item passes by itself. A result counts when the person who signed it holds the item's role; a
measurement when its number is within the limits of the version of the list by which it was made,
whatever was written beside it; an item with a second person when somebody else looked afresh. It
holds until something reopens it that it had not seen, or its hours are over. Of results made
apart from each other the worse one holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import cast

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import CITES, INSPECTS, Entry
from flightlog.logbook.flying_kinds import (
    ACCEPTANCE,
    CHECK,
    DEFERRAL,
    DEFERRED,
    EVENT,
    FAIL,
    FITTING,
    LIST_BEGUN,
    NOT_APPLICABLE,
    PASS,
)
from flightlog.operations.checklists import (
    ACCEPT,
    CHOICE,
    MEASURED,
    NOTE,
    PHOTO,
    Checklist,
    Item,
    load_checklist,
)
from flightlog.operations.desk import Desk
from flightlog.operations.events import FLIGHT
from flightlog.operations.sorties import sorties

OPEN, PASSED, FAILED, WAITS = "open", "passed", "failed", "waits for a second person"
NOT_NEEDED, PUT_OFF, REOPENED, EXPIRED = "not applicable", "deferred", "reopened", "expired"
ACCEPTED, NOTED = "failed, accepted", "failed, noted"
FINE = (PASSED, NOT_NEEDED, PUT_OFF, ACCEPTED, NOTED)
_BADNESS = {PASSED: 0, NOT_NEEDED: 1, PUT_OFF: 2, NOTED: 3, ACCEPTED: 4, WAITS: 5, FAILED: 6}
COMPONENT_CHANGE = "component-change"


@dataclass(frozen=True, slots=True)
class About:
    """What a list is worked through for: an aircraft, and where it matters the pack in it."""

    aircraft: str = ""
    pack: str = ""


@dataclass(frozen=True, slots=True)
class ItemState:
    """One item as it stands.

    Attributes
    ----------
    item : Item
        As its list has it.
    state : str
        "open", "passed", "failed", "waits for a second person", "not applicable", "deferred",
        "reopened", "expired"; "failed, accepted" and "failed, noted" where that is allowed.
    why : str
        What reopened it, or the reason of the person; empty where there is none.
    result : Entry or None
        The check by which it stands.
    renewed_by : str
        The item of another list that did it again, "LIST/ITEM".
    """

    item: Item
    state: str
    why: str = ""
    result: Entry | None = None
    renewed_by: str = ""

    @property
    def fine(self) -> bool:
        """Whether nothing is to be done about it."""
        return self.state in FINE


@dataclass(frozen=True, slots=True)
class ListState:
    """A list as it stands for an aircraft or a pack."""

    checklist: Checklist
    about: About
    items: tuple[ItemState, ...]
    begun: tuple[Entry, ...]

    @property
    def complete(self) -> bool:
        """Whether all items are done."""
        return all(item.fine for item in self.items)

    @property
    def open_items(self) -> tuple[ItemState, ...]:
        """Those that are to be done."""
        return tuple(item for item in self.items if not item.fine)

    def of(self, id_: str) -> ItemState | None:
        """Give one item by its id."""
        return next((item for item in self.items if item.item.id == id_), None)


# --- lists in force


def checklist_in_force(desk: Desk, id_: str) -> Checklist:
    """Give a list by the version in force.

    Raises
    ------
    UsageError
        If the record holds none.
    TeamFileError
        If it can't be read.
    """
    return desk.loaded(desk.version("checklist", id_), load_checklist)


def checklist_of(desk: Desk, begun: Entry) -> Checklist | None:
    """Give the version of a list by which it was begun, None where it was never in force."""
    version = desk.versions.by_hash(begun.body.content["checklist"])
    if version is None or version.kind != "checklist":
        return None
    try:
        return desk.loaded(version, load_checklist)
    except FlightlogError:
        return None  # its bytes are gone or of a newer program: nothing by it counts


def begun_lists(desk: Desk, list_id: str, about: About) -> tuple[Entry, ...]:
    """Give the times that a list, in the version in force, was taken in hand for something."""
    version = desk.versions.in_force("checklist", list_id)
    return tuple(
        entry
        for entry in desk.ledger.of(LIST_BEGUN, list=list_id)
        if version is not None
        and entry.body.content["checklist"] == version.sha256
        and _is_about(entry, about)
    )


def _is_about(begun: Entry, about: About) -> bool:
    said = begun.body.content
    if about.aircraft:
        return said.get("aircraft") == about.aircraft
    return bool(said.get("pack") == about.pack)


# --- one result


def outcome(desk: Desk, item: Item, check: Entry) -> tuple[str, str]:
    """Say what one check is worth by itself, and why.

    Returns
    -------
    state, why : str
        "open" where it counts for nothing.
    """
    said = check.body.content
    ledger = desk.ledger
    if not ledger.persons(check, "performed", item.role):
        return OPEN, f"nobody signed it as {item.role}"
    result, reason = said["result"], str(said.get("reason", ""))
    if result == NOT_APPLICABLE:
        return (NOT_NEEDED, reason) if item.not_applicable and reason else (OPEN, "has to be done")
    if result == DEFERRED:
        named = ledger.named(check, CITES, DEFERRAL)
        return (PUT_OFF, reason) if item.deferrable and named else (OPEN, "can't be put off")
    if result == PASS and not _shown(item, check):
        return FAILED if "value" in said else OPEN, "what was entered does not pass"
    if result == FAIL:
        return _failed(desk, item, check), reason
    if item.second and not seconded(desk, item, check):
        return WAITS, f"a second person looks as {item.second}"
    return PASSED, ""


def _shown(item: Item, check: Entry) -> bool:
    """Whether a pass is borne out by what stands beside it."""
    said = check.body.content
    if item.instrument and not said.get("instrument"):
        return False
    if item.kind == MEASURED:
        value = said.get("value")
        return (
            value is not None and value["unit"] == item.unit and item.passes(float(value["value"]))
        )
    if item.kind == CHOICE:
        return said.get("choice") in item.passing
    return item.kind != PHOTO or bool(check.body.attachments)


def _failed(desk: Desk, item: Item, check: Entry) -> str:
    if item.block == NOTE:
        return NOTED
    if item.block == ACCEPT and any(
        _accepts(desk, acceptance) for acceptance in desk.ledger.naming(check, CITES, ACCEPTANCE)
    ):
        return ACCEPTED
    return FAILED


def _accepts(desk: Desk, acceptance: Entry) -> bool:
    pilots = set(desk.ledger.persons(acceptance, "accepted", "pilot"))
    others = set(desk.ledger.persons(acceptance, "accepted", "safety"))
    return bool(pilots) and bool(others) and len(pilots | others) > 1


def seconded(desk: Desk, item: Item, check: Entry) -> tuple[Entry, ...]:
    """Give the checks by which a second person found an item right, looking afresh."""
    return tuple(
        look
        for look in desk.ledger.naming(check, INSPECTS, CHECK)
        if look.body.content["item"] == item.id
        and look.body.content["result"] == PASS
        and desk.ledger.persons(look, "inspected", item.second)
        and desk.ledger.standing.may_loosen(look)
    )


def refused_by_second(desk: Desk, item: Item, check: Entry) -> bool:
    """Whether a second person found an item wrong."""
    return any(
        look.body.content["item"] == item.id and look.body.content["result"] == FAIL
        for look in desk.ledger.naming(check, INSPECTS, CHECK)
    )


# --- all results of an item


def item_state(desk: Desk, item: Item, about: About, checks: Iterable[Entry]) -> ItemState:
    """Say how an item stands, from all checks of it."""
    found = [check for check in checks if desk.ledger.persons(check, "performed", item.role)]
    last = [c for c in found if not any(desk.ledger.has_seen(d, c) for d in found)]
    if not last:
        return ItemState(item, OPEN)
    judged = []
    for check in last:
        state, why = outcome(desk, item, check)
        if state in (PASSED, WAITS) and refused_by_second(desk, item, check):
            state, why = FAILED, "a second person found it wrong"
        judged.append((_BADNESS.get(state, 9), state, why, check))
    _, state, why, check = max(judged, key=lambda j: j[0])
    if state in FINE or state == WAITS:
        reopened = reopening(desk, item, about, check)
        if reopened:
            return ItemState(item, REOPENED, reopened, check)
        if is_over(desk, item, check):
            return ItemState(item, EXPIRED, f"it held for {item.valid_hours:g} h", check)
    return ItemState(item, state, why, check)


def is_over(desk: Desk, item: Item, check: Entry) -> bool:
    """Whether the hours of a result are over, or it lies ahead of this laptop's clock."""
    if item.valid_hours is None:
        return False
    age = desk.ledger.now - desk.ledger.when(check)
    return not timedelta(hours=-1) <= age <= timedelta(hours=item.valid_hours)


def reopening(desk: Desk, item: Item, about: About, check: Entry) -> str:
    """Name what reopened an item since a check of it, "" where nothing has."""
    ledger = desk.ledger
    for entry in _happened(desk, about):
        word = entry.body.content["event"] if entry.body.kind == EVENT else COMPONENT_CHANGE
        if word in item.reopened_by and not ledger.has_seen(check, entry):
            return str(word)
    if FLIGHT in item.reopened_by and about.aircraft:
        begun = {b.hash for b in ledger.named(check, CITES, LIST_BEGUN)}
        for flight in sorties(desk, about.aircraft):
            if flight.began > ledger.when(check):
                return FLIGHT
            if flight.release is not None and begun & set(flight.release.body.related(CITES)):
                return FLIGHT
    return ""


def _happened(desk: Desk, about: About) -> tuple[Entry, ...]:
    """Give the events about an aircraft or a pack, and the fittings of components."""
    key = f"events of {about.aircraft}/{about.pack}"
    known = desk.kept.get(key)
    if known is None:
        events = [
            e
            for e in desk.ledger.of(EVENT)
            if (about.aircraft and e.body.content.get("aircraft") == about.aircraft)
            or (about.pack and e.body.content.get("pack") == about.pack)
        ]
        fittings = desk.ledger.of(FITTING, aircraft=about.aircraft) if about.aircraft else ()
        known = desk.kept[key] = (*events, *fittings)
    return cast(tuple[Entry, ...], known)


# --- a list


def list_state(desk: Desk, list_id: str, about: About) -> ListState:
    """Say how a list, in the version in force, stands for an aircraft or a pack.

    Raises
    ------
    UsageError, TeamFileError
        If there is no version in force, or it can't be read.
    """
    checklist = checklist_in_force(desk, list_id)
    begun = begun_lists(desk, list_id, about)
    checks = checks_of(desk, begun)
    items = tuple(
        item_state(desk, item, about, checks.get(item.id, ())) for item in checklist.items
    )
    return ListState(checklist, about, items, begun)


def checks_of(desk: Desk, begun: Iterable[Entry]) -> dict[str, list[Entry]]:
    """Give the checks of lists that were begun, by the id of their item."""
    found: dict[str, list[Entry]] = {}
    for entry in begun:
        for check in desk.ledger.naming(entry, CITES, CHECK):
            if not desk.ledger.corrections(check):
                found.setdefault(check.body.content["item"], []).append(check)
    return found
