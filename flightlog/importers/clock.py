"""One monotonic clock for a whole log.

A logger writes its boot clock into the rows of many message types. In file order that clock
rises, but for three things: the logger restarts (it falls and stays low), a damaged row
carries nonsense (one row, then it goes on), and the logger pauses (it leaps ahead and stays).
`Clock.fit` looks at all rows in file order, finds the sessions between restarts and the rows
that can't be believed; `Clock.apply` puts any table onto the clock.

Not seen: a leap ahead that lasts, by damage alone; it looks like a pause.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import BoolArray, FloatArray, Notes, distinct

BACK_S = 1.0
"""Rows of several tasks may be written this much out of order without meaning anything [s]."""

PAUSE_S = 60.0
"""A longer step ahead has to be confirmed by the rows after it [s]."""

SUPPORT_ROWS = 20
"""So many rows must agree before a leap or a fall of the clock is believed."""

LONGEST_S = 7 * 86400.0
"""No electric aircraft's logger runs longer without a restart [s]."""

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Session:
    """Rows between two restarts.

    Attributes
    ----------
    start : int
        Place in the file (row number or byte offset) of its first row.
    offset_s : float
        Added to the boot clock. [s]
    low_s, high_s : float
        First and last boot time that is believed. [s]
    """

    start: int
    offset_s: float
    low_s: float
    high_s: float


@dataclass(frozen=True, slots=True)
class Clock:
    """The sessions of a log, in file order."""

    sessions: tuple[Session, ...]

    @classmethod
    def fit(cls, place: IntArray, boot_s: FloatArray, *, longest_s: float = LONGEST_S) -> Clock:
        """Find the sessions.

        Parameters
        ----------
        place : array of int
            Where each row stands in the file, rising.
        boot_s : array
            Its boot clock. [s]
        longest_s : float
            A larger time is nonsense. [s]
        """
        believable = np.isfinite(boot_s) & (boot_s >= 0) & (boot_s <= longest_s)
        if not believable.all():
            place, boot_s = place[believable], boot_s[believable]
        if not len(boot_s):
            return cls(())
        step = np.diff(boot_s)
        breaks = np.flatnonzero((step < -BACK_S) | (step > PAUSE_S)) + 1
        first = np.concatenate([[0], breaks])
        last = np.concatenate([breaks, [len(boot_s)]]) - 1
        return cls(_sessions(place, boot_s, first, last))

    def apply(
        self, place: IntArray, boot_s: FloatArray, instance: IntArray | None = None
    ) -> tuple[FloatArray, BoolArray]:
        """Put rows onto the clock.

        Parameters
        ----------
        place, boot_s :
            As for `fit`.
        instance : array of int, optional
            Rows of different sensors may be written a little out of order.

        Returns
        -------
        time_s : array
            Boot clock of the first session, going on through restarts. [s]
        keep : array of bool
            False for rows whose time can't be believed or runs backwards in this table.
        """
        if not self.sessions:
            return boot_s, np.zeros(len(boot_s), dtype=bool)
        starts = np.array([s.start for s in self.sessions])
        at = np.maximum(np.searchsorted(starts, place, side="right") - 1, 0)
        low = np.array([s.low_s for s in self.sessions])[at]
        high = np.array([s.high_s for s in self.sessions])[at]
        offset = np.array([s.offset_s for s in self.sessions])[at]
        with np.errstate(invalid="ignore"):
            keep = (boot_s >= low - BACK_S) & (boot_s <= high + BACK_S)
        time_s = boot_s + offset
        believed = np.where(keep, time_s, np.nan)
        for one in (None,) if instance is None else distinct(instance):
            rows = slice(None) if one is None else np.flatnonzero(instance == one)
            keep[rows] = rising(believed[rows])
        return time_s, keep

    @property
    def seams(self) -> tuple[float, ...]:
        """Times at which the logger restarted. [s]"""
        return tuple(s.low_s + s.offset_s for s in self.sessions[1:])

    def tell(self, notes: Notes, *, named: str = "The logger's clock") -> None:
        """Add one finding per restart."""
        for before, after in zip(self.sessions[:-1], self.sessions[1:], strict=True):
            seam = after.low_s + after.offset_s
            notes.find(
                "clock-restart",
                f"{named} fell from {before.high_s:.1f} s to {after.low_s:.1f} s; "
                f"what follows is placed from {seam:.1f} s on; how long it was off is not known.",
                evidence={"before_s": before.high_s, "after_s": after.low_s},
                start_s=before.high_s + before.offset_s,
                end_s=seam,
            )


def _sessions(
    place: IntArray, boot_s: FloatArray, first: IntArray, last: IntArray
) -> tuple[Session, ...]:
    """Join the runs between breaks into sessions, leaving out what has no support."""
    need = max(1, min(SUPPORT_ROWS, len(boot_s) // 4))
    sessions: list[Session] = []
    start, offset, low, high, settled = -1, 0.0, 0.0, 0.0, 0.0
    for a, z in zip(first.tolist(), last.tolist(), strict=True):
        rows = z - a + 1
        begins, ends = float(boot_s[_head(boot_s, a, z) if z > a else a]), float(boot_s[z])
        joins = start >= 0 and settled - BACK_S <= begins <= high + PAUSE_S
        if not joins and rows < need:
            continue  # nonsense, or too little to move the clock for
        if not joins and (start < 0 or begins < high):
            if start >= 0:
                sessions.append(Session(start, offset, low, high))
                # At its first row the new session had run for at least its boot time.
                offset += high + min(float(boot_s[a]), PAUSE_S) - float(boot_s[a])
            start, low = (int(place[a]) if sessions else 0), float(boot_s[a])
            settled = begins
        # A run may end in a few rows of nonsense, or be nothing else; what follows is compared
        # with the rows before them.
        high = ends
        if rows > 5:
            settled = float(boot_s[z - 5])
    if start >= 0:
        sessions.append(Session(start, offset, low, high))
    return tuple(sessions)


def _head(boot_s: FloatArray, first: int, last: int) -> int:
    """Give the first row of a run that is not a few rows of nonsense before a step ahead."""
    steps = np.diff(boot_s[first : min(first + 5, last) + 1])
    ahead = np.flatnonzero(steps > BACK_S)
    return first + int(ahead[-1]) + 1 if len(ahead) else first


def rising(time_s: FloatArray) -> BoolArray:
    """Tell which rows to keep so that time never falls and as many as possible stay.

    NaN is never kept. One row of nonsense costs itself, not the rows after it.
    """
    keep = np.isfinite(time_s)
    values = time_s[keep]
    if len(values) > 1 and (np.diff(values) < 0).any():
        keep[keep] = _longest_rise(values)
    return keep


def _longest_rise(values: FloatArray) -> BoolArray:
    """Longest non-decreasing subsequence (patience sorting, Fredman 1975)."""
    tails: list[float] = []
    tail_rows: list[int] = []
    previous = np.full(len(values), -1, dtype=np.int64)
    for row, value in enumerate(values.tolist()):
        pile = bisect_right(tails, value)
        if pile:
            previous[row] = tail_rows[pile - 1]
        if pile == len(tails):
            tails.append(value)
            tail_rows.append(row)
        else:
            tails[pile], tail_rows[pile] = value, row
    keep = np.zeros(len(values), dtype=bool)
    row = tail_rows[-1]
    while row >= 0:
        keep[row] = True
        row = int(previous[row])
    return keep
