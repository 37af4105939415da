"""Made-up seasons of take-offs, whose truth the take-off model does not contain.

Each roll is integrated step by step: thrust that ramps up and falls with speed and with the pack's
sag, drag and friction with the grass of the day, gusts inside the roll, a pilot who lifts off now
earlier, now later, on an aircraft that is not quite what its file says. The wind is measured
elsewhere. Nothing here uses the package but for the numbers that it is asked with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
STEP_S, LONGEST_S = 0.02, 20.0
RAMP_S, GUST_S = 0.5, 3.0
AREA, CL_MAX, CL_GROUND, CD_GROUND = 0.55, 1.50, 0.50, 0.055
STATIC, THRUST_B, THRUST_C = 38.0, 0.70, 0.010
OVER_STALL = 1.10
EMPTY_KG, UNIT_KG, LIMIT_M = 6.2, 0.15, 32.0
G = 9.80665


@dataclass(frozen=True)
class Kind:
    """How much varies: standard deviations, as shares where no unit is given."""

    name: str
    pilot: float = 0.025
    sag: float = 0.015
    day_friction: float = 0.15
    day_thrust: float = 0.02
    wind: float = 0.5  # m/s
    wind_day: float = 0.3  # m/s
    gusts: float = 0.15  # of the wind
    read: float = 0.03


ORDINARY = Kind("ordinary")
ROUGH = Kind("rough", pilot=0.04, wind=1.0, wind_day=0.6, gusts=0.25)
GENTLE = Kind("gentle", pilot=0.015, wind=0.3, wind_day=0.15, gusts=0.08)


@dataclass(frozen=True)
class Seasons:
    """Rolls of many seasons; arrays of shape (seasons, flights), the last columns being today."""

    kind: Kind
    day: NDArray[np.int_]
    mass: Array
    density: Array
    wind: Array
    entered_wind: Array
    gust: Array
    pilot: Array
    sag: Array
    friction: Array
    thrust: Array
    lift: Array
    noise: Array
    read: Array

    def roll(self, column: int, mass: Array) -> tuple[Array, Array]:
        """Give the true roll [m] and ground speed at lift-off [m/s] of a flight at a mass [kg]."""
        c = column
        return rolled(
            mass,
            self.density[:, c],
            self.wind[:, c],
            self.kind.gusts * np.abs(self.wind[:, c]),
            self.noise[:, c],
            self.pilot[:, c],
            self.sag[:, c],
            self.friction[:, c],
            self.thrust[:, c],
            self.lift,
        )


def rolled(
    mass: Array,
    density: Array,
    wind: Array,
    gusts: Array,
    noise: Array,
    pilot: Array,
    sag: Array,
    friction: Array,
    thrust: Array,
    lift: Array,
) -> tuple[Array, Array]:
    """Integrate rolls, one for each element; ``noise`` has the steps in its last axis."""
    weight = mass * G
    at_liftoff = OVER_STALL * pilot * np.sqrt(2 * weight / (density * AREA * CL_MAX * lift))
    speed, place = np.zeros_like(mass), np.zeros_like(mass)
    gust = gusts * noise[..., 0]
    done = np.zeros(mass.shape, dtype=bool)
    keeps = np.exp(-STEP_S / GUST_S)
    for n in range(1, int(LONGEST_S / STEP_S)):
        gust = keeps * gust + gusts * np.sqrt(1 - keeps**2) * noise[..., n % noise.shape[-1]]
        air = speed + wind + gust
        done |= air >= at_liftoff
        if done.all():
            break
        full = thrust * density / 1.225
        pull = full * (STATIC * sag**2 - THRUST_B * sag * np.maximum(air, 0) - THRUST_C * air**2)
        pull *= min(n * STEP_S / RAMP_S, 1.0)
        pressure = 0.5 * density * air * np.abs(air) * AREA
        force = (
            pull
            - pressure * CD_GROUND
            - friction * np.maximum(weight - np.maximum(pressure, 0) * CL_GROUND, 0)
        )
        more = np.where(done, 0.0, force / mass * STEP_S)
        after = np.maximum(speed + more, 0.0)
        place += np.where(done, 0.0, 0.5 * (speed + after) * STEP_S)
        speed = after
    return np.where(done, place, np.inf), speed


def seasons(
    kind: Kind, days: tuple[int, ...], count: int, seed: int, *, today: int = 1, later: float = 1.0
) -> Seasons:
    """Draw seasons.

    Parameters
    ----------
    kind : Kind
        How much varies.
    days : tuple of int
        How many flights on each day before today.
    count, seed : int
        How many seasons, and the seed.
    today : int
        How many flights today, which are the last columns.
    later : float
        Today's lift-off speed over that of the days before.
    """
    rng = np.random.default_rng(seed)
    per_day = (*days, today)
    day = np.repeat(np.arange(len(per_day)), per_day)
    flights, shape = day.size, (count, day.size)

    def by_day(draw: Array) -> Array:
        return draw[:, day]

    def normal(*size: int) -> Array:
        return rng.standard_normal(size)

    n_days = len(per_day)
    mean = by_day(rng.uniform(0.0, 3.5, (count, n_days)))
    wind = mean + 0.4 * normal(*shape)
    entered = wind + kind.wind * normal(*shape) + by_day(kind.wind_day * normal(count, n_days))
    entered = np.minimum(entered, 4.8)  # above that the model gives no number
    # The greatest of a few minutes' gusts, as a meter holds it.
    peak = rng.normal(2.5, 0.35, shape)
    gust = np.maximum(entered, 0.0) + kind.gusts * np.abs(wind) * peak
    density = by_day(1.18 + 0.02 * normal(count, n_days)) * (1 + 0.003 * normal(*shape))
    units = rng.integers(1, 11, shape)
    pilot = 1 + kind.pilot * normal(*shape)
    if today:
        pilot[:, flights - today :] *= later
    own_friction = 0.045 * np.exp(0.25 * normal(count, 1))
    return Seasons(
        kind=kind,
        day=np.broadcast_to(day, shape),
        mass=EMPTY_KG + UNIT_KG * units,
        density=density,
        wind=wind,
        entered_wind=entered,
        gust=gust,
        pilot=pilot,
        sag=1 + kind.sag * normal(*shape),
        friction=own_friction
        * np.maximum(by_day(1 + kind.day_friction * normal(count, n_days)), 0.3),
        thrust=by_day(1 + kind.day_thrust * normal(count, n_days)) * (1 + 0.04 * normal(count, 1)),
        lift=1 + 0.05 * normal(count),
        noise=normal(count, flights, 512),
        read=1 + kind.read * normal(*shape),
    )
