"""What a landing asks of the gear, from the sink rate and what the gear is like.

Energy balance of a gear that yields by a stroke ``d`` with efficiency ``eta`` (0.5 of a plain
spring), the wing still carrying two thirds of the weight, as certification codes for light
aeroplanes assume.
"""

from __future__ import annotations

from flightlog.constants import G0_M_S2

LIFT_SHARE = 2 / 3
"""Share of the weight that the wing carries at touchdown. [-]"""


def gear_energy_j(mass_kg: float, sink_m_s: float, stroke_m: float) -> float:
    """Energy that the gear takes: of the sink rate, and of the way that it yields. [J]"""
    fall = mass_kg * G0_M_S2 * stroke_m * (1 - LIFT_SHARE)
    return 0.5 * mass_kg * sink_m_s**2 + fall


def gear_load_factor(sink_m_s: float, stroke_m: float, efficiency: float) -> float:
    """Greatest force of the gear over the weight. [-]"""
    impact = sink_m_s**2 / (2 * G0_M_S2 * stroke_m * efficiency)
    return impact + (1 - LIFT_SHARE) / efficiency


def drop_height_m(sink_m_s: float) -> float:
    """Height of a free drop that ends with the sink rate. [m]"""
    return sink_m_s**2 / (2 * G0_M_S2)


def rebound(air_s: float) -> tuple[float, float]:
    """Height [m] and speed [m/s] of a bounce of so many seconds without lift: upper bounds."""
    return G0_M_S2 * air_s**2 / 8, G0_M_S2 * air_s / 2
