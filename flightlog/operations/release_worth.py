"""What a release is worth: whether an aircraft is released for its next flight, or held and why.

An aircraft is *released* only if one release of it is open and everything below is so, whoever's
program wrote the entry:

* the permission holds: signed by a pilot who accepts and by another person who releases, neither
  ended nor spent, nothing restricted since then, and less than `LASTS` old;
* when it was signed, with what it had seen, all conditions held, it cites what they rested on,
  and it says what the record said;
* all conditions hold now;
* nothing that they rest on came after it, but for what is measured again (`MAY_BE_NEWER`), and
  nothing has happened since that reopens a check.

In every other case it is *held*, with all reasons. A roll that was given up does not spend a
release; but a ``stop`` finding of its log, and every event that it brings, count like others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from flightlog.errors import FlightlogError, UsageError
from flightlog.logbook.entry import CITES, PERMITS, RESTRICTS, Effect, Entry
from flightlog.logbook.flying_kinds import (
    DEFECT,
    EVENT,
    FITTING,
    LIST_BEGUN,
    RECORDING,
    RECTIFICATION,
    RELEASE,
    TASK_DONE,
)
from flightlog.operations.all_conditions import conditions, facts_of, plan_of, rests_on
from flightlog.operations.checks import checklist_in_force
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS
from flightlog.operations.list_conditions import DAILY
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named
from flightlog.operations.release_conditions import RECORD, is_open, releases_of, when_it_ends
from flightlog.operations.sorties import is_recomputed, recording_debrief
from flightlog.operations.turn_around import PRE_FLIGHT, TURN_AROUND
from flightlog.operations.usage import fitted
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, THINGS, Ledger, subject

RELEASED, HELD = "released", "held"
PILOT = "pilot"
RELEASERS = ("safety", "inspector")
"""Roles in which the second person releases; the first of them that the person holds."""
MAY_BE_NEWER = ("weather", "limits", "parameters")
"""Conditions that may rest on what was measured after the release: measuring again is welcome."""
_WORK = (RECTIFICATION, TASK_DONE, FITTING)
_AGAIN = "When everything holds, sign a new one: 'flightlog release sign'."


@dataclass(frozen=True, slots=True)
class ReleaseState:
    """Whether an aircraft may go for its next flight, as the record has it now.

    Attributes
    ----------
    word : str
        "released" or "held".
    aircraft : str
        Id of its file.
    release : Entry or None
        The one that is open, else the last one; None where there never was one.
    plan : Plan or None
        What it is for; None where it does not say.
    until : datetime or None
        When it ends unspent.
    reasons : tuple of Condition
        Why it is held, each with what would clear it; empty when it is released.
    conditions : tuple of Condition
        All conditions as they stand now; empty where no release is open.
    """

    word: str
    aircraft: str
    release: Entry | None = None
    plan: Plan | None = None
    until: datetime | None = None
    reasons: tuple[Condition, ...] = ()
    conditions: tuple[Condition, ...] = ()

    @property
    def released(self) -> bool:
        """Whether it is released."""
        return self.word == RELEASED


def release_state(desk: Desk, aircraft: str) -> ReleaseState:
    """Say whether an aircraft is released for one flight, or held and why.

    Raises
    ------
    UsageError
        If the record holds no file of the aircraft.
    """
    desk.version(AIRCRAFT, aircraft)
    ledger = desk.ledger
    every = releases_of(ledger, aircraft)
    if not every:
        clear = f"See what is missing: 'flightlog release check --aircraft {aircraft}'."
        reason = Condition("release", False, "no release of it was ever signed", clear)
        return ReleaseState(HELD, aircraft, reasons=(reason,))
    counting = [r for r in every if ledger.standing.counts(r)]
    still_open = [r for r in counting if is_open(ledger, r)]
    return worth_of(desk, (still_open or counting or every)[-1])


def worth_of(desk: Desk, release: Entry) -> ReleaseState:
    """Say what one release is worth now, whether it is the last one or not.

    Raises
    ------
    UsageError
        If the entry is no release.
    """
    aircraft = release.body.content.get("aircraft")
    if release.body.kind != RELEASE or not isinstance(aircraft, str):
        raise UsageError(
            f"is a {release.body.kind}, no release",
            where=named(release),
            fix="'flightlog release state --aircraft ID' names it.",
        )
    ledger = desk.ledger
    if ledger.standing.counts(release) and is_open(ledger, release):
        return _of_open(desk, aircraft, release)
    until = when_it_ends(ledger, release) if ledger.standing.counts(release) else None
    reasons = tuple(_held(why, _AGAIN) for why in _why_closed(ledger, release))
    return ReleaseState(HELD, aircraft, release, None, until, reasons)


def _held(says: str, clear: str, name: str = "release") -> Condition:
    return Condition(name, False, says, clear)


def _why_closed(ledger: Ledger, release: Entry) -> list[str]:
    if not ledger.standing.counts(release):
        problems = ledger.standing.problems(release)
        return [f"{named(release)} does not count: {p}" for p in problems] or ["it does not count"]
    permits = Effect(PERMITS, subject(AIRCRAFT, release.body.content["aircraft"]))
    if release.body.effect != permits:
        return [f"{named(release)} does not permit a flight of this aircraft"]
    permit = ledger.standing.permit(release)
    codes = {spender.name: named(spender) for spender in permit.spent_by}
    why = [f"{named(release)}: {_with_codes(one, codes)}" for one in permit.why]
    ends = when_it_ends(ledger, release)
    if ledger.now >= ends and not permit.spent_by:
        why.append(f"{named(release)} ended unspent at {ends:%Y-%m-%d %H:%M} UTC")
    return why


def _with_codes(text: str, codes: Mapping[str, str]) -> str:
    """Call entries by the codes that people type, instead of by number and device."""
    for name, code in codes.items():
        text = text.replace(name, code)
    return text


def _of_open(desk: Desk, aircraft: str, release: Entry) -> ReleaseState:
    ledger, until = desk.ledger, when_it_ends(desk.ledger, release)
    anew = (
        f"Take it back: 'flightlog release withdraw {named(release)} --reason TEXT --by WHO'. "
        f"{_AGAIN}"
    )
    reasons = [_held(why, anew) for why in _badly_signed(ledger, release)]
    plan = plan_of(desk, release)
    if plan is None:
        reasons.append(_held("it names a rule book that the record does not hold", anew))
        return ReleaseState(HELD, aircraft, release, None, until, tuple(reasons))
    now = conditions(desk, plan, beside=release)
    reasons += [c for c in now if not c.holds]
    reasons += [_held(why, anew) for why in _not_good_when_signed(desk, plan, release)]
    reasons += [_held(why, anew) for why in _changed_since(desk, plan, release, now)]
    word = HELD if reasons else RELEASED
    return ReleaseState(word, aircraft, release, plan, until, tuple(reasons), now)


def _badly_signed(ledger: Ledger, release: Entry) -> list[str]:
    pilots = set(ledger.persons(release, "accepted", PILOT))
    others = {p for role in RELEASERS for p in ledger.persons(release, "released", role)}
    why = []
    if not pilots:
        why.append("no pilot accepted it")
    if not others - pilots and not (others and len(pilots | others) > 1):
        why.append("no second person released it, as safety or inspector")
    if ledger.when(release) > ledger.now + CLOCKS_APART:
        why.append("it claims a time that is still to come; set this laptop's clock")
    return why


def _not_good_when_signed(desk: Desk, plan: Plan, release: Entry) -> list[str]:
    """Say what was wrong with a release when it was made, by what it had seen."""
    past = desk.before(release)
    then = [c for c in conditions(past, plan) if c.name != RECORD]  # its heads are of today
    why = [f"{c.name} did not hold when it was signed: {c.says}" for c in then if not c.holds]
    cited = set(release.body.related(CITES))
    why += [
        f"it does not cite {named(entry)} ({entry.body.kind}), which it rests on"
        for entry in rests_on(then)
        if entry.hash not in cited
    ]
    said = release.body.content
    try:
        facts = facts_of(past, plan)
    except UsageError as error:
        return [*why, f"{error.where}: {error.found}"]
    return why + [
        f"it says {key} {_text(said.get(key))}, the record said {_text(value)}"
        for key, value in facts.items()
        if said.get(key) != value
    ]


def _text(value: object) -> str:
    if isinstance(value, dict):
        return f"{value.get('value')} {value.get('unit')}"
    return str(value)[:60]


# --- what came after it


def _changed_since(desk: Desk, plan: Plan, release: Entry, now: Sequence[Condition]) -> list[str]:
    """Say what came after a release, or apart from it, that it does not know and should."""
    ledger = desk.ledger
    why = [
        f"{c.name} rests on {named(entry)} ({entry.body.kind}), which it had not seen"
        for c in now
        if c.holds and c.name not in MAY_BE_NEWER
        for entry in ledger.unseen(c.rests_on, release)
        if entry.body.kind != LIST_BEGUN  # a list taken up once more; its items are judged above
    ]
    reopening = _reopening(desk)
    parts = {f.component for f in fitted(desk, plan.aircraft)}
    about = {(AIRCRAFT, plan.aircraft), (PACK, plan.pack), *((COMPONENT, p) for p in parts)}
    subjects = {subject(thing, id_) for thing, id_ in about}
    for entry in ledger.unseen(ledger.order, release):
        body = entry.body
        if body.effect is not None and body.effect.word == RESTRICTS and body.effect.on in subjects:
            why.append(f"since then {body.effect.on} was restricted by {named(entry)}")
        elif not ledger.standing.counts(entry):
            continue
        elif body.kind == EVENT and about & set(body.content.items()):
            word = body.content["event"]
            if reopening is None or word not in EVENTS or word in reopening:
                why.append(f"since then: {word} ({named(entry)})")
        elif body.kind == RECORDING and body.content.get(AIRCRAFT) == plan.aircraft:
            if is_recomputed(entry):
                continue  # what it tells of had happened before
            why += _stop_findings(desk, entry)
        elif body.kind in _WORK and _is_work_on(desk, entry, about):
            why.append(f"since then work was done: {named(entry)} ({body.kind})")
    return list(dict.fromkeys(why))


def _stop_findings(desk: Desk, recording: Entry) -> list[str]:
    """Say what the log of an attempt shows that has to be understood before the next roll."""
    if not recording.body.content["attempts"]:
        return []
    whole = recording_debrief(desk, recording)
    if whole is None:
        return [f"since then: a roll given up, and the debrief of {named(recording)} is missing"]
    listed = whole.get("findings", [])
    codes = sorted({str(f.get("code")) for f in listed if f.get("severity") == "stop"})
    return [
        f"since then: a roll given up, with the finding {c} ({named(recording)})" for c in codes
    ]


def _reopening(desk: Desk) -> set[str] | None:
    """Give the events that reopen a check of the lists in force; None where one can't be read."""
    words = {kind.word for kind in EVENTS.values() if kind.grounds or kind.list}
    for id_ in (DAILY, PRE_FLIGHT, TURN_AROUND):
        if desk.versions.in_force("checklist", id_) is None:
            continue
        try:
            items = checklist_in_force(desk, id_).items
        except FlightlogError:
            return None
        words.update(word for item in items for word in item.reopened_by)
    return words


def _is_work_on(desk: Desk, work: Entry, about: set[tuple[str, str]]) -> bool:
    if work.body.kind != RECTIFICATION:
        return any((thing, work.body.content.get(thing)) in about for thing in THINGS)
    defects = desk.ledger.named(work, CITES, DEFECT)
    return any((t, d.body.content.get(t)) in about for d in defects for t in THINGS)
