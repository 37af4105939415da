"""How strongly an aircraft is heard from each direction about it.

Power of every second = level - 10 n log10(distance) + pattern(direction) + shadowing + noise.
Distance and direction go together on a circuit, so all are fitted at once. The pattern is smooth
over the sphere (a Gaussian process on its nodes; Rasmussen and Williams 2006, 2.7); shadowing
agrees over seconds (an Ornstein-Uhlenbeck process). How strong and how long each is, the data
weigh: the answer is a sample of what pattern, level and exponent may be, over all of it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array
from flightlog.estimation.link_budget import azimuth_elevation_deg

AZIMUTH_STEP_DEG = 15.0
"""Spacing of the nodes about the aircraft. [deg]"""

ELEVATIONS_DEG = (-75.0, -45.0, -15.0, 15.0, 45.0, 75.0)
"""Rows of nodes; negative below the wings' plane. [deg]"""

SMOOTHNESS = 0.35
"""Length over which directions agree, as a chord of the unit sphere: 20 deg, so that what is 40
deg wide is kept. [-]"""

UPRIGHT = 0.5
"""Elevations agree twice as far as azimuths: what shades an aerial stands upright. [-]"""

EXPONENT_PRIOR = (2.3, 0.8)
"""Mean and standard deviation of the exponent before the flight: free space has 2, flat ground far
out 4. Flights whose distances go with their directions lean on it. [-]"""

_LASTING_S = (1.0, 3.0, 8.0, 20.0)
_WHITE = (0.1, 0.4, 0.8)
_PATTERN = (0.3, 1.0, 2.0, 4.0)
_SEGMENT = 200
_SEED = 11
_SAMPLES = 1200
_LEAST_LIKELY = 12.0
_LEAST_NODE = 0.2
_ELSEWHERE = 3


@dataclass(frozen=True, slots=True)
class Pattern:
    """What a link's level, exponent and pattern may be.

    Attributes
    ----------
    azimuth_deg, elevation_deg : array, shape (m,)
        Nodes that the flight showed. [deg]
    seconds : array, shape (m,)
        Weight of the seconds about each. [-]
    gain_db : array, shape (k, m)
        Samples of the pattern, less its median over the nodes. [dB]
    level_db, exponent, spread_db : array, shape (k,)
        Samples of the power at 1 m at the median of the nodes [dB], of n, and of the standard
        deviation of one second. [dB]
    """

    azimuth_deg: Array
    elevation_deg: Array
    seconds: Array
    gain_db: Array
    level_db: Array
    exponent: Array
    spread_db: Array


@dataclass(frozen=True, slots=True)
class View:
    """Where the ground station may be, seen from the aircraft.

    Attributes
    ----------
    distance_m : array, shape (n,)
        [m]
    direction : array, shape (n, 3)
        Unit vectors to it: forward, right, down.
    log_prior : float
        Logarithm of how likely it was to be there, before the flight.
    """

    distance_m: Array
    direction: Array
    log_prior: float = 0.0


def fit_pattern(
    time_s: Array, power_db: Array, views: Sequence[View], least_weight: float = 2.0
) -> Pattern | None:
    """Fit level, exponent and pattern, over all places where the ground station may be.

    Parameters
    ----------
    time_s, power_db : array, shape (n,)
        One row a second, in the order of time. [s], [dB or dBm]
    views : sequence of View
        The likeliest first.
    least_weight : float
        Nodes with fewer seconds are not in the answer.

    Returns
    -------
    Pattern or None
        None with fewer than 30 rows, or with too few nodes.
    """
    if time_s.size < 30:
        return None
    nodes = _nodes()
    hats = [_hats(view.direction) for view in views]
    use = np.max([h.sum(axis=0) for h in hats], axis=0) > _LEAST_NODE
    nodes, hats = nodes[use], [h[:, use] for h in hats]
    weight = hats[0].sum(axis=0)
    shown = weight >= least_weight
    if shown.sum() < 3:
        return None
    root = _root(nodes)
    falls = [-10 * np.log10(view.distance_m) for view in views]
    designs = [
        np.column_stack([np.ones(x.size), x - x.mean(), h @ root])
        for x, h in zip(falls, hats, strict=True)
    ]
    samples = _posterior(time_s, power_db, designs, [view.log_prior for view in views])
    if samples is None:
        return None
    coefficients, spread, which = samples
    gain = coefficients[:, 2:] @ root.T
    middle = np.median(gain[:, shown], axis=1)
    exponent = coefficients[:, 1]
    azimuth, elevation = azimuth_elevation_deg(nodes[shown])
    means = np.array([x.mean() for x in falls])[which]
    return Pattern(
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        seconds=weight[shown],
        gain_db=gain[:, shown] - middle[:, None],
        level_db=coefficients[:, 0] - exponent * means + middle,
        exponent=exponent,
        spread_db=spread,
    )


def _nodes() -> Array:
    """All nodes as unit vectors, shape (m, 3)."""
    around = np.radians(np.arange(round(360 / AZIMUTH_STEP_DEG)) * AZIMUTH_STEP_DEG)
    az, el = np.meshgrid(around, np.radians(ELEVATIONS_DEG))
    nodes = np.stack([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), -np.sin(el)], axis=-1)
    return nodes.reshape(-1, 3)


def _hats(direction: Array) -> Array:
    """How much of every node is in each direction, shape (n, m); a row sums to one."""
    azimuth, elevation = azimuth_elevation_deg(direction)
    around = round(360 / AZIMUTH_STEP_DEG)
    rows = np.asarray(ELEVATIONS_DEG)
    a = (azimuth % 360) / AZIMUTH_STEP_DEG
    e = np.interp(elevation, rows, np.arange(rows.size))
    left, low = np.floor(a).astype(int), np.minimum(np.floor(e).astype(int), rows.size - 2)
    weights = np.zeros((azimuth.size, rows.size * around))
    every = np.arange(azimuth.size)
    for da, wa in ((0, 1 - (a - left)), (1, a - left)):
        for de, we in ((0, 1 - (e - low)), (1, e - low)):
            np.add.at(weights, (every, (low + de) * around + (left + da) % around), wa * we)
    return weights


def _root(nodes: Array) -> Array:
    """A root of the covariance of the pattern at the nodes, for unit strength."""
    place = nodes * np.array([1.0, 1.0, UPRIGHT])
    apart = np.sum((place[:, None] - place[None]) ** 2, axis=-1)
    values, vectors = np.linalg.eigh(np.exp(-0.5 * apart / SMOOTHNESS**2))
    keep = values > 1e-4 * values.max()
    return np.asarray(vectors[:, keep] * np.sqrt(values[keep]))


@dataclass(frozen=True, slots=True)
class _Fit:
    """One weighing of shadowing, noise, pattern and place, with its posterior."""

    likelihood: float
    best: Array
    upper: Array
    square: float
    free: int
    view: int


def _posterior(
    time_s: Array, y: Array, designs: Sequence[Array], log_priors: Sequence[float]
) -> tuple[Array, Array, NDArray[np.int_]] | None:
    """Samples of the coefficients, shape (k, p), of the spread, and the view of each."""
    plain, *_ = np.linalg.lstsq(designs[0][:, :2], y, rcond=None)
    rest = float(np.mean((y - designs[0][:, :2] @ plain) ** 2))
    if not rest > 1e-9:
        return None
    prior = np.zeros(designs[0].shape[1])
    prior[1] = rest / EXPONENT_PRIOR[1] ** 2
    noises = {k: _noise(time_s, *k) for k in itertools.product(_LASTING_S, _WHITE)}
    first = {
        key: fit
        for noise in noises
        for key, fit in _strengths(y, designs[0], noises[noise], noise, prior, _PATTERN).items()
    }
    # What is unlikely with the station in the middle of where it may be is so elsewhere, too.
    likely = sorted(first, key=lambda k: -first[k].likelihood)[:_ELSEWHERE]
    fits = [_placed(f, 0, log_priors[0]) for f in first.values()]
    for at in range(1, len(designs)):
        for lasting, white, strength in likely:
            noise = (lasting, white)
            found = _strengths(y, designs[at], noises[noise], noise, prior, (strength,))
            fits += [_placed(f, at, log_priors[at]) for f in found.values()]
    return _draw(fits)


def _placed(fit: _Fit, view: int, log_prior: float) -> _Fit:
    return replace(fit, view=view, likelihood=fit.likelihood + log_prior)


def _draw(fits: list[_Fit]) -> tuple[Array, Array, NDArray[np.int_]]:
    most = max(f.likelihood for f in fits)
    fits = [f for f in fits if f.likelihood > most - _LEAST_LIKELY]
    share = np.exp([f.likelihood - most for f in fits])
    rng = np.random.default_rng(_SEED)
    counts = rng.multinomial(_SAMPLES, share / share.sum())
    drawn, spreads = [], []
    for fit, count in zip(fits, counts.tolist(), strict=True):
        sigma = np.sqrt(fit.square / rng.chisquare(fit.free, count))
        normal = rng.standard_normal((fit.best.size, count)) * sigma
        drawn.append(fit.best[:, None] + np.linalg.solve(fit.upper, normal))
        spreads.append(sigma)
    coefficients = np.concatenate(drawn, axis=1).T
    coefficients[:, 1] += EXPONENT_PRIOR[0]
    return coefficients, np.concatenate(spreads), np.repeat([f.view for f in fits], counts)


@dataclass(frozen=True, slots=True)
class _Noise:
    """Lower roots of the covariance of the rows, by stretches, and its log determinant."""

    lowers: tuple[Array, ...]
    logdet: float


def _noise(time_s: Array, lasting_s: float, white: float) -> _Noise:
    """Shadowing and noise; stretches of `_SEGMENT` rows are taken for independent."""
    lowers, logdet = [], 0.0
    for first in range(0, time_s.size, _SEGMENT):
        t = time_s[first : first + _SEGMENT]
        covariance = (1 - white) * np.exp(-np.abs(t[:, None] - t[None]) / lasting_s)
        covariance[np.diag_indices_from(covariance)] += white
        lowers.append(np.linalg.cholesky(covariance))
        logdet += 2 * float(np.log(np.diag(lowers[-1])).sum())
    return _Noise(tuple(lowers), logdet)


def _strengths(
    y: Array,
    design: Array,
    noise: _Noise,
    key: tuple[float, float],
    prior: Array,
    strengths: Sequence[float],
) -> dict[tuple[float, float, float], _Fit]:
    """Fits with patterns of several strengths under one noise."""
    columns = np.column_stack([y - EXPONENT_PRIOR[0] * design[:, 1], design])
    whitened = np.concatenate(
        [
            np.linalg.solve(lower, columns[i * _SEGMENT : (i + 1) * _SEGMENT])
            for i, lower in enumerate(noise.lowers)
        ]
    )
    target, z = whitened[:, 0], whitened[:, 1:]
    square, right, power = z.T @ z, z.T @ target, float(target @ target)
    found = {}
    for strength in strengths:
        precision = prior.copy()
        precision[2:] = strength**-2
        normal = square + np.diag(precision + 1e-9)
        upper = np.linalg.cholesky(normal).T
        best = np.linalg.solve(normal, right)
        left = max(power - float(best @ right), 1e-9)
        free = y.size - 1
        likelihood = (
            -0.5 * noise.logdet
            - float(np.log(np.diag(upper)).sum())
            + 0.5 * float(np.log(precision[precision > 0]).sum())
            - 0.5 * free * math.log(left)
        )
        found[(*key, strength)] = _Fit(likelihood, best, upper, left, free, 0)
    return found
