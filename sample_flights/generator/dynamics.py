"""Motion of a batch of aircraft in fixed steps; every quantity is an array over the batch.

Axes: s along the runway in the take-off direction, c to its right, h up from the start
line's level. Yaw is measured clockwise from the runway's direction. Body axes are forward,
right, down.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from . import aircraft as ac
from . import surface
from .aircraft import Array, Build

STEP = 0.0025  # s
PILOT_EVERY = 8  # steps: 50 Hz

CHANNELS = (
    "s", "c", "h", "vs", "vc", "vh", "roll", "pitch", "yaw",
    "roll_rate", "pitch_rate", "yaw_rate", "fx", "fy", "fz", "airspeed", "rev_s", "turn",
    "voltage", "current", "energy", "charge", "throttle", "elevator", "aileron", "steer",
    "contact", "wheel_height", "wheel_load", "wind_s", "wind_c",
)  # fmt: skip
"""What is kept of every step. ``turn`` is the propeller's angle in turns, modulo 1; ``contact``
a bit per wheel (1 nose, 2 left, 4 right); ``wheel_height`` that of the lowest wheel over the
mean ground; forces are specific forces in body axes [m/s²]; energy [J], charge [C]."""

SEEN_BY_PILOT = (
    "s", "c", "h", "vs", "vc", "vh", "roll", "pitch", "yaw", "roll_rate", "pitch_rate",
    "airspeed", "contact", "wheel_height",
)  # fmt: skip


def _clip(value: Array, low: Array | float, high: Array | float) -> Array:
    """`numpy.clip` at a third of its cost on short arrays."""
    return np.asarray(np.minimum(np.maximum(value, low), high))


class Batch:
    """The state of every aircraft of a batch, and how one step changes it.

    Parameters
    ----------
    build : Build
        What each of them is.
    tracks : list of array
        Ground under the wheels, from `surface.make_tracks`, one for each.
    """

    def __init__(self, build: Build, tracks: list[npt.NDArray[np.float32]]) -> None:
        n = len(build)
        self.build = build
        self.size = n
        self._tracks = np.stack(tracks, axis=1)  # wheel, aircraft, place
        self._rows = np.arange(n)[None, :]
        self._wheels = np.arange(3)[:, None]
        self._last_place = self._tracks.shape[2] - 2
        zero = np.zeros(n)
        self.s, self.c = zero.copy(), zero.copy()
        self.vs, self.vc, self.vh = zero.copy(), zero.copy(), zero.copy()
        self.roll, self.pitch, self.yaw = zero.copy(), zero.copy(), zero.copy()
        self.roll_rate, self.pitch_rate, self.yaw_rate = zero.copy(), zero.copy(), zero.copy()
        self.rev_s, self.turn = zero.copy(), zero.copy()
        self.slow_volts, self.slower_volts = zero.copy(), zero.copy()
        self.energy, self.charge = zero.copy(), zero.copy()
        self.elevator, self.aileron = zero.copy(), zero.copy()
        # Commands, set by the pilots.
        self.throttle, self.steer, self.brake = zero.copy(), zero.copy(), zero.copy()
        self.elevator_command, self.aileron_command = zero.copy(), zero.copy()
        self.rudder_command = zero.copy()
        # Gusts, set from outside at the pilots' rate: along, cross, up.
        self.gust = np.zeros((3, n))
        self._inertia_pitch = ac.INERTIA_PITCH * build.mass / 8.0
        self._inertia_roll = ac.INERTIA_ROLL * build.mass / 8.0
        self.h = 0.262 + zero
        self.voltage = ac.CELLS * ac.cell_voltage_at_rest(build.charge_state)
        self.current = ac.AVIONICS_CURRENT + zero
        self.airspeed = zero.copy()
        self.fx, self.fy, self.fz = zero.copy(), zero.copy(), zero - ac.GRAVITY
        self.contact, self.wheel_height, self.wheel_load = zero.copy(), zero.copy(), zero.copy()
        self.wind_s, self.wind_c = zero.copy(), zero.copy()

    def step(self) -> None:
        """Advance by `STEP`."""
        b, dt = self.build, STEP
        cos, sin = np.cos, np.sin
        cr, sr = cos(self.roll), sin(self.roll)
        cp, sp = cos(self.pitch), sin(self.pitch)
        cy, sy = cos(self.yaw), sin(self.yaw)
        # Body axes in (s, c, up).
        xs, xc, xh = cp * cy, cp * sy, sp
        srsp, crsp = sr * sp, cr * sp
        ys, yc, yh = srsp * cy - cr * sy, srsp * sy + cr * cy, -sr * cp
        zs, zc, zh = crsp * cy + sr * sy, crsp * sy - sr * cy, -cr * cp

        self._wind()
        us, uc, uh = self.vs - self.wind_s, self.vc - self.wind_c, self.vh - self.gust[2]
        forward = us * xs + uc * xc + uh * xh
        right = us * ys + uc * yc + uh * yh
        down = us * zs + uc * zc + uh * zh
        speed2 = forward**2 + right**2 + down**2
        speed = np.sqrt(speed2)
        flow = np.maximum(forward, 1.0)
        alpha = _clip(np.arctan2(down, flow), -0.6, 0.6)
        beta = _clip(right / np.maximum(speed, 2.0), -0.7, 0.7)
        pressure_area = 0.5 * b.air_density * speed2 * ac.WING_AREA

        thrust = self._drive(forward)
        fx, fy, fz = self._air_forces(alpha, beta, pressure_area, forward, right, down, speed)
        fx = fx + thrust

        up, moment_pitch, moment_roll, drag_back, drag_side, load = self._wheels_on_ground(
            cp, sp, cr, cy, sy
        )
        # Body forces to the runway axes; wheels and gravity added there.
        ax = (fx * xs + fy * ys + fz * zs) / b.mass
        ay = (fx * xc + fy * yc + fz * zc) / b.mass
        az = (fx * xh + fy * yh + fz * zh) / b.mass
        lift_up = up / b.mass
        ax -= b.slope * lift_up
        az += lift_up
        # Dry friction: just enough to stop the wheel's slip within this step, at most mu N.
        along = (self.vs + ax * dt) * cy + (self.vc + ay * dt) * sy
        across = (self.vc + ay * dt) * cy - (self.vs + ax * dt) * sy
        hold, grip = drag_back / b.mass, drag_side / b.mass
        rub = -_clip(along / dt, -hold, hold)
        slip = -_clip(across / dt, -grip, grip)
        ax += rub * cy - slip * sy
        ay += rub * sy + slip * cy
        moment_pitch = moment_pitch + rub * b.mass * (self.h - b.slope * self.s)

        self.fx = ax * xs + ay * xc + az * xh
        self.fy = ax * ys + ay * yc + az * yh
        self.fz = ax * zs + ay * zc + az * zh
        az = az - ac.GRAVITY

        self._turn_rates(alpha, beta, pressure_area, flow, moment_pitch, moment_roll, load)
        self.vs = self.vs + ax * dt
        self.vc = self.vc + ay * dt
        self.vh = self.vh + az * dt
        self.s = self.s + self.vs * dt
        self.c = self.c + self.vc * dt
        self.h = self.h + self.vh * dt
        self.airspeed = speed

    def _wind(self) -> None:
        b = self.build
        height = np.maximum(self.h - b.slope * self.s, 0.0)
        # Logarithmic profile over short grass: roughness length 1 cm, wind known at 10 m.
        share = np.log1p(height / 0.01) * (1.0 / np.log1p(1000.0))
        self.wind_s = b.wind_along * share + self.gust[0]
        self.wind_c = b.wind_cross * share + self.gust[1]

    def _drive(self, forward: Array) -> Array:
        b, dt = self.build, STEP
        wanted = ac.FULL_SPEED * self.throttle * self.voltage / ac.FULL_VOLTAGE
        self.rev_s = self.rev_s + (wanted - self.rev_s) * (dt / ac.SPOOL_TIME)
        self.turn = (self.turn + self.rev_s * dt) % 1.0
        thrust, shaft = ac.thrust_and_shaft_power(self.rev_s, forward, b.air_density)
        self.current = ac.AVIONICS_CURRENT + shaft / (ac.DRIVE_EFFICIENCY * self.voltage)
        # Two slow parts of the pack's resistance: 5 s and 110 s.
        r1, r2 = 0.55 * b.resistance, 0.70 * b.resistance
        self.slow_volts = self.slow_volts + (self.current * r1 - self.slow_volts) * (dt / 5.0)
        self.slower_volts = self.slower_volts + (self.current * r2 - self.slower_volts) * (
            dt / 110.0
        )
        self.charge = self.charge + self.current * dt
        rest = ac.cell_voltage_at_rest(b.charge_state - self.charge / ac.CAPACITY)
        self.voltage = (
            ac.CELLS * rest - self.current * b.resistance - self.slow_volts - self.slower_volts
        )
        self.energy = self.energy + self.voltage * self.current * dt
        return thrust * b.thrust_scale

    def _air_forces(
        self,
        alpha: Array,
        beta: Array,
        pressure_area: Array,
        forward: Array,
        right: Array,
        down: Array,
        speed: Array,
    ) -> tuple[Array, Array, Array]:
        b = self.build
        wing = np.maximum(self.h - b.slope * self.s + ac.WING_ABOVE_CG, 0.1)
        ratio2 = (16.0 * wing / ac.SPAN) ** 2
        far = ratio2 / (1.0 + ratio2)  # McCormick's induced-drag factor
        cl = ac.lift_coefficient(alpha) * (1.0 + 0.05 * np.exp(-wing / 0.5))
        lift = pressure_area * cl
        drag = pressure_area * (ac.CD_ZERO + ac.CD_INDUCED * far * cl**2 + 0.3 * beta**2)
        per_speed = drag / np.maximum(speed, 0.1)
        fx = lift * np.sin(alpha) - per_speed * forward
        fy = pressure_area * ac.SIDE_SLOPE * beta - per_speed * right
        fz = -lift * np.cos(alpha) - per_speed * down
        return fx, fy, fz

    def _wheels_on_ground(
        self, cp: Array, sp: Array, cr: Array, cy: Array, sy: Array
    ) -> tuple[Array, Array, Array, Array, Array, Array]:
        b = self.build
        xb, yb = ac.WHEEL_FORWARD[:, None], ac.WHEEL_RIGHT[:, None]
        zb = ac.WHEEL_BELOW[:, None]
        place = self.s + cy * xb - sy * yb
        plane = b.slope * place
        height = self.h + sp * xb - np.sin(self.roll) * cp * yb - cr * cp * zb
        above = height - plane
        self.wheel_height = np.minimum(np.minimum(above[0], above[1]), above[2])
        at = (place - surface.FIRST) * (1.0 / surface.GRID)
        index = np.minimum(np.maximum(at.astype(np.int64), 0), self._last_place)
        low = self._tracks[self._wheels, self._rows, index]
        rise = self._tracks[self._wheels, self._rows, index + 1] - low
        ground = plane + low + (at - index) * rise
        steep = (rise * (1.0 / surface.GRID) + b.slope) * self.vs
        arm = cp * xb + sp * zb
        sink = steep - (self.vh + arm * self.pitch_rate - yb * self.roll_rate)
        pressed = ground - height
        touching = pressed > 0.0
        force = np.where(
            touching,
            np.maximum(
                ac.WHEEL_STIFFNESS[:, None] * pressed + ac.WHEEL_DAMPING[:, None] * sink, 0.0
            ),
            0.0,
        )
        if not touching.any():
            nothing = np.zeros(self.size)
            self.contact, self.wheel_load = nothing, nothing
            return nothing, nothing, nothing, nothing, nothing, nothing
        self.contact = touching[0] + 2.0 * touching[1] + 4.0 * touching[2]
        load = force[0] + force[1] + force[2]
        self.wheel_load = load
        turning = force * arm
        moment_pitch = turning[0] + turning[1] + turning[2]
        moment_roll = ac.WHEEL_RIGHT[2] * (force[1] - force[2])
        drag_back = (b.rolling_friction + 1.1 * self.brake) * load
        return load, moment_pitch, moment_roll, drag_back, 0.7 * load, load

    def _turn_rates(
        self,
        alpha: Array,
        beta: Array,
        pressure_area: Array,
        flow: Array,
        moment_pitch: Array,
        moment_roll: Array,
        load: Array,
    ) -> None:
        b, dt = self.build, STEP
        self._move_surfaces(alpha)
        steady_turn = ac.GRAVITY * np.tan(_clip(self.roll, -1.2, 1.2)) / np.maximum(flow, 5.0)
        body_pitch_rate = self.pitch_rate * np.cos(self.roll) + self.yaw_rate * np.sin(self.roll)
        cm = (
            ac.CM_ALPHA * (alpha - 0.06)
            + ac.CM_RATE * body_pitch_rate * ac.CHORD / (2.0 * flow)
            + ac.CM_ELEVATOR * self.elevator
        )
        bend = (pressure_area * ac.CHORD * cm + moment_pitch) / self._inertia_pitch
        self.pitch_rate = self.pitch_rate + bend * dt
        cl = (
            ac.CL_AILERON * self.aileron
            + ac.CL_P * self.roll_rate * ac.SPAN / (2.0 * flow)
            + ac.CL_BETA * beta
        )
        twist = (pressure_area * ac.SPAN * cl + moment_roll) / self._inertia_roll
        self.roll_rate = self.roll_rate + twist * dt
        # Yaw: wheels steer while they carry, the fin turns the nose into the air otherwise.
        weight = _clip(load / (b.mass * ac.GRAVITY) * 4.0, 0.0, 1.0)
        airborne = steady_turn + self._weathercock(beta, flow)
        wanted = weight * self.steer + (1.0 - weight) * airborne
        self.yaw_rate = self.yaw_rate + (wanted - self.yaw_rate) * (dt / 0.15)
        self.pitch = self.pitch + self.pitch_rate * dt
        self.roll = self.roll + self.roll_rate * dt
        self.yaw = self.yaw + self.yaw_rate * dt

    def _move_surfaces(self, alpha: Array) -> None:
        dt = STEP
        self.elevator = self.elevator + (self.elevator_command - self.elevator) * (
            dt / ac.SERVO_TIME
        )
        self.aileron = self.aileron + (self.aileron_command - self.aileron) * (dt / ac.SERVO_TIME)

    def _weathercock(self, beta: Array, flow: Array) -> Array:
        """Turning rate beside the steady turn [rad/s]: the fin's; no rudder is modelled here."""
        return 1.8 * beta
