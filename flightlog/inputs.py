"""What the team gives beside a log: site, aircraft, mass, wind.

Files are TOML with ``schema = "flightlog.<kind>/1"``; unknown keys are refused with the near
miss. Everything here is declared, not measured: figures taken from it say so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


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
    """

    heading_deg: float
    start_deg: tuple[float, float] | None = None
    slope: float = 0.0
    surface: str = ""


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
    """Thrust ``static_n - b V - c V²`` at standard sea-level density, V airspeed [m/s]."""

    static_n: float
    b: float
    c: float


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
    outputs : mapping of int to str
        Output channel -> name ("motor", "elevator", ...).
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
    outputs: Mapping[int, str] = field(default_factory=dict)
    thrust: Thrust | None = None
    polar: DragPolar | None = None
    limits: Mapping[str, Mapping[str, object]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class GivenWind:
    """Wind as the team measured it: speed [m/s] and where from [deg true], with 1 sigma."""

    speed_m_s: float
    from_deg: float
    speed_std_m_s: float = 1.0
    from_std_deg: float = 20.0


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
    entered : mapping
        Numbers that only people know and that the score formula asks for.
    """

    site: Site | None = None
    aircraft: Aircraft | None = None
    mass: Mass | None = None
    wind: GivenWind | None = None
    screen_height_m: float | None = None
    payload_units: int | None = None
    entered: Mapping[str, float] = field(default_factory=dict)
