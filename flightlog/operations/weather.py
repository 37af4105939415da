"""Wind and air at the strip, as somebody measured them, and whether the aircraft is flown in them.

Pressure is that at the strip itself, not reduced to sea level. Wind blows from its direction, in
degrees from true north.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from flightlog.constants import MERCURY_PA_MM, ZERO_CELSIUS_K
from flightlog.errors import UsageError
from flightlog.estimation.air import moist_air, standard_atmosphere
from flightlog.inputs import AIR_TEMPERATURE_STD_K
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CORRECTS, Attachment, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import WEATHER
from flightlog.operations.desk import Desk
from flightlog.operations.positions import number
from flightlog.uncertain import Uncertain

ROLE = "engineer"
"""The role in which a person measures."""
HUMIDITY_STD = 0.05
"""Standard uncertainty of a relative humidity that a handheld meter shows. [-]"""
USUAL_HPA = 40.0
"""Weather moves the pressure at a place by no more than this from that of standard air. [hPa]"""


@dataclass(frozen=True, slots=True)
class _Field:
    """What a number of the weather may be: its unit, its range, and how it is to be given."""

    unit: str
    least: float
    most: float
    how: str


FIELDS = {
    "mast_height": _Field("m", 1.5, 30, "the height of the meter above the ground, in metres"),
    "averaged": _Field("s", 1, 7200, "the time over which it was averaged, in seconds"),
    "wind_mean": _Field("m/s", 0, 40, "in m/s, not in km/h or knots"),
    "wind_gust": _Field("m/s", 0, 60, "in m/s, not in km/h or knots"),
    "wind_from": _Field("deg", 0, 360, "in degrees from true north, where the wind comes from"),
    "pressure": _Field("hPa", 500, 1100, "in hPa at the strip itself, not reduced to sea level"),
    "temperature": _Field("°C", -40, 55, "in °C in the shade"),
    "humidity": _Field("%", 2, 100, "relative, in per cent"),
}
"""Number of a weather entry -> what it may be. Wind close to the ground reads low, hence the
least mast height."""

_LOOKS = {
    "pressure": (
        (50_000, 110_000, "Pa", 0.01),
        (50, 110, "kPa", 10.0),
        (15, 33, "inches of mercury", 25.4 * MERCURY_PA_MM / 100),
    ),
    "temperature": ((200, 330, "kelvin", None), (55, 130, "Fahrenheit", None)),
    "humidity": ((0, 2, "a share of one", 100.0),),
}
"""Number out of range -> from, to, what it looks like then, and the factor that puts it right."""
_MERCURY_MM = (680, 800)


def weather_draft(
    place: str,
    instrument: str,
    numbers: Mapping[str, str],
    key: str,
    *,
    source: str = "read-off",
    elevation_m: float | None = None,
    occurred: datetime | None = None,
    late_reason: str = "",
    corrects: Entry | None = None,
    attachments: Sequence[Attachment] = (),
) -> Draft:
    """Draft a weather entry from numbers as they were read off.

    Parameters
    ----------
    place : str
        Id of the site, or words.
    instrument : str
        What was read.
    numbers : mapping
        Key of `FIELDS` -> digits; all but ``averaged`` are needed.
    key : str
        Public key of the person.
    source : str
        "read-off" or "meter-file".
    elevation_m : float, optional
        Of the site above sea level, where known: the pressure has to fit it. [m]
    occurred, late_reason
        When it was measured, where that is not now.
    corrects : Entry, optional
        An earlier weather entry that this one puts right.
    attachments : sequence of Attachment
        The meter's file.

    Raises
    ------
    UsageError
        If a number is missing, is none, or can't be what it is said to be.
    """
    content: dict[str, Any] = {"place": place, "instrument": instrument, "source": source}
    for name, text in numbers.items():
        content[name] = quantity(_checked(name, number(text, _words(name))), FIELDS[name].unit)
    missing = next((n for n in FIELDS if n not in content and n != "averaged"), "")
    if missing:
        raise UsageError(
            "is missing",
            where=_words(missing),
            fix="Measure it: what is not known can't be judged.",
        )
    if Decimal(content["wind_gust"]["value"]) < Decimal(content["wind_mean"]["value"]):
        raise UsageError(
            f"{content['wind_gust']['value']} m/s is below the mean of "
            f"{content['wind_mean']['value']} m/s",
            where="wind gust",
            fix="The gust is the greatest speed of the measurement, in the unit of the mean.",
        )
    _check_pressure(float(content["pressure"]["value"]), elevation_m)
    return Draft(
        WEATHER,
        content,
        [Signer(key, "measured", ROLE)],
        list(attachments),
        [Relation(CORRECTS, corrects.hash)] if corrects is not None else [],
        occurred=occurred,
        late_reason=late_reason,
    )


def _words(name: str) -> str:
    return name.replace("_", " ")


def _checked(name: str, value: Decimal) -> Decimal:
    field, amount = FIELDS[name], float(value)
    if field.least <= amount <= field.most:
        return value
    fix = f"Give it {field.how}."
    for least, most, looks, factor in _LOOKS.get(name, ()):
        if least <= amount <= most:
            right = f": {amount * factor:.5g} {field.unit}" if factor else ""
            fix = f"It looks like {looks}{right}. {fix}"
            break
    raise UsageError(
        f"{value} {field.unit} is not from {field.least:g} to {field.most:g}",
        where=_words(name),
        fix=fix,
    )


def _check_pressure(hpa: float, elevation_m: float | None) -> None:
    """Refuse a pressure that is none of the strip: reduced to sea level, or in another unit."""
    if elevation_m is not None:
        usual = standard_atmosphere(elevation_m)[1] / 100.0
        if abs(hpa - usual) > USUAL_HPA:
            raise UsageError(
                f"{hpa:g} hPa is far from the {usual:.0f} hPa that are usual at {elevation_m:g} m",
                where="pressure",
                fix="Give the pressure at the strip itself, not reduced to sea level; or correct "
                "elevation_m in the site's file.",
            )
    elif _MERCURY_MM[0] <= hpa <= _MERCURY_MM[1]:
        raise UsageError(
            f"{hpa:g} hPa may be millimetres of mercury",
            where="pressure",
            fix=f"Then it is {hpa * MERCURY_PA_MM / 100:.1f} hPa. If the strip does lie so high, "
            "write elevation_m into the site's file.",
        )


# --- what an entry says


@dataclass(frozen=True, slots=True)
class Components:
    """Wind on a runway: head from ahead, cross from the right [m/s]; of mean and of gust."""

    head: float
    cross: float
    gust_head: float
    gust_cross: float


def said_of(entry: Entry | Draft) -> Mapping[str, Any]:
    """Give what a weather entry says, or would say."""
    return entry.content if isinstance(entry, Draft) else entry.body.content


def value_of(entry: Entry | Draft, name: str) -> float:
    """Give a number of a weather entry, in the unit of `FIELDS`."""
    return float(said_of(entry)[name]["value"])


def wind_components(entry: Entry | Draft, heading_deg: float | None) -> Components:
    """Split the wind of an entry along and across a runway.

    Parameters
    ----------
    entry : Entry or Draft
        Of kind "weather".
    heading_deg : float or None
        Direction of take-off from true north; without one the whole wind counts as crosswind.
    """
    mean, gust = value_of(entry, "wind_mean"), value_of(entry, "wind_gust")
    if heading_deg is None:
        return Components(0.0, mean, 0.0, gust)
    angle = math.radians(value_of(entry, "wind_from") - heading_deg)
    along, across = math.cos(angle), math.sin(angle)
    return Components(mean * along, mean * across, gust * along, gust * across)


def impossible(entry: Entry | Draft) -> str:
    """Say what of an entry can't be, "" where all can: not every program asks before it writes."""
    content = said_of(entry)
    for name, field in FIELDS.items():
        if name in content and not field.least <= value_of(entry, name) <= field.most:
            return f"{_words(name)} {content[name]['value']} {field.unit} can't be"
    if value_of(entry, "wind_gust") < value_of(entry, "wind_mean"):
        return "the gust is below the mean"
    return ""


def air_density(entry: Entry | Draft) -> Uncertain | None:
    """Give the density of the air of an entry, as sure as handheld instruments are [kg/m³].

    None where the entry says what can't be.
    """
    if impossible(entry):
        return None
    return moist_air(
        value_of(entry, "pressure") * 100.0,
        value_of(entry, "temperature") + ZERO_CELSIUS_K,
        value_of(entry, "humidity") / 100.0,
        temperature_std_k=AIR_TEMPERATURE_STD_K,
        humidity_std=HUMIDITY_STD,
    )


def latest_weather(desk: Desk, place: str = "") -> Entry | None:
    """Give the weather that was measured last, at a place where one is named."""
    return max(measured(desk, place), key=desk.ledger.when, default=None)


def measured(desk: Desk, place: str = "") -> tuple[Entry, ...]:
    """Give all that was measured and not corrected, at a place where one is named."""
    return tuple(
        e for e in desk.ledger.of(WEATHER) if not place or e.body.content["place"] == place
    )


def elevation_of(desk: Desk, place: str) -> float | None:
    """Give how high a site lies above sea level, None where that is not known [m]."""
    known = desk.versions.in_force("site", place) is not None
    return desk.site(place).elevation_m if known else None
