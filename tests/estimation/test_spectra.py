"""Folding against the worked propeller, density against a library, lines in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import welch

from flightlog.estimation import spectra
from flightlog.estimation.spectra import (
    coincident,
    cut_windows,
    folded,
    mean_with_std,
    order_power,
    power_spectra,
    sampling_rate,
    turns_of,
)

RATE = 200.0
T = np.arange(0.0, 80.0, 1 / RATE)


def test_a_propeller_of_7200_rpm_folds_as_worked_by_hand() -> None:
    first, blades = 7200 / 60, 2 * 7200 / 60
    assert folded(np.array([first, blades]), 100.0).tolist() == [20.0, 40.0]
    assert folded(np.array([first, blades]), 400.0).tolist() == [120.0, 160.0]


@given(st.floats(-1e4, 1e4), st.floats(1.0, 1e3), st.integers(-5, 5))
def test_folding_is_even_repeats_with_the_rate_and_stays_below_half_of_it(
    frequency: float, rate: float, more: int
) -> None:
    there = float(folded(frequency, rate))
    assert 0 <= there <= rate / 2
    assert float(folded(-frequency, rate)) == pytest.approx(there, abs=1e-6)
    assert float(folded(frequency + more * rate, rate)) == pytest.approx(there, abs=1e-6)


@given(st.floats(0.0, 400.0), st.floats(20.0, 300.0))
def test_a_sampled_wave_is_the_same_as_its_folded_one(frequency: float, rate: float) -> None:
    k = np.arange(64)
    there = float(folded(frequency, rate))
    wave = np.cos(2 * np.pi * frequency * k / rate)
    assert wave == pytest.approx(np.cos(2 * np.pi * there * k / rate), abs=1e-6)


@pytest.mark.parametrize("length_s", [1.0, 0.505])
def test_density_is_that_of_a_library(length_s: float) -> None:
    signal = np.random.default_rng(1).standard_normal((T.size, 3)) * (1.0, 2.0, 0.5)
    windows = cut_windows(T, signal, length_s)
    assert windows is not None
    frequency, density = welch(
        signal, RATE, nperseg=round(length_s * RATE), axis=0, detrend="constant"
    )
    assert windows.frequency_hz == pytest.approx(frequency)
    assert power_spectra(windows).mean(axis=0) == pytest.approx(density.sum(axis=1))


def shaft(tones: dict[float, float], hiss: float) -> tuple[np.ndarray, np.ndarray]:
    """A shaft whose speed waves between 72 and 88 turns a second, and what it shakes."""
    speed = 80 + 8 * np.sin(T / 3)
    turns = 80 * T + 24 * (1 - np.cos(T / 3))
    rng = np.random.default_rng(3)
    shake = hiss * rng.standard_normal((T.size, 3))
    for order, amplitude in tones.items():
        shake[:, 1] += amplitude * np.sin(2 * np.pi * (order * turns + 0.2))
    return speed, shake


@pytest.mark.parametrize("order", [1, 2, 3])
def test_a_line_has_half_the_square_of_its_amplitude_wherever_it_folds(order: int) -> None:
    """Multiples 2 and 3 lie above half the rate; the hiss is as strong as the line."""
    speed, shake = shaft({order: 2.0}, 1.0)
    windows = cut_windows(T, shake)
    assert windows is not None
    line, _ = order_power(windows, turns_of(windows, T, speed), order, 3.0)
    alone = ~coincident(np.interp(windows.middle_s, T, speed), order, (order,), RATE, 9.0)
    mean, std = mean_with_std(line[alone])
    assert alone.sum() > 50
    assert std < 0.06
    assert mean == pytest.approx(2.0, abs=3 * std + 0.02)  # a flank outside is 1 %


def test_where_nothing_turns_no_line_is_left() -> None:
    speed, shake = shaft({}, 1.0)
    windows = cut_windows(T, shake)
    assert windows is not None
    line, noise = order_power(windows, turns_of(windows, T, speed), 1, 3.0)
    mean, std = mean_with_std(line)
    assert abs(mean) < 3 * std
    # Three axes of unit variance over 100 Hz, seven bins of 1 Hz.
    assert noise.mean() == pytest.approx(3 * 7 / 100, rel=0.03)


def test_multiples_that_share_a_place_are_told() -> None:
    def shared(speed: float, order: float, *others: float) -> bool:
        return bool(coincident(np.array([speed]), order, others, RATE, 4.0)[0])

    assert shared(80.0, 1, 4)  # 80 and 320, which folds to 80
    assert shared(200 / 3, 1, 2)  # 66.7 and 133.3
    assert shared(100.0, 1)  # at half the rate it meets its own mirror image
    assert not shared(75.0, 1, 2, 3, 4)
    assert not shared(80.0, 1, 1)


def test_mean_of_a_correlated_series_is_less_sure() -> None:
    """First-order process of known correlation: the variance of its mean in closed form."""
    rng = np.random.default_rng(5)
    r, n = 0.6, 400
    means, stds = [], []
    for _ in range(200):
        x = np.zeros(n)
        white = rng.standard_normal(n) * np.sqrt(1 - r * r)
        x[0] = rng.standard_normal()
        for k in range(1, n):
            x[k] = r * x[k - 1] + white[k]
        mean, std = mean_with_std(x)
        means.append(mean)
        stds.append(std)
    expected = np.sqrt((1 + r) / (1 - r) / n)
    assert np.mean(stds) == pytest.approx(expected, rel=0.05)
    assert np.std(means) == pytest.approx(expected, rel=0.15)
    assert np.isnan(mean_with_std(np.array([1.0]))[1])


def test_windows_with_a_gap_are_left_out() -> None:
    hole = (T > 20) & (T < 25)
    windows = cut_windows(T[~hole], np.ones((int((~hole).sum()), 3)))
    assert windows is not None
    assert not ((windows.time_s[:, 0] < 20) & (windows.time_s[:, -1] > 25)).any()
    assert len(windows.values) == pytest.approx(2 * 75, abs=4)
    assert not windows.values.any()  # the mean of each is taken off


@pytest.mark.parametrize(
    "time_s",
    [
        np.zeros(0),
        np.zeros(500),
        np.array([0.0, 1e300]),
        np.repeat([0.0, 1e9, 2e9], 200),
        np.arange(5) * 1e-3,
        np.cumsum(np.resize([1e-3, 0.5], 400)),
    ],
    ids=["none", "equal", "huge", "leaps", "few", "uneven"],
)
def test_times_that_tell_no_rate_give_no_windows(time_s: np.ndarray) -> None:
    assert cut_windows(time_s, np.ones((time_s.size, 3))) is None
    assert sampling_rate(time_s) >= 0


def test_long_logs_take_no_more_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spectra, "MOST_SAMPLES", 2000)
    windows = cut_windows(T, np.ones((T.size, 3)))
    assert windows is not None
    assert windows.time_s.size <= 2000
    assert windows.middle_s[0] < 2
    assert windows.middle_s[-1] > 78  # from end to end
