"""Random take-offs with known truth, at the level of sensor tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace
from math import degrees, pi
from typing import Any

import numpy as np
import pandas as pd

from . import sensors, truth
from .aircraft import stall_speed
from .geodesy import Place
from .pilot import Plan, wind_components
from .run import Flown, Setting, fly

DEG = pi / 180.0
BATCH = 96
BEFORE_CLIMB = 33.0  # s, rest and roll at the most
AFTER_CLIMB = 18.5  # s of recording after the wheels are 1.5 m up

Tables = dict[str, pd.DataFrame]
Truth = dict[str, Any]

IMU_CHOICES = ("none", "25-50", "100-400")


def simulate_takeoffs(n: int, seed: int, **wanted: Any) -> list[tuple[Tables, Truth]]:
    """Simulate ``n`` random take-offs; see `iterate_takeoffs`, which this collects in a list."""
    return list(iterate_takeoffs(n, seed, **wanted))


def iterate_takeoffs(
    n: int,
    seed: int,
    *,
    gps_hz: int | None = None,
    imu: str | None = None,
    surface: str | None = None,
    air: str | None = None,
    liftoff: str | None = None,
    vibration: tuple[float, float] | None = None,
    run_up: bool | None = None,
    after_s: float = AFTER_CLIMB,
) -> Iterator[tuple[Tables, Truth]]:
    """Simulate ``n`` random take-offs one after the other, with little memory.

    Parameters
    ----------
    n : int
        How many.
    seed : int
        Same seed, same take-offs, however many are taken.
    gps_hz : {1, 5, 10}, optional
        Fixes a stratum, as do the next four; drawn where None. [Hz]
    imu : {"none", "25-50", "100-400"}, optional
        Rate of the inertial sensor. [Hz]
    surface : {"smooth", "rough"}, optional
        The strip.
    air : {"calm", "gusty"}, optional
        Calm air has a mean wind of at most 1.5 m/s and no gusts to speak of.
    liftoff : {"clean", "skipping"}, optional
        How the wheels leave. Flown for, then judged by what happened: take-offs that came out
        otherwise are left out when this is given.
    vibration : tuple of float, optional
        Bounds of the motor vibration at the sensor at full throttle. [m/s² rms]
    run_up : bool, optional
        Whether the throttle is opened against the brakes.
    after_s : float
        Recording after the wheels are 1.5 m up. [s]

    Yields
    ------
    tables : dict of DataFrame
        ``gps``, ``battery``, ``outputs``, ``arming`` always; ``imu``, ``attitude``, ``baro``,
        ``airspeed`` where the aircraft has them.
    truth : dict
        Events in the tables' own clock; ``stratum`` and the drawn sensor errors with them.
    """
    fixed = {"gps_hz": gps_hz, "imu": imu, "surface": surface, "air": air,
             "liftoff": liftoff, "run_up": run_up}  # fmt: skip
    given, number = 0, 0
    while given < n:
        rows = [
            _draw(seed, number + i, fixed, vibration, after_s)
            for i in range(min(BATCH, n - given + 4))
        ]
        number += len(rows)
        for row, flown in zip(
            rows, fly([r["setting"] for r in rows], BEFORE_CLIMB + after_s), strict=True
        ):
            result = _measure(row, flown)
            if result is None or given >= n:
                continue
            if liftoff is not None and result[1]["stratum"]["liftoff"] != liftoff:
                continue
            given += 1
            yield result


def _pick(rng: np.random.Generator, fixed: Any, choices: tuple[Any, ...], p: Any = None) -> Any:
    drawn = choices[int(rng.choice(len(choices), p=p))]  # always drawn: strata don't shift seeds
    return drawn if fixed is None else fixed


def _draw(
    seed: int,
    number: int,
    fixed: dict[str, Any],
    vibration: tuple[float, float] | None,
    after_s: float,
) -> dict[str, Any]:
    rng = np.random.default_rng((seed, number))
    stratum = {
        "gps_hz": _pick(rng, fixed["gps_hz"], (1, 5, 10)),
        "imu": _pick(rng, fixed["imu"], IMU_CHOICES, (0.27, 0.31, 0.42)),
        "surface": _pick(rng, fixed["surface"], ("smooth", "rough")),
        "air": _pick(rng, fixed["air"], ("calm", "gusty")),
        "run_up": _pick(rng, fixed["run_up"], (False, True), (0.7, 0.3)),
        "wanted": _pick(rng, fixed["liftoff"], ("clean", "skipping")),
    }
    low, high = vibration or (0.1, 3.0)
    stratum["vibration"] = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    heading = float(rng.uniform(0, 360))
    build, air = _draw_build(rng, stratum, heading)
    plan = replace(_draw_plan(rng, stratum, build), stop_after=after_s)
    rough = rng.uniform(0.0005, 0.0015) if stratum["surface"] == "smooth" else rng.uniform(
        0.003, 0.006)  # fmt: skip
    place = Place(float(rng.uniform(-0.06, 0.06)), float(rng.uniform(-0.06, 0.06)),
                  float(rng.uniform(0, 900)), heading)  # fmt: skip
    setting = Setting(build, float(rough), plan, (seed, number, 1))
    return {"rng": rng, "stratum": stratum, "air": air, "place": place, "setting": setting,
            "number": number, "seed": seed}  # fmt: skip


def _draw_build(
    rng: np.random.Generator, stratum: dict[str, Any], heading: float
) -> tuple[dict[str, float], dict[str, float]]:
    calm = stratum["air"] == "calm"
    speed = float(rng.uniform(0, 1.5) if calm else rng.uniform(1.5, 7.0))
    # Teams take off into the wind, more or less.
    from_deg = (heading + rng.normal(0, 35)) % 360
    along, cross = wind_components(speed, from_deg, heading)
    smooth = stratum["surface"] == "smooth"
    build = {
        "mass": float(rng.uniform(6.8, 9.4)),
        "air_density": float(rng.uniform(1.03, 1.26)),
        "thrust_scale": float(rng.uniform(0.88, 1.12)),
        "rolling_friction": float(rng.uniform(0.03, 0.06) if smooth else rng.uniform(0.05, 0.12)),
        "slope": float(rng.normal(0, 0.006)),
        "charge_state": float(rng.uniform(0.6, 1.0)),
        "resistance": float(rng.uniform(0.014, 0.030)),
        "wind_along": along,
        "wind_cross": cross,
        "gust": 0.03 if calm else float(rng.uniform(0.12, 0.28)) * speed,
        "gust_time": float(rng.uniform(0.8, 3.0)),
        "ground_shake": float(rng.uniform(0.03, 0.3) if smooth else rng.uniform(0.2, 1.2)),
    }
    return build, {"wind_10m": speed, "wind_from_deg": float(from_deg)}


def _draw_plan(rng: np.random.Generator, stratum: dict[str, Any], build: dict[str, float]) -> Plan:
    stall = stall_speed(build["mass"], build["air_density"])
    ways: dict[str, float] = {}
    if stratum["wanted"] == "clean":
        ways["rotate_speed"] = stall * rng.uniform(0.84, 1.0)
        ways["rotate_rate"] = rng.uniform(10, 26) * DEG
        ways["rotate_pitch"] = rng.uniform(8.0, 10.5) * DEG
    elif rng.random() < 0.75:  # too early, then afraid of the stall
        ways["rotate_speed"] = stall * rng.uniform(0.66, 0.80)
        ways["rotate_rate"] = rng.uniform(20, 45) * DEG
        ways["rotate_pitch"] = rng.uniform(10.5, 13) * DEG
        ways["ease"] = rng.uniform(6, 11) * DEG
        ways["ease_time"] = rng.uniform(0.35, 0.9)
        ways["eases"] = 1 if rng.random() < 0.7 else 2
    else:  # lets it fly itself off
        ways["rotate_speed"] = stall * rng.uniform(0.65, 0.9)
        ways["rotate_rate"] = rng.uniform(2, 6) * DEG
        ways["rotate_pitch"] = rng.uniform(5.5, 8) * DEG
    hold = float(rng.uniform(0.8, 3.0)) if stratum["run_up"] else 0.0
    return Plan(
        throttle_time=float(rng.uniform(8.5, 12.0)),
        ramp=float(rng.uniform(0.2, 1.6)),
        hold=hold,
        throttle=float(rng.uniform(0.93, 1.0)),
        restless=float(rng.uniform(0.1, 0.7)) * DEG,
        climb_speed=stall * float(rng.uniform(1.15, 1.35)),
        **ways,  # type: ignore[arg-type]
    )


def draw_gnss(rng: np.random.Generator, rate: float) -> sensors.Gnss:
    """Draw a receiver's errors, from the data sheet's to well outside it."""
    slow = float(np.exp(rng.normal(np.log(1.1), 0.45)))
    speed = float(np.clip(np.exp(rng.normal(np.log(0.07), 0.5)), 0.02, 0.30))
    honest = rng.random() < 0.6
    zero = rng.random() < 0.5
    lever = (0.065, 0.0, -0.33) if zero else (
        float(rng.uniform(-0.3, 0.35)), 0.0, float(rng.uniform(-0.45, -0.25)))  # fmt: skip
    return sensors.Gnss(
        rate=rate,
        latency=float(rng.uniform(0.05, 0.25)),
        jitter=float(rng.uniform(0.0, 0.012)),
        slow_m=slow,
        slow_time=float(rng.uniform(20, 150)),
        white_m=float(rng.uniform(0.01, 0.15)),
        speed_noise=speed,
        speed_slow=float(rng.uniform(0.0, 0.5)) * speed,
        claimed_horizontal=slow * 1.4 * float(rng.uniform(0.7, 1.4)) if honest else 0.01,
        claimed_speed=speed * float(rng.uniform(0.8, 2.5)) if honest else 0.01,
        stamp="measurement" if rng.random() < 0.6 else "reception",
        lever=lever,
        dropped=0.0 if rng.random() < 0.7 else 0.03,
    )


def draw_imu(rng: np.random.Generator, rate: int, vibration: float) -> sensors.Imu:
    """Draw an inertial sensor's errors."""
    tones = (1.0, float(rng.uniform(0.2, 1.2)), float(rng.uniform(0, 0.4)),
             float(rng.uniform(0, 0.5)))  # fmt: skip
    side = rng.normal(0, 0.12, 2).clip(-0.35, 0.35)
    turn = rng.normal(0, 0.12 * DEG, 3)
    return sensors.Imu(
        rate=rate,
        averaged=bool(rng.random() < 0.5),
        noise=float(rng.uniform(0.01, 0.06)),
        gyro_noise=float(rng.uniform(0.0005, 0.003)),
        bias=(float(side[0]), float(side[1]), float(rng.uniform(-0.4, 0.4))),
        gyro_bias=(float(turn[0]), float(turn[1]), float(turn[2])),
        scale=tuple(float(v) for v in rng.normal(0, 0.008, 3)),  # type: ignore[arg-type]
        vibration=vibration,
        tones=tones,
        hiss=float(rng.uniform(0.05, 0.4)),
    )


def draw_baro(rng: np.random.Generator, gust: float) -> sensors.Baro:
    """Draw a barometer's errors."""
    return sensors.Baro(
        rate=float(rng.choice([10, 20, 50])),
        noise=float(rng.uniform(0.06, 0.30)),
        lag=float(rng.uniform(0.01, 0.15)),
        drift=float(rng.normal(0, 0.003)),
        pressure_share=float(rng.normal(0, 0.03)),
        ground_share=float(rng.normal(0, 0.03)),
        gust_noise=0.15 * gust,
    )


def draw_attitude(rng: np.random.Generator, rate: float) -> sensors.Attitude:
    """Draw an attitude filter's errors."""
    return sensors.Attitude(
        rate=rate,
        error=float(rng.uniform(0.15, 0.8)) * DEG,
        error_time=float(rng.uniform(4, 25)),
        yaw_error=float(rng.normal(0, 2.5)) * DEG,
        lean=float(rng.uniform(0.0, 0.06)),
    )


def draw_pitot(rng: np.random.Generator) -> sensors.Pitot:
    """Draw an airspeed sensor's errors."""
    return sensors.Pitot(10.0, float(rng.uniform(0.5, 2.5)), float(rng.normal(0, 3)),
                         float(rng.normal(0, 0.025)))  # fmt: skip


def draw_power(rng: np.random.Generator, rate: float = 10.0) -> sensors.PowerMeter:
    """Draw a power module's errors."""
    return sensors.PowerMeter(
        rate=rate,
        current_zero=float(rng.normal(0, 0.15)),
        current_scale=float(rng.normal(0, 0.015)),
        voltage_scale=float(rng.normal(0, 0.004)),
        current_step=float(rng.choice([0.01, 0.05, 0.1])),
        voltage_step=0.01,
        current_noise=float(rng.uniform(0.02, 0.2)),
    )


def _measure(row: dict[str, Any], flown: Flown) -> tuple[Tables, Truth] | None:
    m = truth.motion(flown)
    k = truth.find_takeoff(m, 0, m.time.size)
    stop = float(flown.setting.plan.stop_after or 0.0)
    if k is None or m.wheel_height[-1] < 2.0 or m.time[-1] - m.time[k.liftoff] < stop:
        return None  # flew into the ground, or never off it: not a take-off
    rng, stratum, place = row["rng"], dict(row["stratum"]), row["place"]
    boot = float(rng.uniform(15, 240))
    utc = 1_830_000_000.0 + float(rng.integers(0, 20_000_000)) + float(rng.uniform(0, 1))
    gnss = draw_gnss(rng, stratum["gps_hz"])
    tables: Tables = {"gps": gnss.table(flown, place, boot, utc, rng)}
    errors: dict[str, Any] = {"gps": asdict(gnss)}
    rate = {"none": 0, "25-50": int(rng.choice([25, 50])),
            "100-400": int(rng.choice([100, 200, 400], p=[0.5, 0.35, 0.15]))}  # fmt: skip
    imu = draw_imu(rng, max(rate[stratum["imu"]], 25), stratum["vibration"])
    stratum["imu_hz"], stratum["vibration_logged"] = rate[stratum["imu"]], None
    has_attitude = stratum["imu"] != "none" or rng.random() < 0.5
    if stratum["imu"] != "none":
        tables["imu"], logged = imu.table(flown, boot, rng)
        stratum["vibration_logged"] = logged
        errors["imu"] = asdict(imu)
    if has_attitude:
        attitude = draw_attitude(rng, float(rng.choice([10, 25, 50])))
        tables["attitude"] = attitude.table(flown, place, boot, rng)
        errors["attitude"] = asdict(attitude)
    stratum["baro"] = bool(rng.random() < 0.95)
    if stratum["baro"]:
        baro = draw_baro(rng, flown.setting.build["gust"])
        tables["baro"] = baro.table(flown, place, boot, rng)
        errors["baro"] = asdict(baro)
    stratum["airspeed"] = bool(rng.random() < 0.6)
    if stratum["airspeed"]:
        pitot = draw_pitot(rng)
        tables["airspeed"] = pitot.table(flown, boot, rng)
        errors["airspeed"] = asdict(pitot)
    power = draw_power(rng)
    tables["battery"] = power.table(flown, boot, rng)
    errors["battery"] = asdict(power)
    tables["outputs"] = sensors.outputs_table(flown, float(rng.choice([10, 25])), boot)
    armed = flown.setting.plan.throttle_time - float(rng.uniform(1.5, 5.0))
    tables["arming"] = sensors.arming_table([(armed, 1)], boot)
    known = truth.describe_takeoff(flown, m, k, place, boot, m.time.size)
    skipping = known["t_liftoff"] - known["t_first_airborne"] > 0.05
    stratum["liftoff"] = "skipping" if skipping else "clean"
    known.update(_circumstances(row, flown, gnss, stratum, errors))
    known["boot"] = boot
    return tables, known


def _circumstances(
    row: dict[str, Any],
    flown: Flown,
    gnss: sensors.Gnss,
    stratum: dict[str, Any],
    errors: dict[str, Any],
) -> Truth:
    place, build = row["place"], flown.setting.build
    return {
        "stratum": stratum,
        "latency_s": gnss.latency,
        "lever_m": list(gnss.lever),
        "runway": {
            "start_deg": [place.latitude, place.longitude],
            "heading_deg": place.heading,
            "slope": build["slope"],
            "elevation_m": place.elevation,
        },
        "config": {
            "seed": row["seed"],
            "number": row["number"],
            **build,
            **row["air"],
            "roughness_m": flown.setting.roughness_m,
            "rotate_speed": flown.setting.plan.rotate_speed,
            "rotate_rate_deg_s": degrees(flown.setting.plan.rotate_rate),
            "rotate_pitch_deg": degrees(flown.setting.plan.rotate_pitch),
        },
        "sensors": errors,
    }
