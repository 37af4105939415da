"""Chains of ground, light wheels, hops, rolling and climb: a forward and a backward pass.

The sums over all chains give the probability of each block being the first clear moment, and
of each being the last contact.
"""

from __future__ import annotations

import math

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_evidence import BLOCK_S, Ground, Shake, bumpy
from flightlog.estimation.liftoff_paths import HOP_LENGTH_S

ROLLING_MEAN_S = 0.3
"""Prior mean time on the ground between two hops, after the impact itself. [s]"""

LONGEST_ROLLING_S = 1.6
"""Longest time on the ground between two hops that is looked at. [s]"""

ROUGH_MEAN_S, CALM_MEAN_S = 0.15, 1.0
"""Mean times for which the gear rings after an impact, and between two impacts. [s]"""

IMPACT_BLOCKS = 3
"""Blocks that an impact takes at least: the gear is pressed in and comes back. [-]"""

IMPACT_M_S2 = (2.0, 2.0)
"""Mean and spread of the upward acceleration in a block that holds an impact. [m/s²]"""

IMPACT_SHARE = 0.3
"""Share of rough blocks that hold an impact. [-]"""

RINGING_M_S2 = 0.6
"""Spread of the upward acceleration while the gear rings after an impact. [m/s²]"""

LIGHT_MEAN_S = 0.3
"""Prior mean time from the first upward acceleration of the body to the last contact of a
clean lift-off: struts and tyres extend by a few centimetres. [s]"""

LIGHT_ACCEL_M_S2 = (0.3, 0.4)
"""Mean and spread of the upward acceleration while the wheels are light. [m/s²]"""

EVIDENCE_SHARE = 0.9
"""Share of the log evidence that counts: vibration, attitude error and pressure noise are
correlated from block to block, so that the blocks say less than their number. [-]"""


def weigh_chains(
    ground: Ground,
    climb: Array,
    hop: Array,
    departs: Array,
    shake: Shake,
) -> tuple[Array, Array, float]:
    """Forward and backward pass over all chains.

    Returns
    -------
    first_clear, last_contact : array, shape (n,)
        Probability of each block.
    clean : float
        Probability that the first free path is the climb.
    """
    n = len(climb)
    index = np.arange(n)
    gap = (index[None, :] - index[:, None]) * BLOCK_S
    light = _lightness(ground, shake)
    # From the first upward push to the first clear moment the wheels are light.
    easing = _log_exponential(gap, LIGHT_MEAN_S) + light[None, :n] - light[:n, None]
    easing = np.where((gap >= 0) & (gap <= 1.2), easing, -np.inf)
    first = departs + ground.log_likelihood + np.logaddexp.reduce(easing, axis=0)
    between = _between_hops(ground, shake) + departs[None, :]
    step = np.full((n, n), -np.inf)
    longest = round(HOP_LENGTH_S[1] / BLOCK_S)
    for f in np.flatnonzero(np.isfinite(departs)):
        near = slice(f, f + longest + 1)
        step[f] = np.logaddexp.reduce(hop[f, near][:, None] + between[near], axis=0)
    forward, backward = first.copy(), climb.copy()
    for c in range(1, n):
        forward[c] = np.logaddexp(first[c], np.logaddexp.reduce(forward[:c] + step[:c, c]))
    for c in range(n - 2, -1, -1):
        later = np.logaddexp.reduce(step[c, c + 1 :] + backward[c + 1 :])
        backward[c] = np.logaddexp(climb[c], later)
    total = np.logaddexp.reduce(first + backward)
    clean = float(np.exp(np.logaddexp.reduce(first + climb) - total))
    return _normal(first + backward), _normal(forward + climb), clean


def _normal(log_weight: Array) -> Array:
    weight: Array = np.exp(EVIDENCE_SHARE * (log_weight - log_weight.max()))
    return np.asarray(weight / weight.sum())


def _log_exponential(gap: Array, mean: float) -> Array:
    """Log probability of a block, for exponentially distributed lengths."""
    return np.asarray(math.log(1 - math.exp(-BLOCK_S / mean)) - np.maximum(gap, 0) / mean)


def _log_normal(error: Array, variance: Array) -> Array:
    """Log density without its constant; 0 where there is no sample."""
    density = -0.5 * (error**2 / variance + np.log(variance))
    return np.asarray(np.where(np.isfinite(density), density, 0.0))


def _loaded(ground: Ground, shake: Array) -> Array:
    """Log likelihood of each block as one with loaded wheels; 0 where there is no sample."""
    each = [
        bumpy(error, noise**2 + var, noise**2) if math.isfinite(error) else 0.0
        for error, var, noise in zip(ground.accel_error, ground.accel_bias_var, shake, strict=True)
    ]
    return np.array(each)


def _lightness(ground: Ground, shake: Shake) -> Array:
    """Running log likelihood of light wheels less that of loaded ones, shape (n + 1,)."""
    n = len(ground.accel_error)
    if shake.ground is None:
        return np.zeros(n + 1)
    mean, spread = LIGHT_ACCEL_M_S2
    variance = shake.ground**2 + spread**2 + ground.accel_bias_var
    gain = _log_normal(ground.accel_error - mean, variance) - _loaded(ground, shake.ground)
    return np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(gain), gain, 0.0))])


def _between_hops(ground: Ground, shake: Shake) -> Array:
    """Log evidence from a contact before block k to the next departure with block c.

    Two states that follow each other: *rough*, in which the gear rings and is struck, from the
    contact on; and *calm*, plain rolling. Shape (n, n), -inf where c is too near or too far.
    """
    n = len(ground.accel_error)
    height = np.diff(np.append(ground.log_likelihood, ground.log_likelihood[-1]))
    calm_block, rough_block = height, height
    if shake.ground is not None:
        e, bias = ground.accel_error, ground.accel_bias_var
        loaded = _loaded(ground, shake.ground)
        ringing = _log_normal(e, shake.ground**2 + RINGING_M_S2**2 + bias)
        struck = _log_normal(e - IMPACT_M_S2[0], shake.air**2 + IMPACT_M_S2[1] ** 2 + bias)
        rough = np.logaddexp(math.log(1 - IMPACT_SHARE) + ringing, math.log(IMPACT_SHARE) + struck)
        rough_block = height + rough - loaded
    between = np.full((n, n), -np.inf)
    rough_now, calm_now = np.zeros(n), np.full(n, -np.inf)
    to_calm, to_rough = BLOCK_S / ROUGH_MEAN_S, BLOCK_S / CALM_MEAN_S
    leave = math.log(1 - math.exp(-BLOCK_S / ROLLING_MEAN_S))
    for gap in range(1, round(LONGEST_ROLLING_S / BLOCK_S)):
        rows = np.arange(n - gap)
        block = rows + gap - 1
        calmer = np.logaddexp(
            calm_now[rows] + math.log(1 - to_rough), rough_now[rows] + math.log(to_calm)
        )
        rougher = np.logaddexp(
            rough_now[rows] + math.log(1 - to_calm), calm_now[rows] + math.log(to_rough)
        )
        # The impact itself is rough to its end.
        if gap <= IMPACT_BLOCKS:
            calmer, rougher = np.full(len(rows), -np.inf), rough_now[rows]
        calm_now[rows] = calmer + calm_block[block]
        rough_now[rows] = rougher + rough_block[block]
        if gap >= IMPACT_BLOCKS:
            waited = (gap - IMPACT_BLOCKS) * BLOCK_S / ROLLING_MEAN_S
            either = np.logaddexp(calm_now[rows], rough_now[rows])
            between[rows, rows + gap] = either + leave - waited
    return between
