"""Whatever the bytes: a recording or a clear error, soon; never another exception."""

from __future__ import annotations

import struct

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from flightlog.columns import TABLES
from flightlog.importers.ulog import load, sniff
from flightlog.importers.ulog_stream import MAGIC, MOST_FIELDS, scan
from flightlog.recording import Recording
from tests.importers.log_checks import keeps_promises
from tests.importers.ulog_writer import FORMATS, Writer, started

SLOW = settings(max_examples=60, deadline=None)
NAN = float("nan")


ROWS: dict[str, tuple[float, ...]] = {
    "vehicle_attitude": (1.0, 0.0, 0.0, 0.0),
    "actuator_outputs": (4, 1500.0, 900.0, 0.0, NAN),
    "esc_status": (2, 3, 100, 0, 0, 0, 0, 200, 0, 0, 0, 0),
    "input_rc": (70, 4, False, 1500, 1200, 0, 65535),
}
"""Values behind the time stamp; other topics count 0, 1, 0, 1, ..."""


def everything(rows: int, *only: str) -> bytes:
    """Every topic of the writer, with texts, changes and a dropout."""
    writer = Writer().flags()
    names = only or [name for name in FORMATS if name != "esc_report"]
    for name in FORMATS if not only else only:
        writer.declare(name, FORMATS[name])
    writer.info("char[4] sys_name", b"Hill").info("uint32_t ver_sw_release", b"\xff\x00\x0b\x01")
    writer.info_part("char[3] console", b"abc").parameter("BAT_N_CELLS", 6)
    writer.default(3, "BAT_N_CELLS", 4)
    for name in names:
        writer.topic(name)
    for i in range(rows):
        for name in names:
            count = len(struct.unpack("<" + writer._codes(name), bytes(row_size(writer, name))))
            values = ROWS.get(name, tuple((i + k) % 2 for k in range(count - 1)))
            writer.row(name, 1_000_000 + 100_000 * i, *values)
        if i == rows // 2:
            writer.text(1_600_000, "half way").text(1_600_001, "tagged", tag=2)
            writer.parameter("BAT_N_CELLS", 5).dropout(40).sync()
    return bytes(writer.data)


def row_size(writer: Writer, name: str) -> int:
    return struct.calcsize("<" + writer._codes(name))


WHOLE = everything(12)
SMALL = everything(3, "vehicle_attitude", "airspeed")


def survives(content: bytes) -> Recording | None:
    """Read; check what every recording promises."""
    sniff(content)
    return keeps_promises(load, content)


def test_the_file_that_is_damaged_below_is_sound():
    recording = survives(WHOLE)

    assert recording is not None
    assert recording.receipt.dropped == {}
    assert set(recording) == set(TABLES)


@SLOW
@given(st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(1, 255)), max_size=40))
def test_bytes_flipped_anywhere(flips):
    changed = bytearray(WHOLE)
    for place, mask in flips:
        changed[place] ^= mask
    survives(bytes(changed))


@SLOW
@given(st.integers(0, len(WHOLE)), st.integers(0, len(WHOLE)), st.binary(max_size=300))
def test_stretches_cut_out_and_foreign_bytes_put_in(first, second, foreign):
    begin, end = sorted((first, second))
    survives(WHOLE[:begin] + foreign + WHOLE[end:])


@SLOW
@given(st.integers(0, len(WHOLE)), st.binary(min_size=1, max_size=300))
@example(4914, b"\x95\x13A")  # the head of a record of 5013 bytes that leads to another one
@example(4914, b"\x95\x13Z")
def test_foreign_bytes_lose_two_records_at_most(place, foreign):
    before, _ = scan(WHOLE)
    after, _ = scan(WHOLE[:place] + foreign + WHOLE[place:])
    data_begins = min(places[0] for places in before.places.values())
    # Before that a declaration may be hit, which takes its topic along.
    if place >= data_begins:
        rows = [sum(len(p) for p in found.places.values()) for found in (before, after)]
        assert rows[1] >= rows[0] - 2


def test_cut_at_every_byte():
    for length in range(0, len(SMALL)):
        survives(SMALL[:length])


@SLOW
@given(st.binary(max_size=3000))
@example(b"")
@example(MAGIC)
@example(MAGIC + bytes(9))
@example(MAGIC + bytes(9) + b"\xff\xff")
def test_random_bytes_behind_the_header(content):
    survives(MAGIC + bytes(9) + content)


@SLOW
@given(st.data())
def test_any_numbers_in_sound_rows(data):
    writer = Writer().flags()
    for name, fields in FORMATS.items():
        writer.declare(name, fields)
    names = [name for name in FORMATS if name != "esc_report"]
    for name in names:
        writer.topic(name)
    for _ in range(data.draw(st.integers(1, 20))):
        name = data.draw(st.sampled_from(names))
        size = row_size(writer, name)
        fill = data.draw(st.sampled_from([b"\xff", b"\x7f", b"\x80", b"\0\0\xc0\x7f", b"\0"]))
        row = (data.draw(st.binary(max_size=size)) + fill * size)[:size]
        if data.draw(st.booleans()):
            row = struct.pack("<Q", data.draw(st.integers(0, 2**33))) + row[8:]
        writer.record("D", struct.pack("<H", writer.ids[name, 0]) + row)
    assert survives(bytes(writer.data)) is not None


# --- declarations that explode: 64 kB that would take a decoder hours or all memory


def bomb(*declarations: str, topics: int = 1) -> bytes:
    writer = Writer().flags()
    for declaration in declarations:
        writer.record("F", declaration.encode())
    for id in range(topics):
        writer.topic("t", id % 256, id=id)
        writer.record("D", struct.pack("<HQ", id, 1_000_000 + id))
    return bytes(writer.data)


LAYERS = [f"{a}:{b}[65000] x;" for a, b in zip("abcdefg", "bcdefgh", strict=True)]


@pytest.mark.parametrize(
    "content",
    [
        bomb("t:uint64_t timestamp;t x;"),
        bomb("t:uint64_t timestamp;a x;", "a:t[65535] x;"),
        bomb("t:uint64_t timestamp;a x;", *LAYERS, "h:char x;"),
        bomb("t:uint64_t timestamp;a x;", *LAYERS, "h:;"),
        bomb("t:uint64_t timestamp;char[65000] x;", topics=2000),
        bomb("t:uint64_t timestamp;" + "char x;" * 9000, topics=100),
        bomb("t:uint64_t timestamp;" + ";".join(f"char x{i}" for i in range(5000)), topics=1500),
    ],
)
def test_declarations_that_explode_are_refused(content):
    found, stream = scan(content)

    assert sum(t.layout.fields for t in found.topics.values()) <= MOST_FIELDS
    assert len(stream) <= len(content)
    survives(content)


@pytest.mark.parametrize(
    "unit",
    [
        *(bytes([n]) for n in b"\0\xffDAFILMPQSRBCOZ0"),
        b"\x01\x00Z\x00",
        b"\x00\x00D",
        b"\x02\x00D\x00\x00",
        b"\x09\x00L6\x00\x00\x00\x00\x00\x00\x00\x00",
        b"\x04\x00Aaaaa",
        b"\x05\x00Fa:b;",
        MAGIC,
        bytes(60) + b"\x02\x00O\x01\x00",
    ],
    ids=repr,
)
def test_sixty_four_kilobytes_of_one_thing(unit):
    survives((MAGIC + bytes(9) + unit * 70_000)[:65536])


def test_a_row_of_the_longest_length_is_read():
    writer = Writer().flags().declare("t", "uint64_t timestamp;uint8_t[65525] x").topic("t")
    writer.row("t", 1_000_000, *([7] * 65525))
    recording = survives(bytes(writer.data))

    assert recording is not None
    assert recording.raw["t"]["x"].shape == (1, 65525)


def test_a_signalling_nan_is_missing_like_any_other():
    writer = Writer().flags().declare("airspeed", FORMATS["airspeed"]).topic("airspeed")
    for i in range(3):
        bits = 0x7F800001 if i == 1 else 0x41200000
        writer.record("D", struct.pack("<HQI", 0, 1_000_000 + i, bits))
    recording = survives(bytes(writer.data))

    assert recording is not None
    assert recording["airspeed"]["airspeed_m_s"].isna().tolist() == [False, True, False]


def test_parameters_without_data_count_from_the_start_of_the_file():
    recording = survives(bytes(Writer(1_700_000_000_000_000).parameter("BAT_N_CELLS", 6).data))

    assert recording is not None
    assert recording["parameters"]["time_s"].tolist() == [0.0]
    assert recording.receipt.utc.offset_s == 1_700_000_000.0


def test_stamps_of_which_no_two_belong_together_are_survived():
    writer = Writer().flags().declare("airspeed", FORMATS["airspeed"]).topic("airspeed")
    for i in range(50):
        writer.row("airspeed", (i * 7919 % 50) * 40_000_000_000_000 + 1, 5.0)
    assert survives(bytes(writer.data)) is not None


def test_records_inside_the_last_one_before_damage_are_found_once():
    writer = started("vehicle_attitude")
    for i in range(5):
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
    # Three whole records (each ends topic 7) end where the last row does; then nothing fits.
    inside = b"\x02\x00R\x07\x00" * 3
    found, _ = scan(bytes(writer.data[: -len(inside)]) + inside + b"\xff\xfe\xff" * 9)
    (rows,) = (len(places) for places in found.places.values())

    assert rows == 4
    assert len(found.damaged) == 2
