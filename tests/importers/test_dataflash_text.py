"""DataFlash as text: made lines with known numbers, the traps, and damage."""

from __future__ import annotations

import codecs
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import LogFileError
from flightlog.findings import Finding
from flightlog.importers import detect, read
from flightlog.importers.dataflash_text import sniff
from flightlog.importers.registry import IMPORTERS, Match
from flightlog.recording import Recording
from flightlog.resources import data_path
from tests.importers.dataflash_as_text import assert_same_tables, six_decimals, text_of
from tests.importers.dataflash_writer import with_fmt

FMT = "FMT, 128, 89, FMT, BBnNZ, Type,Length,Name,Format,Columns"
IMU = "FMT, 131, 35, IMU, Qffffff, TimeUS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ"
GPS = "FMT, 130, 45, GPS, QBIHBcLLefff, TimeUS,Status,GMS,GWk,NSats,HDop,Lat,Lng,Alt,Spd,GCrs,VZ"
MSG = "FMT, 132, 75, MSG, QZ, TimeUS,Message"
PARM = "FMT, 133, 31, PARM, QNf, TimeUS,Name,Value"
BAT = "FMT, 134, 16, BAT, QBhh, TimeUS,Inst,Volt,Curr"


def imu(count: int, start_us: int = 10_000_000, step_us: int = 10_000) -> list[str]:
    return [
        f"IMU, {start_us + i * step_us}, 0.1, 0.2, 0.3, 1.5, -2.5, -9.806650" for i in range(count)
    ]


@pytest.fixture
def recorded(tmp_path: Path):
    def make(lines: list[str] | bytes, end: str = "\r\n") -> Recording:
        path = tmp_path / "log.dat"
        content = (
            lines if isinstance(lines, bytes) else "".join(f"{i}{end}" for i in lines).encode()
        )
        path.write_bytes(content)
        assert detect(content[:65536]).format == "dataflash-text"
        return read(path)

    return make


def the(recording: Recording, code: str) -> Finding:
    (finding,) = [f for f in recording.findings if f.code == code]
    return finding


def test_printed_values_are_not_scaled_again(recorded):
    recording = recorded(
        [FMT, GPS, "GPS, 12500000, 3, 302400000, 2340, 12, 0.80, -1.2345678, 2.0000001, 123.45, "
         "10.5, 90.25, -1.5", "GPS, 12700000, 3, 302400200, 2340, 12, 0.80, -1.2345677, "
         "2.0000001, 123.46, 10.5, 90.25, -1.5"]
    )  # fmt: skip
    gps = recording["gps"].iloc[0]

    assert gps["time_s"] == 12.5
    assert (gps["latitude_deg"], gps["longitude_deg"]) == (-1.2345678, 2.0000001)
    assert gps["altitude_msl_m"] == 123.45
    assert gps["hdop"] == 0.8
    assert (gps["ground_speed_m_s"], gps["course_deg"], gps["climb_m_s"]) == (10.5, 90.25, 1.5)
    # Week 2340, 302400 s, 18 leap seconds: 2024-11-13T11:59:42Z.
    assert gps["time_utc"] == 1731499182
    assert recording.receipt.format == "dataflash-text"
    assert recording.receipt.message_counts == {"FMT": 2, "GPS": 2}
    assert recording.findings == ()


def test_integers_without_scale_keep_their_unit(recorded):
    """Volt and Curr as bare integers are hundredths, as in binary logs."""
    battery = recorded([FMT, BAT, "BAT, 1000000, 0, 1251, 1500", "BAT, 2000000, 0, 1250, 1499"])
    row = battery["battery"].iloc[0]

    assert (row["voltage_v"], row["current_a"]) == (12.51, 15.0)


def test_the_receipt_says_where_columns_came_from(recorded):
    receipt = recorded([FMT, BAT, "BAT, 1000000, 0, 1251, 1500", "BAT, 2000000, 0, 1250, 1499"])
    sources = {c.column: (c.source, c.unit) for c in receipt.receipt.columns}

    assert sources["voltage_v"] == ("BAT.Volt", "cV")
    assert "boot clock" in receipt.receipt.clock


def test_lines_with_other_counts_of_fields_are_counted_and_the_rest_is_read(recorded):
    rows = imu(20)
    rows[3] = "IMU, 10030000, 0.1, 0.2"
    rows[7] = rows[7] + ", 5.0"
    rows[9] = rows[9] + ","
    recording = recorded([FMT, IMU, *rows])

    assert len(recording["imu"]) == 18, "one empty cell more is no damage"
    finding = the(recording, "damaged-lines")
    assert finding.evidence == {"lines": 2, "of": 22, "first_line": 6}
    assert recording.receipt.dropped == {
        "lines: too few fields": 1, "lines: too many fields": 1,
    }  # fmt: skip


def test_numbers_that_cannot_be_read_cost_their_cell_only(recorded):
    rows = imu(20)
    rows[4] = "IMU, 10040000, 0.1, 0.#2, 0.3, nan, -2.5, -9.80665"
    recording = recorded([FMT, IMU, *rows])
    table = recording["imu"]

    assert len(table) == 20
    assert table["gyro_y_rad_s"].isna().tolist() == [i == 4 for i in range(20)]
    assert math.isnan(table["accel_x_m_s2"].iloc[4])
    finding = the(recording, "unreadable-cells")
    assert finding.evidence["cells"] == 1, "nan is what the logger wrote"
    assert "IMU.GyrY 1" in finding.message


def test_an_unreadable_time_costs_the_row(recorded):
    rows = imu(20)
    rows[4] = "IMU, 1004x000, 0.1, 0.2, 0.3, 1.5, -2.5, -9.8"
    recording = recorded([FMT, IMU, *rows])

    assert len(recording["imu"]) == 19
    assert the(recording, "damaged-lines").evidence["first_line"] == 7


def test_an_unreadable_instance_costs_the_row(recorded):
    recording = recorded([FMT, BAT, *[f"BAT, {i}000000, 0, 1251, 15{i}" for i in range(9)],
                          "BAT, 10000000, ?, 1251, 150"])  # fmt: skip

    assert recording["battery"]["instance"].tolist() == [0] * 9
    assert the(recording, "damaged-lines").evidence["lines"] == 1


def test_the_last_text_takes_commas(recorded):
    recording = recorded(
        [FMT, MSG, IMU, *imu(3), "MSG, 10050000, Ready, steady, go,", "MSG, 10060000, plain"]
    )

    assert recording["messages"]["text"].tolist() == ["Ready, steady, go,", "plain"]
    assert recording.findings == ()


def test_joined_lines_are_no_parameter(recorded):
    recording = recorded([FMT, PARM, "PARM, 1, AAA, 1.0PARM, 1, BBB, 2.0", "PARM, 2, CCC, 3.5"])

    assert recording["parameters"]["name"].tolist() == ["CCC"]
    assert recording["parameters"]["value"].tolist() == [3.5]
    assert the(recording, "damaged-lines").evidence["lines"] == 1


def test_a_type_may_be_declared_after_its_first_use(recorded):
    recording = recorded([FMT, *imu(5), IMU, *imu(5, 10_050_000)])

    assert len(recording["imu"]) == 10
    assert recording.findings == ()


def test_undeclared_types_are_counted_and_told(recorded):
    recording = recorded([FMT, IMU, *imu(5), *(["XYZ, 1, 2, 3"] * 7), "QQ, 5, 6"])

    assert len(recording["imu"]) == 5
    finding = the(recording, "unknown-messages")
    assert finding.evidence == {"lines": 8, "types": 2}
    assert "XYZ 7" in finding.message
    assert recording.receipt.dropped["lines of types that the file does not declare"] == 8


def test_lines_under_another_declaration_are_not_read_by_the_first(recorded):
    swapped = "FMT, 131, 35, IMU, Qffffff, TimeUS,AccX,AccY,AccZ,GyrX,GyrY,GyrZ"
    recording = recorded([FMT, IMU, *imu(5), swapped, *imu(4, 11_000_000), IMU,
                          *imu(3, 12_000_000)])  # fmt: skip

    assert len(recording["imu"]) == 8
    finding = the(recording, "contradicting-formats")
    assert finding.evidence == {"types": 1, "lines": 4}
    assert recording.receipt.dropped["lines under a contradicting declaration"] == 4


def test_a_declaration_that_is_repeated_means_nothing(recorded):
    assert recorded([FMT, IMU, *imu(5), FMT, IMU, *imu(4, 11_000_000)]).findings == ()


def test_another_number_of_the_type_means_nothing_to_a_text(recorded):
    """Logs of two builds of one firmware, one after the other."""
    recording = recorded([FMT, IMU, *imu(5), FMT, IMU.replace("131", "77"), *imu(4, 11_000_000)])

    assert recording.findings == ()
    assert len(recording["imu"]) == 9


def test_a_length_that_does_not_add_up_means_nothing_to_a_text(recorded):
    assert recorded([FMT, IMU.replace("35", "77"), *imu(5)]).findings == ()


def test_labels_that_the_declaration_cut_off_are_missing_only(recorded):
    """Field names have room for 64 characters; the cells are there all the same."""
    short = "FMT, 131, 35, IMU, Qffffff, TimeUS,GyrX,GyrY,GyrZ,AccX"
    recording = recorded([FMT, short, *imu(5)])

    assert recording["imu"]["accel_x_m_s2"].tolist() == [1.5] * 5
    assert recording["imu"]["accel_y_m_s2"].isna().all()


def test_modes_by_name_and_by_number_give_the_same(recorded):
    plane = "MSG, 1, ArduPlane V4.5.0"
    mode = "FMT, 140, 14, MODE, QMBB, TimeUS,Mode,ModeNum,Rsn"
    printed = recorded([FMT, MSG, mode, plane, "MODE, 1000, MANUAL, 0, 1",
                        "MODE, 9000, AUTO, 10, 2", "MODE, 9500, Mode(26), 26, 2"])  # fmt: skip
    numbers = recorded([FMT, MSG, mode, plane, "MODE, 1000, 0, 0, 1", "MODE, 9000, 10, 10, 2",
                        "MODE, 9500, 26, 26, 2"])  # fmt: skip

    assert printed["modes"]["mode"].tolist() == ["MANUAL", "AUTO", "AUTOLAND"]
    assert numbers["modes"].equals(printed["modes"])
    assert printed.receipt.firmware == "ArduPlane V4.5.0"


def test_units_of_the_file_go_before_the_usual_ones(recorded):
    """A log may state that its pack messages are in volts though they are integers."""
    lines = [
        "FMT, 150, 46, FMTU, QBNN, TimeUS,FmtType,UnitIds,MultIds",
        "FMT, 151, 76, UNIT, QbZ, TimeUS,Id,Label",
        "FMT, 152, 20, MULT, Qbd, TimeUS,Id,Mult",
        "UNIT, 1, 115, s", "UNIT, 1, 118, V", "UNIT, 1, 65, A", "UNIT, 1, 35, instance",
        "MULT, 1, 70, 0.000001", "MULT, 1, 65, 0.1", "MULT, 1, 45, 0",
        "FMTU, 1, 134, s#vA, F-A-",
    ]  # fmt: skip
    recording = recorded([FMT, BAT, *lines, "BAT, 1000000, 0, 125, 15", "BAT, 2000000, 0, 124, 16"])

    assert recording["battery"]["voltage_v"].tolist() == [12.5, 12.4]
    assert recording["battery"]["current_a"].tolist() == [15.0, 16.0]
    assert recording.raw["BAT"].units["Volt"] == "V"


def test_arrays_are_kept_as_printed(recorded):
    isb = "FMT, 160, 77, ISBD, QHaH, TimeUS,N,x,End"
    numbers = ", ".join(str(i - 3) for i in range(32))
    recording = recorded([FMT, isb, f"ISBD, 1000, 7, {numbers}, 9"])

    assert recording.raw["ISBD"]["End"].tolist() == [9]
    assert recording.raw["ISBD"]["x"][0] == numbers


@pytest.mark.parametrize(
    "encode",
    [
        lambda text: text.encode(),
        lambda text: codecs.BOM_UTF8 + text.encode(),
        lambda text: codecs.BOM_UTF16_LE + text.encode("utf-16-le"),
        lambda text: text.encode("utf-16-be"),
        lambda text: text.replace("\r\n", "\n").encode(),
        lambda text: text.replace("\r\n", "\r").encode(),
        lambda text: text.replace(", ", ",").encode(),
        lambda text: text.replace(", ", " ,\t").encode(),
        lambda text: text.replace("\r\n", "\r\n\r\n").encode(),
        lambda text: text.encode().rstrip(b"\r\n"),
        lambda text: text.encode() + b"\x1a",
    ],
    ids=["utf-8", "mark", "utf-16", "utf-16-be", "lf", "cr", "no blanks", "tabs", "blank lines",
         "no last end", "end-of-file mark"],
)  # fmt: skip
def test_what_editors_do_to_a_text_changes_nothing(recorded, encode):
    lines = [FMT, IMU, BAT, MSG, *imu(30), "BAT, 10100000, 0, 1251, 1500", "MSG, 10200000, Höhe 5"]
    expected = recorded(lines)
    again = recorded(encode("\r\n".join(lines) + "\r\n"))

    assert again.findings == ()
    assert again["messages"]["text"].tolist() == ["Höhe 5"]
    assert_same_tables(again, expected)


def test_nul_bytes_are_left_out_and_counted(recorded):
    content = "\r\n".join([FMT, IMU, *imu(30)]).encode() + b"\r\n"
    recording = recorded(content[:900] + b"\0" * 100 + content[900:] + b"\0" * 400)

    assert len(recording["imu"]) == 30
    assert recording.receipt.dropped["empty or unreadable bytes"] == 500


def test_rubbish_in_the_middle_costs_the_lines_that_it_hits(recorded):
    rubbish = bytes(range(1, 256)) * 40 + b",\n,,,\nA,\n\xff\xfe\n"
    lines = "\n".join([FMT, IMU, *imu(50)]).encode() + b"\n"
    half = lines.index(b"IMU, 10250000") + 20
    recording = recorded(lines[:half] + rubbish + lines[half:])

    assert len(recording["imu"]) == 49
    assert recording["imu"]["time_s"].iloc[-1] == 10.49
    assert the(recording, "damaged-lines").evidence["first_line"] == 28


def test_a_very_long_line_is_one_damaged_line(recorded):
    for long in (",".join(["IMU", *["1"] * 300_000]), "x" * 2_000_000, "IMU, " + "9" * 2_000_000):
        recording = recorded([FMT, IMU, *imu(10), long, *imu(10, 10_100_000)])

        assert len(recording["imu"]) == 20
        assert the(recording, "damaged-lines").evidence == {
            "lines": 1, "of": 23, "first_line": 13,
        }  # fmt: skip


def test_a_cut_last_line_is_told(recorded):
    recording = recorded("\n".join([FMT, IMU, *imu(10), "IMU, 10100000, 0.1, 0."]).encode())

    assert len(recording["imu"]) == 10
    assert the(recording, "truncated").evidence == {"line": 13}
    assert not any(f.code == "damaged-lines" for f in recording.findings)


def test_a_log_that_starts_in_the_middle(recorded):
    recording = recorded(["0.3, 1.5, -2.5, -9.8", *imu(10), FMT, IMU, *imu(10, 10_100_000)])

    assert len(recording["imu"]) == 20
    assert the(recording, "damaged-lines").evidence == {"lines": 1, "of": 23, "first_line": 1}


def test_what_stands_before_the_log_is_noted(recorded):
    recording = recorded(["", "ArduPlane V2.76", "Free RAM: 2048", FMT, IMU, *imu(10)])

    assert recording.receipt.firmware == "ArduPlane V2.76"
    assert any("Free RAM: 2048" in note for note in recording.receipt.notes)
    assert recording.findings == ()


def test_several_logs_in_one_file_stand_one_after_the_other(recorded):
    one = [FMT, IMU, *imu(200, 100_000_000, 1_000_000)]
    recording = recorded([*one, FMT, IMU, *imu(50, 20_000_000, 1_000_000)])
    time_s = recording["imu"]["time_s"]

    assert len(time_s) == 250
    assert time_s.is_monotonic_increasing
    # The second logger had run for 20 s at its first row.
    assert recording.receipt.seams == pytest.approx([299.0 + 20.0])
    assert the(recording, "clock-restart").start_s == pytest.approx(299.0)


def test_time_that_runs_backwards_costs_its_rows(recorded):
    rows = imu(400)
    rows[90] = rows[90].replace("10900000", "5")
    rows[200] = rows[200].replace("12000000", "3600000000")
    recording = recorded([FMT, IMU, *rows])

    assert len(recording["imu"]) == 398
    assert recording.receipt.seams == ()
    assert the(recording, "clock-backwards").evidence["rows"] == 2


def test_declarations_alone_are_an_error(recorded):
    with pytest.raises(LogFileError, match="but declarations"):
        recorded([FMT, IMU])


def test_messages_without_declarations_say_what_is_missing(recorded):
    lines = [*imu(20), *["GPS, 1, 2, 3"] * 5, *["ATT, 1, 2, 3"] * 5]
    with pytest.raises(LogFileError, match="no line declares") as caught:
        recorded(lines)

    assert "30 lines" in caught.value.found
    assert "beginning" in caught.value.fix


@pytest.mark.parametrize(
    ("head", "answer"),
    [
        (f"{FMT}\r\n{IMU}\r\n", Match.YES),
        (f"{IMU}\n", Match.YES),
        ("\n\nFMT,128,89,FMT,BBnNZ,Type,Length,Name,Format,Columns\n", Match.YES),
        (f"ArduPlane V2.76\n{FMT}\n", Match.MAYBE),
        ("\n".join([*imu(50), FMT]), Match.MAYBE),
        ("\n".join(["IMU, 1, 2", "GPS, 1, 2", "ATT, 3, 4"] * 10), Match.MAYBE),
        ("FMT, 128, 89, FMT, BB?NZ, Type\n", Match.NO),
        ("FMT, 300 metres, x, y, z, q\n", Match.NO),
        ("Date,Time,Alt(m),GPS\n2021-08-29,12:00:00.1,3.5,1.0 2.0\n" * 40, Match.NO),
        ("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n" * 30, Match.NO),
        ("AAA, 1\nBBB, 2\nCCC, 3\n" * 30, Match.NO),
        ("take the blue battery\n", Match.NO),
        ("", Match.NO),
    ],
)
def test_sniffing(head, answer):
    assert sniff(head.encode()) is answer
    assert sniff(head.encode("utf-16")) is answer


def test_no_other_format_claims_it_and_it_claims_no_other():
    text = "\n".join([FMT, IMU, *imu(100)]).encode()
    binary = bytes(with_fmt().declare(1, "MSG", "QZ", "TimeUS,Message").add("MSG", 1, b"a").data)

    assert [i.format for i in IMPORTERS if i.sniff(text) is not Match.NO] == ["dataflash-text"]
    assert sniff(binary) is Match.NO


@pytest.fixture(scope="module")
def sample() -> Path:
    return data_path("sample_flights", "position_1hz_only.bin")


def test_text_and_binary_of_one_flight_give_the_same_tables(sample, tmp_path):
    path = tmp_path / "same.log"
    path.write_text("\n".join(text_of(sample)) + "\n", encoding="utf-8")

    assert_same_tables(read(path), read(sample))


def test_text_of_six_decimals_is_the_binary_within_half_of_the_last(sample, tmp_path):
    path = tmp_path / "same.log"
    path.write_text("\n".join(text_of(sample, six_decimals)) + "\n", encoding="utf-8")
    ours, theirs = read(path), read(sample)

    assert ours.receipt.rows == theirs.receipt.rows
    for name, table in theirs.raw.items():
        for column in table.columns:
            expected, found = table[column], ours.raw[name][column]
            if expected.dtype.kind == "f":
                np.testing.assert_allclose(found, expected, rtol=0, atol=0.501e-6)
            else:
                assert found.tolist() == expected.tolist(), (name, column)


SMALL = "\n".join(
    [
        FMT, IMU, GPS, MSG, PARM, BAT, *imu(8),
        "MSG, 10100000, ArduPlane V4.5.0", "PARM, 10100000, SPEED, 12.5",
        *[f"BAT, {10_100_000 + i}, 0, 1251, {1500 + i}" for i in range(4)],
        *[f"GPS, {10_200_000 + 200_000 * i}, 3, {302_400_000 + 200 * i}, 2340, 12, 0.80, "
          f"1.000000{i}, 2.0, 123.45, 10.5, 90.25, -1.5" for i in range(8)],
    ]
).encode()  # fmt: skip


@settings(
    max_examples=75, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(SMALL) - 1),
            st.integers(0, 40),
            st.one_of(
                st.binary(max_size=8),
                st.sampled_from(
                    [b",", b"\n", b"\r", b"\0", b"FMT, ", b"nan", b"-", b"9" * 30, b", ", b"1e400"]
                ),
            ),
        ),
        max_size=8,
    ),
    st.integers(1, len(SMALL)),
)
def test_damage_gives_a_recording_or_a_clear_error(tmp_path, edits, length):
    content = SMALL
    for at, count, new in edits:
        content = content[:at] + new + content[at + count :]
    path = tmp_path / "damaged.log"
    path.write_bytes(content[:length] or b"x")
    try:
        recording = read(path)
    except LogFileError:
        return
    for name in recording:
        time_s = recording[name]["time_s"].to_numpy()
        assert np.isfinite(time_s).all()
        assert (np.diff(time_s) >= 0).all()
    for table in recording.raw.values():
        for column in table.columns:
            assert len(table[column]) == len(table)
