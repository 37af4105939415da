"""Positions of a ULog file: fixes, repeats, and the estimate that stands in for a receiver."""

from __future__ import annotations

import numpy as np

from flightlog.importers.common import (
    BoolArray,
    FloatArray,
    Notes,
    median_rate,
    note_repeated_fixes,
    repeated_rows,
)
from flightlog.importers.ulog_clock import UNIX_2010_S, UNIX_2100_S
from flightlog.importers.ulog_mapping import Columns, mapping, note_source
from flightlog.importers.ulog_sources import Source, mapped, nearest
from flightlog.importers.ulog_topics import Topic

EXTRAPOLATED = 8
"""Fix type of a position that the receiver made up from the ones before."""

BESIDE_S = 0.1
"""An estimate of the speed is put beside an estimated position no further away than this [s]."""


def fixes(source: Source) -> Columns | None:
    """Fixes of every receiver; the autopilot's estimate where the file has no receiver's topic."""
    receivers = [r["topic"] for r in mapping()["source"] if r["table"] == "gps"]
    if not any(source.instances(topic) for topic in receivers):
        return _estimated(source)
    columns = mapped(source, "gps")
    if columns is None or not {"latitude_deg", "longitude_deg"} <= set(columns):
        return None
    unix = columns.get("time_utc")
    if unix is not None:
        columns["time_utc"] = np.where((unix > UNIX_2010_S) & (unix < UNIX_2100_S), unix, np.nan)
    if "course_deg" in columns:
        columns["course_deg"] = columns["course_deg"] % 360.0
    latitude, longitude = columns["latitude_deg"], columns["longitude_deg"]
    nowhere = ~np.isfinite(latitude + longitude) | ((latitude == 0) & (longitude == 0))
    if "fix" in columns:
        nowhere |= (columns["fix"] < 2) | (columns["fix"] == EXTRAPOLATED)
    _tell_nowhere(nowhere, source.notes)
    kept = {"time_s", "instance", "fix", "satellites", "time_utc"}
    for name in set(columns) - kept:
        columns[name] = np.where(nowhere, np.nan, columns[name])
    # A topic is written when it is published anew: without a time of the receiver equal rows
    # with different stamps are a receiver that stands still.
    utc = columns.get("time_utc", np.full(len(latitude), np.nan))
    seen = [columns[n] for n in _OF_A_FIX if n in columns]
    seen.append(np.where(np.isfinite(utc), utc, columns["time_s"]))
    repeated = repeated_rows([*seen, nowhere], columns["instance"]) & ~nowhere
    note_repeated_fixes(repeated, columns["time_s"], source.notes)
    return {name: values[~repeated] for name, values in columns.items()}


_OF_A_FIX = ("latitude_deg", "longitude_deg", "altitude_msl_m", "ground_speed_m_s", "climb_m_s")


def _tell_nowhere(nowhere: BoolArray, notes: Notes) -> None:
    count = int(np.count_nonzero(nowhere))
    if count:
        notes.find(
            "values-missing",
            f"In {count} of {len(nowhere)} position rows the receiver had no position (fix 0 or "
            "1, extrapolated, or latitude 0 and longitude 0).",
            evidence={"rows": count, "table": "gps"},
            remedy="Wait for a position before the flight.",
        )


def _estimated(source: Source) -> Columns | None:
    """Positions from the autopilot's estimate, for files without a receiver's topic."""
    found = source.instances("vehicle_global_position")
    if not found:
        return None
    key, topic = found[0]
    time_s, keep = source.timed(key)
    place = [topic.numbers(name) for name in ("lat", "lon")]
    latitude, longitude = (np.full(len(topic), np.nan) if p is None else p for p in place)
    keep = keep & np.isfinite(latitude + longitude) & ((latitude != 0) | (longitude != 0))
    if not keep.any():
        return None
    source.feed("gps", key)
    columns: Columns = {
        "time_s": time_s,
        "instance": np.zeros(len(topic), dtype=np.int64),
        "latitude_deg": latitude,
        "longitude_deg": longitude,
    }
    altitude = topic.numbers("alt")
    if altitude is not None:
        columns["altitude_msl_m"] = altitude
    columns |= _estimated_speed(source, topic, time_s)
    for name in set(columns) - {"time_s", "instance"}:
        note_source(source.notes, "gps", name, topic.name, "", "the autopilot's estimate")
    line = (
        f"The file holds no position of a receiver; {topic.name}, the autopilot's estimate, stands "
        f"in for it with {int(keep.sum())} rows at {median_rate(time_s[keep]):.3g} Hz."
    )
    source.notes.find("estimated-quantity", line, severity="degrade")
    return {name: values[keep] for name, values in columns.items()}


def _estimated_speed(source: Source, topic: Topic, time_s: FloatArray) -> Columns:
    """Speed over ground of an estimated position: of the same topic, else of the local one."""
    own = [topic.numbers(name) for name in ("vel_n", "vel_e", "vel_d")]
    beside = source.instances("vehicle_local_position")
    if any(v is None for v in own) and beside:
        key, local = beside[0]
        other_s, keep = source.timed(key)
        valid = local.numbers("v_xy_valid")
        keep = keep if valid is None else keep & (valid != 0)
        at = nearest(time_s, other_s[keep], BESIDE_S)
        if not (at >= 0).any():
            return {}
        taken = [local.numbers(name) for name in ("vx", "vy", "vz")]
        own = [None if v is None else np.where(at >= 0, v[keep][at], np.nan) for v in taken]
        source.feed("gps", key)
    north, east, down = own
    if north is None or east is None or down is None:
        return {}
    return {
        "ground_speed_m_s": np.hypot(north, east),
        "course_deg": np.degrees(np.arctan2(east, north)) % 360.0,
        "climb_m_s": -down,
    }
