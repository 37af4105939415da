"""Coefficients of a propeller: what thrust and torque are worth apart from size, speed and air.

n is in turns a second. CT = T/(ρ n² D⁴), CQ = Q/(ρ n² D⁵), CP = P/(ρ n³ D⁵) = 2π CQ,
J = V/(n D), η = J CT/CP (Glauert 1935). The figure of merit compares the shaft power with that of
an ideal actuator disc of the same thrust, T^1.5/√(2 ρ A), whose induced velocity is √(T/(2 ρ A)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flightlog.constants import R_DRY_J_KG_K

FloatArray = NDArray[np.float64]

_HEAT_RATIO = 1.4
"""Specific heats of air, of constant pressure over constant volume. [-]"""


@dataclass(frozen=True, slots=True)
class Coefficients:
    """What one settled step of a stand gives.

    Attributes
    ----------
    ct, cq, cp : float
        Of thrust, torque and power. [-]
    shaft_power_w : float
        Into the propeller. [W]
    ideal_power_w : float
        Of an actuator disc with this thrust. [W]
    figure_of_merit : float
        Ideal over shaft power. [-]
    induced_velocity_m_s : float
        Of the air through the disc. [m/s]
    """

    ct: float
    cq: float
    cp: float
    shaft_power_w: float
    ideal_power_w: float
    figure_of_merit: float
    induced_velocity_m_s: float


def coefficients(
    thrust_n: float,
    torque_nm: float,
    speed_rev_s: float,
    density_kg_m3: float,
    diameter_m: float,
) -> Coefficients:
    """Give the static coefficients of one step.

    Parameters
    ----------
    thrust_n : float
        Pull, not negative. [N]
    torque_nm : float
        Of the shaft, positive. [N·m]
    speed_rev_s : float
        Of the shaft, positive. [1/s]
    density_kg_m3, diameter_m : float
        Of the air [kg/m³] and the propeller [m], positive.

    Raises
    ------
    ValueError
        If one of them is out of these bounds, or not finite.
    """
    positive = (torque_nm, speed_rev_s, density_kg_m3, diameter_m)
    if not (all(math.isfinite(x) and x > 0 for x in positive) and 0 <= thrust_n < math.inf):
        raise ValueError(f"coefficients need positive numbers, got {(thrust_n, *positive)!r}")
    head = density_kg_m3 * speed_rev_s**2 * diameter_m**4
    cq = torque_nm / (head * diameter_m)
    shaft = 2 * math.pi * speed_rev_s * torque_nm
    induced = induced_velocity(thrust_n, density_kg_m3, diameter_m)
    ideal = thrust_n * induced
    return Coefficients(thrust_n / head, cq, 2 * math.pi * cq, shaft, ideal, ideal / shaft, induced)


def induced_velocity(thrust_n: float, density_kg_m3: float, diameter_m: float) -> float:
    """Velocity of the air through the disc at rest [m/s], of momentum theory.

    Parameters
    ----------
    thrust_n, density_kg_m3, diameter_m : float
        Thrust [N], not negative, density of the air [kg/m³] and diameter [m].
    """
    return math.sqrt(thrust_n / (2 * density_kg_m3 * math.pi * diameter_m**2 / 4))


def figure_of_merit(ct: float, cp: float) -> float:
    """Ideal over shaft power at rest [-], from coefficients of thrust and power."""
    return float(math.sqrt(2 / math.pi) * ct**1.5 / cp)


def advance_ratio(airspeed_m_s: float, speed_rev_s: float, diameter_m: float) -> float:
    """Way that the propeller goes in a turn, in diameters: J = V/(n D). [-]

    Parameters
    ----------
    airspeed_m_s, speed_rev_s, diameter_m : float
        Along the shaft [m/s], turns a second [1/s] and diameter [m].
    """
    return airspeed_m_s / (speed_rev_s * diameter_m)


def propeller_efficiency(j: float, ct: float, cp: float) -> float:
    """Thrust power over shaft power in flight: η = J CT/CP. [-]"""
    return j * ct / cp


def thrust(ct: float, density_kg_m3: float, speed_rev_s: float, diameter_m: float) -> float:
    """Thrust of a coefficient: CT ρ n² D⁴. [N]"""
    return ct * density_kg_m3 * speed_rev_s**2 * diameter_m**4


def shaft_power(cp: float, density_kg_m3: float, speed_rev_s: float, diameter_m: float) -> float:
    """Shaft power of a coefficient: CP ρ n³ D⁵. [W]"""
    return cp * density_kg_m3 * speed_rev_s**3 * diameter_m**5


def sound_speed(temperature_k: float) -> float:
    """Speed of sound in air, taken as dry: √(1.4 R T). [m/s]"""
    return math.sqrt(_HEAT_RATIO * R_DRY_J_KG_K * temperature_k)


def tip_mach(speed_rev_s: float, diameter_m: float, temperature_k: float) -> float:
    """Speed of the blade tip on the stand over the speed of sound. [-]"""
    return math.pi * speed_rev_s * diameter_m / sound_speed(temperature_k)


@dataclass(frozen=True, slots=True, eq=False)
class PropellerCurve:
    """Coefficients of a propeller in flight, against its advance ratio.

    Parameters
    ----------
    j, ct, cp : array_like
        Shape (n,), advance ratio in rising order, and the coefficients there. [-]

    Raises
    ------
    ValueError
        If they are fewer than two, not as many as each other, not finite, or ``j`` falls.
    """

    j: FloatArray
    ct: FloatArray
    cp: FloatArray

    def __init__(self, j: ArrayLike, ct: ArrayLike, cp: ArrayLike) -> None:
        for name, given in (("j", j), ("ct", ct), ("cp", cp)):
            array = np.array(given, dtype=float).ravel()
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if not len(self.j) == len(self.ct) == len(self.cp) >= 2:
            raise ValueError("a curve needs two or more advance ratios, each with CT and CP")
        if not all(np.isfinite(a).all() for a in (self.j, self.ct, self.cp)):
            raise ValueError("a curve needs finite numbers")
        if not (np.diff(self.j) > 0).all():
            raise ValueError("advance ratios of a curve must rise")

    def covers(self, j: float) -> bool:
        """Whether an advance ratio lies between the first and the last."""
        return bool(self.j[0] <= j <= self.j[-1])

    def at(self, j: float) -> tuple[float, float]:
        """CT and CP at an advance ratio, on straight lines between the points.

        Raises
        ------
        ValueError
            If it lies outside of the curve: nothing was measured there.
        """
        if not self.covers(j):
            first, last = self.j[0], self.j[-1]
            raise ValueError(f"advance ratio {j:.4g} is outside of {first:.4g} to {last:.4g}")
        return float(np.interp(j, self.j, self.ct)), float(np.interp(j, self.j, self.cp))
