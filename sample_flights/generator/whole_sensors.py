"""What the sensors of whole flights write beside those of `sensors`: cells, tail, link, supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from . import aircraft as ac
from . import sensors
from .aircraft import Array
from .dynamics import STEP
from .run import Flown
from .sensors import Rng

IMU_FROM_AXLE = (0.12, 0.0, -0.25)  # m: forward, right, down
IMU_FROM_CENTRE = (IMU_FROM_AXLE[0] - ac.CENTRE_TO_AXLE, 0.0, IMU_FROM_AXLE[2] + 0.22)

# Outputs: name, and pulse [us] over deflection [deg, trailing edge down or left positive].
AILERON = ((1080.0, 23.0), (1500.0, 0.0), (1930.0, -26.0))
ELEVATOR = ((1060.0, 25.0), (1490.0, 0.0), (1930.0, -29.0))
RUDDER = ((1100.0, 27.0), (1510.0, 0.0), (1890.0, -23.0))
LEFT_TAIL = ((1040.0, 34.0), (1500.0, 0.0), (1960.0, -37.0))
RIGHT_TAIL = ((1050.0, -36.0), (1505.0, 0.0), (1970.0, 34.0))
OUTPUTS = {
    "plain": {1: ("aileron", AILERON), 2: ("elevator", ELEVATOR), 3: ("motor", None),
              4: ("rudder", RUDDER)},
    "inverted v": {1: ("aileron", AILERON), 2: ("left tail", LEFT_TAIL), 3: ("motor", None),
                   4: ("right tail", RIGHT_TAIL), 5: ("nose wheel", None)},
}  # fmt: skip


def deflections(flown: Flown, tail: str) -> dict[int, Array]:
    """Commanded deflection of every surface by output. [deg, trailing edge down, rudder left]

    Each panel of the inverted V carries the elevator's and the rudder's share: left panel down
    and right panel up turn the nose to the right, as their upper sides look outwards.
    """
    down = -np.degrees(flown["elevator_command"].astype(float))
    left = np.degrees(flown["rudder_command"].astype(float))
    out = {1: -np.degrees(flown["aileron_command"].astype(float))}
    if tail == "plain":
        return out | {2: down, 4: left}
    return out | {2: down - 0.6 * left, 4: down + 0.6 * left}


def outputs_table(
    flown: Flown, rate: float, boot: float, tail: str, reversed_travel: float = 0.0
) -> pd.DataFrame:
    """What the servos were told, through the linkages' tables, one row per channel and sample.

    ``reversed_travel`` above 0 reverses the right panel's pulses about its middle, and makes
    their travel that many times what its linkage asks for.
    """
    when = np.arange(0.007, flown.time[-1], 1.0 / rate)
    at = np.minimum((when / STEP).astype(np.int64), flown.time.size - 1)
    angle = deflections(flown, tail)
    pulses = {}
    for channel, (name, linkage) in OUTPUTS[tail].items():
        if name == "motor":
            pulses[channel] = 1000.0 + 950.0 * flown["throttle"][at].astype(float)
        elif linkage is None:
            pulses[channel] = 1500.0 + 400.0 * flown["stick_yaw"][at].astype(float)
        else:
            pulses[channel] = pulse_of(angle[channel][at], linkage)
    if reversed_travel > 0.0:
        middle = RIGHT_TAIL[1][0]
        turned = middle - reversed_travel * (pulses[4] - middle)
        pulses[4] = np.clip(turned, 900.0, 2100.0)
    return pd.DataFrame({
        "time_s": np.repeat(when + boot, len(pulses)),
        "channel": np.tile(list(pulses), when.size),
        "pulse_us": np.round(np.stack(list(pulses.values()), axis=1).ravel()),
    })  # fmt: skip


def pulse_of(angle: Array, linkage: tuple[tuple[float, float], ...]) -> Array:
    """Pulse [us] that gives a deflection [deg]."""
    points = sorted((deg, pulse) for pulse, deg in linkage)
    return np.asarray(np.interp(angle, [p[0] for p in points], [p[1] for p in points]))


@dataclass
class WholeImu(sensors.Imu):
    """An inertial sensor away from the centre of gravity, on an airframe that rings.

    Attributes
    ----------
    first_order : float
        First-order vibration at 115 rev/s, sideways; other axes have shares of it. [m/s² rms]
    blade_pass, third, fourth : float
        The multiples, upwards. [m/s² rms]
    broad : float
        Broadband at 115 rev/s. [m/s² rms]
    structure_hz, structure_damping, structure : float
        One resonance of the airframe, [Hz], [-], and its level at 17 m/s. [m/s² rms]
    """

    first_order: float = 0.8
    blade_pass: float = 0.4
    third: float = 0.1
    fourth: float = 0.15
    broad: float = 0.35
    structure_hz: float = 31.0
    structure_damping: float = 0.02
    structure: float = 0.15

    FIRST_SHARE = (0.35, 1.0, 0.8)  # forward, right, down: the unbalance turns across the shaft
    OTHER_SHARE = (0.8, 0.6, 1.0)

    def table(self, flown: Flown, boot: float, rng: Rng) -> tuple[pd.DataFrame, float]:
        """Samples as logged, and the rms of the motor's share in them at full power."""
        x, _, z = IMU_FROM_CENTRE
        p, q, r = (np.asarray(v) for v in sensors.body_rates(flown))
        dp, dq, dr = (np.gradient(v, STEP) for v in (p, q, r))
        moved = Flown(flown.time, dict(flown.channel), flown.events, flown.setting)
        shift = (
            dq * z - (q * q + r * r) * x + p * r * z,
            dr * x - dp * z + p * q * x + q * r * z,
            -dq * x + p * r * x - (p * p + q * q) * z,
        )
        for name, extra in zip(("fx", "fy", "fz"), shift, strict=True):
            moved.channel[name] = (flown[name] + extra).astype(np.float32)
        return super().table(moved, boot, rng)

    def first_order_rms(self, rev_s: Array) -> Array:
        """First-order level of the three axes before sampling, at revolutions. [m/s² rms]"""
        level = self.first_order * float(np.sqrt(np.mean((rev_s / 115.0) ** 4)))
        return np.array(self.FIRST_SHARE) * level

    def _motor(self, flown: Flown, take: sensors.Index, rng: Rng) -> tuple[Array, float]:
        rev = flown["rev_s"][take].astype(float)
        turn = flown["turn"][take].astype(float)
        level = (rev / 115.0) ** 2
        shake = np.zeros((3, take.size))
        quarter = np.array([0.1, 0.0, 0.25])[:, None]  # turns: a turning force, side then down
        for k, size in enumerate((self.first_order, self.blade_pass, self.third, self.fourth), 1):
            gain = np.abs(np.sinc(k * rev / self.rate)) if self.averaged else 1.0
            loose = rng.uniform(0.0, 1.0) + (rng.uniform(0.0, 1.0, 3)[:, None] if k > 1 else 0.0)
            share = self.FIRST_SHARE if k == 1 else self.OTHER_SHARE
            size3 = np.sqrt(2.0) * size * np.array(share) * rng.uniform(0.95, 1.05, 3)
            phase = loose + (quarter if k == 1 else 0.0)
            shake += size3[:, None] * gain * level * np.sin(2 * np.pi * (k * turn + phase))
        narrow = np.sqrt(self.rate / 400.0) if self.averaged else 1.0
        shake += self.broad * level * rng.standard_normal(shake.shape) * narrow
        full = level > 0.8 * level.max() if level.max() > 0.1 else np.zeros(take.size, bool)
        at_full = float(np.sqrt(np.mean(shake[2, full] ** 2))) if full.any() else 0.0
        return shake + self._structure(flown, take, rng), at_full

    def _structure(self, flown: Flown, take: sensors.Index, rng: Rng) -> Array:
        """One mode, shaken by the air and struck by the wheels. [m/s²]"""
        from scipy.signal import lfilter

        n, w = flown.time.size, 2 * np.pi * self.structure_hz * STEP
        keep = np.exp(-self.structure_damping * w)
        poles = [1.0, -2.0 * keep * np.cos(w), keep**2]
        unit = lfilter([1.0, -1.0], poles, rng.standard_normal(n))
        unit *= self.structure / max(float(np.std(unit)), 1e-12)
        air = (flown["airspeed"].astype(float) / 17.0) ** 2
        load = flown["wheel_load"].astype(float) / flown.setting.build["mass"]
        struck = lfilter([1.0, -1.0], poles, np.gradient(load)) * 0.02
        one = (unit * air + struck)[take]
        if self.averaged:
            one = one * np.sinc(self.structure_hz / self.rate)
        return np.array([0.3, 0.2, 1.0])[:, None] * one


@dataclass
class Cells:
    """Cells of the pack: what each differs from their mean.

    Attributes
    ----------
    rested : array, shape (cells,)
        Of the voltage at rest. [V], zero on average
    share : array, shape (cells,)
        Of the pack's resistance; adds up to 1.
    """

    rested: Array
    share: Array

    def voltages(self, flown: Flown, when: Array) -> Array:
        """Noise-free voltage of every cell, shape (times, cells). [V]"""
        charge = np.interp(when, flown.time, flown["charge"])
        volts = np.interp(when, flown.time, flown["voltage"])
        b = flown.setting.build
        rest = ac.cell_voltage_at_rest(b["charge_state"] - charge / ac.CAPACITY)
        sag = ac.CELLS * rest - volts
        return np.asarray(rest[:, None] + self.rested - sag[:, None] * self.share)

    def column(self, flown: Flown, when: Array, rng: Rng) -> list[list[float]]:
        """One list a row, as logged: noise of 2 mV, steps of 1 mV."""
        volts = self.voltages(flown, when)
        volts = np.round(volts + rng.normal(0.0, 0.002, volts.shape), 3)
        return [list(row) for row in volts.tolist()]


def draw_cells(rng: Rng) -> Cells:
    """Draw cells of a pack that is sound, more or less."""
    rested = rng.normal(0.0, float(np.exp(rng.uniform(np.log(0.001), np.log(0.012)))), ac.CELLS)
    share = 1.0 + rng.normal(0.0, float(rng.uniform(0.02, 0.08)), ac.CELLS)
    return Cells(rested - rested.mean(), share / share.sum())


@dataclass
class Link:
    """A radio link: distance, shadowing, and the aircraft's aerial.

    Attributes
    ----------
    rate : float
        [Hz]
    at_10_m, exponent : float
        Power at 10 m [dBm], and n of 10 n log10(distance).
    noise, noise_time, white : float
        Shadowing: correlated [dB], over [s]; uncorrelated [dB].
    pattern : tuple of (dB, azimuth [rad])
        One and two waves around the aircraft.
    null_db, null_at : float
        A hole in the pattern, 40 deg wide at half its depth [dB], and where [rad, from the nose
        to the right].
    raw : bool
        Whether the log has counts instead of dBm.
    station : tuple of float
        Ground aerial: along, right, up. [m]
    """

    rate: float
    at_10_m: float
    exponent: float
    noise: float
    noise_time: float
    white: float
    pattern: tuple[tuple[float, float], tuple[float, float]]
    null_db: float
    null_at: float
    raw: bool
    station: tuple[float, float, float]

    RAW_SCALE, RAW_OFFSET = 0.5, -130.0  # dB a count, dBm
    SENSITIVITY = -106.0  # dBm

    def gain(self, azimuth: Array) -> Array:
        """Of the aircraft's aerial towards an azimuth [rad]. [dB]"""
        (one, at1), (two, at2) = self.pattern
        away = np.abs((azimuth - self.null_at + np.pi) % (2 * np.pi) - np.pi)
        hole = 1.0 / (1.0 + (away / np.radians(20.0)) ** 6)
        wave = one * np.cos(azimuth - at1) + two * np.cos(2.0 * (azimuth - at2))
        return np.asarray(wave - self.null_db * hole)

    def seen_from(self, flown: Flown, when: Array) -> tuple[Array, Array]:
        """Distance [m] of the station, and its azimuth about the aircraft [rad]."""
        to = [place - np.interp(when, flown.time, flown[k])
              for k, place in zip(("s", "c", "h"), self.station, strict=True)]  # fmt: skip
        axes = [sensors.body_to_runway(flown, *unit) for unit in ((1, 0, 0), (0, 1, 0))]
        forward, right = (
            sum(np.interp(when, flown.time, a) * d for a, d in zip(axis, to, strict=True))
            for axis in axes
        )
        distance = np.sqrt(to[0] ** 2 + to[1] ** 2 + to[2] ** 2)
        return np.maximum(distance, 3.0), np.arctan2(right, forward)

    def table(self, flown: Flown, boot: float, rng: Rng) -> pd.DataFrame:
        """Signal as logged, and the share of packets that arrived."""
        when = np.arange(0.5, flown.time[-1], 1.0 / self.rate)
        distance, azimuth = self.seen_from(flown, when)
        power = self.at_10_m - 10.0 * self.exponent * np.log10(distance / 10.0)
        power = power + self.gain(azimuth)
        power += sensors.wandering(when.size, 1.0 / self.rate, self.noise, self.noise_time, rng)
        power += rng.normal(0.0, self.white, when.size)
        over = power - self.SENSITIVITY
        quality = 100.0 / (1.0 + np.exp(-(over - 4.0) / 1.5)) - rng.exponential(0.6, when.size)
        counts = np.round((power - self.RAW_OFFSET) / self.RAW_SCALE).clip(0, 254)
        nothing = np.full(when.size, np.nan)
        return pd.DataFrame({
            "time_s": when + boot,
            "quality_pct": np.round(quality.clip(0.0, 100.0)),
            "rssi_dbm": nothing if self.raw else np.round(power),
            "rssi_raw": counts if self.raw else nothing,
        })  # fmt: skip


def draw_link(rng: Rng) -> Link:
    """Draw a link and where its station stands."""

    def turn() -> float:
        return float(rng.uniform(-np.pi, np.pi))

    return Link(
        rate=float(rng.choice([2.0, 4.0, 5.0])), at_10_m=float(rng.uniform(-62.0, -50.0)),
        exponent=float(rng.normal(2.0, 0.12)), noise=float(rng.uniform(1.2, 2.2)),
        noise_time=float(rng.uniform(1.0, 4.0)), white=float(rng.uniform(1.0, 2.0)),
        pattern=((float(rng.uniform(0.3, 1.5)), turn()), (float(rng.uniform(0.3, 1.5)), turn())),
        null_db=0.0, null_at=turn(), raw=bool(rng.random() < 0.5),
        station=(float(rng.uniform(0.0, 20.0)), float(rng.uniform(12.0, 25.0)), 1.5),
    )  # fmt: skip


@dataclass
class Supply:
    """What feeds autopilot and servos: a regulator that sags while the servos work.

    ``board``, ``servo`` [V] unloaded; ``resistance`` [ohm] of regulator and wires.
    """

    rate: float
    board: float
    servo: float
    resistance: float

    def servo_voltage(self, flown: Flown) -> Array:
        """Noise-free voltage of the servo bus at every step. [V]"""
        amps = np.full(flown.time.size, 0.12)
        for name in ("elevator_servo", "aileron", "rudder"):
            angle = flown[name].astype(float)
            both = 2.0 if name == "aileron" else 1.0
            amps += both * (0.35 * np.abs(np.gradient(angle, STEP)) + 0.4 * np.abs(angle))
        return np.asarray(self.servo - self.resistance * amps)

    def table(self, flown: Flown, boot: float, rng: Rng) -> pd.DataFrame:
        """Voltages as logged."""
        when = np.arange(0.02, flown.time[-1], 1.0 / self.rate)
        servo = np.interp(when, flown.time, self.servo_voltage(flown))
        board = self.board + rng.normal(0.0, 0.01, when.size)
        servo = servo + rng.normal(0.0, 0.015, when.size)
        return pd.DataFrame({
            "time_s": when + boot,
            "board_voltage_v": np.round(board, 3),
            "servo_voltage_v": np.round(servo, 3),
        })  # fmt: skip


def draw_supply(rng: Rng) -> Supply:
    """Draw a regulator of 5, 6 or 7.4 V, and its wires."""
    rate, board = float(rng.choice([5.0, 10.0])), float(rng.normal(5.2, 0.05))
    servo = float(rng.choice([5.1, 6.0, 7.4])) + float(rng.normal(0, 0.04))
    return Supply(rate, board, servo, float(rng.uniform(0.03, 0.10)))


def rotation_table(flown: Flown, boot: float, rate: float, rng: Rng) -> pd.DataFrame:
    """Propeller's speed and the motor's temperature, which follows its losses slowly."""
    from scipy.signal import lfilter

    when = np.arange(0.04, flown.time[-1], 1.0 / rate)
    rev = np.interp(when, flown.time, flown["rev_s"])
    lost = 0.15 * np.interp(when, flown.time, flown["current"].astype(float) * flown["voltage"])
    keep = np.exp(-1.0 / (rate * 180.0))
    warm = lfilter([(1.0 - keep) * 0.35], [1.0, -keep], lost)
    return pd.DataFrame({
        "time_s": when + boot,
        "instance": 0,
        "speed_rad_s": np.maximum(2 * np.pi * rev + rng.normal(0.0, 0.5, when.size), 0.0),
        "temperature_k": np.round(296.0 + warm),
    })  # fmt: skip
