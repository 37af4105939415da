"""The ground roll in closed form: what a roll should be, from thrust, polar and friction.

Net force along the ground at airspeed V, wings level, constant lift coefficient on the ground:

    F(V) = A - B V - C V²
    A = s T0 - mu W - W sin(slope),  B = s b,  C = s c + rho S (CDg - mu CLg) / 2

with thrust s (T0 - b V - c V²), where s scales with air density at constant propeller speed.
Distance is m ∫ (V - w)/F dV from V = w (headwind, standing still) to the lift-off airspeed.
Textbook method: constant-attitude roll, for example in the take-off chapters of aircraft
performance texts; the integral is exact for this force.

Not valid when the wheels are light before lift-off (constant attitude is assumed) or when the
force vanishes before the lift-off speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flightlog.constants import G0_M_S2, ISA_RHO0_KG_M3
from flightlog.errors import NotEnoughDataError

REACH_MARGIN = 1.02
"""The force must hold to this multiple of the lift-off speed. [-]"""


@dataclass(frozen=True, slots=True)
class RollModel:
    """Everything the closed form needs.

    Attributes
    ----------
    mass_kg, density_kg_m3 : float
        Take-off mass [kg] and air density [kg/m³].
    wing_area_m2 : float
        Reference area. [m²]
    cl_ground, cd_ground, rolling_friction : float
        Lift and drag coefficient at the ground attitude, friction coefficient. [-]
    cl_liftoff : float
        Lift coefficient at lift-off: fixes the lift-off airspeed. [-]
    static_thrust_n, thrust_b, thrust_c : float
        Thrust at standard sea-level density, ``static - b V - c V²``. [N], [N s/m], [N s²/m²]
    slope : float
        Rise over run in the direction of take-off. [-]
    """

    mass_kg: float
    density_kg_m3: float
    wing_area_m2: float
    cl_ground: float
    cd_ground: float
    rolling_friction: float
    cl_liftoff: float
    static_thrust_n: float
    thrust_b: float
    thrust_c: float
    slope: float = 0.0

    @property
    def weight_n(self) -> float:
        """Weight. [N]"""
        return self.mass_kg * G0_M_S2

    @property
    def liftoff_airspeed_m_s(self) -> float:
        """Airspeed at which lift carries the weight. [m/s]"""
        return math.sqrt(
            2 * self.weight_n / (self.density_kg_m3 * self.wing_area_m2 * self.cl_liftoff)
        )

    def force_coefficients(self) -> tuple[float, float, float]:
        """A [N], B [N s/m] and C [N s²/m²] of the net force."""
        s = self.density_kg_m3 / ISA_RHO0_KG_M3
        drag = self.cd_ground - self.rolling_friction * self.cl_ground
        return (
            s * self.static_thrust_n
            - self.rolling_friction * self.weight_n
            - self.weight_n * math.sin(math.atan(self.slope)),
            s * self.thrust_b,
            s * self.thrust_c + 0.5 * self.density_kg_m3 * self.wing_area_m2 * drag,
        )

    def distance_m(self, headwind_m_s: float = 0.0) -> float:
        """Ground roll. [m]

        Parameters
        ----------
        headwind_m_s : float
            Against the take-off direction; negative is a tailwind. [m/s]

        Raises
        ------
        NotEnoughDataError
            If the thrust can't bring the aircraft to its lift-off speed, or the headwind
            alone carries it.
        """
        a, b, c = self.force_coefficients()
        v = self.liftoff_airspeed_m_s
        w = headwind_m_s
        if w >= v:
            raise NotEnoughDataError(
                f"a headwind of {w:.1f} m/s is above the lift-off airspeed of {v:.1f} m/s"
            )
        if min(a - b * x - c * x * x for x in (max(w, 0.0), v * REACH_MARGIN)) <= 0:
            raise NotEnoughDataError(
                f"the thrust does not reach the lift-off airspeed of {v:.1f} m/s: "
                "drag and friction take all of it before",
                fix="Check thrust, mass and polar in the aircraft file.",
            )
        # Nearer to zero, what the closed form subtracts is so large that digits are lost.
        if c > 1e-5:
            return self.mass_kg * _closed(a, b, c, w, v)
        return self.mass_kg * _quadrature(a, b, c, w, v)


def _closed(a: float, b: float, c: float, w: float, v: float) -> float:
    delta = math.sqrt(b * b + 4 * a * c)
    r1, r2 = (-b + delta) / (2 * c), (-b - delta) / (2 * c)

    def i0(x: float) -> float:
        return math.log((x - r2) / (r1 - x)) / delta

    def i1(x: float) -> float:
        return -math.log(a - b * x - c * x * x) / (2 * c) - b / (2 * c) * i0(x)

    return (i1(v) - i1(w)) - w * (i0(v) - i0(w))


def _quadrature(a: float, b: float, c: float, w: float, v: float) -> float:
    """32-point Gauss-Legendre, for drag that falls with speed or vanishes."""
    node, weight = np.polynomial.legendre.leggauss(32)
    x = 0.5 * (v - w) * node + 0.5 * (v + w)
    return float(0.5 * (v - w) * np.sum(weight * (x - w) / (a - b * x - c * x * x)))


def at_reference(model: RollModel, mass_kg: float) -> RollModel:
    """The same aircraft at reference mass, standard sea-level density, on the flat."""
    return replace(model, mass_kg=mass_kg, density_kg_m3=ISA_RHO0_KG_M3, slope=0.0)
