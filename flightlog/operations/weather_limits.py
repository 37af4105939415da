"""Whether the weather was measured lately and lies within the limits of the aircraft's file.

What restricts needs nobody's role: of all that was measured at the site within the time for which
a measurement holds, everything has to be within the limits, but what an engineer measured again
later. What permits does: one of them has to be signed by an engineer.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from flightlog.errors import FlightlogError
from flightlog.inputs import WeatherLimits
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named
from flightlog.operations.weather import ROLE, impossible, measured, value_of, wind_components

WEATHER = "weather"
"""Name of the condition."""
_HOURS_FROM = 120
"""An age of so many minutes is told in hours."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One number of the weather beside its limit.

    Attributes
    ----------
    name, unit : str
        What it is.
    value : float
        As measured or computed, unrounded.
    bound : float or None
        None where the aircraft's file sets none.
    at_least : bool
        Whether the bound is a lower one.
    """

    name: str
    value: float
    unit: str
    bound: float | None
    at_least: bool = False

    @property
    def holds(self) -> bool:
        """Whether the number lies within its limit; without a limit it does."""
        if self.bound is None:
            return True
        return self.value >= self.bound if self.at_least else self.value <= self.bound

    @property
    def says(self) -> str:
        """The number and its limit, with as many decimals as keep them on their sides."""
        if self.bound is None:
            return (
                f"{self.name} {self.value:.4g} {self.unit}, and the aircraft's file sets no limit"
            )
        word = "at least" if self.at_least else "at most"
        shown = next(
            (
                text
                for text in (f"{self.value:.{places}f}" for places in range(1, 9))
                if Judged("", float(text), "", self.bound, self.at_least).holds == self.holds
            ),
            repr(self.value),
        )
        return f"{self.name} {shown} {self.unit}, {word} {self.bound:g} {self.unit}"


def against_limits(
    entry: Entry | Draft, limits: WeatherLimits, heading_deg: float | None
) -> tuple[Judged, ...]:
    """Put the numbers of a weather entry beside the limits of an aircraft.

    Parameters
    ----------
    entry : Entry or Draft
        Of kind "weather".
    limits : WeatherLimits
        Of the aircraft's file.
    heading_deg : float or None
        Of the runway; without one the whole wind counts as crosswind.
    """
    parts = wind_components(entry, heading_deg)
    whole = "" if heading_deg is not None else " (no runway known, so the whole wind)"
    temperature = value_of(entry, "temperature")
    cross = limits.crosswind_m_s
    return (
        Judged("mean wind", value_of(entry, "wind_mean"), "m/s", limits.wind_mean_m_s),
        Judged("gusts", value_of(entry, "wind_gust"), "m/s", limits.wind_gust_m_s),
        Judged(f"crosswind{whole}", abs(parts.cross), "m/s", cross),
        Judged(f"crosswind in gusts{whole}", abs(parts.gust_cross), "m/s", cross),
        Judged("temperature", temperature, "°C", limits.temperature_max_c),
        Judged("temperature", temperature, "°C", limits.temperature_min_c, at_least=True),
    )


def heading_of(desk: Desk, site: str) -> float | None:
    """Give the direction of take-off of a site, None where it is not known."""
    runway = desk.site(site).runway if site else None
    return runway.heading_deg if runway is not None else None


def weather_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the weather was measured lately and lies within the aircraft's limits.

    Where the plan names a site, what was measured there counts; else what was measured anywhere.
    """
    try:
        return [_condition(desk, plan)]
    except FlightlogError as error:
        says = f"{error.where}: {error.found}" if error.where else error.found
        return [Condition(WEATHER, False, says, error.fix or "Put that right first.")]


def _condition(desk: Desk, plan: Plan) -> Condition:
    measure = f"'flightlog weather add --place {plan.site or 'PLACE'} ... --by WHO'"
    limits = desk.aircraft(plan.aircraft).weather
    if limits is None or _sets_none(limits):
        return Condition(
            WEATHER,
            False,
            f"the file of {plan.aircraft} sets no limits for the weather",
            "Add [weather] to it, and enter it: 'flightlog team enter FILE'.",
        )
    ahead, fresh = _lately(desk, plan.site, timedelta(minutes=limits.valid_min))
    if ahead:
        return Condition(
            WEATHER,
            False,
            f"{named(ahead[0])} lies ahead of this laptop's clock",
            f"Set the clock; then measure: {measure}.",
            ahead,
        )
    if not any(_is_signed(desk, entry) for entry in fresh):
        return Condition(WEATHER, False, _why_none(desk, plan, limits), f"Measure: {measure}.")
    return _judged(desk, plan, limits, fresh, measure)


def _sets_none(limits: WeatherLimits) -> bool:
    return (
        limits.wind_mean_m_s is None
        and limits.wind_gust_m_s is None
        and limits.crosswind_m_s is None
    )


def _lately(desk: Desk, site: str, valid: timedelta) -> tuple[tuple[Entry, ...], tuple[Entry, ...]]:
    """Give what lies ahead of the clock, and what was measured lately and not again since."""
    ledger = desk.ledger
    every = measured(desk, site)
    ages = {entry.hash: ledger.now - ledger.when(entry) for entry in every}
    recent = [e for e in every if -CLOCKS_APART <= ages[e.hash] <= valid]
    signed = [e for e in recent if _is_signed(desk, e)]

    def is_replaced(entry: Entry) -> bool:
        """Whether it was measured again by somebody whose clock can be compared with its own."""
        return any(
            ledger.has_seen(other, entry)
            or (ledger.has_seen(entry, other) and ages[other.hash] < ages[entry.hash])
            for other in signed
            if other is not entry and ages[other.hash] <= ages[entry.hash]
        )

    ahead = tuple(
        e
        for e in every
        if ages[e.hash] < -CLOCKS_APART and not any(ledger.has_seen(o, e) for o in signed)
    )
    return ahead, tuple(e for e in recent if not is_replaced(e))


def _is_signed(desk: Desk, entry: Entry) -> bool:
    return bool(desk.ledger.persons(entry, "measured", ROLE))


def _why_none(desk: Desk, plan: Plan, limits: WeatherLimits) -> str:
    """Say why there is no measurement that holds."""
    at = f" at {plan.site}" if plan.site else ""
    ages = [desk.ledger.now - desk.ledger.when(e) for e in measured(desk, plan.site)]
    if not ages:
        return f"nobody measured it{at}"
    minutes = min(ages) / timedelta(minutes=1)
    if minutes <= limits.valid_min:
        return f"nobody measured it{at} in the role {ROLE!r}"
    ago = f"{minutes:.0f} min" if minutes < _HOURS_FROM else f"{minutes / 60:.1f} h"
    return f"measured {ago} ago{at}; it holds for {limits.valid_min:g} min"


def _judged(
    desk: Desk, plan: Plan, limits: WeatherLimits, fresh: tuple[Entry, ...], measure: str
) -> Condition:
    heading = heading_of(desk, plan.site)
    for entry in fresh:
        beyond = [j.says for j in against_limits(entry, limits, heading) if not j.holds]
        wrong = impossible(entry)
        if wrong or beyond:
            says = f"{named(entry)}: {wrong or '; '.join(beyond)}"
            return Condition(WEATHER, False, says, f"Wait; then measure anew: {measure}.", (entry,))
    last = max(fresh, key=desk.ledger.when)
    said, every = last.body.content, against_limits(last, limits, heading)
    minutes = max(0.0, (desk.ledger.now - desk.ledger.when(last)) / timedelta(minutes=1))
    unset = [j.name for j in every if j.bound is None]
    says = (
        f"{said['place']}, {minutes:.0f} min ago: wind {said['wind_mean']['value']} m/s from "
        f"{said['wind_from']['value']} deg, gusts {said['wind_gust']['value']} m/s, "
        f"{said['temperature']['value']} °C; {every[3].says}"
    )
    if unset:
        says += f"; the aircraft's file sets no limit for {', '.join(dict.fromkeys(unset))}"
    return Condition(WEATHER, True, says, "", fresh)
