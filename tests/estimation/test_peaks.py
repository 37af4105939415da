"""Peaks that stay, among multiples that move."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.estimation.peaks import centre, excess_of, highest, slope_with_std

RATE = 200.0
FREQUENCY = np.arange(0.0, 101.0)


def spectra(peak_hz: float | None, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Chi-square noise about a red slope, the first multiple of a shaft, and a peak of 10 dB."""
    rng = np.random.default_rng(seed)
    speed = 70 + 12 * np.sin(np.arange(200) / 9)
    shape = 1 + 50 / (1 + FREQUENCY) ** 2
    power = shape * rng.chisquare(6, (200, FREQUENCY.size)) / 6
    power += 300 * np.exp(-0.5 * ((FREQUENCY - speed[:, None]) / 0.8) ** 2)
    if peak_hz is not None:
        power += 10 * np.exp(-0.5 * ((FREQUENCY - peak_hz) / 0.9) ** 2)
    return power, speed


def tops(power: np.ndarray, speed: np.ndarray) -> list[float]:
    excess = excess_of(power, FREQUENCY, RATE, speed, (1.0,), 0.005, (5.0, 92.0))
    height, std = excess.mean(np.ones(speed.size, dtype=bool))
    return [centre(excess.frequency_hz, height, k) for k in highest(height, std, 0.9, 6.0)]


@pytest.mark.parametrize("peak_hz", [31.3, 48.0, 75.6])
def test_the_peak_is_found_and_the_shaft_is_not(peak_hz: float) -> None:
    """At 75.6 Hz the shaft's own line sweeps over it."""
    assert tops(*spectra(peak_hz)) == [pytest.approx(peak_hz, abs=0.25)]


@pytest.mark.parametrize("seed", range(5))
def test_without_a_peak_none_is_found(seed: int) -> None:
    assert tops(*spectra(None, seed)) == []


def test_a_line_through_points_and_its_uncertainty() -> None:
    """Against the closed form for three points: residuals 1/6, -1/3, 1/6."""
    slope, std = slope_with_std(np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.5, 2.0]))
    assert slope == pytest.approx(1.0)
    assert std == pytest.approx(np.sqrt((1 / 36 + 1 / 9 + 1 / 36) / 2))
    assert np.isnan(slope_with_std(np.ones(4), np.arange(4.0))[0])
    assert np.isnan(slope_with_std(np.ones(2), np.arange(2.0))[0])
