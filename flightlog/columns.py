"""The dictionary of table columns. Nothing else may name a column.

Every table of a `Recording` holds columns from here: name with unit suffix, unit, meaning
with its sign and zero, and the range outside which a value cannot be a measurement on an
aircraft of this kind (used for findings, never to change a value in silence).
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Column:
    """One column of one table.

    Attributes
    ----------
    name : str
        Column name; the unit is its suffix.
    unit : str
        SI unit; degrees for latitude, longitude and course; "" for pure numbers and text.
    meaning : str
        What it is, which way is positive and where zero is.
    low, high : float or None
        Bounds of what can be a measurement, in ``unit``.
    text : bool
        Whether the values are text.
    """

    name: str
    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None
    text: bool = False


_TIME = Column("time_s", "s", "the log's own clock; monotonic after the importer")
_INSTANCE = Column("instance", "", "which of several sensors of the kind, from 0")


def _axes(stem: str, unit: str, meaning: str, bound: float) -> tuple[Column, ...]:
    way = {"x": "forward", "y": "right", "z": "down"}
    suffix = unit.replace("/", "_").replace("²", "2")
    return tuple(
        Column(f"{stem}_{axis}_{suffix}", unit, f"{meaning}, positive {way[axis]}", -bound, bound)
        for axis in "xyz"
    )


TABLES: MappingProxyType[str, tuple[Column, ...]] = MappingProxyType(
    {
        "gps": (
            _TIME,
            _INSTANCE,
            Column("latitude_deg", "deg", "WGS-84, positive north", -90, 90),
            Column("longitude_deg", "deg", "WGS-84, positive east", -180, 180),
            Column("altitude_msl_m", "m", "above mean sea level as the receiver says", -500, 9000),
            Column("ground_speed_m_s", "m/s", "horizontal speed over ground", 0, 100),
            Column("course_deg", "deg", "direction of motion, clockwise from true north", 0, 360),
            Column("climb_m_s", "m/s", "vertical speed, positive up", -60, 60),
            Column("hdop", "", "horizontal dilution of precision", 0, 100),
            Column("satellites", "", "satellites used", 0, 100),
            Column("fix", "", "0/1 none, 2 flat, 3 and above a full position", 0, 8),
            Column("horizontal_accuracy_m", "m", "1 sigma that the receiver claims", 0, 1000),
            Column("speed_accuracy_m_s", "m/s", "1 sigma that the receiver claims", 0, 100),
            Column("time_utc", "s", "Unix seconds of the fix by the receiver's clock"),
        ),
        "baro": (
            _TIME,
            _INSTANCE,
            Column("pressure_pa", "Pa", "static pressure", 30e3, 115e3),
            Column("height_m", "m", "pressure height above the sensor's own zero", -1000, 9000),
            Column("temperature_k", "K", "of the sensor, not of the air", 200, 400),
        ),
        "airspeed": (
            _TIME,
            _INSTANCE,
            Column("airspeed_m_s", "m/s", "as logged", -10, 100),
            Column("differential_pressure_pa", "Pa", "total minus static", -2000, 10000),
        ),
        "imu": (
            _TIME,
            _INSTANCE,
            *_axes("gyro", "rad/s", "body rotation rate about the axis", 60.0),
            *_axes("accel", "m/s²", "specific force; at rest level (0, 0, -9.8)", 400.0),
        ),
        "attitude": (
            _TIME,
            Column("roll_rad", "rad", "positive right wing down", -3.2, 3.2),
            Column("pitch_rad", "rad", "positive nose up", -1.6, 1.6),
            Column("yaw_rad", "rad", "clockwise from true north", -6.4, 6.4),
        ),
        "battery": (
            _TIME,
            _INSTANCE,
            Column("voltage_v", "V", "at the sensor", 0.5, 120),
            Column("current_a", "A", "positive while discharging", -100, 500),
            Column("charge_used_coulomb", "C", "counted by the logger", 0, 1e6),
            Column("energy_used_j", "J", "counted by the logger", 0, 1e8),
            Column("temperature_k", "K", "of the pack", 230, 400),
            Column("cell_voltages", "V", "one list a row, first cell first"),
        ),
        "outputs": (
            _TIME,
            Column("channel", "", "output number, from 1"),
            Column("pulse_us", "us", "what servo or speed controller was told", 500, 2500),
        ),
        "inputs": (
            _TIME,
            Column("channel", "", "input number, from 1"),
            Column("pulse_us", "us", "what the pilot asked", 500, 2500),
        ),
        "link": (
            _TIME,
            Column("quality_pct", "%", "share of packets that arrived", 0, 100),
            Column("rssi_dbm", "dBm", "received signal strength", -140, 30),
            Column("rssi_raw", "", "received signal strength in the device's own counts"),
        ),
        "rotation": (
            _TIME,
            _INSTANCE,
            Column("speed_rad_s", "rad/s", "of motor or propeller", 0, 10000),
            Column("temperature_k", "K", "of motor or speed controller", 200, 500),
        ),
        "supply": (
            _TIME,
            Column("board_voltage_v", "V", "that feeds the autopilot", 0, 30),
            Column("servo_voltage_v", "V", "that feeds receiver and servos", 0, 30),
        ),
        "modes": (_TIME, Column("mode", "", "flight mode as the autopilot names it", text=True)),
        "messages": (
            _TIME,
            Column("severity", "", "0 emergency to 7 debug (RFC 5424)"),
            Column("text", "", "as logged, without control codes", text=True),
        ),
        "parameters": (
            _TIME,
            Column("name", "", "parameter name", text=True),
            Column("value", "", "parameter value"),
        ),
        "arming": (
            _TIME,
            Column("armed", "", "1 from here on the motor may run, 0 it may not", 0, 1),
        ),
    }
)
"""Table name -> its columns, ``time_s`` first."""
