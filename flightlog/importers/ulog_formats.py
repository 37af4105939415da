"""Record layouts that a ULog file declares, worked out before a decoder sees them.

A declaration is a text, here with spaces between the fields::

    esc_report:uint64_t timestamp; int32_t esc_rpm; float[3] x; uint8_t[4] _padding0;

Its types are numbers or the names of other declarations, which may stand later in the file.
From a few bytes a hostile file can so declare a record of billions of fields, or one that
contains itself: sizes are therefore computed here by multiplication, and what is larger than a
record can be is refused before anybody makes a list of it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

SIZES = {
    **{"int8_t": 1, "uint8_t": 1, "int16_t": 2, "uint16_t": 2, "int32_t": 4, "uint32_t": 4},
    **{"int64_t": 8, "uint64_t": 8, "float": 4, "double": 8, "bool": 1, "char": 1},
}
"""Bytes of the basic types."""

LONGEST_RECORD = 65535 - 2
"""Bytes of data in one record: its length is a 16-bit number and counts the two of its id."""

DEEPEST = 8
"""Declarations inside declarations; in practice there are two."""

STAMP = "timestamp"

LONGEST_NAME = 256

NAME = re.compile(rb"[A-Za-z_][\w/-]{0,255}", re.ASCII)
"""What a topic can be called."""

_FIELD = re.compile(r"([A-Za-z_]\w*)(?:\[(\d{1,5})\])? ([A-Za-z_]\w*)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Member:
    """One field of a declaration: type, number of elements (0 for no array) and name."""

    type: str
    count: int
    name: str


@dataclass(frozen=True, slots=True)
class Layout:
    """Size of a record.

    Attributes
    ----------
    size : int
        Bytes, without padding at the end, which is usually not written.
    padded : int
        Bytes with it.
    fields : int
        Numbers in a record, without padding at the end.
    """

    size: int
    padded: int
    fields: int


@dataclass(slots=True)
class Formats:
    """The declarations of one file.

    Attributes
    ----------
    members : dict
        Name -> fields.
    refused : list of str
        Names that were declared in two ways, or not readably.
    """

    members: dict[str, tuple[Member, ...]] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    _spans: dict[str, tuple[int, int] | None] = field(default_factory=dict)
    _layouts: dict[str, Layout | None] = field(default_factory=dict)

    def declare(self, text: bytes) -> bool:
        """Take in a declaration; False where it repeats, contradicts or can't be read."""
        name, _, rest = text.decode("ascii", "replace").partition(":")
        members = _members(rest)
        if members is None or NAME.fullmatch(name.encode()) is None:
            self._refuse(name)
            return False
        known = self.members.setdefault(name, members)
        if known is not members and known != members:
            self._refuse(name)
        return known is members

    def _refuse(self, name: str) -> None:
        if len(self.refused) < 1000:
            self.refused.append(name[:256])

    def layout(self, name: str) -> Layout | None:
        """Size of a topic's records; None where they can't be read.

        A topic needs a 64-bit ``timestamp``, and no more bytes than a record holds. What was
        once asked for stays: declarations end where topics begin.
        """
        if name not in self._layouts:
            self._layouts[name] = self._layout(name)
        return self._layouts[name]

    def _layout(self, name: str) -> Layout | None:
        members = self.members.get(name)
        if not members or Member("uint64_t", 0, STAMP) not in members:
            return None
        padded = self._span(name, 0)
        bare = list(members)
        while bare[-1].name.startswith("_padding"):
            bare.pop()
        size = self._sum(tuple(bare), 0)
        if size is None or padded is None:
            return None
        return Layout(size[0], padded[0], size[1])

    def _span(self, name: str, depth: int) -> tuple[int, int] | None:
        """Bytes and numbers of a type; None where it is unknown, too deep or too large."""
        if name in SIZES:
            return SIZES[name], 1
        if depth > DEEPEST or name not in self.members:
            return None
        if name not in self._spans:
            # Until it is known, a type inside itself is none.
            self._spans[name] = None
            self._spans[name] = self._sum(self.members[name], depth)
        return self._spans[name]

    def _sum(self, members: tuple[Member, ...], depth: int) -> tuple[int, int] | None:
        size = fields = 0
        for member in members:
            one = self._span(member.type, depth + 1)
            if one is None:
                return None
            size += one[0] * max(member.count, 1)
            fields += one[1] * max(member.count, 1)
            if size > LONGEST_RECORD:
                return None
        return size, fields


def _members(text: str) -> tuple[Member, ...] | None:
    """Fields of a declaration; None where there is none, or one can't be read or stands twice."""
    members: list[Member] = []
    for part in text.split(";"):
        if not part:
            continue
        match = _FIELD.fullmatch(part)
        if match is None or not 0 < int(match[2] or 1) <= LONGEST_RECORD:
            return None
        members.append(Member(match[1], int(match[2] or 0), match[3]))
    # A type of no fields has no size: an array of arrays of it would never end.
    if not members or len({member.name for member in members}) != len(members):
        return None
    return tuple(members)
