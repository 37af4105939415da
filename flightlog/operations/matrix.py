"""The inspection matrix: the clauses of a rule book one by one, and what shows each.

A clause that a limit stands for is shown by the flights that were judged by it. Any other is
shown by evidence that a person entered. Evidence counts for the clause as it was worded then: when
the rule book words it differently, or the aircraft is another one by its file, it is shown anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from flightlog.errors import FlightlogError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Attachment, Entry, Signer
from flightlog.logbook.flying_kinds import CLAUSE_EVIDENCE
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.sorties import debrief_of, sorties
from flightlog.rules.book import Clause, load_rules
from flightlog.team_files.reading import near_miss

SHOWN, NOT_SHOWN, OPEN, ANEW = "shown", "not shown", "open", "to be shown anew"
WAYS = ("measured", "declared", "tested", "photo")


@dataclass(frozen=True, slots=True)
class Row:
    """One clause of the matrix.

    Attributes
    ----------
    clause : Clause
        As the rule book in force has it.
    state : str
        "shown", "not shown", "open" or "to be shown anew".
    how, by, evidence : str
        In which way, by whom, and where it stands.
    entry : Entry or None
        The evidence, or the flight.
    """

    clause: Clause
    state: str
    how: str
    by: str
    evidence: str
    entry: Entry | None = None


def matrix(desk: Desk, rules: str, aircraft: str) -> tuple[Row, ...]:
    """Give the matrix of an aircraft under a rule book, in the order of its clauses."""
    book = desk.rules(rules)
    desk.aircraft(aircraft)
    return tuple(_row(desk, rules, aircraft, clause) for clause in book.clauses)


def _row(desk: Desk, rules: str, aircraft: str, clause: Clause) -> Row:
    entered = _entered(desk, rules, aircraft, clause)
    if entered is not None:
        return entered
    if clause.limit:
        flown = _flown(desk, aircraft, clause)
        if flown is not None:
            return flown
    return Row(clause, OPEN, clause.how, "", "nobody has shown it")


def _entered(desk: Desk, rules: str, aircraft: str, clause: Clause) -> Row | None:
    entry = desk.ledger.last(CLAUSE_EVIDENCE, rules=rules, aircraft=aircraft, clause=clause.id)
    if entry is None or not desk.ledger.persons(entry):
        return None
    said = entry.body.content
    who = ", ".join(desk.crew.label(p) for p in desk.ledger.persons(entry))
    files = ", ".join(a.name for a in entry.body.attachments)
    text = f"{said['text']} ({named(entry)}{'; ' + files if files else ''})"
    if not _as_worded(desk, said["rules_file"], clause):
        return Row(clause, ANEW, said["how"], who, f"the clause was changed: {text}", entry)
    state = SHOWN if said["state"] == "shown" else NOT_SHOWN
    return Row(clause, state, said["how"], who, text, entry)


def _as_worded(desk: Desk, rules_file: str, clause: Clause) -> bool:
    """Whether a clause is still as it was in another version of the rule book."""
    version = desk.versions.by_hash(rules_file)
    if version is None:
        return False
    try:
        before = desk.loaded(version, load_rules)
    except FlightlogError:
        return False
    return clause in before.clauses


def _flown(desk: Desk, aircraft: str, clause: Clause) -> Row | None:
    """Give the last flight that was judged by the limit of a clause."""
    for flight in reversed(sorties(desk, aircraft)):
        said = debrief_of(desk, flight) or {}
        for outcome in said.get("outcomes", []):
            if outcome.get("limit") == clause.limit and outcome.get("kind") == "rule":
                return _judged(clause, outcome, flight.entry)
    return None


def _judged(clause: Clause, outcome: dict[str, Any], entry: Entry) -> Row:
    value, low, high = (outcome.get(k) for k in ("value", "low", "high"))
    number = "" if value is None else f" {value:.2f} {outcome.get('unit', '')}"
    spread = "" if low is None or high is None else f" ({low:.2f} to {high:.2f})"
    text = f"{outcome['outcome']}:{number}{spread}, flight {named(entry)}"
    state = SHOWN if outcome["outcome"] == "met" else NOT_SHOWN
    return Row(clause, state, "measured", "log", text, entry)


def evidence_draft(
    desk: Desk,
    *,
    rules: str,
    aircraft: str,
    clause: str,
    how: str,
    shown: bool,
    text: str,
    key: str,
    photos: Sequence[Attachment] = (),
) -> Draft:
    """Draft the evidence for a clause.

    Raises
    ------
    UsageError
        If the rule book has no such clause, or the way is not known.
    """
    book = desk.rules(rules)
    known = [c.id for c in book.clauses]
    if clause not in known:
        raise UsageError(
            f"{rules} has no such clause",
            where=clause[:60],
            fix=near_miss(clause, known) or f"It has: {', '.join(known) or 'none'}.",
        )
    if how not in WAYS:
        raise UsageError(f"{how[:40]!r} is no way", where="--how", fix=f"One of {', '.join(WAYS)}.")
    desk.version("aircraft", aircraft)
    content = {
        "rules": rules,
        "rules_file": book.sha256,
        "clause": clause,
        "aircraft": aircraft,
        "how": how,
        "state": "shown" if shown else "not-shown",
        "text": text,
    }
    return Draft(CLAUSE_EVIDENCE, content, [Signer(key, "stated")], list(photos))
