"""Flights of laps whose energy is integrated: a truth that the energy model does not contain.

An aircraft follows a racetrack over the ground, in wind from any side with gusts in it; it banks
as the track asks, flies faster into the wind, and its battery pays for drag at the load factor of
each moment. Before the laps it rolls and climbs, after them it lands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from flightlog.prediction.lap_energy import LapFlown

G = 9.80665
AREA, CD0, K = 0.55, 0.040, 0.050
LEG_M, RADIUS_M, STEP_M = 300.0, 45.0, 2.0
METER_STD = 0.03


@dataclass(frozen=True)
class Season:
    """What stays the same over a season."""

    speed: float
    upwind: float
    with_mass: float
    efficiency: float
    gusts: float
    meter: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Season:
        return cls(
            speed=rng.uniform(15.0, 20.0),
            upwind=rng.uniform(0.0, 0.3),
            with_mass=rng.choice([0.0, 0.5]),
            efficiency=rng.uniform(0.40, 0.60),
            gusts=rng.uniform(0.08, 0.25),
            meter=1 + METER_STD * rng.standard_normal(),
        )


@dataclass(frozen=True)
class Flight:
    """One flight: what it was flown in, and what it took."""

    mass: float
    wind: float
    laps: int
    lap_wh: float
    whole_wh: float
    ground_speed: float


def lap(season: Season, rng: np.random.Generator, mass: float, wind: float, day: tuple):
    """Integrate one lap: energy [Wh] and time [s]."""
    density, share = day
    side, arc = LEG_M / STEP_M, np.pi * RADIUS_M / STEP_M
    turn = np.concatenate(
        [np.zeros(int(side)), np.ones(int(arc)), np.zeros(int(side)), np.ones(int(arc))]
    )
    course = np.cumsum(turn) * STEP_M / RADIUS_M + rng.uniform(0, 2 * np.pi)
    gusty = wind * season.gusts * _walk(rng, len(course))
    blows = wind + gusty
    against, across = blows * np.cos(course), blows * np.sin(course)
    steady = season.speed * (mass / 8.0) ** season.with_mass
    air = steady + season.upwind * np.maximum(wind * np.cos(course), 0.0) - 0.5 * gusty
    ground = np.sqrt(np.maximum(air**2 - across**2, 4.0)) - against
    bank = turn * ground**2 / (G * RADIUS_M)
    lift = mass * G * np.sqrt(1 + bank**2)
    push = 0.5 * density * air**2 * AREA
    drag = push * CD0 + K * lift**2 / push
    time = STEP_M / ground
    # A propeller that is worked harder loses a little.
    power = drag * air / (season.efficiency * share)
    power *= 1 + 0.05 * (power / power.mean() - 1)
    return float((power * time).sum()) / 3600, float(time.sum())


def _walk(rng: np.random.Generator, n: int) -> np.ndarray:
    kept = 0.93
    pushes = np.sqrt(1 - kept**2) * rng.standard_normal(n)
    pushes[0] = rng.standard_normal()
    return lfilter([1.0], [1.0, -kept], pushes)


def day_of(rng: np.random.Generator) -> tuple:
    """Density of the air and efficiency of a day."""
    return 1.225 * (1 + 0.03 * rng.standard_normal()), 1 + 0.03 * rng.standard_normal()


def fly(
    season: Season, rng: np.random.Generator, day: tuple, mass: float, wind: float, laps: int
) -> Flight:
    """Fly a flight: roll, climb, laps, landing."""
    day = day[0], day[1] * (1 + 0.025 * rng.standard_normal())
    each = [lap(season, rng, mass, wind, day) for _ in range(min(laps, 3))]
    wh, seconds = np.mean(each, axis=0)
    height, pattern = rng.normal(50, 5), rng.uniform(25, 50)
    roll = 4.0 * 900 / 3600
    beside = roll + mass * G * height / (0.45 * 3600) + wh / seconds * pattern
    length = 2 * LEG_M + 2 * np.pi * RADIUS_M
    return Flight(mass, wind, laps, wh, laps * wh + beside, length / seconds)


def seen(season: Season, rng: np.random.Generator, flight: Flight, day: str) -> LapFlown:
    """Give a flight as its debrief has it."""
    return LapFlown(
        "a flight",
        day,
        flight.lap_wh * season.meter,
        METER_STD * flight.lap_wh,
        flight.laps,
        abs(flight.wind + 0.5 * rng.standard_normal()),
        flight.mass,
        flight.ground_speed,
        flight.whole_wh * season.meter,
    )
