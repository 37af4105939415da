"""Battery packs in closed form, whose resistance at any time scale is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_S = 0.02
CELLS = 6


@dataclass(frozen=True)
class Pack:
    """An ohmic part, and slow parts as shares of it with their time constants."""

    ohm: float
    shares: tuple[float, ...]
    time_constants_s: tuple[float, ...]
    capacity_c: float = 14400.0
    state: float = 0.97
    steep: bool = False

    def response(self, time_s: Array) -> Array:
        """Voltage lost so long after a step of 1 A, without what the charge takes. [V]"""
        slow = [
            share * (1 - np.exp(-time_s / tau))
            for share, tau in zip(self.shares, self.time_constants_s, strict=True)
        ]
        return np.asarray(self.ohm * (1 + np.sum(slow, axis=0)))

    @property
    def first_second_ohm(self) -> float:
        """Mean of the response over the first second, by numbers. [ohm]"""
        return float(np.mean(self.response((np.arange(2000) + 0.5) / 2000)))

    def voltage(self, current_a: Array) -> Array:
        """Voltage under a current, straight between steps of `STEP_S`: exact. [V]"""
        lost = self.ohm * current_a
        for share, tau in zip(self.shares, self.time_constants_s, strict=True):
            state, keep = current_a[0], np.exp(-STEP_S / tau)
            part = np.empty(current_a.size)
            for k, amps in enumerate(current_a.tolist()):
                state = keep * state + (1 - keep) * amps
                part[k] = state
            lost = lost + self.ohm * share * part
        charge = np.concatenate([[0.0], np.cumsum(current_a[:-1])]) * STEP_S
        return np.asarray(self.rest_voltage(self.state - charge / self.capacity_c) - lost)

    def rest_voltage(self, state: Array) -> Array:
        """Of two kinds of cell: one as published, one that is steeper when full. [V]"""
        s = np.clip(state, 0, 1)
        cell = -1.031 * np.exp(-35 * s) + 3.685 + s * (0.2156 + s * (-0.1178 + s * 0.3201))
        if self.steep:
            cell = cell + 0.10 * np.exp(-(1 - s) / 0.08) - 0.02 * np.sin(2 * np.pi * s)
        return np.asarray(CELLS * cell)


def draw_pack(rng: np.random.Generator) -> Pack:
    """A pack whose shares and time constants may be anything between wide limits."""
    fast, slow = np.exp(rng.uniform(np.log([1.0, 60.0]), np.log([30.0, 300.0])))
    return Pack(
        ohm=float(rng.uniform(0.012, 0.05)),
        shares=tuple(rng.uniform(0.2, 1.0, 2).tolist()),
        time_constants_s=(float(fast), float(slow)),
        capacity_c=float(rng.uniform(3.0, 6.0)) * 3600,
        state=float(rng.uniform(0.93, 1.0)),
        steep=bool(rng.random() < 0.5),
    )


def flight_current(rng: np.random.Generator, length_s: float = 300.0) -> tuple[Array, Array]:
    """Current of a flight, rest before and after it, at steps of `STEP_S`. [s], [A]"""
    t = np.arange(0.0, length_s, STEP_S)
    climb, end = rng.uniform(15, 35), length_s - rng.uniform(12, 20)
    peak, cruise = rng.uniform(30, 48), rng.uniform(7, 13)
    noise = np.zeros(t.size)
    keep = np.exp(-STEP_S / 2.0)
    drive = rng.standard_normal(t.size) * np.sqrt(1 - keep**2)
    state = 0.0
    for k in range(t.size):
        state = keep * state + drive[k]
        noise[k] = state
    laps = np.sin(2 * np.pi * t / rng.uniform(20, 40))
    level = cruise + rng.uniform(0.5, 2.0) * laps + rng.uniform(0.3, 1.2) * noise
    ramp = np.clip((t - 18.0) / 0.8, 0, 1)
    top = peak * (1 - 0.08 * np.clip((t - 18.0) / climb, 0, 1)) * ramp
    amps = np.where(t < 18.0 + climb, top, level)
    fade = np.clip((t - 18.0 - climb) / 2.0, 0, 1)
    amps = np.where(t >= 18.0 + climb, top * (1 - fade) + level * fade, amps)
    amps = np.where(t > end - 20, 0.35 * level, amps)
    amps = np.where((t < 18.0) | (t > end), 0.0, amps)
    return t, np.maximum(amps, 0.0) + 0.45


@dataclass(frozen=True)
class Meter:
    """A power module: rate [Hz], noise and step of the current [A], delay [s], scales [-]."""

    rate: float
    noise_a: float = 0.1
    step_a: float = 0.05
    delay_s: float = 0.0
    current_scale: float = 0.0
    voltage_scale: float = 0.0
    zero_a: float = 0.0

    def read(
        self, time_s: Array, current_a: Array, voltage_v: Array, rng: np.random.Generator
    ) -> tuple[Array, Array, Array]:
        """Times [s], current [A], voltage [V] as logged."""
        when = np.arange(0.05, time_s[-1] - 0.5, 1 / self.rate)
        amps = np.interp(when, time_s, current_a) * (1 + self.current_scale) + self.zero_a
        amps = amps + rng.normal(0, self.noise_a, when.size)
        volts = np.interp(when + self.delay_s, time_s, voltage_v) * (1 + self.voltage_scale)
        volts = np.round(volts + rng.normal(0, 0.01, when.size), 2)
        return when, np.round(amps / self.step_a) * self.step_a, volts


def draw_meter(rng: np.random.Generator, rate: float) -> Meter:
    """Errors as power modules have them; scales as far off as the figures allow for."""
    return Meter(
        rate,
        noise_a=float(rng.uniform(0.02, 0.2)),
        step_a=float(rng.choice([0.01, 0.05, 0.1])),
        delay_s=float(rng.normal(0, 0.05)),
        current_scale=float(rng.normal(0, 0.025)),
        voltage_scale=float(rng.normal(0, 0.005)),
        zero_a=float(rng.normal(0, 0.15)),
    )
