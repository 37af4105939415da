"""Tables of a telemetry file: message types onto house columns.

What goes where stands in ``mavlink_telemetry.toml``; here is what a list can't say: which of
several sources is used, positions without a fix, repeated fixes, battery cells, flight modes,
arming, and the radio.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flightlog.columns import TABLES
from flightlog.importers.common import (
    FloatArray,
    Notes,
    median_rate,
    missing_where,
    note_repeated_fixes,
    repeated_rows,
)
from flightlog.importers.house import healthiest, house_table
from flightlog.importers.mavlink_clock import UNIX_2010_S, UNIX_2100_S, Timeline
from flightlog.importers.mavlink_frames import Frames, MessageTable
from flightlog.importers.standard_air import pressure_height
from flightlog.recording import ColumnSource

IntArray = npt.NDArray[np.int64]
Pieces = dict[str, list[pd.DataFrame]]

CLIMB_REACH_S = 0.5
"""The autopilot's vertical speed is taken from a sample no further from the fix than this [s]."""

AIRSPEED_SENSOR_BIT = 0x10
"""In SYS_STATUS.onboard_control_sensors_present: there is a differential pressure sensor."""

UNHEALTHY_BIT = 0x01
"""In AIRSPEED.flags: the sensor is unhealthy."""

RPM_TO_RAD_S = np.pi / 30.0
_COMPUTED = {
    "GPS_RAW_INT": {"climb_m_s": "GLOBAL_POSITION_INT.vz", "time_utc": "time_usec"},
    "SCALED_PRESSURE": {"height_m": "press_abs"},
    "BATTERY_STATUS": {"voltage_v": "voltages", "cell_voltages": "voltages"},
}
"""Fields behind the columns that no list of columns gives, for the receipt."""

CELL_FULL_MV = 65534
"""A total above 65.5 V is spread over several cell fields, all but the last at this value."""

LINK_WINDOW_S = 2.0
"""Packets are counted over windows of this length [s]."""


@dataclass(slots=True)
class Sender:
    """The chosen sender of a file, and what is needed to make its tables.

    Attributes
    ----------
    frames : Frames
        All frames of the file.
    rows : array
        Places of the frames of this sender.
    messages : mapping
        Its message types.
    autopilot : int or None
        MAV_AUTOPILOT of its heartbeat.
    timeline : Timeline
        Gives the times.
    notes : Notes
        Receives what is noticed.
    """

    frames: Frames
    rows: IntArray
    messages: Mapping[str, MessageTable]
    autopilot: int | None
    timeline: Timeline
    notes: Notes


@cache
def mapping() -> dict[str, Any]:
    """The mapping data beside this file."""
    text = Path(__file__).with_name("mavlink_telemetry.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def sensor_tables(sender: Sender) -> dict[str, pd.DataFrame]:
    """Every table that is a plain mapping of columns or channels."""
    pieces: Pieces = {}
    used: set[tuple[str, int | str]] = set()
    for source in sorted(mapping()["source"], key=lambda s: int(s["rank"])):
        table = sender.messages.get(source["message"])
        if table is not None and sender.autopilot in source.get("autopilots", [sender.autopilot]):
            _add_source(sender, source, table, used, pieces)
    _add_channels(sender, pieces)
    tables = {name: _joined(name, parts, sender.notes) for name, parts in pieces.items()}
    return {name: t for name, t in tables.items() if len(t)}


def _add_source(
    sender: Sender,
    source: Mapping[str, Any],
    table: MessageTable,
    used: set[tuple[str, int | str]],
    pieces: Pieces,
) -> None:
    name = str(source["table"])
    message = str(source["message"])
    if (name, source.get("instance")) in used or (name, message) in used:
        return
    used.add((name, message))
    piece = pd.DataFrame({"time_s": sender.timeline.of(table, source.get("time_field"))})
    if any(c.name == "instance" for c in TABLES[name]):
        field = source.get("instance_field")
        instance = table[field].astype(np.int64) if field else int(source["instance"])
        piece["instance"] = instance
    for column, rule in source["columns"].items():
        piece[column] = _converted(name, table, column, rule, sender.notes)
    piece = _completed(sender, message, table, piece)
    measured = [c for c in piece.columns if c not in ("time_s", "instance")]
    piece = piece.dropna(subset=measured, how="all")
    if "instance" in piece:
        found = {int(i) for i in piece["instance"].unique()}
        piece = piece[~piece["instance"].isin([i for i in found if (name, i) in used])]
        used |= {(name, i) for i in found if len(piece)}
    if len(piece):
        pieces.setdefault(name, []).append(piece)
        fields = {c: rule["field"] for c, rule in source["columns"].items()}
        fields |= _COMPUTED.get(message.rstrip("23"), {})
        sender.notes.sources += [
            ColumnSource(name, column, field if "." in field else f"{message}.{field}")
            for column, field in fields.items()
            if column in piece and piece[column].notna().any()
        ]


def _converted(
    name: str, table: MessageTable, column: str, rule: Mapping[str, Any], notes: Notes
) -> FloatArray:
    """One column in SI units, with sentinels and impossible values missing."""
    raw = table.numbers(rule["field"])
    sentinel = np.isin(raw, rule.get("missing", []))
    values = raw * float(rule.get("scale", 1.0)) + float(rule.get("offset", 0.0))
    values, count = missing_where(values, sentinel)
    if count == len(values) and column == "current_a":
        notes.find("current-not-measured", f"{name}: all {count} values of the current are -1.")
    elif name != "gps" and (0 < count < len(values) or (count and column == "voltage_v")):
        # (Positions are told about once, by their rows without a fix.)
        notes.find(
            "values-missing",
            f"{name}: {count} of {len(values)} values of {rule['field']} stand for 'not measured'.",
            evidence={"table": name, "column": column, "rows": count},
        )
    return values


def _completed(
    sender: Sender, message: str, table: MessageTable, piece: pd.DataFrame
) -> pd.DataFrame:
    """What a list of columns can't say, by message type."""
    if message in ("GPS_RAW_INT", "GPS2_RAW"):
        return _fixes(sender, table, piece)
    if message.startswith("SCALED_PRESSURE"):
        piece["height_m"] = pressure_height(piece["pressure_pa"].to_numpy())
    elif message == "AIRSPEED":
        healthy = np.flatnonzero((table["flags"] & UNHEALTHY_BIT) == 0)
        sender.notes.drop("airspeed row of an unhealthy sensor", len(piece) - len(healthy))
        return piece.iloc[healthy]
    elif message == "VFR_HUD" and not _has_airspeed_sensor(sender):
        sender.notes.lines.append(
            "VFR_HUD.airspeed is the autopilot's estimate, as it has no airspeed sensor: left out."
        )
        return piece.iloc[:0]
    elif message == "BATTERY_STATUS":
        return _packs(sender, table, piece)
    elif message.endswith(("_IMU", "_IMU2", "_IMU3", "IMU")):
        axes = ["accel_x_m_s2", "accel_y_m_s2", "accel_z_m_s2"]
        # No sensor gives exactly nothing on three axes: this one isn't there.
        return piece[(piece[axes] != 0).any(axis=1)]
    return piece


def _has_airspeed_sensor(sender: Sender) -> bool:
    status = sender.messages.get("SYS_STATUS")
    if status is None:
        return True
    return bool((status["onboard_control_sensors_present"] & AIRSPEED_SENSOR_BIT).any())


def _fixes(sender: Sender, table: MessageTable, piece: pd.DataFrame) -> pd.DataFrame:
    """Positions: no fix is no position, each fix counts once."""
    notes, measured = sender.notes, [c for c in piece.columns if c in _OF_A_FIX]
    nowhere = (piece["latitude_deg"] == 0) & (piece["longitude_deg"] == 0)
    without = ((piece["fix"] < 2) | nowhere).to_numpy()
    piece.loc[without, measured] = np.nan
    if without.any():
        notes.find(
            "values-missing",
            f"gps: {int(without.sum())} of {len(piece)} rows have no fix.",
            evidence={"table": "gps", "rows": int(without.sum())},
        )
    stamp = table.numbers("time_usec")
    unix = stamp * 1e-6
    utc = np.where((unix > UNIX_2010_S) & (unix < UNIX_2100_S), unix, np.nan)
    if np.isfinite(utc).any():
        piece["time_utc"] = utc
    same = [stamp, *(table[f] for f in ("lat", "lon", "alt", "vel"))]
    repeated = repeated_rows(same) & ~without
    note_repeated_fixes(repeated, piece["time_s"].to_numpy(), notes)
    _note_missing_fixes(stamp[~repeated & ~without & (stamp > 0)], notes)
    return _with_climb(sender, piece[~repeated].reset_index(drop=True))


_OF_A_FIX = (
    "latitude_deg longitude_deg altitude_msl_m ground_speed_m_s course_deg hdop "
    "horizontal_accuracy_m speed_accuracy_m_s"
).split()


def _note_missing_fixes(stamp_us: FloatArray, notes: Notes) -> None:
    """Say how many fixes of the receiver are not in the file, from the steps between them."""
    step = np.diff(stamp_us) * 1e-6
    step = step[step > 0]
    if len(step) < 10:
        return
    period = float(np.percentile(step, 10))
    beat = step[step < 20 * period] / period
    # Steps that are no multiples of one period tell nothing about missing fixes.
    if np.median(np.abs(beat - np.round(beat))) > 0.1:
        return
    missing = int(np.sum(np.round(beat) - 1))
    if missing:
        notes.find(
            "missing-fixes",
            f"The receiver gave {1 / period:.3g} fixes a second; {missing} of "
            f"{missing + len(beat) + 1} are not in the file (long gaps left out).",
            evidence={"missing": missing, "present": len(beat) + 1, "fix_rate_hz": 1 / period},
        )


def _with_climb(sender: Sender, piece: pd.DataFrame) -> pd.DataFrame:
    """Add the vertical speed, which these messages don't have, from the autopilot's estimate."""
    estimate = sender.messages.get("GLOBAL_POSITION_INT")
    if estimate is None or not len(piece):
        return piece
    time_s = sender.timeline.of(estimate, "time_boot_ms")
    order = np.argsort(time_s, kind="stable")
    time_s, climb = time_s[order], -0.01 * estimate["vz"][order].astype(np.float64)
    at = piece["time_s"].to_numpy()
    after = np.clip(np.searchsorted(time_s, at), 0, len(time_s) - 1)
    before = np.maximum(after - 1, 0)
    near = np.minimum(np.abs(time_s[after] - at), np.abs(at - time_s[before])) <= CLIMB_REACH_S
    usable = near & np.isfinite(piece["latitude_deg"].to_numpy())
    if usable.any():
        piece["climb_m_s"] = np.where(usable, np.interp(at, time_s, climb), np.nan)
        _note_estimate(
            sender.notes,
            "gps.climb_m_s is GLOBAL_POSITION_INT.vz, the autopilot's estimate from all its "
            "sensors, not the receiver's own vertical speed.",
        )
    return piece


def _note_estimate(notes: Notes, line: str, severity: str | None = None) -> None:
    if line not in notes.lines:
        notes.lines.append(line)
        notes.find("estimated-quantity", line, severity=severity)


def estimated_gps(sender: Sender) -> pd.DataFrame | None:
    """Positions from the autopilot's estimate, for files without the receiver's messages."""
    table = sender.messages.get("GLOBAL_POSITION_INT")
    if table is None:
        return None
    north, east = (table.numbers(f) * 0.01 for f in ("vx", "vy"))
    latitude, longitude = (table.numbers(f) * 1e-7 for f in ("lat", "lon"))
    piece = pd.DataFrame(
        {
            "time_s": sender.timeline.of(table, "time_boot_ms"),
            "instance": 0,
            "latitude_deg": latitude,
            "longitude_deg": longitude,
            "altitude_msl_m": table.numbers("alt") * 1e-3,
            "ground_speed_m_s": np.hypot(north, east),
            "course_deg": np.degrees(np.arctan2(east, north)) % 360.0,
            "climb_m_s": table.numbers("vz") * -0.01,
        }
    )
    piece = piece[(latitude != 0) | (longitude != 0)]
    if not len(piece):
        return None
    _note_estimate(
        sender.notes,
        "The file holds no position of the receiver; GLOBAL_POSITION_INT, the autopilot's "
        "estimate, stands in for it.",
        severity="degrade",
    )
    return _joined("gps", [piece], sender.notes)


def _packs(sender: Sender, table: MessageTable, piece: pd.DataFrame) -> pd.DataFrame:
    """Voltage and cells; rows of pack 0 are left to SYS_STATUS where that knows more."""
    cells = table.numbers("voltages")
    cells = np.where((cells == 65535) | (cells == 0), np.nan, cells)
    known = np.isfinite(cells)
    total = np.where(known.any(axis=1), np.nansum(cells, axis=1), np.nan) * 1e-3
    piece["voltage_v"] = total
    # One value is the whole pack, and full fields are parts of a total.
    split = (known.sum(axis=1) > 1) & (cells[:, 0] != CELL_FULL_MV)
    if split.any():
        lists = [
            (row[has] * 1e-3).tolist() if one else None
            for row, has, one in zip(cells, known, split.tolist(), strict=True)
        ]
        piece["cell_voltages"] = pd.Series(lists, index=piece.index, dtype=object)
    status = sender.messages.get("SYS_STATUS")
    first = piece["instance"] == 0
    useful = int((first & np.isfinite(total)).sum())
    if status is not None and useful * 2 < int(np.sum(status["voltage_battery"] > 0)):
        piece = piece[~first]
    return piece


def _add_channels(sender: Sender, pieces: Pieces) -> None:
    """One row per channel and time, from messages with a field per channel."""
    best: dict[str, int] = {}
    for rule in sorted(mapping()["channels"], key=lambda r: int(r["rank"])):
        name, table = str(rule["table"]), sender.messages.get(rule["message"])
        if table is None or best.setdefault(name, rule["rank"]) != rule["rank"]:
            continue
        piece = _channels(sender, rule, table)
        if len(piece):
            pieces.setdefault(name, []).append(piece)
        elif name not in pieces:
            del best[name]  # a message without one value doesn't stand in for the next


def _channels(sender: Sender, rule: Mapping[str, Any], table: MessageTable) -> pd.DataFrame:
    name, count = str(rule["table"]), int(rule["count"])
    time_s = sender.timeline.of(table, rule.get("time_field"))
    if rule.get("index"):
        values = table.numbers(rule["fields"])
    else:
        fields = [str(rule["fields"]).format(n=n) for n in range(1, count + 1)]
        values = np.stack([table.numbers(f) for f in fields], axis=1)
    values = np.where(np.isin(values, rule.get("missing", [])), np.nan, values)
    base = np.full(len(table), int(rule.get("first", 1)), dtype=np.int64)
    sent = np.ones(values.shape, dtype=bool)
    if "step" in rule:
        old = sender.frames.version[table.rows] == 1
        base += table["port"].astype(np.int64) * np.where(old, rule["step_v1"], rule["step"])
        # Version 1 doesn't have the later fields: their channels belong to the next port.
        sent = ~old[:, None] | (np.arange(values.shape[1]) < rule["step_v1"])
    channel = base[:, None] + np.arange(values.shape[1])
    alive = np.isfinite(values) & sent
    if "rows_field" in rule:  # counts what the speed controller sent; 0 is an empty place
        alive &= table[rule["rows_field"]] > 0
    # A channel that ever had a value stays in, with its pauses missing; others don't exist.
    keep = np.isin(channel, np.unique(channel[alive])) & sent
    row = np.broadcast_to(np.arange(len(table))[:, None], channel.shape)[keep]
    piece = pd.DataFrame({"time_s": time_s[row]})
    if name == "rotation":
        piece["instance"] = channel[keep]
        piece["speed_rad_s"] = values[keep] * RPM_TO_RAD_S
    else:
        piece["channel"] = channel[keep]
        piece["pulse_us"] = values[keep]
    return piece


def _joined(name: str, pieces: Iterable[pd.DataFrame], notes: Notes) -> pd.DataFrame:
    """Put the pieces of one table together."""
    # Columns without a value are left out so that they don't decide the type of the whole.
    table = pd.concat([p.dropna(axis=1, how="all") for p in pieces], ignore_index=True)
    columns = {str(c): table[c].to_numpy() for c in table.columns}
    if "cell_voltages" in columns:
        lists = [v if isinstance(v, list) else None for v in columns["cell_voltages"]]
        columns["cell_voltages"] = np.empty(len(lists), dtype=object)
        columns["cell_voltages"][:] = lists
    return house_table(name, columns, notes)


def link_table(sender: Sender, radios: Iterable[MessageTable]) -> pd.DataFrame | None:
    """Signal strength as the radio says it, and packets that arrived by their numbers."""
    parts = [_arrivals(sender)]
    reports = [
        pd.DataFrame({"time_s": sender.timeline.at(t.rows), "rssi_raw": _strength(t["rssi"])})
        for t in radios
    ]
    inputs = sender.messages.get("RC_CHANNELS") or sender.messages.get("RC_CHANNELS_RAW")
    if not reports and inputs is not None:
        strength = _strength(inputs["rssi"])
        if np.nanmax(strength, initial=0.0) > 0:  # 0 throughout: the receiver doesn't tell
            time_s = sender.timeline.of(inputs, "time_boot_ms")
            reports = [pd.DataFrame({"time_s": time_s, "rssi_raw": strength})]
            sender.notes.lines.append("link.rssi_raw is the pilot's receiver, 0 to 254.")
    elif reports:
        sender.notes.lines.append("link.rssi_raw is the telemetry radio on the ground.")
    parts += reports
    parts = [p for p in parts if len(p)]
    return _joined("link", parts, sender.notes) if parts else None


def _strength(rssi: npt.NDArray[Any]) -> FloatArray:
    return np.where(rssi == 255, np.nan, rssi.astype(np.float64))


def _arrivals(sender: Sender) -> pd.DataFrame:
    """Share of packets that arrived, from gaps in their numbers, over short windows. [%]"""
    rows = sender.rows
    step = np.diff(sender.frames.sequence[rows]) % 256
    window = np.floor(sender.timeline.at(rows) / LINK_WINDOW_S).astype(np.int64)
    # Numbers that step back are packets out of order or a restart; such windows tell nothing.
    strange = (step > 128) | (step == 0)
    windows, at = np.unique(window[1:], return_inverse=True)
    received = np.bincount(at, minlength=len(windows))
    sent = np.bincount(at, weights=step, minlength=len(windows))
    odd = np.bincount(at, weights=strange, minlength=len(windows)) > 0
    good = ~odd & (received >= 5)
    middle = (windows[good] + 0.5) * LINK_WINDOW_S
    return pd.DataFrame({"time_s": middle, "quality_pct": 100.0 * received[good] / sent[good]})


def rates(tables: Mapping[str, pd.DataFrame]) -> dict[str, float]:
    """Median row rate of the tables that carry a flight. [Hz]"""
    found: dict[str, float] = {}
    for name in ("gps", "attitude", "imu", "baro", "battery"):
        if name in tables:
            table = tables[name]
            if "instance" in table:
                table = table[table["instance"] == table["instance"].min()]
            found[name] = median_rate(table["time_s"].to_numpy())
    return found


_VALUE_OF = {
    "gps": "latitude_deg",
    "baro": "height_m",
    "airspeed": "airspeed_m_s",
    "imu": "accel_z_m_s2",
    "battery": "voltage_v",
    "rotation": "speed_rad_s",
}


def chosen_instances(tables: Mapping[str, pd.DataFrame]) -> dict[str, int]:
    """Of several sensors of a kind the first that has nearly the most values."""
    chosen: dict[str, int] = {}
    for name, value in _VALUE_OF.items():
        if name in tables:
            table = tables[name]
            good = np.isfinite(table[value].to_numpy(np.float64))
            one = healthiest(table["instance"].to_numpy(), good)
            if one is not None:
                chosen[name] = one
    return chosen
