"""The take-offs of an aircraft as the record has them, ready for the take-off model.

What a flight lacks is said, and the flight is left out; nothing is put in its place. Of several
configurations only that in force counts, as the others have another roll. What a tape or a judge
measured is put together with the log's roll, and stands alone where the log has none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flightlog.logbook.flying_kinds import MEASUREMENT
from flightlog.operations.desk import Desk
from flightlog.operations.given_up_rolls import given_up_alone, given_up_before
from flightlog.operations.positions import named
from flightlog.operations.season_table import Number
from flightlog.operations.sorties import SortieRecord, debrief_of, sorties
from flightlog.operations.takeoff_conditions import Under, figures_of, is_as_now, under_of
from flightlog.prediction.takeoffs import AIRSPEED_STD_M_S, SPEED_STD_M_S, Takeoff, Wind
from flightlog.prediction.tapes import DATUM_STD_M, READ_STD_M, FusedRolls, fused
from flightlog.uncertain import NORMAL_95

ROLL, LIFTOFF_SPEED = "takeoff.ground_roll", "takeoff.liftoff_ground_speed"
LIFTOFF_AIRSPEED = "takeoff.liftoff_airspeed"
LEAST_STD_M = 0.05
"""No roll is known better, whatever its log says. [m]"""
LEAST_AIRSPEED_STD_M_S = 0.1
"""No airspeed is known better, whatever its log says. [m/s]"""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A flight, or a roll that was given up, from which nothing is learnt, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class PastFlight:
    """A flight in the configuration in force, and what it was flown under.

    Attributes
    ----------
    record : SortieRecord
        As the record has it.
    under : Under
        What it was flown under.
    figures : mapping
        Figure id -> its number, as the stored debrief has it.
    given_up : tuple of Takeoff
        Rolls that were given up before it.
    """

    record: SortieRecord
    under: Under
    figures: Mapping[str, Number]
    given_up: tuple[Takeoff, ...]

    @property
    def mass_kg(self) -> float:
        """Take-off mass [kg]."""
        return self.under.mass_kg


@dataclass(frozen=True, slots=True)
class FlownTakeoffs:
    """What the record says.

    Attributes
    ----------
    takeoffs : tuple of Takeoff
        In the order in which they were flown, rolls that were given up included.
    flights : tuple of PastFlight
        In the configuration in force; some may have no ground roll.
    left_out : tuple of LeftOut
        What is not among the take-offs.
    other_configuration : int
        Flights in other configurations, which are left out too.
    offset_m : float
        By how much tape or judge read more than the log, as a rule; 0 without any. [m]
    tape_says : str
        What was kept of tapes and judges, in sentences; "" without any.
    """

    takeoffs: tuple[Takeoff, ...]
    flights: tuple[PastFlight, ...]
    left_out: tuple[LeftOut, ...]
    other_configuration: int
    offset_m: float
    tape_says: str

    @property
    def winds(self) -> tuple[Wind, ...]:
        """As they were measured for the flights."""
        return tuple(flight.under.wind for flight in self.flights)

    @property
    def packs_not_known(self) -> int:
        """Flights of which nothing says how full the pack was; it is taken as full."""
        return sum(flight.under.pack_ratio is None for flight in self.flights)


def flown_takeoffs(desk: Desk, aircraft: str) -> FlownTakeoffs:
    """Gather the take-offs of an aircraft.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    """
    desk.aircraft(aircraft)
    flights: list[PastFlight] = []
    left_out: list[LeftOut] = []
    others = 0
    for flight in sorties(desk, aircraft):
        if not is_as_now(desk, flight):
            others += 1
            continue
        debrief = debrief_of(desk, flight)
        figures = figures_of(debrief)
        name, why = named(flight.entry), _without_roll(desk, flight, figures, debrief)
        under, lacking = under_of(desk, flight, figures)
        if under is None:
            left_out.append(LeftOut(name, lacking))
            continue
        rolls, untold = given_up_before(desk, flight, under)
        flights.append(PastFlight(flight, under, figures, tuple(rolls)))
        left_out += [LeftOut(*one) for one in untold]
        if why:
            told = (debrief or {}).get("withheld", {}).get(ROLL, "")
            left_out.append(LeftOut(name, str(told) or why))
    left_out += [LeftOut(*one) for one in given_up_alone(desk, aircraft)]
    told_rolls = _rolls(desk, flights)
    takeoffs: list[Takeoff] = []
    for n, past in enumerate(flights):
        takeoffs += past.given_up
        if n in told_rolls.rolls:
            takeoffs.append(_takeoff(past, *told_rolls.rolls[n]))
    tapes = told_rolls.tapes
    return FlownTakeoffs(
        tuple(takeoffs), tuple(flights), tuple(left_out), others, tapes.offset_m, tapes.says
    )


def _without_roll(
    desk: Desk,
    flight: SortieRecord,
    figures: Mapping[str, Number],
    debrief: Mapping[str, Any] | None,
) -> str:
    """Say why a flight has no ground roll, "" where it has."""
    told = (debrief or {}).get("figures") or {}
    if ROLL in told and ROLL not in figures and tape_of(desk, flight) is None:
        return f"its debrief has a ground roll that can't be: {told[ROLL].get('value')} m"
    roll = figures.get(ROLL)
    if (roll is not None and roll.value > 0) or tape_of(desk, flight) is not None:
        return ""
    if debrief is not None:
        return "its debrief has no ground roll"
    if flight.recording is None:
        return "entered by hand, and neither a log nor a tape tells its roll"
    return "its stored debrief is missing or damaged"


# --- rolls by log and tape


def tape_of(desk: Desk, flight: SortieRecord) -> tuple[float, float | None] | None:
    """Give the ground roll that was measured beside the strip last, None where none was. [m]"""
    entries = [
        entry
        for entry in flight.measurements
        if entry.body.kind == MEASUREMENT
        and entry.body.content["figure"] == ROLL
        and not desk.ledger.corrections(entry)
    ]
    if not entries:
        return None
    said = max(entries, key=desk.ledger.when).body.content
    value = float(said["value"]["value"])
    return (value, float(said["std"]["value"]) if "std" in said else None) if value > 0 else None


@dataclass(frozen=True, slots=True)
class _Rolls:
    """Place of a flight -> its roll and how sure that is; and what the tapes came to."""

    rolls: dict[int, tuple[float, float]]
    tapes: FusedRolls


def _rolls(desk: Desk, flights: list[PastFlight]) -> _Rolls:
    by_log = {
        n: (number.value, _std(number, LEAST_STD_M))
        for n, flight in enumerate(flights)
        if (number := flight.figures.get(ROLL)) is not None and number.value > 0
    }
    tapes = {n: tape_of(desk, flight.record) for n, flight in enumerate(flights)}
    together = fused(list(by_log.values()), [tapes[n] for n in by_log])
    rolls = dict(zip(by_log, together.rolls, strict=True))
    for n, tape in tapes.items():
        if tape is not None and n not in rolls:
            read = READ_STD_M if tape[1] is None else tape[1]
            std = math.hypot(read, DATUM_STD_M, together.offset_std_m)
            rolls[n] = tape[0] - together.offset_m, std
    return _Rolls(rolls, together)


def _std(number: Number, least: float) -> float:
    return max(least, (number.high - number.low) / (2 * NORMAL_95))


def _takeoff(flight: PastFlight, roll_m: float, roll_std_m: float) -> Takeoff:
    under, speed = flight.under, flight.figures.get(LIFTOFF_SPEED)
    airspeed = flight.figures.get(LIFTOFF_AIRSPEED)
    return Takeoff(
        named(flight.record.entry),
        under.day,
        roll_m,
        roll_std_m,
        under.mass_kg,
        under.density_kg_m3,
        under.headwind_m_s,
        under.runway.slope,
        under.runway.surface,
        speed.value if speed is not None else None,
        _std(speed, 0.0) if speed is not None else SPEED_STD_M_S,
        airspeed.value if airspeed is not None else None,
        _std(airspeed, LEAST_AIRSPEED_STD_M_S) if airspeed is not None else AIRSPEED_STD_M_S,
        pack_ratio=under.pack_ratio if under.pack_ratio is not None else 1.0,
    )
