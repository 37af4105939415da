"""What speaks of a landing, and what is then known of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_evidence import Series

BARO_WALK = 0.25
"""Random walk of the barometer's error: ground effect, gusts, speed. [m/sqrt(s)]"""

CLIMB_ZERO_STD_M_S = 0.15
"""Slow error of the receiver's climb rate. [m/s]"""

CONTACT_STD_M = 0.04
"""How exactly the first contact is at the height at which it then rolls. [m]"""

LEAST_STD_M_S = 0.025
"""What the model itself may be off on a sink rate. [m/s]"""


@dataclass(frozen=True, slots=True)
class LandingEvidence:
    """What speaks of a landing; None where the log has no such sensor.

    ``upward`` upward acceleration, gravity removed, every sample of the IMU [m/s²]; ``height``
    barometric [m]; ``climb`` GPS climb rate at the time it was true [m/s]; ``speed`` over ground
    [m/s].
    """

    upward: Series | None
    height: Series | None
    climb: Series | None
    speed: Series | None


@dataclass(frozen=True, slots=True)
class Hop:
    """A stretch after the first contact with no wheel on the ground.

    Attributes
    ----------
    start_s, end_s : float
        Log clock. [s]
    top_m, top_std_m : float
        Height that the wheels reached, and its standard uncertainty. [m]
    """

    start_s: float
    end_s: float
    top_m: float
    top_std_m: float


@dataclass(frozen=True, slots=True)
class Touchdown:
    """First wheel contact of a landing.

    Attributes
    ----------
    time_s, time_std_s : float
        [s]
    sink_m_s, weight : array, shape (n,)
        Equally spaced possible sink rates at the first contact, downward positive, and their
        probabilities. [m/s]
    hops : tuple of Hop
        In the order of time; empty without an accelerometer, which alone shows them.
    settled_s : float
        From then on it rolled for good. [s]
    inertial : bool
        Whether an accelerometer took part.
    zero_m_s2 : float
        Zero of the upward acceleration at the touchdown. [m/s²]
    faint : tuple of Hop
        Stretches above the ground that may be noise of the height, or hops that it hides.
    """

    time_s: float
    time_std_s: float
    sink_m_s: Array
    weight: Array
    hops: tuple[Hop, ...]
    settled_s: float
    inertial: bool
    zero_m_s2: float = 0.0
    faint: tuple[Hop, ...] = ()

    @property
    def mean_m_s(self) -> float:
        """Expected sink rate. [m/s]"""
        return float(self.weight @ self.sink_m_s)

    @property
    def std_m_s(self) -> float:
        """Standard uncertainty of the sink rate. [m/s]"""
        return math.sqrt(float(self.weight @ (self.sink_m_s - self.mean_m_s) ** 2))


def place_samples(into: Array, series: Series | None, time: Array, dt: float) -> float:
    """Write samples into the nearest steps, and give their usual noise."""
    if series is None or len(series.time_s) < 3:
        return 1.0
    at = np.rint((series.time_s - time[0]) / dt)
    good = (at >= 0) & (at < len(time)) & np.isfinite(series.value)
    into[at[good].astype(int)] = series.value[good]
    return max(1e-3, float(np.median(series.std)))
