"""What really happened in whole flights: attempts, flights, laps, energy, landing."""

from __future__ import annotations

from itertools import pairwise
from math import hypot
from typing import Any

import numpy as np
import numpy.typing as npt

from . import aircraft as ac
from . import truth
from .dynamics import STEP
from .geodesy import Place
from .run import Flown
from .truth import Motion

GATE_ALONG = 150.0  # m along the runway from the start line
GATE_HALF_WIDTH = 45.0  # m to each side of the runway's line
BOUNCE = (0.08, 0.05)  # s, m: a hop of the landing that is longer and higher is a bounce


def describe_flights(flown: Flown, place: Place, boot: float) -> dict[str, Any]:
    """Truth of a whole file: the first flight's at the top, all of them under ``flights``."""
    m = truth.motion(flown)
    flights, attempts = [], []
    for first, last in _moves(m):
        k = truth.find_takeoff(m, first, last)
        if k is not None:
            flights.append(_flight(flown, m, k, place, boot, last))
        elif _under_power(flown, first, last):
            attempts.append(_attempt(m, first, last, boot))
    total = {"total_log_J": float(flown["energy"][-1]), "total_log_C": float(flown["charge"][-1])}
    return {
        **flights[0],
        "flights": flights,
        "attempts": attempts,
        "log": {"t_start": boot, "t_end": boot + float(m.time[-1]), **total},
        "boot": boot,
        "runway": {
            "start_deg": [place.latitude, place.longitude],
            "heading_deg": place.heading,
            "slope": flown.setting.build["slope"],
            "elevation_m": place.elevation,
        },
    }


def _moves(m: Motion) -> list[tuple[int, int]]:
    """Index ranges from one standstill to the next that got faster than a walk."""
    moving = m.speed > truth.MOVING
    edges = np.flatnonzero(np.diff(moving.astype(np.int8))) + 1
    bounds = [0, *edges.tolist(), m.time.size]
    spans = [(a, b) for a, b in pairwise(bounds) if moving[a]]
    return [(a, b) for a, b in spans if m.speed[a:b].max() > 2.0]


def _under_power(flown: Flown, first: int, last: int) -> bool:
    return float(flown["throttle"][first:last].max()) > 0.85  # a taxi never needs that


def _attempt(m: Motion, first: int, last: int, boot: float) -> dict[str, float]:
    return {
        "t_start": float(m.time[first]) + boot,
        "t_stop": float(m.time[last - 1]) + boot,
        "peak_groundspeed": float(m.speed[first:last].max()),
        "distance_m": hypot(m.s[last - 1] - m.s[first], m.c[last - 1] - m.c[first]),
    }


def _flight(
    flown: Flown, m: Motion, k: truth.TakeOffIndices, place: Place, boot: float, last: int
) -> dict[str, Any]:
    out = truth.describe_takeoff(flown, m, k, place, boot, last)
    energy, charge = flown["energy"].astype(float), flown["charge"].astype(float)
    touch = k.two_metres + int(np.flatnonzero(m.touching[k.two_metres : last])[0])
    minute = min(k.start + round(60.0 / STEP), last - 1)
    height = m.wheel_height + flown.setting.build["slope"] * (m.s - m.s[k.start])
    out |= {
        "alt_gain_60s_m": float(height[minute]),
        "alt_max_within_60s_m": float(height[k.start : minute].max()),
        "energy_60s_J": float(energy[minute] - energy[k.start]),
        "climb_best_5s": _best_climb(m, height, k.start, touch, 5.0, boot),
        "climb_best_10s": _best_climb(m, height, k.start, touch, 10.0, boot),
        "landing": _landing(flown, m, touch, last, place, boot),
        "air_time_s": float(m.time[touch] - m.time[k.liftoff]),
        "air_distance_m": truth.path_length(m, k.liftoff, touch),
        "energy_roll_to_touch_J": float(energy[touch] - energy[k.start]),
        "energy": {
            "roll_to_liftoff_J": float(energy[k.liftoff] - energy[k.start]),
            "roll_to_end_J": float(energy[last - 1] - energy[k.start]),
            "charge_roll_to_end_mAh": float(charge[last - 1] - charge[k.start]) / 3.6,
        },
    }
    out |= _extremes(flown, m, height, k, touch, last, place)
    out |= _laps(flown, m, k, touch, place, boot)
    return out


def _best_climb(
    m: Motion, height: npt.NDArray[Any], first: int, last: int, window: float, boot: float
) -> dict[str, float]:
    span = round(window / STEP)
    rate = (height[first + span : last] - height[first : last - span]) / window
    best = int(np.argmax(rate))
    return {
        "max_mean_rate_mps": float(rate[best]),
        "t_window_start": float(m.time[first + best]) + boot,
    }


def _landing(
    flown: Flown, m: Motion, touch: int, last: int, place: Place, boot: float
) -> dict[str, Any]:
    airborne = ~m.touching[touch:last]
    edges = np.flatnonzero(np.diff(airborne.astype(np.int8))) + 1
    bounds = [0, *edges.tolist(), last - touch]
    hops = [
        (a, b) for a, b in pairwise(bounds)
        if airborne[a] and (b - a) * STEP >= truth.BRIEF
    ]  # fmt: skip
    final = touch + (hops[-1][1] if hops else 0)
    tops = [float(m.wheel_height[touch + a : touch + b].max()) for a, b in hops]
    before = slice(touch - round(0.1 / STEP), touch)
    ne = place.north_east(m.s[touch], m.c[touch])
    return {
        "t_first_touch": float(m.time[touch]) + boot,
        "t_final_touch": float(m.time[final]) + boot,
        "t_stop": float(m.time[last - 1]) + boot,
        "rollout_m": hypot(m.s[last - 1] - m.s[touch], m.c[last - 1] - m.c[touch]),
        "touch_pos_ne_m": [float(ne[0]), float(ne[1])],
        "touch_groundspeed": float(m.speed[touch]),
        "sink_rate_mps": -float(flown["vh"][before].mean()),
        "hops": len(hops),
        "hop_lengths_s": [(b - a) * STEP for a, b in hops],
        "hop_heights_m": tops,
        "bounces": sum(
            (b - a) * STEP > BOUNCE[0] and top > BOUNCE[1]
            for (a, b), top in zip(hops, tops, strict=True)
        ),
    }


def _one_second(value: npt.NDArray[Any]) -> npt.NDArray[Any]:
    span = round(1.0 / STEP)
    total = np.concatenate([[0.0], np.cumsum(value.astype(float))])
    return np.asarray((total[span:] - total[:-span]) / span)


def _extremes(
    flown: Flown,
    m: Motion,
    height: npt.NDArray[Any],
    k: truth.TakeOffIndices,
    touch: int,
    last: int,
    place: Place,
) -> dict[str, Any]:
    air, whole = slice(k.liftoff, touch), slice(k.start, last)
    volts, amps = flown["voltage"][whole], flown["current"][whole]
    load = _tenth(-flown["fz"][air].astype(float)) / ac.GRAVITY
    north, east = place.north_east(flown["wind_s"][air].mean(), flown["wind_c"][air].mean())
    distance = np.hypot(m.s[whole] - m.s[k.start], m.c[whole] - m.c[k.start])
    return {
        "max_hagl_m": float(m.wheel_height[whole].max()),
        "max_height_m": float(height[whole].max()),
        "max_range_m": float(distance.max()),
        "max_groundspeed": float(m.speed[whole].max()),
        "max_airspeed": float(flown["airspeed"][air].max()),
        "max_bank_deg": float(np.degrees(np.abs(flown["roll"][air])).max()),
        "max_load_factor_0p1s": float(load.max()),
        "min_load_factor_0p1s": float(load.min()),
        "wind_ef_recorded_mean_ne": [float(north), float(east)],
        "wind_speed_mean_mps": float(np.hypot(north, east)),
        "wind_from_deg": float(np.degrees(np.arctan2(-east, -north)) % 360.0),
        "battery": {
            "max_current_1s_A": float(_one_second(amps).max()),
            "min_voltage_1s_V": float(_one_second(volts).min()),
            "max_power_1s_W": float(_one_second(amps.astype(float) * volts).max()),
        },
    }


def _tenth(value: npt.NDArray[Any]) -> npt.NDArray[Any]:
    span = round(0.1 / STEP)
    return np.convolve(value, np.full(span, 1.0 / span), "valid")


def gate_deg(place: Place) -> tuple[list[float], list[float]]:
    """Left and right end of the gate. Latitude, longitude [deg]."""
    left = place.point(GATE_ALONG, -GATE_HALF_WIDTH)
    return left, place.point(GATE_ALONG, GATE_HALF_WIDTH)


def _laps(
    flown: Flown, m: Motion, k: truth.TakeOffIndices, touch: int, place: Place, boot: float
) -> dict[str, Any]:
    """Crossings of the gate by the aircraft's centre in the runway's direction."""
    s, c = flown["s"].astype(float), flown["c"].astype(float)
    before = np.arange(k.liftoff, touch - 1)
    over = before[(s[before] < GATE_ALONG) & (s[before + 1] >= GATE_ALONG)]
    over = over[np.abs(c[over]) <= GATE_HALF_WIDTH]
    travelled = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(s), np.diff(c)))])
    crossings = []
    for i in over:
        part = (GATE_ALONG - s[i]) / (s[i + 1] - s[i])

        def at(value: npt.NDArray[Any], i: int = int(i), part: float = part) -> float:
            return float(value[i]) + part * (float(value[i + 1]) - float(value[i]))

        crossings.append({
            "t": at(m.time) + boot,
            "left_m": -at(c),
            "hagl": at(m.wheel_height),
            "energy_J": at(flown["energy"]),
            "charge_C": at(flown["charge"]),
            "path_m": at(travelled),
        })  # fmt: skip
    laps = [
        {
            "n": n,
            "t_start": a["t"],
            "t_end": b["t"],
            "time_s": b["t"] - a["t"],
            "distance_m": b["path_m"] - a["path_m"],
            "energy_J": b["energy_J"] - a["energy_J"],
            "energy_Wh": (b["energy_J"] - a["energy_J"]) / 3600.0,
            "charge_mAh": (b["charge_C"] - a["charge_C"]) / 3.6,
        }
        for n, (a, b) in enumerate(pairwise(crossings), start=1)
    ]
    left, right = gate_deg(place)
    gate = {"along_m": GATE_ALONG, "left_end_latlon": left, "right_end_latlon": right,
            "direction": "along runway heading",
            "runway_heading_deg": place.heading}  # fmt: skip
    return {"gate": gate, "gate_crossings": crossings, "laps": laps}
