"""The Pannier: a made-up 8 kg electric cargo aeroplane on tricycle gear.

Numbers are those of a plain, slow, high-wing freighter of 2.2 m span; anything that differs
between aircraft, days and strips is an array over the batch in `Build`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

GRAVITY = 9.80665  # m/s², standard

# Wing and tail
WING_AREA = 0.55  # m²
SPAN = 2.2  # m
CHORD = 0.26  # m
WING_ABOVE_CG = 0.08  # m, high wing
CL_AT_ZERO_PITCH = 0.50  # set by the wing's incidence on its gear
CL_SLOPE = 5.0  # 1/rad
CL_SOFT = 1.18  # above this the lift curve bends over ...
CL_MAX = 1.50  # ... towards this
CL_MIN = -0.7
CD_ZERO = 0.040  # fixed gear included
CD_INDUCED = 0.050  # times CL²
SIDE_SLOPE = -0.45  # side force per rad of sideslip
CM_ALPHA = -0.75
CM_RATE = -13.0
CM_ELEVATOR = 1.10  # per rad, positive = nose up
CL_P = -0.48
CL_AILERON = 0.22
CL_BETA = -0.05
INERTIA_PITCH = 0.58  # kg m² at 8 kg
INERTIA_ROLL = 0.50
CENTRE_TO_AXLE = 0.065  # m, main axle behind the centre of gravity

# Wheels: nose, left, right: forward and right of the centre of gravity, and the tyre's
# lowest point below it when the leg is unloaded. [m]
WHEEL_FORWARD = np.array([0.42, -CENTRE_TO_AXLE, -CENTRE_TO_AXLE])
WHEEL_RIGHT = np.array([0.0, -0.24, 0.24])
WHEEL_BELOW = np.array([0.272, 0.275, 0.275])
WHEEL_STIFFNESS = np.array([1500.0, 2600.0, 2600.0])  # N/m
WHEEL_DAMPING = np.array([35.0, 62.0, 62.0])  # N s/m

# Propeller 16 x 8 in: fits of the usual shape to static and wind-tunnel tests of that size
PROPELLER = 0.4064  # m
CT0, CT1, CT2 = 0.0860, 0.0743, 0.0496
CP0, CP1, CP2 = 0.0380, 0.1, -1.1
FULL_SPEED = 115.0  # rev/s at full throttle and FULL_VOLTAGE
FULL_VOLTAGE = 22.8
DRIVE_EFFICIENCY = 0.82  # motor and speed controller
SPOOL_TIME = 0.11  # s
AVIONICS_CURRENT = 0.45  # A

# Battery: 6 cells, 4.0 Ah
CELLS = 6
CAPACITY = 4.0 * 3600.0  # C
NOMINAL_ENERGY_WH = 88.8

SERVO_TIME = 0.05  # s


@dataclass
class Build:
    """What differs from one simulated flight to the next; each an array over the batch.

    Attributes
    ----------
    mass : array
        [kg]
    air_density : array
        [kg/m³]
    thrust_scale : array
        Propeller thrust against the model's. [-]
    rolling_friction : array
        [-]
    slope : array
        Rise over run along the runway, positive uphill in the take-off direction. [-]
    charge_state : array
        State of charge at the start, 0 to 1. [-]
    resistance : array
        Ohmic resistance of the pack, [ohm]; the two slow parts are in proportion.
    wind_along, wind_cross : array
        Mean wind at 10 m: blowing towards +s and towards +c (right). [m/s]
    gust : array
        Standard deviation of the along-runway gust at 10 m. [m/s]
    gust_time : array
        Correlation time of the gusts. [s]
    ground_shake : array
        Broadband vibration that the wheels bring to the sensors at 10 m/s. [m/s² rms]
    """

    mass: Array
    air_density: Array
    thrust_scale: Array
    rolling_friction: Array
    slope: Array
    charge_state: Array
    resistance: Array
    wind_along: Array
    wind_cross: Array
    gust: Array
    gust_time: Array
    ground_shake: Array

    def __len__(self) -> int:
        return int(self.mass.size)


def stack_builds(rows: list[dict[str, float]]) -> Build:
    """Make a `Build` of one dictionary per flight."""
    names = [field.name for field in fields(Build)]
    return Build(**{name: np.array([row[name] for row in rows], dtype=float) for name in names})


def lift_coefficient(alpha: Array) -> Array:
    """Lift coefficient over angle of attack [rad]: straight, then bending over to the stall."""
    linear = CL_AT_ZERO_PITCH + CL_SLOPE * alpha
    room = CL_MAX - CL_SOFT
    bent = CL_MAX - room * np.exp(-np.maximum(linear - CL_SOFT, 0.0) / room)
    return np.maximum(np.where(linear > CL_SOFT, bent, linear), CL_MIN)


def thrust_and_shaft_power(rev_s: Array, airspeed: Array, density: Array) -> tuple[Array, Array]:
    """Thrust [N] and shaft power [W] of the propeller at ``rev_s`` [1/s] and airspeed [m/s]."""
    turns = rev_s * PROPELLER
    head = density * PROPELLER**2
    thrust = head * (CT0 * turns**2 - CT1 * turns * airspeed - CT2 * airspeed**2)
    power = head * turns * (CP0 * (turns**2 + CP1 * turns * airspeed + CP2 * airspeed**2))
    return np.where(rev_s > 2.0, thrust, 0.0), np.maximum(power, 0.0)


def cell_voltage_at_rest(charge_state: Array) -> Array:
    """Open-circuit voltage [V] of one lithium-polymer cell.

    Chen and Rincon-Mora, IEEE Trans. Energy Conversion 21(2), 2006, equation for a small
    polymer cell.
    """
    s = np.clip(charge_state, 0.0, 1.0)
    return np.asarray(
        -1.031 * np.exp(-35.0 * s) + 3.685 + s * (0.2156 + s * (-0.1178 + s * 0.3201))
    )


def stall_speed(mass: float, density: float = 1.225) -> float:
    """Stall speed [m/s] in level flight at ``mass`` [kg]."""
    return float(np.sqrt(2.0 * mass * GRAVITY / (density * WING_AREA * CL_MAX)))
