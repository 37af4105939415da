"""Walking through a list: one person at the laptop at a time, one item at a time."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from flightlog.cli.console import err, out
from flightlog.cli.entering import json_lines, photos
from flightlog.errors import FlightlogError, Interrupted, UsageError

if TYPE_CHECKING:
    from flightlog.cli.signing import Hands
    from flightlog.logbook.book import Draft
    from flightlog.logbook.entry import Entry
    from flightlog.logbook.unlocking import Unlocked
    from flightlog.operations.check_drafts import Answer
    from flightlog.operations.checklists import Checklist, Item
    from flightlog.operations.checks import About, ItemState
    from flightlog.operations.desk import Desk

_LARGEST_ANSWERS = 2_000_000
_QUIT, _SKIP = "q", "s"
_HELP = "p, f REASON, n REASON, d ENTRY, s to skip, q to stop"


class Laptop:
    """The keys that are unlocked for one list, each by one passphrase.

    Parameters
    ----------
    desk : Desk
        The record.
    hands : Hands
        Where keys and passphrases come from.
    list_name : str
        The list for which alone they sign.
    """

    def __init__(self, desk: Desk, hands: Hands, list_name: str) -> None:
        self.desk = desk
        self._hands = hands
        self._list = list_name
        self._unlocked: dict[str, Unlocked] = {}
        self._held = ExitStack()

    def __enter__(self) -> Laptop:
        self._held.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._held.__exit__(kind, error, trace)

    def key_of(self, key: str) -> Unlocked:
        """Give somebody's key; the passphrase is asked for once, and again when its time is up."""
        if key not in self._unlocked or not self._unlocked[key].left_s:
            who = self.desk.crew.label_of_key(key)
            unlocked = self._hands.unlock(key, who, self._list)
            self._unlocked[key] = self._held.enter_context(unlocked)
        return self._unlocked[key]

    def sign(self, draft: Draft, key: str, about: str) -> Entry:
        """Sign one check, saying what is signed, and add it."""
        from flightlog.reports.check_words import said_line

        unlocked = self.key_of(key)
        shown = self.desk.book.show(draft, self.desk.names)
        out().line(f"  {about}: {said_line(draft)} by {self.desk.crew.label_of_key(key)}")
        return self.desk.append(draft, (unlocked,), shown=shown, list_name=self._list)


# --- at the terminal


@dataclass
class _Walk:
    """A list in hand, and what each person left out or has judged."""

    laptop: Laptop
    begun: Entry
    about: About
    left_out: dict[str, set[str]] = field(default_factory=dict)

    @property
    def list_id(self) -> str:
        return str(self.begun.body.content["list"])


def refuse_without_terminal() -> None:
    """Refuse to walk where nobody can type.

    Raises
    ------
    UsageError
        If the standard input is no terminal.
    """
    if not sys.stdin.isatty():
        raise UsageError(
            "this is no terminal to walk at", where="checks walk", fix="Give --answers FILE."
        )


def take_turns(laptop: Laptop, begun: Entry, about: About, keys: Sequence[str]) -> None:
    """Let persons walk through a list, one after the other, until nobody has anything to do.

    Who has looked first may have to come back: items of another one wait for a second person.
    """
    walk = _Walk(laptop, begun, about)
    going = True
    while going:
        going = False
        for key in keys:
            todo = _todo(walk, key)
            if todo:
                going = True
                out().line()
                out().line(f"{laptop.desk.crew.label_of_key(key)} at the laptop:")
                laptop.key_of(key)
                if not _turn(walk, key, todo):
                    return


def _todo(walk: _Walk, key: str) -> list[ItemState]:
    from flightlog.operations.check_drafts import for_person
    from flightlog.operations.checks import list_state

    desk = walk.laptop.desk
    state = list_state(desk, walk.list_id, walk.about)
    ids = {item.id for item in for_person(desk, state, key)} - walk.left_out.get(key, set())
    return [item for item in state.items if item.item.id in ids]


def _turn(walk: _Walk, key: str, todo: list[ItemState]) -> bool:
    """Let one person do what is theirs; False when they stop the walk."""
    desk = walk.laptop.desk
    while todo:
        item = todo[0].item
        out().line()
        out().lines(_item_lines(todo[0]))
        began = time.monotonic()
        answer = _ask(desk, item)
        if answer == _QUIT:
            return False
        if not isinstance(answer, str):
            answer = replace(answer, seconds=f"{time.monotonic() - began:.1f}")
            if not _signed(walk, item, answer, key):
                continue  # told why, and asked again
        walk.left_out.setdefault(key, set()).add(item.id)
        todo = _todo(walk, key)
    return True


def _signed(walk: _Walk, item: Item, answer: Answer, key: str) -> bool:
    from flightlog.operations.check_drafts import check_draft

    laptop = walk.laptop
    try:
        draft = check_draft(laptop.desk, walk.begun, item.id, answer, key)
    except FlightlogError as error:
        err().line(f"flightlog: {error.sentence()}")
        return False
    laptop.sign(draft, key, item.id)
    return True


def _item_lines(state: ItemState) -> Iterator[str]:
    item = state.item
    why = f"  ({state.state}{': ' + state.why if state.why else ''})" if state.result else ""
    yield f"{item.section}: {item.text}{why}"
    if item.acceptance:
        yield f"  passes with {item.acceptance}"


def _ask(desk: Desk, item: Item) -> Answer | str:
    """Ask until there is an answer; an empty line is none."""
    while True:
        out().line(f"  {_question(item)}")
        try:
            typed = input("  > ").strip()
        except EOFError as error:
            raise Interrupted("stopped at an item") from error
        if typed in (_QUIT, _SKIP):
            return typed
        try:
            found = _answer(desk, item, typed)
        except FlightlogError as error:
            err().line(f"flightlog: {error.sentence()}")
            continue
        if found is not None:
            return found
        err().line(f"flightlog: {_HELP}")


def _question(item: Item) -> str:
    asked = {
        "measurement": f"number in {item.unit or '1'}",
        "choice": " or ".join(item.choices),
        "photo": "file of the photo",
    }.get(item.kind, "p")
    with_ = " and its instrument, as 25.1 MM-2" if item.instrument else ""
    return f"{asked}{with_}, or f/n/d/s/q"


def _answer(desk: Desk, item: Item, typed: str) -> Answer | None:
    from flightlog.operations.check_drafts import Answer

    word, _, rest = typed.partition(" ")
    rest = rest.strip()
    if word == "f":
        return _fail(item, rest)
    if word == "n" and rest:
        return Answer("not-applicable", reason=rest)
    if word == "d" and rest:
        return Answer("deferred", reason=f"by {rest}", deferral=desk.book.find(rest))
    if not typed:
        return None
    if item.kind == "measurement":
        return Answer("", value=word, instrument=rest)
    if item.kind == "choice":
        return Answer("", choice=typed)
    if item.kind == "photo":
        return Answer("pass", photos=photos(desk, [Path(typed)]))
    return Answer("pass", remark=rest) if word == "p" else None


def _fail(item: Item, said: str) -> Answer:
    """Read what is wrong; of a measurement its number may come first."""
    from flightlog.operations.check_drafts import Answer
    from flightlog.operations.positions import number

    if item.kind == "measurement":
        value, _, rest = said.partition(" ")
        try:
            number(value, item.id)
        except UsageError:
            return Answer("fail", reason=said)
        return Answer("fail", value=value, reason=rest.strip())
    if said in item.choices:
        return Answer("fail", choice=said)
    return Answer("fail", reason=said)


# --- scripts, and lists on paper


@dataclass(frozen=True)
class Line:
    """One answer of a script: which item, whose, and what."""

    item: str
    key: str
    answer: Answer


def read_answers(desk: Desk, path: Path, checklist: Checklist) -> list[Line]:
    """Read the answers of a script, and check all of them before the first is signed.

    Raises
    ------
    UsageError
        If a line is not one answer to one item by one person, or does not fit its item.
    """
    return [_line(desk, said, where, checklist) for said, where in _objects(path)]


def _objects(path: Path) -> Iterator[tuple[dict[str, Any], str]]:
    for where, said in json_lines(path, _LARGEST_ANSWERS):
        if not isinstance(said, dict) or not all(
            isinstance(said.get(k), str) for k in ("item", "by")
        ):
            raise UsageError('needs "item" and "by"', where=where, fix="Name one item and who.")
        yield said, where


def _line(desk: Desk, said: dict[str, Any], where: str, checklist: Checklist) -> Line:
    from flightlog.operations.check_drafts import item_of, parsed_answer, said_of

    item = item_of(checklist, said["item"])
    beside = {"item", "by", "photo", "deferral"}
    answer = parsed_answer({k: v for k, v in said.items() if k not in beside}, where)
    if isinstance(said.get("photo"), str):
        answer = replace(answer, photos=photos(desk, [Path(said["photo"])]))
    if isinstance(said.get("deferral"), str):
        answer = replace(answer, deferral=desk.book.find(said["deferral"]))
    said_of(item, answer)
    return Line(item.id, desk.crew.present_key(said["by"]), answer)


def sign_lines(
    laptop: Laptop,
    begun: Entry,
    lines: Sequence[Line],
    occurred: datetime | None = None,
    late_reason: str = "",
) -> None:
    """Sign the answers of a script, each by its person, in their order."""
    from flightlog.operations.check_drafts import check_draft

    for line in lines:
        draft = check_draft(
            laptop.desk,
            begun,
            line.item,
            line.answer,
            line.key,
            occurred=occurred,
            late_reason=late_reason,
        )
        laptop.sign(draft, line.key, line.item)
