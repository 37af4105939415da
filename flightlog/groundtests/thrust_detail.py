"""Tables of a thrust stand, and what its chart is drawn from."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.groundtests.answer import Cell, ResultColumn, ResultTable
from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.thrust_coefficients import Measured
from flightlog.groundtests.thrust_readings import Readings

_UNITS = {"pulse": ("us", "µs", 0), "throttle": ("pct", "%", 1)}
_COLUMNS = (
    # quantity, key, label, unit, factor, decimals, what its uncertainty rests on
    ("thrust", "thrust_n", "Thrust", "N", 1.0, 3, "thrust"),
    ("torque", "torque_nm", "Torque", "N·m", 1.0, 4, "torque"),
    ("speed", "speed_rpm", "Speed", "rpm", 60.0, 0, "speed"),
    ("voltage", "voltage_v", "Voltage", "V", 1.0, 2, "voltage"),
    ("current", "current_a", "Current", "A", 1.0, 2, "current"),
    ("power", "electrical_power_w", "Electrical power", "W", 1.0, 1, "power"),
    ("shaft_power", "shaft_power_w", "Shaft power", "W", 1.0, 1, "torque speed"),
    (
        *("drive_efficiency", "drive_efficiency_pct", "Drive efficiency", "%", 100.0, 1),
        "torque speed power",
    ),
    ("ct", "ct", "CT", "", 1.0, 4, "thrust speed density diameter"),
    ("cq", "cq", "CQ", "", 1.0, 5, "torque speed density diameter"),
    ("cp", "cp", "CP", "", 1.0, 4, "torque speed density diameter"),
    (
        *("figure_of_merit", "figure_of_merit", "Figure of merit", "", 1.0, 3),
        "thrust torque speed density diameter",
    ),
    (
        *("induced_velocity", "induced_velocity_m_s", "Induced velocity", "m/s", 1.0, 2),
        "thrust density diameter",
    ),
    ("standard", "thrust_standard_n", "Thrust, standard air", "N", 1.0, 3, "thrust density"),
    ("per_watt", "per_watt_g_w", "Thrust per watt", "g/W", 1000 / G0_M_S2, 2, "thrust power"),
    ("tip_mach", "tip_mach", "Tip Mach number", "", 1.0, 3, "speed diameter temperature"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """One quantity at steps or levels.

    Attributes
    ----------
    value, std : array
        Shape (n,). The standard uncertainty is NaN where the figure would be withheld.
    """

    value: FloatArray
    std: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ThrustDetail:
    """What a chart of the stand is drawn from.

    Attributes
    ----------
    steps, levels : mapping of str to Points
        At each settled step, and at each level of the throttle in rising order: "thrust" [N],
        "torque" [N·m], "speed" [1/s], "voltage" [V], "current" [A], "power" [W], "shaft_power" [W],
        "drive_efficiency" [-], "ct", "cq", "cp", "figure_of_merit" [-], "induced_velocity" [m/s],
        "standard" [N], "per_watt" [N/W], "tip_mach" [-]; those that could be had.
    sweep : array of int
        Shape (n,), which sweep each step is of, through all files.
    level : array
        Shape (n,), of the throttle at each step.
    command : str
        What ``level`` is: "pulse" [us], "throttle" [%], or the quantity that stands for it.
    """

    steps: Mapping[str, Points]
    levels: Mapping[str, Points]
    sweep: FloatArray
    level: FloatArray
    command: str


def detail_of(
    readings: Readings, at_step: Mapping[str, Measured], at_level: Mapping[str, Measured]
) -> ThrustDetail:
    """Make the detail of an answer."""
    return ThrustDetail(
        _points(readings, at_step),
        _points(readings, at_level),
        readings.sweep.astype(float),
        readings.level,
        readings.command,
    )


def _points(readings: Readings, every: Mapping[str, Measured]) -> dict[str, Points]:
    found = {}
    for name, _, _, _, _, _, needs in _COLUMNS:
        if name in every:
            known = not any(need in readings.reasons for need in needs.split())
            value = every[name].value
            std = every[name].std if known else np.full(len(value), np.nan)
            found[name] = Points(value, std)
    return found


def tables_of(
    readings: Readings, at_step: Mapping[str, Measured], at_level: Mapping[str, Measured]
) -> tuple[ResultTable, ...]:
    """Give all tables of an answer that have rows."""
    steps = _points(readings, at_step)
    made = (
        _steps(readings, steps),
        _levels(readings, _points(readings, at_level)),
        _zeros(readings),
        _calibration(readings),
    )
    return tuple(table for table in made if table.rows)


def _quantities(points: Mapping[str, Points]) -> Iterator[tuple[ResultColumn, FloatArray]]:
    for name, key, label, unit, factor, decimals, _ in _COLUMNS:
        if name not in points or not np.isfinite(points[name].value).any():
            continue
        yield ResultColumn(key, label, unit, decimals), points[name].value * factor
        if np.isfinite(points[name].std).any():
            stem, end = key, ""
            for tail in ("_nm", "_n", "_rpm", "_v", "_a", "_w", "_pct", "_m_s", "_g_w"):
                if key.endswith(tail):
                    end = "_g_w" if key.endswith("_g_w") else tail
                    stem = key.removesuffix(end)
                    break
            std = ResultColumn(f"{stem}_std{end}", f"{label}, std", unit, decimals + 1)
            yield std, points[name].std * factor


def _cell(value: float) -> Cell:
    return float(value) if math.isfinite(value) else None


def _told(command: str) -> ResultColumn:
    key, unit, decimals = _UNITS.get(command, ("", "", 2))
    name = command or "row"
    label = name.replace("_", " ").capitalize()
    if command in _UNITS:
        return ResultColumn(f"{name}_{key}", label, unit, decimals)
    return ResultColumn(f"level_{name}", f"{label}, level", "", 2)


def _steps(readings: Readings, points: Mapping[str, Points]) -> ResultTable:
    columns = [
        ResultColumn("file", "File"),
        ResultColumn("sweep", "Sweep", "", 0),
        ResultColumn("line", "Line", "", 0),
        ResultColumn("settled_s", "Settled", "s", 1),
        _told(readings.command),
    ]
    files = [run.table.name for run in readings.runs]
    lines, settled = [], []
    for run in readings.runs:
        for i in run.powered:
            row = int(run.steps.first[i])
            lines.append(int(run.table.lines[row]) if row < len(run.table.lines) else row + 1)
            settled.append(run.steps.settled_s[i] if run.steps.shape != "rows" else math.nan)
    numbers = list(_quantities(points))
    columns += [column for column, _ in numbers]
    rows = [
        (
            files[int(readings.file[i])],
            int(readings.sweep[i]),
            lines[i],
            _cell(settled[i]),
            _cell(readings.level[i]),
            *(_cell(values[i]) for _, values in numbers),
        )
        for i in range(len(readings.level))
    ]
    return ResultTable("steps", "Settled steps, zero taken off where it is known", columns, rows)


def _levels(readings: Readings, points: Mapping[str, Points]) -> ResultTable:
    numbers = list(_quantities(points))
    columns = [_told(readings.command), ResultColumn("repeats", "Repeats", "", 0)]
    columns += [column for column, _ in numbers]
    rows = []
    for group in range(int(readings.group.max()) + 1):
        at = readings.group == group
        cells = (_cell(values[group]) for _, values in numbers)
        rows.append((_cell(float(np.mean(readings.level[at]))), int(np.sum(at)), *cells))
    return ResultTable("levels", "Means of the repeats of each level", columns, rows)


def _zeros(readings: Readings) -> ResultTable:
    columns = (
        ResultColumn("file", "File"),
        ResultColumn("sensor", "Sensor"),
        ResultColumn("unit", "Unit"),
        ResultColumn("reading", "Reading at rest", "", 5),
        ResultColumn("reading_std", "Std", "", 6),
    )
    rows = [
        (run.table.name, name, "N" if name == "thrust" else "N·m", _cell(x), _cell(u))
        for run in readings.runs
        for name, zero in run.zeros.items()
        for x, u in zip(zero.reading.tolist(), zero.std.tolist(), strict=True)
    ]
    return ResultTable("zero", "Readings at rest", columns, rows)


def _calibration(readings: Readings) -> ResultTable:
    columns = (
        ResultColumn("sensor", "Sensor"),
        ResultColumn("unit", "Unit"),
        ResultColumn("load", "Known load", "", 4),
        ResultColumn("reading", "Reading", "", 4),
        ResultColumn("off", "Reading less line", "", 5),
    )
    rows = [
        (name, "N" if name == "thrust" else "N·m", *row)
        for name, made in readings.calibrations.items()
        for row in made.rows
    ]
    return ResultTable("calibration", "Readings at known loads", columns, rows)
