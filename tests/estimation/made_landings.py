"""Landings of a mass on a spring and a damper, solved in small steps, and what sensors read."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

G = 9.80665
TOUCH_S = 100.0
STEP_S = 0.001
Array = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Made:
    """A landing: fine time, height of the wheels, climb rate, upward acceleration."""

    time_s: Array
    height_m: Array
    climb_m_s: Array
    accel_m_s2: Array

    @property
    def top_m(self) -> float:
        """How high the wheels came after the first contact."""
        return float(self.height_m[self.time_s > TOUCH_S + 0.05].max())

    @property
    def peak_load(self) -> float:
        return float(1 + self.accel_m_s2.max() / G)


@cache
def made_landing(sink_m_s: float, *, damping: float = 20.0, lift: float = 0.85) -> Made:
    """Sink steadily, touch at `TOUCH_S`, settle on a gear of 5 200 N/m under 8 kg.

    The wing carries ``lift`` of the weight at the contact and ever less within two seconds.
    """
    dt = STEP_S
    t = np.arange(TOUCH_S - 9.0, TOUCH_S + 9.0, dt)
    h, v, a = np.empty(t.size), np.empty(t.size), np.zeros(t.size)
    h0, v0 = sink_m_s * 9.0, -sink_m_s
    for k, now in enumerate(t):
        if now < TOUCH_S:
            h[k], v[k] = h0 - sink_m_s * (now - t[0]), v0
            h1, v1 = h[k], v[k]
            continue
        carried = lift * max(0.0, 1 - (now - TOUCH_S) / 2.0)
        force = max(0.0, -5200.0 / 8.0 * h1 - damping * v1) if h1 < 0 else 0.0
        a[k] = force + (carried - 1) * G
        v1 += a[k] * dt
        h1 += v1 * dt
        h[k], v[k] = h1, v1
    return Made(t, h, v, a)


def sampled(made: Made, rate_hz: float, rng: np.random.Generator, zero: float = 0.25) -> Any:
    """Times and readings of an accelerometer with a zero, vibration and noise."""
    every = round(1 / (rate_hz * STEP_S))
    start = int(rng.integers(0, every))
    t, a = made.time_s[start::every], made.accel_m_s2[start::every]
    return t, a + zero + rng.normal(0.0, 0.4, t.size)


def baro_of(made: Made, rng: np.random.Generator) -> Any:
    """A barometer with ground effect of a third of a metre and an error of its own."""
    t = np.arange(made.time_s[0], made.time_s[-1], 0.1)
    h = np.interp(t - 0.1, made.time_s, made.height_m)
    return t, h + 0.35 * np.exp(-np.maximum(h, 0) / 1.2) + 7.0 + rng.normal(0.0, 0.15, t.size)


def climb_of(made: Made, rng: np.random.Generator, latency_s: float = 0.15) -> Any:
    """A receiver's climb rate at 5 Hz, late."""
    t = np.arange(made.time_s[0] + 0.07, made.time_s[-1], 0.2)
    v = np.interp(t, made.time_s, made.climb_m_s)
    return t + latency_s, v + 0.05 + rng.normal(0.0, 0.12, t.size)
