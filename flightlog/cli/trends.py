"""``flightlog trends``: what is wearing out over a season, and the season as a table."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft, AboutPack
from flightlog.cli.release import JsonOption
from flightlog.cli.signing import TeamOption, a_path
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk


def trends(
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    figure: Annotated[
        list[str] | None,
        typer.Option(
            "--figure",
            metavar="ID",
            help="Only this figure, and all of it; with --table repeatable.",
        ),
    ] = None,
    baseline: Annotated[
        bool,
        typer.Option(
            "--baseline", help="Print the lines of [baseline] for the aircraft file instead."
        ),
    ] = False,
    table: Annotated[
        bool, typer.Option("--table", help="The figures of all flights as one table instead.")
    ] = False,
    csv: Annotated[
        Path | None,
        typer.Option(
            "--csv", metavar="FILE", parser=a_path, help="With --table: write all of it as CSV."
        ),
    ] = None,
    parquet: Annotated[
        Path | None,
        typer.Option(
            "--parquet", metavar="FILE", parser=a_path, help="With --table: the same as Parquet."
        ),
    ] = None,
    long: Annotated[
        bool,
        typer.Option(
            "--long",
            help="In these files a row for each figure of a flight, or why it is withheld.",
        ),
    ] = False,
    as_json: JsonOption = False,
    team: TeamOption = None,
) -> int:
    """Say what is wearing out: how each watched figure changes from flight to flight.

    With how sure that is, what is expected next, and which limit is near. Looking after every
    flight is counted in. With --figure a series is told in full; with --baseline the numbers of
    sound flights are printed as lines for the aircraft file; with --table all figures of all
    flights are one table, as far as it fits, and in full by --csv, --parquet or --json.

    Example: flightlog trends --aircraft pannier
    """
    if table:
        if baseline:
            raise UsageError("does not go with --table", where="--baseline", fix="Leave one out.")
        _table(aircraft, pack, figure or [], team, csv, parquet, long=long, as_json=as_json)
        return wall.DONE
    _refuse_of_table(figure or [], csv, parquet, long)
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
        answer = trends_answer(desk, aircraft or "", pack or "", (figure or [""])[0])
        if as_json:
            console.json(_dumped(trends_json(answer)))
        else:
            console.lines(trends_lines(answer, width=console.width, full=bool(figure)))
    return wall.DONE


def _refuse_of_table(
    figures: list[str], csv: Path | None, parquet: Path | None, long: bool
) -> None:
    """Refuse what only the table has."""
    given = {"--csv": csv, "--parquet": parquet, "--long": long}
    for option, value in given.items():
        if value:
            raise UsageError("goes with --table", where=option, fix="Add --table.")
    if len(figures) > 1:
        raise UsageError(
            "several go with --table only", where="--figure", fix="Name one, or add --table."
        )


def _table(
    aircraft: str | None,
    pack: str | None,
    figures: list[str],
    team: Path | None,
    csv: Path | None,
    parquet: Path | None,
    *,
    long: bool,
    as_json: bool,
) -> None:
    """Show the season as a table, or write it into new files."""
    from flightlog.cli.checks import write_new
    from flightlog.operations.season_figures import chosen, season_tables
    from flightlog.operations.season_kept import parquet_bytes
    from flightlog.reports.season_table_words import season_csv, season_json, season_table_lines
    from flightlog.team.folder import TeamFolder

    if long and not (csv or parquet):
        raise UsageError(
            "goes with --csv or --parquet", where="--long", fix="Name a file, or leave it out."
        )
    if as_json and (csv or parquet):
        raise UsageError(
            "does not go with --csv or --parquet", where="--json", fix="Leave one out."
        )
    found = season_tables(TeamFolder.find(team))
    wanted = chosen(found.tables, aircraft or "", pack or "", figures)
    if as_json:
        # Of a thousand flights these are millions of characters, which indenting makes slow.
        out().json(json.dumps(season_json(found, wanted), ensure_ascii=False, allow_nan=False))
        return
    of = wanted.figures if long else wanted.flights
    if csv is not None:
        write_new(csv, season_csv(of))
    if parquet is not None:
        write_new(parquet, parquet_bytes(of))
    if csv is None and parquet is None:
        console = out()
        sign = "±" if console.can("±") else "+-"
        console.lines(season_table_lines(found, wanted, figures, width=console.width, sign=sign))


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
