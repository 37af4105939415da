"""NMEA 0183: sentences written by hand, in the order and with the gaps that receivers have."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import LogFileError
from flightlog.importers.common import Notes
from flightlog.importers.nmea import load, sniff, unrolled_days
from flightlog.importers.registry import Match
from tests.importers.log_checks import DAY_S, codes, damaged, fixes, keeps_promises, read_text

KNOWN = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
"""A worked example of the methods: checksum 47, latitude 48.1173, longitude 11.516667."""


def sentence(body: str) -> str:
    total = 0
    for character in body:
        total ^= ord(character)
    return f"${body}*{total:02X}"


def gga(time: str, lat: str = "1203.0000", quality: int = 1, alt: str = "210.4") -> str:
    return sentence(f"GPGGA,{time},{lat},N,09806.0000,W,{quality},09,0.8,{alt},M,46.9,M,,")


def rmc(time: str, date: str = "020327", status: str = "A", lat: str = "1203.0000") -> str:
    return sentence(f"GNRMC,{time},{status},{lat},N,09806.0000,W,18.0,084.4,{date},,,A")


def text(*lines: str) -> str:
    return "".join(f"{line}\r\n" for line in lines)


def read_lines(*lines: str):
    return read_text(load, text(*lines))


def test_the_worked_example():
    recording = read_lines(KNOWN)
    fix = recording["gps"].iloc[0]

    assert fix["latitude_deg"] == pytest.approx(48.1173, abs=1e-9)
    assert fix["longitude_deg"] == pytest.approx(11.516667, abs=5e-7)
    assert fix["altitude_msl_m"] == 545.4, "above mean sea level: the separation is not added"
    assert (fix["satellites"], fix["hdop"], fix["fix"]) == (8, 0.9, 3)
    assert np.isnan(fix["time_utc"])
    assert recording.receipt.utc.offset_s is None
    assert recording.receipt.utc.source == "NMEA time of day, without a date"


def test_sentences_of_one_time_make_one_row():
    recording = read_lines(
        gga("091405.20"),
        sentence("GNGSA,A,3,01,02,03,,,,,,,,,,1.5,0.8,1.2"),
        rmc("091405.20"),
        sentence("GNVTG,084.4,T,,M,18.0,N,33.3,K,A"),
        gga("091405.40"),
        rmc("091405.40"),
    )
    gps = recording["gps"]

    assert gps["time_s"].tolist() == pytest.approx([0.0, 0.2], abs=1e-6)
    # 9 h 14 min 5.2 s = 33,245.2 s into the day.
    assert gps["time_utc"].tolist() == pytest.approx([DAY_S + 33245.2, DAY_S + 33245.4])
    assert gps["latitude_deg"].tolist() == pytest.approx([12.05, 12.05], abs=1e-12)
    assert gps["longitude_deg"].tolist() == pytest.approx([-98.1, -98.1], abs=1e-12)
    # 18 knots of 1852 m an hour are 9.26 m/s.
    assert gps["ground_speed_m_s"].tolist() == pytest.approx([9.26, 9.26])
    assert gps["course_deg"].tolist() == [84.4, 84.4]
    assert recording.receipt.message_counts == {"GPGGA": 2, "GNGSA": 1, "GNRMC": 2, "GNVTG": 1}
    told = {s.column: s.source for s in recording.receipt.columns}
    assert (told["latitude_deg"], told["ground_speed_m_s"]) == ("GGA, RMC", "RMC, VTG")
    assert codes(recording) == []


@pytest.mark.parametrize(
    ("body", "m_s"),
    [
        ("GPVTG,084.4,T,,M,18.0,N,33.3,K", 9.26),
        ("GPVTG,084.4,T,,M,,N,36.0,K", 10.0),
        ("GPVTG,084.4,,18.0", None),  # the form of old receivers: other fields
    ],
)
def test_speed_from_a_sentence_without_a_time_belongs_to_the_fix_before(body, m_s):
    gps = read_lines(gga("091405"), sentence(body), gga("091406"))["gps"]
    known = gps["ground_speed_m_s"].dropna().tolist()

    assert known == ([] if m_s is None else pytest.approx([m_s]))
    assert np.isnan(gps["ground_speed_m_s"][1])


def test_a_speed_behind_a_sentence_without_a_fix_belongs_to_nobody():
    empty = sentence("GPGGA,,,,,,0,,,,M,,M,,")
    recording = read_lines(
        gga("091405"), empty, sentence("GPVTG,084.4,T,,M,18.0,N,33.3,K"), gga("091406")
    )

    assert recording["gps"]["ground_speed_m_s"].isna().all()
    assert recording.receipt.dropped == {"sentences of fixes without a time": 1}


@pytest.mark.parametrize(
    ("quality", "fix"), [(1, 3), (2, 4), (3, 3), (4, 6), (5, 5), (9, 3), (0, 0), (6, 1), (8, 1)]
)
def test_quality_of_the_fix(quality, fix):
    gps = read_lines(gga("091404"), gga("091405", quality=quality))["gps"]

    assert gps["fix"][1] == fix
    assert np.isfinite(gps["latitude_deg"][1]) == (fix >= 2)
    assert np.isfinite(gps["altitude_msl_m"][1]) == (fix >= 3)


def test_estimated_positions_are_told():
    recording = read_lines(gga("091404"), gga("091405", quality=6))

    assert codes(recording) == ["values-missing"]
    assert "1 of 2 positions are estimated" in recording.findings[0].message


def test_a_flat_fix_has_no_height():
    flat = sentence("GPGSA,A,2,01,02,03,,,,,,,,,,1.5,0.8,1.2")
    gps = read_lines(gga("091405"), flat)["gps"]

    assert gps["fix"].tolist() == [2.0]
    assert gps["altitude_msl_m"].isna().all()
    assert gps["latitude_deg"].tolist() == pytest.approx([12.05])


def test_a_void_fix_has_neither_position_nor_speed():
    gps = read_lines(rmc("091404"), rmc("091405", status="V"), rmc("091406"))["gps"]

    assert gps["fix"].tolist() == [3.0, 0.0, 3.0]
    assert np.isfinite(gps["latitude_deg"]).tolist() == [True, False, True]
    assert np.isfinite(gps["ground_speed_m_s"]).tolist() == [True, False, True]


def test_one_sentence_that_says_void_is_believed_against_another():
    gps = read_lines(gga("091404"), gga("091405"), rmc("091405", status="V"))["gps"]

    assert np.isfinite(gps["latitude_deg"]).tolist() == [True, False]


def test_positions_from_gns_and_gll():
    recording = read_lines(
        sentence("GNGNS,091405.00,1203.0000,S,09806.0000,E,AAN,12,0.7,88.5,20.0,,"),
        sentence("GPGLL,1206.0000,S,09806.0000,E,091406.00,A,D"),
        sentence("GPGLL,1206.0000,S,09806.0000,E,091407.00,V,N"),
    )
    gps = recording["gps"]

    assert gps["latitude_deg"].tolist()[:2] == pytest.approx([-12.05, -12.1])
    assert gps["altitude_msl_m"].tolist()[0] == 88.5
    assert gps["satellites"].tolist()[0] == 12
    assert gps["fix"].tolist() == [3.0, 4.0, 0.0]


def test_the_date_comes_from_any_sentence_that_has_one():
    recording = read_lines(
        gga("235958"),
        gga("235959"),
        sentence("GPZDA,235959.00,02,03,2027,00,00"),
        gga("000000"),
        gga("000001"),
        rmc("000001", date="030327"),
    )

    # 86,398 s into 2 March, and on through midnight.
    assert recording["gps"]["time_utc"].tolist() == [DAY_S + 86398 + k for k in range(4)]
    assert recording["gps"]["time_s"].tolist() == [0.0, 1.0, 2.0, 3.0]


def test_a_time_of_day_without_a_date_goes_on_through_midnight():
    recording = read_lines(gga("235959.5"), gga("000000.0"), gga("000000.5"))

    assert recording["gps"]["time_s"].tolist() == pytest.approx([0.0, 0.5, 1.0])
    assert any("no date" in note for note in recording.receipt.notes)


def test_ten_fixes_a_second():
    lines = [gga(f"0914{k // 10:02d}.{k % 10}0") for k in range(25)]

    assert read_lines(*lines)["gps"]["time_s"].tolist() == pytest.approx(
        [k / 10 for k in range(25)], abs=1e-6
    )


def test_ten_rows_in_a_second_that_repeat_one_fix_are_one():
    recording = read_lines(*(gga(f"09140{k // 10}") for k in range(30)))

    assert recording["gps"]["time_s"].tolist() == [0.0, 1.0, 2.0]
    assert recording.receipt.dropped == {"repeated fix": 27}
    assert codes(recording) == ["repeated-fixes"]


# --- damage and what is none


def test_a_wrong_checksum_costs_its_sentence():
    wrong = gga("091405").replace("1203", "1303")
    recording = read_lines(gga("091404"), wrong, gga("091406"))

    assert recording["gps"]["time_s"].tolist() == [0.0, 2.0]
    assert recording.receipt.dropped == {"damaged sentences": 1}
    assert codes(recording) == ["damaged-lines"]


@pytest.mark.parametrize(
    "body",
    [
        "GPGGA,096105,1203.0,N,09806.0,W,1,09,0.8,210.4,M,46.9,M,,",  # 61 minutes
        "GPGGA,0914xx,1203.0,N,09806.0,W,1,09,0.8,210.4,M,46.9,M,,",
        "GPGGA,091405,1263.0,N,09806.0,W,1,09,0.8,210.4,M,46.9,M,,",  # 63 minutes of arc
        "GPGGA,091405,9503.0,N,09806.0,W,1,09,0.8,210.4,M,46.9,M,,",
        "GPGGA,091405,1203.0,X,09806.0,W,1,09,0.8,210.4,M,46.9,M,,",
        "GPGGA,091405,1203.0,N,09806.0,,1,09,0.8,210.4,M,46.9,M,,",
        "GPGGA,091405,1203.0,N,09806.0,W,1,09,0.8,high,M,46.9,M,,",
        "GPGGA,091405,1203.0,N,09806.0,W,1,09,0.8,690.3,F,46.9,M,,",  # feet
        "GPGGA,091405,1203.0,N,09806.0,W,q,09,0.8,210.4,M,46.9,M,,",
        "GPRMC,091405,A,1203.0,N,09806.0,W,fast,084.4,020327,,,A",
        "GPRMC,091405,A,1203.0,N,09806.0,W,18.0,084.4,320327,,,A",  # the 32nd
    ],
)
def test_fields_that_can_t_be_are_damage_though_the_checksum_holds(body):
    recording = read_lines(gga("091404"), sentence(body))

    assert recording["gps"]["time_s"].tolist() == [0.0]
    assert recording.receipt.dropped == {"damaged sentences": 1}


def test_stamps_and_litter_before_the_dollar_sign_are_left_out():
    recording = read_lines(
        "2027-03-02 09:14:05,123 " + gga("091405"),
        "\x00\x7f>>" + rmc("091406"),
        gga("091407")[:30] + gga("091408"),
    )

    assert recording["gps"]["time_s"].tolist() == [0.0, 1.0, 3.0]
    assert recording.receipt.dropped == {"damaged sentences": 1}


def test_other_sentences_are_counted_and_reports_of_ships_are_no_damage():
    recording = read_lines(
        gga("091405"),
        sentence("GPGSV,1,1,00"),
        sentence("PXYZ,00,081350.00"),
        "!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0*7D",
        "power on",
    )

    assert recording.receipt.message_counts == {
        "GPGGA": 1,
        "GPGSV": 1,
        "PXYZ": 1,
        "!AIVDM": 1,
    }
    assert recording.receipt.dropped == {"lines without a sentence": 1}
    assert recording.raw["GPGSV"]["num_messages"].tolist() == [1.0]
    assert recording.raw["GPGGA"]["lat"].tolist() == [1203.0]
    assert recording.raw["GPGGA"]["lat_dir"].tolist() == ["N"]


def test_a_file_without_checksums_is_read_and_told():
    bare = [gga(f"09140{k}").partition("*")[0] for k in range(5)]
    recording = read_lines(*bare)

    assert len(recording["gps"]) == 5
    assert any("no checksum" in note for note in recording.receipt.notes)


def test_among_checked_sentences_one_without_a_checksum_is_cut():
    recording = read_lines(gga("091404"), gga("091405").partition("*")[0], gga("091406"))

    assert recording["gps"]["time_s"].tolist() == [0.0, 2.0]


def test_nothing_with_a_position_is_an_error_with_numbers():
    with pytest.raises(LogFileError, match="none of its 2 whole sentences gives a valid position"):
        read_lines(gga("091405", quality=0), sentence("GPGSV,1,1,00"))


def test_times_before_the_first_position_are_left_out():
    void = rmc("010101", date="060180", status="V")
    recording = read_lines(void, void, rmc("091405"))

    assert recording["gps"]["time_s"].tolist() == [0.0]
    assert recording.receipt.dropped == {"times before the first position": 2}
    assert codes(recording) == []


# --- dates of an old week counter


def aged(tmp_path: Path, content: str, unix_s: float) -> Path:
    path = tmp_path / "track"
    path.write_text(content, encoding="ascii")
    os.utime(path, (unix_s, unix_s))
    return path


def test_a_date_1024_weeks_off_is_corrected_to_fit_the_file_and_called_assumed(tmp_path):
    # 2027-03-02 less 1024 weeks (7168 days) is 2007-07-17.
    path = aged(tmp_path, text(rmc("000000", date="170707")), DAY_S + 3600)
    recording = load(path)

    assert recording["gps"]["time_utc"].tolist() == [DAY_S]
    (found,) = recording.findings
    assert found.code == "gps-week-rollover"
    assert "2007-07-17 is 1024 weeks off; corrected to 2027-03-02, assumed" in found.message


def test_two_eras_back(tmp_path):
    # 2027-03-02 less 2048 weeks is 1987-12-01.
    path = aged(tmp_path, text(rmc("000000", date="011287")), DAY_S + 3600)

    assert load(path)["gps"]["time_utc"].tolist() == [DAY_S]


@pytest.mark.parametrize(
    ("date", "file_s"),
    [
        ("170707", DAY_S - 2 * 86400),  # the corrected date would be after the file's
        ("020327", DAY_S + 3600),  # right already
        ("010310", DAY_S + 3600),  # 2010 can be
    ],
)
def test_a_date_that_can_be_stays(tmp_path, date, file_s):
    recording = load(aged(tmp_path, text(rmc("000000", date=date)), file_s))

    assert codes(recording) == []


def test_the_first_day_of_an_era_is_no_date():
    notes = Notes()
    # 1980-01-06 and 1999-08-22, in Unix seconds.
    days = np.array([315964800.0, 935280000.0, DAY_S])

    assert np.isnan(unrolled_days(days, DAY_S, notes)).tolist() == [True, True, False]
    assert notes.findings == []


# --- is it NMEA at all


@pytest.mark.parametrize(
    ("head", "match"),
    [
        (text(*[KNOWN] * 3), Match.YES),
        (text(KNOWN), Match.MAYBE),
        (KNOWN[:30], Match.MAYBE),
        (text(*["x;y;z"] * 50, *[KNOWN] * 3), Match.MAYBE),
        (text(sentence("GPGSV,1,1,00")), Match.NO),
        ("$5 for a sandwich\n", Match.NO),
        ("", Match.NO),
    ],
)
def test_sentences_of_fixes_decide(head, match):
    assert sniff(head.encode()) is match


# --- any damage

LONG = text(
    *(
        line
        for k in range(5)
        for line in (
            gga(f"09140{k}.20", lat=f"12{k:02d}.1250", alt=f"{210 + k}.4"),
            rmc(f"09140{k}.20", lat=f"12{k:02d}.1250"),
        )
    )
).encode()


def test_cut_at_every_byte_it_invents_nothing():
    whole = fixes(read_text(load, LONG))
    # The cut may fall between the two sentences of an epoch.
    slow = {(*row[:3], -9e9, -9e9) for row in whole}
    rows = set()
    for length in range(len(LONG)):
        recording = keeps_promises(load, LONG[:length])
        if recording is not None:
            assert fixes(recording) <= whole | slow, length
            rows.add(len(recording["gps"]))

    assert rows == {1, 2, 3, 4, 5}


@pytest.mark.parametrize("junk", ["$GPGGA", "$GPGGA," + " " * 5000 + "*ZZ", "\n", "*", "!", "a\n"])
def test_long_lines_of_nothing(junk):
    assert keeps_promises(load, (junk * 3000).encode()[:65536]) is None


@settings(max_examples=75, deadline=None)
@given(damaged(LONG))
def test_whatever_the_damage_a_recording_or_a_clear_error(content):
    sniff(content)
    keeps_promises(load, content)


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(codec="latin-1"), max_size=60), st.sampled_from(["GGA", "RMC", "VTG"]))
def test_any_fields_behind_a_right_checksum(fields, kind):
    body = f"GP{kind},{fields}".replace("\n", "").replace("\r", "").replace("*", "")
    keeps_promises(load, text(KNOWN, sentence(body)).encode("latin-1"))


def test_it_reads_what_was_stored_with_utf_16_and_old_line_ends():
    plain = fixes(read_text(load, LONG))
    old = LONG.decode().replace("\r\n", "\r")

    assert fixes(read_text(load, LONG.decode().encode("utf-16"))) == plain
    assert fixes(read_text(load, old)) == plain
