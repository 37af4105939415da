"""The laps of an aircraft's earlier flights and their energy, as the stored debriefs have them."""

from __future__ import annotations

from flightlog.errors import NotEnoughDataError
from flightlog.operations.desk import Desk
from flightlog.operations.flight_numbers import FlightNumbers, flight_numbers
from flightlog.prediction.lap_energy import LapEnergyModel, LapFlown, fit_lap_energy
from flightlog.uncertain import NORMAL_95

MOST_FLIGHTS = 20
"""So many of the latest flights are learnt from."""
NEEDS = ("energy.per_lap", "energy.used", "laps.count", "wind.speed", "mass.takeoff",
         "flight.distance", "flight.duration")  # fmt: skip
"""Figures without which a flight teaches nothing here."""


def lap_model(desk: Desk, aircraft: str) -> LapEnergyModel:
    """Learn from an aircraft's earlier flights.

    Raises
    ------
    NotEnoughDataError
        If none has all of `NEEDS`; with what the latest one lacks.
    """
    flown = flight_numbers(desk, aircraft)
    flights = laps_flown(flown)
    if not flights:
        raise NotEnoughDataError(
            f"no earlier flight of {aircraft} has laps, their energy and the wind"
            f"{_what_is_lacking(flown[-1]) if flown else ''}",
            fix="Fly two whole laps or more with the battery's current logged, release the flight "
            "with a load sheet, and import its log.",
        )
    reference = desk.aircraft(aircraft).reference_kg or flights[-1].mass_kg
    return fit_lap_energy(flights, reference)


def laps_flown(flown: list[FlightNumbers]) -> list[LapFlown]:
    """Give the latest flights that can be learnt from."""
    return [one for one in map(_lap, flown) if one is not None][-MOST_FLIGHTS:]


def _lap(flight: FlightNumbers) -> LapFlown | None:
    if any(id_ not in flight.figures for id_ in NEEDS):
        return None
    value = {id_: flight.figures[id_].value for id_ in NEEDS}
    if min(value[id_] for id_ in NEEDS if id_ != "wind.speed") <= 0:
        return None
    lap = flight.figures["energy.per_lap"]
    return LapFlown(
        flight.name,
        flight.record.began.date().isoformat(),
        lap.value,
        (lap.high - lap.low) / (2 * NORMAL_95),
        round(value["laps.count"]),
        max(0.0, value["wind.speed"]),
        value["mass.takeoff"],
        value["flight.distance"] / value["flight.duration"],
        value["energy.used"],
    )


def _what_is_lacking(latest: FlightNumbers) -> str:
    lacks = next((id_ for id_ in NEEDS if id_ not in latest.figures), "")
    if not lacks:
        return f": of the latest, {latest.name}, one of them is not above 0"
    return f": the latest, {latest.name}, has no {lacks} ({latest.why_lacking(lacks)})"
