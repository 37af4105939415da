"""The speed of a propeller from what it shakes: the lines that move with the motor's voltage.

A motor turns about in proportion to the voltage that its controller lets through, pulse times
battery voltage, and lags behind it under load. The factor is what nobody logs. It is found as the
one at which the lines of the spectrum move as its multiples would, each folded at the sampling
rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array

ORDERS = (1, 2, 3, 4)
"""Multiples that a propeller shakes with; at those half-way between it does not, so that half or
twice the right factor has lines at the wrong ones."""

SLOWEST_REV_S, FASTEST_REV_S = 60.0, 240.0
"""Full power of the propellers of aircraft of 4 to 15 kg: 0.56 m across with tips at 105 m/s, to
0.25 m with tips at 190 m/s. [1/s]"""

BENDS = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7)
"""Exponents of the drive: a loaded motor loses more voltage in its windings the faster it turns."""

LEAST_CHANGE = 0.12
"""Less change of the drive over the flight (5 to 95 %) moves no line far enough. [-]"""

LEAST_FIRST = 1.0
"""Mean logarithm by which the first multiple stands above its surroundings, at least: without it,
half the speed would explain the same lines."""

LEAST_THIRD = 0.2
"""The same of the third or the fourth, where half the speed is possible: two lines may as well be
those of two blades and twice that, of a well balanced propeller."""

LEAST_SCORE = 2.5
"""The same for all multiples added, those between taken off."""

LEAST_MARGIN = 1.15
"""So many times the score of any other factor."""

_STEP = 0.004
_SAME = 0.04
_MOST_WINDOWS = 240
_LEAST_WINDOWS = 30
_LEVELS = 12


@dataclass(frozen=True, slots=True)
class Factor:
    """Speed over the drive, found in the spectra: ``full (drive / most) ** bend``.

    Attributes
    ----------
    full, std : float
        Speed at the greatest drive of the windows, and standard uncertainty. [1/s]
    most : float
        The greatest drive.
    bend : float
        Exponent. [-]
    score, first, third : float
        Mean logarithm above their surroundings of all lines, of the first, and of the third or
        the fourth, whichever stands out more.
    margin : float
        The score over that of the next best.
    """

    full: float
    std: float
    most: float
    bend: float
    score: float
    first: float
    third: float
    margin: float

    @property
    def sure(self) -> bool:
        """Whether it can be relied on."""
        return (
            self.score >= LEAST_SCORE
            and self.first >= LEAST_FIRST
            and (self.third >= LEAST_THIRD or self.full < 2 * SLOWEST_REV_S)
            and self.margin >= LEAST_MARGIN
        )

    def speed(self, drive: Array) -> Array:
        """Speed of turning at a drive. [1/s]"""
        return np.asarray(self.full * (np.maximum(drive, 0.0) / self.most) ** self.bend)


def find_factor(power: Array, rate_hz: float, drive: Array) -> Factor | None:
    """Find the factor between the drive and the speed of turning.

    Parameters
    ----------
    power : array, shape (windows, frequencies)
        Spectra from 0 to half the rate.
    rate_hz : float
        Samples a second. [Hz]
    drive : array, shape (windows,)
        Grows with the speed; NaN where it changes within the window.

    Returns
    -------
    Factor or None
        The best one, `Factor.sure` or not. None where the drive changes too little or there are
        too few windows.
    """
    rows = _spread_out(drive)
    if rows.size < _LEAST_WINDOWS:
        return None
    drive = drive[rows]
    low, high = np.percentile(drive, [5, 95])
    if not (low > 0 and high - low >= LEAST_CHANGE * high):
        return None
    height = _Heights(power[rows], rate_hz)
    most = float(drive.max())
    count = int(np.log(FASTEST_REV_S / SLOWEST_REV_S) / _STEP) + 1
    full = SLOWEST_REV_S * np.exp(_STEP * np.arange(count))
    scores = np.array([height.scores(full, (drive / most) ** bend)[0] for bend in BENDS])
    which, best = np.unravel_index(int(np.argmax(scores)), scores.shape)
    bend = BENDS[which]
    # A bend and a factor make up for each other at the usual drive: the same lines, found twice.
    usual = np.log(full) + np.array(BENDS)[:, None] * np.log(np.median(drive) / most)
    away = np.abs(usual - usual[which, best]) > _SAME
    rival = max(float(scores[away].max()), 1e-3)
    near = full[best] * np.exp(np.arange(-15, 16) * _STEP / 5)
    fine, firsts, thirds = height.scores(near, (drive / most) ** bend)
    weight = np.maximum(fine - 0.7 * fine.max(), 0.0)
    weight /= max(float(weight.sum()), 1e-30)
    value = float(weight @ near) or float(full[best])
    score = float(scores[which, best])
    return Factor(
        full=value,
        std=float(np.sqrt(max(0.0, weight @ (near - value) ** 2))) + 0.2 * _STEP * value,
        most=most,
        bend=bend,
        score=score,
        first=float(firsts.max()),
        third=float(thirds.max()),
        margin=score / rival,
    )


def _spread_out(drive: Array) -> Array:
    """Windows spread evenly over the drive: long cruise says the same again and again."""
    good = np.flatnonzero(np.isfinite(drive) & (drive > 0))
    if good.size < _LEAST_WINDOWS:
        return np.empty(0, dtype=int)
    value = drive[good]
    level = np.minimum((_LEVELS * (value / value.max())).astype(int), _LEVELS - 1)
    taken = []
    for each in np.unique(level):
        rows = good[level == each]
        most = _MOST_WINDOWS // _LEVELS
        taken.append(rows[np.linspace(0, rows.size - 1, min(most, rows.size)).astype(int)])
    return np.sort(np.concatenate(taken))


class _Heights:
    """Logarithm of the power over that of its window; lines that do not move taken out.

    Unfolded once around, so that a frequency is looked up by its remainder.
    """

    def __init__(self, power: Array, rate_hz: float) -> None:
        count = power.shape[1]
        log = np.log(np.maximum(power, 1e-30))
        first = min(max(1, round(10 * (count - 1) / rate_hz)), count - 1)
        log -= np.median(log[:, first:], axis=1, keepdims=True)
        log[:, :first] = 0.0
        log = np.clip(log, -2.0, 5.0)
        log -= np.mean(log, axis=0)
        self._round = np.hstack([log, log[:, -2:0:-1]]).astype(np.float32)
        self._bin_hz = rate_hz / self._round.shape[1]

    def scores(self, full: Array, share: Array) -> tuple[Array, Array, Array]:
        """Score of each full speed with a share of it in each window, and of its multiples.

        A speed without a line of its own counts three times what stands at it, at most.
        """
        span = self._round.shape[1]
        half = (0.5 / self._bin_hz) * full[:, None] * share
        start = span * np.arange(len(share))

        def mean(halves: int) -> Array:
            bins = np.rint(halves * half).astype(np.int64) % span
            return np.asarray(self._round.ravel()[start + bins].mean(axis=1), dtype=float)

        at = [mean(2 * order) for order in ORDERS]
        score = sum(at) - sum(mean(2 * order - 1) for order in ORDERS)
        return np.minimum(score, 3 * at[0]), at[0], np.maximum(at[2], at[3])
