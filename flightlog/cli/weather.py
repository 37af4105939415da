"""``flightlog weather``: wind and air at the strip."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    OccurredOption,
    OneOption,
    ReasonOption,
    enter,
    hands_of,
    late,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.operations.desk import Desk

weather_app = typer.Typer(name="weather", help="Wind and air at the strip.", no_args_is_help=True)

PlaceOption = Annotated[
    str, typer.Option("--place", metavar="PLACE", help="Id of the site, or words.")
]
MastOption = Annotated[
    str, typer.Option("--mast-height", metavar="M", help="Height of the meter above the ground.")
]


@weather_app.command()
def add(
    place: PlaceOption,
    mast_height: MastOption,
    wind: Annotated[
        str, typer.Option("--wind", metavar="MEAN@FROM", help="Mean in m/s and where from, 3.5@70.")
    ],
    gust: Annotated[str, typer.Option("--gust", metavar="M_S", help="Greatest speed in m/s.")],
    pressure: Annotated[
        str, typer.Option("--pressure", metavar="HPA", help="At the strip, not at sea level.")
    ],
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="C", help="In the shade, in °C.")
    ],
    humidity: Annotated[str, typer.Option("--humidity", metavar="PCT", help="Relative, in %.")],
    instrument: Annotated[
        str, typer.Option("--instrument", metavar="TEXT", help="What was read, like AM-1.")
    ],
    by: OneOption,
    averaged: Annotated[
        str | None, typer.Option("--averaged", metavar="S", help="Time of the mean, in s.")
    ] = None,
    occurred: OccurredOption = None,
    reason: ReasonOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter the weather as it was read off, signed by the engineer.

    Example: flightlog weather add --place top-field --mast-height 2 --wind 3.3@70 --gust 4.6
    --pressure 1009.5 --temperature 17 --humidity 60 --instrument AM-1 --by mechanic
    """
    from flightlog.operations.weather import weather_draft

    mean, at, origin = wind.partition("@")
    if not at:
        raise UsageError(f"{wind[:40]!r} has no '@'", where="--wind", fix="Like 3.5@70.")
    numbers = {
        "mast_height": mast_height,
        "wind_mean": mean,
        "wind_gust": gust,
        "wind_from": origin,
        "pressure": pressure,
        "temperature": temperature,
        "humidity": humidity,
    }
    if averaged is not None:
        numbers["averaged"] = averaged
    when, why = late(occurred, reason)
    with desk_of(team) as desk:
        draft = weather_draft(
            place,
            instrument,
            numbers,
            desk.crew.present_key(by),
            occurred=when,
            late_reason=why,
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        out().lines(_lines(desk, entry))


@weather_app.command("read")
def read_(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", parser=a_path, help="What the meter wrote (CSV).")
    ],
    map_: Annotated[
        str, typer.Option("--map", metavar="ID", help="Id of the meter's map, or a file.")
    ],
    place: PlaceOption,
    mast_height: MastOption,
    by: OneOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter the weather out of a handheld meter's file, through a map of its columns.

    Mean and greatest wind are those of its last two minutes.

    Example: flightlog weather read meter.csv --map meter-1 --place top-field --mast-height 2
    --by mechanic
    """
    from flightlog.operations.meter import read_meter
    from flightlog.operations.weather import weather_draft

    with desk_of(team) as desk:
        path = Path(map_)
        version = desk.versions.in_force("meter", map_)
        reading = read_meter(file, version.path if version is not None else path)
        now = desk.ledger.now
        age_s = (now - reading.at).total_seconds()
        numbers = {**reading.numbers, "mast_height": mast_height}
        draft = weather_draft(
            place,
            f"{map_ if version is not None else path.stem}, {reading.rows} rows",
            numbers,
            desk.crew.present_key(by),
            source="meter-file",
            occurred=reading.at if age_s >= 1 else None,
            late_reason="read from the meter's file" if age_s >= 1 else "",
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        out().lines(_lines(desk, entry))


@weather_app.command()
def show(
    site: Annotated[
        str | None, typer.Option("--site", metavar="ID", help="Only what was measured there.")
    ] = None,
    team: TeamOption = None,
) -> None:
    """Show the weather that was measured last, its age, and the wind along the runway.

    Example: flightlog weather show --site top-field
    """
    from flightlog.operations.weather import latest_weather

    with desk_of(team, read_only=True) as desk:
        entry = latest_weather(desk, site or "")
        if entry is None:
            out().line("Nobody measured it. Enter it with 'flightlog weather add'.")
            return
        out().lines(_lines(desk, entry))


def _lines(desk: Desk, entry: Entry) -> list[str]:
    from flightlog.operations.weather import air_density, value_of, wind_components

    place = str(entry.body.content["place"])
    age = (desk.book.now() - desk.ledger.when(entry)).total_seconds() / 60
    lines = [
        f"{place}, {age:.0f} min ago: wind {value_of(entry, 'wind_mean'):g} m/s from "
        f"{value_of(entry, 'wind_from'):.0f} deg, gusts {value_of(entry, 'wind_gust'):g} m/s",
        f"{value_of(entry, 'temperature'):g} °C, {value_of(entry, 'pressure'):g} hPa, "
        f"{value_of(entry, 'humidity'):g} %: {air_density(entry):.3f} kg/m³",
    ]
    if desk.versions.in_force("site", place) is not None:
        runway = desk.site(place).runway
        if runway is not None:
            parts = wind_components(entry, runway.heading_deg)
            word = "headwind" if parts.head >= 0 else "tailwind"
            side = "right" if parts.cross >= 0 else "left"
            lines.append(
                f"on the runway: {word} {abs(parts.head):.1f} m/s, crosswind "
                f"{abs(parts.cross):.1f} m/s from the {side} ({abs(parts.gust_cross):.1f} in gusts)"
            )
    return lines
