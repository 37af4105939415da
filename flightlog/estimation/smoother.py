"""Smoothest motion through position and velocity measurements at uneven times.

Each axis moves with a random-walk acceleration (white jerk). All steps of all axes are solved
at once as one banded least-squares problem, which gives the same means and variances as a
Kalman filter with a Rauch-Tung-Striebel smoother. The variances are the diagonal blocks of
the inverse, taken from the banded factor by the recursion of Takahashi, Fagan and Chen (1973).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.backward import backward_covariances
from flightlog.estimation.frames import Array

REJECT_SIGMA = 5.0
"""Standardised residual from which on a measurement is a glitch. [-]"""

_PASSES = 4
_BRIDGE_S = 10.0
_BRIDGE_STD_M_S = 30.0
_FIRST_STD = (1e4, 100.0, 10.0)


@dataclass(frozen=True, slots=True)
class Measurements:
    """Measurements of one kind.

    Attributes
    ----------
    time_s : array, shape (m,)
        When they were true. [s]
    measured : array, shape (m, axes)
        Positions [m] or velocities [m/s]; finite.
    std : array, shape (m,)
        Standard uncertainty of each axis, white.
    order : int
        0 for positions, 1 for velocities.
    """

    time_s: Array
    measured: Array
    std: Array
    order: int


@dataclass(frozen=True, slots=True)
class Motion:
    """Smoothed motion on the grid.

    Attributes
    ----------
    position, velocity, acceleration : array, shape (n, axes)
        In m, m/s and m/s².
    position_std, velocity_std : array, shape (n,)
        Of each axis.
    kept : tuple of array of bool
        For each kind of measurement, which rows were not rejected.
    misfit : tuple of float
        For each kind, the mean squared standardised residual; 1 when the stds are right.
    """

    position: Array
    velocity: Array
    acceleration: Array
    position_std: Array
    velocity_std: Array
    kept: tuple[NDArray[np.bool_], ...]
    misfit: tuple[float, ...]


def smooth_motion(
    start_s: float, step_s: float, steps: int, kinds: tuple[Measurements, ...], jerk: float
) -> Motion:
    """Smooth measurements to a uniform grid.

    A kind whose residuals are larger than its stated std is given the larger one; single rows
    beyond `REJECT_SIGMA` are left out.

    Parameters
    ----------
    start_s, step_s, steps : float, float, int
        The grid. Measurements belong to their nearest step and lie up to a step outside.
    kinds : tuple of Measurements
        At least one row in total.
    jerk : float
        Density of the white jerk of each axis. [m/s³ sqrt(s)]

    Returns
    -------
    Motion
    """
    kept = [np.ones(len(k.time_s), dtype=bool) for k in kinds]
    scale = [1.0 for _ in kinds]
    places = [_places(k, start_s, step_s, steps) for k in kinds]
    bridges = _bridges(kinds)
    held = _places(bridges, start_s, step_s, steps)
    for last in range(_PASSES):
        band, right = _process(step_s, steps, jerk, kinds[0].measured.shape[1])
        for k, use, s, (at, row) in zip(kinds, kept, scale, places, strict=True):
            _add(band, right, at[use], row[use], k.measured[use], k.std[use] * s)
        _add(band, right, *held, bridges.measured, bridges.std)
        state, cov = _solve(band, right)
        judged = [
            _standardised(k, s, at, row, state, cov, use)
            for k, s, (at, row), use in zip(kinds, scale, places, kept, strict=True)
        ]
        misfit = tuple(
            float(np.mean(r[use] ** 2)) if use.any() else 1.0
            for r, use in zip(judged, kept, strict=True)
        )
        again = False
        for i, r in enumerate(judged):
            worst = np.max(r, axis=1, initial=0.0)
            # The largest pull their neighbours with them: first only those, then the rest.
            limit = max(REJECT_SIGMA, 0.3 * float(np.max(worst[kept[i]], initial=0.0)))
            out = kept[i] & (worst > limit)
            # More than a few in a hundred are no glitches but noise that was underrated.
            if 0 < out.sum() <= max(1.0, 0.05 * len(out)):
                kept[i] = kept[i] & ~out
                again = True
            elif misfit[i] > 1.3:
                scale[i] *= float(np.sqrt(misfit[i]))
                again = True
        if not again or last == _PASSES - 1:
            break
    return Motion(
        state[:, 0],
        state[:, 1],
        state[:, 2],
        np.sqrt(np.maximum(cov[:, 0, 0], 0.0)),
        np.sqrt(np.maximum(cov[:, 1, 1], 0.0)),
        tuple(kept),
        misfit,
    )


def nearest_step(time_s: Array, start_s: float, step_s: float, steps: int) -> NDArray[np.intp]:
    """Index of the step of a uniform grid that is nearest to each time."""
    # Halfway between two steps it must not hang on the rounding of a large clock.
    at = np.floor((time_s - start_s) / step_s + 0.5 + 1e-5)
    return np.asarray(np.clip(at, 0, steps - 1).astype(np.intp))


def _places(
    kind: Measurements, start_s: float, step_s: float, steps: int
) -> tuple[NDArray[np.intp], Array]:
    """Nearest step of each row, and what the row measures of the state of that step."""
    at = nearest_step(kind.time_s, start_s, step_s, steps)
    d = kind.time_s - (start_s + step_s * at)
    one, zero = np.ones_like(d), np.zeros_like(d)
    row = [one, d, d * d / 2] if kind.order == 0 else [zero, one, d]
    return at, np.stack(row, axis=1)


def _bridges(kinds: tuple[Measurements, ...]) -> Measurements:
    """Hold the velocity in long gaps to what an aircraft can fly.

    A random-walk acceleration alone would let it wander without bound, and the equations lose
    their precision.
    """
    seen = np.unique(np.concatenate([k.time_s for k in kinds]))
    axes = kinds[0].measured.shape[1]
    times, values = [np.zeros(0)], [np.zeros((0, axes))]
    for i in np.flatnonzero(np.diff(seen) > _BRIDGE_S / 2):
        a, b = float(seen[i]), float(seen[i + 1])
        at = np.linspace(a, b, 2 + int((b - a) / _BRIDGE_S) + 1)[1:-1]
        mean = np.zeros(axes)
        if kinds[0].order == 0 and len(kinds[0].time_s):
            places = kinds[0].measured
            for axis in range(axes):
                mean[axis] = np.diff(np.interp([a, b], kinds[0].time_s, places[:, axis]))[0]
            mean /= b - a
        times.append(at)
        values.append(np.tile(mean, (at.size, 1)))
    time_s = np.concatenate(times)
    return Measurements(time_s, np.concatenate(values), np.full(time_s.size, _BRIDGE_STD_M_S), 1)


def _process(step_s: float, steps: int, jerk: float, axes: int) -> tuple[Array, Array]:
    """Lower band of the normal equations without measurements, and a right side of zeros."""
    h = step_s
    move = np.array([[1, h, h * h / 2], [0, 1, h], [0, 0, 1]])
    # Inverse of the covariance of a step's noise, in closed form.
    unit = np.array([[720.0, -360.0, 60.0], [-360.0, 192.0, -36.0], [60.0, -36.0, 9.0]])
    size = jerk * np.array([h**2.5, h**1.5, h**0.5])
    weight = unit / np.outer(size, size)
    here, there, across = move.T @ weight @ move, weight, -weight @ move
    blocks = np.zeros((steps, 3, 3))
    blocks[:-1] += here
    blocks[1:] += there
    blocks[0] += np.diag(1.0 / np.square(_FIRST_STD))
    band = np.zeros((6, steps, 3))
    for i in range(3):
        for j in range(3):
            if i >= j:
                band[i - j, :, j] += blocks[:, i, j]
            band[3 + i - j, :-1, j] += across[i, j]
    return band.reshape(6, 3 * steps), np.zeros((steps, 3, axes))


def _add(
    band: Array, right: Array, at: NDArray[np.intp], row: Array, values: Array, std: Array
) -> None:
    weight = 1.0 / std**2
    for i in range(3):
        for j in range(i + 1):
            np.add.at(band[i - j], 3 * at + j, weight * row[:, i] * row[:, j])
        np.add.at(right[:, i], at, (weight * row[:, i])[:, None] * values)


def _solve(band: Array, right: Array) -> tuple[Array, Array]:
    """States, shape (steps, 3, axes), and their covariances, shape (steps, 3, 3)."""
    from scipy.linalg import cho_solve_banded, cholesky_banded

    steps, n, axes = right.shape
    factor = cholesky_banded(band, lower=True)
    state = cho_solve_banded((factor, True), right.reshape(steps * n, axes))
    return np.asarray(state).reshape(steps, n, axes), _inverse_blocks(factor)


def _inverse_blocks(factor: Array) -> Array:
    """Diagonal 3 x 3 blocks of the inverse of ``L L'``, for a factor of bandwidth 5.

    With the blocks D on the diagonal of L and E below them, the block Z of a step follows from
    that of the next: ``Z = D'^-1 D^-1 + (E D^-1)' Z_next (E D^-1)``.
    """
    steps = factor.shape[1] // 3
    band = factor.reshape(6, steps, 3)
    own, below = np.zeros((steps, 3, 3)), np.zeros((steps, 3, 3))
    for i in range(3):
        for j in range(3):
            below[:, i, j] = band[3 + i - j, :, j]
            if i >= j:
                own[:, i, j] = band[i - j, :, j]
    inverse = _lower_inverse(own)
    # What lies below the last step is padding.
    below[-1] = 0.0
    return backward_covariances(
        inverse.transpose(0, 2, 1) @ inverse, (below @ inverse).transpose(0, 2, 1)
    )


def _lower_inverse(own: Array) -> Array:
    """Inverses of lower triangles, shape (n, 3, 3)."""
    out = np.zeros_like(own)
    for i in range(3):
        out[:, i, i] = 1.0 / own[:, i, i]
    out[:, 1, 0] = -own[:, 1, 0] * out[:, 0, 0] * out[:, 1, 1]
    out[:, 2, 1] = -own[:, 2, 1] * out[:, 1, 1] * out[:, 2, 2]
    left = own[:, 2, 0] * out[:, 0, 0] + own[:, 2, 1] * out[:, 1, 0]
    out[:, 2, 0] = -left * out[:, 2, 2]
    return out


def _standardised(
    kind: Measurements,
    scale: float,
    at: NDArray[np.intp],
    row: Array,
    state: Array,
    cov: Array,
    used: NDArray[np.bool_],
) -> Array:
    """Residuals over their own standard deviation, shape (m, axes)."""
    residual = kind.measured - np.einsum("mi,mia->ma", row, state[at])
    noise = (kind.std * scale) ** 2
    of_fit = np.einsum("mi,mij,mj->m", row, cov[at], row)
    # A row that took part pulled the fit towards itself.
    variance = np.where(used, noise - of_fit, noise + of_fit)
    return np.asarray(np.abs(residual) / np.sqrt(np.maximum(variance, 0.05 * noise))[:, None])
