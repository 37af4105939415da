"""Cells of a column to numbers: decimal comma, thousands, units behind the number, damage.

    12.3    12,3    1.234,5    1'234.5    12.3 V    -0    .5    1e-3

Nothing is guessed: a cell that is no number is missing and counted. A column of nothing but
``1,234`` could hold thousands or thousandths; then the way that the file writes its other
columns decides, and where it tells nothing the column is unclear.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from flightlog.importers.common import FloatArray
from flightlog.importers.delimited_reading import TextTable

_NUMBER = re.compile(
    r"(?P<number>[+\-−]?(?:\d[\d.,'’  \u202f]*|[.,]\d+)(?:[eE][+\-]?\d+)?)"
    r"\s*(?P<unit>[^\d\s.,+\-][^\d]{0,11})?"
)
_COMMA = re.compile(r"[+\-−]?\d*,\d+(?:[eE][+\-]?\d+)?(?:\s*[^\d\s.,][^\d]{0,11})?")
_POINT = re.compile(r"[+\-−]?\d*\.\d+(?:[eE][+\-]?\d+)?(?:\s*[^\d\s.,][^\d]{0,11})?")
_GROUPED = re.compile(r"[+\-−]?[1-9]\d{0,2}([.,'’  \u202f])\d{3}(?:\1\d{3})*(?P<rest>[.,]\d+)?")
_THOUSANDS = str.maketrans("", "", "'’  \u202f")

BLANK = ("", "-", "--", "---", "nan", "null", "none", "n/a", "na", "inf", "-inf", "*")
"""Cells that stand for "not measured" in any file, without regard to case."""

LARGEST = 1e30
"""No logger writes larger numbers; they would run over in what follows."""

_MOST_CACHED = 20_000


@dataclass(frozen=True, slots=True)
class NumberStyle:
    """How the numbers of a column are written.

    Attributes
    ----------
    decimal : {".", ","}
        The decimal sign.
    unclear : bool
        Whether the sign could as well separate thousands; nothing may be read then.
    """

    decimal: str = "."
    unclear: bool = False


@dataclass(slots=True)
class Unreadable:
    """Cells of a column that are no numbers.

    Attributes
    ----------
    count, filled : int
        How many they are, and how many cells hold anything.
    line, text : int, str
        The first one.
    units : set of str
        Units that stood behind numbers.
    """

    count: int = 0
    filled: int = 0
    line: int = 0
    text: str = ""
    units: set[str] = field(default_factory=set)


def style_of(cells: Sequence[str], *, elsewhere: str | None = None) -> NumberStyle:
    """Find how a column writes its numbers.

    Parameters
    ----------
    cells : sequence of str
        Some cells of it that are not blank.
    elsewhere : str, optional
        The decimal sign of the file's other columns, where it is known.
    """
    texts = [cell.strip()[:60] for cell in cells]
    commas = [t for t in texts if "," in t]
    if not commas:
        # Without a comma, points that can only be thousands are what a comma file writes.
        if any(t.count(".") > 1 and _GROUPED.fullmatch(t) for t in texts):
            return NumberStyle(",")
        points = [t for t in texts if "." in t]
        grouped = points and all(_only_grouped(t) for t in points)
        if grouped and elsewhere == ",":
            return NumberStyle(",")
        return NumberStyle(".")
    for text in commas:
        match = _GROUPED.fullmatch(text)
        if match and match["rest"]:
            return NumberStyle(match["rest"][0])
    if any(t.count(",") > 1 and _GROUPED.fullmatch(t) for t in commas):
        return NumberStyle(".")
    decimals = [t for t in commas if _COMMA.fullmatch(t)]
    if 2 * len(decimals) < len(commas):
        return NumberStyle(".")
    if any(not _only_grouped(t) for t in decimals):
        return NumberStyle(",")
    # Nothing but 1,234: thousands beside columns with points, else it can't be told.
    if any(_POINT.fullmatch(t) for t in texts) or elsewhere == ".":
        return NumberStyle(".")
    return NumberStyle(",", unclear=elsewhere != ",")


def _only_grouped(text: str) -> bool:
    """Whether a number with one separator could be thousands."""
    return bool(_GROUPED.fullmatch(text))


def file_decimal(samples: Sequence[Sequence[str]], delimiter: str) -> str | None:
    """Give the decimal sign that the columns of a file show beyond doubt; None when none does.

    Parameters
    ----------
    samples : sequence of sequences of str
        Some cells of each column.
    delimiter : str
        Files cut by commas have decimal commas in quotes only.
    """
    signs = []
    for cells in samples:
        texts = [cell.strip()[:60] for cell in cells]
        with_comma = sum(1 for t in texts if _COMMA.fullmatch(t) and not _only_grouped(t))
        with_point = sum(1 for t in texts if _POINT.fullmatch(t) and not _only_grouped(t))
        if with_comma or with_point:
            signs.append("," if with_comma > with_point else ".")
    if not signs:
        return None
    if delimiter != "," and signs.count(",") >= signs.count("."):
        return ","
    return "," if all(sign == "," for sign in signs) else "."


def numbers(
    table: TextTable, at: int, style: NumberStyle, *, cells: Iterator[list[str]] | None = None
) -> tuple[FloatArray, Unreadable]:
    """Numbers of one column; NaN where a cell is blank or none.

    Parameters
    ----------
    table : TextTable
        The file.
    at : int
        Which column.
    style : NumberStyle
        How it writes numbers.
    cells : iterator of lists of str, optional
        Taken instead of the column's own cells, as many.
    """
    bad = Unreadable()
    parts: list[FloatArray] = []
    cache: dict[str, float] = {}
    row = 0
    for piece in table.pieces(at) if cells is None else cells:
        parts.append(_piece(piece, style, bad, cache, table, row))
        row += len(piece)
    return (np.concatenate(parts) if parts else np.zeros(0)), bad


def _piece(
    cells: list[str],
    style: NumberStyle,
    bad: Unreadable,
    cache: dict[str, float],
    table: TextTable,
    row: int,
) -> FloatArray:
    quick = _quickly(cells, style)
    if quick is not None:
        bad.filled += int(np.isfinite(quick).sum())
        return quick
    values = np.empty(len(cells))
    for place, cell in enumerate(cells):
        value = cache.get(cell)
        if value is None:
            value = _cell(cell, style, bad)
            if len(cache) < _MOST_CACHED:
                cache[cell] = value
        if value == math.inf:  # stands for unreadable: no cell gives it
            bad.filled += 1
            bad.count += 1
            if not bad.line:
                bad.line, bad.text = int(table.lines[row + place]), cell
            value = math.nan
        elif value == value:
            bad.filled += 1
        values[place] = value
    return values


def _quickly(cells: list[str], style: NumberStyle) -> FloatArray | None:
    """Convert cells that are all plain numbers or empty; None when one is neither."""
    whole = "".join(cells)
    if not whole:
        return np.full(len(cells), np.nan)
    # float() takes underscores and the digits of other scripts, and words for no number.
    if "_" in whole or not whole.isascii():
        return None
    if style.decimal == ",":
        if "." in whole:
            return None
        cells = [cell.replace(",", ".") for cell in cells] if "," in whole else cells
    try:
        values = np.fromiter(
            map(float, (cell or "nan" for cell in cells) if "" in cells else cells),
            dtype=np.float64,
            count=len(cells),
        )
    except ValueError:
        return None
    return None if (np.abs(values) >= LARGEST).any() else values


def _cell(cell: str, style: NumberStyle, bad: Unreadable) -> float:
    """Give the number of one cell; NaN for a blank one, infinity for what can't be read."""
    text = cell.strip().strip('"').strip()
    if text.casefold() in BLANK:
        return math.nan
    match = _NUMBER.fullmatch(text[:60])
    if match is None or len(text) > 60:
        return math.inf
    number = plain_number(match["number"], style.decimal)
    if number is None:
        return math.inf
    if match["unit"] and len(bad.units) < 20:
        bad.units.add(match["unit"].strip())
    return number


def plain_number(text: str, decimal: str) -> float | None:
    """Give the number that a text writes with a decimal sign; None when it is none."""
    thousands = "," if decimal == "." else "."
    body = text.translate(_THOUSANDS).replace("−", "-")
    if thousands in body:
        head, _, _ = body.partition(decimal)
        groups = head.lstrip("+-").split(thousands)
        if thousands in body[len(head) :] or not 1 <= len(groups[0]) <= 3:
            return None
        if any(len(group) != 3 for group in groups[1:]):
            return None
        body = body.replace(thousands, "")
    if not body.isascii() or "_" in body:
        return None
    try:
        value = float(body.replace(decimal, ".") if decimal != "." else body)
    except ValueError:
        return None
    return value if abs(value) < LARGEST else None
