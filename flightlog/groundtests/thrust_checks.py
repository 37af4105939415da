"""What a stand engineer would notice in the files before trusting a number."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.thrust_bounds import bound_checks
from flightlog.groundtests.thrust_coefficients import Measured, Trend
from flightlog.groundtests.thrust_readings import Readings, Run
from flightlog.groundtests.thrust_setup import Setup
from flightlog.groundtests.thrust_steps import LAG_STD_S
from flightlog.groundtests.thrust_zero_checks import (
    TORQUE_FIGURES,
    calibration_checks,
    named,
    zero_checks,
)

LEAST_LEVELS = 3
LEAST_SWEEPS = 3
SAG_PCT = 5.0
_ROUNDED_S = 0.05
"""What "3.0 s" does not show. [s]"""
SPEEDS_APART = 0.02
CT_CHANGE = 0.05
_WORKING = 0.05
"""Below this part of the greatest power, efficiencies are noise. [-]"""
_TORQUE_MOVES = 4.0
USUAL = {
    # quantity: label, lowest, highest, decimals
    "ct": ("CT", 0.07, 0.13, 3),
    "cp": ("CP", 0.025, 0.06, 3),
    "figure_of_merit": ("figure of merit", 0.45, 0.65, 2),
    "drive_efficiency": ("drive efficiency", 0.65, 0.85, 2),
}
"""Two-bladed propellers of 10 to 20 in on drives of their size, near full throttle."""
_SPEED_FIGURES = (
    *("thrust.ct", "thrust.cp", "thrust.figure_of_merit", "thrust.drive_efficiency"),
    *("thrust.speed_greatest", "thrust.tip_mach"),
)
_UNIT = {"pulse": "µs", "throttle": "%"}
_GRAM_FORCE = ("gf", "gram-force", "grams-force", "gramforce")


def all_checks(
    readings: Readings,
    quantities: Mapping[str, Measured],
    trends: Mapping[str, Trend],
    setup: Setup,
) -> tuple[Finding, ...]:
    """Give all findings of a test, those of the files first.

    Parameters
    ----------
    readings : Readings
        Steps of all files.
    quantities : mapping of str to Measured
        Of `derived` and what was read, at the steps.
    trends : mapping of str to Trend
        Of "ct" and "cp".
    setup : Setup
        What was stated.
    """
    return tuple(
        finding
        for found in (
            _units(readings),
            _shapes(readings),
            _enough(readings),
            _short(readings, setup),
            zero_checks(readings, setup),
            calibration_checks(readings, setup),
            _signs(readings),
            _speeds(readings, setup),
            _torque(readings),
            _efficiency(readings, quantities),
            bound_checks(readings, quantities, setup),
            _constant_ct(readings, trends),
            _usual(readings, quantities, trends),
            _supply(readings),
        )
        for finding in found
    )


def _units(readings: Readings) -> Iterator[Finding]:
    spelled = [
        run.table.name
        for run in readings.runs
        if run.table.units.get("thrust", "").strip().casefold() in _GRAM_FORCE
    ]
    if spelled:
        yield ground_finding(
            "thrust-in-gram-force",
            f"Thrust is in gram-force in {named(spelled)}; 1 gf is taken as 9.80665 mN.",
            evidence={"files": len(spelled)},
        )


def _range(run: Run) -> str:
    level = run.steps.level[run.powered]
    unit = _UNIT.get(run.steps.command, "")
    if not len(level) or not unit:
        return ""
    name = run.steps.command
    return f", {name} {float(np.min(level)):.0f} to {float(np.max(level)):.0f} {unit}"


def _shapes(readings: Readings) -> Iterator[Finding]:
    for run in readings.runs:
        steps, name = run.steps, run.table.name
        powered, resting = len(run.powered), int(np.count_nonzero(run.resting))
        evidence = {"steps": powered, "at_rest": resting, "rows": len(run.table)}
        if steps.shape == "ramp":
            yield ground_finding(
                "stand-ramp",
                f"{name} is a ramp of {len(run.table)} rows in "
                f"{float(np.ptp(steps.place)):.1f} s{_range(run)}: no step is settled. A lag of "
                f"{LAG_STD_S:g} s was added to the uncertainty.",
                evidence=evidence,
            )
        elif steps.shape == "unknown" or not powered:
            why = "the motor stood all the time" if resting else "no throttle was held for a second"
            yield ground_finding(
                "stand-no-steps",
                f"{name} has {len(run.table)} rows and no settled step under power: {why}.",
                evidence=evidence,
                severity="stop" if not len(readings.level) else "note",
                affects=() if len(readings.level) else None,
            )
        else:
            how = "one row for each settled step" if steps.shape == "rows" else "a series"
            more = ""
            if steps.shape == "rows":
                more = "; how long each was averaged it does not say"
                if run.table.has("time"):
                    more += ", its time is no clock of samples"
            yield ground_finding(
                "stand-steps-found",
                f"{name} was read as {how}: {powered} steps under power, {resting} at rest"
                f"{_range(run)}{more}.",
                evidence=evidence,
            )


def _enough(readings: Readings) -> Iterator[Finding]:
    if not len(readings.level):
        return
    levels = int(readings.group.max()) + 1
    if levels < LEAST_LEVELS:
        yield ground_finding(
            "stand-run-aborted",
            f"There {'is' if levels == 1 else 'are'} {levels} level{'s' * (levels > 1)} of the "
            f"throttle only, {LEAST_LEVELS} at the least make a sweep: the run was aborted.",
            evidence={"levels": levels},
        )
        return
    for i, run in enumerate(readings.runs):
        own = len(np.unique(readings.group[readings.file == i]))
        if 0 < own < LEAST_LEVELS:
            yield ground_finding(
                "stand-run-aborted",
                f"{run.table.name} has {own} level{'s' * (own > 1)} only: it was aborted.",
                evidence={"levels": own},
                severity="note",
                affects=(),
            )
    passes = [int(s) for s in np.unique(readings.sweep) if np.sum(readings.sweep == s) > 2]
    if len(passes) < LEAST_SWEEPS:
        yield ground_finding(
            "stand-few-sweeps",
            f"{len(passes)} sweep{'s' * (len(passes) != 1)} of the throttle; {LEAST_SWEEPS} or "
            "more show how well the stand repeats.",
            evidence={"sweeps": len(passes)},
        )


def _short(readings: Readings, setup: Setup) -> Iterator[Finding]:
    settled = np.concatenate(
        [run.steps.settled_s[run.powered] for run in readings.runs if run.steps.shape == "series"]
        or [np.zeros(0)]
    )
    unclocked = int(np.count_nonzero(~np.isfinite(settled)))
    short = settled[settled < setup.settled_s - _ROUNDED_S]
    if len(short):
        yield ground_finding(
            "stand-steps-short",
            f"{len(short)} of {len(settled)} steps were averaged over less than "
            f"{setup.settled_s:g} s, the shortest over {float(np.min(short)):.1f} s.",
            evidence={"steps": len(short), "shortest_s": float(np.min(short))},
        )
    elif unclocked:
        yield ground_finding(
            "stand-steps-short",
            f"How long {unclocked} steps were averaged is not known: the file has no clock.",
            evidence={"steps": unclocked},
        )


# --- sensors


def _signs(readings: Readings) -> Iterator[Finding]:
    thrust = readings.measured.get("thrust")
    if thrust is None:
        return
    top = thrust.value[readings.group == readings.group.max()]
    mean = float(np.nanmean(top)) if np.isfinite(top).any() else math.nan
    greatest = float(np.nanmax(np.abs(thrust.value)))
    if mean < -0.2 * greatest:
        yield ground_finding(
            "thrust-reversed",
            f"Thrust at the highest step is {mean:.3g} N, which pulls backward.",
            evidence={"thrust_n": mean},
        )


def _speeds(readings: Readings, setup: Setup) -> Iterator[Finding]:
    if not len(readings.level):
        return
    if not readings.speed_source:
        electrical = all("electrical_speed" in run.signals for run in readings.runs)
        took = electrical and _took_as_shaft(readings)
        told = (
            "The file has no speed of the shaft but the electrical one"
            + (", which the stand took as the shaft's for its own power" if took else "")
            + "; the pole pairs are not stated."
            if electrical
            else "No speed of the shaft was recorded, or it reads 0 all the time."
        )
        yield ground_finding("shaft-speed-missing", told)
        return
    if readings.speed_source != "speed":
        return
    pairs = setup.pole_pairs or 0
    ratios = [
        run.steps.mean["electrical_speed"][run.powered] / run.steps.mean["speed"][run.powered]
        for run in readings.runs
        if "electrical_speed" in run.signals
    ]
    if not ratios or not pairs:
        return
    ratio = float(np.nanmedian(np.concatenate(ratios)))
    if min(abs(ratio / pairs - 1), abs(ratio - 1)) > SPEEDS_APART:
        blades = setup.blades or 0
        marks = blades > 1 and min(abs(ratio * blades / pairs - 1), abs(ratio * blades - 1)) < 0.02
        more = f" The optical sensor may count each of {blades} blades." if marks else ""
        yield ground_finding(
            "shaft-speeds-disagree",
            f"The electrical speed is {ratio:.3g} times the shaft's; with {pairs} pole pairs it "
            f"should be {pairs}, or 1 where the stand has divided.{more}",
            evidence={"ratio": ratio, "pole_pairs": pairs},
        )


def _took_as_shaft(readings: Readings) -> bool:
    """Whether the stand's own shaft power is torque times the electrical speed as written."""
    for run in readings.runs:
        power = run.table.columns.get("shaft_power")
        torque, speed = run.signals.get("torque"), run.signals.get("electrical_speed")
        if power is None or torque is None or speed is None:
            return False
        known = np.isfinite(power) & np.isfinite(torque * speed) & (power > 0)
        ratio = np.abs(torque * speed)[known] / power[known]
        if not len(ratio) or abs(float(np.median(ratio)) - 1) > SPEEDS_APART:
            return False
    return True


def _torque(readings: Readings) -> Iterator[Finding]:
    """Say where the torque does not rise with the power."""
    for run in readings.runs:
        at = run.powered
        if "torque" not in run.signals or "power" not in run.signals or len(at) < 4:
            continue
        torque, power = np.abs(run.steps.mean["torque"][at]), run.steps.mean["power"][at]
        good = np.isfinite(torque) & np.isfinite(power)
        torque, power = run.steps.mean["torque"][at][good], power[good]
        if len(torque) < 4 or not np.ptp(power) > 0:
            continue
        order = np.argsort(power)
        quarter = max(1, len(order) // 4)
        low, high = torque[order[:quarter]], torque[order[-quarter:]]
        noise = float(np.median(np.abs(np.diff(torque)))) * 1.05
        moved = abs(float(np.mean(high) - np.mean(low)))
        if moved <= _TORQUE_MOVES * noise / math.sqrt(quarter) or moved == 0:
            if len(torque) >= 8 or moved == 0:
                yield ground_finding(
                    "torque-silent",
                    f"Torque does not follow the power in {run.table.name}: "
                    f"{float(np.mean(low)) * 1000:.3f} mN·m at the lowest steps, "
                    f"{float(np.mean(high)) * 1000:.3f} mN·m at the highest.",
                    evidence={"moved_nm": moved},
                )


def _efficiency(readings: Readings, quantities: Mapping[str, Measured]) -> Iterator[Finding]:
    """Say where more comes out of the drive than goes in, computed or as the stand wrote it."""
    worst, where = 0.0, ""
    made, power = quantities.get("drive_efficiency"), readings.measured.get("power")
    if made is not None and power is not None:
        working = power.value > _WORKING * float(np.nanmax(power.value))
        spread = np.where(np.isfinite(made.std), made.std, 0.0)
        beyond = working & (made.value - 2 * spread > 1)
        if beyond.any():
            worst, where = float(np.nanmax(made.value[beyond])) * 100, "torque, speed and power"
    for run in readings.runs:
        written = run.table.columns.get("drive_efficiency")
        if written is None or "power" not in run.signals or worst:
            continue
        power_w = run.signals["power"]
        working = (power_w > _WORKING * float(np.nanmax(power_w))) & (written > 100)
        if working.any():
            worst = float(np.max(written[working]))
            where = f"what the stand wrote in {run.table.name}"
    if not worst:
        return
    electrical = readings.speed_source != "speed"
    more = (
        " It took the electrical speed as the shaft's; divide it by the pole pairs."
        if electrical and any("electrical_speed" in run.signals for run in readings.runs)
        else ""
    )
    yield ground_finding(
        "efficiency-above-100",
        f"Drive efficiency reaches {worst:.1f} % by {where}: torque or speed is wrong.{more}",
        evidence={"efficiency_pct": worst},
        affects=_SPEED_FIGURES if electrical else TORQUE_FIGURES,
    )


# --- what is usual


def _constant_ct(readings: Readings, trends: Mapping[str, Trend]) -> Iterator[Finding]:
    found = trends.get("ct")
    if found is None or not found.change_std >= 0:
        return
    if abs(found.change) > max(CT_CHANGE, 2 * found.change_std):
        yield ground_finding(
            "ct-not-constant",
            f"CT {'rises' if found.change > 0 else 'falls'} by {abs(found.change) * 100:.1f} ± "
            f"{2 * found.change_std * 100:.1f} % from the slowest to the fastest step.",
            evidence={"change": found.change, "change_std": found.change_std},
            widen=found.spread,
        )


def _usual(
    readings: Readings, quantities: Mapping[str, Measured], trends: Mapping[str, Trend]
) -> Iterator[Finding]:
    if not len(readings.level):
        return
    top = readings.group == readings.group.max()
    odd = []
    evidence: dict[str, float | int | str] = {}
    for name, (label, low, high, decimals) in USUAL.items():
        if name not in quantities:
            continue
        value = quantities[name].value[top]
        if not np.isfinite(value).any():
            continue
        mean = float(np.nanmean(value))
        if not low <= mean <= high:
            odd.append(f"{label} {mean:.{decimals}f} (usual {low:g} to {high:g})")
            evidence[name] = mean
    if odd:
        yield ground_finding(
            "coefficients-unusual",
            f"At the highest step: {', '.join(odd)}.",
            evidence=evidence,
        )


def _supply(readings: Readings) -> Iterator[Finding]:
    for run in readings.runs:
        voltage = run.steps.mean.get("voltage")
        if voltage is None or len(voltage) < 2 or not np.nanmax(voltage, initial=0.0) > 0:
            continue
        high, low = float(np.nanmax(voltage)), float(np.nanmin(voltage))
        sag = (high - low) / high * 100
        if sag > SAG_PCT:
            yield ground_finding(
                "supply-sag",
                f"The supply falls from {high:.2f} to {low:.2f} V in {run.table.name}, "
                f"{sag:.0f} %: thrust at a throttle is that of this supply.",
                evidence={"sag_pct": sag},
            )
