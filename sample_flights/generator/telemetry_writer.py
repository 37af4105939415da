"""Writes sensor tables as a telemetry log: packets as a ground station receives and stamps them.

Each packet is preceded by its time of arrival on the ground, eight bytes, big-endian
microseconds of Unix time. The link's own faults are part of the sample: packets are lost, and
position is sampled, so that fixes are missing or come twice.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

Row = dict[str, float]
GROUND_CLOCK_LATE = 3.4  # s, the laptop's clock against true time
AUTOPILOT, RADIO = 1, 51  # system numbers
SENSORS = 0b111011  # gyro, accelerometer, static and differential pressure, position


def write_telemetry(
    path: Path,
    tables: Mapping[str, pd.DataFrame],
    *,
    utc_at_boot: float,
    seed: int,
    messages: list[tuple[float, str]] = (),  # type: ignore[assignment]
) -> None:
    """Write sensor tables as a telemetry log (MAVLink 2).

    Parameters
    ----------
    path : Path
        File to write; replaced if there.
    tables : mapping of str to DataFrame
        As `sensors` makes them; ``inputs`` and ``link`` too.
    utc_at_boot : float
        Unix time when the log's clock was zero. [s]
    seed : int
        Of the link's losses and delays.
    messages : list of (float, str)
        Log time [s] and text.
    """
    from pymavlink.dialects.v20 import common

    rng = np.random.default_rng(seed)
    aircraft = common.MAVLink(None, srcSystem=AUTOPILOT, srcComponent=1)
    radio = common.MAVLink(None, srcSystem=RADIO, srcComponent=68)
    packets = sorted(_stream(tables, utc_at_boot, messages, common, rng), key=lambda x: x[0])
    out = []
    for when, from_radio, message in packets:
        sender = radio if from_radio else aircraft
        packed = message.pack(sender)
        sender.seq = (sender.seq + 1) % 256
        if rng.random() < 0.012:
            continue
        arrived = utc_at_boot + GROUND_CLOCK_LATE + when + 0.03 + rng.exponential(0.008)
        out.append((round(arrived * 1e6), packed))
    out.sort(key=lambda x: x[0])
    path.write_bytes(b"".join(struct.pack(">Q", stamp) + packed for stamp, packed in out))


def _stream(
    tables: Mapping[str, pd.DataFrame],
    utc_at_boot: float,
    messages: list[tuple[float, str]],
    common: Any,
    rng: np.random.Generator,
) -> Iterator[tuple[float, bool, Any]]:
    """Every packet as (log time, from the radio?, message)."""
    start = float(tables["gps"]["time_s"].iloc[0])
    end = float(tables["gps"]["time_s"].iloc[-1])
    arming = tables["arming"]
    look = {name: _Latest(table) for name, table in tables.items() if name != "arming"}
    makers: list[tuple[float, bool, Callable[[float], Any]]] = [
        (1.0, False, lambda t: _heartbeat(common, t, arming)),
        (1.0, False, lambda t: common.MAVLink_system_time_message(
            int((utc_at_boot + t) * 1e6), int(t * 1e3))),
        (5.0, False, lambda t: _gps_raw(common, look["gps"](t))),
        (5.0, False, lambda t: _position(common, t, look)),
        (10.0, False, lambda t: _attitude(common, look["attitude"](t))),
        (20.0, False, lambda t: _imu(common, look["imu"](t))),
        (5.0, False, lambda t: _pressure(common, look["baro"](t), look["airspeed"](t))),
        (5.0, False, lambda t: _head_up(common, t, look)),
        (2.0, False, lambda t: _status(common, look["battery"](t))),
        (5.0, False, lambda t: _battery(common, look["battery"](t))),
        (5.0, False, lambda t: _servos(common, t, look["outputs"])),
        (2.0, False, lambda t: _sticks(common, t, look["inputs"])),
        (1.0, True, lambda t: _radio(common, look["link"](t))),
    ]  # fmt: skip
    for rate, from_radio, make in makers:
        offset = rng.uniform(0.0, 1.0 / rate)
        for t in np.arange(start + 0.3 + offset, end, 1.0 / rate):
            moment = float(t + rng.uniform(0.0, 0.4 / rate))  # the link is shared
            yield moment, from_radio, make(moment)
    for t, text in messages:
        yield t, False, common.MAVLink_statustext_message(6, text.encode("ascii")[:50])


class _Latest:
    """The newest row of a table at a time; for channel tables the newest of each channel."""

    def __init__(self, table: pd.DataFrame) -> None:
        if "channel" in table:
            table = table.pivot_table(index="time_s", columns="channel", values="pulse_us")
            table = table.reset_index()
        self._names = [str(name) for name in table.columns]
        self._values = table.to_numpy(dtype=float)

    def __call__(self, t: float) -> Row:
        i = max(int(np.searchsorted(self._values[:, 0], t, side="right")) - 1, 0)
        return dict(zip(self._names, self._values[i].tolist(), strict=True))


def _heartbeat(common: Any, t: float, arming: pd.DataFrame) -> Any:
    so_far = arming[arming["time_s"] <= t]["armed"]
    armed = bool(len(so_far)) and bool(so_far.iloc[-1])
    mode = 81 | (128 if armed else 0)
    return common.MAVLink_heartbeat_message(
        common.MAV_TYPE_FIXED_WING, common.MAV_AUTOPILOT_GENERIC, mode, 0, 4 if armed else 3, 3
    )


def _gps_raw(common: Any, r: Row) -> Any:
    return common.MAVLink_gps_raw_int_message(
        round(r["time_s"] * 1e6), int(r["fix"]), round(r["latitude_deg"] * 1e7),
        round(r["longitude_deg"] * 1e7), round(r["altitude_msl_m"] * 1e3),
        round(r["hdop"] * 100), round(r["hdop"] * 160), round(r["ground_speed_m_s"] * 100),
        round(r["course_deg"] * 100) % 36000, int(r["satellites"]),
        h_acc=round(r["horizontal_accuracy_m"] * 1e3),
        v_acc=round(r["horizontal_accuracy_m"] * 1.6e3),
        vel_acc=round(r["speed_accuracy_m_s"] * 1e3),
    )  # fmt: skip


def _position(common: Any, t: float, look: Mapping[str, _Latest]) -> Any:
    r, height = look["gps"](t), look["baro"](t)["height_m"]
    yaw = np.degrees(look["attitude"](t)["yaw_rad"])
    course = np.radians(r["course_deg"])
    speed = r["ground_speed_m_s"]
    return common.MAVLink_global_position_int_message(
        round(t * 1e3), round(r["latitude_deg"] * 1e7), round(r["longitude_deg"] * 1e7),
        round(r["altitude_msl_m"] * 1e3), round(height * 1e3),
        round(100 * speed * float(np.cos(course))), round(100 * speed * float(np.sin(course))),
        round(-100 * r["climb_m_s"]), round(float(yaw) * 100) % 36000,
    )  # fmt: skip


def _attitude(common: Any, r: Row) -> Any:
    yaw = (r["yaw_rad"] + np.pi) % (2 * np.pi) - np.pi
    return common.MAVLink_attitude_message(
        round(r["time_s"] * 1e3), r["roll_rad"], r["pitch_rad"], float(yaw), 0.0, 0.0, 0.0
    )


def _imu(common: Any, r: Row) -> Any:
    accel = [round(r[f"accel_{a}_m_s2"] / 9.80665 * 1000) for a in "xyz"]
    gyro = [round(r[f"gyro_{a}_rad_s"] * 1000) for a in "xyz"]
    return common.MAVLink_scaled_imu_message(round(r["time_s"] * 1e3), *accel, *gyro, 0, 0, 0)


def _pressure(common: Any, baro: Row, pitot: Row) -> Any:
    return common.MAVLink_scaled_pressure_message(
        round(baro["time_s"] * 1e3), baro["pressure_pa"] / 100.0,
        pitot["differential_pressure_pa"] / 100.0,
        round((baro["temperature_k"] - 273.15) * 100),
    )  # fmt: skip


def _head_up(common: Any, t: float, look: Mapping[str, _Latest]) -> Any:
    gps, out = look["gps"](t), look["outputs"](t)
    heading = round(float(np.degrees(look["attitude"](t)["yaw_rad"]))) % 360
    return common.MAVLink_vfr_hud_message(
        look["airspeed"](t)["airspeed_m_s"], gps["ground_speed_m_s"], heading,
        round((out["3"] - 1000.0) / 9.5), gps["altitude_msl_m"], gps["climb_m_s"],
    )  # fmt: skip


def _remaining(r: Row) -> int:
    return int(np.clip(100.0 - r["charge_used_coulomb"] / 144.0, 0, 100))


def _status(common: Any, r: Row) -> Any:
    return common.MAVLink_sys_status_message(
        SENSORS, SENSORS, SENSORS, 180,
        round(r["voltage_v"] * 1000), round(r["current_a"] * 100), _remaining(r),
        0, 0, 0, 0, 0, 0,
    )  # fmt: skip


def _battery(common: Any, r: Row) -> Any:
    volts = [round(r["voltage_v"] * 1000)] + [65535] * 9
    return common.MAVLink_battery_status_message(
        0, 0, 0, 32767, volts, round(r["current_a"] * 100),
        round(r["charge_used_coulomb"] / 3.6), round(r["energy_used_j"] / 100.0), _remaining(r),
    )  # fmt: skip


def _servos(common: Any, t: float, look: _Latest) -> Any:
    r = look(t)
    pulses = [int(r.get(str(k), 0.0)) for k in range(1, 9)]
    return common.MAVLink_servo_output_raw_message(round(t * 1e6) % 2**32, 0, *pulses)


def _sticks(common: Any, t: float, look: _Latest) -> Any:
    r = look(t)
    pulses = [int(r.get(str(k), 0.0)) for k in range(1, 19)]
    return common.MAVLink_rc_channels_message(round(t * 1e3), 4, *pulses, 255)


def _radio(common: Any, r: Row) -> Any:
    return common.MAVLink_radio_status_message(
        int(r["rssi_raw"]), int(r["rssi_raw"]) - 6, 96, 42, 45, 0, 0
    )
