"""From the steps of all files to quantities: zero taken off, scale put on, uncertainty named.

What a sensor's own uncertainty is, no file can tell: scatter shows how well it repeats, and not how
right it is. Where nobody states it, no figure is given that rests on the sensor's own numbers. The
steps are shown nevertheless, without an uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.groundtests.thrust_coefficients import (
    IntArray,
    Measured,
    constant,
    grouped,
    joined,
    product,
)
from flightlog.groundtests.thrust_setup import Setup, air_of, diameter_of
from flightlog.groundtests.thrust_steps import (
    COMMANDS,
    LEVELS,
    BoolArray,
    Steps,
    cleaned,
    find_steps,
    signals_of,
    sweeps,
)
from flightlog.groundtests.thrust_tare import (
    DRIFT_LIMIT_PCT,
    Calibration,
    Zero,
    at_rest,
    calibrated,
    zero_of,
)

_RPM_HZ = 1 / 60
_TURN = 2 * math.pi
QUANTITIES = ("thrust", "torque", "speed", "voltage", "current", "power")
_NEAR = {"pulse": 5.0, "throttle": 0.8}
"""Commands closer than this are one level. [us], [%]"""
_NEAR_SHARE = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One file: its rows, its steps, and what it reads at rest.

    Attributes
    ----------
    table : BenchTable
        As read.
    signals : mapping of str to array
        Of `signals_of`.
    steps : Steps
        Found.
    resting : array of bool
        Shape (n,), at which steps the motor stood.
    sweep : array of int
        Shape (n,), number of the sweep in this file, from 1; 0 at rest.
    zeros : mapping of str to Zero
        Of thrust and torque, where something tells it.
    """

    table: BenchTable
    signals: Mapping[str, FloatArray]
    steps: Steps
    resting: BoolArray
    sweep: IntArray
    zeros: Mapping[str, Zero]

    @property
    def powered(self) -> IntArray:
        """Steps at which the motor ran."""
        return np.flatnonzero(~self.resting)


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """All steps under power of all files.

    Attributes
    ----------
    runs : tuple of Run
        The files.
    command : str
        What told the levels.
    level : array
        Shape (n,), of the throttle.
    group : array of int
        Shape (n,), which level each is of, in rising order.
    sweep : array of int
        Shape (n,), numbered through all files.
    file : array of int
        Shape (n,), which file.
    measured : mapping of str to Measured
        "thrust" [N], "torque" [N·m], "speed" [1/s], "voltage" [V], "current" [A], "power" [W],
        where a file has them; "density" [kg/m³] and "diameter" [m] where they were stated.
    reasons : mapping of str to str
        Quantity -> why no figure can rest on it.
    calibrations : mapping of str to Calibration
        Of thrust and torque.
    speed_source : str
        Column that the speed came from: "speed", "electrical_speed" or "".
    """

    runs: tuple[Run, ...]
    command: str
    level: FloatArray
    group: IntArray
    sweep: IntArray
    file: IntArray
    measured: Mapping[str, Measured]
    reasons: Mapping[str, str]
    calibrations: Mapping[str, Calibration]
    speed_source: str

    @property
    def repeat(self) -> IntArray:
        """Shape (n,), which repeat of the whole each step is of: its file, else its sweep."""
        return self.file if len(np.unique(self.file)) > 1 else self.sweep


def run_of(table: BenchTable, setup: Setup) -> Run:
    """Find the steps of one file that was cleaned, and its zeros."""
    signals = signals_of(table, setup.arm_m)
    steps = find_steps(table, signals, setup.transient_s)
    resting = at_rest(steps, signals, setup.rest_pulse_us)
    given = table.columns.get("sweep")
    number = sweeps(steps.level, resting, None if given is None else given[steps.first])
    zeros = {}
    for name, stated, std, full in (
        (
            "thrust",
            (setup.tare_before_n, setup.tare_after_n),
            setup.tare_std_n,
            setup.full_scale_n,
        ),
        (
            "torque",
            (setup.tare_before_nm, setup.tare_after_nm),
            setup.tare_std_nm,
            setup.full_scale_nm,
        ),
    ):
        if name not in signals:
            continue
        if full is None:
            full = float(np.nanmax(np.abs(steps.mean[name]), initial=0.0))
        unknown = full * DRIFT_LIMIT_PCT / 100
        given_at_rest = stated if std is not None else (None, None)
        zero = zero_of(steps, resting, name, given_at_rest, std or 0.0, unknown)
        if zero is not None:
            zeros[name] = zero
    return Run(table, signals, steps, resting, number, zeros)


def readings_of(tables: Sequence[BenchTable], setup: Setup) -> Readings:
    """Put the steps of all files together."""
    runs = tuple(run_of(cleaned(table), setup) for table in tables)
    calibrations = _calibrations(setup)
    source, speed_reason = _speed_source(runs, setup)
    reasons = {"speed": speed_reason} if speed_reason else {}
    measured: dict[str, Measured] = {}
    for name in QUANTITIES:
        parts, why = [], ""
        for run in runs:
            part, reason = _measured(run, name, setup, calibrations, source)
            why = why or reason
            parts.append(part)
        if any(np.isfinite(part.value).any() for part in parts):
            measured[name] = joined(parts)
        if why:
            reasons.setdefault(name, why)
    command, level = _level(runs, measured)
    count = len(level)
    for name, (known, why) in (("density", air_of(setup)), ("diameter", diameter_of(setup))):
        if known is None:
            reasons[name] = why
        else:
            measured[name] = constant(known.value, known.sources, count)
    if setup.temperature_c is None:
        reasons["temperature"] = "no temperature of the air: state temperature_c in [thrust]"
    near = _NEAR.get(command, _NEAR_SHARE * float(np.max(np.abs(level), initial=0.0)))
    sweep, before = [], 0
    for run in runs:
        own = run.sweep[run.powered]
        sweep.append(own + before)
        before += int(np.max(own, initial=0))
    return Readings(
        runs,
        command,
        level,
        grouped(level, near if any(run.steps.shape != "ramp" for run in runs) else -1.0),
        np.concatenate(sweep),
        np.concatenate([np.full(len(r.powered), i) for i, r in enumerate(runs)]),
        measured,
        reasons,
        calibrations,
        source,
    )


def _level(runs: Sequence[Run], measured: Mapping[str, Measured]) -> tuple[str, FloatArray]:
    """Give what orders the steps of all files: the same command, else speed, power or thrust."""
    commands = {run.steps.command for run in runs if len(run.powered)}
    if len(commands) == 1 and commands <= {*COMMANDS, *LEVELS}:
        (command,) = commands
        return command, np.concatenate([run.steps.level[run.powered] for run in runs])
    for name in ("speed", "power", "thrust"):
        if name in measured and np.isfinite(measured[name].value).all():
            return name, measured[name].value
    return "", np.arange(sum(len(run.powered) for run in runs), dtype=float)


def _calibrations(setup: Setup) -> dict[str, Calibration]:
    if setup.load_std_pct is None:
        return {}  # what it says is as right as the loads, and nobody says how right they are
    every = {
        "thrust": calibrated(setup.calibration, "reading_n", "load_n", setup.load_std_pct),
        "torque": calibrated(
            setup.torque_calibration, "reading_nm", "load_nm", setup.load_std_pct, setup.arm_m
        ),
    }
    return {name: made for name, made in every.items() if made is not None}


def _speed_source(runs: Sequence[Run], setup: Setup) -> tuple[str, str]:
    """Choose the column that gives the shaft's speed, or say why none does."""

    def everywhere(name: str) -> bool:
        return all(
            name in run.signals
            and np.count_nonzero(run.steps.mean[name][run.powered] > 0) * 2 >= len(run.powered)
            for run in runs
        )

    if everywhere("speed"):
        return "speed", ""
    if everywhere("electrical_speed"):
        if setup.pole_pairs is not None:
            return "electrical_speed", ""
        return "", (
            "the file has the electrical speed only: state pole_pairs in [thrust], 1 where the "
            "stand has divided by them already"
        )
    return "", "no speed of the shaft was recorded: fit a speed sensor, or log the controller's"


def _measured(
    run: Run, name: str, setup: Setup, calibrations: Mapping[str, Calibration], speed_source: str
) -> tuple[Measured, str]:
    """Give one quantity at the powered steps of a file, and why no figure can rest on it."""
    at = run.powered
    column = speed_source if name == "speed" else name
    if column not in run.signals:
        nothing = np.full(len(at), np.nan)
        why = f"{run.table.name} has no {name}" if name != "power" else _NO_POWER
        return Measured(nothing, nothing), why
    value, scatter = run.steps.mean[column][at], run.steps.std[column][at]
    lag = run.steps.lag[column][at]
    if column == "torque":
        # Its sign says which way round the motor turns, and does not count.
        turned = -1.0 if np.nansum(value) < 0 else 1.0
        value, lag = value * turned, lag * turned
    else:
        turned = 1.0
    common = {"lag": lag} if lag.any() else {}
    made = Measured(value, scatter, common)
    if name in ("thrust", "torque"):
        return _of_cell(run, name, made, turned, setup, calibrations.get(name))
    if name == "speed":
        factor = 1 / _TURN / ((setup.pole_pairs or 1) if column == "electrical_speed" else 1)
        std = None if setup.speed_std_rpm is None else setup.speed_std_rpm * _RPM_HZ
        return _stated(_times(made, factor), "speed", std, None, "speed_std_rpm")
    if name == "power":
        return _power(run, made, setup)
    stated = {
        "voltage": (setup.voltage_std_v, setup.voltage_std_pct, "voltage_std_v"),
        "current": (setup.current_std_a, setup.current_std_pct, "current_std_a"),
    }[name]
    return _stated(made, name, *stated)


_NO_POWER = "the file has no voltage and current, nor an electrical power"


def _times(measured: Measured, factor: float) -> Measured:
    return Measured(
        measured.value * factor,
        measured.scatter * abs(factor),
        {name: effect * factor for name, effect in measured.common.items()},
    )


def _stated(
    measured: Measured, name: str, std: float | None, pct: float | None, key: str
) -> tuple[Measured, str]:
    """Add what is stated of a sensor; say which key would unlock it where nothing is."""
    common = dict(measured.common)
    if std is not None:
        common[f"{name} sensor"] = np.full(len(measured.value), std)
    if pct is not None:
        common[f"{name} scale"] = measured.value * pct / 100
    why = "" if std is not None or pct is not None else f"nobody states how right the {name} is"
    if why:
        why += f": state {key} in [thrust]"
    return replace(measured, common=common), why


def _power(run: Run, made: Measured, setup: Setup) -> tuple[Measured, str]:
    """Give the electrical power the uncertainty of voltage and current."""
    if not {"voltage", "current"} <= run.signals.keys():
        return _stated(made, "power", None, setup.power_std_pct, "power_std_pct")
    at = run.powered
    common, why = dict(made.common), ""
    for name in ("voltage", "current"):
        part, reason = _measured(run, name, setup, {}, "")
        value = run.steps.mean[name][at]
        for source, effect in part.common.items():
            if source != "lag":
                share = np.divide(effect, value, out=np.zeros(len(value)), where=value != 0)
                common[source] = made.value * share
        why = why or reason
    return replace(made, common=common), why


def _of_cell(
    run: Run,
    name: str,
    made: Measured,
    turned: float,
    setup: Setup,
    calibration: Calibration | None,
) -> tuple[Measured, str]:
    """Take the zero off a load cell and put its scale on."""
    unit = "n" if name == "thrust" else "nm"
    zero = run.zeros.get(name)
    common = dict(made.common)
    value, why = made.value, ""
    if zero is not None:
        value = value - turned * zero.at[run.powered]
        common[f"{name} zero"] = np.full(len(value), zero.at_std)
    else:
        why = (
            f"the zero of the {name} is not known: record at rest before and after, or state "
            f"tare_before_{unit}, tare_after_{unit} and tare_std_{unit} in [thrust]"
        )
    made = Measured(value, made.scatter, common)
    if calibration is not None:
        # Of torque the sign is gone, and a cell that reads backward must not bring it back.
        made = _times(made, abs(calibration.scale) if name == "torque" else calibration.scale)
        common = dict(made.common)
        common[f"{name} calibration"] = made.value * calibration.scale_std / abs(calibration.scale)
        common[f"{name} calibration, residual"] = np.full(len(value), calibration.residual_std)
        made = replace(made, common=common)
    if name == "torque" and setup.arm_m is not None and setup.arm_std_m is not None:
        arm = made.value * setup.arm_std_m / setup.arm_m
        made = replace(made, common={**made.common, "torque arm": arm})
    if name == "thrust":
        std, pct = setup.thrust_std_n, setup.thrust_std_pct
    else:
        std, pct = setup.torque_std_nm, setup.torque_std_pct
    made, unstated = _stated(made, name, std, pct, f"{name}_std_{unit} or a calibration")
    return made, why or ("" if calibration is not None else unstated)


def derived(readings: Readings) -> dict[str, Measured]:
    """Give coefficients, powers and efficiencies at the steps, where all that they need is known.

    Returns
    -------
    dict of str to Measured
        "ct", "cq", "cp", "figure_of_merit", "induced_velocity" [m/s], "shaft_power" [W],
        "drive_efficiency", "per_watt" [N/W].
    """
    have = readings.measured
    recipes: dict[str, tuple[float, dict[str, float]]] = {
        "ct": (1.0, {"thrust": 1, "speed": -2, "density": -1, "diameter": -4}),
        "cq": (1.0, {"torque": 1, "speed": -2, "density": -1, "diameter": -5}),
        "cp": (_TURN, {"torque": 1, "speed": -2, "density": -1, "diameter": -5}),
        "figure_of_merit": (
            math.sqrt(2 / math.pi) / _TURN,
            {"thrust": 1.5, "density": -0.5, "diameter": -1, "torque": -1, "speed": -1},
        ),
        "induced_velocity": (
            math.sqrt(2 / math.pi),
            {"thrust": 0.5, "density": -0.5, "diameter": -1},
        ),
        "shaft_power": (_TURN, {"torque": 1, "speed": 1}),
        "drive_efficiency": (_TURN, {"torque": 1, "speed": 1, "power": -1}),
        "per_watt": (1.0, {"thrust": 1, "power": -1}),
    }
    return {
        name: product(factor, [(have[part], power) for part, power in parts.items()])
        for name, (factor, parts) in recipes.items()
        if parts.keys() <= have.keys()
    }
