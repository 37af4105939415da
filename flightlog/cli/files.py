"""``flightlog explain`` and ``flightlog convert``: a log file as it is."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out, progress

if TYPE_CHECKING:
    from flightlog.recording import Recording

LogArgument = Annotated[Path, typer.Argument(metavar="LOG", help="A log file.")]


class TableKind(StrEnum):
    """File formats for tables."""

    parquet = "parquet"
    csv = "csv"


def explain(log: LogArgument) -> None:
    """Say what was recognised in a log file.

    Sensors and their rates, messages with counts, damage, how the clock maps to UTC.

    Example: flightlog explain flight.bin
    """
    from flightlog.reports.receipt import receipt_lines

    console = out()
    console.lines(receipt_lines(_read(log), width=console.width))


def convert(
    log: LogArgument,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder for the tables.")],
    kind: Annotated[
        TableKind, typer.Option("--as", metavar="parquet|csv", help="Format of the tables.")
    ] = TableKind.parquet,
    raw: Annotated[
        bool, typer.Option("--raw", help="Also every message type under its own names.")
    ] = False,
) -> None:
    """Write the tables of a log file as Parquet or CSV, in SI units.

    Example: flightlog convert flight.bin --to tables --as csv
    """
    from flightlog.export import write_tables

    recording = _read(log)
    with progress(log.name):
        written = write_tables(recording, to, kind.value, raw=raw)
    console = out()
    console.line(f"{len(written)} files written to {to}")


def _read(log: Path) -> Recording:
    from flightlog.importers import read

    with progress(log.name) as shown:
        return read(log, progress=shown)
