"""The lines of a DataFlash text log: where each cell is, and what the log declares.

The bytes of the file are one array. The places of all commas and ends of lines, in one list of
marks, bound every cell: cell ``k`` of a line whose first mark is number ``m`` lies between the
marks ``m + k - 1`` and ``m + k``. So the list of marks is all that is kept beside the text, and
no cell is touched before its column is asked for.
"""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from flightlog.importers import text
from flightlog.importers.common import clean_text, read_bytes
from flightlog.importers.dataflash_formats import (
    FIELD_TYPES,
    FMT_ID,
    FMT_LENGTH,
    MOST_DECLARATIONS,
)
from flightlog.importers.text_numbers import trimmed

COMMA, NEWLINE, RETURN = 0x2C, 0x0A, 0x0D
CHUNK_BYTES = 1 << 20
CHUNK_LINES = 1 << 18
MOST_FIELDS = 16
"""A declaration has room for so many characters."""

UNDECLARED, STRANGE, BLANK = -1, -2, -3
"""Instead of the number of a type: looks like a message, looks like none, is empty."""

Bytes = npt.NDArray[np.uint8]
IntArray = npt.NDArray[np.int64]
Offsets = npt.NDArray[np.signedinteger[Any]]

SIZES = {char: np.dtype(type_).itemsize for char, (type_, _) in FIELD_TYPES.items()}


@dataclass(frozen=True, slots=True)
class Lines:
    """A text and where its lines and cells are.

    Attributes
    ----------
    content : array of uint8
        The text in UTF-8, without byte-order mark and NUL.
    marks : array of int
        Offsets of all commas and ends of lines, after one of -1.
    first : array of int
        Of each line, the number of the first mark in it; one more for the line after the last.
    left_out : int
        NUL bytes, and characters that could not be decoded.
    closed : bool
        Whether the last line has an end.
    """

    content: Bytes
    marks: Offsets
    first: Offsets
    left_out: int
    closed: bool

    def __len__(self) -> int:
        return len(self.first) - 1

    def start(self, line: int) -> int:
        """Offset of the first byte of a line."""
        return int(self.marks[self.first[line] - 1]) + 1

    def text(self, line: int, longest: int = 1024) -> str:
        """Give a line as text, cut at so many bytes."""
        a = self.start(line)
        z = int(self.marks[self.first[line + 1] - 1])
        return as_text(self.content[a : min(z, a + longest)].tobytes()).strip("\r")


def as_text(raw: bytes) -> str:
    """Decode bytes: UTF-8, else Latin-1, as in binary logs."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def read_lines(path: Path) -> Lines:
    """Read a file and find its lines.

    Raises
    ------
    LogFileError
        If it can't be read.
    """
    return find_lines(read_bytes(path))


def find_lines(content: Bytes) -> Lines:
    """Find the lines and cells of a text in any encoding."""
    content, left_out = _plain(content)
    returns_only = not _holds(content, NEWLINE) and _holds(content, RETURN)
    end_of_line = RETURN if returns_only else NEWLINE
    size = len(content)
    closed = bool(size) and content[-1] == end_of_line
    offset_type = np.int32 if size < 2**31 - 2 else np.int64
    open_end = int(size > 0 and not closed)
    ends = _count(content, end_of_line)
    # Made at once at their full size: joining parts would take it twice.
    marks: Offsets = np.empty(1 + _count(content, COMMA) + ends + open_end, dtype=offset_type)
    first: Offsets = np.empty(1 + ends + open_end, dtype=offset_type)
    marks[0], first[0] = -1, 1
    mark, line = 1, 1
    for a in range(0, size, CHUNK_BYTES):
        chunk = content[a : a + CHUNK_BYTES]
        is_end = chunk == end_of_line
        at = np.flatnonzero(is_end | (chunk == COMMA))
        closing = np.flatnonzero(is_end[at])
        marks[mark : mark + len(at)] = at + a
        first[line : line + len(closing)] = closing + (mark + 1)
        mark, line = mark + len(at), line + len(closing)
    if open_end:
        marks[-1], first[-1] = size, len(marks)
    return Lines(content, marks, first, left_out, closed)


def _plain(content: Bytes) -> tuple[Bytes, int]:
    """Give the text in UTF-8 (or what passes for it) without mark and NUL, and the losses."""
    encoding = text.decode(content[:4096].tobytes()).encoding
    if encoding.startswith(("utf-16", "utf-32")):
        decoded = text.decode(content.tobytes(), encoding)
        raw = decoded.text.encode("utf-8", "replace")
        return np.frombuffer(raw, dtype=np.uint8), decoded.damaged
    if content[:3].tobytes() == codecs.BOM_UTF8:
        content = content[3:]
    nul = _count(content, 0)
    return (content[content != 0] if nul else content), nul


def _holds(content: Bytes, byte: int) -> bool:
    return any(
        bool((content[a : a + CHUNK_BYTES] == byte).any())
        for a in range(0, len(content), CHUNK_BYTES)
    )


def _count(content: Bytes, byte: int) -> int:
    return sum(
        int(np.count_nonzero(content[a : a + CHUNK_BYTES] == byte))
        for a in range(0, len(content), CHUNK_BYTES)
    )


class Declaration(NamedTuple):
    """One line that declares a type.

    Attributes
    ----------
    line : int
        Its number, from 0.
    id, length : int
        As stated.
    name, chars : str
        Name of the type, one character per cell.
    labels : tuple of str
        Field names; the room for them may cut the last ones off.
    """

    line: int
    id: int
    length: int
    name: str
    chars: str
    labels: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """Whether the stated length is what the characters add up to."""
        return self.length == 3 + sum(SIZES[char] for char in self.chars)


DECLARATION_ITSELF = Declaration(
    -1, FMT_ID, FMT_LENGTH, "FMT", "BBnNZ", ("Type", "Length", "Name", "Format", "Columns")
)


def declaration(line: str, number: int = 0) -> Declaration | None:
    """Read a line as the declaration of a type; None when it is none."""
    cells = [cell.strip() for cell in line.split(",")]
    if len(cells) < 6 or cells[0] != "FMT":
        return None
    id_, length, name, chars = cells[1:5]
    numbers = all(n.isascii() and n.isdigit() and len(n) <= 3 for n in (id_, length))
    if not numbers or not 0 < len(name) <= 4 or not all(0x21 <= ord(c) < 0x7F for c in name):
        return None
    if not 0 < len(chars) <= MOST_FIELDS or any(char not in FIELD_TYPES for char in chars):
        return None
    labels = tuple(clean_text(label) for label in cells[5:])
    if not any(labels):
        return None
    return Declaration(number, int(id_), int(length), name, chars, labels)


@dataclass(frozen=True, slots=True)
class Declared:
    """All types of a log.

    Attributes
    ----------
    types : mapping of str to Declaration
        The one that stands for the file: the first whose length agrees with its characters.
    others : mapping of str to sequence of Declaration
        All of the types that are declared in another way as well, in file order.
    refused : tuple of str
        Their names.
    """

    types: Mapping[str, Declaration]
    others: Mapping[str, Sequence[Declaration]]
    refused: tuple[str, ...]


def read_declarations(lines: Lines) -> Declared:
    """Read what the log declares, wherever it stands: a type may be used before."""
    found: dict[str, list[Declaration]] = {}
    kinds = line_types(lines, ["FMT"])
    for line in np.flatnonzero(kinds == 0)[:MOST_DECLARATIONS].tolist():
        one = declaration(lines.text(line), line)
        if one is not None and one.name != "FMT":
            found.setdefault(one.name, []).append(one)
    types = {"FMT": DECLARATION_ITSELF}
    others: dict[str, Sequence[Declaration]] = {}
    refused: list[str] = []
    for name, all_ in found.items():
        chosen = next((one for one in all_ if one.agrees), all_[0])
        types[name] = chosen
        # Number and length of a type say nothing about a text.
        if any(one[4:] != chosen[4:] for one in all_):
            refused.append(name)
            others[name] = all_
    return Declared(types, others, tuple(refused))


def line_types(lines: Lines, names: Sequence[str]) -> npt.NDArray[np.int16]:
    """Which type each line is of: place of its name among the names, or one of the constants."""
    words = np.array([_word(name.encode("latin-1")) for name in names], dtype=np.uint32)
    order = np.argsort(words)
    result = np.empty(len(lines), dtype=np.int16)
    for a in range(0, len(lines), CHUNK_LINES):
        first = lines.first[a : min(a + CHUNK_LINES, len(lines)) + 1]
        start, end = trimmed(
            lines.content, lines.marks[first[:-1] - 1] + 1, lines.marks[first[:-1]]
        )
        length = end - start
        key = np.zeros(len(start), dtype=np.uint32)
        like_name = (length > 0) & (length <= 4) & (np.diff(first) > 1)
        for j in range(4):
            char = _char(lines, start + j)
            within = length > j
            upper = ((char >= 65) & (char <= 90)) | ((char >= 48) & (char <= 57)) | (char == 95)
            like_name &= upper | ~within
            key |= np.where(within, char, 0).astype(np.uint32) << np.uint32(8 * j)
        at = np.minimum(np.searchsorted(words[order], key), len(words) - 1)
        hit = (words[order][at] == key) & (length <= 4) & (np.diff(first) > 1)
        kind = np.where(like_name, UNDECLARED, STRANGE)
        end_of_file = (length == 1) & (_char(lines, start) == 0x1A)  # old systems' mark
        kind[(np.diff(first) == 1) & ((length == 0) | end_of_file)] = BLANK
        result[a : a + len(start)] = np.where(hit, order[at], kind)
    return result


def _word(name: bytes) -> int:
    return int.from_bytes(name[:4].ljust(4, b"\0"), "little")


def _char(lines: Lines, at: Offsets) -> Bytes:
    """Bytes at some places; at the end of the text its last one."""
    return lines.content[np.minimum(at, max(len(lines.content) - 1, 0))]
