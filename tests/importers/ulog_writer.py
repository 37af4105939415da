"""A small writer of ULog files by the public description of the format: struct and nothing else."""

from __future__ import annotations

import struct
from collections.abc import Sequence

MAGIC = b"\x55\x4c\x6f\x67\x01\x12\x35"
SYNC = b"\x2f\x73\x13\x20\x25\x0c\xbb\x12"

CODES = {
    **{"int8_t": "b", "uint8_t": "B", "int16_t": "h", "uint16_t": "H", "int32_t": "i"},
    **{"uint32_t": "I", "int64_t": "q", "uint64_t": "Q", "float": "f", "double": "d"},
    **{"bool": "?", "char": "B"},
}


class Writer:
    """Collects records; ``data`` is the file."""

    def __init__(self, start_us: int = 1_000_000, *, version: int = 1) -> None:
        self.data = bytearray(MAGIC + struct.pack("<BQ", version, start_us))
        self.formats: dict[str, str] = {}
        self.ids: dict[tuple[str, int], int] = {}
        self.marks: list[int] = []

    def record(self, kind: str, payload: bytes, *, length: int | None = None) -> Writer:
        """Write one record; ``length`` may lie."""
        self.marks.append(len(self.data))
        said = len(payload) if length is None else length
        self.data += struct.pack("<HB", said, ord(kind)) + payload
        return self

    def flags(
        self, *, appended: Sequence[int] = (), incompatible: int | None = None, compatible: int = 0
    ) -> Writer:
        """Write the flags; offsets of appended data set their own bit."""
        bits = (1 if appended else 0) if incompatible is None else incompatible
        offsets = [*appended, 0, 0, 0][:3]
        return self.record(
            "B",
            struct.pack("<Q", compatible) + struct.pack("<Q", bits) + struct.pack("<3Q", *offsets),
        )

    def declare(self, name: str, fields: str) -> Writer:
        """Declare a layout, as in ``"uint64_t timestamp;float[3] x"``."""
        self.formats[name] = fields
        return self.record("F", f"{name}:{fields};".encode())

    def info(self, key: str, value: bytes) -> Writer:
        """Write information; the key holds its type."""
        return self.record("I", bytes([len(key)]) + key.encode() + value)

    def info_part(self, key: str, value: bytes, *, continued: bool = False) -> Writer:
        """Write one part of information that comes in several."""
        return self.record("M", bytes([continued, len(key)]) + key.encode() + value)

    def parameter(self, name: str, value: float) -> Writer:
        """Write a parameter, of the type of the value."""
        return self.record("P", _parameter(name, value))

    def default(self, kinds: int, name: str, value: float) -> Writer:
        """Write a default: bit 0 of the firmware, bit 1 of the airframe."""
        return self.record("Q", bytes([kinds]) + _parameter(name, value))

    def topic(self, name: str, multi_id: int = 0, *, id: int | None = None) -> Writer:
        """Announce a topic."""
        number = len(self.ids) if id is None else id
        self.ids[name, multi_id] = number
        return self.record("A", struct.pack("<BH", multi_id, number) + name.encode())

    def row(self, name: str, *values: float, multi_id: int = 0) -> Writer:
        """Write one row; arrays are given number by number."""
        codes = self._codes(name)
        return self.record("D", struct.pack("<H" + codes, self.ids[name, multi_id], *values))

    def text(self, stamp_us: int, text: str, *, level: int = 6, tag: int | None = None) -> Writer:
        """Write a logged text, perhaps with a tag."""
        if tag is None:
            return self.record("L", struct.pack("<BQ", ord("0") + level, stamp_us) + text.encode())
        head = struct.pack("<BHQ", ord("0") + level, tag, stamp_us)
        return self.record("C", head + text.encode())

    def dropout(self, milliseconds: int) -> Writer:
        """Write that the logger could not write for so long."""
        return self.record("O", struct.pack("<H", milliseconds))

    def sync(self) -> Writer:
        """Write the fixed bytes."""
        return self.record("S", SYNC)

    def _codes(self, name: str) -> str:
        fields = [field.split(" ") for field in self.formats[name].split(";") if field]
        while fields[-1][1].startswith("_padding"):
            fields.pop()
        return "".join(self._code(kind) for kind, _ in fields)

    def _code(self, kind: str) -> str:
        kind, _, count = kind.rstrip("]").partition("[")
        one = CODES[kind] if kind in CODES else self._all_codes(kind)
        return one * int(count or 1)

    def _all_codes(self, name: str) -> str:
        fields = [field.split(" ")[0] for field in self.formats[name].split(";") if field]
        return "".join(self._code(kind) for kind in fields)


def _parameter(name: str, value: float) -> bytes:
    kind = "int32_t" if isinstance(value, int) else "float"
    key = f"{kind} {name}".encode()
    return bytes([len(key)]) + key + struct.pack("<i" if kind == "int32_t" else "<f", value)


FORMATS = {
    "sensor_combined": "uint64_t timestamp;float[3] gyro_rad;uint32_t gyro_integral_dt;"
    "int32_t accelerometer_timestamp_relative;float[3] accelerometer_m_s2",
    "vehicle_gps_position": "uint64_t timestamp;uint64_t time_utc_usec;int32_t lat;int32_t lon;"
    "int32_t alt;float s_variance_m_s;float eph;float hdop;float vel_m_s;float vel_d_m_s;"
    "float cog_rad;uint8_t fix_type;bool vel_ned_valid;uint8_t satellites_used",
    "sensor_gps": "uint64_t timestamp;double latitude_deg;double longitude_deg;"
    "double altitude_msl_m;uint64_t time_utc_usec;float s_variance_m_s;float eph;float hdop;"
    "float vel_m_s;float vel_d_m_s;float cog_rad;uint8_t fix_type;bool vel_ned_valid;"
    "uint8_t satellites_used",
    "vehicle_attitude": "uint64_t timestamp;float[4] q",
    "battery_status": "uint64_t timestamp;float voltage_v;float current_a;float discharged_mah;"
    "float temperature;float[4] voltage_cell_v",
    "vehicle_status": "uint64_t timestamp;uint8_t nav_state;uint8_t arming_state;"
    "uint8_t[6] _padding0",
    "actuator_armed": "uint64_t timestamp;bool armed",
    "actuator_outputs": "uint64_t timestamp;uint32_t noutputs;float[4] output",
    "actuator_motors": "uint64_t timestamp;float[4] control",
    "input_rc": "uint64_t timestamp;int32_t rssi;uint8_t channel_count;bool rc_lost;"
    "uint16_t[4] values",
    "system_power": "uint64_t timestamp;float voltage5v_v",
    "vehicle_air_data": "uint64_t timestamp;uint64_t timestamp_sample;float baro_alt_meter;"
    "float baro_temp_celcius;float baro_pressure_pa",
    "sensor_baro": "uint64_t timestamp;float pressure;float temperature",
    "airspeed": "uint64_t timestamp;float indicated_airspeed_m_s",
    "differential_pressure": "uint64_t timestamp;float differential_pressure_pa",
    "vehicle_global_position": "uint64_t timestamp;double lat;double lon;float alt",
    "vehicle_local_position": "uint64_t timestamp;float vx;float vy;float vz;bool v_xy_valid",
    "vehicle_imu": "uint64_t timestamp;float[3] delta_angle;float[3] delta_velocity;"
    "uint16_t delta_angle_dt;uint16_t delta_velocity_dt",
    "mission": "uint64_t timestamp;uint16_t count",
    "esc_report": "int32_t esc_rpm;uint8_t[4] _padding0",
    "esc_status": "uint64_t timestamp;uint8_t esc_count;uint8_t esc_online_flags;esc_report[2] esc",
}
"""Layouts as the open message definitions have them, shortened."""


def started(*topics: str, start_us: int = 1_000_000) -> Writer:
    """Give a file whose header, declarations and topics stand."""
    writer = Writer(start_us).flags()
    writer.info("char[4] sys_name", b"Hill")
    for name in FORMATS:
        writer.declare(name, FORMATS[name])
    writer.parameter("BAT_N_CELLS", 6).parameter("FW_AIRSPD_MIN", 11.5)
    for name in topics:
        writer.topic(name)
    return writer
