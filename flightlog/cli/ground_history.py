"""``flightlog groundtest history``: how figures went from ground test to ground test."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft, AboutComponent, AboutPack
from flightlog.cli.release import JsonOption
from flightlog.cli.signing import TeamOption, given_text


def history(
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    component: AboutComponent = None,
    figure: Annotated[
        str | None,
        typer.Option("--figure", metavar="ID", help="Only this figure, test by test."),
    ] = None,
    as_json: JsonOption = False,
    team: TeamOption = None,
) -> int:
    """Say how figures went from ground test to ground test, by serial, part and configuration.

    The first and the last, the change between them with its uncertainty, and from five tests on
    the trend. With --figure each test is listed with its entry.

    Example: flightlog groundtest history --aircraft pannier
    """
    from flightlog.operations.ground_history import ground_history
    from flightlog.reports.ground_history_words import history_json, history_lines

    asked = {"aircraft": aircraft, "pack": pack, "component": component}
    about = {thing: given_text(id_, f"--{thing}") for thing, id_ in asked.items()}
    console = out()
    with desk_of(team, read_only=True) as desk:
        found = ground_history(desk, about, given_text(figure, "--figure"))
        if as_json:
            body = history_json(found)
            console.json(json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False))
        else:
            console.lines(history_lines(found, width=console.width, full=bool(figure)))
    return wall.DONE
