"""What a site file and an aircraft file may hold, and the way to the dataclasses."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field, Strict

from flightlog.errors import TeamFileError
from flightlog.inputs import (
    Aircraft,
    DragPolar,
    GivenGate,
    Life,
    Runway,
    Site,
    Thrust,
    WeatherLimits,
)
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.hangar import (
    MOST_TASKS,
    BalanceTable,
    Count,
    Hours,
    LifeTable,
    StationTable,
    TaskTable,
    WeatherTable,
    balance_of,
    stations_of,
    tasks_of,
)
from flightlog.team_files.limits import LimitBody, figure_bound
from flightlog.team_files.reading import read_toml
from flightlog.team_files.wear_tables import (
    POINTS,
    BaselineTable,
    GearTable,
    LinkTable,
    MotorTable,
    Points,
    StructureTable,
    TailTable,
    baseline_of,
    gear_of,
    link_of,
    linkage_of,
)

HIGHEST_CHANNEL = 64

_Latitude = Annotated[float, Field(ge=-90, le=90)]
_Longitude = Annotated[float, Field(ge=-180, le=180)]
_Position = Annotated[tuple[_Latitude, _Longitude], Strict(False)]
_POSITION = "[latitude, longitude] in degrees, north and east positive, -90 to 90 and -180 to 180"


class _Runway(Table):
    heading_deg: float = Field(
        description="the direction of take-off in degrees clockwise from true north, 0 to 360",
        ge=0,
        le=360,
    )
    start_deg: _Position | None = Field(default=None, description=_POSITION)
    slope: float = Field(
        default=0.0, ge=-0.3, le=0.3, description="rise over run, positive uphill, -0.3 to 0.3"
    )
    surface: Text = Field(default="", description="a few words")
    length_m: float | None = Field(
        default=None,
        gt=0,
        le=5000,
        description="from the start line to where it ends for an aircraft that has to stop, in "
        "metres, up to 5000",
    )


class _Gate(Table):
    left_deg: _Position = Field(description=_POSITION)
    right_deg: _Position = Field(description=_POSITION)


class _Pilot(Table):
    position_deg: _Position = Field(description=_POSITION)


class _Screen(Table):
    height_m: float = Field(
        description="the wheel height in metres at which take-off ends", gt=0, le=100
    )


class SiteFile(Table):
    """A site file."""

    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    elevation_m: float | None = Field(
        default=None,
        ge=-500,
        le=9000,
        description="height above mean sea level in metres, -500 to 9000",
    )
    runway: _Runway | None = None
    gate: _Gate | None = None
    pilot: _Pilot | None = None
    screen: _Screen | None = None


class _Mass(Table):
    empty_kg: float | None = Field(
        default=None, gt=0, le=100, description="the mass in kg without payload, with battery"
    )
    reference_kg: float | None = Field(
        default=None, gt=0, le=100, description="the mass in kg that the reference take-off is for"
    )
    payload_unit_kg: float | None = Field(
        default=None, gt=0, le=100, description="the mass in kg of one payload unit"
    )


class _Wing(Table):
    area_m2: float | None = Field(default=None, gt=0, le=50, description="the wing area in m²")
    stall_speed_m_s: float | None = Field(
        default=None,
        gt=0,
        le=60,
        description="the stall speed in m/s at reference mass in sea-level air, up to 60",
    )


_Arm = Annotated[float, Field(ge=-5, le=5)]
_Lever = Annotated[tuple[_Arm, _Arm, _Arm], Strict(False)]
_LEVER = (
    "[forward, right, down]: metres from the middle of the main wheels' axle to the GPS aerial, "
    "-5 to 5"
)


class _Battery(Table):
    cells: int | None = Field(
        default=None, ge=1, le=28, description="the number of cells in series, 1 to 28"
    )
    nominal_wh: float | None = Field(
        default=None, gt=0, le=5000, description="the energy in Wh printed on the battery"
    )
    resistance_ohm: float | None = Field(
        default=None,
        gt=0,
        le=2,
        description="the resistance in ohm of the whole battery at its own connector, up to 2",
    )


class _Thrust(Table):
    static_n: float = Field(description="the thrust in N at standstill", gt=0, le=5000)
    b: float = Field(description="the loss in N per m/s of airspeed")
    c: float = Field(description="the loss in N per (m/s)² of airspeed")
    measured: bool = Field(default=False, description="true where a thrust stand measured it")


class _Polar(Table):
    cd0: float = Field(description="the drag coefficient without lift, 0 to 1", gt=0, le=1)
    k: float = Field(description="the drag due to lift, cd = cd0 + k cl², 0 to 2", ge=0, le=2)
    cl_ground: float = Field(
        description="the lift coefficient in the ground roll, -2 to 4", ge=-2, le=4
    )
    cd_ground: float = Field(
        description="the drag coefficient in the ground roll, 0 to 2", gt=0, le=2
    )
    rolling_friction: float = Field(description="friction over wheel load, 0 to 1", ge=0, lt=1)


def _one_way(sense: int) -> int:
    if sense == 0:
        raise ValueError("neither way")
    return sense


# A literal would take 1.0 and true as well, which are equal to 1.
_Sense = Annotated[int, Field(ge=-1, le=1), AfterValidator(_one_way)]


class _Output(Table):
    name: Annotated[str, Field(min_length=1, max_length=40)] = Field(
        description='what the output drives, such as "motor"'
    )
    sense: _Sense | None = Field(
        default=None,
        description="1 where a longer pulse moves the trailing edge down (of a rudder: to the "
        "left), -1 where it moves it the other way",
    )
    deflection: Points | None = Field(default=None, description=POINTS)


class AircraftFile(Table):
    """An aircraft file."""

    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    serial: Text = ""
    autopilot_id: Text = ""
    mass: _Mass = _Mass()
    wing: _Wing = _Wing()
    lever_m: _Lever | None = Field(None, description=_LEVER)
    battery: _Battery = _Battery()
    thrust: _Thrust | None = None
    polar: _Polar | None = None
    outputs: dict[str, _Output] = Field(default_factory=dict)
    limits: dict[str, dict[str, Any]] = Field(default_factory=dict)
    configuration: Text = ""
    since: date | None = None
    hours_before: Hours = 0.0
    landings_before: Count = 0
    balance: BalanceTable | None = None
    stations: dict[str, StationTable] = Field(default_factory=dict)
    weather: WeatherTable | None = None
    life: LifeTable = LifeTable()
    task: list[TaskTable] = Field(default_factory=list, max_length=MOST_TASKS)
    tail: TailTable | None = None
    gear: GearTable | None = None
    imu_lever_m: _Lever | None = Field(
        None,
        description="[forward, right, down]: metres from the middle of the main wheels' axle to "
        "the inertial sensor, -5 to 5",
    )
    link: LinkTable | None = None
    motor: MotorTable = MotorTable()
    structure: StructureTable = StructureTable()
    baseline: dict[str, BaselineTable] = Field(default_factory=dict)


def read_site(path: Path) -> Site:
    """See `flightlog.inputs.load_site`."""
    table, sha256 = read_toml(path, "site")
    file = checked(SiteFile, table, str(path))
    _refuse_placeholders(file, path)
    runway, gate = file.runway, file.gate
    return Site(
        id=file.id,
        sha256=sha256,
        runway=Runway(**runway.model_dump()) if runway else None,
        gate=GivenGate(gate.left_deg, gate.right_deg) if gate else None,
        pilot_deg=file.pilot.position_deg if file.pilot else None,
        elevation_m=file.elevation_m,
        screen_height_m=file.screen.height_m if file.screen else None,
    )


def _refuse_placeholders(file: SiteFile, path: Path) -> None:
    positions = {
        "[runway] start_deg": file.runway and file.runway.start_deg,
        "[gate] left_deg": file.gate and file.gate.left_deg,
        "[gate] right_deg": file.gate and file.gate.right_deg,
        "[pilot] position_deg": file.pilot and file.pilot.position_deg,
    }
    for key, position in positions.items():
        if position == (0.0, 0.0):
            raise TeamFileError(
                "is [0.0, 0.0], which stands for a position that is not known",
                where=f"{path}: {key}",
                fix="Put the position in, or leave the key out.",
            )
    if file.gate and file.gate.left_deg == file.gate.right_deg:
        raise TeamFileError(
            "has both ends in one place",
            where=f"{path}: [gate]",
            fix="Give the two ends of the line.",
        )


def read_aircraft(path: Path) -> Aircraft:
    """See `flightlog.inputs.load_aircraft`."""
    table, sha256 = read_toml(path, "aircraft")
    file = checked(AircraftFile, table, str(path))
    mass, thrust, polar = file.mass, file.thrust, file.polar
    if mass.empty_kg and mass.reference_kg and mass.reference_kg < mass.empty_kg:
        raise TeamFileError(
            f"is {mass.reference_kg:g}, below empty_kg, which is {mass.empty_kg:g}",
            where=f"{path}: [mass] reference_kg",
            fix="Check both.",
        )
    check_limits(file.limits, str(path))
    return Aircraft(
        id=file.id,
        sha256=sha256,
        serial=file.serial,
        autopilot_id=file.autopilot_id,
        empty_kg=mass.empty_kg,
        reference_kg=mass.reference_kg,
        payload_unit_kg=mass.payload_unit_kg,
        wing_area_m2=file.wing.area_m2,
        stall_speed_m_s=file.wing.stall_speed_m_s,
        lever_m=file.lever_m,
        cells=file.battery.cells,
        battery_nominal_wh=file.battery.nominal_wh,
        battery_resistance_ohm=file.battery.resistance_ohm,
        outputs=_outputs(file, path),
        senses=_senses(file, path),
        linkages=_linkages(file, path),
        thrust=Thrust(**thrust.model_dump()) if thrust else None,
        polar=DragPolar(**polar.model_dump()) if polar else None,
        limits=file.limits,
        configuration=file.configuration,
        balance=balance_of(file.balance, str(path)),
        stations=stations_of(file.stations, str(path)),
        tasks=tasks_of(file.task, str(path)),
        weather=WeatherLimits(**file.weather.model_dump()) if file.weather else None,
        since=file.since,
        hours_before=file.hours_before,
        landings_before=file.landings_before,
        life=Life(**file.life.model_dump()),
        tail_dihedral_deg=file.tail.dihedral_deg if file.tail else None,
        gear=gear_of(file.gear),
        imu_lever_m=file.imu_lever_m,
        link=link_of(file.link),
        blades=file.motor.blades,
        pole_pairs=file.motor.pole_pairs,
        structure_hz=tuple(file.structure.frequencies_hz),
        baseline=baseline_of(file.baseline, str(path)),
    )


def _linkages(file: AircraftFile, path: Path) -> dict[int, tuple[tuple[float, float], ...]]:
    return {
        int(number): linkage_of(output.deflection, f"{path}: [outputs.{number}] deflection")
        for number, output in file.outputs.items()
        if output.deflection is not None
    }


def _senses(file: AircraftFile, path: Path) -> dict[int, int]:
    """Senses as given, or as the measured points say."""
    senses = {}
    for number, output in file.outputs.items():
        sense = output.sense
        if output.deflection is not None:
            measured = 1 if output.deflection[-1][1] > output.deflection[0][1] else -1
            if sense not in (None, measured):
                raise TeamFileError(
                    f"is {sense:+d}, and its deflections say {measured:+d}",
                    where=f"{path}: [outputs.{number}] sense",
                    fix="Look which way the trailing edge goes, and correct the wrong one.",
                )
            sense = measured
        if sense is not None:
            senses[int(number)] = sense
    return senses


def check_limits(limits: Mapping[str, dict[str, Any]], path: str) -> None:
    """Check a file's ``[limits]``.

    Raises
    ------
    TeamFileError
        If a key, a figure, a unit or a bound is at fault.
    """
    for figure, body in limits.items():
        _check_limit(figure, body, path)


def _check_limit(figure: str, body: dict[str, Any], path: str) -> None:
    if body and all(isinstance(v, dict) for v in body.values()):
        # An id without quotes: TOML takes its full stop for a table within a table.
        inner = f"{figure}.{next(iter(body))}"
        raise TeamFileError(
            f"{inner} is a table within a table",
            where=f"{path}: [limits]",
            fix=f'Write the figure in quotes: "{inner}" = {{ ... }}.',
        )
    checked_limit(figure, body, path)


def checked_limit(figure: str, body: dict[str, Any], path: str) -> LimitBody:
    """Check one entry of an aircraft's ``[limits]``.

    Raises
    ------
    TeamFileError
        If a key, the figure, the unit or the bound is at fault.
    """
    within = f'[limits] "{figure}"'
    checked_body = checked(LimitBody, body, path, within)
    figure_bound(figure, checked_body, f"{path}: {within}")
    return checked_body


def _outputs(file: AircraftFile, path: Path) -> dict[int, str]:
    outputs: dict[int, str] = {}
    for key, output in file.outputs.items():
        # isdecimal alone would take digits of other scripts
        if not (key.isascii() and key.isdecimal() and 1 <= int(key[:9]) <= HIGHEST_CHANNEL):
            raise TeamFileError(
                f"{key!r} is not an output number",
                where=f"{path}: [outputs.{key}]",
                fix=f"Number the outputs as the autopilot does, 1 to {HIGHEST_CHANNEL}.",
            )
        if int(key) in outputs:
            raise TeamFileError(
                f"output {int(key)} is there twice",
                where=f"{path}: [outputs.{key}]",
                fix="Delete one of them.",
            )
        outputs[int(key)] = output.name
    return outputs
