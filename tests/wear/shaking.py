"""Vibration of made-up flights: a propeller's multiples, hiss and a part that rings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer
from flightlog.recording import Recording
from tests.analyses.made import path as made_path
from tests.analyses.made import recording, sortie

ROLL_S, LIFTOFF_S, LEVEL_S, DOWN_S, TOUCHDOWN_S = 10.0, 15.0, 40.0, 130.0, 150.0
VOLTS = 22.0


def speed_of(time_s: np.ndarray) -> np.ndarray:
    """Turns a second: full power in roll and climb, waves about 73 in cruise, then idle."""
    cruise = 73 + 8 * np.sin(time_s / 7)
    full = np.interp(time_s, [0, ROLL_S - 1, ROLL_S], [0, 0, 112])
    blend = np.clip((time_s - LEVEL_S) / 3, 0, 1)
    late = np.clip((time_s - DOWN_S) / 3, 0, 1)
    return (full * (1 - blend) + cruise * blend) * (1 - late) + 20 * late


def flight() -> tuple[Sortie, FlightPath, Takeoff]:
    """Roll, climb, level flight and descent."""
    t = np.arange(0.0, 160.0, 0.1)
    climb = np.zeros(t.size)
    climb[(t > LIFTOFF_S) & (t < LEVEL_S)] = 2.0
    climb[(t > DOWN_S) & (t < TOUCHDOWN_S)] = -2.0
    path = replace(made_path(t), climb_m_s=climb)
    found = sortie(ROLL_S, 155.0, liftoff=LIFTOFF_S, touchdown=TOUCHDOWN_S)
    return found, path, Takeoff(Answer(), start_s=ROLL_S, liftoff_s=LIFTOFF_S)


def shaken(
    rate_hz: float = 200.0,
    *,
    tones: tuple[float, ...] = (1.0, 0.5, 0.2, 0.2),
    hiss: float = 0.3,
    logged: bool = True,
    ringing: tuple[float, float] | None = None,
    grows: bool = False,
    seed: int = 0,
) -> Recording:
    """Record it.

    Parameters
    ----------
    rate_hz : float
        Of the accelerometer. [Hz]
    tones : tuple of float
        Root mean square of each multiple at 100 turns a second, growing with their square.
    hiss : float
        White, each axis. [m/s²]
    logged : bool
        Whether the speed of the motor is in the log.
    ringing : (frequency, root mean square), optional
        A part that rings, all the time.
    grows : bool
        Whether it grows by a factor of 3 for each m/s of airspeed above 19.
    """
    rng = np.random.default_rng(seed)
    fine = np.arange(0.0, 160.0, 1e-3)
    turns_fine = np.cumsum(speed_of(fine)) * 1e-3
    t = np.arange(0.0, 160.0, 1 / rate_hz)
    turns, speed = np.interp(t, fine, turns_fine), speed_of(t)
    airspeed = np.where(t > LEVEL_S, 18 + 2.5 * np.sin(t / 11), 15.0)
    shake = hiss * rng.standard_normal((3, t.size))
    for k, tone in enumerate(tones, start=1):
        direction = rng.standard_normal(3)
        direction /= np.linalg.norm(direction)
        wave = (
            np.sqrt(2) * tone * (speed / 100) ** 2 * np.sin(2 * np.pi * (k * turns + rng.random()))
        )
        shake += direction[:, None] * wave
    if ringing is not None:
        frequency, size = ringing
        # A narrow band: a phase that wanders by itself.
        phase = 2 * np.pi * frequency * t + np.cumsum(rng.standard_normal(t.size)) * 1.0 / np.sqrt(
            rate_hz
        )
        gain = 3 ** np.clip(airspeed - 19, -4, 2) if grows else 1.0
        shake[2] += np.sqrt(2) * size * gain * np.sin(phase)
    tables = {
        "imu": pd.DataFrame(
            {
                "time_s": t,
                "instance": 0,
                "accel_x_m_s2": shake[0],
                "accel_y_m_s2": shake[1],
                "accel_z_m_s2": shake[2] - 9.81,
            }
        ),
        "airspeed": pd.DataFrame(
            {"time_s": t[::20], "instance": 0, "airspeed_m_s": airspeed[::20]}
        ),
    }
    slow = np.arange(0.0, 160.0, 0.05)
    tables["outputs"] = pd.DataFrame(
        {"time_s": slow, "channel": 3, "pulse_us": np.round(1000 + 8 * speed_of(slow))}
    )
    tables["battery"] = pd.DataFrame({"time_s": slow[::4], "instance": 0, "voltage_v": VOLTS})
    if logged:
        tables["rotation"] = pd.DataFrame(
            {
                "time_s": slow[::2],
                "instance": 0,
                "speed_rad_s": 2 * np.pi * speed_of(slow[::2]),
                "temperature_k": 293.15 + 20 * np.clip(slow[::2] / 100, 0, 1),
            }
        )
    return recording(**tables)
