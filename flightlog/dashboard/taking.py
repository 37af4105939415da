"""Taking a log in: dropped onto the page, or the newest one of the card."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from flightlog.dashboard import parts, views
from flightlog.dashboard.dropped import written
from flightlog.errors import FlightlogError, UsageError
from flightlog.operations.desk import Desk
from flightlog.operations.importing import Told
from flightlog.operations.newest import newest_log
from flightlog.operations.positions import named
from flightlog.operations.taking_in import TakenIn, take_in
from flightlog.reports.flights import imported_lines

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

_WIDTH = 100
_ASKED = "after-asked"
"""What is asked about the logs that lie there, until it is answered."""
_READ = "after-read"
"""What was read of them, until then."""
_FROM_CARD = "after-from-card"
"""The log of the card that is being taken in."""


def take(desk: Desk) -> None:
    """Draw where a log is dropped, and put what was dropped into the record."""
    turn = int(st.session_state.setdefault("after-drop-turn", 0))
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    dropped = left.file_uploader(
        "Drop the logs of a flight here",
        accept_multiple_files=True,
        key=f"after-drop-{turn}",
    )
    card = desk.folder.card_folder()
    newest = right.button(
        "Newest log of the card",
        key="after-newest",
        disabled=card is None,
        help=None if card else 'Write card = "FOLDER" into team.toml first.',
        width="stretch",
    )
    if newest and card is not None:
        try:
            st.session_state[_FROM_CARD] = newest_log(card, desk.ledger.now).log.path
        except FlightlogError as error:
            st.session_state["after-told"] = ([], [error.sentence()])
    if not dropped and _FROM_CARD not in st.session_state:
        st.session_state.pop(_ASKED, None)
        st.session_state.pop(_READ, None)
        return
    aircraft = _whose(desk) if _ASKED in st.session_state else ""
    if aircraft is None:
        return
    try:
        _taken(desk, dropped, aircraft)
    except OSError as error:
        why = f"The logs could not be taken in ({error.strerror or type(error).__name__})."
        st.session_state["after-told"] = ([], [f"{why} Is there room on the disk?"])
    except Exception:  # what is at fault must not come back whenever the page is drawn
        _give_back(turn)
        raise
    if _ASKED not in st.session_state:
        _give_back(turn)
    st.rerun()


def _taken(desk: Desk, dropped: Sequence[UploadedFile], aircraft: str) -> None:
    if dropped:
        _dropped(desk, dropped, aircraft)
    else:
        _told(desk, [Path(str(st.session_state[_FROM_CARD]))], aircraft)


def _give_back(turn: int) -> None:
    """Draw a new field: what was dropped is done with, and its memory is given back."""
    st.session_state["after-drop-turn"] = turn + 1
    st.session_state.pop(_FROM_CARD, None)


def _whose(desk: Desk) -> str | None:
    """Ask whose log it is, where it does not say so itself; None until that is answered."""
    parts.warn(str(st.session_state[_ASKED]))
    known = desk.versions.ids("aircraft")
    if not known:
        parts.nothing(
            "There is no aircraft to choose from.",
            "Enter the file of one, then drop the log again:",
            "flightlog team enter aircraft/ID.toml --by WHO --by WHO",
        )
        return None
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    chosen = left.selectbox(
        "Whose log is it?",
        known,
        format_func=parts.option,
        key="after-whose",
    )
    said = right.button("It is of this one", key="after-whose-said", type="primary")
    return chosen if said else None


def _dropped(desk: Desk, dropped: Sequence[UploadedFile], aircraft: str) -> None:
    """Write what was dropped to the disk under its name, for the readers, and take it in."""
    with tempfile.TemporaryDirectory(prefix="flightlog-drop-") as place:
        _told(desk, written(dropped, Path(place)), aircraft)


def _told(desk: Desk, logs: Sequence[Path], aircraft: str) -> None:
    """Take logs in, with progress, and keep what is to be told in the next run."""
    bar = st.progress(0.0, text="reading")

    def step(fraction: float, text: str) -> None:
        bar.progress(min(max(fraction, 0.0), 1.0), text=parts.label(text))

    st.session_state.pop(_ASKED, None)
    shelf = st.session_state.pop(_READ, {})
    try:
        found = take_in(desk, logs, Told(aircraft), step, shelf)
    except UsageError as error:  # nobody knows whose log it is
        st.session_state[_ASKED] = f"{error.where}: {error.found}."
        st.session_state[_READ] = shelf
        return
    except FlightlogError as error:
        st.session_state["after-told"] = ([], [error.sentence()])
        return
    finally:
        bar.empty()
    _keep(desk, found)


def _keep(desk: Desk, found: TakenIn) -> None:
    lines: list[str] = []
    for one in found.taken:
        lines += imported_lines(desk, one.imported, _WIDTH)
        if one.recording is not None:
            views.at_hand(one.imported.recording, one.recording)
        for flight in one.imported.flights:
            st.session_state["sortie"] = named(flight.entry)
    st.session_state["after-told"] = (lines, [_sentence(fault) for fault in found.faults])


def _sentence(fault: FlightlogError) -> str:
    """Say what is at fault; where nobody knows whose a log is, in the page's own words."""
    if isinstance(fault, UsageError):
        return f"{fault.where}: {fault.found}. Drop it by itself; then it is asked whose it is."
    return fault.sentence()


def is_asking() -> bool:
    """Whether logs lie there of which nobody has said whose they are."""
    return _ASKED in st.session_state


def came_to_nothing() -> bool:
    """Whether the last log was refused, so that no flight that is shown is of it."""
    lines, faults = st.session_state.get("after-told") or ([], [])
    return bool(faults) and not lines


def last() -> None:
    """Tell what came of the last log, until the next one."""
    told = st.session_state.get("after-told")
    if told is None:
        return
    lines, faults = told
    for fault in faults:
        parts.warn(fault)
    if lines:
        with st.expander("What came of the log", expanded=bool(faults)):
            parts.lines(lines)
