r"""DataFlash binary logs: bytes to raw tables.

A file is a row of records ``A3 95 id payload``. What a payload holds is told by records of
type 128 in the same file (here with spaces between the fields)::

    A3 95 80  0F 2C "GPS\0" "QBIHBcLLefff" "TimeUS,Status,GMS,GWk,NSats,HDop,Lat,…"
              id length name  one character a field      field names

The whole file is one byte array. Record starts are found by looking for the two header bytes
and following the lengths, in whole-array operations; only where the stream is broken is it
walked step by step. Then the records are copied together by type; columns are cut out of these
blocks when they are asked for.

Traps: header bytes occur inside payloads; a type may be declared after its first use, twice,
or with a length that its fields do not add up to; block loggers pad the end; a lost block cuts
a record in half.
"""

from __future__ import annotations

import mmap
from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.errors import LogFileError
from flightlog.importers.common import Notes, read_bytes, sha256_of_file
from flightlog.importers.dataflash_formats import (
    Format,
    Schema,
    declarations,
    read_formats,
    read_units,
)
from flightlog.importers.registry import Match, Progress

if TYPE_CHECKING:
    from flightlog.recording import Recording

HEADER = b"\xa3\x95"
LONGEST_RECORD = 3 + 16 * 64
CHUNK_BYTES = 1 << 18
CHUNK_RECORDS = 1 << 15
"""Small enough that the intermediate results stay in the processor's cache."""
CACHE_LINE_BYTES = 64

Bytes = npt.NDArray[np.uint8]
IntArray = npt.NDArray[np.int64]
# Offsets take half the memory where the file allows it.
Offsets = npt.NDArray[np.signedinteger[Any]]


def sniff(head: bytes) -> Match:
    """Tell a DataFlash binary log by its first records."""
    data = np.frombuffer(head, dtype=np.uint8)
    declares = bool(len(declarations(data, *find_headers(data))[0]))
    if head[:2] == HEADER:
        return Match.YES if declares else Match.MAYBE
    return Match.MAYBE if declares else Match.NO


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read a DataFlash log; see `flightlog.importers.read`.

    Raises
    ------
    LogFileError
        If not one message but declarations can be read.
    """
    from flightlog.importers.dataflash_tables import finish_recording

    notes = Notes()
    # First, so that a card that can't be read says so here and not while the file is mapped.
    sha256 = sha256_of_file(path)
    log = decode_file(path, None if progress is None else lambda f, text: progress(0.5 * f, text))
    if not any(name != "FMT" for name in log):
        raise LogFileError(
            "no record could be read but declarations" if len(log) else "no record could be read",
            where=path.name,
            fix="Copy the file from the aircraft's card again.",
        )
    tell_damage(log, notes)
    return finish_recording(
        path,
        log,
        records=len(log.starts),
        size=log.size,
        sha256=sha256,
        format="dataflash",
        notes=notes,
        progress=progress,
    )


def tell_damage(log: DecodedLog, notes: Notes) -> None:
    """Tell bytes that belong to no record, a cut end, and contradicting declarations."""
    lost = sum(gap.count for gap in log.gaps)
    notes.drop("damaged bytes", lost)
    if lost:
        first = log.gaps[0]
        notes.find(
            "damaged-bytes",
            f"{lost} of {log.size} bytes in {len(log.gaps)} places belong to no record, the first "
            f"at byte {first.offset}; what stands before and after them was read.",
            evidence={"bytes": lost, "places": len(log.gaps), "first_offset": first.offset},
        )
    if log.tail is not None:
        notes.drop("bytes of a cut record", log.tail.count)
        notes.find(
            "truncated",
            f"The file ends inside a record: its last {log.tail.count} bytes were not read.",
            evidence={"offset": log.tail.offset, "bytes": log.tail.count},
        )
    if log.padding:
        notes.lines.append(f"{log.padding} empty bytes at the end of the file")
    if log.schema.refused:
        names = ", ".join(log.schema.refused[:10])
        notes.find(
            "contradicting-formats",
            f"Declarations of {len(log.schema.refused)} message types contradict themselves or "
            f"an earlier one: {names}.",
            evidence={"types": len(log.schema.refused)},
        )


@dataclass(frozen=True, slots=True)
class Gap:
    """Bytes that belong to no record: offset of the first, and how many."""

    offset: int
    count: int


Between = tuple[tuple[Gap, ...], Gap | None, int]
"""Bytes between the records, the cut end, and how many empty bytes end the file."""


class MessageTable:
    """All rows of one message type, decoded column by column when asked.

    Numbers come as 64-bit floats where the file holds floats or scaled integers, else as the
    integers of the file; texts as an object array of str; arrays of 32 numbers and file
    contents as two-dimensional integer arrays.

    Attributes
    ----------
    format : Format
        As declared.
    rows : array of int
        Place of each row among all records of the file.
    """

    def __init__(
        self,
        format: Format,
        rows: IntArray,
        block: npt.NDArray[np.void],
        units: Mapping[int, tuple[Mapping[str, str], Mapping[str, float]]],
    ) -> None:
        # Not the log: tables that know it would keep each other in memory until Python looks
        # for such circles.
        self._units = units
        self._block = block.view(format.dtype)
        self.format = format
        self.rows = rows

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in the file's order."""
        return self.format.columns

    @property
    def units(self) -> Mapping[str, str]:
        """Unit text per field, where the file states it; see also `multipliers`."""
        return self._units.get(self.format.id, ({}, {}))[0]

    @property
    def multipliers(self) -> Mapping[str, float]:
        """What to multiply a value with to have it in its unit, where the file states it.

        1 for fields that the format itself scales.
        """
        return self._units.get(self.format.id, ({}, {}))[1]

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, column: str) -> npt.NDArray[Any]:
        """Decode one column; KeyError when the type has no such field."""
        field = self.format.field(column)
        return field.decode(self._block[column])

    def __repr__(self) -> str:
        return f"<{self.format.name} {len(self)} rows: {', '.join(self.columns)}>"


class DecodedLog(Mapping[str, MessageTable]):
    """All message types of one file by name.

    Attributes
    ----------
    size : int
        Bytes of the file.
    starts, ids : arrays
        Byte offset and type of every record, in file order.
    gaps : tuple of Gap
        Bytes between records that belong to none.
    tail : Gap or None
        Bytes of a record that the file's end cuts off.
    padding : int
        Empty bytes at the end.
    schema : Schema
        The declared formats, and what contradicted them.
    """

    def __init__(
        self, content: Bytes, schema: Schema, starts: Offsets, ids: Bytes, between: Between
    ) -> None:
        self.size = len(content)
        self.schema = schema
        self.starts, self.ids = starts, ids
        self._tables: dict[str, MessageTable] = {}
        units: dict[int, tuple[dict[str, str], dict[str, float]]] = {}
        for id, (rows, block) in _by_type(content, starts, ids, schema.lengths).items():
            format = schema.formats[id]
            name = format.name if format.name not in self._tables else f"{format.name}.{id}"
            self._tables[name] = MessageTable(format, rows, block, units)
        units.update(read_units(self))
        self.gaps, self.tail, self.padding = between

    def __getitem__(self, name: str) -> MessageTable:
        return self._tables[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)


def _by_type(
    content: Bytes, starts: Offsets, ids: Bytes, lengths: IntArray
) -> dict[int, tuple[IntArray, npt.NDArray[np.void]]]:
    """Copy the records together by type.

    Returns
    -------
    dict of int to (array of int, array of void)
        By type, rising: the places of its records among all, and their bytes.

    Notes
    -----
    A part of the file is copied at a time, and its bytes are looked at in their order before:
    what is gathered then stands in the processor's cache. Gathering each type from the whole
    file would wait for the memory at every record. All types share one array, because the system
    hands out many smaller ones far more slowly.
    """
    counts = np.bincount(ids, minlength=256)
    sizes = counts * lengths
    first_rows, first_bytes = np.cumsum(counts) - counts, np.cumsum(sizes) - sizes
    all_bytes = np.empty(int(sizes.sum()), dtype=np.uint8)
    rows = np.argsort(ids, kind="stable")
    at = starts[rows]
    types: dict[int, _OneType] = {}
    for id in np.flatnonzero(counts).tolist():
        mine = slice(int(first_rows[id]), int(first_rows[id] + counts[id]))
        block = all_bytes[int(first_bytes[id]) : int(first_bytes[id] + sizes[id])]
        types[id] = _OneType(content, rows[mine], at[mine], block, int(lengths[id]))
    for first in range(0, len(ids), CHUNK_RECORDS):
        part = slice(first, min(first + CHUNK_RECORDS, len(ids)))
        content[int(starts[part][0]) : int(starts[part][-1]) : CACHE_LINE_BYTES].max(initial=0)
        present = np.bincount(ids[part], minlength=256)
        for id in np.flatnonzero(present).tolist():
            types[id].copy_next(int(present[id]))
    return {id: (one.rows, one.block) for id, one in types.items()}


class _OneType:
    """The records of one type while they are copied; `_by_type`."""

    __slots__ = ("_at", "_done", "_windows", "block", "rows")

    def __init__(
        self, content: Bytes, rows: IntArray, at: Offsets, block: Bytes, length: int
    ) -> None:
        self.rows = rows
        self.block = block.view(f"V{length}")
        self._at = at
        self._done = 0
        # Element i is the bytes of a record that starts at byte i.
        self._windows: npt.NDArray[np.void] = np.ndarray(
            (max(len(content) - length + 1, 0),), f"V{length}", buffer=content.data, strides=(1,)
        )

    def copy_next(self, count: int) -> None:
        """Copy so many more records."""
        here = slice(self._done, self._done + count)
        self.block[here] = self._windows[self._at[here]]
        self._done += count


def decode_file(path: Path, progress: Progress | None = None) -> DecodedLog:
    """Decode a file; it is not held open.

    Raises
    ------
    LogFileError
        If it can't be read.
    """
    try:
        with path.open("rb") as file:
            mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    except (OSError, ValueError):
        # Some network drives can't map; an empty file can't be mapped anywhere.
        return decode(read_bytes(path), progress)
    # Mapped, not read: making memory for a copy takes longer than all the rest. Once the records
    # stand sorted by type nothing refers to the map and it is gone.
    return decode(np.frombuffer(mapped, dtype=np.uint8), progress)


def decode(content: Bytes, progress: Progress | None = None) -> DecodedLog:
    """Find every record of a DataFlash log.

    Parameters
    ----------
    content : array of uint8
        The whole file.
    progress : callable, optional
        Called with the fraction done and a text.
    """
    headers, types = find_headers(content, progress)
    believed, believed_types = headers, types
    for _ in range(4):
        schema = read_formats(content, believed, believed_types)
        starts, ids, ends = follow(len(content), headers, types, schema.lengths)
        # A declaration inside another record's payload (a copied file) is none.
        place = np.searchsorted(starts, schema.declared_at)
        if (place < len(starts)).all() and (starts[place] == schema.declared_at).all():
            break
        believed, believed_types = starts, ids
    between = _gaps(content, starts, ends)
    # No longer needed, and what follows needs the most memory.
    del headers, types, believed, believed_types, ends
    return DecodedLog(content, schema, starts, ids, between)


def find_headers(content: Bytes, progress: Progress | None = None) -> tuple[Offsets, Bytes]:
    """Offsets of all header byte pairs that have room for a type after them, and the types."""
    offset_type = np.int32 if len(content) < 2**31 - LONGEST_RECORD else np.int64
    found: list[Offsets] = [np.zeros(0, dtype=offset_type)]
    types = [content[:0]]
    room = max(len(content) - 2, 0)
    is_first, is_second = np.empty((2, min(CHUNK_BYTES, room)), dtype=bool)
    for a in range(0, room, CHUNK_BYTES):
        z = min(a + CHUNK_BYTES, room)
        is_header = np.equal(content[a:z], HEADER[0], out=is_first[: z - a])
        is_header &= np.equal(content[a + 1 : z + 1], HEADER[1], out=is_second[: z - a])
        at = np.flatnonzero(is_header)
        types.append(content[a + 2 : z + 2].take(at))
        at += a
        found.append(at.astype(offset_type))
        if progress is not None:
            progress(z / len(content), "finding records")
    return np.concatenate(found), np.concatenate(types)


def follow(
    size: int, candidates: Offsets, ids: Bytes, lengths: IntArray
) -> tuple[Offsets, Bytes, Offsets]:
    """Choose the record starts among the header positions.

    Parameters
    ----------
    size : int
        Bytes of the file.
    candidates, ids : arrays
        Offsets of header bytes, rising, and the types they name.
    lengths : array of 256 int
        Record length per type; 0 where it is not declared.

    Returns
    -------
    starts, ids, ends : arrays
        Offset, type and end of every whole record.

    Notes
    -----
    Same as walking from the first record by the declared lengths. Where that walk does not
    land on a header, the record before is left out if records that follow one another start
    inside it (it was cut), and the walk goes on at the next header that has a follower.
    """
    if not len(candidates):
        return candidates, ids, candidates
    ends: Offsets = lengths.astype(candidates.dtype).take(ids)
    candidates, ids, ends = _chosen(ends > 0, candidates, ids, ends)
    ends += candidates
    direct = np.zeros(len(candidates), dtype=bool)
    np.equal(ends[:-1], candidates[1:], out=direct[:-1])
    odd = np.flatnonzero(~direct)
    target = np.searchsorted(candidates, ends[odd])
    lands = np.zeros(len(odd), dtype=bool)
    inside = target < len(candidates)
    lands[inside] = candidates[target[inside]] == ends[odd[inside]]
    # The file may end in one or two bytes of a next record.
    at_end = (ends[odd] <= size) & (ends[odd] > size - 3)
    keep = _walk(direct, odd, target, lands | at_end, candidates, ends)
    # In the array's own type: another would make numpy convert the whole array.
    near_end = candidates.dtype.type(max(size - int(lengths.max()), 0))
    past = int(np.searchsorted(candidates, near_end))
    keep[past:] &= ends[past:] <= size
    return _chosen(keep, candidates, ids, ends)


def _chosen(
    keep: npt.NDArray[np.bool_], at: Offsets, ids: Bytes, ends: Offsets
) -> tuple[Offsets, Bytes, Offsets]:
    """Those of some candidates that are marked."""
    left_out = np.flatnonzero(~keep)
    if len(left_out) > len(keep) // 200:
        return at[keep], ids[keep], ends[keep]
    # Where nearly all stay, copying the stretches between those that don't takes half the time.
    bounds = [0, *(left_out + 1).tolist()], [*left_out.tolist(), len(keep)]
    parts = [slice(a, z) for a, z in zip(*bounds, strict=True)]
    if len(parts) == 1:
        return at, ids, ends
    return (
        np.concatenate([at[part] for part in parts]),
        np.concatenate([ids[part] for part in parts]),
        np.concatenate([ends[part] for part in parts]),
    )


def _walk(
    direct: npt.NDArray[np.bool_],
    odd: IntArray,
    target: IntArray,
    lands: npt.NDArray[np.bool_],
    candidates: Offsets,
    ends: Offsets,
) -> npt.NDArray[np.bool_]:
    """Mark the candidates on the walk; steps singly only where a record's end is odd."""
    count = len(candidates)
    keep = np.zeros(count, dtype=bool)
    odd_list, target_list, lands_list = odd.tolist(), target.tolist(), lands.tolist()
    linked = direct.copy()
    linked[odd] = lands
    linked_at: list[IntArray] = []  # made where the first break is met

    def resume(i: int, stop: int) -> int:
        """Give the first candidate from ``i`` on that has a follower; else ``stop``."""
        if i < count and linked[i]:
            return min(i, stop)
        if not linked_at:
            linked_at.append(np.flatnonzero(linked))
        k = int(np.searchsorted(linked_at[0], i))
        return min(int(linked_at[0][k]), stop) if k < len(linked_at[0]) else stop

    i = resume(0, count)
    k = bisect_left(odd_list, i)
    while i < count:
        while odd_list[k] < i:
            k += 1
        last = odd_list[k]
        keep[i : last + 1] = True
        following = target_list[k]
        if lands_list[k]:
            i = following
            continue
        # Broken here. Two links in a row inside the record's own bytes: it was cut.
        cut = resume(last + 1, following)
        while cut < following and not _has_two_links(cut, linked, candidates, ends):
            cut = resume(cut + 1, following)
        if cut < following:
            keep[last] = False
            i = cut
        else:
            i = resume(following, count)
    return keep


def _has_two_links(
    i: int, linked: npt.NDArray[np.bool_], candidates: Offsets, ends: Offsets
) -> bool:
    """Whether the candidate's follower has a follower too."""
    after = int(np.searchsorted(candidates, ends[i]))
    return after < len(candidates) and bool(linked[i] and linked[after])


def _gaps(content: Bytes, starts: Offsets, ends: Offsets) -> Between:
    """Bytes that belong to no record: between records, cut at the end, padding."""
    if not len(starts):
        return ((Gap(0, len(content)),) if len(content) else ()), None, 0
    gaps = [Gap(0, int(starts[0]))] if starts[0] else []
    for h in np.flatnonzero(starts[1:] != ends[:-1]).tolist():
        gaps.append(Gap(int(ends[h]), int(starts[h + 1] - ends[h])))
    last = Gap(int(ends[-1]), len(content) - int(ends[-1]))
    if not last.count:
        return tuple(gaps), None, 0
    rest = content[last.offset :]
    # Block loggers leave the rest of the last page empty.
    if rest[0] in (0x00, 0xFF) and (rest == rest[0]).all():
        return tuple(gaps), None, last.count
    if last.count < LONGEST_RECORD and bytes(rest[:2]) in (HEADER, HEADER[:1]):
        return tuple(gaps), last, 0
    return (*gaps, last), None, 0
