"""Tables of a ULog file: topics onto house columns.

What goes where stands in ``ulog.toml``; here and in the modules beside is what a list can't say:
attitude out of quaternions, packs without a current sensor, cells that nobody measured.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.importers import ulog_channels
from flightlog.importers.common import Notes
from flightlog.importers.house import house_table, is_stuck
from flightlog.importers.ulog_mapping import Columns, mapping, note_source
from flightlog.importers.ulog_positions import fixes
from flightlog.importers.ulog_sources import Source, joined, mapped, part_of
from flightlog.importers.ulog_topics import Topic

if TYPE_CHECKING:
    import pandas as pd

UNIT_LENGTH = 0.1
"""A quaternion whose length is further from 1 than this tells no attitude."""


def sensor_tables(source: Source) -> dict[str, pd.DataFrame]:
    """Every table of measurements and commands that the file has topics for."""
    makers: dict[str, Callable[[Source], Columns | None]] = {
        "gps": fixes,
        "baro": lambda s: mapped(s, "baro"),
        "airspeed": lambda s: mapped(s, "airspeed"),
        "imu": lambda s: mapped(s, "imu"),
        "attitude": _attitude,
        "battery": _battery,
        "outputs": ulog_channels.outputs,
        "inputs": ulog_channels.inputs,
        "link": lambda s: mapped(s, "link"),
        "supply": lambda s: mapped(s, "supply"),
        "rotation": lambda s: ulog_channels.rotation(s) or mapped(s, "rotation"),
    }
    tables: dict[str, pd.DataFrame] = {}
    for name, make in makers.items():
        columns = make(source)
        if columns is not None and len(columns["time_s"]):
            tables[name] = house_table(name, columns, source.notes)
    return tables


# --- attitude


def _attitude(source: Source) -> Columns | None:
    """Roll, pitch and yaw of the first instance, from its quaternion where it has one."""
    for key, topic in source.instances("vehicle_attitude")[:1]:
        time_s, keep = source.timed(key)
        q = [topic.numbers("q", i) for i in range(4)]
        angles = [topic.numbers(name) for name in ("roll", "pitch", "yaw")]
        if all(part is not None for part in q):
            values, what = euler(np.stack([p for p in q if p is not None])), "q"
        elif all(part is not None for part in angles):
            values, what = np.stack([p for p in angles if p is not None]), "{name}"
        else:
            return None
        names = ("roll_rad", "pitch_rad", "yaw_rad")
        for name in names:
            field = what.format(name=name.removesuffix("_rad"))
            note_source(source.notes, "attitude", name, f"{topic.name}.{field}", "rad")
        source.feed("attitude", key)
        known = np.isfinite(values).all(axis=0)
        lost = int(np.count_nonzero(keep & ~known))
        source.notes.drop("attitude: quaternion of no unit length, or no number", lost)
        keep = keep & known
        return {"time_s": time_s[keep], **dict(zip(names, values[:, keep], strict=True))}
    return None


def euler(q: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Roll, pitch and yaw of a rotation from body axes (forward, right, down) to north-east-down.

    Parameters
    ----------
    q : array (4, rows)
        Unit quaternion by Hamilton's rule, scalar first.

    Returns
    -------
    array (3, rows)
        Roll -pi to pi, pitch -pi/2 to pi/2, yaw -pi to pi; NaN where ``q`` has no unit length.
        [rad]

    Notes
    -----
    Yaw, pitch, roll in this order about z, y, x (Diebel 2006, "Representing Attitude", section
    8.12).
    """
    length = np.sqrt(np.sum(q**2, axis=0))
    good = np.abs(length - 1.0) < UNIT_LENGTH
    w, x, y, z = q / np.where(good, length, np.nan)
    roll = np.arctan2(2 * (w * x + y * z), 1 - 2 * (x * x + y * y))
    pitch = np.arcsin(np.clip(2 * (w * y - z * x), -1.0, 1.0))
    yaw = np.arctan2(2 * (w * z + x * y), 1 - 2 * (y * y + z * z))
    return np.stack([roll, pitch, yaw])


# --- packs


def _battery(source: Source) -> Columns | None:
    """Packs, without the values that stand for "not measured" and cells that nobody measured."""
    rule = next(r for r in mapping()["source"] if r["table"] == "battery")
    parts = []
    for key, topic in source.instances(rule["topic"]):
        part = part_of(source, "battery", rule, key)
        if part is None or not _is_there(source, key, part):
            continue
        _without_current(source.notes, key, part)
        if "temperature_k" in part and is_stuck(part["temperature_k"], ZERO_CELSIUS_K):
            del part["temperature_k"]
            source.notes.lines.append(f"{key}: no temperature, the log holds 0 °C throughout")
        cells = _cells(source, topic, key)
        part["cell_voltages"] = cells[source.timed(key)[1]]
        parts.append(part)
    return joined(parts) if parts else None


def _is_there(source: Source, key: str, part: Columns) -> bool:
    """Whether a pack has a voltage; counters stand at 0 also where nothing is connected."""
    voltage = part.get("voltage_v")
    if voltage is not None and np.isfinite(voltage).any():
        return True
    source.notes.lines.append(f"{key}: no voltage in any row, so no pack: left out")
    source.fed["battery"].remove(key)
    return False


def _without_current(notes: Notes, key: str, part: Columns) -> None:
    """Tell a pack without a current sensor; its counters count nothing."""
    current = part.get("current_a")
    if current is None:
        return
    silent = not np.isfinite(current).any()
    if not silent and not is_stuck(current, 0.0, 0.01, -0.01):
        return
    reads = "-1 A, which stands for 'not measured'," if silent else f"{current[0]:.2f} A"
    notes.find(
        "current-not-measured",
        f"{key}: the current reads {reads} in all {len(current)} rows; only the voltage is "
        "measured.",
        evidence={"topic": key, "rows": len(current)},
    )
    for name in {"current_a", "charge_used_coulomb"} & set(part):
        part[name] = np.full(len(current), np.nan)


def _cells(source: Source, topic: Topic, key: str) -> npt.NDArray[Any]:
    """Cell voltages of each row, as lists [V]; None where they were not measured."""
    lists = np.full(len(topic), None, dtype=object)
    count = topic.length("voltage_cell_v")
    columns = [topic.numbers("voltage_cell_v", i) for i in range(count)]
    if not columns:
        return lists
    volts = np.stack([c for c in columns if c is not None], axis=1)
    volts = np.where(np.isfinite(volts) & (volts > 0), volts, np.nan)
    used = np.isfinite(volts).any(axis=0)
    if not used.any():
        return lists
    volts = volts[:, : int(np.flatnonzero(used)[-1]) + 1]
    same = np.nanmax(volts, axis=1, initial=0.0) == np.nanmin(volts, axis=1, initial=np.inf)
    if volts.shape[1] > 1 and same[np.isfinite(volts).any(axis=1)].all():
        source.notes.lines.append(
            f"{key}: all {volts.shape[1]} cells read alike, so they are the total divided by "
            "their number and no measurement: left out"
        )
        return lists
    for row in np.flatnonzero(np.isfinite(volts).any(axis=1)).tolist():
        lists[row] = volts[row].tolist()
    note_source(source.notes, "battery", "cell_voltages", "battery_status.voltage_cell_v", "V")
    return lists
