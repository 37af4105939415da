from __future__ import annotations

import gc
import math
import mmap
import struct
import time
import weakref

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.importers.dataflash import DecodedLog, decode, decode_file, sniff
from flightlog.importers.registry import Match
from tests.importers.dataflash_writer import STRUCT, Writer, with_fmt


def decoded(writer: Writer | bytes) -> DecodedLog:
    data = writer if isinstance(writer, bytes) else bytes(writer.data)
    return decode(np.frombuffer(data, dtype=np.uint8))


def small_log(rows: int = 20) -> Writer:
    writer = with_fmt().declare(10, "AAA", "QfB", "TimeUS,Value,I")
    writer.declare(11, "TXT", "QZ", "TimeUS,Text")
    for i in range(rows):
        writer.add("AAA", i * 1000, i * 0.5, i % 2)
        if i % 5 == 0:
            writer.add("TXT", i * 1000, b"row %d" % i)
    return writer


def test_every_field_character_gives_its_value():
    writer = with_fmt().declare(20, "ALL1", "abBhHiIf", "a,b,B,h,H,i,I,f")
    writer.declare(21, "ALL2", "dgnNZcCeELMqQ", "d,g,n,N,Z,c,C,e,E,L,M,q,Q")
    array = tuple(range(-16, 16))
    writer.add("ALL1", array, -5, 250, -30000, 60000, -(2**31), 2**32 - 1, 0.1)
    writer.add(
        "ALL2", math.pi, 1.5, b"abcd", b"sixteen letters!", "né\0rest".encode(), -1234, 65535,
        -(2**31), 2**32 - 1, -353632580, 11, -(2**63), 2**64 - 1,
    )  # fmt: skip
    log = decoded(writer)

    one, two = log["ALL1"], log["ALL2"]
    assert one["a"].tolist() == [list(array)]
    assert [one[c].tolist()[0] for c in "bBhHiI"] == [-5, 250, -30000, 60000, -(2**31), 2**32 - 1]
    assert one["f"][0] == struct.unpack("f", struct.pack("f", 0.1))[0]
    assert [two[c][0] for c in "dgnNZ"] == [math.pi, 1.5, "abcd", "sixteen letters!", "né"]
    assert [two[c][0] for c in "cCeE"] == [-12.34, 655.35, -21474836.48, 42949672.95]
    assert two["L"][0] == -35.363258
    assert [two[c].tolist()[0] for c in "MqQ"] == [11, -(2**63), 2**64 - 1]


def test_header_bytes_inside_a_payload_start_no_record():
    writer = with_fmt().declare(10, "AAA", "QQ", "TimeUS,Value")
    inside = int.from_bytes(b"\xa3\x95\x0a\xa3\x95\x0a\xa3\x95", "little")
    for i in range(50):
        writer.add("AAA", i, inside)
    log = decoded(writer)

    assert len(log["AAA"]) == 50
    assert (log["AAA"]["Value"] == inside).all()
    assert log.gaps == ()
    assert log.tail is None


def test_a_declaration_that_comes_late_serves_the_records_before_it():
    early = Writer()
    early.types["AAA"] = (10, "QB")
    for i in range(5):
        early.add("AAA", i, i)
    early.declare(128, "FMT", "BBnNZ", "Type,Length,Name,Format,Columns")
    early.declare(10, "AAA", "QB", "TimeUS,N").add("AAA", 5, 5)

    assert decoded(early)["AAA"]["N"].tolist() == [0, 1, 2, 3, 4, 5]


def test_a_declaration_inside_a_copied_file_declares_nothing():
    other = bytes(Writer().declare(10, "EVIL", "BBB", "x,y,z").data)
    writer = with_fmt().declare(9, "FILE", "NIBZZ", "FileName,Offset,Length,Data,More")
    writer.add("FILE", b"log.bin", 0, 89, other[:64], other[64:])
    writer.declare(10, "AAA", "QB", "TimeUS,N")
    for i in range(5):
        writer.add("AAA", i, i)
    log = decoded(writer)

    assert "EVIL" not in log
    assert log["AAA"]["N"].tolist() == [0, 1, 2, 3, 4]
    assert bytes(log["FILE"]["Data"][0]) == other[:64]


def test_a_second_declaration_of_a_type_is_refused_and_told():
    writer = with_fmt().declare(10, "AAA", "QB", "TimeUS,N").add("AAA", 1, 1)
    writer.declare(10, "AAA", "Qfff", "TimeUS,x,y,z")
    writer.types["AAA"] = (10, "QB")
    writer.add("AAA", 2, 2)
    log = decoded(writer)

    assert log["AAA"]["N"].tolist() == [1, 2]
    assert log.schema.refused == ("AAA",)


@pytest.mark.parametrize("said", [0, 1, 2, 3, 255, 13])
def test_a_length_that_lies_does_not_hide_the_records(said):
    writer = with_fmt().declare(10, "AAA", "QfB", "TimeUS,Value,I", length=said)
    writer.declare(11, "BBB", "QB", "TimeUS,N")
    for i in range(10):
        writer.add("AAA", i, float(i), 0).add("BBB", i, i)
    log = decoded(writer)

    assert log["BBB"]["N"].tolist() == list(range(10))
    assert log["AAA"]["Value"].tolist() == [float(i) for i in range(10)]
    assert "AAA" in log.schema.refused


def test_fields_that_add_up_to_more_than_a_byte_can_say():
    writer = with_fmt().declare(10, "BIG", "ZZZZZ", "a,b,c,d,e")
    writer.add("BIG", b"1", b"2", b"3", b"4", b"5").add("BIG", b"6", b"7", b"8", b"9", b"0")
    log = decoded(writer)

    assert log["BIG"]["e"].tolist() == ["5", "0"]


def test_a_million_declarations_end_quickly():
    one = bytes(Writer().declare(10, "AAA", "QB", "TimeUS,N").data)
    block = np.tile(np.frombuffer(one, dtype=np.uint8), (1_000_000, 1))
    block[:, 3] = np.arange(1_000_000) % 256
    block[:, 5] = 65 + np.arange(1_000_000) % 26
    start = time.perf_counter()
    log = decode(block.reshape(-1))

    assert len(log["FMT"]) == 1_000_000
    assert time.perf_counter() - start < 10


def test_headers_and_nothing_else_end_quickly():
    data = b"\xa3\x95\x80" * 1_000_000 + bytes(small_log(3).data)
    start = time.perf_counter()
    decoded(data)

    assert time.perf_counter() - start < 10


def test_damage_costs_the_records_it_hits_and_is_told():
    whole = small_log(200)
    data = bytearray(whole.data)
    hit = whole.starts[100]
    data[hit : hit + 2] = b"\x00\x00"
    log = decoded(bytes(data))

    assert len(log.starts) == len(whole.starts) - 1
    assert [gap.offset for gap in log.gaps] == [hit]


def test_a_hole_does_not_make_a_record_of_two_halves():
    whole = small_log(200)
    cut = whole.starts[100] + 5
    data = bytes(whole.data[:cut] + whole.data[whole.starts[150] + 4 :])
    log = decoded(data)

    assert set(log["AAA"]["Value"].tolist()) <= {i * 0.5 for i in range(200)}
    assert len(log.starts) == 100 + len(whole.starts) - 151
    assert sum(gap.count for gap in log.gaps) == len(data) - _bytes_of(log)


def _bytes_of(log: DecodedLog) -> int:
    return int(log.schema.lengths[log.ids].sum())


@pytest.mark.parametrize("lost", range(1, 90))
def test_a_cut_end_costs_only_the_last_records(lost):
    whole = small_log()
    data = bytes(whole.data[:-lost])
    log = decoded(data)

    complete = sum(end <= len(data) for end in [*whole.starts[1:], len(whole.data)])
    assert len(log.starts) == complete
    assert (log.tail is None) == (len(data) in whole.starts)


def test_units_and_multipliers_of_the_file():
    writer = with_fmt().declare(10, "AAA", "QfcB", "TimeUS,Volt,Temp,I")
    writer.declare(1, "UNIT", "QbZ", "TimeUS,Id,Label").declare(2, "MULT", "Qbd", "TimeUS,Id,Mult")
    writer.declare(3, "FMTU", "QBNN", "TimeUS,FmtType,UnitIds,MultIds")
    for id, label in ((b"s", b"s"), (b"v", b"V"), (b"O", b"degC"), (b"#", b"instance")):
        writer.add("UNIT", 0, id[0], label)
    for id, factor in ((b"F", 1e-6), (b"C", 1e-3), (b"B", 1e-2), (b"-", 0.0)):
        writer.add("MULT", 0, id[0], factor)
    writer.add("FMTU", 0, 10, b"svO#", b"FCB-").add("AAA", 1, 2.0, 300, 0)
    table = decoded(writer)["AAA"]

    assert table.units == {"TimeUS": "s", "Volt": "V", "Temp": "degC", "I": "instance"}
    assert table.multipliers == {"TimeUS": 1e-6, "Volt": 1e-3, "Temp": 1.0, "I": 1.0}


NUMBERS = {
    "b": st.integers(-128, 127), "B": st.integers(0, 255), "h": st.integers(-(2**15), 2**15 - 1),
    "H": st.integers(0, 2**16 - 1), "i": st.integers(-(2**31), 2**31 - 1),
    "I": st.integers(0, 2**32 - 1), "q": st.integers(-(2**63), 2**63 - 1),
    "Q": st.integers(0, 2**64 - 1), "f": st.floats(width=32), "d": st.floats(),
    "g": st.floats(width=16),
}  # fmt: skip


@st.composite
def logs(draw: st.DrawFn) -> tuple[Writer, dict[str, list[tuple[object, ...]]]]:
    """A log of random types with random rows, headers and all in the payloads."""
    writer = with_fmt()
    rows: dict[str, list[tuple[object, ...]]] = {}
    count = draw(st.integers(1, 4))
    for k in range(count):
        chars = draw(st.text(alphabet="".join(NUMBERS), min_size=1, max_size=8))
        writer.declare(k + 1, f"T{k}", chars, ",".join(f"f{i}" for i in range(len(chars))))
        rows[f"T{k}"] = []
    for k in draw(st.lists(st.integers(0, count - 1), max_size=40)):
        chars = writer.types[f"T{k}"][1]
        values = tuple(draw(NUMBERS[c]) for c in chars)
        writer.add(f"T{k}", *values)
        rows[f"T{k}"].append(values)
    return writer, rows


@settings(max_examples=60, deadline=None)
@given(logs())
def test_what_was_written_is_read(case):
    writer, rows = case
    log = decoded(writer)

    assert log.gaps == ()
    assert log.tail is None
    for name, written in rows.items():
        if not written:
            continue
        table = log[name]
        for column, values in zip(table.columns, zip(*written, strict=True), strict=True):
            for ours, theirs in zip(table[column].tolist(), values, strict=True):
                assert ours == theirs or (math.isnan(ours) and math.isnan(theirs))  # type: ignore[arg-type]


@settings(max_examples=75, deadline=None)
@given(st.data())
def test_no_damage_makes_the_decoder_fail(data):
    content = bytearray(small_log().data)
    for _ in range(data.draw(st.integers(0, 8))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    start = data.draw(st.integers(0, len(content)))
    content[start:start] = data.draw(st.binary(max_size=40))
    log = decoded(bytes(content[: data.draw(st.integers(0, len(content)))]))

    covered = _bytes_of(log) + sum(gap.count for gap in log.gaps) + log.padding
    assert covered + (log.tail.count if log.tail else 0) == log.size
    for table in log.values():
        for column in table.columns:
            assert len(table[column]) == len(table)


@settings(max_examples=50, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_can_be_looked_at(content):
    assert sniff(content) in (Match.NO, Match.MAYBE, Match.YES)
    decoded(content)


def test_the_detector_goes_by_content():
    log = bytes(small_log().data)

    assert sniff(log) is Match.YES
    assert sniff(b"\x00\x00" + log) is Match.MAYBE
    assert sniff(b"FMT, 128, 89, FMT, BBnNZ") is Match.NO
    assert sniff(b"") is Match.NO


def test_the_file_is_not_held_open(tmp_path, monkeypatch):
    made = []

    class Watched(mmap.mmap):
        def __new__(cls, *args, **kwargs):
            one = super().__new__(cls, *args, **kwargs)
            made.append(weakref.ref(one))
            return one

    path = tmp_path / "log.bin"
    path.write_bytes(bytes(small_log().data))
    monkeypatch.setattr(mmap, "mmap", Watched)
    log = decode_file(path)
    gc.collect()

    assert len(made) == 1
    assert made[0]() is None
    assert log["AAA"]["Value"].tolist() == [i * 0.5 for i in range(20)]


def test_a_file_that_cannot_be_mapped_is_read(tmp_path, monkeypatch):
    def refuse(*_args: object, **_kwargs: object) -> None:
        raise OSError(19, "No such device")

    path = tmp_path / "log.bin"
    path.write_bytes(bytes(small_log().data))
    monkeypatch.setattr(mmap, "mmap", refuse)

    assert len(decode_file(path)["AAA"]) == 20


@pytest.mark.parametrize("chunk_records", [1, 3, 64, 1 << 15])
def test_rows_and_values_are_those_of_a_plain_walk(chunk_records, monkeypatch):
    monkeypatch.setattr("flightlog.importers.dataflash.CHUNK_RECORDS", chunk_records)
    writer = small_log(rows=60)
    content = bytes(writer.data)
    places: dict[str, list[int]] = {"FMT": [], "AAA": [], "TXT": []}
    for place, start in enumerate(writer.starts):
        places[{128: "FMT", 10: "AAA", 11: "TXT"}[content[start + 2]]].append(place)
    log = decoded(writer)

    assert {name: log[name].rows.tolist() for name in log} == places
    starts = [writer.starts[place] for place in places["AAA"]]
    plain = [struct.unpack_from("<QfB", content, start + 3) for start in starts]
    columns = (log["AAA"][name].tolist() for name in ("TimeUS", "Value", "I"))
    assert list(zip(*columns, strict=True)) == plain


@pytest.mark.parametrize("chunk_bytes", [1, 2, 7, 1 << 18])
def test_headers_are_found_wherever_the_parts_of_the_file_meet(chunk_bytes, monkeypatch):
    monkeypatch.setattr("flightlog.importers.dataflash.CHUNK_BYTES", chunk_bytes)
    writer = small_log(rows=8)
    log = decoded(writer)
    assert log.starts.tolist() == writer.starts


def test_a_log_is_freed_as_soon_as_it_is_left():
    gc.collect()
    gc.disable()
    try:
        log = decoded(small_log())
        table = weakref.ref(log["AAA"])
        del log
        assert table() is None
    finally:
        gc.enable()


def test_a_column_of_one_row_does_not_hold_the_records_in_memory():
    column = decoded(small_log(rows=1))["AAA"]["TimeUS"]
    assert column.tolist() == [0]
    assert column.base is None


def test_the_writer_knows_every_character():
    from flightlog.importers.dataflash_formats import FIELD_TYPES

    assert set(STRUCT) == set(FIELD_TYPES)
