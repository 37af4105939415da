"""How far an aircraft rolls until it stands, once the motor is off: by wheel friction and drag.

    x = v0 t + ∫ v dv / a(v),  a = (mu (W - L) + D) / m + g slope

with lift and drag of the ground attitude at the airspeed v + headwind. Without brakes; what a
stopped propeller adds is left out, so that the true distance is rather shorter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.errors import NotEnoughDataError

REACTION_S = 1.0
"""From the point where it is given up until the motor is off; the speed is held meanwhile. [s]"""
_STEPS = 200


@dataclass(frozen=True, slots=True)
class Stopping:
    """What slows the aircraft down.

    Attributes
    ----------
    mass_kg, density_kg_m3 : float
        [kg], [kg/m³]
    rolling_friction : float
        Friction over wheel load. [-]
    slope : float
        Rise over run in the direction of take-off. [-]
    lift_area_m2, drag_area_m2 : float
        Lift and drag coefficient of the ground attitude times wing area; 0 where not known. [m²]
    """

    mass_kg: float
    density_kg_m3: float
    rolling_friction: float
    slope: float = 0.0
    lift_area_m2: float = 0.0
    drag_area_m2: float = 0.0

    def distance_m(self, ground_speed_m_s: float, headwind_m_s: float = 0.0) -> float:
        """Give the distance from a ground speed to standstill, `REACTION_S` included. [m]

        Raises
        ------
        NotEnoughDataError
            If it does not come to a standstill by itself.
        """
        step = ground_speed_m_s / _STEPS
        speed = (np.arange(_STEPS) + 0.5) * step
        air = speed + headwind_m_s
        pressure = 0.5 * self.density_kg_m3 * air * np.abs(air)
        weight = self.mass_kg * G0_M_S2
        load = np.maximum(0.0, weight - np.maximum(pressure, 0.0) * self.lift_area_m2)
        force = self.rolling_friction * load + pressure * self.drag_area_m2
        slows = force / self.mass_kg + G0_M_S2 * math.sin(math.atan(self.slope))
        if slows.min() <= 0:
            raise NotEnoughDataError(
                "with the motor off it does not come to a standstill by itself",
                fix="The slope or the wind carries it on: take off the other way.",
            )
        return float(REACTION_S * ground_speed_m_s + (speed / slows).sum() * step)
