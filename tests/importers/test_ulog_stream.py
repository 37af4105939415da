"""Records of a ULog file: which are found, also around damage, and what the decoder is spared."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from flightlog.errors import LogFileError
from flightlog.importers.registry import Match
from flightlog.importers.ulog import load, sniff
from flightlog.importers.ulog_formats import Formats, Layout
from flightlog.importers.ulog_scan import Scan
from flightlog.importers.ulog_stream import scan
from tests.importers.log_checks import codes, told
from tests.importers.ulog_writer import Writer, started


def flight(rows: int = 40) -> Writer:
    """Attitude and airspeed at 10 Hz from 1 s on, with a text in the middle."""
    writer = started("vehicle_attitude", "airspeed")
    for i in range(rows):
        t = 1_000_000 + 100_000 * i
        writer.row("vehicle_attitude", t, 1.0, 0.0, 0.0, 0.0)
        writer.row("airspeed", t + 1000, 10.0 + i)
        if i == rows // 2:
            writer.text(t, "half way").sync()
    return writer


def rows_of(found: Scan) -> int:
    return sum(len(places) for places in found.places.values())


# --- recognising


def test_the_first_seven_bytes_are_recognised_and_a_damaged_beginning_is_a_maybe():
    data = bytes(flight().data)

    assert sniff(data) is Match.YES
    assert sniff(data[:7]) is Match.YES
    assert sniff(b"rubbish" + data) is Match.MAYBE
    assert sniff(bytes(16) + data[16:]) is Match.MAYBE
    assert sniff(data[:6]) is Match.NO
    assert sniff(b"") is Match.NO
    assert sniff(b"\xa3\x95\x80" * 100) is Match.NO


def test_a_file_with_a_damaged_header_is_read_by_its_records(recorded):
    log = recorded(bytes(16) + bytes(flight().data)[16:])

    assert len(log["airspeed"]) == 40
    assert told(log, "damaged-bytes").evidence["bytes"] == 16


def test_rubbish_before_the_header_is_told_and_costs_nothing(recorded):
    log = recorded(b"rubbish" + bytes(flight().data))

    assert len(log["airspeed"]) == 40
    assert told(log, "damaged-bytes").evidence == {"bytes": 7, "places": 1, "first_offset": 0}


def test_an_encrypted_log_says_so(recorded):
    with pytest.raises(LogFileError, match="encrypted"):
        recorded(b"ULogEnc\x01" + bytes(200))


def test_incompatible_flags_are_refused_as_the_format_demands(recorded):
    writer = Writer().flags(incompatible=2).declare("airspeed", "uint64_t timestamp")
    writer.topic("airspeed").row("airspeed", 1_000_000)

    with pytest.raises(LogFileError, match="later version"):
        recorded(writer)


def test_a_file_without_one_record_is_an_error(recorded):
    with pytest.raises(LogFileError, match="no record"):
        recorded(bytes(Writer().flags().data))


# --- damage


def test_an_undamaged_file_loses_nothing_and_finds_nothing(recorded):
    log = recorded(flight())

    assert log.findings == ()
    assert log.receipt.dropped == {}
    assert dict(log.receipt.message_counts) == {
        "vehicle_attitude": 40,
        "airspeed": 40,
        "(texts)": 1,
    }


@pytest.mark.parametrize("size", [1, 5, 30, 700])
def test_bytes_in_between_cost_no_record(recorded, size):
    writer = flight()
    place = writer.marks[-31]
    log = recorded(bytes(writer.data[:place]) + b"\x07" * size + bytes(writer.data[place:]))

    assert len(log["airspeed"]) + len(log["attitude"]) == 80
    assert told(log, "damaged-bytes").evidence == {
        "bytes": size,
        "places": 1,
        "first_offset": place,
    }
    assert log.receipt.dropped["damaged bytes"] == size


def test_bytes_that_are_lost_cost_the_records_they_belong_to(recorded):
    writer = flight()
    cut = writer.marks[-31] + 4
    log = recorded(bytes(writer.data[:cut]) + bytes(writer.data[cut + 6 :]))

    assert len(log["airspeed"]) + len(log["attitude"]) == 79
    assert "damaged-bytes" in codes(log)


def test_a_record_with_a_wrong_length_is_stepped_over_where_the_next_one_stands(recorded):
    writer = flight()
    writer.record("D", struct.pack("<HQf", 1, 5_100_000, 3.0) + b"more")
    writer.row("airspeed", 5_200_000, 11.0)
    log = recorded(writer)

    assert len(log["airspeed"]) == 41
    assert log.receipt.dropped == {"data of another length": 1}
    assert "unknown-messages" in codes(log)


def test_the_last_record_may_be_cut_and_the_rest_of_a_block_empty(recorded):
    data = bytes(flight().data)

    cut = recorded(data[:-3])
    assert told(cut, "truncated").evidence["bytes"] == 3 + 2 + 12 - 3
    assert len(cut["airspeed"]) == 39
    padded = recorded(data + bytes(500))
    assert padded.findings == ()
    assert "500 empty bytes at the end of the file" in padded.receipt.notes


def test_the_same_file_cut_at_every_byte_gives_every_whole_record():
    writer = flight(6)
    data = bytes(writer.data)
    ends = [*writer.marks[1:], len(data)]
    kinds = [data[mark + 2 : mark + 3] for mark in writer.marks]

    for length in range(len(data)):
        found, _ = scan(data[:length])
        whole = sum(kind == b"D" for kind, end in zip(kinds, ends, strict=True) if end <= length)
        assert rows_of(found) == whole, length


def test_topics_whose_declaration_is_lost_are_told(recorded):
    writer = Writer().flags().declare("airspeed", "uint64_t timestamp;float indicated_airspeed_m_s")
    writer.formats["vehicle_attitude"] = "uint64_t timestamp;float[4] q"
    writer.topic("vehicle_attitude").topic("airspeed")
    for i in range(30):
        writer.row("airspeed", 1_000_000 + i, 5.0)
        writer.row("vehicle_attitude", 1_000_000 + i, 1.0, 0.0, 0.0, 0.0)
    log = recorded(writer)

    assert len(log["airspeed"]) == 30
    assert log.receipt.dropped == {
        "topic whose declaration is missing or can't be read": 1,
        "data of a topic that is not declared": 30,
    }


def test_record_types_of_later_versions_are_stepped_over(recorded):
    writer = flight().record("Z", b"something new").row("airspeed", 5_200_000, 12.0)
    log = recorded(writer)

    assert len(log["airspeed"]) == 41
    assert log.receipt.dropped == {"record of unknown type": 1}


def test_a_topic_declared_in_two_ways_keeps_the_first(recorded):
    writer = Writer().flags().declare("airspeed", "uint64_t timestamp;float indicated_airspeed_m_s")
    first = dict(writer.formats)
    writer.declare("airspeed", "uint64_t timestamp;double indicated_airspeed_m_s")
    writer.formats = first
    writer.topic("airspeed").row("airspeed", 1_000_000, 7.0)
    log = recorded(writer)

    assert log["airspeed"]["airspeed_m_s"].tolist() == [7.0]
    assert "contradicting-formats" in codes(log)


def test_a_topic_announced_twice_keeps_the_rows_before(recorded):
    writer = flight(10).topic("airspeed", id=1).row("airspeed", 9_000_000, 1.0)
    log = recorded(writer)

    assert len(log["airspeed"]) == 11


def test_padding_that_a_writer_left_at_the_end_of_a_row_is_no_damage(recorded):
    writer = started("vehicle_status")
    for i in range(4):
        head = struct.pack("<HQBB", 0, 1_000_000 + i, i, 1)
        writer.record("D", head + (bytes(6) if i % 2 else b""))
    log = recorded(writer)

    assert log.raw["vehicle_status"]["nav_state"].tolist() == [0, 1, 2, 3]
    assert log.findings == ()


# --- what was appended


def test_appended_sections_are_read_and_what_they_cut_off_is_told(recorded):
    writer = flight(30)
    rows = bytes(writer.data)
    torn = rows + struct.pack("<HB", 14, ord("D")) + b"\x01\x00torn"
    first = Writer()
    first.info_part("char[5] hardfault_plain", b"fault")
    report = bytes(first.data[16:])
    offsets = [len(torn), len(torn) + len(report)]
    again = Writer().flags(appended=offsets)
    data = bytes(again.data) + torn[len(again.data) :] + report + report

    log = recorded(data)

    assert len(log["airspeed"]) == 30
    assert told(log, "truncated").evidence == {"offset": len(rows), "bytes": 9}
    assert told(log, "autopilot-fault").evidence["parts"] == 2
    assert any("2 sections were appended" in line for line in log.receipt.notes)


def test_offsets_of_appended_data_outside_of_the_file_are_not_followed(recorded):
    writer = flight(30)
    flags = Writer().flags(appended=[2**60])
    data = bytes(flags.data) + bytes(writer.data[len(flags.data) :])
    log = recorded(data)

    assert len(log["airspeed"]) == 30
    assert log.receipt.dropped == {"offset of appended data outside of the file": 1}


# --- raw


def test_raw_has_every_topic_with_arrays_texts_and_nested_members(recorded):
    writer = started("esc_status")
    writer.declare("note", "uint64_t timestamp;char[8] words;bool yes")
    writer = Writer().flags().declare("note", "uint64_t timestamp;char[8] words;bool yes")
    writer.declare("esc_report", "int32_t esc_rpm;float volt")
    writer.declare("esc_status", "uint64_t timestamp;esc_report[2] esc;int16_t[3] trim")
    writer.topic("note").topic("esc_status").topic("esc_status", 2)
    writer.row("note", 5, *b"abc\0\0\0\0\0", True)
    writer.row("esc_status", 6, 100, 1.5, 200, 2.5, -1, -2, -3)
    writer.row("esc_status", 7, 300, 3.5, 400, 4.5, 1, 2, 3, multi_id=2)
    raw = recorded(writer).raw

    assert set(raw) == {"note", "esc_status", "esc_status.2"}
    assert raw["note"].columns == ("timestamp", "words", "yes")
    assert raw["note"]["words"].tolist() == ["abc"]
    table = raw["esc_status.2"]
    assert table.columns == (
        "timestamp", "esc[0].esc_rpm", "esc[0].volt", "esc[1].esc_rpm", "esc[1].volt", "trim",
    )  # fmt: skip
    assert table["esc[1].esc_rpm"].tolist() == [400]
    assert table["trim"].tolist() == [[1, 2, 3]]
    assert raw["esc_status"]["trim"].dtype == np.int16
    assert len(table) == 1
    with pytest.raises(KeyError):
        table["esc"]


def test_progress_runs_to_the_end_and_its_exception_reaches_the_caller(tmp_path):
    path = tmp_path / "log.ulg"
    path.write_bytes(bytes(flight().data))
    seen: list[float] = []
    load(path, lambda fraction, text: seen.append(fraction))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0

    def stop(fraction: float, text: str) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        load(path, stop)


# --- layouts


def test_sizes_of_layouts_are_those_of_the_description():
    formats = Formats()
    formats.declare(b"inner:uint8_t a;float[3] b;uint8_t[3] _padding0;")
    formats.declare(b"topic:uint64_t timestamp;inner[2] x;bool y;char[5] z;uint8_t[2] _padding0;")

    # 8 + 2 * (1 + 12 + 3) + 1 + 5, and 2 of padding at the end
    assert formats.layout("topic") == Layout(size=46, padded=48, fields=1 + 2 * 7 + 1 + 5)


@pytest.mark.parametrize(
    "declarations",
    [
        [b"topic:uint64_t timestamp;topic x;"],
        [b"topic:uint64_t timestamp;a x;", b"a:b[2] x;", b"b:a[2] x;"],
        [b"topic:uint64_t timestamp;a[60000] x;", b"a:char[60000] x;"],
        [b"topic:uint64_t timestamp;a[60000] x;", b"a:b[60000] x;", b"b:;"],
        [b"topic:uint64_t timestamp;what x;"],
        [b"topic:float timestamp;"],
        [b"topic:uint64_t[1] timestamp;"],
        [b"topic:float x;"],
        [b"topic:uint64_t timestamp;float x;float x;"],
        [b"topic:uint64_t timestamp;float[0] x;"],
        [b"topic:uint64_t timestamp;float[99999] x;"],
        [b"topic:uint64_t timestamp;float[-1] x;"],
        [b"topic:uint64_t timestamp;float  x;"],
        [b"topic:"],
        [b"topic"],
        [b""],
        [b"\xff\xfe:uint64_t timestamp;"],
    ],
)
def test_layouts_that_no_record_can_have_are_refused(declarations):
    formats = Formats()
    for declaration in declarations:
        formats.declare(declaration)

    assert formats.layout("topic") is None


def test_a_topic_may_use_types_that_are_declared_after_it():
    formats = Formats()
    formats.declare(b"topic:uint64_t timestamp;inner x;")
    formats.declare(b"inner:float y;")

    assert formats.layout("topic") == Layout(size=12, padded=12, fields=2)
