"""MAVLink frames in a telemetry file: where they are, and their fields column by column.

A telemetry file repeats one record: eight bytes with the time of arrival (big-endian,
microseconds since 1970 by the clock of the recording computer), then one MAVLink frame as it
came over the link::

    00 05 71 4b 76 bf 40 a4 | fe 21 e0 01 01 21 ...    version 1: magic, length, sequence,
                                                       system, component, id
    00 06 2b 0f 38 43 1c 1c | fd 1c 00 00 07 01 01 1e 00 00 ...
                                                       version 2: magic, length, two bytes of
                                                       flags, sequence, system, component, id
                                                       in three bytes

Payload and checksum follow. The checksum also covers a byte that stands for the definition of
the message; definitions, field layouts and that byte come from pymavlink, which is the
reference for every value here. The frames are found by whole-array operations: every magic
byte that follows a possible time stamp is a candidate, the checksums of all candidates are
computed together, and those that hold are taken in file order.

Traps: version 2 leaves out zero bytes at the end of the payload; a payload may be longer than
its known definition (a newer one with more fields); a signed frame carries 13 more bytes; a
frame of an unknown id has no checksum that could be tested, so it is only believed where its
length leads from one frame to the next.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, cast

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
IntArray = npt.NDArray[np.int64]

STAMP = 8
"""Bytes of the time of arrival before each frame."""

V1, V2 = 0xFE, 0xFD
"""First byte of a frame in protocol versions 1 and 2."""

HEADER_V1, HEADER_V2, CHECKSUM, SIGNATURE = 6, 10, 2, 13
SIGNED_FLAG = 0x01
_STAMP_HIGHEST_BYTE = 0x10  # of the second byte: 2**52 us is the year 2112
_CRC_START = 0xFFFF

_TYPE_CODES = {
    "char": "S",
    "int8_t": "<i1",
    "uint8_t": "<u1",
    "int16_t": "<i2",
    "uint16_t": "<u2",
    "int32_t": "<i4",
    "uint32_t": "<u4",
    "int64_t": "<i8",
    "uint64_t": "<u8",
    "float": "<f4",
    "double": "<f8",
    "uint8_t_mavlink_version": "<u1",
}


@dataclass(frozen=True, slots=True)
class Definition:
    """One message definition.

    Attributes
    ----------
    name : str
        Message name.
    layout : numpy dtype
        Fields in wire order, packed, little-endian.
    fields : tuple of str
        Field names in the definition's order.
    units : mapping of str to str
        Unit text of the fields that have one.
    crc_extra : int
        The byte that the checksum covers beside the frame.
    """

    name: str
    layout: np.dtype[Any]
    fields: tuple[str, ...]
    units: Mapping[str, str]
    crc_extra: int


def definitions() -> dict[int, Definition]:
    """All message definitions that pymavlink ships, by id."""
    from pymavlink.dialects.v20 import all as dialect

    return {int(i): _definition(c) for i, c in dialect.mavlink_map.items()}


def _definition(message: Any) -> Definition:
    types = dict(zip(message.fieldnames, message.fieldtypes, strict=True))
    layout: list[Any] = []
    for name, length in zip(message.ordered_fieldnames, message.array_lengths, strict=True):
        code = _TYPE_CODES[types[name]]
        if code == "S":
            layout.append((name, f"S{max(length, 1)}"))
        else:
            layout.append((name, code, (length,)) if length else (name, code))
    return Definition(
        name=str(message.msgname),
        layout=np.dtype(layout),
        fields=tuple(message.fieldnames),
        units=MappingProxyType(dict(message.fieldunits_by_name)),
        crc_extra=int(message.crc_extra),
    )


@dataclass(frozen=True, slots=True)
class Frames:
    """The frames of a file, in file order, one entry per frame in each array.

    Attributes
    ----------
    content : array of uint8
        The file.
    stamp_us : array
        Time of arrival, microseconds since 1970 by the recorder's clock.
    payload, length : array
        Where the payload starts, and its bytes as sent.
    version, sequence, system, component, message_id : array
        From the frame header.
    unknown : Counter of int
        Frames with an id that has no definition, by id.
    damaged_runs, damaged_bytes : int
        Stretches that are no frame, and their bytes.
    misfits : Counter of (int, int)
        Of the damaged runs, whole frames in the chain with a wrong checksum, by system and
        id. Many of one kind mean a sender with another definition.
    truncated : bool
        Whether the file ends inside a record.
    """

    content: Bytes
    stamp_us: IntArray
    payload: IntArray
    length: IntArray
    version: IntArray
    sequence: IntArray
    system: IntArray
    component: IntArray
    message_id: IntArray
    unknown: Counter[int]
    damaged_runs: int
    damaged_bytes: int
    misfits: Counter[tuple[int, int]]
    truncated: bool

    def __len__(self) -> int:
        return len(self.stamp_us)


class MessageTable:
    """All rows of one message type of one sender; decoded when a column is asked for.

    Parameters
    ----------
    frames : Frames
        The file's frames.
    rows : array
        Which of them.
    definition : Definition
        Their layout.

    Attributes
    ----------
    rows : array
        Place of each row among the frames of the file.
    """

    def __init__(self, frames: Frames, rows: IntArray, definition: Definition) -> None:
        self.rows = rows
        self._frames = frames
        self._definition = definition
        self._records: npt.NDArray[Any] | None = None

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in the definition's order."""
        return self._definition.fields

    @property
    def units(self) -> Mapping[str, str]:
        """Unit text per field, where the definition states it."""
        return self._definition.units

    def __len__(self) -> int:
        return len(self.rows)

    def __contains__(self, column: object) -> bool:
        return column in self._definition.fields

    def __getitem__(self, column: str) -> npt.NDArray[Any]:
        """Values of one field; array fields have shape (rows, length), text is str."""
        if self._records is None:
            self._records = self._decode()
        values = self._records[column]
        if values.dtype.kind == "S":
            return _texts(values)
        return np.ascontiguousarray(values)

    def numbers(self, column: str) -> npt.NDArray[np.float64]:
        """Values of one numeric field as 64-bit floats."""
        # Some bit patterns of NaN raise a warning when they are widened.
        with np.errstate(invalid="ignore"):
            return self[column].astype(np.float64)

    def _decode(self) -> npt.NDArray[Any]:
        size = self._definition.layout.itemsize
        length = self._frames.length[self.rows]
        at = self._frames.payload[self.rows][:, None] + np.arange(size)
        # Bytes that were not sent are zero: version 2 leaves them out, version 1 does not
        # know the later fields.
        sent = np.arange(size) < length[:, None]
        content = self._frames.content
        found = np.where(sent, content[np.minimum(at, len(content) - 1)], np.uint8(0))
        records = np.ascontiguousarray(found).view(self._definition.layout)
        return cast("npt.NDArray[Any]", records.reshape(len(self.rows)))


def _texts(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Fixed-width bytes as str, up to the first zero; some senders leave litter after it."""
    texts = [v.partition(b"\0")[0].decode("utf-8", errors="replace") for v in values.tolist()]
    return np.array(texts, dtype=str) if texts else np.empty(0, dtype="U1")


def find_frames(
    content: Bytes,
    known: Mapping[int, Definition],
    progress: Callable[[float, str], None] | None = None,
) -> Frames:
    """Find every frame of a telemetry file.

    Parameters
    ----------
    content : array of uint8
        The whole file.
    known : mapping
        Message definitions by id.
    progress : callable, optional
        Called with the fraction done and a text.

    Returns
    -------
    Frames
        Frames of known ids whose checksum holds, and the count of everything else.
    """
    head = _headers(_candidates(content), content)
    head = head.take(np.isin(head.message_id, list(known)))
    head = head.take(_checksum_holds(content, head, known, progress))
    taken = head.take(_in_file_order(head))
    unknown, misfits = Counter[int](), Counter[tuple[int, int]]()
    runs, lost, cut = _between(content, taken, known, unknown, misfits)
    stamps = content[(taken.magic - STAMP)[:, None] + np.arange(STAMP)]
    stamp_us = np.ascontiguousarray(stamps).view(">u8").reshape(-1).astype(np.int64)
    return Frames(
        content=content,
        stamp_us=stamp_us,
        payload=taken.payload,
        length=taken.length,
        version=taken.version,
        sequence=taken.sequence,
        system=taken.system,
        component=taken.component,
        message_id=taken.message_id,
        unknown=unknown,
        damaged_runs=runs,
        damaged_bytes=lost,
        misfits=misfits,
        truncated=cut,
    )


@dataclass(frozen=True, slots=True)
class _Headers:
    """Frame headers, one entry per candidate in each array."""

    magic: IntArray
    end: IntArray
    payload: IntArray
    length: IntArray
    version: IntArray
    sequence: IntArray
    system: IntArray
    component: IntArray
    message_id: IntArray

    def take(self, which: npt.NDArray[Any]) -> _Headers:
        """Entries where ``which`` is true, or at these indices."""
        return _Headers(
            self.magic[which],
            self.end[which],
            self.payload[which],
            self.length[which],
            self.version[which],
            self.sequence[which],
            self.system[which],
            self.component[which],
            self.message_id[which],
        )


def _candidates(content: Bytes) -> IntArray:
    """Places of magic bytes that follow a possible time stamp."""
    found: IntArray = np.flatnonzero((content[STAMP:] | 0x03) == 0xFF) + STAMP
    value = content[found]
    found = found[(value == V1) | (value == V2)]
    stamped = (content[found - STAMP] == 0) & (content[found - STAMP + 1] <= _STAMP_HIGHEST_BYTE)
    candidates: IntArray = found[stamped]
    return candidates


def _headers(magic: IntArray, content: Bytes) -> _Headers:
    """Read the headers of candidates; those that the file's end cuts are left out."""
    second = content[magic] == V2
    whole = magic + np.where(second, HEADER_V2, HEADER_V1) + CHECKSUM <= len(content)
    magic, second = magic[whole], second[whole]

    def byte(v1: int, v2: int) -> IntArray:
        return content[magic + np.where(second, v2, v1)].astype(np.int64)

    flags = np.where(second, byte(0, 2), 0)
    length = byte(1, 1)
    message_id = byte(5, 7) + np.where(second, (byte(0, 8) << 8) + (byte(0, 9) << 16), 0)
    payload = magic + np.where(second, HEADER_V2, HEADER_V1)
    signed = (flags & SIGNED_FLAG) * SIGNATURE
    head = _Headers(
        magic=magic,
        end=payload + length + CHECKSUM + signed,
        payload=payload,
        length=length,
        version=np.where(second, 2, 1),
        sequence=byte(2, 4),
        system=byte(3, 5),
        component=byte(4, 6),
        message_id=message_id,
    )
    # A flag that this version of the protocol does not know changes the frame's meaning.
    return head.take((head.end <= len(content)) & (flags & ~SIGNED_FLAG == 0))


def _crc_table() -> npt.NDArray[np.uint16]:
    """CRC-16/MCRF4XX by bytes: polynomial 0x1021 reflected, as MAVLink uses it."""
    value = np.arange(256, dtype=np.uint16)
    for _ in range(8):
        value = np.where(value & 1, (value >> 1) ^ np.uint16(0x8408), value >> 1)
    return value.astype(np.uint16)


def _checksum_holds(
    content: Bytes,
    head: _Headers,
    known: Mapping[int, Definition],
    progress: Callable[[float, str], None] | None,
) -> npt.NDArray[np.bool_]:
    """Whether the checksum of each candidate holds; one step per byte, all frames at once."""
    table = _crc_table()
    ids, which = np.unique(head.message_id, return_inverse=True)
    seeds = np.array([known[i].crc_extra for i in ids.tolist()], dtype=np.uint16)
    covered = head.payload + head.length - (head.magic + 1)
    order = np.argsort(-covered, kind="stable")
    start, count = (head.magic + 1)[order], covered[order]
    crc = np.full(len(order), _CRC_START, dtype=np.uint16)
    longest = int(count[0]) if len(count) else 0
    active = len(order) - np.searchsorted(count[::-1], np.arange(longest), side="right")
    for step in range(longest):
        now = crc[: active[step]]
        byte = content[start[: active[step]] + step]
        now[:] = (now >> 8) ^ table[(now ^ byte) & 0xFF]
        if progress is not None and step % 32 == 0:
            progress(0.05 + 0.5 * step / longest, "checking frames")
    crc = (crc >> 8) ^ table[(crc ^ seeds[which[order]]) & 0xFF]
    at = start + count
    said = content[at].astype(np.uint16) | (content[at + 1].astype(np.uint16) << 8)
    holds = np.empty(len(order), dtype=bool)
    holds[order] = crc == said
    return holds


def _in_file_order(head: _Headers) -> IntArray:
    """Indices of frames that don't overlap, the first one first."""
    starts = head.magic - STAMP
    if (starts[1:] >= head.end[:-1]).all():
        return np.arange(len(starts))
    taken: list[int] = []
    free = 0
    for index, (start, end) in enumerate(zip(starts.tolist(), head.end.tolist(), strict=True)):
        if start >= free:
            taken.append(index)
            free = end
    return np.array(taken, dtype=np.int64)


def _between(
    content: Bytes,
    taken: _Headers,
    known: Mapping[int, Definition],
    unknown: Counter[int],
    misfits: Counter[tuple[int, int]],
) -> tuple[int, int, bool]:
    """Say what lies between the frames: unknown ids, wrong checksums, damage, a cut end.

    Returns
    -------
    runs, lost, cut : int, int, bool
        Damaged stretches, their bytes, and whether the file ends inside a record.
    """
    begins = np.concatenate([[0], taken.end])
    ends = np.concatenate([taken.magic - STAMP, [len(content)]])
    runs = lost = 0
    cut = False
    for index in np.flatnonzero(ends > begins).tolist():
        place, stop = int(begins[index]), int(ends[index])
        last = stop == len(content)
        while place < stop:
            frame = _one_header(content, place, stop)
            if frame is None:
                break
            end, system, message_id = frame
            if message_id not in known:
                unknown[message_id] += 1
            else:
                misfits[system, message_id] += 1
                runs, lost = runs + 1, lost + end - place
            place = end
        if place < stop:
            cut_here = last and _looks_cut(content, place)
            cut = cut or cut_here
            if not cut_here:
                runs, lost = runs + 1, lost + stop - place
    return runs, lost, cut


def _one_header(content: Bytes, place: int, stop: int) -> tuple[int, int, int] | None:
    """End, system and id of a whole frame at ``place`` whose end leads on; else None."""
    magic = place + STAMP
    if magic + HEADER_V1 + CHECKSUM > stop or int(content[place]) != 0:
        return None
    if int(content[magic]) == V2:
        if magic + HEADER_V2 + CHECKSUM > stop or int(content[magic + 2]) & ~SIGNED_FLAG:
            return None
        signed = SIGNATURE * (int(content[magic + 2]) & SIGNED_FLAG)
        end = magic + HEADER_V2 + int(content[magic + 1]) + CHECKSUM + signed
        message_id = int.from_bytes(content[magic + 7 : magic + 10].tobytes(), "little")
        system = int(content[magic + 5])
    elif int(content[magic]) == V1:
        end = magic + HEADER_V1 + int(content[magic + 1]) + CHECKSUM
        message_id, system = int(content[magic + 5]), int(content[magic + 3])
    else:
        return None
    leads_on = end == stop or (
        end + STAMP < stop and int(content[end]) == 0 and int(content[end + STAMP]) in (V1, V2)
    )
    return (end, system, message_id) if leads_on else None


def _looks_cut(content: Bytes, place: int) -> bool:
    """Whether the rest from ``place`` is the beginning of a record that the end cuts."""
    rest = content[place : place + STAMP + HEADER_V2]
    if int(rest[0]) != 0:
        return False
    if len(rest) <= STAMP:
        return True
    magic = int(rest[STAMP])
    if magic not in (V1, V2):
        return False
    if len(rest) < STAMP + 3:
        return True
    overhead = HEADER_V1 if magic == V1 else HEADER_V2
    signed = SIGNATURE if magic == V2 and int(rest[STAMP + 2]) & SIGNED_FLAG else 0
    return place + STAMP + overhead + int(rest[STAMP + 1]) + CHECKSUM + signed > len(content)
