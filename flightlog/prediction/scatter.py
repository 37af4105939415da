"""Why two take-offs differ: the causes, how large each is held to be, and what they share.

Flights of one day share the day's grass and air, and how far the wind at the meter is from that
on the runway; a pilot who lifts off faster runs longer *and* lifts off faster, and a wind that is
weaker than entered does the same to both. So what each flight is off by is not its own alone:

    covariance of rows i, j = sum over causes of  load_i load_j std², and each row's own on top

Rows are logarithms: of the roll, and of the airspeed at lift-off (ground speed and entered wind).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flightlog.prediction.takeoff_prior import RollPrior
from flightlog.prediction.takeoffs import Setting, Takeoff

Array = NDArray[np.float64]
ROLL, SPEED = "roll", "airspeed"
PACK_EXPONENT, PACK_STD = -2.7, 0.7
"""Roll against the voltage of a fixed-pitch propeller's battery, and how unsure that is. [-]"""
SURFACE_STD = 0.12
"""By how much ln S differs between surfaces: rolling friction 0.05 or 0.10 makes 12 %. [-]"""
_LEAST_SPEED_STD = 0.005
"""No speed at one instant is known better than this. [-]"""
_SENSOR_STD = 0.03
"""Scale of an airspeed sensor, the same for all flights. [-]"""


@dataclass(frozen=True, slots=True)
class Scatter:
    """How large each cause is.

    Attributes
    ----------
    roll : float
        Of one roll, by itself: bumps, gusts, sag of the pack. [-, of ln S]
    day : float
        Shared by a day: grass, thrust. [-, of ln S]
    pilot : float
        Of one lift-off, of the logarithm of its airspeed. [-]
    wind, wind_day : float
        Of the wind on the runway against that entered, of one flight and of one day. [m/s]
    technique, later : float
        Of the logarithm of the airspeed at lift-off once the pilot's technique changes, and its
        mean: what lifts off later is what runs out of strip. [-]
    """

    roll: float
    day: float
    pilot: float = 0.0
    wind: float = 0.0
    wind_day: float = 0.0
    technique: float = 0.045
    later: float = 0.04


@dataclass(frozen=True, slots=True)
class Row:
    """One equation: what was seen, of which coefficients, and what it is off by.

    Attributes
    ----------
    what : str
        `ROLL` or `SPEED`.
    x : array, shape (5,)
        Of level, mass, density, wind, and airspeed.
    y : float
        Seen; 0 of a row that is still to come.
    loads : mapping
        Cause -> by how much one standard deviation of it moves the row.
    own : float
        Variance that nothing else shares.
    """

    what: str
    x: Array
    y: float
    loads: Mapping[str, float] = field(default_factory=dict)
    own: float = 0.0


def roll_row(
    prior: RollPrior,
    scatter: Scatter,
    at: Takeoff | Setting,
    number: str,
    here: str,
    changed: bool = False,
) -> Row:
    """Give the row of a roll.

    Parameters
    ----------
    prior : RollPrior
        Reference, and effects that are not fitted.
    scatter : Scatter
        Sizes of the causes.
    at : Takeoff or Setting
        What it was flown under.
    number : str
        Tells the flight from others.
    here : str
        Surface that the question is about.
    changed : bool
        Whether it is flown with the technique that changed.
    """
    airspeed = prior.airspeed_at(at.mass_kg, at.density_kg_m3)
    x = np.array(
        [
            1.0,
            math.log(at.mass_kg / prior.mass_kg),
            math.log(at.density_kg_m3 / prior.density_kg_m3),
            math.log1p(-at.headwind_m_s / airspeed),
            0.0,
        ]
    )
    per_wind = -prior.wind[0] / (airspeed - at.headwind_m_s)
    pack = math.log(at.pack_ratio)
    known = prior.slope * at.slope + PACK_EXPONENT * pack
    loads = {
        f"day {at.day}": scatter.day,
        f"pilot {number}": prior.speed * scatter.pilot,
        f"wind {number}": per_wind * scatter.wind,
        f"wind of {at.day}": per_wind * scatter.wind_day,
        "pack": PACK_STD * pack,
    }
    if changed:
        loads["technique"] = prior.speed * scatter.technique
        known += prior.speed * scatter.later
    if at.surface != here:
        loads[f"surface {at.surface}"] = SURFACE_STD
    if isinstance(at, Setting):
        # Carried to the other side: what is next is x β + known.
        return Row(ROLL, x, -known, loads, scatter.roll**2)
    read = at.roll_std_m / at.roll_m
    return Row(ROLL, x, math.log(at.roll_m) - known, loads, scatter.roll**2 + read**2)


def speed_rows(
    prior: RollPrior, scatter: Scatter, at: Takeoff, number: str, changed: bool = False
) -> list[Row]:
    """Give the rows of an airspeed at lift-off: by the entered wind, and by a sensor."""
    airspeed = prior.airspeed_at(at.mass_kg, at.density_kg_m3)
    x = np.array([0.0, 0.0, 0.0, 0.0, 1.0])
    loads = {f"pilot {number}": scatter.pilot}
    known = 0.0
    if changed:
        loads["technique"] = scatter.technique
        known = scatter.later
    rows = []

    def add(seen: float, std: float, more: Mapping[str, float]) -> None:
        if seen > 0:
            own = max(std / airspeed, _LEAST_SPEED_STD) ** 2
            rows.append(Row(SPEED, x, math.log(seen / airspeed) - known, {**loads, **more}, own))

    if at.liftoff_ground_speed_m_s is not None:
        # More wind than entered: the ground goes by more slowly.
        wind = {
            f"wind {number}": -scatter.wind / airspeed,
            f"wind of {at.day}": -scatter.wind_day / airspeed,
        }
        seen = at.liftoff_ground_speed_m_s + at.headwind_m_s
        add(seen, at.liftoff_ground_speed_std_m_s, wind)
    if at.liftoff_airspeed_m_s is not None:
        add(at.liftoff_airspeed_m_s, at.liftoff_airspeed_std_m_s, {"sensor": _SENSOR_STD})
    return rows


def covariance(rows: Sequence[Row]) -> Array:
    """Give the covariance of what rows are off by, shape (n, n)."""
    names = {name: n for n, name in enumerate({name for row in rows for name in row.loads})}
    loads = np.zeros((len(rows), len(names)))
    for n, row in enumerate(rows):
        for name, load in row.loads.items():
            loads[n, names[name]] = load
    return loads @ loads.T + np.diag([row.own for row in rows])
