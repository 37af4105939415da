"""``flightlog sortie``: the flights of the record, and what people say of them."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AboutAircraft,
    AboutPack,
    AircraftOption,
    OneOption,
    enter,
    hands_of,
    utc_of,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, given_text
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk
    from flightlog.operations.pairing import Pairing

sortie_app = typer.Typer(
    name="sortie",
    help="Flights: list, show, enter by hand, pair with a release, measured apart.",
    no_args_is_help=True,
)

SortieArgument = Annotated[
    str,
    typer.Argument(
        metavar="SORTIE",
        help="Its entry like 12.H3MED, or its day like 2027-03-15 or 2027-03-15/2.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]


@sortie_app.command("list")
def list_sorties(
    aircraft: AboutAircraft = None, as_json: JsonOption = False, team: TeamOption = None
) -> None:
    """List the flights of the record, each once, with what does not go together.

    Example: flightlog sortie list --aircraft pannier
    """
    from flightlog.operations.sorties import sorties
    from flightlog.operations.usage import timed_first
    from flightlog.reports.flights import flight_json, list_lines

    with desk_of(team, read_only=True) as desk:
        if aircraft is not None:
            desk.version("aircraft", aircraft)
        flights = timed_first(sorties(desk, aircraft))
        console = out()
        if as_json:
            listed = [flight_json(desk, flight) for flight in flights]
            body = {"schema": "flightlog.sorties/1", "sorties": listed}
            console.json(json.dumps(body, ensure_ascii=False, allow_nan=False, indent=2))
        else:
            console.lines(list_lines(desk, flights, console.width))


@sortie_app.command()
def show(sortie: SortieArgument, as_json: JsonOption = False, team: TeamOption = None) -> None:
    """Show a flight beside its release, checks, weather and independent measurements.

    Example: flightlog sortie show 2027-03-15
    """
    from flightlog.operations.by_hand import find_sortie
    from flightlog.reports.flights import flight_json, flight_lines

    with desk_of(team, read_only=True) as desk:
        flight = find_sortie(desk, sortie)
        console = out()
        if as_json:
            body = {"schema": "flightlog.sortie/1", **flight_json(desk, flight, full=True)}
            console.json(json.dumps(body, ensure_ascii=False, allow_nan=False, indent=2))
        else:
            console.lines(flight_lines(desk, flight, console.width))


@sortie_app.command("enter")
def enter_sortie(
    aircraft: AircraftOption,
    pack: Annotated[str, typer.Option("--pack", metavar="ID", help="Which pack.")],
    start: Annotated[
        str,
        typer.Option("--start", metavar="UTC", help="Start of roll, like 2027-03-15T09:14Z."),
    ],
    minutes: Annotated[float, typer.Option("--minutes", metavar="M", help="Minutes in the air.")],
    landings: Annotated[
        int, typer.Option("--landings", metavar="N", min=0, max=1000, help="How many landings.")
    ],
    by: OneOption,
    liftoff: Annotated[
        str | None, typer.Option("--liftoff", metavar="UTC", help="If it was noted.")
    ] = None,
    touchdown: Annotated[
        str | None, typer.Option("--touchdown", metavar="UTC", help="If it was noted.")
    ] = None,
    attempts: Annotated[
        int,
        typer.Option("--attempts", metavar="N", min=0, max=1000, help="Rolls given up before it."),
    ] = 0,
    text: Annotated[
        str | None, typer.Option("--text", metavar="TEXT", help="What is worth knowing of it.")
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter a flight of which there is no log; it is signed, and uses up its release.

    If a log of the flight is imported later, both are known as one flight by their times.

    Example: flightlog sortie enter --aircraft pannier --pack pack-a --start 2027-03-15T09:14Z
    --minutes 4 --landings 1 --by pilot
    """
    from flightlog.operations.by_hand import Flown, draft_sortie

    flown = Flown(
        aircraft,
        pack,
        _moment(start, "--start"),
        timedelta(minutes=minutes),
        landings,
        _moment(liftoff, "--liftoff") if liftoff else None,
        _moment(touchdown, "--touchdown") if touchdown else None,
        attempts,
        given_text(text, "--text"),
    )
    with desk_of(team) as desk:
        key = desk.crew.present_key(by)
        draft, found = draft_sortie(desk, flown, key)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _say_pairing(found)


def _moment(text: str, option: str) -> datetime:
    if "T" not in text:
        raise UsageError(
            f"{text[:40]!r} is no time of a day", where=option, fix="Like 2027-03-15T09:14Z."
        )
    return utc_of(text, option)


def _say_pairing(found: Pairing) -> None:
    from flightlog.operations.positions import named
    from flightlog.reports.flights import WITHOUT

    if found.release is not None:
        out().line(f"Flown under release {named(found.release)} ({found.says}).")
    elif found.clear:
        out().line(f"{WITHOUT} ({found.says}).")
    else:
        out().line(f"Its release is {found.says}: 'flightlog sortie pair SORTIE --release ENTRY'.")


@sortie_app.command()
def pair(
    sortie: SortieArgument,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="How that is known.")],
    by: OneOption,
    release: Annotated[
        str | None, typer.Option("--release", metavar="ENTRY", help="Under which it was flown.")
    ] = None,
    without_release: Annotated[
        bool, typer.Option("--without-release", help="It was flown under none.")
    ] = False,
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    same_as: Annotated[
        list[str] | None,
        typer.Option(
            "--same-as", metavar="SORTIE", help="This one is the same flight; repeatable."
        ),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Say to which release, aircraft, pack or other sortie a flight belongs; it is signed.

    Example: flightlog sortie pair 15.H3MED --release 12.KWP9Y --reason "the pilot's notes" --by
    pilot
    """
    from flightlog.operations.by_hand import Stated, draft_pairing, find_sortie

    with desk_of(team) as desk:
        flight = find_sortie(desk, sortie)
        said = Stated(
            desk.book.find(release) if release is not None else None,
            without_release,
            aircraft or "",
            pack or "",
            [find_sortie(desk, one) for one in same_as or ()],
        )
        why = given_text(reason, "--reason")
        draft = draft_pairing(desk, flight, said, why, desk.crew.present_key(by))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _show_again(desk, sortie)


def _show_again(desk: Desk, sortie: str) -> None:
    from flightlog.operations.by_hand import find_sortie
    from flightlog.operations.contradictions import contradictions
    from flightlog.reports.flights import contradiction_lines, flight_line

    flight = find_sortie(desk, sortie)
    console = out()
    console.lines(flight_line(flight, console.width))
    console.lines(contradiction_lines(contradictions(desk, flight), console.width, "  "))


@sortie_app.command()
def measured(
    sortie: SortieArgument,
    figure: Annotated[
        str,
        typer.Argument(
            metavar="FIGURE", help="Like takeoff.ground_roll; with --lap lap.time, lap.energy."
        ),
    ],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="A decimal number.")],
    unit: Annotated[
        str, typer.Argument(metavar="UNIT", help="That of the figure; - where it has none.")
    ],
    method: Annotated[
        str, typer.Option("--method", metavar="METHOD", help="tape, judge or official.")
    ],
    by: OneOption,
    std: Annotated[
        str | None,
        typer.Option("--std", metavar="S", help="Standard uncertainty, in the same unit."),
    ] = None,
    lap: Annotated[
        int | None, typer.Option("--lap", metavar="N", min=1, max=10_000, help="Of which lap.")
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter a number measured apart from the log; it stands beside the log's own.

    Example: flightlog sortie measured 2027-03-15 takeoff.ground_roll 28.4 m --method tape
    --std 0.2 --by observer
    """
    from flightlog.operations.by_hand import find_sortie
    from flightlog.operations.measurements import beside, draft_measurement
    from flightlog.operations.sorties import debrief_of
    from flightlog.reports.flights import beside_lines

    with desk_of(team) as desk:
        flight = find_sortie(desk, sortie)
        draft = draft_measurement(
            flight,
            figure,
            value,
            "" if unit == "-" else unit,
            method,
            desk.crew.present_key(by),
            std=std or "",
            lap=lap,
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        console = out()
        console.lines(beside_lines(beside(entry, debrief_of(desk, flight)), console.width))
