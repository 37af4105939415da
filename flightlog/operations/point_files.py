"""Test points as a team writes them into a file: what to fly, what to measure, when to stop.

The file begins with ``schema = "flightlog.testcard/1"``, ``id`` and ``title``; each ``[[point]]``
has ``name``, ``setup``, ``measure`` and ``stop``. One to begin with ships as
``checklists/test_cards/takeoff-build-up.toml``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import Field

from flightlog.errors import TeamFileError, UsageError
from flightlog.logbook.flying_kinds import MOST_POINTS
from flightlog.resources import data_path
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.reading import near_miss, read_toml

KIND = "testcard"
_FOLDER = ("checklists", "test_cards")


@dataclass(frozen=True, slots=True)
class PlannedPoint:
    """One point: what to fly, what to measure, and when to stop."""

    name: str
    setup: str
    measure: str
    stop: str


@dataclass(frozen=True, slots=True)
class PointFile:
    """A file of test points."""

    id: str
    title: str
    sha256: str
    points: tuple[PlannedPoint, ...]


class _PointTable(Table):
    name: Slug = Field(description="a name of letters, digits, '.', '-' and '_'")
    setup: Text = Field(min_length=1, description="what to fly: load, speed, power")
    measure: Text = Field(min_length=1, description="what to measure, and with what")
    stop: Text = Field(min_length=1, description="when to stop and land")


class _CardFile(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    title: Text = Field(min_length=1, description="what it is called")
    point: list[_PointTable] = Field(
        min_length=1, max_length=MOST_POINTS, description="the points, each a [[point]]"
    )


def load_points(path: Path) -> PointFile:
    """Read test points.

    Raises
    ------
    TeamFileError
        Naming the point and key, or the line, what was found there, and what to do.
    """
    table, sha256 = read_toml(path, KIND)
    file = checked(_CardFile, table, str(path))
    names = [one.name for one in file.point]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise TeamFileError(
            "is there twice",
            where=f'{path}: [[point]] "{twice}"',
            fix="Give each point a name of its own.",
        )
    points = tuple(PlannedPoint(p.name, p.setup, p.measure, p.stop) for p in file.point)
    return PointFile(file.id, file.title, sha256, points)


def find_points(named: str) -> PointFile:
    """Read test points from a file, or those that ship with the program by their id.

    Raises
    ------
    TeamFileError
        If it can't be read.
    """
    path = Path(named)
    shipped = {place.stem: place for place in sorted(data_path(*_FOLDER).glob("*.toml"))}
    if not path.exists() and named in shipped:
        return load_points(shipped[named])
    if not path.exists() and path.suffix != ".toml":
        hint = near_miss(named, list(shipped)) or f"Shipped are: {', '.join(shipped)}."
        raise TeamFileError(
            "no such file, and no test card of this id ships with the program",
            where=named[:80],
            fix=f"{hint} Or name a file of your own.",
        )
    return load_points(path)


def chosen_points(card: PointFile, names: Sequence[str]) -> PointFile:
    """Give those points that are meant, in the order of the file; all where none is named.

    Raises
    ------
    UsageError
        If one is not there.
    """
    if not names:
        return card
    known = [p.name for p in card.points]
    strange = next((n for n in names if n not in known), None)
    if strange is not None:
        hint = near_miss(strange, known) or f"There are {', '.join(known)}."
        raise UsageError(f"{card.id} has no such point", where=strange[:60], fix=hint)
    return replace(card, points=tuple(p for p in card.points if p.name in names))
