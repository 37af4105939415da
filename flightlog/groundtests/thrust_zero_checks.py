"""What a stand engineer would notice in the zero and the scale of the load cells."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.thrust_readings import Readings, Run
from flightlog.groundtests.thrust_setup import Setup
from flightlog.groundtests.thrust_tare import DRIFT_LIMIT_PCT, STRAIGHT_LIMIT_PCT

TORQUE_FIGURES = ("thrust.cp", "thrust.figure_of_merit", "thrust.drive_efficiency")
THRUST_FIGURES = (
    *("thrust.greatest", "thrust.standard", "thrust.ct", "thrust.figure_of_merit"),
    "thrust.per_watt",
)


def named(names: list[str]) -> str:
    """Name the first files of some."""
    names = list(dict.fromkeys(names))
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def zero_checks(readings: Readings, setup: Setup) -> Iterator[Finding]:
    """Give findings of the readings at rest."""
    for name, affects, full, unit in (
        ("thrust", THRUST_FIGURES, setup.full_scale_n, "N"),
        ("torque", TORQUE_FIGURES, setup.full_scale_nm, "N·m"),
    ):
        runs = [run for run in readings.runs if len(run.powered) and name in run.signals]
        lacking = [run.table.name for run in runs if name not in run.zeros]
        if lacking and name == "thrust":
            yield ground_finding(
                "stand-zero-unknown",
                f"Nothing was read at rest in {named(lacking)}, so that the zero of the thrust is "
                "not known: record at rest before and after, or state tare_before_n, tare_after_n "
                "and tare_std_n.",
                evidence={"files": len(lacking)},
                affects=affects,
            )
        if full:
            yield from _drifts(runs, name, full, unit, affects)
    yield from _once(readings)
    yield from _negative(readings)


def _once(readings: Readings) -> Iterator[Finding]:
    """Say where the zero was read before or after only, of thrust and torque together."""
    cells = {"thrust": THRUST_FIGURES, "torque": TORQUE_FIGURES}
    once = {
        name: [
            run.table.name
            for run in readings.runs
            if len(run.powered) and name in run.zeros and not run.zeros[name].before_and_after
        ]
        for name in cells
    }
    sensors = [name for name in cells if once[name]]
    if sensors:
        yield ground_finding(
            "stand-zero-once",
            f"The zero of {' and '.join(sensors)} was not read both before and after in "
            f"{named([file for name in sensors for file in once[name]])}: {DRIFT_LIMIT_PCT:g} % "
            "of full scale, or else of the greatest reading, was allowed for its drift.",
            evidence={"sensors": " ".join(sensors)},
            affects=dict.fromkeys(figure for name in sensors for figure in cells[name]),
        )


def _drifts(
    runs: list[Run], name: str, full: float, unit: str, affects: tuple[str, ...]
) -> Iterator[Finding]:
    for run in runs:
        zero = run.zeros.get(name)
        if zero is None or not zero.before_and_after:
            continue
        moved = abs(zero.drift) / full * 100
        if moved >= DRIFT_LIMIT_PCT:
            yield ground_finding(
                "stand-zero-drift",
                f"The zero of the {name} went from {zero.reading[0]:.4g} to "
                f"{zero.reading[-1]:.4g} {unit} in {run.table.name}, {moved:.1f} % of full scale.",
                evidence={"drift_pct": moved, "sensor": name},
                affects=affects,
            )


def _negative(readings: Readings) -> Iterator[Finding]:
    for run in readings.runs:
        zero = run.zeros.get("thrust")
        if zero is None or zero.stated:
            continue
        at = int(np.argmin(zero.reading))
        low, std = float(zero.reading[at]), float(zero.std[at])
        if low < 0 and low < -2 * std:
            yield ground_finding(
                "thrust-negative-at-rest",
                f"Thrust reads {low * 1000:.1f} ± {2 * std * 1000:.1f} mN at rest in "
                f"{run.table.name}; it was taken off.",
                evidence={"reading_n": low},
            )


def calibration_checks(readings: Readings, setup: Setup) -> Iterator[Finding]:
    """Give findings of the readings at known loads."""
    given = {"thrust": setup.calibration, "torque": setup.torque_calibration}
    for name, points in given.items():
        affects = THRUST_FIGURES if name == "thrust" else TORQUE_FIGURES
        made = readings.calibrations.get(name)
        if points and made is None:
            why = (
                "load_std_pct does not say how right the loads are"
                if setup.load_std_pct is None
                else "3 or more are needed, with loads and readings that differ"
            )
            yield ground_finding(
                "calibration-unusable",
                f"The calibration of the {name}, {len(points)} readings, was not used: {why}.",
                evidence={"sensor": name},
            )
        if made is None:
            continue
        for code, pct, told in (
            ("calibration-not-straight", made.nonlinearity_pct, "off a straight line"),
            ("calibration-hysteresis", made.hysteresis_pct, "apart between up and down"),
        ):
            if pct > STRAIGHT_LIMIT_PCT:
                yield ground_finding(
                    code,
                    f"Calibration of the {name}: readings are up to {pct:.2f} % of the greatest "
                    f"load {told}; what scatters about the line is in the uncertainty.",
                    evidence={"sensor": name, "pct": pct},
                    affects=affects,
                )
