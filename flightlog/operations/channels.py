"""What a recording holds within a stretch of time, channel by channel, few points each.

Tables of the house first, then every message type of the log as the log has it, where its clock is
the one of the tables. Points are left out so that the lowest and the highest of each short stretch
stay, and the ends of gaps: no peak is lost, and no gap is closed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flightlog.columns import TABLES

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from flightlog.recording import RawTable, Recording

    Array = npt.NDArray[np.float64]

MOST_POINTS = 400
"""Points of a channel that are kept, besides the ends of gaps."""
MOST_PARTS = 32
"""Sensors, channels or cells of one table."""
MOST_EVENTS = 1_000
GAP_S = 1.0
"""A shorter silence is no gap [s]."""
GAP_STEPS = 5.0
"""Nor is one of fewer of the channel's own steps."""

_LONGEST_TEXT = 300
_TEXTS = {"modes": "mode", "messages": "text"}
_RAW_CLOCKS = {
    "TimeUS": 1e-6,
    "TimeMS": 1e-3,
    "timestamp": 1e-6,
    "time_boot_ms": 1e-3,
    "time_usec": 1e-6,
}
"""Fields of the logs' own message types that count from the boot, with their unit [s]."""
_RAW_SLACK_S = 2.0
_INSTANCES = ("I", "Inst", "Instance", "instance")
_UNITS = {(table, c.name): c.unit for table, columns in TABLES.items() for c in columns}


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of a log's own clock: from where to where, and what is zero in it [s]."""

    start_s: float
    zero_s: float
    end_s: float

    def holds(self, time_s: Array) -> npt.NDArray[np.bool_]:
        """Tell which times are within."""
        return (time_s >= self.start_s) & (time_s <= self.end_s)


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel within a stretch of time.

    Attributes
    ----------
    table, column, unit : str
        Where it comes from; the table with sensor or channel where there are several.
    time_s, value : array
        Seconds from zero, negative before it, and the values.
    gap_before : array of bool
        Whether nothing was measured between a point and the one before it, for too long.
    as_logged : bool
        Whether it is a field of the log's own message types, in the log's own unit.
    source : str
        Name of the log.
    axis : str
        Name of the log whose clock the times are of.
    """

    table: str
    column: str
    unit: str
    time_s: Array
    value: Array
    gap_before: npt.NDArray[np.bool_]
    as_logged: bool = False
    source: str = ""
    axis: str = ""


@dataclass(frozen=True, slots=True)
class Happened:
    """Something that a log tells in words: a mode, a message, a parameter that was set."""

    time_s: float
    table: str
    text: str
    source: str = ""
    axis: str = ""


def channels_of(recording: Recording, window: Window) -> list[Channel]:
    """Give the channels of a recording within a stretch of its clock."""
    found = [c for name in recording for c in _table_channels(name, recording[name], window)]
    if recording.receipt.time_origin == "boot" and not recording.receipt.seams:
        ends = _ends(recording)
        for name, raw in recording.raw.items():
            found += _raw_channels(name, raw, window, ends)
    return found


def happened_in(recording: Recording, window: Window) -> list[Happened]:
    """Give what a recording tells in words within a stretch of its clock."""
    found = []
    for name in ("modes", "messages", "parameters"):
        table = recording.get(name)
        if table is None:
            continue
        time_s = table["time_s"].to_numpy(dtype=np.float64)
        for row in np.flatnonzero(window.holds(time_s))[:MOST_EVENTS].tolist():
            text = _text_of(name, table.iloc[row])
            found.append(Happened(float(time_s[row]) - window.zero_s, name, text))
    return found


def _text_of(name: str, row: pd.Series[Any]) -> str:
    if name == "parameters":
        return f"{row['name']} = {row['value']}"[:_LONGEST_TEXT]
    return str(row[_TEXTS[name]])[:_LONGEST_TEXT]


def _ends(recording: Recording) -> tuple[float, float]:
    times = [recording[name]["time_s"].to_numpy(dtype=np.float64) for name in recording]
    every = np.concatenate(times) if times else np.empty(0)
    good = every[np.isfinite(every)]
    return (float(good.min()), float(good.max())) if len(good) else (np.inf, -np.inf)


# --- tables of the house


def _table_channels(name: str, table: pd.DataFrame, window: Window) -> Iterator[Channel]:
    if name in ("parameters", *_TEXTS):
        return
    time_s = table["time_s"].to_numpy(dtype=np.float64)
    near = np.flatnonzero(window.holds(time_s))
    if not len(near):
        return
    key = next((k for k in ("instance", "channel") if k in table.columns), "")
    ids = table[key].to_numpy()[near] if key else np.zeros(len(near), dtype=np.int64)
    several = f" {key} " if key else ""
    for id_ in _few(ids):
        rows = near[ids == id_]
        label = f"{name}{several}{id_}" if key else name
        for column in table.columns:
            if column in ("time_s", key):
                continue
            for part, values in _columns(table[column].to_numpy()[rows]):
                unit = _UNITS.get((name, column), "")
                made = _channel(label, f"{column}{part}", unit, time_s[rows], values, window)
                if made is not None:
                    yield made


def _few(ids: npt.NDArray[Any]) -> list[Any]:
    return sorted(set(ids.tolist()))[:MOST_PARTS]


def _columns(values: npt.NDArray[Any]) -> Iterator[tuple[str, Array]]:
    """Give a column as numbers: itself, or one for each place of its lists; nothing of texts."""
    if values.dtype.kind in "fiub" and values.ndim == 1:
        yield "", values.astype(np.float64)
    elif values.dtype.kind in "fiub" and values.ndim == 2:
        for place in range(min(values.shape[1], MOST_PARTS)):
            yield f"[{place}]", values[:, place].astype(np.float64)
    elif values.dtype.kind == "O" and any(isinstance(v, list | np.ndarray) for v in values):
        yield from _lists(values)


def _lists(values: Iterable[Any]) -> Iterator[tuple[str, Array]]:
    rows = [np.asarray(v, dtype=np.float64).ravel() for v in values]
    for place in range(min(max(map(len, rows), default=0), MOST_PARTS)):
        yield (
            f"[{place}]",
            np.array([row[place] if place < len(row) else np.nan for row in rows]),
        )


# --- what the log itself calls its messages


def _raw_channels(
    name: str, raw: RawTable, window: Window, ends: tuple[float, float]
) -> Iterator[Channel]:
    clock = next((c for c in _RAW_CLOCKS if c in raw.columns), "")
    if not clock or not len(raw):
        return
    time_s = np.asarray(raw[clock], dtype=np.float64) * _RAW_CLOCKS[clock]
    # A field of this name may count from elsewhere; then it is not the clock of the tables.
    if not (time_s.min() >= ends[0] - _RAW_SLACK_S and time_s.max() <= ends[1] + _RAW_SLACK_S):
        return
    near = np.flatnonzero(window.holds(time_s))
    if not len(near):
        return
    key = next((k for k in _INSTANCES if k in raw.columns), "")
    ids = np.asarray(raw[key])[near] if key else np.zeros(len(near), dtype=np.int64)
    for column in raw.columns:
        if column in (clock, key):
            continue
        whole = np.asarray(raw[column])
        if whole.dtype.kind not in "fiub":
            continue
        for id_ in _few(ids):
            rows = near[ids == id_]
            label = f"{name} {id_}" if key else name
            for part, values in _columns(whole[rows]):
                unit = raw.units.get(column, "")
                column_ = f"{column}{part}"
                made = _channel(label, column_, unit, time_s[rows], values, window, as_logged=True)
                if made is not None:
                    yield made


# --- few points


def _channel(
    table: str,
    column: str,
    unit: str,
    time_s: Array,
    value: Array,
    window: Window,
    *,
    as_logged: bool = False,
) -> Channel | None:
    good = np.isfinite(value)
    if not good.any():
        return None
    time_s, value = time_s[good] - window.zero_s, value[good]
    order = np.argsort(time_s, kind="stable")
    time_s, value = time_s[order], value[order]
    steps = np.diff(time_s)
    gap_s = max(GAP_S, GAP_STEPS * float(np.median(steps))) if len(steps) else GAP_S
    gaps = np.concatenate([[False], steps > gap_s])
    kept = thinned(value, gaps)
    # How many gaps there are up to each point: more of them than before is a gap in between.
    before = np.concatenate([[False], np.diff(np.cumsum(gaps)[kept]) > 0])
    return Channel(table, column, unit, time_s[kept], value[kept], before, as_logged)


def thinned(value: Array, gaps: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Choose few points: the lowest and highest of each stretch, and those beside gaps.

    Parameters
    ----------
    value : array
        Finite.
    gaps : array of bool
        Whether there is a gap before each value.

    Returns
    -------
    array of int
        Which values, rising.
    """
    count = len(value)
    if count <= MOST_POINTS:
        return np.arange(count)
    edges = np.linspace(0, count, MOST_POINTS // 2 + 1).astype(np.int64)
    picked = {0, count - 1}
    for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        part = value[start:end]
        picked |= {start + int(part.argmin()), start + int(part.argmax())}
    for after in np.flatnonzero(gaps)[:MOST_POINTS].tolist():
        picked |= {after - 1, after}
    return np.array(sorted(picked), dtype=np.int64)
