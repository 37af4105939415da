"""Telemetry files written with pymavlink, read with ours; the values asked for are those put in."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pymavlink.dialects.v20 import all as dialect

from flightlog.errors import LogFileError
from flightlog.importers.mavlink_frames import definitions, find_frames
from flightlog.importers.mavlink_telemetry import load, sniff
from flightlog.importers.registry import Match
from flightlog.recording import Recording

START_US = 1_800_000_000_000_000
AIRCRAFT, GROUND, RADIO = (1, 1), (255, 190), (51, 68)
FIXED_WING, GROUND_STATION = 1, 6
ARDUPILOT, PX4, NO_AUTOPILOT = 3, 12, 8


class Tape:
    """Writes records as a ground station does: time of arrival, then the frame."""

    def __init__(self, version: int = 2, start_us: int = START_US) -> None:
        self.parts: list[bytes] = []
        self.version = version
        self.start_us = start_us
        self._encoders: dict[tuple[int, int], Any] = {}

    def add(
        self, arrival_s: float, name: str, sender: tuple[int, int] = AIRCRAFT, **f: Any
    ) -> None:
        message = getattr(dialect, f"MAVLink_{name.lower()}_message")(**f)
        encoder = self._encoders.setdefault(sender, dialect.MAVLink(None, *sender))
        frame = message.pack(encoder, force_mavlink1=self.version == 1)
        encoder.seq = (encoder.seq + 1) % 256
        self.parts.append(struct.pack(">Q", self.start_us + round(arrival_s * 1e6)) + frame)

    def raw(self, content: bytes) -> None:
        self.parts.append(content)

    @property
    def content(self) -> bytes:
        return b"".join(self.parts)


def heartbeat(tape: Tape, at: float, *, armed: bool = False, mode: int = 0, **more: Any) -> None:
    fields = {"type": FIXED_WING, "autopilot": ARDUPILOT, "system_status": 4, "mavlink_version": 3}
    tape.add(at, "HEARTBEAT", base_mode=128 if armed else 0, custom_mode=mode, **{**fields, **more})


def attitude(tape: Tape, at: float, boot_s: float, roll: float = 0.0) -> None:
    rates = {"rollspeed": 0.0, "pitchspeed": 0.0, "yawspeed": 0.0}
    boot_ms = round(boot_s * 1e3)
    tape.add(at, "ATTITUDE", time_boot_ms=boot_ms, roll=roll, pitch=0.1, yaw=-1.5, **rates)


def fix(tape: Tape, at: float, fix_s: float, name: str = "GPS_RAW_INT", **more: Any) -> None:
    fields = {
        "fix_type": 3, "lat": 100_000_000, "lon": 200_000_000, "alt": 50_000, "eph": 120,
        "epv": 200, "vel": 1234, "cog": 9000, "satellites_visible": 11,
    }  # fmt: skip
    tape.add(at, name, time_usec=round(fix_s * 1e6), **{**fields, **more})


def read(tmp_path: Path, tape: Tape | bytes) -> Recording:
    path = tmp_path / "a.tlog"
    path.write_bytes(tape if isinstance(tape, bytes) else tape.content)
    return load(path)


def codes(recording: Recording) -> list[str]:
    return [f.code for f in recording.findings]


def short_flight(version: int = 2) -> Tape:
    """Ten seconds on the boot clock from 100 s on, arriving 0.05 s late."""
    tape = Tape(version)
    for step in range(50):
        boot = 100.0 + 0.2 * step
        at = boot - 100.0 + 0.05
        attitude(tape, at, boot, roll=0.01 * step)
        fix(tape, at + 0.001, boot - 0.1, lat=100_000_000 + step)
        if step % 5 == 0:
            heartbeat(tape, at + 0.002, armed=step >= 20, mode=10 if step >= 30 else 0)
    return tape


@pytest.mark.parametrize("version", [1, 2])
def test_both_protocol_versions_give_what_was_put_in(tmp_path: Path, version: int) -> None:
    recording = read(tmp_path, short_flight(version))
    gps, attitude_ = recording["gps"], recording["attitude"]
    np.testing.assert_allclose(attitude_["time_s"], 100.0 + 0.2 * np.arange(50))
    np.testing.assert_allclose(attitude_["roll_rad"], 0.01 * np.arange(50), atol=1e-7)
    np.testing.assert_allclose(gps["time_s"], 99.9 + 0.2 * np.arange(50))
    np.testing.assert_allclose(gps["latitude_deg"], 10.0 + 1e-7 * np.arange(50), rtol=0, atol=1e-12)
    assert gps["ground_speed_m_s"].unique().tolist() == [12.34]
    assert gps["course_deg"].unique().tolist() == [90.0]
    assert gps["hdop"].unique().tolist() == [1.2]
    assert recording.receipt.time_origin == "boot"
    assert "damaged-bytes" not in codes(recording)


def test_modes_and_arming_are_told_at_their_changes(tmp_path: Path) -> None:
    recording = read(tmp_path, short_flight())
    assert recording["modes"]["mode"].tolist() == ["MANUAL", "AUTO"]
    assert recording["arming"]["armed"].tolist() == [0, 1]
    # The heartbeat has no boot stamp: placed between the messages around it.
    assert recording["arming"]["time_s"].tolist() == pytest.approx([100.002, 104.002], abs=0.002)


def test_signed_frames_and_longer_payloads_are_read() -> None:
    known = definitions()
    message = dialect.MAVLink_attitude_message(5, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    encoder = dialect.MAVLink(None, *AIRCRAFT)
    encoder.signing.secret_key = bytes(32)
    encoder.signing.sign_outgoing = True
    signed = message.pack(encoder)
    longer = _frame(30, bytes(4) + struct.pack("<6f", 2, 0, 0, 0, 0, 0) + b"\x07" * 8)
    content = b"".join(struct.pack(">Q", START_US) + f for f in (signed, longer))
    frames = find_frames(np.frombuffer(content, np.uint8), known)
    assert len(frames) == 2
    assert frames.damaged_bytes == 0


def _frame(
    message_id: int, payload: bytes, *, flags: int = 0, crc_extra: int | None = None
) -> bytes:
    head = struct.pack("<BBBBBBB", len(payload), flags, 0, 0, 1, 1, message_id & 255)
    body = head + struct.pack("<H", message_id >> 8) + payload
    extra = dialect.mavlink_map[message_id].crc_extra if crc_extra is None else crc_extra
    crc = dialect.x25crc(body + bytes([extra])).crc
    return b"\xfd" + body + struct.pack("<H", crc)


def test_unknown_ids_are_skipped_and_counted(tmp_path: Path) -> None:
    tape = Tape()
    attitude(tape, 0.0, 10.0)
    for _ in range(3):
        tape.raw(struct.pack(">Q", START_US) + _frame(65000, b"\x01\x02\x03", crc_extra=77))
    attitude(tape, 0.2, 10.2)
    recording = read(tmp_path, tape)
    assert len(recording["attitude"]) == 2
    finding = next(f for f in recording.findings if f.code == "unknown-messages")
    assert finding.evidence["messages"] == 3
    assert "65000" in finding.message
    assert "damaged-bytes" not in codes(recording)


def test_damage_costs_the_messages_it_hits_and_no_more(tmp_path: Path) -> None:
    tape = short_flight()
    whole = read(tmp_path, tape)
    tape.parts[20] = tape.parts[20][:-3]
    tape.parts[40] = b"\xfe\xfd\x00" * 20 + tape.parts[40]
    recording = read(tmp_path, tape)
    before = sum(whole.receipt.message_counts.values())
    assert sum(recording.receipt.message_counts.values()) == before - 1
    finding = next(f for f in recording.findings if f.code == "damaged-bytes")
    assert finding.evidence["runs"] == 2
    assert finding.evidence["bytes"] == len(tape.parts[20]) + 60


def test_file_cut_in_a_record(tmp_path: Path) -> None:
    tape = short_flight()
    recording = read(tmp_path, tape.content[:-5])
    assert "truncated" in codes(recording)
    assert "damaged-bytes" not in codes(recording)
    assert len(recording["gps"]) + len(recording["attitude"]) == 99


def test_aircraft_is_chosen_among_several_senders(tmp_path: Path) -> None:
    tape = short_flight()
    for second in range(200):
        at = 0.05 * second
        heartbeat(tape, at, type=GROUND_STATION, autopilot=ARDUPILOT, sender=GROUND)
    tape.add(
        3.0, "RADIO_STATUS", sender=RADIO,
        rssi=180, remrssi=170, txbuf=99, noise=40, remnoise=50, rxerrors=0, fixed=0,
    )  # fmt: skip
    recording = read(tmp_path, tape)
    finding = next(f for f in recording.findings if f.code == "several-systems")
    assert finding.evidence["system"] == 1
    assert "system 255 component 190 (ground station, 200)" in finding.message
    assert "system 51 component 68 (radio, 1)" in finding.message
    assert recording["link"]["rssi_raw"].dropna().tolist() == [180.0]
    assert len(recording.raw["HEARTBEAT"]) == 10
    assert len(recording.raw["SYS255:190/HEARTBEAT"]) == 200


def test_repeated_fixes_are_dropped_and_missing_ones_counted(tmp_path: Path) -> None:
    tape = Tape()
    for step in range(100):
        attitude(tape, 0.2 * step, 10 + 0.2 * step)
        newest = step - step % 10 % 2 if step % 10 < 4 else step  # some come twice
        if step % 10 != 7:
            fix(tape, 0.2 * step, 10 + 0.2 * newest, lon=200_000_000 + newest)
    recording = read(tmp_path, tape)
    stamps = recording.raw["GPS_RAW_INT"]["time_usec"]
    assert len(recording["gps"]) == len(np.unique(stamps)) == 70
    assert recording.receipt.dropped["repeated fix"] == 20
    missing = next(f for f in recording.findings if f.code == "missing-fixes")
    assert missing.evidence["missing"] == 30
    assert missing.evidence["fix_rate_hz"] == pytest.approx(5.0)


def test_sentinels_become_missing(tmp_path: Path) -> None:
    tape = Tape()
    none = {"fix_type": 1, "lat": 5, "lon": 5, "eph": 9999, "vel": 65535, "cog": 65535}
    for step in range(5):
        attitude(tape, step, 10 + step)
        fix(tape, step, 0, **none)
        power(tape, step, voltage=0 if step == 0 else 23_500, current=-1)
    fix(tape, 5, 15, eph=65535, cog=65535)
    recording = read(tmp_path, tape)
    gps, battery = recording["gps"], recording["battery"]
    assert gps["latitude_deg"].isna().tolist() == [True] * 5 + [False]
    assert gps["hdop"].isna().all()
    assert battery["voltage_v"].unique().tolist() == [23.5]
    assert battery["current_a"].isna().all()
    assert {"current-not-measured", "values-missing"} <= set(codes(recording))


def power(tape: Tape, at: float, voltage: int, current: int) -> None:
    zero = dict.fromkeys(
        "load drop_rate_comm errors_comm errors_count1 errors_count2 errors_count3 errors_count4 "
        "onboard_control_sensors_enabled onboard_control_sensors_health".split(),
        0,
    )
    tape.add(
        at, "SYS_STATUS", voltage_battery=voltage, current_battery=current, battery_remaining=-1,
        onboard_control_sensors_present=0x10, **zero,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("voltages", "total", "cells"),
    [
        ([24_000] + [65535] * 9, 24.0, None),
        ([4_100, 4_000, 4_050] + [65535] * 7, 12.15, [4.1, 4.0, 4.05]),
        ([65_534, 4_466] + [65535] * 8, 70.0, None),
    ],
)
def test_battery_cells(
    tmp_path: Path, voltages: list[int], total: float, cells: list[float] | None
) -> None:
    tape = Tape()
    for step in range(3):
        attitude(tape, step, 10 + step)
        tape.add(
            step, "BATTERY_STATUS", id=0, battery_function=0, type=1, temperature=2_500,
            voltages=voltages, current_battery=1_250, current_consumed=1_000,
            energy_consumed=36, battery_remaining=50,
        )  # fmt: skip
    row = read(tmp_path, tape)["battery"].iloc[1]
    assert row["voltage_v"] == pytest.approx(total)
    assert row["current_a"] == 12.5
    assert row["charge_used_coulomb"] == pytest.approx(3600.0)  # 1000 mAh
    assert row["energy_used_j"] == pytest.approx(3600.0)  # 36 hJ
    assert row["temperature_k"] == pytest.approx(298.15)
    assert row["cell_voltages"] == (pytest.approx(cells) if cells else None)


def test_units_of_the_other_sensors(tmp_path: Path) -> None:
    tape = Tape()
    for step in range(4):
        boot = 10_000 + 1000 * step
        heartbeat(tape, step)
        attitude(tape, step, boot / 1e3)
        axes = {"xacc": 10, "yacc": -20, "zacc": -1000, "xgyro": 500, "ygyro": 0, "zgyro": -1}
        tape.add(step, "RAW_IMU", time_usec=boot * 1000 + 7, xmag=0, ymag=0, zmag=0, **axes)
        still = dict.fromkeys(axes, 0)
        tape.add(step, "SCALED_IMU3", time_boot_ms=boot, xmag=0, ymag=0, zmag=0, **still)
        press = 1013.25 if step == 0 else 1001.29
        tape.add(
            step, "SCALED_PRESSURE",
            time_boot_ms=boot, press_abs=press, press_diff=0.0, temperature=2500,
        )  # fmt: skip
    recording = read(tmp_path, tape)
    imu, baro = recording["imu"], recording["baro"]
    assert imu["instance"].unique().tolist() == [0]  # the third sensor gives nothing at all
    assert imu["time_s"].tolist() == pytest.approx([10.000007, 11.000007, 12.000007, 13.000007])
    np.testing.assert_allclose(imu["accel_z_m_s2"], -9.80665)
    np.testing.assert_allclose(imu["gyro_x_rad_s"], 0.5)
    np.testing.assert_allclose(baro["pressure_pa"], [101325] + [100129] * 3, rtol=1e-7)
    # ICAO standard atmosphere, Doc 7488: 100 m at 1001.29 hPa.
    np.testing.assert_allclose(baro["height_m"], [0, 100, 100, 100], atol=0.05)
    np.testing.assert_allclose(baro["temperature_k"], 298.15)


def test_channels_by_port_and_version(tmp_path: Path) -> None:
    for version, second_port in ((1, 9), (2, 17)):
        tape = Tape(version)
        for step in range(3):
            attitude(tape, step, 10 + step)
            for port in (0, 1):
                pulses = {f"servo{n}_raw": 0 for n in range(1, 9)}
                pulses["servo1_raw"] = 1100 + port
                if step:
                    pulses["servo3_raw"] = 1500
                tape.add(
                    step, "SERVO_OUTPUT_RAW", time_usec=(10 + step) * 10**6, port=port, **pulses
                )
        outputs = read(tmp_path, tape)["outputs"]
        shown = outputs.groupby("channel")["pulse_us"].apply(list).to_dict()
        assert set(shown) == {1, 3, second_port, second_port + 2}
        assert shown[second_port] == [1101.0] * 3
        np.testing.assert_array_equal(shown[3], [np.nan, 1500.0, 1500.0])


def test_climb_is_an_estimate_and_says_so(tmp_path: Path) -> None:
    tape = short_flight()
    for step in range(50):
        zero = dict.fromkeys("lat lon alt relative_alt vx vy hdg".split(), 0)
        tape.add(
            0.2 * step, "GLOBAL_POSITION_INT", time_boot_ms=100_000 + 200 * step, vz=-150, **zero
        )
    tape.parts.sort(key=lambda part: part[:8])
    recording = read(tmp_path, tape)
    np.testing.assert_allclose(recording["gps"]["climb_m_s"], 1.5)
    assert "estimated-quantity" in codes(recording)
    assert any("GLOBAL_POSITION_INT.vz" in line for line in recording.receipt.notes)
    assert read(tmp_path, short_flight())["gps"]["climb_m_s"].isna().all()


def test_position_estimate_stands_in_for_the_receiver(tmp_path: Path) -> None:
    tape = Tape()
    for step in range(10):
        tape.add(
            step, "GLOBAL_POSITION_INT", time_boot_ms=10_000 + 1000 * step, lat=100_000_000,
            lon=200_000_000, alt=12_345, relative_alt=0, vx=300, vy=-400, vz=50, hdg=0,
        )  # fmt: skip
    recording = read(tmp_path, tape)
    row = recording["gps"].iloc[0]
    assert row["ground_speed_m_s"] == 5.0
    assert row["course_deg"] == pytest.approx(306.8699, abs=1e-4)
    assert row["climb_m_s"] == -0.5
    finding = next(f for f in recording.findings if f.code == "estimated-quantity")
    assert finding.severity == "degrade"


def test_long_texts_are_joined_and_control_codes_go(tmp_path: Path) -> None:
    tape = Tape()
    attitude(tape, 0.0, 10.0)
    long = "x" * 50 + "y" * 50 + "end"
    for part in range(3):
        text = long[50 * part : 50 * part + 50].encode()
        tape.add(1.0, "STATUSTEXT", severity=4, text=text, id=7, chunk_seq=part)
    tape.add(2.0, "STATUSTEXT", severity=6, text=b"Plane V4.5.1 (abc)\x1b[31m", id=0, chunk_seq=0)
    attitude(tape, 3.0, 13.0)
    recording = read(tmp_path, tape)
    assert recording["messages"]["text"].tolist() == [long, "Plane V4.5.1 (abc)"]
    assert recording.receipt.firmware == "Plane V4.5.1 (abc)"


def test_integer_parameters_sent_as_bytes(tmp_path: Path) -> None:
    tape = Tape()
    as_bytes = struct.unpack("<f", struct.pack("<i", -42))[0]
    heartbeat(tape, 0.0, autopilot=PX4)
    attitude(tape, 0.0, 1.0)
    for kind, value in ((6, as_bytes), (9, 2.5)):
        tape.add(
            0.1, "PARAM_VALUE",
            param_id=b"SOME_NAME", param_value=value, param_type=kind, param_count=2, param_index=0,
        )  # fmt: skip
    assert read(tmp_path, tape)["parameters"]["value"].tolist() == [-42.0, 2.5]


def test_rotation_of_motors_that_report(tmp_path: Path) -> None:
    tape = Tape()
    zero = [0, 0, 0, 0]
    for step in range(3):
        attitude(tape, step, 10 + step)
        tape.add(
            step, "ESC_TELEMETRY_1_TO_4", temperature=zero, voltage=zero, current=zero,
            totalcurrent=zero, rpm=[0, 0, 6000, 0], count=[0, 0, 5 + step, 0],
        )  # fmt: skip
    rotation = read(tmp_path, tape)["rotation"]
    assert rotation["instance"].unique().tolist() == [2]
    np.testing.assert_allclose(rotation["speed_rad_s"], 200 * np.pi)


def test_supply_of_board_and_servos(tmp_path: Path) -> None:
    tape = Tape()
    for step, servo in enumerate((6500, 65535, 4700)):
        attitude(tape, step, 10 + step)
        tape.add(step, "POWER_STATUS", Vcc=5025, Vservo=servo, flags=0)
    supply = read(tmp_path, tape)["supply"]
    assert "instance" not in supply
    np.testing.assert_allclose(supply["board_voltage_v"], 5.025)
    np.testing.assert_allclose(supply["servo_voltage_v"], [6.5, np.nan, 4.7])


def test_airspeed_without_a_sensor_is_left_out(tmp_path: Path) -> None:
    def flight(present: int) -> Recording:
        tape = Tape()
        for step in range(3):
            attitude(tape, step, 10 + step)
            fields = {"groundspeed": 0.0, "heading": 0, "throttle": 0, "alt": 0.0, "climb": 0.0}
            tape.add(step, "VFR_HUD", airspeed=15.0, **fields)
            power(tape, step, 24_000, 100)
        sensors = struct.pack("<I", 0x10)
        content = tape.content
        if not present:
            tape.parts = [p for p in tape.parts if sensors not in p[:24]]
            content = tape.content
            for step in range(3):
                plain = Tape()
                zero = dialect.MAVLink_sys_status_message(*([0] * 13))
                plain.raw(
                    struct.pack(">Q", START_US + step) + zero.pack(dialect.MAVLink(None, 1, 1))
                )
                content += plain.content
        return read(tmp_path, content)

    assert flight(1)["airspeed"]["airspeed_m_s"].tolist() == [15.0] * 3
    assert "airspeed" not in flight(0)


def test_share_of_packets_that_arrived(tmp_path: Path) -> None:
    tape = Tape()
    for step in range(400):
        attitude(tape, 0.05 * step, 10 + 0.05 * step)
    del tape.parts[3::4]
    quality = read(tmp_path, tape)["link"]["quality_pct"]
    np.testing.assert_allclose(quality, 75.0, atol=2.0)


def test_sniff() -> None:
    content = short_flight(1).content
    assert sniff(content) is Match.YES
    assert sniff(short_flight(2).content[:65536]) is Match.YES
    assert sniff(b"\x12\x34\x56" + content) is Match.MAYBE
    assert sniff(b"") is Match.NO
    assert sniff(bytes(1000)) is Match.NO
    assert sniff(b"\xa3\x95\x80\x80" * 500) is Match.NO


def test_nothing_of_use_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(LogFileError, match="no MAVLink message with a valid checksum"):
        read(tmp_path, bytes(500))


def test_progress_rises_and_an_interrupt_passes(tmp_path: Path) -> None:
    path = tmp_path / "a.tlog"
    path.write_bytes(short_flight().content)
    seen: list[float] = []
    load(path, lambda fraction, text: seen.append(fraction))
    assert seen == sorted(seen)
    assert seen[0] == 0.0
    assert seen[-1] == 1.0
    calls: Iterator[int] = count()

    def stop(fraction: float, text: str) -> None:
        if next(calls) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        load(path, stop)


def test_reading_leaves_the_environment_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.tlog"
    path.write_bytes(short_flight().content)
    script = (
        "import sys, os, pathlib\n"
        "import flightlog, flightlog.importers.mavlink_telemetry as m\n"
        "assert not any('pymavlink' in n or n == 'pandas' for n in sys.modules)\n"
        "before = dict(os.environ)\n"
        "m.load(pathlib.Path(sys.argv[1]))\n"
        "assert dict(os.environ) == before\n"
    )
    environment = {k: v for k, v in os.environ.items() if not k.startswith("MAVLINK")}
    subprocess.run([sys.executable, "-c", script, str(path)], check=True, env=environment)


def test_the_receipt_says_which_clock_it_is_and_where_each_column_came_from(tmp_path):
    receipt = read(tmp_path, short_flight()).receipt
    sources = {f"{c.table}.{c.column}": c.source for c in receipt.columns}

    assert receipt.clock.startswith("the aircraft's boot clock")
    assert sources["attitude.roll_rad"] == "ATTITUDE.roll"
    assert sources["gps.latitude_deg"] == "GPS_RAW_INT.lat"
    assert "gps.horizontal_accuracy_m" not in sources  # the file never held one


def test_without_any_boot_time_the_clock_is_that_of_arrival(tmp_path):
    tape = Tape()
    for step in range(20):
        heartbeat(tape, 0.5 * step)

    assert read(tmp_path, tape).receipt.clock.startswith("times of arrival")
