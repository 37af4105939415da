"""What every page stands in: the team's desk for one run, what is chosen, and the head of the page.

There is one desk for all tabs, behind a lock, since a logbook is used by one hand at a time. It
reads what was added since, here or by a command in another window, whenever a page is drawn.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import streamlit as st

from flightlog.dashboard import parts, setup
from flightlog.errors import FlightlogError, NotWritableError, TeamFolderError
from flightlog.logbook.book import Logbook
from flightlog.logbook.codes import head_code
from flightlog.logbook.names import Names
from flightlog.operations.desk import Desk
from flightlog.reports.ages import clock_line
from flightlog.reports.faults import fault_of
from flightlog.team.folder import TeamFolder

_LOCK = threading.RLock()
_NONE = ""
_SOON_S = 1.0


@dataclass
class _Kept:
    """The desk that is open, and what it was opened with."""

    setup: setup.Setup | None = None
    desk: Desk | None = None
    read_only: str = ""


_KEPT = _Kept()


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the pages are about; ids of files, empty where there is none."""

    aircraft: str = ""
    pack: str = ""
    rules: str = ""
    site: str = ""


@contextmanager
def at_desk(*, again: bool = False) -> Iterator[Desk | None]:
    """Give the team's desk for one run of a page; None where there is none, which is then told.

    Errors that a page lets through are shown in its place; what was shown before them stays.

    Parameters
    ----------
    again : bool
        In a fragment of a page, which is drawn by itself too: what makes all else doubtful is said
        by the page already.
    """
    with _turn():
        desk = _tried()
        try:
            if desk is not None and not again:
                _warnings(desk)
            yield desk
        except FlightlogError as error:
            parts.refused(error)
        except Exception as error:  # the wall: what is drawn stays, and the next page works
            parts.refused(fault_of(error))


@contextmanager
def _turn() -> Iterator[None]:
    """Wait until no other tab is at the desk; say so where that takes a while."""
    at_once = _LOCK.acquire(timeout=_SOON_S)
    if not at_once:
        waiting = st.empty()
        with waiting:
            parts.note("Another tab is at work, perhaps with a log; this page comes after it.")
        _LOCK.acquire()
    try:
        if not at_once:
            waiting.empty()
        yield
    finally:
        _LOCK.release()


def _tried() -> Desk | None:
    """Give the desk; None, which is told, where there is no folder or its record is broken."""
    try:
        folder = TeamFolder.find(setup.SETUP.team)
    except TeamFolderError as error:
        _no_folder(error)
        return None
    except FlightlogError as error:
        parts.refused(error)
        return None
    try:
        return _desk(folder)
    except FlightlogError as error:
        close()
        parts.refused(error)
        parts.note("'flightlog logbook check' says more about a record that is broken.")
        return None


def _no_folder(error: TeamFolderError) -> None:
    parts.nothing(
        f"No team folder is open: {error.found}.",
        "Make one, two people at the laptop, then open these pages with it. To look around first, "
        "'flightlog demo' makes a season of sample flights.",
        "flightlog team new TEAM --name NAME --person pilot --roles pilot "
        "--person mechanic --roles mechanic,inspector",
    )


def _desk(folder: TeamFolder) -> Desk:
    """Give the open desk, up to date; open it where it is not."""
    if _KEPT.desk is None or _KEPT.setup is not setup.SETUP:
        close()
        book, _KEPT.read_only = _opened(folder, setup.SETUP)
        _KEPT.desk, _KEPT.setup = Desk(folder, book), setup.SETUP
    else:
        _KEPT.desk.refresh()
    # Neither is in the record: commands in another window may have changed them.
    _KEPT.desk.folder, _KEPT.desk.names = folder, _names(folder)
    return _KEPT.desk


def _opened(folder: TeamFolder, given: setup.Setup) -> tuple[Logbook, str]:
    """Open the record; why it can only be read, "" where it can be written."""
    try:
        return Logbook.open(folder.logbook, clock=given.clock), ""
    except NotWritableError as error:
        book = Logbook.open(folder.logbook, read_only=True, clock=given.clock)
        return book, error.found


def _names(folder: TeamFolder) -> Names:
    try:
        return Names.read(folder.names)
    except TeamFolderError:
        return Names()


def close() -> None:
    """Close the desk; the next page opens it again."""
    with _LOCK:
        if _KEPT.desk is not None:
            _KEPT.desk.book.close()
        _KEPT.desk = _KEPT.setup = None


def _warnings(desk: Desk) -> None:
    """Say what makes all else doubtful."""
    if _KEPT.read_only:
        parts.warn(f"This folder can only be read ({_KEPT.read_only}). Nothing can be signed.")
    ahead = clock_line(desk)
    if ahead:
        parts.warn(ahead)
    missing = [head_code(kept.number, kept.hash) for kept in desk.book.missing_heads()]
    if missing:
        parts.warn(
            "This folder is an older copy, or was cut: this laptop knows of entries that are not "
            f"in it (up to {', '.join(missing)}). Merge the newer folder before you sign."
        )


# --- what the pages are about


def chosen(desk: Desk, *, flight: bool = True) -> Chosen:
    """Draw what the page is about, and give what is chosen.

    Parameters
    ----------
    desk : Desk
        The team's.
    flight : bool
        Whether pack, rule book and site are asked too, as for a flight.
    """
    kinds = ("aircraft", "pack", "rules", "site") if flight else ("aircraft",)
    words = {"aircraft": "Aircraft", "pack": "Pack", "rules": "Rule book", "site": "Site"}
    found: dict[str, str] = {}
    for kind, column in zip(kinds, st.columns(len(kinds)), strict=True):
        with column:
            found[kind] = _chosen(words[kind], kind, desk.versions.ids(kind))
    return Chosen(**found)


def _chosen(word: str, kind: str, ids: Sequence[str]) -> str:
    """Ask which one; what was chosen on another page stays chosen."""
    options = [*ids, _NONE] if kind in ("rules", "site") or not ids else list(ids)
    kept = st.session_state.get(f"chosen-{kind}")
    if kept not in options:
        kept = options[0]
    found = st.selectbox(
        word,
        options,
        index=options.index(kept),
        format_func=lambda one: parts.option(one) if one else "none",
        key=f"shell-{kind}",
    )
    st.session_state[f"chosen-{kind}"] = found
    return found or _NONE
