"""Aircraft and pilot of whole flights: a rudder, stick noise, play in a linkage, hard landings."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import atan2, cos, hypot, tan
from random import Random

import numpy as np
import numpy.typing as npt

from . import aircraft as ac
from .aircraft import Array, stack_builds
from .dynamics import CHANNELS, STEP, Batch
from .pilot import Command, Pilot, Seen, _clip, _wrap
from .run import Model, Setting

WHOLE_CHANNELS = (
    *CHANNELS, "elevator_command", "aileron_command", "rudder_command", "elevator_servo", "rudder",
    "stick_yaw",
)  # fmt: skip
"""``elevator`` is where the surface is, ``elevator_servo`` where its servo is: with play in the
linkage the two differ."""

RUDDER_RATE = 3.0  # 1/s: turning rate over rudder angle at 16 m/s
FLOAT_SLOPE = 0.35  # where a free elevator trails: per rad of angle of attack
FLOAT_TIME = 0.1  # s: how fast the air moves it through the gap, against the hinge's friction
LATE_PULL = 0.35  # rad/s: how fast a frightened pilot lifts the nose


class WholeBatch(Batch):
    """A batch with a rudder, and with free play between the elevator and its servo.

    The surface follows its servo only when the gap is used up; within the gap the air moves it
    to where it trails freely, which shifts with the angle of attack and so with every gust.
    ``play`` of the build is the whole gap [rad], ``float_at`` where the elevator trails in
    cruise [rad, nose up positive].
    """

    def __init__(self, settings: list[Setting], tracks: list[npt.NDArray[np.float32]]) -> None:
        super().__init__(stack_builds([s.build for s in settings]), tracks)
        self._half_gap = 0.5 * np.array([s.build["play"] for s in settings])
        self._float_at = np.array([s.build["float_at"] for s in settings])
        self.elevator_servo, self.rudder = self.elevator.copy(), self.elevator.copy()

    @property
    def stick_yaw(self) -> Array:
        """What steers the nose wheel."""
        return self.steer

    def _move_surfaces(self, alpha: Array) -> None:
        share = STEP / ac.SERVO_TIME
        self.elevator_servo = (
            self.elevator_servo + (self.elevator_command - self.elevator_servo) * share
        )
        self.aileron = self.aileron + (self.aileron_command - self.aileron) * share
        self.rudder = self.rudder + (self.rudder_command - self.rudder) * share
        trail = self._float_at + FLOAT_SLOPE * (alpha - 0.06)
        free = self.elevator + (trail - self.elevator) * (STEP / FLOAT_TIME)
        low, high = self.elevator_servo - self._half_gap, self.elevator_servo + self._half_gap
        self.elevator = np.asarray(np.minimum(np.maximum(free, low), high))

    def _weathercock(self, beta: Array, flow: Array) -> Array:
        return 1.8 * beta - RUDDER_RATE * self.rudder * flow / 16.0


@dataclass
class WholePilot(Pilot):
    """A pilot with restless hands, a yaw damper, and a touchdown of its own.

    Attributes
    ----------
    touch : float
        Rate of descent at which the pilot lets the wheels touch. [m/s]
    hard : bool
        Whether the aircraft is driven onto the ground at that rate, without a flare.
    stick : float
        Noise of the hands on elevator and aileron in the air. [rad rms]
    seed : int
        Of that noise.
    """

    touch: float = 0.4
    hard: bool = False
    stick: float = 0.004
    seed: int = 0
    command: Command = field(default_factory=Command)

    def __post_init__(self) -> None:
        """Set the stop-watches, and seed the hands."""
        super().__post_init__()
        self._random = Random(self.seed)
        self._hands = [0.0, 0.0, 0.0]
        self._last_yaw = 0.0

    def act(self, t: float, seen: Seen, noise: float) -> Command:
        """Decide what the hands do at time ``t`` [s]."""
        out = super().act(t, seen, noise)
        turn = _wrap(seen.yaw - self._last_yaw) / 0.02
        self._last_yaw = seen.yaw
        if self.phase in ("rest", "parked", "pause"):
            out.rudder = 0.0
            return out
        for i in range(3):
            self._hands[i] += -self._hands[i] * 0.02 / 0.4 + self._random.gauss(0.0, 0.316)
        if seen.contact:
            out.rudder = _clip(-0.3 * out.steer, -0.4, 0.4)
            return out
        if self.phase not in ("roll", "rotate", "flare", "roll_out"):
            out.elevator = _clip(out.elevator + self.stick * self._hands[0], -0.40, 0.42)
            out.aileron = _clip(out.aileron + 1.5 * self.stick * self._hands[1], -0.40, 0.40)
        steady = ac.GRAVITY * tan(_clip(seen.roll, -1.2, 1.2)) * cos(seen.pitch)
        excess = turn - steady / max(seen.airspeed, 8.0)
        rudder = 0.25 * excess - 0.15 * out.aileron + self.stick * self._hands[2]
        out.rudder = _clip(rudder, -0.35, 0.35)
        return out

    @property
    def landing_speed(self) -> float:
        """Airspeed on final; who flares badly is often slow as well. [m/s]"""
        return (1.12 if self.hard else 1.22) * ac.stall_speed(self.mass, self.density)

    def _final(self, t: float, seen: Seen) -> None:
        super()._final(t, seen)
        if self.hard and self.phase == "final" and seen.wheel_height < 2.5 + 1.5 * self.touch:
            self._go(t, "flare")

    def _flare(self, t: float, seen: Seen) -> None:
        out = self.command
        if self.hard:
            if seen.wheel_height < 0.33 * self.touch:  # far too late, but the main wheels are first
                self._asked_pitch = min(self._asked_pitch + LATE_PULL * 0.02, 0.06)
                self._hold_pitch(seen, self._asked_pitch, learn=False)
            else:
                self._pitch_for_sink(seen, -self.touch)
            if seen.wheel_height < 1.2:
                out.throttle = max(0.0, out.throttle - 0.02)
            else:
                self._power_for_speed(seen, self.landing_speed)
        else:
            out.throttle = max(0.0, out.throttle - 0.012)
            self._pitch_for_sink(seen, -_clip(0.55 * seen.wheel_height, self.touch, 1.2))
        bank = _clip(0.9 * _wrap(-0.02 * seen.c - atan2(seen.vc, seen.vs)) * 1.4, -0.17, 0.17)
        self._hold_roll(seen, bank if seen.wheel_height > 0.4 else 0.0)
        if int(seen.contact) & 6 or (seen.contact and hypot(seen.vs, seen.vc) < 4.0):
            self._go(t, "roll_out")


def whole_pilot(setting: Setting) -> WholePilot:
    """Give the flight its pilot."""
    b = setting.build
    return WholePilot(setting.plan, b["mass"], b["air_density"], touch=b["touch"],
                      hard=bool(b["hard"]), stick=b["stick"],
                      seed=setting.seed[0] * 100_003 + setting.seed[1])  # fmt: skip


WHOLE = Model(WholeBatch, whole_pilot, WHOLE_CHANNELS)
