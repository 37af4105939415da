"""Damped oscillations in evenly spaced samples, by the matrix pencil."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.bench_table import FloatArray

_MOST_SAMPLES = 4000
"""More cost minutes, and the fit that follows takes all samples. [-]"""


@dataclass(frozen=True, slots=True)
class PencilMode:
    """One damped oscillation.

    Attributes
    ----------
    frequency_hz : float
        Undamped natural frequency.
    damping : float
        Ratio to critical damping; negative where it grows. [-]
    """

    frequency_hz: float
    damping: float


@dataclass(frozen=True, slots=True)
class Pencil:
    """A series, taken apart once, to be asked for any number of modes.

    Attributes
    ----------
    singular : array
        Singular values of its Hankel matrix, falling; two for each mode, then a gap, then noise.
    rate_hz : float
        Of its samples.
    """

    singular: FloatArray
    rate_hz: float
    _right: FloatArray

    def modes(self, count: int) -> tuple[PencilMode, ...]:
        """Give up to ``count`` oscillations, by frequency; fewer where pairs are not complex."""
        keep = 2 * count
        if not 0 < keep <= min(self.singular.size, self._right.shape[0] - 1):
            return ()
        if not self.singular[0] > 0:
            return ()
        basis = self._right[:, :keep]
        roots = np.linalg.eigvals(np.linalg.pinv(basis[:-1]) @ basis[1:])
        roots = roots[(roots.imag > 1e-12) & np.isfinite(roots)]
        poles = np.log(roots) * self.rate_hz
        found = [
            PencilMode(abs(pole) / (2 * math.pi), -float(pole.real) / abs(pole)) for pole in poles
        ]
        return tuple(sorted(found, key=lambda mode: mode.frequency_hz))


def pencil(samples: FloatArray, rate_hz: float, length: int | None = None) -> Pencil | None:
    """Take a series apart.

    Parameters
    ----------
    samples : array, shape (n,)
        Evenly spaced, finite, without offset.
    rate_hz : float
        Of the samples.
    length : int, optional
        The pencil parameter L; a third of n where it is not given, which is nearly the best
        against noise.

    Returns
    -------
    Pencil or None
        None if the samples are too few, too many, not finite or all zero.

    Notes
    -----
    Y. Hua and T. K. Sarkar, Matrix pencil method for estimating parameters of exponentially
    damped/undamped sinusoids in noise, IEEE Trans. ASSP 38 (1990) 814.
    """
    n = samples.size
    length = n // 3 if length is None else length
    if not 4 <= n <= _MOST_SAMPLES or not 2 <= length < n - 2 or not np.isfinite(samples).all():
        return None
    top = float(np.abs(samples).max())
    if not top > 0 or not math.isfinite(top):
        return None
    hankel = np.lib.stride_tricks.sliding_window_view(samples / top, length + 1)
    try:
        _, singular, right = np.linalg.svd(hankel, full_matrices=False)
    except np.linalg.LinAlgError:
        return None
    return Pencil(singular * top, rate_hz, right.T)
