"""Touchdown and sink rate against landings that are solved exactly, and against worked numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.estimation.gear import drop_height_m, gear_energy_j, gear_load_factor, rebound
from flightlog.estimation.liftoff_evidence import Series
from flightlog.estimation.touchdown import locate_touchdown
from flightlog.estimation.touchdown_evidence import LandingEvidence, Touchdown
from flightlog.estimation.touchdown_pulse import find_onset, find_peak, missed_share
from tests.estimation.made_landings import (
    TOUCH_S,
    Made,
    baro_of,
    climb_of,
    made_landing,
    sampled,
)


def evidence_of(made: Made, rate_hz: float, seed: int, *, baro: bool = True) -> LandingEvidence:
    rng = np.random.default_rng(seed)
    tb, hb = baro_of(made, rng)
    tc, vc = climb_of(made, rng)
    upward = None
    if rate_hz:
        t, a = sampled(made, rate_hz, rng)
        upward = Series(t, a, np.ones(t.size))
    return LandingEvidence(
        upward,
        Series(tb - 0.1, hb, np.full(tb.size, 0.25)) if baro else None,
        Series(tc - 0.15, vc, np.full(tc.size, 0.2)),
        None,
    )


def located(made: Made, rate_hz: float, seed: int = 1, early_s: float = 0.8) -> Touchdown:
    found = locate_touchdown(evidence_of(made, rate_hz, seed), TOUCH_S - early_s, TOUCH_S + 10.0)
    assert found is not None
    return found


@pytest.mark.parametrize("rate_hz", [200, 50])
@pytest.mark.parametrize("sink", [0.4, 1.0, 2.4])
def test_the_sink_rate_is_found_beside_a_barometer_that_ground_effect_lifts(sink, rate_hz):
    found = located(made_landing(sink), rate_hz)

    assert abs(found.mean_m_s - sink) < min(0.15, 3 * found.std_m_s)
    assert abs(found.time_s - TOUCH_S) < 0.03
    assert found.std_m_s < 0.15


def test_the_zero_of_the_accelerometer_does_not_matter():
    made = made_landing(1.1)
    rng = np.random.default_rng(3)
    values = []
    for zero in (-0.4, 0.0, 0.4):
        t, a = sampled(made, 100, np.random.default_rng(5), zero)
        whole = evidence_of(made, 0, 3)
        upward = Series(t, a, np.ones(t.size))
        full = LandingEvidence(upward, whole.height, whole.climb, None)
        found = locate_touchdown(full, TOUCH_S - rng.uniform(0, 1.5), TOUCH_S + 10)
        assert found is not None
        values.append(found.mean_m_s)
        assert found.zero_m_s2 == pytest.approx(zero, abs=0.1)

    assert np.ptp(values) < 0.06


def test_a_bounce_is_as_high_as_the_wheels_went():
    made = made_landing(2.6, damping=3.0)
    assert made.top_m > 0.1

    hop = max(located(made, 200).hops, key=lambda h: h.top_m)

    # The body stands lower on its legs, once they carry it, than at the first contact.
    assert hop.top_m == pytest.approx(made.top_m, abs=0.04)


def test_a_soft_landing_on_a_damped_gear_does_not_bounce():
    assert not [h for h in located(made_landing(0.4), 200).hops if h.top_m > 0.05]


def test_without_accelerations_the_interval_is_wide_and_still_holds_the_truth():
    inside = 0
    for seed in range(12):
        sink = 0.4 + 0.15 * seed
        found = located(made_landing(sink), 0, seed)
        assert not found.inertial
        assert found.std_m_s > 0.1
        low, high = np.interp([0.025, 0.975], np.cumsum(found.weight), found.sink_m_s)
        inside += low < sink < high

    assert inside >= 10


def test_a_barometer_alone_gives_no_sink_rate():
    whole = evidence_of(made_landing(0.8), 0, 1)
    only = LandingEvidence(None, whole.height, None, None)

    assert locate_touchdown(only, TOUCH_S, TOUCH_S + 10) is None


@settings(max_examples=6, deadline=None)
@given(
    st.lists(st.floats(-150, 150), min_size=3, max_size=60),
    st.integers(1, 60),
    st.floats(-5, 5),
)
def test_whatever_the_sensors_read_the_answer_is_finite_or_none(values, rate_hz, off_s):
    t = 100.0 - 6.0 + np.arange(0, 10 * rate_hz) / rate_hz
    x = np.resize(np.array(values), t.size)
    series = Series(t, x, np.ones(t.size))

    found = locate_touchdown(LandingEvidence(series, series, series, series), 100 + off_s, 103.0)

    assert found is None or (math.isfinite(found.mean_m_s) and math.isfinite(found.std_m_s))


def test_peak_and_impulse_of_a_worked_pulse():
    force = np.array([9.8, 9.9, 14, 27, 35, 38, 33, 24, 14, 9.8])
    time = 0.01 * np.arange(force.size)

    peak = find_peak(time, force / 9.80665, 0.0, 0.1, 1.0)

    assert peak is not None
    assert peak.value == pytest.approx(3.8749216, abs=1e-6)
    assert peak.impulse * 9.80665 == pytest.approx(1.1644, rel=1e-3)
    assert peak.samples == 7


@pytest.mark.parametrize("mean_readings", [False, True])
@pytest.mark.parametrize("step", [0.12, 0.3, 0.45])
def test_the_top_of_a_half_sine_lies_where_its_samples_let_expect(step, mean_readings):
    rng = np.random.default_rng(1)
    inside = 0
    for _ in range(300):
        t = np.arange(-3, 4, step) + rng.uniform(0, step)
        n = np.where((t > 0) & (t < 1), np.sin(np.pi * t), 0.0)
        if mean_readings:
            edges = np.clip(np.stack([t - step, t]), 0, 1)
            n = (np.cos(np.pi * edges[0]) - np.cos(np.pi * edges[1])) / np.pi / step
        peak = find_peak(t, n, -1, 2, 0.0)
        assert peak is not None
        tops = peak.value * (1 + missed_share(peak.samples, step))
        low, high = np.quantile(tops, [0.025, 0.975])
        inside += low - 0.005 < 1.0 < high + 0.005

    assert inside / 300 > 0.9


def test_fewer_samples_leave_more_open():
    spread = [float(np.quantile(missed_share(n, 0.04), 0.975)) for n in (1, 2, 3, 5, 8, 20)]

    assert spread == sorted(spread, reverse=True)
    assert spread[0] > 0.5 > 0.05 > spread[-1] > 0


def test_gear_load_and_energy_of_a_worked_landing():
    load = gear_load_factor(1.2, 0.05, 0.5)

    assert load == pytest.approx(3.6034493600430997)
    assert load * 8.0 * 9.80665 == pytest.approx(282.7021333, abs=1e-6)
    assert gear_energy_j(8.0, 1.2, 0.05) == pytest.approx(7.067553333333334)
    assert drop_height_m(1.2) == pytest.approx(0.07341956733441084)
    assert rebound(0.12) == (pytest.approx(0.01765197), pytest.approx(0.588399))


@pytest.mark.parametrize("seed", range(4))
def test_the_onset_is_that_of_the_first_sample_over_the_median_before_it(seed):
    """As found by looking at the median of each and every sample."""
    rng = np.random.default_rng(seed)
    t = 100.0 + np.arange(0.0, 6.0, 0.01) + 1e-4 * rng.random(600)
    touch = float(rng.uniform(103.0, 105.0))
    x = 0.3 * rng.normal(size=t.size) - 0.8 * (t > 102.5)
    x += 9.0 * np.exp(-(((t - touch - 0.04) / 0.03) ** 2))
    tried = []
    found = find_onset(Series(t, x, np.ones_like(t)), 101.5, 105.5, lambda at: not tried.append(at))

    rises = [
        k
        for k in np.flatnonzero((t > 101.5) & (t <= 105.5))
        if x[k] - np.median(x[(t >= t[k] - 0.45) & (t < t[k] - 0.005)]) >= 1.5
    ]
    assert len(tried) == 1
    assert found[0] == tried[0]
    assert t[rises[0]] - 0.05 < found[0] <= t[rises[0]] + 0.01
    assert found[0] == pytest.approx(touch, abs=0.04)
