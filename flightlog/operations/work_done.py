"""When a task was done: by an entry of its own, or by the check that its file names."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.errors import FlightlogError
from flightlog.inputs import Task
from flightlog.logbook.entry import CITES, INSPECTS, Entry
from flightlog.logbook.flying_kinds import CHECK, INSPECTION, LIST_BEGUN, PASS, TASK_DONE
from flightlog.operations.check_worth import PASSED, outcome, refused_by_second
from flightlog.operations.checklists import load_checklist
from flightlog.operations.checks import checklist_of
from flightlog.operations.desk import Desk
from flightlog.operations.positions import CLOCKS_APART
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK

INSPECTOR = "inspector"
"""The role in which a second person looks."""
DOERS = {
    AIRCRAFT: ("mechanic", "engineer"),
    COMPONENT: ("mechanic", "engineer"),
    PACK: ("battery", "mechanic", "engineer"),
}
"""Roles in which a task is signed; besides these that of the check which does it."""


def roles_for(desk: Desk, thing: str, task: Task) -> tuple[str, ...]:
    """Give the roles in which a task can be signed as performed."""
    own = ""
    version = desk.versions.in_force("checklist", task.list) if task.list else None
    if version is not None:
        try:
            item = desk.loaded(version, load_checklist).item(task.item)
        except FlightlogError:
            item = None  # a list that can't be read names no role
        own = item.role if item is not None else ""
    return tuple(dict.fromkeys([own, *DOERS[thing]] if own else DOERS[thing]))


def was_inspected(desk: Desk, work: Entry) -> bool:
    """Whether a second person looked at a piece of work and found it right.

    Either by a signature "inspected" on the entry itself, or by an inspection of its own, each in
    the role inspector. Who found it wrong is outdone only by an inspection that had seen that.
    """
    ledger = desk.ledger
    did = set(ledger.persons(work, "performed"))
    looks = ledger.naming(work, INSPECTS, INSPECTION)
    bad = [look for look in looks if look.body.content["result"] != PASS]
    if did and not bad and set(ledger.persons(work, "inspected", INSPECTOR)) - did:
        return True
    return any(
        look.body.content["result"] == PASS
        and ledger.persons(look, "inspected", INSPECTOR)
        and ledger.standing.may_loosen(look)
        and all(ledger.has_seen(look, other) for other in bad)
        for look in looks
    )


@dataclass(frozen=True, slots=True)
class Times:
    """When a task was done.

    Attributes
    ----------
    done : tuple of Entry
        By which it was done.
    waiting : tuple of Entry
        Work at which no second person has looked yet.
    ahead : tuple of Entry
        What claims a time that is still to come, by this laptop's clock, and is not believed.
    """

    done: tuple[Entry, ...]
    waiting: tuple[Entry, ...]
    ahead: tuple[Entry, ...]


def times_done(desk: Desk, thing: str, id_: str, task: Task) -> Times:
    """Give when a task was done to something."""
    ledger = desk.ledger
    roles = roles_for(desk, thing, task)
    done: list[Entry] = []
    waiting: list[Entry] = []
    for entry in ledger.of(TASK_DONE, **{"task": task.id, thing: id_}):
        if not any(ledger.persons(entry, "performed", role) for role in roles):
            continue
        whole = not task.independent or was_inspected(desk, entry)
        (done if whole else waiting).append(entry)
    done += _checked(desk, thing, id_, task)
    latest = ledger.now + CLOCKS_APART
    return Times(
        tuple(entry for entry in done if ledger.when(entry) <= latest),
        tuple(waiting),
        tuple(entry for entry in done if ledger.when(entry) > latest),
    )


def _checked(desk: Desk, thing: str, id_: str, task: Task) -> list[Entry]:
    """Give the checks by which a task was done: passed items of the list that its file names."""
    if not task.list or not task.item:
        return []
    found = []
    for begun in desk.ledger.of(LIST_BEGUN, **{"list": task.list, thing: id_}):
        checklist = checklist_of(desk, begun)
        item = checklist.item(task.item) if checklist is not None else None
        if item is None or (task.independent and not item.second):
            continue
        found += [
            check
            for check in desk.ledger.naming(begun, CITES, CHECK)
            if check.body.content["item"] == item.id
            and not check.body.related(INSPECTS)
            and not desk.ledger.corrections(check)
            and outcome(desk, item, check)[0] == PASSED
            and not refused_by_second(desk, item, check)
        ]
    return found
