from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.estimation.resistance import (
    TIME_CONSTANTS_S,
    _Problem,
    fit_resistance,
    share_in_first_second,
    slow_currents,
)
from flightlog.estimation.second_means import cut_rows
from tests.wear.packs import Meter, Pack, draw_meter, draw_pack, flight_current

PACK = Pack(0.019, (0.4, 0.8), (8.0, 150.0))


def flight(seed=1, pack=PACK, length_s=200.0, **meter):
    rng = np.random.default_rng(seed)
    t, amps = flight_current(rng, length_s)
    return Meter(**{"rate": 5.0, "noise_a": 0.05, **meter}).read(t, amps, pack.voltage(amps), rng)


def test_first_second_of_a_slow_part_is_the_mean_of_its_response():
    middle = (np.arange(20000) + 0.5) / 20000
    for tau, share in zip(TIME_CONSTANTS_S, share_in_first_second(TIME_CONSTANTS_S), strict=True):
        assert share == pytest.approx(np.mean(1 - np.exp(-middle / tau)), rel=1e-7)


def test_slow_currents_follow_a_ramp_in_closed_form():
    # A lag answers to a ramp r t with r (t - tau (1 - exp(-t / tau))), whatever the step.
    for step in (0.1, 2.0):
        t = np.arange(0, 40, step)
        found = slow_currents(3.0 * t, step, np.array([0.5, 7.0]))
        for column, tau in zip(found.T, (0.5, 7.0), strict=True):
            assert column == pytest.approx(3 * (t - tau * (1 - np.exp(-t / tau))), abs=1e-9)


def test_slow_currents_start_as_after_long_rest():
    assert slow_currents(np.full(50, 4.2), 0.1, TIME_CONSTANTS_S) == pytest.approx(4.2)


def test_known_pack_is_found_and_a_plain_regression_is_not_enough():
    t, amps, volts = flight(noise_a=0.02)
    found = fit_resistance(t, amps, volts)
    assert found.ohm == pytest.approx(PACK.first_second_ohm, rel=0.025)
    assert found.std_ohm < 0.03 * found.ohm
    plain = -np.linalg.lstsq(np.column_stack([np.ones(t.size), amps, t]), volts, rcond=None)[0][1]
    assert abs(plain / PACK.first_second_ohm - 1) > 0.1


@pytest.mark.parametrize("delay", [-0.5, 0.3])
def test_sensors_that_read_at_different_times_are_put_together(delay):
    found = fit_resistance(*flight(2, delay_s=delay, rate=10.0))
    assert found.delay_s == pytest.approx(delay, abs=0.05)
    assert found.ohm == pytest.approx(PACK.first_second_ohm, rel=0.03)


def test_intervals_hold_for_packs_of_any_kind():
    # Seeds of no other use: 900 on.
    errors, inside = [], 0
    for seed in range(900, 912):
        rng = np.random.default_rng(seed)
        t, amps = flight_current(rng, 220.0)
        pack = draw_pack(rng)
        meter = replace(draw_meter(rng, 5.0), current_scale=0.0, voltage_scale=0.0)
        found = fit_resistance(*meter.read(t, amps, pack.voltage(amps), rng))
        error = found.ohm / pack.first_second_ohm - 1
        errors.append(error)
        inside += abs(error) * pack.first_second_ohm < 1.96 * found.std_ohm
    assert np.sqrt(np.mean(np.square(errors))) < 0.03
    assert inside >= 10


def test_noise_of_the_current_is_allowed_for():
    t, amps, volts = flight(noise_a=0.3)
    found = fit_resistance(t, amps, volts, noise_a=0.3)
    assert 0.001 < found.attenuation < 0.2
    assert found.ohm / (1 + found.attenuation) == pytest.approx(
        fit_resistance(t, amps, volts).ohm, rel=1e-9
    )


def test_a_flight_of_even_power_has_a_wide_interval():
    rng = np.random.default_rng(3)
    t = np.arange(0, 200, 0.2)
    amps = 10 + rng.normal(0, 0.1, t.size)
    volts = 24 - 0.02 * amps - 0.002 * t + rng.normal(0, 0.01, t.size)
    found = fit_resistance(t, amps + rng.normal(0, 0.1, t.size), volts, noise_a=0.1)
    assert found is None or found.std_ohm > 0.1 * found.ohm


def test_nothing_to_fit_is_none():
    t, amps, volts = flight()
    assert fit_resistance(t[:50], amps[:50], volts[:50]) is None
    assert fit_resistance(t, np.full(t.size, 5.0), volts) is None
    assert fit_resistance(t, -amps, volts) is None
    assert fit_resistance(t[:1], amps[:1], volts[:1]) is None
    assert fit_resistance(t * 1e9, amps, volts) is None
    few = np.r_[0:15, t.size - 15 : t.size]
    assert fit_resistance(t[few], amps[few], volts[few]) is None


@settings(max_examples=4, deadline=None)
@given(st.floats(-3, 3), st.integers(-1000, 100_000))
def test_neither_a_step_of_all_voltages_nor_the_hour_matters(offset, later):
    t, amps, volts = flight(length_s=120.0)
    one, other = fit_resistance(t, amps, volts), fit_resistance(t + later, amps, volts + offset)
    assert other.ohm == pytest.approx(one.ohm, rel=1e-4)


def test_a_hole_costs_sureness_and_no_more():
    t, amps, volts = flight(length_s=250.0)
    keep = (t < 100) | (t > 115)
    holed = fit_resistance(t[keep], amps[keep], volts[keep])
    assert abs(holed.ohm - PACK.first_second_ohm) < 3 * holed.std_ohm
    assert holed.seconds < fit_resistance(t, amps, volts).seconds


@pytest.mark.parametrize("spoilt", [1.0, -5.0, -23.0])
def test_single_spoilt_readings_change_nothing(spoilt):
    t, amps, volts = flight(2)
    clean = fit_resistance(t, amps, volts)
    volts[[300, 600]] += spoilt
    amps[450] += 30.0
    found = fit_resistance(t, amps, volts)
    assert found.ohm == pytest.approx(clean.ohm, rel=0.01)
    assert found.std_ohm < 1.2 * clean.std_ohm


def test_slow_currents_between_the_grid_are_straight_and_held_beyond_it():
    t, amps, volts = flight(length_s=90.0)
    problem = _Problem.of(t, amps, volts, cut_rows(t, 1.0), 0.1, 0.1)
    at = np.concatenate([t - 1.7, t + 0.03, problem.grid_s, t + 2.3])
    plain = np.stack([np.interp(at, problem.grid_s, one) for one in problem.slow.T], axis=1)
    assert problem._slow(at) == pytest.approx(plain, rel=1e-12, abs=1e-12)
