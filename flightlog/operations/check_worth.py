"""What one check is worth by itself: by its signatures, its number, and who looked afresh."""

from __future__ import annotations

from flightlog.logbook.entry import CITES, ENDS, INSPECTS, Entry
from flightlog.logbook.flying_kinds import (
    ACCEPTANCE,
    CHECK,
    DEFECT,
    DEFERRAL,
    DEFERRED,
    FAIL,
    LIST_BEGUN,
    NOT_APPLICABLE,
    PASS,
)
from flightlog.operations.checklists import ACCEPT, CHOICE, MEASURED, NOTE, PHOTO, Item
from flightlog.operations.defect_states import PUT_OFF as DEFERRED_DEFECT
from flightlog.operations.defect_states import state_of
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.usage import fitted
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, Ledger

OPEN, PASSED, FAILED, WAITS = "open", "passed", "failed", "waits for a second person"
NOT_NEEDED, PUT_OFF, REOPENED, EXPIRED = "not applicable", "deferred", "reopened", "expired"
ACCEPTED, NOTED = "failed, accepted", "failed, noted"
FINE = (PASSED, NOT_NEEDED, PUT_OFF, ACCEPTED, NOTED)
BADNESS = {PASSED: 0, NOT_NEEDED: 1, PUT_OFF: 2, NOTED: 3, ACCEPTED: 4, WAITS: 5, FAILED: 6}
"""Of results made apart the one with the larger number holds."""


def knows(ledger: Ledger, check: Entry, entry: Entry) -> bool:
    """Whether a check was done in the knowledge of an entry.

    One that was done before it was written down, on paper, knew nothing of what was entered
    meanwhile, though its own entry has seen that.
    """
    return ledger.has_seen(check, entry) and (
        check.body.occurred is None or ledger.when(check) >= ledger.when(entry)
    )


def outcome(desk: Desk, item: Item, check: Entry) -> tuple[str, str]:
    """Say what one check is worth by itself, and why.

    Returns
    -------
    state, why : str
        "open" where it counts for nothing.
    """
    said = check.body.content
    ledger = desk.ledger
    if struck := ledger.corrections(check):
        return OPEN, f"struck out by {named(struck[0])}"
    result, reason = said["result"], str(said.get("reason", ""))
    if result == FAIL:
        return _failed(desk, item, check), reason
    if not ledger.persons(check, "performed", item.role):
        return OPEN, f"nobody signed it as {item.role}"
    if result == NOT_APPLICABLE:
        return (NOT_NEEDED, reason) if item.not_applicable and reason else (OPEN, "has to be done")
    if result == DEFERRED:
        return _put_off(desk, item, check)
    if not _shown(item, check):
        return FAILED if "value" in said else OPEN, "what was entered does not pass"
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


def _put_off(desk: Desk, item: Item, check: Entry) -> tuple[str, str]:
    """A deferred item stands as long as the deferral that it names."""
    if not item.deferrable:
        return OPEN, "can't be put off"
    begun = next(iter(desk.ledger.named(check, CITES, LIST_BEGUN)), None)
    found = desk.ledger.named(check, CITES, DEFERRAL)
    if begun is None or not found:
        return OPEN, "is put off by no deferral"
    problem = deferral_problem(desk, found[0], begun)
    return (OPEN, problem) if problem else (PUT_OFF, f"by {named(found[0])}")


def deferral_problem(desk: Desk, deferral: Entry, begun: Entry) -> str:
    """Say why an item of a list can't be put off by a deferral, "" where it can.

    It is of a defect of the aircraft or pack that the list is for, or of what is fitted to it,
    and still holds.
    """
    for defect in desk.ledger.named(deferral, ENDS, DEFECT):
        if _is_of(desk, defect, begun):
            holds = state_of(desk, defect).state == DEFERRED_DEFECT
            return "" if holds else f"the deferral {named(deferral)} does not hold"
    return f"{named(deferral)} is no deferral for this aircraft or pack"


def _is_of(desk: Desk, defect: Entry, begun: Entry) -> bool:
    said, about = defect.body.content, begun.body.content
    if any(thing in said and said[thing] == about.get(thing) for thing in (AIRCRAFT, PACK)):
        return True
    parts = fitted(desk, about[AIRCRAFT]) if AIRCRAFT in about else ()
    return any(part.component == said.get(COMPONENT) for part in parts)


def _failed(desk: Desk, item: Item, check: Entry) -> str:
    if item.block == NOTE:
        return NOTED
    if item.block == ACCEPT and any(
        _accepts(desk, acceptance) for acceptance in desk.ledger.naming(check, CITES, ACCEPTANCE)
    ):
        return ACCEPTED
    return FAILED


def _accepts(desk: Desk, acceptance: Entry) -> bool:
    if desk.ledger.corrections(acceptance):
        return False
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
        and _shown(item, look)
        and desk.ledger.persons(look, "inspected", item.second)
        and desk.ledger.standing.may_loosen(look)
        and not desk.ledger.corrections(look)
    )


def refused_by_second(desk: Desk, item: Item, check: Entry) -> bool:
    """Whether a second person found an item wrong, in words or by a number."""
    return any(
        look.body.content["item"] == item.id
        and not desk.ledger.corrections(look)
        and (
            look.body.content["result"] == FAIL
            or ("value" in look.body.content and not _shown(item, look))
        )
        for look in desk.ledger.naming(check, INSPECTS, CHECK)
    )
