"""Where two series lie on each other: correlation at every lag, with holes in both.

The correlation at one lag is that of the samples which both have there, about their own means,
so that a hole, a late start or an early end costs samples and nothing else. All lags at once
come from six convolutions (D. Padfield, Masked object registration in the Fourier domain, IEEE
Trans. Image Process. 21 (2012) 2706, in one dimension).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

GRID_S = 0.5
"""Step of the lags [s]."""

MEMORY_S = 5.0
"""Samples nearer than this to each other are taken for one: speed and height are smooth [s]."""

LEAST_S = 30.0
"""Series that share less than this say nothing about a lag [s]."""

STILL: Mapping[str, float] = {"speed": 0.7, "height": 1.5, "north": 8.0, "east": 8.0}
"""A series that varies less than this over what is shared says nothing either [m/s], [m]."""

LONGEST_S = 4 * 86400.0
"""Two recordings that last longer together are not compared [s]."""

_HIGHEST_R = 0.999
"""Correlations above this are not told apart: interpolation alone costs as much."""


@dataclass(frozen=True, slots=True)
class Trace:
    """One quantity of one recording.

    Attributes
    ----------
    name : {"speed", "height", "north", "east"}
        What it is; only traces of one name are compared.
    time_s, value : array
        Rising times on the recording's own clock [s]; values in m/s or m, NaN where missing.
    """

    name: str
    time_s: Array
    value: Array

    @property
    def step_s(self) -> float:
        """Median step between values that are there [s]; NaN with fewer than two."""
        times = self.time_s[np.isfinite(self.value)]
        steps = np.diff(times)
        steps = steps[steps > 0]
        return float(np.median(steps)) if len(steps) else float("nan")


@dataclass(frozen=True, slots=True)
class Lags:
    """How well two recordings lie on each other at each lag.

    Attributes
    ----------
    lag_s : array
        Added to the second one's clock. Rising. [s]
    score : array
        Log-likelihood ratio of "one moves as the other" against "nothing in common", summed
        over the traces.
    shared_s : array
        Time for which both have the trace of which they share most. [s]
    """

    lag_s: Array
    score: Array
    shared_s: Array

    def peaks(self, *, apart_s: float, most: int) -> list[int]:
        """Give places of the highest scores, best first, at least so far from each other."""
        left = self.score.copy()
        found: list[int] = []
        while len(found) < most and len(left):
            at = int(np.argmax(left))
            if not left[at] > 0:
                break
            found.append(at)
            left[np.abs(self.lag_s - self.lag_s[at]) < apart_s] = -np.inf
        return found


def gap_s(step_s: float) -> float:
    """Give the longest silence over which a trace with this step may be interpolated [s]."""
    return max(3.0, 3.0 * step_s)


def on_grid(trace: Trace, start_s: float, count: int, step_s: float) -> Array:
    """Interpolate a trace onto even times; NaN in its gaps and outside of it."""
    good = np.isfinite(trace.value)
    times, values = trace.time_s[good], trace.value[good]
    grid = start_s + step_s * np.arange(count)
    if len(times) < 2:
        return np.full(count, np.nan)
    out: Array = np.asarray(np.interp(grid, times, values, left=np.nan, right=np.nan))
    after = np.clip(np.searchsorted(times, grid, side="left"), 1, len(times) - 1)
    wide = times[after] - times[after - 1] > gap_s(trace.step_s)
    out[wide & (times[after] != grid) & (times[after - 1] != grid)] = np.nan
    return out


def correlate(first: Sequence[Trace], second: Sequence[Trace]) -> Lags:
    """Score every lag at which two recordings share `LEAST_S` or more.

    Parameters
    ----------
    first, second : sequence of Trace
        Those of the same name are compared.

    Notes
    -----
    With ``n`` independent samples of correlation ``r`` the log-likelihood ratio against
    independence is ``-n/2 ln(1 - r²)`` (Gaussian, gain and bias free). A negative correlation
    counts as none.
    """
    pairs = [(a, b) for a in first for b in second if a.name == b.name]
    pairs = [(a, b) for a, b in pairs if len(a.time_s) > 1 and len(b.time_s) > 1]
    if not pairs:
        return Lags(np.empty(0), np.empty(0), np.empty(0))
    start_a, end_a = min(a.time_s[0] for a, _ in pairs), max(a.time_s[-1] for a, _ in pairs)
    start_b, end_b = min(b.time_s[0] for _, b in pairs), max(b.time_s[-1] for _, b in pairs)
    if not end_a - start_a + end_b - start_b <= LONGEST_S:
        return Lags(np.empty(0), np.empty(0), np.empty(0))
    count_a = int((end_a - start_a) / GRID_S) + 1
    count_b = int((end_b - start_b) / GRID_S) + 1
    score = np.zeros(count_a + count_b - 1)
    shared = np.zeros_like(score)
    for a, b in pairs:
        r, n = _masked_correlation(
            on_grid(a, start_a, count_a, GRID_S),
            on_grid(b, start_b, count_b, GRID_S),
            STILL[a.name],
        )
        score += np.where(r > 0, -0.5 * n * GRID_S / MEMORY_S * np.log1p(-r * r), 0.0)
        shared = np.maximum(shared, n * GRID_S)
    lag_s = start_a - start_b + GRID_S * (np.arange(len(score)) - (count_b - 1))
    score[shared < LEAST_S] = 0.0
    return Lags(lag_s, score, shared)


def _masked_correlation(a: Array, b: Array, still: float) -> tuple[Array, Array]:
    """Correlation and number of shared samples, per lag from -(len(b) - 1) to len(a) - 1."""
    have_a, have_b = np.isfinite(a), np.isfinite(b)
    # Small numbers: the sums of squares below would lose what large ones differ by.
    middle_a = np.nanmean(a) if have_a.any() else 0.0
    middle_b = np.nanmean(b) if have_b.any() else 0.0
    x, y = np.where(have_a, a - middle_a, 0.0), np.where(have_b, b - middle_b, 0.0)
    mask_x, mask_y = have_a.astype(np.float64), have_b.astype(np.float64)
    n, sx, sy, sxx, syy, sxy = _convolved(
        [
            (mask_x, mask_y),
            (x, mask_y),
            (mask_x, y),
            (x * x, mask_y),
            (mask_x, y * y),
            (x, y),
        ]
    )
    n = np.round(n)
    with np.errstate(divide="ignore", invalid="ignore"):
        var_x, var_y = sxx / n - (sx / n) ** 2, syy / n - (sy / n) ** 2
        r = (sxy / n - sx * sy / n**2) / np.sqrt(var_x * var_y)
    good = (n * GRID_S >= LEAST_S) & (var_x > still**2) & (var_y > still**2) & np.isfinite(r)
    return np.where(good, np.clip(r, -_HIGHEST_R, _HIGHEST_R), 0.0), n


def _convolved(pairs: Sequence[tuple[Array, Array]]) -> list[Array]:
    """Correlate each pair fully: ``out[k]`` is the sum of ``x[i] y[i - k + len(y) - 1]``."""
    count = len(pairs[0][0]) + len(pairs[0][1]) - 1
    size = 1 << (count - 1).bit_length()
    return [
        np.asarray(np.fft.irfft(np.fft.rfft(x, size) * np.fft.rfft(y[::-1], size), size)[:count])
        for x, y in pairs
    ]
