"""The team's files on the screen: those in force, and what lies in the folder beside them."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.operations.desk import Desk
from flightlog.operations.working_copies import SAME, WorkingCopy, working_copies
from flightlog.reports.markup import escaped
from flightlog.reports.record_words import FILE_HEAD, file_rows
from flightlog.team.copying import copy_line

_COMMANDS = (
    "flightlog team enter FILE --by WHO --by WHO",
    "flightlog team restore FILE",
    "flightlog team copy STICK/TEAM",
)
_CHANGE_HEAD = ("Key", "In force", "In the folder", "Limit")


def show(desk: Desk) -> None:
    """Draw the files and how each stands."""
    parts.heading("Files in force, and working copies")
    copies = working_copies(desk)
    if not copies:
        parts.nothing(
            "The team folder holds no files yet.",
            "Put aircraft, packs, sites and rule books into its folders, and enter each:",
            "flightlog team enter aircraft/ID.toml --by WHO --by WHO",
        )
        return
    other = [copy for copy in copies if copy.state != SAME]
    parts.note(
        f"{len(copies) - len(other)} of {len(copies)} files in the folder are those in force; only "
        "what is in force counts."
    )
    parts.table(FILE_HEAD, file_rows(desk, copies))
    _changes(other)
    parts.note(copy_line(desk.ledger))
    parts.html(*(f"<p><code>{escaped(command)}</code></p>" for command in _COMMANDS))


def _changes(other: list[WorkingCopy]) -> None:
    for number, copy in enumerate(other):
        if copy.version is not None and copy.changes:
            with st.expander(
                f"What differs: {parts.label(f'{copy.kind} {copy.id}')}",
                key=f"records-file-{copy.kind}-{copy.id}-{number}",  # two may be called alike
            ):
                rows = [
                    (one.key, one.before, one.after, "limit" if one.limit else "")
                    for one in copy.changes
                ]
                parts.table(_CHANGE_HEAD, rows)
