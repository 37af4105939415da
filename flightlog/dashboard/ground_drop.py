"""Files of a ground test, dropped onto the page: which kind they are of, and what they reduce to.

What was dropped and what it gave is kept for the tab until it is put away or signed, also while
another page is looked at; so nothing is reduced twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, cast

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.dropped import Shelf, written
from flightlog.errors import FlightlogError, UsageError
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.groundtests.video_files import is_video
from flightlog.operations.ground_test import GroundTest, run_ground_test
from flightlog.team_files.bench_file import read_bench_file

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

_KIND = "ground-kind"
_LIES = "ground-files"
_KEPT = "ground-reduced"
_TURN = "ground-drop-turn"
_BENCH = ".toml"
_OURS = (
    "These files led to a fault of this program, which was told when they were read. Put them "
    "away, or choose another kind of test."
)
_VIDEO = (
    "A video of the tip will do too (MP4, MOV, AVI). It takes as long as it plays, or longer, and "
    'needs OpenCV: pip install "flightlog[video]".'
)


@dataclass(frozen=True, slots=True)
class Lying:
    """Files that were dropped.

    Attributes
    ----------
    ids : tuple of str
        What the server calls them; other files have other ones.
    shelf : Shelf
        Where they lie.
    files : tuple of Path
        Of numbers, or videos.
    benches : tuple of Path
        Bench files; more than one can't be.
    """

    ids: tuple[str, ...]
    shelf: Shelf
    files: tuple[Path, ...]
    benches: tuple[Path, ...]

    @property
    def bench(self) -> Path | None:
        """The bench file, if there is one."""
        return self.benches[0] if self.benches else None


@dataclass(frozen=True, slots=True)
class Reduced:
    """What came of the files that lie there.

    Attributes
    ----------
    key : tuple
        What it was made of.
    lying : Lying
        The files.
    word : str
        Kind of test; empty where nobody said so.
    test : GroundTest or None
        What they reduce to; None where they were refused.
    fault : str
        Why they were refused; else empty.
    """

    key: tuple[str, ...]
    lying: Lying
    word: str
    test: GroundTest | None
    fault: str


def take() -> Reduced | None:
    """Draw where the files of a test are dropped, and reduce them; None while none lie there."""
    kind = st.selectbox(
        "Kind of test",
        list(GROUND_KINDS),
        index=None,
        format_func=lambda word: GROUND_KINDS[word].label,
        placeholder="Choose, or drop its bench file",
        key=_KIND,
        persist_state="session",
    )
    field = f"ground-drop-{_turn()}"
    dropped = st.file_uploader(
        "Drop its files here, with its bench file if there is one",
        accept_multiple_files=True,
        key=field,
        on_change=_changed,
        args=(field,),
    )
    if kind == "ringdown" and not dropped:
        parts.note(_VIDEO)
    return _reduced(kind, dropped)


def give_back() -> None:
    """Draw a new field: what was dropped is done with, and its memory is given back."""
    st.session_state[_TURN] = _turn() + 1
    _forget()


def _turn() -> int:
    return int(st.session_state.setdefault(_TURN, 0))


def _changed(field: str) -> None:
    """Forget files that were taken out of the field; leaving the page empties it without this."""
    if not st.session_state.get(field):
        _forget()


def _forget() -> None:
    lying = cast(Lying | None, st.session_state.pop(_LIES, None))
    st.session_state.pop(_KEPT, None)
    if lying is not None:
        lying.shelf.clear()


def _reduced(kind: str | None, dropped: Sequence[UploadedFile]) -> Reduced | None:
    lying = cast(Lying | None, st.session_state.get(_LIES))
    ids = tuple(file.file_id for file in dropped)
    if dropped and (lying is None or lying.ids != ids):
        _forget()
        try:
            lying = _laid(ids, dropped)
        except OSError as error:
            why = error.strerror or type(error).__name__
            parts.warn(f"The files could not be written ({why}). Is there room on the disk?")
            return None
        st.session_state[_LIES] = lying
    if lying is None:
        return None
    key = (kind or "", *lying.ids)
    found = cast(Reduced | None, st.session_state.get(_KEPT))
    if found is None or found.key != key:
        try:
            found = _made(key, kind, lying)
        except Exception:  # what is at fault must not come back whenever the page is drawn
            st.session_state[_KEPT] = Reduced(key, lying, "", None, _OURS)
            raise
        st.session_state[_KEPT] = found
    return found


def _laid(ids: tuple[str, ...], dropped: Sequence[UploadedFile]) -> Lying:
    shelf = Shelf()
    paths = written(dropped, shelf.path, "file")
    benches = tuple(path for path in paths if path.suffix.casefold() == _BENCH)
    return Lying(ids, shelf, tuple(path for path in paths if path not in benches), benches)


def _made(key: tuple[str, ...], kind: str | None, lying: Lying) -> Reduced:
    """Reduce what lies there; what is at fault is told in the place of the result."""
    word = kind or ""
    try:
        if len(lying.benches) > 1:
            names = " and ".join(path.name for path in lying.benches)
            raise UsageError("are two bench files", where=names, fix="Take one of them away.")
        if lying.bench is not None and not word:
            word = read_bench_file(lying.bench).kind
        return Reduced(key, lying, word, _tested(word, lying), "")
    except FlightlogError as error:
        fault = lying.shelf.without_place(error.sentence())
        return Reduced(key, lying, word, None, fault)


def _tested(word: str, lying: Lying) -> GroundTest:
    if not lying.files:
        raise UsageError(
            "A bench file alone holds no numbers", fix="Drop the files of its test too."
        )
    if not word:
        raise UsageError(
            "Nobody said which kind of test it is", fix="Choose it, or drop its bench file too."
        )
    says = "Reading and reducing"
    if any(is_video(path) for path in lying.files):
        says = "Following the marker through the video; this takes as long as it plays, or longer"
    with st.spinner(says):
        return run_ground_test(word, lying.files, lying.bench)
