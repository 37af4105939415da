"""Makes valid DataFlash logs of any length, and many of different days, out of one flight.

A flight goes round in laps, so there are pairs of moments at which the aircraft is at the same
place, flies in the same direction and is as fast. Between two such moments the log is repeated, or
left out: the clock, the time of week of the receiver, and all counters go on. So a log
of 400 MB is a flight of an hour and a half, and no garbage. It is written piece by piece, in the
memory of one lap.

The records are found by walking the file with its own declarations, without the decoder that is
measured with the result.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from sample_flights.generator.dataflash_writer import HEAD, TYPES
from sample_flights.generator.sensors import GPS_EPOCH

Array = npt.NDArray[Any]

WEEK_MS = 7 * 86_400_000
DAY_S = 86_400
METRES_PER_DEG = 111_195.0
APART_S = 15.0
"""Two moments of one lap have to be at least so far apart."""
CLOSE = 3.0
"""So unlike two moments that are joined may be: metres, or m/s over 3."""
ROUGH_COST = 0.5
"""Seconds of a wanted length that one unit of unlikeness is worth."""

_FORMAT = 128
_DECLARATION = np.dtype([("_head", "V3"), ("_rest", "V86")])
_TYPES = {**TYPES, "a": "V64", "g": "<f2"}
MS_SINCE_BOOT = {"GPA": ("SMS",), "BARO": ("SMS",)}
COUNTERS = {"BAT": ("CurrTot", "EnrgTot"), "ESC": ("CTot",)}
LEFT_OUT = ("XKY0", "XKY1", "XKV1", "XKV2", "XKFS", "XKQ", "XKF2")
"""Inner values of the autopilot's filters: a fifth of a full log, read by nobody here."""


@dataclass(frozen=True)
class Source:
    """One flight, and where its records are.

    Attributes
    ----------
    content : array of uint8
        The whole file.
    starts, ids, times_us : arrays
        Of every record: first byte, type, and time (that of the record before where it has none).
    formats : mapping
        Type to name and numpy layout, with the three bytes of the header.
    """

    content: Array
    starts: Array
    ids: Array
    times_us: Array
    formats: Mapping[int, tuple[str, np.dtype[Any]]]

    def id(self, name: str) -> int:
        """Type of a record by its name."""
        return next(id for id, (known, _) in self.formats.items() if known == name)

    def rows(self, name: str) -> Array:
        """All records of one name as a structured array."""
        id = self.id(name)
        return _fields(self.content, self.starts[self.ids == id], self.formats[id][1])


@dataclass(frozen=True)
class Cut:
    """Two moments that can be taken for each other [µs], and how unlike they are [m]."""

    first_us: int
    second_us: int
    unlike: float

    @property
    def length_us(self) -> int:
        """From the one to the other."""
        return self.second_us - self.first_us


def source_of(path: Path, *, without: tuple[str, ...] = LEFT_OUT) -> Source:
    """Walk through a log record by record; leave out some kinds of records."""
    raw = path.read_bytes()
    formats: dict[int, tuple[str, np.dtype[Any]]] = {_FORMAT: ("FMT", _DECLARATION)}
    starts, ids, at = [], [], 0
    while raw[at : at + 2] == HEAD:
        id = raw[at + 2]
        end = at + formats[id][1].itemsize
        if end > len(raw):
            break
        if id == _FORMAT:
            declared, name, layout = _declared(raw[at:end])
            formats[declared] = (name, layout)
        starts.append(at)
        ids.append(id)
        at = end
    content = np.frombuffer(raw, dtype=np.uint8)
    dropped = [id for id, (name, _) in formats.items() if name in without]
    kept = ~np.isin(ids, dropped)
    first, kinds = np.array(starts)[kept], np.array(ids)[kept]
    return Source(content, first, kinds, _times(content, first, kinds, formats), formats)


def _declared(record: bytes) -> tuple[int, str, np.dtype[Any]]:
    """Take a declaration: type, name, and the layout of its records."""
    name, types, columns = (
        record[a:z].rstrip(b"\0").decode("ascii") for a, z in ((5, 9), (9, 25), (25, 89))
    )
    fields = [(c, _TYPES[t]) for c, t in zip(columns.split(","), types, strict=True)]
    layout = np.dtype([("_head", "V3"), *fields])
    if layout.itemsize != record[4]:
        raise ValueError(f"{name} is declared with {record[4]} bytes, its fields have others")
    return record[3], name, layout


def _times(content: Array, starts: Array, ids: Array, formats: Mapping[int, Any]) -> Array:
    """Time of each record; those without one have that of the record before."""
    times = np.full(len(starts), -1, dtype=np.int64)
    for id, (_, layout) in formats.items():
        at = np.flatnonzero(ids == id)
        if len(at) and "TimeUS" in (layout.names or ()):
            times[at] = _fields(content, starts[at], layout)["TimeUS"]
    return np.maximum.accumulate(times)


def _fields(content: Array, starts: Array, layout: np.dtype[Any]) -> Array:
    """Copy records of one type."""
    at = starts[:, None] + np.arange(layout.itemsize)
    return np.ascontiguousarray(content[at]).view(layout)[:, 0]


def cuts(source: Source) -> list[Cut]:
    """Find pairs of moments in the air that can be taken for each other, for each the best."""
    fixes = source.rows("GPS")
    fixes = fixes[fixes["Status"] >= 3]
    latitude, longitude = fixes["Lat"] * 1e-7, fixes["Lng"] * 1e-7
    course = np.radians(fixes["GCrs"].astype(float))
    speed = fixes["Spd"].astype(float)
    east = np.cos(np.radians(latitude[0])) * METRES_PER_DEG
    state = np.stack(
        [
            latitude * METRES_PER_DEG,
            longitude * east,
            fixes["Alt"] * 0.01 * 3,
            speed * np.cos(course) * 3,
            speed * np.sin(course) * 3,
        ],
        axis=1,
    )
    flown = speed > 8.0
    state, times = state[flown], fixes["TimeUS"][flown].astype(np.int64)
    found = []
    for i in range(len(times)):
        later = np.searchsorted(times, times[i] + int(APART_S * 1e6))
        unlike = np.linalg.norm(state[later:] - state[i], axis=1)
        found += [
            Cut(int(times[i]), int(times[later + k]), float(unlike[k]))
            for k in np.flatnonzero(unlike < CLOSE)
        ]
    if not found:
        raise ValueError("the flight never comes back to where it was")
    return found


def pieces_for(source: Source, size: int) -> list[tuple[int, int]]:
    """Say which parts of the flight, in which order, make a log of about so many bytes.

    Returns
    -------
    list of (int, int)
        Ranges of records.
    """
    lengths = np.zeros(256, dtype=np.int64)
    for id, (_, layout) in source.formats.items():
        lengths[id] = layout.itemsize
    whole = int(lengths[source.ids].sum())
    duration_us = int(source.times_us[-1] - source.times_us[0])
    wanted_us = (size - whole) / whole * duration_us

    def repeats(cut: Cut) -> int:
        return -1 if wanted_us < 0 else round(wanted_us / cut.length_us)

    def miss(cut: Cut) -> float:
        gained_us = repeats(cut) * cut.length_us
        return abs(gained_us - wanted_us) * 1e-6 + ROUGH_COST * cut.unlike * abs(repeats(cut))

    cut = min(cuts(source), key=miss)
    a, z = np.searchsorted(source.times_us, [cut.first_us, cut.second_us], "right").tolist()
    count, times = len(source.starts), repeats(cut)
    if times < 0:
        return [(0, a), (z, count)]
    return [(0, z), *[(a, z)] * times, (z, count)]


def write_log(path: Path, source: Source, size: int) -> int:
    """Write a flight of about so many bytes; give how many it has."""
    written = 0
    with path.open("wb") as file:
        for block in _blocks(source, pieces_for(source, size)):
            written += file.write(block)
    return written


def write_season(
    folder: Path, source: Source, count: int, size: int, last: datetime
) -> Iterator[Path]:
    """Write the logs of so many flights of about so many bytes each.

    Parameters
    ----------
    folder : Path
        Where to.
    source : Source
        The flight that they are made of.
    count, size : int
        How many, and wanted bytes of each.
    last : datetime
        When the last of them begins; each is two hours after the one before, four a day.

    Yields
    ------
    Path
        Each file when it is written.
    """
    one = folder / "one.part"
    write_log(one, source, size)
    flight = source_of(one, without=())
    one.unlink()
    since_s = round(last.timestamp() - _began_s(flight))
    for n in range(count):
        days, turn = divmod(count - 1 - n, 4)
        content = flight.content.copy()
        for name in ("GPS", "PARM"):
            id = flight.id(name)
            starts, layout = flight.starts[flight.ids == id], flight.formats[id][1]
            rows = _fields(content, starts, layout)
            _later(name, rows, since_s - days * DAY_S - turn * 7200, boots=n)
            at = starts[:, None] + np.arange(layout.itemsize)
            content[at] = rows.view(np.uint8).reshape(len(rows), -1)
        path = folder / f"{n + 1:08d}.BIN"
        path.write_bytes(content.tobytes())
        yield path


def _began_s(source: Source) -> float:
    """When the first fix was, without leap seconds [s since 1970]."""
    fixes = source.rows("GPS")
    first = fixes[fixes["GWk"] > 0][0]
    return float(GPS_EPOCH + first["GWk"] * (WEEK_MS / 1000) + first["GMS"] / 1000)


def _blocks(source: Source, pieces: list[tuple[int, int]]) -> Iterator[bytes]:
    """Give each piece's bytes, with clock and counters going on."""
    shift_us, counters = 0, _Counters(source)
    end, end_us = 0, 0
    for a, z in pieces:
        if a != end:
            # The last record before the seam is of the same moment as the one before the piece.
            shift_us = end_us - int(source.times_us[a - 1])
        rows = _by_type(source, a, z)
        for id, (_, fields) in rows.items():
            _shifted(source.formats[id][0], fields, shift_us)
            counters.go_on(id, fields, a)
        end, end_us = z, int(source.times_us[z - 1]) + shift_us
        yield _joined(z - a, rows)


def _by_type(source: Source, a: int, z: int) -> dict[int, tuple[Array, Array]]:
    """Take a range of records apart: by type their places in it, and the records."""
    ids, starts = source.ids[a:z], source.starts[a:z]
    found = {}
    for id in np.unique(ids).tolist():
        at = np.flatnonzero(ids == id)
        found[id] = (at, _fields(source.content, starts[at], source.formats[id][1]))
    return found


def _shifted(name: str, rows: Array, shift_us: int) -> None:
    """Move everything that tells a time."""
    if "TimeUS" in (rows.dtype.names or ()):
        rows["TimeUS"] = rows["TimeUS"].astype(np.int64) + shift_us
    for column in MS_SINCE_BOOT.get(name, ()):
        rows[column] = rows[column].astype(np.int64) + round(shift_us / 1000)
    if name == "GPS":
        _later_fixes(rows, round(shift_us / 1000))


def _later(name: str, rows: Array, later_s: int, boots: int) -> None:
    """Let it have been flown at another time, when the autopilot had been started more often."""
    if name == "GPS":
        _later_fixes(rows, later_s * 1000)
    else:
        rows["Value"][rows["Name"] == b"STAT_BOOTCNT"] += boots


def _later_fixes(rows: Array, later_ms: int) -> None:
    known = rows["GWk"] > 0
    ms = rows["GMS"].astype(np.int64) + later_ms
    rows["GWk"] = np.where(known, rows["GWk"] + ms // WEEK_MS, 0)
    rows["GMS"] = np.where(known, ms % WEEK_MS, 0)


class _Counters:
    """What was used so far: it goes on over a seam."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self._last: dict[tuple[int, str, int], float] = {}

    def go_on(self, id: int, rows: Array, begin: int) -> None:
        """Raise the counters of a piece's records to where those before left them."""
        name, layout = self._source.formats[id]
        columns = [c for c in COUNTERS.get(name, ()) if c in (layout.names or ())]
        if not columns:
            return
        instance = next(c for c in ("Inst", "Instance", "I") if c in (layout.names or ()))
        earlier = self._source.ids[:begin] == id
        before = _fields(self._source.content, self._source.starts[:begin][earlier], layout)
        for which in np.unique(rows[instance]).tolist():
            mine, theirs = rows[instance] == which, before[before[instance] == which]
            for column in columns:
                key = (id, column, which)
                from_ = float(theirs[column][-1]) if len(theirs) else 0.0
                rows[column][mine] += self._last.get(key, from_) - from_
                self._last[key] = float(rows[column][mine][-1])


def _joined(count: int, rows: dict[int, tuple[Array, Array]]) -> bytes:
    """Put records of all types back into the order of the file."""
    lengths = np.zeros(count, dtype=np.int64)
    for at, fields in rows.values():
        lengths[at] = fields.dtype.itemsize
    begins = np.cumsum(lengths) - lengths
    out = np.empty(int(lengths.sum()), dtype=np.uint8)
    for at, fields in rows.values():
        size = fields.dtype.itemsize
        out[begins[at][:, None] + np.arange(size)] = fields.view(np.uint8).reshape(-1, size)
    return out.tobytes()
