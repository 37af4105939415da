"""Oscillations of rings whose truth is known: a small version of `ringdown_reach`."""

import math
from dataclasses import replace

import numpy as np
import pytest

from flightlog.groundtests import damped_modes
from flightlog.groundtests.damped_modes import ring
from tests.groundtests.rings import CASES, TWO_CLOSE, Truth, drawn


def test_two_close_modes_in_hum_and_noise():
    right, inside, asked = 0, 0, 0
    for seed in range(12):
        t, y, truth = drawn(TWO_CLOSE, seed)
        modes = ring(t, y).modes
        assert len(modes) == 2
        near = True
        for mode, true in zip(modes, truth, strict=True):
            df, dz = mode.frequency_hz - true.frequency_hz, mode.damping - true.damping
            near &= abs(df) < 0.005 * true.frequency_hz and abs(dz) < 0.1 * true.damping
            inside += (abs(df) < 1.96 * mode.frequency_std_hz) + (abs(dz) < 1.96 * mode.damping_std)
            asked += 2
        right += near
    assert right >= 11
    # 48 intervals of 95 %: fewer than 41 would be met by chance once in ten thousand.
    assert inside >= 41
    assert asked == 48


@pytest.mark.parametrize("case", CASES[2:6], ids=lambda c: c.name)
def test_other_records_give_as_many_oscillations_as_there_are(case):
    t, y, truth = drawn(case, 1)
    modes = ring(t, y).modes
    assert len(modes) == len(truth)
    for mode, true in zip(modes, truth, strict=True):
        assert abs(mode.frequency_hz - true.frequency_hz) < 4 * mode.frequency_std_hz
        assert abs(mode.damping - true.damping) < 4 * mode.damping_std
        assert 0 < mode.frequency_std_hz < 0.005 * true.frequency_hz
        assert 0 < mode.damping_std < 0.15 * true.damping


def test_without_noise_the_truth_comes_back():
    t = np.arange(800) / 200
    truth = [Truth(6.5, 0.018, 1.0, 0.4), Truth(7.3, 0.02, 0.5, 2.0)]
    found = ring(t, 3.0 + 0.1 * t + sum(m.at(t) for m in truth))
    assert [m.frequency_hz for m in found.modes] == pytest.approx([6.5, 7.3], rel=1e-6)
    assert [m.damping for m in found.modes] == pytest.approx([0.018, 0.02], rel=1e-4)
    assert [m.first_amplitude for m in found.modes] == pytest.approx([1.0, 0.5], rel=1e-3)


def test_uneven_times_and_lost_rows_do_no_harm():
    rng = np.random.default_rng(2)
    t = np.sort(rng.uniform(0, 4, 500))
    y = Truth(6.5, 0.018, 1.0, 1.0).at(t) + rng.normal(0, 0.05, t.size)
    (mode,) = ring(t, y).modes
    assert abs(mode.frequency_hz - 6.5) < 4 * mode.frequency_std_hz
    assert abs(mode.damping - 0.018) < 4 * mode.damping_std
    assert mode.damping_std < 0.05 * 0.018


def test_amplitude_that_damping_belongs_to_lies_within_the_ring():
    t = np.arange(800) / 200
    rng = np.random.default_rng(4)
    (mode,) = ring(t, Truth(6.5, 0.018).at(t) + rng.normal(0, 0.02, 800)).modes
    # It falls to 1/e at 1/(damping·omega), about where least squares weigh the slope most.
    assert mode.amplitude == pytest.approx(math.exp(-0.9), rel=0.15)
    assert mode.last_amplitude < mode.amplitude < mode.first_amplitude


def test_damping_that_falls_with_amplitude_is_not_given_precisely():
    rate, omega = 200.0, 2 * math.pi * 6.5

    def damping(size):
        return 0.010 + 0.012 * size

    t = np.arange(1000) / rate
    size = np.empty(t.size)
    size[0] = 1.0
    for k in range(t.size - 1):
        size[k + 1] = size[k] * (1 - omega * damping(size[k]) / rate)
    noise = np.random.default_rng(1).normal(0, 0.01, t.size)
    (mode,) = ring(t, size * np.cos(omega * t) + noise).modes
    assert mode.bent
    assert mode.first_damping > mode.damping > mode.last_damping
    assert abs(mode.damping - damping(mode.amplitude)) < 1.96 * mode.damping_std
    assert mode.damping_std > 0.001


def test_a_line_that_does_not_decay_is_no_mode():
    t = np.arange(800) / 200
    noise = np.random.default_rng(1).normal(0, 0.05, t.size)
    found = ring(t, Truth(6.5, 0.018).at(t) + 0.3 * np.sin(2 * math.pi * 13.3 * t) + noise)
    assert [m.frequency_hz for m in found.modes] == pytest.approx([6.5], rel=0.002)
    assert found.steady_hz == pytest.approx((13.3,), rel=0.002)


def test_noise_about_the_frequency_widens_the_interval():
    rng = np.random.default_rng(5)
    t = np.arange(1600) / 200
    white = rng.normal(0, 1, t.size)
    # Noise of a band about the ring, as of a room that shakes, as strong as the white one.
    band = np.fft.rfft(rng.normal(0, 1, t.size))
    hertz = np.fft.rfftfreq(t.size, 1 / 200)
    band[(hertz < 5) | (hertz > 8.5)] = 0
    coloured = np.fft.irfft(band, t.size)
    coloured *= white.std() / coloured.std()
    truth = Truth(6.5, 0.018, 1.0).at(t)
    (plain,) = ring(t, truth + 0.03 * white, most_modes=1).modes
    (wide,) = ring(t, truth + 0.03 * coloured, most_modes=1).modes
    assert wide.noise_ratio > 8
    assert wide.damping_std > 2.5 * plain.damping_std
    assert abs(wide.damping - 0.018) < 3 * wide.damping_std


@pytest.mark.parametrize(
    ("t", "y"),
    [
        (np.arange(10.0), np.ones(10)),
        (np.arange(100.0), np.ones(100)),
        (np.zeros(100), np.arange(100.0)),
        (np.arange(100.0), np.full(100, np.nan)),
    ],
)
def test_nothing_that_can_ring_gives_none(t, y):
    assert ring(t, y) is None


def test_noise_alone_gives_no_mode():
    t = np.arange(600) / 200
    for seed in range(4):
        noise = np.random.default_rng(seed).normal(0, 1, t.size)
        found = ring(t, noise, most_modes=1)
        assert found is None or not found.modes


def test_a_finer_fit_that_ran_off_to_what_can_not_ring_is_not_taken(monkeypatch):
    """As after a jolt: the last refinement ends at a decay that is over within a swing."""
    sound = damped_modes.fit

    def runs_off(*given, **said):
        found = sound(*given, **said)
        if found is None or said.get("rough") or not found.rate.size or "bend_at" in said:
            return found
        return replace(found, rate=5 * found.omega)

    t, y, truth = drawn(TWO_CLOSE, 3)
    monkeypatch.setattr(damped_modes, "fit", runs_off)

    modes = ring(t, y).modes

    assert len(modes) == 2
    for mode, true in zip(modes, truth, strict=True):
        assert mode.frequency_hz == pytest.approx(true.frequency_hz, rel=0.01)


def test_a_bent_decay_that_leaves_the_range_of_ringing_is_no_oscillation(monkeypatch):
    made = damped_modes.mode_of
    monkeypatch.setattr(
        damped_modes,
        "mode_of",
        lambda *given: replace(made(*given), damping=0.9999) if given[3] else made(*given),
    )
    t, y, truth = drawn(TWO_CLOSE, 3)

    (mode,) = ring(t, y).modes

    assert mode.frequency_hz == pytest.approx(truth[0].frequency_hz, rel=0.01)
