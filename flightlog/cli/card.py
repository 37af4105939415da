"""``flightlog card``: what is expected of one flight, signed before it, and what came of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli.checks import write_new
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft, AircraftOption, OneOption, enter, hands_of
from flightlog.cli.release import (
    JsonOption,
    LapsOption,
    PackOption,
    RulesOption,
    SiteOption,
    VoltageOption,
    chosen,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path, given_text
from flightlog.cli.sortie import SortieArgument
from flightlog.errors import UsageError

card_app = typer.Typer(
    name="card",
    help="Flight cards: what is expected of one flight, its test points, what came of it.",
    no_args_is_help=True,
)

CardArgument = Annotated[str, typer.Argument(metavar="CARD", help="The flight card, as 102.H3MED.")]


@card_app.command()
def sign(
    aircraft: AircraftOption,
    pack: PackOption,
    units: Annotated[
        int,
        typer.Option(
            "--units", metavar="N", min=0, help="Payload units, as the load sheet in force has."
        ),
    ],
    computed_by: Annotated[
        str, typer.Option("--computed-by", metavar="WHO", help="The engineer who computed it.")
    ],
    accepted_by: Annotated[
        str, typer.Option("--accepted-by", metavar="WHO", help="The pilot who flies to it.")
    ],
    rules: RulesOption = None,
    site: SiteOption = None,
    laps: LapsOption = None,
    pack_voltage: VoltageOption = None,
    points: Annotated[
        str | None,
        typer.Option(
            "--points",
            metavar="FILE",
            help="Test points: a file, or the id of one that ships, as takeoff-build-up.",
        ),
    ] = None,
    point: Annotated[
        list[str] | None,
        typer.Option("--point", metavar="NAME", help="Only this point of them; repeatable."),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Sign what is expected of the next flight: roll, climb, energy, and its test points.

    For the load sheet and the weather in force; it then stands for what an engineer expects of
    the ground roll. Refused where the prediction is withheld.

    Example: flightlog card sign --aircraft pannier --pack pack-a --units 4 --laps 3
    --points takeoff-build-up --point half-way --computed-by mechanic --accepted-by pilot
    """
    from flightlog.operations.cards import draft_card
    from flightlog.operations.load_today import load_answer
    from flightlog.operations.plan import Plan
    from flightlog.operations.point_files import chosen_points, find_points

    if point and points is None:
        raise UsageError("belongs with --points", where="--point", fix="Name their file.")
    file = None
    if points is not None:
        file = chosen_points(find_points(given_text(points, "--points")), point or ())
    with desk_of(team) as desk:
        plan = Plan(aircraft, pack, chosen(desk, "rules", rules), chosen(desk, "site", site))
        answer = load_answer(desk, plan, laps=laps, most_units=units, pack_voltage=pack_voltage)
        draft = draft_card(
            desk,
            answer,
            units,
            file,
            computed_by=desk.crew.present_key(computed_by),
            accepted_by=desk.crew.present_key(accepted_by),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@card_app.command()
def show(
    card: Annotated[
        str | None,
        typer.Argument(metavar="[CARD]", help="One flight card, as 102.H3MED; else the list."),
    ] = None,
    aircraft: AboutAircraft = None,
    as_json: JsonOption = False,
    team: TeamOption = None,
) -> None:
    """List the flight cards, or show one: how it stands, what it expects, what came of it.

    Example: flightlog card show 102.H3MED
    """
    from flightlog.operations.card_points import is_card
    from flightlog.operations.card_view import card_view
    from flightlog.operations.card_worth import cards
    from flightlog.reports.card_json import cards_json
    from flightlog.reports.card_words import card_lines, list_lines

    console = out()
    with desk_of(team, read_only=True) as desk:
        if aircraft is not None:
            desk.version("aircraft", aircraft)
        listed = [is_card(desk.book.find(card))] if card is not None else cards(desk, aircraft)
        views = [card_view(desk, one) for one in listed]
        if as_json:
            console.json(_dumped(cards_json(views)))
        elif card is not None:
            console.lines(card_lines(desk, views[0], width=console.width))
        else:
            console.lines(list_lines(views, width=console.width))


@card_app.command("print")
def print_card(
    card: CardArgument,
    html: Annotated[Path, typer.Option("--html", metavar="FILE", parser=a_path, help="New file.")],
    team: TeamOption = None,
) -> None:
    """Write a flight card as one page for paper, with room for what is measured.

    Example: flightlog card print 102.H3MED --html card.html
    """
    from flightlog.operations.card_points import is_card
    from flightlog.operations.card_view import card_view
    from flightlog.reports.card_sheet import card_sheet

    with desk_of(team, read_only=True) as desk:
        text = card_sheet(desk, card_view(desk, is_card(desk.book.find(card))))
        write_new(html, text)


@card_app.command()
def done(
    card: CardArgument,
    sortie: SortieArgument,
    by: OneOption,
    point: Annotated[
        list[str] | None,
        typer.Option(
            "--point",
            metavar="NAME=RESULT",
            help='flown, to-repeat or dropped, and words after a colon, as "climb=to-repeat: '
            'gusts"; once for each point of the card.',
        ),
    ] = None,
    text: Annotated[
        str | None, typer.Option("--text", metavar="TEXT", help="About the whole flight.")
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Say, after the flight, what became of each test point of its card.

    Example: flightlog card done 102.H3MED 2027-03-15 --point half-way=flown --by pilot
    """
    from flightlog.operations.by_hand import find_sortie
    from flightlog.operations.card_points import draft_done

    results = _results(point or [])
    with desk_of(team) as desk:
        draft = draft_done(
            desk,
            desk.book.find(card),
            find_sortie(desk, sortie),
            results,
            desk.crew.present_key(by),
            text=given_text(text, "--text"),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def _results(given: list[str]) -> dict[str, tuple[str, str]]:
    """Read what became of points as it is typed: ``climb=to-repeat: gusts``."""
    found: dict[str, tuple[str, str]] = {}
    for typed in given:
        name, equals, rest = typed.partition("=")
        result, _, words = rest.partition(":")
        if not equals or not name.strip() or not result.strip():
            raise UsageError(
                f"{typed[:40]!r} says no result",
                where="--point",
                fix="Like half-way=flown, or half-way=to-repeat: TEXT.",
            )
        if name.strip() in found:
            raise UsageError("is there twice", where=f"--point {name.strip()[:40]}", fix="Say one.")
        found[name.strip()] = (result.strip(), words.strip())
    return found


@card_app.command()
def calibration(
    aircraft: AircraftOption, as_json: JsonOption = False, team: TeamOption = None
) -> None:
    """Judge the season's predictions by what was flown, beside two plain baselines.

    Example: flightlog card calibration --aircraft pannier
    """
    from flightlog.operations.card_season import calibration as judged
    from flightlog.reports.calibration_words import calibration_json, calibration_lines

    console = out()
    with desk_of(team, read_only=True) as desk:
        found = judged(desk, aircraft)
        if as_json:
            console.json(_dumped(calibration_json(found)))
        else:
            console.lines(calibration_lines(found, width=console.width))


def _dumped(body: dict[str, object]) -> str:
    return json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False)
