"""Parameters read from logs and texts, the list that is kept of them, and how two lists differ."""

from __future__ import annotations

import json
import math
import os
import struct
from contextlib import suppress
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import FlightlogError, LogFileError
from flightlog.operations.parameters import (
    MOST_PARAMETERS,
    Parameters,
    compare,
    decimal_text,
    parameters_of,
    read_parameters,
    set_by_people,
    values_in,
)
from flightlog.recording import Receipt, Recording, UtcRelation
from tests.operations.made import SAMPLES


def text_file(tmp_path, text: str | bytes):
    place = tmp_path / "pannier.param"
    place.write_bytes(text if isinstance(text, bytes) else text.encode())
    return place


def single(value: float) -> float:
    """Round to 32 bits, by the rules of the machine."""
    return struct.unpack("<f", struct.pack("<f", value))[0]


# --- values


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.1, "0.1"),
        (0.03500000014901161, "0.035"),
        (-0.0, "0"),
        (4.0, "4"),
        (1950, "1950"),
        (1e-7, "0.0000001"),
        (16777216.0, "16777216"),
        (16777217, "16777217"),
        (-2147483647, "-2147483647"),
        (3.4028234663852886e38, "340282350000000000000000000000000000000"),
    ],
)
def test_a_value_has_the_digits_that_its_32_bits_need(value, text):
    assert text == decimal_text(value)


@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
def test_a_32_bit_float_comes_back_from_its_text_and_is_written_as_it_was_typed(value):
    text = decimal_text(value)

    assert value == single(float(text))
    assert "e" not in text
    assert text == decimal_text(float(text))


@given(st.integers(-(2**31), 2**31), st.integers(-(2**31), 2**31))
def test_whole_numbers_of_32_bits_are_told_apart(one, other):
    assert (one == other) == (decimal_text(float(one)) == decimal_text(float(other)))


# --- the list


def test_the_list_is_canonical_and_leaves_out_what_autopilots_write():
    values = set_by_people(
        {
            "ROLL_P": 0.1,
            "STAT_BOOTCNT": 12.0,
            "ARSPD_OFFSET": 2013.2,
            "INS_GYROFFS_X": 0.01,
            "BARO1_GND_PRESS": 101325.0,
            "ALT": 100.0,
            "UNSET": math.nan,
        }
    )
    data = Parameters(values, "one", "a.bin").data

    assert b'[["ALT","100"],["ROLL_P","0.1"]]' == data
    assert {"ALT": "100", "ROLL_P": "0.1"} == values_in(data)


@given(st.dictionaries(st.text(), st.floats(allow_nan=False, allow_infinity=False)))
def test_any_names_and_values_come_back_from_their_list(values):
    back = values_in(Parameters(values, "", "").data)

    clean = {n.encode("utf-8", "replace").decode(): decimal_text(v) for n, v in values.items()}
    assert clean == back


@pytest.mark.parametrize(
    "data", [b"", b"{}x", b"[1]", b'[["A"]]', b'[["A",1]]', b'{"A":"1"}x', b"\xff", b"[" * 9999]
)
def test_what_is_no_list_is_refused(data):
    with pytest.raises(LogFileError, match="no list"):
        values_in(data)


# --- logs


def test_the_end_of_a_log_tells_parameters_firmware_and_time():
    found = read_parameters(SAMPLES / "calm.bin")

    assert "Simulated autopilot 1.0" == found.firmware
    assert "calm.bin" == found.source
    values = dict(found.values)
    assert (4000.0, 70.0) == (values["BATT_CAPACITY"], values["SERVO3_FUNCTION"])
    assert found.at is not None
    assert datetime(2027, 3, 15, tzinfo=UTC).date() == found.at.date()


def recording(rows, utc=None, **tables):
    frame = pd.DataFrame(rows, columns=["time_s", "name", "value"])
    receipt = Receipt("a.bin", 1, "ab" * 32, "made", 1, "Made 1.0", utc=utc or UtcRelation())
    return Recording({"parameters": frame, **tables}, receipt)


def test_a_parameter_that_is_set_anew_in_the_log_has_its_last_value():
    found = parameters_of(recording([(1.0, "A", 1.0), (2.0, "B", 5.0), (9.0, "A", 2.0)]), "a")

    assert {"A": 2.0, "B": 5.0} == dict(found.values)


def test_the_time_is_that_of_the_last_row_of_the_log():
    baro = pd.DataFrame({"time_s": [90.0, 130.5], "instance": 0, "pressure_pa": 1e5})
    utc = UtcRelation(offset_s=1_800_000_000.0)

    found = parameters_of(recording([(100.0, "A", 1.0)], utc, baro=baro), "a")
    assert datetime.fromtimestamp(1_800_000_130, UTC) == found.at


@pytest.mark.parametrize("offset", [None, -1e18, 1e18, 5.0])
def test_a_time_that_no_flying_day_has_is_left_out(offset):
    found = parameters_of(recording([(1.0, "A", 1.0)], UtcRelation(offset_s=offset)), "a")

    assert found.at is None


def test_a_log_without_parameters_says_so():
    with pytest.raises(LogFileError, match=r"calm_transmitter\.csv: holds no parameters"):
        read_parameters(SAMPLES / "calm_transmitter.csv")
    with pytest.raises(LogFileError, match="holds no parameters"):
        parameters_of(recording([(1.0, "STAT_FLTTIME", 1.0)]), "a")


# --- texts


@pytest.mark.parametrize(
    "line",
    [
        "ROLL_P 0.1",
        "ROLL_P,0.1",
        "ROLL_P , 0.1",
        "ROLL_P\t0.1",
        "  ROLL_P   1.0e-1   # softer",
        "1\t1\tROLL_P\t0.100000001490116119\t9",
        "1\t1\tROLL_P\t.1\t9",
    ],
)
def test_lines_of_all_forms_are_read(tmp_path, line):
    found = read_parameters(text_file(tmp_path, f"\ufeff# saved in spring\r\n\r\n{line}\r\n"))

    assert b'[["ROLL_P","0.1"]]' == found.data
    assert ("", None, "pannier.param") == (found.firmware, found.at, found.source)


def test_a_comment_may_tell_the_firmware(tmp_path):
    found = read_parameters(text_file(tmp_path, "# saved\n# Firmware: Made 4.5 \nA 1\n"), "x")

    assert "Made 4.5" == found.firmware


def test_the_firmware_is_taken_from_who_reads_where_the_file_has_none(tmp_path):
    assert "Made 2" == read_parameters(text_file(tmp_path, "A 1\n"), "Made 2").firmware
    assert "Simulated autopilot 1.0" == read_parameters(SAMPLES / "calm.bin", "Made 2").firmware


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("A 1\nB\n", r"pannier\.param:2: 'B' is no parameter"),
        ("A 1,5\n", r":1: 'A 1,5' is no parameter"),
        ("A 1 2\n", "is no parameter"),
        ("A 0x10\n", "is no parameter"),
        ("A inf\n", "is no parameter"),
        ("A 1e999\n", "is no parameter"),
        ("A 1_0\n", "is no parameter"),
        ("A \u0661\n", "is no parameter"),
        ("A 1\nA 2\n", ":2: A is there twice, 1 and 2"),
        ("# nothing\n", "holds no parameters"),
        ("STAT_BOOTCNT 3\n", "holds no parameters"),
        ("A nan\n", "holds no parameters"),
        (b"A 1\nB \xff\n", r":2: byte 0xff is not UTF-8"),
        ("\x1b[2JA 1\n", r"'\\x1b\[2JA 1' is no parameter"),
        ("1\t1\tA\t1\t9\n2\t1\tA\t1\t9\n", "several vehicles or components"),
        ("1\t2\tA\t1\t9\n1\t3\tA\t1\t9\n", "several vehicles or components"),
    ],
)
def test_what_is_no_text_of_parameters_says_where(tmp_path, text, why):
    with pytest.raises(LogFileError, match=why):
        read_parameters(text_file(tmp_path, text))


def test_the_same_value_twice_is_one(tmp_path):
    assert {"A": 1.0} == dict(read_parameters(text_file(tmp_path, "A 1\nA 1.0\n")).values)


def test_of_several_components_the_autopilot_is_taken(tmp_path):
    text = "1\t100\tCAM_MODE\t3\t6\n1\t1\tROLL_P\t0.1\t9\n"

    assert {"ROLL_P": 0.1} == dict(read_parameters(text_file(tmp_path, text)).values)


def test_very_many_parameters_are_a_file_given_by_mistake(tmp_path):
    lines = "".join(f"P{n} 1\n" for n in range(MOST_PARAMETERS + 1))

    with pytest.raises(LogFileError, match="more than 20000 parameters"):
        read_parameters(text_file(tmp_path, lines))


def test_a_file_that_is_too_large_is_not_read(tmp_path):
    with pytest.raises(LogFileError, match="holds more than 1000000 bytes"):
        read_parameters(text_file(tmp_path, "#" * 1_000_001))


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_missing_file_and_a_folder_say_what_to_do(tmp_path):
    with pytest.raises(LogFileError, match="no such file"):
        read_parameters(tmp_path / "none.param")
    with pytest.raises(LogFileError, match="folder"):
        read_parameters(tmp_path)


@settings(deadline=None)
@given(data=st.one_of(st.binary(max_size=200), st.text(alphabet="AB1.,\t \n#-e", max_size=80)))
def test_any_text_is_read_or_says_why_not(tmp_path_factory, data):
    place = text_file(tmp_path_factory.mktemp("x"), data)

    with suppress(FlightlogError):
        found = read_parameters(place)
        assert all(map(np.isfinite, dict(found.values).values()))
        assert json.loads(found.data)


# --- comparing


def test_two_lists_differ_by_value_and_by_what_only_one_has():
    found = compare({"A": "1", "B": "2", "C": "3"}, {"A": "1", "B": "2.5", "D": "4"})

    assert {"B": ("2", "2.5")} == dict(found.changed)
    assert (("C",), ("D",), False) == (found.not_read, found.new, found.same)
    assert ["B 2 -> 2.5", "D is not in the baseline", "C was not read"] == found.told()


LISTS = st.dictionaries(st.sampled_from("ABCD"), st.sampled_from(["1", "2", "2.5"]), max_size=4)


@given(LISTS, LISTS)
def test_two_lists_differ_alike_from_either_side(one, other):
    there, back = compare(one, other), compare(other, one)

    assert there.same == back.same == (one == other)
    assert set(there.changed) == set(back.changed)
    assert (there.new, there.not_read) == (back.not_read, back.new)


def test_a_text_of_what_a_log_holds_gives_the_same_list(tmp_path):
    log = read_parameters(SAMPLES / "calm.bin")
    text = "".join(f"{name},{value:.9g}\n" for name, value in dict(log.values).items())

    assert log.data == read_parameters(text_file(tmp_path, text)).data
