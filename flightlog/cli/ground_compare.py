"""``flightlog groundtest compare`` and ``choose``: configurations, propellers and packs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.release import JsonOption
from flightlog.errors import UsageError

_SIDES = ("first", "second", "third", "fourth")


def _files(word: str) -> typer.models.OptionInfo:
    found: typer.models.OptionInfo = typer.Option(
        f"--{word}", metavar="FILE", help=f"A file of the {word} configuration; give each."
    )
    return found


def compare(
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help="The kind of test; only thrust, so far.")
    ],
    first: Annotated[list[Path] | None, _files("first")] = None,
    second: Annotated[list[Path] | None, _files("second")] = None,
    third: Annotated[list[Path] | None, _files("third")] = None,
    fourth: Annotated[list[Path] | None, _files("fourth")] = None,
    named: Annotated[
        list[str] | None,
        typer.Option(
            "--named", metavar="NAME", help="Name of a configuration; give each, in their order."
        ),
    ] = None,
    bench: Annotated[
        list[Path] | None,
        typer.Option(
            "--bench",
            metavar="FILE",
            help="The bench file of all; or one for each configuration, in their order.",
        ),
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at",
            metavar="WHAT=NUMBER",
            help="What is held alike, and where: power=600 (W), speed=7000 (rpm), thrust=30 (N).",
        ),
    ] = None,
    threshold: Annotated[
        float,
        typer.Option(
            "--threshold", metavar="PERCENT", help="The least difference that matters, in percent."
        ),
    ] = 2.0,
    paired: Annotated[
        bool,
        typer.Option(
            "--paired",
            help="Files were taken by turns: the first of each go together, then the second.",
        ),
    ] = False,
    apart: Annotated[
        float,
        typer.Option(
            "--apart",
            metavar="PERCENT",
            help="Standard uncertainty that each configuration has for itself, in percent.",
        ),
    ] = 0.0,
    as_json: JsonOption = False,
) -> int:
    """Compare propellers, motors or installations on the thrust stand, at equal power and speed.

    Each file is a repeat; where a configuration has one file only, sweeps are. It says whether one
    is better by more than the threshold, whether there is no difference that matters, or that
    neither is shown; all comparisons of a call together are wrong in one of 20 cases at most.

    Example: flightlog groundtest compare thrust --first a1.csv --first a2.csv --second b1.csv
    --second b2.csv --paired --at power=600
    """
    from flightlog.operations.ground_compare import KIND, Side, compare_thrust
    from flightlog.reports.ground_compare_words import comparison_json, comparison_lines

    if kind != KIND:
        raise UsageError(
            f"{kind[:40]!r} can't be compared", where="KIND", fix=f"Only {KIND} can, so far."
        )
    given = [tuple(files or ()) for files in (first, second, third, fourth)]
    used = [i for i, files in enumerate(given) if files]
    if used != list(range(len(used))) or len(used) < 2:
        raise UsageError(
            "files of two configurations or more are needed",
            where="--first, --second",
            fix="Name each file of a configuration with its own option, in this order.",
        )
    names = _names(named or [], len(used))
    benches = _benches(bench or [], len(used))
    answer = compare_thrust(
        [Side(names[i], given[i], benches[i]) for i in used],
        at=[_place(text) for text in at or ()],
        threshold_percent=threshold,
        paired=paired,
        apart_percent=apart,
    )
    console = out()
    if as_json:
        console.json(_dumped(comparison_json(answer)))
    else:
        console.lines(comparison_lines(answer, width=console.width))
    return wall.DONE


def choose(
    mission: Annotated[
        Path, typer.Argument(metavar="MISSION.toml", help="The mission file: what could fly what.")
    ],
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet", metavar="FILE", help="Write it as a sheet with its chart, .pdf or .html."
        ),
    ] = None,
    as_json: JsonOption = False,
) -> int:
    """Choose propeller and pack for a mission: roll, energy per distance, current and rpm limits.

    Each limit is met, not met, not shown or not assessable. The best is named only among those that
    are shown to hold all of them, with those that are not shown to be worse. The chart on the sheet
    shows roll against energy.

    Example: flightlog groundtest choose mission.toml --sheet choice.pdf
    """
    from flightlog.cli.ground_sheets import check_sheet, write_choice_sheet
    from flightlog.operations.ground_choice import run_choice
    from flightlog.reports.ground_choice_json import choice_json
    from flightlog.reports.ground_choice_words import choice_lines

    check_sheet(sheet)
    answer = run_choice(mission)
    console = out()
    if as_json:
        console.json(_dumped(choice_json(answer)))
    else:
        console.lines(choice_lines(answer, width=console.width))
    if sheet is not None:
        write_choice_sheet(sheet, answer)
    return wall.DONE


def _names(named: list[str], count: int) -> list[str]:
    if named and len(named) != count:
        raise UsageError(
            f"{len(named)} names for {count} configurations",
            where="--named",
            fix="Name each, in their order, or none.",
        )
    return named or list(_SIDES[:count])


def _benches(bench: list[Path], count: int) -> list[Path | None]:
    if not bench:
        return [None] * count
    if len(bench) not in (1, count):
        raise UsageError(
            f"{len(bench)} bench files for {count} configurations",
            where="--bench",
            fix="Give one for all, or one for each.",
        )
    return list(bench) if len(bench) == count else [bench[0]] * count


def _place(text: str) -> tuple[str, float]:
    word, _, number = text.partition("=")
    try:
        return word.strip(), float(number)
    except ValueError as error:
        raise UsageError(
            f"{text[:40]!r} is not like power=600", where="--at", fix="Write WHAT=NUMBER."
        ) from error


def _dumped(body: dict[str, object]) -> str:
    return json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False)
