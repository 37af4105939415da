"""Pulses to degrees, counting of moves, and V tails: worked numbers, laws, and forces."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.estimation.deflection import (
    deflections,
    mixed,
    panel_turn,
    reversals,
    travel,
    unmixed,
)

ANGLES = st.floats(-60, 60)
SERIES = st.lists(st.integers(-40, 40), min_size=2, max_size=60)


def test_a_pulse_between_two_points_is_the_worked_example():
    points = ((1100.0, -20.0), (1512.0, 0.0), (1900.0, 22.0))

    assert deflections(np.array([1620.0]), points)[0] == pytest.approx(6.123711340206186, abs=1e-12)


def test_a_reversed_linkage_is_in_its_points_and_nowhere_else():
    points = ((1000.0, 25.0), (1500.0, 0.0), (2000.0, -20.0))

    assert deflections(np.array([1000.0, 1250.0, 1750.0]), points) == pytest.approx(
        [25.0, 12.5, -10.0]
    )


def test_a_servo_told_to_go_beyond_the_measured_points_goes_on():
    points = ((1100.0, -20.0), (1500.0, 0.0), (1900.0, 40.0))

    assert deflections(np.array([1000.0, 2000.0]), points) == pytest.approx([-25.0, 50.0])


def test_reversals_of_the_worked_example():
    moves = [0, 3, 5, 4, 2, -1, -3, -2, 0, 2, 1.6, 2.2, 1.9, 3, 0]

    assert reversals(np.array(moves, dtype=float), 1.0) == 3


@pytest.mark.parametrize("hz", [1.0, 3.0])
def test_a_swing_turns_twice_in_every_period(hz):
    t = np.arange(0, 20, 0.005)

    assert reversals(3 * np.sin(2 * math.pi * hz * t)) == 2 * 20 * hz
    assert travel(3 * np.sin(2 * math.pi * hz * t)) == pytest.approx(4 * 3 * 20 * hz, rel=1e-3)


@settings(deadline=None)
@given(SERIES, st.integers(1, 9))
def test_moves_within_the_band_never_count(steps, band):
    small = np.cumsum(steps) % band * 0.99

    assert reversals(small, float(band)) == 0


@settings(deadline=None)
@given(SERIES, st.integers(1, 9))
def test_reversals_do_not_depend_on_sign_zero_or_direction_of_time(steps, band):
    values = np.array(steps, dtype=float)
    count = reversals(values, float(band))

    assert reversals(-values, float(band)) == count
    assert reversals(values + 7, float(band)) == count
    assert reversals(np.repeat(values, 3), float(band)) == count
    assert reversals(values[::-1], float(band)) == count


def test_the_worked_v_tail():
    assert unmixed(np.array(12.0), np.array(-4.0)) == (4.0, 8.0)


@settings(deadline=None)
@given(ANGLES, ANGLES)
def test_mixing_and_unmixing_undo_each_other(pitch, yaw):
    left, right = mixed(np.array(pitch), np.array(yaw))

    assert unmixed(left, right) == pytest.approx((pitch, yaw), abs=1e-9)


def moment(dihedral_deg: float, left: float, right: float) -> np.ndarray:
    """Moment about forward, right, down of two panels three half spans behind the centre.

    From first principles: the panel is a flat plate; its upper normal is the cross product of its
    chord (forward) with the way outboard, turned so that it looks up; trailing edge down pushes
    along it.
    """
    g = math.radians(dihedral_deg)
    total = np.zeros(3)
    for side, angle in ((-1.0, left), (1.0, right)):
        outboard = np.array([0.0, side * math.cos(g), -math.sin(g)])
        normal = np.cross([1.0, 0.0, 0.0], outboard)
        normal *= -np.sign(normal[2])
        total += np.cross(np.array([-3.0, 0.0, 0.0]) + outboard, angle * normal)
    return total


@settings(deadline=None)
@given(st.floats(5, 80), st.sampled_from([-1, 1]), ANGLES, ANGLES)
def test_panels_turn_as_the_forces_on_two_plates_do(steep, up, left, right):
    dihedral = up * steep
    sides = [panel_turn(right=r, dihedral_deg=dihedral, tail_arm=3.0) for r in (False, True)]
    found = np.array([[s.roll, s.pitch, s.yaw] for s in sides])

    assert left * found[0] + right * found[1] == pytest.approx(
        moment(dihedral, left, right), abs=1e-9
    )


@pytest.mark.parametrize(("dihedral", "nose_right"), [(35.0, False), (-35.0, True)])
def test_left_down_and_right_up_turns_the_nose_left_on_a_v_and_right_on_an_inverted_one(
    dihedral, nose_right
):
    left, right = mixed(np.array(0.0), np.array(8.0))
    roll, pitch, yaw = moment(dihedral, float(left), float(right))

    assert (yaw > 0) == nose_right
    assert pitch == pytest.approx(0.0, abs=1e-9)
    assert roll > 0  # adverse on a V, with the turn on an inverted V


def test_force_of_the_worked_inverted_v():
    # Per panel and degree: 6.5532 up, 9.1772 to the left at Gamma -35, 12 and -4 deg; the moments
    # at unit arm are those forces, up to their signs.
    one, two = (panel_turn(right=r, dihedral_deg=-35.0) for r in (False, True))

    assert -(12 * one.pitch - 4 * two.pitch) == pytest.approx(6.5532, abs=5e-5)
    assert 12 * one.yaw - 4 * two.yaw == pytest.approx(9.1772, abs=5e-5)
