"""From which directions about the aircraft the link is weak, over one flight."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from flightlog.analyses.link_data import Seconds, Station
from flightlog.analyses.link_range import Range
from flightlog.estimation.link_pattern import AZIMUTH_STEP_DEG, Pattern, View, fit_pattern

SURE_STD_DB = 1.7
"""A direction is seen when its gain is this sure: a null of 10 dB then reads 6 dB or more in 99 %
of flights. [dB]"""

ORDINARY_DB = 3.0
"""How far below its median direction a sound aerial on a small airframe is in its weakest. [dB]"""

NULL_DB = 4.0
"""Best estimate of the depth from which on a direction is called weak. The estimate leans
towards the median, by about a decibel where a flight passes a direction a few times, and by more
where it only grazes a null. [dB]"""

CONFIDENCE = 0.75
"""Probability that the depth is more than `ORDINARY_DB`: to look at an aerial costs a minute.
[-]"""

SMOOTHING_STD_DB = 1.0
"""Error of the depth of a hole with steep edges, which a smooth pattern overshoots. [dB]"""

POOR_DEG = 90.0
"""With more of the circle unseen, a null is not excluded. [deg]"""

_LEAST_SEEN_DEG = 60.0
_LEAST_WEIGHT = 2.0
_LEAST_AIMED = 30
_PLACED_M = 5.0
_STEPS = (-1.6, -0.8, 0.0, 0.8, 1.6)


@dataclass(frozen=True, slots=True)
class Aspects:
    """The pattern that a flight shows, and its weakest direction.

    Attributes
    ----------
    pattern : Pattern
    node : int
        The weakest direction in it.
    null : bool
        Whether it is weak with confidence.
    seen_deg : float
        Of the circle about the aircraft, at any elevation. [deg]
    unseen_azimuths_deg : tuple of float
        Middles of the sectors of 15 deg that were not seen. [deg]
    moved : bool
        Whether the samples of the pattern hold all places where the ground station may be.
    """

    pattern: Pattern
    node: int
    null: bool
    seen_deg: float
    unseen_azimuths_deg: tuple[float, ...]
    moved: bool

    @property
    def azimuth_deg(self) -> float:
        """Of the weakest direction, from the nose to the right. [deg]"""
        return float(self.pattern.azimuth_deg[self.node])

    @property
    def elevation_deg(self) -> float:
        """Of the weakest direction, above the wings' plane. [deg]"""
        return float(self.pattern.elevation_deg[self.node])

    @property
    def weakest(self) -> tuple[float, float]:
        """Depth below the median direction, and its standard uncertainty. [dB]"""
        gain = self.pattern.gain_db[:, self.node]
        return -float(gain.mean()), float(gain.std())

    @property
    def interval(self) -> tuple[float, float]:
        """Central 95 % of the depth. [dB]"""
        low, high = np.percentile(-self.pattern.gain_db[:, self.node], [2.5, 97.5])
        return float(low), float(high)

    @property
    def poor(self) -> bool:
        """Whether a null may hide in what was not seen."""
        return 360.0 - self.seen_deg > POOR_DEG


def _places(rows: Seconds, station: Station) -> list[tuple[Seconds, float]]:
    """The flight as seen from all places where the ground station may be; the middle first."""
    if station.std_m < _PLACED_M:
        return [(rows, 0.0)]
    steps = sorted(itertools.product(_STEPS, _STEPS), key=lambda p: math.hypot(*p))
    return [
        (rows.moved(east * station.std_m, north * station.std_m), -0.5 * (east**2 + north**2))
        for east, north in steps
    ]


def aspects_of(rows: Seconds, fall: Range, station: Station) -> Aspects | str:
    """Fit the pattern, or say why the flight does not show it."""
    aimed = rows.aimed
    if int((aimed & ~rows.below).sum()) < _LEAST_AIMED:
        return (
            "the log has no roll, pitch and yaw while the strength of the signal is known, so "
            "directions about the aircraft are unknown; log attitude at 5 Hz or more"
        )
    views = [
        View(seen.distance_m[aimed], seen.direction(aimed), log_prior)
        for seen, log_prior in _places(rows, station)
    ]
    pattern = fit_pattern(rows.time_s[aimed], fall.power[aimed], views, _LEAST_WEIGHT)
    if pattern is None:
        return "the strength of the signal never changed, or from too few directions"
    sure = pattern.gain_db.std(axis=0) <= SURE_STD_DB
    around = np.arange(0.0, 360.0, AZIMUTH_STEP_DEG)
    there = np.round(pattern.azimuth_deg[sure] % 360, 6) % 360
    unseen = tuple(float(a) for a in around if not (np.abs(there - a) < 1e-3).any())
    seen = 360.0 - AZIMUTH_STEP_DEG * len(unseen)
    if seen < _LEAST_SEEN_DEG:
        return (
            f"the flight shows only {seen:.0f} deg of the circle about the aircraft surely; fly "
            "circles both ways, or log the signal more often"
        )
    depth = -pattern.gain_db.mean(axis=0)
    node = int(np.argmax(depth))
    beyond = float(np.mean(pattern.gain_db[:, node] < -ORDINARY_DB))
    null = bool(depth[node] >= NULL_DB and beyond >= CONFIDENCE)
    return Aspects(pattern, node, null, seen, unseen, len(views) > 1)
