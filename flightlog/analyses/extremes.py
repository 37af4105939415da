"""The largest of many noisy values is larger than the largest truth: by how much.

The bias is found by adding noise to the smoothed series and seeing how far the extreme moves
(parametric bootstrap, Efron 1979). Only noise that the series shows can have lifted its
extreme: an error that moves all neighbours alike is part of the uncertainty, not of the bias.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array

_DRAWS = 200
_SEED = 20
_NEIGHBOURS = 6
# A mean over about six independent neighbours takes a twelfth of the noise out of the rest.
_SMOOTHING_LOSS = 1.09
# On a flat truth the smoothed series still has a luckiest stretch: a third of the bias stays.
_BIAS_DOUBT = 0.6


@dataclass(frozen=True, slots=True)
class Extreme:
    """The extreme of a noisy series.

    Attributes
    ----------
    value : float
        Corrected for the bias of picking the extreme.
    std : float
        Standard uncertainty from the noise.
    time_s : float
        Where the series has it. [s]
    """

    value: float
    std: float
    time_s: float


def largest(
    time_s: Array, values: Array, noise_std: Array | float, correlation_s: float
) -> Extreme:
    """Find the largest value of a noisy series.

    Parameters
    ----------
    time_s, values : array
        Rising times [s] and values; all finite, not empty.
    noise_std : array or float
        Standard deviation of the noise of every value.
    correlation_s : float
        Time over which the noise of neighbours agrees. [s]
    """
    stated = np.broadcast_to(np.asarray(noise_std, dtype=float), values.shape)
    top = int(np.argmax(values))
    best, at = float(values[top]), float(time_s[top])
    step = _step(time_s)
    calm = _smoothed(values, correlation_s, step)
    rest = values - calm
    shown = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
    noise = np.minimum(stated, shown * _SMOOTHING_LOSS)
    spread = float(np.max(noise))
    unseen = float(np.sqrt(max(0.0, stated[top] ** 2 - noise[top] ** 2)))
    if spread <= 0:
        return Extreme(best, unseen, at)
    # Values that noise can't lift to the top take no part.
    close = np.flatnonzero(calm >= calm.max() - 8 * spread)
    # Neighbours within half the correlation time are nearly one value.
    close = close[:: max(1, int(0.5 * correlation_s / max(step, 1e-6)))]
    tops = (calm[close] + noise[close] * _noise(time_s[close], correlation_s)).max(axis=1)
    bias = float(np.mean(tops) - calm[close].max())
    std = float(np.sqrt(np.var(tops) + (_BIAS_DOUBT * bias) ** 2 + unseen**2))
    return Extreme(best - bias, std, at)


def _step(time_s: Array) -> float:
    return float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0


def _smoothed(values: Array, correlation_s: float, step_s: float) -> Array:
    """Straight lines fitted about every value over `_NEIGHBOURS` times the correlation."""
    half = round(_NEIGHBOURS / 2 * correlation_s / max(step_s, 1e-6))
    half = max(_NEIGHBOURS // 2, half)
    half = min(half, (values.size - 1) // 2)
    if half < 1:
        return values
    kernel = np.ones(2 * half + 1)
    # Beyond its ends the series goes on with its mirror image about the end.
    head, tail = 2 * values[0] - values[half:0:-1], 2 * values[-1] - values[-2 : -half - 2 : -1]
    longer = np.concatenate([head, values, tail])
    return np.asarray(np.convolve(longer, kernel / kernel.size, "valid"), dtype=float)


def smallest(
    time_s: Array, values: Array, noise_std: Array | float, correlation_s: float
) -> Extreme:
    """Find the smallest value of a noisy series; as `largest`."""
    mirrored = largest(time_s, -values, noise_std, correlation_s)
    return Extreme(-mirrored.value, mirrored.std, mirrored.time_s)


def _noise(time_s: Array, correlation_s: float) -> Array:
    """Draws of unit noise whose correlation falls as exp(-dt / correlation_s)."""
    white = np.random.default_rng(_SEED).standard_normal((time_s.size, _DRAWS))
    if correlation_s <= 0:
        return white.T
    rho = np.exp(-np.diff(time_s) / correlation_s)
    for k in range(1, time_s.size):
        white[k] = rho[k - 1] * white[k - 1] + np.sqrt(1 - rho[k - 1] ** 2) * white[k]
    return white.T
