"""What a flight of so many laps needs: energy per lap against wind and mass, and what is beside it.

    ln(Wh per lap) = level + mass ln(m/m0) + wind x,   x = -ln(1 - (w/V)²)

Around a closed circuit at a steady airspeed V the ground goes by more slowly in wind w: legs along
it take 1/(1 - (w/V)²) as long in sum, legs across it 1/√(1 - (w/V)²), so the geometry alone makes
the wind's factor 1 and 1/2 (closed-circuit navigation; textbook). Whoever flies faster into the
wind, and gusts, add to it. Drag at one lift coefficient goes with the weight, so energy per lap
goes with the mass to the power of 1, less at a fixed airspeed and more in turns.

What is flown beside the laps (roll, climb, landing, and what the first lap takes beyond the
others) is the energy of whole flights less that of their laps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import fmean, median

import numpy as np
from numpy.typing import NDArray

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.predicted_energy import PredictedEnergy
from flightlog.prediction.regression import Belief, Regression, StudentT

Array = NDArray[np.float64]

MASS_PRIOR, WIND_PRIOR = (1.0, 0.5), (1.0, 0.5)
"""Of the exponent of the mass, and of the factor of x: mean and standard deviation. [-]"""
WIND_STD_M_S = 0.7
"""Standard uncertainty of a mean wind over a flight that is known from its track. [m/s]"""
STRONGEST_WIND = 0.5
"""Share of the airspeed above which a wind is beyond the model. [-]"""

_LEVEL_STD = 0.5
_FLIGHT, _DAY = 0.04, 0.04
"""Scatter of ln(Wh per lap) from flight to flight and from day to day: air, propeller, pilot."""
_BESIDE_SCATTER, _BESIDE_LEVEL_STD = 0.20, 3.0
_FREEDOM, _BESIDE_FREEDOM = 3.0, 2.0
_GRID = 120


@dataclass(frozen=True, slots=True)
class LapFlown:
    """One earlier flight with whole laps.

    Attributes
    ----------
    name : str
        By which a person knows it.
    day : str
        Equal for flights of one day.
    energy_wh, energy_std_wh : float
        Of one lap, the mean without the first, and its standard uncertainty. [Wh]
    laps : int
        Whole laps.
    wind_m_s : float
        Mean speed of the wind in the air. [m/s]
    mass_kg : float
        Take-off mass. [kg]
    ground_speed_m_s : float
        Mean over the laps. [m/s]
    used_wh : float or None
        Of the whole flight; None where it is not known. [Wh]
    """

    name: str
    day: str
    energy_wh: float
    energy_std_wh: float
    laps: int
    wind_m_s: float
    mass_kg: float
    ground_speed_m_s: float
    used_wh: float | None = None

    @property
    def beside_wh(self) -> float | None:
        """What the flight used beside its laps. [Wh]"""
        return None if self.used_wh is None else self.used_wh - self.laps * self.energy_wh


@dataclass(frozen=True, slots=True)
class LapEnergyModel:
    """What the flights say; made by `fit_lap_energy`.

    Attributes
    ----------
    flights : tuple of LapFlown
        Learnt from.
    reference_mass_kg, airspeed_m_s : float
        Reference of the level [kg], and the airspeed of the laps [m/s].
    mass, wind : tuple of float
        Exponent of the mass and factor of x after the flights: mean and standard deviation. [-]
    lap_wh : float
        Median energy of a lap at the reference mass in no wind. [Wh]
    """

    flights: tuple[LapFlown, ...]
    reference_mass_kg: float
    airspeed_m_s: float
    mass: tuple[float, float]
    wind: tuple[float, float]
    lap_wh: float
    _per_lap: Regression
    _beside: Regression
    _meter_std: float

    def need(
        self, laps: int, wind_m_s: float, mass_kg: float, wind_std_m_s: float = WIND_STD_M_S
    ) -> PredictedEnergy:
        """Give what a flight on a new day needs.

        Parameters
        ----------
        laps : int
            Whole laps.
        wind_m_s, wind_std_m_s : float
            Mean wind in the air, and its standard uncertainty. [m/s]
        mass_kg : float
            Take-off mass. [kg]

        Raises
        ------
        NotEnoughDataError
            If the wind is beyond the model, or the laps are none.
        """
        if laps < 1 or not mass_kg > 0:
            raise NotEnoughDataError(
                f"{laps} laps at {mass_kg:g} kg are no flight", fix="Plan at least one lap."
            )
        lap = self._lap(wind_m_s, mass_kg, wind_std_m_s)
        heavier = _heavier(mass_kg, self.reference_mass_kg)
        beside = self._beside.next(
            np.array([1.0, heavier]), np.zeros(len(self.flights_with_all)), 1.0
        )
        levels = (np.arange(_GRID) + 0.5) / _GRID
        each = np.exp(lap.quantile(levels))
        rest = np.maximum(beside.quantile(levels), 0.0)
        total = laps * each[:, None] + rest[None, :]
        # The meter errs alike on every flight, so that many flights don't make it less.
        meter = _meter_draws() * self._meter_std
        return PredictedEnergy(total.ravel() * np.exp(meter))

    @property
    def flights_with_all(self) -> tuple[LapFlown, ...]:
        """Those of which the energy of the whole flight is known too."""
        return tuple(f for f in self.flights if f.used_wh is not None)

    def _lap(self, wind_m_s: float, mass_kg: float, wind_std_m_s: float) -> StudentT:
        # The square of a wind that is not known is larger than that of its mean.
        at = math.sqrt(wind_m_s**2 + wind_std_m_s**2)
        row = np.array(
            [
                1.0,
                _heavier(mass_kg, self.reference_mass_kg),
                slowed(at, self.airspeed_m_s),
            ]
        )
        per_wind = WIND_PRIOR[0] * _slope(at, self.airspeed_m_s) * wind_std_m_s
        own = (_FLIGHT**2 + _DAY**2 + per_wind**2) / _FLIGHT**2
        return self._per_lap.next(row, np.zeros(len(self.flights)), own)


def slowed(wind_m_s: float, airspeed_m_s: float) -> float:
    """Give the logarithm of how much longer legs along the wind take, there and back. [-]

    Raises
    ------
    NotEnoughDataError
        If the wind is stronger than the model is for.
    """
    if abs(wind_m_s) > STRONGEST_WIND * airspeed_m_s:
        raise NotEnoughDataError(
            f"a wind of {wind_m_s:.1f} m/s is more than {STRONGEST_WIND:g} of the airspeed of the "
            f"laps, {airspeed_m_s:.1f} m/s: beyond what the energy per lap is known for",
            fix="Wait for less wind.",
        )
    return -math.log1p(-((wind_m_s / airspeed_m_s) ** 2))


def fit_lap_energy(flights: Sequence[LapFlown], reference_mass_kg: float) -> LapEnergyModel:
    """Learn from earlier flights.

    Parameters
    ----------
    flights : sequence of LapFlown
        One of them at least with the energy of the whole flight.
    reference_mass_kg : float
        At which the level is told. [kg]

    Raises
    ------
    NotEnoughDataError
        If there are none, or none says what is used beside the laps.
    """
    if not flights:
        raise NotEnoughDataError(
            "no earlier flight has laps and their energy",
            fix="Fly two whole laps or more with the battery's current logged, and import the log.",
        )
    airspeed = _airspeed(flights)
    within = [f for f in flights if f.wind_m_s <= STRONGEST_WIND * airspeed]
    if not within:
        raise NotEnoughDataError(
            "all earlier flights with laps were flown in more wind than the model is for",
            fix="Fly two whole laps or more in less wind, and import the log.",
        )
    whole = [f for f in within if f.used_wh is not None]
    if not whole:
        raise NotEnoughDataError(
            "no earlier flight with laps has the energy of the whole flight",
            fix="Log the battery's current from before the roll to standstill, and import the log.",
        )
    lap = _fit_laps(within, reference_mass_kg, airspeed)
    mean, std = lap.belief.mean[:, 0], lap.belief.stds[:, 0]
    return LapEnergyModel(
        tuple(within),
        reference_mass_kg,
        airspeed,
        (float(mean[1]), float(std[1])),
        (float(mean[2]), float(std[2])),
        math.exp(float(mean[0])),
        lap,
        _fit_beside(whole, reference_mass_kg),
        median(f.energy_std_wh / f.energy_wh for f in within),
    )


def _airspeed(flights: Sequence[LapFlown]) -> float:
    """Give the airspeed of the laps: the ground speed, and what the wind takes off it."""
    airspeed = fmean(f.ground_speed_m_s for f in flights)
    for _ in range(5):
        ratios = [min(abs(f.wind_m_s) / airspeed, STRONGEST_WIND) for f in flights]
        # Legs in all directions: three quarters of what the wind does to legs along it.
        speeds = [
            f.ground_speed_m_s * (1 - r * r) ** -0.75 for f, r in zip(flights, ratios, strict=True)
        ]
        airspeed = fmean(speeds)
    return airspeed


def _fit_laps(flights: Sequence[LapFlown], mass_kg: float, airspeed: float) -> Regression:
    x = np.array(
        [[1.0, _heavier(f.mass_kg, mass_kg), slowed(f.wind_m_s, airspeed)] for f in flights]
    )
    y = np.log(np.array([f.energy_wh for f in flights]))
    guess = y - x @ np.array([0.0, MASS_PRIOR[0], WIND_PRIOR[0]])
    prior = Belief.before(
        np.array([float(np.mean(guess)), MASS_PRIOR[0], WIND_PRIOR[0]]),
        np.array([_LEVEL_STD, MASS_PRIOR[1], WIND_PRIOR[1]]),
        _FREEDOM,
        _FLIGHT,
    )
    winds = [WIND_PRIOR[0] * _slope(f.wind_m_s, airspeed) * WIND_STD_M_S for f in flights]
    return Regression(
        prior, x, y[:, None], _shared(flights) + np.diag(np.square(winds)) / _FLIGHT**2
    )


def _shared(flights: Sequence[LapFlown]) -> Array:
    same = np.array([[one.day == other.day for other in flights] for one in flights], dtype=float)
    return np.eye(len(flights)) + (_DAY / _FLIGHT) ** 2 * same


def _fit_beside(flights: Sequence[LapFlown], mass_kg: float) -> Regression:
    """Fit what is used beside the laps: as it was, and more with more mass."""
    y = np.array([f.beside_wh for f in flights], dtype=float)
    size = max(float(np.mean(y)), 0.2 * fmean(f.energy_wh for f in flights))
    prior = Belief.before(
        np.array([size, size * MASS_PRIOR[0]]),
        np.array([_BESIDE_LEVEL_STD, MASS_PRIOR[1]]) * size,
        _BESIDE_FREEDOM,
        _BESIDE_SCATTER * size,
    )
    x = np.array([[1.0, _heavier(f.mass_kg, mass_kg)] for f in flights])
    return Regression(prior, x, y[:, None], np.eye(len(flights)))


def _heavier(mass_kg: float, reference_kg: float) -> float:
    return math.log(mass_kg / reference_kg)


def _slope(wind_m_s: float, airspeed_m_s: float) -> float:
    """Give the change of `slowed` per wind. [s/m]"""
    return 2 * wind_m_s / (airspeed_m_s**2 - wind_m_s**2)


@cache
def _meter_draws() -> Array:
    """Draw what the meter errs by, in standard uncertainties, one for each point of the grid."""
    from scipy.special import ndtri

    n = _GRID**2
    drawn = np.asarray(ndtri((np.arange(n) + 0.5) / n), dtype=np.float64)
    return np.random.default_rng(1).permutation(drawn)
