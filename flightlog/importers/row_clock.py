"""A clock for logs whose rows carry the time of day: text files, tracks, transmitter cards.

Rows stand in the order in which they were written. Their stamps may be the time of a whole
second on ten rows a second, run backwards for a row (damage) or for good (the clock was set,
or another session was written behind), and leap by years (a clock that knew the date only
after its first fix). `row_clock` makes one clock of it that never runs backwards.

Not seen: a clock that runs at a wrong rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flightlog.importers.clock import Clock, rising
from flightlog.importers.common import BoolArray, FloatArray, Notes, median_rate

SET_S = 86400.0
"""A longer step ahead is a clock that was set, not a pause [s]."""

PAUSE_S = 60.0
"""A longer silence starts a new session [s]."""

FEW_BACK = 0.02
"""Up to this share of rows that run backwards, or one row, is damage and no clock set back."""

LOCAL_CLOCK_STD_S = 60.0
"""Standard uncertainty of a clock that somebody set by hand [s]."""


@dataclass(frozen=True, slots=True)
class RowClock:
    """One clock for all rows of a file.

    Attributes
    ----------
    time_s : array
        Seconds since the first row that is kept, rising; what it is where ``keep`` is False
        means nothing. [s]
    keep : array of bool
        False for rows without a time, or whose time runs backwards.
    seams : tuple of float
        Times at which a new session starts, be it after a pause, a clock that was set, or one
        that was set back. [s]
    zero_s : float
        Stamp at ``time_s = 0`` by the longest stretch whose clock was not set; NaN without
        rows. [s]
    whole_seconds : bool
        Whether the stamps are whole seconds that several rows share, and were spread.
    """

    time_s: FloatArray
    keep: BoolArray
    seams: tuple[float, ...]
    zero_s: float
    whole_seconds: bool = False


def row_clock(stamp_s: FloatArray, notes: Notes, *, what: str = "rows") -> RowClock:
    """Make one clock of the stamps of a file's rows.

    Parameters
    ----------
    stamp_s : array
        Stamp of each row in the file's order, Unix seconds or any other that rise; NaN where a
        row has none. [s]
    notes : Notes
        Receives what is noticed.
    what : str
        What the rows are, for the messages.
    """
    stamp_s = np.asarray(stamp_s, dtype=np.float64)
    good = np.isfinite(stamp_s) & (np.abs(stamp_s) < 1e11)
    lost = int(len(stamp_s) - good.sum())
    notes.drop(f"{what} without a time", lost)
    if not good.any():
        return RowClock(np.full(len(stamp_s), np.nan), good, (), float("nan"))
    spread, whole_seconds = spread_seconds(stamp_s, good, notes, what)
    base = float(spread[good].min())
    time_s, keep = spread - base, _steady(spread, good)
    if keep is None:
        place = np.arange(len(spread))
        clock = Clock.fit(place, np.where(good, spread - base, np.nan), longest_s=np.inf)
        clock.tell(notes, named=f"The clock of the {what}")
        time_s, keep = clock.apply(place, spread - base)
        keep &= good
    backwards = int(good.sum() - keep.sum())
    if backwards:
        notes.drop(f"{what}: time runs backwards", backwards)
        notes.find(
            "clock-backwards",
            f"{backwards} of {len(stamp_s)} {what} carry a time that runs backwards or can't be; "
            "they were left out.",
            evidence={"rows": backwards},
        )
    if not keep.any():
        return RowClock(time_s, keep, (), float("nan"), whole_seconds)
    time_s, zero_s, seams = _continuous(time_s, spread, keep, notes, what)
    return RowClock(time_s, keep, seams, zero_s, whole_seconds)


def _steady(stamp_s: FloatArray, good: BoolArray) -> BoolArray | None:
    """Tell which rows to keep of a clock that was never set; None where it may have been.

    A boot clock has to prove a step ahead by the rows after it. Stamps of the time of day
    don't: a track of one point a minute, or in parts with pauses between, is no damage.
    """
    keep = rising(np.where(good, stamp_s, np.nan))
    lost = int(good.sum() - keep.sum())
    leap = np.diff(stamp_s[keep], prepend=stamp_s[keep][:1]).max()
    return keep if lost <= max(1.0, FEW_BACK * good.sum()) and leap <= SET_S else None


def spread_seconds(
    stamp_s: FloatArray, good: BoolArray, notes: Notes, what: str
) -> tuple[FloatArray, bool]:
    """Spread rows that share a whole second evenly over it."""
    stamps = stamp_s[good]
    if len(stamps) < 6 or np.mean(stamps == np.floor(stamps)) < 0.98:
        return stamp_s, False
    starts = np.flatnonzero(np.concatenate([[True], np.diff(stamps) != 0]))
    counts = np.diff(np.append(starts, len(stamps)))
    usual = float(np.median(counts))
    if usual < 2:
        return stamp_s, False
    at = np.arange(len(stamps)) - np.repeat(starts, counts)
    n = np.repeat(counts, counts).astype(np.float64)
    share = (at + 0.5) / np.maximum(n, usual)
    # The first second of a stretch is cut at its beginning: its rows stand at its end.
    steps = np.diff(stamps[starts], prepend=np.nan)
    first = np.repeat((steps != 1) & (counts < usual), counts)
    share = np.where(first, 1.0 - (n - at - 0.5) / usual, share)
    spread = stamp_s.copy()
    spread[good] = stamps + share
    notes.find(
        "whole-second-stamps",
        f"The {what} carry whole seconds, {usual:.0f} rows in each; they were spread evenly, so "
        f"times within a second are good to {0.5 / usual + 0.1:.1f} s.",
        evidence={"rows_per_second": usual},
    )
    return spread, True


def _continuous(
    time_s: FloatArray, stamp_s: FloatArray, keep: BoolArray, notes: Notes, what: str
) -> tuple[FloatArray, float, tuple[float, ...]]:
    """Take out leaps of a clock that was set; find the seams and the stamp at zero."""
    times, stamps = time_s[keep], stamp_s[keep]
    step = np.diff(times, prepend=times[:1])
    leaps = np.flatnonzero(step > SET_S)
    usual = 1.0 / (median_rate(times) or 1.0)
    for leap in leaps.tolist():
        notes.find(
            "clock-set",
            f"The clock of the {what} leaps ahead by {step[leap]:.0f} s: it was set; what follows "
            "is placed right behind, and how long that took is not known.",
            evidence={"leap_s": float(step[leap])},
        )
    step[leaps] = usual
    times = np.cumsum(step)
    # Where the clock was set, the stamps of the longest stretch are believed.
    offset = np.round(stamps - times, 3)
    values, counts = np.unique(offset, return_counts=True)
    zero_s = float(values[np.argmax(counts)])
    backward = np.flatnonzero(np.abs(np.diff(offset)) > 1.0) + 1
    seams = np.unique(np.concatenate([leaps, np.flatnonzero(step > PAUSE_S), backward]))
    placed = time_s.copy()
    placed[keep] = times
    return placed, zero_s, tuple(times[seams.astype(np.int64)].tolist())
