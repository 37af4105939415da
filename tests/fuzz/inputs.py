"""Hostile inputs: pieces of real and made logs, mutated by a seed.

An input is made from its seed and number alone, so that one that failed can be made again.
Pieces of binary logs keep the beginning of the file, which declares what follows, before a
window from anywhere in it.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from flightlog.importers import IMPORTERS
from flightlog.importers.registry import HEAD_BYTES, Match

SMALL_BYTES = 65536
"""Mutated pieces are at most this long [bytes]."""

TABLE = "delimited"
"""Format of text tables that are read by a column map."""

GUESS = "guessed table"
"""Format of text tables whose columns are guessed, and which are read by the map made of that."""


@dataclass(frozen=True, slots=True)
class Source:
    """A file to take pieces from.

    Attributes
    ----------
    format : str
        Slug of the importer that reads it, or `TABLE`.
    name : str
        For messages.
    content : bytes
        All of it.
    head : int
        How much of its beginning declares what follows. [bytes]
    marks : tuple of int
        Offsets where records begin; empty where any offset will do.
    """

    format: str
    name: str
    content: bytes
    head: int = 0
    marks: tuple[int, ...] = ()

    @property
    def text(self) -> bool:
        """Whether it is lines of text."""
        return self.format not in ("dataflash", "mavlink-telemetry", "ulog")


def sources_of(paths: list[Path], largest_bytes: int | None = None) -> list[Source]:
    """Read the files that an importer recognises; tables as text count too."""
    found = []
    for path in paths:
        content = path.read_bytes()
        if not content or (largest_bytes is not None and len(content) > largest_bytes):
            continue
        head = content[:HEAD_BYTES]
        yes = [i.format for i in IMPORTERS if i.sniff(head) is Match.YES]
        if yes == ["ulog"]:
            whole = Source("ulog", path.name, content)
            found += [whole, *[_condensed(path.name, content)] * 3]
        elif yes:
            found.append(Source(yes[0], path.name, content, _declared(yes[0], content)))
        elif path.suffix == ".csv":
            found.append(Source(GUESS, path.name, content))
    return found


def _declared(format: str, content: bytes) -> int:
    """Give the end of what a DataFlash log declares at its beginning."""
    if format != "dataflash":
        return 0
    last = content.rfind(b"\xa3\x95\x80", 0, SMALL_BYTES // 2)
    return last + 89 if last >= 0 else 0


def _condensed(name: str, content: bytes) -> Source:
    """Make a ULog whose declarations fit into a small piece: most of them are parameters."""
    head, data, at = bytearray(content[:16]), bytearray(), 16
    marks = []
    while at + 3 <= len(content):
        size, kind = struct.unpack_from("<Hc", content, at)
        record = content[at : at + 3 + size]
        if kind in b"FAB":
            head += record
        elif kind in b"DLOS" or len(head) + len(record) < 1000:
            marks.append(len(data))
            data += record
        at += 3 + size
    # The format has no mark that a reader could find its place again by.
    starts = tuple(len(head) + m for m in marks[::50])
    return Source("ulog", f"{name} condensed", bytes(head + data), len(head), starts)


def small_input(sources: list[Source], seed: int, number: int) -> tuple[str, bytes]:
    """Make one mutated input of at most `SMALL_BYTES`; the format whose importer should read it.

    Every format comes equally often, whatever the number of its files.
    """
    rng = random.Random(f"{seed} {number}")
    formats = sorted({s.format for s in sources})
    wanted = formats[number % len(formats)]
    source = rng.choice([s for s in sources if s.format == wanted])
    piece = bytearray(_piece(source, rng))
    for _ in range(rng.choice([0, 1, 1, 2, 4, 8])):
        if not piece:
            break
        kinds = TEXT_MUTATIONS if source.text and rng.random() < 0.7 else MUTATIONS
        if rng.random() < 0.05:
            splice(piece, rng, rng.choice(sources).content)
        else:
            rng.choice(kinds)(piece, rng)
    return wanted, bytes(piece[:SMALL_BYTES])


def full_input(sources: list[Source], seed: int, number: int) -> tuple[str, bytes]:
    """Make one mutated input of a whole file's size."""
    rng = random.Random(f"full {seed} {number}")
    formats = sorted({s.format for s in sources})
    wanted = formats[number % len(formats)]
    mine = [s for s in sources if s.format == wanted]
    # Large files more often: they are what takes memory and time.
    source = rng.choices(mine, weights=[len(s.content) ** 0.5 for s in mine])[0]
    whole = bytearray(source.content)
    for _ in range(rng.choice([1, 2, 8])):
        kinds = TEXT_MUTATIONS if source.text and rng.random() < 0.5 else MUTATIONS
        rng.choice(kinds)(whole, rng)
    return wanted, bytes(whole[: len(source.content) + SMALL_BYTES])


def _piece(source: Source, rng: random.Random) -> bytes:
    content = source.content
    size = min(int(2 ** rng.uniform(7, 16)), SMALL_BYTES)
    if len(content) <= size:
        return content
    head = 0
    if source.head and source.head < 0.9 * SMALL_BYTES and rng.random() < 0.7:
        head = source.head
        size = min(head + size, SMALL_BYTES)
    elif rng.random() < 0.9:
        head = min(size // 2, int(2 ** rng.uniform(8, 15)))
        if source.text:  # up to the end of a line
            head = content.rfind(b"\n", 0, head) + 1
    at = rng.randrange(max(len(content) - (size - head), 0) + 1)
    if source.marks and rng.random() < 0.8:
        at = rng.choice(source.marks)
    return content[:head] + content[at : at + size - head]


# --- mutations of any bytes

INTERESTING = (
    b"\x00", b"\xff", b"\x80", b"\x7f", b"\xa3\x95", b"\xa3\x95\x80", b"\xfd", b"\xfe",
    struct.pack("<f", float("nan")), struct.pack("<f", float("inf")), struct.pack("<f", -3e38),
    struct.pack("<d", float("nan")), struct.pack("<d", 1e308), struct.pack("<q", -1),
    struct.pack("<Q", 2**63), struct.pack("<I", 2**31), struct.pack("<H", 65535),
    b"\r\n", b"\n", b"\x1a", b"\xef\xbb\xbf", b"\xff\xfe",
)  # fmt: skip


def flip(content: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([1, 1, 8, 64, max(1, len(content) // 100)])):
        content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)


def overwrite(content: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([1, 4, 32])):
        value = rng.choice(INTERESTING)
        at = rng.randrange(len(content))
        content[at : at + len(value)] = value


def insert(content: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(content) + 1)
    content[at:at] = rng.choice(INTERESTING) * rng.choice([1, 3, 1000])


def delete(content: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(content))
    del content[at : at + int(2 ** rng.uniform(0, 12))]


def cut(content: bytearray, rng: random.Random) -> None:
    del content[rng.randrange(len(content)) :]


def cut_front(content: bytearray, rng: random.Random) -> None:
    del content[: rng.randrange(min(len(content), 4096))]


def repeat(content: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(content))
    part = bytes(content[at : at + int(2 ** rng.uniform(0, 11))])
    content[at:at] = part * rng.choice([1, 2, 30])


def swap(content: bytearray, rng: random.Random) -> None:
    size = int(2 ** rng.uniform(0, 10))
    a, b = rng.randrange(len(content)), rng.randrange(len(content))
    first, second = bytes(content[a : a + size]), bytes(content[b : b + size])
    content[a : a + size], content[b : b + size] = second, first


def blank(content: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(content))
    size = min(int(2 ** rng.uniform(0, 14)), len(content) - at)
    content[at : at + size] = rng.choice([bytes(size), b"\xff" * size, rng.randbytes(size)])


def splice(content: bytearray, rng: random.Random, other: bytes) -> None:
    at, start = rng.randrange(len(content)), rng.randrange(max(len(other), 1))
    content[at:at] = other[start : start + int(2 ** rng.uniform(2, 13))]


Mutation = Callable[[bytearray, random.Random], None]
MUTATIONS: tuple[Mutation, ...] = (
    flip, overwrite, insert, delete, cut, cut_front, repeat, swap, blank,
)  # fmt: skip

# --- mutations of lines and cells

CELLS = (
    b"", b"0", b"-1", b"nan", b"NaN", b"inf", b"-inf", b"1e308", b"-1e308", b"1e-320",
    b"9" * 400, b"0x7fffffff", b"99999999999999999999", b"1,5", b"1.2.3", b"--", b"N/A",
    b"1970-01-01", b"9999-99-99", b"25:61:61", b"2027-03-15T09:14:05Z", b'"', b"'", b"=1+1",
    b"\xc3\xa4", b"\xf0\x9f\x9b\xa9", b"\x00", b"[" * 200, b"&lol;", b"<!DOCTYPE x>", b"]]>",
    b"#", b";", b",,,,,", b"\t", b"12.5 V", b"1 234,5", b"\xe2\x88\x92" b"5", b"91", b"-181 999",
)  # fmt: skip


def cell(content: bytearray, rng: random.Random) -> None:
    """Put something else between two separators."""
    for _ in range(rng.choice([1, 1, 5, 50])):
        at = rng.randrange(len(content) + 1)
        start = max(content.rfind(mark, 0, at) for mark in b",;\t\n >=") + 1
        end = min((e for m in b",;\t\n <" if (e := content.find(m, at)) >= 0), default=at)
        if end - start < 200:
            content[start:end] = rng.choice(CELLS)


def line(content: bytearray, rng: random.Random) -> None:
    """Leave out, repeat, move or shorten a line."""
    at = rng.randrange(len(content) + 1)
    start = content.rfind(b"\n", 0, at) + 1
    end = content.find(b"\n", at)
    end = len(content) if end < 0 else end + 1
    part = bytes(content[start:end])
    kind = rng.randrange(4)
    if kind == 0:
        del content[start:end]
    elif kind == 1:
        content[start:start] = part * rng.choice([1, 2, 100])
    elif kind == 2:
        to = content.rfind(b"\n", 0, rng.randrange(len(content) + 1)) + 1
        content[to:to] = part
    else:
        content[start:end] = part[: rng.randrange(len(part) + 1)]


def separator(content: bytearray, rng: random.Random) -> None:
    """Exchange one separator for another in a part, or in all of it."""
    old, new = rng.sample([b",", b";", b"\t", b" ", b".", b"\n", b"\r\n", b"|", b'"', b":"], 2)
    part = content[: rng.randrange(len(content)) + 1] if rng.random() < 0.5 else content[:]
    content[: len(part)] = part.replace(old, new)


def recode(content: bytearray, rng: random.Random) -> None:
    """Write it in another encoding."""
    text = bytes(content).decode("utf-8", "replace")
    content[:] = text.encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig", "utf-32"]), "replace")


TEXT_MUTATIONS: tuple[Mutation, ...] = (cell, cell, cell, line, line, separator, recode)
