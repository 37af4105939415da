"""What a propeller does on an aircraft: roll, energy per distance, current, speed, clearance.

Each candidate is a curve of coefficients with the full-throttle speed that the stand measured.
From them, and from aircraft and air:

* roll: m ∫ (V - w)/F dV from standing still to the lift-off airspeed, with the thrust of the
  curve at each airspeed (the force of `flightlog.estimation.ground_roll`, thrust not being a
  parabola);
* cruise: the advance ratio at which thrust is drag, CT/J² = D/(ρ V² d²), and the power there;
* current at rest and in the climb.

The speed at full throttle is taken to be the same in flight as at rest. It rises in flight, as the
air unloads the propeller, so that thrust in the roll is rather more, and current too.
What is not known exactly is drawn, with errors shared between candidates where they are one error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.estimation.ground_roll import REACH_MARGIN
from flightlog.groundtests.draws import DRAWS, NONE, ONE, FloatArray, Known, Sources, Spread
from flightlog.groundtests.propeller import PropellerCurve

LABELS: Mapping[str, tuple[str, str, int]] = {
    "roll_m": ("ground roll", "m", 1),
    "wh_per_km": ("energy in cruise", "Wh/km", 2),
    "static_thrust_n": ("thrust at rest", "N", 1),
    "current_a": ("current at full throttle", "A", 1),
    "static_current_a": ("current at rest", "A", 1),
    "climb_current_a": ("current in the climb", "A", 1),
    "power_w": ("electrical power at full throttle", "W", 0),
    "climb_m_s": ("climb at full throttle", "m/s", 2),
    "speed_rpm": ("speed at full throttle", "rpm", 0),
    "cruise_rpm": ("speed in cruise", "rpm", 0),
    "tip_mach": ("Mach number of the tips", "", 3),
    "clearance_mm": ("clearance to the ground", "mm", 0),
}
"""Figure -> label, unit, decimals."""
_NODES = 32
_HALVINGS = 50
_FEW_DRAWS = DRAWS // 40
"""As many lie outside of one end of a 95 % interval. [-]"""
_AT_REST = (
    *("static_thrust_n", "roll_m", "static_current_a", "climb_current_a", "current_a"),
    "power_w",
)


@dataclass(frozen=True, slots=True)
class Mission:
    """Aircraft, air and task. What is None is not known, and what needs it is withheld.

    Attributes
    ----------
    mass_kg : Known
        At take-off.
    density_kg_m3 : Known
        Of the air.
    sound_m_s : float or None
        Speed of sound.
    wing_area_m2, cl_ground, cd_ground, cl_liftoff, friction : Known or float or None
        As in `flightlog.estimation.ground_roll.RollModel`.
    cd0, induced : Known and float or None
        CD = cd0 + induced CL².
    lift_over_drag : Known or None
        In cruise, in place of the polar.
    cruise_m_s : Known or None
        Airspeed in cruise.
    climb_m_s : float or None
        Airspeed in the climb.
    headwind_m_s : Known
        In the roll; negative is a tailwind.
    slope : float
        Rise over run in the direction of take-off.
    avionics_w : float
        Drawn besides the drive.
    """

    mass_kg: Known
    density_kg_m3: Known
    sound_m_s: float | None = None
    wing_area_m2: float | None = None
    cl_ground: float | None = None
    cd_ground: Known | None = None
    cl_liftoff: Known | None = None
    friction: Known | None = None
    cd0: Known | None = None
    induced: float | None = None
    lift_over_drag: Known | None = None
    cruise_m_s: Known | None = None
    climb_m_s: float | None = None
    headwind_m_s: Known = NONE
    slope: float = 0.0
    avionics_w: float = 0.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """A propeller on its drive.

    Attributes
    ----------
    name : str
        Of it.
    diameter_m : float
        Of the disc.
    curve : PropellerCurve
        CT and CP against J, over `j_scale`.
    speed_rev_s : Known
        At full throttle, at rest. [1/s]
    ct_relative, cp_relative : float
        Relative standard uncertainty of either coefficient. [-]
    j_scale : Known
        By which the curve's J is multiplied; for a curve of one stated lapse, the J at which
        thrust vanishes.
    voltage_v : Known or None
        At the controller, at full throttle.
    drive_efficiency, cruise_drive_efficiency : Known or None
        Shaft over electrical power at full throttle, and in cruise.
    cruise_efficiency : Known or None
        Of the propeller in cruise, where the curve's CP is of rest only.
    power_known : bool
        Whether the curve's CP is measured in flow.
    hub_height_m : Known or None
        Of the hub over the ground, in the attitude in which the tips come lowest.
    max_rpm : float or None
        Of its maker.
    """

    name: str
    diameter_m: float
    curve: PropellerCurve
    speed_rev_s: Known
    ct_relative: float = 0.0
    cp_relative: float = 0.0
    j_scale: Known = ONE
    voltage_v: Known | None = None
    drive_efficiency: Known | None = None
    cruise_drive_efficiency: Known | None = None
    cruise_efficiency: Known | None = None
    power_known: bool = True
    hub_height_m: Known | None = None
    max_rpm: float | None = None


@dataclass(slots=True)
class _Drawn:
    """A candidate and the mission, as drawn."""

    mission: Mission
    candidate: Candidate
    sources: Sources
    figures: dict[str, Spread] = field(default_factory=dict)
    withheld: dict[str, str] = field(default_factory=dict)

    def own(self, known: Known, what: str) -> FloatArray:
        return self.sources.positive(known, f"{self.candidate.name}: {what}")

    def give(self, figure: str, draws: FloatArray) -> None:
        # What can't be done is infinite, and what can't be computed is no number at all.
        draws = np.where(np.isnan(draws), np.inf, draws)
        self.figures[figure] = Spread(draws, LABELS[figure][1], self.sources.shares(draws))

    def factor(self, relative: float, what: str) -> FloatArray:
        return self.own(Known(1.0, relative), what)

    @property
    def mass(self) -> FloatArray:
        return self.sources.positive(self.mission.mass_kg, "mass")

    @property
    def density(self) -> FloatArray:
        return self.sources.positive(self.mission.density_kg_m3, "air density")

    @property
    def speed(self) -> FloatArray:
        return self.own(self.candidate.speed_rev_s, "speed at full throttle")

    @property
    def j_scale(self) -> FloatArray:
        return self.own(self.candidate.j_scale, "lapse of thrust")

    def thrust(self, airspeed: FloatArray) -> FloatArray:
        """Thrust at full throttle; shape (`DRAWS`, k) of airspeeds. [N]"""
        j, size = self._at(airspeed), self.density * self.speed**2 * self.candidate.diameter_m**4
        size = size * self.factor(self.candidate.ct_relative, "thrust coefficient")
        return _ct(self.candidate.curve, j) * size[:, None]

    def shaft_power(self, airspeed: FloatArray) -> FloatArray:
        """Power of the shaft at full throttle, likewise. [W]"""
        j, size = self._at(airspeed), self.density * self.speed**3 * self.candidate.diameter_m**5
        size = size * self.factor(self.candidate.cp_relative, "power coefficient")
        return _cp(self.candidate.curve, j) * size[:, None]

    def _at(self, airspeed: FloatArray) -> FloatArray:
        per = self.speed * self.candidate.diameter_m * self.j_scale
        j: FloatArray = np.maximum(airspeed, 0.0) / per[:, None]
        return j


def _ct(curve: PropellerCurve, j: FloatArray) -> FloatArray:
    return np.interp(j, curve.j, curve.ct, left=np.nan, right=np.nan)


def _cp(curve: PropellerCurve, j: FloatArray) -> FloatArray:
    return np.interp(j, curve.j, curve.cp, left=np.nan, right=np.nan)


def performance(
    mission: Mission, candidate: Candidate, sources: Sources
) -> tuple[Mapping[str, Spread], Mapping[str, str]]:
    """Give what a candidate does: figures, and why others are withheld.

    Parameters
    ----------
    mission, candidate : Mission, Candidate
        What is asked of what.
    sources : Sources
        Shared between candidates, so that they can be compared.
    """
    d = _Drawn(mission, candidate, sources)
    # Draws may lie where nothing flies: what comes of them is infinite, and told as such.
    with np.errstate(all="ignore"):
        d.give("speed_rpm", 60 * d.speed)
        if candidate.hub_height_m is None:
            d.withheld["clearance_mm"] = "the height of the hub is not stated: add hub_height_mm"
        else:
            hub = sources.any(candidate.hub_height_m, "height of the hub")
            d.give("clearance_mm", 1000 * (hub - candidate.diameter_m / 2))
        _tips(d)
        if candidate.curve.j[0] > 0:
            first = f"{candidate.curve.j[0]:.3g}"
            why = f"the curve begins at J = {first}: add a row for J = 0 from a stand"
            d.withheld.update(dict.fromkeys(_AT_REST, why))
        else:
            d.give("static_thrust_n", d.thrust(np.zeros((DRAWS, 1)))[:, 0])
            _roll(d)
        _electric(d)
        _cruise(d)
        _climb(d)
    return d.figures, d.withheld


def _tips(d: _Drawn) -> None:
    if d.mission.sound_m_s is None:
        d.withheld["tip_mach"] = "the speed of sound is not known: add the air's temperature"
        return
    along = d.mission.climb_m_s or 0.0
    around = math.pi * d.candidate.diameter_m * d.speed
    d.give("tip_mach", np.hypot(around, along) / d.mission.sound_m_s)


def _roll(d: _Drawn) -> None:
    m = d.mission
    if (
        m.wing_area_m2 is None
        or m.cl_ground is None
        or m.cd_ground is None
        or m.cl_liftoff is None
        or m.friction is None
    ):
        d.withheld["roll_m"] = (
            "needs wing_area_m2, cl_ground, cd_ground, cl_liftoff and friction of the aircraft"
        )
        return
    weight = d.mass * G0_M_S2
    friction = d.sources.positive(m.friction, "rolling friction")
    lift = d.sources.positive(m.cl_liftoff, "lift coefficient at lift-off")
    drag = d.sources.positive(m.cd_ground, "drag on the ground") - friction * m.cl_ground
    wind = d.sources.any(m.headwind_m_s, "headwind")
    leave = np.sqrt(2 * weight / (d.density * m.wing_area_m2 * lift))
    dynamic = 0.5 * d.density * m.wing_area_m2 * drag
    resist = weight * (friction + math.sin(math.atan(m.slope)))

    def force(airspeed: FloatArray) -> FloatArray:
        taken = dynamic[:, None] * airspeed * np.abs(airspeed) + resist[:, None]
        return d.thrust(airspeed) - taken

    beyond = force(REACH_MARGIN * leave[:, None])[:, 0]
    if np.count_nonzero(np.isnan(beyond)) > _FEW_DRAWS:
        # Where the curve says nothing, the aircraft is not shown to stay on the ground.
        d.withheld["roll_m"] = (
            "the curve ends below the lift-off airspeed and a margin of "
            f"{100 * (REACH_MARGIN - 1):.0f} %: add rows of higher J"
        )
        return
    node, part = np.polynomial.legendre.leggauss(_NODES)
    half = 0.5 * np.maximum(leave - wind, 0.0)
    x = half[:, None] * (node + 1.0) + wind[:, None]
    f = force(x)
    reached = (f > 0).all(axis=1) & (beyond > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ground = half * ((x - wind[:, None]) / f @ part)
    d.give("roll_m", np.where(reached, d.mass * ground, np.inf))


def _electric(d: _Drawn) -> None:
    """Give current and power at full throttle: the larger of rest and climb."""
    c = d.candidate
    asked = ("static_current_a", "climb_current_a", "current_a", "power_w")
    if c.voltage_v is None or c.drive_efficiency is None:
        for figure in asked:
            d.withheld[figure] = "needs voltage_v and drive_efficiency at full throttle"
        return
    if "static_current_a" in d.withheld:
        return
    drive = d.own(c.drive_efficiency, "drive efficiency")
    volts = d.own(c.voltage_v, "voltage")
    largest = d.shaft_power(np.zeros((DRAWS, 1)))[:, 0] / drive
    d.give("static_current_a", largest / volts)
    if d.mission.climb_m_s is None:
        d.withheld["climb_current_a"] = "climb_m_s of the mission is not stated"
    else:
        power = d.shaft_power(np.full((DRAWS, 1), d.mission.climb_m_s))[:, 0] / drive
        if np.isnan(power).any():
            d.withheld["climb_current_a"] = "the curve ends below the airspeed of the climb"
        else:
            d.give("climb_current_a", power / volts)
            largest = np.maximum(largest, power)
    d.give("current_a", largest / volts + d.mission.avionics_w / volts)
    d.give("power_w", largest + d.mission.avionics_w)


def _drag(d: _Drawn, airspeed: FloatArray) -> FloatArray | None:
    """Drag in level flight [N]; None where the aircraft is not known well enough."""
    m = d.mission
    weight = d.mass * G0_M_S2
    if m.lift_over_drag is not None:
        return weight / d.sources.positive(m.lift_over_drag, "lift over drag")
    if m.cd0 is None or m.induced is None or m.wing_area_m2 is None:
        return None
    area = 0.5 * d.density * airspeed**2 * m.wing_area_m2
    cd0 = d.sources.positive(m.cd0, "drag in flight")
    return area * (cd0 + m.induced * (weight / area) ** 2)


def _cruise(d: _Drawn) -> None:
    m, c = d.mission, d.candidate
    if m.cruise_m_s is None:
        d.withheld["wh_per_km"] = "cruise_m_s of the mission is not stated"
        return
    airspeed = d.sources.positive(m.cruise_m_s, "airspeed in cruise")
    drag = _drag(d, airspeed)
    drive = c.cruise_drive_efficiency
    if drag is None:
        d.withheld["wh_per_km"] = "needs lift_over_drag, or cd0, induced and wing_area_m2"
        return
    if drive is None:
        d.withheld["wh_per_km"] = "needs cruise_drive_efficiency: the drive at part throttle"
        return
    j = _cruise_j(d, airspeed, drag)
    curve_ends = float(c.curve.j[-1]) * c.j_scale.value
    if np.count_nonzero(np.isnan(j)) > DRAWS // 2:
        d.withheld["wh_per_km"] = (
            f"the curve ends at J = {curve_ends:.3g}, below that of cruise: add rows of higher J"
        )
        return
    speed = airspeed / (j * c.diameter_m)
    if c.cruise_efficiency is not None:
        shaft = drag * airspeed / d.own(c.cruise_efficiency, "efficiency in cruise")
    elif c.power_known:
        cp = _cp(c.curve, j / d.j_scale) * d.factor(c.cp_relative, "power coefficient")
        shaft = cp * d.density * speed**3 * c.diameter_m**5
    else:
        d.withheld["wh_per_km"] = "needs a curve in flow, or cruise_efficiency of the propeller"
        return
    power = shaft / d.own(drive, "drive efficiency in cruise") + m.avionics_w
    # J/m is 1000/3600 Wh/km.
    d.give("wh_per_km", np.where(speed <= d.speed, power / airspeed / 3.6, np.inf))
    d.give("cruise_rpm", np.where(speed <= d.speed, 60 * speed, np.inf))


def _cruise_j(d: _Drawn, airspeed: FloatArray, drag: FloatArray) -> FloatArray:
    """Find J with CT/J² = D/(ρ V² d²); NaN where the curve ends before."""
    c = d.candidate
    wanted = drag / (d.density * airspeed**2 * c.diameter_m**2)
    ct = d.factor(c.ct_relative, "thrust coefficient")
    first, last = float(c.curve.j[0]), float(c.curve.j[-1])
    low, high = np.full(DRAWS, first), np.full(DRAWS, last)

    def short(x: FloatArray) -> FloatArray:
        """Below 0 where thrust is less than drag; CT falls, so that this falls with J."""
        missing: FloatArray = _ct(c.curve, x) * ct - wanted * (x * d_scale) ** 2
        return missing

    d_scale = d.j_scale
    outside = (short(high) > 0) | (short(low) < 0)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        enough = short(middle) > 0
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return np.where(outside, np.nan, 0.5 * (low + high) * d_scale)


def _climb(d: _Drawn) -> None:
    if d.mission.climb_m_s is None:
        d.withheld["climb_m_s"] = "climb_m_s of the mission is not stated"
        return
    airspeed = np.full(DRAWS, d.mission.climb_m_s)
    polar = d.mission.cd0 is not None
    drag = _drag(d, airspeed) if polar and d.mission.lift_over_drag is None else None
    if drag is None:
        d.withheld["climb_m_s"] = "needs the polar: cd0, induced and wing_area_m2"
        return
    left = d.thrust(airspeed[:, None])[:, 0] - drag
    if np.isnan(left).any():
        d.withheld["climb_m_s"] = "the curve ends below the airspeed of the climb"
        return
    d.give("climb_m_s", left * airspeed / (d.mass * G0_M_S2))
