"""What the sensors made of a simulated flight: tables, one row per sample.

Noise figures are engineering knowledge of consumer parts, named at each class; every flight
draws its own, some of them worse than any data sheet admits. Columns follow the reader's
table dictionary.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from .aircraft import GRAVITY, Array
from .dynamics import STEP
from .geodesy import Place
from .run import Flown

Rng = np.random.Generator
Index = npt.NDArray[np.int64]
GPS_EPOCH = 315964800  # Unix seconds at the start of GPS week 0
LEAP_SECONDS = 18  # GPS time minus UTC since 2017


def wandering(count: int, dt: float, sigma: float, tau: float, rng: Rng) -> Array:
    """First-order Markov process of standard deviation ``sigma`` and time constant ``tau`` [s].

    Drawn on a coarse grid and joined by lines, which keeps it quick; with ``tau`` well above
    the grid's tenth of itself nothing is lost.
    """
    grid = max(dt, tau / 10.0)
    knots = int(count * dt / grid) + 3
    keep = float(np.exp(-grid / tau))
    steps = rng.standard_normal(knots) * sigma * np.sqrt(1.0 - keep**2)
    value = np.empty(knots)
    value[0] = rng.standard_normal() * sigma
    for i in range(1, knots):
        value[i] = keep * value[i - 1] + steps[i]
    return np.asarray(np.interp(np.arange(count) * dt, np.arange(knots) * grid, value))


def _quantise(value: Array, step: float) -> Array:
    return np.asarray(np.round(value / step) * step)


@dataclass
class Gnss:
    """A standalone receiver of the consumer kind.

    Data sheets of such modules name a horizontal CEP of 1.5 to 2.5 m, most of it slowly
    varying, and a velocity accuracy of 0.05 m/s (median) in open sky.

    Attributes
    ----------
    rate : float
        [Hz]
    latency : float
        From the instant that a fix describes to its arrival in the log. [s]
    jitter : float
        Spread of the arrival. [s]
    slow_m, slow_time : float
        Correlated position error, each axis. [m], [s]
    white_m : float
        Uncorrelated position error, each axis. [m]
    speed_noise, speed_slow : float
        Doppler velocity, each axis: white and correlated over ten seconds. [m/s]
    claimed_horizontal, claimed_speed : float
        What the receiver says of itself. [m], [m/s]
    stamp : {"measurement", "reception"}
        What the week time in the log stands for.
    lever : tuple of float
        Aerial from the main axle: forward, right, down. [m]
    dropped : float
        Share of the fixes that never arrive.
    """

    rate: float
    latency: float
    jitter: float
    slow_m: float
    slow_time: float
    white_m: float
    speed_noise: float
    speed_slow: float
    claimed_horizontal: float
    claimed_speed: float
    stamp: str
    lever: tuple[float, float, float]
    dropped: float = 0.0

    def table(self, flown: Flown, place: Place, boot: float, utc: float, rng: Rng) -> pd.DataFrame:
        """Fixes as logged. ``boot``: log time at time 0; ``utc``: Unix time at time 0. [s]"""
        s, c, h, vs, vc, vh = self._aerial(flown)
        end = flown.time[-1]
        epoch = rng.uniform(0.0, 1.0 / self.rate)
        when = np.arange(epoch, end - self.latency - 0.02, 1.0 / self.rate)
        when = when[rng.random(when.size) >= self.dropped]
        n, dt = when.size, 1.0 / self.rate
        at = [np.interp(when, flown.time, q) for q in (s, c, h, vs, vc, vh)]
        sizes = (1.0, 1.0, 1.7, 1.0, 1.0, 1.4)  # the vertical is worse, as ever
        for i in range(3):
            at[i] += wandering(n, dt, self.slow_m * sizes[i], self.slow_time, rng)
            at[i] += rng.normal(0.0, self.white_m * sizes[i], n)
        for i in range(3, 6):
            at[i] += wandering(n, dt, self.speed_slow * sizes[i], 10.0, rng)
            at[i] += rng.normal(0.0, self.speed_noise * sizes[i], n)
        latitude, longitude = place.latitude_longitude(at[0], at[1])
        north, east = place.north_east(at[3], at[4])
        arrival = when + self.latency + rng.uniform(0.0, self.jitter, n)
        stamped = when if self.stamp == "measurement" else arrival
        wobble = 1.0 + 0.1 * wandering(n, dt, 1.0, 15.0, rng)
        return pd.DataFrame(
            {
                "time_s": arrival + boot,
                "instance": 0,
                "latitude_deg": np.round(latitude, 7),
                "longitude_deg": np.round(longitude, 7),
                "altitude_msl_m": _quantise(place.elevation + at[2], 0.01),
                "ground_speed_m_s": _quantise(np.hypot(north, east), 0.001),
                "course_deg": np.degrees(np.arctan2(east, north)) % 360.0,
                "climb_m_s": _quantise(at[5], 0.001),
                "hdop": np.round(rng.uniform(0.7, 1.1) + 0.02 * rng.standard_normal(n), 2),
                "satellites": np.round(14 + 2 * wandering(n, dt, 1.0, 30.0, rng)).clip(7, 24),
                "fix": 3,
                "horizontal_accuracy_m": _quantise(self.claimed_horizontal * wobble, 0.01),
                "speed_accuracy_m_s": _quantise(self.claimed_speed * wobble, 0.01),
                "time_utc": np.round(utc + stamped, 3),
            }
        )

    def _aerial(self, flown: Flown) -> list[Array]:
        """Path and velocity of the aerial, from the centre of gravity's and the attitude."""
        forward, right, down = self.lever[0] - 0.065, self.lever[1], self.lever[2] + 0.22
        offsets = body_to_runway(flown, forward, right, down)
        path = [flown[k] + o for k, o in zip(("s", "c", "h"), offsets, strict=True)]
        speed = [
            flown[k] + np.gradient(o, STEP)
            for k, o in zip(("vs", "vc", "vh"), offsets, strict=True)
        ]
        return path + speed


def body_to_runway(flown: Flown, x: float, y: float, z: float) -> list[Array]:
    """Turn a body vector (forward, right, down) into along, right, up for every step."""
    roll, pitch, yaw = (flown[k].astype(float) for k in ("roll", "pitch", "yaw"))
    cr, sr, cp, sp = np.cos(roll), np.sin(roll), np.cos(pitch), np.sin(pitch)
    cy, sy = np.cos(yaw), np.sin(yaw)
    s = cp * cy * x + (sr * sp * cy - cr * sy) * y + (cr * sp * cy + sr * sy) * z
    c = cp * sy * x + (sr * sp * sy + cr * cy) * y + (cr * sp * sy - sr * cy) * z
    return [s, c, sp * x - sr * cp * y - cr * cp * z]


@dataclass
class Imu:
    """A six-axis MEMS part on a foam pad.

    Data sheets: accelerometer noise 60 to 230 µg/√Hz, zero-g offset 20 to 60 mg before and
    0.05 to 0.4 m/s² after the owner's calibration, scale 0.5 to 3 %; gyro 0.003 to 0.015
    deg/s/√Hz, zero-rate offset 0.05 to 0.3 deg/s after start-up calibration. On an airframe
    the motor's vibration is far above all of these.

    Attributes
    ----------
    rate : int
        [Hz]; divides 400.
    averaged : bool
        Whether samples are means since the one before (delta velocities) or single readings.
    noise : float
        Accelerometer, one reading. [m/s²]
    gyro_noise : float
        [rad/s]
    bias, gyro_bias : tuple of float
        [m/s²], [rad/s]
    scale : tuple of float
        Accelerometer, relative error. [-]
    vibration : float
        Motor vibration at full throttle, each axis about. [m/s² rms]
    tones : tuple of float
        Relative strength of the 1st, 2nd, 3rd and 4th multiple of the propeller's speed.
    hiss : float
        Share of the vibration's power that is broadband.
    """

    rate: int
    averaged: bool
    noise: float
    gyro_noise: float
    bias: tuple[float, float, float]
    gyro_bias: tuple[float, float, float]
    scale: tuple[float, float, float]
    vibration: float
    tones: tuple[float, float, float, float]
    hiss: float

    def table(self, flown: Flown, boot: float, rng: Rng) -> tuple[pd.DataFrame, float]:
        """Samples as logged, and the rms of the motor's share in them at full power."""
        every = round(1.0 / (STEP * self.rate))
        take = np.arange(every - 1, flown.time.size, every)
        shake, at_full = self._motor(flown, take, rng)
        ground = self._ground(flown, take, every, rng)
        force = self._sampled(np.stack([flown[k] for k in ("fx", "fy", "fz")]), take, every)
        rates = self._sampled(np.stack(body_rates(flown)), take, every)
        count = take.size
        data: dict[str, Array | int] = {"time_s": flown.time[take] + boot, "instance": 0}
        for i, axis in enumerate("xyz"):
            whirl = 0.004 * shake[(i + 1) % 3]  # some of it is felt as rotation
            data[f"gyro_{axis}_rad_s"] = (
                rates[i] + self.gyro_bias[i] + whirl + rng.normal(0.0, self.gyro_noise, count)
            )
        for i, axis in enumerate("xyz"):
            real = force[i] * (1.0 + self.scale[i]) + self.bias[i]
            data[f"accel_{axis}_m_s2"] = (
                real + shake[i] + ground[i] + rng.normal(0.0, self.noise, count)
            )
        return pd.DataFrame(data), at_full

    def _sampled(self, value: npt.NDArray[Any], take: Index, every: int) -> Array:
        if not self.averaged or every == 1:
            return value[:, take].astype(float)
        whole = value[:, : take.size * every].astype(float)
        return np.asarray(whole.reshape(value.shape[0], -1, every).mean(axis=2))

    def _motor(self, flown: Flown, take: Index, rng: Rng) -> tuple[Array, float]:
        rev = flown["rev_s"][take].astype(float)
        turn = flown["turn"][take].astype(float)
        level = (rev / 115.0) ** 2
        sound = np.zeros((3, take.size))
        strength = np.array(self.tones) / np.sqrt(np.square(self.tones).sum())
        for k, part in enumerate(strength, start=1):
            gain = np.abs(np.sinc(k * rev / self.rate)) if self.averaged else 1.0
            phase = rng.uniform(0.0, 1.0, 3)[:, None]
            amplitude = np.sqrt(2.0) * part * rng.uniform(0.7, 1.2, 3)[:, None]
            sound += amplitude * gain * np.sin(2 * np.pi * (k * turn + phase))
        broad = np.sqrt(self.rate / 400.0) if self.averaged else 1.0
        hiss = rng.standard_normal(sound.shape) * broad
        shake = np.sqrt(1 - self.hiss) * sound + np.sqrt(self.hiss) * hiss
        shake *= self.vibration * level
        full = level > 0.8 * level.max() if level.max() > 0.1 else np.zeros(take.size, bool)
        at_full = float(np.sqrt(np.mean(shake[2, full] ** 2))) if full.any() else 0.0
        return shake, at_full

    def _ground(self, flown: Flown, take: Index, every: int, rng: Rng) -> Array:
        speed = np.hypot(flown["vs"][take], flown["vc"][take])
        load = np.clip(flown["wheel_load"][take] / 40.0, 0.0, 1.5)
        rms = flown.setting.build["ground_shake"] * speed / 10.0 * load
        broad = 1.0 / np.sqrt(every) if self.averaged else 1.0
        return np.asarray(rng.standard_normal((3, take.size)) * rms * broad)


def body_rates(flown: Flown) -> list[Array]:
    """Rotation about the body axes [rad/s] from the rates of the attitude angles."""
    roll, pitch = flown["roll"].astype(float), flown["pitch"].astype(float)
    p, q, r = (flown[k].astype(float) for k in ("roll_rate", "pitch_rate", "yaw_rate"))
    return [
        p - r * np.sin(pitch),
        q * np.cos(roll) + r * np.sin(roll) * np.cos(pitch),
        -q * np.sin(roll) + r * np.cos(roll) * np.cos(pitch),
    ]


@dataclass
class Attitude:
    """An attitude filter's output.

    Low-cost attitude filters are good to about half a degree when flown gently and lean with
    sustained acceleration, as on a take-off run.

    Attributes
    ----------
    rate : float
        [Hz]
    error, error_time : float
        Correlated error of roll and pitch. [rad], [s]
    yaw_error : float
        Of the heading; constant for the most part. [rad]
    lean : float
        Share of forward acceleration mistaken for pitch. [-]
    """

    rate: float
    error: float
    error_time: float
    yaw_error: float
    lean: float

    def table(self, flown: Flown, place: Place, boot: float, rng: Rng) -> pd.DataFrame:
        """Attitude as logged."""
        when = np.arange(0.01, flown.time[-1], 1.0 / self.rate)
        n, dt = when.size, 1.0 / self.rate
        roll, pitch, yaw = (np.interp(when, flown.time, flown[k]) for k in ("roll", "pitch", "yaw"))
        smooth = np.convolve(np.gradient(flown["vs"].astype(float), STEP), np.full(400, 1 / 400))
        push = np.interp(when, flown.time, smooth[: flown.time.size])
        roll = roll + wandering(n, dt, self.error, self.error_time, rng)
        pitch = pitch + wandering(n, dt, self.error, self.error_time, rng)
        pitch = pitch + self.lean * push / GRAVITY
        yaw = yaw + wandering(n, dt, 0.3 * self.error, 20.0, rng)
        yaw = (yaw + self.yaw_error + radians(place.heading)) % (2 * np.pi)
        return pd.DataFrame(
            {"time_s": when + boot, "roll_rad": roll, "pitch_rad": pitch, "yaw_rad": yaw}
        )


@dataclass
class Baro:
    """A barometer in a fuselage.

    Sensor noise of common parts is 1 to 2 Pa (0.1 to 0.2 m); the place where it sits adds
    errors of a few per cent of the dynamic pressure, changed near the ground and with pitch.

    Attributes
    ----------
    rate : float
        [Hz]
    noise : float
        [m]
    lag : float
        [s]
    drift : float
        [m/s]
    pressure_share : float
        Static error over dynamic pressure; positive reads too high a pressure. [-]
    ground_share : float
        The same, only within about a span of the ground. [-]
    gust_noise : float
        Extra noise from gusts. [m]
    """

    rate: float
    noise: float
    lag: float
    drift: float
    pressure_share: float
    ground_share: float
    gust_noise: float

    def table(self, flown: Flown, place: Place, boot: float, rng: Rng) -> pd.DataFrame:
        """Pressure and height as logged; the height's zero is where it was switched on."""
        density = flown.setting.build["air_density"]
        when = np.arange(0.003, flown.time[-1], 1.0 / self.rate)
        past = np.maximum(when - self.lag, 0.0)
        height = np.interp(past, flown.time, flown["h"])
        speed = np.interp(past, flown.time, flown["airspeed"])
        n, dt = when.size, 1.0 / self.rate
        share = self.pressure_share + self.ground_share * np.exp(-np.maximum(height, 0) / 1.2)
        error = -share * speed**2 / (2 * GRAVITY)
        error += self.drift * when + wandering(n, dt, self.gust_noise, 1.0, rng)
        error += rng.normal(0.0, self.noise, n)
        shown = height - flown["h"][0] + error + rng.normal(0.0, 0.1)
        temperature = 288.15 - 0.0065 * place.elevation + 12.0
        ground_pressure = 101325.0 * (1 - 2.25577e-5 * place.elevation) ** 5.25588
        scale_height = ground_pressure / (density * GRAVITY)
        return pd.DataFrame(
            {
                "time_s": when + boot,
                "instance": 0,
                "pressure_pa": ground_pressure * np.exp(-shown / scale_height),
                "height_m": shown,
                "temperature_k": temperature + 0.002 * when,
            }
        )


@dataclass
class Pitot:
    """A differential-pressure airspeed sensor.

    Parts of the kind have a noise of 0.5 to 2 Pa and a zero that shifts by 1 to 10 Pa after
    calibration; the tube adds 1 to 5 % of scale.
    """

    rate: float
    noise_pa: float
    zero_pa: float
    scale: float

    def table(self, flown: Flown, boot: float, rng: Rng) -> pd.DataFrame:
        """Airspeed and differential pressure as logged."""
        density = flown.setting.build["air_density"]
        when = np.arange(0.03, flown.time[-1], 1.0 / self.rate)
        speed = np.interp(when, flown.time, flown["airspeed"])
        pressure = 0.5 * density * speed**2 * (1 + self.scale) ** 2 + self.zero_pa
        pressure += rng.normal(0.0, self.noise_pa, when.size)
        shown = np.sqrt(2.0 * np.maximum(pressure, 0.0) / 1.225)
        return pd.DataFrame(
            {
                "time_s": when + boot,
                "instance": 0,
                "airspeed_m_s": shown,
                "differential_pressure_pa": pressure,
            }
        )


@dataclass
class PowerMeter:
    """A Hall or shunt power module: a few per cent of scale, tenths of an ampere of zero."""

    rate: float
    current_zero: float
    current_scale: float
    voltage_scale: float
    current_step: float
    voltage_step: float
    current_noise: float

    def table(self, flown: Flown, boot: float, rng: Rng) -> pd.DataFrame:
        """Voltage and current as logged, and what the logger counted of them."""
        when = np.arange(0.05, flown.time[-1], 1.0 / self.rate)
        volts = np.interp(when, flown.time, flown["voltage"])
        amps = np.interp(when, flown.time, flown["current"])
        volts = _quantise(
            volts * (1 + self.voltage_scale) + rng.normal(0, 0.01, when.size), self.voltage_step
        )
        amps = amps * (1 + self.current_scale) + self.current_zero
        amps = _quantise(amps + rng.normal(0, self.current_noise, when.size), self.current_step)
        used = np.cumsum(amps) / self.rate
        return pd.DataFrame(
            {
                "time_s": when + boot,
                "instance": 0,
                "voltage_v": volts,
                "current_a": amps,
                "charge_used_coulomb": used,
                "energy_used_j": np.cumsum(amps * volts) / self.rate,
            }
        )


CHANNELS = {1: "aileron", 2: "elevator", 3: "throttle", 4: "steer"}


def pulses(flown: Flown, rate: float) -> tuple[Array, dict[int, Array]]:
    """Times [s] and servo pulses [us] by output channel."""
    when = np.arange(0.007, flown.time[-1], 1.0 / rate)
    out = {}
    for channel, name in CHANNELS.items():
        value = np.interp(when, flown.time, flown[name])
        if name == "throttle":
            pulse = 1000.0 + 950.0 * value
        else:
            pulse = 1500.0 + 400.0 * np.clip(value / (0.45 if name != "steer" else 1.0), -1, 1)
        out[channel] = np.round(pulse)
    return when, out


def outputs_table(flown: Flown, rate: float, boot: float) -> pd.DataFrame:
    """What servos and speed controller were told, one row per channel and sample."""
    when, out = pulses(flown, rate)
    return pd.DataFrame(
        {
            "time_s": np.repeat(when + boot, len(out)),
            "channel": np.tile(list(out), when.size),
            "pulse_us": np.stack(list(out.values()), axis=1).ravel(),
        }
    )


def arming_table(changes: list[tuple[float, int]], boot: float) -> pd.DataFrame:
    """Arming events from (time [s], 1 or 0)."""
    return pd.DataFrame(
        {"time_s": [t + boot for t, _ in changes], "armed": [on for _, on in changes]}
    )


def link_table(flown: Flown, boot: float, rng: Rng) -> pd.DataFrame:
    """Radio link: signal falls with the square of the distance, quality follows late."""
    when = np.arange(0.5, flown.time[-1], 1.0)
    s, c, h = (np.interp(when, flown.time, flown[k]) for k in ("s", "c", "h"))
    distance = np.sqrt((s - 10.0) ** 2 + (c - 15.0) ** 2 + h**2) + 5.0
    counts = 215.0 - 40.0 * np.log10(distance / 10.0) + rng.normal(0.0, 4.0, when.size)
    quality = np.clip(100.0 - np.maximum(150.0 - counts, 0.0) - rng.exponential(0.8, when.size),
                      0.0, 100.0)  # fmt: skip
    return pd.DataFrame(
        {
            "time_s": when + boot,
            "quality_pct": np.round(quality),
            "rssi_dbm": np.nan,
            "rssi_raw": np.round(counts).clip(0, 254),
        }
    )
