"""The sample flights: what each of them is, and the files made of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from . import sensors, takeoffs
from .dataflash_writer import write_dataflash
from .flight_truth import describe_flights
from .geodesy import Place
from .inputs_writer import write_inputs
from .pilot import Plan, wind_components
from .run import Flown, Setting, fly
from .telemetry_writer import write_telemetry
from .transmitter_writer import Transmitter, write_transmitter

DEG = pi / 180.0
STRIP = Place(latitude=0.0412, longitude=-0.0537, elevation=212.0, heading=68.0)
SLOPE = 0.004
DENSITY = 1.182  # kg/m³: a mild morning at that height
AIR_C = 17.0  # °C: half-dry air at the strip's pressure has that density at this temperature
BOOT = 31.4  # s from switching on to the first sample
UTC = 1_803_978_845.0  # Unix time of the first flight's first sample: a morning in 2027
EMPTY_KG, REFERENCE_KG, UNIT_KG = 5.6, 8.0, 0.30
LONGEST = 520.0  # s, longer than any sample


@dataclass(frozen=True)
class Sample:
    """One sample flight.

    Attributes
    ----------
    name, description : str
        File name without ending, and one line for people.
    units : int
        Payload units on board; with them the mass follows.
    plan : Plan
        What the pilot does.
    seed : int
        Of everything random.
    wind : tuple of float
        Speed at 10 m [m/s] and direction from [deg true].
    gust : float
        [m/s]
    given_wind : tuple of float or None
        What the team's mast measured at 2 m: speed [m/s], from [deg true].
    given_air_c : float or None
        What the team's thermometer showed in the shade. [°C]
    roughness_m, friction : float
        The strip on that day. [m], [-]
    gps_hz, imu_hz, attitude_hz : int
        0 where the aircraft has none. [Hz]
    vibration : float
        Of the motor at full throttle. [m/s² rms]
    telemetry : bool
        Written as a telemetry log instead.
    honest : bool
        Whether the accuracy that the receiver claims means anything.
    transmitter : bool
        Whether the transmitter wrote the flight on its own card as well.
    """

    name: str
    description: str
    units: int
    plan: Plan
    seed: int
    wind: tuple[float, float] = (0.4, 100.0)
    gust: float = 0.04
    given_wind: tuple[float, float] | None = None
    given_air_c: float | None = None
    roughness_m: float = 0.0012
    friction: float = 0.045
    gps_hz: int = 5
    imu_hz: int = 50
    attitude_hz: int = 10
    vibration: float = 0.8
    telemetry: bool = False
    honest: bool = True
    transmitter: bool = False

    @property
    def mass_kg(self) -> float:
        """Take-off mass: the reference load is eight units. [kg]"""
        return round(EMPTY_KG + self.units * UNIT_KG, 3)

    @property
    def file(self) -> str:
        """File name."""
        return self.name + (".tlog" if self.telemetry else ".bin")

    @property
    def card_file(self) -> str:
        """File name of what the transmitter wrote."""
        return self.name + "_transmitter.csv"


def _plan(rotate: float, laps: int, **other: Any) -> Plan:
    """Shorten the `Plan` of a sample: take-off after 18 s of rest."""
    return Plan(rotate_speed=rotate, laps=laps, throttle_time=18.0, idle_after=9.0, **other)


SAMPLES = (
    Sample("heavy_misses_limit", "thirteen units on a soft strip: the roll is well over 40 m",
           13, _plan(13.2, 2, rotate_rate=10 * DEG), 11, friction=0.062, roughness_m=0.002,
           given_air_c=AIR_C),
    Sample("marginal", "eleven units: the roll is too close to 40 m to show that it held",
           11, _plan(12.7, 2, throttle=0.97), 21, friction=0.052, roughness_m=0.0018),
    Sample("calm", "still air, reference load, three laps",
           8, _plan(11.1, 3), 13, imu_hz=100, attitude_hz=25, vibration=0.35,
           given_air_c=AIR_C, transmitter=True),
    Sample("headwind", "steady wind down the strip, measured by the mast",
           8, _plan(11.4, 3, ramp=1.1), 14, wind=(4.2, 74.0), gust=0.35, given_wind=(3.3, 70.0),
           given_air_c=AIR_C, imu_hz=25),
    Sample("gusty_crosswind", "gusts across the strip, a skip at lift-off, throttle run up first",
           8, _plan(9.2, 3, hold=1.6, rotate_rate=30 * DEG, rotate_pitch=11.5 * DEG,
                    ease=7.5 * DEG, ease_time=0.6), 35, wind=(5.0, 120.0), gust=1.0,
           given_wind=(3.7, 125.0), roughness_m=0.0045, friction=0.06, vibration=1.5),
    Sample("attempt_then_takeoff", "a roll given up at 6 m/s, taxied back, then a good take-off",
           8, _plan(11.3, 2, attempts=(6.0,)), 16, imu_hz=25, honest=False),
    Sample("two_flights", "two short flights in one file, with a taxi between them",
           9, _plan(11.8, 1, flights=2), 17, wind=(1.8, 40.0), gust=0.2, imu_hz=25),
    Sample("position_1hz_only", "position at 1 Hz, battery and outputs; no IMU, no barometer",
           8, _plan(11.2, 3), 18, gps_hz=1, imu_hz=0, attitude_hz=0),
    Sample("radio_copy", "what the ground received of a calm flight: fixes missing and repeated",
           8, _plan(11.3, 3), 19, wind=(1.2, 20.0), gust=0.1, imu_hz=50, attitude_hz=25,
           telemetry=True),
)  # fmt: skip
"""In the order in which they are shown: first one that misses its limit, then one not shown."""


def setting_of(sample: Sample) -> Setting:
    """Aircraft, air, ground and pilot of a sample."""
    along, cross = wind_components(*sample.wind, STRIP.heading)
    build = {
        "mass": sample.mass_kg,
        "air_density": DENSITY,
        "thrust_scale": 1.06,
        "rolling_friction": sample.friction,
        "slope": SLOPE,
        "charge_state": 0.97,
        "resistance": 0.019,
        "wind_along": along,
        "wind_cross": cross,
        "gust": sample.gust,
        "gust_time": 1.6,
        "ground_shake": 0.15 + 60.0 * sample.roughness_m,
    }
    plan = replace(sample.plan, restless=0.25 * DEG)
    return Setting(build, sample.roughness_m, plan, (2027, sample.seed))


@dataclass
class Logged:
    """What a sample's instruments wrote down, and what they got wrong."""

    tables: dict[str, pd.DataFrame]
    messages: list[tuple[float, str]]
    modes: list[tuple[float, int]]
    utc_at_boot: float
    errors: dict[str, Any] = field(default_factory=dict)


def log_of(sample: Sample, flown: Flown) -> Logged:
    """Put the sensors on a simulated flight."""
    rng = np.random.default_rng((2027, sample.seed, 7))
    utc = UTC + 86400.0 * sample.seed
    gnss = replace(takeoffs.draw_gnss(rng, sample.gps_hz), lever=(0.10, 0.0, -0.33))
    gnss = replace(gnss, claimed_horizontal=1.4 * gnss.slow_m if sample.honest else 0.01,
                   claimed_speed=1.4 * gnss.speed_noise if sample.honest else 0.01)  # fmt: skip
    power = replace(takeoffs.draw_power(rng, 5.0), current_scale=float(rng.normal(0, 0.003)),
                    current_zero=float(rng.normal(0, 0.04)))  # fmt: skip
    tables = {
        "gps": gnss.table(flown, STRIP, BOOT, utc, rng),
        "battery": power.table(flown, BOOT, rng),
        "outputs": sensors.outputs_table(flown, 10.0, BOOT),
    }
    errors: dict[str, Any] = {"gps": asdict(gnss), "battery": asdict(power)}
    if sample.imu_hz:
        imu = takeoffs.draw_imu(rng, sample.imu_hz, sample.vibration)
        tables["imu"], logged = imu.table(flown, BOOT, rng)
        errors["imu"] = asdict(imu) | {"vibration_logged": logged}
        baro = replace(takeoffs.draw_baro(rng, sample.gust), rate=10.0)
        pitot = replace(takeoffs.draw_pitot(rng), rate=5.0)
        attitude = takeoffs.draw_attitude(rng, sample.attitude_hz)
        tables["baro"] = baro.table(flown, STRIP, BOOT, rng)
        tables["airspeed"] = pitot.table(flown, BOOT, rng)
        tables["attitude"] = attitude.table(flown, STRIP, BOOT, rng)
        errors |= {"baro": asdict(baro), "airspeed": asdict(pitot), "attitude": asdict(attitude)}
    tables["inputs"] = sensors.outputs_table(flown, 2.0, BOOT - 0.02)
    tables["link"] = sensors.link_table(flown, BOOT, rng)
    messages, modes, arming = _events(flown)
    tables["arming"] = sensors.arming_table(arming, BOOT)
    return Logged(tables, messages, modes, utc - BOOT, errors)


def _events(
    flown: Flown,
) -> tuple[list[tuple[float, str]], list[tuple[float, int]], list[tuple[float, int]]]:
    """Messages, modes and arming from what the pilot did."""
    messages = [(BOOT - 0.4, "Simulated autopilot 1.0"), (BOOT - 0.3, "Pannier PN-01")]
    modes = [(BOOT - 0.2, 0)]
    rolls = [t for t, word in flown.events if word == "roll"]
    arming = [(rolls[0] - 4.0, 1), (flown.events[-1][0] + 4.0, 0)]
    for t, word in flown.events:
        if word == "cruise":
            modes.append((t + BOOT, 5))
        elif word == "final":
            modes.append((t + BOOT, 0))
    for t, on in arming:
        messages.append((t + BOOT, "Motor armed" if on else "Motor disarmed"))
    return messages, modes, arming


PARAMETERS: Mapping[str, float] = {
    "SERVO1_FUNCTION": 4, "SERVO2_FUNCTION": 19, "SERVO3_FUNCTION": 70, "SERVO4_FUNCTION": 21,
    "SERVO3_MIN": 1000, "SERVO3_MAX": 1950, "BATT_CAPACITY": 4000, "GPS_POS1_X": 0.035,
}  # fmt: skip


def write_log(path: Path, sample: Sample, logged: Logged) -> None:
    """Write a sample's log in its format."""
    if sample.telemetry:
        write_telemetry(path, logged.tables, utc_at_boot=logged.utc_at_boot, seed=sample.seed,
                        messages=logged.messages)  # fmt: skip
        return
    write_dataflash(path, logged.tables, messages=logged.messages, modes=logged.modes,
                    parameters=PARAMETERS)  # fmt: skip


def truth_of(sample: Sample, flown: Flown, logged: Logged) -> dict[str, Any]:
    """Everything known of a sample."""
    known = describe_flights(flown, STRIP, BOOT)
    gnss = logged.errors["gps"]
    return known | {
        "mass_kg": sample.mass_kg,
        "latency_s": gnss["latency"],
        "lever_m": list(gnss["lever"]),
        "utc_at_log_zero": logged.utc_at_boot,
        "config": flown.setting.build
        | {
            "seed": list(flown.setting.seed),
            "roughness_m": sample.roughness_m,
            "wind_10m": sample.wind[0],
            "wind_from_deg": sample.wind[1],
        },
        "sensors": logged.errors,
    }


def write_truth(path: Path, known: Mapping[str, Any]) -> None:
    """Write truth as JSON."""
    path.write_text(json.dumps(known, indent=1) + "\n", encoding="utf-8", newline="\n")


def write_samples(folder: Path, only: tuple[str, ...] = ()) -> list[Path]:
    """Simulate the samples and write logs, truth and the files that belong to them.

    Parameters
    ----------
    folder : Path
        Where to; made if it isn't there.
    only : tuple of str
        Names of samples; all of them when empty.
    """
    folder.mkdir(parents=True, exist_ok=True)
    chosen = [s for s in SAMPLES if not only or s.name in only]
    written = []
    for sample, flown in zip(chosen, fly([setting_of(s) for s in chosen], LONGEST),
                             strict=True):  # fmt: skip
        logged = log_of(sample, flown)
        path = folder / sample.file
        write_log(path, sample, logged)
        write_truth(folder / f"{sample.name}.truth.json", truth_of(sample, flown, logged))
        written.append(path)
        if sample.transmitter:
            written.append(write_card(folder, sample, flown, logged))
    if not only:
        write_inputs(folder, SAMPLES, STRIP, SLOPE)
    return written


def write_card(folder: Path, sample: Sample, flown: Flown, logged: Logged) -> Path:
    """Write what the transmitter wrote of a sample, its truth beside it."""
    path = folder / sample.card_file
    known = write_transmitter(path, Transmitter(), flown, logged.tables, boot=BOOT,
                              utc=logged.utc_at_boot, seed=sample.seed)  # fmt: skip
    write_truth(path.with_suffix(".truth.json"), {"of": sample.file} | known)
    return path


def write_takeoff_files(n: int, seed: int, folder: Path, **wanted: Any) -> list[Path]:
    """Write random take-offs as DataFlash files, each with its truth beside it.

    Parameters
    ----------
    n, seed, **wanted
        As `takeoffs.iterate_takeoffs` takes them.
    folder : Path
        Where to; made if it isn't there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for i, (tables, known) in enumerate(takeoffs.iterate_takeoffs(n, seed, **wanted)):
        path = folder / f"takeoff_{seed}_{i:04d}.bin"
        write_takeoff(path, tables, known)
        written.append(path)
    return written


def write_takeoff(path: Path, tables: takeoffs.Tables, known: takeoffs.Truth) -> None:
    """Write one random take-off as a DataFlash file, its truth beside it."""
    start = known["boot"]
    write_dataflash(path, tables, messages=[(start, "Simulated autopilot 1.0")],
                    modes=[(start, 0)], parameters=PARAMETERS)  # fmt: skip
    write_truth(path.with_suffix(".truth.json"), known)
