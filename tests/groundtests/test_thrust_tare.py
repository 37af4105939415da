"""The zero of a stand and its drift; the scale from known loads."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flightlog.constants import G0_M_S2
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.thrust_steps import find_steps, signals_of
from flightlog.groundtests.thrust_tare import at_rest, calibrated, zero_of


def rows(pulse, thrust, **more):
    columns = {"pulse": pulse, "thrust": thrust, **more}
    made = BenchTable("made.csv", {k: np.asarray(v, dtype=float) for k, v in columns.items()})
    signals = signals_of(made)
    return find_steps(made, signals), signals


PULSE = [1000, 1000, 1300, 1500, 1700, 1900, 1000, 1000]
THRUST = [0.1, 0.1, 3.0, 6.0, 9.0, 12.0, 0.4, 0.4]
SPEED = [0, 0, 300, 400, 500, 600, 0, 0]


def test_a_motor_without_speed_stands():
    steps, signals = rows(PULSE, THRUST, speed=SPEED)

    assert at_rest(steps, signals, None).tolist() == [True, True, *[False] * 4, True, True]


def test_without_a_speed_the_current_tells_and_then_the_thrust():
    current = [0.2, 0.2, 3, 6, 9, 12, 0.2, 0.2]
    for more in ({"current": current}, {}):
        steps, signals = rows(PULSE, np.subtract(THRUST, 0.1), **more)
        assert np.flatnonzero(at_rest(steps, signals, None)).tolist() == [0, 1, 6, 7]


def test_the_lowest_step_of_a_sweep_that_never_stood_is_no_rest():
    steps, signals = rows([1200, 1400, 1600, 1800], [2.0, 3, 4, 5], current=[2, 3, 4, 5])

    assert not at_rest(steps, signals, None).any()


def test_a_stated_pulse_tells_before_anything_else():
    steps, signals = rows(PULSE, THRUST, speed=SPEED)

    assert at_rest(steps, signals, 1300.0).sum() == 5


def test_a_zero_that_drifts_is_taken_as_straight_with_a_rectangle_about_it():
    """0.1 before, 0.4 after: halfway it is 0.25, known to 0.3/√12 = 0.0866."""
    steps, signals = rows(PULSE, THRUST, speed=SPEED)
    zero = zero_of(steps, at_rest(steps, signals, None), "thrust", (None, None), 0.0, 0.1)

    assert zero is not None
    assert zero.before_and_after
    assert zero.reading.tolist() == pytest.approx([0.1, 0.4])
    assert zero.drift == pytest.approx(0.3)
    assert np.mean(zero.at[2:6]) == pytest.approx(0.25)
    assert zero.at_std == pytest.approx(0.3 / math.sqrt(12), rel=1e-3)


def test_one_reading_leaves_room_for_the_drift_that_nobody_saw():
    steps, signals = rows(PULSE[:6], THRUST[:6], speed=SPEED[:6])
    zero = zero_of(steps, at_rest(steps, signals, None), "thrust", (None, None), 0.0, 0.12)

    assert zero is not None
    assert not zero.before_and_after
    assert zero.at_std == pytest.approx(0.12 / math.sqrt(3))


def test_a_stated_zero_counts_where_the_file_has_none():
    steps, signals = rows([1300, 1500, 1700], [3.0, 6.0, 9.0], speed=[300, 400, 500])
    resting = at_rest(steps, signals, None)

    assert zero_of(steps, resting, "thrust", (None, None), 0.0, 0.1) is None
    zero = zero_of(steps, resting, "thrust", (0.02, 0.04), 0.01, 0.1)
    assert zero is not None
    assert zero.stated
    assert zero.at.tolist() == pytest.approx([0.02, 0.03, 0.04])


# --- calibration


def points(loads, readings):
    return [{"load_n": x, "reading_n": y} for x, y in zip(loads, readings, strict=True)]


def test_an_exact_line_gives_its_scale_and_nothing_else():
    loads = [0.0, 10, 20, 30, 20, 10, 0]
    made = calibrated(points(loads, [0.3 + 0.98 * x for x in loads]), "reading_n", "load_n", 0.0)

    assert made is not None
    assert made.scale == pytest.approx(1 / 0.98)
    assert made.scale_std == pytest.approx(0, abs=1e-9)
    assert made.nonlinearity_pct == pytest.approx(0, abs=1e-9)


def test_hysteresis_and_bend_are_parts_of_the_greatest_load():
    """Up and down are 0.3 N apart at 10 and 20 N of 30 N: 1 %."""
    loads = [0.0, 10, 20, 30, 20, 10, 0]
    readings = [0.0, 10, 20, 30, 20.3, 10.3, 0.0]
    made = calibrated(points(loads, readings), "reading_n", "load_n", 0.0)

    assert made is not None
    assert made.hysteresis_pct == pytest.approx(1.0, rel=0.02)


def test_the_error_of_the_loads_is_shared():
    loads = [0.0, 10, 20]
    made = calibrated(points(loads, loads), "reading_n", "load_n", 0.2)

    assert made is not None
    assert made.scale_std == pytest.approx(0.002)


def test_masses_on_an_arm_make_a_torque():
    torque = [0.15 * G0_M_S2 * m for m in (0.0, 0.1, 0.2)]
    given = [{"mass_kg": m, "reading_nm": t} for m, t in zip((0.0, 0.1, 0.2), torque, strict=True)]
    made = calibrated(given, "reading_nm", "load_nm", 0.0, arm_m=0.15)

    assert made is not None
    assert made.scale == pytest.approx(1.0)


def test_intervals_of_the_scale_hold_the_truth():
    rng = np.random.default_rng(8)
    loads = np.array([0.0, 10, 20, 30, 40, 30, 20, 10, 0])
    held = []
    for _ in range(400):
        readings = loads / 1.02 + rng.normal(0, 0.05, len(loads))
        made = calibrated(points(loads, readings), "reading_n", "load_n", 0.0)
        assert made is not None
        held.append(abs(made.scale - 1.02) <= 1.96 * made.scale_std)

    assert np.mean(held) == pytest.approx(0.95, abs=0.03)


@pytest.mark.parametrize("given", [[], points([0, 1], [0, 1]), points([5, 5, 5], [1, 2, 3])])
def test_what_is_no_calibration_gives_none(given):
    assert calibrated(given, "reading_n", "load_n", 0.1) is None
