"""``flightlog trends``: what is wearing out over a season."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft, AboutPack
from flightlog.cli.release import JsonOption
from flightlog.cli.signing import TeamOption
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk


def trends(
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    figure: Annotated[
        str | None,
        typer.Option("--figure", metavar="ID", help="Only this figure, and all of it."),
    ] = None,
    baseline: Annotated[
        bool,
        typer.Option(
            "--baseline", help="Print the lines of [baseline] for the aircraft file instead."
        ),
    ] = False,
    as_json: JsonOption = False,
    team: TeamOption = None,
) -> int:
    """Say what is wearing out: how each watched figure changes from flight to flight.

    With how sure that is, what is expected next, and which limit is near. Looking after every
    flight is counted in. With --figure a series is told in full; with --baseline the numbers of
    sound flights are printed as lines for the aircraft file.

    Example: flightlog trends --aircraft pannier
    """
    from flightlog.operations.trends import trends_answer
    from flightlog.reports.trends_json import trends_json
    from flightlog.reports.trends_words import trends_lines

    console = out()
    with desk_of(team, read_only=True) as desk:
        if baseline:
            if pack or figure:
                raise UsageError(
                    "does not go with --pack or --figure", where="--baseline", fix="Leave them out."
                )
            _baseline(desk, aircraft, as_json)
            return wall.DONE
        answer = trends_answer(desk, aircraft or "", pack or "", figure or "")
        if as_json:
            console.json(_dumped(trends_json(answer)))
        else:
            console.lines(trends_lines(answer, width=console.width, full=bool(figure)))
    return wall.DONE


def _baseline(desk: Desk, aircraft: str | None, as_json: bool) -> None:
    from flightlog.operations.trends_baseline import baseline_lines_of
    from flightlog.reports.trends_json import baseline_json
    from flightlog.reports.trends_words import baseline_lines

    known = desk.versions.ids("aircraft")
    if aircraft is None and len(known) != 1:
        raise UsageError(
            "is needed: the record has " + (", ".join(known) or "no aircraft"),
            where="--aircraft",
            fix="Say whose baseline is meant.",
        )
    id_ = aircraft or known[0]
    rows = baseline_lines_of(desk, id_)
    if as_json:
        out().json(_dumped(baseline_json(rows, id_)))
        return
    out().lines(baseline_lines([(r.figure, r.value, r.spread, r.why) for r in rows], id_))


def _dumped(body: dict[str, object]) -> str:
    return json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False)
