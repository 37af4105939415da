"""Taking a log in: dropped onto the page, or the newest one of the card."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

import streamlit as st

from flightlog.dashboard import parts, views
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
_FROM_CARD = "after-from-card"
"""The log of the card that is being taken in."""
_CHUNK = 1 << 20


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
        st.session_state[_FROM_CARD] = newest_log(card, desk.ledger.now).log.path
    on_card = st.session_state.get(_FROM_CARD)
    if not dropped and on_card is None:
        st.session_state.pop(_ASKED, None)
        return
    aircraft = _whose(desk) if _ASKED in st.session_state else ""
    if aircraft is None:
        return
    if dropped:
        _dropped(desk, dropped, aircraft)
    else:
        _told(desk, [Path(str(on_card))], aircraft)
    if _ASKED not in st.session_state:
        # A new field: what was dropped has been taken, and its memory is given back.
        st.session_state["after-drop-turn"] = turn + 1
        st.session_state.pop(_FROM_CARD, None)
    st.rerun()


def _whose(desk: Desk) -> str | None:
    """Ask whose log it is, where it does not say so itself; None until that is answered."""
    parts.warn(str(st.session_state[_ASKED]))
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    chosen = left.selectbox(
        "Whose log is it?",
        desk.versions.ids("aircraft"),
        format_func=parts.option,
        key="after-whose",
    )
    said = right.button("It is of this one", key="after-whose-said", type="primary")
    return chosen if said else None


def _dropped(desk: Desk, dropped: Sequence[UploadedFile], aircraft: str) -> None:
    """Write what was dropped to the disk under its name, for the readers, and take it in."""
    with tempfile.TemporaryDirectory(prefix="flightlog-drop-") as place:
        logs = []
        for number, file in enumerate(dropped):
            folder = Path(place) / str(number)  # two logs may have one name
            folder.mkdir()
            log = folder / _name(file.name)
            with log.open("wb") as to:
                while chunk := file.read(_CHUNK):
                    to.write(chunk)
            logs.append(log)
        _told(desk, logs, aircraft)


def _name(given: str) -> str:
    """Give the last part of a name, whatever system it comes from; never a way to elsewhere."""
    name = PureWindowsPath(PurePosixPath(given).name).name
    kept = "".join(sign for sign in name if sign.isprintable() and sign not in '<>:"|?*')
    return kept.strip(" .")[-120:] or "log"


def _told(desk: Desk, logs: Sequence[Path], aircraft: str) -> None:
    """Take logs in, with progress, and keep what is to be told in the next run."""
    bar = st.progress(0.0, text="reading")

    def step(fraction: float, text: str) -> None:
        bar.progress(min(max(fraction, 0.0), 1.0), text=parts.label(text))

    st.session_state.pop(_ASKED, None)
    try:
        found = take_in(desk, logs, Told(aircraft), step)
    except UsageError as error:  # nobody knows whose log it is
        st.session_state[_ASKED] = f"{error.where}: {error.found}."
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
        for flight in one.imported.flights:
            views.view(desk, flight, one.recording)
            st.session_state["sortie"] = named(flight.entry)
    st.session_state["after-told"] = (lines, [fault.sentence() for fault in found.faults])


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
