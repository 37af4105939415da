"""``flightlog groundtest``: what was measured on the ground, reduced, judged and entered."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import Console, err, out, progress
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft, AboutComponent, AboutPack
from flightlog.cli.ground_bench import bench_of
from flightlog.cli.ground_compare import choose, compare
from flightlog.cli.ground_entering import Asked, entered, prepared_of
from flightlog.cli.ground_history import history
from flightlog.cli.ground_sheets import check_sheet, write_sheet
from flightlog.cli.measuring import CorrectsOption
from flightlog.cli.release import JsonOption
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path

if TYPE_CHECKING:
    from flightlog.operations.ground_baseline import Against
    from flightlog.operations.ground_test import GroundTest

ground_app = typer.Typer(
    name="groundtest",
    help="Thrust stand, discharge, ring-down, static deflection, weighing, linkage.",
    no_args_is_help=True,
)
_HELP = {
    "thrust": "Reduce a thrust stand: what propeller, motor and controller give at what power.",
    "discharge": "Reduce a discharge: how much a pack holds, and how much it loses inside.",
    "ringdown": "Reduce a ring-down, from a sensor or a video: frequencies and damping.",
    "stiffness": "Reduce a static deflection: stiffness, hysteresis, and what is left of it.",
    "weighing": "Reduce a weighing on two to four scales: mass and centre of gravity.",
    "linkage": "Reduce a servo and its linkage: which pulse gives which deflection, and the play.",
}
FilesArgument = Annotated[
    list[Path], typer.Argument(metavar="FILE...", help="The files of one test: repeats, sweeps.")
]
BenchOption = Annotated[
    Path | None,
    typer.Option("--bench", metavar="FILE", help="What stood on the bench (TOML)."),
]
TablesOption = Annotated[
    bool, typer.Option("--tables", help="Write all tables of details in full.")
]
EnforceOption = Annotated[
    bool, typer.Option("--enforce", help="End with code 4 unless every limit is met.")
]

SheetOption = Annotated[
    Path | None,
    typer.Option(
        "--sheet", metavar="FILE", parser=a_path, help="A new file that ends in .pdf or .html."
    ),
]
AgainstOption = Annotated[
    str | None,
    typer.Option(
        "--against",
        metavar="ENTRY",
        help="The earlier test to compare with, like 12.H3MED (else the first one).",
    ),
]
TestedByOption = Annotated[
    list[str] | None,
    typer.Option(
        "--by",
        metavar="WHO",
        help="Who made the test, and signs it; without it nothing is entered. Repeatable.",
    ),
]
InspectedByOption = Annotated[
    str | None, typer.Option("--inspected-by", metavar="WHO", help="Who looked afresh.")
]
TextOption = Annotated[
    str | None, typer.Option("--text", metavar="TEXT", help="What is to be said beside it.")
]


def _command(word: str) -> Callable[..., int]:
    """Make the command of one kind of test."""

    def reduced(
        files: FilesArgument,
        bench: BenchOption = None,
        tables: TablesOption = False,
        sheet: SheetOption = None,
        against: AgainstOption = None,
        aircraft: AboutAircraft = None,
        pack: AboutPack = None,
        component: AboutComponent = None,
        by: TestedByOption = None,
        inspected_by: InspectedByOption = None,
        text: TextOption = None,
        corrects: CorrectsOption = None,
        as_json: JsonOption = False,
        enforce: EnforceOption = False,
        team: TeamOption = None,
        keys: KeysOption = None,
        passphrase_fd: PassphraseOption = None,
    ) -> int:
        about = {"aircraft": aircraft, "pack": pack, "component": component}
        asked = Asked(
            by or (), inspected_by, text, against, corrects, about, team, keys, passphrase_fd
        )
        asked.check(as_json=as_json)
        check_sheet(sheet)
        test = _tested(word, files, bench)
        if asked.of_record:
            with desk_of(team, read_only=not by) as desk:
                made = prepared_of(desk, test, asked)
                _show(out(), made.test, made.against, tables=tables, as_json=as_json)
                entry = entered(desk, made, asked) if by else None
                if sheet is not None:
                    write_sheet(sheet, made.test, made.against, desk=desk, entry=entry)
        else:
            _show(out(), test, None, tables=tables, as_json=as_json)
            if sheet is not None:
                write_sheet(sheet, test)
        if enforce and not all_met(test):
            err().line("flightlog: not every limit is met, and --enforce asks for it")
            return wall.NOT_MET
        return wall.DONE

    reduced.__doc__ = (
        f"{_HELP[word]}\n\n"
        "Columns are found by their headers, or stated in a bench file, which also says what was "
        "tested. With --by it is signed and entered, with its files; with --team, --against or the "
        "name of a thing it is compared with the first test of the same thing in the record.\n\n"
        f"Example: flightlog groundtest {word} {word}.csv --bench {word}.toml"
    )
    return reduced


for _word in _HELP:
    ground_app.command(_word)(_command(_word))
ground_app.command("bench")(bench_of)
ground_app.command()(history)
ground_app.command()(compare)
ground_app.command()(choose)


def _tested(word: str, files: list[Path], bench: Path | None) -> GroundTest:
    from flightlog.operations.ground_test import run_ground_test

    with progress(files[0].name) as shown:
        shown(0.0, "reading")
        return run_ground_test(word, files, bench)


def _show(
    console: Console, test: GroundTest, against: Against | None, *, tables: bool, as_json: bool
) -> None:
    if as_json:
        from flightlog.operations.ground_json import ground_text

        console.json(ground_text(test, against))
        return
    from flightlog.reports.ground_words import ground_lines
    from flightlog.reports.strip import DRAWN, TYPED

    look = DRAWN if console.can(DRAWN.characters()) else TYPED
    lines = ground_lines(test, against, width=console.width, look=look, tables=tables)
    console.lines(lines)


def all_met(test: GroundTest) -> bool:
    """Whether limits were judged and every one of them is met."""
    return bool(test.outcomes) and all(o.outcome == "met" for o in test.outcomes)
