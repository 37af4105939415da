r"""ULog bytes: which records are whole, and where they stand.

A file is a header of 16 bytes and then records, all little-endian::

    55 4C 6F 67 01 12 35  version  u64 start [us]     "ULog", ...
    u16 length  type  payload

========  ================================================================
type      payload
========  ================================================================
B         flags: 8 bytes compatible, 8 incompatible, 3 offsets of what was appended
F         declaration of a layout, see `flightlog.importers.ulog_formats`
I, M      information by name; M comes several times
P, Q      parameter; its default
A, R      a topic begins (instance, id, name); ends
D         data: id, then the fields
L, C      text with level and time; C with a tag as well
O         dropout: milliseconds that the logger could not write
S         eight fixed bytes to find the way after damage
========  ================================================================

The decoder behind this file trusts what it is given: it hangs on declarations that explode, stops
without a word at some damage, and does not tell where in the file a record stood, which the clock
needs. So the records are walked here first. What is whole goes on, in memory, to the decoder;
what is not is counted. After damage the walk resumes where three records in a row lead to each
other.
"""

from __future__ import annotations

import re
import struct
from array import array
from collections.abc import Iterator

from flightlog.importers.registry import Progress, unwatched
from flightlog.importers.ulog_formats import LONGEST_NAME, NAME
from flightlog.importers.ulog_scan import Parameter, Scan, Subscription

MAGIC = b"ULog\x01\x12\x35"
HEADER_BYTES = 16
SYNC = b"\x2f\x73\x13\x20\x25\x0c\xbb\x12"

DATA = ord("D")
KINDS = b"BFIMPQARSODLC"

MOST_TEXTS = 200_000
"""Records that are no data; a decoder makes an object of each. Real files have thousands."""

MOST_FORMAT_BYTES = 2_000_000
MOST_FIELDS = 200_000
"""Fields of all topics together; real files have some ten thousand."""

STEPS_OVER = 20
"""So many records in a row that are not understood are stepped over before it counts as damage."""

_CANDIDATES = re.compile(b"[" + KINDS + b"]")
_USED = (re.compile(rb"[^\0]"), re.compile(rb"[^\xff]"))
_KEY = re.compile(rb"[A-Za-z_]\w*(?:\[\d{1,5}\])? [!-~]+", re.ASCII)
_NUMBER_KEY = re.compile(rb"(int32_t|float) ([!-~]+)")
# Types of information of one number and how long it has to be; texts and others may be any.
_INFO_SIZES = {b"int8_t": 1, b"uint8_t": 1, b"int16_t": 2, b"uint16_t": 2, b"int32_t": 4,
               b"uint32_t": 4, b"int64_t": 8, b"uint64_t": 8, b"float": 4, b"double": 8,
               b"bool": 1, b"char": 1}  # fmt: skip
_LEAST = {"B": 40, "F": 4, "I": 4, "M": 5, "P": 8, "Q": 9, "A": 4, "R": 2, "S": 8, "O": 2,
          "L": 9, "C": 11}  # fmt: skip
_LEAST_BYTES = {ord(kind): size for kind, size in _LEAST.items()}
_FIXED = {ord("R"): 2, ord("S"): 8, ord("O"): 2}
_KEPT = b"IMQLC"
_LEVELS = frozenset([*b"01234567", *range(8)])


def scan(content: bytes, progress: Progress | None = None) -> tuple[Scan, bytes]:
    """Walk a file.

    Returns
    -------
    Scan
        What stands where.
    bytes
        A sound file of the same content for the decoder: declarations first, then the topics
        that have data, then data, texts and information in the order of the file.
    """
    walk = _Walk(content, progress)
    walk.everything()
    return walk.found, walk.clean()


class _Walk:
    """One walk through a file."""

    def __init__(self, content: bytes, progress: Progress | None) -> None:
        self.content = content
        self.progress = progress or unwatched
        self.found = Scan(size=len(content))
        self.sizes: dict[int, int] = {}
        self.formats: list[bytes] = []
        self.format_bytes = self.small = self.fields = 0
        self.runs: list[tuple[int, int]] = []
        self.run = 0
        self.sound = 0  # a sound record further on, to which the walk is known to lead
        self.last = -1  # the data record that was taken last
        self.announced = False

    # --- the whole file

    def everything(self) -> None:
        """Walk header, sections and what was appended."""
        begin = max(self.content[:65536].find(MAGIC), 0)
        if begin:
            self.found.damaged.append((0, begin))
        if self.content.startswith(MAGIC, begin) and len(self.content) >= begin + HEADER_BYTES:
            self.found.version = self.content[begin + 7]
            self.found.start_us = struct.unpack_from("<Q", self.content, begin + 8)[0]
        else:
            self.found.damaged.append((0, min(HEADER_BYTES, len(self.content))))
        begin = min(begin + HEADER_BYTES, len(self.content))
        self._flags(begin)
        if self.found.unknown_flags:
            return
        for end in (*self.found.appended, len(self.content)):
            self.run, self.last = begin, -1
            self._section(begin, end)
            begin = end

    def _flags(self, at: int) -> None:
        if self._fits(at, len(self.content)) < 0 or self.content[at + 2] != ord("B"):
            return
        incompatible = self.content[at + 11 : at + 19]
        self.found.unknown_flags = bool(incompatible[0] & ~1 or any(incompatible[1:]))
        offsets = struct.unpack_from("<3Q", self.content, at + 19)
        last = at
        for offset in offsets if incompatible[0] & 1 else ():
            if last < offset < len(self.content):
                self.found.appended.append(offset)
                last = offset
            elif offset:
                self.found.lost["offset of appended data outside of the file"] += 1

    def _section(self, at: int, end: int) -> None:
        content, sizes, places = self.content, self.sizes, self.found.places
        told = at
        while at + 3 <= end:
            stop = at + 3 + (content[at] | content[at + 1] << 8)
            if content[at + 2] == DATA and stop <= end and stop - at >= 5:
                id = content[at + 3] | content[at + 4] << 8
                if sizes.get(id) == stop - at:
                    places[id].append(at)
                    self.last = at
                    at = stop
                    continue
            if at - told > 1 << 20:
                told = at
                self.progress(at / len(content), "finding records")
            at = self._other(at, stop, end)
        if at < end:
            self._flush(at, end)
            self.found.cut.append((at, end - at))
        self._flush(end, end)

    def _flush(self, at: int, next: int) -> None:
        """End the run of kept bytes before ``at``; the following one starts at ``next``."""
        if at > self.run:
            self.runs.append((self.run, at))
        self.run = next

    # --- records that are no plain data

    def _other(self, at: int, stop: int, end: int) -> int:
        """Handle one record that is not plain data; give where to go on."""
        kind = self.content[at + 2]
        fits = self._fits(at, end)
        # These need no other witness than themselves.
        sure = kind in _FIXED or (kind == ord("A") and self._is_declared(at, stop))
        if fits >= 0 and kind != DATA and (sure or self._leads(stop, end)):
            if not self._take(kind, at, stop):
                self._flush(at, stop)
            return stop
        if kind == DATA and self._padded(at, stop, end):
            return stop
        unknown = stop <= end and chr(kind).isalpha() and kind < 128 and self._leads(stop, end)
        # Foreign bytes may look like the head of a long record that ends where another begins.
        if unknown and self._search(at + 1, stop, whole=True) == stop:
            self.found.lost[self._reason(kind, at)] += 1
            self._flush(at, stop)
            return stop
        return self._resume(at, stop, end)

    def _is_declared(self, at: int, stop: int) -> bool:
        name = self.content[at + 6 : min(stop, at + 300)].decode("ascii", "replace")
        return name in self.found.formats.members

    def _reason(self, kind: int, at: int) -> str:
        if kind == DATA:
            return (
                "data of another length"
                if self._id(at) in self.sizes
                else "data of a topic that is not declared"
            )
        return "unreadable record" if kind in KINDS else "record of unknown type"

    def _padded(self, at: int, stop: int, end: int) -> bool:
        """Take a data record with the padding that its writer should have left out."""
        if stop > end or stop - at < 5:
            return False
        topic = self.found.topics.get(self._id(at))
        if topic is None or stop - at - 5 != topic.layout.padded:
            return False
        self.found.places[topic.id].append(at)
        self._flush(at, stop)
        # A negative end says: with a new length, and no more than these bytes.
        self.runs.append((at, -(at + 5 + topic.layout.size)))
        return True

    def _resume(self, at: int, stop: int, end: int) -> int:
        """Step over damage, or end where the file is cut or padded."""
        if any(used.search(self.content, at, end) is None for used in _USED):
            self._flush(at, end)
            self.found.padding += end - at
            return end
        is_cut = stop > end and self.content[at + 2] in KINDS
        if is_cut and self.content[at + 2] == DATA and end - at >= 5:
            # Of a known topic and of its length: no damage, only cut.
            if self.sizes.get(self._id(at)) == stop - at:
                return self._cut(at, end)
        begin = at
        if 0 <= self.last < at == self._end_of(self.last):
            begin = self.last
        place = self._search(begin + 1, end)
        if place < at:
            # Sound records start inside the one before: its own rest is lost.
            self.found.places[self._id(begin)].pop()
            at, self.last = begin, -1  # given up once, not again where the walk comes back
        if place == end and is_cut:
            return self._cut(at, end)
        self._flush(at, place)
        self.found.damaged.append((at, place - at))
        return place

    def _end_of(self, at: int) -> int:
        return at + 3 + (self.content[at] | self.content[at + 1] << 8)

    def _id(self, at: int) -> int:
        return self.content[at + 3] | self.content[at + 4] << 8

    def _cut(self, at: int, end: int) -> int:
        self._flush(at, end)
        self.found.cut.append((at, end - at))
        return end

    def _search(self, begin: int, end: int, *, whole: bool = False) -> int:
        """First place from which three records lead to each other; else the end.

        Fewer do where they lead to the end, unless they are wanted ``whole``.
        """
        for match in _CANDIDATES.finditer(self.content, begin + 2, end):
            at = match.start() - 2
            next, links = at, 0
            while links < 3 and next + 3 <= end:
                next = self._fits(next, end)
                if next < 0:
                    break
                links += 1
            if links == 3 or (links and not whole and next + 3 > end):
                return at
        return end

    def _leads(self, at: int, end: int) -> bool:
        """Whether a sound record comes next, perhaps behind some that are not understood."""
        if at < self.sound:
            return True
        for _ in range(STEPS_OVER):
            if at + 3 > end or self._fits(at, end) >= 0:
                self.sound = at
                return True
            kind = self.content[at + 2]
            size = self.content[at] | self.content[at + 1] << 8
            if kind > 127 or not chr(kind).isalpha() or not size:
                # The empty rest of the last block of a card.
                return size == 0 and not self.content[at : min(end, at + 64)].strip(b"\0")
            if at + 3 + size > end:
                return kind in KINDS
            at += 3 + size
        return False

    def _fits(self, at: int, end: int) -> int:
        """Where a record that looks sound ends; -1 where none stands. Looks at few bytes."""
        content = self.content
        if at + 3 > end:
            return -1
        size = content[at] | content[at + 1] << 8
        stop = at + 3 + size
        kind = content[at + 2]
        if stop > end:
            return -1
        if kind == DATA:
            if size < 2:
                return -1
            id = content[at + 3] | content[at + 4] << 8
            return stop if self.sizes.get(id) == size + 3 else -1
        if size < _LEAST_BYTES.get(kind, 1 << 16) or size != _FIXED.get(kind, size):
            return -1
        return stop if self._looks_sound(kind, at + 3, stop) else -1

    def _looks_sound(self, kind: int, at: int, stop: int) -> bool:
        content = self.content
        if kind in b"LC":
            return content[at] in _LEVELS
        # Cheap looks first: this is asked at every byte of a damaged stretch.
        if kind == ord("F"):
            end = content.find(b":", at, min(stop, at + LONGEST_NAME + 1))
            return end > 0 and NAME.fullmatch(content, at, end) is not None
        if kind == ord("A"):
            short = stop - at - 3 <= LONGEST_NAME
            return short and NAME.fullmatch(content, at + 3, stop) is not None
        if kind in b"PIMQ":
            return self._has_key(kind, at + (kind in b"MQ"), stop)
        return kind != ord("S") or content[at:stop] == SYNC

    def _has_key(self, kind: int, at: int, stop: int) -> bool:
        """Whether a name with its type stands first and the value has the type's length."""
        end = at + 1 + self.content[at]
        if end > stop:
            return False
        if self.content.find(b" ", at + 1, end) < 0:
            return False
        wanted = _NUMBER_KEY if kind in b"PQ" else _KEY
        match = wanted.fullmatch(self.content, at + 1, end)
        if match is None:
            return False
        type = match[0].partition(b" ")[0]
        return stop - end == _INFO_SIZES.get(type, stop - end)

    # --- taking records in

    def _take(self, kind: int, at: int, stop: int) -> bool:
        """Take in a sound record; True where its bytes go on to the decoder as they stand."""
        found = self.found
        if kind not in b"SRB":
            self.small += 1
            if self.small > MOST_TEXTS:
                found.lost["text, parameter or declaration beyond the most that are read"] += 1
                return False
        if kind == ord("F"):
            self._declare(at, stop)
        elif kind == ord("A"):
            self.announced = True
            self._announce(at, stop)
        elif kind == ord("P"):
            found.parameters.append(self._parameter(at, stop))
        elif kind == ord("O"):
            found.dropouts.append((at, struct.unpack_from("<H", self.content, at + 3)[0]))
        elif kind in b"LC":
            self.announced = True
            if kind == ord("L"):
                found.texts.append(at)
            else:
                found.tagged.append((at, struct.unpack_from("<H", self.content, at + 4)[0]))
        return kind in _KEPT

    def _declare(self, at: int, stop: int) -> None:
        self.format_bytes += stop - at
        if self.announced:
            self.found.lost["declaration behind the beginning of the data"] += 1
        elif self.format_bytes > MOST_FORMAT_BYTES:
            self.found.lost["declaration beyond the most that are read"] += 1
        elif self.found.formats.declare(self.content[at + 3 : stop]):
            self.formats.append(self.content[at:stop])

    def _announce(self, at: int, stop: int) -> None:
        found = self.found
        multi_id, id = struct.unpack_from("<BH", self.content, at + 3)
        name = self.content[at + 6 : stop].decode("ascii", "replace")
        known = found.topics.get(id)
        if known is not None:
            if (known.name, known.multi_id) != (name, multi_id):
                found.contradictions.append(name)
            return
        layout = found.formats.layout(name)
        if layout is None:
            found.lost["topic whose declaration is missing or can't be read"] += 1
            return
        self.fields += layout.fields
        if self.fields > MOST_FIELDS:
            found.lost["topic beyond the most fields that are read"] += 1
            return
        found.topics[id] = Subscription(id, name, multi_id, at, layout)
        found.places[id] = array("q")
        self.sizes[id] = layout.size + 5

    def _parameter(self, at: int, stop: int) -> Parameter:
        end = at + 4 + self.content[at + 3]
        type, _, name = self.content[at + 4 : end].partition(b" ")
        value = struct.unpack_from("<i" if type == b"int32_t" else "<f", self.content, end)[0]
        return Parameter(at, name.decode("ascii"), float(value), initial=not self.announced)

    # --- for the decoder

    def clean(self) -> bytes:
        """Put together a sound file; see `scan`."""
        return b"".join(self._pieces())

    def _pieces(self) -> Iterator[bytes | memoryview]:
        found = self.found
        # Version 1 and no flags: what they would tell is already done.
        yield MAGIC + b"\x01" + struct.pack("<Q", found.start_us)
        yield from self.formats
        content = memoryview(self.content)
        for topic in found.topics.values():
            if len(found.places[topic.id]):
                size = self.content[topic.at] | self.content[topic.at + 1] << 8
                yield content[topic.at : topic.at + 3 + size]
        for begin, end in self.runs:
            if end < 0:
                yield struct.pack("<HB", -end - begin - 3, DATA)
                yield content[begin + 3 : -end]
            else:
                yield content[begin:end]
