"""Units that columns of text files come in, their spellings, and the way to the house's unit.

The exact spelling is what a column map takes; the others are what headers hold. One spelling may
stand for several units ("C" for coulomb and degree Celsius): the quantity of the column decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

from flightlog.constants import (
    FOOT_M,
    G0_M_S2,
    KNOT_M_S,
    MERCURY_PA_MM,
    MILE_PER_HOUR_M_S,
    POUND_KG,
    ZERO_CELSIUS_K,
)


@dataclass(frozen=True, slots=True)
class ColumnUnit:
    """One unit.

    Attributes
    ----------
    name : str
        As a column map writes it.
    house : str
        The house's unit of the same quantity, as in `flightlog.columns`.
    over, times : float
        A value in the house's unit is ``value * times / over + offset``: one of the two is 1, so
        that round decimals stay round.
    offset : float
        In the house's unit.
    spellings : tuple of str
        How headers write it besides; case does not count unless two units differ by it alone.
    """

    name: str
    house: str
    times: float = 1.0
    over: float = 1.0
    offset: float = 0.0
    spellings: tuple[str, ...] = ()


def _unit(
    name: str,
    house: str,
    spellings: str = "",
    *,
    times: float = 1.0,
    over: float = 1.0,
    offset: float = 0.0,
) -> ColumnUnit:
    return ColumnUnit(name, house, times, over, offset, tuple(spellings.split()))


FULL_STICK = 1024.0
"""What transmitters write for a stick at 100 %. [-]"""

STICK_TRAVEL_US = 512.0
"""Change of the pulse for a stick at 100 %. [us]"""

PULSE_MIDDLE_US = 1500.0
"""Pulse of a stick in the middle. [us]"""

_DEGREE = math.pi / 180

UNITS: tuple[ColumnUnit, ...] = (
    # time
    _unit("s", "s", "sec second seconds"),
    _unit("ms", "s", "msec millisecond milliseconds", over=1e3),
    _unit("us", "s", "usec µs μs microsecond microseconds", over=1e6),
    _unit("min", "s", "minute minutes", times=60.0),
    _unit("h", "s", "hour hours hr", times=3600.0),
    # place
    _unit("m", "m", "meter meters metre metres"),
    _unit("cm", "m", over=100.0),
    _unit("mm", "m", over=1000.0),
    _unit("km", "m", times=1000.0),
    _unit("ft", "m", "feet foot '", times=FOOT_M),
    # speed
    _unit("m/s", "m/s", "mps ms-1 m/sec m·s⁻¹"),
    _unit("cm/s", "m/s", "cmps cms", over=100.0),
    _unit("km/h", "m/s", "kmh kph kmph km/hr", over=3.6),
    _unit("kn", "m/s", "kt kts knot knots", times=KNOT_M_S),
    _unit("mph", "m/s", "mi/h", times=MILE_PER_HOUR_M_S),
    _unit("ft/s", "m/s", "f/s fps", times=FOOT_M),
    _unit("ft/min", "m/s", "fpm", times=FOOT_M / 60),
    # angle; the house has degrees for places and courses and radians for the rest
    _unit("deg", "deg", "° @ º degree degrees"),
    _unit("deg", "rad", "° @ º degree degrees", times=_DEGREE),
    _unit("rad", "deg", "radian radians", times=180 / math.pi),
    _unit("rad", "rad", "radian radians"),
    _unit("mrad", "rad", over=1000.0),
    _unit("cdeg", "deg", "centideg", over=100.0),
    _unit("cdeg", "rad", "centideg", times=_DEGREE / 100),
    _unit("1e-7 deg", "deg", "1e-7deg degE7 deg*1e7", over=1e7),
    # power
    _unit("V", "V", "volt volts"),
    _unit("mV", "V", over=1000.0),
    _unit("A", "A", "amp amps ampere"),
    _unit("mA", "A", over=1000.0),
    _unit("cA", "A", over=100.0),
    _unit("C", "C", "coulomb As"),
    _unit("mAh", "C", times=3.6),
    _unit("Ah", "C", times=3600.0),
    _unit("J", "J", "joule Ws"),
    _unit("kJ", "J", times=1000.0),
    _unit("Wh", "J", times=3600.0),
    _unit("mWh", "J", times=3.6),
    # air and warmth
    _unit("K", "K", "kelvin"),
    _unit("degC", "K", "°C @C ºC ℃ C celsius", offset=ZERO_CELSIUS_K),
    _unit("degF", "K", "°F @F ºF ℉ F fahrenheit", over=1.8, offset=ZERO_CELSIUS_K - 32 / 1.8),
    _unit("Pa", "Pa", "pascal"),
    _unit("hPa", "Pa", "mbar mb millibar", times=100.0),
    _unit("kPa", "Pa", times=1000.0),
    _unit("inHg", "Pa", times=25.4 * MERCURY_PA_MM),
    _unit("mmHg", "Pa", "torr", times=MERCURY_PA_MM),
    # motion
    _unit("rad/s", "rad/s"),
    _unit("deg/s", "rad/s", "°/s @/s dps", times=_DEGREE),
    _unit("rpm", "rad/s", "1/min min-1 u/min", times=2 * math.pi / 60),
    _unit("Hz", "rad/s", "1/s rps rev/s", times=2 * math.pi),
    _unit("m/s2", "m/s²", "m/s² m/s^2 mps2"),
    _unit("g", "m/s²", "gee g0", times=G0_M_S2),
    _unit("mg", "m/s²", times=G0_M_S2 / 1000),
    # the bench
    _unit("N", "N", "newton newtons"),
    _unit("gf", "N", "gram-force", times=G0_M_S2 / 1000),
    _unit("kgf", "N", "kp", times=G0_M_S2),
    _unit("lbf", "N", times=POUND_KG * G0_M_S2),
    _unit("N·m", "N·m", "Nm N*m N-m N.m"),
    _unit("N·mm", "N·m", "Nmm N*mm", over=1000.0),
    _unit("kg", "kg", "kilogram"),
    _unit("g", "kg", "gram grams gr", over=1000.0),
    _unit("W", "W", "watt watts"),
    _unit("kW", "W", times=1000.0),
    # signals
    _unit("us", "us", "usec µs μs microsecond microseconds"),
    _unit("ms", "us", times=1000.0),
    # A stick: -1024 to 1024 for -100 % to 100 %, 512 us each way from the middle.
    _unit("stick", "us", times=STICK_TRAVEL_US / FULL_STICK, offset=PULSE_MIDDLE_US),
    _unit("stick %", "us", times=STICK_TRAVEL_US / 100, offset=PULSE_MIDDLE_US),
    _unit("%", "%", "pct percent"),
    _unit("share", "%", times=100.0),
    _unit("dBm", "dBm", "dB"),
    # pure numbers and text
    _unit("", "", "- count counts raw"),
)
"""All units."""

_BY_HOUSE: MappingProxyType[str, tuple[ColumnUnit, ...]] = MappingProxyType(
    {
        house: tuple(u for u in UNITS if u.house == house)
        for house in dict.fromkeys(u.house for u in UNITS)
    }
)


def units_for(house: str) -> tuple[ColumnUnit, ...]:
    """Give the units that a column in a house unit may come in, the house's own first."""
    return tuple(sorted(_BY_HOUSE.get(house, ()), key=lambda u: (u.times, u.over) != (1.0, 1.0)))


def named_unit(name: str, house: str) -> ColumnUnit | None:
    """Give the unit of exactly this name for a column in a house unit."""
    return next((u for u in _BY_HOUSE.get(house, ()) if u.name == name), None)


def spelled_unit(spelling: str, house: str) -> ColumnUnit | None:
    """Give the unit that a header spells for a column in a house unit; None when it is unclear."""
    text = spelling.strip().replace(" ", "")
    if not text:
        return None
    units = _BY_HOUSE.get(house, ())
    exact = [u for u in units if text == u.name or text in u.spellings]
    if exact:
        return exact[0]
    folded = text.casefold()
    loose = [u for u in units if folded in {s.casefold() for s in (u.name, *u.spellings)}]
    return loose[0] if len(loose) == 1 else None


def is_unit(spelling: str) -> bool:
    """Whether a spelling is that of any unit."""
    text = spelling.strip().replace(" ", "")
    return bool(text) and any(spelled_unit(text, house) for house in _BY_HOUSE if house)
