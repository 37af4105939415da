"""Numbers out of the cells of a text, a whole column at a time.

A cell of plain digits, with or without sign and point, becomes the integer of its digits over a
power of ten. Where that integer is below 2⁵³ and the power below 10²³ both are exact in binary,
so the quotient is the double nearest to what is written (Clinger 1990), as with `float`. All
other cells (exponents, not-a-number, more digits) go through `float` singly.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
BoolArray = npt.NDArray[np.bool_]
FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Offsets = npt.NDArray[np.signedinteger[Any]]

WIDEST = 20
"""Cells of more characters are read singly [characters]."""

LONGEST = 64
"""Cells of more characters are no numbers [characters]."""

CHUNK_ROWS = 8192
"""Small enough that the intermediate results stay in the processor's cache."""

_EXACT = 2**53
_MOST_DIGITS = 18
_TENS_INT = 10 ** np.arange(_MOST_DIGITS + 1, dtype=np.int64)
_TENS = np.array([float(10**k) for k in range(_MOST_DIGITS + 1)])
_NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,4})?")
_INFINITE = re.compile(rb"[+-]?(?:inf|infinity)", re.IGNORECASE)
_NO_NUMBER = re.compile(rb"[+-]?q?nan(?:\([a-z0-9]*\))?", re.IGNORECASE)
_BLANK = (0x20, 0x09, 0x0D)


@dataclass(frozen=True, slots=True)
class Numbers:
    """A column of numbers.

    Attributes
    ----------
    values : array of float
        NaN where the cell says so and where it can't be read.
    unreadable : array of bool
        Cells that hold no number. "nan" and "inf" can be read.
    """

    values: FloatArray
    unreadable: BoolArray


@dataclass(frozen=True, slots=True)
class Integers:
    """A column of integers.

    Attributes
    ----------
    values : array of int
        0 where the cell can't be read.
    unreadable : array of bool
        Cells that hold no integer of 64 bits. "7.0" is one.
    """

    values: IntArray
    unreadable: BoolArray


def trimmed(content: Bytes, starts: Offsets, ends: Offsets) -> tuple[Offsets, Offsets]:
    """Narrow cells to what stands between blanks; long runs of blanks stay in part."""
    if not len(content):
        return starts, ends
    starts, ends = starts.copy(), ends.copy()
    last = len(content) - 1
    for _ in range(LONGEST):
        blank = (starts < ends) & np.isin(content[np.minimum(starts, last)], _BLANK)
        if not blank.any():
            break
        starts += blank
    for _ in range(LONGEST):
        blank = (starts < ends) & np.isin(content[np.maximum(ends - 1, 0)], _BLANK)
        if not blank.any():
            break
        ends -= blank
    return starts, ends


def read_numbers(content: Bytes, starts: Offsets, ends: Offsets) -> Numbers:
    """Read one number from each cell.

    Parameters
    ----------
    content : array of uint8
        The text.
    starts, ends : arrays of int
        First byte of each cell, and the byte after its last.
    """
    values = np.empty(len(starts))
    unreadable = np.zeros(len(starts), dtype=bool)
    for a in range(0, len(starts), CHUNK_ROWS):
        part = slice(a, a + CHUNK_ROWS)
        s, e = trimmed(content, starts[part], ends[part])
        digits, places, plain, negative = _digits(content, s, e)
        exact = plain & (digits <= _EXACT)
        here = digits / _TENS[places]
        np.negative(here, out=here, where=negative)
        for i in np.flatnonzero(~exact).tolist():
            number = _float(content[s[i] : min(e[i], s[i] + LONGEST + 1)].tobytes())
            unreadable[a + i] = number is None
            here[i] = np.nan if number is None else number
        values[part] = here
    return Numbers(values, unreadable)


def read_integers(content: Bytes, starts: Offsets, ends: Offsets) -> Integers:
    """Read one integer from each cell; see `read_numbers`."""
    values = np.zeros(len(starts), dtype=np.int64)
    unreadable = np.zeros(len(starts), dtype=bool)
    for a in range(0, len(starts), CHUNK_ROWS):
        part = slice(a, a + CHUNK_ROWS)
        s, e = trimmed(content, starts[part], ends[part])
        digits, places, plain, negative = _digits(content, s, e)
        tens = _TENS_INT[places]
        plain &= digits % tens == 0
        here = digits // tens
        np.negative(here, out=here, where=negative)
        for i in np.flatnonzero(~plain).tolist():
            number = _int(content[s[i] : min(e[i], s[i] + LONGEST + 1)].tobytes())
            unreadable[a + i] = number is None
            here[i] = 0 if number is None else number
        values[part] = here
    return Integers(values, unreadable)


def _digits(
    content: Bytes, starts: Offsets, ends: Offsets
) -> tuple[IntArray, IntArray, BoolArray, BoolArray]:
    """Read cells of plain digits.

    Returns
    -------
    digits : array of int
        All digits as one integer.
    places : array of int
        How many of them stand after the point.
    plain, negative : arrays of bool
        Whether the cell is nothing but sign, digits and point; whether the sign is minus.
    """
    rows = len(starts)
    length = ends - starts
    width = min(int(length.max(initial=1)), WIDEST, len(content))
    if width < 1:
        none = np.zeros(rows, dtype=np.int64)
        return none, none, np.zeros(rows, dtype=bool), np.zeros(rows, dtype=bool)
    # Each cell at the right edge of a window; what stands before it in the window is masked.
    at = ends - width
    fits = (length <= width) & (length > 0) & (at >= 0)
    windows: npt.NDArray[np.void] = np.ndarray(
        (len(content) - width + 1,), dtype=f"V{width}", buffer=content.data, strides=(1,)
    )
    block = windows[np.where(fits, at, 0)].view(np.uint8).reshape(rows, width)
    chars = np.ascontiguousarray(block.T)
    inside = np.arange(width)[:, None] >= width - length
    number = chars - np.uint8(48)  # wraps: everything but digits is above 9
    is_digit = (number <= 9) & inside
    is_point = (chars == 46) & inside
    first = chars[np.clip(width - length, 0, width - 1), np.arange(rows)]
    negative = first == 45
    signed = negative | (first == 43)
    count = is_digit.sum(axis=0, dtype=np.int64)
    points = is_point.sum(axis=0, dtype=np.int64)
    plain = fits & (count > 0) & (count <= _MOST_DIGITS) & (points <= 1)
    plain &= count + points + signed == length
    digits = np.zeros(rows, dtype=np.int64)
    for j in range(width):
        np.copyto(digits, digits * 10 + number[j], where=is_digit[j])
    places = np.where(points == 1, width - 1 - is_point.argmax(axis=0), 0)
    if not plain.all():
        digits, places = np.where(plain, digits, 0), np.where(plain, places, 0)
        negative = negative & plain
    return digits, places, plain, negative


def _float(cell: bytes) -> float | None:
    """Read one number; None when it is none."""
    if len(cell) <= LONGEST:
        if _NUMBER.fullmatch(cell) or _INFINITE.fullmatch(cell):
            return float(cell)
        if _NO_NUMBER.fullmatch(cell):
            return float("nan")
    return None


def _int(cell: bytes) -> int | None:
    """Read one integer of 64 bits; None when it is none."""
    if len(cell) > LONGEST or not _NUMBER.fullmatch(cell):
        return None
    try:
        number = int(cell)
    except ValueError:
        whole = float(cell)
        if not whole.is_integer() or abs(whole) > _EXACT:
            return None
        number = int(whole)
    return number if -(2**63) <= number < 2**63 else None
