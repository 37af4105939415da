"""Vertical signals of take-offs with known instants, for tests of the lift-off posterior.

The true motion is put together from an upward acceleration and integrated at 1 kHz; the
sensors are noise, bias and lag on it. Nothing is shared with the estimator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flightlog.estimation.liftoff import LiftoffPosterior, locate_liftoff
from flightlog.estimation.liftoff_evidence import Series, VerticalEvidence

STEP = 0.001
ROLL_START_S = 20.0


@dataclass(frozen=True)
class Hop:
    """A skip before the climb: how long in the air, and how long on the ground after it. [s]"""

    airborne_s: float = 0.6
    ground_s: float = 0.15


@dataclass(frozen=True)
class Made:
    """Evidence and truth."""

    evidence: VerticalEvidence
    first_clear_s: float
    last_contact_s: float
    two_metres_s: float
    roll_start_s: float = ROLL_START_S

    def locate(self) -> LiftoffPosterior:
        return locate_liftoff(self.evidence, self.roll_start_s, self.two_metres_s)


def made(
    seed: int,
    *,
    roll_s: float = 4.6,
    hop: Hop | None = None,
    inertial: bool = True,
    shake: float = 0.3,
    bumps: float = 0.25,
    bias: float = 0.0,
    push: float = 0.9,
    imu_hz: float = 100.0,
    baro_noise: float = 0.15,
    static: float = -0.02,
    shift_s: float = 0.0,
) -> Made:
    """Make one take-off.

    Parameters
    ----------
    seed : int
        Of the noise.
    roll_s : float
        From the start of roll to the first clear moment. [s]
    hop : Hop, optional
        A skip between the first clear moment and the climb.
    shake, bumps : float
        Noise of one sample of the upward acceleration, in the air, and what the ground adds. [m/s²]
    bias : float
        Of the accelerometer. [m/s²]
    push : float
        Upward acceleration that the climb begins with. [m/s²]
    static : float
        Error of the barometer as a share of the velocity head. [-]
    shift_s : float
        Clock ahead of the truth; all times of the result are on this clock. [s]
    """
    rng = np.random.default_rng(seed)
    time = np.arange(ROLL_START_S - 12, ROLL_START_S + roll_s + 12, STEP)
    first = ROLL_START_S + roll_s
    last = first + (hop.airborne_s + hop.ground_s if hop else 0.0)
    up = _climb(time, last, push)
    if hop is not None:
        up = up + _hop(time, first, hop)
    rate = np.cumsum(up) * STEP
    height = np.cumsum(rate) * STEP
    aloft = (time >= last) | ((time >= first) & (time < first + (hop.airborne_s if hop else 0.0)))
    two = float(time[np.argmax((height > 2.0) & (time > last))])
    speed = np.clip(3.1 * (time - ROLL_START_S), 0, 16.0)

    def at(values: np.ndarray, when: np.ndarray) -> np.ndarray:
        return np.interp(when, time, values)

    accel = None
    if inertial:
        # Not on whole hundredths: a sample on the edge of a block would fall either way.
        t = np.arange(time[0] + 0.0037, time[-1], 1 / imu_hz)
        rolling = (at(speed, t) > 0.5) & (at(aloft.astype(float), t) < 0.5)
        noise = np.where(at(speed, t) > 0.5, np.hypot(shake, np.where(rolling, bumps, 0)), 0.05)
        accel = Series(t, at(up, t) + bias + noise * rng.normal(size=t.size), np.ones_like(t))
    t = np.arange(time[0] + 0.0037, time[-1], 0.05)
    head = at(speed, t) ** 2 / (2 * 9.80665)
    shown = at(height, t - 0.05) + static * head + baro_noise * rng.normal(size=t.size)
    baro = Series(t, shown, np.full(t.size, 0.25))
    t = np.arange(time[0] + 0.0037, time[-1], 0.2)
    climb = Series(t, at(rate, t) + 0.12 * rng.normal(size=t.size), np.full(t.size, 0.2))
    t = np.arange(time[0], time[-1], 0.02)
    parts = (accel, baro, climb, None, Series(t, at(speed, t), np.ones_like(t)))
    late = [s and Series(s.time_s + shift_s, s.value, s.std) for s in parts]
    moments = (t + shift_s for t in (first, last, two, ROLL_START_S))
    return Made(VerticalEvidence(*late), *moments)


def _climb(time: np.ndarray, start: float, push: float) -> np.ndarray:
    """Rises within 0.15 s, dies down after a second, a slow swing about zero afterwards."""
    x = np.clip(time - start, 0, None)
    return push * (1 - np.exp(-x / 0.05)) * np.exp(-((x / 1.9) ** 2))


def _hop(time: np.ndarray, start: float, hop: Hop) -> np.ndarray:
    """Nose up and down again: it rises, falls back to height zero, and the gear stops it.

    With +a for t1 and -a for t2 the height returns to zero when t2 = (1 + sqrt 2) t1.
    """
    a, gear_s = 1.3, 0.08
    rising = hop.airborne_s / (2 + np.sqrt(2))
    x = time - start
    landed = x - hop.airborne_s
    out = np.where((x >= 0) & (x < rising), a, 0.0)
    out = out - np.where((x >= rising) & (landed < 0), a, 0.0)
    sinking = np.sqrt(2) * a * rising
    out = out + np.where((landed >= 0) & (landed < gear_s), sinking / gear_s, 0.0)
    # Legs and tyres ring at 7 Hz and are quiet after some 0.2 s.
    rings = (landed >= gear_s) & (landed < hop.ground_s)
    after = np.clip(landed - gear_s, 0, None)
    return out + np.where(rings, 1.5 * np.exp(-after / 0.1) * np.sin(2 * np.pi * 7 * after), 0.0)
