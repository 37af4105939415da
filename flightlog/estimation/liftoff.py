"""When the wheels leave the ground: one posterior from everything that speaks of it.

The vertical channel is a chain of stretches, each a linear Gaussian model of what upward
acceleration, barometer and GPS climb rate should read:

*ground*  wheels loaded: height, climb rate and acceleration are zero;
*light*   struts and tyres extend, the body begins to rise, the tyres still touch;
*hop*     a free path that ends where its height comes back to zero;
*rolling* between two hops: loaded again, with impacts;
*climb*   a free path that lasts.

The chain runs ground, light, then any number of (hop, rolling), then climb. Sums over all
chains by a forward and a backward pass give the probability of each instant being the first
clear moment, and of each being the last contact. Nothing is thresholded: a barometer that
reads half a metre too high in ground effect, an accelerometer with a bias or a motor that
shakes it only flatten the posterior. The barometer's error is a state that walks fast enough
to absorb ground effect, and a share of the dynamic pressure that the roll itself shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_chain import weigh_chains
from flightlog.estimation.liftoff_evidence import (
    BLOCK_S,
    Ground,
    Series,
    Shake,
    VerticalEvidence,
    filter_ground,
    measure_shake,
    to_blocks,
)
from flightlog.estimation.liftoff_paths import free_paths

QUIET_M_S2 = 0.25
"""Noise of a block mean below which single contacts show. [m/s²]"""

UNSEEN_SHARE, UNSEEN_S = (0.035, 0.1), 1.0
"""Probability of hops that nothing showed, with a quiet IMU and otherwise, and how long before
the first seen one they may lie. [-], [s]"""

LEAST_STD_S = 0.04
"""What the model itself may be off: 1 sigma on the instant. [s]"""


@dataclass(frozen=True, slots=True)
class LiftoffPosterior:
    """Probabilities over a grid of instants.

    Attributes
    ----------
    time_s : array, shape (n,)
        Grid. [s]
    last_contact, first_clear : array, shape (n,)
        Probability of each instant.
    skip_probability : float
        That the wheels came down again after the first clear moment.
    skips : int
        Contacts after the first clear moment that the accelerometer shows, if it did skip.
    shake_ground_m_s2, shake_air_m_s2 : float or None
        Standard deviation of the block means of the acceleration, on the ground and in the
        air; None without an IMU. [m/s²]
    """

    time_s: Array
    last_contact: Array
    first_clear: Array
    skip_probability: float
    skips: int
    shake_ground_m_s2: float | None
    shake_air_m_s2: float | None

    def width_s(self, level: float = 0.95) -> float:
        """Width of the central interval of the last contact. [s]"""
        tail = (1 - level) / 2
        low, high = np.interp([tail, 1 - tail], np.cumsum(self.last_contact), self.time_s)
        return float(high - low)

    @property
    def resolves_skips(self) -> bool:
        """Whether the accelerometer is quiet enough to show single contacts."""
        return self.shake_air_m_s2 is not None and self.shake_air_m_s2 < QUIET_M_S2


def locate_liftoff(
    evidence: VerticalEvidence, roll_start_s: float, two_metres_s: float
) -> LiftoffPosterior:
    """Posterior of the first clear moment and of the last wheel contact.

    Parameters
    ----------
    evidence : VerticalEvidence
        Signals from before the roll to 3 s after ``two_metres_s``.
    roll_start_s : float
        Start of the roll. [s]
    two_metres_s : float
        Roughly when the wheels passed 2 m. [s]

    Returns
    -------
    LiftoffPosterior
    """
    start = max(two_metres_s - 8.0, roll_start_s + 0.3)
    start = min(start, two_metres_s - 1.0)
    blocks = to_blocks(evidence, start, two_metres_s + 0.8)
    shake = measure_shake(evidence, blocks, roll_start_s, two_metres_s)
    ground = filter_ground(blocks, shake.ground)
    climb, hop = free_paths(blocks, ground, shake)
    first = int(np.searchsorted(blocks.time, roll_start_s + 0.8))
    last = int(np.searchsorted(blocks.time, two_metres_s - 0.2))
    index = np.arange(len(blocks.time))
    allowed = (index >= min(first, last - 2)) & (index <= last)
    nose = _pitch_prior(evidence.pitch, blocks.time, roll_start_s, two_metres_s)
    departs = np.where(allowed, nose, -np.inf)
    first_clear, last_contact, clean = weigh_chains(ground, climb, hop, departs, shake)
    return LiftoffPosterior(
        blocks.time - BLOCK_S / 2,
        _spread(last_contact),
        _spread(_with_unseen_hops(first_clear, shake)),
        1.0 - clean,
        _count_contacts(ground, first_clear, last_contact),
        float(np.max(shake.ground[: last + 1])) if shake.ground is not None else None,
        shake.air if shake.ground is not None else None,
    )


def _pitch_prior(
    pitch: Series | None, time: Array, roll_start_s: float, two_metres_s: float
) -> Array:
    """Little weight to instants before the nose came up, if it ever did."""
    flat = np.zeros(len(time))
    if pitch is None or len(pitch.time_s) < 5:
        return flat
    rolling = (pitch.time_s > roll_start_s + 0.3) & (pitch.time_s < two_metres_s - 3.0)
    if rolling.sum() < 3:
        return flat
    rise = np.interp(time, pitch.time_s, pitch.value) - float(np.median(pitch.value[rolling]))
    rise = np.degrees(rise)
    if rise[-1] < 3.0:
        return flat
    return np.log(np.maximum(0.003, 1 / (1 + np.exp(-(rise - 1.5) / 0.5))))


def _with_unseen_hops(first_clear: Array, shake: Shake) -> Array:
    """Leave room for hops that no sensor showed, in the stretch before the first that it did."""
    quiet = shake.ground is not None and shake.air < QUIET_M_S2
    share = UNSEEN_SHARE[0] if quiet else UNSEEN_SHARE[1]
    reach = round(UNSEEN_S / BLOCK_S)
    earlier = np.convolve(first_clear, np.ones(reach) / reach)[reach - 1 :][: len(first_clear)]
    return np.asarray((1 - share) * first_clear + share * earlier / max(earlier.sum(), 1e-12))


def _spread(weights: Array) -> Array:
    """Widen by what the model itself may be off."""
    reach = max(1, math.ceil(3 * LEAST_STD_S / BLOCK_S))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * BLOCK_S / LEAST_STD_S) ** 2)
    wide = np.convolve(weights, kernel / kernel.sum(), mode="same")
    return np.asarray(wide / wide.sum())


def _count_contacts(ground: Ground, first_clear: Array, last_contact: Array) -> int:
    """Contacts between first clear and last contact: falls that end in a push upward."""
    first, last = int(np.argmax(first_clear)), int(np.argmax(last_contact))
    if last <= first:
        return 0
    error = np.nan_to_num(ground.accel_error[first : last + 3])
    count, falling = 0, False
    for e in error:
        if e < -0.4:
            falling = True
        elif falling and e > 0.4:
            count, falling = count + 1, False
    return max(count, 1)
