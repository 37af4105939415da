"""What no stand can have measured, and sweeps that do not repeat each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.thrust_coefficients import Measured, product, sweeps_apart
from flightlog.groundtests.thrust_readings import Readings
from flightlog.groundtests.thrust_setup import Setup
from flightlog.groundtests.thrust_zero_checks import THRUST_FIGURES, TORQUE_FIGURES

_OVERLOAD = 1.2
"""Reading over full scale beyond which a cell, or its unit, is not what was stated. [-]"""
_LEAST_ROWS = 10
_ALL_ROWS, _FEW_ROWS = 0.9, 0.5
"""Parts of a step's rows with one and the same reading: at the end of a range; in general. [-]"""
_UNIT = {"thrust": "N", "torque": "N·m"}
_WORKING = 0.05
"""Below this part of the greatest power, ratios are noise. [-]"""
_TOLD = 0.01
"""Sweeps nearer to each other are in the uncertainty, and need no word. [-]"""
_LEVEL_FIGURES = (*dict.fromkeys((*THRUST_FIGURES, *TORQUE_FIGURES, "thrust.speed_greatest")),)


def bound_checks(
    readings: Readings, quantities: Mapping[str, Measured], setup: Setup
) -> Iterator[Finding]:
    """Give findings of readings beyond the range, of a merit above one, and of sweeps apart."""
    yield from _ranges(readings, setup)
    yield from _saturated(readings)
    yield from _merit(readings, quantities)
    yield from _apart(readings)


def _ranges(readings: Readings, setup: Setup) -> Iterator[Finding]:
    for name, full, unit, affects in (
        ("thrust", setup.full_scale_n, "N", THRUST_FIGURES),
        ("torque", setup.full_scale_nm, "N·m", TORQUE_FIGURES),
    ):
        if not full:
            continue
        for run in readings.runs:
            if name not in run.signals or not len(run.powered):
                continue
            reached = float(np.nanmax(np.abs(run.steps.mean[name][run.powered]), initial=0.0))
            if reached > _OVERLOAD * full:
                yield ground_finding(
                    "stand-beyond-range",
                    f"The {name} reaches {reached:.4g} {unit} in {run.table.name}, and the full "
                    f"scale of its cell is {full:g} {unit}.",
                    evidence={"sensor": name, "reached": reached},
                    affects=affects,
                )


def _saturated(readings: Readings) -> Iterator[Finding]:
    """Say where the rows of a step all stand at the greatest reading, and those of others don't."""
    for name, affects in (("thrust", THRUST_FIGURES), ("torque", TORQUE_FIGURES)):
        for run in readings.runs:
            if name not in run.signals or run.steps.shape != "series":
                continue
            size = np.abs(run.signals[name])
            parts = [size[run.steps.first[i] : run.steps.last[i] + 1] for i in run.powered]
            parts = [p[np.isfinite(p)] for p in parts]
            parts = [p for p in parts if len(p) >= _LEAST_ROWS]
            if len(parts) < 3:
                continue
            most = max(float(p.max()) for p in parts)
            at_end = [float(np.mean(p == most)) for p in parts]
            alike = [float(np.unique(p, return_counts=True)[1].max()) / len(p) for p in parts]
            if max(at_end) > _ALL_ROWS and float(np.median(alike)) < _FEW_ROWS:
                yield ground_finding(
                    "stand-beyond-range",
                    f"The {name} stands at {most:.4g} {_UNIT[name]} in {100 * max(at_end):.0f} % "
                    f"of the rows of a step in {run.table.name}, and scatters elsewhere: the end "
                    "of its range.",
                    evidence={"sensor": name, "reached": most},
                    affects=affects,
                )


def _merit(readings: Readings, quantities: Mapping[str, Measured]) -> Iterator[Finding]:
    """Say where the air gets more than the shaft, or the battery, gave.

    An open propeller at rest can't need less than thrust times the induced velocity of momentum
    theory (e.g. Leishman, Principles of Helicopter Aerodynamics, 2.3).
    """
    needed = quantities.get("induced_velocity")
    thrust = readings.measured.get("thrust")
    if needed is None or thrust is None:
        return
    for given, powers, wrong, affects in (
        (
            readings.measured.get("power"),
            "battery",
            "thrust, diameter, voltage or current is wrong",
            (*THRUST_FIGURES, "thrust.power_greatest"),
        ),
        (
            quantities.get("shaft_power"),
            "shaft",
            "thrust, torque, speed or diameter is wrong",
            _LEVEL_FIGURES,
        ),
    ):
        if given is None or not np.nanmax(given.value, initial=0.0) > 0:
            continue
        merit = product(1.0, [(thrust, 1), (needed, 1), (given, -1)])
        spread = np.where(np.isfinite(merit.std), merit.std, 0.0)
        working = given.value > _WORKING * float(np.nanmax(given.value))
        beyond = working & (merit.value - 2 * spread > 1)
        if beyond.any():
            worst = float(np.nanmax(merit.value[beyond]))
            yield ground_finding(
                "merit-above-one",
                f"Thrust takes {worst:.3g} times the power that the {powers} gave, by momentum "
                f"theory at the least: {wrong}.",
                evidence={"merit": worst, "power_of": powers},
                affects=affects,
            )
            return


def _apart(readings: Readings) -> Iterator[Finding]:
    """Name the sweep that is furthest from the middle one, at equal speed."""
    have = readings.measured
    for name in ("thrust", "torque"):
        if name not in have or "speed" not in have:
            continue
        alike = product(1.0, [(have[name], 1), (have["speed"], -2)])
        found = sweeps_apart(alike, readings.group, readings.repeat)
        if found is None or not found.std > _TOLD:
            continue
        off = found.off - float(np.median(found.off))
        at = int(np.argmax(np.abs(off)))
        files = len(np.unique(readings.file)) > 1
        number = int(found.number[at])
        which = readings.runs[number].table.name if files else f"sweep {number}"
        told = (
            f"of {which} is {abs(off[at]) * 100:.1f} % {'above' if off[at] > 0 else 'below'} the "
            f"middle one of {len(off)} {'files' if files else 'sweeps'}"
        )
        if len(off) == 2:
            told = f"of two {'files' if files else 'sweeps'} is {np.ptp(off) * 100:.1f} % apart"
        yield ground_finding(
            "stand-sweeps-apart",
            f"At equal speed the {name} {told}; the interval holds what they differ by.",
            evidence={"sensor": name, "off": float(off[at])},
            affects=THRUST_FIGURES if name == "thrust" else TORQUE_FIGURES,
        )
