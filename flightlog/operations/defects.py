"""Defects from the report to the closing, judged by rules of this room.

A blocking or deferrable defect restricts what it was found on. To the record an entry that ends
the restriction is enough; here it is not: a closing needs a rectification that it had seen, and
an independent inspection where the part asks for it; a deferral needs pilot and safety officer, an
end, and a part that may be flown with. What does not fulfil that leaves the defect open.

What a part is, is told by the component's own file where it names one, else by the group that
was reported; never by the words of the report.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
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
    BLOCKING,
    COSMETIC,
    DEFECT,
    DEFECT_CLOSED,
    DEFERRABLE,
    DEFERRAL,
    GROUPS,
    INSPECTION,
    NEVER_DEFERRED,
    PASS,
    RECTIFICATION,
    SEVERITIES,
)
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from flightlog.operations.usage import fitted
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, subject

INSPECTED = (*NEVER_DEFERRED, "propulsion")
"""Groups whose repair a second person inspects."""
PILOT, SAFETY = "pilot", "safety"
"""The roles of those who accept a deferral."""
CLOSERS = ("mechanic", "inspector")
"""Roles in which a defect is closed."""

OPEN, PUT_OFF, LAPSED, MENDED, CLOSED = (
    "open",
    "deferred",
    "deferral over",
    "put right, not closed",
    "closed",
)


@dataclass(frozen=True, slots=True)
class DefectState:
    """A defect as it stands.

    Attributes
    ----------
    entry : Entry
        By which it was reported.
    group : str
        What the part belongs to, by the component's file where there is one.
    state : str
        "open", "deferred", "deferral over", "put right, not closed" or "closed".
    limitation : str
        Within which it is flown with; empty unless deferred.
    left : str
        What is left of the deferral, in words.
    waits_for : str
        What the next step is.
    history : tuple of Entry
        All entries about it, the oldest first.
    """

    entry: Entry
    group: str
    state: str
    limitation: str
    left: str
    waits_for: str
    history: tuple[Entry, ...]

    @property
    def severity(self) -> str:
        """As it was reported."""
        return str(self.entry.body.content["severity"])

    @property
    def stops(self) -> bool:
        """Whether nothing may be flown with it as it stands."""
        return self.severity != COSMETIC and self.state not in (CLOSED, PUT_OFF)

    @property
    def says(self) -> str:
        """It in one line."""
        said = self.entry.body.content
        return f"{named(self.entry)} {said['part']}: {self.state} ({self.severity})"


def defects(desk: Desk, aircraft: str | None = None) -> tuple[DefectState, ...]:
    """Give the defects of an aircraft and of what is fitted to it, of everything without one.

    The oldest first, closed ones too.
    """
    parts = {f.component for f in fitted(desk, aircraft)} if aircraft is not None else set()
    return tuple(
        state_of(desk, entry)
        for entry in desk.ledger.of(DEFECT)
        if aircraft is None
        or entry.body.content.get(AIRCRAFT) == aircraft
        or entry.body.content.get(COMPONENT) in parts
    )


def group_of(desk: Desk, said: dict[str, Any]) -> str:
    """Give what the part of a defect belongs to; the graver of two that differ."""
    stated = str(said["group"])
    component = said.get(COMPONENT)
    if component is None or desk.versions.in_force(COMPONENT, component) is None:
        return stated
    return desk.component(component).group


def state_of(desk: Desk, entry: Entry) -> DefectState:
    """Say how a defect stands."""
    ledger = desk.ledger
    group = group_of(desk, dict(entry.body.content))
    mended = ledger.naming(entry, CITES, RECTIFICATION)
    closings = ledger.naming(entry, ENDS, DEFECT_CLOSED)
    deferrals = ledger.naming(entry, ENDS, DEFERRAL)
    looks = [look for work in mended for look in ledger.naming(work, INSPECTS, INSPECTION)]
    history = tuple(e for e in ledger.order if e in {entry, *mended, *closings, *deferrals, *looks})
    if any(closes(desk, closing, entry, group) for closing in closings):
        return DefectState(entry, group, CLOSED, "", "", "", history)
    if mended:
        waits = "closing"
        if group in INSPECTED and not any(_inspected(desk, work) for work in mended):
            waits = "an independent inspection"
        return DefectState(entry, group, MENDED, "", "", waits, history)
    valid = [d for d in deferrals if defers(desk, d, entry, group)]
    for deferral in reversed(valid):
        over, left = _left(desk, deferral, entry)
        limitation = str(deferral.body.content["limitation"])
        if over:
            return DefectState(entry, group, LAPSED, limitation, left, "rectification", history)
        return DefectState(entry, group, PUT_OFF, limitation, left, "rectification", history)
    return DefectState(entry, group, OPEN, "", "", "rectification", history)


def closes(desk: Desk, closing: Entry, defect: Entry, group: str) -> bool:
    """Whether a closing is one: signed in a role for it, after work that it had seen."""
    ledger = desk.ledger
    if not any(ledger.persons(closing, "closed", role) for role in CLOSERS):
        return False
    work = [
        w
        for w in ledger.naming(defect, CITES, RECTIFICATION)
        if w.hash in closing.body.related(CITES) and ledger.persons(w, "performed", "mechanic")
    ]
    if not work or not ledger.standing.may_loosen(closing):
        return False
    return group not in INSPECTED or any(_inspected(desk, w, closing) for w in work)


def _inspected(desk: Desk, work: Entry, before: Entry | None = None) -> bool:
    """Whether a second person inspected a piece of work, and nobody found it wrong."""
    ledger = desk.ledger
    looks = ledger.naming(work, INSPECTS, INSPECTION)
    good = [
        look
        for look in looks
        if look.body.content["result"] == PASS
        and ledger.persons(look, "inspected", "inspector")
        and ledger.standing.may_loosen(look)
        and (before is None or ledger.has_seen(before, look))
    ]
    bad = [look for look in looks if look.body.content["result"] != PASS]
    return any(all(ledger.has_seen(one, other) for other in bad) for one in good)


def defers(desk: Desk, deferral: Entry, defect: Entry, group: str) -> bool:
    """Whether a deferral is one: two persons in their roles, an end, and a part that allows it."""
    said = deferral.body.content
    pilots = set(desk.ledger.persons(deferral, "accepted", PILOT))
    others = set(desk.ledger.persons(deferral, "accepted", SAFETY))
    return (
        defect.body.content["severity"] == DEFERRABLE
        and group not in NEVER_DEFERRED
        and bool(pilots)
        and bool(others)
        and len(pilots | others) > 1
        and ("until" in said or "flights" in said)
        and desk.ledger.standing.may_loosen(deferral)
    )


def _left(desk: Desk, deferral: Entry, defect: Entry) -> tuple[bool, str]:
    """Say whether a deferral is over, and what is left of it."""
    said, over, words = deferral.body.content, False, []
    if "until" in said:
        until = datetime.fromisoformat(said["until"].replace("Z", "+00:00"))
        left = until - desk.ledger.now
        over |= left <= timedelta(0)
        words.append(f"until {said['until'][:10]}")
    if "flights" in said:
        aircraft = defect.body.content.get(AIRCRAFT, "")
        flown = [f for f in sorties(desk, aircraft) if not desk.ledger.has_seen(deferral, f.entry)]
        over |= len(flown) >= said["flights"]
        words.append(f"{len(flown)} of {said['flights']} flights flown")
    return over, ", ".join(words)


# --- drafts


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

    A component that is fitted brings its aircraft with it.

    Raises
    ------
    UsageError
        If nothing is named that it was found on, or a word is not known.
    """
    if group not in GROUPS:
        raise UsageError(
            f"{group[:40]!r} is no group of parts",
            where="--group",
            fix=f"One of {', '.join(GROUPS)}.",
        )
    if severity not in SEVERITIES:
        raise UsageError(
            f"{severity[:40]!r} is no severity",
            where="--severity",
            fix=f"One of {', '.join(SEVERITIES)}.",
        )
    if component and not aircraft:
        from flightlog.operations.usage import where_fitted

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
    content = {**about, "part": part, "group": group, "severity": severity, "text": text}
    thing, id_ = next(iter(about.items()))
    effect = None if severity == COSMETIC else Effect(RESTRICTS, subject(thing, id_))
    relations = [Relation(CITES, e.hash) for e in cites]
    return Draft(DEFECT, content, list(signers), list(photos), relations, effect)


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
    state = _known(desk, defect)
    if state.severity != DEFERRABLE:
        raise RefusedError(f"it is {state.severity}, not deferrable", where=named(defect))
    if state.group in NEVER_DEFERRED:
        raise RefusedError(
            f"a part of {state.group.replace('-', ' ')} is never deferred",
            where=named(defect),
            fix="Put it right.",
        )
    if state.state not in (OPEN, LAPSED):
        raise RefusedError(f"it is {state.state} already", where=named(defect))
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
    """Draft what was done about a defect, signed by the mechanic who did it."""
    state = _known(desk, defect)
    if state.state == CLOSED:
        raise RefusedError("it is closed", where=named(defect), fix="Report a new one.")
    content = {"action": action}
    content.update({k: v for k, v in (("parts", parts), ("data", data)) if v})
    relations = [Relation(CITES, defect.hash)]
    return Draft(
        RECTIFICATION, content, [Signer(key, "performed", "mechanic")], list(photos), relations
    )


def inspection_draft(desk: Desk, work: Entry, *, result: str, text: str, key: str) -> Draft:
    """Draft the independent inspection of a piece of work, by somebody who did not do it."""
    person = desk.book.people.person_of(key)
    if person is not None and person.id in desk.ledger.persons(work):
        raise RefusedError(
            f"{desk.crew.label_of_key(key)} did the work",
            where=named(work),
            fix="Somebody else inspects it.",
        )
    content = {"result": result, "text": text}
    relations = [Relation(INSPECTS, work.hash)]
    return Draft(INSPECTION, content, [Signer(key, "inspected", "inspector")], relations=relations)


def closing_draft(desk: Desk, defect: Entry, *, text: str, key: str, role: str) -> Draft:
    """Draft the closing of a defect that was put right.

    Raises
    ------
    RefusedError
        If the work, or an inspection that it needs, is missing.
    """
    state = _known(desk, defect)
    work = desk.ledger.naming(defect, CITES, RECTIFICATION)
    if state.state == CLOSED:
        raise RefusedError("it is closed already", where=named(defect))
    if not work:
        raise RefusedError(
            "nobody has put it right",
            where=named(defect),
            fix=f"'flightlog defect rectify {named(defect)}'.",
        )
    if state.waits_for != "closing":
        raise RefusedError(
            f"it waits for {state.waits_for} of {named(work[-1])}",
            where=named(defect),
            fix=f"'flightlog defect inspect {named(work[-1])} --by WHO'.",
        )
    looks = [look for w in work for look in desk.ledger.naming(w, INSPECTS, INSPECTION)]
    relations = [Relation(ENDS, defect.hash)]
    relations += [Relation(CITES, e.hash) for e in (*work, *looks)]
    return Draft(DEFECT_CLOSED, {"text": text}, [Signer(key, "closed", role)], relations=relations)


def _known(desk: Desk, defect: Entry) -> DefectState:
    if defect.body.kind != DEFECT:
        raise UsageError(
            "is no defect", where=named(defect), fix="'flightlog defect list' shows them."
        )
    return state_of(desk, defect)


# --- conditions


def defect_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether defects stop the next flight, and what deferrals allow."""
    parts = {f.component for f in fitted(desk, plan.aircraft)}
    every = [
        d
        for d in defects(desk)
        if d.entry.body.content.get(AIRCRAFT) == plan.aircraft
        or d.entry.body.content.get(PACK) == plan.pack
        or d.entry.body.content.get(COMPONENT) in parts
    ]
    stopping = [d for d in every if d.stops and d.state != LAPSED]
    lapsed = [d for d in every if d.state == LAPSED and d.severity != COSMETIC]
    deferred = [d for d in every if d.state == PUT_OFF]
    first = Condition("defects", True, f"none open, {len(every)} in all")
    if stopping:
        first = Condition(
            "defects",
            False,
            "; ".join(d.says for d in stopping),
            "Put it right and close it, or where it may be flown with, defer it: "
            "'flightlog defect show ENTRY'.",
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
            "Put it right and close it.",
        )
    return [first, second]


__all__ = ["BLOCKING", "DEFERRABLE", "DefectState", "defect_conditions", "defects"]
