"""Modes, arming, texts and parameters of a telemetry file: what happens now and then."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from flightlog.importers.common import clean_text
from flightlog.importers.house import house_table
from flightlog.importers.mavlink_frames import MessageTable
from flightlog.importers.mavlink_tables import Sender

ARMED_BIT = 0x80
"""In HEARTBEAT.base_mode: the motor may run."""

ARDUPILOT, PX4 = 3, 12
"""MAV_AUTOPILOT of the two families whose mode numbers are published."""

CHUNK = 50
"""Characters in one STATUSTEXT; a longer text goes on in the next."""

INTEGER_TYPES = {1: "<u1", 2: "<i1", 3: "<u2", 4: "<i2", 5: "<u4", 6: "<i4"}
"""MAV_PARAM_TYPE of integers -> their bytes, where they are sent as bytes."""

_FIRMWARE = re.compile(r"^[A-Za-z][\w ]{1,40}? [Vv]\d+\.\d+(\.\d+)?\b")


def event_tables(sender: Sender) -> dict[str, pd.DataFrame]:
    """Tables ``modes``, ``arming``, ``messages`` and ``parameters``, as far as there are any."""
    tables: dict[str, pd.DataFrame] = {}
    heartbeat = sender.messages.get("HEARTBEAT")
    if heartbeat is not None:
        tables["modes"] = _modes(sender, heartbeat)
        tables["arming"] = _arming(sender, heartbeat)
    if "STATUSTEXT" in sender.messages:
        tables["messages"] = _texts(sender, sender.messages["STATUSTEXT"])
    if "PARAM_VALUE" in sender.messages:
        tables["parameters"] = _parameters(sender, sender.messages["PARAM_VALUE"])
    return {
        name: house_table(name, {str(c): table[c].to_numpy() for c in table.columns})
        for name, table in tables.items()
        if len(table)
    }


def _changes(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Indices of the first value and of each that differs from the one before."""
    return np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1]]))


def _modes(sender: Sender, heartbeat: MessageTable) -> pd.DataFrame:
    number, kind = heartbeat["custom_mode"], heartbeat["type"]
    at = _changes(number.astype(np.int64) * 256 + kind)
    named = _mode_names(sender.autopilot)
    names = [named(int(kind[i]), int(number[i])) for i in at.tolist()]
    return pd.DataFrame({"time_s": sender.timeline.of(heartbeat)[at], "mode": names})


def _mode_names(autopilot: int | None) -> Callable[[int, int], str]:
    """Name of a mode by vehicle type and number, as pymavlink knows it."""
    names = _published_modes()

    def named(kind: int, number: int) -> str:
        if autopilot == ARDUPILOT:
            return str((names.mode_mapping_bynumber(kind) or {}).get(number, f"mode {number}"))
        if autopilot == PX4:
            return clean_text(str(names.interpret_px4_mode(0, number)))
        return f"mode {number}"

    return named


@cache
def _published_modes() -> Any:
    # This module writes its own settings into the environment when it is loaded, which
    # would change how other programs' child processes read MAVLink.
    before = os.environ.get("MAVLINK_DIALECT")
    from pymavlink import mavutil

    if before is None:
        os.environ.pop("MAVLINK_DIALECT", None)
    return mavutil


def _arming(sender: Sender, heartbeat: MessageTable) -> pd.DataFrame:
    armed = (heartbeat["base_mode"] & ARMED_BIT) != 0
    at = _changes(armed)
    time_s = sender.timeline.of(heartbeat)[at]
    return pd.DataFrame({"time_s": time_s, "armed": armed[at].astype(np.int64)})


def _texts(sender: Sender, table: MessageTable) -> pd.DataFrame:
    """Texts, those sent in several parts joined."""
    time_s = sender.timeline.of(table).tolist()
    rows: list[tuple[float, int, str]] = []
    waiting, next_part = 0, 0
    columns = (table[c].tolist() for c in ("severity", "text", "id", "chunk_seq"))
    for at, severity, text, group, part in zip(time_s, *columns, strict=True):
        if group and group == waiting and part == next_part:
            rows[-1] = (*rows[-1][:2], rows[-1][2] + text)
        else:
            rows.append((at, severity, text))
        # A full part says that more may follow.
        waiting, next_part = (group, part + 1) if len(text.encode()) >= CHUNK else (0, 0)
    return pd.DataFrame(
        {
            "time_s": [r[0] for r in rows],
            "severity": [r[1] for r in rows],
            "text": [clean_text(r[2]) for r in rows],
        }
    )


def _parameters(sender: Sender, table: MessageTable) -> pd.DataFrame:
    value = table.numbers("param_value")
    if sender.autopilot == PX4:
        # This family puts the bytes of an integer where the float stands.
        sent = np.ascontiguousarray(table["param_value"])
        for kind, code in INTEGER_TYPES.items():
            of_kind = table["param_type"] == kind
            whole = sent[of_kind].view("u1").reshape(-1, 4)[:, : np.dtype(code).itemsize]
            value[of_kind] = np.ascontiguousarray(whole).view(code).reshape(-1)
    names = [clean_text(n) for n in table["param_id"].tolist()]
    return pd.DataFrame({"time_s": sender.timeline.of(table), "name": names, "value": value})


def firmware(messages: Mapping[str, MessageTable]) -> str:
    """What the file says of the firmware: its own text, else the version number, else ""."""
    if "STATUSTEXT" in messages:
        for text in messages["STATUSTEXT"]["text"].tolist():
            if _FIRMWARE.match(text):
                return clean_text(text)
    if "AUTOPILOT_VERSION" in messages and len(messages["AUTOPILOT_VERSION"]):
        number = int(messages["AUTOPILOT_VERSION"]["flight_sw_version"][-1])
        if number:
            return f"{number >> 24}.{number >> 16 & 255}.{number >> 8 & 255}"
    return ""
