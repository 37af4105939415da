"""A table from the bench, and the dictionary of the columns that each kind of test can have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BenchColumn:
    """A column that a kind of test can have.

    Attributes
    ----------
    name : str
        As reductions and bench files name it; without its unit.
    unit : str
        In which reductions get it: of the house, as `flightlog.team_files.column_units` names it;
        ``""`` where it has none, ``"text"`` for words.
    meaning : str
        What it is, with its sign.
    words : tuple of str
        How headers name it: small letters, digits and single spaces, without the unit.
    needed : bool
        Whether there is no test without it.
    numbered : bool
        Whether there can be several: ``cell_1``, ``cell_2``; words then end in a number.
    """

    name: str
    unit: str
    meaning: str
    words: tuple[str, ...] = ()
    needed: bool = False
    numbered: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class BenchTable:
    """The rows of one file from the bench, in the order of the file.

    Attributes
    ----------
    name : str
        Name of the file.
    columns : mapping of str to array
        Shape (n,), in the unit of the column's `BenchColumn`; NaN where a cell holds no number.
        Only columns that the file has, each with at least one number.
    texts : mapping of str to tuple of str
        Columns of words, as long.
    lines : array
        Shape (n,), the line of the file that each row stands on, from 1.
    units : mapping of str to str
        Column -> the unit that the file's own numbers are in, as it writes it.
    """

    name: str
    columns: Mapping[str, FloatArray]
    texts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    lines: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    units: Mapping[str, str] = field(default_factory=dict)

    def __len__(self) -> int:
        numbers = (len(column) for column in self.columns.values())
        return max((*numbers, *map(len, self.texts.values())), default=0)

    def has(self, *names: str) -> bool:
        """Whether all of some columns are there."""
        return all(name in self.columns or name in self.texts for name in names)


def _column(
    name: str,
    unit: str,
    meaning: str,
    words: str = "",
    *,
    needed: bool = False,
    numbered: bool = False,
) -> BenchColumn:
    """Build one; the words are cut at commas."""
    cut = tuple(word.strip() for word in words.split(",") if word.strip())
    return BenchColumn(name, unit, meaning, cut, needed, numbered)


_TIME = (
    "time, t, timestamp, elapsed, elapsed time, time elapsed, run time, test time, zeit, seconds, "
    "time stamp, date time, datetime, date and time, time of day, clock, uhrzeit, zeitstempel, "
    "laufzeit, datum uhrzeit"
)

_THRUST = (
    _column("time", "s", "clock of the stand", _TIME),
    _column(
        "pulse",
        "us",
        "what the speed controller was told",
        "esc signal, esc, throttle pulse, pwm, pulse, esc pulse",
    ),
    _column("throttle", "%", "what the speed controller was told", "throttle"),
    _column(
        "thrust",
        "N",
        "pull in flight direction, positive",
        "thrust, force, pull, load cell",
        needed=True,
    ),
    _column(
        "torque", "N·m", "of the motor on its mount; its sign does not count", "torque, moment"
    ),
    _column(
        "arm_force",
        "N",
        "of the motor's mount on the arm of the torque cell, in place of the torque",
        "arm force, torque force",
    ),
    _column("voltage", "V", "at the speed controller", "voltage, u, battery voltage, esc voltage"),
    _column("current", "A", "drawn by the speed controller", "current, i, esc current"),
    _column(
        "speed",
        "rad/s",
        "of the shaft",
        "motor optical speed, rpm, speed, rotation speed, "
        "motor speed, propeller speed, optical speed",
    ),
    _column(
        "electrical_speed",
        "rad/s",
        "of the shaft, from the motor's commutation",
        "motor electrical speed, electrical speed",
    ),
    _column(
        "electrical_power",
        "W",
        "voltage times current, as the stand wrote it",
        "electrical power, power, power in",
    ),
    _column(
        "shaft_power",
        "W",
        "torque times speed, as the stand wrote it",
        "mechanical power, shaft power, power out",
    ),
    _column(
        "drive_efficiency",
        "%",
        "shaft over electrical power, as the stand wrote it",
        "motor efficiency, drive efficiency",
    ),
    _column("vibration", "m/s²", "of the mount", "vibration"),
    _column(
        "temperature",
        "K",
        "of the motor or controller",
        "temperature, motor temperature, esc temperature",
    ),
    _column("sweep", "", "number of the sweep, where one file holds several", "sweep, run, test"),
)
_DISCHARGE = (
    _column("time", "s", "clock of the logger", _TIME, needed=True),
    _column(
        "voltage",
        "V",
        "of the pack at its own terminals",
        "voltage, u, pack voltage, battery voltage, vbat, volt, volts, total voltage, spannung, "
        "akkuspannung, gesamtspannung",
        needed=True,
    ),
    _column(
        "current",
        "A",
        "positive: discharge",
        "current, i, load, discharge current, curr, amps, battery current, pack current, strom, "
        "entladestrom",
    ),
    _column(
        "temperature",
        "K",
        "of the pack",
        "temperature, temp, pack temperature, battery temperature, temperatur, akkutemperatur, t",
    ),
    _column("cell", "V", "of one cell", "cell, cell voltage, zelle, zellspannung", numbered=True),
    _column(
        "charge",
        "C",
        "drawn since the start, as the logger counted it",
        "charge, capacity, discharged, consumed, discharge capacity, used capacity, cap, "
        "kapazität, ladung, entnommen",
    ),
    _column(
        "energy",
        "J",
        "drawn since the start, as the logger counted it",
        "energy, discharge energy, energie",
    ),
)
_RINGDOWN = (
    _column("time", "s", "clock of the logger", _TIME, needed=True),
    _column(
        "acceleration",
        "m/s²",
        "across the wing, at the place that moves",
        "acceleration, accel, acc, az, accz, acc z, accel z",
    ),
    _column(
        "displacement",
        "m",
        "across the wing, at the place that moves",
        "displacement, deflection, position, tip, distance, y",
    ),
    _column("signal", "", "something that is proportional to the motion", "signal, value, strain"),
    _column(
        "release",
        "",
        "number of the release, where one file holds several",
        "release, run, repeat, test",
    ),
)
_STIFFNESS = (
    _column(
        "load", "N", "across the wing, positive in the direction that it is pushed", "load, force"
    ),
    _column("mass", "kg", "hung on, in place of the load", "mass, weight, load mass"),
    _column(
        "deflection",
        "m",
        "of the loaded place, in the direction of the load; read from any zero",
        "deflection, displacement, reading, deflection reading, tip",
        needed=True,
    ),
    _column("root", "m", "movement of the fixed end, taken off", "root, support, root deflection"),
    _column(
        "cycle", "", "number of the loading, where one file holds several", "cycle, run, repeat"
    ),
)
_WEIGHING = (
    _column("scale", "text", "name of the scale", "scale, place, wheel, point", needed=True),
    _column("arm", "m", "of the scale, aft of the datum", "arm, x, station"),
    _column("side", "m", "of the scale, to the right", "side, y, lateral"),
    _column("reading", "kg", "what it showed", "reading, mass, weight, load", needed=True),
    _column("tare", "kg", "what it showed empty, taken off", "tare, zero, empty"),
    _column("repeat", "", "number of the weighing", "repeat, run, weighing"),
)
_LINKAGE = (
    _column(
        "pulse",
        "us",
        "what the servo was told, in the order in which it was told",
        "pulse, pwm, servo, servo pulse, command, signal",
        needed=True,
    ),
    _column(
        "angle",
        "rad",
        "of the surface; trailing edge down (rudder: left) positive",
        "angle, deflection, surface, surface angle",
        needed=True,
    ),
    _column("arm_angle", "rad", "of the servo's arm", "arm angle, servo angle, horn angle"),
    _column(
        "force",
        "N",
        "with which the trailing edge was pushed while it was read",
        "force, load, push",
    ),
    _column(
        "surface",
        "text",
        "which surface, where one file holds several",
        "surface name, which, name, control",
    ),
)

BENCH_COLUMNS: MappingProxyType[str, tuple[BenchColumn, ...]] = MappingProxyType(
    {
        "thrust": _THRUST,
        "discharge": _DISCHARGE,
        "ringdown": _RINGDOWN,
        "stiffness": _STIFFNESS,
        "weighing": _WEIGHING,
        "linkage": _LINKAGE,
    }
)
"""Kind of test -> its columns."""
