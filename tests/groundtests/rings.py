"""Ring-downs of known truth, for tests and for the reach script."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Truth:
    """One oscillation: undamped natural frequency, damping ratio, amplitude at release, phase."""

    frequency_hz: float
    damping: float
    amplitude: float = 1.0
    phase: float = 0.0

    def at(self, t: Array) -> Array:
        omega = 2 * math.pi * self.frequency_hz
        damped = omega * math.sqrt(1 - self.damping**2)
        return self.amplitude * np.exp(-self.damping * omega * t) * np.cos(damped * t + self.phase)


@dataclass(frozen=True)
class Case:
    """What varies by seed, and what does not."""

    name: str
    modes: Sequence[tuple[float, float]]
    duration_s: float = 4.0
    rate_hz: float = 200.0
    snr_db: float = 20.0
    hum_hz: float = 50.0


TWO_CLOSE = Case("two close modes", [(6.5, 0.018), (7.3, 0.018)])
CASES = (
    TWO_CLOSE,
    Case("one mode", [(6.5, 0.018)]),
    Case("one mode, 1.3 s", [(6.5, 0.018)], duration_s=1.3),
    Case("three modes", [(6.5, 0.018), (7.3, 0.018), (14.0, 0.02)]),
    Case("two close modes, 100 Hz", TWO_CLOSE.modes, rate_hz=100.0),
    Case("two close modes, 1000 Hz", TWO_CLOSE.modes, rate_hz=1000.0),
    Case("two close modes, 10 dB", TWO_CLOSE.modes, snr_db=10.0),
    Case("two close modes, 30 dB", TWO_CLOSE.modes, snr_db=30.0),
    Case("two close modes, 60 Hz", TWO_CLOSE.modes, hum_hz=60.0),
)


def drawn(case: Case, seed: int) -> tuple[Array, Array, list[Truth]]:
    """Draw one record: times, signal, truth.

    The strongest mode has amplitude 1, and noise of 1/10 at 20 dB; the others 0.4 to 1, in any
    order; phases are any; hum is 0 to 1 with 0 to 0.3 of its third harmonic, 0.05 Hz off at most.
    """
    rng = np.random.default_rng([seed, 17])
    t = np.arange(round(case.duration_s * case.rate_hz)) / case.rate_hz
    sizes = np.concatenate([[1.0], rng.uniform(0.4, 1.0, len(case.modes) - 1)])
    rng.shuffle(sizes)
    truth = [
        Truth(f, z, float(a), float(rng.uniform(0, 2 * math.pi)))
        for (f, z), a in zip(case.modes, sizes, strict=True)
    ]
    hum = case.hum_hz + rng.uniform(-0.05, 0.05)
    size, third = rng.uniform(0, 1), rng.uniform(0, 0.3)
    turns = 2 * math.pi * hum * t
    y = sum((mode.at(t) for mode in truth), np.zeros_like(t))
    y = (
        y
        + size * np.sin(turns + rng.uniform(0, 6))
        + size * third * np.sin(3 * turns + rng.uniform(0, 6))
    )
    y = y + rng.normal(0.0, 10 ** (-case.snr_db / 20), t.size) + rng.uniform(-2, 2)
    return t, y, truth


def recording(
    releases: Sequence[Sequence[Truth]],
    *,
    rate_hz: float = 200.0,
    ring_s: float = 5.0,
    rest_s: float = 2.0,
    noise: float = 0.01,
    hum: float = 0.0,
    held: float = 0.0,
    touched_s: float | None = None,
    handling: float = 0.05,
    seed: int = 0,
) -> tuple[Array, Array, list[float]]:
    """Make a file as it comes from the bench: rest, handling, release, ring, rest, and again.

    Parameters
    ----------
    releases : sequence of sequence of Truth
        What rings after each release.
    held : float
        Deflection to which it is pulled before each; 0 for an accelerometer.
    touched_s : float, optional
        So long after each release a hand stops it.
    handling : float
        Scatter in the second before each release.

    Returns
    -------
    t, y, starts : array, array, list of float
        Times, signal, and when it was let go.
    """
    rng = np.random.default_rng([seed, 5])
    one_s = rest_s + 1.0 + ring_s
    t = np.arange(round(len(releases) * one_s * rate_hz)) / rate_hz
    y, starts = np.zeros_like(t), []
    for k, modes in enumerate(releases):
        let_go = k * one_s + rest_s + 1.0
        starts.append(let_go)
        handled = (t >= let_go - 1.0) & (t < let_go)
        y[handled] += held * (t[handled] - let_go + 1.0)
        y[handled] += handling * rng.normal(size=np.count_nonzero(handled))
        rung = (t >= let_go) & (t < let_go + ring_s)
        own = sum((m.at(t[rung] - let_go) for m in modes), np.zeros(np.count_nonzero(rung)))
        if touched_s is not None:
            after = t[rung] - let_go - touched_s
            own = np.where(after > 0, own * np.exp(-np.clip(after, 0, None) * 12), own)
            own = own + np.where(after > 0, 0.2 * np.exp(-np.abs(after) * 3) * np.sin(9 * after), 0)
        y[rung] += own
    y += noise * rng.normal(size=t.size) + hum * np.sin(2 * math.pi * 50.02 * t + 1)
    return t, y, starts
