"""The aircraft's boot clock for every message of a telemetry file.

Many messages carry the time since boot at which they were filled in (milliseconds, in some
microseconds). The others only have the time of arrival by the recorder's clock, which jitters
with the link and may be years off. They are placed between the boot-stamped messages before
and after them in the file: arrival times say where in between, but can't move a message
outside. A lost link or a damaged stamp therefore costs no more than the gap it falls into.

When the boot clock falls and stays low, the autopilot has restarted. Arrival times then say
how long it was off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from flightlog.importers.clock import Clock
from flightlog.importers.common import FloatArray, Notes, utc_relation
from flightlog.importers.mavlink_frames import Frames, MessageTable
from flightlog.recording import UtcRelation

IntArray = npt.NDArray[np.int64]

REACH_S = 60.0
"""Arrival times are not trusted further than this from a boot-stamped message [s]."""

LATE_S, EARLY_S = 5.0, 1.0
"""A boot stamp may be so much older or newer than its neighbours in the file [s]."""

LONGEST_PAUSE_S = 86400.0
"""A longer step of the arrival times is a clock that was set, not a pause [s]."""

RECORDER_CLOCK_STD_S = 60.0
"""Standard uncertainty of a field computer's clock that nobody vouches for [s]."""

UNIX_2010_S, UNIX_2100_S = 1262304000.0, 4102444800.0
"""A set clock lies between these dates [s]."""

_WRAP_US = float(1 << 32)


@dataclass(frozen=True, slots=True)
class Timeline:
    """Maps messages to ``time_s``.

    Attributes
    ----------
    clock : Clock
        Sessions of the boot clock; none when no message carries it.
    arrival_s : array
        Time of arrival of every frame since the first. [s]
    place, time_s : array
        Boot-stamped messages that are believed: place among the frames, time.
    first_unix_s : float
        Time of arrival of the first frame by the recorder's clock, Unix seconds.
    """

    clock: Clock
    arrival_s: FloatArray
    place: IntArray
    time_s: FloatArray
    first_unix_s: float

    @classmethod
    def fit(cls, frames: Frames, tables: Iterable[MessageTable]) -> Timeline:
        """Build it from the boot-stamped messages of the chosen sender."""
        arrival = (frames.stamp_us - frames.stamp_us[0]) * 1e-6
        first_unix = float(frames.stamp_us[0]) * 1e-6
        stamped = [t for t in tables if "time_boot_ms" in t.columns]
        place = np.concatenate([t.rows for t in stamped] or [np.empty(0, np.int64)])
        boot = np.concatenate([t["time_boot_ms"] for t in stamped] or [np.empty(0)]) * 1e-3
        order = np.argsort(place, kind="stable")
        place, boot = place[order], boot[order]
        # Zero is what a sender writes that does not know its boot time.
        place, boot = place[boot > 0], boot[boot > 0]
        clock = _with_measured_pauses(Clock.fit(place, boot), place, boot, arrival)
        time_s, keep = clock.apply(place, boot)
        if not keep.any():
            rows = np.arange(len(frames))
            return cls(Clock(()), arrival, rows, _steady(arrival), first_unix)
        return cls(clock, arrival, place[keep], time_s[keep], first_unix)

    @property
    def origin(self) -> str:
        """What ``time_s`` counts from, for the receipt."""
        return "boot" if self.clock.sessions else "first row"

    @property
    def words(self) -> str:
        """Which clock ``time_s`` is, for the receipt."""
        if not self.clock.sessions:
            return "times of arrival by the recording computer, as no message carries a boot time"
        return (
            "the aircraft's boot clock (time_boot_ms); messages without it are placed between "
            "those before and after them, by their times of arrival"
        )

    def at(self, rows: IntArray) -> FloatArray:
        """Times of frames by their places, from their boot-stamped neighbours. [s]"""
        after = np.searchsorted(self.place, rows, side="right")
        before = np.maximum(after - 1, 0)
        last = len(self.place) - 1
        behind = np.clip(self.arrival_s[rows] - self.arrival_s[self.place[before]], 0, REACH_S)
        time_s = self.time_s[before] + behind
        nearest_after = np.minimum(after, last)
        time_s = np.where(after <= last, np.minimum(time_s, self.time_s[nearest_after]), time_s)
        ahead = np.clip(self.arrival_s[self.place[0]] - self.arrival_s[rows], 0, REACH_S)
        return np.where(after == 0, self.time_s[0] - ahead, time_s)

    def of(self, table: MessageTable, time_field: str | None = None) -> FloatArray:
        """Times of the rows of a message type. [s]

        Parameters
        ----------
        table : MessageTable
            The rows.
        time_field : str, optional
            Field with the boot time; in microseconds unless its name ends in ``_ms``. Rows
            where it disagrees with the neighbours are placed like messages without one.
        """
        near = self.at(table.rows)
        if time_field is None or not self.clock.sessions:
            return near
        stamp = table[time_field]
        boot = stamp.astype(np.float64) * (1e-3 if time_field.endswith("_ms") else 1e-6)
        offset = self._offset(table.rows)
        if stamp.dtype.itemsize == 4 and not time_field.endswith("_ms"):
            # 32 bits of microseconds start again every 71.6 minutes.
            wrap = _WRAP_US * 1e-6
            boot = np.where(boot > 0, boot + np.round((near - offset - boot) / wrap) * wrap, 0.0)
        own = boot + offset
        fits = (boot > 0) & (own >= near - LATE_S) & (own <= near + EARLY_S)
        return np.where(fits, own, near)

    def _offset(self, rows: IntArray) -> FloatArray:
        starts = np.array([s.start for s in self.clock.sessions])
        offsets = np.array([s.offset_s for s in self.clock.sessions])
        return offsets[np.maximum(np.searchsorted(starts, rows, side="right") - 1, 0)]

    def tell(self, notes: Notes) -> None:
        """Add one finding per restart."""
        sessions = self.clock.sessions
        for before, after in pairwise(sessions):
            left, seam = before.high_s + before.offset_s, after.low_s + after.offset_s
            notes.find(
                "clock-restart",
                f"The autopilot's boot clock fell from {before.high_s:.1f} s to "
                f"{after.low_s:.1f} s: it restarted. By the times of arrival {seam - left:.1f} s "
                f"went by; what follows is placed from {seam:.1f} s on.",
                evidence={"before_s": before.high_s, "after_s": after.low_s},
                start_s=left,
                end_s=seam,
            )

    def utc(self, tables: Mapping[str, MessageTable], notes: Notes) -> UtcRelation:
        """Relation to UTC: the aircraft's own clock where it was set, else the recorder's."""
        recorder = self._recorder_utc()
        for name, field, time_field in (
            ("SYSTEM_TIME", "time_unix_usec", "time_boot_ms"),
            ("GPS_RAW_INT", "time_usec", None),
        ):
            if name not in tables:
                continue
            unix = tables[name].numbers(field) * 1e-6
            unix = np.where((unix > UNIX_2010_S) & (unix < UNIX_2100_S), unix, np.nan)
            time_s = self.of(tables[name], time_field)
            relation = utc_relation(time_s, unix, f"{name}.{field}, the aircraft's own clock")
            if relation.offset_s is not None:
                self._compare(relation.offset_s, recorder.offset_s, notes)
                return relation
        return recorder

    def _recorder_utc(self) -> UtcRelation:
        unix = self.first_unix_s + self.arrival_s[self.place]
        # Arrival can only be late: the earliest ones, but for a few damaged, come closest.
        offset = float(np.percentile(unix - self.time_s, 5))
        middle = offset + float(self.time_s[len(self.time_s) // 2])
        if not UNIX_2010_S < middle < UNIX_2100_S:
            return UtcRelation()
        return UtcRelation(
            offset_s=offset,
            std_s=RECORDER_CLOCK_STD_S,
            source="times of arrival by the recording computer's clock, which nobody vouches for",
        )

    def _compare(self, aircraft: float, recorder: float | None, notes: Notes) -> None:
        if recorder is not None and abs(recorder - aircraft) > 3 * RECORDER_CLOCK_STD_S:
            notes.lines.append(
                "The recording computer's clock and the aircraft's differ by "
                f"{recorder - aircraft:+.0f} s; the aircraft's was believed."
            )


def _with_measured_pauses(
    clock: Clock, place: IntArray, boot_s: FloatArray, arrival_s: FloatArray
) -> Clock:
    """Set each session after a restart apart by the pause that the arrival times show."""
    sessions = list(clock.sessions)
    for index in range(1, len(sessions)):
        now, before = sessions[index], sessions[index - 1]
        at = int(np.searchsorted(place, now.start))
        first = int(place[min(at, len(place) - 1)])
        last = int(place[max(at - 1, 0)])
        pause = float(arrival_s[first] - arrival_s[last])
        pause = pause if 0.0 <= pause <= LONGEST_PAUSE_S else 0.0
        end = before.high_s + before.offset_s
        sessions[index] = replace(now, offset_s=end + pause - now.low_s)
    return Clock(tuple(sessions))


def _steady(arrival_s: FloatArray) -> FloatArray:
    """Times of arrival where nothing else is known: steps back and leaps count as none."""
    if len(arrival_s) > 2:
        before, middle, after = arrival_s[:-2], arrival_s[1:-1], arrival_s[2:]
        alone = (np.abs(middle - before) > REACH_S) & (np.abs(after - before) < REACH_S)
        arrival_s = arrival_s.copy()
        arrival_s[1:-1][alone] = before[alone]
    step = np.diff(arrival_s, prepend=arrival_s[:1])
    step = np.where((step < 0) | (step > LONGEST_PAUSE_S), 0.0, step)
    return np.asarray(np.cumsum(step), dtype=np.float64)
