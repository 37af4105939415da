"""The inspection matrix: the clauses of a rule book one by one, and what shows each.

A clause with a limit is shown by the last flight that was judged by it, if its number was measured
or the rule book takes a declared one. Any other clause is shown by evidence that persons entered,
in the way that the rule book asks for. Evidence counts for the
clause as it was worded then and for the aircraft as it was built then: where one of the two is
another now, the clause is to be shown anew. What was found wrong stands until something newer,
made in the knowledge of it, shows the clause; of evidence made apart the worse one holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flightlog.errors import FlightlogError, UsageError
from flightlog.inputs import load_aircraft
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Attachment, Entry, Signer
from flightlog.logbook.flying_kinds import CLAUSE_EVIDENCE
from flightlog.operations.desk import Desk
from flightlog.operations.positions import newest
from flightlog.operations.sorties import SortieRecord, recording_debrief, sorties
from flightlog.rules.book import Clause, Limit, RuleBook, load_rules
from flightlog.team.files import Version
from flightlog.team.ledger import AIRCRAFT
from flightlog.team_files.reading import near_miss

SHOWN, NOT_SHOWN, OPEN, ANEW = "shown", "not shown", "open", "to be shown anew"
MEASURED, DECLARED, TESTED, PHOTO = "measured", "declared", "tested", "photo"
WAYS = (MEASURED, DECLARED, TESTED, PHOTO)
STATES = ("shown", "not-shown")
"""States that a person can enter."""
AS_BUILT = ("serial", "configuration", "wing_area_m2", "cells", "outputs")
"""What of an aircraft's file makes it another one to an inspector."""
MOST_FLIGHTS = 50
"""So many of the latest flights are asked for an outcome."""

_RANK = {NOT_SHOWN: 0, ANEW: 1, OPEN: 2, SHOWN: 3}
_VERDICTS = {"met": SHOWN, "not met": NOT_SHOWN, "not shown": NOT_SHOWN}


@dataclass(frozen=True, slots=True)
class Row:
    """One clause of the matrix.

    Attributes
    ----------
    clause : Clause
        As the rule book in force has it.
    state : str
        "shown", "not shown", "open" or "to be shown anew".
    how : str
        In which way it was shown, or is to be.
    by : tuple of str
        Ids of the persons who say so; empty where a log does, or nobody.
    entry : Entry or None
        The evidence, or the flight.
    text : str
        What was said about it.
    why : str
        What stands against it; empty where nothing does.
    outcome : mapping or None
        Of a flight: what it said about the limit, as in the JSON of its debrief.
    files : tuple of Attachment
        Photos and papers.
    """

    clause: Clause
    state: str
    how: str
    by: tuple[str, ...] = ()
    entry: Entry | None = None
    text: str = ""
    why: str = ""
    outcome: Mapping[str, Any] | None = None
    files: tuple[Attachment, ...] = ()


@dataclass(frozen=True, slots=True)
class _Flown:
    """What a flight said about a limit, and under which version of the rule book.

    ``declared`` where the number that was judged came from the team and not from the log.
    """

    flight: SortieRecord
    outcome: Mapping[str, Any]
    rules_file: str
    declared: bool


def matrix(desk: Desk, rules: str, aircraft: str) -> tuple[Row, ...]:
    """Give the matrix of an aircraft under a rule book, in the order of its clauses.

    Raises
    ------
    UsageError
        If the record holds no such rule book, or no such aircraft.
    TeamFileError
        If one of the two files can't be read.
    """
    book = desk.rules(rules)
    desk.aircraft(aircraft)
    flown = _outcomes(desk, aircraft, rules, {c.limit for c in book.clauses if c.limit})
    return tuple(_row(desk, aircraft, book, clause, flown) for clause in book.clauses)


def _row(
    desk: Desk, aircraft: str, book: RuleBook, clause: Clause, flown: Mapping[str, _Flown]
) -> Row:
    entered = _entered(desk, aircraft, book, clause)
    by_log = flown.get(clause.limit)
    if by_log is None:
        return entered or Row(clause, OPEN, clause.how, why="nobody has shown it")
    row = _judged(desk, aircraft, book, clause, by_log)
    if entered is None:
        return row
    if row.state == OPEN:
        return entered
    if entered.state == NOT_SHOWN and entered.entry is not None:
        if not desk.ledger.has_seen(by_log.flight.entry, entered.entry):
            return entered
    return row


# --- what persons entered


def _entered(desk: Desk, aircraft: str, book: RuleBook, clause: Clause) -> Row | None:
    ledger = desk.ledger
    every = ledger.of(CLAUSE_EVIDENCE, rules=book.id, aircraft=aircraft, clause=clause.id)
    rows = [
        _of_entry(desk, aircraft, book, clause, entry)
        for entry in newest(ledger, [e for e in every if ledger.persons(e)])
    ]
    return min(rows, key=lambda row: _RANK[row.state]) if rows else None


def _of_entry(desk: Desk, aircraft: str, book: RuleBook, clause: Clause, entry: Entry) -> Row:
    said, files = entry.body.content, entry.body.attachments
    state, why = _worth(desk, clause, entry)
    if state != NOT_SHOWN:
        changed = _changed(desk, aircraft, book, clause, entry, said["rules_file"])
        state, why = (ANEW, changed) if changed else (state, why)
    return Row(
        clause=clause,
        state=state,
        how=said["how"],
        by=tuple(dict.fromkeys(desk.ledger.persons(entry))),
        entry=entry,
        text=said["text"],
        why=why,
        files=files,
    )


def _worth(desk: Desk, clause: Clause, entry: Entry) -> tuple[str, str]:
    """Say what evidence is worth by itself, and why it is worth no more."""
    said, files = entry.body.content, entry.body.attachments
    if said["state"] != "shown":
        return NOT_SHOWN, "it was found not to hold"
    if said["how"] != clause.how:
        return OPEN, f"the rule book asks for it {_asked(clause.how)}, it is {_asked(said['how'])}"
    if clause.how == PHOTO and not files:
        return OPEN, "there is no photo with it"
    wrong = [f"{a.name}: {found}" for a in files if (found := desk.book.attachments.problem(a))]
    return (OPEN, "; ".join(wrong)) if wrong else (SHOWN, "")


def _asked(how: str) -> str:
    return "by a photo" if how == PHOTO else how


# --- whether it is still about the same clause and aircraft


def _changed(
    desk: Desk, aircraft: str, book: RuleBook, clause: Clause, entry: Entry, rules_file: str
) -> str:
    """Say what is another one since some evidence, "" where nothing is."""
    before = _book(desk, book, rules_file)
    if before is None:
        return "the rule book by which it was shown can't be read any more"
    old = next((c for c in before.clauses if c.id == clause.id), None)
    if old is None or (old.requires, old.how) != (clause.requires, clause.how):
        return "the clause is worded otherwise since"
    if clause.limit and _bound(before, clause.limit) != _bound(book, clause.limit):
        return "its limit is another one since"
    return _rebuilt(desk, aircraft, entry)


def _book(desk: Desk, now: RuleBook, sha256: str) -> RuleBook | None:
    if sha256 == now.sha256:
        return now
    version = desk.versions.by_hash(sha256)
    if version is None or version.kind != "rules":
        return None
    try:
        return desk.loaded(version, load_rules)
    except FlightlogError:
        return None  # its bytes are gone, or of a newer program


def _bound(book: RuleBook, limit: str) -> tuple[object, ...] | None:
    """Give what a flight is judged by; a clause number that is another one changes nothing."""
    found: Limit | None = next((one for one in book.limits if one.id == limit), None)
    if found is None:
        return None
    return (found.measured, found.bound, found.shown_at, dict(found.definition or {}))


def _rebuilt(desk: Desk, aircraft: str, entry: Entry) -> str:
    """Say what the aircraft's file tells otherwise than the one that an entry had seen."""
    now = desk.version(AIRCRAFT, aircraft)
    then = _seen(desk, aircraft, entry)
    if then is None:
        return "no file of the aircraft was in force then"
    if then.sha256 == now.sha256:
        return ""
    try:
        old, new = desk.loaded(then, load_aircraft), desk.loaded(now, load_aircraft)
    except FlightlogError:
        return "the aircraft's file of then can't be read any more"
    changed = [name for name in AS_BUILT if getattr(old, name) != getattr(new, name)]
    return f"the aircraft is another one since: {', '.join(changed)}" if changed else ""


def _seen(desk: Desk, aircraft: str, entry: Entry) -> Version | None:
    found = [
        version
        for version in desk.versions.history(AIRCRAFT, aircraft)
        if desk.ledger.has_seen(entry, version.entry)
    ]
    return found[-1] if found else None


# --- what flights said


def _outcomes(desk: Desk, aircraft: str, rules: str, limits: set[str]) -> dict[str, _Flown]:
    """Give, for each limit, the last flight that could be judged by it; else one that could not."""
    found: dict[str, _Flown] = {}
    unclear: dict[str, _Flown] = {}
    for flight in reversed(sorties(desk, aircraft)[-MOST_FLIGHTS:]):
        if limits <= found.keys():
            break
        for one in _of_flight(desk, flight, rules):
            limit = str(one.outcome.get("limit"))
            if one.outcome.get("outcome") in _VERDICTS:
                found.setdefault(limit, one)
            else:
                unclear.setdefault(limit, one)
    return {limit: one for limit, one in {**unclear, **found}.items() if limit in limits}


def _of_flight(desk: Desk, flight: SortieRecord, rules: str) -> list[_Flown]:
    if flight.recording is None:
        return []
    whole = recording_debrief(desk, flight.recording) or {}
    found = []
    for sortie in whole.get("sorties") or []:
        # One that was flown with another load than the first of its log has inputs of its own.
        inputs = sortie.get("inputs") or whole.get("inputs") or {}
        book = inputs.get("rules") or {}
        if sortie.get("number") == flight.number and book.get("id") == rules:
            found += [
                _Flown(flight, outcome, str(book.get("sha256")), _is_declared(sortie, outcome))
                for outcome in sortie.get("outcomes") or []
                if outcome.get("kind") == "rule"
            ]
    return found


def _is_declared(sortie: Mapping[str, Any], outcome: Mapping[str, Any]) -> bool:
    figure = (sortie.get("figures") or {}).get(str(outcome.get("figure"))) or {}
    return bool(figure.get("sources") == [DECLARED])


def _judged(desk: Desk, aircraft: str, book: RuleBook, clause: Clause, flown: _Flown) -> Row:
    entry = flown.flight.entry
    how = DECLARED if flown.declared else MEASURED
    state = _VERDICTS.get(str(flown.outcome.get("outcome")), OPEN)
    why = "its last flights could not be judged by it" if state == OPEN else ""
    if state == SHOWN and flown.declared and clause.how != DECLARED:
        state, why = OPEN, f"the rule book asks for it {_asked(clause.how)}, it is {DECLARED}"
    elif state == SHOWN:
        changed = _changed(desk, aircraft, book, clause, entry, flown.rules_file)
        state, why = (ANEW, changed) if changed else (state, why)
    return Row(clause, state, how, entry=entry, why=why, outcome=flown.outcome)


# --- entering


def evidence_draft(
    desk: Desk,
    *,
    rules: str,
    aircraft: str,
    clause: str,
    how: str,
    state: str,
    text: str,
    keys: Sequence[str],
    photos: Sequence[Attachment] = (),
) -> Draft:
    """Draft the evidence for a clause.

    Parameters
    ----------
    desk : Desk
        The record.
    rules, aircraft : str
        Ids of their files.
    clause : str
        Its id in the rule book.
    how : str
        One of `WAYS`.
    state : str
        "shown" or "not-shown".
    text : str
        What was found: the number, the instrument, the paper.
    keys : sequence of str
        Public keys of those who sign: the first states it, others looked at it too.
    photos : sequence of Attachment
        Kept already.

    Raises
    ------
    UsageError
        If the rule book has no such clause, a word is not known, or there is no photo.
    """
    book = desk.rules(rules)
    desk.version(AIRCRAFT, aircraft)
    for word, known, option in (
        (clause, [c.id for c in book.clauses], "CLAUSE"),
        (how, WAYS, "--how"),
        (state, STATES, "--state"),
    ):
        if word not in known:
            hint = near_miss(word, list(known)) or f"One of: {', '.join(known) or 'none'}."
            raise UsageError(f"{word[:60]!r} is not known", where=option, fix=hint)
    if how == PHOTO and not photos:
        raise UsageError("there is no photo", where="--how", fix="Give --photo FILE.")
    content = {
        "rules": rules,
        "rules_file": book.sha256,
        "clause": clause,
        "aircraft": aircraft,
        "how": how,
        "state": state,
        "text": text,
    }
    meanings = ["stated", *("inspected" for _ in keys[1:])]
    signers = [Signer(key, meaning) for key, meaning in zip(keys, meanings, strict=True)]
    return Draft(CLAUSE_EVIDENCE, content, signers, list(photos))
