"""Defects on the screen: as they stand, one in full, and a new report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import streamlit as st

from flightlog.dashboard import hands, parts
from flightlog.dashboard.records_parts import marked_table
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Signer
from flightlog.logbook.flying_kinds import GROUPS, NEVER_DEFERRED, SEVERITIES
from flightlog.operations.defects import CLOSED, DefectState, defect_draft, defects, state_of
from flightlog.operations.desk import Desk
from flightlog.operations.photos import keep_photo
from flightlog.operations.signers import hands_for
from flightlog.reports.defect_words import HEAD, counts_line, defect_lines, defect_rows
from flightlog.reports.markup import escaped
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK

_LARGEST_MB = 60
_READY = "records-defect-ready"
_COMMANDS = (
    "flightlog defect defer DEFECT --reason TEXT --risk TEXT --limitation TEXT --until DAY "
    "--by PILOT --by SAFETY",
    "flightlog defect rectify DEFECT --action TEXT --by WHO",
    "flightlog defect inspect WORK --text TEXT --by WHO",
    "flightlog defect close DEFECT --by WHO",
)


@dataclass(frozen=True, slots=True)
class _Told:
    """A report as it was filled in, before anybody signs."""

    thing: str
    id: str
    part: str
    text: str
    group: str
    severity: str
    photos: tuple[tuple[str, bytes], ...]
    signers: tuple[str, ...]


def show(desk: Desk) -> None:
    """Draw the defects, and the form for a new one."""
    every = defects(desk)
    parts.heading("Defects")
    still = [one for one in every if one.state != CLOSED]
    if still:
        parts.note(counts_line(every))
        marked_table(HEAD, defect_rows(desk, still), "State")
    else:
        parts.note("No defect is open or deferred.")
    _closed(desk, [one for one in every if one.state == CLOSED])
    _one(desk, every)
    _report(desk)
    with st.expander("What comes after the report, by commands", key="records-defect-commands"):
        parts.html(*(f"<p><code>{escaped(command)}</code></p>" for command in _COMMANDS))
        parts.note(
            f"Parts of {', '.join(NEVER_DEFERRED)} are never deferred. Each command shows help "
            "with --help."
        )


def _closed(desk: Desk, closed: list[DefectState]) -> None:
    if closed:
        with st.expander(f"{len(closed)} closed", key="records-defects-closed"):
            parts.table(HEAD, defect_rows(desk, closed))


def _one(desk: Desk, every: tuple[DefectState, ...]) -> None:
    if not every:
        return
    names = [one.says for one in every]
    chosen = st.selectbox(
        "One defect in full",
        names,
        index=None,
        format_func=parts.option,
        placeholder="Choose one",
        key="records-defect",
    )
    if chosen is not None:
        parts.lines(defect_lines(desk, every[names.index(chosen)]))


# --- a new one


def _report(desk: Desk) -> None:
    parts.heading("Report a defect")
    things = [
        (thing, id_) for thing in (AIRCRAFT, PACK, COMPONENT) for id_ in desk.versions.ids(thing)
    ]
    if not things:
        parts.nothing(
            "No aircraft, pack or component has a file in force.",
            "Put its file into the team folder, and enter it first:",
            "flightlog team enter aircraft/ID.toml --by WHO --by WHO",
        )
        return
    done = st.session_state.pop("records-defect-done", None)
    if done is not None:
        parts.note(f"Reported: {done}")
    ready = cast(_Told | None, st.session_state.get(_READY))
    if ready is None:
        _form(desk, things)
    else:
        _sign(desk, ready)


def _form(desk: Desk, things: list[tuple[str, str]]) -> None:
    with st.form("records-defect-form", border=True):
        first, second, third = st.columns(3)
        on = first.selectbox(
            "Found on",
            things,
            format_func=lambda one: parts.option(f"{one[0]} {one[1]}"),
            key="records-defect-on",
        )
        part = second.text_input("Which part", key="records-defect-part", max_chars=200)
        group = third.selectbox(
            "It belongs to", GROUPS, index=None, placeholder="Choose", key="records-defect-group"
        )
        text = st.text_area("What was found", key="records-defect-text", max_chars=3900)
        first, second = st.columns(2)
        severity = first.segmented_control("Severity", SEVERITIES, key="records-defect-severity")
        who = second.multiselect(
            "Signed by",
            [hand.key for hand in hands_for(desk)],
            format_func=lambda one: parts.option(desk.crew.label_of_key(one)),
            placeholder="Nobody has to sign",
            key="records-defect-by",
        )
        parts.note(_SEVERITY_HELP)
        photos = _photos()
        pressed = st.form_submit_button(
            "Go on: read it, then enter it", key="records-defect-go-on", type="primary"
        )
    if not pressed:
        return
    missing = _missing(part, text, group, severity)
    if missing or on is None:
        parts.warn(f"Still missing: {', '.join(missing) or 'what it was found on'}.")
        return
    told = (part.strip(), text.strip(), str(group), str(severity))
    st.session_state[_READY] = _Told(on[0], on[1], *told, photos, tuple(who))
    st.rerun()


def _photos() -> tuple[tuple[str, bytes], ...]:
    """Draw where photos are dropped, and give their names and bytes."""
    files = st.file_uploader(
        "Photos; where they were taken is left out",
        type=["jpg", "jpeg", "png", "webp"],
        accept_multiple_files=True,
        max_upload_size=_LARGEST_MB,
        key="records-defect-photos",
    )
    return tuple((file.name, file.getvalue()) for file in cast(list[Any], files or []))


_SEVERITY_HELP = (
    "blocking: nothing is flown with it. deferrable: nothing either, until it is put off within a "
    "limitation. cosmetic: it stops nothing. A severity is raised later, and never lowered."
)


def _missing(part: str, text: str, group: str | None, severity: str | None) -> list[str]:
    asked = (
        ("which part", part.strip()),
        ("what was found", text.strip()),
        ("what it belongs to", group),
        ("severity", severity),
    )
    return [name for name, given in asked if not given]


def _sign(desk: Desk, told: _Told) -> None:
    parts.lines(
        [
            f"{told.severity} defect on {told.thing} {told.id}",
            f"{told.part} ({told.group}): {told.text}",
            f"photos: {', '.join(name for name, _ in told.photos) or 'none'}",
        ]
    )
    if told.severity != SEVERITIES[-1]:
        parts.warn(f"{told.thing} {told.id} is held as soon as this is entered.")
    entry = hands.signed(
        desk, lambda: _draft(desk, told), key="records-defect-sign", button="Report it"
    )
    if entry is not None:
        del st.session_state[_READY]
        st.session_state["records-defect-done"] = state_of(desk, entry).says
        st.rerun()
    if st.button("Back, without entering it", key="records-defect-back"):
        del st.session_state[_READY]
        st.rerun()


def _draft(desk: Desk, told: _Told) -> Draft:
    return defect_draft(
        desk,
        part=told.part,
        group=told.group,
        severity=told.severity,
        text=told.text,
        signers=[Signer(key, "reported") for key in told.signers],
        photos=[keep_photo(desk.book, data, name) for name, data in told.photos],
        aircraft=told.id if told.thing == AIRCRAFT else "",
        pack=told.id if told.thing == PACK else "",
        component=told.id if told.thing == COMPONENT else "",
    )
