"""A ground test that stands on the page enters the record: who made it, and what is signed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import streamlit as st

from flightlog.dashboard import ground_drop, ground_history, hands, parts
from flightlog.dashboard.before_hands import who_signs
from flightlog.dashboard.ground_result import Seen
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Entry, Signer
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS
from flightlog.operations.ground_baseline import testers
from flightlog.operations.ground_entry import (
    Prepared,
    entered_before,
    ground_draft,
    note_ground_events,
)
from flightlog.operations.ground_subject import said_of
from flightlog.operations.ground_weighing import is_of_empty, weighing_of_test
from flightlog.operations.positions import heads_of, named
from flightlog.operations.service import to_clear
from flightlog.operations.signers import hands_for

_SIGNED = "ground-sign"
"""Key of what is signed here."""
_TOLD = "ground-told"
_LOOKED_AT = "ground-looked-at"
_WEIGHED = "ground-weighing"
_PENDING = "ground-weighing-pending"
"""A weighing that was entered as a test, and not yet as what load sheets start from."""
_INSPECTOR = ("inspector",)
_NOBODY = "nobody did"


@dataclass(frozen=True, slots=True)
class _Asked:
    """What somebody wants to sign: of which files, about what, by whom, in which words."""

    files: tuple[str, ...]
    subject: str
    by: str
    inspected: str
    text: str


@dataclass(frozen=True, slots=True)
class _LookedAt:
    """A draft, and what it was made of; its files are kept by then."""

    asked: _Asked
    heads: tuple[str, ...]
    draft: Draft
    made: Prepared


def arrived(desk: Desk) -> None:
    """Do what follows a signature, before the page draws what it was about."""
    entry = hands.added(desk, _SIGNED)
    if entry is not None:
        _entered(desk, entry)


def told(desk: Desk) -> None:
    """Tell what was entered last, and ask for what belongs to it."""
    said = cast(tuple[str, list[str]] | None, st.session_state.get(_TOLD))
    if said is not None:
        parts.note(said[0])
        for line in said[1]:
            parts.warn(line)
    _weighing(desk)


def forget() -> None:
    """Tell of the last one no more: other files lie there."""
    st.session_state.pop(_TOLD, None)


def _entered(desk: Desk, entry: Entry) -> None:
    """Put the files away, and let what the test shows follow it into the record."""
    ground_drop.give_back()
    looked_at = cast(_LookedAt | None, st.session_state.pop(_LOOKED_AT, None))
    if looked_at is not None and is_of_empty(looked_at.made):
        st.session_state[_PENDING] = (looked_at, entry.hash)
    shown: list[str] = []
    said = f"Signed and added: the test is {named(entry)}. It stands below, with its history."
    st.session_state[_TOLD] = (said, shown)
    ground_history.turn_to(said_of(entry))
    for event in note_ground_events(desk, entry):
        kind = EVENTS[event.body.content["event"]]
        text = f"Entered too, {named(event)}: {kind.label}."
        if kind.grounds:
            text += f" OUT OF SERVICE: {said_of(entry).text}. {to_clear(desk, event)}"
        shown.append(text)


def enter(desk: Desk, seen: Seen) -> None:
    """Draw how the test is entered: who made it, what is said beside it, and the signatures."""
    made = seen.made
    if made is None:
        return
    parts.heading("Enter it into the record")
    before = entered_before(desk, made)
    if before is not None:
        parts.note(f"These files are in the record already, as {named(before)}.")
        return
    left, right = st.columns([2, 3], gap="medium")
    with left:
        asked = _ask(desk, seen, made)
        if asked is None:
            return
        pressed = st.button("Look at it before signing", key="ground-look", width="stretch")
    with right:
        known = cast(_LookedAt | None, st.session_state.get(_LOOKED_AT))
        if pressed or (known is not None and known.asked == asked):
            _to_sign(desk, made, asked)


def _ask(desk: Desk, seen: Seen, made: Prepared) -> _Asked | None:
    """Ask who made the test and who looked afresh; None where nobody may sign."""
    roles = testers(made.test.kind.word)
    by = who_signs(desk, roles, "Made by", "ground-by")
    if by is None:
        return None
    others = [hand.key for hand in hands_for(desk, _INSPECTOR, (by,))]
    inspected = st.selectbox(
        "Looked at afresh by",
        ["", *others],
        format_func=lambda key: parts.option(desk.crew.label_of_key(key) if key else _NOBODY),
        key="ground-inspected",
    )
    text = st.text_input("To be said beside it", key="ground-text", autocomplete="off")
    said = (text or "").strip()
    return _Asked(seen.reduced.key, made.subject.text, by, inspected or "", said)


def _to_sign(desk: Desk, made: Prepared, asked: _Asked) -> None:
    """Show the entry as it would stand, and let those who are named sign it."""

    def draft() -> Draft:
        heads = heads_of(desk.ledger)
        known = cast(_LookedAt | None, st.session_state.get(_LOOKED_AT))
        if known is None or known.asked != asked or known.heads != heads:
            known = _LookedAt(asked, heads, _drafted(desk, made, asked), made)
            st.session_state[_LOOKED_AT] = known
        return known.draft

    hands.signed(desk, draft, key=_SIGNED, button="Sign the test")


def _drafted(desk: Desk, made: Prepared, asked: _Asked) -> Draft:
    roles = testers(made.test.kind.word)
    role = next((h.role for h in hands_for(desk, roles) if h.key == asked.by), "")
    signers = [Signer(asked.by, "performed", role)]
    if asked.inspected:
        signers.append(Signer(asked.inspected, "inspected", _INSPECTOR[0]))
    weighing_of_test(desk, made, signers)  # what can't follow is refused before anything is signed
    return ground_draft(desk, made, signers, asked.text)


# --- the weighing of the empty aircraft, which load sheets start from


def _weighing(desk: Desk) -> None:
    """Let those who signed a weighing of the empty aircraft enter it for load sheets too."""
    if hands.added(desk, _WEIGHED) is not None:
        st.session_state.pop(_PENDING, None)
        parts.note("The weighing was added too: load sheets start from it.")
    pending = cast(tuple[_LookedAt, str] | None, st.session_state.get(_PENDING))
    test = desk.book.order.get(pending[1]) if pending is not None else None
    if pending is None or test is None:
        return
    parts.heading("The weighing of the empty aircraft")
    if st.button("Leave it out: load sheets keep the one before", key="ground-weighing-out"):
        del st.session_state[_PENDING]
        st.rerun()
    looked_at = pending[0]

    def draft() -> Draft:
        return cast(Draft, weighing_of_test(desk, looked_at.made, looked_at.draft.signers, test))

    hands.signed(desk, draft, key=_WEIGHED, button="Sign the weighing")
