"""Discharges of a pack of published cells, with known truth.

The cell is that of Chen and Rincon-Mora (IEEE Transactions on Energy Conversion 21(2), 2006): open
circuit, an ohmic part and two slow parts that all go with the state of charge. It is scaled to a
pack of six cells of 5 Ah; many discharges are stepped side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import BenchTable

Array = NDArray[np.float64]

CELLS, CAPACITY_C, OHM = 6, 5.0 * 3600, 0.020
CUTOFF_CELL_V = 3.30
FULL_CELL_V = 4.10290
"""Of the published curve; packs of models reach 4.2 V. [V]"""
STEP_S = 0.1
REST_S = 20.0
_CLAMP = 0.012


def rest_voltage(state: Array) -> Array:
    """Open circuit of one cell. [V]"""
    s = np.maximum(state, 0.0)
    return np.asarray(-1.031 * np.exp(-35 * s) + 3.685 + 0.2156 * s - 0.1178 * s**2 + 0.3201 * s**3)


def parts(state: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Ohmic part, two slow parts [ohm] and their capacities [F], of the published cell.

    Both capacities turn negative below 1.1 % of charge; the state is held there.
    """
    s = np.maximum(state, _CLAMP)
    return (
        0.1562 * np.exp(-24.37 * s) + 0.07446,
        0.3208 * np.exp(-29.14 * s) + 0.04669,
        6.603 * np.exp(-155.2 * s) + 0.04984,
        -752.9 * np.exp(-13.51 * s) + 703.6,
        -6056 * np.exp(-27.12 * s) + 4475,
    )


def first_second_ohm(state: float, ohm: float = OHM) -> float:
    """Mean of the pack's response over the first second after a step, by numbers. [ohm]"""
    r0, r1, r2, c1, c2 = (float(p) for p in parts(np.array(state)))
    t = (np.arange(4000) + 0.5) / 4000
    one = r0 + r1 * (1 - np.exp(-t / (r1 * c1))) + r2 * (1 - np.exp(-t / (r2 * c2)))
    return float(np.mean(one)) * ohm / 0.07446


@dataclass(frozen=True)
class Truth:
    """One discharge without errors, at steps of `STEP_S`, and what it gave to the cut-off."""

    time_s: Array
    amps: Array
    volts: Array
    charge_c: float
    energy_j: float
    cut_s: float
    state: Array


def discharges(
    amps: Sequence[float],
    *,
    pulse: float = 1.5,
    pulse_s: float = 15.0,
    every_s: Sequence[float] | float = 200.0,
    beyond_v: float = 0.0,
    ohm: float = OHM,
    capacity_c: float = CAPACITY_C,
) -> list[Truth]:
    """Discharge full packs at constant currents with pulses, until the cut-off.

    Parameters
    ----------
    amps : sequence of float
        Of each discharge. [A]
    pulse, pulse_s, every_s : float
        Factor, length and spacing of pulses. [-], [s], [s]
    beyond_v : float
        How far the pack is drawn below the cut-off. [V]
    ohm, capacity_c : float
        Ohmic part of the pack at half charge [ohm], and what it holds. [C]
    """
    level = np.asarray(amps, dtype=float)
    n, every = level.size, np.broadcast_to(np.asarray(every_s, dtype=float), level.shape)
    scale = ohm / CELLS / 0.07446
    state, slow_1, slow_2 = np.ones(n), np.zeros(n), np.zeros(n)
    cutoff = CELLS * CUTOFF_CELL_V
    on = np.ones(n, dtype=bool)
    off_at = np.full(n, np.inf)
    logged: list[tuple[Array, Array, Array]] = []
    t = 0.0
    while t < REST_S + 1.3 * capacity_c / level.min() and t < float(off_at.max()) + 60.0:
        since = t - REST_S
        high = np.mod(since, every) >= every - pulse_s
        now = np.where((since >= 0) & on, np.where(high, pulse * level, level), 0.0)
        r0, r1, r2, c1, c2 = parts(state)
        volts = CELLS * (rest_voltage(state) - scale * (now * r0 + slow_1 + slow_2))
        logged.append((now, volts, state.copy()))
        stop = on & (now > 0) & (volts <= cutoff - beyond_v)
        off_at[stop] = t
        on &= ~stop
        slow_1 += (now * r1 - slow_1) * -np.expm1(-STEP_S / (r1 * c1))
        slow_2 += (now * r2 - slow_2) * -np.expm1(-STEP_S / (r2 * c2))
        state = state - now * STEP_S / capacity_c
        t += STEP_S
    columns = [np.array(column) for column in zip(*logged, strict=True)]
    times = np.arange(len(logged)) * STEP_S
    return [_truth(times, *(c[:, k] for c in columns), cutoff) for k in range(n)]


def _truth(times: Array, amps: Array, volts: Array, state: Array, cutoff: float) -> Truth:
    """Cut at the first time from which on the load holds the voltage down for two seconds."""
    loaded = amps > 0
    above = np.append(0, np.cumsum(loaded & (volts > cutoff)))
    ahead = np.minimum(np.arange(times.size) + round(2.0 / STEP_S), times.size)
    held = loaded & (above[ahead] == above[:-1])
    cut = int(np.argmax(held)) if held.any() else times.size
    charge = float(np.sum(amps[:cut])) * STEP_S
    energy = float(amps[:cut] @ volts[:cut]) * STEP_S
    cut_s = float(times[cut]) if cut < times.size else np.nan
    return Truth(times, amps, volts, charge, energy, cut_s, state)


@dataclass(frozen=True)
class Logger:
    """A bench logger: rate [Hz], scales [-], zero [A], noise and steps of its readings."""

    rate: float
    current_scale: float = 0.0
    voltage_scale: float = 0.0
    zero_a: float = 0.0
    noise_a: float = 0.0
    noise_v: float = 0.0
    grain_a: float = 0.0
    grain_v: float = 0.0

    def read(self, truth: Truth, rng: np.random.Generator) -> BenchTable:
        """Read a discharge; the load switches between two rows."""
        start = float(rng.uniform(0, 1 / self.rate))
        end = min(truth.time_s[-1], np.nan_to_num(truth.cut_s, nan=truth.time_s[-1]) + 120.0)
        when = np.arange(start, end, 1 / self.rate)
        at = np.minimum((when / STEP_S).astype(int), truth.time_s.size - 1)
        amps = truth.amps[at] * (1 + self.current_scale) + self.zero_a
        amps = _rounded(amps + rng.normal(0, self.noise_a, when.size), self.grain_a)
        volts = truth.volts[at] * (1 + self.voltage_scale)
        volts = _rounded(volts + rng.normal(0, self.noise_v, when.size), self.grain_v)
        return table(time=when, voltage=volts, current=amps)


def draw_logger(
    rng: np.random.Generator, rate: float, current_std: float = 0.01, voltage_std: float = 0.002
) -> Logger:
    """Errors as bench loggers have them, whose scales are stated by the two standard deviations."""
    return Logger(
        rate,
        float(rng.normal(0, current_std)),
        float(rng.normal(0, voltage_std)),
        float(rng.normal(0, 0.1)),
        float(rng.uniform(0.005, 0.15)),
        float(rng.uniform(0.002, 0.015)),
        float(rng.choice([0.001, 0.01, 0.1])),
        float(rng.choice([0.001, 0.01])),
    )


def _rounded(values: Array, grain: float) -> Array:
    return np.round(values / grain) * grain if grain else values


def table(name: str = "made.csv", **columns: Array) -> BenchTable:
    """A table as it would be read from a file."""
    every = {n: np.asarray(c, dtype=float) for n, c in columns.items()}
    size = len(next(iter(every.values())))
    return BenchTable(name, every, {}, np.arange(2, size + 2))
