"""A made-up linkage with a gap, friction, a bent line and a gauge with errors of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import BenchTable

Array = NDArray[np.float64]
UP = np.arange(1100.0, 1901.0, 100.0)


@dataclass(frozen=True)
class Linkage:
    """What it is in truth.

    ``bend`` is a share of the deflection at the ends, ``servo_deg`` how much more the surface lags
    than the gap, ``give_deg_n`` what a push bends, ``gauge_deg`` the standard uncertainty of the
    gauge at the ends of the travel.
    """

    gain: float = -0.0645
    neutral: float = 1512.0
    gap_deg: float = 0.8
    servo_deg: float = 0.1
    bend: float = 0.03
    give_deg_n: float = 0.05
    noise_deg: float = 0.06
    step_deg: float = 0.1
    gauge_deg: float = 0.2
    skew_deg: float = 0.0

    def middle(self, pulse: Array) -> Array:
        """Where the surface is in the middle of its gap. [deg]"""
        x = (pulse - self.neutral) / 400
        return self.gain * 400 * (x - self.bend * x**3) + self.skew_deg * x**2

    @property
    def lag(self) -> float:
        """Hysteresis in truth. [deg]"""
        return self.gap_deg + self.servo_deg

    @property
    def slope(self) -> float:
        """Gain in truth: least squares through exact deflections at the pulses. [deg/us]"""
        return float(np.polyfit(UP, self.middle(UP), 1)[0])


def sequence(passes: int = 2) -> Array:
    """Pulses from 1000 us up and down, so many times; the first is not of `UP`."""
    return np.concatenate([[1100.0], *[np.concatenate([UP[1:], UP[-2::-1]])] * passes])


def read(
    linkage: Linkage,
    rng: np.random.Generator,
    *,
    passes: int = 2,
    pushes: tuple[float, ...] = (),
    scale_only: bool = False,
) -> BenchTable:
    """Read angles while pulses go up and down, and push at three of them afterwards."""
    told: list[float] = []
    true: list[float] = []
    force: list[float] = []
    at, width = float(linkage.middle(UP[:1])[0]), linkage.lag
    for pulse in sequence(passes):
        middle = float(linkage.middle(np.array([pulse]))[0])
        at = min(max(at, middle - width / 2), middle + width / 2)
        told.append(pulse)
        true.append(at)
        force.append(0.0)
    for pulse in (1200.0, 1500.0, 1800.0) if pushes else ():
        middle = float(linkage.middle(np.array([pulse]))[0])
        for push in pushes:
            for sign in (1, -1):
                told.append(pulse)
                true.append(middle + sign * (linkage.gap_deg / 2 + linkage.give_deg_n * push))
                force.append(sign * push)
    exact = np.array(true)
    far = float(np.abs(exact).max())
    one, two = rng.normal(size=2)
    error = two * exact / far if scale_only else (one + two * exact / far) / np.sqrt(2)
    shown = exact + linkage.gauge_deg * error + rng.normal(0, linkage.noise_deg, exact.size)
    if linkage.step_deg > 0:
        shown = np.round(shown / linkage.step_deg) * linkage.step_deg
    columns = {"pulse": np.array(told), "angle": np.radians(shown)}
    if pushes:
        columns["force"] = np.array(force)
    return BenchTable("linkage.csv", columns)


def truths(linkage: Linkage) -> dict[str, float]:
    """Part of a figure's id -> what it is in truth."""
    ends = linkage.middle(UP)
    return {
        "gain": linkage.slope,
        "hysteresis": linkage.lag,
        "play": linkage.gap_deg,
        "travel_up": float(-ends.min()),
        "travel_down": float(ends.max()),
        "neutral": linkage.neutral,
    }
