"""One clock for all topics of a ULog file.

Every row carries microseconds: since boot, or, where the computer that logs has a clock of its
own, since 1970. A row is written a little after its stamp, so in the order of the file stamps rise,
but for these:

* a topic that is published seldom is written once when logging starts, with the stamp of its last
  publication, which may lie long before (or, damaged, long after);
* some topics repeat one stamp for ever, often 0;
* damage;
* files that a tool has rewritten topic after topic: each rises, the file as a whole does not.

Rows of the second and third kind can still be placed: right behind the believed row that was
written before them (`LogClock.beside`). Dropouts and changed parameters, which carry no stamp at
all, are placed in the same way; the decoder's own rule, the largest stamp so far, is wrong behind a
single stamp that is too large.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from flightlog.importers.clock import BACK_S, SUPPORT_ROWS, Clock
from flightlog.importers.common import BoolArray, FloatArray, Notes
from flightlog.importers.ulog_topics import Topic
from flightlog.recording import UtcRelation

IntArray = npt.NDArray[np.int64]

UNIX_2010_S, UNIX_2100_S = 1262304000.0, 4102444800.0
"""A set clock lies between these dates [s]."""

EARLY_S = 1.0
"""Rows stamped so much before logging started were published before, and logged as they were."""

HOST_CLOCK_STD_S = 60.0
"""Standard uncertainty of a logging computer's clock that nobody vouches for [s]."""

TOLD = 6
"""Topics that one message names."""


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of one topic.

    Attributes
    ----------
    time_s : array
        On the recording's clock; means nothing where ``keep`` is False. [s]
    keep : array of bool
        Rows whose stamp is believed and lies in the time of logging.
    early : array of bool
        Rows that were published before logging started.
    """

    time_s: FloatArray
    keep: BoolArray
    early: BoolArray


@dataclass(slots=True)
class LogClock:
    """The clock of a file.

    Attributes
    ----------
    clock : Clock
        Sessions of the stamps.
    base_us : float
        Subtracted from stamps: 0 for boot time, else the first row's. [us]
    epoch : bool
        Whether the stamps are Unix time.
    start_s, end_s : float
        When logging started and ended. [s]
    in_order : bool
        Whether the records of the file stand in the order of time.
    timings : dict
        Topic -> times of its rows.
    """

    clock: Clock
    base_us: float
    epoch: bool
    start_s: float
    end_s: float
    in_order: bool = True
    timings: dict[str, Timing] = field(default_factory=dict)
    _places: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    _times: FloatArray = field(default_factory=lambda: np.zeros(0))
    _believed: FloatArray = field(default_factory=lambda: np.zeros(0))

    @classmethod
    def fit(cls, topics: Mapping[str, Topic], header_us: int) -> LogClock:
        """Find the clock.

        Parameters
        ----------
        topics : mapping
            The file's topics.
        header_us : int
            Start of logging by the file's header. [us]
        """
        stamps = {name: _stamps(topic) for name, topic in topics.items()}
        moving = {name: _moving(stamp) for name, stamp in stamps.items()}
        place = np.concatenate([topics[n].at[m] for n, m in moving.items()] or [_NO_PLACES])
        stamp = np.concatenate([stamps[n][m] for n, m in moving.items()] or [np.zeros(0)])
        order = np.argsort(place, kind="stable")
        place, stamp = place[order], stamp[order]
        # A stamp of the file, not between two: some others have to be near it.
        middle = float(np.sort(stamp)[len(stamp) // 2]) if len(stamp) else float(header_us)
        epoch = UNIX_2010_S * 1e6 < middle < UNIX_2100_S * 1e6
        base_us = 0.0
        if epoch:
            base_us = _first_us(place, stamp, middle) if len(stamp) else middle
        clock = Clock.fit(place, (stamp - base_us) / 1e6)
        in_order = len(clock.sessions) < 2 or _restarts(topics, stamps, moving, base_us)
        if not in_order:
            clock = Clock.fit(np.arange(len(stamp)), np.sort(stamp - base_us) / 1e6)
        start, end = _span(clock, (header_us - base_us) / 1e6)
        made = cls(clock, base_us, epoch, start, end, in_order)
        for name, topic in topics.items():
            made.timings[name] = made._timing(topic.at, stamps[name])
        made._take_places(topics, moving)
        return made

    def _timing(self, at: IntArray, stamp_us: FloatArray) -> Timing:
        boot = (stamp_us - self.base_us) / 1e6
        time_s, keep = self.clock.apply(at, boot)
        early = (time_s < self.start_s - EARLY_S) & (stamp_us > 0)
        return Timing(time_s, keep & ~early & (stamp_us > 0), early)

    def _take_places(self, topics: Mapping[str, Topic], moving: Mapping[str, BoolArray]) -> None:
        """Note the believed rows in the order of the file, for what carries no time."""
        believed = {n: moving[n] & self.timings[n].keep for n in topics}
        place = np.concatenate([topics[n].at[b] for n, b in believed.items()] or [_NO_PLACES])
        time_s = np.concatenate(
            [self.timings[n].time_s[b] for n, b in believed.items()] or [np.zeros(0)]
        )
        order = np.argsort(place, kind="stable")
        self._places, self._believed = place[order], time_s[order]
        self._times = np.maximum.accumulate(self._believed)

    @property
    def origin(self) -> str:
        """What ``time_s`` counts from, for the receipt."""
        return "first row" if self.epoch else "boot"

    def beside(self, place: IntArray) -> FloatArray:
        """Times of the believed rows that were written before these places. [s]"""
        if not len(self._places):
            return np.full(len(place), self.start_s)
        before = np.searchsorted(self._places, place) - 1
        return np.where(before < 0, self.start_s, self._times[np.maximum(before, 0)])

    def stated(self, place: IntArray, stamp_us: FloatArray) -> FloatArray:
        """Times of texts: their own stamp where it fits the log, else by their place. [s]"""
        near = self.beside(place)
        boot = (stamp_us - self.base_us) / 1e6
        if not self.clock.sessions:
            return near
        time_s, _ = self.clock.apply(place, boot)
        fits = (time_s >= self.start_s - EARLY_S) & (time_s <= self.end_s + BACK_S)
        return np.where(fits, time_s, near)

    def silences(self, longer_s: float) -> list[tuple[float, float]]:
        """Begin and end of stretches in which nothing was logged. [s]"""
        times = np.sort(self._believed)
        at = np.flatnonzero(np.diff(times) > longer_s)
        return [(float(times[i]), float(times[i + 1])) for i in at.tolist()]

    def sampled(self, topic: Topic, timing: Timing) -> FloatArray:
        """Times of a topic's rows, by the moment of sampling where the row states one. [s]"""
        sample = topic.numbers("timestamp_sample")
        if sample is None:
            return timing.time_s
        late = (_stamps(topic) - sample) / 1e6
        return timing.time_s - np.where((sample > 0) & (late > 0) & (late < 1.0), late, 0.0)

    def utc(self) -> UtcRelation:
        """Relation to UTC by the stamps alone: unknown unless they are Unix time."""
        if not self.epoch:
            return UtcRelation()
        return UtcRelation(
            offset_s=self.base_us / 1e6,
            std_s=HOST_CLOCK_STD_S,
            source="stamps in Unix time by the clock of the computer that logged",
        )

    def words(self) -> str:
        """Which clock it is, for the receipt."""
        if self.epoch:
            return (
                "timestamp of each row: microseconds since 1970 by the computer that logged; "
                "time_s counts from the first row. timestamp_sample where a row states it."
            )
        return "timestamp of each row: microseconds since boot. timestamp_sample where stated."

    def tell(self, topics: Mapping[str, Topic], fed: Iterable[str], notes: Notes) -> None:
        """Tell restarts, and the rows whose stamps are not believed.

        Parameters
        ----------
        topics : mapping
            The file's topics.
        fed : iterable of str
            Those that feed a table.
        notes : Notes
            Receives the findings.
        """
        self.clock.tell(notes)
        if not self.in_order:
            notes.find(
                "clock-backwards",
                "The records of the file do not stand in the order of time, those of each topic "
                "do: it was rewritten; when parameters changed and writing stopped is not known.",
                severity="note",
            )
        used = set(fed)
        doubts = _Doubts(self.end_s)
        for name, topic in topics.items():
            timing = self.timings[name]
            doubts.add(name, _stamps(topic), timing)
            if name in used:
                bad = int(np.count_nonzero(~timing.keep & ~timing.early))
                notes.drop(f"{name}: stamped before logging started", int(timing.early.sum()))
                notes.drop(f"{name}: time is impossible or runs backwards", bad)
        doubts.tell(used, self.start_s, notes)


@dataclass(slots=True)
class _Doubts:
    """Rows whose stamps are not believed, by topic.

    Attributes
    ----------
    end_s, latest_s : float
        End of logging, and the latest stamp beyond it. [s]
    still, backwards, beyond :
        Topics that carry no time, or one; with rows that run backwards; with rows beyond the end.
    """

    end_s: float
    latest_s: float = -np.inf
    still: list[str] = field(default_factory=list)
    backwards: dict[str, int] = field(default_factory=dict)
    beyond: dict[str, int] = field(default_factory=dict)

    def add(self, name: str, stamp_us: FloatArray, timing: Timing) -> None:
        """Sort the rows of one topic."""
        bad = ~timing.keep & ~timing.early
        after = bad & (timing.time_s > self.end_s + BACK_S)
        behind = bad & ~after & (stamp_us > 0)
        if (bad & (stamp_us == 0)).any() or (len(stamp_us) > 1 and not np.diff(stamp_us).any()):
            self.still.append(name)
        if after.any():
            self.beyond[name] = int(after.sum())
            self.latest_s = max(self.latest_s, float(timing.time_s[after].max()))
        if behind.any():
            self.backwards[name] = int(behind.sum())

    def tell(self, used: set[str], start_s: float, notes: Notes) -> None:
        """Tell them; where no table is fed by them it is only a note."""
        if self.beyond:
            self._tell_beyond(start_s, notes)
        if self.backwards:
            rows = sum(self.backwards.values())
            notes.find(
                "clock-backwards",
                f"Rows whose time runs backwards: {rows}, in {_named(self.backwards)}; they were "
                "left out.",
                evidence={"rows": rows, "topics": len(self.backwards)},
                severity=None if used & set(self.backwards) else "note",
            )
        if self.still:
            notes.lines.append(f"rows that carry no time, or all one: {', '.join(self.still)}")
        timeless = sorted(used & set(self.still))
        if timeless:
            notes.find(
                "clock-unbelievable",
                f"Rows of {', '.join(timeless)} carry no time that can be; they are in "
                "recording.raw only.",
                evidence={"topics": len(timeless)},
            )

    def _tell_beyond(self, start_s: float, notes: Notes) -> None:
        rows, lasts_s = sum(self.beyond.values()), self.end_s - start_s
        are = "1 row is stamped" if rows == 1 else f"{rows} rows are stamped up to"
        notes.find(
            "clock-unbelievable",
            f"{are} {self.latest_s - self.end_s:.6g} s after the end of all others, in "
            f"{_named(self.beyond)}; what the stamps state as duration is "
            f"{self.latest_s - start_s:.6g} s, the log lasts {lasts_s:.1f} s.",
            evidence={"rows": rows, "duration_s": lasts_s},
        )


def _span(clock: Clock, header_s: float) -> tuple[float, float]:
    """Start of logging, by the header where it fits the rows, and the last row. [s]"""
    if not clock.sessions:
        return header_s, header_s
    first, last = clock.sessions[0], clock.sessions[-1]
    end = last.high_s + last.offset_s
    return (header_s if first.low_s - EARLY_S <= header_s <= end else first.low_s), end


_NO_PLACES: IntArray = np.zeros(0, dtype=np.int64)


def _restarts(
    topics: Mapping[str, Topic],
    stamps: Mapping[str, FloatArray],
    moving: Mapping[str, BoolArray],
    base_us: float,
) -> bool:
    """Whether the clock falls in the topics themselves and not only from one to the next."""
    most = max((int(m.sum()) for m in moving.values()), default=0)
    fell, all = 0, 0
    for name, topic in topics.items():
        rows = moving[name]
        if int(rows.sum()) >= min(2 * SUPPORT_ROWS, most):
            alone = Clock.fit(topic.at[rows], (stamps[name][rows] - base_us) / 1e6)
            fell, all = fell + (len(alone.sessions) > 1), all + 1
    return 2 * fell >= all


def _named(counts: Mapping[str, int]) -> str:
    names = sorted(counts, key=lambda name: -counts[name])
    more = f" and {len(names) - TOLD} more" if len(names) > TOLD else ""
    return ", ".join(f"{name} ({counts[name]})" for name in names[:TOLD]) + more


def _stamps(topic: Topic) -> FloatArray:
    stamp = topic.numbers("timestamp")
    return np.zeros(len(topic)) if stamp is None else stamp


def _moving(stamp: FloatArray) -> BoolArray:
    """Rows with a stamp that is new: what repeats one tells nothing of the clock."""
    moving: BoolArray = stamp > 0
    moving[1:] &= stamp[1:] != stamp[:-1]
    return moving


def _first_us(place: IntArray, stamp_us: FloatArray, middle_us: float) -> float:
    """Stamp of the first believed row, for stamps in Unix time. [us]"""
    near = np.abs(stamp_us - middle_us) < 7 * 86400e6
    place, stamp_us = place[near], stamp_us[near]
    lowest = float(stamp_us.min())
    boot = (stamp_us - lowest) / 1e6
    clock = Clock.fit(place, boot)
    if not clock.sessions:
        return lowest
    kept = boot[boot >= clock.sessions[0].low_s - EARLY_S]
    return lowest + float(kept.min()) * 1e6
