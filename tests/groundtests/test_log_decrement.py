"""Damping from peaks."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import NotEnoughDataError
from flightlog.groundtests.log_decrement import log_decrement, undamped_hz


def test_two_peaks_twelve_cycles_apart():
    # 10 mm to 2.5 mm in 12 cycles and 1.846 s, each read to 0.1 mm; by hand.
    found = log_decrement([10.0, 2.5], [0, 12], 0.1)
    assert found.decrement == pytest.approx(math.log(4) / 12, rel=1e-12)
    assert found.decrement == pytest.approx(0.11552453009332421, rel=1e-12)
    assert found.damping == pytest.approx(0.01838319300067948, rel=1e-12)
    assert found.decrement_std == pytest.approx(0.0034359213546813843, rel=1e-12)
    assert found.damping_std == pytest.approx(0.000547, abs=5e-7)
    assert undamped_hz(12 / 1.846, found.damping) == pytest.approx(6.5016403926192305, rel=1e-12)
    assert (found.curvature, found.residual_std) == (None, None)


@settings(deadline=None)
@given(damping=st.floats(0.001, 0.2), size=st.floats(1e-6, 1e6), count=st.integers(2, 30))
def test_peaks_of_viscous_damping_give_it_back(damping, size, count):
    decrement = 2 * math.pi * damping / math.sqrt(1 - damping**2)
    cycles = np.arange(count) / 2
    found = log_decrement(size * np.exp(-decrement * cycles), cycles, 0.01 * size)
    assert found.damping == pytest.approx(damping, rel=1e-8)


def test_friction_bends_the_line_down_and_falling_damping_bends_it_up():
    cycles = np.arange(12.0)
    friction = log_decrement(10.0 - 0.75 * cycles, cycles, 0.01)
    assert friction.curvature is not None
    assert friction.curvature < -5 * friction.curvature_std
    # Quadratic damping: the reciprocal of the amplitude grows evenly.
    airy = log_decrement(1 / (0.1 + 0.05 * cycles), cycles, 0.01)
    assert airy.curvature is not None
    assert airy.curvature > 5 * airy.curvature_std


def test_the_uncertainty_holds_what_it_says():
    rng = np.random.default_rng(3)
    cycles = np.arange(10.0)
    truth = 10 * np.exp(-0.115 * cycles)
    inside = 0
    for _ in range(400):
        found = log_decrement(truth + rng.normal(0, 0.1, 10), cycles, 0.1)
        inside += abs(found.decrement - 0.115) < 1.96 * found.decrement_std
    # Following the scatter where that is larger makes the interval a little wider.
    assert 0.93 < inside / 400 < 0.99


@pytest.mark.parametrize(
    ("peaks", "cycles"), [([1.0], [0]), ([1, 2], [3, 3]), ([1, 0], [0, 1]), ([1, math.nan], [0, 1])]
)
def test_what_gives_no_decrement_is_refused(peaks, cycles):
    with pytest.raises(NotEnoughDataError, match="give no decrement"):
        log_decrement(peaks, cycles, 0.1)


def test_a_peak_without_uncertainty_is_refused():
    with pytest.raises(ValueError, match="must be positive"):
        log_decrement([2.0, 1.0], [0, 1], 0.0)
