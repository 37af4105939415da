"""What is given beside a log: options, and the files that they name."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from flightlog.errors import FlightlogError

if TYPE_CHECKING:
    from flightlog.inputs import Aircraft, GivenWind, Inputs, Site
    from flightlog.rules.book import RuleBook

MASS_STD_KG = 0.02
"""Standard uncertainty of a mass that is given as an option: a field scale's [kg]."""


@dataclass(frozen=True, slots=True)
class Options:
    """The options of ``debrief`` that stand in for files or name them."""

    site: Path | None = None
    aircraft: Path | None = None
    rules: Path | None = None
    mass_kg: float | None = None
    wind: str | None = None
    payload_units: int | None = None
    entered: tuple[str, ...] = ()


def gather(options: Options) -> tuple[Inputs, RuleBook | None]:
    """Read what the options give.

    Raises
    ------
    TeamFileError
        If a file is at fault.
    typer.BadParameter
        If an option is.
    """
    entered = dict(_entered(text) for text in options.entered)
    mass_kg = options.mass_kg
    if mass_kg is not None and not (math.isfinite(mass_kg) and mass_kg > 0):
        raise typer.BadParameter(f"a mass is above 0 kg, got {mass_kg:g}", param_hint="--mass")

    from flightlog.inputs import Inputs, Mass

    inputs = Inputs(
        site=_site(options.site),
        aircraft=_aircraft(options.aircraft),
        mass=Mass(mass_kg, MASS_STD_KG, "option") if mass_kg is not None else None,
        wind=_wind(options.wind),
        payload_units=options.payload_units,
        entered=entered,
    )
    return inputs, _rules(options.rules)


# The loaders bring the schema library with them, so each is imported only for a file that is given.


def _site(path: Path | None) -> Site | None:
    if path is None:
        return None
    from flightlog.inputs import load_site

    return load_site(path)


def _aircraft(path: Path | None) -> Aircraft | None:
    if path is None:
        return None
    from flightlog.inputs import load_aircraft

    return load_aircraft(path)


def _rules(path: Path | None) -> RuleBook | None:
    if path is None:
        return None
    from flightlog.rules.book import load_rules

    return load_rules(path)


def _wind(text: str | None) -> GivenWind | None:
    if text is None:
        return None
    from flightlog.inputs import parse_wind

    try:
        return parse_wind(text)
    except FlightlogError as error:
        raise typer.BadParameter(error.found, param_hint="--wind") from error


def _entered(text: str) -> tuple[str, float]:
    name, equals, number = text.partition("=")
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if not (name.strip() and equals and math.isfinite(value)):
        raise typer.BadParameter(
            f"give a name and a number, as in field_best=1200; got {text!r}",
            param_hint="--entered",
        )
    return name.strip(), value
