"""Signing at the screen: one passphrase a person, typed where what is signed can be read.

An unlock belongs to one browser tab, for one list, for ten minutes. The run that reads a passphrase
ends by drawing the page anew with other fields, so that no state of the page holds it afterwards.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import NoReturn, cast

import streamlit as st

from flightlog.dashboard import parts, setup
from flightlog.errors import FlightlogError, KeyFileError, PassphraseError, RefusedError
from flightlog.logbook.book import Draft, Shown
from flightlog.logbook.device import default_profile
from flightlog.logbook.entry import Entry
from flightlog.logbook.keys import KeyFolder, Passphrase
from flightlog.logbook.unlocking import Session, Unlocked
from flightlog.operations.desk import Desk

_SESSIONS = "unlocked-lists"
_MINUTE_S = 60
_READ_AGAIN = "Read it again, then sign."


def signed(
    desk: Desk, make: Callable[[], Draft], *, key: str, button: str = "Sign"
) -> Entry | None:
    """Let those whom a draft names read it and sign it; nothing is signed that was not shown.

    Parameters
    ----------
    desk : Desk
        The team's.
    make : callable
        Gives the draft as it is now.
    key : str
        Of the widgets; unique on the page.
    button : str
        What it is called.

    Returns
    -------
    Entry or None
        Once, in the run after it was added; None in all others.
    """
    entry = added(desk, key)
    if entry is not None:
        return entry
    _tell(key)
    noted = bool(st.session_state.pop(f"{key}-pressed", False))
    try:
        draft = make()
        shown = desk.book.show(draft, desk.names) if draft.signers else None
    except FlightlogError as error:
        parts.refused(error)
        return None
    if shown is not None:
        parts.lines(shown.lines)
    names = _fields(desk, draft, key, button, _mark(shown))
    if not names.pressed:
        if noted:  # the button below another text, which is not the one here
            _again(key, RefusedError("what is to be signed has changed meanwhile", fix=_READ_AGAIN))
        return None
    typed = names.typed()
    _new_fields(key)
    try:
        st.session_state[f"{key}-added"] = _added(desk, draft, shown, typed).hash
    except FlightlogError as error:
        _again(key, error)
    st.rerun()  # at once, so that the fields go with what was typed


def _mark(shown: Shown | None) -> str:
    """Give what a text is told from others by: part of the keys of the fields that stand below it.

    So a press on a button belongs to the text that stood above it, and to no other one that the
    server has drawn up meanwhile and the browser has not shown yet.
    """
    lasting = "\n".join(shown.lasting) if shown is not None else ""
    return hashlib.sha256(lasting.encode()).hexdigest()[:16]


def added(desk: Desk, key: str) -> Entry | None:
    """Give what was added by ``signed`` with this key in the run before; once, None in all others.

    For a page that does not draw the fields again, since what was signed makes them needless.
    """
    known = st.session_state.pop(f"{key}-added", None)
    return desk.book.order.get(known) if known is not None else None


@dataclass(frozen=True, slots=True)
class _Fields:
    """Fields for passphrases, by their names, and whether their button was pressed."""

    names: tuple[str, ...]
    pressed: bool

    def typed(self) -> list[Passphrase]:
        """Give what was typed, and forget it; whatever comes now, nothing of it stays."""
        return [Passphrase(str(st.session_state.pop(name, None) or "")) for name in self.names]


def _fields(desk: Desk, draft: Draft, key: str, button: str, mark: str) -> _Fields:
    """Draw a field for each signer, and the button; ``mark`` is of the text above them."""
    turn = f"{_turn(key)}-{mark}"
    names = tuple(f"{key}-typed-{turn}-{number}" for number, _ in enumerate(draft.signers))
    with st.form(f"{key}-form-{turn}", border=False):
        for signer, name in zip(draft.signers, names, strict=True):
            who = parts.label(desk.crew.label_of_key(signer.key))
            st.text_input(f"{who}: passphrase", type="password", key=name, autocomplete="off")
        pressed = st.form_submit_button(
            parts.label(button),
            type="primary",
            key=f"{key}-sign-{turn}",
            on_click=_note_press,
            args=(key,),
        )
    return _Fields(names, pressed)


def _note_press(key: str) -> None:
    """Note that a button was pressed, be it drawn again or not."""
    st.session_state[f"{key}-pressed"] = True


def _turn(key: str) -> int:
    return int(st.session_state.setdefault(f"{key}-turn", 0))


def _new_fields(key: str) -> None:
    """Draw fields anew from the next run on, so that what was typed is gone with the old ones."""
    st.session_state[f"{key}-turn"] = _turn(key) + 1


def _again(key: str, error: FlightlogError) -> NoReturn:
    """Draw the page once more, and tell above the fields what was wrong."""
    st.session_state[f"{key}-told"] = error.sentence()
    st.rerun()


def _tell(key: str) -> None:
    told = st.session_state.pop(f"{key}-told", "")
    if told:
        parts.warn(told)


def _added(desk: Desk, draft: Draft, shown: Shown | None, typed: Sequence[Passphrase]) -> Entry:
    with ExitStack() as held:
        unlocked = [
            held.enter_context(_opened(desk, signer.key, phrase))
            for signer, phrase in zip(draft.signers, typed, strict=True)
        ]
        return desk.append(draft, tuple(unlocked), shown=shown)


def _opened(desk: Desk, key: str, phrase: Passphrase) -> Unlocked:
    """Open a person's key; what is wrong is told by the person, since several sign at once."""
    try:
        return _folder_of(desk, key).unlock(key, phrase)
    except PassphraseError as error:
        who = desk.crew.label_of_key(key)
        raise PassphraseError(error.found, where=who, fix=error.fix) from error


def _folder_of(desk: Desk, key: str) -> KeyFolder:
    """Give the folder that holds a person's key.

    Raises
    ------
    KeyFileError
        If none does.
    """
    places = setup.SETUP.keys or (default_profile() / "keys",)
    folders = [KeyFolder(place, not_in=[desk.folder.path]) for place in places]
    for folder in folders:
        if any(info.key == key for info in folder.list()):
            return folder
    raise KeyFileError(
        f"the key of {desk.crew.label_of_key(key)} is not here",
        where=", ".join(str(folder.path) for folder in folders),
        fix="Put in the stick with the key, and open the pages with --keys DIR.",
    )


# --- a list in hand


def at_laptop(desk: Desk, list_name: str, keys: Sequence[str], key: str) -> Unlocked | None:
    """Say who is at the laptop for a list; let them unlock once, and hand over.

    Parameters
    ----------
    desk : Desk
        The team's.
    list_name : str
        The list that the unlock is good for.
    keys : sequence of str
        Public keys of the persons who may come to it.
    key : str
        Of the widgets; unique on the page.

    Returns
    -------
    Unlocked or None
        Of the person who is at the laptop, while it lasts.
    """
    session = _session(list_name)
    present = session.present
    if present is not None:
        left, right = st.columns([3, 1], vertical_alignment="center")
        who = desk.crew.label_of_key(present.key)
        minutes = -(-int(present.left_s) // _MINUTE_S)
        with left:
            parts.note(f"{who} is at the laptop; the key is open for {minutes} min more.")
        if right.button("Hand over", key=f"{key}-hand-over", width="stretch"):
            session.hand_over()
            st.rerun()
        return present
    return _unlocked_now(desk, session, keys, key)


def _unlocked_now(desk: Desk, session: Session, keys: Sequence[str], key: str) -> Unlocked | None:
    _tell(key)
    turn = _turn(key)
    name = f"{key}-typed-{turn}"
    with st.form(f"{key}-form-{turn}", border=False):
        who = st.selectbox(
            "At the laptop",
            list(keys),
            format_func=lambda one: parts.option(desk.crew.label_of_key(one)),
            key=f"{key}-who-{turn}",
        )
        st.text_input("Passphrase", type="password", key=name, autocomplete="off")
        pressed = st.form_submit_button("Begin", type="primary", key=f"{key}-begin-{turn}")
    if not pressed or who is None:
        return None
    (typed,) = _Fields((name,), pressed).typed()
    _new_fields(key)
    try:
        session.unlock(_folder_of(desk, who), who, typed)
    except FlightlogError as error:
        _again(key, error)
    st.rerun()


def _session(list_name: str) -> Session:
    sessions = cast(dict[str, Session], st.session_state.setdefault(_SESSIONS, {}))
    return sessions.setdefault(list_name, Session(list_name))


def present(list_name: str) -> Unlocked | None:
    """Give the unlock of the person who is at the laptop for a list; None where nobody is."""
    return _session(list_name).present


def hand_over(list_name: str) -> None:
    """End every unlock for a list: it is done, or put away."""
    _session(list_name).end()
