"""``flightlog load``: how much may be loaded today."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AircraftOption
from flightlog.cli.given import parse_entered
from flightlog.cli.release import (
    JsonOption,
    LapsOption,
    PackOption,
    RulesOption,
    SiteOption,
    VoltageOption,
    chosen,
)
from flightlog.cli.signing import TeamOption
from flightlog.errors import NotEnoughDataError


def load(
    aircraft: AircraftOption,
    pack: PackOption,
    rules: RulesOption = None,
    site: SiteOption = None,
    laps: LapsOption = None,
    entered: Annotated[
        list[str] | None,
        typer.Option(
            "--entered",
            metavar="NAME=VALUE",
            help="A number that the score asks people for; may be repeated.",
        ),
    ] = None,
    most_units: Annotated[
        int | None,
        typer.Option("--most-units", metavar="N", min=0, help="Look at no more units; else 40."),
    ] = None,
    pack_voltage: VoltageOption = None,
    as_of: Annotated[
        str | None,
        typer.Option(
            "--as-of",
            metavar="ENTRY",
            help="As it was to those who made an entry, as the release 102.H3MED; not for now.",
        ),
    ] = None,
    as_json: JsonOption = False,
    team: TeamOption = None,
) -> int:
    """Say how many payload units keep the take-off limit in today's wind and air, and what binds.

    From the take-offs in the record, the weather that was measured last, and the load sheet of
    each number of units. A number that is withheld says why, with exit code 0. With --as-of the
    answer is that of an earlier day, by what the record held when that entry was made.

    Example: flightlog load --aircraft pannier --pack pack-a --laps 4 --entered field_best=100
    """
    from flightlog.operations.load_today import load_answer
    from flightlog.operations.plan import Plan
    from flightlog.reports.load_today_json import load_json, withheld_json
    from flightlog.reports.load_today_lines import load_lines, withheld_lines

    numbers = dict(parse_entered(text) for text in entered or ())
    console = out()
    with desk_of(team, read_only=True) as now:
        entry = now.book.find(as_of) if as_of is not None else None
        desk = now.before(entry) if entry is not None else now
        plan = Plan(aircraft, pack, chosen(desk, "rules", rules), chosen(desk, "site", site))
        try:
            answer = load_answer(
                desk,
                plan,
                laps=laps,
                entered=numbers,
                most_units=most_units,
                pack_voltage=pack_voltage,
            )
        except NotEnoughDataError as error:
            if as_json:
                console.json(_dumped(withheld_json(error, entry)))
            else:
                console.lines(withheld_lines(error, width=console.width, as_of=entry))
            return wall.DONE
        if as_json:
            console.json(_dumped(load_json(answer, entry)))
        else:
            console.lines(load_lines(answer, width=console.width, as_of=entry))
    return wall.DONE


def _dumped(body: dict[str, object]) -> str:
    return json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False)
