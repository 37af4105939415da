"""Drop-outs of the radio link: when it was silent, and whether it was the link at all.

Silence in a log has three causes. Where the aircraft's own log goes on, the link was lost; where
everything stops at once, the logger was. A copy made on the ground can't tell a lost link from a
recorder that stood still, unless the radio on the ground went on reporting, or packets were
already missing by their numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.track import Window
from flightlog.estimation.frames import Array
from flightlog.estimation.link_budget import second_means

if TYPE_CHECKING:
    from flightlog.recording import Recording

LEAST_GAP_S = 0.5
"""Shorter silences go unnoticed in the hand. [s]"""

GAP_PERIODS = 3.0
"""A drop-out is longer than three periods of the stream. [-]"""

Kind = Literal["link", "link or ground side", "logger"]

_ABOARD = ("imu", "gps", "attitude", "baro", "battery", "outputs")
_COPY = "mavlink-telemetry"
_GROUND_CARD = "transmitter"
_POOR_PCT = 80.0
_BESIDE_S = 4.0
_HALF = 0.5
_LEAST_STEP_S = 1e-3


@dataclass(frozen=True, slots=True)
class Dropout:
    """One silence: last report before it and first after it [s], and what was silent."""

    start_s: float
    end_s: float
    kind: Kind


@dataclass(frozen=True, slots=True)
class Silences:
    """Drop-outs while airborne.

    Attributes
    ----------
    dropouts : tuple of Dropout
        In the order of time.
    longest_s, period_s : float
        Longest time between two reports that the logger did not cause, whether it counts as a
        drop-out or not, and the usual one. [s]
    seen_s : float
        Airborne time in which reports were there to be missed. [s]
    """

    dropouts: tuple[Dropout, ...]
    longest_s: float
    period_s: float
    seen_s: float

    @property
    def lost(self) -> tuple[Dropout, ...]:
        """Those that the logger did not cause."""
        return tuple(d for d in self.dropouts if d.kind != "logger")


def values_of(recording: Recording, table: str, name: str) -> Array:
    """A column as floats, NaN where it is missing; empty without the table."""
    rows = recording.one(table)
    if rows is None:
        return np.empty(0)
    if name not in rows:
        return np.full(len(rows), np.nan)
    values = rows[name].to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.abs(values) < 1e12, values, np.nan)


def find_silences(recording: Recording, window: Window) -> Silences | str:
    """Find the drop-outs of the link in a window, or say why they can't be found."""
    alive, dead = _reports(recording)
    if alive.size + dead.size < 3:
        return "the log has no reports of the radio link; log its quality or signal strength"
    copy = recording.receipt.format == _COPY
    aboard = [t for t in (_times(recording, name) for name in _ABOARD) if t.size > 1]
    streams = [np.unique(np.concatenate(aboard))] if copy and aboard else [alive]
    if not copy and recording.receipt.format != _GROUND_CARD and not _foreign(recording):
        streams.append(np.unique(_times(recording, "inputs")))
    reports = np.concatenate([streams[0], dead])
    if ((reports >= window.start_s) & (reports <= window.end_s)).sum() < 3:
        return "too few reports of the radio link while airborne; log it at 1 Hz or more"
    until = min(window.end_s, max(float(t[-1]) for t in (*aboard, reports) if t.size))
    cause = _Cause(recording, [(t, _usual(t)) for t in aboard], dead)
    found: list[Dropout] = []
    longest = 0.0
    for stream in streams:
        if stream.size < 3:
            continue
        usual = _period(stream, copy)
        knots = _knots(stream, window.start_s, until)
        step = np.diff(knots)
        gaps = np.flatnonzero(step > max(GAP_PERIODS * usual, LEAST_GAP_S))
        ours = np.ones(step.size, dtype=bool)
        for at in gaps.tolist():
            begin, end = float(knots[at]), float(knots[at + 1])
            found.append(Dropout(begin, end, cause.of(begin, end)))
            ours[at] = found[-1].kind != "logger"
        if ours.any():
            longest = max(longest, float(step[ours].max()) - usual)
    first = max(window.start_s, float(reports.min()))
    longest = longest if longest > _LEAST_STEP_S else 0.0
    return Silences(_merged(found), longest, _period(streams[0], copy), max(0.0, until - first))


def _knots(stream: Array, start_s: float, end_s: float) -> Array:
    """Reports of a window, with its own ends where others came outside it or no more came."""
    inside = stream[(stream >= start_s) & (stream <= end_s)]
    before = [start_s] if (stream < start_s).any() else []
    return np.concatenate([before, inside, [max(end_s, inside[-1] if inside.size else start_s)]])


def _times(recording: Recording, table: str) -> Array:
    times = values_of(recording, table, "time_s")
    return times[np.isfinite(times)]


def _reports(recording: Recording) -> tuple[Array, Array]:
    """Times of reports that say that something arrives, and of those that say that nothing does."""
    table = recording.get("link")
    if table is None:
        return np.empty(0), np.empty(0)
    time_s = values_of(recording, "link", "time_s")
    quality = values_of(recording, "link", "quality_pct")
    strength = [values_of(recording, "link", name) for name in ("rssi_dbm", "rssi_raw")]
    says = np.isfinite(quality) | np.isfinite(strength[0]) | np.isfinite(strength[1])
    dead = (quality <= 0) | ~says
    time = np.isfinite(time_s)
    if not (says & (quality > 0)).any() and not np.isfinite(np.concatenate(strength)).any():
        return np.empty(0), np.empty(0)
    return np.unique(time_s[time & ~dead]), np.unique(time_s[time & dead])


def _foreign(recording: Recording) -> bool:
    """Whether the link was logged by another recorder than the rest."""
    return any("link" in p.tables for p in recording.receipt.partners)


def _period(stream: Array, copy: bool) -> float:
    step = np.diff(stream)
    step = step[step > 0]
    if not step.size:
        return 0.0
    # Streams of several rates have no usual step; what is rare among them is.
    return float(np.percentile(step, 95)) if copy else float(np.median(step))


def _usual(time_s: Array) -> float:
    step = np.diff(time_s)
    step = step[step > 0]
    return float(np.median(step)) if step.size else 0.0


@dataclass(frozen=True, slots=True)
class _Cause:
    """What tells the causes of silences apart: streams with their usual steps, dead reports."""

    recording: Recording
    aboard: list[tuple[Array, float]]
    dead: Array

    def of(self, start_s: float, end_s: float) -> Kind:
        if ((self.dead > start_s) & (self.dead < end_s)).any():
            return "link"
        if self.recording.receipt.format == _COPY:
            return _kind_of_copy(self.recording, start_s, end_s)
        if self.recording.receipt.format == _GROUND_CARD:
            return "logger"
        if not any(_went_on(t, usual, start_s, end_s) for t, usual in self.aboard):
            return "logger"
        return "link or ground side" if _foreign(self.recording) else "link"


def _kind_of_copy(recording: Recording, start_s: float, end_s: float) -> Kind:
    time_s = values_of(recording, "link", "time_s")
    strength = np.isfinite(values_of(recording, "link", "rssi_raw"))
    # The radio on the ground reports without the aircraft.
    if (strength & (time_s > start_s) & (time_s < end_s)).any():
        return "link"
    beside = (time_s > start_s - _BESIDE_S) & (time_s < end_s + _BESIDE_S)
    quality = values_of(recording, "link", "quality_pct")[beside]
    return "link" if (quality < _POOR_PCT).any() else "link or ground side"


def _went_on(time_s: Array, usual: float, start_s: float, end_s: float) -> bool:
    """Whether a stream had at least half its usual samples in a silence."""
    first = np.searchsorted(time_s, start_s, side="right")
    inside = int(np.searchsorted(time_s, end_s, side="left") - first)
    return inside >= 1 and inside * usual >= _HALF * (end_s - start_s - usual)


def _merged(found: list[Dropout]) -> tuple[Dropout, ...]:
    """Drop-outs of two streams that overlap are one."""
    merged: list[Dropout] = []
    for one in sorted(found, key=lambda d: d.start_s):
        last = merged[-1] if merged else None
        if last is not None and one.start_s < last.end_s:
            kind = last.kind if last.kind != "logger" else one.kind
            merged[-1] = Dropout(last.start_s, max(last.end_s, one.end_s), kind)
        else:
            merged.append(one)
    return tuple(merged)


@dataclass(frozen=True, slots=True)
class Least:
    """Least 1 s mean of the quality, and its standard uncertainty. [%]"""

    value: float
    std: float
    slow: bool


def least_quality(recording: Recording, window: Window) -> Least | None:
    """Least quality of a second in a window; None without a quality."""
    time_s = values_of(recording, "link", "time_s")
    quality = values_of(recording, "link", "quality_pct")
    good: NDArray[np.bool_] = np.isfinite(time_s) & np.isfinite(quality)
    good &= (time_s >= window.start_s) & (time_s <= window.end_s)
    t, q = time_s[good], quality[good]
    if t.size < 3:
        return None
    _, mean = second_means(t, q, power=False)
    at = int(np.argmin(mean))
    beside = np.concatenate([mean[max(at - 1, 0) : at], mean[at + 1 : at + 2]])
    # A report counts packets of a window of its own, which may straddle two seconds.
    smeared = float(beside.mean() - mean[at]) / 12**0.5 if beside.size else 0.0
    slow = t.size < 1.5 * mean.size
    own = smeared if slow else smeared / 2
    return Least(float(mean[at]), float(np.hypot(0.29, own)), slow)
