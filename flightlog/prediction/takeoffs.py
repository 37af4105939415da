"""The tables that the take-off model learns from and is asked about. SI, headwind positive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SPEED_STD_M_S = 0.15
"""Standard uncertainty of a ground speed at lift-off that comes without one. [m/s]"""
AIRSPEED_STD_M_S = 0.3
"""The same of an airspeed by the aircraft's sensor. [m/s]"""


@dataclass(frozen=True, slots=True)
class Takeoff:
    """One take-off that was flown, or a roll that was given up.

    Attributes
    ----------
    name : str
        By which a person knows it.
    day : str
        Flights of one day share the day's grass, air and mood; any text that is equal for them.
    roll_m, roll_std_m : float
        Ground roll and its standard uncertainty; of a roll that was given up, how far it went
        without lifting off. [m]
    mass_kg, density_kg_m3 : float
        Take-off mass and air density.
    headwind_m_s : float
        As it was measured beside the strip. [m/s]
    slope : float
        Rise over run in the direction of take-off. [-]
    surface : str
        Of the runway, in words; equal words are one surface.
    liftoff_ground_speed_m_s, liftoff_ground_speed_std_m_s : float or None, float
        [m/s]
    liftoff_airspeed_m_s, liftoff_airspeed_std_m_s : float or None, float
        By the aircraft's own airspeed sensor, where it has one: it does not depend on the wind
        that was entered. [m/s]
    given_up : bool
        Whether it did not lift off.
    pack_ratio : float
        Rest voltage of the pack before it over that of a full one. [-]
    """

    name: str
    day: str
    roll_m: float
    roll_std_m: float
    mass_kg: float
    density_kg_m3: float
    headwind_m_s: float
    slope: float = 0.0
    surface: str = ""
    liftoff_ground_speed_m_s: float | None = None
    liftoff_ground_speed_std_m_s: float = SPEED_STD_M_S
    liftoff_airspeed_m_s: float | None = None
    liftoff_airspeed_std_m_s: float = AIRSPEED_STD_M_S
    given_up: bool = False
    pack_ratio: float = 1.0

    @property
    def airspeed_m_s(self) -> float | None:
        """Airspeed at lift-off: of the sensor, else ground speed and entered wind [m/s]."""
        if self.given_up:
            return None
        if self.liftoff_airspeed_m_s is not None:
            return self.liftoff_airspeed_m_s
        if self.liftoff_ground_speed_m_s is None:
            return None
        return self.liftoff_ground_speed_m_s + self.headwind_m_s


@dataclass(frozen=True, slots=True)
class Setting:
    """What the next take-off is flown under; the meanings are those of `Takeoff`."""

    mass_kg: float
    density_kg_m3: float
    headwind_m_s: float
    day: str
    slope: float = 0.0
    surface: str = ""
    pack_ratio: float = 1.0


@dataclass(frozen=True, slots=True)
class Wind:
    """Mean wind and greatest gust of one measurement. [m/s]"""

    mean_m_s: float
    gust_m_s: float


def flown(takeoffs: Sequence[Takeoff]) -> tuple[Takeoff, ...]:
    """Give those that lifted off."""
    return tuple(t for t in takeoffs if not t.given_up)
