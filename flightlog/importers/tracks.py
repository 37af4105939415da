"""What the track formats share: one clock, repeated fixes, tables, receipt, raw lines."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import (
    GPS_LATENCY_STD_S,
    FloatArray,
    Notes,
    make_receipt,
    median_rate,
    read_bytes,
    repeated_rows,
    sha256_of,
)
from flightlog.importers.house import house_table
from flightlog.importers.row_clock import RowClock, row_clock
from flightlog.importers.text import decode
from flightlog.recording import ColumnSource, Recording, UtcRelation

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import RawTable

ROUNDED_STD_S = 0.29
"""Standard uncertainty of stamps in whole seconds that may have been cut: 1/sqrt(12) [s]."""

MOST_KINDS = 200
"""So many message types are counted by name; more are nonsense and go under one name."""

OTHERS = "others"

TOLD_EVERY = 1 << 18
"""Progress is told after so many characters of a text."""

_EMPTY: array[float] = array("d")


@dataclass(slots=True)
class Track:
    """Fixes in the file's order, before they have one clock.

    Attributes
    ----------
    what : str
        What the rows are, for the messages: "track points", "fixes".
    stamp_s : array
        UTC of each fix in Unix seconds, or seconds of the first day where there is no date;
        NaN where a row has none. [s]
    columns : dict of str to dict of str to array
        Table -> column of `flightlog.columns` -> values, in the same order. All are of the
        same length; a table whose values are all NaN is left out.
    dated : bool
        Whether ``stamp_s`` is UTC with its date.
    source : str
        What the stamps are, in the file's own words.
    """

    what: str
    stamp_s: FloatArray
    columns: dict[str, dict[str, FloatArray]]
    dated: bool
    source: str


@dataclass(frozen=True, slots=True)
class TrackFile:
    """A file of a track: its place and its bytes."""

    path: Path
    content: bytes

    @classmethod
    def read(cls, path: Path) -> TrackFile:
        """Read a file.

        Raises
        ------
        LogFileError
            If it can't be read.
        """
        return cls(path, read_bytes(path).tobytes())

    def text(self) -> str:
        """Give its characters, lines ending in newlines."""
        return decode(self.content).text.replace("\r\n", "\n").replace("\r", "\n")


def finish(
    track: Track,
    file: TrackFile,
    *,
    format: str,
    version: int,
    raw: Mapping[str, RawTable],
    counts: Mapping[str, int],
    notes: Notes,
    firmware: str = "",
) -> Recording:
    """Make the recording of a track: clock, tables, receipt.

    Rows that repeat the one before are left out before anything else, so that they neither
    count as data nor as a rate.
    """
    track = _without_repeats(track, notes)
    clock = row_clock(track.stamp_s, notes, what=track.what)
    tables = _tables(track, clock, notes)
    receipt = make_receipt(
        path=file.path,
        size=len(file.content),
        sha256=sha256_of(file.content),
        format=format,
        importer_version=version,
        tables=tables,
        message_counts=counts,
        notes=notes,
        firmware=firmware,
        time_origin="first row",
        utc=_utc(track, clock),
        seams=clock.seams,
        clock=_clock_in_words(track, clock),
    )
    return Recording(tables, receipt, raw, tuple(notes.findings))


def _without_repeats(track: Track, notes: Notes) -> Track:
    columns = [values for table in track.columns.values() for values in table.values()]
    repeated = repeated_rows([track.stamp_s, *columns])
    # Two rows without a time can't repeat a fix: nothing says when they were.
    repeated &= np.isfinite(track.stamp_s)
    count, rows = int(repeated.sum()), len(repeated)
    if not count:
        return track
    keep = ~repeated
    true = median_rate(track.stamp_s[keep])
    notes.drop("repeated fix", count)
    notes.find(
        "repeated-fixes",
        f"{count} of {rows} {track.what} repeat the one before in everything, the time "
        f"included; the true rate is {true:.3g} Hz.",
        evidence={"repeated": count, "rows": rows, "true_rate_hz": true},
    )
    thinned = {
        name: {column: values[keep] for column, values in table.items()}
        for name, table in track.columns.items()
    }
    return Track(track.what, track.stamp_s[keep], thinned, track.dated, track.source)


def _tables(track: Track, clock: RowClock, notes: Notes) -> dict[str, pd.DataFrame]:
    keep = clock.keep
    tables: dict[str, pd.DataFrame] = {}
    for name, columns in track.columns.items():
        kept = {column: values[keep] for column, values in columns.items()}
        if not any(np.isfinite(values).any() for values in kept.values()):
            continue
        kept["time_s"] = clock.time_s[keep]
        if name == "gps" and track.dated:
            kept["time_utc"] = track.stamp_s[keep]
        tables[name] = house_table(name, kept, notes)
    return tables


def _utc(track: Track, clock: RowClock) -> UtcRelation:
    if not track.dated:
        return UtcRelation(source=f"{track.source}, without a date")
    if not np.isfinite(clock.zero_s):
        return UtcRelation()
    stamps = track.stamp_s[clock.keep]
    whole = bool(np.all(stamps == np.floor(stamps)))
    std = float(np.hypot(GPS_LATENCY_STD_S, ROUNDED_STD_S)) if whole else GPS_LATENCY_STD_S
    return UtcRelation(offset_s=clock.zero_s, std_s=std, source=track.source)


def _clock_in_words(track: Track, clock: RowClock) -> str:
    text = f"{track.source}; seconds since the first of the {track.what}"
    if clock.whole_seconds:
        text += ", rows that share a second spread evenly over it"
    return text


def day_unwrapped(time_of_day_s: FloatArray) -> FloatArray:
    """Let a time of day go on through midnight instead of falling to 0.

    Parameters
    ----------
    time_of_day_s : array
        0 to 86400 in the file's order; NaN where a row has none. [s]

    Returns
    -------
    array
        Seconds since midnight of the first row's day. [s]

    Notes
    -----
    A step of more than 12 hours is taken to cross midnight, in either direction, so that one
    wrong row costs nothing but itself. A pause of more than 12 hours can't be told.
    """
    good = np.isfinite(time_of_day_s)
    unwrapped = time_of_day_s.copy()
    unwrapped[good] = np.unwrap(time_of_day_s[good], period=86400.0)
    return unwrapped


def lines_of(text: str, tell: Callable[[float], None]) -> Iterator[tuple[int, str]]:
    """Give place and content of every line that is not blank, without holding a list of them.

    Parameters
    ----------
    text : str
        The file, lines ending in newlines.
    tell : callable
        Called now and then with the fraction done.
    """
    place, told, size = 0, 0, len(text)
    while place < size:
        if place >= told:
            tell(place / size)
            told = place + TOLD_EVERY
        end = text.find("\n", place)
        end = size if end < 0 else end
        line = text[place:end].lstrip()
        if line:
            yield end - len(line), line.rstrip()
        place = end + 1


def note_source(
    notes: Notes, column: str, source: str, unit: str = "", why: str = "", table: str = "gps"
) -> None:
    """Tell the receipt where a column came from."""
    notes.sources.append(ColumnSource(table, column, source, unit, why))


class Columns:
    """Numbers gathered row by row, eight bytes each; a column costs nothing until it is used."""

    def __init__(self, names: Sequence[str]) -> None:
        self._names = frozenset(names)
        self._values: dict[str, array[float]] = {}
        self._rows = 0

    def __len__(self) -> int:
        return self._rows

    def add(self, row: Mapping[str, float]) -> None:
        """Add a row; what is not given is NaN."""
        self._rows += 1
        for name, value in row.items():
            self.fill(name, value)

    def fill(self, name: str, value: float) -> None:
        """Set a value of the last row unless it has one."""
        values = self._values.get(name)
        if values is None:
            if name not in self._names:
                raise KeyError(name)
            values = self._values[name] = array("d")
        missing = self._rows - len(values)
        if missing > 1:
            values.extend(array("d", [np.nan]) * (missing - 1))
        if missing:
            values.append(value)
        elif values[-1] != values[-1]:
            values[-1] = value

    def __getitem__(self, name: str) -> FloatArray:
        if name not in self._names:
            raise KeyError(name)
        values = self._values.get(name, _EMPTY)
        filled = np.full(self._rows, np.nan)
        filled[: len(values)] = values
        return filled


@dataclass(slots=True)
class LineIndex:
    """Where the lines of each kind stand in a text."""

    starts: dict[str, array[int]] = field(default_factory=dict)

    def add(self, kind: str, place: int) -> None:
        """Note one line."""
        known = self.starts.get(kind)
        if known is None:
            kind = kind if len(self.starts) < MOST_KINDS else OTHERS
            known = self.starts.setdefault(kind, array("q"))
        known.append(place)

    @property
    def counts(self) -> dict[str, int]:
        """Kind -> lines."""
        return {kind: len(starts) for kind, starts in self.starts.items()}


class LineTable:
    """All lines of one kind of a text file, split when a column is asked for."""

    def __init__(self, text: str, starts: Sequence[int], columns: Mapping[str, Cut]) -> None:
        self._text = text
        self._starts = starts
        self._cuts = dict(columns)
        self.units: Mapping[str, str] = {}

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names."""
        return tuple(self._cuts)

    def __len__(self) -> int:
        return len(self._starts)

    def __getitem__(self, column: str) -> npt.NDArray[Any]:
        cut = self._cuts[column]
        texts = [cut.of(self._line(start)) for start in self._starts]
        try:
            return np.array([float(t) if t else np.nan for t in texts])
        except ValueError:
            return np.array(texts, dtype=object)

    def _line(self, start: int) -> str:
        end = self._text.find("\n", start)
        return self._text[start : end if end >= 0 else len(self._text)].strip()


@dataclass(frozen=True, slots=True)
class Cut:
    """How a field is cut out of a line: by place, or as one of several between commas.

    Attributes
    ----------
    start, end : int
        Characters, or ``end`` < 0: ``start`` is the number of the field, from 0.
    """

    start: int
    end: int = -1

    def of(self, line: str) -> str:
        """Give the field of a line, "" when it is too short."""
        if self.end >= 0:
            return line[self.start : self.end].strip()
        cells = line.partition("*")[0].split(",", self.start + 1)
        return cells[self.start].strip() if self.start < len(cells) else ""


class ArrayTable:
    """A message type whose columns are at hand as arrays."""

    def __init__(
        self, values: Mapping[str, npt.NDArray[Any]], units: Mapping[str, str] | None = None
    ) -> None:
        self._values = dict(values)
        self.units: Mapping[str, str] = dict(units or {})

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names."""
        return tuple(self._values)

    def __len__(self) -> int:
        return len(next(iter(self._values.values()), ()))

    def __getitem__(self, column: str) -> npt.NDArray[Any]:
        return self._values[column]
