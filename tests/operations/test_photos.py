"""Photos lose where they were taken, and nothing of the picture."""

from __future__ import annotations

import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import UsageError
from flightlog.operations.photos import attach_photo, without_position

SECRET = b"51 deg 28 min N, 0 deg 0 min W"
SCAN = bytes(range(1, 255)) * 3


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def exif(turned: int = 6) -> bytes:
    """Exif with an orientation and a GPS part that holds the secret (TIFF 6.0, Exif 2.3)."""
    orientation = struct.pack("<HHIHH", 0x0112, 3, 1, turned, 0)
    gps = struct.pack("<HHII", 0x8825, 4, 1, 60)
    tiff = b"II*\0" + struct.pack("<IH", 8, 2) + orientation + gps + b"\0\0\0\0" + SECRET
    return b"Exif\0\0" + tiff


def jpeg(*extra: bytes) -> bytes:
    return b"".join(
        (
            b"\xff\xd8",
            segment(0xE0, b"JFIF\0\1\1\0\0\1\0\1\0\0"),
            *extra,
            segment(0xDB, b"\0" + bytes(64)),
            segment(0xC0, b"\x08\0\1\0\1\1\1\x11\0"),
            segment(0xDA, b"\1\1\0\0?\0"),
            SCAN,
            b"\xff\xd9",
        )
    )


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(*extra: bytes) -> bytes:
    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    data = chunk(b"IDAT", zlib.compress(b"\0\x55"))
    return b"".join((b"\x89PNG\r\n\x1a\n", chunk(b"IHDR", head), *extra, data, chunk(b"IEND", b"")))


def webp(*extra: bytes) -> bytes:
    def part(kind: bytes, body: bytes) -> bytes:
        return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)

    body = (
        b"WEBP"
        + part(b"VP8X", b"\x0c" + bytes(9))
        + part(b"VP8 ", b"picture")
        + b"".join(part(b"EXIF", e) for e in extra)
    )
    return b"RIFF" + struct.pack("<I", len(body)) + body


def webp_frames(secret: bytes) -> bytes:
    """A moving picture of one frame, with a part in the frame that is no picture."""

    def part(kind: bytes, body: bytes) -> bytes:
        return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)

    frame = bytes(16) + part(b"VP8 ", b"picture") + part(b"NOTE", secret)
    body = b"WEBP" + part(b"VP8X", b"\x02" + bytes(9)) + part(b"ANIM", bytes(6))
    body += part(b"ANMF", frame)
    return b"RIFF" + struct.pack("<I", len(body)) + body


PHOTOS = {
    "exif": jpeg(segment(0xE1, exif())),
    "xmp": jpeg(segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + SECRET)),
    "iptc": jpeg(segment(0xED, b"Photoshop 3.0\0" + SECRET)),
    "comment": jpeg(segment(0xFE, SECRET)),
    "after the end": jpeg() + SECRET,
    "png text": png(chunk(b"tEXt", b"Comment\0" + SECRET)),
    "png exif": png(chunk(b"eXIf", SECRET)),
    "png after the end": png() + SECRET,
    "webp": webp(SECRET),
    "webp frame": webp_frames(SECRET),
    "preview": jpeg(segment(0xE0, b"JFIF\0\1\1\0\0\1\0\1\4\4" + SECRET)),
    "unknown segment": jpeg(segment(0xF3, SECRET)),
    "adobe": jpeg(segment(0xEE, b"Adobe\0\x64\0\0\0\0\1" + SECRET)),
    "png end": png()[:-12] + chunk(b"IEND", SECRET),
}


@pytest.mark.parametrize("name", PHOTOS)
def test_nothing_of_the_place_is_left_and_all_of_the_picture_is(name):
    kept = without_position(PHOTOS[name])

    assert SECRET not in kept
    if name.startswith("png"):
        assert png() == kept
    elif name.startswith("webp"):
        assert b"picture" in kept
        assert 0 == kept[20] & 0x0C
    else:
        assert kept.endswith(jpeg()[20:])  # tables and scan, bit for bit


def test_which_way_up_it_is_stays():
    kept = without_position(PHOTOS["exif"])

    assert struct.pack(">HHIH", 0x0112, 3, 1, 6) in kept
    assert 1 == kept.count(b"Exif\0\0")


@pytest.mark.parametrize("photo", [png(chunk(b"eXIf", exif()[6:])), webp(exif()[6:])])
def test_which_way_up_it_is_stays_in_other_formats_too(photo):
    kept = without_position(photo)

    assert struct.pack(">HHIH", 0x0112, 3, 1, 6) in kept
    assert SECRET not in kept
    assert kept == without_position(kept)


@pytest.mark.parametrize(
    "photo",
    [
        b"\xff\xd8\xff\xd9",
        b"\x89PNG\r\n\x1a\n" + chunk(b"IEND", b""),
        b"RIFF\x0c\0\0\0WEBPNOTE\0\0\0\0",
    ],
)
def test_a_photo_without_a_picture_is_none(photo):
    with pytest.raises(UsageError, match="no picture"):
        without_position(photo)


def test_a_clean_photo_stays_as_it_is():
    assert jpeg() == without_position(jpeg())
    assert png() == without_position(png())


@given(st.sampled_from(sorted(PHOTOS)), st.integers(0, 600), st.integers(0, 255))
def test_a_damaged_photo_is_refused_or_still_says_nothing(name, place, value):
    data = bytearray(PHOTOS[name])
    data[place % len(data)] = value
    try:
        kept = without_position(bytes(data))
    except UsageError:
        return
    assert len(kept) <= len(data) + 40


@given(st.binary(max_size=300))
def test_no_bytes_crash_it(data):
    for start in (b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x40\0\0\0WEBP"):
        try:
            without_position(start + data)
        except UsageError:
            continue


def test_a_photo_that_ends_too_early_is_told(tmp_path):
    with pytest.raises(UsageError, match="ends too early"):
        without_position(jpeg()[:-40])


def test_another_format_is_told_what_to_do(farm, tmp_path):
    path = tmp_path / "photo.heic"
    path.write_bytes(b"\0\0\0\x18ftypheic" + bytes(40))

    with pytest.raises(UsageError, match="as JPEG"):
        attach_photo(farm.book, path)


def test_it_is_kept_by_the_hash_of_what_is_left(farm, tmp_path):
    path = tmp_path / "gear.jpg"
    path.write_bytes(PHOTOS["exif"])
    attachment = attach_photo(farm.book, path)

    kept = farm.book.attachments.path(attachment.sha256).read_bytes()
    assert SECRET not in kept
    assert "gear.jpg" == attachment.name
