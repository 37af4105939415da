"""One release: the window made sure by the fit, and what the fit says in it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.errors import NotEnoughDataError
from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.damped_modes import Ring, ring
from flightlog.groundtests.log_decrement import LogDecrement, log_decrement
from flightlog.groundtests.ring_window import Stretch, Window

LEAST_CYCLES = 4.0
"""A decay of fewer cycles is a jolt. [-]"""
_WORSE = 1.6
"""Scatter over that of a shorter window from which something else than the ring is in it. [-]"""
_MOST_SHIFTS = 3
_CLEAR = 10.0
"""Power of a ring over what is left, from which on no other start is tried. [-]"""
_LEAST_CLEAR = 1.0
"""Below it, what was fitted is the noise itself. [-]"""
_CLEARER = 3.0
_LATER_STARTS = 10


@dataclass(frozen=True, slots=True)
class Search:
    """Where oscillations are looked for, as `damped_modes.ring` takes it."""

    lowest_hz: float
    highest_hz: float
    most_modes: int
    mains_hz: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Release:
    """What one release showed.

    Attributes
    ----------
    file : str
        Its name.
    start_s, end_s : float
        The window, by the file's clock.
    ring : Ring
        What the fit found in it.
    clipped : int
        Rows before it that were at the end of the sensor's range.
    disturbed_s : float or None
        Where something else than the ring begins, by the file's clock; the window ends there.
    decrement : LogDecrement or None
        Of the lowest mode alone, from its peaks; None where they are too few.
    """

    file: str
    start_s: float
    end_s: float
    ring: Ring
    clipped: int
    disturbed_s: float | None
    decrement: LogDecrement | None

    @property
    def cycles(self) -> float:
        """Cycles of the strongest oscillation in the window."""
        strongest = max(self.ring.modes, key=lambda m: m.amplitude)
        return (self.end_s - self.start_s) * strongest.frequency_hz


def release(file: str, stretch: Stretch, window: Window, search: Search) -> Release | None:
    """Fit a window, and part from it what is no free ring.

    Parameters
    ----------
    file : str
        Name of the file.
    stretch : Stretch
        Its rows.
    window : Window
        As it was found.
    search : Search
        Where oscillations are looked for.

    Returns
    -------
    Release or None
        None where nothing rings: no decay, or fewer than `LEAST_CYCLES` of it.
    """
    first, last = window.first, window.last
    whole = _ring(stretch, first, last, search)
    if _clearness(whole) < _CLEAR:
        first, whole = _from_later(stretch, first, last, whole, search)
    if _clearness(whole) < _LEAST_CLEAR:
        return None
    last, whole, disturbed = _undisturbed(stretch, first, last, whole, search)
    if whole is None or not whole.modes:
        return None
    for _ in range(_MOST_SHIFTS):
        later = _after_jolt(stretch, first, last, whole)
        if later is None:
            break
        again = _ring(stretch, later, last, search)
        if again is None or len(again.modes) == 0:
            break
        first, whole = later, again
    start_s, end_s = float(stretch.t[first]), float(stretch.t[last - 1])
    where = float(stretch.t[min(last, stretch.t.size - 1)]) if disturbed else None
    made = Release(file, start_s, end_s, whole, window.clipped, where, _decrement(whole))
    return made if made.cycles >= LEAST_CYCLES else None


def _ring(stretch: Stretch, first: int, last: int, search: Search) -> Ring | None:
    return ring(
        stretch.t[first:last],
        stretch.y[first:last],
        lowest_hz=search.lowest_hz,
        highest_hz=search.highest_hz,
        most_modes=search.most_modes,
        mains_hz=search.mains_hz,
    )


def _clearness(found: Ring | None) -> float:
    """Power of the fitted ring over that of what is left, in the first third of the window."""
    if found is None or not found.modes:
        return 0.0
    early = found.t <= found.t[-1] / 3
    ringing = found.fit.modes[list(found.which)].sum(axis=0)[early]
    left = float(np.mean(found.fit.rest[early] ** 2))
    return float(np.mean(ringing**2)) / left if left > 0 else math.inf


def _from_later(
    stretch: Stretch, first: int, last: int, whole: Ring | None, search: Search
) -> tuple[int, Ring | None]:
    """Start a window later where handling, stronger than the release after it, is in it."""
    best, at, most = whole, first, _CLEARER * _clearness(whole)
    for k in range(1, _LATER_STARTS):
        start = first + (last - first) * k // (_LATER_STARTS + 2)
        tried = _ring(stretch, start, last, search)
        if _clearness(tried) > most:
            # Later is less of the ring, so it has to be better by as much again.
            best, at, most = tried, start, _CLEARER * _clearness(tried)
    return at, best


def _undisturbed(
    stretch: Stretch, first: int, last: int, whole: Ring | None, search: Search
) -> tuple[int, Ring | None, bool]:
    """Shorten a window whose fit is worse than that of its first half, as far as that takes."""
    rows = last - first
    half = _ring(stretch, first, first + rows // 2, search) if rows >= 64 else None
    if half is None or not half.modes:
        return last, whole, False
    if whole is not None and whole.modes and whole.bent_std <= _WORSE * half.bent_std:
        return last, whole, False
    good, best, bad = rows // 2, half, rows
    for _ in range(4):
        middle = (good + bad) // 2
        tried = _ring(stretch, first, first + middle, search)
        if tried is not None and tried.modes and tried.bent_std <= _WORSE * half.bent_std:
            good, best = middle, tried
        else:
            bad = middle
    return first + good, best, True


def _after_jolt(stretch: Stretch, first: int, last: int, found: Ring) -> int | None:
    """Give the row one cycle later if the fit misses the start by more than the rest."""
    strongest = max(found.modes, key=lambda m: m.amplitude)
    cycle = 1 / strongest.frequency_hz
    early = found.t < cycle
    if np.count_nonzero(early) < 4 or found.t[-1] < (LEAST_CYCLES + 2) * cycle:
        return None
    rest = found.fit.rest
    there, usual = _rms(rest[early]), _rms(rest[~early])
    if there <= max(3 * usual, 0.02 * strongest.first_amplitude):
        return None
    later = int(np.searchsorted(stretch.t, stretch.t[first] + cycle))
    return later if first < later < last else None


def _rms(values: FloatArray) -> float:
    return math.sqrt(float(np.mean(values**2)))


def _decrement(found: Ring) -> LogDecrement | None:
    """Read the decrement of the lowest mode from its peaks, the other modes taken off."""
    mode = found.modes[0]
    at = found.which[0]
    alone = found.fit.modes[at] + found.fit.rest
    half = 0.5 / mode.frequency_hz
    count = int(found.t[-1] / half)
    peaks: list[float] = []
    cycles: list[float] = []
    for k in range(min(count, 400)):
        a, b = np.searchsorted(found.t, [k * half, (k + 1) * half])
        if b - a < 5:
            return None  # too few rows to meet a peak
        size = _peak(found.t[a:b], alone[a:b], float(found.fit.omega[at]))
        if size < 5 * found.noise_std:
            break
        peaks.append(size)
        cycles.append(0.5 * k)
    if len(peaks) < 4:
        return None
    rows = half / float(np.median(np.diff(found.t)))
    try:
        return log_decrement(
            peaks, cycles, found.noise_std * math.sqrt(2 / rows) + 1e-12 * peaks[0]
        )
    except (NotEnoughDataError, ValueError):
        return None


def _peak(t: FloatArray, y: FloatArray, omega: float) -> float:
    """Height of half a cycle: by its sine and cosine, which all of its rows tell together."""
    turns = omega * (t - t[0])
    parts, *_ = np.linalg.lstsq(np.array([np.cos(turns), np.sin(turns)]).T, y, rcond=None)
    return float(np.hypot(*parts))
