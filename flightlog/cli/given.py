"""What is given beside a log: options, and the files that they name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import typer

from flightlog.errors import FlightlogError

if TYPE_CHECKING:
    from flightlog.inputs import Aircraft, Inputs, Pack, Site
    from flightlog.rules.book import RuleBook

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Options:
    """The options of ``debrief`` that stand in for files or name them."""

    site: Path | None = None
    aircraft: Path | None = None
    pack: Path | None = None
    rules: Path | None = None
    mass: str | None = None
    wind: str | None = None
    air_temperature: str | None = None
    payload_units: int | None = None
    charged: str | None = None
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
    entered = dict(parse_entered(text) for text in options.entered)
    from flightlog.inputs import (
        Inputs,
        parse_air_temperature,
        parse_charge,
        parse_mass,
        parse_wind,
    )

    inputs = Inputs(
        site=_site(options.site),
        aircraft=_aircraft(options.aircraft),
        pack=_pack(options.pack),
        mass=_typed(options.mass, parse_mass, "--mass"),
        wind=_typed(options.wind, parse_wind, "--wind"),
        air=_typed(options.air_temperature, parse_air_temperature, "--air-temperature"),
        payload_units=options.payload_units,
        charged_coulomb=_typed(options.charged, parse_charge, "--charged"),
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


def _pack(path: Path | None) -> Pack | None:
    if path is None:
        return None
    from flightlog.inputs import load_pack

    return load_pack(path)


def _rules(path: Path | None) -> RuleBook | None:
    if path is None:
        return None
    from flightlog.rules.book import load_rules

    return load_rules(path)


def _typed(text: str | None, parse: Callable[[str], Value], option: str) -> Value | None:
    """Understand an option as people type it."""
    if text is None:
        return None
    try:
        return parse(text)
    except FlightlogError as error:
        raise typer.BadParameter(error.found, param_hint=option) from error


def parse_entered(text: str) -> tuple[str, float]:
    """Understand a number that only people know, as it is typed: ``field_best=1200``."""
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
