"""A thrust stand that was made up, whose truth is known.

A propeller with CT and CP that do not change, a motor and controller of known efficiency, a pack
that sags, load cells whose zero drifts, sensors that are wrong by what they are said to be wrong
by, and a motor and cells that need time to settle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.thrust import Setup

DENSITY = 1.19
DIAMETER_M = 0.4064
TOP_PULSE_US = 1900.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What the made-up propeller and drive are; see `made_stand`."""

    ct: float = 0.0753
    cp: float = 0.0293
    efficiency: float = 0.72
    rate_hz: float = 40.0
    hold_s: float = 5.0
    sweeps: int = 6
    levels: int = 7
    zero_n: float = -0.05
    drift_n: float = 0.15
    sag: float = 0.03
    noise: float = 1.0
    wrong: float = 1.0
    pulse: bool = True

    @property
    def figure_of_merit(self) -> float:
        """Of its definition: sqrt(2/pi) CT^1.5/CP."""
        return float(math.sqrt(2 / math.pi) * self.ct**1.5 / self.cp)


SETUP = Setup(
    diameter_m=DIAMETER_M,
    diameter_std_m=0.0005,
    density_kg_m3=DENSITY,
    density_std_kg_m3=0.006,
    temperature_c=20.0,
    thrust_std_pct=0.5,
    thrust_std_n=0.03,
    torque_std_pct=1.0,
    torque_std_nm=0.001,
    speed_std_rpm=10.0,
    voltage_std_pct=0.3,
    current_std_pct=0.7,
    full_scale_n=50.0,
)


def _coloured(rng: np.random.Generator, n: int, std: float, keeps: float) -> np.ndarray:
    """Noise of which each value keeps a part of the one before."""
    from scipy.signal import lfilter

    white = rng.normal(0, std * math.sqrt(1 - keeps**2), n)
    return np.asarray(lfilter([1.0], [1.0, -keeps], white))


def made_stand(seed: int, truth: Truth | None = None) -> tuple[BenchTable, Setup, float]:
    """Make one file.

    Parameters
    ----------
    seed : int
        Of its random numbers.
    truth : Truth
        What is made.

    Returns
    -------
    tuple
        The table; what the bench file would say of it (air and diameter are not what they truly
        are, by as much as stated); and the true mean thrust of the highest steps. [N]
    """
    truth = truth or Truth()
    rng = np.random.default_rng(seed)
    rows = round(truth.hold_s * truth.rate_hz)
    up = np.linspace(1200.0, TOP_PULSE_US, truth.levels)
    pulses = [1000.0]
    for sweep in range(truth.sweeps):
        pulses += list(up if sweep % 2 == 0 else up[::-1])
    pulse = np.repeat([*pulses, 1000.0], rows)
    n = len(pulse)
    time = np.arange(n) / truth.rate_hz
    along = np.arange(n) / n
    ideal = np.where(pulse > 1100, 20 + 105 * (pulse - 1100) / 800, 0.0)
    ideal = ideal * (1 - truth.sag * along)
    turns = _lagged(ideal, truth.rate_hz, 0.15)
    thrust = truth.ct * DENSITY * turns**2 * DIAMETER_M**4
    torque = truth.cp / (2 * math.pi) * DENSITY * turns**2 * DIAMETER_M**5
    shaft = 2 * math.pi * turns * torque
    volts = 25.0 * (1 - truth.sag * along)
    amps = shaft / truth.efficiency / volts
    scale = 1 + 0.005 * rng.normal() * truth.wrong, 1 + 0.01 * rng.normal() * truth.wrong
    on = turns > 2
    zero = truth.zero_n + truth.drift_n * along
    z = truth.noise
    columns = {
        "time": time,
        "thrust": thrust * scale[0]
        + on * 0.03 * rng.normal() * truth.wrong
        + zero
        + z * _coloured(rng, n, 0.15, 0.8),
        "torque": -(torque * scale[1] + on * 0.001 * rng.normal() * truth.wrong)
        + 0.002
        + z * _coloured(rng, n, 0.004, 0.8),
        "voltage": volts * (1 + 0.003 * rng.normal() * truth.wrong) + z * rng.normal(0, 0.02, n),
        "current": amps * (1 + 0.007 * rng.normal() * truth.wrong) + z * rng.normal(0, 0.1, n),
        "speed": 2
        * math.pi
        * (turns + on * (10 / 60 * rng.normal() * truth.wrong + z * rng.normal(0, 0.3, n))),
    }
    if truth.pulse:
        columns["pulse"] = pulse
    top = (pulse == TOP_PULSE_US) & (np.arange(n) % rows >= rows // 2)
    setup = replace(
        SETUP,
        density_kg_m3=DENSITY + 0.006 * rng.normal() * truth.wrong,
        diameter_m=DIAMETER_M + 0.0005 * rng.normal() * truth.wrong,
    )
    table = BenchTable(f"made-{seed}.csv", columns, {}, np.arange(2, n + 2))
    return table, setup, float(np.mean(thrust[top]))


def _lagged(ideal: np.ndarray, rate_hz: float, time_s: float) -> np.ndarray:
    """Let a motor follow its throttle with a time constant."""
    from scipy.signal import lfilter

    keeps = math.exp(-1 / (rate_hz * time_s))
    return np.asarray(lfilter([1 - keeps], [1.0, -keeps], ideal))
