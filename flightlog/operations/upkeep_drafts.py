"""Drafts of what is done to aircraft, packs and components: fitting, tasks, charges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.inputs import LARGEST_CHARGE_AH
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import INSPECTS, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import CHARGE, FAIL, FITTING, INSPECTION, PASS, TASK_DONE
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.upkeep import tasks_of
from flightlog.operations.usage import FITTED, REMOVED, where_fitted
from flightlog.operations.work_done import INSPECTOR, roles_for
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK
from flightlog.team_files.reading import near_miss

FITTERS = ("mechanic", "engineer")
"""Roles in which a component is fitted or removed."""
CHARGERS = ("battery",)
"""Roles in which a charge is signed."""
VOLTS_PER_CELL = 4.5
"""No cell of any chemistry that is flown has more [V]."""
CHARGE_BOUNDS = {
    "charge": ("Ah", Decimal(0), Decimal(int(LARGEST_CHARGE_AH))),
    "voltage": ("V", Decimal(0), Decimal(200)),
    "spread": ("V", Decimal(0), Decimal(2)),
    "resistance": ("ohm", Decimal(0), Decimal(2)),
    "temperature": ("°C", Decimal(-40), Decimal(120)),
}
"""What can be measured of a charge: unit, and between what numbers it is believed."""
LOOKED_AT = (TASK_DONE, FITTING)
"""Kinds of entries at which a second person looks by an entry of their own, here."""


@dataclass(frozen=True, slots=True)
class Worker:
    """Who did it, who looked afresh, and when, if it is written down late.

    Attributes
    ----------
    by : str
        Public key of the person.
    inspected_by : str
        Public key of another one; empty where nobody looked yet.
    occurred : datetime or None
        When it was done (aware), for what is written down late.
    late_reason : str
        Why so late.
    """

    by: str
    inspected_by: str = ""
    occurred: datetime | None = None
    late_reason: str = ""


def fit_draft(desk: Desk, component: str, aircraft: str, position: str, who: Worker) -> Draft:
    """Draft that a component was fitted into an aircraft.

    Raises
    ------
    UsageError
        If the record holds no file of one of them, or the position is not told.
    RefusedError
        If it is fitted somewhere already, or the person may not sign for it.
    """
    desk.version(COMPONENT, component)
    desk.version(AIRCRAFT, aircraft)
    places = where_fitted(desk, component)
    if places:
        where = ", ".join(f"{p.aircraft}, {p.position} ({named(p.entry)})" for p in places)
        raise RefusedError(
            f"it is fitted in {where}",
            where=component,
            fix=f"Enter its removal first: 'flightlog team remove {component} --by WHO'.",
        )
    return _move(desk, component, aircraft, _told(position, "--position"), FITTED, who)


def remove_draft(desk: Desk, component: str, who: Worker, aircraft: str = "") -> Draft:
    """Draft that a component was removed from where it is fitted.

    Parameters
    ----------
    desk : Desk
        The record.
    component : str
        Its id.
    who : Worker
        Who did it.
    aircraft : str
        From which one; needed only where the record has it in several.

    Raises
    ------
    UsageError
        If it is fitted in several, and it is not said which one is meant.
    RefusedError
        If it is not fitted there, or the person may not sign for it.
    """
    every = where_fitted(desk, component)
    places = [p for p in every if not aircraft or p.aircraft == aircraft]
    if not places:
        raise RefusedError(
            f"it is not fitted in {aircraft}" if aircraft else "it is fitted nowhere",
            where=component[:60],
            fix="'flightlog team component' says what is fitted where.",
        )
    if len({p.aircraft for p in places}) > 1:
        raise UsageError(
            f"the record has it in {' and '.join(p.aircraft for p in places)}",
            where=component,
            fix="Give --aircraft ID: the one that it was removed from.",
        )
    return _move(desk, component, places[-1].aircraft, places[-1].position, REMOVED, who)


def _move(
    desk: Desk, component: str, aircraft: str, position: str, done: str, who: Worker
) -> Draft:
    content = {"component": component, "aircraft": aircraft, "position": position, "done": done}
    return _work(desk, FITTING, content, FITTERS, who)


def done_draft(
    desk: Desk, task_id: str, thing: str, id_: str, who: Worker, text: str = ""
) -> Draft:
    """Draft that a task was done.

    Parameters
    ----------
    desk : Desk
        The record.
    task_id : str
        Id of the task in the file in force.
    thing, id_ : str
        "aircraft", "pack" or "component", and which.
    who : Worker
        Who did it; an independent one is not done before somebody else looked.
    text : str
        What was found.

    Raises
    ------
    UsageError
        If the record holds no file of the thing, or the file has no such task.
    RefusedError
        If the person may not sign for it.
    """
    tasks, _ = tasks_of(desk, thing, id_)
    task = next((t for t in tasks if t.id == task_id), None)
    if task is None:
        known = [t.id for t in tasks]
        listed = f"It has {', '.join(known)}." if known else "It has none."
        raise UsageError(
            f"the file of {id_} has no such task",
            where=task_id[:60],
            fix=near_miss(task_id, known) or listed,
        )
    content = {"task": task_id, thing: id_, **({"text": text} if text else {})}
    return _work(desk, TASK_DONE, content, roles_for(desk, thing, task), who)


def inspect_draft(desk: Desk, work: Entry, by: str, text: str, *, right: bool = True) -> Draft:
    """Draft that a second person looked at a piece of work, afresh and in their own turn.

    Raises
    ------
    RefusedError
        If it is no work of this sort, or the person may not sign for it.
    """
    if work.body.kind not in LOOKED_AT:
        raise RefusedError(
            f"it is a {work.body.kind}; a second person looks so at a task that was done, or at a "
            "component that was fitted",
            where=named(work),
            fix="A rectification is inspected by 'flightlog defect inspect', a check in its list.",
        )
    content = {"result": PASS if right else FAIL, "text": _told(text, "--text")}
    signer = Signer(by, "inspected", role_of(desk, by, (INSPECTOR,), "--by"))
    return Draft(INSPECTION, content, [signer], relations=[Relation(INSPECTS, work.hash)])


def charge_draft(desk: Desk, pack: str, numbers: Mapping[str, Decimal], who: Worker) -> Draft:
    """Draft a charge.

    Parameters
    ----------
    desk : Desk
        The record.
    pack : str
        Id of its file.
    numbers : mapping
        As in `CHARGE_BOUNDS`, in those units; "voltage" is needed.
    who : Worker
        Who charged it.

    Raises
    ------
    UsageError
        If the record holds no file of the pack, or a number can't be meant.
    RefusedError
        If the person may not sign for it.
    """
    cells = desk.pack(pack).cells
    content: dict[str, Any] = {"pack": pack}
    for name, (unit, least, most) in CHARGE_BOUNDS.items():
        value = numbers.get(name)
        if value is None:
            continue
        if name == "voltage" and cells is not None:
            most = Decimal(str(VOLTS_PER_CELL)) * cells
        if not least <= value <= most:
            raise UsageError(
                f"{value} {unit} is not from {least} to {most:f}",
                where=f"--{name}",
                fix=f"Give it in {unit}"
                + (f", of all {cells} cells." if name == "voltage" else "."),
            )
        content[name] = quantity(value, unit)
    return _work(desk, CHARGE, content, CHARGERS, who)


def role_of(desk: Desk, key: str, roles: tuple[str, ...], option: str) -> str:
    """Choose the role in which a person signs: the first of some that the person holds.

    Raises
    ------
    RefusedError
        If the person holds none of them.
    """
    people = desk.book.people
    person = people.person_of(key)
    held = [role for role in roles if person is not None and people.holds(person.id, role)]
    if not held:
        raise RefusedError(
            f"{desk.crew.label_of_key(key)} does not hold the role {' or '.join(map(repr, roles))}",
            where=option,
            fix="'flightlog team crew list' shows who does.",
        )
    return held[0]


def _work(
    desk: Desk, kind: str, content: Mapping[str, Any], roles: tuple[str, ...], who: Worker
) -> Draft:
    signers = [Signer(who.by, "performed", role_of(desk, who.by, roles, "--by"))]
    if who.inspected_by:
        _refuse_the_same(desk, who)
        role = role_of(desk, who.inspected_by, (INSPECTOR,), "--inspected-by")
        signers.append(Signer(who.inspected_by, "inspected", role))
    return Draft(kind, content, signers, occurred=who.occurred, late_reason=who.late_reason)


def _refuse_the_same(desk: Desk, who: Worker) -> None:
    people = desk.book.people
    one, other = people.person_of(who.by), people.person_of(who.inspected_by)
    if one is None or other is None or one.id == other.id:
        raise RefusedError(
            "who did the work can't look at it afresh",
            where="--inspected-by",
            fix="Name another person.",
        )


def _told(text: str, option: str) -> str:
    if not text.strip():
        raise UsageError("is empty", where=option, fix="Say something.")
    return text


__all__ = [
    "AIRCRAFT",
    "COMPONENT",
    "PACK",
    "Worker",
    "charge_draft",
    "done_draft",
    "fit_draft",
    "inspect_draft",
    "remove_draft",
    "role_of",
]
