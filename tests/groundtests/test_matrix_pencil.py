"""Poles of noise-free series, and bounds of spectra, against closed forms."""

import math

import numpy as np
import pytest

from flightlog.groundtests.matrix_pencil import pencil
from flightlog.groundtests.spectrum_limits import (
    half_power_damping,
    needed_duration_s,
    resolution_hz,
    undamped_frequency_bound_hz,
)
from tests.groundtests.rings import Truth


def test_one_mode_without_noise_is_met_to_ten_digits():
    t = np.arange(64) / 100
    taken = pencil(Truth(6.5, 0.0184, 1.0, 0.3).at(t), 100.0, 20)
    (mode,) = taken.modes(1)
    assert mode.frequency_hz == pytest.approx(6.5, rel=1e-10)
    assert mode.damping == pytest.approx(0.0184, rel=1e-10)
    # The gap after two values says that it is one oscillation (numbers of another program).
    assert taken.singular[:2] == pytest.approx([12.505527258698994, 11.702055410243519], rel=1e-9)
    assert taken.singular[2] < 1e-12


def test_two_close_modes_without_noise_are_told_apart():
    t = np.arange(400) / 200
    y = Truth(6.5, 0.018, 1.0, 0.1).at(t) + Truth(7.3, 0.018, 0.6, 2.0).at(t)
    modes = pencil(y, 200.0).modes(2)
    assert [m.frequency_hz for m in modes] == pytest.approx([6.5, 7.3], rel=1e-8)
    assert [m.damping for m in modes] == pytest.approx([0.018, 0.018], rel=1e-6)


@pytest.mark.parametrize("y", [np.zeros(50), np.array([1.0, 2.0]), np.full(50, np.nan)])
def test_what_holds_no_oscillation_gives_none(y):
    assert pencil(y, 100.0) is None


def test_more_modes_than_the_series_can_hold_are_none():
    assert pencil(np.sin(np.arange(12.0)), 10.0).modes(40) == ()


def test_a_short_record_has_no_line_width_to_read():
    # 6.5 Hz with 0.24 Hz between the half-power points, seen for 1.28 s.
    assert half_power_damping(6.38, 6.62, 6.5) == pytest.approx(0.01846153846153846, rel=1e-9)
    assert resolution_hz(1.28) == pytest.approx(0.78125)
    assert resolution_hz(1.28) > 0.24
    # By when the lines are close enough, e^(-4 pi) of the ring is left.
    needed = needed_duration_s(6.5, 0.018)
    assert math.exp(-0.018 * 2 * math.pi * 6.5 * needed) == pytest.approx(math.exp(-4 * math.pi))


def test_the_bound_of_a_steady_oscillation():
    assert undamped_frequency_bound_hz(20.0, 128, 1.28) == pytest.approx(0.012039149298076169)
