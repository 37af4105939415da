"""How fast the propeller turned: logged, or told by the lines that it leaves in the spectrum."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.phases_power import read_power
from flightlog.estimation.frames import Array
from flightlog.estimation.spectra import Windows
from flightlog.estimation.turning import find_factor
from flightlog.inputs import Inputs

if TYPE_CHECKING:
    from flightlog.recording import Recording

MOTOR_NAMES = ("motor", "throttle")
"""What an output that drives the motor has in its name."""

RUNNING_REV_S = 8.0
"""Slower propellers idle, windmill or stand. [1/s]"""

LOG_THE_SPEED = "log the motor's speed (from its speed controller), or name the motor's output"

LOGGED_SHARE_STD = 0.005
"""Standard uncertainty of a logged speed: what changes between its samples. [-]"""

SLOW_SHARE_STD = 0.01
"""The same of one that is logged less than four times a second, or told by the spectrum. [-]"""

_SLOW_S = 0.25
_LEAST_SAMPLES = 10
_APART = 0.03
_IDLE_US = 100.0
_MOST_CHANGE = 0.04
_SAG_GUESS = 1.0


@dataclass(frozen=True, slots=True)
class Turning:
    """Speed of the propeller over time.

    Attributes
    ----------
    time_s, rev_s : array, shape (n,)
        Log clock [s], and turns a second; 0 where it stands.
    share_std : float
        Standard uncertainty over the speed, and width of its lines beyond the window's. [-]
    gap_s : float
        The speed is known within so much of a sample. [s]
    how : str
        Where it comes from, in a few words.
    sources : tuple of str
        Tables.
    """

    time_s: Array
    rev_s: Array
    share_std: float
    gap_s: float
    how: str
    sources: tuple[str, ...]

    def at(self, time_s: Array) -> Array:
        """Speed at any times; NaN further than ``gap_s`` from a sample. [1/s]"""
        after = np.clip(np.searchsorted(self.time_s, time_s), 1, self.time_s.size - 1)
        near = np.minimum(
            np.abs(time_s - self.time_s[after - 1]), np.abs(self.time_s[after] - time_s)
        )
        speed = np.interp(time_s, self.time_s, self.rev_s)
        return np.asarray(np.where(near <= self.gap_s, speed, np.nan))


def turning(
    recording: Recording, inputs: Inputs, windows: Windows | None, power: Array | None
) -> tuple[Turning | None, str]:
    """Give the propeller's speed, or why it can't be had.

    Parameters
    ----------
    recording : Recording
        Its ``rotation``, else ``outputs`` and ``battery``.
    inputs : Inputs
        The aircraft's outputs.
    windows, power : Windows and array, or None
        The flight's spectra, for a speed that nobody logged.

    Returns
    -------
    Turning or None, str
        The reason is "" where there is one.
    """
    logged, why = _logged(recording)
    if logged is not None or why:
        return logged, why
    if windows is None or power is None:
        return None, f"nothing tells how fast the propeller turned; {LOG_THE_SPEED}"
    return _told_by_spectrum(recording, inputs, windows, power)


def motors(recording: Recording) -> dict[int, tuple[Array, Array]]:
    """Times [s] and speeds [1/s] of every motor that ran, by instance."""
    table = recording.get("rotation")
    if table is None or "speed_rad_s" not in table:
        return {}
    time_s = table["time_s"].to_numpy(dtype=float)
    speed = table["speed_rad_s"].to_numpy(dtype=float, na_value=np.nan) / (2 * math.pi)
    which = (
        table["instance"].to_numpy(dtype=float, na_value=0.0)
        if "instance" in table
        else np.zeros(time_s.size)
    )
    found: dict[int, tuple[Array, Array]] = {}
    for number in np.unique(which[np.isfinite(which)])[:64]:
        rows = (which == number) & np.isfinite(speed) & np.isfinite(time_s)
        rows &= np.abs(speed) < 1e4
        if rows.sum() >= _LEAST_SAMPLES and np.percentile(speed[rows], 95) > RUNNING_REV_S:
            found[int(number)] = (time_s[rows], np.maximum(speed[rows], 0.0))
    return found


def _logged(recording: Recording) -> tuple[Turning | None, str]:
    ran = motors(recording)
    if not ran:
        return None, ""
    (time_s, speed), *others = ran.values()
    for at, other in others:
        there = np.interp(time_s, at, other)
        fast = speed > RUNNING_REV_S
        if fast.any() and np.median(np.abs(there[fast] / speed[fast] - 1)) > _APART:
            return None, (
                f"{len(ran)} motors turned at different speeds, and their lines can't be told "
                "apart in one spectrum"
            )
    step = float(np.median(np.diff(time_s)))
    slow = not 0 < step <= _SLOW_S
    every = "speed of the motor" if not others else f"speed of {len(ran)} motors alike"
    return (
        Turning(
            time_s,
            speed,
            SLOW_SHARE_STD if slow else LOGGED_SHARE_STD,
            max(1.0, 1.5 * step),
            every,
            ("rotation",),
        ),
        "",
    )


def motor_channel(recording: Recording, inputs: Inputs) -> int | None:
    """Output that drives the motor: by the aircraft file, else the one that behaves like it."""
    aircraft = inputs.aircraft
    named = [
        number
        for number, name in (aircraft.outputs if aircraft is not None else {}).items()
        if any(word in name.lower() for word in MOTOR_NAMES)
    ]
    if named:
        return named[0] if len(named) == 1 else None
    # A current would be taken for the power, and tells no channel.
    return read_power(recording.without("battery")).channel


def _told_by_spectrum(
    recording: Recording, inputs: Inputs, windows: Windows, power: Array
) -> tuple[Turning | None, str]:
    drive = _drive(recording, motor_channel(recording, inputs))
    if drive is None:
        return None, f"nothing tells how fast the propeller turned; {LOG_THE_SPEED}"
    time_s, value = drive
    found = find_factor(power, windows.rate_hz, _steady(windows.middle_s, time_s, value))
    if found is None:
        return None, (
            "the motor's power hardly changed, so that no line of the spectrum can be told to "
            f"follow it; {LOG_THE_SPEED}"
        )
    if not found.sure:
        return None, (
            "no lines of the spectrum follow the motor as the multiples of one speed would; "
            f"{LOG_THE_SPEED}"
        )
    share = math.hypot(SLOW_SHARE_STD, found.std / found.full)
    how = f"speed from the lines that follow the motor, {60 * found.full:.0f} rpm at full power"
    return (
        Turning(time_s, found.speed(value), share, 1.0, how, ("imu", "outputs", "battery")),
        "",
    )


def _drive(recording: Recording, channel: int | None) -> tuple[Array, Array] | None:
    """Pulse above idle times battery voltage, at the times of the pulses."""
    table = recording.get("outputs")
    if table is None or channel is None:
        return None
    rows = table["channel"].to_numpy(dtype=float, na_value=np.nan) == channel
    time_s = table["time_s"].to_numpy(dtype=float)[rows]
    pulse = table["pulse_us"].to_numpy(dtype=float, na_value=np.nan)[rows]
    good = np.isfinite(time_s) & (pulse > 500) & (pulse < 2500)
    time_s, pulse = time_s[good], pulse[good]
    if time_s.size < _LEAST_SAMPLES:
        return None
    idle = float(pulse.min())
    above = np.where(pulse - idle < _IDLE_US, 0.0, pulse - idle)
    return time_s, above * _voltage(recording, time_s)


def _voltage(recording: Recording, time_s: Array) -> Array:
    """Battery voltage, 1 where none was logged: its fall over a flight is within the bends."""
    battery = recording.one("battery")
    if battery is None or "voltage_v" not in battery:
        return np.full(time_s.size, _SAG_GUESS)
    at = battery["time_s"].to_numpy(dtype=float)
    volts = battery["voltage_v"].to_numpy(dtype=float, na_value=np.nan)
    good = np.isfinite(at) & (volts > 1) & (volts < 1e3)
    if good.sum() < _LEAST_SAMPLES:
        return np.full(time_s.size, _SAG_GUESS)
    return np.asarray(np.interp(time_s, at[good], volts[good]))


def _steady(middle_s: Array, time_s: Array, value: Array) -> Array:
    """Drive at the windows' middles; NaN where it stands, changes or is not known."""
    early, late = (np.interp(middle_s + d, time_s, value) for d in (-0.4, 0.4))
    drive = np.interp(middle_s, time_s, value)
    steady = (drive > 0) & (np.abs(late - early) <= _MOST_CHANGE * drive)
    steady &= (middle_s > time_s[0]) & (middle_s < time_s[-1])
    return np.where(steady, drive, np.nan)
