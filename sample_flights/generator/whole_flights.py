"""Whole flights with known truth, from rest to rest, sound or with one fault each.

Faults (``size`` says how bad; the first one named is the middle of three):

- ``play``, 2, 1 or 3 deg: free play in the elevator's linkage, whole gap at the surface.
- ``reversed-panel``, 1, 0.5 or 1.5: with an inverted V tail, the right panel's servo and the mixer
  were both reversed, so that the aircraft flies as ever and only its pulses go the other way;
  ``size`` is their travel over what the linkage's table asks for.
- ``hard-touchdown``, 2.2, 1.6 or 2.8 m/s: driven onto the ground at about that rate of descent.
- ``aerial-null``, 10, 6 or 15 dB: a hole in the aerial's pattern, 40 deg wide at half its depth.
- ``propeller``, 3, 2 or 4: first-order vibration that many times what is normal.

A flight's air, path and sensors follow from seed and number alone: the faults that only sensors
see, and the tail, leave them as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from math import pi
from typing import Any

import numpy as np

from . import aircraft as ac
from . import sensors, takeoffs, whole_sensors
from .flight_truth import describe_flights
from .geodesy import Place
from .pilot import Plan, wind_components
from .run import Flown, Setting, iterate_flown
from .takeoffs import Tables, Truth
from .whole_motion import WHOLE
from .whole_truth import battery_truth, landing_truth, surface_truth

DEG = pi / 180.0
LONGEST = 200.0  # s
BATCH = 96
FAULTS = {"none": (0.0,), "play": (2.0, 1.0, 3.0), "reversed-panel": (1.0, 0.5, 1.5),
          "hard-touchdown": (2.2, 1.6, 2.8), "aerial-null": (10.0, 6.0, 15.0),
          "propeller": (3.0, 2.0, 4.0)}  # fmt: skip
IN_THE_AIR = ("play", "hard-touchdown")
"""Faults that change the flight itself."""
CHANGED = {"reversed-panel": "outputs", "aerial-null": "link", "propeller": "imu"}
"""The one table that a fault changes; the tail changes the outputs."""
HARD_LINE = (0.45, 0.906)  # m/s, -: what the wheels do over what the pilot means; by flying it
SOUND_TOUCHDOWN = (0.25, 1.25)  # m/s
NORMAL_FIRST_ORDER = 0.8  # m/s² rms at 115 rev/s
STRUCTURE_HZ = 31.0


@dataclass
class Drawn:
    """One flight before it is flown."""

    seed: int
    number: int
    setting: Setting
    place: Place
    air: dict[str, float]
    kelvin: float
    resistance_25: float


def iterate_flights(
    n: int,
    seed: int,
    *,
    fault: str = "none",
    size: float = 0.0,
    imu_hz: int = 200,
    outputs_hz: float = 25.0,
    tail: str | None = None,
    longest_s: float = LONGEST,
    laps: int = 1,
) -> Iterator[tuple[Tables, Truth]]:
    """Simulate ``n`` whole flights one after the other.

    Parameters
    ----------
    n : int
        How many.
    seed : int
        Same seed, same flights, however many are taken.
    fault : str
        One of `FAULTS`.
    size : float
        How bad it is, in the fault's own unit; 0 takes its middle.
    imu_hz : {50, 100, 200, 400}
        [Hz]
    outputs_hz : float
        Rate of the servo pulses. [Hz]
    tail : {"plain", "inverted v"}, optional
        Plain unless the fault is that of a panel.
    longest_s : float
        Where the simulation gives up. [s]
    laps : int
        Whole laps from gate to gate; the way to the first gate and to the landing is another.

    Yields
    ------
    tables : dict of DataFrame
        ``gps``, ``battery``, ``outputs``, ``imu``, ``attitude``, ``baro``, ``airspeed``, ``link``,
        ``arming`` always; ``supply``, ``rotation`` in some.
    truth : dict
        As `flight_truth.describe_flights`, and what `whole_truth` adds.
    """
    number = given = 0
    size = size or FAULTS[fault][0]
    while given < n:
        drawn = [
            draw(seed, number + i, fault, size, laps) for i in range(min(BATCH, n - given + 2))
        ]
        number += len(drawn)
        for one, flown in zip(drawn, iterate_flown([d.setting for d in drawn], longest_s, WHOLE),
                              strict=True):  # fmt: skip
            known = truth_of(one, flown, fault)
            if known is None or given >= n:
                continue
            given += 1
            tables = tables_of(one, flown, known, fault, size, imu_hz=imu_hz,
                               outputs_hz=outputs_hz, tail=tail)  # fmt: skip
            yield tables, known
        if not given:
            raise ValueError(f"none of {number} flights was down and at rest by {longest_s:g} s")


def draw(seed: int, number: int, fault: str = "none", size: float = 0.0, laps: int = 1) -> Drawn:
    """Draw aircraft, air, strip and pilot of one flight."""
    rng = np.random.default_rng((seed, number, 11))
    heading = float(rng.uniform(0, 360))
    speed = float(rng.uniform(0, 6.0))
    from_deg = float((heading + rng.normal(0, 35)) % 360)
    along, cross = wind_components(speed, from_deg, heading)
    kelvin = 273.15 + float(rng.uniform(10.0, 40.0))
    resistance_25 = float(rng.uniform(0.014, 0.030))
    mass, density = float(rng.uniform(6.8, 9.0)), float(rng.uniform(1.08, 1.26))
    build = {
        "mass": mass,
        "air_density": density,
        "thrust_scale": float(rng.uniform(0.94, 1.10)),
        "rolling_friction": float(rng.uniform(0.03, 0.07)),
        "slope": float(rng.normal(0, 0.005)),
        "charge_state": float(rng.uniform(0.9, 1.0)),
        "resistance": resistance_25 * float(np.exp(1800.0 * (1.0 / kelvin - 1.0 / 298.15))),
        "wind_along": along,
        "wind_cross": cross,
        "gust": 0.03 + float(rng.uniform(0.06, 0.17)) * speed,
        "gust_time": float(rng.uniform(0.8, 3.0)),
        "ground_shake": float(rng.uniform(0.05, 0.6)),
        "play": 0.0,
        "float_at": float(rng.normal(0.7, 0.6)) * DEG,
        "touch": float(rng.uniform(0.12, 0.62)),
        "hard": 0.0,
        "stick": float(rng.uniform(0.002, 0.007)),
    }
    stall = ac.stall_speed(mass, density)
    plan = Plan(
        throttle_time=float(rng.uniform(10.0, 16.0)), ramp=float(rng.uniform(0.4, 1.4)),
        throttle=float(rng.uniform(0.94, 1.0)), rotate_speed=stall * float(rng.uniform(0.86, 1.0)),
        rotate_rate=float(rng.uniform(10, 22)) * DEG,
        rotate_pitch=float(rng.uniform(8.0, 10.0)) * DEG,
        restless=float(rng.uniform(0.1, 0.5)) * DEG,
        climb_speed=max(stall * float(rng.uniform(1.18, 1.3)), 14.0),
        cruise_speed=max(stall * float(rng.uniform(1.35, 1.5)), 16.5),
        cruise_height=float(rng.uniform(34.0, 44.0)), laps=laps,
        idle_after=float(rng.uniform(8.0, 12.0)),
    )  # fmt: skip
    rough = float(rng.uniform(0.0005, 0.003))
    place = Place(float(rng.uniform(-0.06, 0.06)), float(rng.uniform(-0.06, 0.06)),
                  float(rng.uniform(0, 900)), heading)  # fmt: skip
    if fault == "play":
        build["play"] = size * DEG
    if fault == "hard-touchdown":
        build["touch"], build["hard"] = (size - HARD_LINE[0]) / HARD_LINE[1], 1.0
    air = {"wind_10m": speed, "wind_from_deg": from_deg}
    setting = Setting(build, rough, plan, (seed, number, 12))
    return Drawn(seed, number, setting, place, air, kelvin, resistance_25)


def truth_of(drawn: Drawn, flown: Flown, fault: str = "none") -> Truth | None:
    """Truth of the flight itself; None where it is not one to show."""
    if flown.events[-1][1] != "parked" or np.abs(flown["roll"]).max() > 1.2:
        return None
    boot = float(np.random.default_rng((drawn.seed, drawn.number, 13)).uniform(15, 240))
    known = describe_flights(flown, drawn.place, boot)
    landing = landing_truth(flown, boot)
    low, high = SOUND_TOUCHDOWN
    if fault == "hard-touchdown":
        meant = HARD_LINE[0] + HARD_LINE[1] * flown.setting.build["touch"]
        low, high = meant - 0.35, meant + 0.35
    if len(known["flights"]) != 1 or not low <= landing["wheel_sink_m_s"] <= high:
        return None
    if known["landing"]["touch_groundspeed"] < 5.0:
        return None
    del known["flights"]
    known["touchdown"] = landing
    known["battery_response"] = battery_truth(flown, boot, drawn.kelvin, drawn.resistance_25)
    known["surfaces"] = surface_truth(flown, boot)
    known["mass_kg"] = flown.setting.build["mass"]
    known["config"] = {"seed": drawn.seed, "number": drawn.number, **flown.setting.build,
                       **drawn.air, "roughness_m": flown.setting.roughness_m}  # fmt: skip
    known["events"] = [(t + boot, word) for t, word in flown.events]
    return known


def tables_of(
    drawn: Drawn,
    flown: Flown,
    known: Truth,
    fault: str = "none",
    size: float = 0.0,
    *,
    imu_hz: int = 200,
    outputs_hz: float = 25.0,
    tail: str | None = None,
    kept: Tables | None = None,
) -> Tables:
    """Put the sensors on a flight, and write into ``known`` what they and the fault are.

    ``kept`` are tables of the same flight that the fault leaves alone, so that they need not be
    made again; see `CHANGED`.
    """
    tail = tail or ("inverted v" if fault == "reversed-panel" else "plain")
    boot, place = known["boot"], drawn.place

    def source(k: int) -> np.random.Generator:
        """Draw every instrument from a source of its own, so that none shifts another."""
        return np.random.default_rng((drawn.seed, drawn.number, k))

    kinds = source(20)
    gps_hz = float(kinds.choice([5, 10]))
    battery_hz = float(kinds.choice([5, 10]))
    has = {name: bool(kinds.random() < share) for name, share in (
        ("temperature", 0.6), ("cells", 0.5), ("supply", 0.6), ("rotation", 0.5))}  # fmt: skip
    utc = 1_830_000_000.0 + float(kinds.integers(0, 20_000_000)) + float(kinds.uniform(0, 1))
    gnss = takeoffs.draw_gnss(source(21), gps_hz)
    imu = draw_imu(source(22), imu_hz, size if fault == "propeller" else 1.0)
    baro = takeoffs.draw_baro(source(23), flown.setting.build["gust"])
    attitude = takeoffs.draw_attitude(source(24), 25.0)
    pitot = takeoffs.draw_pitot(source(25))
    power = takeoffs.draw_power(source(26), battery_hz)
    link = whole_sensors.draw_link(source(27))
    if fault == "aerial-null":
        link = replace(link, null_db=size)
    cells = whole_sensors.draw_cells(source(28))
    supply = whole_sensors.draw_supply(source(29))
    tables = dict(kept or {})
    if "gps" not in tables:
        tables["gps"] = gnss.table(flown, place, boot, utc, source(31))
        tables["baro"] = baro.table(flown, place, boot, source(33))
        tables["attitude"] = attitude.table(flown, place, boot, source(34))
        tables["airspeed"] = pitot.table(flown, boot, source(35))
        tables["battery"] = power.table(flown, boot, source(36))
        _more_of_the_battery(tables["battery"], flown, drawn, has, cells, boot, source(38))
        if has["supply"]:
            tables["supply"] = supply.table(flown, boot, source(39))
        if has["rotation"]:
            tables["rotation"] = whole_sensors.rotation_table(flown, boot, 10.0, source(40))
    if "imu" not in tables:
        tables["imu"], _ = imu.table(flown, boot, source(32))
    if "outputs" not in tables:
        travel = size if fault == "reversed-panel" else 0.0
        tables["outputs"] = whole_sensors.outputs_table(flown, outputs_hz, boot, tail, travel)
    if "link" not in tables:
        tables["link"] = link.table(flown, boot, source(37))
    rolls = [t for t, word in flown.events if word == "roll"]
    armed = [(rolls[0] - 4.0, 1), (flown.events[-1][0] + 4.0, 0)]
    tables["arming"] = sensors.arming_table(armed, boot)

    known["fault"] = {"kind": fault, "size": size}
    known["tail"], known["has"], known["latency_s"] = tail, has, gnss.latency
    known["lever_m"], known["imu_lever_m"] = list(gnss.lever), list(whole_sensors.IMU_FROM_AXLE)
    known["sensors"] = {"gps": asdict(gnss), "imu": asdict(imu), "baro": asdict(baro),
                        "attitude": asdict(attitude), "airspeed": asdict(pitot),
                        "battery": asdict(power)}  # fmt: skip
    known["vibration"] = _vibration_truth(imu, flown)
    known["link"] = _link_truth(link, flown, drawn, boot)
    known["cells"] = _cell_truth(cells, flown) if has["cells"] else None
    known["supply"] = None
    if has["supply"]:
        known["supply"] = {"servo_min_v": float(supply.servo_voltage(flown).min()),
                           **asdict(supply)}  # fmt: skip
    return tables


def draw_imu(rng: np.random.Generator, rate: int, first_order: float) -> whole_sensors.WholeImu:
    """Draw the sensor's errors and how the same aircraft shakes on one day."""
    plain = takeoffs.draw_imu(rng, rate, 0.0)
    day = np.exp(rng.normal(0.0, (0.17, 0.2, 0.25, 0.25, 0.2, 0.3)))
    hertz = STRUCTURE_HZ * float(np.exp(rng.normal(0.0, 0.008)))
    return whole_sensors.WholeImu(
        **asdict(plain), first_order=float(NORMAL_FIRST_ORDER * first_order * day[0]),
        blade_pass=float(0.4 * day[1]), third=float(0.1 * day[2]), fourth=float(0.15 * day[3]),
        broad=float(0.35 * day[4]), structure=float(0.15 * day[5]), structure_hz=hertz,
    )  # fmt: skip


def _more_of_the_battery(
    battery: Any,
    flown: Flown,
    drawn: Drawn,
    has: dict[str, bool],
    cells: whole_sensors.Cells,
    boot: float,
    rng: np.random.Generator,
) -> None:
    """Temperature and cells beside voltage and current."""
    when = battery["time_s"].to_numpy() - boot
    shown = drawn.kelvin + rng.normal(0.0, 0.7) + rng.normal(0.0, 0.15, when.size)
    if has["temperature"]:
        battery["temperature_k"] = np.round(shown - 273.15) + 273.15
    if has["cells"]:
        battery["cell_voltages"] = cells.column(flown, when, rng)


def _cruise(flown: Flown) -> Any:
    starts = {word: t for t, word in flown.events}
    return (flown.time >= starts["cruise"] + 3.0) & (flown.time < starts["let_down"])


def _vibration_truth(imu: whole_sensors.WholeImu, flown: Flown) -> dict[str, Any]:
    rev = flown["rev_s"].astype(float)
    cruise = _cruise(flown)
    return {
        "normal_first_order": NORMAL_FIRST_ORDER,
        "first_order_115": imu.first_order,
        "first_order_cruise_xyz": imu.first_order_rms(rev[cruise]).tolist(),
        "cruise_rev_s": float(rev[cruise].mean()),
        "structure_hz": imu.structure_hz,
        "averaged": imu.averaged,
    }


def _link_truth(
    link: whole_sensors.Link, flown: Flown, drawn: Drawn, boot: float
) -> dict[str, Any]:
    station = drawn.place.point(link.station[0], link.station[1])
    turn = np.radians(np.arange(-180.0, 180.0, 5.0))
    when = np.arange(0.5, flown.time[-1], 1.0 / link.rate)
    distance, azimuth = link.seen_from(flown, when)
    return asdict(link) | {
        "station_deg": station,
        "null_azimuth_deg": float(np.degrees(link.null_at)) % 360.0 if link.null_db else None,
        "gain_azimuth_deg": np.degrees(turn).tolist(),
        "gain_db": link.gain(turn).tolist(),
        "sensitivity_dbm": link.SENSITIVITY,
        "course": {
            "time_s": when + boot,
            "distance_m": distance.astype(np.float32),
            "azimuth_deg": np.degrees(azimuth).astype(np.float32),
        },
    }


def _cell_truth(cells: whole_sensors.Cells, flown: Flown) -> dict[str, Any]:
    when = np.arange(0.0, flown.time[-1], 0.1)
    volts = cells.voltages(flown, when)
    amps = np.interp(when, flown.time, flown["current"])
    spread = volts.max(axis=1) - volts.min(axis=1)
    full = amps > 0.9 * amps.max()
    return {
        "rested_v": cells.rested.tolist(),
        "share": cells.share.tolist(),
        "spread_rested_v": float(spread[when < 5.0].mean()),
        "spread_loaded_v": float(spread[full].mean()),
        "spread_loaded_max_v": float(spread.max()),
    }
