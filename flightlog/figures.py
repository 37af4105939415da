"""The dictionary of figures, and the one mechanism that withholds them.

A figure is one computed number with its uncertainty, unit, method and sources. Its id has
one definition for ever; when a definition must change, a new id is added.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

from flightlog.findings import Finding, affected
from flightlog.uncertain import Quantity

ANALYSES_VERSION = 5
"""Rises whenever a figure's number can change for the same log."""

LEVEL = 0.95
"""Level of the printed interval of every figure."""


@dataclass(frozen=True, slots=True)
class FigureKind:
    """What a figure id means.

    Attributes
    ----------
    id : str
        ``subject.name``; of a family ``subject.NAME.name``, see `Kinds`.
    unit : str
        Unit at the edge: screens, JSON, rule books.
    label : str
        Short name for people.
    definition : str
        What is measured, from where to where.
    decimals : int
        Decimals on screens; the JSON carries the full number.
    needs : tuple of str
        Tables without which it can't be had.
    since : int
        Version of the analyses that brought it.
    """

    id: str
    unit: str
    label: str
    definition: str
    decimals: int
    needs: tuple[str, ...] = ()
    since: int = 1


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of one sortie.

    Attributes
    ----------
    id : str
        Key of `FIGURES`.
    quantity : Quantity
        The number in the unit of its kind.
    method : str
        How it was had, in a few words.
    sources : tuple of str
        Tables used, or ``("declared",)``.
    """

    id: str
    quantity: Quantity
    method: str
    sources: tuple[str, ...]

    def __post_init__(self) -> None:
        unit = FIGURES[self.id].unit
        if self.quantity.unit != unit:
            raise ValueError(f"{self.id} is in {unit!r}, got {self.quantity.unit!r}")


@dataclass(frozen=True, slots=True)
class Answer:
    """What an analysis gives back.

    Attributes
    ----------
    figures : mapping of str to Figure
        What could be computed.
    withheld : mapping of str to str
        Figure id -> why not, and what would unlock it.
    findings : tuple of Finding
        What was noticed on the way.
    """

    figures: Mapping[str, Figure] = field(default_factory=dict)
    withheld: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


def _kinds() -> Iterable[FigureKind]:
    def kind(
        id_: str,
        unit: str,
        decimals: int,
        label: str,
        definition: str,
        needs: str = "",
        since: int = 1,
    ) -> FigureKind:
        return FigureKind(id_, unit, label, definition, decimals, tuple(needs.split()), since)

    roll = "gps"
    yield kind("takeoff.start_time", "s", 2, "Start of roll", "start of the roll, log clock", roll)
    yield kind(
        "takeoff.liftoff_time",
        "s",
        2,
        "Lift-off",
        "first instant after the last wheel contact before the wheels reach 2 m, log clock",
        roll,
    )
    yield kind(
        "takeoff.ground_roll",
        "m",
        1,
        "Ground roll",
        "straight horizontal distance from the start of roll to lift-off",
        roll,
    )
    yield kind(
        "takeoff.first_clear_distance",
        "m",
        1,
        "First clear of the ground",
        "straight distance from the start of roll to the first moment with no wheel on the ground",
        roll,
    )
    yield kind(
        "takeoff.distance_from_line",
        "m",
        1,
        "Start line to lift-off",
        "along the roll, from the painted start line of the site file to lift-off",
        roll,
    )
    yield kind("takeoff.skips", "", 0, "Skips", "wheel contacts after the first clear moment", roll)
    yield kind(
        "takeoff.distance_to_screen",
        "m",
        1,
        "Distance to screen height",
        "start of roll to wheels at the screen height given by rule book or site",
        roll,
    )
    yield kind(
        "takeoff.liftoff_ground_speed", "m/s", 1, "Ground speed at lift-off", "at lift-off", roll
    )
    yield kind(
        "takeoff.liftoff_airspeed",
        "m/s",
        1,
        "Airspeed at lift-off",
        "true airspeed at lift-off, by the aircraft's own airspeed sensor",
        "gps airspeed",
        since=3,
    )
    yield kind(
        "takeoff.headwind",
        "m/s",
        1,
        "Headwind in the roll",
        "mean wind against the direction of the roll; given, else estimated",
    )
    yield kind(
        "takeoff.ground_roll_reference",
        "m",
        1,
        "Ground roll at reference",
        "ground roll at reference mass, standard sea-level density, no wind, no slope",
        roll,
    )
    yield kind("climb.best_rate", "m/s", 2, "Best climb", "largest (h(t+10 s) - h(t)) / 10 s")
    yield kind(
        "climb.height_at_60s",
        "m",
        1,
        "Height at 60 s",
        "height of the wheels above the start, 60 s after the start of roll",
    )
    yield kind(
        "climb.gradient",
        "",
        3,
        "Climb gradient",
        "height gained over ground distance in the best-rate window",
        "gps",
    )
    yield kind("flight.duration", "s", 1, "Airborne", "lift-off to touchdown")
    yield kind("flight.distance", "m", 0, "Distance flown", "ground track while airborne", "gps")
    yield kind("flight.max_height", "m", 1, "Greatest height", "above the start")
    yield kind(
        "flight.max_range",
        "m",
        0,
        "Greatest range",
        "horizontal, from the pilot's position where the site gives it, else from the start",
        "gps",
    )
    yield kind("flight.max_ground_speed", "m/s", 1, "Greatest ground speed", "airborne", "gps")
    yield kind("flight.max_airspeed", "m/s", 1, "Greatest airspeed", "airborne", "airspeed")
    yield kind("flight.max_load_factor", "", 2, "Greatest load factor", "airborne", "imu")
    yield kind("flight.min_load_factor", "", 2, "Least load factor", "airborne", "imu")
    yield kind("flight.max_bank", "deg", 0, "Greatest bank", "airborne", "attitude")
    yield kind(
        "flight.min_stall_margin",
        "",
        2,
        "Least stall margin",
        "airspeed over the stall speed at the load factor flown",
        "airspeed imu",
    )
    yield kind("laps.count", "", 0, "Laps", "whole laps between gate crossings", "gps")
    yield kind("laps.mean_time", "s", 2, "Mean lap", "mean time of the whole laps", "gps")
    yield kind("laps.best_time", "s", 2, "Best lap", "shortest whole lap", "gps")
    yield kind("wind.speed", "m/s", 1, "Wind", "mean over the airborne part")
    yield kind("wind.from_deg", "deg", 0, "Wind from", "mean, from true north")
    yield kind("energy.used", "Wh", 2, "Energy used", "start of roll to end of sortie", "battery")
    yield kind("charge.used", "Ah", 3, "Charge used", "start of roll to end of sortie", "battery")
    yield kind(
        "energy.per_km",
        "Wh/km",
        2,
        "Energy per km",
        "airborne energy over ground track",
        "battery gps",
    )
    yield kind(
        "energy.per_lap",
        "Wh",
        2,
        "Energy per lap",
        "mean over whole laps without the first, which holds the climb",
        "battery gps",
    )
    yield kind("battery.max_current", "A", 1, "Greatest current", "1 s mean while armed", "battery")
    yield kind("battery.min_voltage", "V", 2, "Least voltage", "1 s mean while armed", "battery")
    yield kind("battery.max_power", "W", 0, "Greatest power", "1 s mean while armed", "battery")
    yield kind("mass.takeoff", "kg", 2, "Take-off mass", "declared")
    yield kind("payload.mass", "kg", 2, "Payload", "declared")
    yield kind("payload.units", "", 0, "Payload units", "declared")
    yield kind("battery.nominal_energy", "Wh", 1, "Nominal battery energy", "declared")
    yield from _wear_kinds()


def _wear_kinds() -> Iterable[FigureKind]:
    """Figures that tell what is wearing out."""

    def kind(
        id_: str, unit: str, decimals: int, label: str, definition: str, needs: str = ""
    ) -> FigureKind:
        return FigureKind(id_, unit, label, definition, decimals, tuple(needs.split()), since=4)

    # --- wear: battery
    yield kind(
        "battery.resistance",
        "ohm",
        4,
        "Battery resistance",
        "of the whole battery at its sensor, wiring included: voltage lost for each ampere, as a "
        "mean over the first second after a lasting step of the current",
        "battery",
    )
    yield kind(
        "battery.resistance_25c",
        "ohm",
        4,
        "Battery resistance at 25 °C",
        "battery.resistance brought to a pack at 25 °C",
        "battery",
    )
    yield kind(
        "battery.sag",
        "V",
        2,
        "Sag at the reference current",
        "battery.resistance times the reference current of the pack file",
        "battery",
    )
    yield kind(
        "battery.energy_left",
        "Wh",
        1,
        "Usable energy left",
        "at the end of the sortie, down to the reserve of the pack file",
        "battery",
    )
    yield kind(
        "battery.cell_spread",
        "V",
        3,
        "Cell spread at rest",
        "highest less lowest cell before the start of roll",
        "battery",
    )
    yield kind(
        "battery.cell_spread_loaded",
        "V",
        3,
        "Cell spread under load",
        "highest less lowest cell while airborne, 1 s means, greatest",
        "battery",
    )
    # --- wear: surfaces
    yield kind(
        "surface.NAME.saturation",
        "",
        3,
        "saturation",
        "share of the airborne time at an end of its travel",
        "outputs",
    )
    yield kind(
        "surface.NAME.trim",
        "deg",
        1,
        "trim",
        "median deflection in steady level flight, trailing edge down (rudder: left) positive",
        "outputs",
    )
    yield kind(
        "surface.NAME.trim_shift",
        "deg",
        1,
        "trim shift",
        "trim less that of the baseline in the aircraft file",
        "outputs",
    )
    yield kind(
        "surface.NAME.reversals",
        "1/s",
        2,
        "reversals",
        "turning points of the deflection a second while airborne, beyond a dead band of 1 deg",
        "outputs",
    )
    yield kind(
        "surface.NAME.travel",
        "deg/s",
        1,
        "travel",
        "sum of the moves of the deflection over the airborne time",
        "outputs",
    )
    yield kind(
        "surface.NAME.lag",
        "s",
        3,
        "lag",
        "from a command to the turning rate, as a delay that is never below zero",
        "outputs imu",
    )
    yield kind(
        "surface.NAME.gain",
        "1/s",
        3,
        "gain",
        "turning rate that follows a deflection, over the deflection",
        "outputs imu",
    )
    yield kind(
        "surface.NAME.play",
        "deg",
        1,
        "play",
        "width of the dead band between command and answer that explains the turning rates best",
        "outputs imu",
    )
    yield kind(
        "supply.min_voltage", "V", 2, "Least servo voltage", "of the servos' supply", "supply"
    )
    # --- wear: landing
    yield kind("landing.sink_rate", "m/s", 2, "Sink rate", "downward, at the first wheel contact")
    yield kind(
        "landing.peak_load_factor",
        "",
        2,
        "Peak load factor at touchdown",
        "greatest, from the first contact on",
        "imu",
    )
    yield kind(
        "landing.bounces",
        "",
        0,
        "Bounces over 5 cm",
        "hops of more than 5 cm and 0.08 s after the first contact: times that the wheels left "
        "the ground again",
    )
    yield kind(
        "landing.roll_out", "m", 1, "Roll-out", "from the first contact to below 1 m/s", "gps"
    )
    yield kind(
        "landing.touchdown_speed",
        "m/s",
        1,
        "Ground speed at touchdown",
        "at the first contact",
        "gps",
    )
    yield kind(
        "landing.gear_energy",
        "J",
        1,
        "Energy into the gear",
        "of the sink rate and of the way that the gear yields, wings carrying two thirds",
    )
    # --- wear: link
    yield kind(
        "link.minimum_quality", "%", 0, "Least link quality", "1 s mean while airborne", "link"
    )
    yield kind(
        "link.longest_gap",
        "s",
        1,
        "Longest gap of the link",
        "longest time between reports while airborne, less their usual period",
        "link",
    )
    yield kind(
        "link.margin",
        "dB",
        1,
        "Link margin",
        "at the planned distance of the aircraft file, above its sensitivity, in the weakest "
        "direction that the flight showed",
        "link gps",
    )
    yield kind(
        "link.range_exponent",
        "",
        2,
        "Range exponent",
        "of received power with distance; 2 in free space",
        "link gps",
    )
    yield kind(
        "link.weakest_aspect",
        "dB",
        1,
        "Weakest aspect",
        "how far the weakest direction about the aircraft lies below the median one",
        "link gps attitude",
    )
    yield kind(
        "link.current_correlation",
        "",
        2,
        "Link and motor current",
        "partial correlation of received power with motor current; distance and, where known, "
        "direction taken out",
        "link gps battery",
    )
    # --- wear: vibration
    for phase, label in (
        ("takeoff", "in the take-off roll"),
        ("climb", "in the climb"),
        ("cruise", "in cruise"),
        ("descent", "in the descent"),
    ):
        yield kind(
            f"vibration.{phase}",
            "m/s²",
            2,
            f"Vibration {label}",
            "root mean square of the three axes together, from 5 Hz to half the IMU's rate, "
            "folded parts included",
            "imu",
        )
    yield kind(
        "vibration.first_order",
        "m/s²",
        2,
        "Vibration once a turn",
        "of the propeller, root mean square of the three axes together in cruise, background "
        "taken off, as the IMU logs it, brought to 6000 rpm by the square of the speed",
        "imu",
    )
    yield kind(
        "vibration.blade_pass",
        "m/s²",
        2,
        "Vibration at blade passing",
        "blades times once a turn, as vibration.first_order",
        "imu",
    )
    yield kind(
        "vibration.structure_peak",
        "Hz",
        1,
        "Frequency that stays",
        "of the strongest peak above 5 Hz that does not follow the propeller, folded as it "
        "shows at the IMU's rate",
        "imu",
    )
    yield kind(
        "motor.max_speed",
        "rpm",
        0,
        "Greatest motor speed",
        "1 s mean, from the rest before the roll to the end of the sortie",
        "rotation",
    )
    yield kind(
        "motor.max_temperature",
        "°C",
        0,
        "Greatest motor temperature",
        "of motor or controller, over the same time",
        "rotation",
    )


FREE_NAME = "NAME"
"""Part of a family's id that stands for the name of a thing."""


class Kinds(Mapping[str, FigureKind]):
    """Figure id -> what it means.

    A family stands for one figure of many things of a kind: ``surface.NAME.play`` is the play
    of whatever surface the aircraft has. Its members (``surface.elevator.play``) are found
    like any other id; iteration gives the ids that stand for one figure only, and the families
    are in ``families``.
    """

    def __init__(self, kinds: Iterable[FigureKind]) -> None:
        every = tuple(kinds)
        self._single = {k.id: k for k in every if FREE_NAME not in k.id}
        self.families = {k.id: k for k in every if FREE_NAME in k.id}
        self._patterns = [
            (re.compile(re.escape(id_).replace(FREE_NAME, r"([a-z0-9]+(?:_[a-z0-9]+)*)")), kind)
            for id_, kind in self.families.items()
        ]

    def __getitem__(self, id_: str) -> FigureKind:
        if id_ in self._single:
            return self._single[id_]
        # A limit file or a foreign debrief may hold anything; no thing has so long a name.
        for pattern, kind in self._patterns if len(id_) <= _LONGEST_ID else ():
            if (found := pattern.fullmatch(id_)) is not None:
                thing = found.group(1).replace("_", " ")
                return replace(kind, id=id_, label=f"{thing[0].upper()}{thing[1:]}: {kind.label}")
        raise KeyError(id_)

    def __iter__(self) -> Iterator[str]:
        return iter(self._single)

    def __len__(self) -> int:
        return len(self._single)

    def ordered(self, ids: Iterable[str]) -> list[str]:
        """Put known ids into the order of the dictionary: members of a family after all others.

        Members of one thing stand together.
        """
        wanted = {id_ for id_ in ids if id_ in self}
        members = sorted(id_ for id_ in wanted if id_ not in self._single)
        return [*(id_ for id_ in self._single if id_ in wanted), *members]


_LONGEST_ID = 80


def slug(name: str) -> str:
    """Turn a name that people gave a thing into the NAME of a figure id; may be empty.

    >>> slug("Left aileron (outer)")
    'left_aileron_outer'
    """
    return "_".join(re.findall("[a-z0-9]+", name.lower()))[:40].strip("_")


FIGURES = Kinds(_kinds())
"""Figure id -> what it means."""


def settle(
    answers: Iterable[Answer], findings: Iterable[Finding], tables: Iterable[str]
) -> tuple[dict[str, Figure], dict[str, str]]:
    """Decide which figures stand: the only place that withholds one.

    A ``stop`` finding comes first; then a figure that any analysis gives stands, whatever
    another says of it, as wide as the ``degrade`` findings make it; then the reason of an
    analysis; then the tables that are missing.

    Parameters
    ----------
    answers : iterable of Answer
        What the analyses gave.
    findings : iterable of Finding
        All findings of the sortie and of the recording.
    tables : iterable of str
        Tables that the recording has.

    Returns
    -------
    figures, withheld : dict, dict
        In the order of `FIGURES`. Every id is in exactly one of them, unless no analysis
        spoke of it and its tables are there.
    """
    have, findings = set(tables), tuple(findings)
    stops = [f for f in findings if f.severity == "stop"]
    given: dict[str, Figure] = {}
    reasons: dict[str, str] = {}
    for answer in answers:
        given.update(answer.figures)
        reasons.update(answer.withheld)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    for id_ in FIGURES.ordered((*FIGURES, *given, *reasons)):
        kind = FIGURES[id_]
        stop = next((f for f in stops if affected(f, id_)), None)
        missing = [t for t in kind.needs if t not in have]
        if stop is not None:
            withheld[id_] = f"{stop.message.rstrip('.')} ({stop.code})"
        elif id_ in given:
            figures[id_] = as_wide_as(given[id_], findings)
        elif id_ in reasons:
            withheld[id_] = reasons[id_]
        elif missing:
            withheld[id_] = f"the log has no {' and no '.join(missing)} data"
    return figures, withheld


SomeFigure = TypeVar("SomeFigure", bound=Figure)


def as_wide_as(figure: SomeFigure, findings: Iterable[Finding]) -> SomeFigure:
    """Return the figure as wide as findings make it, which its method then says."""
    widening = [f for f in findings if _widens(f, figure.id)]
    if not widening:
        return figure
    names = ", ".join(dict.fromkeys(f.code for f in widening))
    return replace(
        figure,
        quantity=widened_by(widening, figure.id, figure.quantity),
        method=f"{figure.method}; interval widened: {names}",
    )


def widened_by(findings: Iterable[Finding], figure_id: str, quantity: Quantity) -> Quantity:
    """Widen a number by what ``degrade`` findings say of the figure that it is of.

    Parameters
    ----------
    findings : iterable of Finding
        Those of any other severity, or without a share, change nothing.
    figure_id : str
        Key of `FIGURES`.
    quantity : Quantity
        The number.
    """
    for finding in findings:
        if _widens(finding, figure_id):
            quantity = quantity.widened(finding.widen * abs(quantity.value), finding.code)
    return quantity


def _widens(finding: Finding, figure_id: str) -> bool:
    return finding.severity == "degrade" and finding.widen > 0 and affected(finding, figure_id)
