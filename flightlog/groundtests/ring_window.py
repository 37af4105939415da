"""Where in a recording from the bench something was let go, and for how long it rang freely."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import FloatArray

Rows = NDArray[np.signedinteger[Any]]

LARGEST = 1e30
"""No sensor gives more, in any unit; squares of it are still numbers."""
_LATEST_S = 1e12
"""No clock shows more, in seconds since whenever. [s]"""
_STEPS_S = (1e-6, 10.0)
"""Between these a logger writes its rows. [s]"""
_GAP_S = 1.0
"""A hole of this length parts a recording. [s]"""
_LEAST_ROWS = 16
_BLOCK_S = 0.05
_QUIET_BEFORE_S = 1.5
"""A beat of two close modes is never larger than what was this long before it. [s]"""
_RISE = 1.25
_ABOVE_NOISE = 5.0
_LITTLE_REST = 2.0
"""Part of a file that is at rest for certain, where a tenth is not. [%]"""
_CLIP_ROWS = 3
_MOST_RELEASES = 30
LONGEST_S = 60.0
"""No wing or tail rings longer by hand; a longer window is cut. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Rows of one file that follow each other in time.

    Attributes
    ----------
    t : array, shape (n,)
        Times, strictly rising. [s]
    y : array, shape (n,)
        Signal, finite.
    release : int or None
        Number of the release that the file states.
    """

    t: FloatArray
    y: FloatArray
    release: int | None = None

    @property
    def step_s(self) -> float:
        """Usual time between rows."""
        return float(np.median(np.diff(self.t)))


@dataclass(frozen=True, slots=True)
class Cleaning:
    """What was done to the rows of a file before anything was looked for.

    Attributes
    ----------
    left_out : int
        Rows without a number, or with one that no sensor gives.
    doubled : int
        Rows whose time another row has too.
    respaced : bool
        Whether times were spread evenly, since the clock counts in steps coarser than the rows.
    back : int
        How often the time went back.
    """

    left_out: int = 0
    doubled: int = 0
    respaced: bool = False
    back: int = 0


@dataclass(frozen=True, slots=True)
class Window:
    """Rows of a stretch in which it rings freely.

    Attributes
    ----------
    first, last : int
        Rows, the last one past the end.
    clipped : int
        Rows just before that were at the end of the sensor's range.
    noise_std : float
        Scatter at rest. [unit of the signal]
    """

    first: int
    last: int
    clipped: int
    noise_std: float


def stretches(
    time_s: FloatArray, signal: FloatArray, release: FloatArray | None = None
) -> tuple[list[Stretch], Cleaning]:
    """Part a file where its time goes back far, where it stops, and where it says.

    Parameters
    ----------
    time_s, signal : array, shape (n,)
        As read; NaN where a cell holds no number.
    release : array, shape (n,), optional
        Number of the release; rows without one belong to none.
    """
    good = np.isfinite(time_s) & np.isfinite(signal)
    good &= (np.abs(time_s) < _LATEST_S) & (np.abs(signal) < LARGEST)
    numbers = None
    if release is not None:
        good &= np.isfinite(release) & (np.abs(release) < 1e9)
        numbers = release[good]
    t, y = time_s[good], signal[good]
    done = Cleaning(left_out=int(time_s.size - t.size))
    if t.size < _LEAST_ROWS:
        return [], done
    steps = np.diff(t)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    if not _STEPS_S[0] <= usual <= _STEPS_S[1]:
        return [], done
    # A clock that starts again parts two releases; one row out of order does not.
    cut = (steps > max(_GAP_S, 5 * usual)) | (steps < -max(0.5, 20 * usual))
    if numbers is not None:
        cut |= np.diff(numbers) != 0
    edges = [0, *(np.flatnonzero(cut) + 1), t.size]
    found = []
    for a, b in pairwise(edges):
        if b - a < _LEAST_ROWS:
            continue
        number = int(numbers[a]) if numbers is not None else None
        part, done = _ordered(t[a:b], y[a:b], number, done)
        if part is not None:
            found.append(part)
    return found, done


def _ordered(
    t: FloatArray, y: FloatArray, number: int | None, done: Cleaning
) -> tuple[Stretch | None, Cleaning]:
    """Put rows in the order of their times, each time once."""
    back = int(np.count_nonzero(np.diff(t) < 0))
    same = int(np.count_nonzero(np.diff(t) == 0))
    done = replace(done, back=done.back + back, doubled=done.doubled + same)
    if not back and same > 0.2 * t.size and _is_counted(t, y):
        even = np.linspace(0.0, 1.0, t.size)
        line = np.polyfit(even, t, 1)
        spread = np.asarray(np.polyval(line, even), dtype=np.float64)
        return Stretch(spread, y, number), replace(done, respaced=True)
    order = np.argsort(t, kind="stable")
    t, y = t[order], y[order]
    kept = np.concatenate([[True], np.diff(t) > 0])
    # Rows of one time are one reading, with the mean of what they say.
    group = np.cumsum(kept) - 1
    y = np.bincount(group, y) / np.bincount(group)
    t = t[kept]
    return (Stretch(t, y, number) if t.size >= _LEAST_ROWS else None), done


def _is_counted(t: FloatArray, y: FloatArray) -> bool:
    """Ask whether several rows share a time because the clock counts in coarse steps."""
    even = np.linspace(t[0], t[-1], t.size)
    steps = np.diff(t)
    quantum = float(np.median(steps[steps > 0]))
    if np.abs(t - even).max() > 2.5 * quantum:
        return False
    return bool(np.count_nonzero(np.diff(y)[steps == 0]) > 0.5 * np.count_nonzero(steps == 0))


# --- releases


def windows(stretch: Stretch, mains_hz: Sequence[float] = (50.0, 60.0)) -> list[Window]:
    """Find where it rings freely, in a stretch with rest, handling and any number of releases.

    Parameters
    ----------
    stretch : Stretch
        Rows of a file.
    mains_hz : sequence of float
        Taken off before; the hum of a cable is no ringing.

    Returns
    -------
    list of Window
        In time; one at most where the file numbers its releases. Each starts where the amplitude
        is largest, once the sensor is inside its range, and ends before the next disturbance, or
        where it is lost in the noise. Whether it rings there is for the fit to say.
    """
    clear = without_lines(stretch, mains_hz)
    edges, level, half = _levels(stretch, clear)
    if level.size < 4:
        return []
    noise = _noise(level)
    peaks = _peaks(level, noise)
    if not peaks:
        # A slow ring, hardly damped, leaves little rest in a file.
        noise = _noise(level, _LITTLE_REST)
        peaks = _peaks(level, noise)
    if stretch.release is not None and peaks:
        peaks = [max(peaks, key=lambda k: level[k])]
    found = []
    for i, peak in enumerate(peaks[:_MOST_RELEASES]):
        following = peaks[i + 1] if i + 1 < len(peaks) else level.size
        end = _end(level, peak, following, noise, half)
        last = int(edges[end])
        first, clipped = _start(stretch, clear, edges, peak, last)
        if last - first < _LEAST_ROWS:
            continue
        last = min(last, int(np.searchsorted(stretch.t, stretch.t[first] + LONGEST_S)))
        if last - first >= _LEAST_ROWS:
            found.append(Window(first, last, clipped, noise))
    return found


def without_lines(stretch: Stretch, mains_hz: Sequence[float]) -> FloatArray:
    """Take lines of the mains off a signal, piece by piece of two seconds."""
    t, y = stretch.t, stretch.y
    lines = [k * base for base in mains_hz for k in (1, 2, 3)]
    clear = np.array(y)
    edges = np.searchsorted(t, np.arange(t[0], t[-1] + 2.0, 2.0))
    for a, b in pairwise(edges):
        if b - a < 6 * len(lines) + 8:
            continue
        at = t[a:b] - t[a]
        turns = 2 * math.pi * np.outer(at, lines)
        hum = np.hstack([np.cos(turns), np.sin(turns)])
        # With the slow part and its own bends, so that neither a release nor a ring is a line.
        slow = np.vander(at / at[-1], 4)
        rise, *_ = np.linalg.lstsq(np.hstack([hum, slow]), y[a:b], rcond=1e-6)
        clear[a:b] -= hum @ rise[: hum.shape[1]]
    return clear


def _levels(stretch: Stretch, clear: FloatArray) -> tuple[Rows, FloatArray, int]:
    """Give the edges of short blocks in rows, and the scatter over about a cycle around each.

    The last is how many blocks before and after each its scatter looks at.
    """
    t = stretch.t
    count = int(min(max((t[-1] - t[0]) / _BLOCK_S, 1), 200_000))
    edges = np.searchsorted(t, np.linspace(t[0], t[-1], count + 1))
    edges[-1] = t.size
    half = max(2, round(0.5 * _span_s(stretch, clear) / _BLOCK_S))
    total = np.concatenate([[0.0], np.cumsum(clear)])
    square = np.concatenate([[0.0], np.cumsum((clear - clear.mean()) ** 2)])
    middle = clear.mean()
    low = edges[np.maximum(np.arange(count) - half, 0)]
    high = edges[np.minimum(np.arange(count) + 1 + half, count)]
    rows = np.maximum(high - low, 1)
    mean = (total[high] - total[low]) / rows - middle
    power = (square[high] - square[low]) / rows - mean**2
    return edges, np.sqrt(np.maximum(power, 0.0)), half


def _span_s(stretch: Stretch, clear: FloatArray) -> float:
    """Time over which scatter is told: a bit more than a cycle of what is strongest. [s]"""
    t = stretch.t
    n = min(t.size, 1 << 16)
    even = np.interp(np.linspace(t[0], t[-1], n), t, clear)
    # Differences: the pull before a release moves slowly and far.
    power = np.abs(np.fft.rfft(np.diff(even))) ** 2
    hertz = np.fft.rfftfreq(n - 1, float(t[-1] - t[0]) / (n - 1))
    inside = (hertz > 1.0) & (hertz < 100.0)
    if not inside.any():
        return 0.4
    return min(max(1.3 / float(hertz[inside][np.argmax(power[inside])]), 0.1), 1.0)


def _noise(level: FloatArray, quietest: float = 10.0) -> float:
    """Scatter at rest: that of the quietest tenth. [unit of the signal]"""
    return float(np.percentile(level, quietest)) or float(np.max(level)) * 1e-6


def _peaks(level: FloatArray, noise: float) -> list[int]:
    """Find the blocks where the scatter has risen above all that was just before."""
    back = round(_QUIET_BEFORE_S / _BLOCK_S)
    near = max(3, round(0.4 / _BLOCK_S))
    found: list[int] = []
    floor = max(_ABOVE_NOISE * noise, 0.02 * float(level.max()))
    for k in np.flatnonzero(level > floor):
        around = level[max(0, k - near) : k + near + 1]
        if level[k] < around.max() or (found and k - found[-1] <= near):
            continue
        before = level[max(0, k - back - near) : max(0, k - near)]
        if before.size >= near and level[k] < _RISE * before.max():
            continue
        if before.size < near and k > near and level[k] < level[: k - near + 1].max(initial=0.0):
            continue
        found.append(int(k))
    return found


def _end(level: FloatArray, peak: int, following: int, noise: float, half: int) -> int:
    """Say at which block a ring ends: lost in the noise, stopped, or disturbed."""
    if following < level.size:
        # The next disturbance starts where the scatter is least before it.
        tail = level[peak:following]
        quiet = peak + int(tail.size - 1 - np.argmin(tail[::-1]))
        following = max(quiet, peak + 1)
    future = np.maximum.accumulate(level[peak:following][::-1])[::-1]
    lost = np.flatnonzero(future < 1.5 * noise)
    if not lost.size:
        return following
    end = peak + int(lost[0])
    before = end - 2 * half - 2
    if before > peak and level[before] > _ABOVE_NOISE * noise:
        return before  # it did not fade: a hand stopped it, within what the scatter looks at
    return end


def _start(
    stretch: Stretch, clear: FloatArray, edges: Rows, peak: int, end: int
) -> tuple[int, int]:
    """Say on which row a ring starts, and how many rows at the end of the range come before."""
    a = int(edges[max(0, peak - 2)])
    b = int(edges[min(peak + 8, edges.size - 1)])
    first = a + (int(np.argmax(np.abs(clear[a:b] - np.median(clear[a:b])))) if b > a else 0)
    first = min(first, int(edges[min(peak + 3, edges.size - 1)]))
    whole = stretch.y[a:end]
    if end - first < _LEAST_ROWS:
        return first, 0
    tops = (float(whole.max()), float(whole.min()))
    tight = 1e-9 * max(abs(tops[0]), abs(tops[1]))
    clipped, last = 0, -1
    for top in tops:
        at = np.flatnonzero(np.abs(stretch.y[first:end] - top) <= tight)
        runs = np.split(at, np.flatnonzero(np.diff(at) != 1) + 1)
        for run in runs:
            if run.size >= _CLIP_ROWS:
                clipped += int(run.size)
                last = max(last, int(run[-1]))
    return (first + last + 1 if clipped else first), clipped
