"""What the next take-off is flown under: the weather measured last, the strip, the pack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.errors import NotEnoughDataError
from flightlog.estimation.air import moist_air
from flightlog.inputs import AIR_TEMPERATURE_STD_K, Aircraft, Runway, WeatherLimits
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.pack_state import PackState, pack_state, typed_state
from flightlog.operations.plan import Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest
from flightlog.operations.weather import (
    HUMIDITY_STD,
    ROLE,
    air_density,
    impossible,
    latest_weather,
    measured,
    value_of,
    wind_components,
)
from flightlog.prediction.takeoffs import Setting, Wind

_HOURS_FROM = 120
"""An age of so many minutes is told in hours."""


@dataclass(frozen=True, slots=True)
class Today:
    """What the next take-off is flown under.

    Attributes
    ----------
    weather : Entry
        The measurement.
    day : str
        Date in UTC.
    headwind_m_s, density_kg_m3 : float
        By it.
    wind : Wind
        Mean and gust.
    runway : Runway
        Of the site.
    pack : PackState
        How full it is.
    faults : tuple of str
        Why nobody should load by what follows from it. Clauses without a full stop.
    """

    weather: Entry
    day: str
    headwind_m_s: float
    density_kg_m3: float
    wind: Wind
    runway: Runway
    pack: PackState
    faults: tuple[str, ...]

    @property
    def pack_ratio(self) -> float:
        """Rest voltage over that of a full pack; 1 where it is not known, which is a fault."""
        return self.pack.ratio if self.pack.ratio is not None else 1.0

    def setting(self, mass_kg: float, *, more_wind: float = 0.0, warmer_k: float = 0.0) -> Setting:
        """Give what the model is asked, with so much more headwind [m/s], or in warmer air [K]."""
        return Setting(
            mass_kg,
            self.density_kg_m3 if not warmer_k else self._warmer(warmer_k),
            self.headwind_m_s + more_wind,
            self.day,
            self.runway.slope,
            self.runway.surface,
            self.pack_ratio,
        )

    def _warmer(self, by_k: float) -> float:
        return moist_air(
            value_of(self.weather, "pressure") * 100.0,
            value_of(self.weather, "temperature") + ZERO_CELSIUS_K + by_k,
            value_of(self.weather, "humidity") / 100.0,
            temperature_std_k=AIR_TEMPERATURE_STD_K,
            humidity_std=HUMIDITY_STD,
        ).value


def today(desk: Desk, plan: Plan, pack_voltage: float | None = None) -> Today:
    """Gather what the next take-off is flown under.

    Parameters
    ----------
    desk : Desk
        The record.
    plan : Plan
        With its site.
    pack_voltage : float, optional
        Rest voltage of the pack as typed [V]; by the record where left out.

    Raises
    ------
    NotEnoughDataError
        If nobody measured the weather, or the headwind does not follow from it.
    UsageError
        If a file of the plan is not in the record, or the voltage can't be one of the pack.
    """
    measure = f"Measure it: 'flightlog weather add --place {plan.site or 'PLACE'} ... --by WHO'."
    runway = desk.site(plan.site).runway if plan.site else None
    if runway is None:
        raise NotEnoughDataError(
            f"the file of {plan.site} has no [runway]" if plan.site else "no site is chosen",
            where="headwind",
            fix="Choose a site with a [runway]: --site ID.",
        )
    weather = latest_weather(desk, plan.site)
    if weather is None:
        raise NotEnoughDataError(
            f"nobody measured the weather at {plan.site}", where="weather", fix=measure
        )
    density = air_density(weather)
    if density is None:
        raise NotEnoughDataError(
            f"{named(weather)} can't be: {impossible(weather)}", where="weather", fix=measure
        )
    known = typed_state(desk, plan.pack, pack_voltage) if pack_voltage is not None else None
    pack = known or pack_state(desk, plan.pack)
    apart = newest(desk.ledger, measured(desk, plan.site))
    faults = [
        _apart(apart),
        _age(desk, desk.aircraft(plan.aircraft), weather),
        _unsigned(desk, weather),
    ]
    if pack.ratio is None:
        faults.append(f"{pack.says}: measure it and give --pack-voltage, or enter the charge")
    return Today(
        weather,
        desk.ledger.now.date().isoformat(),
        wind_components(weather, runway.heading_deg).head,
        density.value,
        Wind(value_of(weather, "wind_mean"), value_of(weather, "wind_gust")),
        runway,
        pack,
        tuple(filter(None, faults)),
    )


def _apart(measurements: Sequence[Entry]) -> str:
    """Say that two laptops measured apart from each other; "" where there is one newest."""
    if len(measurements) < 2:
        return ""
    told = " and ".join(
        f"{named(e)} ({value_of(e, 'wind_mean'):.1f} m/s)" for e in measurements[:3]
    )
    return f"weather {told} were entered apart from each other: measure it once more"


def _unsigned(desk: Desk, weather: Entry) -> str:
    """Say that nobody of the role measured it; "" where somebody did."""
    if desk.ledger.persons(weather, "measured", ROLE):
        return ""
    return f"weather {named(weather)} was not measured in the role {ROLE!r}"


def _age(desk: Desk, aircraft: Aircraft, weather: Entry) -> str:
    """Say how a measurement is too old, or lies ahead; "" where it holds."""
    limits = aircraft.weather or WeatherLimits()
    age = desk.ledger.now - desk.ledger.when(weather)
    if age < -CLOCKS_APART:
        return f"weather {named(weather)} lies ahead of this laptop's clock: set the clock"
    minutes = age / timedelta(minutes=1)
    if minutes <= limits.valid_min:
        return ""
    ago = f"{minutes:.0f} min" if minutes < _HOURS_FROM else f"{minutes / 60:.1f} h"
    return (
        f"weather {named(weather)} was measured {ago} ago and holds for {limits.valid_min:g} min: "
        "measure it anew"
    )
