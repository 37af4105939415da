"""``flightlog weather``: wind and air at the strip."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import OccurredOption, OneOption, ReasonOption, enter, hands_of, late
from flightlog.cli.measuring import CorrectsOption, corrected, signer_of
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from datetime import datetime


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
        str,
        typer.Option(
            "--pressure", metavar="HPA", help="At the strip itself, not reduced to sea level."
        ),
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
    corrects: CorrectsOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter the weather as it was read off, signed by an engineer.

    Wind in m/s from true north, pressure as it is at the strip (QFE, not reduced to sea level).
    As often a day as it is measured; the release asks for a recent one at its site.

    Example: flightlog weather add --place top-field --mast-height 2 --wind 3.3@70 --gust 4.6
    --pressure 1009.5 --temperature 17 --humidity 60 --instrument AM-1 --by mechanic
    """
    from flightlog.operations.weather import ROLE, elevation_of, weather_draft
    from flightlog.reports.weather_words import weather_lines

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
            signer_of(desk, by, "measured", (ROLE,)).key,
            elevation_m=elevation_of(desk, place),
            occurred=when,
            late_reason=why,
            corrects=corrected(desk, corrects, "weather"),
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        out().lines(weather_lines(desk, entry))


@weather_app.command("read")
def read_(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", parser=a_path, help="What the meter wrote (CSV).")
    ],
    map_: Annotated[
        str, typer.Option("--map", metavar="ID_OR_FILE", help="The meter's map: its id, or a file.")
    ],
    place: PlaceOption,
    mast_height: MastOption,
    by: OneOption,
    wind_from: Annotated[
        str | None,
        typer.Option("--from", metavar="DEG", help="Where from, if the meter has no vane."),
    ] = None,
    pressure: Annotated[
        str | None,
        typer.Option("--pressure", metavar="HPA", help="If the meter does not measure it."),
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", metavar="C", help="If the meter does not measure it."),
    ] = None,
    humidity: Annotated[
        str | None,
        typer.Option("--humidity", metavar="PCT", help="If the meter does not measure it."),
    ] = None,
    corrects: CorrectsOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter the weather out of a handheld meter's file, through a map of its columns.

    Mean and gust are those of its last two minutes, if the map says nothing else; the file is
    kept with the entry. It counts from its own last row.

    Example: flightlog weather read meter.csv --map pole-meter --place top-field --mast-height 2
    --by mechanic
    """
    from flightlog.operations.meter import read_meter
    from flightlog.operations.weather import ROLE, elevation_of, weather_draft
    from flightlog.reports.weather_words import weather_lines

    typed = {
        "wind_from": wind_from,
        "pressure": pressure,
        "temperature": temperature,
        "humidity": humidity,
    }
    with desk_of(team) as desk:
        version = desk.versions.in_force("meter", map_)
        reading = read_meter(file, version.path if version is not None else Path(map_))
        both = next((n for n, text in typed.items() if text and n in reading.numbers), "")
        if both:
            raise UsageError("the file has it too", where=both, fix="Leave the option out.")
        numbers = {**reading.numbers, "mast_height": mast_height}
        numbers.update({name: text for name, text in typed.items() if text})
        occurred = _occurred(reading.at, desk.ledger.now)
        draft = weather_draft(
            place,
            f"{reading.instrument}, mean of {reading.rows} rows",
            numbers,
            signer_of(desk, by, "measured", (ROLE,)).key,
            source="meter-file",
            elevation_m=elevation_of(desk, place),
            occurred=occurred,
            late_reason="read from the meter's file" if occurred is not None else "",
            corrects=corrected(desk, corrects, "weather"),
            attachments=[desk.book.attach(file)],
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        out().lines(weather_lines(desk, entry))


def _occurred(at: datetime, now: datetime) -> datetime | None:
    """Give when a meter's file ends, None where that is now as far as clocks can tell."""
    from flightlog.operations.positions import CLOCKS_APART

    if at - now > CLOCKS_APART:
        raise UsageError(
            f"the file ends {(at - now).total_seconds() / 60:.0f} min ahead of this laptop's clock",
            where="weather read",
            fix="Set the clocks of both, or correct utc_offset_h in the map.",
        )
    return at if (now - at).total_seconds() >= 1 else None


@weather_app.command()
def show(
    site: Annotated[
        str | None, typer.Option("--site", metavar="ID", help="Only what was measured there.")
    ] = None,
    team: TeamOption = None,
) -> None:
    """Show the weather that was measured last: its age, the wind on the runway, limits.

    Example: flightlog weather show --site top-field
    """
    from flightlog.operations.weather import latest_weather
    from flightlog.reports.weather_words import weather_lines

    with desk_of(team, read_only=True) as desk:
        entry = latest_weather(desk, site or "")
        if entry is None:
            at = f" at {site}" if site else ""
            out().line(f"Nobody measured it{at}. Enter it with 'flightlog weather add'.")
            return
        out().lines(weather_lines(desk, entry))
