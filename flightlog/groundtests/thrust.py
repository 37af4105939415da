"""The thrust stand: what propeller, motor and controller give, and at what power."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.constants import G0_M_S2, ISA_RHO0_KG_M3, ZERO_CELSIUS_K
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import GroundAnswer, GroundFigure
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.propeller import sound_speed
from flightlog.groundtests.thrust_checks import all_checks
from flightlog.groundtests.thrust_coefficients import (
    SCATTER,
    Measured,
    Trend,
    by_level,
    constant,
    product,
    trend,
)
from flightlog.groundtests.thrust_detail import ThrustDetail, detail_of, tables_of
from flightlog.groundtests.thrust_readings import Readings, derived, readings_of
from flightlog.groundtests.thrust_setup import Setup
from flightlog.uncertain import Uncertain

__all__ = ["Setup", "ThrustDetail", "reduce"]

_STANDARD = "thrust.standard"
_AT_HIGHEST: Mapping[str, tuple[str, float]] = {
    # figure -> quantity at the highest step, and the factor to the figure's unit
    "thrust.greatest": ("thrust", 1.0),
    "thrust.figure_of_merit": ("figure_of_merit", 1.0),
    "thrust.drive_efficiency": ("drive_efficiency", 100.0),
    "thrust.per_watt": ("per_watt", 1000 / G0_M_S2),
    "thrust.power_greatest": ("power", 1.0),
    "thrust.current_greatest": ("current", 1.0),
    "thrust.speed_greatest": ("speed", 60.0),
    _STANDARD: ("standard", 1.0),
    "thrust.tip_mach": ("tip_mach", 1.0),
}
_OVER_ALL = {"thrust.ct": "ct", "thrust.cp": "cp"}
_NEEDS: Mapping[str, tuple[str, ...]] = {
    "thrust.greatest": ("thrust",),
    "thrust.standard": ("thrust", "density"),
    "thrust.ct": ("thrust", "speed", "density", "diameter"),
    "thrust.cp": ("torque", "speed", "density", "diameter"),
    "thrust.figure_of_merit": ("thrust", "torque", "speed", "density", "diameter"),
    "thrust.drive_efficiency": ("torque", "speed", "power"),
    "thrust.per_watt": ("thrust", "power"),
    "thrust.power_greatest": ("power",),
    "thrust.current_greatest": ("current",),
    "thrust.speed_greatest": ("speed",),
    "thrust.tip_mach": ("speed", "diameter", "temperature"),
}
_COLUMNS = {"density": "declared", "diameter": "declared", "temperature": "declared"}
_NO_NUMBER = "it is missing, or not above zero, at the highest step"


@dataclass(frozen=True, slots=True)
class _Parts:
    """What figures are made from."""

    readings: Readings
    at_level: Mapping[str, Measured]
    top: int
    trends: Mapping[str, Trend]


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one test of one propeller on one motor.

    Parameters
    ----------
    tables : sequence of BenchTable
        Sweeps; several are repeats of each other.
    setup : Setup
        What stood on the stand, and how right it is.

    Returns
    -------
    GroundAnswer
        Figures of `GROUND_FIGURES` that begin with ``thrust.``; tables "steps", "levels", "zero"
        and "calibration"; the detail is a `ThrustDetail`.
    """
    with np.errstate(all="ignore"):
        readings = readings_of(tables, setup)
        if not len(readings.level):
            return _nothing(readings, setup)
        quantities = {**readings.measured, **derived(readings), **_more(readings, setup)}
        alike = _alike(readings)
        at_level = {
            name: by_level(m, readings.group, alike.get(name), readings.repeat)
            for name, m in quantities.items()
        }
        speed = readings.measured.get("speed")
        trends: dict[str, Trend] = {}
        for name in ("ct", "cp"):
            if name in quantities and speed is not None:
                found = trend(quantities[name], speed.value, readings.repeat)
                if found is not None:
                    trends[name] = found
        parts = _Parts(readings, at_level, int(readings.group.max()), trends)
        figures, withheld = _figures(parts, setup)
        findings = all_checks(readings, quantities, trends, setup)
        return GroundAnswer(
            figures,
            withheld,
            findings,
            tables_of(readings, quantities, at_level),
            detail_of(readings, quantities, at_level),
        )


def _nothing(readings: Readings, setup: Setup) -> GroundAnswer:
    why = "no step under power was found"
    withheld = {id_: why for id_ in (*_NEEDS, "thrust.tare_drift")}
    scale, reason = _scale(readings)
    figures = {"thrust.scale": scale} if scale is not None else {}
    if scale is None:
        withheld["thrust.scale"] = reason
    return GroundAnswer(figures, withheld, all_checks(readings, {}, {}, setup))


def _alike(readings: Readings) -> dict[str, Measured]:
    """Give what tells how well each quantity repeats, where the speed is known."""
    have = readings.measured
    if "speed" not in have:
        return {}
    powers = {"thrust": 2.0, "torque": 2.0, "power": 3.0}
    made = {
        name: product(1.0, [(have[name], 1), (have["speed"], -power)])
        for name, power in powers.items()
        if name in have
    }
    if "thrust" in made:
        made["standard"] = made["thrust"]
    if "power" in made:
        made["current"] = made["power"]
        made["voltage"] = made["speed"] = constant(1.0, {}, len(readings.level))
    return made


def _more(readings: Readings, setup: Setup) -> dict[str, Measured]:
    """Give thrust at standard air and the same speed, and the Mach number of the tips."""
    have, made = readings.measured, {}
    if {"thrust", "density"} <= have.keys():
        made["standard"] = product(ISA_RHO0_KG_M3, [(have["thrust"], 1), (have["density"], -1)])
    if {"speed", "diameter"} <= have.keys() and setup.temperature_c is not None:
        kelvin = setup.temperature_c + ZERO_CELSIUS_K
        mach = product(math.pi / sound_speed(kelvin), [(have["speed"], 1), (have["diameter"], 1)])
        warmer = mach.value * -0.5 * setup.temperature_std_c / kelvin
        made["tip_mach"] = Measured(
            mach.value, mach.scatter, {**mach.common, "air temperature": warmer}
        )
    return made


def _figures(parts: _Parts, setup: Setup) -> tuple[dict[str, GroundFigure], dict[str, str]]:
    figures: dict[str, GroundFigure] = {}
    withheld: dict[str, str] = {}
    for id_, needs in _NEEDS.items():
        why = next((parts.readings.reasons[n] for n in needs if n in parts.readings.reasons), "")
        made = None
        if not why:
            made, why = _one(id_, parts)
        if made is not None:
            method = _method(id_, parts, setup)
            sources = tuple(dict.fromkeys(_COLUMNS.get(n, n) for n in needs))
            figures[id_] = GroundFigure(id_, made, method, sources)
        else:
            withheld[id_] = why
    for id_, (figure, why) in (
        ("thrust.tare_drift", _drift(parts.readings, setup)),
        ("thrust.scale", _scale(parts.readings)),
    ):
        if figure is not None:
            figures[id_] = figure
        else:
            withheld[id_] = why
    return figures, withheld


def _one(id_: str, parts: _Parts) -> tuple[Uncertain | None, str]:
    unit = GROUND_FIGURES[id_].unit
    if id_ in _OVER_ALL:
        found = parts.trends.get(_OVER_ALL[id_])
        if found is None:
            return None, "fewer than 3 steps at which thrust or torque and speed are above zero"
        return found.mean, ""
    name, factor = _AT_HIGHEST[id_]
    level = parts.at_level.get(name)
    if level is None or not math.isfinite(level.value[parts.top]):
        return None, _NO_NUMBER
    if not math.isfinite(level.scatter[parts.top]):
        return None, (
            "one row for the highest step, and too few others to tell its scatter: repeat the "
            "sweep, and give all files together"
        )
    weights = np.zeros(len(level.value))
    weights[parts.top] = 1.0
    return level.mixed(weights, unit, factor), ""


def _method(id_: str, parts: _Parts, setup: Setup) -> str:
    readings = parts.readings
    repeats = int(np.count_nonzero(readings.group == parts.top))
    if id_ in _OVER_ALL:
        said = f"weighted mean of {len(readings.level)} steps"
    else:
        said = "highest step" if repeats == 1 else f"mean of {repeats} steps at the highest level"
    if "thrust" in _NEEDS[id_] or "torque" in _NEEDS[id_]:
        zeros = [zero for run in readings.runs for zero in run.zeros.values()]
        told = "stated in the bench file" if any(z.stated for z in zeros) else "read at rest"
        said += f"; zero {told}, interpolated and taken off"
    if "density" in _NEEDS[id_] and setup.density_kg_m3 is None:
        known = setup.humidity_pct is not None
        humid = f"{setup.humidity_std_pct:g} %" if known else "30 % (not measured, taken as 50 %)"
        said += (
            f"; air known to {setup.pressure_std_hpa:g} hPa, {setup.temperature_std_c:g} °C and "
            f"{humid} of humidity"
        )
    if setup.blades is not None and "diameter" in _NEEDS[id_]:
        said += f"; {setup.blades} blades"
    return said


def _drift(readings: Readings, setup: Setup) -> tuple[GroundFigure | None, str]:
    """Give the largest drift of the thrust's zero over a file, in parts of full scale."""
    if setup.full_scale_n is None:
        return None, "no full scale of the thrust cell: state full_scale_n in [thrust]"
    zeros = [run.zeros["thrust"] for run in readings.runs if "thrust" in run.zeros]
    known = [zero for zero in zeros if zero.before_and_after]
    if not known:
        return None, "no reading at rest both before and after: record both"
    worst = max(known, key=lambda zero: abs(zero.drift))
    factor = 100 / setup.full_scale_n
    return (
        GroundFigure(
            "thrust.tare_drift",
            Uncertain.of(
                worst.drift * factor, worst.drift_std * factor, "%", source=f"zero, {SCATTER}"
            ),
            "last minus first reading at rest, of the file where it is largest",
            ("declared",) if worst.stated else ("thrust",),
        ),
        "",
    )


def _scale(readings: Readings) -> tuple[GroundFigure | None, str]:
    made = readings.calibrations.get("thrust")
    if made is None:
        return None, ("no calibration: write known loads and readings as calibration in [thrust]")
    quantity = Uncertain.of(made.scale, made.scale_std, "", source="thrust calibration")
    method = f"straight line through {len(made.rows)} readings at known loads"
    return GroundFigure("thrust.scale", quantity, method, ("declared",)), ""
