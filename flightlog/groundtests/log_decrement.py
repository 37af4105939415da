"""Damping of one mode from the peaks of its decay, by regression of their logarithms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.errors import NotEnoughDataError
from flightlog.groundtests.bench_table import FloatArray

_STEEPEST = 50.0
"""Logarithmic decrement of a decay that nobody calls ringing. [-]"""


@dataclass(frozen=True, slots=True)
class LogDecrement:
    """What the peaks of a decay say.

    Attributes
    ----------
    decrement, decrement_std : float
        Logarithmic decrement per cycle, and its standard uncertainty. [-]
    damping, damping_std : float
        Ratio to critical damping. [-]
    curvature, curvature_std : float or None
        Of ln(peak) against the count of cycles, per cycle²; None with fewer than four peaks.
        Negative: the decay gets steeper as it goes on, as with friction; positive: damping falls
        with amplitude, as in most structures.
    residual_std : float or None
        Scatter of ln(peak) about the line; None with two peaks. [-]
    """

    decrement: float
    decrement_std: float
    damping: float
    damping_std: float
    curvature: float | None
    curvature_std: float | None
    residual_std: float | None


def log_decrement(
    peaks: Sequence[float] | FloatArray, cycles: Sequence[float] | FloatArray, peak_std: float
) -> LogDecrement:
    """Fit a line through the logarithms of the peaks of a free decay.

    Parameters
    ----------
    peaks : sequence of float
        Heights of peaks above the rest position, all positive, in any unit; two or more.
    cycles : sequence of float
        On which cycle each stands, from any zero; half ones for peaks of the other side.
    peak_std : float
        Standard uncertainty of each height, independent of the others. [unit of peaks]

    Returns
    -------
    LogDecrement
        The peaks are weighed by what ``peak_std`` makes of their logarithms. Where they scatter
        more about the line than that, the uncertainty follows the scatter.

    Raises
    ------
    NotEnoughDataError
        If fewer than two peaks are given, on fewer than two cycles, or one is not positive.
    ValueError
        If ``peak_std`` is not positive.

    Notes
    -----
    ζ = δ/√(4π²+δ²), exact for viscous damping (e.g. Inman, Engineering Vibration, 1.6).
    """
    height = np.asarray(peaks, dtype=float)
    at = np.asarray(cycles, dtype=float)
    if not (math.isfinite(peak_std) and peak_std > 0):
        raise ValueError(f"the uncertainty of a peak must be positive, got {peak_std!r}")
    good = height.shape == at.shape and height.size >= 2 and bool(np.isfinite(at).all())
    if not good or not np.isfinite(height).all() or (height <= 0).any() or np.ptp(at) == 0:
        raise NotEnoughDataError(
            f"{height.size} peaks give no decrement",
            where="log decrement",
            fix="Two or more positive peaks on different cycles are needed.",
        )
    logs, weight = np.log(height), height / peak_std
    line, cov, chi2 = _weighted(logs, at, weight, 1)
    free = height.size - 2
    scatter = max(1.0, chi2 / free) if free > 0 else 1.0
    decrement, std = -line[1], math.sqrt(cov[1, 1] * scatter)
    damping, slope = _ratio(decrement)
    curvature = curvature_std = None
    if free >= 2 and np.unique(at).size > 2:
        bow, bow_cov, bow_chi2 = _weighted(logs, at, weight, 2)
        curvature = bow[2]
        curvature_std = math.sqrt(bow_cov[2, 2] * max(1.0, bow_chi2 / (free - 1)))
    residual = logs - (line[0] + line[1] * (at - at.mean()))
    return LogDecrement(
        decrement,
        std,
        damping,
        abs(slope) * std,
        curvature,
        curvature_std,
        math.sqrt(float(residual @ residual) / free) if free > 0 else None,
    )


def _weighted(
    logs: FloatArray, at: FloatArray, weight: FloatArray, degree: int
) -> tuple[list[float], FloatArray, float]:
    """Fit a polynomial in (at - mean): its coefficients, their covariance, and chi²."""
    base = np.vander(at - at.mean(), degree + 1, increasing=True)
    scaled = base * weight[:, np.newaxis]
    found, *_ = np.linalg.lstsq(scaled, logs * weight, rcond=None)
    rest = (logs - base @ found) * weight
    cov = np.asarray(np.linalg.pinv(scaled.T @ scaled), dtype=np.float64)
    return [float(v) for v in found], cov, float(rest @ rest)


def _ratio(decrement: float) -> tuple[float, float]:
    """Turn a decrement into a damping ratio, and give d(ratio)/d(decrement)."""
    decrement = min(max(decrement, -_STEEPEST), _STEEPEST)
    whole = 4 * math.pi**2 + decrement**2
    return decrement / math.sqrt(whole), 4 * math.pi**2 / whole**1.5


def undamped_hz(damped_hz: float, damping: float) -> float:
    """Turn the frequency of a decay into the undamped natural frequency. [Hz]"""
    return damped_hz / math.sqrt(1 - damping * damping)
