"""``flightlog groundtest bench``: a first bench file for a file of numbers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli.console import out

KindArgument = Annotated[
    str,
    typer.Argument(
        metavar="KIND", help="thrust, discharge, ringdown, stiffness, weighing or linkage."
    ),
]


def bench_of(
    kind: KindArgument,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="One file of the test.")],
) -> None:
    """Print a first bench file for a file of a test, to be completed and kept beside it.

    It states the columns that were recognised, and names all that may be said besides.

    Example: flightlog groundtest bench thrust stand.csv > stand.toml
    """
    from flightlog.operations.first_bench import first_bench_text

    out().lines(first_bench_text(kind, file).splitlines())
