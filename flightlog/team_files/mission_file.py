"""The mission file: what an aircraft has to do, and which propellers and packs could do it.

::

    schema = "flightlog.mission/1"
    id = "probes-upper-field"
    objective = "energy"            # what the best has least of: energy, roll, current

    [task]
    mass_kg = 8.6                   # at take-off; standard uncertainties end in _std
    mass_kg_std = 0.02
    empty_mass_kg = 5.2             # without pack and payload; for packs
    payload_unit_kg = 0.30
    cruise_m_s = 17.0
    climb_m_s = 15.0
    laps = 4                        # or distance_km
    lap_length_m = 2000
    reserve_percent = 20            # of the usable energy, kept

    [air]
    pressure_hpa = 986              # at the strip itself; or density_kg_m3
    temperature_c = 24
    density_percent_std = 0.7

    [aerodynamics]
    wing_area_m2 = 0.55
    cl_ground = 0.50
    cd_ground = 0.055
    cl_liftoff = 1.24
    rolling_friction = 0.05
    cd0 = 0.040                     # with induced: CD = cd0 + induced CL²; or lift_over_drag
    induced = 0.050

    [limits]
    roll_m = 40
    current_a = 60
    pack_energy_wh = 100
    shown_at = 0.95

    [[propeller]]
    name = "16x8"
    diameter_in = 16
    speed_rpm = 7000                # at full throttle, on the stand
    voltage_v = 22.4
    drive_efficiency = 0.72         # shaft over electrical power at full throttle
    cruise_drive_efficiency = 0.68
    curve = [[0, 0.075, 0.029], [0.3, 0.062, 0.031], [0.6, 0.02, 0.02]]     # J, CT, CP
    hub_height_mm = 240
    max_rpm = 9060                  # of its maker

    [[propeller]]
    name = "15x10, from the stand"
    diameter_in = 15
    files = ["stand/15x10-1.csv", "stand/15x10-2.csv"]
    bench = "stand/bench.toml"      # gives speed, voltage, coefficients, efficiency at rest
    zero_thrust_j = 0.75            # J at which thrust vanishes, in place of a curve
    zero_thrust_j_std = 0.05
    cruise_efficiency = 0.55        # of the propeller, in place of CP in flow

    [[pack]]
    name = "4.0 Ah"
    mass_kg = 0.61
    usable_wh = 79
    nominal_wh = 88.8
    full_v = 25.2
    most_current_a = 100
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from flightlog.errors import TeamFileError
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.limits import Probability
from flightlog.team_files.reading import read_toml

KIND = "mission"
MOST = 12
"""Propellers, or packs, of one file."""
INCH_MM = 25.4

_Name = Annotated[str, Field(min_length=1, max_length=60)]
_Std = Annotated[float, Field(ge=0, le=1e4)]
_PercentStd = Annotated[float, Field(ge=0, le=50)]
_Share = Annotated[float, Field(ge=0.01, lt=1)]
_Kg = Annotated[float, Field(ge=0.001, le=500)]
_Coefficient = Annotated[float, Field(ge=-5, le=5)]


class TaskTable(Table):
    """``[task]``."""

    mass_kg: _Kg = Field(description="the mass at take-off, 0.001 to 500 kg")
    mass_kg_std: _Std = 0.0
    empty_mass_kg: _Kg | None = Field(
        default=None, description="the mass without pack and payload, 0.001 to 500 kg"
    )
    empty_mass_kg_std: _Std = 0.0
    most_payload_kg: _Kg | None = Field(
        default=None, description="the payload that there is room for, 0.001 to 500 kg"
    )
    payload_unit_kg: _Kg | None = Field(
        default=None, description="the mass of one unit of payload, 0.001 to 500 kg"
    )
    cruise_m_s: float | None = Field(
        default=None, gt=0, le=100, description="the airspeed in cruise, above 0 to 100 m/s"
    )
    cruise_m_s_std: _Std = 0.0
    climb_m_s: float | None = Field(
        default=None, gt=0, le=100, description="the airspeed in the climb, above 0 to 100 m/s"
    )
    distance_km: float | None = Field(
        default=None, gt=0, le=1000, description="the distance to fly, above 0 to 1000 km"
    )
    laps: int | None = Field(default=None, ge=1, le=1000, description="a number of laps, 1 to 1000")
    lap_length_m: float | None = Field(
        default=None, gt=0, le=1e5, description="the length of a lap as flown, above 0 to 100000 m"
    )
    reserve_percent: float = Field(
        default=0.0, ge=0, lt=100, description="the share of usable energy that is kept, 0 to 100 %"
    )
    overhead_wh: float = Field(
        default=0.0, ge=0, le=1e4, description="energy besides cruise: take-off, climb, landing"
    )
    overhead_wh_std: _Std = 0.0
    avionics_w: float = Field(
        default=0.0, ge=0, le=1e4, description="what is drawn besides the drive, in W"
    )
    wh_per_km: float | None = Field(
        default=None, gt=0, le=1e4, description="the energy in cruise, where flights showed it"
    )
    wh_per_km_std: _Std = 0.0
    current_a: float | None = Field(
        default=None, gt=0, le=2000, description="the most that the drive draws, where it is known"
    )
    current_a_std: _Std = 0.0


class AirTable(Table):
    """``[air]``."""

    density_kg_m3: float | None = Field(
        default=None, ge=0.3, le=2, description="the density of the air, 0.3 to 2 kg/m³"
    )
    density_percent_std: _PercentStd = 0.0
    pressure_hpa: float | None = Field(
        default=None, ge=300, le=1100, description="the pressure at the strip, 300 to 1100 hPa"
    )
    temperature_c: float | None = Field(
        default=None, ge=-60, le=60, description="the temperature of the air, -60 to 60 °C"
    )
    humidity_percent: float = Field(
        default=0.0, ge=0, le=100, description="the relative humidity, 0 to 100 %"
    )
    headwind_m_s: float = Field(
        default=0.0, ge=-10, le=30, description="the headwind of the roll; negative: tailwind"
    )
    headwind_m_s_std: _Std = 0.0
    slope_percent: float = Field(
        default=0.0, ge=-20, le=20, description="the rise of the strip, positive uphill, -20 to 20"
    )


class AerodynamicsTable(Table):
    """``[aerodynamics]``."""

    wing_area_m2: float | None = Field(
        default=None, gt=0, le=100, description="the wing's area, above 0 to 100 m²"
    )
    cl_ground: _Coefficient | None = None
    cd_ground: float | None = Field(
        default=None, gt=0, le=5, description="the drag coefficient on the ground, above 0"
    )
    cd_ground_std: _Std = 0.0
    cl_liftoff: float | None = Field(
        default=None, gt=0, le=5, description="the lift coefficient at lift-off, above 0"
    )
    cl_liftoff_std: _Std = 0.0
    rolling_friction: float | None = Field(
        default=None, gt=0, le=1, description="rolling friction, above 0 to 1"
    )
    rolling_friction_std: _Std = 0.0
    cd0: float | None = Field(
        default=None, gt=0, le=5, description="the drag coefficient without lift, above 0"
    )
    cd0_std: _Std = 0.0
    induced: float | None = Field(
        default=None, ge=0, le=5, description="induced in CD = cd0 + induced CL², 0 or more"
    )
    lift_over_drag: float | None = Field(
        default=None, gt=0, le=100, description="lift over drag in cruise, above 0 to 100"
    )
    lift_over_drag_std: _Std = 0.0


class LimitsTable(Table):
    """``[limits]``: of the rule book, of the strip, of the team."""

    roll_m: float | None = Field(
        default=None, gt=0, le=1e4, description="the longest roll, above 0 to 10000 m"
    )
    current_a: float | None = Field(
        default=None, gt=0, le=2000, description="the most current, above 0 to 2000 A"
    )
    power_w: float | None = Field(
        default=None, gt=0, le=1e5, description="the most electrical power, above 0 to 100000 W"
    )
    tip_mach: float = Field(
        default=0.65, gt=0, lt=1, description="the most of the tips' Mach number, 0 to 1"
    )
    clearance_mm: float = Field(
        default=25.0, ge=0, le=2000, description="the least clearance to the ground, 0 to 2000 mm"
    )
    pack_energy_wh: float | None = Field(
        default=None, gt=0, le=1e5, description="the most energy on a pack's label, in Wh"
    )
    pack_voltage_v: float | None = Field(
        default=None, gt=0, le=1000, description="the most voltage of a full pack, in V"
    )
    shown_at: Probability = 0.95
    source: Text = ""


_Row = Annotated[list[Annotated[float, Field(ge=-10, le=10)]], Field(min_length=3, max_length=3)]


class PropellerTable(Table):
    """``[[propeller]]``."""

    name: _Name = Field(description="a name of its own")
    diameter_in: float | None = Field(
        default=None, gt=0, le=80, description="the diameter, above 0 to 80 in"
    )
    diameter_mm: float | None = Field(
        default=None, gt=0, le=2000, description="the diameter, above 0 to 2000 mm"
    )
    speed_rpm: float | None = Field(
        default=None, gt=0, le=1e5, description="the speed at full throttle, above 0 to 100000 rpm"
    )
    speed_rpm_std: _Std = 0.0
    voltage_v: float | None = Field(
        default=None, ge=0.1, le=1000, description="at the controller, at full throttle, in V"
    )
    voltage_v_std: _Std = 0.0
    drive_efficiency: _Share | None = Field(
        default=None, description="shaft over electrical power at full throttle, 0.01 to 1"
    )
    drive_efficiency_std: _Std = 0.0
    cruise_drive_efficiency: _Share | None = Field(
        default=None, description="shaft over electrical power in cruise, 0 to 1"
    )
    cruise_drive_efficiency_std: _Std = 0.0
    curve: list[_Row] | None = Field(
        default=None,
        min_length=2,
        max_length=200,
        description="rows of [J, CT, CP], J rising, CP above 0",
    )
    ct: float | None = Field(default=None, gt=0, le=1, description="CT at rest, above 0 to 1")
    ct_percent_std: _PercentStd = 0.0
    cp: float | None = Field(default=None, gt=0, le=1, description="CP at rest, above 0 to 1")
    cp_percent_std: _PercentStd = 0.0
    zero_thrust_j: float | None = Field(
        default=None, gt=0, le=5, description="the J at which thrust vanishes, above 0 to 5"
    )
    zero_thrust_j_std: _Std = 0.0
    cruise_efficiency: _Share | None = Field(
        default=None, description="the propeller's own efficiency in cruise, 0 to 1"
    )
    cruise_efficiency_std: _Std = 0.0
    hub_height_mm: float | None = Field(
        default=None, gt=0, le=5000, description="the hub over the ground where tips come lowest"
    )
    hub_height_mm_std: _Std = 0.0
    max_rpm: float | None = Field(
        default=None, gt=0, le=1e6, description="the highest speed that its maker allows, in rpm"
    )
    files: list[_Name] = Field(
        default_factory=list, max_length=20, description="files of the stand, beside this file"
    )
    bench: _Name | None = Field(default=None, description="the bench file of the stand")

    @property
    def diameter_m(self) -> float:
        """Of the disc. [m]"""
        return (self.diameter_mm or (self.diameter_in or 0.0) * INCH_MM) / 1000


class PackTable(Table):
    """``[[pack]]``."""

    name: _Name = Field(description="a name of its own")
    mass_kg: _Kg = Field(description="its mass with lead and strap, 0.001 to 500 kg")
    mass_kg_std: _Std = 0.0
    usable_wh: float = Field(
        ge=0.01, le=1e5, description="what a discharge gave down to where the team lands, in Wh"
    )
    usable_wh_std: _Std = 0.0
    nominal_wh: float | None = Field(
        default=None, gt=0, le=1e5, description="the energy on its label, in Wh"
    )
    full_v: float | None = Field(
        default=None, gt=0, le=1000, description="its voltage when full, in V"
    )
    most_current_a: float | None = Field(
        default=None, gt=0, le=5000, description="the lasting current of its maker, in A"
    )


class _MissionModel(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    title: Text = ""
    objective: Literal["energy", "roll", "current"] = Field(
        default="energy", description="what the best has least of: energy, roll or current"
    )
    task: TaskTable = Field(description="the table [task]")
    air: AirTable = Field(description="the table [air]")
    aerodynamics: AerodynamicsTable = AerodynamicsTable()
    limits: LimitsTable = LimitsTable()
    propeller: list[PropellerTable] = Field(default_factory=list, max_length=MOST)
    pack: list[PackTable] = Field(default_factory=list, max_length=MOST)


@dataclass(frozen=True, slots=True)
class MissionFile:
    """A mission file that was read; its tables are as written.

    Attributes
    ----------
    path : Path
        Where it is; files that it names lie beside it.
    sha256 : str
        Hash of its bytes.
    """

    path: Path
    sha256: str
    id: str
    title: str
    objective: Literal["energy", "roll", "current"]
    task: TaskTable
    air: AirTable
    aerodynamics: AerodynamicsTable
    limits: LimitsTable
    propellers: tuple[PropellerTable, ...]
    packs: tuple[PackTable, ...]


def read_mission_file(path: Path) -> MissionFile:
    """Read a mission file.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.
    """
    table, sha256 = read_toml(path, KIND)
    made = checked(_MissionModel, table, str(path))
    if not made.propeller and not made.pack:
        raise TeamFileError(
            "names neither a propeller nor a pack",
            where=str(path),
            fix="Add a [[propeller]] or a [[pack]] for each that could fly.",
        )
    _check_task(made, path)
    _check_names([p.name for p in made.propeller], "propeller", path)
    _check_names([p.name for p in made.pack], "pack", path)
    for number, propeller in enumerate(made.propeller, 1):
        _check_propeller(propeller, f"{path}: [[propeller]] number {number}")
    return MissionFile(
        path,
        sha256,
        made.id,
        made.title,
        made.objective,
        made.task,
        made.air,
        made.aerodynamics,
        made.limits,
        tuple(made.propeller),
        tuple(made.pack),
    )


def _check_task(made: _MissionModel, path: Path) -> None:
    task, air, aero = made.task, made.air, made.aerodynamics
    if (task.laps is None) != (task.lap_length_m is None):
        _fault(path, "[task]", "laps and lap_length_m go together", "Give both, or distance_km.")
    if task.laps is not None and task.distance_km is not None:
        _fault(path, "[task]", "has both laps and distance_km", "Give one of them.")
    if (air.density_kg_m3 is None) == (air.pressure_hpa is None):
        _fault(
            path,
            "[air]",
            "needs one of density_kg_m3 and pressure_hpa",
            "Give the density, or pressure and temperature at the strip.",
        )
    if air.pressure_hpa is not None and air.temperature_c is None:
        _fault(path, "[air] temperature_c", "is missing", "Add it: density needs it.")
    if aero.lift_over_drag is not None and aero.cd0 is not None:
        _fault(path, "[aerodynamics]", "has lift_over_drag and cd0", "Give one of them.")
    if (aero.cd0 is None) != (aero.induced is None):
        _fault(path, "[aerodynamics]", "cd0 and induced go together", "Give both, or none.")
    if made.pack and task.empty_mass_kg is None:
        _fault(
            path, "[task] empty_mass_kg", "is missing", "Add it: what is left for pack and payload."
        )
    if task.empty_mass_kg is not None and task.empty_mass_kg >= task.mass_kg:
        _fault(
            path,
            "[task] empty_mass_kg",
            f"is {task.empty_mass_kg:g} kg, not below the {task.mass_kg:g} kg at take-off",
            "Check both.",
        )


def _check_names(names: list[str], what: str, path: Path) -> None:
    for number, name in enumerate(names, 1):
        if name in names[: number - 1]:
            _fault(
                path, f"[[{what}]] number {number} name", f"{name!r} is there already", "Rename it."
            )


def _check_propeller(p: PropellerTable, where: str) -> None:
    def fault(key: str, found: str, fix: str) -> None:
        raise TeamFileError(found, where=f"{where} {key}".strip(), fix=fix)

    if (p.diameter_in is None) == (p.diameter_mm is None):
        fault("", "needs one of diameter_in and diameter_mm", "Give one of them.")
    if p.curve is not None:
        rows = p.curve
        if any(b[0] <= a[0] for a, b in pairwise(rows)) or rows[0][0] < 0:
            fault("curve", "J does not rise from 0 or above", "Put its rows in order.")
        if any(row[2] <= 0 for row in rows):
            fault("curve", "has a CP of 0 or below", "Leave such rows out.")
        if p.zero_thrust_j is not None or p.ct is not None or p.cp is not None:
            fault("curve", "stands beside ct, cp or zero_thrust_j", "Give one or the other.")
    elif p.zero_thrust_j is None:
        fault(
            "curve",
            "is missing, and so is zero_thrust_j: how thrust falls with airspeed is not known",
            "Add a curve, or the J at which thrust vanishes.",
        )
    if p.bench is not None and not p.files:
        fault("bench", "is named, but no files of the stand", "Add files, or leave bench out.")
    if p.files:
        return
    if p.speed_rpm is None:
        fault("speed_rpm", "is missing", "Add it, or the files of the stand.")
    if p.curve is None and (p.ct is None or p.cp is None):
        fault("ct", "and cp are needed", "Add both, or the files of the stand.")


def _fault(path: Path, place: str, found: str, fix: str) -> None:
    raise TeamFileError(found, where=f"{path}: {place}", fix=fix)
