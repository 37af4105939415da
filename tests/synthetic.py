"""Small recordings made by hand, with known events, for tests of any analysis.

A `Story` strings together what an aircraft does (rest, roll, climb, land, ...) and keeps the
true speed, height and power at 50 Hz and the time of each named event. `Story.recording`
looks at it with sensors: rates, noise, and which sensors there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from flightlog.recording import Receipt, Recording

DT = 0.02
G = 9.81


@dataclass
class Story:
    """What happens, step by step; every method returns the story and adds to its end."""

    start_s: float = 100.0
    speed: list[np.ndarray] = field(default_factory=list)
    height: list[np.ndarray] = field(default_factory=list)
    power: list[np.ndarray] = field(default_factory=list)
    course: list[np.ndarray] = field(default_factory=list)
    shake: list[np.ndarray] = field(default_factory=list)
    events: dict[str, float] = field(default_factory=dict)
    silences: list[tuple[float, float]] = field(default_factory=list)
    _v: float = 0.0
    _h: float = 0.0
    _way: float = 40.0

    @property
    def now(self) -> float:
        """Time at the end of the story so far [s]."""
        return self.start_s + DT * sum(len(part) for part in self.speed)

    def event(self, name: str) -> Story:
        """Name this moment."""
        self.events[name] = self.now
        return self

    def go(
        self,
        seconds: float,
        *,
        speed: float | None = None,
        height: float | None = None,
        power: float = 0.0,
        shake: float = 0.002,
        turn_deg: float = 0.0,
    ) -> Story:
        """Change speed and height evenly within so many seconds.

        The height follows a smooth step when it changes, so that it starts and ends level.
        """
        n = round(seconds / DT)
        part = (np.arange(n) + 1) / n
        to_v = self._v if speed is None else speed
        to_h = self._h if height is None else height
        self.speed.append(self._v + (to_v - self._v) * part)
        self.height.append(self._h + (to_h - self._h) * part * part * (3 - 2 * part))
        self.power.append(np.full(n, power))
        self.shake.append(np.full(n, shake))
        self.course.append(self._way + turn_deg * part)
        self._v, self._h, self._way = to_v, to_h, self._way + turn_deg
        return self

    def rest(self, seconds: float, *, power: float = 0.0, shake: float = 0.002) -> Story:
        """Stand still; with power it is a run up against the brakes."""
        return self.go(seconds, speed=0.0, power=power, shake=shake)

    def roll(self, speed: float = 13.0, *, acceleration: float = 3.0) -> Story:
        """Roll under full power from the present speed."""
        return self.go((speed - self._v) / acceleration, speed=speed, power=1.0, shake=0.02)

    def climb(self, height: float = 40.0, *, rate: float = 3.0, speed: float = 16.0) -> Story:
        """Accelerate upwards by 1 m/s² to the rate, then climb to a height."""
        rise = rate
        n = round(rise / DT)
        t = (np.arange(n) + 1) * DT
        self.speed.append(np.full(n, self._v))
        self.height.append(self._h + 0.5 * t * t)
        for values, value in ((self.power, 1.0), (self.shake, 0.05), (self.course, self._way)):
            values.append(np.full(n, value))
        self._h += 0.5 * rise * rise
        n = round(max(0.0, height - self._h) / rate / DT)
        part = (np.arange(n) + 1) / max(n, 1)
        self.speed.append(self._v + (speed - self._v) * np.minimum(1.0, part * 4))
        self.height.append(self._h + (height - self._h) * part)
        for values, value in ((self.power, 1.0), (self.shake, 0.1), (self.course, self._way)):
            values.append(np.full(n, value))
        self._v, self._h = speed, height
        return self

    def cruise(self, seconds: float, *, turn_deg: float = 0.0) -> Story:
        """Keep speed and height."""
        return self.go(seconds, power=0.4, shake=0.1, turn_deg=turn_deg)

    def descend(self, height: float = 0.0, *, rate: float = 2.0, speed: float = 12.0) -> Story:
        """Come down evenly, and flare by arriving with a small rate."""
        fall = self._h - height
        n = round(fall / rate / DT)
        part = (np.arange(n) + 1) / n
        self.speed.append(self._v + (speed - self._v) * part)
        self.height.append(self._h - fall * part)
        for values, value in ((self.power, 0.05), (self.shake, 0.1), (self.course, self._way)):
            values.append(np.full(n, value))
        self._v, self._h = speed, height
        return self

    def stop(self, *, deceleration: float = 2.0, power: float = 0.0) -> Story:
        """Roll out to a standstill."""
        return self.go(self._v / deceleration, speed=0.0, power=power, shake=0.02)

    def silence(self, seconds: float) -> Story:
        """Let the time pass without any sensor in the log."""
        self.silences.append((self.now, self.now + seconds))
        return self.go(seconds)

    def flight(self, *, height: float = 40.0, cruise_s: float = 60.0) -> Story:
        """Roll, lift off, fly and land, with the events named."""
        self.event("roll").roll().event("liftoff").climb(height)
        self.cruise(cruise_s, turn_deg=360.0).descend().event("touchdown")
        return self.stop().event("standstill")

    def truth(self) -> dict[str, np.ndarray]:
        """Time, speed, height, power, shake and course at 50 Hz."""
        values = {
            name: np.concatenate(getattr(self, name))
            for name in ("speed", "height", "power", "shake", "course")
        }
        values["time"] = self.start_s + DT * (np.arange(len(values["speed"])) + 1)
        return values

    def recording(
        self,
        *,
        sensors: str = "gps baro imu battery outputs",
        gps_hz: float = 5.0,
        imu_hz: float = 50.0,
        slow_hz: float = 10.0,
        speed_noise: float = 0.1,
        rest_noise: float | None = None,
        drift_m: float = 0.0,
        baro_drift_m: float = 0.0,
        columns_without: Sequence[str] = (),
        throttle: int = 3,
        armed: Sequence[tuple[float, int]] = (),
        seams: tuple[float, ...] = (),
        window: tuple[float, float] | None = None,
        seed: int = 1,
    ) -> Recording:
        """Look at the story with sensors.

        Parameters
        ----------
        sensors : str
            Which tables there are.
        gps_hz, imu_hz, slow_hz : float
            Rates of position, IMU, and all the rest.
        speed_noise, rest_noise : float
            Velocity error per axis, of all fixes and of those at rest. [m/s]
        drift_m : float
            Slow wander of the position and of GPS altitude. [m]
        baro_drift_m : float
            Drift of the barometer over the whole log. [m]
        columns_without : sequence of str
            Columns that the log lacks.
        throttle : int
            Output number of the throttle; two surfaces move on others.
        window : (float, float), optional
            What the log holds of the story. [s]
        """
        look = _Look(self, np.random.default_rng(seed), window)
        tables: dict[str, pd.DataFrame] = {}
        wanted = sensors.split()
        if "gps" in wanted:
            tables["gps"] = look.gps(gps_hz, speed_noise, rest_noise, drift_m)
        if "baro" in wanted:
            tables["baro"] = look.baro(slow_hz, baro_drift_m)
        if "imu" in wanted:
            tables["imu"] = look.imu(imu_hz)
        if "battery" in wanted:
            tables["battery"] = look.battery(slow_hz)
        if "outputs" in wanted:
            tables["outputs"] = look.outputs(slow_hz, throttle)
        if armed:
            times, states = zip(*armed, strict=True)
            tables["arming"] = pd.DataFrame({"time_s": times, "armed": np.array(states, float)})
        for name, table in tables.items():
            tables[name] = table.drop(columns=[c for c in columns_without if c in table])
        return as_recording(tables, seams=seams)


def as_recording(tables: dict[str, pd.DataFrame], *, seams: tuple[float, ...] = ()) -> Recording:
    """Wrap tables with a receipt."""
    receipt = Receipt("made.bin", 1, "0" * 64, "made", 1, seams=seams)
    return Recording(tables, receipt)


def shifted(recording: Recording, seconds: float) -> Recording:
    """Give the same recording on a clock that is ahead by so much."""
    tables = {
        name: recording[name].assign(time_s=recording[name]["time_s"] + seconds)
        for name in recording
    }
    return as_recording(tables, seams=tuple(s + seconds for s in recording.receipt.seams))


class _Look:
    """The sensors, on one story."""

    def __init__(
        self, story: Story, rng: np.random.Generator, window: tuple[float, float] | None
    ) -> None:
        self.truth = story.truth()
        self.story = story
        self.rng = rng
        self.window = window or (story.start_s, story.now)

    def times(self, rate_hz: float) -> np.ndarray:
        begin, end = self.window
        time_s = np.arange(begin + 0.01, end, 1.0 / rate_hz)
        for low, high in self.story.silences:
            time_s = time_s[(time_s < low) | (time_s >= high)]
        return time_s

    def at(self, name: str, time_s: np.ndarray) -> np.ndarray:
        return np.interp(time_s, self.truth["time"], self.truth[name])

    def wander(self, time_s: np.ndarray, size: float) -> np.ndarray:
        phases = self.rng.uniform(0, 2 * np.pi, 3)
        waves = [np.sin(time_s / tau + p) for tau, p in zip((9.0, 23.0, 60.0), phases, strict=True)]
        return size * np.sum(waves, axis=0) / 2.0

    def gps(
        self, rate_hz: float, noise: float, rest_noise: float | None, drift: float
    ) -> pd.DataFrame:
        time_s = self.times(rate_hz)
        n, speed = len(time_s), self.at("speed", time_s)
        error = np.where(speed < 0.01, noise if rest_noise is None else rest_noise, noise)
        along, across = error * self.rng.normal(size=n), error * self.rng.normal(size=n)
        shown = np.hypot(speed + along, across)
        if rest_noise is not None:  # receivers at rest have shown up to 2 m/s, not more
            shown = np.where(speed < 0.01, np.minimum(shown, 2.0), shown)
        truth = self.truth
        way = np.radians(truth["course"])
        north = np.cumsum(truth["speed"] * np.cos(way)) * DT
        east = np.cumsum(truth["speed"] * np.sin(way)) * DT
        rate = np.gradient(truth["height"], DT)
        north_m = np.interp(time_s, truth["time"], north) + self.wander(time_s, drift)
        east_m = np.interp(time_s, truth["time"], east) + self.wander(time_s, drift)
        climb = np.interp(time_s, truth["time"], rate) + noise * self.rng.normal(size=n)
        altitude = 300.0 + self.at("height", time_s) + self.wander(time_s, drift)
        return pd.DataFrame(
            {
                "time_s": time_s,
                "instance": 0,
                "latitude_deg": north_m / 111_000.0,
                "longitude_deg": east_m / 111_000.0,
                "altitude_msl_m": altitude + 0.3 * self.rng.normal(size=n),
                "ground_speed_m_s": shown,
                "course_deg": np.degrees(
                    np.arctan2(across, speed + along) + np.radians(self.at("course", time_s))
                )
                % 360.0,
                "climb_m_s": climb,
                "fix": 3,
                "satellites": 12,
            }
        )

    def baro(self, rate_hz: float, drift: float) -> pd.DataFrame:
        time_s = self.times(rate_hz)
        part = (time_s - self.window[0]) / (self.window[1] - self.window[0])
        noise = 0.15 * self.rng.normal(size=len(time_s))
        # at speed the static port reads low: 0.3 m at 13 m/s
        pressure = -0.3 * (self.at("speed", time_s) / 13.0) ** 2
        height = self.at("height", time_s) + drift * part + noise + pressure
        return pd.DataFrame({"time_s": time_s, "instance": 0, "height_m": height})

    def imu(self, rate_hz: float) -> pd.DataFrame:
        time_s = self.times(rate_hz)
        n, truth = len(time_s), self.truth
        forward = np.interp(time_s, truth["time"], np.gradient(truth["speed"], DT))
        rise = np.gradient(truth["height"], DT)
        pitch = np.arctan2(rise, np.maximum(truth["speed"], 5.0))
        up = np.interp(time_s, truth["time"], np.gradient(rise, DT))
        forward = forward + G * np.sin(np.interp(time_s, truth["time"], pitch))
        shake = self.at("shake", time_s)
        table: dict[str, Any] = {"time_s": time_s, "instance": 0}
        for axis in "xyz":
            table[f"gyro_{axis}_rad_s"] = shake * self.rng.normal(size=n)
        for axis, value in zip("xyz", (forward, 0.0 * up, -G - up), strict=True):
            vibration = 0.1 + 0.5 * self.at("power", time_s)
            table[f"accel_{axis}_m_s2"] = value + vibration * self.rng.normal(size=n)
        return pd.DataFrame(table)

    def battery(self, rate_hz: float) -> pd.DataFrame:
        time_s = self.times(rate_hz)
        current = 0.6 + 45.0 * self.at("power", time_s)
        current = current + 0.1 * self.rng.normal(size=len(time_s))
        voltage = 25.0 - 0.025 * current
        return pd.DataFrame(
            {"time_s": time_s, "instance": 0, "voltage_v": voltage, "current_a": current}
        )

    def outputs(self, rate_hz: float, throttle: int) -> pd.DataFrame:
        time_s = self.times(rate_hz)
        surfaces = [c for c in (1, 2, 3, 4) if c != throttle][:2]
        parts = [
            pd.DataFrame(
                {
                    "time_s": time_s,
                    "channel": c,
                    "pulse_us": 1500.0 + 60.0 * np.sin(time_s / (1.0 + c)),
                }
            )
            for c in surfaces
        ]
        pulse = 1000.0 + 1000.0 * self.at("power", time_s)
        parts.append(pd.DataFrame({"time_s": time_s, "channel": throttle, "pulse_us": pulse}))
        return pd.concat(parts).sort_values("time_s", kind="stable").reset_index(drop=True)
