"""Answers to items of a list in hand: what was pressed is signed once, and said."""

from __future__ import annotations

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import streamlit as st

from flightlog.dashboard import hands, parts
from flightlog.errors import FlightlogError, UsageError
from flightlog.logbook.entry import Attachment, Entry
from flightlog.logbook.flying_kinds import DEFERRED, FAIL, NOT_APPLICABLE, PASS
from flightlog.operations.check_drafts import Answer, check_draft
from flightlog.operations.desk import Desk
from flightlog.operations.photos import attach_photo
from flightlog.operations.walk import LEAST_S, stopwatch
from flightlog.reports.check_words import said_line

_PRESSED, _SAID, _FAILED = "before-pressed", "before-answer-said", "before-answer-failed"
_SHOWN, _LAST, _LATER, _HOW = (
    "before-items-shown",
    "before-last-answer",
    "before-later",
    "before-how",
)


@dataclass(frozen=True, slots=True)
class Pressed:
    """A button that was pressed at an item.

    Attributes
    ----------
    list_id, item_id : str
        Where.
    stem : str
        With which the keys of the item's fields begin.
    result : str
        "pass", "fail", "not-applicable" or "deferred"; empty where it follows from the field.
    choice : str
        The choice that was pressed.
    """

    list_id: str
    item_id: str
    stem: str
    result: str = ""
    choice: str = ""


def press(pressed: Pressed) -> None:
    """Note what was pressed; it is taken when the page is drawn."""
    st.session_state[_PRESSED] = pressed


def opened(stem: str) -> str:
    """Give which form of an item is open: that of a fail, and so on; "" where none is."""
    how = st.session_state.get(_HOW)
    return how[1] if isinstance(how, tuple) and how[0] == stem else ""


def open_form(stem: str, how: str) -> None:
    """Open the form of an item in which a reason is given; none where ``how`` is empty."""
    st.session_state[_HOW] = (stem, how)


# --- later


def left_for_later(list_id: str, key: str) -> frozenset[str]:
    """Give the items that a person left for later."""
    every = cast(dict[str, frozenset[str]], st.session_state.get(_LATER, {}))
    return every.get(f"{list_id}/{key}", frozenset())


def leave(list_id: str, key: str, item_id: str) -> None:
    """Leave an item for later; one that was left already comes last again."""
    every = dict(cast(dict[str, frozenset[str]], st.session_state.get(_LATER, {})))
    place = f"{list_id}/{key}"
    left = every.get(place, frozenset())
    every[place] = frozenset() if item_id in left else left | {item_id}
    st.session_state[_LATER] = every


# --- how long an item was before a person


def shown(stem: str) -> None:
    """Note since when an item is on the screen."""
    st.session_state.setdefault(_SHOWN, {}).setdefault(stem, time.monotonic())


def _seconds(stem: str) -> float:
    since = cast(dict[str, float], st.session_state.get(_SHOWN, {})).get(stem)
    last = cast(float | None, st.session_state.get(_LAST))
    return stopwatch(time.monotonic(), since, last)


# --- taking an answer


def take(desk: Desk, list_id: str, begun: Entry) -> bool:
    """Sign what was pressed, if something was; whether something was added."""
    pressed = cast(Pressed | None, st.session_state.pop(_PRESSED, None))
    st.session_state.pop(_FAILED, None)
    if pressed is None or pressed.list_id != list_id:
        return False
    present = hands.present(list_id)
    if present is None:
        parts.warn("Nobody is at the laptop any more: the key was open for ten minutes.")
        return False
    seconds = _seconds(pressed.stem)
    if pressed.result == PASS and seconds < LEAST_S:
        parts.warn("That was too quick to have been looked at. Nothing was signed: look, press.")
        return False
    try:
        answer = _answer(desk, pressed, seconds)
        draft = check_draft(desk, begun, pressed.item_id, answer, present.key)
        read = desk.book.show(draft, desk.names)
        entry = desk.append(draft, (present,), shown=read, list_name=list_id)
    except FlightlogError as error:
        parts.refused(error)
        return False
    st.session_state[_LAST] = time.monotonic()
    who = desk.crew.label_of_key(present.key)
    st.session_state[_SAID] = f"Signed: {pressed.item_id}: {said_line(draft)} by {who}"
    st.session_state[_FAILED] = entry.body.content["result"] == FAIL
    st.session_state.pop(_HOW, None)
    return True


def was_fail() -> bool:
    """Whether what was taken is a fail."""
    return bool(st.session_state.get(_FAILED))


def show_said() -> None:
    """Say what was signed last."""
    if _SAID in st.session_state:
        parts.note(str(st.session_state[_SAID]))


def _answer(desk: Desk, pressed: Pressed, seconds: float) -> Answer:
    """Put an answer together out of what was pressed and what stands in the item's fields."""
    said = _field(pressed, "reason") or _field(pressed, "value-failed")
    if pressed.result == FAIL and not said:
        raise UsageError("what is wrong is not said", where=pressed.item_id, fix="Say it first.")
    deferral = st.session_state.get(f"{pressed.stem}-deferral")
    put_off = desk.book.find(str(deferral)) if pressed.result == DEFERRED and deferral else None
    failing = pressed.result in (FAIL, NOT_APPLICABLE)
    reason = _field(pressed, "reason") if failing else ""
    return Answer(
        pressed.result,
        value=_field(pressed, "value-failed" if pressed.result == FAIL else "value"),
        choice=pressed.choice,
        instrument=_field(pressed, "instrument"),
        reason=f"by {deferral}" if put_off is not None else reason,
        deferral=put_off,
        photos=_photos(desk, pressed),
        seconds=f"{seconds:.1f}",
    )


def _field(pressed: Pressed, name: str) -> str:
    return str(st.session_state.get(f"{pressed.stem}-{name}") or "").strip()


def _photos(desk: Desk, pressed: Pressed) -> list[Attachment]:
    """Keep a photo that was given, without where it was taken; by a file, as the store takes it."""
    given = st.session_state.get(f"{pressed.stem}-photo")
    if given is None:
        return []
    with tempfile.TemporaryDirectory(prefix="flightlog-photo-") as folder:
        suffix = Path(str(given.name)).suffix[:6]
        path = Path(folder) / f"{pressed.item_id}{suffix}"
        path.write_bytes(given.getvalue())
        return [attach_photo(desk.book, path)]
