"""``flightlog explain`` and ``flightlog convert``: a log file as it is."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out, progress
from flightlog.cli.debriefing import read_one_of_several
from flightlog.errors import OutputError

if TYPE_CHECKING:
    from flightlog.importers.delimited_guess import Guess
    from flightlog.recording import Recording

LogArgument = Annotated[Path, typer.Argument(metavar="LOG", help="A log file.")]
ColumnsOption = Annotated[
    Path | None,
    typer.Option(
        "--columns", metavar="MAP", help="Read a table as text by this column map (TOML)."
    ),
]


class TableKind(StrEnum):
    """File formats for tables."""

    parquet = "parquet"
    csv = "csv"


def explain(
    log: LogArgument,
    columns: ColumnsOption = None,
    map_file: Annotated[
        Path | None,
        typer.Option(
            "--map",
            metavar="FILE",
            help="Where to write a first column map of a table as text.",
        ),
    ] = None,
    beside: Annotated[
        Path | None,
        typer.Option(
            "--beside",
            metavar="OTHER",
            help="Only say which parameters and firmware differ from those of another log.",
        ),
    ] = None,
) -> None:
    """Say what was recognised in a log file.

    Sensors and their rates, where each column came from, messages with counts, damage, how the
    clock maps to UTC. For a table as text that no importer knows: what each column seems to be,
    and a first column map to correct.

    Example: flightlog explain flight.bin
    """
    if beside is not None:
        if map_file is not None:
            raise typer.BadParameter("does not go with --beside", param_hint="--map")
        _show_difference(log, beside, columns)
        return
    console = out()
    if columns is None and (guess := _guessed(log, card=map_file is not None)) is not None:
        if guess.known:
            # The map first: it is the way out where the card itself can't be read.
            _write_map(log, guess, map_file)
            console.line()
            _show_receipt(log, columns)
        else:
            from flightlog.reports.columns import guess_lines

            console.lines(guess_lines(guess, width=console.width))
            console.line()
            _write_map(log, guess, map_file)
        return
    if map_file is not None:
        raise typer.BadParameter(
            "goes with tables as text that are read without a map", param_hint="--map"
        )
    _show_receipt(log, columns)


def _show_receipt(log: Path, columns: Path | None) -> None:
    from flightlog.reports.receipt import receipt_lines

    console = out()
    recording = _read(log, columns)
    console.lines(receipt_lines(recording, width=console.width))
    if recording.receipt.format == "transmitter":
        console.line()
        console.line("To correct a column or tell the zone, write a column map and edit it:")
        console.line(f"  flightlog explain {quoted(log)} --map {quoted(_place_of_map(log))}")


def _show_difference(log: Path, other: Path, columns: Path | None) -> None:
    from flightlog.reports.settings import settings_lines

    console = out()
    recordings = [read_one_of_several(one, columns) for one in (log, other)]
    console.lines(settings_lines(*recordings, width=console.width))


def quoted(path: Path) -> str:
    """Write a path as a command line takes it; both kinds of systems know double quotes."""
    text = str(path)
    return f'"{text}"' if any(not c.isalnum() and c not in "-_./\\:+,=@~" for c in text) else text


def _place_of_map(log: Path) -> Path:
    return Path(f"{log.stem}.columns.toml")


def _guessed(log: Path, *, card: bool) -> Guess | None:
    """Recognise the columns of a table as text that no importer knows, or of a card if asked."""
    from flightlog.errors import UnknownFormatError
    from flightlog.importers import detect, read_head
    from flightlog.importers.delimited import looks_delimited

    head = read_head(log)
    try:
        format_ = detect(head, where=log.name).format
    except UnknownFormatError:
        if not looks_delimited(head):
            raise
        format_ = ""
    if format_ and not (card and format_ == "transmitter"):
        return None
    from flightlog.importers.delimited_guess import guess_card, guess_columns

    with progress(log.name):
        return guess_card(log) if format_ else guess_columns(log)


def _write_map(log: Path, guess: Guess, given: Path | None) -> None:
    """Write the first column map; what is there already stays."""
    from flightlog.importers.delimited_first_map import map_text

    console = out()
    place = given if given is not None else _place_of_map(log)
    try:
        with place.open("x", encoding="utf-8", newline="\n") as file:
            file.write(map_text(guess))
    except OSError as error:
        there = isinstance(error, FileExistsError)
        found = (
            "is there already; no column map was written"
            if there
            else f"the column map can't be written ({error.strerror or error})"
        )
        refusal = OutputError(found, where=str(place), fix="Name another place with --map.")
        if given is not None:
            raise refusal from error
        # Nobody asked for the file: what was recognised has been said, and that is the answer.
        console.line(refusal.sentence())
        return
    lacks = "it lacks [time]; " if guess.time is None else ""
    console.line(f"A first column map was written to {place}: {lacks}check and correct it, then")
    console.line(f"  flightlog debrief {quoted(log)} --columns {quoted(place)}")


def convert(
    log: LogArgument,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder for the tables.")],
    kind: Annotated[
        TableKind, typer.Option("--as", metavar="parquet|csv", help="Format of the tables.")
    ] = TableKind.parquet,
    raw: Annotated[
        bool, typer.Option("--raw", help="Also every message type under its own names.")
    ] = False,
    columns: ColumnsOption = None,
) -> None:
    """Write the tables of a log file as Parquet or CSV, in SI units.

    Example: flightlog convert flight.bin --to tables --as csv
    """
    from flightlog.export import write_tables

    recording = _read(log, columns)
    with progress(log.name):
        written = write_tables(recording, to, kind.value, raw=raw)
    console = out()
    console.line(f"{len(written)} files written to {to}")


def _read(log: Path, columns: Path | None) -> Recording:
    from flightlog.importers import read

    with progress(log.name) as shown:
        return read(log, columns=columns, progress=shown)
