"""Results of check lists: what each item is worth now.

No item passes by itself. A result counts when the person who signed it holds the item's role; a
measurement when its number is within the limits of the version of the list by which it was made,
whatever was written beside it; an item with a second person when somebody else looked afresh. It
holds until something reopens it that it had not seen, or its hours are over. Of results made
apart from each other the worse one holds. A fail counts from anybody of the team; a result that
was struck out leaves the item open and does not bring back the one before it.

What a change of the battery reopens belongs to one pack: looked at in another one, it is open.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import cast

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import CITES, INSPECTS, Entry
from flightlog.logbook.flying_kinds import CHECK, EVENT, FAIL, FITTING, LIST_BEGUN
from flightlog.operations.check_worth import (
    BADNESS,
    EXPIRED,
    FAILED,
    FINE,
    OPEN,
    PASSED,
    REOPENED,
    WAITS,
    knows,
    outcome,
    refused_by_second,
)
from flightlog.operations.checklists import Checklist, Item, load_checklist
from flightlog.operations.desk import Desk
from flightlog.operations.events import BATTERY_CHANGE, FLIGHT
from flightlog.operations.positions import newest
from flightlog.operations.sorties import sorties
from flightlog.operations.usage import fitted
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, Ledger

COMPONENT_CHANGE = "component-change"
SAME_DAY = timedelta(hours=12)
"""A day of flying. No calendar has it: midnight in UTC is noon at the other side of the world."""


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
    """A list as it stands for an aircraft or a pack.

    Attributes
    ----------
    checklist : Checklist
        The version in force.
    about : About
        What it is for.
    items : tuple of ItemState
        In the order of the list.
    begun : tuple of Entry
        All times that it was taken in hand in this version.
    rests_on : tuple of Entry
        Those of them to which the results belong by which the items stand.
    """

    checklist: Checklist
    about: About
    items: tuple[ItemState, ...]
    begun: tuple[Entry, ...]
    rests_on: tuple[Entry, ...] = ()

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


def lately(ledger: Ledger, entry: Entry) -> bool:
    """Whether an entry was made on this day of flying, by this laptop's clock."""
    return timedelta(hours=-1) <= ledger.now - entry.body.time.utc < SAME_DAY


# --- all results of an item


@dataclass(frozen=True, slots=True)
class _Result:
    """A check, and the list to which it belongs."""

    check: Entry
    begun: Entry

    @property
    def pack(self) -> str:
        return str(self.begun.body.content.get(PACK, ""))


def _item_state(
    desk: Desk,
    item: Item,
    about: About,
    results: Sequence[_Result],
    anew: frozenset[str] | None,
) -> tuple[ItemState, Entry | None]:
    """Say how an item stands, from all checks of it, and to which begun list that belongs.

    ``anew`` are the begun lists beyond which no result reaches, None where all do.
    """
    of_pack = BATTERY_CHANGE in item.reopened_by and bool(about.aircraft and about.pack)
    mine = [r for r in results if not of_pack or r.pack == about.pack]
    others = [r for r in results if of_pack and r.pack != about.pack]
    judged = _worst(desk, item, mine)
    if not judged:
        return _of_another_pack(desk, item, others)
    found = [
        (_as_of_now(desk, item, about, said, result, others, anew), result.begun)
        for said, result in judged
    ]
    # Results made apart that say the same: one that nothing reopened is enough.
    return next((one for one in found if one[0].state not in (REOPENED, EXPIRED)), found[0])


def _of_another_pack(
    desk: Desk, item: Item, others: Sequence[_Result]
) -> tuple[ItemState, Entry | None]:
    """Say how an item stands that was never done with this pack on board."""
    for (state, _), result in _worst(desk, item, others):
        if state in FINE:
            return ItemState(item, REOPENED, BATTERY_CHANGE, result.check), result.begun
    return ItemState(item, OPEN), None


def _worst(
    desk: Desk, item: Item, results: Sequence[_Result]
) -> list[tuple[tuple[str, str], _Result]]:
    """Give the last results that count, each with its state and why; of several the worst."""
    judged = [(_judged(desk, item, r.check), r) for r in _last(desk, item, results)]
    worst = max((BADNESS.get(said[0], 9) for said, _ in judged), default=9)
    return [(said, r) for said, r in judged if BADNESS.get(said[0], 9) == worst]


def _last(desk: Desk, item: Item, results: Sequence[_Result]) -> list[_Result]:
    """Give the results that no other one replaced: the last one, or several made apart."""
    kept: list[_Result] = []
    for result in reversed(results):
        hidden = any(knows(desk.ledger, k.check, result.check) for k in kept)
        if not hidden and _speaks(desk, item, result.check):
            kept = [k for k in kept if not knows(desk.ledger, result.check, k.check)]
            kept.append(result)
    return kept


def _speaks(desk: Desk, item: Item, check: Entry) -> bool:
    """Whether a check is a result of its item: by who may do it, or a fail, by anybody."""
    if desk.ledger.persons(check, "performed", item.role):
        return True
    fails = check.body.content["result"] == FAIL and not check.body.related(INSPECTS)
    return fails and bool(desk.ledger.persons(check))


def _judged(desk: Desk, item: Item, check: Entry) -> tuple[str, str]:
    state, why = outcome(desk, item, check)
    if state in (PASSED, WAITS) and refused_by_second(desk, item, check):
        return FAILED, "a second person found it wrong"
    return state, why


def _as_of_now(
    desk: Desk,
    item: Item,
    about: About,
    said: tuple[str, str],
    result: _Result,
    others: Sequence[_Result],
    anew: frozenset[str] | None,
) -> ItemState:
    """Say what is left of a result: what failed stays so until it is done again."""
    state, why = said
    check = result.check
    if state not in FINE and state != WAITS:
        return ItemState(item, state, why, check)
    if anew is not None and result.begun.hash not in anew:
        return ItemState(item, OPEN)
    reopened = reopening(desk, item, about, check)
    if not reopened and any(not knows(desk.ledger, check, o.check) for o in others):
        reopened = BATTERY_CHANGE
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
    for word, entry in _happened(desk, about):
        if word in item.reopened_by and not knows(ledger, check, entry):
            return word
    if FLIGHT in item.reopened_by and about.aircraft:
        begun = {b.hash for b in ledger.named(check, CITES, LIST_BEGUN)}
        for flight in sorties(desk, about.aircraft):
            if flight.began > ledger.when(check):
                return FLIGHT
            if flight.release is not None and begun & set(flight.release.body.related(CITES)):
                return FLIGHT
    return ""


def happened(desk: Desk, about: About) -> tuple[Entry, ...]:
    """Give the events about an aircraft, what is fitted to it, or a pack."""
    parts = {p.component for p in fitted(desk, about.aircraft)} if about.aircraft else set()
    return tuple(
        e
        for e in desk.ledger.of(EVENT)
        if (about.aircraft and e.body.content.get(AIRCRAFT) == about.aircraft)
        or (about.pack and e.body.content.get(PACK) == about.pack)
        or e.body.content.get(COMPONENT) in parts
    )


def _happened(desk: Desk, about: About) -> tuple[tuple[str, Entry], ...]:
    """Give what can reopen items, each with its word: events, and fittings of components."""
    key = f"events of {about.aircraft}/{about.pack}"
    known = desk.kept.get(key)
    if known is None:
        events = [(str(e.body.content["event"]), e) for e in happened(desk, about)]
        fittings = desk.ledger.of(FITTING, aircraft=about.aircraft) if about.aircraft else ()
        known = desk.kept[key] = (*events, *((COMPONENT_CHANGE, e) for e in fittings))
    return cast(tuple[tuple[str, Entry], ...], known)


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
    results = _results(desk, begun)
    anew = _anew(desk, checklist, begun)
    items, rests_on = [], {}
    for item in checklist.items:
        state, of = _item_state(desk, item, about, results.get(item.id, ()), anew)
        items.append(state)
        if of is not None:
            rests_on[of.hash] = of
    return ListState(checklist, about, tuple(items), begun, tuple(rests_on.values()))


def state_of_item(desk: Desk, list_id: str, item_id: str, about: About) -> ItemState | None:
    """Say how one item of a list stands, None where the list has none of this id.

    Raises
    ------
    UsageError, TeamFileError
        If there is no version of the list in force, or it can't be read.
    """
    checklist = checklist_in_force(desk, list_id)
    item = checklist.item(item_id)
    if item is None:
        return None
    begun = begun_lists(desk, list_id, about)
    results = _results(desk, begun).get(item_id, ())
    return _item_state(desk, item, about, results, _anew(desk, checklist, begun))[0]


def _anew(desk: Desk, checklist: Checklist, begun: Sequence[Entry]) -> frozenset[str] | None:
    if not checklist.anew:
        return None
    return frozenset(entry.hash for entry in newest(desk.ledger, begun))


def _results(desk: Desk, begun: Iterable[Entry]) -> dict[str, list[_Result]]:
    """Give the results of lists that were begun, by the id of their item."""
    found: dict[str, list[_Result]] = {}
    for entry, check in _checks(desk, begun):
        found.setdefault(check.body.content["item"], []).append(_Result(check, entry))
    return found


def checks_of(desk: Desk, begun: Iterable[Entry]) -> dict[str, list[Entry]]:
    """Give the checks of lists that were begun, struck ones too, by the id of their item."""
    found: dict[str, list[Entry]] = {}
    for _, check in _checks(desk, begun):
        found.setdefault(check.body.content["item"], []).append(check)
    return found


def _checks(desk: Desk, begun: Iterable[Entry]) -> Iterator[tuple[Entry, Entry]]:
    for entry in begun:
        for check in desk.ledger.naming(entry, CITES, CHECK):
            yield entry, check
