"""The fitness statement: this aircraft, in this configuration, is fit for flight until it ends.

An inspector makes it after work or inspection, and it lasts many flights. It *holds* until its
date, or until the hours or landings that it names are flown. It is *void* as soon as something is
restricted that it is about, or the aircraft's file, its configuration or its parameter baseline
is no longer the one that it was made for; then only a new one helps. Positions in the record
decide that, and no clocks: what the statement had not seen counts against it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import (
    CITES,
    PERMITS,
    RESTRICTS,
    Effect,
    Entry,
    Relation,
    Signer,
    write_utc,
)
from flightlog.logbook.flying_kinds import (
    BASELINE,
    DEFECT,
    FITNESS,
    FITTING,
    NEVER_DEFERRED,
    RECTIFICATION,
    TASK_DONE,
)
from flightlog.operations.defects import INSPECTED, PUT_OFF, defects
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest
from flightlog.operations.service import stops, why_of
from flightlog.operations.upkeep import due, was_inspected
from flightlog.operations.usage import Fitted, fitted, usage_since
from flightlog.team.ledger import AIRCRAFT, COMPONENT, subject

MOST_AHEAD = timedelta(days=30)
"""A statement ends at most so long after it was signed."""
INSPECTOR = "inspector"
"""The role in which a person makes it."""
HOLDS, EXPIRED, VOID, NONE = "holds", "expired", "void", "none"
NAME = "fitness"
"""Name of the condition."""
_MOST_CITED = 200
_MOST_NAMED = 15
_LONGEST = 200
_NO_CERTIFICATE = (
    "This is a team record and no certificate; local law, the rule book in force and licensed "
    "practice prevail."
)


@dataclass(frozen=True, slots=True)
class FitnessState:
    """What the fitness statement of an aircraft is worth now.

    Attributes
    ----------
    word : str
        "holds", "expired", "void", or "none" where there never was one.
    entry : Entry or None
        The statement; of several made apart, the one that is worth least.
    reasons : tuple of str
        Why it does not hold. Clauses.
    until : datetime or None
        When it ends.
    hours_left, landings_left : float, int or None
        What may still be flown under it [h]; None where it sets no such end.
    """

    word: str
    entry: Entry | None = None
    reasons: tuple[str, ...] = ()
    until: datetime | None = None
    hours_left: float | None = None
    landings_left: int | None = None

    @property
    def holds(self) -> bool:
        """Whether the aircraft may be released under it."""
        return self.word == HOLDS

    @property
    def says(self) -> str:
        """The state as a clause."""
        if self.entry is None or self.until is None:
            return "no fitness statement is in the record"
        name = f"statement {named(self.entry)}"
        if not self.holds:
            return f"{name} is {self.word}: {'; '.join(self.reasons)}"
        left = [f"until {_utc(self.until)}"]
        if self.hours_left is not None:
            left.append(f"{self.hours_left:.1f} h left")
        if self.landings_left is not None:
            left.append(f"{self.landings_left} landings left")
        return f"{name} holds {', '.join(left)}"


def fitness_state(desk: Desk, aircraft: str) -> FitnessState:
    """Say what the fitness statement of an aircraft is worth now.

    Raises
    ------
    UsageError
        If the record holds no file of the aircraft.
    """
    ledger = desk.ledger
    states = [
        _state(desk, aircraft, statement)
        for statement in newest(ledger, ledger.of(FITNESS, aircraft=aircraft))
    ]
    if not states:
        desk.version(AIRCRAFT, aircraft)
        return FitnessState(NONE, reasons=("no fitness statement is in the record",))
    return next((state for state in states if not state.holds), states[-1])


def fitness_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether a fitness statement of the aircraft holds, as a condition of a release."""
    state = fitness_state(desk, plan.aircraft)
    rests_on = (state.entry,) if state.entry is not None else ()
    if state.holds:
        return [Condition(NAME, True, state.says, rests_on=rests_on)]
    clear = (
        "Have the work inspected and a new statement signed: 'flightlog fitness sign --aircraft "
        f"{plan.aircraft} --work TEXT --until DATE --by WHO'."
    )
    return [Condition(NAME, False, state.says, clear, rests_on)]


def _state(desk: Desk, aircraft: str, statement: Entry) -> FitnessState:
    content, ledger = statement.body.content, desk.ledger
    until = min(datetime.fromisoformat(content["until"]), ledger.when(statement) + MOST_AHEAD)
    flown = usage_since(desk, AIRCRAFT, aircraft, statement)
    hours, landings = content.get("hours"), content.get("landings")
    said = hours["value"] if hours else ""
    hours_left = float(said) - flown.hours if said else None
    landings_left = landings - flown.landings if landings is not None else None
    over = []
    if ledger.now >= until:
        over.append(f"it ended {_utc(until)}")
    if hours_left is not None and hours_left <= 0:
        over.append(f"the {said} flight hours that it names are flown")
    if landings_left is not None and landings_left <= 0:
        over.append(f"its {landings} landings are made")
    void = _why_void(desk, aircraft, statement)
    word = VOID if void else EXPIRED if over else HOLDS
    return FitnessState(word, statement, (*void, *over), until, hours_left, landings_left)


def _why_void(desk: Desk, aircraft: str, statement: Entry) -> tuple[str, ...]:
    ledger, content = desk.ledger, statement.body.content
    why = []
    if statement.body.effect != Effect(PERMITS, subject(AIRCRAFT, aircraft)):
        why.append("it does not permit this aircraft's flight")
    why += ledger.standing.permit(statement).why
    released_by = set(ledger.persons(statement, "released", INSPECTOR))
    if not released_by:
        why.append(f"nobody of the role {INSPECTOR!r} released")
    if ledger.when(statement) > ledger.now + CLOCKS_APART:
        why.append("it claims a time that is still to come")
    for work in last_work(desk, aircraft, before=statement):
        if released_by & set(ledger.persons(work, "performed")):
            why.append(f"who released it also did the work of {named(work)}")
    version, made = desk.version(AIRCRAFT, aircraft), desk.aircraft(aircraft)
    if version.sha256 != content["aircraft_file"]:
        why.append(f"the aircraft's file is another one since {named(version.entry)}")
    if made.configuration != content["configuration"]:
        why.append(f"the configuration is {made.configuration!r}, not {content['configuration']!r}")
    for baseline in ledger.unseen(ledger.of(BASELINE, aircraft=aircraft), statement):
        why.append(f"the parameter baseline is another one since {named(baseline)}")
    why += [
        f"{f.component}, fitted by {named(f.entry)}, waits for an independent inspection"
        for f in _not_inspected(desk, aircraft)
    ]
    return (*why, *_work_since(desk, aircraft, statement))


def _work_since(desk: Desk, aircraft: str, statement: Entry) -> list[str]:
    """Say what happened to components that a statement had not seen."""
    ledger = desk.ledger
    parts = {subject(COMPONENT, f.component): f.component for f in fitted(desk, aircraft)}
    why = [
        f"{parts[entry.body.effect.on]} was restricted by {named(entry)}"
        for entry in ledger.order
        if entry.body.effect is not None
        and entry.body.effect.word == RESTRICTS
        and entry.body.effect.on in parts
        and not ledger.has_seen(statement, entry)
    ]
    for entry in ledger.unseen(ledger.of(FITTING, aircraft=aircraft), statement):
        id_, done = entry.body.content["component"], entry.body.content["done"]
        if _group(desk, id_) in NEVER_DEFERRED:
            why.append(f"{id_} was {done} by {named(entry)}")
    return why


def _group(desk: Desk, component: str) -> str:
    """Give the group of a component; one without a file counts among the gravest."""
    if desk.versions.in_force(COMPONENT, component) is None:
        return NEVER_DEFERRED[0]
    return desk.component(component).group


def last_work(desk: Desk, aircraft: str, before: Entry | None = None) -> tuple[Entry, ...]:
    """Give the last rectification since the last statement; several where made apart.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.
    before : Entry, optional
        A statement: then as things were when it was made.
    """
    ledger = desk.ledger

    def was_there(entry: Entry) -> bool:
        return before is None or (entry is not before and ledger.has_seen(before, entry))

    statements = [s for s in ledger.of(FITNESS, aircraft=aircraft) if was_there(s)]
    work = [
        w
        for w in ledger.of(RECTIFICATION)
        if was_there(w)
        and _is_about(desk, w, aircraft)
        and not any(ledger.has_seen(s, w) for s in statements)
    ]
    return newest(ledger, work)


def _is_about(desk: Desk, work: Entry, aircraft: str) -> bool:
    """Whether a rectification, by the defect that it cites, is about an aircraft or its parts."""
    parts = {f.component for f in fitted(desk, aircraft)}
    return any(
        defect.body.content.get(AIRCRAFT) == aircraft or defect.body.content.get(COMPONENT) in parts
        for defect in desk.ledger.named(work, CITES, DEFECT)
    )


# --- making one


def draft_fitness(
    desk: Desk,
    aircraft: str,
    *,
    work: str,
    until: datetime,
    by: Sequence[str],
    hours: Decimal | None = None,
    landings: int | None = None,
    configuration: str = "",
) -> Draft:
    """Draft a fitness statement.

    Parameters
    ----------
    desk : Desk
        The team's.
    aircraft : str
        Id of its file.
    work : str
        The work and inspection that it follows, in words.
    until : datetime
        When it ends (aware); at most `MOST_AHEAD` from now.
    by : sequence of str
        Public keys of those who sign, one or more, each in the role inspector.
    hours : Decimal, optional
        After how many flight hours it ends [h].
    landings : int, optional
        After how many landings it ends.
    configuration : str
        As the placard on the aircraft says; that of its file is meant when left out.

    Raises
    ------
    UsageError
        If a number or the date can't be meant.
    RefusedError
        With all the reasons why the aircraft can't be stated fit, or not by these persons.
    """
    _refuse_slips(desk, until, hours, landings)
    blockers = fitness_blockers(desk, aircraft, configuration)
    blockers += _who_may_not(desk, aircraft, by)
    if blockers:
        raise RefusedError(
            "; ".join(b.says for b in blockers),
            where=f"fitness of {aircraft}",
            fix=" ".join(dict.fromkeys(b.clear for b in blockers)),
        )
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "configuration": desk.aircraft(aircraft).configuration,
        "aircraft_file": desk.version(AIRCRAFT, aircraft).sha256,
        "work": work,
        "until": write_utc(until),
    }
    if hours is not None:
        content["hours"] = quantity(hours, "h")
    if landings is not None:
        content["landings"] = landings
    deferred = [d for d in defects(desk, aircraft) if d.state == PUT_OFF]
    if deferred:
        content["deferrals"] = _listed([f"{d.says}, {d.left}: {d.limitation}" for d in deferred])
    rests_on = _recorded_work(desk, aircraft)
    content["statement"] = _statement(desk, content, rests_on)
    cited = [desk.version(AIRCRAFT, aircraft).entry, *rests_on]
    return Draft(
        FITNESS,
        content,
        [Signer(key, "released", INSPECTOR) for key in by],
        relations=[Relation(CITES, e.hash) for e in cited[:_MOST_CITED]],
        effect=Effect(PERMITS, subject(AIRCRAFT, aircraft)),
    )


def _refuse_slips(desk: Desk, until: datetime, hours: Decimal | None, landings: int | None) -> None:
    ahead = until - desk.book.now()
    if not timedelta(0) < ahead <= MOST_AHEAD:
        raise UsageError(
            f"{_utc(until)} is past"
            if ahead <= timedelta(0)
            else f"{_utc(until)} is too far ahead",
            where="--until",
            fix=f"A statement ends within {MOST_AHEAD.days} days from now.",
        )
    if hours is not None and hours <= 0:
        raise UsageError(f"{hours} h is no time to fly", where="--hours", fix="Give more than 0.")
    if landings is not None and landings < 1:
        raise UsageError(f"{landings} is too few", where="--landings", fix="Give 1 or more.")


def fitness_blockers(desk: Desk, aircraft: str, configuration: str = "") -> list[Condition]:
    """Give all reasons why an aircraft can't be stated fit, whoever would sign.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.
    configuration : str
        As the placard on the aircraft says; not looked at when empty.
    """
    made = desk.aircraft(aircraft)
    found = []
    if not made.configuration:
        found.append(("its file names no configuration", "Write it into the file and enter it."))
    elif configuration and configuration != made.configuration:
        found.append(
            (
                f"its configuration is {configuration!r}, and the file in force is of "
                f"{made.configuration!r}",
                "Enter the file that is right: 'flightlog team enter FILE'.",
            )
        )
    found += _restricted(desk, aircraft)
    found += [
        (d.says, "Do it, and enter it: 'flightlog team done'.")
        for d in due(desk, aircraft)
        if d.stops
    ]
    found += [
        (
            f"{f.component}, fitted by {named(f.entry)}, waits for an independent inspection",
            f"'flightlog team inspect {named(f.entry)} --text TEXT --by WHO'.",
        )
        for f in _not_inspected(desk, aircraft)
    ]
    return [Condition(NAME, False, says, clear) for says, clear in found]


def _restricted(desk: Desk, aircraft: str) -> list[tuple[str, str]]:
    """Give what restricts an aircraft or its parts, with what would end it."""
    stopping = [d for d in defects(desk, aircraft) if d.stops]
    found = [
        (
            f"defect {d.says}" + (f", waits for {d.waits_for}" if d.waits_for else ""),
            "Put it right, have it inspected and close it, or where it may be flown with, defer "
            f"it: 'flightlog defect show {named(d.entry)}'.",
        )
        for d in stopping
    ]
    told = {d.entry.hash for d in stopping}
    things = [(AIRCRAFT, aircraft), *((COMPONENT, f.component) for f in fitted(desk, aircraft))]
    for thing, id_ in things:
        still = desk.ledger.standing.open_restrictions(subject(thing, id_))
        for entry in dict.fromkeys((*still, *stops(desk, thing, id_))):
            if entry.hash not in told:
                says = f"{thing} {id_} is restricted: {why_of(entry)}"
                clear = f"Two persons return it: 'flightlog service return {named(entry)}'."
                found.append((says, clear))
    return found


def _not_inspected(desk: Desk, aircraft: str) -> list[Fitted]:
    return [
        f
        for f in fitted(desk, aircraft)
        if _group(desk, f.component) in INSPECTED and not was_inspected(desk, f.entry)
    ]


def _who_may_not(desk: Desk, aircraft: str, by: Sequence[str]) -> list[Condition]:
    """Say which of those who would sign may not."""
    people, found = desk.book.people, []
    work = last_work(desk, aircraft)
    for key in by:
        person = people.person_of(key)
        who = desk.crew.label_of_key(key)
        if person is None or not people.holds(person.id, INSPECTOR):
            found.append(f"{who} does not hold the role {INSPECTOR!r}")
            continue
        found += [
            f"{who} did the last work, {named(one)}"
            for one in work
            if person.id in desk.ledger.persons(one, "performed")
        ]
    if not by:
        found.append("nobody is named who signs")
    clear = "Another inspector signs it."
    return [Condition(NAME, False, says, clear) for says in found]


def _recorded_work(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    """Give the work on an aircraft and its parts since the last statement, and the baseline."""
    ledger = desk.ledger
    statements = ledger.of(FITNESS, aircraft=aircraft)
    parts = {f.component for f in fitted(desk, aircraft)}

    def is_new(entry: Entry) -> bool:
        return not any(ledger.has_seen(s, entry) for s in statements)

    work = [w for w in ledger.of(RECTIFICATION) if _is_about(desk, w, aircraft)]
    work += [
        w
        for kind in (TASK_DONE, FITTING)
        for w in ledger.of(kind)
        if w.body.content.get(AIRCRAFT) == aircraft or w.body.content.get(COMPONENT) in parts
    ]
    baseline = newest(ledger, ledger.of(BASELINE, aircraft=aircraft))
    return (*baseline, *(w for w in work if is_new(w)))


def _statement(desk: Desk, content: Mapping[str, Any], rests_on: Sequence[Entry]) -> str:
    """Write what an inspector states, in full."""
    aircraft = desk.aircraft(content["aircraft"])
    serial = f", serial {aircraft.serial}" if aircraft.serial else ""
    recorded = _listed([f"{named(e)} ({e.body.kind})" for e in rests_on]) or "no entry"
    ends = [f"until {_utc(datetime.fromisoformat(content['until']))}"]
    if "hours" in content:
        ends.append(f"until {content['hours']['value']} more flight hours are flown")
    if "landings" in content:
        ends.append(f"until {content['landings']} more landings are made")
    whichever = ", whichever comes first" if len(ends) > 1 else ""
    return (
        f"Work and inspection: {content['work']}\n"
        f"They are recorded in: {recorded}. The independent inspections that this work needs are "
        f"complete. Open deferrals: {content.get('deferrals', 'none')}.\n"
        f"I consider aircraft {aircraft.id}{serial}, in configuration {content['configuration']} "
        f"as its file of content {content['aircraft_file'][:12]} describes it, fit for flights "
        f"within its load sheet and its limits {', '.join(ends)}{whichever}. A restriction, a "
        "blocking defect, or another configuration, aircraft file or parameter baseline makes "
        "this statement void.\n"
        f"{_NO_CERTIFICATE}"
    )


def _listed(texts: Sequence[str]) -> str:
    more = f"; and {len(texts) - _MOST_NAMED} more" if len(texts) > _MOST_NAMED else ""
    return "; ".join(text[:_LONGEST] for text in texts[:_MOST_NAMED]) + more


def _utc(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
