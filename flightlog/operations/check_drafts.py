"""Drafts of checks: one item by one person, refused where the list or the record don't allow it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, INSPECTS, Attachment, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import (
    ACCEPTANCE,
    CHECK,
    DEFERRAL,
    DEFERRED,
    FAIL,
    LIST_BEGUN,
    NOT_APPLICABLE,
    PASS,
    RELEASE,
)
from flightlog.operations.calls import CALLS_LIST
from flightlog.operations.check_worth import WAITS, deferral_problem
from flightlog.operations.checklists import ACCEPT, CHOICE, MEASURED, PHOTO, Checklist, Item
from flightlog.operations.checks import (
    About,
    ListState,
    begun_lists,
    checklist_in_force,
    checklist_of,
    lately,
    list_state,
    state_of_item,
)
from flightlog.operations.desk import Desk
from flightlog.operations.events import BATTERY_CHANGE
from flightlog.operations.positions import number
from flightlog.operations.sorties import sorties
from flightlog.team.ledger import PACK
from flightlog.team_files.reading import near_miss

SCREEN, PAPER = "screen", "paper"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person says to one item.

    Attributes
    ----------
    result : str
        "pass", "fail", "not-applicable" or "deferred"; of a measurement or a choice it follows
        from what was measured or chosen and may be left empty.
    value : str
        The number of a measurement, as typed.
    choice, instrument, reason, remark : str
        Empty where there is none.
    deferral : Entry or None
        By which a deferred item is deferred.
    photos : sequence of Attachment
        In the store already.
    seconds : str
        How long the item was before the person [s]; empty where nobody knows.
    """

    result: str = ""
    value: str = ""
    choice: str = ""
    instrument: str = ""
    reason: str = ""
    remark: str = ""
    deferral: Entry | None = None
    photos: Sequence[Attachment] = ()
    seconds: str = ""


def begun_draft(
    desk: Desk,
    list_id: str,
    about: About,
    *,
    paper: Sequence[Attachment] = (),
) -> Draft:
    """Draft the taking in hand of a list; the device alone writes it.

    Parameters
    ----------
    desk : Desk
        The record.
    list_id : str
        Of the list in force.
    about : About
        The aircraft, or the pack.
    paper : sequence of Attachment
        Photos of the list on paper, where it was filled in on paper.

    Raises
    ------
    UsageError
        If it is not said what for, or no such list, aircraft or pack is in force.
    """
    checklist = checklist_in_force(desk, list_id)
    if list_id == CALLS_LIST:
        raise UsageError(
            "calls are spoken, and written down after landing",
            where=list_id,
            fix="'flightlog release calls RELEASE --answers FILE' does that.",
        )
    content: dict[str, Any] = {
        "list": list_id,
        "checklist": checklist.sha256,
        "source": PAPER if paper else SCREEN,
    }
    if about.aircraft:
        content["aircraft"] = about.aircraft
        content["configuration"] = desk.aircraft(about.aircraft).configuration or "none stated"
    if about.pack:
        content["pack"] = about.pack
        desk.pack(about.pack)
    if checklist.about == "pack" and not about.pack:
        raise UsageError("the list is about a pack", where=list_id, fix="Give --pack ID.")
    if checklist.about == "aircraft" and not about.aircraft:
        raise UsageError("the list is about an aircraft", where=list_id, fix="Give --aircraft ID.")
    if not about.pack and any(BATTERY_CHANGE in item.reopened_by for item in checklist.items):
        raise UsageError(
            "the list looks at the pack on board", where=list_id, fix="Give --pack ID too."
        )
    return Draft(LIST_BEGUN, content, attachments=list(paper))


def in_hand(desk: Desk, list_id: str, about: About) -> Entry | None:
    """Give the list that was begun on this day of flying and is gone on with; None to begin one.

    Begun anew is what a spent release rests on, what was for another pack or on paper; and of the
    lists that begin with nothing done, what is complete or from before the last release.
    """
    begun = begun_lists(desk, list_id, about)
    if not begun:
        return None
    ledger, last = desk.ledger, begun[-1]
    said = last.body.content
    if not lately(ledger, last) or said["source"] != SCREEN or said.get(PACK, "") != about.pack:
        return None
    spent = {f.release.hash for f in sorties(desk, about.aircraft) if f.release is not None}
    if any(entry.hash in spent for entry in ledger.naming(last)):
        return None
    if checklist_in_force(desk, list_id).anew:
        releases = ledger.of(RELEASE, aircraft=about.aircraft)
        since = any(not ledger.has_seen(last, release) for release in releases)
        if since or list_state(desk, list_id, about).complete:
            return None
    return last


def check_draft(
    desk: Desk,
    begun: Entry,
    item_id: str,
    answer: Answer,
    key: str,
    *,
    occurred: datetime | None = None,
    late_reason: str = "",
) -> Draft:
    """Draft the result of one item, signed by one person.

    Where the item waits for a second person and ``key`` is another one's, it is that second look.

    Parameters
    ----------
    desk : Desk
        The record.
    begun : Entry
        The list that it belongs to.
    item_id : str
        Of the item.
    answer : Answer
        What the person says.
    key : str
        Public key of the person.
    occurred, late_reason
        When it was done and why it is written down late, for a list on paper.

    Raises
    ------
    UsageError
        If the answer does not fit the item.
    RefusedError
        If the person may not sign it.
    """
    checklist = checklist_of(desk, begun)
    if checklist is None:
        raise RefusedError(
            "the version of the list by which it was begun is not in the record",
            fix="Begin the list anew.",
        )
    item = item_of(checklist, item_id)
    first = _first_look(desk, begun, checklist, item, key)
    role = item.second if first is not None else item.role
    _refuse_without_role(desk, key, role, item)
    content = {"item": item.id, **said_of(item, answer)}
    relations = [Relation(CITES, begun.hash)]
    if first is not None:
        relations.append(Relation(INSPECTS, first.hash))
        if content["result"] not in (PASS, FAIL):
            raise UsageError(
                "a second person finds an item right or wrong", where=item.id, fix="Pass or fail."
            )
    if answer.deferral is not None:
        if problem := deferral_problem(desk, answer.deferral, begun):
            raise RefusedError(
                problem, where=item.id, fix="'flightlog defect list' shows what is deferred."
            )
        relations.append(Relation(CITES, answer.deferral.hash))
    return Draft(
        CHECK,
        content,
        [Signer(key, "inspected" if first is not None else "performed", role)],
        list(answer.photos),
        relations,
        occurred=occurred,
        late_reason=late_reason,
    )


def item_of(checklist: Checklist, id_: str) -> Item:
    """Give an item of a list by its id.

    Raises
    ------
    UsageError
        With the near miss, if the list has none.
    """
    item = checklist.item(id_)
    if item is None:
        known = [i.id for i in checklist.items]
        raise UsageError(
            f"the list {checklist.id} has no such item",
            where=id_[:60],
            fix=near_miss(id_, known) or f"It has: {', '.join(known)}.",
        )
    return item


def _first_look(
    desk: Desk, begun: Entry, checklist: Checklist, item: Item, key: str
) -> Entry | None:
    """Give the check that this person would look at afresh, None where it is the first look."""
    said = begun.body.content
    about = About(said.get("aircraft", ""), said.get("pack", ""))
    state = state_of_item(desk, checklist.id, item.id, about)
    if state is None or state.state != WAITS or state.result is None:
        return None
    person = desk.book.people.person_of(key)
    did = desk.ledger.persons(state.result)
    return state.result if person is not None and person.id not in did else None


def _refuse_without_role(desk: Desk, key: str, role: str, item: Item) -> None:
    person = desk.book.people.person_of(key)
    if person is None or not desk.book.people.holds(person.id, role):
        who = desk.crew.label_of_key(key)
        holders = [p.id for p in desk.book.people.persons if role in p.roles]
        names = ", ".join(desk.crew.label(p) for p in holders) or "nobody"
        raise RefusedError(
            f"{who} does not hold the role {role!r}", where=item.id, fix=f"Those who do: {names}."
        )


def said_of(item: Item, answer: Answer) -> dict[str, Any]:
    """Give what an answer to an item says in the record.

    Raises
    ------
    UsageError
        If it does not fit the item.
    """
    content: dict[str, Any] = {"result": _result(item, answer)}
    if answer.value:
        if item.kind != MEASURED:
            raise UsageError("is no measurement", where=item.id, fix="Give no number.")
        content["value"] = quantity(number(answer.value, item.id), item.unit)
    for key in ("choice", "instrument", "reason", "remark"):
        text = getattr(answer, key).strip()
        if text:
            content[key] = text
    if answer.seconds:
        content["seconds"] = quantity(answer.seconds, "s")
    return content


def _result(item: Item, answer: Answer) -> str:
    """Give the result that an answer amounts to; no answer amounts to none."""
    if answer.result in (NOT_APPLICABLE, DEFERRED):
        return _left_out(item, answer)
    if answer.result not in ("", PASS, FAIL):
        raise UsageError(f"{answer.result!r} is no result", where=item.id, fix="Pass or fail.")
    if answer.result == FAIL:
        return FAIL  # whatever was measured: a crack needs no number
    if item.instrument and not answer.instrument.strip():
        raise UsageError("needs its instrument", where=item.id, fix="Name it, like MM-2.")
    if item.kind == MEASURED:
        if not answer.value:
            raise UsageError(
                "passes on its number alone", where=item.id, fix=f"Measure: {item.acceptance}."
            )
        return _agreed(item, answer, item.passes(float(number(answer.value, item.id))))
    if item.kind == CHOICE:
        if answer.choice not in item.choices:
            raise UsageError(
                f"{answer.choice[:40]!r} is not one of its choices",
                where=item.id,
                fix=f"One of {', '.join(item.choices)}.",
            )
        return _agreed(item, answer, answer.choice in item.passing)
    if item.kind == PHOTO and answer.result == PASS and not answer.photos:
        raise UsageError("needs a photo", where=item.id, fix="Give one.")
    if not answer.result:
        raise UsageError("has no answer yet", where=item.id, fix="Pass or fail.")
    return answer.result


def _agreed(item: Item, answer: Answer, passes: bool) -> str:
    if answer.result == PASS and not passes:
        found = answer.value or answer.choice
        raise UsageError(
            f"{found} does not pass", where=item.id, fix=f"It passes with {item.acceptance}."
        )
    return PASS if passes else FAIL


def _left_out(item: Item, answer: Answer) -> str:
    if answer.result == NOT_APPLICABLE:
        if not item.not_applicable:
            raise UsageError("always applies", where=item.id, fix="Do it.")
        if not answer.reason.strip():
            raise UsageError("does not apply, for what reason?", where=item.id, fix="Say why.")
        return NOT_APPLICABLE
    if not item.deferrable:
        raise UsageError("can't be put off", where=item.id, fix="Do it, or let it fail.")
    if answer.deferral is None or answer.deferral.body.kind != DEFERRAL:
        raise UsageError(
            "is put off by a deferral", where=item.id, fix="Name the entry of the deferral."
        )
    return DEFERRED


def acceptance_draft(desk: Desk, check: Entry, reason: str, pilot: str, safety: str) -> Draft:
    """Draft the acceptance of a failed item by pilot and safety officer.

    Raises
    ------
    RefusedError
        If the list does not allow it, or the check did not fail.
    """
    begun = next(iter(desk.ledger.named(check, CITES, LIST_BEGUN)), None)
    checklist = checklist_of(desk, begun) if begun is not None else None
    item = checklist.item(check.body.content["item"]) if checklist is not None else None
    if item is None or check.body.kind != CHECK or check.body.content["result"] != FAIL:
        raise RefusedError("is no failed item of a list", where=check.name)
    if item.block != ACCEPT:
        raise RefusedError(
            f"{item.id} can't be accepted: it stops the flight",
            where=check.name,
            fix="Put it right, and do the item again.",
        )
    for key, role in ((pilot, "pilot"), (safety, "safety")):
        _refuse_without_role(desk, key, role, item)
    if desk.book.people.person_of(pilot) == desk.book.people.person_of(safety):
        raise RefusedError("two persons accept it", where=item.id)
    return Draft(
        ACCEPTANCE,
        {"reason": reason},
        [Signer(pilot, "accepted", "pilot"), Signer(safety, "accepted", "safety")],
        relations=[Relation(CITES, check.hash)],
    )


def for_person(desk: Desk, state: ListState, key: str) -> list[Item]:
    """Give the items of a list that a person can do now, first looks and second ones."""
    person = desk.book.people.person_of(key)
    if person is None:
        return []
    found = []
    for one in state.open_items:
        waits = one.state == WAITS and one.result is not None
        if waits and one.result is not None and person.id in desk.ledger.persons(one.result):
            continue
        role = one.item.second if waits else one.item.role
        if desk.book.people.holds(person.id, role):
            found.append(one.item)
    return found


def parsed_answer(said: Mapping[str, object], where: str) -> Answer:
    """Read an answer of a script: the keys of `Answer` that are texts.

    Raises
    ------
    UsageError
        If a key is not known, or a value is no text.
    """
    known = {"result", "value", "choice", "instrument", "reason", "remark", "seconds"}
    strange = set(said) - known
    if strange:
        raise UsageError(
            f"{min(strange)[:40]!r} is not known", where=where, fix=f"Known: {sorted(known)}."
        )
    texts: dict[str, str] = {}
    for key, value in said.items():
        if isinstance(value, (int, Decimal)) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            raise UsageError(
                f"{key} is no text",
                where=where,
                fix='Write numbers in quotes too, like "4.18": their digits are signed.',
            )
        texts[key] = value
    return Answer(
        texts.get("result", ""),
        texts.get("value", ""),
        texts.get("choice", ""),
        texts.get("instrument", ""),
        texts.get("reason", ""),
        texts.get("remark", ""),
        seconds=texts.get("seconds", ""),
    )
