"""The last minute of all logs on one axis of time.

Zero is where the reference log ends, or a time that was given. The reference is the log that tells
of the end best: of those that end last by their UTC the best source, else the first that was kept.
Others are laid on it by what both saw, else by UTC with its uncertainty, else not at all: such a
log stands by itself, on the seconds before its own end, and that is said.

A log may go on after the one on board has lost its supply, so a little beyond zero is shown too.
Logs that end within a record, with clocks that were never set, are what to expect.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import FlightlogError, LogFileError
from flightlog.importers import read
from flightlog.joining.join import add_partner
from flightlog.joining.match import NEVER_SET_UNIX_S, match
from flightlog.joining.sketch import Sketch, sketch
from flightlog.logbook.entry import Attachment
from flightlog.operations.channels import Channel, Happened, Window, channels_of, happened_in
from flightlog.operations.desk import Desk

if TYPE_CHECKING:
    from flightlog.recording import Recording

LAST_S, AFTER_S = 60.0, 10.0
"""From so long before zero to so long after it [s]."""
MOST_LOGS = 40
"""So many logs are read, in the order in which they were kept: the newest of a card first."""
MOST_APART = 4
"""So many logs whose place in time is not known are shown by themselves."""
MOVING_M_S = 2.5
"""What is faster may be a flight [m/s]."""
STILL_S = 20.0
"""A log that goes on so long after the last movement ends long after what is looked for [s]."""

_SAME_END_S = 600.0
_SLACK_S = 60.0
_HELD_BYTES = 128_000_000
_Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Timeline:
    """The last minute of all logs.

    Attributes
    ----------
    channels : tuple of Channel
        Of the log that is zero's first, then of the others.
    events : tuple of Happened
        Modes, messages and the like, in order of time.
    notes : tuple of str
        How each log was put on the axis, and what can't be read or is not shown.
    zero : datetime or None
        UTC at zero (aware), where the reference log tells it.
    """

    channels: tuple[Channel, ...] = ()
    events: tuple[Happened, ...] = ()
    notes: tuple[str, ...] = ()
    zero: datetime | None = None


@dataclass(slots=True)
class _Log:
    """A log that could be read."""

    name: str
    path: Path
    sketch: Sketch
    start_s: float
    end_s: float
    held: Recording | None = field(default=None, repr=False)

    @property
    def unix_s(self) -> float | None:
        """What leads from its clock to Unix seconds; None where it does not tell."""
        offset = self.sketch.utc.unix_offset_s
        return offset if offset is not None and offset > NEVER_SET_UNIX_S else None

    @property
    def ends_unix_s(self) -> float:
        return self.end_s + (self.unix_s or 0.0)

    def recording(self) -> Recording:
        return self.held if self.held is not None else read(self.path)


def timeline(
    desk: Desk,
    attachments: Iterable[Attachment],
    at: datetime | None = None,
    *,
    reference: str = "",
    tell: _Tell | None = None,
) -> Timeline:
    """Lay the last minute of all logs that can be read on one axis.

    Parameters
    ----------
    desk : Desk
        The record, for the files that were kept.
    attachments : iterable of Attachment
        What was kept, the most telling first; what is no log is told.
    at : datetime, optional
        Where zero is to be (aware); else the end of the reference log.
    reference : str
        End of the name of the log that is to be the reference.
    tell : callable, optional
        Takes a line for each log that is read.

    Raises
    ------
    LogFileError
        If no log, or more than one, has the name that is asked for.
    """
    notes: list[str] = []
    logs = _read_all(desk, attachments, notes, tell or (lambda _: None))
    if not logs:
        return Timeline(notes=(*notes, "no log could be read"))
    first = _named(logs, reference) if reference else _reference(logs, at, desk.ledger.now)
    zero_s = _zero(first, at, notes)
    zero = _utc(first.unix_s + zero_s) if first.unix_s is not None else None
    notes.append(_zero_in_words(first, zero, zero_s))
    notes += _long_after(first, zero_s)
    channels, events = _laid(first, first.name, Window(zero_s - LAST_S, zero_s, zero_s + AFTER_S))
    apart = 0
    for log in (one for one in logs if one is not first):
        offset, how = _offset(first, log, zero_s)
        if offset is None:
            apart += 1
            if apart > MOST_APART:
                notes.append(f"{log.name}: {how}; not shown")
                continue
            how += "; it stands by itself, on the seconds before its own end"
            window = Window(log.end_s - LAST_S, log.end_s, log.end_s)
        else:
            end_s = zero_s - offset
            window = Window(end_s - LAST_S, end_s, end_s + AFTER_S)
        notes.append(f"{log.name}: {how}{_outside(log, window)}")
        axis = first.name if offset is not None else log.name
        more = _laid(log, axis, window)
        channels, events = channels + more[0], events + more[1]
    events.sort(key=lambda e: (e.axis != first.name, e.axis, e.time_s))
    return Timeline(tuple(channels), tuple(events), tuple(notes), zero)


def _laid(log: _Log, axis: str, window: Window) -> tuple[list[Channel], list[Happened]]:
    if log.end_s < window.start_s or log.start_s > window.end_s:
        return [], []
    recording = log.recording()
    channels = [replace(c, source=log.name, axis=axis) for c in channels_of(recording, window)]
    events = [replace(e, source=log.name, axis=axis) for e in happened_in(recording, window)]
    return channels, events


def _outside(log: _Log, window: Window) -> str:
    if log.end_s < window.start_s:
        return f"; it ends {_long(window.zero_s - log.end_s)} before zero"
    if log.start_s > window.end_s:
        return f"; it begins {_long(log.start_s - window.zero_s)} after zero"
    return ""


def _long(seconds: float) -> str:
    for unit, length in (("days", 86_400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * length:
            return f"{seconds / length:.1f} {unit}"
    return f"{seconds:.0f} s"


# --- reading


def _read_all(
    desk: Desk, attachments: Iterable[Attachment], notes: list[str], tell: _Tell
) -> list[_Log]:
    logs: list[_Log] = []
    held = 0
    waiting = list(attachments)
    for place, attachment in enumerate(waiting):
        if len(logs) >= MOST_LOGS:
            notes.append(f"{len(waiting) - place} further files were not looked at")
            break
        tell(f"looking at {attachment.name}")
        path = desk.book.attachments.path(attachment.sha256)
        try:
            recording = read(path)
        except FlightlogError as error:
            notes.append(f"{attachment.name}: not read as a log: {error.found}")
            continue
        start_s, end_s = _ends(recording)
        if not math.isfinite(end_s):
            notes.append(f"{attachment.name}: a log without rows")
            continue
        notes += _damage(attachment.name, recording)
        log = _Log(attachment.name, path, sketch(recording), start_s, end_s)
        if held + attachment.size <= _HELD_BYTES:
            held, log.held = held + attachment.size, recording
        logs.append(log)
    return logs


def _damage(name: str, recording: Recording) -> list[str]:
    """Say what of a log was lost."""
    lost = ", ".join(f"{count} {why}" for why, count in recording.receipt.dropped.items() if count)
    return [f"{name}: left out while reading: {lost}"] if lost else []


def _ends(recording: Recording) -> tuple[float, float]:
    times = [recording[name]["time_s"].to_numpy(dtype=float) for name in recording]
    finite = [t[np.isfinite(t)] for t in times]
    every = [t for t in finite if len(t)]
    if not every:
        return math.nan, math.nan
    return min(float(t.min()) for t in every), max(float(t.max()) for t in every)


# --- which log is the reference, and where zero is


def _named(logs: Sequence[_Log], name: str) -> _Log:
    found = [log for log in logs if log.name.endswith(name)]
    if len(found) != 1:
        names = ", ".join(log.name for log in logs[:20])
        raise LogFileError(
            f"{len(found)} of the logs that can be read are called so",
            where=name[:80],
            fix=f"There are: {names}.",
        )
    return found[0]


def _reference(logs: Sequence[_Log], at: datetime | None, now: datetime) -> _Log:
    latest = now.timestamp() + 86_400.0  # a clock beyond it was set wrongly
    told = [log for log in logs if log.unix_s is not None and log.ends_unix_s <= latest]
    if at is not None:
        then = at.timestamp()
        there = [log for log in told if _covers(log, then)]
        if there:
            return max(there, key=lambda log: log.sketch.rank)
    if told:
        end = max(log.ends_unix_s for log in told)
        near = [log for log in told if end - log.ends_unix_s <= _SAME_END_S]
        return max(near, key=lambda log: log.sketch.rank)
    return next((log for log in logs if not log.sketch.radio), logs[0])


def _covers(log: _Log, unix_s: float) -> bool:
    own = unix_s - (log.unix_s or 0.0)
    return log.start_s - _SLACK_S <= own <= log.end_s + _SLACK_S


def _zero(first: _Log, at: datetime | None, notes: list[str]) -> float:
    """Give where zero is, on the clock of the reference log [s]."""
    if at is None:
        return first.end_s
    if first.unix_s is None:
        notes.append(f"the time given can't be found in {first.name}, which tells no UTC")
        return first.end_s
    if not _covers(first, at.timestamp()):
        notes.append(f"the time given, {at:%Y-%m-%d %H:%M:%S} UTC, is in no log")
        return first.end_s
    return at.timestamp() - first.unix_s


def _zero_in_words(first: _Log, zero: datetime | None, zero_s: float) -> str:
    where = "its end" if zero_s == first.end_s else "the time given"
    std = first.sketch.utc.std_s
    sure = f", within {1.96 * std:.1f} s" if std is not None else ""
    when = f" ({zero:%Y-%m-%d %H:%M:%S} UTC{sure})" if zero is not None else " (it tells no UTC)"
    more = first.end_s - zero_s
    goes_on = f"; it goes on for {_long(more)} after zero" if more > AFTER_S else ""
    return f"{first.name}: the axis is its clock; zero is {where}{when}{goes_on}"


def _long_after(first: _Log, zero_s: float) -> list[str]:
    """Say where a log went on for long after the last movement."""
    speed = first.sketch.speed
    fast = speed.time_s[(speed.value > MOVING_M_S) & (speed.time_s <= zero_s)]
    if not len(fast) or zero_s - float(fast[-1]) < STILL_S:
        return []
    last = float(fast[-1])
    at = _utc(first.unix_s + last) if first.unix_s is not None else None
    when = f"; '--at {at:%Y-%m-%dT%H:%M:%SZ}' puts zero there" if at is not None else ""
    return [
        f"{first.name}: the last movement faster than {MOVING_M_S} m/s was {zero_s - last:.0f} s "
        f"before zero{when}"
    ]


def _utc(unix_s: float) -> datetime | None:
    try:
        return datetime.fromtimestamp(unix_s, UTC)
    except (OverflowError, OSError, ValueError):
        return None


def _offset(first: _Log, other: _Log, zero_s: float) -> tuple[float | None, str]:
    """Give what is added to another log's clock at zero, None where nothing tells, and how."""
    found = match(first.sketch, other.sketch)
    if found.alignment is not None:
        near = found.alignment.clock
        laid = add_partner(first.recording(), other.recording(), near).receipt.partners[-1]
        drift_s = 1e-6 * laid.rate_ppm * (zero_s - laid.offset_s - near.middle_s)
        return (
            laid.offset_s + drift_s,
            f"laid on it by {laid.method}, within {1.96 * laid.offset_std_s:.2f} s",
        )
    one, two = first.unix_s, other.unix_s
    why = f" ({found.unaligned})" if found.unaligned else ""
    if one is not None and two is not None:
        std = math.hypot(first.sketch.utc.std_s or 0.0, other.sketch.utc.std_s or 0.0)
        return two - one, f"laid on it by UTC, within {1.96 * std:.1f} s{why}"
    return None, f"NOT ALIGNED: neither its data nor its clock tells where it belongs{why}"
