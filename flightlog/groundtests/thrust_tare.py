"""What a thrust stand reads at rest, how that drifts, and what known loads say of its scale."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.thrust_steps import BoolArray, Steps, students

DRIFT_LIMIT_PCT = 1.0
"""The zero may move by so much of full scale between before and after."""
STRAIGHT_LIMIT_PCT = 0.5
"""A load cell may bend or stick by so much of its greatest load."""
_STANDING = {"speed": 0.02, "electrical_speed": 0.02, "current": 0.05, "thrust": 0.02}
"""A motor stands where these are below so much of their greatest; the first that is there tells."""


def at_rest(
    steps: Steps, signals: Mapping[str, FloatArray], rest_pulse_us: float | None
) -> BoolArray:
    """Tell at which steps the motor stood.

    Parameters
    ----------
    steps : Steps
        Of one file.
    signals : mapping of str to array
        The file's own rows, whose greatest tell what is little.
    rest_pulse_us : float or None
        Pulse at which the motor stands, and all below. [us]
    """
    if rest_pulse_us is not None and steps.command == "pulse":
        told: BoolArray = steps.level <= rest_pulse_us
        return told
    for name, share in _STANDING.items():
        if name not in signals:
            continue
        values = np.abs(steps.mean[name])
        greatest = float(np.nanmax(values, initial=0.0))
        if not greatest > 0:
            continue
        still: BoolArray = values < share * greatest
        if name in ("current", "thrust") and steps.command in ("pulse", "throttle"):
            # A cell may read little at any throttle, and drift; a motor stands at the lowest only.
            return _lowest(steps.level, values, share * greatest)
        return still
    return np.zeros(len(steps), dtype=bool)


def _lowest(level: FloatArray, values: FloatArray, little: float) -> BoolArray:
    """Tell which steps are of the lowest levels, below the first at which more is read."""
    highest = -math.inf
    for each in np.unique(level):
        alike = values[level == each]
        if not np.isfinite(alike).any() or float(np.nanmedian(alike)) >= little:
            break
        highest = float(each)
    told: BoolArray = level <= highest
    return told


@dataclass(frozen=True, slots=True, eq=False)
class Zero:
    """What a sensor reads at rest, over one file.

    Attributes
    ----------
    place, reading, std : array
        Shape (k,), when, what, and its standard uncertainty. [unit of the sensor]
    at : array
        Shape (n,), the zero at each step, interpolated.
    at_std : float
        Its standard uncertainty. [unit of the sensor]
    before_and_after : bool
        Whether drift is known.
    stated : bool
        Whether the bench file said it, and not the file itself.
    """

    place: FloatArray
    reading: FloatArray
    std: FloatArray
    at: FloatArray
    at_std: float
    before_and_after: bool
    stated: bool

    @property
    def drift(self) -> float:
        """Last minus first reading. [unit of the sensor]"""
        return float(self.reading[-1] - self.reading[0])

    @property
    def drift_std(self) -> float:
        """Its standard uncertainty. [unit of the sensor]"""
        return math.hypot(float(self.std[-1]), float(self.std[0]))


def zero_of(
    steps: Steps,
    resting: BoolArray,
    name: str,
    stated: Sequence[float | None],
    stated_std: float,
    unknown_drift: float,
) -> Zero | None:
    """Give the zero of a sensor at each step of a file; None where nothing tells it.

    Parameters
    ----------
    steps : Steps
        Of the file.
    resting : array of bool
        Where the motor stood.
    name : str
        The sensor.
    stated : sequence of float or None
        Readings at rest before and after, as the bench file has them; they count where the file
        itself has none. [unit of the sensor]
    stated_std : float
        Their standard uncertainty. [unit of the sensor]
    unknown_drift : float
        By how much it may have drifted at most where there is but one reading. [unit of the sensor]

    Notes
    -----
    Drift is taken as straight between readings. What it did in between is not known: a rectangle as
    wide as the whole drift is put about it, of standard deviation drift/√12 (JCGM 100:2008, 4.3.7).
    """
    groups = _readings(steps, resting, name)
    powered = np.flatnonzero(~resting)
    if groups:
        place, reading, std = (np.array(column) for column in zip(*groups, strict=True))
        both = bool(
            len(powered)
            and place[0] < steps.place[powered[0]]
            and place[-1] > steps.place[powered[-1]]
        )
        return _zero(steps, place, reading, std, both, unknown_drift, stated=False)
    given = [(i, x) for i, x in enumerate(stated) if x is not None]
    if not given or not len(steps):
        return None
    ends = (float(np.min(steps.place)), float(np.max(steps.place)))
    place = np.array([ends[i] for i, _ in given])
    reading = np.array([x for _, x in given])
    std = np.full(len(given), stated_std)
    return _zero(steps, place, reading, std, len(given) == 2, unknown_drift, stated=True)


def _zero(
    steps: Steps,
    place: FloatArray,
    reading: FloatArray,
    std: FloatArray,
    both: bool,
    unknown_drift: float,
    *,
    stated: bool,
) -> Zero:
    order = np.argsort(place, kind="stable")
    place, reading, std = place[order], reading[order], std[order]
    at = np.interp(steps.place, place, reading)
    moved = float(np.ptp(reading)) / math.sqrt(12)
    if not both:
        moved = math.hypot(moved, unknown_drift / math.sqrt(3))
    read = math.sqrt(float(np.mean(std**2)))
    return Zero(place, reading, std, at, math.hypot(read, moved), both, stated)


def _readings(steps: Steps, resting: BoolArray, name: str) -> list[tuple[float, float, float]]:
    """Average steps at rest that follow each other: place, reading and standard uncertainty."""
    found = []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], resting.astype(np.int8), [0]))))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        mean, own = steps.mean[name][a:b], steps.std[name][a:b]
        known = np.isfinite(mean)
        n = int(np.count_nonzero(known))
        if not n:
            continue
        inside = np.where(np.isfinite(own[known]), own[known], 0.0)
        std = math.sqrt(float(np.sum(inside**2))) / n
        if n > 1:
            std = max(std, float(np.std(mean[known], ddof=1)) / math.sqrt(n) * students(n - 1))
        found.append((float(np.mean(steps.place[a:b])), float(np.mean(mean[known])), std))
    return found


@dataclass(frozen=True, slots=True)
class Calibration:
    """What known loads say of a sensor.

    Attributes
    ----------
    scale : float
        True over read. [-]
    scale_std : float
        Its standard uncertainty, of the line and of the loads. [-]
    residual_std : float
        Scatter of the readings about the line, in true units. [unit of the sensor]
    nonlinearity_pct, hysteresis_pct : float
        Greatest bend of the mean of up and down from the line, and greatest difference of up and
        down at one load, in parts of the greatest load. NaN where no load came twice. [%]
    rows : tuple of tuple
        Load, reading, reading minus line, each in the unit of the sensor.
    """

    scale: float
    scale_std: float
    residual_std: float
    nonlinearity_pct: float
    hysteresis_pct: float
    rows: tuple[tuple[float, float, float], ...]


def calibrated(
    points: Sequence[Mapping[str, float | None]],
    read: str,
    load: str,
    load_std_pct: float,
    arm_m: float | None = None,
) -> Calibration | None:
    """Put a line through readings at known loads, hung on and taken off one by one.

    Parameters
    ----------
    points : sequence of mapping
        In the order in which they were read, with ``read`` and either ``load`` or "mass_kg".
    read, load : str
        Keys of reading and load: "reading_n" and "load_n".
    load_std_pct : float
        Standard uncertainty of the loads that all share. [%]
    arm_m : float, optional
        At which masses make a torque. [m]

    Returns
    -------
    Calibration or None
        Ordinary least squares of reading on load; None with fewer than 3 readings, or where loads
        or readings don't differ.
    """
    pairs = []
    for point in points:
        mass, at = point.get("mass_kg"), point.get(load)
        if at is None and mass is not None:
            at = mass * G0_M_S2 * (1.0 if arm_m is None else arm_m)
        reading = point.get(read)
        if at is not None and reading is not None:
            pairs.append((float(at), float(reading)))
    if len(pairs) < 3:
        return None
    x, y = np.array(pairs).T
    apart = float(np.sum((x - x.mean()) ** 2))
    if not apart > 0:
        return None
    slope = float(np.sum((x - x.mean()) * (y - y.mean()))) / apart
    if not abs(slope) > 1e-9 or not math.isfinite(slope):
        return None
    off = y - y.mean() - slope * (x - x.mean())
    freedom = len(x) - 2
    scatter = math.sqrt(float(off @ off) / freedom)
    slope_std = scatter / math.sqrt(apart) * students(freedom)
    scale = 1 / slope
    full = float(np.max(np.abs(x)))
    bend, gap = [], []
    for each in np.unique(x):
        alike = off[x == each]
        bend.append(abs(float(np.mean(alike))))
        if len(alike) > 1:
            gap.append(float(np.ptp(alike)))
    return Calibration(
        scale,
        abs(scale) * math.hypot(slope_std / slope, load_std_pct / 100),
        scatter * abs(scale),
        max(bend) * abs(scale) / full * 100,
        max(gap) * abs(scale) / full * 100 if gap else math.nan,
        tuple(zip(x.tolist(), y.tolist(), off.tolist(), strict=True)),
    )
