"""The clock of a delimited text: from what its time columns hold to one `time_s`."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flightlog.importers.clock import Clock
from flightlog.importers.common import (
    GPS_LATENCY_STD_S,
    BoolArray,
    FloatArray,
    Notes,
    median_rate,
)
from flightlog.importers.delimited_reading import TextTable
from flightlog.importers.delimited_times import DAY_S, Moments, date_in_name
from flightlog.importers.row_clock import LOCAL_CLOCK_STD_S, row_clock
from flightlog.recording import UtcRelation

SILENCE_STEPS = 8
"""A silence of so many usual steps, and of `SILENCE_S` at least, was a switch, not a delay."""

SILENCE_S = 5.0
"""The shortest silence that parts two sessions [s]."""


@dataclass(frozen=True, slots=True)
class FileClock:
    """One clock for the rows of a file.

    Attributes
    ----------
    time_s : array
        Of each row. [s]
    keep : array of bool
        False for rows without a time that can be believed.
    seams : tuple of float
        Times at which another session starts. [s]
    utc : UtcRelation
        Relation to UTC.
    origin : str
        What ``time_s`` counts from.
    words : str
        For the receipt.
    """

    time_s: FloatArray
    keep: BoolArray
    seams: tuple[float, ...]
    utc: UtcRelation
    origin: str
    words: str


def moments_clock(
    moments: Moments,
    table: TextTable,
    notes: Notes,
    *,
    named: str,
    file_name: str,
    utc_offset_s: float | None = None,
    day_s: float | None = None,
) -> FileClock:
    """Make a clock of dates and times of day.

    Parameters
    ----------
    moments : Moments
        What the cells hold.
    table : TextTable
        The file.
    notes : Notes
        Receives what is noticed.
    named : str
        The columns, for the receipt.
    file_name : str
        Where the date is looked for when the cells hold none.
    utc_offset_s : float, optional
        Local time minus UTC, where the user says it. [s]
    day_s : float, optional
        The day that the user says, where the cells hold none, in Unix seconds. [s]
    """
    stamps, dated = moments.stamp_s, moments.dated
    if not dated:
        found = date_in_name(file_name) if day_s is None else day_s
        if found is not None:
            stamps, dated = stamps + found, True
            if day_s is None:
                notes.lines.append("the rows hold no date; it was taken from the name of the file")
    day_zero_s = _day_of(stamps)
    clock = row_clock(stamps - day_zero_s, notes)
    time_s, keep = clock.time_s, clock.keep
    seams = _with_sessions(clock.seams, time_s, keep, table)
    utc = UtcRelation()
    zoned = moments.zoned or utc_offset_s is not None
    if keep.any() and dated and not moments.unclear:
        shift = 0.0 if moments.zoned or utc_offset_s is None else utc_offset_s
        utc = UtcRelation(
            offset_s=clock.zero_s + day_zero_s - shift,
            std_s=LOCAL_CLOCK_STD_S,
            source="the device's own clock" + ("" if zoned else ", local time"),
            zone_known=zoned,
        )
    if keep.any() and dated and not zoned:
        notes.find(
            "local-time",
            "The rows carry local time and do not tell of which zone; no UTC is given.",
        )
    spread = ", whole seconds that were spread over their rows" if clock.whole_seconds else ""
    kind = "date and time of day" if dated else "time of day"
    words = f"{kind} in {named}{spread}; counted from the first row"
    return FileClock(time_s, keep, seams, utc, "first row", words)


def boot_clock(values_s: FloatArray, table: TextTable, notes: Notes, *, named: str) -> FileClock:
    """Make a clock of seconds since the logger was switched on, or since any other moment."""
    keep = np.isfinite(values_s) & (np.abs(values_s) < 1e9)
    notes.drop("rows without a time", int(len(values_s) - keep.sum()))
    time_s = values_s
    seams: tuple[float, ...] = ()
    if (np.diff(values_s[keep]) < 0).any():
        place = np.arange(len(values_s))
        base = min(float(values_s[keep].min()), 0.0)
        clock = Clock.fit(place, np.where(keep, values_s - base, np.nan), longest_s=np.inf)
        clock.tell(notes, named="The clock of the rows")
        time_s, believed = clock.apply(place, values_s - base)
        time_s = time_s + base
        backwards = int(keep.sum() - (believed & keep).sum())
        keep &= believed
        notes.drop("rows: time runs backwards", backwards)
        if backwards:
            notes.find(
                "clock-backwards",
                f"{backwards} of {len(values_s)} rows carry a time that runs backwards; they were "
                "left out.",
                evidence={"rows": backwards},
            )
        seams = tuple(s + base for s in clock.seams)
    seams = _with_sessions(seams, time_s, keep, table)
    return FileClock(time_s, keep, seams, UtcRelation(), "boot", f"{named}, as the file has it")


def unix_clock(
    stamp_s: FloatArray, table: TextTable, notes: Notes, *, named: str, receiver: bool = False
) -> FileClock:
    """Make a clock of Unix seconds; ``receiver`` where they come from a GPS receiver."""
    day_zero_s = _day_of(stamp_s)
    clock = row_clock(stamp_s - day_zero_s, notes)
    seams = _with_sessions(clock.seams, clock.time_s, clock.keep, table)
    utc = UtcRelation()
    if clock.keep.any():
        std = GPS_LATENCY_STD_S if receiver else LOCAL_CLOCK_STD_S
        source = "GPS week and time of week" if receiver else "the device's own clock"
        utc = UtcRelation(offset_s=clock.zero_s + day_zero_s, std_s=std, source=source)
    words = f"{named}; counted from the first row"
    return FileClock(clock.time_s, clock.keep, seams, utc, "first row", words)


def _day_of(stamp_s: FloatArray) -> float:
    """Start of the first day [s]: small numbers keep their decimals."""
    good = stamp_s[np.isfinite(stamp_s)]
    return float(np.floor(good.min() / DAY_S) * DAY_S) if len(good) else 0.0


def with_silences(clock: FileClock, notes: Notes) -> FileClock:
    """Take every silence of a writer that is never silent for the start of a new session."""
    times = clock.time_s[clock.keep]
    rate = median_rate(times)
    if len(times) < 3 or not rate:
        return clock
    step = np.diff(times)
    silent = np.flatnonzero(step > max(SILENCE_S, SILENCE_STEPS / rate)) + 1
    seams = sorted({*clock.seams, *times[silent].tolist()})
    if seams:
        notes.lines.append(
            f"{len(seams) + 1} sessions in one file; a silence of more than "
            f"{max(SILENCE_S, SILENCE_STEPS / rate):.0f} s parts two"
        )
    return replace(clock, seams=tuple(seams))


def _with_sessions(
    seams: tuple[float, ...], time_s: FloatArray, keep: BoolArray, table: TextTable
) -> tuple[float, ...]:
    """Add the times at which the header stood once more."""
    kept = np.flatnonzero(keep)
    later = np.searchsorted(kept, np.array(table.session_rows, dtype=np.int64))
    starts = kept[later[(later > 0) & (later < len(kept))]]
    return tuple(sorted({*seams, *time_s[starts].tolist()}))
