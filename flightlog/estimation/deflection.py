"""What a surface was told, in degrees: linkage tables, counting of moves, V tails.

A deflection is positive with the trailing edge down, a rudder's with it to the left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array

TABLE_STD_DEG = 0.5
"""Standard uncertainty of a measured point of a linkage: reading of a protractor. [deg]"""

REVERSAL_BAND_DEG = 1.0
"""A move back of less than this is no reversal. [deg]"""


def deflections(pulse_us: Array, points: Sequence[tuple[float, float]]) -> Array:
    """Turn pulses into deflections by the measured points of the linkage. [deg]

    Parameters
    ----------
    pulse_us : array, shape (n,)
        What the servo was told. [us]
    points : sequence of (float, float)
        (pulse [us], deflection [deg]), two or more, pulses rising. Straight lines between them,
        and on beyond the ends: a servo told to go further than was measured does go on.

    Notes
    -----
    Whether a longer pulse raises or lowers the surface is in the points, never in a sign.
    """
    at = np.array([p for p, _ in points], dtype=float)
    angle = np.array([d for _, d in points], dtype=float)
    pulse = np.asarray(pulse_us, dtype=float)
    inside = np.interp(pulse, at, angle)
    first = (angle[1] - angle[0]) / (at[1] - at[0])
    last = (angle[-1] - angle[-2]) / (at[-1] - at[-2])
    beyond: Array = (
        inside + first * np.minimum(pulse - at[0], 0.0) + last * np.maximum(pulse - at[-1], 0.0)
    )
    return beyond


def reversals(deflection_deg: Array, band_deg: float = REVERSAL_BAND_DEG) -> int:
    """Count the turning points of a deflection.

    One is counted when the deflection has moved by the band or more back from the furthest that
    it had come; what moves less is noise. The first move of a series has no turning point.

    Parameters
    ----------
    deflection_deg : array, shape (n,)
        Finite. [deg]
    band_deg : float, optional
        Above 0. [deg]
    """
    values = np.asarray(deflection_deg, dtype=float)
    if values.size < 2:
        return 0
    # Only local extremes can be turning points; the rest would slow the loop down.
    step = np.sign(np.diff(values))
    moved = np.flatnonzero(step)
    if not moved.size:
        return 0
    turns = moved[1:][np.diff(step[moved]) != 0]
    extremes = [float(values[0]), *values[turns].tolist(), float(values[-1])]
    low = high = extremes[0]
    way, count = 0, 0
    for value in extremes[1:]:
        low, high = min(low, value), max(high, value)
        if way >= 0 and high - value >= band_deg:
            count += way != 0
            way, low = -1, value
        elif way <= 0 and value - low >= band_deg:
            count += way != 0
            way, high = 1, value
    return count


def travel(deflection_deg: Array) -> float:
    """Sum of all moves of a series, either way. [deg]"""
    return float(np.abs(np.diff(deflection_deg)).sum())


# --- tails of two panels


def mixed(pitch_deg: Array, yaw_deg: Array) -> tuple[Array, Array]:
    """Deflections of the left and the right panel of a V tail. [deg]

    Parameters
    ----------
    pitch_deg, yaw_deg : array
        Common and differential part, as `unmixed` gives them. [deg]
    """
    return np.asarray(pitch_deg) + yaw_deg, np.asarray(pitch_deg) - yaw_deg


def unmixed(left_deg: Array, right_deg: Array) -> tuple[Array, Array]:
    """Common part, which pitches, and differential part, which yaws. [deg]

    Parameters
    ----------
    left_deg, right_deg : array
        Deflections, trailing edge down positive on both panels. [deg]

    Returns
    -------
    pitch_deg, yaw_deg : array, array
        (left + right) / 2 and (left - right) / 2.
    """
    left, right = np.asarray(left_deg), np.asarray(right_deg)
    return (left + right) / 2, (left - right) / 2


@dataclass(frozen=True, slots=True)
class Turn:
    """Moment about forward, right, down of one panel's deflection, of unit force and arm."""

    roll: float
    pitch: float
    yaw: float


def panel_turn(*, right: bool, dihedral_deg: float, tail_arm: float = 1.0) -> Turn:
    """Which way a panel of a V tail turns the aircraft, trailing edge down, from its own force.

    Parameters
    ----------
    right : bool
        The right panel, else the left one.
    dihedral_deg : float
        Tips up positive; negative for an inverted V. [deg]
    tail_arm : float, optional
        From the centre of gravity back to the tail, in half spans of a panel. [-]

    Notes
    -----
    Axes forward, right, down. The right panel points along (0, cos G, -sin G) from the root, G
    the dihedral: its upper normal is (0, -sin G, -cos G), up and, with the tip up, inwards. That
    of the left panel is its mirror image, (0, sin G, -cos G). Trailing edge down adds lift along
    the upper normal, so that by M = r x F with r from the centre of gravity to the panel, at
    (-arm, y, z):

    * pitch: z Fx - x Fz = -arm cos G: nose down, either panel;
    * yaw: x Fy - y Fx = -arm Fy: of the right panel +arm sin G, nose right on a V and left on
      an inverted V; of the left panel the opposite;
    * roll: y Fz - z Fy: the lifted side goes up: right panel -1, left panel +1.

    With the trailing edge of the left panel down and of the right one up, ``unmixed`` yaw
    positive, the nose therefore goes left on a V, right on an inverted V, and the aircraft rolls
    right on both: against the yaw (adverse) on a V, with it on an inverted V.
    """
    g = math.radians(dihedral_deg)
    side = 1.0 if right else -1.0
    x, y, z = -tail_arm, side * math.cos(g), -math.sin(g)
    fx, fy, fz = 0.0, -side * math.sin(g), -math.cos(g)
    return Turn(roll=y * fz - z * fy, pitch=z * fx - x * fz, yaw=x * fy - y * fx)
