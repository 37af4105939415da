"""What the flights of an aircraft teach about its next take-off: prior, take-offs, model."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import fmean

from flightlog.analyses.reference import Conditions, roll_model
from flightlog.constants import ISA_RHO0_KG_M3
from flightlog.errors import NotEnoughDataError
from flightlog.inputs import Aircraft
from flightlog.operations.desk import Desk
from flightlog.operations.flown_takeoffs import FlownTakeoffs, flown_takeoffs
from flightlog.operations.load_setting import Today
from flightlog.prediction.takeoff_model import TakeoffModel, fit_takeoffs
from flightlog.prediction.takeoff_prior import RollPrior, prior_from_flights, prior_from_model
from flightlog.prediction.takeoffs import Takeoff, flown
from flightlog.uncertain import Uncertain

BEYOND_MASS = 1.05
"""A mass above so much of the heaviest one that was flown is beyond what was flown. [-]"""
BEYOND_WIND_M_S, BEYOND_DENSITY = 1.0, 0.03
"""A headwind [m/s] or density [share] is beyond when it lies so far outside what was flown."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """The model, what it learnt from, and how it came to be.

    Attributes
    ----------
    past : FlownTakeoffs
        What the record says.
    model : TakeoffModel
        After it.
    said : tuple of str
        What was taken. Sentences without a full stop.
    """

    past: FlownTakeoffs
    model: TakeoffModel
    said: tuple[str, ...]

    @property
    def judged_longer_m(self) -> float:
        """By how much a tape or judge reads a roll longer, as a rule; never below 0. [m]

        Whoever judges the limit has the tape; that it reads less is nothing to rely on.
        """
        return max(0.0, self.past.offset_m)

    def beyond(self, mass_kg: float, today: Today) -> str:
        """Say why a choice lies beyond what was flown, "" where it does not."""
        rolled = flown(self.past.takeoffs)
        if not rolled:
            return "nothing was flown yet in this configuration"
        why = []
        heaviest = max(t.mass_kg for t in rolled)
        if mass_kg > BEYOND_MASS * heaviest:
            why.append(f"{mass_kg:.2f} kg, and the heaviest that was flown had {heaviest:.2f} kg")
        winds = [t.headwind_m_s for t in rolled]
        if not min(winds) - BEYOND_WIND_M_S <= today.headwind_m_s <= max(winds) + BEYOND_WIND_M_S:
            why.append(
                f"a headwind of {today.headwind_m_s:.1f} m/s, and flown were {min(winds):.1f} to "
                f"{max(winds):.1f} m/s"
            )
        airs = [t.density_kg_m3 for t in rolled]
        low, high = min(airs) * (1 - BEYOND_DENSITY), max(airs) * (1 + BEYOND_DENSITY)
        if not low <= today.density_kg_m3 <= high:
            why.append(
                f"air of {today.density_kg_m3:.3f} kg/m³, and flown were {min(airs):.3f} to "
                f"{max(airs):.3f} kg/m³"
            )
        return "; ".join(why)


def learnt(desk: Desk, aircraft: Aircraft, today: Today) -> Learnt:
    """Learn from all take-offs of an aircraft.

    Raises
    ------
    NotEnoughDataError
        If its file has no thrust and polar, and the flights are too few.
    """
    past = flown_takeoffs(desk, aircraft.id)
    prior, said = _prior(aircraft, past.takeoffs)
    model = fit_takeoffs(
        prior,
        past.takeoffs,
        day=today.day,
        surface=today.runway.surface,
        winds=(*past.winds, today.wind),
    )
    if past.packs_not_known:
        said.append(
            f"of {past.packs_not_known} flights nothing says how full the pack was: taken as full"
        )
    if past.tape_says:
        said.append(past.tape_says.rstrip("."))
    return Learnt(past, model, tuple(said))


def _prior(aircraft: Aircraft, takeoffs: tuple[Takeoff, ...]) -> tuple[RollPrior, list[str]]:
    """Give what is believed before any flight, and what is to be said of it."""
    said: list[str] = []
    reference = aircraft.reference_kg
    if reference is not None:
        model = roll_model(
            aircraft,
            Conditions(
                Uncertain.of(reference, 0.0, "kg", source="mass"),
                Uncertain.of(ISA_RHO0_KG_M3, 0.0, "kg/m³", source="air"),
                Uncertain.of(0.0, 0.0, "m/s", source="wind"),
                0.0,
                reference,
            ),
        )
        measured = aircraft.thrust is not None and aircraft.thrust.measured
        if model is not None:
            try:
                return prior_from_model(model, thrust_measured=measured), said
            except NotEnoughDataError as error:
                said.append(f"thrust and polar of the aircraft's file are not used: {error.found}")
    rolled = flown(takeoffs)
    mass = reference or (fmean(t.mass_kg for t in rolled) if rolled else 1.0)
    # The stall speed is that at the reference mass.
    stall = aircraft.stall_speed_m_s if reference is not None else None
    return prior_from_flights(takeoffs, mass, stall), said
