"""The logbook on the screen: entries found, one in full, and the check of the whole."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.grid import grid
from flightlog.errors import FlightlogError
from flightlog.logbook.check_report import report_lines
from flightlog.logbook.checking import check
from flightlog.logbook.codes import read_head
from flightlog.logbook.device import DeviceMemory, default_profile
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.entry_search import Asked, find_entries, kinds_in
from flightlog.operations.positions import heads_of, named
from flightlog.reports.entry_words import HEAD, entry_rows, full_lines
from flightlog.team.files import FOLDERS

_ANY = ""
_STEP = 40
_RESULT, _CHOSEN = "records-check-result", "records-entry"


def show(desk: Desk) -> None:
    """Draw the check, the entries, and one in full."""
    if not any(desk.versions.ids(kind) for kind in FOLDERS):
        parts.nothing(
            "No file of the team is in force yet.",
            "Put aircraft, packs, sites and rule books into the team folder, and enter each first:",
            "flightlog team enter aircraft/ID.toml --by WHO --by WHO",
        )
    _check(desk)
    _contradictions(desk)
    parts.heading("Entries, the newest first")
    asked = _asked(desk)
    most = int(st.session_state.setdefault("records-most", _STEP))
    found = find_entries(desk, asked, most)
    if not found.entries:
        parts.nothing("No entry fits.", "Take a filter away.")
        return
    parts.note(
        f"{len(found.entries)} of {found.total} entries; times are UTC by the laptops. Press a "
        "line to read all of it."
    )
    grid(
        HEAD,
        entry_rows(desk, found.entries),
        label="Entries of the logbook",
        numbers=(),
        chosen=str(st.session_state.get(_CHOSEN) or ""),
        key="records-entries",
        on_line=_choose,
    )
    if found.total > len(found.entries):
        st.button("Show older ones", key="records-older", on_click=_older)
    _one(desk, found.entries)


def _choose(name: str) -> None:
    st.session_state[_CHOSEN] = name


def _older() -> None:
    st.session_state["records-most"] += _STEP


def _asked(desk: Desk) -> Asked:
    first, second, third, fourth = st.columns([3, 3, 4, 2], vertical_alignment="bottom")
    kinds = kinds_in(desk)
    kind = first.selectbox(
        "Kind",
        [_ANY, *kinds],
        format_func=lambda one: parts.option(f"{one} ({kinds[one]})") if one else "any",
        key="records-kind",
        persist_state="session",
    )
    persons = [person.id for person in desk.book.people.persons]
    person = second.selectbox(
        "Signed by",
        [_ANY, *persons],
        format_func=lambda one: parts.option(desk.crew.label(one)) if one else "anybody",
        key="records-person",
        persist_state="session",
    )
    text = third.text_input(
        "Holds the words",
        key="records-text",
        placeholder="a word, or a name like 4.H3MED",
        persist_state="session",
    )
    marked = fourth.checkbox(
        "Marked ones",
        key="records-marked",
        help="Late, corrected, or not counting",
        persist_state="session",
    )
    return Asked(kind or "", person or "", text or "", bool(marked))


def _one(desk: Desk, entries: tuple[Entry, ...]) -> None:
    names = [named(entry) for entry in entries]
    name = st.selectbox(
        "One entry in full",
        names,
        index=None,
        placeholder="Press a line above, or choose one here",
        key=_CHOSEN,
    )
    if name is not None:
        parts.lines(full_lines(desk, entries[names.index(name)]))


def _contradictions(desk: Desk) -> None:
    standing = desk.book.standing
    for contradiction in standing.contradictions:
        parts.warn(f"Contradiction in the record: {contradiction.text}")
    if standing.unexplained_forks:
        parts.warn(
            "A device has two entries after one and the same; press Check the record, which names "
            "them and says what to do."
        )


# --- is it whole?


def _check(desk: Desk) -> None:
    parts.heading("Is the record whole?")
    order = desk.book.order
    parts.lines(
        [
            f"{desk.folder.name}: {len(order)} entries. Heads, to note elsewhere:",
            *(f"  {head}" for head in heads_of(desk.ledger)),
        ]
    )
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    typed = left.text_input(
        "Heads noted on paper or elsewhere, to compare",
        key="records-heads",
        placeholder="120.KWP9Y-B4Z5J-FJS7S-CKWP9-YB4Z5-CF",
    )
    if right.button("Check the record", key="records-check", type="primary", width="stretch"):
        st.session_state[_RESULT] = _checked(desk, typed)
    result = st.session_state.get(_RESULT)
    if result is not None and result[0] == len(order):
        parts.lines(result[1])


def _checked(desk: Desk, typed: str) -> tuple[int, list[str]] | None:
    """Check the whole record; give for how many entries, and the report."""
    try:
        heads = [read_head(text) for text in typed.replace(",", " ").split()]
        memory = DeviceMemory(default_profile())
        with st.spinner("Every entry, signature and file is looked at"):
            report = check(desk.folder.logbook, heads, remembered=memory.remembered)
        memory.note_heads(report.team, report.tips)
    except FlightlogError as error:
        parts.refused(error)
        return None
    return len(desk.book.order), report_lines(report)
