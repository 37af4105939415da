"""What the record holds today that was measured on the ground, by what it was measured of.

Weighings, charges of packs, parameter baselines, and clauses of rule books that persons showed by
measuring. Bench files (thrust stand, discharge, ring-down) are none of these.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import (
    BASELINE,
    CHARGE,
    CLAUSE_EVIDENCE,
    TASK_DONE,
    WEIGHING,
)
from flightlog.operations.desk import Desk
from flightlog.operations.matrix import MEASURED
from flightlog.operations.weighing import weighed_of
from flightlog.team.ledger import AIRCRAFT, PACK, THINGS

WEIGHED, CHARGED, SET, SHOWN, DONE = "weighing", "charge", "baseline", "clause", "work"
"""What was done: weighed, charged, parameters set, a clause measured, an inspection or service."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One thing that was measured or done on the ground.

    Attributes
    ----------
    thing, id : str
        "aircraft", "pack" or "component", and which.
    serial : str
        By the file in force; empty where it names none, or there is none.
    what : str
        "weighing", "charge", "baseline", "clause" or "work".
    says : str
        What was found, with its numbers.
    entry : Entry
        Where it stands.
    when : datetime
        When it was done, as claimed (UTC).
    persons : tuple of str
        Ids of those whose signatures count.
    """

    thing: str
    id: str
    serial: str
    what: str
    says: str
    entry: Entry
    when: datetime
    persons: tuple[str, ...]


def measured_on_ground(desk: Desk, what: Sequence[str] = ()) -> tuple[Measured, ...]:
    """Give all that was measured or done on the ground, the newest first.

    Parameters
    ----------
    desk : Desk
        The record.
    what : sequence of str
        Only of these words; all where there are none.
    """
    found = [one for one in _every(desk) if not what or one.what in what]
    return tuple(sorted(found, key=lambda one: one.when, reverse=True))


def _every(desk: Desk) -> Iterator[Measured]:
    ledger = desk.ledger
    for entry in ledger.of(WEIGHING):
        yield _made(desk, AIRCRAFT, entry.body.content[AIRCRAFT], WEIGHED, _weighing(entry), entry)
    for entry in ledger.of(CHARGE):
        yield _made(desk, PACK, entry.body.content[PACK], CHARGED, _charge(entry), entry)
    for entry in ledger.of(BASELINE):
        said = entry.body.content
        says = f"{said['firmware']}, {said['count']} parameters"
        yield _made(desk, AIRCRAFT, said[AIRCRAFT], SET, says, entry)
    for entry in ledger.of(CLAUSE_EVIDENCE, how=MEASURED):
        said = entry.body.content
        state = "shown" if said["state"] == "shown" else "NOT shown"
        says = f"{said['rules']}, {said['clause']}: {state}; {said['text']}"
        yield _made(desk, AIRCRAFT, said[AIRCRAFT], SHOWN, says, entry)
    for entry in ledger.of(TASK_DONE):
        yield from _work(desk, entry)


def _work(desk: Desk, entry: Entry) -> Iterator[Measured]:
    said = entry.body.content
    text = f": {said['text']}" if said.get("text") else ""
    for thing in THINGS:
        if thing in said:
            yield _made(desk, thing, said[thing], DONE, f"{said['task']}{text}", entry)


def _made(desk: Desk, thing: str, id_: str, what: str, says: str, entry: Entry) -> Measured:
    persons = tuple(dict.fromkeys(desk.ledger.persons(entry)))
    serial = _serial(desk, thing, id_)
    return Measured(thing, id_, serial, what, says, entry, desk.ledger.when(entry), persons)


def _serial(desk: Desk, thing: str, id_: str) -> str:
    try:
        if thing == AIRCRAFT:
            return desk.aircraft(id_).serial or ""
        return (desk.pack(id_).serial if thing == PACK else desk.component(id_).serial) or ""
    except FlightlogError:
        return ""  # no file of it is in force, or it can't be read


# --- what was found


def _weighing(entry: Entry) -> str:
    said = entry.body.content
    state = f"{said['configuration']}, {said['state']}"
    try:
        body = weighed_of(said)
    except ValueError as error:
        return f"{state}: no balance follows from it, {error}"
    pack = f", with {said['with_pack']}" if "with_pack" in said else ""
    return (
        f"{body.mass.value:.3f} kg (± {2 * body.mass.std:.3f}) at {body.arm.value:.4f} m "
        f"(± {2 * body.arm.std:.4f}) aft of the datum{pack}; {state}; by {said['instrument']}"
    )


def _charge(entry: Entry) -> str:
    said = entry.body.content
    words = (
        ("voltage", ""),
        ("charge", "charged "),
        ("spread", "cells apart by "),
        ("resistance", "resistance "),
        ("temperature", ""),
    )
    return ", ".join(f"{word}{_quantity(said[key])}" for key, word in words if key in said)


def _quantity(said: Any) -> str:
    return f"{said['value']} {said['unit']}"
