"""Propellers and packs for a mission: from the mission file to what holds, and what is best."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.errors import NotEnoughDataError, TeamFileError
from flightlog.estimation.air import density
from flightlog.groundtests.draws import NONE, ONE, Known, Spread
from flightlog.groundtests.pack_choice import (
    MassSplit,
    Pack,
    PackChoice,
    PackTask,
    battery_for,
    best_split,
    choose_pack,
)
from flightlog.groundtests.propeller import PropellerCurve, sound_speed
from flightlog.groundtests.propeller_choice import (
    PropellerChoice,
    PropellerLimits,
    choose_propeller,
)
from flightlog.groundtests.propeller_performance import Candidate, Mission
from flightlog.operations.bench_propeller import BenchPropeller, bench_propeller
from flightlog.team_files.mission_file import (
    MissionFile,
    PackTable,
    PropellerTable,
    read_mission_file,
)
from flightlog.uncertain import NORMAL_95

_SAME_DIAMETER = 0.005
_STD = "_std"
_PERCENT_STD = "_percent_std"


@dataclass(frozen=True, slots=True)
class IdealSplit:
    """What the best mass of battery would be, were there packs of any mass.

    Attributes
    ----------
    split : MassSplit
        Payload times distance greatest.
    needed_kg : float or None
        Battery that the distance of the mission takes, with reserve; None without a distance.
    usable_wh_kg : float
        Of the best pack named, which was taken for all.
    pack : str
        Its name.
    """

    split: MassSplit
    needed_kg: float | None
    usable_wh_kg: float
    pack: str


@dataclass(frozen=True, slots=True)
class GroundChoice:
    """A mission and what could fly it.

    Attributes
    ----------
    mission : MissionFile
        As read.
    stand : tuple of BenchPropeller
        Propellers that were read from files of the stand.
    propellers : PropellerChoice or None
        None where the file names none.
    packs : PackChoice or None
        Likewise.
    drive : str
        The propeller whose energy and current the packs were weighed with; "" where the file
        states them, or there is none.
    ideal : IdealSplit or None
        None where the energy per distance is not known, or there is no pack.
    exact : tuple of str
        What the file states without a standard uncertainty, and was taken as exact.
    """

    mission: MissionFile
    stand: tuple[BenchPropeller, ...]
    propellers: PropellerChoice | None
    packs: PackChoice | None
    drive: str
    ideal: IdealSplit | None
    exact: tuple[str, ...]


def run_choice(path: Path) -> GroundChoice:
    """Read a mission file and weigh what it names.

    Raises
    ------
    TeamFileError
        If it, or a bench file that it names, is at fault.
    LogFileError, NotEnoughDataError
        If a file of the stand can't be read, or does not give what a propeller needs.
    """
    file = read_mission_file(path)
    stand = {
        p.name: bench_propeller(
            p.name, [path.parent / f for f in p.files], path.parent / p.bench if p.bench else None
        )
        for p in file.propellers
        if p.files
    }
    mission = _mission(file)
    propellers = None
    if file.propellers:
        candidates = [_candidate(p, stand.get(p.name), file) for p in file.propellers]
        propellers = choose_propeller(mission, candidates, _limits(file), file.objective)
    packs, drive, ideal = None, "", None
    if file.packs:
        task, drive = _task(file, propellers)
        packs = choose_pack(task, [_pack(p, file) for p in file.packs])
        ideal = _ideal(file, task)
    return GroundChoice(
        file, tuple(stand.values()), propellers, packs, drive, ideal, _taken_as_exact(file)
    )


def _stated(value: float, std: float, where: str) -> Known:
    if std > abs(value):
        raise TeamFileError(
            f"has a standard uncertainty of {std:g}, more than its {value:g}",
            where=where,
            fix="Check it: it is one standard deviation.",
        )
    return Known(value, std)


def _known(value: float | None, std: float, where: str) -> Known | None:
    return None if value is None else _stated(value, std, where)


def _mission(file: MissionFile) -> Mission:
    task, air, aero = file.task, file.air, file.aerodynamics
    kelvin = None if air.temperature_c is None else air.temperature_c + ZERO_CELSIUS_K
    rho = air.density_kg_m3
    if rho is None and air.pressure_hpa is not None and kelvin is not None:
        rho = density(air.pressure_hpa * 100, kelvin, air.humidity_percent / 100)
    if rho is None:  # the file was checked for it
        raise TeamFileError("has no density", where=f"{file.path}: [air]")
    at, over = f"{file.path}: [task]", f"{file.path}: [aerodynamics]"
    mass = _stated(task.mass_kg, task.mass_kg_std, f"{at} mass_kg")
    return Mission(
        mass_kg=mass,
        density_kg_m3=Known(rho, rho * air.density_percent_std / 100),
        sound_m_s=None if kelvin is None else sound_speed(kelvin),
        wing_area_m2=aero.wing_area_m2,
        cl_ground=aero.cl_ground,
        cd_ground=_known(aero.cd_ground, aero.cd_ground_std, f"{over} cd_ground"),
        cl_liftoff=_known(aero.cl_liftoff, aero.cl_liftoff_std, f"{over} cl_liftoff"),
        friction=_known(
            aero.rolling_friction, aero.rolling_friction_std, f"{over} rolling_friction"
        ),
        cd0=_known(aero.cd0, aero.cd0_std, f"{over} cd0"),
        induced=aero.induced,
        lift_over_drag=_known(
            aero.lift_over_drag, aero.lift_over_drag_std, f"{over} lift_over_drag"
        ),
        cruise_m_s=_known(task.cruise_m_s, task.cruise_m_s_std, f"{at} cruise_m_s"),
        climb_m_s=task.climb_m_s,
        headwind_m_s=Known(air.headwind_m_s, air.headwind_m_s_std),
        slope=air.slope_percent / 100,
        avionics_w=task.avionics_w,
    )


def _limits(file: MissionFile) -> PropellerLimits:
    limits = file.limits
    return PropellerLimits(
        limits.roll_m,
        limits.current_a,
        limits.power_w,
        limits.tip_mach,
        limits.clearance_mm,
        limits.shown_at,
    )


def _candidate(p: PropellerTable, stand: BenchPropeller | None, file: MissionFile) -> Candidate:
    """Put together what the file states and what the stand showed; what is stated counts."""
    at = f"{file.path}: [[propeller]] {p.name}:"

    def stated(key: str, measured: Known | None = None) -> Known | None:
        own = _known(getattr(p, key), getattr(p, key + _STD), f"{at} {key}")
        return own if own is not None else measured

    _same_diameter(p, stand, at)
    speed = stated("speed_rpm", stand.speed_rpm if stand else None)
    if speed is None:
        raise NotEnoughDataError(
            f"the stand gives no speed ({stand.why('speed') if stand else 'no files'})",
            where=at.rstrip(":"),
            fix="State speed_rpm.",
        )
    ct, cp = stand.ct if stand else None, stand.cp if stand else None
    if p.curve is not None:
        j, ct_rows, cp_rows = zip(*p.curve, strict=True)
        curve, j_scale = PropellerCurve(j, ct_rows, cp_rows), ONE
        relative = (p.ct_percent_std / 100, p.cp_percent_std / 100)
    else:
        ct = Known(p.ct, p.ct * p.ct_percent_std / 100) if p.ct is not None else ct
        cp = Known(p.cp, p.cp * p.cp_percent_std / 100) if p.cp is not None else cp
        scale = stated("zero_thrust_j")
        if ct is None or cp is None or scale is None:
            lacking = "ct" if ct is None else "cp"
            raise NotEnoughDataError(
                f"the stand gives no {lacking.upper()} "
                f"({stand.why(lacking) if stand else 'no files'})",
                where=at.rstrip(":"),
                fix=f"State {lacking}, or what the stand lacks in its bench file.",
            )
        curve = PropellerCurve([0.0, 1.0, 2.0], [ct.value, 0.0, -ct.value], [cp.value] * 3)
        relative, j_scale = (ct.std / ct.value, cp.std / cp.value), scale
    hub = _known(p.hub_height_mm, p.hub_height_mm_std, f"{at} hub_height_mm")
    return Candidate(
        p.name,
        p.diameter_m,
        curve,
        Known(speed.value / 60, speed.std / 60),
        *relative,
        j_scale,
        stated("voltage_v", stand.voltage_v if stand else None),
        stated("drive_efficiency", stand.drive_efficiency if stand else None),
        stated("cruise_drive_efficiency"),
        stated("cruise_efficiency"),
        power_known=p.curve is not None,
        hub_height_m=Known(hub.value / 1000, hub.std / 1000) if hub else None,
        max_rpm=p.max_rpm,
    )


def _same_diameter(p: PropellerTable, stand: BenchPropeller | None, at: str) -> None:
    """Refuse coefficients that were made with another diameter than the mission file's."""
    bench = stand.test.bench if stand else None
    used = bench.setup.get("diameter_m") if bench else None
    if used is not None and abs(used / p.diameter_m - 1) > _SAME_DIAMETER:
        raise TeamFileError(
            f"is {1000 * p.diameter_m:.1f} mm, and {1000 * used:.1f} mm in the bench file",
            where=f"{at} diameter",
            fix="Correct one of them.",
        )


# --- packs


def _pack(p: PackTable, file: MissionFile) -> Pack:
    at = f"{file.path}: [[pack]] {p.name}:"
    return Pack(
        p.name,
        _stated(p.mass_kg, p.mass_kg_std, f"{at} mass_kg"),
        _stated(p.usable_wh, p.usable_wh_std, f"{at} usable_wh"),
        p.nominal_wh,
        p.full_v,
        p.most_current_a,
    )


def _distance_m(file: MissionFile) -> float | None:
    task = file.task
    if task.laps is not None and task.lap_length_m is not None:
        return task.laps * task.lap_length_m
    return None if task.distance_km is None else 1000 * task.distance_km


def _task(file: MissionFile, propellers: PropellerChoice | None) -> tuple[PackTask, str]:
    """Give what the packs have to do, and the propeller that it was taken from."""
    task, limits = file.task, file.limits
    at = f"{file.path}: [task]"
    per_km = _known(task.wh_per_km, task.wh_per_km_std, f"{at} wh_per_km")
    current = _known(task.current_a, task.current_a_std, f"{at} current_a")
    drive = ""
    if propellers is not None and propellers.best and (per_km is None or current is None):
        figures = next(c for c in propellers.candidates if c.name == propellers.best).figures
        drive = propellers.best
        per_km = per_km or _of(figures.get("wh_per_km"))
        current = current or _of(figures.get("current_a"))
    return (
        PackTask(
            gross_kg=Known(task.mass_kg, task.mass_kg_std),
            empty_kg=_known(task.empty_mass_kg, task.empty_mass_kg_std, f"{at} empty_mass_kg")
            or NONE,
            distance_m=_distance_m(file),
            wh_per_km=per_km,
            overhead_wh=Known(task.overhead_wh, task.overhead_wh_std) if task.overhead_wh else NONE,
            reserve=task.reserve_percent / 100,
            current_a=current,
            unit_kg=task.payload_unit_kg,
            nominal_wh=limits.pack_energy_wh,
            full_v=limits.pack_voltage_v,
            shown_at=limits.shown_at,
        ),
        drive,
    )


def _of(spread: Spread | None) -> Known | None:
    """Give a figure that was drawn as a number, as wide as its interval."""
    if spread is None or not np.isfinite(spread.interval[1]) or spread.value <= 0:
        return None
    low, high = spread.interval
    return Known(spread.value, (high - low) / (2 * NORMAL_95))


def _ideal(file: MissionFile, task: PackTask) -> IdealSplit | None:
    if task.wh_per_km is None:
        return None
    best = max(file.packs, key=lambda p: p.usable_wh / p.mass_kg)
    usable = best.usable_wh / best.mass_kg
    # In level flight g M/(η L/D) is the energy per distance; only their product is needed.
    efficiency_and_glide = task.gross_kg.value * 9.80665 / (3.6 * task.wh_per_km.value)
    most = math.inf
    if file.limits.pack_energy_wh is not None and best.nominal_wh is not None:
        most = file.limits.pack_energy_wh / (best.nominal_wh / best.mass_kg)
    split = best_split(
        task.gross_kg.value,
        task.empty_kg.value,
        usable * 3600 * (1 - task.reserve),
        1.0,
        efficiency_and_glide,
        most_battery_kg=most,
        most_payload_kg=file.task.most_payload_kg or math.inf,
    )
    needed = None
    if task.distance_m is not None:
        needed = battery_for(
            task.distance_m,
            task.gross_kg.value,
            usable * 3600,
            1.0,
            efficiency_and_glide,
            reserve=task.reserve,
        ) + task.overhead_wh.value / (usable * (1 - task.reserve))
    return IdealSplit(split, needed, usable, best.name)


def _taken_as_exact(file: MissionFile) -> tuple[str, ...]:
    """List what has a key for its standard uncertainty, and was stated without it."""
    found = []
    tables = [("[task]", file.task), ("[air]", file.air), ("[aerodynamics]", file.aerodynamics)]
    tables += [(f"[[propeller]] {p.name}", p) for p in file.propellers]
    tables += [(f"[[pack]] {p.name}", p) for p in file.packs]
    for name, table in tables:
        given = table.model_fields_set
        for key in type(table).model_fields:
            if not key.endswith(_STD) or key in given:
                continue
            stem = key.removesuffix(_PERCENT_STD if key.endswith(_PERCENT_STD) else _STD)
            if any(one in given for one in _stated_as(stem)):
                found.append(f"{name} {stem}")
    return tuple(found)


def _stated_as(stem: str) -> tuple[str, ...]:
    """Give the keys by which a quantity is stated."""
    return {
        "density": ("density_kg_m3", "pressure_hpa"),
        "ct": ("ct", "curve"),
        "cp": ("cp", "curve"),
    }.get(stem, (stem,))
