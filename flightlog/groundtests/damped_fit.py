"""Damped oscillations fitted to samples as they are: at their own times, with hum and drift.

The signal is a sum of decaying oscillations, an offset, a drift, and lines of the mains. Decays and
frequencies are searched; everything else enters linearly and is solved for at each step (variable
projection: G. H. Golub and V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, with the derivative of
L. Kaufman, BIT 15 (1975) 49). With independent Gaussian noise this is the maximum-likelihood fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flightlog.groundtests.bench_table import FloatArray

_MOST_STEPS = 60
_SINGULAR = 1e-9
_SMALLEST = 1e-100
_ROUGH, _FINE = 1e-5, 1e-10
"""Share of the squares that a step must gain to be followed by another. [-]"""


@dataclass(frozen=True, slots=True)
class Start:
    """Where the search for one oscillation starts.

    Attributes
    ----------
    rate : float
        Decay of the amplitude. [1/s]
    omega : float
        Circular frequency of the decaying oscillation. [rad/s]
    """

    rate: float
    omega: float


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fit of ``len(rate)`` oscillations; m is their number.

    Attributes
    ----------
    rate, omega : array, shape (m,)
        Decay [1/s] and circular frequency of the decaying oscillation [rad/s], by frequency.
    bend : array, shape (m, 2), or None
        How logarithm of amplitude and phase bend, as q in q·(t - ``bend_at``)² [1/s², rad/s²];
        None where they were taken as straight.
    bend_at : float
        Where the bends count from. [s]
    cosine, sine : array, shape (m,)
        Amplitudes at time zero. [unit of the signal]
    mains_hz : float or None
        Frequency of the mains as fitted, None without.
    harmonics : tuple of int
        Which multiples of it are in the fit.
    model, rest : array, shape (n,)
        Signal as fitted, and what is left.
    modes : array, shape (m, n)
        The oscillations alone.
    cov : array, shape (4m or 2m + ..., same)
        Of rates, omegas, bends (all first, then all second), cosines, sines, in this order, for a
        noise of variance one.
    freedom : int
        Samples less parameters.
    """

    rate: FloatArray
    omega: FloatArray
    bend: FloatArray | None
    bend_at: float
    cosine: FloatArray
    sine: FloatArray
    mains_hz: float | None
    harmonics: tuple[int, ...]
    model: FloatArray
    rest: FloatArray
    modes: FloatArray
    cov: FloatArray
    freedom: int

    @property
    def squares(self) -> float:
        """Sum of squares of what is left."""
        return float(self.rest @ self.rest)

    @property
    def variance(self) -> float:
        """Of the noise, taken as white. [unit²]"""
        return self.squares / self.freedom

    @property
    def amplitude(self) -> FloatArray:
        """Amplitudes at time zero, straight part. [unit of the signal]"""
        return np.hypot(self.cosine, self.sine)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """The samples, and what is in the fit besides oscillations."""

    t: FloatArray
    y: FloatArray
    modes: int
    bent: bool
    bend_at: float
    mains: bool
    harmonics: tuple[int, ...]

    @property
    def searched(self) -> int:
        return (4 if self.bent else 2) * self.modes + self.mains


@dataclass(frozen=True, slots=True, eq=False)
class _At:
    """The problem solved for its linear part at one place."""

    theta: FloatArray
    base: FloatArray
    left: FloatArray
    found: FloatArray
    rest: FloatArray

    @property
    def squares(self) -> float:
        return float(self.rest @ self.rest)


def fit(
    t: FloatArray,
    y: FloatArray,
    starts: Sequence[Start],
    *,
    mains_hz: float | None = None,
    harmonics: tuple[int, ...] = (),
    bend_at: float | None = None,
    rough: bool = False,
) -> Fit | None:
    """Fit oscillations to samples.

    Parameters
    ----------
    t : array, shape (n,)
        Times from zero, rising; evenly spaced or not. [s]
    y : array, shape (n,)
        Finite.
    starts : sequence of Start
        One for each oscillation; may be empty.
    mains_hz : float, optional
        Where the search for the mains' frequency starts.
    harmonics : tuple of int
        Multiples of it to fit; aliases need nothing besides, as the times are real.
    bend_at : float, optional
        Let logarithm of amplitude and phase of each bend about this time. [s]
    rough : bool
        Stop as soon as a step gains nothing that the noise would show: enough to choose by.

    Returns
    -------
    Fit or None
        None where there are too few samples or nothing converges on finite numbers.
    """
    mains = mains_hz is not None and bool(harmonics)
    problem = _Problem(
        t, y, len(starts), bend_at is not None, bend_at or 0.0, mains, harmonics if mains else ()
    )
    linear = 2 * len(starts) + 2 + 2 * len(problem.harmonics)
    if t.size <= problem.searched + linear + 1 or not t[-1] > 0:
        return None
    order = sorted(starts, key=lambda s: s.omega)
    theta = [*(s.rate for s in order), *(s.omega for s in order)]
    if problem.bent:
        theta += [0.0] * (2 * len(order))
    if mains and mains_hz is not None:
        theta.append(2 * math.pi * mains_hz)
    here = _search(problem, np.array(theta, dtype=float), _ROUGH if rough else _FINE)
    return None if here is None else _result(problem, here)


def _columns(p: _Problem, theta: FloatArray) -> FloatArray:
    """Give the columns of the linear part: cosines, sines, lines of the mains, offset, drift."""
    m = p.modes
    rate, omega = theta[:m, np.newaxis], theta[m : 2 * m, np.newaxis]
    log, phase = -rate * p.t, omega * p.t
    if p.bent:
        square = (p.t - p.bend_at) ** 2
        log = log + theta[2 * m : 3 * m, np.newaxis] * square
        phase = phase + theta[3 * m : 4 * m, np.newaxis] * square
    size = np.exp(np.clip(log, -200.0, 50.0))
    rows = [*(size * np.cos(phase)), *(size * np.sin(phase))]
    for k in p.harmonics:
        rows += [np.cos(k * theta[-1] * p.t), np.sin(k * theta[-1] * p.t)]
    rows += [np.ones_like(p.t), p.t / p.t[-1] - 0.5]
    return np.array(rows).T


def _solved(p: _Problem, theta: FloatArray) -> _At | None:
    base = _columns(p, theta)
    try:
        left, singular, right = np.linalg.svd(base, full_matrices=False)
    except np.linalg.LinAlgError:
        return None
    keep = singular > _SINGULAR * singular[0]
    left = left[:, keep]
    along = left.T @ p.y
    found = right[keep].T @ (along / singular[keep])
    return _At(theta, base, left, found, p.y - left @ along)


def _slopes(p: _Problem, here: _At) -> FloatArray:
    """Give the derivatives of the model by what is searched, the linear part held."""
    m, t = p.modes, p.t[:, np.newaxis]
    cosine, sine = here.base[:, :m], here.base[:, m : 2 * m]
    a, b = here.found[:m], here.found[m : 2 * m]
    along = cosine * a + sine * b
    across = cosine * b - sine * a
    parts = [-t * along, t * across]
    if p.bent:
        square = (t - p.bend_at) ** 2
        parts += [square * along, square * across]
    if p.mains:
        moved = np.zeros(p.t.size)
        for i, k in enumerate(p.harmonics):
            at = 2 * m + 2 * i
            c, s = here.found[at], here.found[at + 1]
            moved += k * p.t * (s * here.base[:, at] - c * here.base[:, at + 1])
        parts.append(moved[:, np.newaxis])
    return np.hstack(parts)


def _search(p: _Problem, theta: FloatArray, enough: float) -> _At | None:
    """Levenberg and Marquardt's steps on what is searched."""
    here = _solved(p, theta)
    if here is None or not math.isfinite(here.squares) or p.searched == 0:
        return here
    damp = 1e-3
    for _ in range(_MOST_STEPS):
        slopes = _slopes(p, here)
        slopes = slopes - here.left @ (here.left.T @ slopes)
        normal = slopes.T @ slopes
        pull = slopes.T @ here.rest
        if not np.isfinite(normal).all():
            return None
        scale = np.diag(normal) + 1e-300
        there = None
        while damp < 1e8:
            step, *_ = np.linalg.lstsq(normal + damp * np.diag(scale), pull, rcond=None)
            there = _solved(p, here.theta + step)
            if there is not None and there.squares <= here.squares:
                break
            there, damp = None, damp * 8
        if there is None:
            return here
        gain = here.squares - there.squares
        here, damp = there, max(damp / 8, 1e-9)
        if gain <= enough * here.squares:
            return here
    return here


def _result(p: _Problem, here: _At) -> Fit | None:
    m = p.modes
    order = np.argsort(here.theta[m : 2 * m])
    cosine, sine = here.found[:m], here.found[m : 2 * m]
    modes = (here.base[:, :m] * cosine + here.base[:, m : 2 * m] * sine).T
    # All parameters, not only the searched ones: amplitudes go with decays.
    slopes = np.hstack([_slopes(p, here), here.base])
    size = np.sqrt((slopes**2).sum(axis=0))
    size[size == 0] = 1.0
    try:
        cov = np.linalg.pinv((slopes / size).T @ (slopes / size), rcond=1e-13, hermitian=True)
    except np.linalg.LinAlgError:
        return None
    with np.errstate(over="ignore", invalid="ignore"):  # what is beyond numbers is refused below
        cov = cov / np.outer(size, size)
    if not (np.isfinite(here.theta).all() and np.isfinite(cov).all()):
        return None
    blocks = 4 if p.bent else 2
    wanted = np.concatenate([order + i * m for i in range(blocks)])
    first = p.searched
    wanted = np.concatenate([wanted, first + order, first + m + order]).astype(int)
    theta = here.theta
    bend = np.array([theta[2 * m : 3 * m], theta[3 * m : 4 * m]]).T if p.bent else None
    return Fit(
        rate=theta[:m][order],
        omega=theta[m : 2 * m][order],
        bend=None if bend is None else bend[order],
        bend_at=p.bend_at,
        cosine=cosine[order],
        sine=sine[order],
        mains_hz=float(theta[-1]) / (2 * math.pi) if p.mains else None,
        harmonics=p.harmonics,
        model=p.y - here.rest,
        rest=here.rest,
        modes=modes[order],
        cov=cov[np.ix_(wanted, wanted)],
        freedom=max(1, p.t.size - here.left.shape[1] - p.searched),
    )


def as_starts(found: Fit) -> tuple[Start, ...]:
    """Give where a fit ended, to start another from."""
    return tuple(Start(float(r), float(o)) for r, o in zip(found.rate, found.omega, strict=True))


def shifted(t: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Count times from the first, and scale the signal to about one, for `fit`.

    Returns
    -------
    t, y, scale : array, array, float
        ``y`` times ``scale`` is what was given, less its mean.
    """
    y = y - y.mean()
    scale = float(np.abs(y).max())
    if scale < _SMALLEST:  # as good as nothing, and its square would leave the range of numbers
        scale = 1.0
    return t - t[0], y / scale, scale


def rescaled(found: Fit, scale: float) -> Fit:
    """Give a fit in the unit of the signal again."""
    m = found.rate.size
    size = np.ones(found.cov.shape[0])
    size[-2 * m :] = scale if m else 1.0
    # For a noise of variance one in the new unit, what is searched is scale times as sure.
    size = size / scale
    return replace(
        found,
        cosine=found.cosine * scale,
        sine=found.sine * scale,
        model=found.model * scale,
        rest=found.rest * scale,
        modes=found.modes * scale,
        cov=found.cov * np.outer(size, size),
    )
