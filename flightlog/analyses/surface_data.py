"""Which outputs drive surfaces, and what they were told in flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.deflection import deflections
from flightlog.estimation.frames import Array
from flightlog.figures import slug

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.inputs import Aircraft
    from flightlog.recording import Recording

SURFACE_WORDS = (
    *("aileron", "elevator", "rudder", "tail", "flap", "elevon", "ruddervator", "stabil"),
    *("spoiler", "airbrake"),
)
"""What the name of an output that drives a surface holds."""

ABSURD = 1e15
"""No quantity of any column in any unit is as large; squares of it stay finite."""

_LEAST_ROWS = 20


@dataclass(frozen=True, slots=True)
class Surface:
    """An output that drives a surface.

    Attributes
    ----------
    channel : int
        Output.
    name : str
        As the aircraft file has it.
    key : str
        Its part of a figure's id.
    points : tuple
        Linkage: (pulse [us], deflection [deg]), pulses rising; empty where it was not measured.
    """

    channel: int
    name: str
    key: str
    points: tuple[tuple[float, float], ...]

    def figure(self, what: str) -> str:
        """Id of one of its figures."""
        return f"surface.{self.key}.{what}"

    @property
    def ends_us(self) -> tuple[float, float]:
        """Ends of the measured travel, else of the usual pulses. [us]"""
        return (self.points[0][0], self.points[-1][0]) if self.points else (1000.0, 2000.0)

    @property
    def needs_points(self) -> str:
        """Why a figure in degrees is withheld."""
        return f"needs [outputs.{self.channel}] deflection in the aircraft file"


@dataclass(frozen=True, slots=True)
class Told:
    """What a surface was told while airborne.

    Attributes
    ----------
    surface : Surface
        Which.
    time_s, pulse_us : array, shape (n,)
        Rising times [s], pulses [us].
    step_s : float
        Median spacing. [s]
    """

    surface: Surface
    time_s: Array
    pulse_us: Array
    step_s: float

    @property
    def deflection_deg(self) -> Array | None:
        """By the linkage; None where it was not measured. [deg]"""
        if not self.surface.points:
            return None
        return deflections(self.pulse_us, self.surface.points)

    @property
    def length_s(self) -> float:
        """Last minus first time. [s]"""
        return float(self.time_s[-1] - self.time_s[0])


def surfaces_of(aircraft: Aircraft | None) -> list[Surface]:
    """Give the outputs of the aircraft file that drive surfaces, by channel."""
    if aircraft is None:
        return []
    found: dict[str, Surface] = {}
    for channel, name in sorted(aircraft.outputs.items()):
        points = aircraft.linkages.get(channel, ())
        known = bool(points) or channel in aircraft.senses
        words = name.lower()
        if "wheel" in words or not (known or any(word in words for word in SURFACE_WORDS)):
            continue
        key = slug(name) or f"output_{channel}"
        if key in found:
            key = f"{key[:34].rstrip('_')}_{channel}"
        found[key] = Surface(channel, name, key, points)
    return list(found.values())


def column(table: pd.DataFrame | None, name: str) -> Array:
    """A column as floats, NaN where the log lacks it or is absurd; empty without a table."""
    if table is None:
        return np.empty(0)
    if name not in table:
        return np.full(len(table), np.nan)
    values = np.asarray(table[name].to_numpy(dtype=float, na_value=np.nan))
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(values) < ABSURD, values, np.nan)


def series(
    table: pd.DataFrame | None, names: tuple[str, ...], start_s: float, end_s: float
) -> tuple[Array, Array] | None:
    """Times and columns of the rows in a window in which all are finite, times rising.

    Returns
    -------
    time_s, values : array, shape (n,) and (n, names)
        None with fewer than two rows.
    """
    if table is None:
        return None
    time_s = column(table, "time_s")
    values = np.column_stack([column(table, name) for name in names])
    good = (time_s >= start_s) & (time_s <= end_s) & np.isfinite(values).all(axis=1)
    time_s, values = time_s[good], values[good]
    rising = np.diff(time_s, prepend=-np.inf) > 0
    time_s, values = time_s[rising], values[rising]
    if time_s.size < 2 or (np.diff(time_s) <= 0).any():
        return None
    return time_s, values


def told(recording: Recording, start_s: float, end_s: float) -> dict[int, tuple[Array, Array]]:
    """Times [s] and pulses [us] of every output in a window, by channel."""
    outputs = recording.get("outputs")
    rows = series_of_channels(outputs, start_s, end_s)
    return {c: (t, p) for c, (t, p) in rows.items() if t.size >= _LEAST_ROWS}


def series_of_channels(
    outputs: pd.DataFrame | None, start_s: float, end_s: float
) -> dict[int, tuple[Array, Array]]:
    """Split the table of outputs by channel; rows that repeat a time are left out."""
    time_s, channel, pulse = (column(outputs, n) for n in ("time_s", "channel", "pulse_us"))
    good = np.isfinite(channel) & np.isfinite(pulse) & (time_s >= start_s) & (time_s <= end_s)
    # Zero and 65535 stand for an output that is switched off.
    good &= (pulse > 0) & (pulse < 65535)
    time_s, channel, pulse = time_s[good], channel[good], pulse[good]
    found = {}
    for number in np.unique(channel):
        rows = channel == number
        t, p = time_s[rows], pulse[rows]
        rising = np.diff(t, prepend=-np.inf) > 0
        found[int(number)] = (t[rising], p[rising])
    return found


def means_about(time_s: Array, values: Array, grid_s: Array, width_s: float) -> Array:
    """Mean of the samples about each time, where there are none the line between neighbours.

    Parameters
    ----------
    time_s : array, shape (n,)
        Rising. [s]
    values : array, shape (n, m)
        Finite.
    grid_s : array, shape (k,)
        Times. [s]
    width_s : float
        Full width of the windows. [s]

    Returns
    -------
    array, shape (k, m)
    """
    first = np.searchsorted(time_s, grid_s - width_s / 2)
    last = np.searchsorted(time_s, grid_s + width_s / 2)
    count = (last - first)[:, None]
    middle = values.mean(axis=0)
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values - middle, axis=0)])
    between = np.column_stack([np.interp(grid_s, time_s, v) for v in values.T])
    mean: Array = np.where(
        count > 0, middle + (total[last] - total[first]) / np.maximum(count, 1), between
    )
    return mean
