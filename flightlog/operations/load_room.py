"""Room to stop: how far from the start line a take-off can still be given up on the runway."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flightlog.inputs import Aircraft
from flightlog.operations.load_setting import Today
from flightlog.prediction.stopping import REACTION_S, Stopping
from flightlog.prediction.takeoff_model import TakeoffModel

ON_GRASS, ON_HARD = 0.04, 0.02
"""Rolling friction where the aircraft's file has no polar: the least that is usual. [-]"""
LIFTOFF_SCATTER = 0.025
"""Of the airspeed at lift-off from one take-off to the next, as a share. [-]"""
_ONE_SIDED_95 = 1.645
_AIRSPEED = "lift-off airspeed"


@dataclass(frozen=True, slots=True)
class Room:
    """What the aircraft has to stop, and how it stops.

    Attributes
    ----------
    length_m : float
        From the start line to where the runway ends.
    friction : float
        Of the wheels. [-]
    lift_area_m2, drag_area_m2 : float
        Of the ground attitude.
    assumed : str
        In words.
    today : Today
        Wind and air.
    model : TakeoffModel
        Says how fast the aircraft lifts off.
    """

    length_m: float
    friction: float
    lift_area_m2: float
    drag_area_m2: float
    assumed: str
    today: Today
    model: TakeoffModel

    def stop_m(self, mass_kg: float) -> float:
        """Give the distance from the speed that 95 of 100 lift-offs keep to standstill. [m]

        Raises
        ------
        NotEnoughDataError
            If it does not come to a standstill by itself.
        """
        today = self.today
        stopping = Stopping(
            mass_kg,
            today.density_kg_m3,
            self.friction,
            today.runway.slope,
            self.lift_area_m2,
            self.drag_area_m2,
        )
        ground = max(0.0, self._fastest(mass_kg) - today.headwind_m_s)
        return stopping.distance_m(ground, today.headwind_m_s)

    def _fastest(self, mass_kg: float) -> float:
        usual = self.model.prior.airspeed_at(mass_kg, self.today.density_kg_m3)
        found = next(e.posterior for e in self.model.effects if e.name == _AIRSPEED)
        return usual * math.exp(found[0] + _ONE_SIDED_95 * math.hypot(found[1], LIFTOFF_SCATTER))


def room_of(aircraft: Aircraft, today: Today, model: TakeoffModel) -> Room | None:
    """Give the room to stop, None where the site's file does not say how long the runway is."""
    length = today.runway.length_m
    if length is None:
        return None
    polar, area = aircraft.polar, aircraft.wing_area_m2
    if polar is not None and area is not None:
        said = f"rolling friction {polar.rolling_friction:g} and drag of the aircraft's file"
        friction, lift, drag = (
            polar.rolling_friction,
            area * polar.cl_ground,
            area * polar.cd_ground,
        )
    else:
        friction = ON_GRASS if "grass" in today.runway.surface.casefold() else ON_HARD
        said = f"rolling friction {friction:g} and no drag, as the aircraft's file has no [polar]"
        lift = drag = 0.0
    assumed = f"assumed: {REACTION_S:g} s until the motor is off, no brakes, {said}"
    return Room(length, friction, lift, drag, assumed, today, model)
