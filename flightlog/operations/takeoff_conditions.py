"""What a past take-off was flown under: configuration, mass, air, headwind, strip, pack.

All of it comes from what the release of the flight cites. The wind is that of the weather entry,
and never the log's own: the take-off model is about what was measured beside the strip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flightlog.inputs import Runway
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import WEATHER
from flightlog.operations.desk import Desk
from flightlog.operations.flown_under import flown_under
from flightlog.operations.pack_state import pack_state
from flightlog.operations.positions import named
from flightlog.operations.season_table import Number
from flightlog.operations.sorties import SortieRecord
from flightlog.operations.usage import stays_of
from flightlog.operations.weather import air_density, impossible, value_of, wind_components
from flightlog.prediction.takeoffs import Wind

MASS = "mass.takeoff"
_PROPULSION = "propulsion"


_LARGEST = 1e6
_RANGES = {
    "takeoff.ground_roll": (0.3, 2000.0),
    "takeoff.liftoff_ground_speed": (0.5, 150.0),
    "takeoff.liftoff_airspeed": (0.5, 150.0),
    MASS: (0.05, 1000.0),
}
"""Figure -> from where to where it can be, in its unit; all others up to `_LARGEST` either way."""


@dataclass(frozen=True, slots=True)
class Under:
    """What a flight was flown under.

    Attributes
    ----------
    day : str
        Date in UTC.
    mass_kg, density_kg_m3, headwind_m_s : float
        Take-off mass, air density, and headwind as measured beside the strip.
    runway : Runway
        Of the site.
    wind : Wind
        Mean and gust.
    pack_ratio : float or None
        Rest voltage of the pack over that of a full one; None where nothing says it.
    """

    day: str
    mass_kg: float
    density_kg_m3: float
    headwind_m_s: float
    runway: Runway
    wind: Wind
    pack_ratio: float | None


def under_of(
    desk: Desk, flight: SortieRecord, figures: Mapping[str, Number]
) -> tuple[Under | None, str]:
    """Give what a flight was flown under, or why that is not known.

    Parameters
    ----------
    desk : Desk
        The record.
    flight : SortieRecord
        Of a known aircraft.
    figures : mapping
        Of its debrief.
    """
    if flight.release is None:
        return None, "flown without a release, which would cite load and weather"
    weather = weather_of(desk, flight.release)
    if weather is None:
        return None, "its release cites no weather"
    density = air_density(weather)
    if density is None:
        return None, f"its weather {named(weather)} can't be: {impossible(weather)}"
    inputs = flown_under(desk, flight.aircraft, flight.release).inputs
    runway = inputs.site.runway if inputs.site is not None else None
    if runway is None:
        return None, "its release names no site with a runway, so that the headwind is not known"
    declared, mass = figures.get(MASS), inputs.mass
    kg = declared.value if declared is not None else mass.kg if mass is not None else None
    if kg is None:
        return None, "neither its debrief nor a load sheet says the take-off mass"
    found = Under(
        flight.began.date().isoformat(),
        kg,
        density.value,
        wind_components(weather, runway.heading_deg).head,
        runway,
        Wind(value_of(weather, "wind_mean"), value_of(weather, "wind_gust")),
        pack_state(desk, flight.pack, before=flight).ratio,
    )
    return found, ""


def weather_of(desk: Desk, release: Entry) -> Entry | None:
    """Give the weather that a release cites, as it was put right where somebody did."""
    ledger = desk.ledger
    cited = max(ledger.named(release, CITES, WEATHER), key=ledger.when, default=None)
    if cited is None:
        return None
    mended = [e for e in ledger.corrections(cited) if e.body.kind == WEATHER]
    return mended[-1] if mended else cited


def figures_of(debrief: Mapping[str, Any] | None) -> dict[str, Number]:
    """Give the figures of a flight's stored debrief, but those that can't be."""
    said = (debrief or {}).get("figures") or {}
    found = {
        id_: Number(float(one["value"]), float(one["low"]), float(one["high"]))
        for id_, one in said.items()
        if all(one.get(key) is not None for key in ("value", "low", "high"))
    }
    return {id_: number for id_, number in found.items() if not cant_be(id_, number)}


def cant_be(figure: str, number: Number) -> bool:
    """Whether a number is none of a flight: a debrief may have been written by any program."""
    least, most = _RANGES.get(figure, (-_LARGEST, _LARGEST))
    ordered = number.low <= number.value <= number.high  # NaN is not
    return not (ordered and least <= number.value <= most and number.high - number.low < _LARGEST)


# --- the configuration


def is_as_now(desk: Desk, flight: SortieRecord) -> bool:
    """Whether a flight was flown in the configuration in force: rigged so, and driven so.

    A spare motor or propeller of the same make changes nothing.
    """
    now = desk.aircraft(flight.aircraft)
    if flight.release is not None:
        then = flight.release.body.content.get("configuration") or ""
        if then != now.configuration:
            return False
    drove = _drives(desk, flight.aircraft, flight)
    return all(
        drove.get(position, make) == make
        for position, make in _drives(desk, flight.aircraft, None).items()
    )


def _drives(desk: Desk, aircraft: str, flight: SortieRecord | None) -> dict[str, str]:
    """Give what drives an aircraft, on a flight or now: position -> make."""
    found = {}
    for component in desk.versions.ids("component"):
        file = desk.component(component)
        if file.group != _PROPULSION:
            continue
        for stay in stays_of(desk, component):
            there = (
                not stay.removals
                if flight is None
                else stay.holds_at(desk.ledger, flight.began, flight.release)
            )
            if there and stay.aircraft == aircraft:
                found[str(stay.fitting.body.content["position"])] = file.title
    return found
