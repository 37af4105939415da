"""What mass the roll and the climb at full throttle fit, by the aircraft file's thrust and polar.

Roll, airspeed V: ``m (dv/dt + mu g + g sin(slope)) = T - q S (cd_ground - mu cl_ground)``,
integrated over time. Climb: ``d/dt m (g h + V²/2) = (T - D) V`` (energy height), integrated over
time, with ``D = q S (cd0 + k cl²)`` and ``cl = n m g / q S``. Thrust is that at the greatest pulse
of the log.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flightlog.constants import G0_M_S2, ISA_EXPONENT, ISA_P0_PA, ISA_RHO0_KG_M3, ISA_T0_K
from flightlog.estimation.air import density, density_at_strip
from flightlog.estimation.frames import Array
from flightlog.inputs import DragPolar, Thrust
from flightlog.screening.series import column
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.analyses.phases import Sortie
    from flightlog.inputs import Inputs
    from flightlog.recording import Recording

THRUST_STD = 0.06
"""Standard uncertainty of the thrust in flight: 2 % of the stand, 2 % of voltage, which is 4 % of
thrust, and a greatest pulse that may not have been full. [-]"""

FRICTION_STD = 0.5
"""Standard uncertainty of the rolling friction: dry or wet, short or long grass. [-]"""

GROUND_DRAG_STD = 0.2
POLAR_STD = 0.15
"""Standard uncertainty of the drag on the ground, and of that in flight. [-]"""

AIRSPEED_STD_M_S = 1.0
"""Standard uncertainty of an airspeed made of ground speed and mean wind. [m/s]"""

RISING_AIR_STD_M_S = 0.4
"""Standard deviation of the air's own rise over some seconds of a climb. [m/s]"""

HEIGHT_STD = 0.03
"""Standard uncertainty of height gained: temperature of the air, and pressure at the port. [-]"""

_ROUNDS = 30


@dataclass(frozen=True, slots=True)
class Drive:
    """What the aircraft file says of thrust and drag, in some air.

    Attributes
    ----------
    thrust, polar : Thrust, DragPolar
        At standard sea-level density.
    area_m2 : float
        Wing area. [m²]
    density_kg_m3 : float
        Of the air that was flown in. [kg/m³]
    """

    thrust: Thrust
    polar: DragPolar
    area_m2: float
    density_kg_m3: float

    def thrust_n(self, airspeed_m_s: Array) -> Array:
        """Thrust at full throttle; it goes with density. [N]"""
        t = self.thrust
        full = t.static_n - t.b * airspeed_m_s - t.c * airspeed_m_s**2
        return np.asarray(full * self.density_kg_m3 / ISA_RHO0_KG_M3)

    def pressure_n(self, airspeed_m_s: Array) -> Array:
        """Dynamic pressure times wing area. [N]"""
        return np.asarray(0.5 * self.density_kg_m3 * airspeed_m_s**2 * self.area_m2)


@dataclass(frozen=True, slots=True)
class Roll:
    """A stretch of the roll at full throttle: times [s], ground speed, headwind [m/s], slope."""

    time_s: Array
    speed_m_s: Array
    headwind_m_s: float
    headwind_std_m_s: float
    slope: float


@dataclass(frozen=True, slots=True)
class Climb:
    """A stretch of the climb at full throttle: times [s], airspeed [m/s], height [m], load [-]."""

    time_s: Array
    airspeed_m_s: Array
    height_m: Array
    load: Array


def mass_in_roll(roll: Roll, drive: Drive) -> float:
    """Mass that the roll fits; NaN where it did not gain speed. [kg]"""
    polar, air = drive.polar, roll.speed_m_s + roll.headwind_m_s
    mu = polar.rolling_friction
    force = drive.thrust_n(air)
    force = force - drive.pressure_n(air) * (polar.cd_ground - mu * polar.cl_ground)
    push = float(np.trapezoid(force, roll.time_s))
    length = float(roll.time_s[-1] - roll.time_s[0])
    incline = math.atan(roll.slope)
    held = G0_M_S2 * (mu * math.cos(incline) + math.sin(incline))
    gained = float(roll.speed_m_s[-1] - roll.speed_m_s[0]) + held * length
    return push / gained if gained > 0 and push > 0 else math.nan


def mass_in_climb(climb: Climb, drive: Drive) -> float:
    """Mass that the climb fits; NaN where it gained no energy. [kg]"""
    v, polar = climb.airspeed_m_s, drive.polar
    energy = G0_M_S2 * climb.height_m + 0.5 * v**2
    gained = float(energy[-1] - energy[0])
    pressure = drive.pressure_n(v)
    if gained <= 0 or float(pressure.min()) <= 0:
        return math.nan
    mass = 5.0
    for _ in range(_ROUNDS):
        cl = climb.load * mass * G0_M_S2 / pressure
        excess = drive.thrust_n(v) - pressure * (polar.cd0 + polar.k * cl**2)
        # Half steps: more mass is more drag, and the two go round each other.
        mass = 0.5 * (mass + float(np.trapezoid(excess * v, climb.time_s)) / gained)
        if not mass > 0:
            return math.nan
    return mass


def _effects(value: float, changed: Mapping[str, Callable[[], float]]) -> dict[str, float] | None:
    effects = {name: change() - value for name, change in changed.items()}
    return effects if all(math.isfinite(e) for e in effects.values()) else None


def _common(
    drive: Drive, density_std: float, mass: Callable[[Drive], float]
) -> Mapping[str, Callable[[], float]]:
    """What both ways share: thrust and density."""
    t, more = drive.thrust, 1 + THRUST_STD
    return {
        "thrust": lambda: mass(
            replace(drive, thrust=Thrust(more * t.static_n, more * t.b, more * t.c))
        ),
        "air density": lambda: mass(
            replace(drive, density_kg_m3=drive.density_kg_m3 + density_std)
        ),
    }


def fitted_in_roll(roll: Roll, drive: Drive, density_std: float) -> Uncertain | None:
    """Mass that the roll fits, with what stands behind it. [kg]"""
    value = mass_in_roll(roll, drive)
    if not math.isfinite(value):
        return None
    p = drive.polar
    rough = replace(p, rolling_friction=p.rolling_friction * (1 + FRICTION_STD))
    dragging = replace(p, cd_ground=p.cd_ground * (1 + GROUND_DRAG_STD))
    windy = replace(roll, headwind_m_s=roll.headwind_m_s + roll.headwind_std_m_s)
    effects = _effects(
        value,
        {
            **_common(drive, density_std, lambda d: mass_in_roll(roll, d)),
            "friction": lambda: mass_in_roll(roll, replace(drive, polar=rough)),
            "drag on the ground": lambda: mass_in_roll(roll, replace(drive, polar=dragging)),
            "headwind": lambda: mass_in_roll(windy, drive),
        },
    )
    return None if effects is None else Uncertain(value, effects, "kg")


def fitted_in_climb(climb: Climb, drive: Drive, density_std: float) -> Uncertain | None:
    """Mass that the climb fits, with what stands behind it. [kg]"""
    value = mass_in_climb(climb, drive)
    if not math.isfinite(value):
        return None
    p, t = drive.polar, climb.time_s - climb.time_s[0]
    polar = replace(p, cd0=p.cd0 * (1 + POLAR_STD), k=p.k * (1 + POLAR_STD))
    fast = replace(climb, airspeed_m_s=climb.airspeed_m_s + AIRSPEED_STD_M_S)
    risen = replace(climb, height_m=climb.height_m - RISING_AIR_STD_M_S * t)
    high = replace(climb, height_m=climb.height_m * (1 + HEIGHT_STD))
    effects = _effects(
        value,
        {
            **_common(drive, density_std, lambda d: mass_in_climb(climb, d)),
            "polar": lambda: mass_in_climb(climb, replace(drive, polar=polar)),
            "airspeed": lambda: mass_in_climb(fast, drive),
            "rising air": lambda: mass_in_climb(risen, drive),
            "height": lambda: mass_in_climb(high, drive),
        },
    )
    return None if effects is None else Uncertain(value, effects, "kg")


def air_density(recording: Recording, sortie: Sortie, inputs: Inputs) -> tuple[float, float]:
    """Density of the air at the strip and its standard uncertainty. [kg/m³]

    With a measured temperature as the reference roll has it; else by the pressure and the standard
    temperature that goes with it, 10 K either way; without a pressure, that of sea level.
    """
    if inputs.air is not None:
        known = density_at_strip(
            recording, sortie, inputs.air.temperature_k, inputs.air.temperature_std_k
        )
        if known is not None:
            return known.value, known.std
    pressure = column(recording.one("baro"), "pressure_pa")
    pressure = pressure[pressure > 0]
    if pressure.size:
        p = float(np.median(pressure))
        temperature = ISA_T0_K * (p / ISA_P0_PA) ** (1 / ISA_EXPONENT)
        value = density(p, temperature)
        return value, value * 10.0 / temperature
    return ISA_RHO0_KG_M3, 0.06 * ISA_RHO0_KG_M3
