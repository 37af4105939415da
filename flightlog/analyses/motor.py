"""Greatest speed and temperature of the motor while armed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.extremes import largest
from flightlog.analyses.phases import Sortie
from flightlog.analyses.propeller import motors
from flightlog.constants import ZERO_CELSIUS_K
from flightlog.estimation.frames import Array
from flightlog.figures import Answer, Figure
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

SPEED, TEMPERATURE = "motor.max_speed", "motor.max_temperature"

SPEED_SCALE_STD = 0.005
"""Standard uncertainty of a speed that a controller counts, its pole pairs being right. [-]"""

TEMPERATURE_STD_K = 3.0
"""Standard uncertainty of the sensor of a speed controller, by its data sheets. [K]"""

_MEAN_S = 1.0


def answer(recording: Recording, sortie: Sortie) -> Answer:
    """Give motor.max_speed and motor.max_temperature of one sortie.

    Parameters
    ----------
    recording : Recording
        Its ``rotation``; the most of every motor.
    sortie : Sortie
        Its bounds, with the motor's run before the roll.
    """
    window = min(sortie.search_s[0], sortie.start_s), sortie.end_s
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    speed = _max_speed(recording, window)
    if speed is None:
        withheld[SPEED] = "no motor speed was logged in this flight; log it from the controller"
    else:
        figures[SPEED] = speed
    temperature = _max_temperature(recording, window)
    if temperature is None:
        withheld[TEMPERATURE] = (
            "no temperature of motor or controller was logged in this flight; log the "
            "controller's telemetry"
        )
    else:
        figures[TEMPERATURE] = temperature
    return Answer(figures, withheld)


def _max_speed(recording: Recording, window: tuple[float, float]) -> Figure | None:
    tops = []
    for time_s, rev_s in motors(recording).values():
        rows = (time_s >= window[0]) & (time_s <= window[1])
        at, mean, std = _second_means(time_s[rows], 60 * rev_s[rows])
        if mean.size:
            tops.append(largest(at, mean, std, 0.0))
    if not tops:
        return None
    top = max(tops, key=lambda extreme: extreme.value)
    return Figure(
        SPEED,
        Uncertain(top.value, {"speed scale": SPEED_SCALE_STD * top.value, "noise": top.std}, "rpm"),
        "greatest 1 s mean" + (f" of {len(tops)} motors" if len(tops) > 1 else ""),
        ("rotation",),
    )


def _second_means(time_s: Array, values: Array) -> tuple[Array, Array, Array]:
    """Means over whole seconds: middles [s], means, standard deviations of the means by noise.

    The noise is what neighbours differ by, which a change of speed makes larger, not smaller.
    """
    if not time_s.size:
        return np.empty(0), np.empty(0), np.empty(0)
    second = np.floor((time_s - time_s[0]) / _MEAN_S)
    starts = np.flatnonzero(np.diff(second, prepend=-1.0))
    count = np.diff(np.append(starts, time_s.size))
    at = np.add.reduceat(time_s, starts) / count
    mean = np.add.reduceat(values, starts) / count
    steps = np.diff(values, 2)
    noise = 1.4826 * float(np.median(np.abs(steps))) / math.sqrt(6) if steps.size else 0.0
    return at, mean, noise / np.sqrt(count)


def _max_temperature(recording: Recording, window: tuple[float, float]) -> Figure | None:
    table = recording.get("rotation")
    if table is None or "temperature_k" not in table:
        return None
    time_s = table["time_s"].to_numpy(dtype=float)
    kelvin = table["temperature_k"].to_numpy(dtype=float, na_value=np.nan)
    # A controller without the sensor says 0 °C all along.
    rows = (time_s >= window[0]) & (time_s <= window[1]) & (kelvin > 0) & (kelvin < 1000)
    kelvin = kelvin[rows]
    if not kelvin.size or not (kelvin != ZERO_CELSIUS_K).any():
        return None
    return Figure(
        TEMPERATURE,
        Uncertain.of(
            float(kelvin.max()) - ZERO_CELSIUS_K, TEMPERATURE_STD_K, "°C", source="sensor"
        ),
        "greatest",
        ("rotation",),
    )
