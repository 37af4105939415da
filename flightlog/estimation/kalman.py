"""Linear Kalman filter and smoother for a handful of states.

Kalman (1960) with the measurement update in Joseph's form, which keeps the covariance
positive; Rauch, Tung and Striebel (1965) backwards. Written for clarity: for flights of many
thousand steps `flightlog.estimation.smoother` solves the same problem at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

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
    nis = np.full(steps, np.nan)
    log_likelihood = 0.0
    x, p = np.asarray(first_mean, dtype=float), np.asarray(first_cov, dtype=float)
    for k in range(steps):
        if k:
            x = transition[k - 1] @ x
            if motion.push is not None:
                x = x + motion.push[k - 1]
            p = transition[k - 1] @ p @ transition[k - 1].T + noise[k - 1]
        ahead_means[k], ahead_covs[k] = x, p
        seen = np.isfinite(measured[k])
        if seen.any():
            x, p, nis[k], gained = _update(
                x, p, observation[seen], observation_cov[np.ix_(seen, seen)], measured[k][seen]
            )
            log_likelihood += gained
        means[k], covs[k] = x, p
    mean, cov, gains = means.copy(), covs.copy(), np.zeros((max(steps - 1, 0), n, n))
    for k in range(steps - 2, -1, -1):
        gains[k] = np.linalg.solve(ahead_covs[k + 1], transition[k] @ covs[k]).T
        mean[k] = means[k] + gains[k] @ (mean[k + 1] - ahead_means[k + 1])
        back = covs[k] + gains[k] @ (cov[k + 1] - ahead_covs[k + 1]) @ gains[k].T
        cov[k] = (back + back.T) / 2
    return Smoothed(means, covs, mean, cov, gains, log_likelihood, nis)


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
