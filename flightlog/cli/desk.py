"""The desk of the team folder that is meant, at the command line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.cli.signing import crew_of, opened

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk


@contextmanager
def desk_of(team: Path | None, *, read_only: bool = False) -> Iterator[Desk]:
    """Open the desk of the team folder that is meant."""
    from flightlog.operations.desk import Desk

    with opened(team, read_only=read_only) as (folder, book):
        yield Desk(folder, book, crew_of(folder, book).names)
