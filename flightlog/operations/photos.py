"""Photos for the record: the picture bit for bit as it was, without where it was taken.

Cameras write the place into a photo, among other things that are nobody's business. Of a photo
only the parts that make the picture are kept, and in which way up it is; what else the file says
(positions, owners, previews, comments, anything after the picture's end) is dropped.
"""

from __future__ import annotations

import io
import re
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

from flightlog.errors import UsageError
from flightlog.logbook.book import Logbook
from flightlog.logbook.entry import Attachment

LARGEST_BYTES = 60_000_000
"""No camera of a phone writes a larger photo [bytes]."""

_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
_START_OF_SCAN, _END = 0xDA, 0xD9
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
"""Starts of a frame: without one there is no picture."""
_TABLES = {*range(0xC0, 0xD0), 0xDA, 0xDB, 0xDC, 0xDD, 0xDE, 0xDF}
"""All segments that a picture is coded in; others say something about it."""
_APP0, _APP14 = 0xE0, 0xEE
_NEXT_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
"""In coded data: what is neither a stuffed byte, a restart nor a fill byte."""
_ICC = b"ICC_PROFILE\0"
_EXIF = b"Exif\0\0"
_ORIENTATION = 0x0112
_PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT",
             b"iCCP", b"pHYs", b"bKGD"}  # fmt: skip
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP", b"ANIM"}
_WEBP_PICTURES = {b"VP8 ", b"VP8L", b"ANMF"}
_WEBP_FRAME_HEAD = 16
_WEBP_EXIF, _WEBP_XMP = 0x08, 0x04
_ANOTHER = "Give the photo as JPEG, PNG or WebP; phones can export it so."


def attach_photo(book: Logbook, path: Path) -> Attachment:
    """Keep a photo by its hash, without its position.

    Raises
    ------
    UsageError
        If it is no photo that this program knows, is damaged, or can't be read.
    """
    try:
        size = path.stat().st_size
        if not path.is_file() or size > LARGEST_BYTES:
            raise UsageError("is no file, or too large for a photo", where=str(path), fix=_ANOTHER)
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise UsageError(f"can't be read ({said})", where=str(path), fix="Check it.") from error
    return keep_photo(book, data, path.name, str(path))


def keep_photo(book: Logbook, data: bytes, name: str, where: str = "") -> Attachment:
    """Keep the bytes of a photo by their hash, without their position.

    Raises
    ------
    UsageError
        If it is no photo that this program knows, or is damaged.
    """
    kept = without_position(data, where or name)
    return book.attachments.put(io.BytesIO(kept), name)


def without_position(data: bytes, where: str = "") -> bytes:
    """Give a photo with its picture as it was and all that was said about it left out.

    Parameters
    ----------
    data : bytes
        JPEG, PNG or WebP; told by content.
    where : str
        Its name, for errors.

    Raises
    ------
    UsageError
        If it is none of these, or ends too early.
    """
    try:
        if data.startswith(_JPEG):
            return b"".join(_jpeg(data))
        if data.startswith(_PNG):
            return b"".join(_png(data))
        if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
            return _webp(data)
    except (struct.error, IndexError, ValueError) as error:
        raise UsageError(
            f"is damaged, or ends too early ({error})", where=where, fix="Copy it once more."
        ) from error
    raise UsageError("is no photo that this program knows", where=where, fix=_ANOTHER)


# --- JPEG: ISO/IEC 10918-1, annex B


def _jpeg(data: bytes) -> Iterator[bytes]:
    yield data[:2]
    place, said = 2, False
    seen: set[int] = set()
    while True:
        if data[place] != 0xFF:
            raise ValueError("a marker is missing")
        while data[place + 1] == 0xFF:  # fill bytes
            place += 1
        marker = data[place + 1]
        seen.add(marker)
        if marker == _END:
            if _START_OF_SCAN not in seen or not seen & _FRAMES:
                raise ValueError("it holds no picture")
            yield data[place : place + 2]
            return  # what comes after the picture is no part of it
        if 0xD0 <= marker <= 0xD7 or marker == 0x01:
            place += 2
            continue
        (length,) = struct.unpack_from(">H", data, place + 2)
        end = place + 2 + length
        if length < 2 or end > len(data):
            raise ValueError("a segment is longer than the file")
        segment = data[place:end]
        turned = _turned(segment[4:]) if marker == 0xE1 and not said else 0
        if turned:
            said = True
            yield _exif(turned)
        else:
            yield _jpeg_kept(marker, segment)
        place = end
        if marker == _START_OF_SCAN:
            place = _scan_end(data, place)
            yield data[end:place]


def _jpeg_kept(marker: int, segment: bytes) -> bytes:
    """Give what is kept of a segment: all, its head, or nothing."""
    body = segment[4:]
    if marker in _TABLES or (marker == 0xE2 and body.startswith(_ICC)):
        return segment
    if marker == _APP0 and body.startswith(b"JFIF\0") and len(body) >= 14:
        return b"\xff\xe0\0\x10" + body[:12] + b"\0\0"  # without its preview
    if marker == _APP14 and body.startswith(b"Adobe") and len(body) >= 12:
        return b"\xff\xee\0\x0e" + body[:12]
    return b""


def _scan_end(data: bytes, place: int) -> int:
    """Find the next marker that is no part of the coded picture."""
    found = _NEXT_MARKER.search(data, place)
    if found is None:
        raise ValueError("the picture has no end")
    return found.start()


def _turned(body: bytes) -> int:
    """Read in which way up a photo is out of its Exif, 0 where that is not said."""
    if not body.startswith(_EXIF):
        return 0
    tiff = body[len(_EXIF) :]
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 0
    try:
        (offset,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, offset)
        for index in range(min(count, 200)):
            tag, kind, _, value = struct.unpack_from(f"{order}HHIH", tiff, offset + 2 + 12 * index)
            if tag == _ORIENTATION and kind == 3 and 2 <= value <= 8:
                return int(value)
    except struct.error:
        pass  # a photo whose Exif is broken is still a photo
    return 0


def _exif(turned: int) -> bytes:
    """Write an Exif segment that says in which way up a photo is, and nothing else."""
    body = _EXIF + _exif_body(turned)
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _exif_body(turned: int) -> bytes:
    entry = struct.pack(">HHIHH", _ORIENTATION, 3, 1, turned, 0)
    return b"MM\0*" + struct.pack(">IH", 8, 1) + entry + b"\0\0\0\0"


# --- PNG: ISO/IEC 15948


def _png(data: bytes) -> Iterator[bytes]:
    yield _PNG
    place = len(_PNG)
    seen: set[bytes] = set()
    while True:
        (length,) = struct.unpack_from(">I", data, place)
        kind, end = data[place + 4 : place + 8], place + 12 + length
        if end > len(data):
            raise ValueError("a part is longer than the file")
        body = data[place + 8 : end - 4]
        (stated,) = struct.unpack_from(">I", data, end - 4)
        if stated != zlib.crc32(kind + body):
            raise ValueError("a part does not match its checksum")
        if kind == b"IEND":
            if not {b"IHDR", b"IDAT"} <= seen:
                raise ValueError("it holds no picture")
            yield _png_part(kind, b"")
            return
        if kind in _PNG_KEPT:
            yield data[place:end]
        elif kind == b"eXIf" and kind not in seen and (turned := _turned(_EXIF + body)):
            yield _png_part(kind, _exif_body(turned))
        seen.add(kind)
        place = end


def _png_part(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


# --- WebP: RFC 9649


def _webp(data: bytes) -> bytes:
    (size,) = struct.unpack_from("<I", data, 4)
    if size + 8 > len(data):
        raise ValueError("the file is shorter than it says")
    parts, turned = [], 0
    for kind, part in _webp_parts(data, 12, size + 8):
        if kind == b"EXIF" and not turned:
            body = part[8:]
            turned = _turned(body if body.startswith(_EXIF) else _EXIF + body)
        elif kind == b"ANMF":
            parts.append(_webp_frame(part))
        elif kind in _WEBP_KEPT:
            parts.append(part)
    if not any(part[:4] in _WEBP_PICTURES for part in parts):
        raise ValueError("it holds no picture")
    if parts[0][:4] == b"VP8X":
        flags = parts[0][8] & ~(_WEBP_EXIF | _WEBP_XMP) & 0xFF
        flags |= _WEBP_EXIF if turned else 0
        parts[0] = parts[0][:8] + bytes([flags]) + parts[0][9:]
        if turned:
            parts.append(_webp_part(b"EXIF", _exif_body(turned)))
    body = b"WEBP" + b"".join(parts)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _webp_parts(data: bytes, place: int, to: int) -> Iterator[tuple[bytes, bytes]]:
    while place < to:
        (length,) = struct.unpack_from("<I", data, place + 4)
        end = place + 8 + length
        if end > to:
            raise ValueError("a part is longer than the file")
        yield data[place : place + 4], data[place:end] + b"\0" * (length % 2)
        place = end + length % 2


def _webp_part(kind: bytes, body: bytes) -> bytes:
    return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def _webp_frame(part: bytes) -> bytes:
    """Give a frame of a moving picture with nothing but its picture."""
    (length,) = struct.unpack_from("<I", part, 4)
    if length < _WEBP_FRAME_HEAD:
        raise ValueError("a frame is too short")
    inner = _webp_parts(part, 8 + _WEBP_FRAME_HEAD, 8 + length)
    kept = [one for kind, one in inner if kind in (b"ALPH", b"VP8 ", b"VP8L")]
    return _webp_part(b"ANMF", part[8 : 8 + _WEBP_FRAME_HEAD] + b"".join(kept))
