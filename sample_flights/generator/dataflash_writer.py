"""Writes sensor tables as a DataFlash binary, the way current open autopilots log them.

The format describes itself: FMT records name every message's fields and their types, FMTU,
UNIT and MULT their units. Field layouts are those that current firmware declares.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from .sensors import GPS_EPOCH, LEAP_SECONDS

HEAD = b"\xa3\x95"
TYPES = {
    "b": "i1", "B": "u1", "h": "<i2", "H": "<u2", "i": "<i4", "I": "<u4", "f": "<f4",
    "d": "<f8", "n": "S4", "N": "S16", "Z": "S64", "c": "<i2", "C": "<u2", "e": "<i4",
    "E": "<u4", "L": "<i4", "M": "u1", "q": "<i8", "Q": "<u8",
}  # fmt: skip


@dataclass(frozen=True)
class Layout:
    """One message type: number, name, field types, field names, units, multipliers."""

    number: int
    name: str
    types: str
    columns: str
    units: str
    multipliers: str

    @property
    def dtype(self) -> np.dtype[Any]:
        """The record as numpy sees it, header included."""
        names = self.columns.split(",")
        fields = [("head", "S2"), ("type", "u1")]
        fields += [(n, TYPES[t]) for n, t in zip(names, self.types, strict=True)]
        return np.dtype(fields)


LAYOUTS = {
    x.name: x
    for x in (
        Layout(128, "FMT", "BBnNZ", "Type,Length,Name,Format,Columns", "-b---", "-----"),
        Layout(117, "UNIT", "QbZ", "TimeUS,Id,Label", "s--", "F--"),
        Layout(118, "MULT", "Qbd", "TimeUS,Id,Mult", "s--", "F--"),
        Layout(116, "FMTU", "QBNN", "TimeUS,FmtType,UnitIds,MultIds", "s---", "F---"),
        Layout(32, "PARM", "QNff", "TimeUS,Name,Value,Default", "s---", "F---"),
        Layout(59, "MSG", "QZ", "TimeUS,Message", "s-", "F-"),
        Layout(120, "MODE", "QMBB", "TimeUS,Mode,ModeNum,Rsn", "s---", "F---"),
        Layout(186, "ARM", "QBIBB", "TimeUS,ArmState,ArmChecks,Forced,Method", "s----", "F----"),
        Layout(94, "GPS", "QBBIHBcLLeffffB",
               "TimeUS,I,Status,GMS,GWk,NSats,HDop,Lat,Lng,Alt,Spd,GCrs,VZ,Yaw,U",
               "s#-s-S-DUmnhnh-", "F--C-0BGGB000--"),
        Layout(95, "GPA", "QBCCCCfBIHeHH",
               "TimeUS,I,VDop,HAcc,VAcc,SAcc,YAcc,VV,SMS,Delta,AEl,RTCMFU,RTCMFD",
               "s#-mmnd-ssm--", "F-BBBB0-CCB--"),
        Layout(163, "IMU", "QBffffffIIfBBHH",
               "TimeUS,I,GyrX,GyrY,GyrZ,AccX,AccY,AccZ,EG,EA,T,GH,AH,GHz,AHz",
               "s#EEEooo--O--zz", "F-000000-----00"),
        Layout(64, "BARO", "QBfffcfIffBf",
               "TimeUS,I,Alt,AltAMSL,Press,Temp,CRt,SMS,Offset,GndTemp,H,CPress",
               "s#mmPOnsmO-P", "F-000B0C?0-0"),
        Layout(112, "ARSP", "QBffcffBBffB",
               "TimeUS,I,Airspeed,DiffPress,Temp,RawPress,Offset,U,H,Hp,TR,Pri",
               "s#nPOPP-----", "F-00B00-----"),
        Layout(72, "ATT", "QffffffB", "TimeUS,DesRoll,Roll,DesPitch,Pitch,DesYaw,Yaw,AEKF",
               "sddddhh-", "F000000-"),
        Layout(88, "BAT", "QBfffffcfBBB",
               "TimeUS,Inst,Volt,VoltR,Curr,CurrTot,EnrgTot,Temp,Res,RemPct,H,SH",
               "s#vvAaXOw%-%", "F-000C0?0000"),
        Layout(62, "RCOU", "QHHHHHHHHHHHHHH",
               "TimeUS,C1,C2,C3,C4,C5,C6,C7,C8,C9,C10,C11,C12,C13,C14",
               "sYYYYYYYYYYYYYY", "F--------------"),
        Layout(60, "RCIN", "QHHHHHHHHHHHHHH",
               "TimeUS,C1,C2,C3,C4,C5,C6,C7,C8,C9,C10,C11,C12,C13,C14",
               "sYYYYYYYYYYYYYY", "F--------------"),
        Layout(63, "RSSI", "Qff", "TimeUS,RXRSSI,RXLQ", "s-%", "F--"),
    )
}  # fmt: skip

UNITS = {
    "-": "", "?": "UNKNOWN", "A": "A", "a": "Ah", "d": "deg", "b": "B", "D": "deglatitude",
    "E": "rad/s", "h": "degheading", "m": "m", "n": "m/s", "o": "m/s/s", "O": "degC", "%": "%",
    "S": "satellites", "s": "s", "U": "deglongitude", "v": "V", "P": "Pa", "w": "Ohm",
    "X": "W.h", "Y": "us", "z": "Hz", "#": "instance",
}  # fmt: skip
MULTIPLIERS = {"-": 0.0, "?": 1.0, "0": 1.0, "B": 1e-2, "C": 1e-3, "F": 1e-6, "G": 1e-7}

Fields = Mapping[str, Any]


def write_dataflash(
    path: Path,
    tables: Mapping[str, pd.DataFrame],
    *,
    messages: list[tuple[float, str]] = (),  # type: ignore[assignment]
    modes: list[tuple[float, int]] = (),  # type: ignore[assignment]
    parameters: Mapping[str, float] | None = None,
) -> None:
    """Write sensor tables as one binary log.

    Parameters
    ----------
    path : Path
        File to write; replaced if there.
    tables : mapping of str to DataFrame
        As `sensors` makes them; ``inputs`` and ``link`` too.
    messages : list of (float, str)
        Log time [s] and text.
    modes : list of (float, int)
        Log time [s] and mode number.
    parameters : mapping of str to float
        Written at the start.
    """
    start = min(float(t["time_s"].iloc[0]) for t in tables.values() if len(t))
    blocks = _records(tables, messages, modes, parameters or {}, start)
    written = {name for name, _ in blocks} | {"FMT", "UNIT", "MULT", "FMTU"}
    out = [_preamble(written, start)]
    stamps: list[np.ndarray[Any, Any]] = []
    pieces: list[bytes] = []
    for name, fields in blocks:
        rows = _pack(name, fields)
        stamps.append(rows["TimeUS"].astype(np.int64))
        size = rows.dtype.itemsize
        raw = rows.tobytes()
        pieces.extend(raw[i : i + size] for i in range(0, len(raw), size))
    order = np.argsort(np.concatenate(stamps), kind="stable")
    out.append(b"".join(pieces[i] for i in order))
    path.write_bytes(b"".join(out))


def _pack(name: str, fields: Fields) -> np.ndarray[Any, Any]:
    layout = LAYOUTS[name]
    first = next(iter(fields.values()))
    rows = np.zeros(len(first), dtype=layout.dtype)
    rows["head"], rows["type"] = HEAD, layout.number
    kinds = dict(zip(layout.columns.split(","), layout.types, strict=True))
    for column, value in fields.items():
        kind = kinds[column]
        if kind in "nNZ":
            rows[column] = np.array([str(v).encode("ascii") for v in np.atleast_1d(value)])
        elif kind in "fd":
            rows[column] = value
        else:
            factor = {"c": 100, "C": 100, "e": 100, "E": 100, "L": 1e7}.get(kind, 1)
            limits = np.iinfo(np.dtype(TYPES[kind]))
            whole = np.round(np.asarray(value, dtype=float) * factor) if factor != 1 else value
            rows[column] = np.clip(whole, limits.min, limits.max)
    return rows


def _preamble(names: set[str], start: float) -> bytes:
    """FMT of every message first, then what the units are."""
    layouts = [x for x in LAYOUTS.values() if x.name in names]
    formats = _pack(
        "FMT",
        {
            "Type": [x.number for x in layouts],
            "Length": [x.dtype.itemsize for x in layouts],
            "Name": [x.name for x in layouts],
            "Format": [x.types for x in layouts],
            "Columns": [x.columns for x in layouts],
        },
    )
    now = round(start * 1e6) - 1000
    units = _pack("UNIT", {"TimeUS": [now] * len(UNITS), "Id": [ord(k) for k in UNITS],
                           "Label": list(UNITS.values())})  # fmt: skip
    factors = _pack("MULT", {"TimeUS": [now] * len(MULTIPLIERS),
                             "Id": [ord(k) for k in MULTIPLIERS],
                             "Mult": list(MULTIPLIERS.values())})  # fmt: skip
    use = _pack("FMTU", {"TimeUS": [now] * len(layouts), "FmtType": [x.number for x in layouts],
                         "UnitIds": [x.units for x in layouts],
                         "MultIds": [x.multipliers for x in layouts]})  # fmt: skip
    return b"".join(block.tobytes() for block in (formats, units, factors, use))


def _clock(times: Any) -> Any:
    return np.round(np.asarray(times, dtype=float) * 1e6).astype(np.int64)


def _records(
    tables: Mapping[str, pd.DataFrame],
    messages: list[tuple[float, str]],
    modes: list[tuple[float, int]],
    parameters: Mapping[str, float],
    start: float,
) -> list[tuple[str, Fields]]:
    blocks: list[tuple[str, Fields]] = []
    if parameters:
        value = list(parameters.values())
        now = np.full(len(value), round(start * 1e6) - 500)
        blocks.append(("PARM", {"TimeUS": now, "Name": list(parameters), "Value": value,
                                "Default": value}))  # fmt: skip
    if messages:
        times, texts = zip(*messages, strict=True)
        blocks.append(("MSG", {"TimeUS": _clock(times), "Message": texts}))
    if modes:
        times, numbers = zip(*modes, strict=True)
        blocks.append(("MODE", {"TimeUS": _clock(times), "Mode": numbers, "ModeNum": numbers,
                                "Rsn": [1] * len(numbers)}))  # fmt: skip
    makers = {"gps": _gps, "imu": _imu, "baro": _baro, "airspeed": _airspeed,
              "attitude": _attitude, "battery": _battery, "arming": _arming,
              "link": _link}  # fmt: skip
    for table, maker in makers.items():
        if table in tables and len(tables[table]):
            blocks.extend(maker(tables[table]))
    for table, name in (("outputs", "RCOU"), ("inputs", "RCIN")):
        if table in tables:
            blocks.append((name, _channels(tables[table])))
    return blocks


def _gps(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    since = t["time_utc"].to_numpy() - GPS_EPOCH + LEAP_SECONDS
    week = np.floor(since / 604800.0)
    now = _clock(t["time_s"])
    fix = {
        "TimeUS": now, "I": t["instance"], "Status": t["fix"],
        "GMS": np.round((since - week * 604800.0) * 1000.0).astype(np.int64),
        "GWk": week.astype(np.int64), "NSats": t["satellites"].astype(int), "HDop": t["hdop"],
        "Lat": t["latitude_deg"], "Lng": t["longitude_deg"], "Alt": t["altitude_msl_m"],
        "Spd": t["ground_speed_m_s"], "GCrs": t["course_deg"], "VZ": -t["climb_m_s"],
        "U": np.ones(len(t), dtype=int),
    }  # fmt: skip
    accuracy = {
        "TimeUS": now, "I": t["instance"], "VDop": 1.6 * t["hdop"],
        "HAcc": t["horizontal_accuracy_m"], "VAcc": 1.6 * t["horizontal_accuracy_m"],
        "SAcc": t["speed_accuracy_m_s"], "VV": np.ones(len(t), dtype=int), "SMS": now // 1000,
        "Delta": np.concatenate([[0], np.diff(now) // 1000]), "AEl": t["altitude_msl_m"],
    }  # fmt: skip
    return [("GPS", fix), ("GPA", accuracy)]


def _imu(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    n = len(t)
    rate = round((n - 1) / (t["time_s"].iloc[-1] - t["time_s"].iloc[0]))
    fields: dict[str, Any] = {"TimeUS": _clock(t["time_s"]), "I": t["instance"]}
    for axis in "xyz":
        fields["Gyr" + axis.upper()] = t[f"gyro_{axis}_rad_s"]
        fields["Acc" + axis.upper()] = t[f"accel_{axis}_m_s2"]
    whole = np.ones(n, dtype=int)
    fields.update(T=np.full(n, 38.0), GH=whole, AH=whole, GHz=whole * rate, AHz=whole * rate)
    return [("IMU", fields)]


def _baro(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    now = _clock(t["time_s"])
    height = t["height_m"].to_numpy()
    climb = np.gradient(height, t["time_s"]) if len(t) > 1 else height
    soft = np.convolve(climb, np.full(9, 1 / 9), "same")
    celsius = t["temperature_k"] - 273.15
    return [("BARO", {
        "TimeUS": now, "I": t["instance"], "Alt": height, "AltAMSL": height,
        "Press": t["pressure_pa"], "Temp": celsius, "CRt": soft, "SMS": now // 1000,
        "GndTemp": np.full(len(t), celsius.iloc[0]), "H": np.ones(len(t), dtype=int),
        "CPress": t["pressure_pa"],
    })]  # fmt: skip


def _airspeed(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    one = np.ones(len(t), dtype=int)
    return [("ARSP", {
        "TimeUS": _clock(t["time_s"]), "I": t["instance"], "Airspeed": t["airspeed_m_s"],
        "DiffPress": t["differential_pressure_pa"], "Temp": 31.0 * one,
        "RawPress": t["differential_pressure_pa"] + 21.5, "Offset": 21.5 * one,
        "U": one, "H": one, "Hp": 1.0 * one,
    })]  # fmt: skip


def _attitude(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    return [("ATT", {
        "TimeUS": _clock(t["time_s"]), "Roll": np.degrees(t["roll_rad"]),
        "Pitch": np.degrees(t["pitch_rad"]), "Yaw": np.degrees(t["yaw_rad"]) % 360.0,
        "DesYaw": np.degrees(t["yaw_rad"]) % 360.0, "AEKF": np.full(len(t), 3),
    })]  # fmt: skip


def _battery(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    used = t["charge_used_coulomb"] / 3.6
    return [("BAT", {
        "TimeUS": _clock(t["time_s"]), "Inst": t["instance"], "Volt": t["voltage_v"],
        "VoltR": t["voltage_v"], "Curr": t["current_a"], "CurrTot": used,
        "EnrgTot": t["energy_used_j"] / 3600.0, "Res": np.full(len(t), 0.02),
        "RemPct": (100.0 - used / 40.0).clip(0, 100).astype(int),
        "H": np.ones(len(t), dtype=int),
    })]  # fmt: skip


def _arming(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    n = len(t)
    return [("ARM", {"TimeUS": _clock(t["time_s"]), "ArmState": t["armed"],
                     "ArmChecks": np.full(n, 1), "Method": np.full(n, 1)})]  # fmt: skip


def _link(t: pd.DataFrame) -> list[tuple[str, Fields]]:
    return [("RSSI", {"TimeUS": _clock(t["time_s"]), "RXRSSI": t["rssi_raw"] / 255.0,
                      "RXLQ": t["quality_pct"]})]  # fmt: skip


def _channels(t: pd.DataFrame) -> Fields:
    fields: dict[str, Any] = {}
    for number, rows in t.groupby("channel"):
        if not fields:
            fields["TimeUS"] = _clock(rows["time_s"])
        fields[f"C{number}"] = rows["pulse_us"].to_numpy().astype(int)
    return fields
