"""Wind and air at the strip, as somebody measured them, and whether the aircraft is flown in them.

Pressure is that at the strip itself, not reduced to sea level. Wind blows from its direction, in
degrees from true north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.errors import UsageError
from flightlog.estimation.air import density
from flightlog.inputs import WeatherLimits
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import Entry, Signer
from flightlog.logbook.flying_kinds import WEATHER
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, number

ROLE = "engineer"
"""The role in which a person measures."""
_HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class _Field:
    """What a number of the weather may be: its unit, its range, and what else it looks like."""

    unit: str
    least: float
    most: float
    else_: str


FIELDS = {
    "mast_height": _Field("m", 0.5, 30, "the height above the ground, in metres"),
    "averaged": _Field("s", 1, 7200, "the time over which it was averaged, in seconds"),
    "wind_mean": _Field("m/s", 0, 40, "in m/s, not in knots or km/h"),
    "wind_gust": _Field("m/s", 0, 60, "in m/s, not in knots or km/h"),
    "wind_from": _Field("deg", 0, 360, "in degrees from true north, where the wind comes from"),
    "pressure": _Field("hPa", 500, 1100, "in hPa at the strip, not in Pa or inches of mercury"),
    "temperature": _Field("°C", -40, 55, "in °C in the shade, not in Fahrenheit or kelvin"),
    "humidity": _Field("%", 0, 100, "relative, in per cent"),
}
"""Number of a weather entry -> what it may be."""


def weather_draft(
    place: str,
    instrument: str,
    numbers: dict[str, str],
    key: str,
    *,
    source: str = "read-off",
    occurred: datetime | None = None,
    late_reason: str = "",
) -> Draft:
    """Draft a weather entry from numbers as they were read off.

    Parameters
    ----------
    place : str
        Id of the site, or words.
    instrument : str
        What was read.
    numbers : dict
        Key of ``FIELDS`` -> digits; all but ``averaged`` are needed.
    key : str
        Public key of the person.
    source : str
        "read-off" or "meter-file".
    occurred, late_reason
        When it was measured, where that is not now.

    Raises
    ------
    UsageError
        If a number is missing, is none, or can't be what it is said to be.
    """
    content: dict[str, Any] = {"place": place, "instrument": instrument, "source": source}
    for name, text in numbers.items():
        value = number(text, name)
        field = FIELDS[name]
        if not field.least <= float(value) <= field.most:
            raise UsageError(
                f"{text} is not between {field.least:g} and {field.most:g}",
                where=name.replace("_", " "),
                fix=f"Give it {field.else_}.",
            )
        content[name] = quantity(value, field.unit)
    missing = [n for n in FIELDS if n not in content and n != "averaged"]
    if missing:
        raise UsageError(
            f"{missing[0].replace('_', ' ')} is missing",
            where="weather",
            fix="Measure it: what is not known can't be judged.",
        )
    if Decimal(content["wind_gust"]["value"]) < Decimal(content["wind_mean"]["value"]):
        raise UsageError(
            "the gust is below the mean",
            where="wind",
            fix="The gust is the greatest speed of the measurement.",
        )
    return Draft(
        WEATHER,
        content,
        [Signer(key, "measured", ROLE)],
        occurred=occurred,
        late_reason=late_reason,
    )


@dataclass(frozen=True, slots=True)
class Components:
    """Wind on a runway: head from ahead, cross from the right [m/s]; of mean and of gust."""

    head: float
    cross: float
    gust_head: float
    gust_cross: float


def value_of(entry: Entry, name: str) -> float:
    """Give a number of a weather entry, in the unit of ``FIELDS``."""
    return float(entry.body.content[name]["value"])


def wind_components(entry: Entry, heading_deg: float | None) -> Components:
    """Split the wind of an entry along and across a runway.

    Parameters
    ----------
    entry : Entry
        Of kind "weather".
    heading_deg : float or None
        Direction of take-off from true north; without one the whole wind counts as crosswind.
    """
    mean, gust = value_of(entry, "wind_mean"), value_of(entry, "wind_gust")
    if heading_deg is None:
        return Components(0.0, mean, 0.0, gust)
    angle = math.radians(value_of(entry, "wind_from") - heading_deg)
    return Components(
        mean * math.cos(angle),
        mean * math.sin(angle),
        gust * math.cos(angle),
        gust * math.sin(angle),
    )


def air_density(entry: Entry) -> float:
    """Give the density of the air of an entry [kg/m³]."""
    return density(
        value_of(entry, "pressure") * 100.0,
        value_of(entry, "temperature") + ZERO_CELSIUS_K,
        value_of(entry, "humidity") / 100.0,
    )


def latest_weather(desk: Desk, place: str = "") -> Entry | None:
    """Give the weather that was measured last, at a place where one is named."""
    found = [e for e in desk.ledger.of(WEATHER) if not place or e.body.content["place"] == place]
    return max(found, key=desk.ledger.when) if found else None


def weather_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the weather was measured lately and lies within the aircraft's limits."""
    return [_condition(desk, plan)]


def _condition(desk: Desk, plan: Plan) -> Condition:
    def held(says: str, clear: str, *rests_on: Entry) -> Condition:
        return Condition("weather", False, says, clear, rests_on)

    measure = f"'flightlog weather add --place {plan.site or 'PLACE'} ... --by WHO'."
    limits = desk.aircraft(plan.aircraft).weather
    if limits is None:
        return held(
            f"the file of {plan.aircraft} sets no limits for the weather",
            "Add [weather] to it, and enter the file.",
        )
    entry = latest_weather(desk, plan.site)
    at = f" at {plan.site}" if plan.site else ""
    if entry is None or not desk.ledger.persons(entry, "measured", ROLE):
        return held(f"nobody measured it{at}", measure)
    age = desk.ledger.now - desk.ledger.when(entry)
    if age < -CLOCKS_APART:
        return held("it lies ahead of this laptop's clock", "Set the clock; then measure.", entry)
    minutes = max(0.0, age.total_seconds() / 60)
    if age > timedelta(minutes=limits.valid_min):
        return held(
            f"measured {minutes:.0f} min ago; it holds for {limits.valid_min:g} min", measure, entry
        )
    beyond = limits_passed(desk, plan, entry, limits)
    if beyond:
        return held("; ".join(beyond), f"Wait, then measure anew: {measure}", entry)
    said = (
        f"wind {value_of(entry, 'wind_mean'):g} m/s, gusts {value_of(entry, 'wind_gust'):g} m/s "
        f"from {value_of(entry, 'wind_from'):.0f} deg, {value_of(entry, 'temperature'):g} °C, "
        f"{minutes:.0f} min ago: within the limits of {plan.aircraft}"
    )
    return Condition("weather", True, said, "", (entry,))


def limits_passed(desk: Desk, plan: Plan, entry: Entry, limits: WeatherLimits) -> list[str]:
    """Say which limits of the aircraft the weather goes beyond; compared unrounded."""
    site = desk.site(plan.site) if plan.site else None
    heading = site.runway.heading_deg if site is not None and site.runway is not None else None
    parts = wind_components(entry, heading)
    cross = max(abs(parts.cross), abs(parts.gust_cross))
    whole = "" if heading is not None else " (no runway known: the whole wind counts)"
    pairs = [
        ("mean wind", value_of(entry, "wind_mean"), limits.wind_mean_m_s, "m/s", ""),
        ("gusts", value_of(entry, "wind_gust"), limits.wind_gust_m_s, "m/s", ""),
        ("crosswind in gusts", cross, limits.crosswind_m_s, "m/s", whole),
        ("temperature", value_of(entry, "temperature"), limits.temperature_max_c, "°C", ""),
    ]
    beyond = [
        f"{name} {value:.2f} {unit}, at most {most:g} {unit}{note}"
        for name, value, most, unit, note in pairs
        if most is not None and value > most
    ]
    least = limits.temperature_min_c
    if least is not None and value_of(entry, "temperature") < least:
        beyond.append(f"temperature {value_of(entry, 'temperature'):g} °C, at least {least:g} °C")
    return beyond
