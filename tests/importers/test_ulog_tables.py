"""Tables, receipt and findings of ULog files made of round numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.columns import TABLES
from flightlog.importers.ulog_mapping import mapping
from flightlog.importers.ulog_tables import euler
from tests.importers.log_checks import codes, told
from tests.importers.ulog_writer import Writer, started

UTC_US = 1_700_000_000_000_000
NAN = float("nan")


def fix(writer: Writer, t: int, *, i: int = 0, multi_id: int = 0, **changes: float) -> None:
    """One row of a receiver of old firmware, in round numbers."""
    values: dict[str, float] = {
        "timestamp": t, "time_utc_usec": UTC_US + t, "lat": 10_000_000 + i, "lon": -20_000_000,
        "alt": 123_450, "s_variance_m_s": 0.25, "eph": 1.5, "hdop": 0.75, "vel_m_s": 10.0 + i,
        "vel_d_m_s": -1.5, "cog_rad": math.pi / 2, "fix_type": 3, "vel_ned_valid": 1,
        "satellites_used": 12,
    }  # fmt: skip
    values |= changes
    writer.row("vehicle_gps_position", *values.values(), multi_id=multi_id)


# --- the mapping


def test_every_column_of_the_mapping_is_in_the_dictionary():
    for source in mapping()["source"]:
        rules = source["columns"]
        beside = source.get("beside", {}).get("columns")
        shared = [mapping()["columns"][name] for name in (rules, beside) if isinstance(name, str)]
        for columns in [*shared, *([rules] if isinstance(rules, dict) else [])]:
            assert set(columns) <= {c.name for c in TABLES[source["table"]]}, source


# --- position


def test_old_fixes_are_degrees_metres_and_course(recorded):
    writer = started("vehicle_gps_position")
    for i in range(10):
        fix(writer, 1_000_000 + 200_000 * i, i=i)
    log = recorded(writer)
    row = log["gps"].iloc[3]

    assert row["time_s"] == 1.6
    assert row["latitude_deg"] == 1.0000003
    assert row["longitude_deg"] == -2.0
    assert row["altitude_msl_m"] == 123.45
    assert row["ground_speed_m_s"] == 13.0
    assert row["course_deg"] == pytest.approx(90.0, abs=1e-5)
    assert row["climb_m_s"] == 1.5
    assert row["hdop"] == 0.75
    assert row["satellites"] == 12
    assert row["fix"] == 3
    assert row["horizontal_accuracy_m"] == 1.5
    assert row["speed_accuracy_m_s"] == 0.25
    assert row["time_utc"] == pytest.approx(1_700_000_001.6, abs=1e-6)
    assert log.receipt.utc.offset_s == pytest.approx(1_700_000_000, abs=1e-3)
    assert log.receipt.utc.std_s == pytest.approx(0.2)
    assert log.receipt.time_origin == "boot"
    assert log.findings == ()


def test_new_fixes_are_the_same(recorded):
    writer = started("sensor_gps")
    for i in range(10):
        writer.row(
            "sensor_gps", 1_000_000 + 200_000 * i, 1.0 + i * 1e-9, -2.0, 123.45, UTC_US, 0.25, 1.5,
            0.75, 10.0, -1.5, -math.pi / 2, 3, 1, 12,
        )  # fmt: skip
    gps = recorded(writer)["gps"]

    assert gps["latitude_deg"].tolist() == [1.0 + i * 1e-9 for i in range(10)]
    assert gps["altitude_msl_m"].iloc[0] == 123.45
    assert gps["course_deg"].iloc[0] == pytest.approx(270.0, abs=1e-5)


def test_what_stands_for_not_measured_in_a_fix_becomes_missing(recorded):
    writer = started("vehicle_gps_position")
    fix(writer, 1_000_000, fix_type=1)
    fix(writer, 1_200_000, lat=0, lon=0)
    fix(writer, 1_400_000, fix_type=8)
    fix(writer, 1_600_000, vel_ned_valid=0)
    fix(writer, 1_800_000, hdop=0.0, eph=0.0, s_variance_m_s=0.0, satellites_used=255)
    fix(writer, 2_000_000, time_utc_usec=0, vel_m_s=NAN)
    log = recorded(writer)
    gps = log["gps"]

    assert gps["latitude_deg"].isna().tolist() == [True, True, True, False, False, False]
    assert gps["ground_speed_m_s"].isna().tolist() == [True, True, True, False, False, True]
    assert gps["climb_m_s"].isna().tolist() == [True, True, True, True, False, False]
    assert gps.iloc[4][["hdop", "horizontal_accuracy_m", "speed_accuracy_m_s"]].isna().all()
    assert math.isnan(gps["satellites"].iloc[4])
    assert math.isnan(gps["time_utc"].iloc[5])
    assert gps["fix"].tolist() == [1, 3, 8, 3, 3, 3]
    assert told(log, "values-missing").evidence == {"rows": 3, "table": "gps"}


def test_repeated_fixes_are_counted_and_left_out(recorded):
    writer = started("vehicle_gps_position")
    for i in range(20):
        fix(writer, 1_000_000 + 100_000 * i, i=i // 2, time_utc_usec=UTC_US + i // 2 * 200_000)
    log = recorded(writer)

    assert len(log["gps"]) == 10
    assert told(log, "repeated-fixes").evidence["repeated"] == 10
    assert told(log, "repeated-fixes").evidence["true_rate_hz"] == pytest.approx(5.0)


def test_a_receiver_without_time_that_stands_still_repeats_nothing(recorded):
    writer = started("vehicle_gps_position")
    for i in range(20):
        fix(writer, 1_000_000 + 200_000 * i, time_utc_usec=0)
    log = recorded(writer)

    assert len(log["gps"]) == 20
    assert log.receipt.utc.offset_s is None


def test_of_two_topics_of_one_receiver_the_one_with_more_rows_is_used(recorded):
    writer = started("sensor_gps", "vehicle_gps_position")
    for i in range(20):
        fix(writer, 1_000_000 + 100_000 * i, i=i)
        if i % 10 == 0:
            writer.row("sensor_gps", 1_000_000 + 100_000 * i, *[0.5] * 3, 0, *[1.0] * 6, 3, 1, 9)
    log = recorded(writer)

    assert len(log["gps"]) == 20
    assert "sensor_gps" in log.receipt.unused
    assert any("also in the file: sensor_gps (2 rows)" in line for line in log.receipt.notes)


def test_two_receivers_are_two_instances_and_the_one_with_fixes_is_chosen(recorded):
    writer = started("vehicle_gps_position").topic("vehicle_gps_position", 1)
    for i in range(20):
        fix(writer, 1_000_000 + 200_000 * i, i=i, fix_type=0)
        fix(writer, 1_050_000 + 200_000 * i, i=i, multi_id=1)
    log = recorded(writer)

    assert log["gps"]["instance"].value_counts().to_dict() == {0: 20, 1: 20}
    assert log.receipt.chosen_instances["gps"] == 1
    assert set(log.raw) == {"vehicle_gps_position", "vehicle_gps_position.1"}


def estimates(*, receiver: bool) -> Writer:
    writer = started("vehicle_global_position", "vehicle_local_position")
    if receiver:
        writer.topic("vehicle_gps_position")
    for i in range(10):
        t = 1_000_000 + 100_000 * i
        writer.row("vehicle_global_position", t, 1.0, 2.0, 30.0)
        writer.row("vehicle_local_position", t + 10_000, 3.0, 4.0, -2.0, i > 4)
        if receiver:
            fix(writer, t, fix_type=0)
    return writer


def test_without_a_receiver_the_estimate_stands_in_and_says_so(recorded):
    log = recorded(estimates(receiver=False))
    gps = log["gps"]

    assert told(log, "estimated-quantity").severity == "degrade"
    assert gps["latitude_deg"].tolist() == [1.0] * 10
    assert gps["fix"].isna().all()
    assert gps["ground_speed_m_s"].iloc[-1] == 5.0
    assert gps["course_deg"].iloc[-1] == pytest.approx(math.degrees(math.atan2(4, 3)))
    assert gps["climb_m_s"].iloc[-1] == 2.0
    assert gps["ground_speed_m_s"].isna().sum() >= 4, "where the estimate is not valid"
    assert (
        next(s for s in log.receipt.columns if s.table == "gps").why == "the autopilot's estimate"
    )


def test_a_receiver_without_a_fix_is_not_replaced_by_an_estimate(recorded):
    log = recorded(estimates(receiver=True))

    assert log["gps"]["latitude_deg"].isna().all()
    assert "estimated-quantity" not in codes(log)


# --- attitude


def quaternion(roll: float, pitch: float, yaw: float) -> list[float]:
    """Compose three turns about x, y and z by Hamilton's product, step by step."""

    def times(a: list[float], b: list[float]) -> list[float]:
        return [
            a[0] * b[0] - a[1] * b[1] - a[2] * b[2] - a[3] * b[3],
            a[0] * b[1] + a[1] * b[0] + a[2] * b[3] - a[3] * b[2],
            a[0] * b[2] - a[1] * b[3] + a[2] * b[0] + a[3] * b[1],
            a[0] * b[3] + a[1] * b[2] - a[2] * b[1] + a[3] * b[0],
        ]

    about_x = [math.cos(roll / 2), math.sin(roll / 2), 0.0, 0.0]
    about_y = [math.cos(pitch / 2), 0.0, math.sin(pitch / 2), 0.0]
    about_z = [math.cos(yaw / 2), 0.0, 0.0, math.sin(yaw / 2)]
    return times(times(about_z, about_y), about_x)


@given(st.floats(-3.1, 3.1), st.floats(-1.5, 1.5), st.floats(-3.1, 3.1))
def test_angles_come_back_from_the_quaternion_that_they_make(roll, pitch, yaw):
    q = np.array(quaternion(roll, pitch, yaw))[:, None]

    assert euler(q)[:, 0] == pytest.approx([roll, pitch, yaw], abs=1e-9)


def test_attitude_is_positive_right_wing_down_nose_up_and_clockwise(recorded):
    writer = started("vehicle_attitude")
    half = math.sqrt(0.5)
    writer.row("vehicle_attitude", 1_000_000, half, half, 0.0, 0.0)
    writer.row("vehicle_attitude", 1_100_000, *quaternion(0.0, 0.1, 0.0))
    writer.row("vehicle_attitude", 1_200_000, half, 0.0, 0.0, half)
    writer.row("vehicle_attitude", 1_300_000, 0.0, 0.0, 0.0, 0.0)
    writer.row("vehicle_attitude", 1_400_000, NAN, 0.0, 0.0, 1.0)
    log = recorded(writer)
    attitude = log["attitude"]

    assert attitude["roll_rad"].iloc[0] == pytest.approx(math.pi / 2, abs=1e-6)
    assert attitude["pitch_rad"].iloc[1] == pytest.approx(0.1, abs=1e-6)
    assert attitude["yaw_rad"].iloc[2] == pytest.approx(math.pi / 2, abs=1e-6)
    assert len(attitude) == 3, "zeros and NaN are no rotation"
    assert log.receipt.dropped == {"attitude: quaternion of no unit length, or no number": 2}


# --- motion and air


def test_imu_of_the_fast_topic_and_an_accelerometer_that_is_not_there(recorded):
    writer = started("sensor_combined")
    for i in range(5):
        gone = 2**31 - 1 if i == 4 else 0
        writer.row("sensor_combined", 1_000_000 + 4000 * i, 0.5, 0.25, -0.5, 4000, gone, 1, 2, -9.5)
    imu = recorded(writer)["imu"]

    assert imu.iloc[1].tolist() == [1.004, 0, 0.5, 0.25, -0.5, 1.0, 2.0, -9.5]
    assert imu["accel_z_m_s2"].isna().tolist() == [False] * 4 + [True]


def test_imu_out_of_sums_over_time(recorded):
    writer = started("vehicle_imu").topic("vehicle_imu", 1)
    for i in range(3):
        t = 1_000_000 + 5000 * i
        writer.row("vehicle_imu", t, 0.005, 0.0, 0.0, 0.0, 0.0, -0.05, 5000, 5000)
        writer.row("vehicle_imu", t, 0.01, 0.0, 0.0, 0.0, 0.0, -0.1, 0, 10000, multi_id=1)
    imu = recorded(writer)["imu"]

    first = imu[imu["instance"] == 0]
    assert first["gyro_x_rad_s"].tolist() == pytest.approx([1.0] * 3)
    assert first["accel_z_m_s2"].tolist() == pytest.approx([-10.0] * 3)
    second = imu[imu["instance"] == 1]
    assert second["gyro_x_rad_s"].isna().all(), "a sum over no time is no rate"
    assert second["accel_z_m_s2"].tolist() == pytest.approx([-10.0] * 3)


def test_rows_stand_at_the_moment_of_sampling_where_it_is_stated(recorded):
    writer = started("vehicle_air_data")
    for i in range(12):
        t = 1_100_000 + 50_000 * i
        sampled = [t - 30_000, 0, t + 10][i % 3]
        writer.row("vehicle_air_data", t, sampled, 50.0, 0.0, 101_325.0)
    log = recorded(writer)
    baro = log["baro"]

    assert baro["time_s"].iloc[0] == pytest.approx(1.07)
    assert baro["time_s"].iloc[1] == pytest.approx(1.15)
    assert baro["time_s"].iloc[2] == pytest.approx(1.2)
    assert baro["height_m"].tolist() == [50.0] * 12
    assert baro["pressure_pa"].tolist() == [101_325.0] * 12
    assert baro["temperature_k"].isna().all(), "0 °C throughout is no sensor"
    assert "temperature_k" not in {s.column for s in log.receipt.columns}


@pytest.mark.parametrize(("logged", "unit"), [(900.0, "hPa"), (90_000.0, "Pa")])
def test_pressure_in_hectopascals_and_in_pascals_is_told_apart(recorded, logged, unit):
    writer = started("sensor_baro")
    for i in range(5):
        writer.row("sensor_baro", 1_000_000 + 100_000 * i, logged, 25.0)
    log = recorded(writer)
    source = next(s for s in log.receipt.columns if s.column == "pressure_pa")

    assert log["baro"]["pressure_pa"].tolist() == [90_000.0] * 5
    assert log["baro"]["height_m"].tolist() == [0.0] * 5
    assert log["baro"]["temperature_k"].tolist() == [298.15] * 5
    assert source.unit == unit
    assert "static pressure" in source.why


def test_barometer_inside_an_old_combined_topic_keeps_its_own_rate(recorded):
    writer = (
        Writer()
        .flags()
        .declare(
            "sensor_combined",
            "uint64_t timestamp;int32_t baro_timestamp_relative;float baro_alt_meter;"
            "float baro_temp_celcius",
        )
    )
    writer.topic("sensor_combined")
    for i in range(12):
        t = 1_000_000 + 4000 * i
        moment = 990_000 + 20_000 * (i // 4)
        relative = 2**31 - 1 if i == 11 else moment - t
        writer.row("sensor_combined", t, relative, 100.0 + i // 4, 20.0)
    baro = recorded(writer)["baro"]

    assert baro["time_s"].tolist() == pytest.approx([0.99, 1.01, 1.03])
    assert baro["height_m"].tolist() == [100.0, 101.0, 102.0]


def test_airspeed_keeps_its_sign_and_gets_its_differential_pressure(recorded):
    writer = started("airspeed", "differential_pressure")
    for i in range(10):
        writer.row("airspeed", 1_000_000 + 100_000 * i, -2.5)
        writer.row("differential_pressure", 1_020_000 + 100_000 * i, -4.0)
    log = recorded(writer)

    assert log["airspeed"]["airspeed_m_s"].tolist() == [-2.5] * 10
    assert log["airspeed"]["differential_pressure_pa"].tolist() == [-4.0] * 10
    assert "differential_pressure" not in log.receipt.unused


def test_pressures_of_more_sensors_than_airspeeds_are_not_guessed_together(recorded):
    writer = started("airspeed", "differential_pressure").topic("differential_pressure", 1)
    for i in range(10):
        writer.row("airspeed", 1_000_000 + 100_000 * i, 3.0)
        for multi_id in (0, 1):
            writer.row("differential_pressure", 1_000_000 + 100_000 * i, 6.0, multi_id=multi_id)
    log = recorded(writer)

    assert log["airspeed"]["differential_pressure_pa"].isna().all()
    assert any("which belong together is not known" in line for line in log.receipt.notes)


def test_an_airspeed_made_of_ground_speed_and_wind_is_no_measurement(recorded):
    writer = (
        Writer()
        .flags()
        .declare(
            "airspeed_validated",
            "uint64_t timestamp;float indicated_airspeed_m_s;int8_t selected_airspeed_index",
        )
    )
    writer.topic("airspeed_validated")
    for i in range(4):
        writer.row("airspeed_validated", 1_000_000 + i, 12.0, [1, 0, -1, 2][i])
    airspeed = recorded(writer)["airspeed"]["airspeed_m_s"]

    assert airspeed.isna().tolist() == [False, True, True, False]


# --- packs


def packs(*, current: float = 5.0, voltage: float = 24.0, cells: tuple[float, ...]) -> Writer:
    writer = started("battery_status").topic("battery_status", 1)
    for i in range(12):
        t = 1_000_000 + 100_000 * i
        writer.row("battery_status", t, voltage, current, 10.0 * i, 25.0, *cells)
        last = (0.0, -1.0) if i == 11 else (48.0, 7.0)
        writer.row("battery_status", t, *last, 20.0, NAN, 0.0, 0.0, 0.0, 0.0, multi_id=1)
    return writer


def test_two_packs_and_what_was_not_measured_of_them(recorded):
    log = recorded(packs(cells=(4.0, 4.1, 3.9, 0.0)))
    battery = log["battery"]
    first, second = (battery[battery["instance"] == i].reset_index() for i in (0, 1))

    assert first["voltage_v"].tolist() == [24.0] * 12
    assert first["current_a"].tolist() == [5.0] * 12
    assert first["charge_used_coulomb"].iloc[3] == pytest.approx(0.030 * 3600)
    assert first["temperature_k"].iloc[0] == 298.15
    assert first["cell_voltages"].iloc[0] == pytest.approx([4.0, 4.1, 3.9], abs=1e-6)
    assert second["voltage_v"].isna().tolist() == [False] * 11 + [True]
    assert second["current_a"].isna().tolist() == [False] * 11 + [True]
    assert second["temperature_k"].isna().all()
    assert second["cell_voltages"].tolist() == [None] * 12
    assert told(log, "values-missing").evidence == {
        "table": "battery", "voltage_v": 1, "current_a": 1,
    }  # fmt: skip


@pytest.mark.parametrize("current", [-1.0, 0.0])
def test_a_current_that_was_never_measured_takes_its_counter_along(recorded, current):
    log = recorded(packs(current=current, cells=(0.0, 0.0, 0.0, 0.0)))
    first = log["battery"][log["battery"]["instance"] == 0]

    assert first["current_a"].isna().all()
    assert first["charge_used_coulomb"].isna().all()
    assert first["voltage_v"].tolist() == [24.0] * 12
    assert told(log, "current-not-measured").evidence["topic"] == "battery_status"
    assert log.receipt.chosen_instances["battery"] == 1


def test_cells_that_are_the_total_divided_are_no_measurement(recorded):
    log = recorded(packs(cells=(4.0, 4.0, 4.0, 4.0)))

    assert log["battery"]["cell_voltages"].tolist() == [None] * 24
    assert any("total divided" in line for line in log.receipt.notes)


def test_a_pack_that_is_not_there_makes_no_rows(recorded):
    writer = started("battery_status").topic("battery_status", 1)
    for i in range(5):
        there = (24.0, 2.0, 0.0, NAN, 0, 0, 0, 0)
        absent = (0.0, -1.0, 0.0, NAN, 0, 0, 0, 0)
        writer.row("battery_status", 1_000_000 + i, *there)
        writer.row("battery_status", 1_000_000 + i, *absent, multi_id=1)
    log = recorded(writer)

    assert log["battery"]["instance"].unique().tolist() == [0]
    assert log.receipt.unused == ("battery_status.1",)


# --- channels


def test_outputs_are_pulses_and_other_units_are_left_out_with_a_finding(recorded):
    writer = started("actuator_outputs").topic("actuator_outputs", 1)
    for i in range(5):
        t = 1_000_000 + 20_000 * i
        writer.row("actuator_outputs", t, 3, 1500.0 + i, 0.0, 120.0 + 400 * i, 1500.0)
        writer.row("actuator_outputs", t, 4, 900.0, NAN, 0.25 * i - 0.5, 65535.0, multi_id=1)
    log = recorded(writer)
    outputs = log["outputs"]

    assert sorted(outputs["channel"].unique()) == [1, 17]
    assert outputs.loc[outputs["channel"] == 1, "pulse_us"].tolist() == [
        1500.0 + i for i in range(5)
    ]
    assert outputs.loc[outputs["channel"] == 17, "time_s"].iloc[1] == pytest.approx(1.02)
    kinds = {f.evidence["kind"] for f in log.findings if f.code == "pulse-unit"}
    assert kinds == {"commands from -1 to 1", "steps of a digital protocol (120 to 1720)"}
    assert (np.diff(outputs["time_s"]) >= 0).all()


def test_normalised_commands_alone_are_no_outputs(recorded):
    writer = started("actuator_motors")
    for i in range(5):
        writer.row("actuator_motors", 1_000_000 + i, 0.5, 0.5, NAN, NAN)
    log = recorded(writer)

    assert "outputs" not in log
    assert told(log, "pulse-unit").affects == ("surface.*",)


def test_inputs_stop_where_the_receiver_lost_the_transmitter(recorded):
    writer = started("input_rc")
    for i in range(6):
        writer.row(
            "input_rc", 1_000_000 + 20_000 * i, 80 if i else -1, 3, i > 3, 1500, 0, 65535, 1200
        )
    log = recorded(writer)

    assert log["inputs"]["channel"].tolist() == [1] * 4
    assert log["inputs"]["pulse_us"].tolist() == [1500.0] * 4
    assert log["link"]["rssi_raw"].isna().tolist() == [True] + [False] * 5
    assert log["link"]["rssi_raw"].iloc[1] == 80
    assert log.receipt.dropped == {"inputs: the receiver had lost the transmitter": 2}


def test_rotation_is_in_radians_a_second_without_its_sense(recorded):
    writer = started("esc_status")
    for i in range(5):
        writer.row("esc_status", 1_000_000 + i, 2, 0b10, 100, 0, 0, 0, 0, -3000, 0, 0, 0, 0)
    log = recorded(writer)

    assert log["rotation"]["instance"].tolist() == [1] * 5, "the first is not online"
    assert log["rotation"]["speed_rad_s"].iloc[0] == pytest.approx(3000 * 2 * math.pi / 60)


def test_supply_of_the_board(recorded):
    writer = started("system_power")
    for i in range(4):
        writer.row("system_power", 1_000_000 + 1000 * i, 5.0 if i else 0.0)
    supply = recorded(writer)["supply"]

    assert "instance" not in supply
    assert supply["board_voltage_v"].isna().tolist() == [True] + [False] * 3
    assert supply["servo_voltage_v"].isna().all()


# --- the receipt


def test_the_receipt_tells_where_every_column_came_from(recorded):
    writer = started("vehicle_gps_position", "mission")
    for i in range(5):
        fix(writer, 1_000_000 + 200_000 * i, i=i)
    writer.row("mission", 1_100_000, 2)
    receipt = recorded(writer).receipt
    sources = {(s.table, s.column): (s.source, s.unit) for s in receipt.columns}

    assert sources["gps", "latitude_deg"] == ("vehicle_gps_position.lat", "1e-7 deg")
    assert sources["gps", "climb_m_s"] == ("vehicle_gps_position.vel_d_m_s", "m/s")
    assert all(s.why for s in receipt.columns)
    assert receipt.unused == ("mission",)
    assert receipt.format == "ulog"
    assert "since boot" in receipt.clock
