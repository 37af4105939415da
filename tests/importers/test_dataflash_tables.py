from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.columns import TABLES
from flightlog.errors import LogFileError
from flightlog.importers import read
from flightlog.importers.dataflash_mapping import mapping
from tests.importers.dataflash_writer import Writer, with_fmt
from tests.importers.log_checks import codes

GPS = ("QBBIHBcLLeffffB", "TimeUS,I,Status,GMS,GWk,NSats,HDop,Lat,Lng,Alt,Spd,GCrs,VZ,Yaw,U")


def modern(rows: int = 20) -> Writer:
    """A log with messages of today, made of round numbers."""
    writer = with_fmt().declare(1, "GPS", *GPS)
    writer.declare(2, "GPA", "QBCCCC", "TimeUS,I,VDop,HAcc,VAcc,SAcc")
    writer.declare(3, "BAT", "QBfffffcf", "TimeUS,Inst,Volt,VoltR,Curr,CurrTot,EnrgTot,Temp,Res")
    writer.declare(4, "ATT", "Qffff", "TimeUS,DesRoll,Roll,Pitch,Yaw")
    writer.declare(5, "RCOU", "QHHH", "TimeUS,C1,C2,C3").declare(6, "RCO2", "QHH", "TimeUS,C15,C16")
    writer.declare(7, "MODE", "QMBB", "TimeUS,Mode,ModeNum,Rsn").declare(
        8, "MSG", "QZ", "TimeUS,Message"
    )
    writer.declare(9, "ARM", "QB", "TimeUS,ArmState").declare(
        10, "PARM", "QNf", "TimeUS,Name,Value"
    )
    writer.declare(11, "IMU", "QBffffff", "TimeUS,I,GyrX,GyrY,GyrZ,AccX,AccY,AccZ")
    writer.declare(12, "ESC", "QBfcfc", "TimeUS,Instance,RPM,Temp,CTot,MotTemp")
    writer.declare(13, "POWR", "Qff", "TimeUS,Vcc,VServo")
    writer.add("MSG", 0, b"ArduPlane V4.5.0").add("PARM", 0, b"SPEED", 12.5)
    writer.add("MODE", 1000, 10, 10, 1).add("ARM", 1000, 1)
    for i in range(rows):
        t = 10_000_000 + 200_000 * i
        writer.add(
            "GPS", t, 0, 3, 302_400_000 + 200 * i, 2340, 12, 80, 10_000_000 + i, -20_000_000,
            12_345, 10.0 + i, 90.0, -1.5, 0.0, 1,
        )  # fmt: skip
        writer.add("GPA", t, 0, 100, 150, 250, 20)
        writer.add("BAT", t, 0, 24.0, 24.1, 10.0 + i, 1000.0, 20.0, 2500, 0.01)
        writer.add("ATT", t, 0.0, 90.0, -45.0, 180.0).add("RCOU", t, 1500, 0, 65535)
        writer.add("RCO2", t, 1100, 0)
        for imu in (0, 1):
            writer.add("IMU", t, imu, 0.1, 0.2, 0.3, 1.0, 2.0, -9.8)
        writer.add("ESC", t, 2, 6000.0, 3000, 0.0, 4550 if i else 0)
        writer.add("POWR", t, 5.0, 6.5 if i else 0.0)
    return writer


def test_todays_messages_become_si_tables(recorded):
    recording = recorded(modern())
    gps = recording["gps"].iloc[1]

    assert gps["time_s"] == 10.2
    assert gps["latitude_deg"] == 1.0000001
    assert gps["longitude_deg"] == -2.0
    assert gps["altitude_msl_m"] == 123.45
    assert gps["ground_speed_m_s"] == 11.0
    assert gps["climb_m_s"] == 1.5, "the file counts downwards"
    assert gps["hdop"] == 0.8
    assert (gps["horizontal_accuracy_m"], gps["speed_accuracy_m_s"]) == (1.5, 0.2)
    # Week 2340, 302400 s, 18 leap seconds: 2024-11-13T11:59:42Z.
    assert recording["gps"]["time_utc"].iloc[0] == 1731499182
    battery = recording["battery"].iloc[0]
    assert battery["charge_used_coulomb"] == pytest.approx(3600.0)
    assert battery["energy_used_j"] == pytest.approx(72000.0)
    assert battery["temperature_k"] == pytest.approx(298.15)
    attitude = recording["attitude"].iloc[0]
    assert attitude["roll_rad"] == pytest.approx(math.pi / 2)
    assert attitude["pitch_rad"] == pytest.approx(-math.pi / 4)
    assert recording["rotation"]["speed_rad_s"].iloc[0] == pytest.approx(6000 / 60 * 2 * math.pi)
    temperature = recording["rotation"]["temperature_k"]
    assert math.isnan(temperature.iloc[0]), "0 °C exactly stands for no sensor"
    assert temperature.iloc[1] == pytest.approx(318.65), "of the motor, not of its controller"
    supply = recording["supply"]
    assert supply["board_voltage_v"].iloc[0] == 5.0
    assert math.isnan(supply["servo_voltage_v"].iloc[0])
    assert supply["servo_voltage_v"].iloc[1] == 6.5
    assert recording["arming"].to_dict("list") == {"time_s": [0.001], "armed": [1.0]}
    assert recording["modes"].to_dict("list") == {"time_s": [0.001], "mode": ["AUTO"]}
    assert recording["parameters"].to_dict("list") == {
        "time_s": [0.0], "name": ["SPEED"], "value": [12.5],
    }  # fmt: skip


def test_channels_are_long_and_leave_out_what_is_not_driven(recorded):
    outputs = recorded(modern(3))["outputs"]

    assert outputs["channel"].tolist() == [1, 15] * 3
    assert outputs["pulse_us"].tolist() == [1500.0, 1100.0] * 3
    assert outputs["time_s"].is_monotonic_increasing


def test_the_receipt_says_how_it_was_read(recorded):
    writer = modern()
    receipt = recorded(writer).receipt

    assert receipt.file == "log.dat"
    assert receipt.size == len(writer.data)
    assert receipt.format == "dataflash"
    assert receipt.firmware == "ArduPlane V4.5.0"
    assert receipt.message_counts["IMU"] == 40
    assert receipt.rows["imu"] == 40
    assert receipt.chosen_instances == {"imu": 0}
    assert receipt.duration_s == pytest.approx(10.2 + 0.2 * 18)
    assert receipt.utc.offset_s == pytest.approx(1731499182 - 10.0)
    assert receipt.utc.std_s is not None
    assert receipt.utc.std_s >= 0.2


def test_every_table_has_the_columns_of_the_dictionary(recorded):
    recording = recorded(modern())

    for name in recording:
        assert list(recording[name].columns) == [c.name for c in TABLES[name]], name


def test_the_mapping_names_known_tables_and_columns():
    columns = {name: {c.name for c in table} for name, table in TABLES.items()}
    for name, sources in mapping().items():
        if name in columns and name not in {"arming", "modes"}:
            for source in sources:
                parts = [source, *source.get("join", [])]
                assert {c for part in parts for c in part["columns"]} <= columns[name]


def old() -> Writer:
    """A log of the first years: boot clock in milliseconds, hundredths in bare integers."""
    writer = with_fmt().declare(
        1, "GPS", "BIHBcLLeeEefI",
        "Status,TimeMS,Week,NSats,HDop,Lat,Lng,RelAlt,Alt,Spd,GCrs,VZ,T",
    )  # fmt: skip
    writer.declare(2, "CURR", "IhhhHf", "TimeMS,Thr,Volt,Curr,Vcc,CurrTot")
    writer.declare(3, "IMU", "Iffffff", "TimeMS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ")
    writer.declare(4, "MODE", "Inb", "TimeMS,Mode,ModeNum").declare(5, "PARM", "Nf", "Name,Value")
    for i in range(20):
        ms = 13_000 + 200 * i
        writer.add("IMU", ms, 0, 0, 0, 0, 0, -9.8).add("CURR", ms, 0, 1251, 1500 + i, 5000, 7.0)
        writer.add(
            "GPS", 3, 500_000_000 + 200 * i, 1768, 9, 146, -10_000_000 - i, 20_000_000, 0, 3302,
            898, 19941, 0.5, ms,
        )  # fmt: skip
        if i == 5:
            writer.add("MODE", ms, b"AUTO", 10).add("PARM", b"LATE", 1.0)
    return writer


def test_old_messages_with_bare_integers(recorded):
    recording = recorded(old())

    assert recording["battery"]["voltage_v"].iloc[0] == pytest.approx(12.51)
    assert recording["battery"]["current_a"].iloc[0] == pytest.approx(15.0)
    assert recording["battery"]["charge_used_coulomb"].iloc[0] == pytest.approx(7 * 3.6)
    assert recording["modes"]["mode"].tolist() == ["AUTO"]
    assert recording["parameters"]["time_s"].tolist() == [14.0], "the time of the row before it"


def test_old_positions_stand_on_the_boot_clock_not_on_the_time_of_week(recorded):
    recording = recorded(old())

    assert recording["gps"]["time_s"].iloc[0] == 13.0
    assert recording["gps"]["ground_speed_m_s"].iloc[0] == pytest.approx(8.98)
    assert recording["gps"]["climb_m_s"].iloc[0] == -0.5
    # Week 1768 is in November 2013: 16 leap seconds since 2012-07-01 (IERS Bulletin C 43).
    assert recording.receipt.utc.offset_s == pytest.approx(
        315964800 + 1768 * 604800 + 500_000 - 16 - 13.0, abs=1e-3
    )
    assert recording.receipt.utc.std_s == pytest.approx(0.2), "the receiver's lateness alone"


def test_two_messages_for_two_sensors_become_instances(recorded):
    writer = with_fmt()
    for id, name in ((1, "BARO"), (2, "BAR2")):
        writer.declare(id, name, "Qffc", "TimeUS,Alt,Press,Temp")
    for i in range(10):
        writer.add("BARO", i * 100_000, 1.0, 100_000.0, 2000)
        writer.add("BAR2", i * 100_000, 2.0, 100_010.0, 2100)
    baro = recorded(writer)["baro"]

    assert baro.groupby("instance")["height_m"].mean().tolist() == [1.0, 2.0]
    assert baro["temperature_k"].iloc[0] == pytest.approx(293.15)


def battery_log(volts: list[float], amps: list[float]) -> Writer:
    writer = with_fmt().declare(1, "BAT", "QBff", "TimeUS,Instance,Volt,Curr")
    for i, (v, a) in enumerate(zip(volts, amps, strict=True)):
        writer.add("BAT", i * 100_000, 0, v, a)
    return writer


@pytest.mark.parametrize("current", [0.0, 0.01, -1.0])
def test_a_current_that_was_never_measured_is_missing(recorded, current):
    recording = recorded(battery_log([12.0] * 20, [float(np.float32(current))] * 20))

    assert recording["battery"]["current_a"].isna().all()
    assert {"current-not-measured", "values-missing"} & set(codes(recording))


def test_zero_volts_and_infinities_are_missing(recorded):
    volts = [12.0, 0.0, math.inf, math.nan, 12.0]
    recording = recorded(battery_log(volts, [1.0, 2.0, 3.0, 4.0, 5.0]))

    assert recording["battery"]["voltage_v"].isna().tolist() == [False, True, True, True, False]
    assert "values-missing" in codes(recording)


def test_values_that_cannot_be_are_missing_and_told(recorded):
    recording = recorded(battery_log([12.0, 5000.0, 12.0], [1.0, 2.0, 3.0]))

    assert recording["battery"]["voltage_v"].isna().tolist() == [False, True, False]
    assert "values-out-of-range" in codes(recording)


def test_cell_voltages_stand_beside_their_pack(recorded):
    writer = battery_log([12.0] * 3, [1.0, 2.0, 3.0])
    writer.declare(2, "BCL", "QBfHHHH", "TimeUS,Instance,Volt,V1,V2,V3,V4")
    writer.add("BCL", 210_000, 0, 12.0, 4000, 4010, 4020, 65535)
    cells = recorded(writer)["battery"]["cell_voltages"]

    assert cells.iloc[2] == [4.0, 4.01, 4.02]


def fixes(rows: list[tuple[int, int, int]]) -> Writer:
    """Position rows: boot milliseconds, week milliseconds, steps north."""
    writer = with_fmt().declare(1, "GPS", *GPS)
    for ms, gms, north in rows:
        writer.add(
            "GPS", ms * 1000, 0, 3, gms, 2340, 12, 80, 10_000_000 + north, 0, 0, 5.0, 0, 0, 0, 1
        )
    return writer


def test_repeated_fixes_are_no_data(recorded):
    recording = recorded(fixes([(100 * i, 1000 * (i // 10), i // 10) for i in range(100)]))

    assert len(recording["gps"]) == 10
    assert recording.receipt.dropped["repeated fix"] == 90
    finding = next(f for f in recording.findings if f.code == "repeated-fixes")
    assert finding.evidence["true_rate_hz"] == pytest.approx(1.0)


def test_a_receiver_at_rest_does_not_repeat_itself(recorded):
    recording = recorded(fixes([(100 * i, 100 * i, 0) for i in range(50)]))

    assert len(recording["gps"]) == 50


def test_no_position_is_missing_but_the_row_stays(recorded):
    writer = fixes([(100 * i, 100 * i, i) for i in range(5)])
    writer.add("GPS", 600_000, 0, 3, 700, 2340, 0, 80, 0, 0, 0, 5.0, 0, 0, 0, 1)
    writer.add("GPS", 700_000, 0, 1, 800, 2340, 0, 80, 77, 88, 0, 5.0, 0, 0, 0, 1)
    gps = recorded(writer)["gps"]

    assert len(gps) == 7
    assert gps["latitude_deg"].isna().tolist() == [False] * 5 + [True, True]
    assert gps["fix"].tolist() == [3.0] * 6 + [1.0]


def test_a_week_counter_of_ten_bits_is_told_and_mended(recorded):
    writer = with_fmt().declare(1, "GPS", *GPS)
    for i in range(5):
        gms = 302_400_000 + 200 * i
        writer.add("GPS", i * 200_000, 0, 3, gms, 292, 9, 80, i, i, 0, 5.0, 0, 0, 0, 1)
    recording = recorded(writer)

    weeks = (recording["gps"]["time_utc"].iloc[0] - 315964800 + 18 - 302400) / 604800
    assert weeks % 1024 == 292
    assert weeks >= 1316
    assert "gps-week-rollover" in codes(recording)


def test_the_clock_goes_on_after_a_restart(recorded):
    writer = with_fmt().declare(1, "IMU", "Qffffff", "TimeUS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ")
    for boot in (range(100_000, 280_000, 1000), range(19_000, 60_000, 1000)):
        for ms in boot:
            writer.add("IMU", ms * 1000, 0, 0, 0, 0, 0, -9.8)
    recording = recorded(writer)
    time_s = recording["imu"]["time_s"]

    assert len(time_s) == 221
    assert time_s.is_monotonic_increasing
    assert recording.receipt.seams == pytest.approx([279.0 + 19.0])
    assert codes(recording) == ["clock-restart"]
    assert time_s.iloc[-1] == pytest.approx(279.0 + 59.0)


def test_nonsense_times_cost_their_rows_only(recorded):
    writer = with_fmt().declare(1, "IMU", "Qffffff", "TimeUS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ")
    for i in range(400):
        us = {50: 2**63, 51: 3_600_000_000, 90: 5, 200: 30_000_000}.get(i, 10_000_000 + i * 10_000)
        writer.add("IMU", us, i, 0, 0, 0, 0, -9.8)
    recording = recorded(writer)

    assert len(recording["imu"]) == 396
    assert recording.receipt.duration_s == pytest.approx(3.99)
    assert recording.receipt.seams == ()
    assert "clock-backwards" in codes(recording)


def test_a_long_pause_is_no_damage(recorded):
    writer = with_fmt().declare(1, "IMU", "Qffffff", "TimeUS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ")
    for start in (10, 600):
        for i in range(100):
            writer.add("IMU", start * 1_000_000 + i * 10_000, 0, 0, 0, 0, 0, -9.8)
    recording = recorded(writer)

    assert len(recording["imu"]) == 200
    assert recording.findings == ()


def test_hostile_text_loses_its_control_codes(recorded):
    writer = with_fmt().declare(1, "MSG", "QZ", "TimeUS,Message")
    writer.add("MSG", 0, b"\x1b[31mred\x1b[0m\x07 \xe2\x80\xaeback\r\n")
    recording = recorded(writer)

    assert recording["messages"]["text"].tolist() == ["red back"]
    assert "\x1b" in recording.raw["MSG"]["Message"][0], "the raw table is as it was"


def test_declarations_alone_are_an_error(recorded):
    with pytest.raises(LogFileError, match="but declarations"):
        recorded(with_fmt())


def test_a_field_of_another_kind_than_expected_is_left_out(recorded):
    writer = with_fmt().declare(1, "ATT", "QZff", "TimeUS,Roll,Pitch,Yaw")
    writer.declare(2, "GPS", "ZZ", "TimeUS,Lat").declare(3, "MODE", "Za", "TimeUS,Mode")
    writer.add("ATT", 1, b"roll", 1.0, 2.0).add("GPS", b"a", b"b")
    writer.add("MODE", b"a", tuple(range(32)))
    recording = recorded(writer)

    assert recording["attitude"]["roll_rad"].isna().all()
    assert "gps" not in recording


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_damage_gives_a_recording_or_a_clear_error(tmp_path, data):
    content = bytearray(modern(6).data if data.draw(st.booleans()) else old().data)
    for _ in range(data.draw(st.integers(0, 12))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path / "damaged.bin"
    path.write_bytes(bytes(content[: data.draw(st.integers(1, len(content)))]))
    try:
        recording = read(path)
    except LogFileError:
        return
    for name in recording:
        time_s = recording[name]["time_s"].to_numpy()
        assert np.isfinite(time_s).all()
        assert (np.diff(time_s) >= 0).all()


def test_a_signalling_nan_and_a_number_beyond_all_are_missing_and_do_not_warn(tmp_path):
    """Damaged 64-bit floats once raised a warning when their unit was taken out."""
    log = with_fmt().declare(1, "BAT", "QBdd", "TimeUS,Inst,Volt,CurrTot")
    for i in range(20):
        log.add("BAT", 200_000 * i, 0, 24.0, 1000.0 + i)
    for row, bits in ((-1, b"\x01\0\0\0\0\0\xf0\x7f"), (-2, b"\xff\xff\xff\xff\xff\xff\xef\x7f")):
        end = len(log.data) + (row + 1) * (3 + 8 + 1 + 16)
        log.data[end - 8 : end] = bits
    path = tmp_path / "a.bin"
    path.write_bytes(log.data)
    charge = read(path)["battery"]["charge_used_coulomb"]

    assert charge[:18].to_list() == pytest.approx([3.6 * (1000 + i) for i in range(18)])
    assert charge[18:].isna().all()
