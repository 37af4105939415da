"""What ends a defect, and what only looks as if it did.

To the record an entry with the relation ``ends`` is enough to end a restriction. Here more is
asked for, and where entries were made apart from each other the more restrictive reading holds:

* *work* on a defect is a rectification that a mechanic signed. The newest one counts, and with it
  every one that was made apart from it: a part that was disturbed again is as it was left last;
* an *inspection* is by an inspector who did not do the work. One that found it not right stands
  until somebody has put that right, or looked afresh, in its knowledge;
* a *closing* names the newest work, and has seen its inspection where the part asks for one;
* a *deferral* is accepted by a pilot and by another person for safety, and has an end.

An entry that was corrected loosens nothing, and still restricts what it restricted: to strike a
report out is not to put the thing right.

What a part belongs to is told by its component's file where one is named, as it was when the defect
was reported or as it is now, whichever asks for more; else by the report's word for the group, and
never by its other words.
"""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.errors import FlightlogError
from flightlog.inputs import load_component
from flightlog.logbook.entry import CITES, ENDS, INSPECTS, Entry
from flightlog.logbook.flying_kinds import (
    DEFECT,
    DEFECT_CLOSED,
    DEFERRABLE,
    DEFERRAL,
    FILE_VERSION,
    INSPECTION,
    NEVER_DEFERRED,
    PASS,
    RECTIFICATION,
)
from flightlog.logbook.kinds import content_problem
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named, newest
from flightlog.team.files import Version
from flightlog.team.ledger import COMPONENT, THINGS, Ledger, subject

INSPECTED = (*NEVER_DEFERRED, "propulsion")
"""Groups whose repair a second person inspects."""
NOT_KNOWN = "not known"
"""Stands for the group of a component whose file can't be read; asks for everything."""
MECHANIC, INSPECTOR = "mechanic", "inspector"
PILOT, SAFETY = "pilot", "safety"
"""The roles of those who accept a deferral."""
CLOSERS = (INSPECTOR, MECHANIC)
"""Roles in which a defect is closed."""


# --- which entries, and about what


def is_defect(entry: Entry) -> bool:
    """Whether an entry reports a defect in the form of one."""
    return entry.body.kind == DEFECT and content_problem(entry.body) is None


def reports(ledger: Ledger) -> tuple[Entry, ...]:
    """Give all reports of defects, the oldest first.

    Corrected ones too, and ones on which a signature does not count: a restriction needs none.
    """
    return tuple(entry for entry in ledger.order if is_defect(entry))


def concerns(defect: Entry, subjects: Iterable[str]) -> bool:
    """Whether a defect is of one of some subjects, each like "aircraft:pannier"."""
    said = defect.body.content
    about = {subject(thing, said[thing]) for thing in THINGS if thing in said}
    if defect.body.effect is not None:
        about.add(defect.body.effect.on)
    return not about.isdisjoint(subjects)


# --- what a part belongs to


def needs_inspection(group: str) -> bool:
    """Whether a second person inspects the repair of a part."""
    return group in INSPECTED or group == NOT_KNOWN


def may_be_deferred(group: str) -> bool:
    """Whether a part may be flown with though something is not as it should be."""
    return group not in NEVER_DEFERRED and group != NOT_KNOWN


def group_of(desk: Desk, defect: Entry) -> str:
    """Give what the part of a defect belongs to; see the top of this module."""
    said = defect.body.content
    component = said.get(COMPONENT)
    if component is None or not _has_file(desk.ledger, component):
        return str(said["group"])
    seen = [
        version
        for version in desk.versions.history(COMPONENT, component)
        if desk.ledger.has_seen(defect, version.entry)
    ]
    asked = [*seen[-1:], *desk.versions.conflict(COMPONENT, component)]
    now = desk.versions.in_force(COMPONENT, component)
    groups = [_group_in(desk, version) for version in (*asked, *([now] if now else ()))]
    return max(groups, key=_asks, default=NOT_KNOWN)


def _has_file(ledger: Ledger, component: str) -> bool:
    """Whether a file of a component was ever entered, whether it can be read or not."""
    named_files = ((e.body.content["kind"], e.body.content["id"]) for e in ledger.of(FILE_VERSION))
    return (COMPONENT, component) in named_files


def _group_in(desk: Desk, version: Version) -> str:
    try:
        return desk.loaded(version, load_component).group
    except FlightlogError:
        return NOT_KNOWN


def _asks(group: str) -> tuple[bool, bool]:
    return (not may_be_deferred(group), needs_inspection(group))


# --- work and inspections


def work_on(ledger: Ledger, defect: Entry) -> tuple[Entry, ...]:
    """Give the newest work on a defect: one rectification, or several made apart."""
    return newest(ledger, ledger.naming(defect, CITES, RECTIFICATION))


def is_work(ledger: Ledger, work: Entry) -> bool:
    """Whether a mechanic answers for a rectification."""
    return bool(ledger.persons(work, "performed", MECHANIC)) and _loosens(ledger, work)


def looks_at(ledger: Ledger, work: Entry) -> tuple[Entry, ...]:
    """Give the inspections of a piece of work, whatever they are worth."""
    return ledger.naming(work, INSPECTS, INSPECTION)


def is_inspected(ledger: Ledger, work: Entry, before: Entry | None = None) -> bool:
    """Whether a second person found a piece of work right.

    Parameters
    ----------
    ledger : Ledger
        The record.
    work : Entry
        The work.
    before : Entry, optional
        Only inspections that this entry has seen.
    """
    return any(
        before is None or ledger.has_seen(before, look)
        for look in looks_at(ledger, work)
        if _found_right(ledger, look)
    )


def _found_right(ledger: Ledger, look: Entry) -> bool:
    return (
        look.body.content["result"] == PASS
        and bool(ledger.persons(look, "inspected", INSPECTOR))
        and _loosens(ledger, look)
    )


def found_wrong(ledger: Ledger, defect: Entry) -> tuple[Entry, ...]:
    """Give the inspections that found the work not right, and that nobody has answered."""
    every = ledger.naming(defect, CITES, RECTIFICATION)
    looks = [look for work in every for look in looks_at(ledger, work)]
    answers = [work for work in work_on(ledger, defect) if is_work(ledger, work)]
    answers += [look for look in looks if _found_right(ledger, look)]
    return tuple(
        look
        for look in looks
        if look.body.content["result"] != PASS
        and not any(ledger.has_seen(answer, look) for answer in answers)
    )


def _loosens(ledger: Ledger, entry: Entry) -> bool:
    return ledger.standing.may_loosen(entry) and not ledger.corrections(entry)


# --- closing


def missing_for_closing(
    ledger: Ledger, defect: Entry, group: str, closing: Entry | None = None
) -> str:
    """Say what a defect waits for before it is closed, "" where nothing is missing.

    Parameters
    ----------
    ledger : Ledger
        The record.
    defect : Entry
        The report.
    group : str
        From ``group_of``.
    closing : Entry, optional
        One that is there; what it had not seen does not help it.
    """
    work = work_on(ledger, defect)
    if not work:
        return "a rectification"
    for one in work:
        if not is_work(ledger, one):
            return f"a rectification signed by a mechanic, which {named(one)} is not"
    for look in found_wrong(ledger, defect):
        return f"work that answers {named(look)}, which found it not right"
    for one in work:
        if closing is not None and one.hash not in closing.body.related(CITES):
            return f"a closing that names {named(one)}"
        if needs_inspection(group) and not is_inspected(ledger, one, closing):
            return f"an independent inspection of {named(one)}"
    return ""


def why_not_closed(ledger: Ledger, closing: Entry, defect: Entry, group: str) -> str:
    """Say why an entry does not close a defect, "" where it does."""
    if closing.body.kind != DEFECT_CLOSED:
        return f"a {closing.body.kind} closes no defect"
    if not any(ledger.persons(closing, "closed", role) for role in CLOSERS):
        return f"nobody signed it as {' or '.join(CLOSERS)}"
    if not _loosens(ledger, closing) or not ledger.has_seen(closing, defect):
        return "it was corrected, or does not count"
    missing = missing_for_closing(ledger, defect, group, closing)
    return f"it lacks {missing}" if missing else ""


# --- deferral


def why_not_deferred(ledger: Ledger, deferral: Entry, defect: Entry, group: str) -> str:
    """Say why an entry does not defer a defect, "" where it does."""
    said = deferral.body.content
    severity = defect.body.content["severity"]
    if severity != DEFERRABLE:
        return f"a {severity} defect is not deferred"
    if not may_be_deferred(group):
        return f"a part of the group {group} is never deferred"
    pilots = set(ledger.persons(deferral, "accepted", PILOT))
    others = set(ledger.persons(deferral, "accepted", SAFETY))
    if not pilots or not others or len(pilots | others) < 2:
        return "not accepted by a pilot and by another person for safety"
    if "until" not in said and "flights" not in said:
        return "it has no end"
    if not _loosens(ledger, deferral) or not ledger.has_seen(deferral, defect):
        return "it was corrected, or does not count"
    if needs_inspection(group) and work_on(ledger, defect):
        return "work was done on it, and that waits for an independent inspection"
    return ""


def deferrals_of(ledger: Ledger, defect: Entry, group: str) -> tuple[Entry, ...]:
    """Give the newest deferrals that are ones: one, or several made apart, which all bind."""
    return newest(
        ledger,
        (
            deferral
            for deferral in ledger.naming(defect, ENDS, DEFERRAL)
            if not why_not_deferred(ledger, deferral, defect, group)
        ),
    )
