"""How the strength of the link falls with distance, over one flight."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.analyses.link_data import STATION_HEIGHT_M, Seconds, Station
from flightlog.estimation.frames import Array
from flightlog.estimation.link_budget import (
    LIGHT_M_S,
    RangeFit,
    correlation_steps,
    fit_range,
    hidden_mean,
)
from flightlog.inputs import LinkSetting

LEAST_SPREAD = 2.0
"""Far over near distance (95th over 5th percentile) below which no exponent is given. [-]"""

LARGEST_STD = 0.7
"""An exponent less sure than this tells nothing: free space and a poor site differ by 2. [-]"""

MODEL_STD = 0.12
"""Standard uncertainty of the exponent from what no model here holds (edges of a pattern, the
ground under the path): the errors of simulated flights beyond their scatter. [-]"""

EXTRAPOLATED = 3.0
"""Planned over flown distance beyond which no margin is given. [-]"""

_UNFITTED = 1.2
_BLOCKS = 2.0


@dataclass(frozen=True, slots=True)
class Range:
    """Power over distance in one flight.

    Attributes
    ----------
    fit : RangeFit or None
        None where all distances are the same.
    power : array, shape (n,)
        Of every second; the expected one where it is only known to be below a limit. [dB]
    near_m, far_m : float
        5th and 95th percentile of the distances. [m]
    hidden : int
        Seconds known to be below a limit only.
    not_identifiable : str
        Why the exponent can't be told; "" where it can.
    station_exponent : float
        What one standard uncertainty of the station's place does to the exponent. [-]
    most_extrapolated_m : float
        Farthest distance at which the fit may be read. [m]
    """

    fit: RangeFit | None
    power: Array
    near_m: float
    far_m: float
    hidden: int
    not_identifiable: str
    station_exponent: float
    most_extrapolated_m: float
    _shifts: tuple[tuple[float, float], ...]

    def model_level(self, distance_m: float) -> float:
        """What `MODEL_STD` does at a distance, from the middle of those flown. [dB]"""
        return 10 * MODEL_STD * abs(math.log10(distance_m / math.sqrt(self.near_m * self.far_m)))

    def station_level(self, distance_m: float) -> float:
        """What one standard uncertainty of the station's place does at a distance. [dB]"""
        far = math.log10(distance_m)
        return math.hypot(*(level - 10 * n * far for level, n in self._shifts))


def range_of(rows: Seconds, station: Station, setting: LinkSetting) -> Range:
    """Fit the fall with distance.

    Parameters
    ----------
    rows : Seconds
        Thirty or more with a known power.
    station : Station
        How sure its place is.
    setting : LinkSetting
        The frequency tells from where on power falls faster.
    """
    distance = rows.distance_m
    near, far = (float(v) for v in np.percentile(distance, [5, 95]))
    first = fit_range(distance, rows.power, rows.below, draws=2)
    power, fit = rows.power, None
    shifts: tuple[tuple[float, float], ...] = ((0.0, 0.0), (0.0, 0.0))
    if first is not None:
        power, _ = hidden_mean(power, first.at(distance), max(first.spread_db, 1e-3), rows.below)
        block = math.ceil(_BLOCKS * correlation_steps(power - first.at(distance)))
        fit = fit_range(distance, rows.power, rows.below, block=max(5, block))
        shifts = _shifts(rows, power, station)
    station_exponent = math.hypot(*(n for _, n in shifts))
    why = ""
    if fit is None or far < LEAST_SPREAD * near:
        why = (
            f"not identifiable: nearly all of the flight was {near:.0f} to {far:.0f} m away; fly a "
            "leg out to three times that distance and back"
        )
    elif (std := math.hypot(fit.exponent_std, station_exponent)) > LARGEST_STD:
        why = (
            f"not identifiable: scatter of the signal and place of the ground station leave the "
            f"exponent open to ± {2 * std:.1f}; fly farther out, or give pilot_deg in the site file"
        )
    return Range(
        fit=fit,
        power=power,
        near_m=near,
        far_m=far,
        hidden=int(rows.below.sum()),
        not_identifiable=why,
        station_exponent=station_exponent,
        most_extrapolated_m=_farthest(rows, far, setting, bool(why)),
        _shifts=shifts,
    )


def _shifts(rows: Seconds, power: Array, station: Station) -> tuple[tuple[float, float], ...]:
    """Change of level and exponent for a station that is elsewhere, to the east and north."""
    changes = []
    for axis in (0, 1):
        ends = []
        for sign in (-1.0, 1.0):
            sight = rows.sight_m.copy()
            sight[:, axis] += sign * station.std_m
            x = -10 * np.log10(np.maximum(np.linalg.norm(sight, axis=1), 1.0))
            ends.append(np.polynomial.polynomial.polyfit(x - x.mean(), power, 1))
            ends[-1][0] -= ends[-1][1] * x.mean()
        level, exponent = (ends[1] - ends[0]) / 2
        changes.append((float(level), float(exponent)))
    return tuple(changes)


def _farthest(rows: Seconds, far_m: float, setting: LinkSetting, unfitted: bool) -> float:
    farthest = (_UNFITTED if unfitted else EXTRAPOLATED) * far_m
    if setting.frequency_hz is None:
        return farthest
    # Beyond this distance the wave from the ground takes away most of the direct one.
    height = max(1.0, float(np.median(-rows.sight_m[:, 2])))
    broken = 4 * height * STATION_HEIGHT_M * setting.frequency_hz / LIGHT_M_S
    return max(far_m, min(farthest, broken))
