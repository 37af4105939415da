"""A release in words for a terminal, and for programs: what holds, what does not, what clears it.

The first line is one word: ``released`` or ``held``, and ``ready`` where everything holds and
nobody has signed yet. It never says that a flight is safe or legal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from flightlog.logbook.entry import Entry, write_utc
from flightlog.operations.calls import calls_of
from flightlog.operations.desk import Desk
from flightlog.operations.fitness import FitnessState
from flightlog.operations.next_flight import READY
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import heads_of, named
from flightlog.operations.release import HELD, RELEASED, ReleaseState
from flightlog.reports.cautions import CAUTIONS

_SCHEMA = "flightlog.release/1"


def check_lines(desk: Desk, plan: Plan, found: Sequence[Condition]) -> list[str]:
    """Give the lines of a check before anything is signed: ``ready`` or ``held`` and why."""
    held = [c for c in found if not c.holds]
    return [
        HELD if held else READY,
        f"{plan_text(plan)}; {_utc(desk.ledger.now)}",
        *_reason_lines(held),
        *_holding_lines(found),
        *_last_lines(desk),
    ]


def state_lines(desk: Desk, state: ReleaseState) -> list[str]:
    """Give the lines of a release: the word, the reasons, what it rests on."""
    about = plan_text(state.plan) if state.plan is not None else f"aircraft {state.aircraft}"
    lines = [state.word, f"{about}; {_utc(desk.ledger.now)}"]
    if state.release is not None:
        lines += _release_lines(desk, state.release, state.until)
    return [
        *lines,
        *_reason_lines(state.reasons),
        *_holding_lines(state.conditions),
        *_last_lines(desk),
    ]


def last_release_lines(desk: Desk, state: ReleaseState) -> list[str]:
    """Give the last release in short: which, when signed, for what, and how it ended or ends."""
    if state.release is None:
        return ["Last release: none was ever signed."]
    release = state.release
    signed = f"Last release {named(release)}, signed {_utc(desk.ledger.when(release))}"
    if state.released:
        return [f"Release {named(release)}, signed {_utc(desk.ledger.when(release))}."]
    if state.plan is not None:
        ends = f"; ends unspent at {_utc(state.until)}" if state.until is not None else ""
        return [f"{signed}, open: {plan_text(state.plan)}{ends}."]
    why = "; ".join(reason.says for reason in state.reasons)
    return [f"{signed}. {why}." if why else f"{signed}."]


def fitness_lines(desk: Desk, aircraft: str, state: FitnessState) -> list[str]:
    """Give the lines of a fitness statement: its state, what is left of it, and its text."""
    lines = [state.word, f"aircraft {aircraft}; {_utc(desk.ledger.now)}", state.says]
    if state.entry is not None:
        said = state.entry.body.content
        lines += [f"  {line}" for line in said.get("statement", said["work"]).split("\n")]
        lines += [f"  {line}" for line in signature_lines(desk, state.entry)]
    return [*lines, *_last_lines(desk)]


def plan_text(plan: Plan) -> str:
    """Write what a flight is planned with."""
    rules = f"rule book {plan.rules}" if plan.rules else "under no rule book"
    site = f"site {plan.site}" if plan.site else "no site"
    landings = "1 landing" if plan.landings == 1 else f"{plan.landings} landings"
    purpose = f"; {plan.purpose}" if plan.purpose else ""
    return f"aircraft {plan.aircraft}, pack {plan.pack}, {rules}, {site}, {landings}{purpose}"


def signature_lines(desk: Desk, entry: Entry) -> Iterator[str]:
    """Say who signed an entry, with what meaning, in which role; what does not count says so."""
    for judged in desk.ledger.people.judged(entry):
        who = desk.crew.label(judged.person_id or judged.signer.key)
        role = f" as {judged.signer.role}" if judged.signer.role else ""
        counts = "" if judged.counts else f" (counts for nothing: {judged.why})"
        yield f"{judged.signer.meaning}{role} by {who}{counts}"


def _release_lines(desk: Desk, release: Entry, until: datetime | None) -> Iterator[str]:
    ends = f", ends unspent at {_utc(until)}" if until is not None else ""
    yield f"Release {named(release)}, signed {_utc(desk.ledger.when(release))}{ends}"
    yield from (f"  {line}" for line in signature_lines(desk, release))
    cited = ", ".join(f"{named(e)} ({e.body.kind})" for e in desk.ledger.named(release))
    yield f"  rests on {cited or 'nothing'}"
    calls = calls_of(desk, release)
    if calls is not None:
        yield f"  {calls.says}"


def _reason_lines(held: Iterable[Condition]) -> Iterator[str]:
    for condition in held:
        yield f"  {condition.name}: {condition.says}"
        if condition.clear:
            yield f"    To clear: {condition.clear}"


def _holding_lines(found: Iterable[Condition]) -> Iterator[str]:
    holding = [c for c in found if c.holds]
    if holding:
        yield "What holds:"
    for condition in holding:
        by = ", ".join(named(e) for e in condition.rests_on)
        yield f"  {condition.name}: {condition.says}{f' [{by}]' if by else ''}"


def _last_lines(desk: Desk) -> Iterator[str]:
    yield f"Head of the record: {', '.join(heads_of(desk.ledger))}"
    yield from CAUTIONS


def _utc(when: datetime) -> str:
    return f"{when:%Y-%m-%d %H:%M} UTC"


# --- for programs


def check_json(desk: Desk, plan: Plan, found: Sequence[Condition]) -> dict[str, Any]:
    """Give a check as an object for JSON."""
    word = READY if all(c.holds for c in found) else HELD
    held = [c for c in found if not c.holds]
    return _object(desk, word, plan.aircraft, plan, None, None, held, found)


def state_json(desk: Desk, state: ReleaseState) -> dict[str, Any]:
    """Give the state of a release as an object for JSON."""
    return _object(
        desk,
        state.word,
        state.aircraft,
        state.plan,
        state.release,
        state.until,
        state.reasons,
        state.conditions,
    )


def _object(
    desk: Desk,
    word: str,
    aircraft: str,
    plan: Plan | None,
    release: Entry | None,
    until: datetime | None,
    reasons: Iterable[Condition],
    found: Iterable[Condition],
) -> dict[str, Any]:
    calls = calls_of(desk, release) if release is not None else None
    return {
        "schema": _SCHEMA,
        "state": word,
        "at": write_utc(desk.ledger.now),
        "aircraft": aircraft,
        "plan": None if plan is None else _plan(plan),
        "release": named(release) if release is not None else None,
        "until": write_utc(until) if until is not None else None,
        "reasons": [
            {"condition": c.name, "says": c.says, "clear": c.clear or None} for c in reasons
        ],
        "conditions": [
            {
                "condition": c.name,
                "holds": c.holds,
                "says": c.says,
                "rests_on": [named(e) for e in c.rests_on],
            }
            for c in found
        ],
        "calls": None if calls is None else {"entry": named(calls.entry), "wrong": calls.wrong},
        "heads": list(heads_of(desk.ledger)),
        "cautions": list(CAUTIONS),
    }


def _plan(plan: Plan) -> dict[str, Any]:
    return {
        "pack": plan.pack,
        "rules": plan.rules or None,
        "site": plan.site or None,
        "landings": plan.landings,
        "purpose": plan.purpose or None,
    }


def fitness_json(desk: Desk, aircraft: str, state: FitnessState) -> dict[str, Any]:
    """Give the state of a fitness statement as an object for JSON."""
    return {
        "schema": "flightlog.fitness/1",
        "state": state.word,
        "at": write_utc(desk.ledger.now),
        "aircraft": aircraft,
        "statement": named(state.entry) if state.entry is not None else None,
        "until": write_utc(state.until) if state.until is not None else None,
        "hours_left": state.hours_left,
        "landings_left": state.landings_left,
        "reasons": list(state.reasons),
        "cautions": list(CAUTIONS),
    }


__all__ = [
    "HELD",
    "READY",
    "RELEASED",
    "check_json",
    "check_lines",
    "fitness_json",
    "fitness_lines",
    "plan_text",
    "signature_lines",
    "state_json",
    "state_lines",
]
