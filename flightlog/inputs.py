"""What the team gives beside a log: site, aircraft, mass, wind.

Files are TOML with ``schema = "flightlog.<kind>/1"``; unknown keys are refused with the near
miss. Everything here is declared, not measured: figures taken from it say so. `load_site` and
`load_aircraft` list every key of their files.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from flightlog.constants import COULOMB_PER_AH, ZERO_CELSIUS_K
from flightlog.errors import UsageError


@dataclass(frozen=True, slots=True)
class Runway:
    """The runway as the site file gives it.

    Attributes
    ----------
    start_deg : tuple of float or None
        Latitude, longitude of the middle of the start line. [deg]
    heading_deg : float
        Direction of take-off, clockwise from true north. [deg]
    slope : float
        Rise over run, positive uphill in the take-off direction. [-]
    surface : str
        In words.
    length_m : float or None
        From the start line to where it ends for an aircraft that has to stop. [m]
    """

    heading_deg: float
    start_deg: tuple[float, float] | None = None
    slope: float = 0.0
    surface: str = ""
    length_m: float | None = None


@dataclass(frozen=True, slots=True)
class GivenGate:
    """Lap gate: crossed with ``left_deg`` on the left hand. Latitude, longitude [deg]."""

    left_deg: tuple[float, float]
    right_deg: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Site:
    """A flying site."""

    id: str
    sha256: str
    runway: Runway | None = None
    gate: GivenGate | None = None
    pilot_deg: tuple[float, float] | None = None
    elevation_m: float | None = None
    screen_height_m: float | None = None


@dataclass(frozen=True, slots=True)
class DragPolar:
    """Drag coefficient ``cd0 + k cl²`` [-], and what the ground roll needs."""

    cd0: float
    k: float
    cl_ground: float
    cd_ground: float
    rolling_friction: float


@dataclass(frozen=True, slots=True)
class Thrust:
    """Thrust ``static_n - b V - c V²`` at standard sea-level density, V airspeed [m/s].

    ``measured`` says that it comes from a thrust stand, and is not an estimate.
    """

    static_n: float
    b: float
    c: float
    measured: bool = False


@dataclass(frozen=True, slots=True)
class Balance:
    """Where the centre of gravity is measured, and where it may lie.

    Attributes
    ----------
    datum : str
        In words; arms count from there, aft positive.
    mac_m, lemac_m : float
        Length of the mean aerodynamic chord, and arm of its leading edge. [m]
    mac_std_m, lemac_std_m : float
        Their standard uncertainties. [m]
    envelope : tuple of (mass [kg], balance [% of the chord])
        Corners of the polygon, in order around it.
    """

    datum: str
    mac_m: float
    lemac_m: float
    envelope: tuple[tuple[float, float], ...]
    mac_std_m: float = 0.0
    lemac_std_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Station:
    """A place in the aircraft where something can be loaded.

    Attributes
    ----------
    arm_m, arm_std_m : float
        Aft of the datum, and its standard uncertainty. [m]
    slip_m : float
        How far the load can slip either way within its restraint. [m]
    forward_m, aft_m : float or None
        How far the fastening can be shifted, as arms; None where it can't. [m]
    """

    arm_m: float
    arm_std_m: float = 0.002
    slip_m: float = 0.0
    forward_m: float | None = None
    aft_m: float | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """An inspection that comes back: after so many hours, landings, cycles or days.

    Whichever is first. ``list`` and ``item`` name the check that does it, where there is one;
    ``events`` are those after which it is due at once.
    """

    id: str
    title: str
    every_hours: float | None = None
    every_landings: int | None = None
    every_cycles: int | None = None
    every_days: float | None = None
    independent: bool = False
    list: str = ""
    item: str = ""
    events: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Life:
    """How long a component may be used: hours [h], landings, cycles, days; None without end."""

    hours: float | None = None
    landings: int | None = None
    cycles: int | None = None
    days: float | None = None


@dataclass(frozen=True, slots=True)
class WeatherLimits:
    """In what weather the aircraft is flown; None where nothing is said.

    Attributes
    ----------
    wind_mean_m_s, wind_gust_m_s, crosswind_m_s : float or None
        At most. [m/s]
    temperature_min_c, temperature_max_c : float or None
        [°C]
    valid_min : float
        How long a measurement holds. [min]
    """

    wind_mean_m_s: float | None = None
    wind_gust_m_s: float | None = None
    crosswind_m_s: float | None = None
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    valid_min: float = 60.0


@dataclass(frozen=True, slots=True)
class Pack:
    """A battery pack's own file.

    Attributes
    ----------
    mass_kg : float or None
        [kg]
    reference_current_a : float or None
        At which its sag is stated. [A]
    capacity_ah, nominal_wh : float or None
        As printed on it. [Ah], [Wh]
    reserve_share : float or None
        Of its energy, that stays in it at landing. [-]
    cells, parallel : int or None
        Cells in series, and strings of them in parallel.
    resistance_ohm : float or None
        Of the whole pack when new, over steps of about a second. [ohm]
    since : date or None
        When it was first used.
    hours_before, landings_before, cycles_before
        What it had before this record began.
    """

    id: str
    sha256: str
    serial: str = ""
    chemistry: str = ""
    cells: int | None = None
    parallel: int = 1
    capacity_ah: float | None = None
    nominal_wh: float | None = None
    mass_kg: float | None = None
    resistance_ohm: float | None = None
    reference_current_a: float | None = None
    since: date | None = None
    hours_before: float = 0.0
    landings_before: int = 0
    cycles_before: int = 0
    life: Life = Life()
    tasks: tuple[Task, ...] = ()
    limits: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    reserve_share: float | None = None


@dataclass(frozen=True, slots=True)
class Component:
    """A component's own file: a propeller, a servo, a wheel, whatever has a life of its own.

    ``group`` is one of `flightlog.logbook.flying_kinds.GROUPS`; a defect of it is judged by that.
    ``hours_before`` and the like are what it had before this record began.
    """

    id: str
    sha256: str
    title: str
    group: str
    serial: str = ""
    since: date | None = None
    hours_before: float = 0.0
    landings_before: int = 0
    cycles_before: int = 0
    life: Life = Life()
    tasks: tuple[Task, ...] = ()


@dataclass(frozen=True, slots=True)
class Gear:
    """Landing gear.

    Attributes
    ----------
    stroke_m : float
        How far it yields. [m]
    efficiency : float
        Energy that it takes over stroke times greatest force: 0.5 of a plain spring. [-]
    """

    stroke_m: float
    efficiency: float


@dataclass(frozen=True, slots=True)
class LinkSetting:
    """Radio link; None where nothing is said.

    Attributes
    ----------
    planned_distance_m : float or None
        Greatest distance that is planned. [m]
    sensitivity_dbm : float or None
        Weakest usable power. [dBm]
    raw_scale, raw_offset_dbm : float or None
        Power = scale times the count of the signal strength + offset. [dB], [dBm]
    frequency_hz : float or None
        [Hz]
    """

    planned_distance_m: float | None = None
    sensitivity_dbm: float | None = None
    raw_scale: float | None = None
    raw_offset_dbm: float | None = None
    frequency_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Baseline:
    """What a figure was on sound flights, and how much one flight strays from it (1 sigma)."""

    value: float
    spread: float


@dataclass(frozen=True, slots=True)
class Aircraft:
    """An aircraft's own file. Limits are kept as read; `rules` turns them into limits.

    Attributes
    ----------
    lever_m : tuple of float
        Position of the GPS aerial from the main wheels' axle in body axes, forward, right,
        down. [m]
    cells : int or None
        Battery cells in series.
    battery_resistance_ohm : float or None
        Of the whole battery at its own connector, over steps of about a second. [ohm]
    outputs : mapping of int to str
        Output channel -> name ("motor", "elevator", ...).
    senses : mapping of int to int
        Output channel -> 1 where a longer pulse moves the surface the positive way: trailing
        edge down, of a rudder to the left; -1 where it moves it the other way.
    linkages : mapping of int to tuple of (pulse [us], deflection [deg])
        Output channel -> measured points, pulses rising, deflections rising or falling;
        signs as of ``senses``.
    tail_dihedral_deg : float or None
        Of a tail of two panels that do the work of elevator and rudder; tips up positive. [deg]
    gear : Gear or None
    imu_lever_m : tuple of float or None
        Position of the inertial sensor from the main wheels' axle, forward, right, down. [m]
    link : LinkSetting or None
    blades, pole_pairs : int or None
        Of propeller and motor.
    structure_hz : tuple of float
        Natural frequencies by the ground test. [Hz]
    baseline : mapping of str to Baseline
        Figure id -> what it was on sound flights in this configuration, in the figure's unit.
    """

    id: str
    sha256: str
    serial: str = ""
    autopilot_id: str = ""
    empty_kg: float | None = None
    reference_kg: float | None = None
    payload_unit_kg: float | None = None
    wing_area_m2: float | None = None
    stall_speed_m_s: float | None = None
    lever_m: tuple[float, float, float] | None = None
    cells: int | None = None
    battery_nominal_wh: float | None = None
    battery_resistance_ohm: float | None = None
    outputs: Mapping[int, str] = field(default_factory=dict)
    senses: Mapping[int, int] = field(default_factory=dict)
    thrust: Thrust | None = None
    polar: DragPolar | None = None
    limits: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    configuration: str = ""
    balance: Balance | None = None
    stations: Mapping[str, Station] = field(default_factory=dict)
    tasks: tuple[Task, ...] = ()
    weather: WeatherLimits | None = None
    since: date | None = None
    hours_before: float = 0.0
    landings_before: int = 0
    life: Life = Life()
    linkages: Mapping[int, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    tail_dihedral_deg: float | None = None
    gear: Gear | None = None
    imu_lever_m: tuple[float, float, float] | None = None
    link: LinkSetting | None = None
    blades: int | None = None
    pole_pairs: int | None = None
    structure_hz: tuple[float, ...] = ()
    baseline: Mapping[str, Baseline] = field(default_factory=dict)


WIND_STD_M_S = 1.0
WIND_FROM_STD_DEG = 20.0
"""Standard uncertainty of a wind given without one: a look at a wind sock. [m/s, deg]"""


@dataclass(frozen=True, slots=True)
class GivenWind:
    """Wind as the team measured it: speed [m/s] and where from [deg true], with 1 sigma."""

    speed_m_s: float
    from_deg: float
    speed_std_m_s: float = WIND_STD_M_S
    from_std_deg: float = WIND_FROM_STD_DEG


AIR_TEMPERATURE_STD_K = 2.0
"""Standard uncertainty of an air temperature given without one: a pocket thermometer. [K]"""


@dataclass(frozen=True, slots=True)
class GivenAir:
    """Air temperature as the team measured it in the shade, with 1 sigma. [K]."""

    temperature_k: float
    temperature_std_k: float = AIR_TEMPERATURE_STD_K


@dataclass(frozen=True, slots=True)
class Mass:
    """Take-off mass as declared. [kg]"""

    kg: float
    std_kg: float
    source: str


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything given for one debrief; None where the team gave nothing.

    Attributes
    ----------
    screen_height_m : float or None
        Wheel height at which the take-off distance ends, from rule book or site. [m]
    payload_units : int or None
        Declared number of payload units on board.
    charged_coulomb : float or None
        What the charger put back after this log, from empty to as full as before. [C]
    entered : mapping
        Numbers that only people know and that the score formula asks for.
    pack : Pack or None
        The pack that was flown.
    """

    site: Site | None = None
    aircraft: Aircraft | None = None
    mass: Mass | None = None
    wind: GivenWind | None = None
    air: GivenAir | None = None
    screen_height_m: float | None = None
    payload_units: int | None = None
    charged_coulomb: float | None = None
    entered: Mapping[str, float] = field(default_factory=dict)
    pack: Pack | None = None


MASS_OPTION_STD_KG = 0.02
"""Standard uncertainty of a mass typed as an option: the reading of a field scale. [kg]"""

STRONGEST_WIND_M_S = 40.0
"""A larger number is not the wind of a flying day, but one in other units. [m/s]"""

AIR_TEMPERATURE_RANGE_DEG_C = (-40.0, 60.0)
"""A number outside is not the air of a flying day, but in kelvin or Fahrenheit. [°C]"""

LARGEST_CHARGE_AH = 100.0
"""A larger number is not a charge in ampere-hours, but one in milliampere-hours. [Ah]"""

_WIND = re.compile(r"(?P<speed>[^@]*)@(?P<from>[^@]*)")


def load_site(path: Path) -> Site:
    """Read a site file.

    Parameters
    ----------
    path : Path
        TOML in UTF-8.

    Returns
    -------
    Site
        What the file says; None for what it leaves out.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.

    Notes
    -----
    ``schema = "flightlog.site/1"`` and ``id`` are needed, everything else may be left out::

        elevation_m             height above mean sea level [m]
        [runway]
        heading_deg             direction of take-off, from true north [deg], 0 to 360; needed
        start_deg               latitude, longitude of the middle of the start line [deg]
        slope                   rise over run, positive uphill [-], -0.3 to 0.3
        surface                 a few words
        length_m                from the start line to where it ends for an aircraft that has to
                                stop [m]
        [gate]
        left_deg, right_deg     latitude, longitude of its ends [deg]; needed
        [pilot]
        position_deg            latitude, longitude where the pilot stands [deg]; needed
        [screen]
        height_m                wheel height at which the take-off distance ends [m]; needed

    A position of exactly 0, 0 is refused: it stands for one that is not known.
    """
    from flightlog.team_files.models import read_site

    return read_site(path)


def load_aircraft(path: Path) -> Aircraft:
    """Read an aircraft file.

    Parameters
    ----------
    path : Path
        TOML in UTF-8.

    Returns
    -------
    Aircraft
        What the file says; None for what it leaves out.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.

    Notes
    -----
    ``schema = "flightlog.aircraft/1"`` and ``id`` are needed, everything else may be left out::

        serial                  the team's own number
        autopilot_id            what the log says of itself
        lever_m                 GPS aerial from the middle of the main wheels' axle: forward,
                                right, down [m]
        [mass]
        empty_kg                without payload, with battery [kg]
        reference_kg            the mass that the reference take-off is for [kg]
        payload_unit_kg         one payload unit [kg]
        [wing]
        area_m2                 wing area [m²]
        stall_speed_m_s         at reference mass in sea-level air [m/s]
        [battery]
        cells                   cells in series
        nominal_wh              energy printed on the battery [Wh]
        resistance_ohm          of the whole battery at its own connector, over steps of about
                                a second [ohm]
        [thrust]                at standard sea-level density, V the airspeed; numbers all needed
        static_n, b, c          thrust = static_n - b V - c V² [N], [N/(m/s)], [N/(m/s)²]
        measured                true where they come from a thrust stand; may be left out
        [polar]                 all five needed
        cd0, k                  drag coefficient cd0 + k cl² [-]
        cl_ground, cd_ground    lift and drag coefficient in the ground roll [-]
        rolling_friction        friction over wheel load [-]
        [outputs.N]             N is the number of the output
        name                    what it drives: "motor", "elevator", ...; needed
        sense                   1 where a longer pulse moves the surface the positive way:
                                trailing edge down (elevator, flap, aileron), trailing edge to
                                the left (rudder); -1 where it moves it the other way. One output
                                for both ailerons: the way of the right one
        deflection              measured points [pulse in us, deflection in deg], pulses rising;
                                signs as of sense, which it makes needless
        [tail]                  of two panels, outputs "left tail" and "right tail"
        dihedral_deg            tips up positive [deg]; needed
        [gear]                  both needed
        stroke_m                how far it yields [m]
        efficiency              energy taken over stroke times greatest force, 0.5 of a spring [-]
        imu_lever_m             inertial sensor from the main wheels' axle, as lever_m [m]
        [link]
        planned_distance_m      greatest planned distance [m]
        sensitivity_dbm         weakest usable power [dBm]
        raw_scale, raw_offset_dbm   power = scale times the logged count + offset [dB], [dBm]
        frequency_hz            [Hz]
        [motor]
        blades, pole_pairs      of propeller and motor
        [structure]
        frequencies_hz          natural frequencies by the ground test [Hz]
        [baseline]              one line for each figure, its id in quotes: what it was on sound
                                flights in this configuration
        "FIGURE" = { value = X, spread = S, unit = "U" }   spread: one flight about it, 1 sigma
        [limits]                one line for each figure, its id in quotes
        "FIGURE" = { at_most = X, unit = "U" }  or at_least; see `flightlog.rules.book`
        configuration           what it is called when it is rigged as this file says
        since                   date of its first flight
        hours_before            flown before this record began [h]
        landings_before
        [balance]
        datum                   in words; needed
        mac_m, lemac_m          mean aerodynamic chord and the arm of its leading edge [m]; needed
        mac_std_m, lemac_std_m  their standard uncertainties [m]
        envelope                corners [mass in kg, balance in % of the chord], three or more;
                                needed
        [stations.NAME]         a place for load: "battery" for the pack, "payload" for units
        arm_m                   aft of the datum [m]; needed
        arm_std_m               its standard uncertainty [m]
        slip_m                  how far a load can slip either way in its restraint [m]
        forward_m, aft_m        the ends of its fastening, as arms [m]
        [weather]               at most: wind_mean_m_s, wind_gust_m_s, crosswind_m_s,
                                temperature_max_c; at least: temperature_min_c; valid_min [min]
        [life]                  at most: hours, landings, cycles, days
        [[task]]                an inspection that comes back
        id, title               needed
        every_hours, every_landings, every_cycles, every_days
        events                  after which it is due at once
        independent             whether a second person looks
        list, item              the check that does it
    """
    from flightlog.team_files.models import read_aircraft

    return read_aircraft(path)


def load_pack(path: Path) -> Pack:
    """Read a pack file.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.

    Notes
    -----
    ``schema = "flightlog.pack/1"`` and ``id`` are needed; the other keys are the attributes of
    `Pack`, with ``[life]``, ``[[task]]`` and ``[limits]`` as in an aircraft file.
    """
    from flightlog.team_files.hangar import read_pack

    return read_pack(path)


def load_component(path: Path) -> Component:
    """Read a component file.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.

    Notes
    -----
    ``schema = "flightlog.component/1"``, ``id``, ``title`` and ``group`` are needed; the other
    keys are the attributes of `Component`, with ``[life]`` and ``[[task]]`` as in an aircraft file.
    """
    from flightlog.team_files.hangar import read_component

    return read_component(path)


def parse_wind(text: str) -> GivenWind:
    """Understand a wind as people type it: ``3.5@270`` is 3.5 m/s from the west.

    Parameters
    ----------
    text : str
        Speed [m/s], "@", direction that it comes from, from true north [deg]. Either may say
        its standard uncertainty: ``3.5+-0.5@270+-10``, or with the sign ±.

    Returns
    -------
    GivenWind
        Without a stated uncertainty, with that of a look at a wind sock.

    Raises
    ------
    UsageError
        If it can't be understood or is out of range.
    """
    parts = _WIND.fullmatch(text.strip())
    if parts is None:
        raise UsageError(
            f"{text!r} is not SPEED@FROM_DEG, as in 3.5@270 for 3.5 m/s from the west",
            where="wind",
        )
    speed, speed_std = _with_std(parts["speed"], WIND_STD_M_S)
    direction, direction_std = _with_std(parts["from"], WIND_FROM_STD_DEG)
    if not 0 <= speed <= STRONGEST_WIND_M_S:
        raise UsageError(
            f"the wind speed is {speed:g} m/s, outside 0 to {STRONGEST_WIND_M_S:g}", where="wind"
        )
    if not 0 <= direction <= 360:
        raise UsageError(f"the wind is from {direction:g} deg, outside 0 to 360", where="wind")
    return GivenWind(speed, direction, speed_std, direction_std)


def _with_std(text: str, unstated: float) -> tuple[float, float]:
    """Give the number, and the one behind "±" or "+-"."""
    number, sign, std = text.replace("+-", "±").partition("±")
    value = _number(number, "wind")
    if not sign:
        return value, unstated
    spread = _number(std, "wind")
    if spread < 0:
        raise UsageError(f"the uncertainty of the wind is {spread:g}, below 0", where="wind")
    return value, spread


def parse_mass(text: str) -> Mass:
    """Understand a take-off mass as people type it. [kg]

    Raises
    ------
    UsageError
        If it is not a number, or not above 0 and at most 100 kg.
    """
    kg = _number(text, "mass")
    if not 0 < kg <= 100:
        raise UsageError(
            f"the mass is {kg:g} kg, and must be above 0 and at most 100", where="mass"
        )
    return Mass(kg, MASS_OPTION_STD_KG, "option")


def parse_air_temperature(text: str) -> GivenAir:
    """Understand an air temperature as people type it, in °C: ``18.5``.

    Returns
    -------
    GivenAir
        In kelvin, with the uncertainty of a pocket thermometer.

    Raises
    ------
    UsageError
        If it is not a number, or outside `AIR_TEMPERATURE_RANGE_DEG_C`.
    """
    celsius = _number(text, "air temperature")
    low, high = AIR_TEMPERATURE_RANGE_DEG_C
    if not low <= celsius <= high:
        raise UsageError(
            f"the air temperature is {celsius:g} °C, outside {low:g} to {high:g}",
            where="air temperature",
        )
    return GivenAir(celsius + ZERO_CELSIUS_K)


def parse_charge(text: str) -> float:
    """Understand the charge that a charger shows, typed in Ah: ``3.12``. [C]

    Raises
    ------
    UsageError
        If it is not a number, or not above 0 and at most `LARGEST_CHARGE_AH`.
    """
    ampere_hours = _number(text, "charge")
    if not 0 < ampere_hours <= LARGEST_CHARGE_AH:
        raise UsageError(
            f"the charge is {ampere_hours:g} Ah, and must be above 0 and at most "
            f"{LARGEST_CHARGE_AH:g}; chargers often show mAh",
            where="charge",
        )
    return ampere_hours * COULOMB_PER_AH


def _number(text: str, where: str) -> float:
    try:
        # Python would read 1_0 as ten.
        value = float(text.replace("_", "?"))
    except ValueError:
        hint = "; write a full stop for the decimals" if "," in text else ""
        raise UsageError(f"{text.strip()!r} is not a number{hint}", where=where) from None
    if not math.isfinite(value):
        raise UsageError(f"{text.strip()!r} is not a finite number", where=where)
    return value
