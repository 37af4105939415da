"""The pilot's model: one per aircraft, asked fifty times a second."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import atan, atan2, cos, hypot, pi, sin, tan

from . import aircraft as ac

DEG = pi / 180.0


@dataclass
class Plan:
    """What the pilot means to do, and with what habits.

    Attributes
    ----------
    throttle_time : float
        When the throttle is opened. [s]
    ramp : float
        How long it takes to open. [s]
    hold : float
        How long the brakes hold after the throttle is opened; 0 without a run-up. [s]
    throttle : float
        Take-off throttle, 0 to 1.
    rotate_speed : float
        Airspeed at which the elevator is drawn. [m/s]
    rotate_rate : float
        Rate at which the wanted pitch rises. [rad/s]
    rotate_pitch : float
        Wanted pitch at lift-off. [rad]
    roll_pitch : float
        Pitch asked for before the rotation; below 0 keeps the nose wheel down. [rad]
    ease : float
        How far the pilot lowers the nose once, just after the wheels leave, fearing the
        stall. [rad]
    ease_time : float
        For how long. [s]
    eases : int
        How often, at most: again after the wheels have touched again.
    restless : float
        Wandering of the wanted pitch. [rad rms]
    climb_speed, cruise_speed, cruise_height : float
        [m/s], [m/s], [m] over the start.
    laps : int or None
        Laps before landing; None flies straight ahead.
    attempts : tuple of float
        Ground speeds [m/s] at which a roll is given up, one for each attempt.
    flights : int
        Flights one after the other.
    gate : float
        Where the laps are counted, along the runway. [m]
    idle_after : float
        Time between standstill and the next throttle-up or the end. [s]
    stop_after : float or None
        The recording ends this long after the climb began; None flies on to the landing. [s]
    """

    throttle_time: float = 20.0
    ramp: float = 0.8
    hold: float = 0.0
    throttle: float = 1.0
    rotate_speed: float = 12.0
    rotate_rate: float = 14.0 * DEG
    rotate_pitch: float = 9.0 * DEG
    roll_pitch: float = -1.0 * DEG
    ease: float = 0.0
    ease_time: float = 0.0
    eases: int = 1
    restless: float = 0.3 * DEG
    climb_speed: float = 14.8
    cruise_speed: float = 17.0
    cruise_height: float = 40.0
    laps: int | None = None
    attempts: tuple[float, ...] = ()
    flights: int = 1
    gate: float = 150.0
    idle_after: float = 12.0
    stop_after: float | None = None


@dataclass
class Command:
    """What the hands do: throttle 0 to 1, deflections [rad], yaw rate [rad/s], brake 0 to 1.

    ``rudder`` [rad], to the left positive, is for aircraft that have one; `Pilot` leaves it alone.
    """

    throttle: float = 0.0
    elevator: float = 0.0
    aileron: float = 0.0
    steer: float = 0.0
    brake: float = 1.0
    rudder: float = 0.0


@dataclass
class Seen:
    """What the pilot sees of the aircraft, in the names and units of `dynamics.CHANNELS`."""

    s: float
    c: float
    h: float
    vs: float
    vc: float
    vh: float
    roll: float
    pitch: float
    yaw: float
    roll_rate: float
    pitch_rate: float
    airspeed: float
    contact: float
    wheel_height: float


def _clip(value: float, low: float, high: float) -> float:
    return low if value < low else high if value > high else value


def _wrap(angle: float) -> float:
    return (angle + pi) % (2.0 * pi) - pi


TURN_RADIUS = 50.0  # m, of the circuit
FAR_END, NEAR_END = 230.0, -40.0  # m along the runway, ends of the straights
FINAL_START = -250.0  # m, where the turn to the landing begins
TOUCH_AIM = 18.0  # m along the runway
GLIDE = tan(5.0 * DEG)


@dataclass
class Pilot:
    """Flies one aircraft through its plan.

    Attributes
    ----------
    phase : str
        What the pilot is doing now.
    events : list
        (time [s], word) as things happen: throttle, release, rotate, abort, stopped, armed,
        disarmed.
    """

    plan: Plan
    mass: float
    density: float
    phase: str = "rest"
    events: list[tuple[float, str]] = field(default_factory=list)
    command: Command = field(default_factory=Command)
    done: bool = False

    def __post_init__(self) -> None:
        """Set the stop-watches."""
        self._start = self.plan.throttle_time
        self._attempts = list(self.plan.attempts)
        self._flights_left = self.plan.flights
        self._since = 0.0
        self._stop_at: float | None = None
        self._wander = 0.0
        self._leg = "out"
        self._crossings = 0
        self._last_s = 0.0
        self._reset()

    def _reset(self) -> None:
        self._asked_pitch = self.plan.roll_pitch
        self._trim = 0.0
        self._power_trim = 0.45
        self._left_at: float | None = None
        self._ease_until = -1.0
        self._eases_left = self.plan.eases

    def _go(self, t: float, phase: str) -> None:
        self.phase = phase
        self._since = t
        self.events.append((t, phase))

    def act(self, t: float, seen: Seen, noise: float) -> Command:
        """Decide what the hands do at time ``t`` [s]; ``noise`` is one standard normal draw."""
        if self._stop_at is not None and t > self._stop_at:
            self.done = True
        self._wander += (-self._wander * 0.02 / 0.8) + self.plan.restless * noise * 0.224
        getattr(self, "_" + self.phase)(t, seen)
        self._last_s = seen.s
        return self.command

    # On the ground ------------------------------------------------------------------------

    def _rest(self, t: float, seen: Seen) -> None:
        out = self.command
        out.throttle, out.brake, out.steer = 0.0, 1.0, 0.0
        out.elevator = out.aileron = 0.0
        if t >= self._start:
            self._reset()
            self._go(t, "roll")

    def _open_throttle(self, t: float) -> float:
        return self.plan.throttle * _clip((t - self._since) / max(self.plan.ramp, 0.05), 0.0, 1.0)

    def _keep_straight(self, seen: Seen) -> None:
        wanted = _clip(-0.06 * seen.c, -0.2, 0.2)
        self.command.steer = _clip(2.0 * _wrap(wanted - seen.yaw), -1.0, 1.0)

    def _roll(self, t: float, seen: Seen) -> None:
        out, plan = self.command, self.plan
        out.throttle = self._open_throttle(t)
        out.brake = 1.0 if t - self._since < plan.hold else 0.0
        self._keep_straight(seen)
        self._hold_pitch(seen, plan.roll_pitch, learn=False)
        self._hold_roll(seen, 0.0)
        speed = hypot(seen.vs, seen.vc)
        if self._attempts and speed > self._attempts[0]:
            self._attempts.pop(0)
            self._go(t, "abort")
        elif seen.airspeed > plan.rotate_speed and speed > 3.0:
            self._asked_pitch = max(seen.pitch, 0.0)
            self._go(t, "rotate")

    def _rotate(self, t: float, seen: Seen) -> None:
        out, plan = self.command, self.plan
        out.throttle = self._open_throttle(t + 10.0)
        self._asked_pitch = min(self._asked_pitch + plan.rotate_rate * 0.02, plan.rotate_pitch)
        if seen.contact == 0.0 and self._left_at is None:
            self._left_at = t
            self._ease_until = t + 0.1 + plan.ease_time
            self._eases_left -= 1
        elif seen.contact and self._left_at and self._eases_left > 0 and t > self._ease_until:
            self._left_at = None
        easing = plan.ease if self._left_at and self._left_at + 0.1 < t < self._ease_until else 0.0
        self._keep_straight(seen)
        self._hold_pitch(seen, self._asked_pitch - easing + self._wander, learn=True)
        self._hold_roll(seen, 0.0)
        if seen.wheel_height > 1.5:
            if plan.stop_after is not None:
                self._stop_at = t + plan.stop_after
            self._go(t, "climb")

    def _abort(self, t: float, seen: Seen) -> None:
        out = self.command
        out.throttle = max(0.0, out.throttle - 0.06)
        out.brake = 0.22
        self._keep_straight(seen)
        self._hold_pitch(seen, self.plan.roll_pitch, learn=False)
        if hypot(seen.vs, seen.vc) < 0.03:
            self._go(t, "pause")

    def _pause(self, t: float, seen: Seen) -> None:
        out = self.command
        out.throttle, out.brake, out.steer = 0.0, 1.0, 0.0
        if t - self._since < 3.0:
            return
        if abs(seen.s) < 1.5 and abs(seen.c) < 1.5 and abs(seen.yaw) < 0.1:
            self._start = t + self.plan.idle_after
            self._go(t, "rest")
        else:
            self._go(t, "taxi_back")

    def _taxi(self, seen: Seen, heading: float, speed: float) -> None:
        out = self.command
        v = hypot(seen.vs, seen.vc)
        self._power_trim = _clip(self._power_trim + 0.002 * (speed - v), 0.15, 0.6)
        out.throttle = _clip(self._power_trim + 0.08 * (speed - v), 0.0, 0.7)
        out.brake = _clip(0.05 * (v - speed - 0.6), 0.0, 0.2)
        out.elevator = out.aileron = 0.0
        turn = _clip(1.5 * _wrap(heading - seen.yaw), -0.8, 0.8)
        out.steer = turn * _clip(v / 1.5, 0.0, 1.0)

    def _taxi_back(self, t: float, seen: Seen) -> None:
        heading = atan2(-7.0 - seen.c, -12.0 - seen.s)
        self._taxi(seen, heading, 2.8)
        if seen.s < -9.0:
            self._go(t, "line_up")

    def _line_up(self, t: float, seen: Seen) -> None:
        self._taxi(seen, _clip(-0.35 * seen.c, -1.2, 1.2), 1.6)
        if seen.s > -1.2 and abs(_wrap(seen.yaw)) < 0.5:
            self.command.throttle = 0.0
            self._go(t, "halt")

    def _halt(self, t: float, seen: Seen) -> None:
        self.command.throttle, self.command.brake, self.command.steer = 0.0, 0.15, 0.0
        if hypot(seen.vs, seen.vc) < 0.02:
            self._start = t + self.plan.idle_after
            self._go(t, "rest")

    # In the air ---------------------------------------------------------------------------

    def _hold_pitch(self, seen: Seen, pitch: float, *, learn: bool) -> None:
        miss = pitch - seen.pitch
        if learn:
            self._trim = _clip(self._trim + 0.6 * miss * 0.02, -0.25, 0.25)
        feed = 0.68 * (pitch - 0.06)
        pull = feed + self._trim + 1.3 * miss - 0.16 * seen.pitch_rate
        self.command.elevator = _clip(pull, -0.40, 0.42)

    def _hold_roll(self, seen: Seen, roll: float) -> None:
        pull = 1.0 * (roll - seen.roll) - 0.12 * seen.roll_rate
        self.command.aileron = _clip(pull, -0.40, 0.40)

    def _follow_line(self, seen: Seen, direction: float, off: float, bank_on: float) -> None:
        """Fly a course [rad] with ``off`` metres to the right of the wanted track."""
        ground = max(hypot(seen.vs, seen.vc), 5.0)
        course = atan2(seen.vc, seen.vs)
        wanted = direction + _clip(-0.025 * off, -0.7, 0.7)
        turn = _wrap(wanted - course) * 0.9 * ground / ac.GRAVITY
        self._hold_roll(seen, _clip(bank_on + turn, -44.0 * DEG, 44.0 * DEG))

    def _round_the_circuit(self, seen: Seen, near_end: float) -> None:
        """Left-hand racetrack: out along the runway, back at twice the turn's radius."""
        radius, leg = TURN_RADIUS, self._leg
        if leg == "out" and seen.s > FAR_END:
            leg = "far turn"
        elif leg == "far turn" and seen.s < FAR_END and seen.vs < 0:
            leg = "back"
        elif leg == "back" and seen.s < near_end:
            leg = "near turn"
        elif leg == "near turn" and seen.s > near_end and seen.vs > 0:
            leg = "out"
        self._leg = leg
        if leg == "out":
            self._follow_line(seen, 0.0, seen.c, 0.0)
        elif leg == "back":
            self._follow_line(seen, pi, -(seen.c + 2.0 * radius), 0.0)
        else:
            centre = FAR_END if leg == "far turn" else near_end
            ds, dc = seen.s - centre, seen.c + radius
            tangent = atan2(dc, ds) - 0.5 * pi
            ground2 = seen.vs**2 + seen.vc**2
            bank = -atan(ground2 / (ac.GRAVITY * radius))
            self._follow_line(seen, tangent, hypot(ds, dc) - radius, bank)

    def _pitch_for_sink(self, seen: Seen, climb: float) -> None:
        """Ask for the pitch that gives a rate of climb [m/s]."""
        speed = max(seen.airspeed, 9.0)
        load = 1.0 / max(cos(seen.roll), 0.6)
        need = load * self.mass * ac.GRAVITY / (0.5 * self.density * speed**2 * ac.WING_AREA)
        alpha = (min(need, 1.25) - ac.CL_AT_ZERO_PITCH) / ac.CL_SLOPE
        pitch = _clip(alpha + atan(climb / speed) + 0.04 * (climb - seen.vh), -0.15, 0.30)
        step = 9.0 * DEG * 0.02  # an unhurried hand
        self._asked_pitch = _clip(pitch, self._asked_pitch - step, self._asked_pitch + step)
        self._hold_pitch(seen, self._asked_pitch, learn=True)

    def _power_for_speed(self, seen: Seen, speed: float, extra: float = 0.0) -> None:
        miss = speed - seen.airspeed
        self._power_trim = _clip(self._power_trim + 0.0006 * miss, 0.2, 0.9)
        self.command.throttle = _clip(self._power_trim + 0.06 * miss + extra, 0.05, 1.0)

    def _climb(self, t: float, seen: Seen) -> None:
        plan = self.plan
        self.command.throttle = plan.throttle
        pitch = 10.0 * DEG + 1.6 * DEG * (seen.airspeed - plan.climb_speed) + self._wander
        ease = _clip((t - self._since) / 1.5, 0.0, 1.0)
        pitch = ease * pitch + (1.0 - ease) * plan.rotate_pitch
        self._asked_pitch = _clip(pitch - 0.05 * abs(seen.roll), 3.0 * DEG, 15.0 * DEG)
        self._hold_pitch(seen, self._asked_pitch, learn=True)
        if self.plan.laps is None:
            self._follow_line(seen, 0.0, seen.c, 0.0)
        else:
            self._round_the_circuit(seen, NEAR_END)
            self._count(seen)
        if seen.h > plan.cruise_height - 1.5:
            self._power_trim = 0.68
            self._go(t, "cruise")

    def _count(self, seen: Seen) -> None:
        gate = self.plan.gate
        if self._last_s < gate <= seen.s and abs(seen.c) < 45.0:
            self._crossings += 1

    def _cruise(self, t: float, seen: Seen) -> None:
        plan = self.plan
        self._pitch_for_sink(seen, _clip(0.35 * (plan.cruise_height - seen.h), -1.5, 1.5))
        load = 1.0 / max(cos(seen.roll), 0.6)
        self._power_for_speed(seen, plan.cruise_speed, 0.25 * (load - 1.0))
        if plan.laps is None:
            self._follow_line(seen, 0.0, seen.c, 0.0)
            return
        self._round_the_circuit(seen, NEAR_END)
        self._count(seen)
        if self._crossings > plan.laps and self._leg == "far turn":
            self._go(t, "let_down")

    def _let_down(self, t: float, seen: Seen) -> None:
        height = 27.0 if self._leg != "far turn" else self.plan.cruise_height
        slow = self.landing_speed + 1.5
        self._pitch_for_sink(seen, _clip(0.3 * (height - seen.h), -1.8, 1.0))
        self._power_for_speed(seen, slow)
        self._round_the_circuit(seen, FINAL_START)
        if self._leg == "out":
            self._go(t, "final")

    @property
    def landing_speed(self) -> float:
        """Airspeed on final: 1.22 times the stall speed. [m/s]"""
        return 1.22 * ac.stall_speed(self.mass, self.density)

    def _final(self, t: float, seen: Seen) -> None:
        slope_height = (TOUCH_AIM - seen.s) * GLIDE
        ground = max(seen.vs, 5.0)
        climb = -ground * GLIDE + 0.5 * (slope_height - seen.wheel_height)
        self._pitch_for_sink(seen, _clip(climb, -2.4, 0.5))
        self._power_for_speed(seen, self.landing_speed)
        self._follow_line(seen, 0.0, seen.c, 0.0)
        if seen.wheel_height < 2.2:
            self._go(t, "flare")

    def _flare(self, t: float, seen: Seen) -> None:
        self.command.throttle = max(0.0, self.command.throttle - 0.012)
        self._pitch_for_sink(seen, -_clip(0.55 * seen.wheel_height, 0.28, 1.2))
        bank = _clip(0.9 * _wrap(-0.02 * seen.c - atan2(seen.vc, seen.vs)) * 1.4, -0.17, 0.17)
        self._hold_roll(seen, bank if seen.wheel_height > 0.4 else 0.0)
        if int(seen.contact) & 6:
            self._go(t, "roll_out")

    def _roll_out(self, t: float, seen: Seen) -> None:
        out = self.command
        out.throttle = 0.0
        self._keep_straight(seen)
        ease = _clip((t - self._since) / 1.5, 0.0, 1.0)
        self._hold_pitch(seen, (1.0 - ease) * 5.0 * DEG - ease * 1.5 * DEG, learn=False)
        self._hold_roll(seen, 0.0)
        out.brake = 0.10 if seen.contact == 7.0 and ease >= 1.0 else 0.0
        if hypot(seen.vs, seen.vc) < 0.03:
            self._flights_left -= 1
            self._crossings, self._leg = 0, "out"
            self._go(t, "pause" if self._flights_left else "parked")

    def _parked(self, t: float, seen: Seen) -> None:
        out = self.command
        out.throttle, out.brake, out.steer, out.elevator, out.aileron = 0.0, 1.0, 0.0, 0.0, 0.0
        if t - self._since > self.plan.idle_after:
            self.done = True


def wind_components(speed: float, from_deg: float, heading_deg: float) -> tuple[float, float]:
    """Wind blowing towards +s and towards +c [m/s] of a wind from ``from_deg`` [deg true]."""
    angle = (from_deg - heading_deg) * DEG
    return -speed * cos(angle), -speed * sin(angle)
