"""Real ULog files: the values of the decoder itself, and what is wrong with each of them."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flightlog
from flightlog.importers import read
from flightlog.importers.registry import HEAD_BYTES, Match
from flightlog.importers.ulog import sniff
from flightlog.recording import Recording

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
pytestmark = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")

APPENDED = "ulog/sample_appended_multiple.ulg"
EARLY = "damaged/early_format.ulg"
EVENTS = "ulog/sample_px4_events.ulg"
PLAIN = "ulog/sample.ulg"
SMALL = "ulog/sample_log_small.ulg"
TAGGED = "ulog/sample_logging_tagged_and_default_params.ulg"
UNORDERED = "damaged/unordered_time.ulg"
ALL = [APPENDED, EARLY, EVENTS, PLAIN, SMALL, TAGGED, UNORDERED]


@cache
def ours(name: str) -> Recording:
    return read(Path(CORPUS, name))


@cache
def theirs(name: str) -> Any:
    from pyulog import ULog

    return ULog(str(Path(CORPUS, name)))


def topic(name: str, wanted: str, multi_id: int = 0) -> dict[str, Any]:
    return theirs(name).get_dataset(wanted, multi_id).data


def codes(name: str) -> set[str]:
    return {finding.code for finding in ours(name).findings}


def told(name: str, code: str):
    return next(finding for finding in ours(name).findings if finding.code == code)


@pytest.mark.parametrize("name", ALL)
def test_sniffed(name):
    assert sniff(Path(CORPUS, name).read_bytes()[:HEAD_BYTES]) is Match.YES


# --- values


@pytest.mark.parametrize("name", ALL)
def test_every_value_of_every_topic_is_the_decoders(name):
    raw = ours(name).raw
    names = set()
    for data in theirs(name).data_list:
        key = f"{data.name}.{data.multi_id}" if data.multi_id else data.name
        names.add(key)
        table = raw[key]
        assert len(table) == len(data.data["timestamp"])
        for field, values in data.data.items():
            column, bracket, index = field.rpartition("[")
            if not (bracket and index[:-1].isdigit() and index.endswith("]")):
                mine = table[field]
            elif table[column].dtype == object:
                # Characters are a text, up to the first zero.
                at = int(index[:-1])
                mine = np.array([ord(text[at : at + 1] or "\0") for text in table[column]], np.int8)
                ended = np.array([len(text) <= at for text in table[column]])
                values = np.where(ended, 0, values).astype(np.int8)
            else:
                mine = table[column][:, int(index[:-1])]
            assert mine.dtype == values.dtype
            np.testing.assert_array_equal(mine, values, err_msg=f"{key}.{field}")
    assert set(raw) - {"parameter_default"} == names


@pytest.mark.parametrize("name", ALL)
def test_parameters_are_the_decoders(name):
    log, table = theirs(name), ours(name)["parameters"]
    initial = dict(zip(table["name"], table["value"], strict=True))
    count = len(log.initial_parameters)
    changed = table.iloc[count:]

    assert dict(list(zip(table["name"], table["value"], strict=True))[:count]) == pytest.approx(
        log.initial_parameters, nan_ok=True
    )
    assert list(changed["name"]) == [name for _, name, _ in log.changed_parameters]
    assert list(changed["value"]) == [value for _, _, value in log.changed_parameters]
    assert len(initial) >= count


@pytest.mark.parametrize("name", [EVENTS, TAGGED])
def test_defaults_are_the_decoders(name):
    table = ours(name).raw["parameter_default"]
    for kind in (0, 1):
        rows = table["kind"] == kind
        mine = dict(zip(table["name"][rows], table["value"][rows], strict=True))
        assert mine == theirs(name).get_default_parameters(kind)


PLAIN_COLUMNS = [
    (SMALL, "gps", "vehicle_gps_position", {
        "latitude_deg": ("lat", 1e-7), "longitude_deg": ("lon", 1e-7), "hdop": ("hdop", 1),
        "altitude_msl_m": ("alt", 1e-3), "ground_speed_m_s": ("vel_m_s", 1),
        "climb_m_s": ("vel_d_m_s", -1), "satellites": ("satellites_used", 1),
        "fix": ("fix_type", 1), "horizontal_accuracy_m": ("eph", 1),
        "speed_accuracy_m_s": ("s_variance_m_s", 1), "time_utc": ("time_utc_usec", 1e-6),
    }),
    (SMALL, "baro", "vehicle_air_data", {
        "pressure_pa": ("baro_pressure_pa", 1), "height_m": ("baro_alt_meter", 1),
    }),
    (SMALL, "airspeed", "airspeed", {"airspeed_m_s": ("indicated_airspeed_m_s", 1)}),
    (EVENTS, "baro", "vehicle_air_data", {"pressure_pa": ("baro_pressure_pa", 1)}),
    *(
        (name, "imu", "sensor_combined", {
            "gyro_x_rad_s": ("gyro_rad[0]", 1), "gyro_y_rad_s": ("gyro_rad[1]", 1),
            "gyro_z_rad_s": ("gyro_rad[2]", 1), "accel_x_m_s2": ("accelerometer_m_s2[0]", 1),
            "accel_y_m_s2": ("accelerometer_m_s2[1]", 1),
            "accel_z_m_s2": ("accelerometer_m_s2[2]", 1),
        })
        for name in ALL
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "table", "source", "columns"), PLAIN_COLUMNS)
def test_mapped_columns_are_the_decoders_values_in_si_units(name, table, source, columns):
    mine, data = ours(name)[table], topic(name, source)

    assert len(mine) == len(data["timestamp"])
    for column, (field, factor) in columns.items():
        want = data[field].astype(np.float64) * factor
        np.testing.assert_allclose(mine[column], want, rtol=1e-14, err_msg=column)


@pytest.mark.parametrize("name", [SMALL, TAGGED, EARLY, PLAIN, UNORDERED, APPENDED])
def test_times_are_seconds_since_boot(name):
    want = topic(name, "sensor_combined")["timestamp"] / 1e6

    np.testing.assert_array_equal(ours(name)["imu"]["time_s"], want)


@pytest.mark.parametrize("name", [SMALL, EVENTS])
def test_the_quaternion_of_the_angles_is_the_one_of_the_file(name):
    attitude, data = ours(name)["attitude"], topic(name, "vehicle_attitude")
    half = {a: attitude[f"{a}_rad"].to_numpy() / 2 for a in ("roll", "pitch", "yaw")}
    cr, cp, cy = (np.cos(half[a]) for a in ("roll", "pitch", "yaw"))
    sr, sp, sy = (np.sin(half[a]) for a in ("roll", "pitch", "yaw"))
    back = [
        cr * cp * cy + sr * sp * sy, sr * cp * cy - cr * sp * sy,
        cr * sp * cy + sr * cp * sy, cr * cp * sy - sr * sp * cy,
    ]  # fmt: skip
    dot = sum(b * data[f"q[{i}]"].astype(np.float64) for i, b in enumerate(back))

    np.testing.assert_allclose(np.abs(dot), 1.0, atol=1e-6)


@pytest.mark.parametrize("multi_id", [0, 1])
def test_two_packs_keep_their_own_values(multi_id):
    battery = ours(SMALL)["battery"]
    mine = battery[battery["instance"] == multi_id]
    data = topic(SMALL, "battery_status", multi_id)

    np.testing.assert_array_equal(mine["voltage_v"], data["voltage_v"])
    np.testing.assert_array_equal(mine["current_a"], data["current_a"])
    np.testing.assert_allclose(mine["charge_used_coulomb"], data["discharged_mah"] * 3.6, rtol=1e-6)
    assert mine["cell_voltages"].tolist() == [None] * 21, "each is the total over the number"


@pytest.mark.parametrize("multi_id", [0, 1])
def test_outputs_are_the_decoders_channels(multi_id):
    outputs, data = ours(SMALL)["outputs"], topic(SMALL, "actuator_outputs", multi_id)
    for i in range(int(data["noutputs"][0])):
        mine = outputs.loc[outputs["channel"] == 16 * multi_id + i + 1, "pulse_us"]
        np.testing.assert_array_equal(mine, data[f"output[{i}]"])


# --- what is wrong with each


@pytest.mark.parametrize(
    ("name", "want"),
    [
        (APPENDED, {"autopilot-fault"}),
        (EARLY, {"truncated", "current-not-measured"}),
        (EVENTS, {"values-missing", "current-not-measured"}),
        (PLAIN, {"log-gap"}),
        (SMALL, {"clock-unbelievable", "log-gap"}),
        (TAGGED, {"values-missing", "current-not-measured"}),
        (UNORDERED, {"clock-backwards", "log-gap"}),
    ],
)
def test_the_findings_are_what_is_wrong_with_the_file(name, want):
    assert codes(name) == want


def test_the_duration_is_that_of_the_data_and_not_the_one_that_stamps_state():
    recording = ours(SMALL)

    assert theirs(SMALL).last_timestamp / 1e6 > 1194
    assert recording.receipt.duration_s == pytest.approx(6.6, abs=0.1)
    assert "mission" in told(SMALL, "clock-unbelievable").message


def test_negative_airspeed_stays_as_it_is():
    airspeed = ours(SMALL)["airspeed"]["airspeed_m_s"]

    assert airspeed.max() < 0
    assert airspeed.min() == pytest.approx(-3.57, abs=0.01)


def test_false_takeoff_and_landing_texts_are_kept_as_texts_only():
    messages = ours(SMALL)["messages"]

    texts = [text.split("] ")[1] for text in messages["text"]]
    assert texts == ["Takeoff detected", "Landing detected", "Disarmed by landing"]
    assert np.diff(messages["time_s"])[0] == pytest.approx(1.144, abs=0.001)
    assert flightlog.debrief(ours(SMALL)).sorties == ()


def test_appended_sections_hold_a_crash_report():
    assert told(APPENDED, "autopilot-fault").evidence["parts"] == 3
    assert any("3 sections were appended" in line for line in ours(APPENDED).receipt.notes)


def test_stamps_since_1970_count_from_the_first_row():
    receipt = ours(EVENTS).receipt
    stamps = np.concatenate([data.data["timestamp"] for data in theirs(EVENTS).data_list])
    first = stamps[stamps > 0].min()

    assert receipt.time_origin == "first row"
    assert receipt.duration_s == pytest.approx(31.4, abs=0.1)
    assert receipt.utc.offset_s == pytest.approx(first / 1e6, abs=0.5)
    assert 0 < receipt.utc.std_s <= 1
    stamp = topic(EVENTS, "sensor_combined")["timestamp"].astype(np.float64)
    np.testing.assert_allclose(
        ours(EVENTS)["imu"]["time_s"], (stamp - float(first)) / 1e6, atol=1e-6
    )


@pytest.mark.parametrize("name", [SMALL, TAGGED])
def test_utc_is_known_by_the_receiver(name):
    receipt, data = ours(name).receipt, topic(name, "vehicle_gps_position")
    known = data["fix_type"] >= 3
    difference = (data["time_utc_usec"].astype(np.float64) - data["timestamp"]) / 1e6

    assert receipt.utc.offset_s == pytest.approx(np.median(difference[known]), abs=0.001)
    assert "time_utc_usec" in receipt.utc.source


def test_the_rewritten_file_tells_the_same_as_the_one_it_was_made_of():
    before, after = ours(PLAIN), ours(UNORDERED)

    assert set(before) == set(after)
    for name in set(before) - {"parameters"}:
        assert before[name].equals(after[name]), name
    assert after.receipt.seams == ()
    assert any("actuator_controls_0 (1)" in finding.message for finding in after.findings)


def test_dropouts_are_those_of_the_decoder():
    gap = told(PLAIN, "log-gap")
    lengths = [dropout.duration / 1e3 for dropout in theirs(PLAIN).dropouts]
    times = [dropout.timestamp / 1e6 for dropout in theirs(PLAIN).dropouts]

    assert gap.evidence["total_s"] == pytest.approx(sum(lengths))
    assert gap.evidence["longest_s"] == max(lengths)
    assert gap.start_s == pytest.approx(times[lengths.index(max(lengths))], abs=1e-6)


def test_modes_and_arming_of_the_simulated_hop():
    recording = ours(EVENTS)
    data = topic(EVENTS, "actuator_armed")

    assert recording["arming"]["armed"].tolist() == [0.0, 1.0, 0.0]
    on = data["timestamp"][np.flatnonzero(data["armed"])[0]]
    off = data["timestamp"][np.flatnonzero(data["armed"])[-1] + 1]
    assert np.diff(recording["arming"]["time_s"])[1] == pytest.approx((off - on) / 1e6, abs=1e-6)
    assert recording["modes"]["mode"].tolist() == [
        "AUTO_LOITER", "AUTO_TAKEOFF", "AUTO_LOITER", "AUTO_RTL", "AUTO_LOITER",
    ]  # fmt: skip


def test_tagged_texts_stand_among_the_others():
    texts = ours(TAGGED)["messages"]["text"].tolist()

    assert texts.count("tagged message test") == 3
    assert len(texts) == 4 + 3


def test_the_early_format_has_its_barometer_in_the_combined_topic():
    baro, data = ours(EARLY)["baro"], topic(EARLY, "sensor_combined")
    moments = np.unique(data["timestamp"].astype(np.int64) + data["baro_timestamp_relative"])

    assert len(baro) == len(moments)
    np.testing.assert_allclose(baro["time_s"], moments / 1e6)
    assert baro["height_m"].max() == data["baro_alt_meter"].max()


@pytest.mark.parametrize("name", ALL)
def test_no_runway_takeoff_is_claimed(name):
    """None of them is an aeroplane that flew: a parked one, multicopters, and bench tests."""
    for sortie in flightlog.debrief(ours(name)).sorties:
        assert "takeoff.ground_roll" not in sortie.figures, name


def test_the_climbing_multicopter_of_the_early_format_ends_in_the_air():
    sorties = flightlog.debrief(ours(EARLY)).sorties

    # What such a log is too slow to show is told as well, by tests of its own.
    assert [{f.code for f in sortie.findings} - {"not-excluded"} for sortie in sorties] == [
        {"vertical-launch", "ends-in-air"}
    ]
