"""Pre-arm and take-off calls: spoken after the release, written down after landing as one entry.

Nobody signs a laptop beside a propeller that turns. What was called is entered afterwards, every
item of the list by itself: who called it, by role, and what came of it. A measured one passes on
its number alone, also when a program of others wrote the entry.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import CALLS, FAIL, NOT_APPLICABLE, PASS, RELEASE
from flightlog.operations.checklists import CHECK, MEASURED, Checklist, Item, load_checklist
from flightlog.operations.checks import checklist_in_force
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named, number
from flightlog.team_files.reading import near_miss

CALLS_LIST = "calls"
"""Id of the list."""
_ROLE = re.compile(r"[a-z][a-z0-9.-]{0,39}")
_KEYS = ("result", "value", "role", "reason")


@dataclass(frozen=True, slots=True)
class Call:
    """What came of one item.

    Attributes
    ----------
    result : str
        "pass", "fail" or "not-applicable"; of a measurement it follows from the number and may
        be left empty.
    value : str
        The number of a measurement, as typed.
    role : str
        Who called it; the role that the list names when empty.
    reason : str
        Why it did not apply, or what was wrong.
    """

    result: str = ""
    value: str = ""
    role: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class CallsState:
    """The calls of a flight as they were written down.

    Attributes
    ----------
    entry : Entry
        By which they were.
    answered : int
        How many items have an answer.
    wrong : tuple of str
        Items that failed, are missing, or whose number does not pass; each with the reason.
    """

    entry: Entry
    answered: int
    wrong: tuple[str, ...]

    @property
    def says(self) -> str:
        """It as a clause."""
        name = f"calls {named(self.entry)}: {self.answered} items"
        return f"{name}; {'; '.join(self.wrong)}" if self.wrong else f"{name}, all passed"


def draft_calls(
    desk: Desk, release: Entry, answers: Mapping[str, Call], by: Sequence[str]
) -> Draft:
    """Draft the calls that were spoken under a release.

    Parameters
    ----------
    desk : Desk
        The team's.
    release : Entry
        Under which they were spoken.
    answers : mapping of str to Call
        Item id -> what came of it; every item of the list in force has one.
    by : sequence of str
        Public keys of those who sign that it was spoken so.

    Raises
    ------
    UsageError
        If an item is unknown, or an answer does not fit it.
    RefusedError
        If the entry is no release that counts, items are without an answer, or the calls of this
        release were written down already.
    """
    _refuse_without_release(desk, release)
    checklist = checklist_in_force(desk, CALLS_LIST)
    known = [item.id for item in checklist.items]
    for id_ in answers:
        if id_ not in known:
            raise UsageError(
                f"the list {checklist.id} has no such item",
                where=id_[:60],
                fix=near_miss(id_, known) or f"It has: {', '.join(known)}.",
            )
    missing = [id_ for id_ in known if id_ not in answers]
    if missing:
        raise RefusedError(
            f"{len(missing)} of {len(known)} items have no answer: {', '.join(missing)}",
            where=f"calls of {named(release)}",
            fix="Each item has an answer of its own; none passes by itself.",
        )
    content = {
        "checklist": checklist.sha256,
        "items": [said_of(item, answers[item.id]) for item in checklist.items],
    }
    signers = [Signer(key, "spoken") for key in by]
    return Draft(CALLS, content, signers, relations=[Relation(CITES, release.hash)])


def _refuse_without_release(desk: Desk, release: Entry) -> None:
    if release.body.kind != RELEASE or not desk.ledger.standing.may_loosen(release):
        raise RefusedError(
            "is no release that counts; calls are spoken after one",
            where=named(release),
            fix="'flightlog release state --aircraft ID' names it.",
        )
    before = desk.ledger.naming(release, CITES, CALLS)
    if before:
        raise RefusedError(
            f"its calls are written down already, by {named(before[0])}",
            where=named(release),
            fix=f"Correct them: 'flightlog logbook remark TEXT --corrects {named(before[0])}'.",
        )


def said_of(item: Item, call: Call) -> dict[str, Any]:
    """Give what an answer to an item says in the record.

    Raises
    ------
    UsageError
        If it does not fit the item.
    """
    if item.kind not in (CHECK, MEASURED):
        raise UsageError(
            f"is a {item.kind}; calls are checks and measurements",
            where=item.id,
            fix="Change the list and enter it.",
        )
    role = call.role.strip() or item.role
    if not _ROLE.fullmatch(role):
        raise UsageError(f"{role[:40]!r} is no role", where=item.id, fix=f"Like {item.role}.")
    said: dict[str, Any] = {"item": item.id, "result": _result(item, call), "role": role}
    if call.value.strip():
        said["value"] = quantity(number(call.value, item.id), item.unit)
    if call.reason.strip():
        said["reason"] = call.reason.strip()
    return said


def _result(item: Item, call: Call) -> str:
    if call.result not in ("", PASS, FAIL, NOT_APPLICABLE):
        raise UsageError(
            f"{call.result[:40]!r} is no result",
            where=item.id,
            fix=f"One of {PASS}, {FAIL}, {NOT_APPLICABLE}.",
        )
    if call.result == NOT_APPLICABLE:
        if not item.not_applicable or not call.reason.strip():
            raise UsageError(
                "applies always" if not item.not_applicable else "does not apply, and why?",
                where=item.id,
                fix="Give a reason where the list allows it.",
            )
        return NOT_APPLICABLE
    if item.kind == CHECK:
        if call.value.strip():
            raise UsageError("is no measurement", where=item.id, fix="Give no number.")
        if not call.result:
            raise UsageError("has no answer", where=item.id, fix=f"{PASS} or {FAIL}.")
        return call.result
    if not call.value.strip():
        raise UsageError(
            "passes on its number alone", where=item.id, fix=f"Give it: {item.acceptance}."
        )
    passes = item.passes(float(number(call.value, item.id)))
    if call.result == PASS and not passes:
        raise UsageError(
            f"{call.value.strip()} does not pass", where=item.id, fix=f"It is {item.acceptance}."
        )
    return PASS if passes and call.result != FAIL else FAIL


def calls_of(desk: Desk, release: Entry) -> CallsState | None:
    """Give the calls that were written down for a release, None where none were.

    Of several entries, the first that nobody corrected.
    """
    ledger = desk.ledger
    for entry in ledger.naming(release, CITES, CALLS):
        if not ledger.corrections(entry) and ledger.has_seen(entry, release):
            items = entry.body.content["items"]
            return CallsState(entry, len(items), tuple(_wrong(_list_of(desk, entry), items)))
    return None


def _list_of(desk: Desk, entry: Entry) -> Checklist | None:
    version = desk.versions.by_hash(entry.body.content["checklist"])
    if version is None or version.kind != "checklist":
        return None
    return desk.loaded(version, load_checklist)


def _wrong(checklist: Checklist | None, said: Sequence[Mapping[str, Any]]) -> Iterable[str]:
    if checklist is None:
        yield "the list that they follow is not in the record"
        return
    answered = {one["item"]: one for one in said}
    for item in checklist.items:
        one = answered.get(item.id)
        if one is None:
            yield f"{item.id} has no answer"
        elif one["result"] == NOT_APPLICABLE:
            if not item.not_applicable or not one.get("reason"):
                yield f"{item.id} applies always"
        elif one["result"] == FAIL or not _passes(item, one):
            reason = one.get("reason") or _number_of(one) or "no reason given"
            yield f"{item.id} failed ({reason})"


def _passes(item: Item, one: Mapping[str, Any]) -> bool:
    if item.kind != MEASURED:
        return True
    value = one.get("value")
    return value is not None and value["unit"] == item.unit and item.passes(float(value["value"]))


def _number_of(one: Mapping[str, Any]) -> str:
    value = one.get("value")
    return f"{value['value']} {value['unit']}".strip() if value else ""


def parsed_calls(lines: Iterable[tuple[str, object]]) -> dict[str, Call]:
    """Read answers: objects with the key "item" and those of `Call`, all of them texts.

    Parameters
    ----------
    lines : iterable of (str, object)
        Where each was found, and what it is.

    Raises
    ------
    UsageError
        If a key is not known, something is no text, or an item is answered twice.
    """
    calls: dict[str, Call] = {}
    for where, one in lines:
        if not isinstance(one, Mapping) or not isinstance(one.get("item"), str):
            raise UsageError(
                "is no answer", where=where, fix='Like {"item": "clear", "value": "6"}.'
            )
        said = {key: value for key, value in one.items() if key != "item"}
        strange = sorted(set(said) - set(_KEYS))
        if strange:
            raise UsageError(
                f"{strange[0][:40]!r} is not known", where=where, fix=f"Known: {', '.join(_KEYS)}."
            )
        wrong = [key for key, value in said.items() if not isinstance(value, str)]
        if wrong:
            raise UsageError(
                f"{wrong[0]} is no text",
                where=where,
                fix='Write numbers in quotes too, like "6.5": their digits are signed.',
            )
        if one["item"] in calls:
            raise UsageError("is answered twice", where=where, fix="Answer each item once.")
        calls[one["item"]] = Call(**said)
    return calls
