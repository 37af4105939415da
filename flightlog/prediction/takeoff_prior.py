"""What is believed of the ground roll before any flight: its size, and what moves it.

    ln S = level + mass ln(m/m0) + density ln(ρ/ρ0) + wind ln(1 - w/V) + slope and pack

V is the airspeed at lift-off, which goes with the root of mass over density. Where the aircraft's
file has thrust and polar, the closed form of the roll gives the level, and its slopes at the
reference give the effects. Otherwise the effects are those of light aircraft with a fixed-pitch
propeller (Herrington, Flight Test Engineering Handbook, AFTR 6273), which the closed form of a
typical cargo aircraft agrees with, and the level has to come from flights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from flightlog.constants import ISA_RHO0_KG_M3
from flightlog.errors import NotEnoughDataError
from flightlog.estimation.ground_roll import RollModel
from flightlog.prediction.takeoffs import Setting, Takeoff, flown

LIFTOFF_OVER_STALL = 1.1
FEWEST = 3
"""Flights without which nothing is predicted, where the file has no thrust and polar."""

STRONGEST_WIND = 0.4
"""Share of the airspeed at lift-off at the reference above which a wind is beyond the law. [-]"""
_STRONGEST_FOR_IT = 0.8
"""The same of the airspeed at lift-off of a lighter aircraft. [-]"""

_STEP = 0.01
_CUSTOM = {"mass": 2.35, "density": -2.35, "wind": 1.85, "slope": 3.07, "speed": 2.45}
_STDS = {"mass": 0.3, "density": 0.4, "wind": 0.25}
_FROM_STAND, _FROM_FILE, _FROM_FLIGHTS = 0.15, 0.30, 0.60
_AIRSPEED_STD = 0.07


@dataclass(frozen=True, slots=True)
class RollPrior:
    """What is believed before any flight.

    Attributes
    ----------
    mass_kg, density_kg_m3 : float
        The reference, at which the level is told.
    airspeed_m_s, airspeed_std : float
        At lift-off at the reference [m/s], and its standard uncertainty as a share [-].
    level, level_std : float
        Logarithm of the roll in metres at the reference, no wind, on the flat.
    mass, density, wind : tuple of float
        Exponents, each with its standard deviation. [-]
    slope : float
        Change of ln S per unit of slope. [-]
    speed : float
        Change of ln S per change of the logarithm of the airspeed at lift-off. [-]
    source : str
        Where the level comes from, in words.
    """

    mass_kg: float
    density_kg_m3: float
    airspeed_m_s: float
    airspeed_std: float
    level: float
    level_std: float
    mass: tuple[float, float]
    density: tuple[float, float]
    wind: tuple[float, float]
    slope: float
    speed: float
    source: str

    def airspeed_at(self, mass_kg: float, density_kg_m3: float) -> float:
        """Give the airspeed at lift-off. [m/s]"""
        ratio = mass_kg / self.mass_kg * self.density_kg_m3 / density_kg_m3
        return self.airspeed_m_s * math.sqrt(ratio)

    def holds_for(self, at: Takeoff | Setting) -> bool:
        """Whether the wind is not beyond the law."""
        own = _STRONGEST_FOR_IT * self.airspeed_at(at.mass_kg, at.density_kg_m3)
        return abs(at.headwind_m_s) <= min(STRONGEST_WIND * self.airspeed_m_s, own)


def prior_from_model(model: RollModel, *, thrust_measured: bool = False) -> RollPrior:
    """Give the prior that the closed form says.

    Parameters
    ----------
    model : RollModel
        At the reference mass and density, on the flat.
    thrust_measured : bool
        Whether its thrust comes from a stand.

    Raises
    ------
    NotEnoughDataError
        If the closed form can't reach the lift-off speed.
    """
    level = math.log(model.distance_m())

    def effect(changed: RollModel, by: float) -> float:
        return (math.log(changed.distance_m()) - level) / by

    airspeed, small = model.liftoff_airspeed_m_s, math.log1p(_STEP)
    wind = _STEP * airspeed
    ratio = math.log(model.distance_m(wind)) - level
    return RollPrior(
        model.mass_kg,
        model.density_kg_m3,
        airspeed,
        _AIRSPEED_STD,
        level,
        _FROM_STAND if thrust_measured else _FROM_FILE,
        (effect(replace(model, mass_kg=model.mass_kg * (1 + _STEP)), small), _STDS["mass"]),
        (
            effect(replace(model, density_kg_m3=model.density_kg_m3 * (1 + _STEP)), small),
            _STDS["density"],
        ),
        (ratio / math.log1p(-wind / airspeed), _STDS["wind"]),
        effect(replace(model, slope=model.slope + _STEP), _STEP),
        effect(replace(model, cl_liftoff=model.cl_liftoff / (1 + _STEP) ** 2), small),
        "the closed form of the roll with the thrust of the "
        + ("stand" if thrust_measured else "aircraft's file"),
    )


def prior_from_flights(
    takeoffs: Sequence[Takeoff], mass_kg: float, stall_speed_m_s: float | None
) -> RollPrior:
    """Give a prior whose level comes from the flights themselves, as their mean, held loosely.

    Parameters
    ----------
    takeoffs : sequence of Takeoff
        At least `FEWEST` that lifted off.
    mass_kg : float
        Reference mass.
    stall_speed_m_s : float or None
        At reference mass in standard air; else the airspeed at lift-off comes from the flights.

    Raises
    ------
    NotEnoughDataError
        If they are fewer, or nothing says how fast the aircraft lifts off.
    """
    rolled = flown(takeoffs)
    if len(rolled) < FEWEST:
        raise NotEnoughDataError(
            f"{len(rolled)} flights with a ground roll; without thrust and polar of the aircraft "
            f"it takes {FEWEST}",
            fix="Write [thrust] and [polar] into the aircraft's file, or fly lightly loaded first.",
        )
    if stall_speed_m_s is not None:
        airspeed = LIFTOFF_OVER_STALL * stall_speed_m_s
    else:
        seen = [
            (t.liftoff_ground_speed_m_s + t.headwind_m_s)
            * math.sqrt(mass_kg / t.mass_kg * t.density_kg_m3 / ISA_RHO0_KG_M3)
            for t in rolled
            if t.liftoff_ground_speed_m_s is not None
        ]
        if not seen:
            raise NotEnoughDataError(
                "nothing says how fast the aircraft lifts off",
                fix="Write stall_speed_m_s into [wing] of the aircraft's file.",
            )
        airspeed = fmean(seen)
    custom = _CUSTOM
    prior = RollPrior(
        mass_kg,
        ISA_RHO0_KG_M3,
        airspeed,
        _AIRSPEED_STD,
        0.0,
        _FROM_FLIGHTS,
        (custom["mass"], _STDS["mass"]),
        (custom["density"], _STDS["density"]),
        (custom["wind"], _STDS["wind"]),
        custom["slope"],
        custom["speed"],
        "the flights themselves: the aircraft's file has no thrust and polar",
    )
    levels = [math.log(t.roll_m) - expected(prior, t) for t in rolled if prior.holds_for(t)]
    if len(levels) < FEWEST:
        raise NotEnoughDataError(
            f"{len(levels)} flights in winds below {STRONGEST_WIND:g} of the lift-off airspeed; "
            f"without thrust and polar of the aircraft it takes {FEWEST}",
            fix="Write [thrust] and [polar] into the aircraft's file, or fly in less wind.",
        )
    return replace(prior, level=fmean(levels))


def expected(prior: RollPrior, at: Takeoff) -> float:
    """Give the logarithm of the roll in metres that a prior expects of a flight, pack left out."""
    ratio = at.headwind_m_s / prior.airspeed_at(at.mass_kg, at.density_kg_m3)
    return (
        prior.level
        + prior.mass[0] * math.log(at.mass_kg / prior.mass_kg)
        + prior.density[0] * math.log(at.density_kg_m3 / prior.density_kg_m3)
        + prior.wind[0] * math.log1p(-ratio)
        + prior.slope * at.slope
    )
