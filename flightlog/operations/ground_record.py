"""What the record holds today that was measured on the ground, by what it was measured of.

Ground tests, weighings, charges of packs, parameter baselines, and clauses of rule books that
persons showed by measuring.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flightlog.errors import FlightlogError
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import (
    BASELINE,
    CHARGE,
    CLAUSE_EVIDENCE,
    GROUND_TEST,
    TASK_DONE,
    WEIGHING,
)
from flightlog.operations.desk import Desk
from flightlog.operations.ground_subject import said_of
from flightlog.operations.matrix import MEASURED
from flightlog.operations.weighing import weighed_of
from flightlog.team.ledger import AIRCRAFT, PACK, THINGS

TESTED = "ground-test"
WEIGHED, CHARGED, SET, SHOWN, DONE = "weighing", "charge", "baseline", "clause", "work"
"""What was done: weighed, charged, parameters set, a clause measured, an inspection or service."""
_MOST_TOLD = 3


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
        "ground-test", "weighing", "charge", "baseline", "clause" or "work".
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
    for entry in ledger.of(GROUND_TEST):
        about = said_of(entry)
        yield _made(desk, about.thing, about.id, TESTED, _tested(entry), entry, serial=about.serial)
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


def _made(
    desk: Desk,
    thing: str,
    id_: str,
    what: str,
    says: str,
    entry: Entry,
    *,
    serial: str | None = None,
) -> Measured:
    persons = tuple(dict.fromkeys(desk.ledger.persons(entry)))
    own = _serial(desk, thing, id_) if serial is None else serial
    return Measured(thing, id_, own, what, says, entry, desk.ledger.when(entry), persons)


def _serial(desk: Desk, thing: str, id_: str) -> str:
    try:
        if thing == AIRCRAFT:
            return desk.aircraft(id_).serial or ""
        return (desk.pack(id_).serial if thing == PACK else desk.component(id_).serial) or ""
    except FlightlogError:
        return ""  # no file of it is in force, or it can't be read


# --- what was found


def _tested(entry: Entry) -> str:
    said, about = entry.body.content, said_of(entry)
    kind = GROUND_KINDS.get(said["test"])
    of = ", ".join(filter(None, (about.part, about.configuration)))
    told = [_told(record) for record in said["figures"][:_MOST_TOLD]]
    more = len(said["figures"]) - len(told)
    bad = [one["limit"] for one in said["limits"] if one["outcome"] != "met"]
    parts = (
        (kind.label if kind else said["test"]) + (f" of {of}" if of else ""),
        ", ".join(told) + (f" and {more} more" if more > 0 else ""),
        f"limits not met or not shown: {', '.join(bad)}" if bad else "",
    )
    return "; ".join(filter(None, parts))


def _told(record: Any) -> str:
    id_, value, unit = record["figure"], float(record["value"]["value"]), record["value"]["unit"]
    low, high = (float(record[end]["value"]) for end in ("low", "high"))
    kind = GROUND_FIGURES.get(id_)
    if kind is None:
        return f"{id_} {value:.4g} {unit}".rstrip()
    places = kind.decimals
    number = f"{value:.{places}f} {unit}".rstrip()
    return f"{kind.label.lower()} {number} ({low:.{places}f} to {high:.{places}f})"


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
