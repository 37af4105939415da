"""Whatever the bytes: a recording or a clear error, soon; never another exception."""

from __future__ import annotations

import struct
import time

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import all as dialect

from flightlog.importers.mavlink_frames import definitions, find_frames
from flightlog.importers.mavlink_telemetry import load, sniff
from flightlog.recording import Recording
from tests.importers.log_checks import keeps_promises
from tests.importers.test_mavlink_telemetry import START_US, Tape, attitude, heartbeat, short_flight

FLIGHTS = [short_flight(1).content[:4000], short_flight(2).content[:4000]]
SLOW = settings(max_examples=40, deadline=None)


def survives(content: bytes) -> Recording | None:
    """Read; check what every recording promises."""
    sniff(content)
    return keeps_promises(load, content)


@SLOW
@given(st.sampled_from(FLIGHTS), st.integers(0, 4000))
def test_cut_anywhere(content: bytes, length: int) -> None:
    recording = survives(content[:length])
    first_record = 8 + (8 if content[8] == 0xFE else 12) + content[9]
    assert (recording is None) == (length < first_record)


@SLOW
@given(
    st.sampled_from(FLIGHTS),
    st.lists(st.tuples(st.integers(0, 3999), st.integers(1, 255)), max_size=40),
)
def test_bytes_flipped_anywhere(content: bytes, flips: list[tuple[int, int]]) -> None:
    changed = bytearray(content)
    for place, mask in flips:
        changed[place] ^= mask
    survives(bytes(changed))


@SLOW
@given(st.sampled_from(FLIGHTS), st.integers(0, 3999), st.binary(max_size=300))
def test_foreign_bytes_anywhere_lose_one_message_at_most(
    content: bytes, place: int, foreign: bytes
) -> None:
    known = definitions()
    before = find_frames(np.frombuffer(content, np.uint8), known)
    changed = content[:place] + foreign + content[place:]
    after = find_frames(np.frombuffer(changed, np.uint8), known)
    assert len(after) >= len(before) - 1


@SLOW
@given(st.binary(max_size=2000))
@example(b"")
@example(bytes(8) + b"\xfd")
@example(bytes(8) + b"\xfe\xff")
def test_random_bytes(content: bytes) -> None:
    survives(content)


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_any_payload_with_a_good_checksum(data: st.DataObject) -> None:
    tape = Tape()
    heartbeat(tape, 0.0, autopilot=data.draw(st.sampled_from([3, 8, 12])))
    attitude(tape, 0.1, 10.0)
    ids = [0, 1, 2, 24, 27, 29, 30, 33, 35, 36, 65, 74, 77, 105, 109, 124, 147, 148, 253, 295]
    ids += [22, 116, 129, 137, 143, 166, 226, 11030]
    for _ in range(data.draw(st.integers(1, 12))):
        number = data.draw(st.sampled_from(ids))
        fill = data.draw(st.sampled_from([b"\xff", b"\x7f", b"\x80", b"\x00\x00\xc0\x7f", b""]))
        size = definitions()[number].layout.itemsize
        payload = (data.draw(st.binary(max_size=size)) + fill * 300)[:size]
        tape.raw(record(number, payload, data.draw(st.integers(0, 2**52))))
    attitude(tape, 0.2, 10.1)
    assert survives(tape.content) is not None


def record(number: int, payload: bytes, stamp_us: int = START_US) -> bytes:
    """One version-2 record of the aircraft with any payload."""
    head = struct.pack("<7B", len(payload), 0, 0, 0, 1, 1, number & 255)
    body = head + struct.pack("<H", number >> 8) + payload
    crc = dialect.x25crc(body + bytes([dialect.mavlink_map[number].crc_extra])).crc
    return struct.pack(">Q", stamp_us) + b"\xfd" + body + struct.pack("<H", crc)


@pytest.mark.parametrize(
    "unit",
    [
        b"\x00\x05\xfe\xfe\xfe\xfe\xfe\xfe\xfe\xfe",
        b"\x00\x00\x00\x00\x00\x00\x00\x00\xfd\xff\x00\x00\x01\x01\x00\x00\x00",
        b"\x00\x00\x00\x00\x00\x00\x00\x00\xfe\xff\x00\x01\x01\x00",
        b"\xfe",
        b"\xfd",
        b"\x00",
    ],
)
def test_lengths_that_lie_do_not_hang(unit: bytes) -> None:
    started = time.perf_counter()
    survives(unit * (1_000_000 // len(unit)))
    assert time.perf_counter() - started < 20


def test_a_stamp_that_jumps_by_years_is_no_time() -> None:
    tape = Tape()
    for step in range(20):
        heartbeat(tape, 3e8 if step == 10 else float(step))
    recording = survives(tape.content)
    assert recording is not None
    assert recording.receipt.duration_s <= 20
