"""Spectra of vibration: cut into windows, folded at the sampling rate, followed along a shaft.

What shakes faster than half the sampling rate is not lost but folded: it shows at
``|f - fs round(f / fs)|`` (the sampling theorem; `folded`). A propeller's multiples move with its
speed, folded or not, and everything here multiplies by the propeller's own phase at the times of
the samples instead of looking for a frequency: folding then needs no care.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array

WINDOW_S = 1.0
"""Long enough for 2 Hz of resolution, short enough for a speed that gusts change. [s]"""

MOST_SAMPLES = 1_500_000
"""Longer logs are looked at in windows spread over them."""

LINE_BINS = 2.5
"""Half of the width of a line under a Hann window, with its flanks. [bins]"""

_WIDEST_GAP = 2.5
_UNEVEN = 0.03
_LEAST_SAMPLES = 8


@dataclass(frozen=True, slots=True)
class Windows:
    """Stretches of evenly sampled signals.

    Attributes
    ----------
    time_s : array, shape (windows, samples)
        Times of the samples. [s]
    values : array, shape (windows, samples, axes)
        Signals, the mean of each window taken off.
    rate_hz : float
        Samples a second. [Hz]
    """

    time_s: Array
    values: Array
    rate_hz: float

    @property
    def middle_s(self) -> Array:
        """Middle of every window. [s]"""
        return np.asarray(0.5 * (self.time_s[:, 0] + self.time_s[:, -1]))

    @property
    def frequency_hz(self) -> Array:
        """Frequencies of `power_spectra`. [Hz]"""
        return np.asarray(np.fft.rfftfreq(self.time_s.shape[1], 1 / self.rate_hz))

    @property
    def bin_hz(self) -> float:
        """Distance of these frequencies. [Hz]"""
        return float(self.rate_hz / self.time_s.shape[1])

    def taken(self, rows: Array) -> Windows:
        """Some of the windows: by number, or by true and false."""
        return Windows(self.time_s[rows], self.values[rows], self.rate_hz)


def folded(frequency_hz: Array | float, rate_hz: float) -> Array:
    """Where a frequency shows in samples taken at a rate: ``|f - fs round(f / fs)|``. [Hz]

    >>> folded(np.array([120.0, 240.0]), 100.0).tolist()
    [20.0, 40.0]
    """
    f = np.asarray(frequency_hz, dtype=float)
    return np.asarray(np.abs(f - rate_hz * np.round(f / rate_hz)))


def sampling_rate(time_s: Array) -> float:
    """Samples a second by the median step [Hz]; 0 where the times tell none."""
    steps = np.diff(time_s)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if steps.size else 0.0
    return 1 / step if 1e-6 < step < 1e6 else 0.0


def cut_windows(time_s: Array, values: Array, length_s: float = WINDOW_S) -> Windows | None:
    """Cut signals into windows that overlap by half, leaving out those with gaps.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times that do not fall. [s]
    values : array, shape (n, axes)
        Finite signals.
    length_s : float
        Length of a window. [s]

    Returns
    -------
    Windows or None
        None where no window is whole. At most `MOST_SAMPLES` samples, the windows spread evenly.
    """
    rate = sampling_rate(time_s)
    count = round(length_s * rate)
    if not _LEAST_SAMPLES <= count <= min(time_s.size, MOST_SAMPLES):
        return None
    starts = np.arange(0, time_s.size - count + 1, count - count // 2)
    gaps = np.concatenate([[0], np.cumsum(np.diff(time_s) * rate > _WIDEST_GAP)])
    span = (time_s[starts + count - 1] - time_s[starts]) * rate / (count - 1)
    whole = (gaps[starts + count - 1] == gaps[starts]) & (np.abs(span - 1) < _UNEVEN)
    starts = starts[whole]
    if not starts.size:
        return None
    most = max(1, MOST_SAMPLES // count)
    if starts.size > most:
        starts = starts[np.linspace(0, starts.size - 1, most).astype(int)]
    rows = starts[:, None] + np.arange(count)
    cut = values[rows]
    return Windows(time_s[rows], cut - cut.mean(axis=1, keepdims=True), rate)


def _hann(count: int) -> Array:
    # Periodic, as spectra want it: the mirrored window repeats its end.
    return np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(count) / count))


def power_spectra(windows: Windows) -> Array:
    """One-sided power spectral density of every window, the axes added. [unit²/Hz]

    Hann window; the mean over windows is the estimate of P. D. Welch, "The use of fast Fourier
    transform for the estimation of power spectra", IEEE Trans. Audio Electroacoustics 15 (1967).

    Returns
    -------
    array, shape (windows, frequencies)
    """
    count = windows.values.shape[1]
    taper = _hann(count)
    scale = 2 / (windows.rate_hz * float(np.sum(taper**2)))
    power = np.zeros((len(windows.values), count // 2 + 1))
    for axis in range(windows.values.shape[2]):
        power += np.abs(np.fft.rfft(windows.values[:, :, axis] * taper, axis=1)) ** 2
    power *= scale
    power[:, 0] /= 2
    if count % 2 == 0:
        power[:, -1] /= 2
    return power


def turns_of(windows: Windows, speed_time_s: Array, rev_s: Array) -> Array:
    """Turns of a shaft since the start of each window, at the times of the samples.

    Parameters
    ----------
    windows : Windows
        Their times.
    speed_time_s, rev_s : array, shape (n,)
        Speed over time, joined by lines. [s], [1/s]

    Returns
    -------
    array, shape (windows, samples)
    """
    speed = np.interp(windows.time_s, speed_time_s, rev_s)
    steps = np.diff(windows.time_s, axis=1)
    turns = np.zeros_like(speed)
    np.cumsum(0.5 * (speed[:, 1:] + speed[:, :-1]) * steps, axis=1, out=turns[:, 1:])
    return turns


def order_power(
    windows: Windows, turns: Array, order: float, half_width_hz: float
) -> tuple[Array, Array]:
    """Mean square of a shaft's multiple in every window, the background beside it taken off.

    Parameters
    ----------
    windows : Windows
        Signals.
    turns : array, shape (windows, samples)
        By `turns_of`.
    order : float
        Which multiple of the speed of turning.
    half_width_hz : float
        The line is looked for within so much of where the shaft puts it; the background is
        taken from there to twice as far. [Hz]

    Returns
    -------
    line, noise : array, shape (windows,)
        Mean square of the line, the axes added, which noise can make negative, and of the
        background within the same width. [unit²]

    Notes
    -----
    A line ``a sin(2 pi k turns)`` times ``exp(-2 pi i k turns)`` stands still with power a²/4:
    half of the mean square, whatever the sampling folds it to. Its mirror image moves at twice
    the multiple and is the caller's to keep out of the way (`coincident`).
    """
    count = windows.values.shape[1]
    taper = _hann(count)
    bins = max(LINE_BINS, half_width_hz / windows.bin_hz) + 1e-6
    most = min(int(2 * bins), (count - 1) // 2)
    offsets = np.arange(-most, most + 1)
    still = np.exp(-2j * np.pi * order * turns) * taper
    kernel = np.exp(-2j * np.pi * np.outer(np.arange(count), offsets) / count)
    power = np.zeros((len(windows.values), offsets.size))
    for axis in range(windows.values.shape[2]):
        power += np.abs((windows.values[:, :, axis] * still) @ kernel) ** 2
    # Two halves of a real line; the sum over bins of a Hann window's own square, by Parseval.
    power *= 2 / (count * float(np.sum(taper**2)))
    inside = np.abs(offsets) <= bins
    beside = ~inside
    noise = power[:, beside].mean(axis=1) * inside.sum() if beside.any() else np.zeros(len(power))
    return np.asarray(power[:, inside].sum(axis=1) - noise), np.asarray(noise)


def coincident(
    rev_s: Array, order: float, others: tuple[float, ...], rate_hz: float, width_hz: float
) -> NDArray[np.bool_]:
    """Tell where a multiple's place in the spectrum is shared, after folding.

    Parameters
    ----------
    rev_s : array, shape (n,)
        Speed of the shaft. [1/s]
    order : float
        The multiple that is wanted.
    others : tuple of float
        Those that may be strong as well; its own mirror image counts always.
    rate_hz : float
        Samples a second. [Hz]
    width_hz : float
        Nearer than this they share it. [Hz]

    Returns
    -------
    array of bool, shape (n,)
    """
    shared = folded(2 * order * rev_s, rate_hz) < width_hz
    for other in others:
        if other != order:
            shared |= folded((order - other) * rev_s, rate_hz) < width_hz
            shared |= folded((order + other) * rev_s, rate_hz) < width_hz
    return np.asarray(shared, dtype=bool)


def mean_with_std(values: Array) -> tuple[float, float]:
    """Mean of a series and its standard uncertainty, neighbours being alike.

    The variance of the mean of a first-order process of correlation r between neighbours is
    larger by (1 + r) / (1 - r) (Bartlett 1946). Fewer than two values tell no spread: NaN.
    """
    n = values.size
    mean = float(np.mean(values)) if n else np.nan
    if n < 2:
        return mean, np.nan
    rest = values - mean
    total = float(rest @ rest)
    if total <= 0:
        return mean, 0.0
    r = float(np.clip((rest[1:] @ rest[:-1]) / total, 0.0, 0.9))
    return mean, float(np.sqrt(total / (n - 1) / n * (1 + r) / (1 - r)))
