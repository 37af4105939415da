"""What stands on a sheet, as data: made once, and set twice, on paper and as a page.

A sheet has parts, a part has bands from top to bottom, a band has columns side by side, a column
has blocks. Texts are as they came, from wherever; what sets them makes them harmless.

Paper ends, so each block says how many of its rows it may take there. What is left out is counted
in its place: nothing is cut off silently.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from flightlog.reports.flights import WITHOUT
from flightlog.reports.look import SHAPES

LONGEST = 600
"""Longest text in one place on paper [characters]; a longer one says how much is missing."""
_LEAST = 240
"""So much of a text is there however short the room [characters]."""
_FEW, _SCARCE = 3, 0.25
"""So many rows of a block stay unless there is room for less than this share of them."""

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Words:
    """Sentences, each on lines of its own."""

    title: str
    lines: tuple[str, ...]
    none: str = ""
    most: int = 0
    more: int = 0


@dataclass(frozen=True, slots=True)
class Facts:
    """Names of things and what they are, in two columns."""

    title: str
    rows: tuple[tuple[str, str], ...]
    most: int = 0
    more: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under a head.

    Attributes
    ----------
    title : str
        What it is about; empty where it goes on with the one before.
    head : tuple of str
        Names of the columns.
    rows : tuple of tuple of str
        Texts.
    shares : tuple of float
        Widths of the columns beside each other; 0 for a column as wide as its texts.
    right : tuple of int
        Columns of numbers.
    states : tuple of int
        Columns of states: each has its shape before its word.
    none : str
        What stands there when there are no rows.
    most : int
        So many rows on paper; 0 for all.
    more : int
        So many were left out.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...] = ()
    right: tuple[int, ...] = ()
    states: tuple[int, ...] = ()
    none: str = ""
    most: int = 0
    more: int = 0


@dataclass(frozen=True, slots=True)
class Strip:
    """One limit: the word, what was judged, and its picture."""

    word: str
    says: str
    source: str
    chance: str
    svg: str


@dataclass(frozen=True, slots=True)
class Strips:
    """Limits with their outcomes."""

    title: str
    rows: tuple[Strip, ...]
    note: str = ""
    none: str = ""
    most: int = 0
    more: int = 0


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart, or why there is none."""

    title: str
    svg: str
    lacking: str = ""


@dataclass(frozen=True, slots=True)
class Notice:
    """A state that nobody may miss: its word in a block, and why."""

    word: str
    says: str


@dataclass(frozen=True, slots=True)
class FormItem:
    """One item of a list that is filled in by hand."""

    id: str
    text: str
    passes: str
    who: str
    boxes: tuple[str, ...]
    """What is ticked: "pass" and "fail", or nothing where a number or a word is written."""
    second: bool


@dataclass(frozen=True, slots=True)
class Form:
    """A section of a list that is filled in by hand."""

    title: str
    rows: tuple[FormItem, ...]


Block = Words | Facts | Table | Strips | Picture | Notice | Form


@dataclass(frozen=True, slots=True)
class Band:
    """Columns side by side; ``shares`` are their widths beside each other."""

    columns: tuple[tuple[Block, ...], ...]
    shares: tuple[float, ...] = (1.0,)


@dataclass(frozen=True, slots=True)
class SheetContent:
    """A whole sheet.

    Attributes
    ----------
    title, subtitle : str
        What it is of.
    team : str
        Whose record it is from.
    headline : str
        The sentence that answers.
    top : tuple of Block
        Beside and below it, before everything else.
    parts : tuple of tuple of Band
        Each begins on a page of its own.
    notes : tuple of str
        What a reader has to know of such a sheet: what it shows, and cautions.
    heads : tuple of str
        Heads of the record, in full, as they are typed.
    made : datetime
        The record's own clock when it was made.
    one_page_each : bool
        Whether each part is cut down to one page of paper.
    """

    title: str
    subtitle: str
    team: str
    headline: str
    top: tuple[Block, ...]
    parts: tuple[tuple[Band, ...], ...]
    notes: tuple[str, ...]
    heads: tuple[str, ...]
    made: datetime
    one_page_each: bool = False


def wide(*blocks: Block) -> Band:
    """Give a band of one column."""
    return Band((blocks,))


def beside(left: Iterable[Block], right: Iterable[Block], shares: Sequence[float] = (1, 1)) -> Band:
    """Give a band of two columns."""
    return Band((tuple(left), tuple(right)), tuple(map(float, shares)))


def more_text(more: int) -> str:
    """Say that rows were left out; empty where none were."""
    return f"and {more} more, see the record" if more else ""


# --- cutting it down to paper


def cut(part: tuple[Band, ...], share: float = 1.0) -> tuple[Band, ...]:
    """Cut a part down to what paper takes.

    Parameters
    ----------
    part : tuple of Band
        With all rows.
    share : float
        Of what each block asks for. [-]

    Returns
    -------
    tuple of Band
        With counts of what was left out; at least one row of each block stays.
    """
    return tuple(
        replace(band, columns=tuple(tuple(cut_block(b, share) for b in c) for c in band.columns))
        for band in part
    )


def cut_block(block: Block, share: float = 1.0) -> Block:
    """Cut a block down to what paper takes; see ``cut``."""
    longest = max(_LEAST, int(LONGEST * share))
    if isinstance(block, Words):
        lines, more = _kept(block.lines, block.most, share)
        return replace(block, lines=tuple(shortened(t, longest) for t in lines), more=more)
    if isinstance(block, Facts):
        pairs, more = _kept(block.rows, block.most, share)
        named = tuple((name, shortened(text, longest)) for name, text in pairs)
        return replace(block, rows=named, more=more)
    if isinstance(block, Table):
        rows, more = _kept(block.rows, block.most, share)
        short = tuple(tuple(shortened(text, longest) for text in row) for row in rows)
        return replace(block, rows=short, more=more)
    if isinstance(block, Strips):
        strips, more = _kept(block.rows, block.most, share)
        return replace(block, rows=tuple(_cut_strip(s, longest) for s in strips), more=more)
    if isinstance(block, Notice):
        return replace(block, says=shortened(block.says, longest))
    if isinstance(block, Picture):
        return replace(block, lacking=shortened(block.lacking, longest))
    return block


def _cut_strip(strip: Strip, longest: int) -> Strip:
    says, source = shortened(strip.says, longest), shortened(strip.source, longest)
    return replace(strip, says=says, source=source)


def _kept(rows: tuple[Row, ...], most: int, share: float) -> tuple[tuple[Row, ...], int]:
    least = _FEW if share > _SCARCE else 1
    room = max(least, int(min(most, len(rows)) * share)) if most else len(rows)
    # A line that says "and 1 more" takes as much room as the one that it stands for.
    return (rows, 0) if len(rows) <= room + 1 else (rows[:room], len(rows) - room)


def shortened(text: str, longest: int = LONGEST) -> str:
    """Cut a text that is too long, and say how much of it is missing."""
    if len(text) <= longest:
        return text
    kept = text[:longest].rstrip()
    return f"{kept} … (and {len(text) - len(kept)} more characters, see the record)"


# --- states

_SHAPES = {
    "stop": "✕",
    "degrade": "◐",
    "note": "○",
    WITHOUT: "■",
    "release not clear": "◐",
    **SHAPES,
}
_LOOKS = {"✕": "heavy", "■": "heavy", "◐": "broken", "○": "broken", "△": "broken"}


def state_shape(word: str) -> str:
    """Give the shape that stands before a state; a dash for a word that is none.

    Parameters
    ----------
    word : str
        A state, alone or after what it is of: "fitness: holds".
    """
    return _SHAPES.get(word.rpartition(": ")[2], "–")


def state_look(word: str) -> str:
    """Give how the block of a state is framed: "heavy", "broken" or "plain"."""
    return _LOOKS.get(state_shape(word), "plain")
