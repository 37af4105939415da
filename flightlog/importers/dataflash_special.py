"""DataFlash tables of another shape: channels, cells, modes, texts, parameters, arming."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import FloatArray, clean_text
from flightlog.importers.dataflash_formats import Messages
from flightlog.importers.dataflash_mapping import instances, is_number, mapping

if TYPE_CHECKING:
    from flightlog.importers.dataflash_tables import Builder

Columns = dict[str, npt.NDArray[Any]]
IntArray = npt.NDArray[np.int64]

UNUSED_PULSES = (0.0, 65535.0, -1.0)
"""What loggers write for a channel that is not driven."""


def channels(builder: Builder, name: str) -> Columns | None:
    """Pulses of all channels that were ever driven, one row a channel and time."""
    pattern = re.compile(mapping()["channels"]["pattern"])
    parts: list[Columns] = []
    for message in mapping()["channels"][name]:
        table = builder.log.get(message)
        if table is None:
            continue
        time_s, keep = builder.timed(table, name)
        for column in table.columns:
            match = pattern.match(column)
            if match is None or not is_number(table, column):
                continue
            pulse = table[column].astype(np.float64)
            driven = keep & ~np.isin(pulse, UNUSED_PULSES) & np.isfinite(pulse)
            if driven.any():
                channel = np.full(int(driven.sum()), int(match[1]), dtype=np.int64)
                parts.append(
                    {"time_s": time_s[driven], "channel": channel, "pulse_us": pulse[driven]}
                )
    if not parts:
        return None
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}


def cell_voltages(builder: Builder, table: Messages, instance: IntArray) -> npt.NDArray[Any] | None:
    """Cell voltages beside each row of a pack message, as lists [V]; None where not logged."""
    spec = mapping()["cells"]
    pattern = re.compile(spec["pattern"])
    for message in spec["messages"]:
        other = builder.log.get(message)
        if other is None:
            continue
        fields = sorted(
            (int(m[1]), c) for c in other.columns if (m := pattern.match(c)) and is_number(other, c)
        )
        if not fields:
            continue
        volts = np.stack([other[c].astype(np.float64) / 1e3 for _, c in fields], axis=1)
        volts[(volts <= 0) | (volts >= 60)] = np.nan  # 65535: no such cell
        used = np.isfinite(volts).any(axis=0)
        if not used.any():
            continue
        at = builder.nearest(table, instance, other, instances(other), spec["within_s"])
        cells = np.full(len(table), None, dtype=object)
        lists = volts[:, : int(np.flatnonzero(used)[-1]) + 1].tolist()
        for row in np.flatnonzero(at >= 0).tolist():
            cells[row] = lists[at[row]]
        return cells
    return None


def firmware(log: Mapping[str, Messages]) -> str:
    """What the log says of its firmware; empty when nothing."""
    table = log.get("VER")
    if table is not None and "FWS" in table.columns and not is_number(table, "FWS"):
        return clean_text(str(table["FWS"][0]))
    for text in _texts(log, "MSG", "Message")[:200]:
        if re.search(r"\bV?\d+\.\d+", text):
            return clean_text(text)
    return ""


def vehicle(log: Mapping[str, Messages]) -> str:
    """Which list of modes the log uses: a key of ``[vehicles]`` in the data, or empty."""
    said = " ".join([firmware(log), *_texts(log, "MSG", "Message")[:50]])
    built = log.get("VER")
    build_type = built["BT"][0] if built is not None and is_number(built, "BT") else None
    names = set(_texts(log, "PARM", "Name"))
    for kind, spec in mapping()["vehicles"].items():
        if any(text in said for text in spec["texts"]) or build_type in spec["build_types"]:
            return str(kind)
    for kind, spec in mapping()["vehicles"].items():
        if names & set(spec["parameters"]):
            return str(kind)
    return ""


def _texts(log: Mapping[str, Messages], message: str, field: str) -> list[str]:
    """All values of a text field; empty when the log lacks it."""
    table = log.get(message)
    if table is None or field not in table.columns or table.format.field(field).char not in "nNZ":
        return []
    return [str(text) for text in table[field]]


def modes(builder: Builder) -> Columns | None:
    """Flight modes by name, whether the log holds a number or a text."""
    table = builder.log.get("MODE")
    if table is None or "Mode" not in table.columns:
        return None
    time_s, keep = builder.timed(table, "modes")
    known: Mapping[str, str] = mapping()["modes"].get(vehicle(builder.log), {})
    if is_number(table, "Mode"):
        names = [_mode_name(int(n), known) for n in table["Mode"].tolist()]
    else:
        names = [_mode_of_text(clean_text(str(text)), known) for text in table["Mode"]]
    return {"time_s": time_s[keep], "mode": np.array(names, dtype=object)[keep]}


def _mode_name(number: int, known: Mapping[str, str]) -> str:
    return known.get(str(number), f"mode {number}")


def _mode_of_text(text: str, known: Mapping[str, str]) -> str:
    """Name of a mode that is printed; where the logger had no name it printed a number."""
    number = re.fullmatch(r"(?:Mode\()?([0-9]{1,3})\)?", text)
    return _mode_name(int(number[1]), known) if number else text


def messages(builder: Builder) -> Columns | None:
    """Texts that the autopilot wrote. The format holds no severity."""
    texts = _texts(builder.log, "MSG", "Message")
    if not texts:
        return None
    time_s, keep = builder.timed(builder.log["MSG"], "messages")
    cleaned = np.array([clean_text(text) for text in texts], dtype=object)
    return {"time_s": time_s[keep], "text": cleaned[keep]}


def parameters(builder: Builder) -> Columns | None:
    """Parameters; one that was changed stands again at that time."""
    table = builder.log.get("PARM")
    names = _texts(builder.log, "PARM", "Name")
    if table is None or not names or not is_number(table, "Value"):
        return None
    time_s, keep = builder.timed(table, "parameters")
    cleaned = np.array([clean_text(name) for name in names], dtype=object)
    values: FloatArray = table["Value"].astype(np.float64)
    values = np.where(np.isfinite(values), values, np.nan)
    return {"time_s": time_s[keep], "name": cleaned[keep], "value": values[keep]}


def arming(builder: Builder) -> Columns | None:
    """Changes between armed and disarmed, from the first message that tells them."""
    for spec in mapping()["arming"]:
        table = builder.log.get(spec["message"])
        if table is None or not is_number(table, spec["field"]):
            continue
        time_s, keep = builder.timed(table, "arming")
        state = table[spec["field"]].astype(np.float64)
        if "on" in spec:
            keep = keep & np.isin(state, [spec["on"], spec["off"]])
            armed = (state == spec["on"]).astype(np.float64)
        else:
            keep = keep & np.isfinite(state)
            armed = (state != 0).astype(np.float64)
        time_s, armed = time_s[keep], armed[keep]
        if not len(armed):
            continue
        changes = np.concatenate([[True], np.diff(armed) != 0])
        return {"time_s": time_s[changes], "armed": armed[changes]}
    return None
