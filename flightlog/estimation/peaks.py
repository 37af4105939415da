"""Peaks of spectra that stay where they are while a shaft's multiples move past them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array
from flightlog.estimation.spectra import LINE_BINS, folded

DB = 10 / np.log(10)
"""Decibels in a natural logarithm of power. [dB]"""

NARROW_HZ = 4.0
"""A peak falls off within this. [Hz]"""

BESIDE_HZ = 14.0
"""And is measured against what lies between that and this. [Hz]"""

LEAST_WINDOWS = 20
"""A frequency that fewer windows show free of multiples is not judged."""


@dataclass(frozen=True, slots=True)
class Excess:
    """Height of the spectrum over its surroundings, where no multiple of the shaft passes.

    Attributes
    ----------
    frequency_hz : array, shape (frequencies,)
        Rising. [Hz]
    height : array, shape (windows, frequencies)
        Natural logarithm of the power over ``level``; NaN where a multiple is.
    level : array, shape (windows,)
        Natural logarithm of each window's median power.
    """

    frequency_hz: Array
    height: Array
    level: Array

    @property
    def bin_hz(self) -> float:
        """Distance of the frequencies. [Hz]"""
        return float(self.frequency_hz[1] - self.frequency_hz[0])

    def mean(self, rows: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Mean over some windows and its standard deviation by chance, NaN where few are free.

        The mean is taken over the higher of its surroundings on either side, so that a slope is
        no peak.
        """
        chosen = self.height[rows]
        free = np.isfinite(chosen)
        count = free.sum(axis=0)
        enough = count >= LEAST_WINDOWS
        safe = np.maximum(count, 1)
        filled = np.where(free, chosen, 0.0)
        mean = filled.sum(axis=0) / safe
        variance = np.where(free, (chosen - mean) ** 2, 0.0).sum(axis=0) / np.maximum(safe - 1, 1)
        # Windows that overlap by half share a tenth of their chance, neighbours in flight more.
        std = np.sqrt(1.5 * variance / safe)
        mean = np.where(enough, mean, np.nan)
        return mean - self._surroundings(mean), np.where(enough, std, np.nan)

    def _surroundings(self, mean: Array) -> Array:
        near, far = (max(1, round(hz / self.bin_hz)) for hz in (NARROW_HZ, BESIDE_HZ))
        padded = np.pad(mean, far, constant_values=np.nan)
        size = mean.size
        left = np.stack([padded[far - k : far - k + size] for k in range(near, far + 1)])
        right = np.stack([padded[far + k : far + k + size] for k in range(near, far + 1)])
        return np.fmax(_median(left), _median(right))


def _median(rows: Array) -> Array:
    """Median down the columns, NaN where less than half of them is known."""
    known = np.isfinite(rows).sum(axis=0)
    ordered = np.sort(rows, axis=0)  # NaN goes last
    middle = np.maximum(known - 1, 0) // 2
    value = ordered[middle, np.arange(rows.shape[1])]
    return np.where(2 * known >= rows.shape[0], value, np.nan)


def excess_of(
    power: Array,
    frequency_hz: Array,
    rate_hz: float,
    rev_s: Array,
    orders: tuple[float, ...],
    share_std: float,
    band_hz: tuple[float, float],
) -> Excess:
    """Level every window's spectrum and leave out the multiples of the shaft, folded.

    Parameters
    ----------
    power : array, shape (windows, frequencies)
        Spectral density.
    frequency_hz, rate_hz
        Of the spectra. [Hz]
    rev_s : array, shape (windows,)
        Speed of the shaft; 0 where it stands. [1/s]
    orders : tuple of float
        Multiples to leave out.
    share_std : float
        Standard uncertainty of the speed. [-]
    band_hz : (float, float)
        What to keep. [Hz]
    """
    keep = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    log = np.log(np.maximum(power[:, keep], 1e-30))
    level = np.median(log, axis=1)
    log -= level[:, None]
    frequency = frequency_hz[keep]
    bin_hz = float(frequency_hz[1] - frequency_hz[0])
    for order in orders:
        place = folded(order * rev_s, rate_hz)[:, None]
        width = LINE_BINS * bin_hz + 2 * share_std * order * rev_s[:, None]
        log[(np.abs(frequency - place) <= width) & (rev_s[:, None] > 0)] = np.nan
    return Excess(frequency, log, np.asarray(level))


def highest(height: Array, std: Array, least: float, sigmas: float) -> list[int]:
    """Local maxima that are high enough and sure enough, the highest first.

    Parameters
    ----------
    height, std : array, shape (frequencies,)
        By `Excess.mean`.
    least : float
        Height. [natural logarithm]
    sigmas : float
        Height over ``std``.
    """
    level = np.where(np.isfinite(height) & np.isfinite(std), height, -np.inf)
    wide = np.pad(level, 1, constant_values=-np.inf)
    top = (level >= wide[:-2]) & (level >= wide[2:])
    with np.errstate(invalid="ignore"):
        top &= (level >= least) & (level >= sigmas * std)
    # At the edge of what is free of multiples a flank looks like a top.
    top &= np.isfinite(wide[:-2]) & np.isfinite(wide[2:])
    rows = np.flatnonzero(top)
    return [int(k) for k in rows[np.argsort(-level[rows])]]


def centre(frequency_hz: Array, height: Array, at: int) -> float:
    """Frequency of a local maximum, by the parabola through its three highest points. [Hz]"""
    a, b, c = height[at - 1 : at + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if np.isfinite(bend) and bend < 0 else 0.0
    step = float(frequency_hz[1] - frequency_hz[0])
    return float(frequency_hz[at] + step * np.clip(shift, -0.5, 0.5))


def slope_with_std(x: Array, y: Array) -> tuple[float, float]:
    """Slope of a straight line through points, and its standard uncertainty; NaN for too few."""
    if x.size < 3:
        return np.nan, np.nan
    dx = x - x.mean()
    span = float(dx @ dx)
    if not span > 0:
        return np.nan, np.nan
    slope = float(dx @ y) / span
    rest = y - y.mean() - slope * dx
    return slope, float(np.sqrt((rest @ rest) / (x.size - 2) / span))
