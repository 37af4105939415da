"""Linear Kalman filter and smoother for a handful of states.

Kalman (1960) with the measurement update in Joseph's form, which keeps the covariance
positive; Rauch, Tung and Striebel (1965) backwards. Written for clarity: for flights of many
thousand steps `flightlog.estimation.smoother` solves the same problem at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.backward import backward_covariances, backward_means
from flightlog.estimation.frames import Array


@dataclass(frozen=True, slots=True)
class Motion:
    """How the state moves: ``x[k+1] = transition x[k] + push[k] + noise``.

    Attributes
    ----------
    transition, noise : array, shape (n, n) or (steps - 1, n, n)
        Transition matrix and covariance of the process noise; one for all steps or one each.
    push : array, shape (steps - 1, n), or None
        Known input, already multiplied by its effect on the state.
    """

    transition: Array
    noise: Array
    push: Array | None = None


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Filtered and smoothed states of one run.

    Attributes
    ----------
    filtered_mean, mean : array, shape (steps, n)
        State from the past alone, and from the whole run.
    filtered_cov, cov : array, shape (steps, n, n)
        Their covariances.
    gains : array, shape (steps - 1, n, n)
        Smoother gains ``C[k] = Pf[k] F' Pp[k+1]^-1``.
    log_likelihood : float
        Natural logarithm of the density of the measurements under the model.
    nis : array, shape (steps,)
        Normalised innovation squared; NaN where nothing was measured.
    """

    filtered_mean: Array
    filtered_cov: Array
    mean: Array
    cov: Array
    gains: Array
    log_likelihood: float
    nis: Array


def smooth(
    first_mean: Array,
    first_cov: Array,
    motion: Motion,
    observation: Array,
    observation_cov: Array,
    measured: Array,
) -> Smoothed:
    """Filter forwards, then smooth backwards.

    Parameters
    ----------
    first_mean, first_cov : array, shape (n,), (n, n)
        State before the first measurement is used.
    motion : Motion
        Transition, process noise and input.
    observation, observation_cov : array, shape (m, n), (m, m)
        What is measured of a state, and the covariance of its error.
    measured : array, shape (steps, m)
        Measurements; NaN where there is none.

    Returns
    -------
    Smoothed
    """
    steps, n = len(measured), len(first_mean)
    transition = np.broadcast_to(motion.transition, (max(steps - 1, 0), n, n))
    noise = np.broadcast_to(motion.noise, (max(steps - 1, 0), n, n))
    means, covs = np.zeros((steps, n)), np.zeros((steps, n, n))
    ahead_means, ahead_covs = np.zeros((steps, n)), np.zeros((steps, n, n))
    nis, log_likelihood = np.full(steps, np.nan), 0.0
    seen = np.isfinite(measured)
    count, first = seen.sum(axis=1).tolist(), seen.argmax(axis=1).tolist()
    x, p = np.asarray(first_mean, dtype=float), np.asarray(first_cov, dtype=float)
    for k in range(steps):
        if k:
            move = transition[k - 1]
            x = move @ x
            if motion.push is not None:
                x = x + motion.push[k - 1]
            p = move @ p @ move.T + noise[k - 1]
        ahead_means[k], ahead_covs[k] = x, p
        if count[k] == 1:
            i = first[k]
            x, p, nis[k], gained = _update_by_one(
                x, p, observation[i], observation_cov[i, i], measured[k, i]
            )
            log_likelihood += gained
        elif count[k]:
            at = np.flatnonzero(seen[k])
            x, p, nis[k], gained = _update(
                x, p, observation[at], observation_cov[np.ix_(at, at)], measured[k, at]
            )
            log_likelihood += gained
        means[k], covs[k] = x, p
    mean, cov, gains = _backwards(means, covs, ahead_means, ahead_covs, transition)
    return Smoothed(means, covs, mean, cov, gains, log_likelihood, nis)


def _backwards(
    means: Array, covs: Array, ahead_means: Array, ahead_covs: Array, transition: Array
) -> tuple[Array, Array, Array]:
    """Smoothed means and covariances, and the gains that lead to them.

    Of each step that part of mean and covariance which the next one does not tell is taken
    first; what remains is one chain from the end.
    """
    gains = np.linalg.solve(ahead_covs[1:], transition @ covs[:-1]).transpose(0, 2, 1)
    own_means, own_covs, carry = means.copy(), covs.copy(), np.zeros_like(covs)
    carry[:-1] = gains
    own_means[:-1] -= (gains @ ahead_means[1:, :, None])[:, :, 0]
    own_covs[:-1] -= gains @ ahead_covs[1:] @ gains.transpose(0, 2, 1)
    cov = backward_covariances(own_covs, carry)
    return backward_means(own_means, carry), (cov + cov.transpose(0, 2, 1)) / 2, gains


def _update(
    x: Array, p: Array, observation: Array, noise: Array, measured: Array
) -> tuple[Array, Array, float, float]:
    """State, covariance, normalised innovation squared and log-likelihood of one update."""
    innovation = measured - observation @ x
    spread = observation @ p @ observation.T + noise
    gain = np.linalg.solve(spread, observation @ p).T
    rest = np.eye(len(x)) - gain @ observation
    nis = float(innovation @ np.linalg.solve(spread, innovation))
    _, log_det = np.linalg.slogdet(spread)
    log_likelihood = -0.5 * (nis + float(log_det) + len(innovation) * math.log(2 * math.pi))
    return (
        x + gain @ innovation,
        rest @ p @ rest.T + gain @ noise @ gain.T,
        nis,
        log_likelihood,
    )


def _update_by_one(
    x: Array, p: Array, row: Array, noise: float, measured: float
) -> tuple[Array, Array, float, float]:
    """The same for a single number, which most updates are: no equations to solve."""
    innovation = measured - row @ x
    shared = p @ row
    spread = row @ shared + noise
    gain = shared / spread
    rest = np.eye(len(x)) - gain[:, None] * row
    nis = float(innovation * innovation / spread)
    log_likelihood = -0.5 * (nis + math.log(abs(spread)) + math.log(2 * math.pi))
    return (
        x + gain * innovation,
        rest @ p @ rest.T + (noise * gain)[:, None] * gain,
        nis,
        log_likelihood,
    )


def lag_covariance(smoothed: Smoothed, i: int, j: int) -> Array:
    """Covariance between the smoothed states of two steps, ``C[i] ... C[j-1] Ps[j]``.

    Differences of smoothed states need it: neighbouring states err together.

    Parameters
    ----------
    smoothed : Smoothed
        Result of `smooth`.
    i, j : int
        Steps, in either order.

    Returns
    -------
    array, shape (n, n)
        Rows belong to step ``i``, columns to step ``j``.
    """
    if i > j:
        return lag_covariance(smoothed, j, i).T
    product: Array = smoothed.cov[j]
    for k in range(j - 1, i - 1, -1):
        product = np.asarray(smoothed.gains[k] @ product)
    return product
