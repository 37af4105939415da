"""The pattern about the aircraft, against patterns that were put in."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.estimation.link_pattern import View, fit_pattern


def _flight(seed: int, n: int = 240) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Seconds, distances, azimuths that run around twice and more, and directions near level."""
    rng = np.random.default_rng(seed)
    t = np.arange(float(n))
    azimuth = 2 * np.pi * t / 61
    distance = 250 + 150 * np.sin(t / 17)
    down = 0.3 * rng.normal(size=n).clip(-1, 1)
    level = np.sqrt(1 - down**2)
    direction = np.stack([level * np.cos(azimuth), level * np.sin(azimuth), down], axis=1)
    return t, distance, azimuth, direction


def test_pattern_level_and_exponent_come_back() -> None:
    t, distance, azimuth, direction = _flight(1)
    rng = np.random.default_rng(2)
    gain = 4 * np.cos(azimuth - 1.0)
    y = -30 - 24 * np.log10(distance) + gain + rng.normal(size=t.size)
    found = fit_pattern(t, y, [View(distance, direction)])
    assert found is not None
    level = np.abs(found.elevation_deg) < 20
    truth = 4 * np.cos(np.radians(found.azimuth_deg[level]) - 1.0)
    error = found.gain_db[:, level].mean(axis=0) - (truth - np.median(truth))
    assert np.abs(error).max() < 1.5
    assert np.mean(np.abs(error) < 2 * found.gain_db[:, level].std(axis=0)) > 0.85
    assert found.exponent.mean() == pytest.approx(2.4, abs=0.2)
    at_300 = found.level_db - 10 * found.exponent * np.log10(300)
    assert at_300.mean() == pytest.approx(-30 - 24 * np.log10(300), abs=1.0)
    assert np.median(found.spread_db) == pytest.approx(1.0, abs=0.2)


def test_place_of_the_station_is_weighed_by_what_the_flight_shows() -> None:
    t, distance, _, direction = _flight(3)
    rng = np.random.default_rng(4)
    y = -30 - 24 * np.log10(distance) + 0.7 * rng.normal(size=t.size)
    wrong = View(np.abs(distance - 90.0), direction)
    alone = fit_pattern(t, y, [View(distance, direction)])
    both = fit_pattern(t, y, [wrong, View(distance, direction)])
    assert alone is not None
    assert both is not None
    # The wrong place explains the power worse, and so takes hardly any part.
    assert both.exponent.mean() == pytest.approx(alone.exponent.mean(), abs=0.05)


def test_too_little_gives_nothing() -> None:
    t, distance, _, direction = _flight(5)
    assert fit_pattern(t[:20], t[:20], [View(distance[:20], direction[:20])]) is None
    assert fit_pattern(t, np.full(t.size, -60.0), [View(np.full(t.size, 100.0), direction)]) is None
