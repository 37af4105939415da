"""Coefficients of a propeller, against numbers of others and closed forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.groundtests.propeller import (
    PropellerCurve,
    advance_ratio,
    coefficients,
    figure_of_merit,
    propeller_efficiency,
    shaft_power,
    sound_speed,
    thrust,
    tip_mach,
)

INCH_9_M = 9 * 0.0254
# A two-bladed 9 in propeller, measured static and in a wind tunnel by others (Deters, Ananda and
# Selig 2014): rpm, CT, CP at rest; J, CT, CP at 5028 and 4054 rpm.
STATIC = (
    (1546.667, 0.125931, 0.088432),
    (2503.333, 0.131518, 0.087917),
    (3526.667, 0.132955, 0.083443),
    (4443.333, 0.135364, 0.078000),
    (5186.667, 0.138747, 0.079026),
    (5943.333, 0.140450, 0.080081),
)
AT_5028 = (
    (0.123969, 0.130239, 0.076611),
    (0.250515, 0.119574, 0.074178),
    (0.374369, 0.102531, 0.070558),
    (0.500784, 0.082563, 0.064268),
    (0.625372, 0.057435, 0.052418),
)
AT_4054 = (
    (0.151501, 0.123138, 0.074794),
    (0.307040, 0.107361, 0.071121),
    (0.465805, 0.085481, 0.064837),
    (0.625818, 0.056236, 0.051932),
    (0.785937, 0.022348, 0.030356),
)


def test_a_step_of_a_16_inch_propeller_is_as_worked_by_hand():
    made = coefficients(33.0, 0.83, 7000 / 60, 1.18, 0.4064)

    assert made.ct == pytest.approx(0.07532229710091692, rel=1e-12)
    assert made.cq == pytest.approx(0.004661589312944483, rel=1e-12)
    assert made.cp == pytest.approx(0.029289629479198154, rel=1e-12)
    assert made.shaft_power_w == pytest.approx(608.4217772452233, rel=1e-12)
    assert made.ideal_power_w == pytest.approx(342.6228066626309, rel=1e-12)
    assert made.figure_of_merit == pytest.approx(0.5631337001346969, rel=1e-12)
    assert made.induced_velocity_m_s == pytest.approx(10.382509292806997, rel=1e-12)
    assert figure_of_merit(made.ct, made.cp) == pytest.approx(0.563133700134697, rel=1e-12)


def test_tips_go_at_0_434_of_the_speed_of_sound_at_20_degrees():
    assert sound_speed(293.15) == pytest.approx(343.2, abs=0.05)
    assert tip_mach(7000 / 60, 0.4064, 293.15) == pytest.approx(0.43401334406236614, rel=1e-4)


def test_a_point_in_flight_is_as_worked_by_hand():
    speed = 116.667
    j = advance_ratio(15.0, speed, 0.4064)

    assert j == pytest.approx(0.3163658002596933, rel=1e-12)
    assert thrust(0.060, 1.18, speed, 0.4064) == pytest.approx(26.287187068246944, rel=1e-12)
    assert shaft_power(0.045, 1.18, speed, 0.4064) == pytest.approx(934.7750429250674, rel=1e-12)
    assert propeller_efficiency(j, 0.060, 0.045) == pytest.approx(0.4218210670129244, rel=1e-12)


def test_published_static_figures_come_back():
    """Thrust and power from the published coefficients, put through the stand's way and back."""
    for rpm, ct, cp in STATIC:
        speed = rpm / 60
        pull = thrust(ct, 1.225, speed, INCH_9_M)
        torque = shaft_power(cp, 1.225, speed, INCH_9_M) / (2 * math.pi * speed)
        made = coefficients(pull, torque, speed, 1.225, INCH_9_M)
        assert (made.ct, made.cp) == pytest.approx((ct, cp), rel=1e-12)

    rpm, ct, cp = STATIC[-1]
    assert figure_of_merit(ct, cp) == pytest.approx(0.524437, abs=5e-7)
    assert thrust(ct, 1.225, rpm / 60, INCH_9_M) == pytest.approx(4.61021, abs=5e-6)
    assert shaft_power(cp, 1.225, rpm / 60, INCH_9_M) == pytest.approx(59.5228, abs=5e-5)


@pytest.mark.parametrize(
    ("table", "j", "efficiency"), [(AT_5028, 0.500784, 0.643341), (AT_4054, 0.465805, 0.614117)]
)
def test_published_figures_in_the_wind_come_back(table, j, efficiency):
    curve = PropellerCurve(*zip(*table, strict=True))

    assert propeller_efficiency(j, *curve.at(j)) == pytest.approx(efficiency, abs=5e-7)


def test_a_four_bladed_propeller_of_another_tunnel_has_its_published_efficiency():
    """D 0.237 m at 40 m/s (Sinnige and others 2018)."""
    assert propeller_efficiency(0.7963, 0.0953, 0.1025) == pytest.approx(0.7404, abs=5e-5)
    assert advance_ratio(40.0, 211.95, 0.237) == pytest.approx(0.7963, abs=5e-5)


def test_between_points_a_curve_is_straight_and_outside_it_gives_nothing():
    curve = PropellerCurve([0.2, 0.4], [0.10, 0.08], [0.06, 0.05])

    assert curve.at(0.3) == pytest.approx((0.09, 0.055))
    assert not curve.covers(0.41)
    with pytest.raises(ValueError, match=r"outside of 0\.2 to 0\.4"):
        curve.at(0.41)
    with pytest.raises(ValueError, match="outside"):
        curve.at(math.nan)


@pytest.mark.parametrize(
    "given",
    [
        ([0.1], [0.1], [0.1]),
        ([0.1, 0.2], [0.1], [0.1, 0.1]),
        ([0.2, 0.1], [0.1, 0.1], [0.1, 0.1]),
        ([0.1, 0.2], [math.nan, 0.1], [0.1, 0.1]),
    ],
)
def test_what_is_no_curve_is_refused(given):
    with pytest.raises(ValueError, match="curve"):
        PropellerCurve(*given)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_a_stand_without_speed_gives_no_coefficients(wrong):
    with pytest.raises(ValueError, match="positive"):
        coefficients(33.0, 0.83, wrong, 1.18, 0.4064)


@given(st.floats(0.5, 2.0), st.floats(0.5, 2.0))
def test_coefficients_don_t_change_with_size_and_air(size, air):
    """A propeller grown by a factor at the same speed pulls by its fourth power."""
    one = coefficients(10.0, 0.2, 100.0, 1.2, 0.3)
    other = coefficients(10 * size**4 * air, 0.2 * size**5 * air, 100.0, 1.2 * air, 0.3 * size)

    assert (other.ct, other.cp) == pytest.approx((one.ct, one.cp))
    assert other.figure_of_merit == pytest.approx(one.figure_of_merit)
