"""Transmitter cards: made rows whose expected numbers are worked out by hand, and a real card."""

from __future__ import annotations

import math
import os
from pathlib import Path

import numpy as np
import pytest

import flightlog
from flightlog.errors import FlightlogError, LogFileError
from flightlog.importers import detect, read
from flightlog.importers.registry import Match
from flightlog.importers.transmitter import sniff
from tests.corpus import debriefed

HEADER = (
    "Date,Time,1RSS(dB),RQly(%),RSNR(dB),TQly(%),Ptch(rad),Roll(rad),Yaw(rad),RxBt(V),Curr(A),"
    "Capa(mAh),Bat_(%),FM,GPS,GSpd(kmh),Hdg(@),Alt(m),Sats,Rud,Ele,Thr,Ail,SA,LSW,TxBat(V)"
)
ROWS = (
    "2027-03-02,10:14:59.200,59,100,40,100,0.05,0.09,0.08,16.3,0.8,13,76,MAN,"
    "0.000881 -0.000245,36.0,16.16,12,12,512,-1,-1024,1024,1,0x0000,8.1",
    "2027-03-02,10:14:59.700,60,98,40,100,0.05,0.08,-3.25,16.2,10.8,14,76,MAN,"
    "0.000881 -0.000245,36.0,16.16,12,12,512,-1,-1024,1024,1,0x0000,8.1",
    "2027-03-02,10:15:00.200,61,97,40,100,0.05,0.08,3.25,16.1,11.8,20,75,AUTO,"
    "0.000971 -0.000245,72.0,-30.38,15,12,0,-1,0,0,1,0x0000,8.1",
)


def card(*rows: str, header: str = HEADER, end: str = "\n") -> str:
    return end.join((header, *rows)) + end


def made(tmp_path: Path, text: str | bytes, name: str = "card.csv") -> flightlog.Recording:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    assert detect(path.read_bytes()[:65536]).format == "transmitter"
    return read(path)


def codes(recording: flightlog.Recording) -> list[str]:
    return [f.code for f in recording.findings]


def test_every_sensor_lands_in_its_table_in_si_units(tmp_path):
    log = made(tmp_path, card(*ROWS))

    assert set(log) == {"gps", "attitude", "battery", "inputs", "link", "modes"}
    gps = log["gps"]
    # The second row repeats the first fix.
    assert gps["time_s"].tolist() == pytest.approx([0.0, 1.0])
    assert gps["latitude_deg"].tolist() == [0.000881, 0.000971]
    assert gps["longitude_deg"].tolist() == [-0.000245, -0.000245]
    # 36 km/h is 10 m/s, 72 km/h is 20 m/s
    assert gps["ground_speed_m_s"].tolist() == pytest.approx([10.0, 20.0])
    assert gps["altitude_msl_m"].tolist() == [12.0, 15.0]
    assert gps["satellites"].tolist() == [12.0, 12.0]
    battery = log["battery"]
    assert battery["voltage_v"].tolist() == [16.3, 16.2, 16.1]
    assert battery["current_a"].tolist() == [0.8, 10.8, 11.8]
    # 13 mAh is 13 * 3.6 C
    assert battery["charge_used_coulomb"].tolist() == pytest.approx([46.8, 50.4, 72.0])
    link = log["link"]
    assert link["quality_pct"].tolist() == [100.0, 98.0, 97.0]
    # the link sends dBm times -1
    assert link["rssi_dbm"].tolist() == [-59.0, -60.0, -61.0]
    assert log["attitude"]["roll_rad"].tolist() == [0.09, 0.08, 0.08]
    assert log["modes"].to_dict("list") == {"time_s": [0.0, 1.0], "mode": ["MAN", "AUTO"]}


def test_the_course_that_ran_over_in_16_bits_is_set_back(tmp_path):
    log = made(tmp_path, card(*ROWS))

    # 16.16 tens of degrees; -30.38 + 65.536 = 35.156 tens of degrees
    assert log["gps"]["course_deg"].tolist() == pytest.approx([161.6, 351.56])
    assert any("16 bits" in note for note in log.receipt.notes)


def test_a_course_in_plain_degrees_stays(tmp_path):
    rows = [row.replace("-30.38", "351.50").replace("16.16", "161.60") for row in ROWS]

    assert made(tmp_path, card(*rows))["gps"]["course_deg"].tolist() == [161.6, 351.5]


def test_a_course_that_may_be_tens_of_degrees_is_left_out(tmp_path):
    log = made(tmp_path, card(*ROWS[:2]))

    assert log["gps"]["course_deg"].isna().all()
    unclear = next(f for f in log.findings if f.code == "unit-unclear")
    assert "Hdg(@) (degrees or tens of degrees)" in unclear.message


def test_the_yaw_that_ran_over_is_set_back(tmp_path):
    yaw = made(tmp_path, card(*ROWS))["attitude"]["yaw_rad"].tolist()

    # -3.25 + 6.5536 = 3.3036: just behind 3.25 on the way round
    assert yaw == pytest.approx([0.08, 3.3036, 3.25])


def test_a_yaw_from_minus_to_plus_pi_stays(tmp_path):
    rows = [r.replace("-3.25", "-0.20").replace(",3.25,", ",3.10,") for r in ROWS]

    assert made(tmp_path, card(*rows))["attitude"]["yaw_rad"].tolist() == [0.08, -0.2, 3.1]


def test_sticks_become_pulses_with_the_firmwares_numbers(tmp_path):
    inputs = made(tmp_path, card(*ROWS))["inputs"]

    first = inputs.loc[inputs["time_s"] == 0].set_index("channel")["pulse_us"].to_dict()
    # rudder 512 of 1024 is 256 us; throttle -1024 is 988 us; aileron 1024 is 2012 us
    assert first == {1: 1756.0, 2: 1499.5, 3: 988.0, 4: 2012.0}


def test_pitch_is_left_out_since_its_sign_is_unknown(tmp_path):
    log = made(tmp_path, card(*ROWS))

    assert log["attitude"]["pitch_rad"].isna().all()
    assert any("Ptch(rad) was left out" in note for note in log.receipt.notes)


def test_the_date_is_local_and_no_utc_is_given(tmp_path):
    log = made(tmp_path, card(*ROWS))

    # 2027-03-02 is day 20879 after 1970-01-01 (57 years of 365 days, 14 leap days, 60 days);
    # 10:14:59.2 is second 36899.2
    assert log.receipt.utc.offset_s == pytest.approx(20879 * 86400 + 36899.2, abs=1e-3)
    assert (log.receipt.utc.zone_known, log.receipt.utc.unix_offset_s) == (False, None)
    assert log.receipt.utc.std_s == 60
    assert "local-time" in codes(log)


def test_a_card_with_times_only_takes_the_date_from_its_name(tmp_path):
    header = HEADER.removeprefix("Date,")
    rows = [row.removeprefix("2027-03-02,") for row in ROWS]
    log = made(tmp_path, card(*rows, header=header), "pannier-2027-03-02.csv")

    assert log.receipt.utc.offset_s == pytest.approx(20879 * 86400 + 36899.2, abs=1e-3)
    assert any("name of the file" in note for note in log.receipt.notes)


def test_times_only_go_on_over_midnight(tmp_path):
    header = HEADER.removeprefix("Date,")
    rows = [row.removeprefix("2027-03-02,") for row in ROWS]
    rows = [r.replace("10:14", "23:59").replace("10:15", "00:00") for r in rows]
    log = made(tmp_path, card(*rows, header=header))

    assert log["battery"]["time_s"].tolist() == pytest.approx([0.0, 0.5, 1.0])
    assert log.receipt.utc.offset_s is None


def test_a_header_in_the_middle_and_a_silence_each_start_a_session(tmp_path):
    rows = [
        ROWS[0].replace("10:14:59.200", f"10:{14 + n // 120}:{n // 2 % 60:02d}.{n % 2 * 500:03d}")
        for n in range(60)
    ]
    later = [row.replace("10:14", "10:15") for row in rows[:20]]
    log = made(tmp_path, card(*rows[:40], HEADER, *rows[40:], *later))

    # the header stands before the row of 20.0 s; the last session starts 60 s after the first row
    assert log.receipt.seams == pytest.approx([20.0, 60.0])
    assert log.receipt.dropped.get("rows without a time") is None
    assert len(log["battery"]) == 80


def test_a_header_in_another_order_moves_the_cells_below_it(tmp_path):
    log = made(
        tmp_path,
        card(
            "2027-03-02,10:00:00.0,16.0,1.5,10,90",
            "Date,Time,Curr(A),RxBt(V),Bat_(%),Capa(mAh)",
            "2027-03-02,10:00:01.0,2.5,15.0,80,20",
            header="Date,Time,RxBt(V),Curr(A),Capa(mAh),Bat_(%)",
        ),
    )

    assert log["battery"]["voltage_v"].tolist() == [16.0, 15.0]
    assert log["battery"]["current_a"].tolist() == [1.5, 2.5]
    assert log["battery"]["charge_used_coulomb"].tolist() == pytest.approx([36.0, 72.0])


def test_whole_second_stamps_on_ten_rows_each_are_spread(tmp_path):
    rows = [f"2027-03-02,10:14:{n // 10:02d},{n / 10:.1f},9.0,1,1" for n in range(200)]
    log = made(tmp_path, card(*rows, header="Date,Time,Curr(A),RxBt(V),Capa(mAh),Bat_(%)"))

    # ten rows in each second: one every 0.1 s, 20 s less one step from first to last
    assert np.diff(log["battery"]["time_s"]) == pytest.approx(np.full(199, 0.1), abs=1e-9)
    assert "whole-second-stamps" in codes(log)
    assert "whole seconds" in log.receipt.clock


@pytest.mark.parametrize(
    ("header", "cell", "column", "value"),
    [
        ("GSpd(km/h)", "36", "gps.ground_speed_m_s", 10.0),
        ("GSpd(kts)", "10", "gps.ground_speed_m_s", 10 * 1852 / 3600),
        ("GSpd(m/s)", "7.5", "gps.ground_speed_m_s", 7.5),
        ("GSpd(mph)", "10", "gps.ground_speed_m_s", 4.4704),
        ("GAlt(ft)", "100", "gps.altitude_msl_m", 30.48),
        ("Alt(ft)", "100", "baro.height_m", 30.48),
        ("ASpd(kts)", "20", "airspeed.airspeed_m_s", 20 * 1852 / 3600),
        ("VFAS(V)", "24.1", "battery.voltage_v", 24.1),
        ("Curr(mA)", "1500", "battery.current_a", 1.5),
        ("Cnsp(mAh)", "100", "battery.charge_used_coulomb", 360.0),
        ("RPM(rpm)", "6000", "rotation.speed_rad_s", 200 * math.pi),
        ("Roll(@)", "90", "attitude.roll_rad", math.pi / 2),
        ("Roll(°)", "90", "attitude.roll_rad", math.pi / 2),
        ("Hdg(°)", "271.5", "gps.course_deg", 271.5),
        ("RSSI(dB)", "77", "link.rssi_raw", 77.0),
        ("RSSI(dBm)", "-77", "link.rssi_dbm", -77.0),
        ("1RSS(dBm)", "-59", "link.rssi_dbm", -59.0),
    ],
)
def test_units_in_headers_are_believed(tmp_path, header, cell, column, value):
    rows = [f"2027-03-02,10:14:5{n}.5,{cell},99,1" for n in range(5)]
    log = made(tmp_path, card(*rows, header=f"Date,Time,{header},VFR(%),Thr"))

    table, name = column.split(".")
    assert log[table][name].iloc[0] == pytest.approx(value, rel=1e-12)


def test_a_unit_that_is_missing_or_unknown_leaves_the_column_out(tmp_path):
    log = made(
        tmp_path,
        card("2027-03-02,10:14:59.2,36,16,99,1", header="Date,Time,GSpd,VFAS(bar),VFR(%),Thr"),
    )

    assert "gps" not in log
    assert "battery" not in log
    unclear = next(f for f in log.findings if f.code == "unit-unclear")
    assert "GSpd, VFAS(bar)" in unclear.message


def test_a_receivers_own_supply_is_not_the_pack(tmp_path):
    alone = made(
        tmp_path,
        card("2027-03-02,10:14:59.2,5.1,4.0,99", header="Date,Time,RxBt(V),Curr(A),VFR(%)"),
    )
    beside = made(
        tmp_path,
        card(
            "2027-03-02,10:14:59.2,5.1,24.2,4.0,99",
            header="Date,Time,RxBt(V),VFAS(V),Curr(A),VFR(%)",
        ),
    )

    assert alone["battery"]["voltage_v"].isna().all()
    assert alone["battery"]["current_a"].tolist() == [4.0]
    assert beside["battery"]["voltage_v"].tolist() == [24.2]


def test_a_signal_of_both_signs_is_left_out(tmp_path):
    log = made(
        tmp_path,
        card(
            "2027-03-02,10:14:59.2,59,99",
            "2027-03-02,10:14:59.7,-59,99",
            header="Date,Time,1RSS(dB),RQly(%)",
        ),
    )

    assert log["link"]["rssi_dbm"].isna().all()
    assert "unit-unclear" in codes(log)


def test_short_and_long_rows_are_kept_and_counted(tmp_path):
    cut, long = ROWS[0].rsplit(",", 11)[0], ROWS[2] + ",7,8"
    log = made(tmp_path, card(cut, ROWS[1], long))

    # the cut row ends behind the fix: no speed, no course
    assert log["gps"]["ground_speed_m_s"].isna().tolist() == [True, False, False]
    assert log["battery"]["voltage_v"].tolist() == [16.3, 16.2, 16.1]
    odd = next(f for f in log.findings if f.code == "odd-rows")
    assert (odd.evidence["short"], odd.evidence["long"]) == (1, 1)
    assert "line 2" in odd.message


def test_unreadable_cells_are_missing_and_the_first_is_told(tmp_path):
    rows = [ROWS[0], ROWS[1].replace("10.8", "1O.8"), ROWS[2]]
    log = made(tmp_path, card(*rows))

    assert log["battery"]["current_a"].isna().tolist() == [False, True, False]
    finding = next(f for f in log.findings if f.code == "unreadable-cells")
    assert finding.evidence == {"column": "Curr(A)", "cells": 1, "line": 3}
    assert "'1O.8' in line 3" in finding.message


@pytest.mark.parametrize(
    "encoded",
    [
        card(*ROWS).encode(),
        card(*ROWS).encode("utf-8-sig"),
        card(*ROWS).encode("utf-16"),
        card(*ROWS).encode("utf-16-le"),
        card(*ROWS, end="\r\n").encode(),
        card(*ROWS, end="\r").encode(),
        card(*ROWS).replace(",", ";").encode(),
        card(*ROWS).replace(",", "\t").encode(),
        card(*ROWS).replace(",", ";").replace(".", ",").encode(),
        card(*ROWS).replace("\n", "\n\n").encode(),
        card(*ROWS).replace("16.3", '"16.3"').encode(),
        card(*ROWS).replace("16.3", '"16,3"').replace("16.2", '"16,2"').encode(),
        card(*ROWS).replace("16.3", "16.3 V").encode(),
        ("made by a card\n\n" + card(*ROWS)).encode(),
    ],
    ids=[
        *("utf-8", "mark", "utf-16", "utf-16 without mark", "crlf", "cr", "semicolon", "tab"),
        *("decimal comma", "blank lines", "quotes", "decimal comma in one column", "unit in cells"),
        "preamble",
    ],
)
def test_the_same_card_in_any_writing_gives_the_same_numbers(tmp_path, encoded):
    log = made(tmp_path, encoded)

    assert log["battery"]["time_s"].tolist() == pytest.approx([0.0, 0.5, 1.0])
    if b'"16,3"' in encoded:
        assert log["battery"]["voltage_v"].tolist()[:2] == [16.3, 16.2]
    else:
        assert log["battery"]["voltage_v"].tolist() == [16.3, 16.2, 16.1]
    assert log["battery"]["current_a"].tolist() == [0.8, 10.8, 11.8]
    assert log["gps"]["latitude_deg"].tolist() == [0.000881, 0.000971]
    assert log["gps"]["course_deg"].tolist() == pytest.approx([161.6, 351.56])


def test_a_quote_that_never_closes_costs_no_row(tmp_path):
    rows = [ROWS[0], ROWS[1].replace("MAN", '"MAN'), *[ROWS[2]] * 50]
    log = made(tmp_path, card(*rows))

    assert len(log.raw["rows"]) == 52
    assert log["battery"]["current_a"].tolist()[:3] == [0.8, 10.8, 11.8]
    assert "damaged-lines" in codes(log)


def test_places_where_the_receiver_had_none_are_missing(tmp_path):
    rows = [ROWS[0].replace("0.000881 -0.000245", "0.000000 0.000000"), ROWS[2]]
    log = made(tmp_path, card(*rows))

    assert log["gps"]["latitude_deg"].isna().tolist() == [True, False]
    assert "values-missing" in codes(log)


def test_the_raw_rows_keep_the_files_own_names_and_numbers(tmp_path):
    raw = made(tmp_path, card(*ROWS)).raw["rows"]

    assert list(raw.columns) == HEADER.split(",")
    assert raw["GSpd(kmh)"].tolist() == [36.0, 36.0, 72.0]
    assert raw["GPS"].tolist() == [row.split(",")[14] for row in ROWS]
    assert raw["LSW"].tolist() == ["0x0000"] * 3
    assert raw.units["Capa(mAh)"] == "mAh"


def test_the_receipt_tells_every_source_and_what_feeds_nothing(tmp_path):
    receipt = made(tmp_path, card(*ROWS)).receipt

    sources = {(s.table, s.column): (s.source, s.unit) for s in receipt.columns}
    assert sources["gps", "ground_speed_m_s"] == ("GSpd(kmh)", "km/h")
    assert sources["gps", "longitude_deg"] == ("GPS (part 2)", "deg")
    assert receipt.unused == (
        *("RSNR(dB)", "TQly(%)", "Ptch(rad)", "Bat_(%)", "SA", "LSW", "TxBat(V)"),
    )


def test_a_card_without_any_time_is_an_error(tmp_path):
    path = tmp_path / "card.csv"
    path.write_text("Date,Time,RQly(%),Thr\nx,y,1,2\nx,y,1,2\n", encoding="utf-8")

    with pytest.raises(LogFileError, match="no row holds a date and time"):
        read(path)


@pytest.mark.parametrize(
    "head",
    [
        b"",
        b"\xff" * 100,
        b"Time (s),Voltage (V),Current (A)\n0,4.1,0.2\n",
        b"time_s,voltage_v\n0,1\n",
        b"take the blue battery, Time, please\n" * 3,
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n",
    ],
)
def test_other_files_are_not_claimed(head):
    assert sniff(head) is Match.NO


# --- the real card

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
needs_corpus = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")


def real() -> Path:
    return Path(CORPUS, "transmitter", "four_sessions_2021-08-29.csv")


@needs_corpus
def test_the_real_card_gives_its_sessions_and_packs():
    log = read(real())

    # counted in the file: 3687 lines, one of them the header
    assert len(log.raw["rows"]) == 3686
    assert len(log["battery"]) == 3686
    assert len(log["inputs"]) == 4 * 3686
    # its pauses: 15:43:14.280 to 15:43:23.790, 15:45:46.330 to 15:46:33.260 and 15:56:01.270 to
    # 15:59:40.860, counted from 15:42:59.200
    assert log.receipt.seams == pytest.approx([24.59, 214.06, 1001.66], abs=1e-6)
    assert any("from 1602 to 14 mAh at 1001.7 s" in note for note in log.receipt.notes)
    assert {"local-time", "repeated-fixes", "altitude-reference"} == set(codes(log))


@needs_corpus
def test_rows_of_the_real_card_against_its_own_text():
    log = read(real())
    lines = real().read_text(encoding="utf-8").splitlines()
    names = lines[0].split(",")

    battery = log["battery"].set_index("time_s")
    for number in (1, 500, 1444, 3686):
        cells = dict(zip(names, lines[number].split(","), strict=True))
        hour, minute, second = cells["Time"].split(":")
        time_s = int(hour) * 3600 + int(minute) * 60 + float(second) - 56579.2
        row = battery.iloc[battery.index.get_indexer([time_s], method="nearest")[0]]
        assert row["voltage_v"] == float(cells["RxBt(V)"])
        assert row["current_a"] == float(cells["Curr(A)"])
        assert row["charge_used_coulomb"] == pytest.approx(float(cells["Capa(mAh)"]) * 3.6)


@needs_corpus
def test_the_course_of_the_real_card_is_the_direction_in_which_it_moves():
    gps = read(real())["gps"]
    north = np.diff(gps["latitude_deg"])
    east = np.diff(gps["longitude_deg"]) * math.cos(math.radians(gps["latitude_deg"][0]))
    moving = (np.hypot(north, east) > 5e-5) & (gps["ground_speed_m_s"].to_numpy()[1:] > 8)
    made_good = np.degrees(np.arctan2(east, north))
    off = (made_good - gps["course_deg"].to_numpy()[1:] + 180) % 360 - 180

    assert moving.sum() > 1000
    assert abs(np.median(off[moving])) < 1
    assert np.quantile(abs(off[moving]), 0.9) < 12


@needs_corpus
def test_the_real_card_can_be_debriefed():
    result = debriefed(real().relative_to(CORPUS).as_posix())

    assert result.sorties
    assert all(isinstance(s.figures, dict) for s in result.sorties)


def test_errors_are_our_own(tmp_path):
    path = tmp_path / "card.csv"
    path.write_bytes(b"Date,Time,RQly(%),Thr\n")

    with pytest.raises(FlightlogError):
        read(path)
