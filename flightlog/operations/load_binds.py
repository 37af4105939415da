"""What binds a load beside the take-off limit: mass, balance, climb, current, energy, room to stop.

The weather binds too, alike for all loads: `load_weather` judges it.

Each is judged by what is known of it, and where that is too little, this says what would make it
assessable. Limits of rule book, aircraft and pack count whenever they are enforced: a load that
breaks one after the flight was one too many before it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from flightlog.constants import G0_M_S2, ISA_RHO0_KG_M3
from flightlog.errors import NotEnoughDataError
from flightlog.inputs import Aircraft
from flightlog.operations.desk import Desk
from flightlog.operations.energy_need import LapEnergy
from flightlog.operations.flown_takeoffs import PastFlight
from flightlog.operations.load_answer import FAILS, HOLDS, UNKNOWN, Bind
from flightlog.operations.load_room import Room
from flightlog.operations.load_setting import Today
from flightlog.operations.load_sheet import PAYLOAD, Load, outside_text
from flightlog.operations.plan import Plan
from flightlog.operations.weighing import ITEM_STD_KG
from flightlog.prediction.expected_figure import expect_figure
from flightlog.prediction.regression import StudentT
from flightlog.prediction.takeoff_model import PredictedRoll
from flightlog.rules.book import Limit
from flightlog.rules.judge import probability_of
from flightlog.uncertain import Uncertain

CLIMB, CURRENT = "climb.gradient", "battery.max_current"
ROLL_NAME = "take-off roll"
"""Name of what another limit on the roll says."""
DRAG_OVER_WEIGHT = 0.10
"""Of a cargo aircraft in the climb, where its file has no polar. [-]"""
CLIMB_OVER_STALL = 1.3
"""Airspeed of the best climb over that of the stall, about. [-]"""
ENERGY_AT = 0.95
"""Probability with which the energy has to do."""
_NAMES = {
    "mass.takeoff": "mass",
    "payload.mass": "payload mass",
    "payload.units": "payload units",
}


@dataclass(frozen=True, slots=True)
class Binding:
    """What all choices are judged by.

    Attributes
    ----------
    desk, plan, today
        What is asked about, and what it is flown under.
    limits : tuple of Limit
        Of rule book, aircraft and pack.
    flights : tuple of PastFlight
        In the configuration in force.
    room : Room or None
        To stop; None where the site's file does not say how long the runway is.
    needed : float
        Probability that the take-off limit asks for.
    laps : int or None
        As planned.
    energy : LapEnergy or NotEnoughDataError
        What laps are judged by, or why there is nothing to judge them by.
    weather : Bind
        The same for all choices.
    """

    desk: Desk
    plan: Plan
    today: Today
    limits: tuple[Limit, ...]
    flights: tuple[PastFlight, ...]
    room: Room | None
    needed: float
    laps: int | None
    energy: LapEnergy | NotEnoughDataError
    weather: Bind

    def of(self, units: int, load: Load, roll: PredictedRoll) -> tuple[Bind, ...]:
        """Judge one choice."""
        mass = load.verdict.loaded.mass
        payload = [a for a in load.added if a.station == PAYLOAD]
        said = {
            "mass.takeoff": mass,
            "payload.mass": _sum_of([a.whole_kg for a in payload], [a.count for a in payload]),
            "payload.units": Uncertain.of(float(units), 0.0, "", source="declared"),
        }
        declared = [self._declared(figure, number) for figure, number in said.items()]
        return (
            *(bind for bind in declared if bind is not None),
            _balance(load),
            self._climb(mass.value),
            self._current(mass.value),
            self._energy(mass.value),
            self._room(mass.value, roll),
            self.weather,
        )

    def _asked(self, figure: str) -> tuple[Limit, ...]:
        return tuple(limit for limit in self.limits if limit.measured == figure)

    def _declared(self, figure: str, number: Uncertain) -> Bind | None:
        asked = self._asked(figure)
        if not asked:
            if figure != "mass.takeoff":
                return None
            says = f"{number.value:.2f} kg; no limit on the take-off mass is in force"
            return Bind("mass", UNKNOWN, f'{says}. Write "mass.takeoff" into [limits].')
        return worst(
            _NAMES[figure],
            f"{number.value:.{0 if figure == 'payload.units' else 2}f} {number.unit}".strip(),
            [(limit, probability_of(limit, number)) for limit in asked],
        )

    def _climb(self, mass_kg: float) -> Bind:
        """Carry the gradients that were flown to the mass, by (g + e) m0/m - e with drag e.

        Thrust and drag over weight are taken as they were; other air and wind count as scatter.
        """
        drag = drag_over_weight(self.desk.aircraft(self.plan.aircraft))
        values = [
            (f.figures[CLIMB].value + drag) * f.mass_kg / mass_kg - drag
            for f in self.flights
            if CLIMB in f.figures
        ]
        return self._flown("climb gradient", CLIMB, lambda: _same(values, mass_kg), 3)

    def _current(self, mass_kg: float) -> Bind:
        known = [f for f in self.flights if CURRENT in f.figures]

        def expected() -> StudentT:
            values = [f.figures[CURRENT].value for f in known]
            return expect_figure(values, [f.mass_kg for f in known], mass_kg)

        return self._flown("current", CURRENT, expected, 1)

    def _flown(self, name: str, figure: str, expect: Callable[[], StudentT], decimals: int) -> Bind:
        """Judge a figure by what earlier flights showed."""
        asked = self._asked(figure)
        try:
            said = expect()
        except NotEnoughDataError as error:
            return _unknown(name, error)
        unit = f" {asked[0].bound.unit}" if asked and asked[0].bound.unit else ""
        low, high = said.quantile(0.025).item(), said.quantile(0.975).item()
        text = (
            f"{said.centre.item():.{decimals}f} ({low:.{decimals}f} to {high:.{decimals}f}){unit} "
            "by earlier flights"
        )
        if not asked:
            says = f'{text}; no limit on it is in force. Write "{figure}" into [limits].'
            return Bind(name, UNKNOWN, says)
        return worst(
            name,
            text,
            [
                (limit, below if limit.bound.op == "<=" else 1 - below)
                for limit in asked
                for below in (said.below(limit.bound.value).item(),)
            ],
        )

    def _energy(self, mass_kg: float) -> Bind:
        if self.laps is None:
            return Bind("energy", UNKNOWN, "no laps are planned. Say how many: --laps N.")
        if isinstance(self.energy, NotEnoughDataError):
            return _unknown("energy", self.energy)
        try:
            probability, says = self.energy.fits(self.laps, mass_kg)
        except NotEnoughDataError as error:
            return _unknown("energy", error)
        return Bind("energy", HOLDS if probability >= ENERGY_AT else FAILS, says, probability)

    def _room(self, mass_kg: float, roll: PredictedRoll) -> Bind:
        name = "room to stop"
        if self.room is None:
            says = f"the file of {self.plan.site} does not say how long the runway is"
            return Bind(name, UNKNOWN, f"{says}. Write length_m into its [runway].")
        try:
            stop = self.room.stop_m(mass_kg)
        except NotEnoughDataError as error:
            return Bind(name, FAILS, f"{error.found}. {error.fix}".strip())
        last = self.room.length_m - stop
        airborne = roll.at_most(last)
        then = (
            f"given up {last:.0f} m from the start line it ends on the runway, and "
            f"{of_hundred(airborne, self.needed)} of 100 take-offs are airborne by then"
            if last > 0
            else "it does not stop on the runway wherever it is given up"
        )
        says = (
            f"{stop:.0f} m to stop from lift-off speed on a runway of {self.room.length_m:.0f} m: "
            f"{then}; {self.room.assumed}"
        )
        return Bind(name, HOLDS if airborne >= self.needed else FAILS, says, airborne)


def of_hundred(probability: float, needed: float) -> str:
    """Write a probability as so many of 100: on its own side of what is needed, and never all."""
    if probability > 0.9995 and needed <= 0.999:
        return "over 99.9"
    if probability < 0.0005:
        return "under 0.1"
    for places in range(1, 9):
        text = f"{100 * probability:.{places}f}"
        if float(text) < 100 and (float(text) >= 100 * needed) == (probability >= needed):
            return text
    return f"{'over' if probability >= needed else 'under'} {100 * needed:g}"


def _unknown(name: str, why: NotEnoughDataError) -> Bind:
    return Bind(name, UNKNOWN, f"{why.found}. {why.fix}".strip())


def _sum_of(masses: Sequence[float], counts: Sequence[int]) -> Uncertain:
    # The scale's error is the same for each of the alike ones: it does not shrink with the count.
    std = math.hypot(*(n * float(ITEM_STD_KG) for n in counts)) if counts else 0.0
    return Uncertain.of(math.fsum(masses), std, "kg", source="payload")


def _balance(load: Load) -> Bind:
    verdict = load.verdict
    kg, percent = verdict.worst
    if not verdict.inside:
        return Bind("balance", FAILS, outside_text(verdict))
    says = (
        f"{verdict.balance.value:.2f} % of the chord; worst corner {kg:.2f} kg at {percent:.2f} % "
        "inside"
    )
    return Bind("balance", HOLDS, says)


def _same(values: Sequence[float], mass_kg: float) -> StudentT:
    """Expect the next of values that were carried to one mass already."""
    return expect_figure(values, [mass_kg] * len(values), mass_kg)


def worst(name: str, found: str, judged: Sequence[tuple[Limit, float]]) -> Bind:
    """Give what the limit says that is the nearest to fail."""
    limit, probability = min(judged, key=lambda pair: pair[1] - pair[0].plan_at)
    holds = probability >= limit.plan_at
    op = "at most" if limit.bound.op == "<=" else "at least"
    bound = f"{limit.bound.value:g} {limit.bound.unit}".strip()
    source = limit.source or limit.id
    says = f"{found}, {op} {bound} ({source})"
    return Bind(name, HOLDS if holds else FAILS, says, probability)


def drag_over_weight(aircraft: Aircraft) -> float:
    """Give drag over weight in the climb, by the polar where the file has one. [-]"""
    polar, area, stall = aircraft.polar, aircraft.wing_area_m2, aircraft.stall_speed_m_s
    if polar is None or area is None or stall is None or aircraft.reference_kg is None:
        return DRAG_OVER_WEIGHT
    weight = aircraft.reference_kg * G0_M_S2
    lift = 2 * weight / (ISA_RHO0_KG_M3 * area * (CLIMB_OVER_STALL * stall) ** 2)
    return (polar.cd0 + polar.k * lift**2) / lift
