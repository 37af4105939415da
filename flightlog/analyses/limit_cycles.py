"""Oscillation that nobody asked for: the aircraft swings while the commands are quiet.

Play, a dead band or a loose surface lets a control loop wander about its aim without end.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.surface_data import Told, means_about, series
from flightlog.analyses.track import Window
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding

if TYPE_CHECKING:
    from flightlog.recording import Recording

QUIET_DEG = 0.3
"""A command that moves less than this is quiet: standard deviation over two seconds. [deg]"""

BAND_HZ = (2.0, 15.0)
"""Slower is flying, faster is vibration. [Hz]"""

LEAST_DEG_S = 3.0
TIMES = 2.0
"""The turning rate swings by more than this, and than so many times what it does otherwise in
quiet stretches: standard deviation within the band. [deg/s], [-]"""

_WINDOW_S = 2.0
_LASTING = 3
_NARROW = 0.6
_CLEAR_NARROW, _CLEAR_DEG_S = 0.8, 5.0
_SLOWEST_S = 0.026
_MARGIN_S, _LANDING_S = 3.0, 4.0
_LEAST_S = 10.0
# A log of so many times more time than samples is damaged.
_MOST_GAPS = 2.0
_AXES = ("roll", "pitch", "yaw")


@dataclass(frozen=True, slots=True)
class Swings:
    """Swinging within the band in windows of two seconds, for each axis.

    Attributes
    ----------
    start_s : array, shape (k,)
        [s]
    rate_std : array, shape (k, 3)
        [deg/s]
    peak_hz, narrow : array, shape (k, 3)
        Where most of it lies [Hz], and what share lies within 1 Hz of that.
    """

    start_s: Array
    rate_std: Array
    peak_hz: Array
    narrow: Array


_SLOWEST_CLEAR_S = 0.011  # a slower sensor folds the propeller into the band that is looked at


def limit_cycles(
    recording: Recording, surfaces: Mapping[int, Told], window: Window
) -> Iterator[Finding]:
    """Find swinging under quiet commands; nothing where a linkage is unknown or the log is slow.

    Parameters
    ----------
    recording : Recording
        Its turning rates.
    surfaces : mapping of int to Told
        All surfaces.
    window : Window
        Airborne.
    """
    angles = [(told.time_s, told.deflection_deg) for told in surfaces.values()]
    known = [(t, a) for t, a in angles if a is not None]
    if not known or len(known) < len(angles):
        return
    start, end = window.start_s + _MARGIN_S, window.end_s - _LANDING_S
    gyro = series(recording.one("imu"), tuple(f"gyro_{a}_rad_s" for a in "xyz"), start, end)
    if gyro is None:
        return
    step = float(np.median(np.diff(gyro[0])))
    seconds = float(gyro[0][-1] - gyro[0][0])
    if (
        step > min(_SLOWEST_S, _SLOWEST_CLEAR_S)
        or not _LEAST_S <= seconds < _MOST_GAPS * step * gyro[0].size
    ):
        return
    swings = _swings(*gyro, step)
    quiet = np.ones(swings.start_s.size, dtype=bool)
    for time_s, angle in known:
        quiet &= _std(time_s, angle, swings.start_s) < QUIET_DEG
    for axis in range(3):
        rate, narrow = swings.rate_std[:, axis], swings.narrow[:, axis]
        usual = float(np.median(rate[quiet])) if quiet.any() else 0.0
        swinging = (rate > max(LEAST_DEG_S, TIMES * usual)) & (narrow > _NARROW)
        swinging |= (rate > _CLEAR_DEG_S) & (narrow > _CLEAR_NARROW)
        yield from _told(swings, quiet & swinging, axis)


def _told(swings: Swings, rows: NDArray[np.bool_], axis: int) -> Iterator[Finding]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rows.astype(int), [0]])))
    runs = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= _LASTING]
    if not runs:
        return
    inside = np.concatenate([np.arange(a, b) for a, b in runs])
    seconds = float(inside.size * _WINDOW_S / 2)
    rate = float(np.sqrt(np.mean(swings.rate_std[inside, axis] ** 2)))
    peak = float(np.median(swings.peak_hz[inside, axis]))
    yield make_finding(
        "limit-cycle",
        f"For {seconds:.0f} s the aircraft swung about its {_AXES[axis]} axis at {peak:.1f} Hz "
        f"({rate:.1f} deg/s rms) while the commands moved by less than {QUIET_DEG} deg.",
        evidence={"axis": _AXES[axis], "frequency_hz": peak, "rate_deg_s": rate, "for_s": seconds},
        start_s=float(swings.start_s[runs[0][0]]),
        end_s=float(swings.start_s[runs[-1][1] - 1] + _WINDOW_S),
    )


def _swings(time_s: Array, rates: Array, step: float) -> Swings:
    """Spectra of overlapping windows of the turning rates."""
    step = max(step, 1 / 400)
    grid = np.arange(time_s[0], time_s[-1], step)
    even = np.degrees(means_about(time_s, rates, grid, step))
    length = round(_WINDOW_S / step)
    first = np.arange(0, grid.size - length + 1, length // 2)
    shape = np.hanning(length)[:, None]
    frequency = np.fft.rfftfreq(length, step)
    band = (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])
    near = np.abs(frequency[band][:, None] - frequency[band]) <= 1.0
    scale = 2.0 / (length * float((shape**2).sum()))
    std, peak, narrow = (np.zeros((first.size, 3)) for _ in range(3))
    for k, begin in enumerate(first):
        piece = even[begin : begin + length]
        piece = (piece - piece.mean(axis=0)) * shape
        power = scale * np.abs(np.fft.rfft(piece, axis=0)[band]) ** 2
        whole = power.sum(axis=0)
        std[k] = np.sqrt(whole)
        highest = power.argmax(axis=0)
        peak[k] = frequency[band][highest]
        around = (near[highest].T * power).sum(axis=0)
        narrow[k] = np.where(whole > 0, around / np.maximum(whole, 1e-30), 0.0)
    return Swings(grid[first], std, peak, narrow)


def _std(time_s: Array, value: Array, start_s: Array) -> Array:
    """Standard deviation in windows of two seconds; infinite where there are too few samples."""
    first = np.searchsorted(time_s, start_s)
    last = np.searchsorted(time_s, start_s + _WINDOW_S)
    out = np.full(start_s.size, np.inf)
    for k, (a, b) in enumerate(zip(first, last, strict=True)):
        if b - a >= _WINDOW_S * 4:
            out[k] = value[a:b].std()
    return out
