"""IGC: records written by hand, and published examples of the format."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import LogFileError
from flightlog.importers.igc import load, sniff
from flightlog.importers.registry import Match
from flightlog.importers.standard_air import standard_pressure_pa
from tests.importers.log_checks import DAY_S, codes, damaged, fixes, keeps_promises, read_text

KNOWN = "B1101355206343N00006198WA0058700558"
"""A worked example of the methods: 11:01:35, 52.105717, -0.103300, 587 m, 558 m."""

HEAD = ("AXYZ001pannier", "HFDTEDATE:020327,01", "HFALG:GEO", "HFALPALTPRESSURE:ISA")


def fix(
    time: str = "091405",
    lat: str = "1203000N",
    lon: str = "09806000W",
    valid: str = "A",
    baro: str = "00204",
    gps: str = "00210",
    more: str = "",
) -> str:
    return f"B{time}{lat}{lon}{valid}{baro}{gps}{more}"


def text(*lines: str) -> str:
    return "".join(f"{line}\r\n" for line in lines)


def read_lines(*lines: str, head: tuple[str, ...] = HEAD):
    return read_text(load, text(*head, *lines))


def test_the_worked_example():
    recording = read_lines(KNOWN)
    row = recording["gps"].iloc[0]

    assert row["latitude_deg"] == pytest.approx(52.105717, abs=5e-7)
    assert row["longitude_deg"] == pytest.approx(-0.103300, abs=5e-7)
    assert row["altitude_msl_m"] == 558.0
    assert row["fix"] == 3.0
    # 11 h 1 min 35 s are 39,695 s.
    assert row["time_utc"] == DAY_S + 39695
    assert recording["baro"]["height_m"].tolist() == [587.0]
    assert recording.receipt.message_counts == {"A": 1, "H": 3, "B": 1}
    assert codes(recording) == []


@pytest.mark.parametrize(
    ("altitude_m", "pascal"),
    # The standard atmosphere as ICAO Doc 7488/3 prints it.
    [(0, 101325.0), (500, 95460.8), (1000, 89874.6), (2000, 79495.2), (3000, 70108.5)],
)
def test_pressure_is_that_of_the_published_standard_atmosphere(altitude_m, pascal):
    recording = read_lines(fix(baro=f"{altitude_m:05d}"), fix("091406"))

    assert recording["baro"]["pressure_pa"][0] == pytest.approx(pascal, abs=0.1)
    assert standard_pressure_pa(np.array([float(altitude_m)]))[0] == pytest.approx(pascal, abs=0.1)
    why = {s.column: s.why for s in recording.receipt.columns if s.table == "baro"}
    assert "standard atmosphere" in why["pressure_pa"]


def test_other_pressure_altitudes_give_no_pressure():
    recording = read_lines(fix(), head=(*HEAD[:3], "HFALPALTPRESSURE:MSL"))

    assert recording["baro"]["height_m"].tolist() == [204.0]
    assert recording["baro"]["pressure_pa"].isna().all()


def test_negative_pressure_altitudes_are_measurements():
    recording = read_lines(fix(baro="-0051"), fix("091406", baro="00000"))

    assert recording["baro"]["height_m"].tolist() == [-51.0, 0.0]
    assert recording["baro"]["pressure_pa"][0] > 101325


def test_a_pressure_altitude_of_0_throughout_is_no_barometer():
    recording = read_lines(fix(baro="00000"), fix("091406", baro="00000"))

    assert "baro" not in recording
    assert [f.message for f in recording.findings] == [
        "The pressure altitude is 0 in all 2 fixes: it was not measured."
    ]


def test_a_flat_fix_has_a_position_and_no_height():
    gps = read_lines(fix(), fix("091406", valid="V", gps="00000"))["gps"]

    assert gps["fix"].tolist() == [3.0, 2.0]
    assert gps["altitude_msl_m"][0] == 210.0
    assert np.isnan(gps["altitude_msl_m"][1])
    assert gps["latitude_deg"].tolist() == pytest.approx([12.05, 12.05])


def test_no_position_at_0_0():
    recording = read_lines(fix(), fix("091406", "0000000N", "00000000E", "V"))

    assert np.isnan(recording["gps"]["latitude_deg"][1])
    assert recording["gps"]["fix"].tolist() == [3.0, 0.0]
    assert codes(recording) == ["values-missing"]


# --- additions to the fix record


def test_additions_of_the_i_record():
    # FXA 36-38, SIU 39-40, GSP 41-43, TRT 44-46, ENL 47-49.
    recording = read_lines(
        "I053638FXA3940SIU4143GSP4446TRT4749ENL",
        fix(more="0240903608412" + "3"),
        fix("091406", more="9991003709012" + "4"),
    )
    gps = recording["gps"]

    # 24 m at 95 % are 12 m at one sigma; 999 is "not known".
    assert gps["horizontal_accuracy_m"][0] == 12.0
    assert np.isnan(gps["horizontal_accuracy_m"][1])
    assert gps["satellites"].tolist() == [9.0, 10.0]
    assert gps["ground_speed_m_s"].tolist() == pytest.approx([10.0, 37 / 3.6])
    assert gps["course_deg"].tolist() == [84.0, 90.0]
    assert recording.receipt.unused == ("B ENL",)
    assert recording.raw["B"]["ENL"].tolist() == [123.0, 124.0]


def test_a_blank_addition_is_missing_and_shifts_none_behind_it():
    gps = read_lines("I023638FXA3940SIU", fix(more="00809"), fix("091406", more="   07"))["gps"]

    # FXA is the error at 95 %, two standard uncertainties: 8 m are 4 m.
    assert gps["horizontal_accuracy_m"].tolist() == pytest.approx([4.0, np.nan], nan_ok=True)
    assert gps["satellites"].tolist() == [9.0, 7.0]


def test_five_digits_of_speed_are_hundredths():
    recording = read_lines("I013640GSP", fix(more="03600"))

    assert recording["gps"]["ground_speed_m_s"].tolist() == pytest.approx([10.0])


def test_more_digits_of_position_and_time():
    # LAD 36-37, LOD 38, TDS 39-41.
    recording = read_lines(
        "I033637LAD3838LOD3941TDS", fix(more="05" + "6" + "250"), fix("091406", more="000750")
    )
    gps = recording["gps"]

    # 3.00005 minutes of arc, 6.0006 minutes of arc.
    assert gps["latitude_deg"][0] == pytest.approx(12 + 3.00005 / 60, abs=1e-12)
    assert gps["longitude_deg"][0] == pytest.approx(-(98 + 6.0006 / 60), abs=1e-12)
    assert gps["time_s"].tolist() == pytest.approx([0.0, 1.5], abs=1e-6)


def test_true_airspeed_is_left_raw_and_no_speed_over_ground_is_made_up():
    recording = read_lines("I013638TAS", fix(more="041"), fix("091406", "1203010N", more="042"))

    assert recording["gps"]["ground_speed_m_s"].isna().all()
    assert "airspeed" not in recording
    assert recording.raw["B"]["TAS"].tolist() == [41.0, 42.0]
    assert any("true airspeed" in note for note in recording.receipt.notes)


@pytest.mark.parametrize(
    "record", ["I013635GSP", "I01GSP", "I023638GSP3941GSP", "I019999999999XYZ"]
)
def test_an_i_record_that_can_t_be_is_told_and_not_used(record):
    recording = read_lines(record, fix(more="123456"))

    assert recording["gps"]["ground_speed_m_s"].isna().all()
    assert recording.receipt.dropped == {"header records that can't be read": 1}
    assert codes(recording) == ["damaged-lines"]


# --- altitudes


@pytest.mark.parametrize(
    ("header", "found", "noted"),
    [
        ("HFALGALTGPS:WGS84 ELLIPSOID", True, False),
        ("HFALG:ELL", True, False),
        ("HFALG:GEO", False, False),
        ("HFCM2CREW2:NIL", False, True),
    ],
)
def test_above_what_gps_altitudes_count(header, found, noted):
    recording = read_lines(fix(), head=(*HEAD[:2], header))

    assert recording["gps"]["altitude_msl_m"].tolist() == [210.0]
    assert ("altitude-reference" in codes(recording)) == found
    assert any("ellipsoid" in note for note in recording.receipt.notes) == noted


# --- clocks


@pytest.mark.parametrize("header", ["HFDTE020327", "HFDTEDATE:020327,01", "HFDTE:020327"])
def test_both_forms_of_the_date(header):
    recording = read_lines(fix(), head=("AXYZ001", header))

    # 9 h 14 min 5 s are 33,245 s.
    assert recording["gps"]["time_utc"].tolist() == [DAY_S + 33245]
    assert recording.receipt.utc.unix_offset_s == DAY_S + 33245


@pytest.mark.parametrize("header", ["HFDTE000000", "HFDTE310227", "HFPLTPILOT:"])
def test_without_a_date_the_time_of_day_is_left(header):
    recording = read_lines(fix(), fix("091407"), head=("AXYZ001", header))

    assert recording["gps"]["time_s"].tolist() == [0.0, 2.0]
    assert recording["gps"]["time_utc"].isna().all()
    assert recording.receipt.utc.offset_s is None


def test_several_dates_are_told():
    recording = read_lines(fix(), "HFDTE030327", fix("091406"))

    assert any("several dates (2027-03-02, 2027-03-03)" in line for line in recording.receipt.notes)


def test_through_midnight():
    recording = read_lines(fix("235959"), fix("000000"), fix("000001"))

    assert recording["gps"]["time_utc"].tolist() == [DAY_S + 86399 + k for k in range(3)]


def test_the_zone_of_the_recorder_changes_nothing():
    recording = read_lines(fix(), head=(*HEAD, "HFTZNTIMEZONE:+3.00"))

    assert recording["gps"]["time_utc"].tolist() == [DAY_S + 33245]
    assert any("+3.00" in note for note in recording.receipt.notes)


def test_a_fix_out_of_order_is_left_out():
    recording = read_lines(*(fix(f"0914{k:02d}") for k in (1, 2, 3, 1, 4, 5)))

    assert recording["gps"]["time_s"].tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert codes(recording) == ["clock-backwards"]


# --- damage and what is none


@pytest.mark.parametrize(
    "line",
    [
        "B0914061203000N09806000WA002040021",  # a digit short
        "B0914061203000N09806000WA00204002x0",
        "B0914061263000N09806000WA0020400210",  # 63 minutes of arc
        "B0914061203000X09806000WA0020400210",
        "B2514061203000N09806000WA0020400210",  # hour 25
        "B0914061203000N18106000WA0020400210",
        "B٠914061203000N09806000WA0020400210",  # a digit of another script
    ],
)
def test_a_damaged_fix_is_skipped_and_counted(line):
    recording = read_lines(fix(), line, fix("091407"))

    assert recording["gps"]["time_s"].tolist() == [0.0, 2.0]
    assert recording.receipt.dropped == {"damaged fixes": 1}
    assert codes(recording) == ["damaged-lines"]


def test_a_fix_whose_additions_are_no_numbers_or_too_long_is_damaged():
    recording = read_lines(
        "I013638FXA",
        fix(more="012"),
        fix("091406", more="0x2"),
        fix("091407", more="0123"),
        fix("091408", more="01"),
        fix("091409"),
    )

    assert recording["gps"]["time_s"].tolist() == [0.0, 4.0]
    assert recording["gps"]["horizontal_accuracy_m"].tolist()[0] == 6.0
    assert np.isnan(recording["gps"]["horizontal_accuracy_m"][1]), "it has no additions at all"
    assert recording.receipt.dropped == {"damaged fixes": 3}


def test_records_of_other_kinds_are_counted_and_lines_of_none_told():
    lines = ("LXYZ note", "E091405PEV", "F0914050102", "K091405084", "GABCD", "?what", "free text")
    recording = read_lines(fix(), *lines)

    assert recording.receipt.message_counts == {
        "A": 1,
        "H": 3,
        "B": 1,
        **dict.fromkeys("LEFKG", 1),
    }
    assert recording.raw["L"]["text"].tolist() == ["XYZ note"]
    assert recording.receipt.dropped == {"lines that are no record": 2}


def test_the_recorder_and_its_firmware_are_in_the_receipt():
    recording = read_lines(fix(), head=(*HEAD, "HFFTYFRTYPE:maker,box", "HFRFWFIRMWAREVERSION:6.4"))

    assert recording.receipt.firmware == "maker,box 6.4"


@pytest.mark.parametrize(
    ("lines", "message"),
    [((), "there is no B record"), (("B091405",) * 3, "3 B records are damaged")],
)
def test_no_fix_is_an_error(lines, message):
    with pytest.raises(LogFileError, match=message):
        read_lines(*lines)


# --- is it IGC at all


@pytest.mark.parametrize(
    ("head", "match"),
    [
        (text(*HEAD, KNOWN), Match.YES),
        ("\ufeff" + text(*HEAD), Match.YES),
        ("\r\n" + text("AXYZ001", KNOWN), Match.YES),
        (text(*[KNOWN] * 4), Match.MAYBE),
        (text("HFDTE020327", "HFALG:GEO", "HFPLTPILOT:", *["?"] * 9), Match.NO),
        ("Altitude,Battery\n1,2\n", Match.NO),
        ("A", Match.NO),
        ("", Match.NO),
    ],
)
def test_the_first_records_decide(head, match):
    assert sniff(head.encode()) is match


# --- any damage

LONG = text(
    *HEAD,
    "I023640GSP4143TRT",
    *(
        fix(f"09140{k}", f"12{k:02d}125N", baro=f"0020{k}", gps=f"0021{k}", more=f"036{k}008{k}")
        for k in range(8)
    ),
).encode()


def test_cut_at_every_byte_it_invents_nothing():
    whole = fixes(read_text(load, LONG))
    # The cut may fall right before the additions.
    slow = {(*row[:3], -9e9, -9e9) for row in whole}
    rows = set()
    for length in range(len(LONG)):
        recording = keeps_promises(load, LONG[:length])
        if recording is not None:
            assert fixes(recording) <= whole | slow, length
            rows.add(len(recording["gps"]))

    assert rows == set(range(1, 9))


@settings(max_examples=75, deadline=None)
@given(damaged(LONG))
def test_whatever_the_damage_a_recording_or_a_clear_error(content):
    sniff(content)
    keeps_promises(load, content)


@settings(max_examples=60, deadline=None)
@given(st.text("ABHI0123456789NSEW-V ", max_size=60), st.text("I0123456789GSPLADTO", max_size=40))
def test_any_records(line, additions):
    keeps_promises(load, text(*HEAD, f"I{additions}", f"B{line}", line, KNOWN).encode())
