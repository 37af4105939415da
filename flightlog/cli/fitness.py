"""``flightlog fitness``: this aircraft, in this configuration, is fit until it ends or is void."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AircraftOption, ByOption, enter, hands_of, keys_of, utc_of
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, given_text
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk

fitness_app = typer.Typer(
    name="fitness", help="Is the aircraft fit, until when, and who says so.", no_args_is_help=True
)

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object, for programs.")]


@fitness_app.command()
def state(aircraft: AircraftOption, as_json: JsonOption = False, team: TeamOption = None) -> int:
    """Say what the fitness statement of an aircraft is worth: holds, expired, void or none.

    Exit code 5 unless it holds.

    Example: flightlog fitness state --aircraft pannier
    """
    from flightlog.operations.fitness import fitness_state
    from flightlog.reports.release_words import fitness_json, fitness_lines

    with desk_of(team, read_only=True) as desk:
        found = fitness_state(desk, aircraft)
        if as_json:
            out().json(json.dumps(fitness_json(desk, aircraft, found), indent=2))
        else:
            out().lines(fitness_lines(desk, aircraft, found))
    return wall.DONE if found.holds else wall.HELD


@fitness_app.command()
def sign(
    aircraft: AircraftOption,
    work: Annotated[
        str,
        typer.Option("--work", metavar="TEXT", help="The work and inspection that it follows."),
    ],
    until: Annotated[
        str,
        typer.Option(
            "--until",
            metavar="DATE|DAYS",
            help="When it ends: a day, a time in UTC, or a number of days; at most 30 days ahead.",
        ),
    ],
    by: ByOption,
    hours: Annotated[
        str | None, typer.Option("--hours", metavar="H", help="Or after so many flight hours.")
    ] = None,
    landings: Annotated[
        int | None, typer.Option("--landings", metavar="N", help="Or after so many landings.")
    ] = None,
    configuration: Annotated[
        str | None,
        typer.Option(
            "--configuration", metavar="TEXT", help="As the placard says; compared with the file."
        ),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """State that an aircraft is fit, signed by an inspector who did not do the last work.

    Refused with all reasons while a defect is open, an inspection is overdue or waits for a
    second person, or something is out of service.

    Example: flightlog fitness sign --aircraft pannier --work "winter inspection" --until 14
    --landings 20 --by observer
    """
    from flightlog.operations.fitness import draft_fitness
    from flightlog.operations.positions import number
    from flightlog.reports.cautions import CAUTIONS

    flown: Decimal | None = number(hours, "--hours") if hours is not None else None
    with desk_of(team) as desk:
        draft = draft_fitness(
            desk,
            aircraft,
            work=given_text(work, "--work"),
            until=_until(desk, until),
            by=keys_of(desk, by),
            hours=flown,
            landings=landings,
            configuration=given_text(configuration, "--configuration"),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
    out().lines(CAUTIONS)


def _until(desk: Desk, text: str) -> datetime:
    """Read when a statement ends: a day, a time, or a number of days from now."""
    typed = text.strip()
    if typed.isdecimal() and typed.isascii():
        if len(typed) > 4:
            raise UsageError("is too far ahead", where="--until", fix="Give days, or a date.")
        return desk.book.now() + timedelta(days=int(typed))
    return utc_of(typed, "--until")
