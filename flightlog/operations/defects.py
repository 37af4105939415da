"""What is entered about a defect, from the report to the closing; and what defects say of a flight.

How a defect stands is told in ``defect_states``, by the rules of ``defect_rules``. A severity is
raised by a new report that cites the old one, and never lowered; the way out is work and closing.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import (
    CITES,
    ENDS,
    INSPECTS,
    RESTRICTS,
    Attachment,
    Effect,
    Entry,
    Relation,
    Signer,
    write_utc,
)
from flightlog.logbook.flying_kinds import (
    COSMETIC,
    DEFECT,
    DEFECT_CLOSED,
    DEFERRABLE,
    DEFERRAL,
    GROUPS,
    INSPECTION,
    RECTIFICATION,
    SEVERITIES,
)
from flightlog.operations.defect_rules import (
    CLOSERS,
    INSPECTED,
    INSPECTOR,
    MECHANIC,
    PILOT,
    SAFETY,
    is_defect,
    looks_at,
    may_be_deferred,
    missing_for_closing,
    needs_inspection,
    work_on,
)
from flightlog.operations.defect_states import (
    CLOSED,
    LAPSED,
    MENDED,
    OPEN,
    PUT_OFF,
    DefectState,
    defects,
    defects_of_flight,
    state_of,
)
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named
from flightlog.operations.usage import where_fitted
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, subject


def defect_draft(
    desk: Desk,
    *,
    part: str,
    group: str,
    severity: str,
    text: str,
    aircraft: str = "",
    pack: str = "",
    component: str = "",
    signers: Sequence[Signer] = (),
    photos: Sequence[Attachment] = (),
    cites: Sequence[Entry] = (),
) -> Draft:
    """Draft the report of a defect; anybody may make one, and the device alone too.

    A component that is fitted brings its aircraft with it. A report that cites an earlier one
    raises its severity, or repeats it.

    Raises
    ------
    UsageError
        If nothing is named that it was found on, or a word or an id is not known.
    RefusedError
        If it would lower the severity of a report that it cites.
    """
    _known_word(group, GROUPS, "--group", "is no group of parts")
    _known_word(severity, SEVERITIES, "--severity", "is no severity")
    if component and not aircraft:
        places = where_fitted(desk, component)
        aircraft = places[0].aircraft if len(places) == 1 else ""
    things = {AIRCRAFT: aircraft, PACK: pack, COMPONENT: component}
    about = {thing: id_ for thing, id_ in things.items() if id_}
    if not about:
        raise UsageError(
            "found on what?", where="defect", fix="Give --aircraft, --pack or --component."
        )
    for thing, id_ in about.items():
        desk.version(thing, id_)
    for earlier in cites:
        if is_defect(earlier):
            _refuse_lowering(earlier, severity)
    content = {**about, "part": part, "group": group, "severity": severity, "text": text}
    thing, id_ = next(iter(about.items()))
    effect = None if severity == COSMETIC else Effect(RESTRICTS, subject(thing, id_))
    relations = [Relation(CITES, e.hash) for e in cites]
    return Draft(DEFECT, content, list(signers), list(photos), relations, effect)


def _known_word(word: str, known: Sequence[str], where: str, found: str) -> None:
    if word not in known:
        raise UsageError(f"{word[:40]!r} {found}", where=where, fix=f"One of {', '.join(known)}.")


def _refuse_lowering(earlier: Entry, severity: str) -> None:
    was = earlier.body.content["severity"]
    if SEVERITIES.index(severity) > SEVERITIES.index(was):
        raise RefusedError(
            f"it was reported as {was}, and a severity is not lowered",
            where=named(earlier),
            fix="Put it right and close it; where nothing was wrong, say so as the work done.",
        )


def deferral_draft(
    desk: Desk,
    defect: Entry,
    *,
    reason: str,
    risk: str,
    limitation: str,
    pilot: str,
    safety: str,
    until: datetime | None = None,
    flights: int | None = None,
) -> Draft:
    """Draft a deferral, to be signed by pilot and safety officer (public keys).

    Raises
    ------
    RefusedError
        If the defect may not be deferred.
    UsageError
        If it has no end, or one that is past.
    """
    state = state_of(desk, defect)
    if state.severity != DEFERRABLE:
        raise RefusedError(f"it is {state.severity}, not deferrable", where=named(defect))
    if not may_be_deferred(state.group):
        raise RefusedError(
            f"a part of the group {state.group} is never deferred",
            where=named(defect),
            fix="Put it right.",
        )
    if state.state == CLOSED:
        raise RefusedError("it is closed already", where=named(defect))
    if needs_inspection(state.group) and work_on(desk.ledger, defect):
        raise RefusedError(
            f"work was done on it, and it waits for {state.waits_for}", where=named(defect)
        )
    if until is None and flights is None:
        raise UsageError("a deferral ends", where="--until", fix="Give --until or --flights.")
    if until is not None and until <= desk.ledger.now:
        raise UsageError("lies in the past", where="--until", fix="Give a later day.")
    content: dict[str, Any] = {"reason": reason, "risk": risk, "limitation": limitation}
    if until is not None:
        content["until"] = write_utc(until)
    if flights is not None:
        content["flights"] = flights
    signers = [Signer(pilot, "accepted", PILOT), Signer(safety, "accepted", SAFETY)]
    return Draft(DEFERRAL, content, signers, relations=[Relation(ENDS, defect.hash)])


def rectification_draft(
    desk: Desk,
    defect: Entry,
    *,
    action: str,
    parts: str,
    data: str,
    key: str,
    photos: Sequence[Attachment] = (),
) -> Draft:
    """Draft what was done about a defect, signed by the mechanic who did it.

    Raises
    ------
    RefusedError
        If it is closed already.
    """
    if state_of(desk, defect).state == CLOSED:
        raise RefusedError("it is closed", where=named(defect), fix="Report a new one.")
    content = {"action": action}
    content.update({k: v for k, v in (("parts", parts), ("data", data)) if v})
    relations = [Relation(CITES, defect.hash)]
    return Draft(
        RECTIFICATION, content, [Signer(key, "performed", MECHANIC)], list(photos), relations
    )


def work_meant(desk: Desk, entry: Entry) -> Entry:
    """Give the work that is to be inspected: an entry itself, or the newest one on a defect.

    Raises
    ------
    UsageError
        If it is a defect on which no work was done, or work was done apart.
    """
    if not is_defect(entry):
        return entry
    work = work_on(desk.ledger, entry)
    if len(work) != 1:
        many = ", ".join(map(named, work))
        raise UsageError(
            f"is a defect with several pieces of work: {many}"
            if work
            else "is a defect on which no work was done",
            where=named(entry),
            fix="Name the piece of work." if work else "'flightlog defect rectify' enters it.",
        )
    return work[0]


def inspection_draft(desk: Desk, work: Entry, *, result: str, text: str, key: str) -> Draft:
    """Draft the independent inspection of a piece of work, by somebody who did not do it.

    Raises
    ------
    RefusedError
        If the person did the work.
    UsageError
        If the entry is a defect, and no work on one.
    """
    if is_defect(work):
        raise UsageError("is a defect, no work", where=named(work), fix="Name the rectification.")
    person = desk.book.people.person_of(key)
    if person is not None and person.id in desk.ledger.persons(work):
        raise RefusedError(
            f"{desk.crew.label_of_key(key)} did the work",
            where=named(work),
            fix="Somebody else inspects it.",
        )
    content = {"result": result, "text": text}
    relations = [Relation(INSPECTS, work.hash)]
    return Draft(INSPECTION, content, [Signer(key, "inspected", INSPECTOR)], relations=relations)


def closing_draft(desk: Desk, defect: Entry, *, text: str, key: str, role: str = "") -> Draft:
    """Draft the closing of a defect that was put right.

    Parameters
    ----------
    desk : Desk
        The record.
    defect : Entry
        The report.
    text : str
        A word about it.
    key : str
        Public key of who signs.
    role : str
        "inspector" or "mechanic"; the first of them that the person holds when empty.

    Raises
    ------
    RefusedError
        If the work, or an inspection that it needs, is missing.
    UsageError
        If the role closes no defect.
    """
    state = state_of(desk, defect)
    if state.state == CLOSED:
        raise RefusedError("it is closed already", where=named(defect))
    role = role or _role_of(desk, key)
    _known_word(role, CLOSERS, "--role", "closes no defect")
    ledger = desk.ledger
    missing = missing_for_closing(ledger, defect, state.group)
    if missing:
        raise RefusedError(
            f"it waits for {missing}" if work_on(ledger, defect) else "nobody has put it right",
            where=named(defect),
            fix="'flightlog defect rectify' enters work, 'flightlog defect inspect' an inspection.",
        )
    work = ledger.naming(defect, CITES, RECTIFICATION)
    cited = [*work, *(look for w in work for look in looks_at(ledger, w))]
    relations = [Relation(ENDS, defect.hash), *(Relation(CITES, e.hash) for e in cited)]
    return Draft(DEFECT_CLOSED, {"text": text}, [Signer(key, "closed", role)], relations=relations)


def _role_of(desk: Desk, key: str) -> str:
    people = desk.book.people
    person = people.person_of(key)
    held = (r for r in CLOSERS if person is not None and people.holds(person.id, r))
    return next(held, CLOSERS[0])


# --- conditions


def defect_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether defects stop the next flight, and what deferrals allow."""
    every = defects_of_flight(desk, plan)
    stopping = [d for d in every if d.stops and d.state != LAPSED]
    lapsed = [d for d in every if d.stops and d.state == LAPSED]
    deferred = [d for d in every if d.state == PUT_OFF]
    noted = sum(d.severity == COSMETIC and d.state != CLOSED for d in every)
    first = Condition("defects", True, f"none open but {noted} cosmetic" if noted else "none open")
    if stopping:
        first = Condition(
            "defects",
            False,
            "; ".join(", ".join((d.says, *d.ignored)) for d in stopping),
            "Put it right and close it, or where it may be flown with, defer it: "
            f"'flightlog defect show {named(stopping[0].entry)}' says what it waits for.",
        )
    second = Condition("deferrals", True, "none", "")
    if deferred:
        text = "; ".join(f"{d.says}, {d.left}: {d.limitation}" for d in deferred)
        cited = tuple(e for d in deferred for e in d.history if e.body.kind == DEFERRAL)
        second = Condition("deferrals", True, text, "", cited)
    if lapsed:
        second = Condition(
            "deferrals",
            False,
            "; ".join(f"{d.says}, {d.left}" for d in lapsed),
            "Put it right and close it, or have it deferred anew: "
            f"'flightlog defect show {named(lapsed[0].entry)}'.",
        )
    return [first, second]


__all__ = [
    "CLOSED",
    "INSPECTED",
    "LAPSED",
    "MENDED",
    "OPEN",
    "PUT_OFF",
    "DefectState",
    "closing_draft",
    "defect_conditions",
    "defect_draft",
    "defects",
    "deferral_draft",
    "inspection_draft",
    "rectification_draft",
    "state_of",
    "work_meant",
]
