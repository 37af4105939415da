"""Configurations on the thrust stand against each other: at equal power, at equal speed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Literal

from flightlog.errors import NotEnoughDataError, UsageError
from flightlog.findings import Finding, affected
from flightlog.groundtests.comparison import Compared, Series, compared, held_together
from flightlog.groundtests.settled_steps import (
    COORDINATES,
    STEPS,
    Coordinate,
    Curve,
    common_places,
    curves,
)
from flightlog.operations.ground_test import GroundTest, run_ground_test

KIND = "thrust"
MOST_SIDES = 6
MOST_PLACES = 12
USUAL = ("power", "speed")
"""Where it is compared if nobody says: both, since either alone can favour one."""
_FIGURES: Mapping[str, str] = {
    "thrust_n": "thrust.greatest",
    "electrical_power_w": "thrust.power_greatest",
    "speed_rpm": "thrust.speed_greatest",
}
"""Column of the steps -> the figure that a finding spoils with it."""
Repeats = Literal["files", "sweeps"]


@dataclass(frozen=True, slots=True)
class Side:
    """A configuration and its files, in the order measured."""

    name: str
    paths: tuple[Path, ...]
    bench: Path | None = None


@dataclass(frozen=True, slots=True)
class SideRead:
    """A configuration as it was read.

    Attributes
    ----------
    name : str
        Of it.
    files : tuple of (str, str)
        Name and hash of each file.
    tests : tuple of GroundTest
        One for each file.
    findings : tuple of (str, Finding)
        File, and what was noticed in it.
    """

    name: str
    files: tuple[tuple[str, str], ...]
    tests: tuple[GroundTest, ...]
    findings: tuple[tuple[str, Finding], ...]


@dataclass(frozen=True, slots=True)
class PointCompared:
    """One pair at one place of a coordinate.

    Attributes
    ----------
    coordinate : Coordinate
        What was held alike.
    at : float
        Where, in its unit.
    compared : Compared or None
        The comparison; None where it can't be had.
    why : str
        Why not, else "".
    first, second : str
        Names of the pair.
    """

    coordinate: Coordinate
    at: float
    first: str
    second: str
    compared: Compared | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class GroundComparison:
    """Configurations compared.

    Attributes
    ----------
    sides : tuple of SideRead
        What was compared.
    repeats : {"files", "sweeps"}
        What counts as one repeat.
    paired : bool
        Whether repeats were taken by turns.
    threshold_percent, apart_percent : float
        The least difference that matters, and the standard uncertainty that configurations don't
        share, as it was given. [%]
    same_bench : bool
        Whether one bench file holds for all, so that its calibration cancels.
    points : tuple of PointCompared
        Pair by pair, place by place; all held to 5 % together.
    """

    sides: tuple[SideRead, ...]
    repeats: Repeats
    paired: bool
    threshold_percent: float
    apart_percent: float
    same_bench: bool
    points: tuple[PointCompared, ...]


def compare_thrust(
    sides: Sequence[Side],
    *,
    at: Sequence[tuple[str, float]] = (),
    threshold_percent: float = 2.0,
    paired: bool = False,
    apart_percent: float = 0.0,
) -> GroundComparison:
    """Compare configurations on the thrust stand.

    Parameters
    ----------
    sides : sequence of Side
        Two or more. A file is a repeat where each side has several; else a sweep is.
    at : sequence of (str, float), optional
        Coordinate and place: ``("power", 600.0)``. Without any, three places that all sweeps
        reach, at equal power and at equal speed.
    threshold_percent : float, optional
        The least difference that matters. [%]
    paired : bool, optional
        Whether files were taken by turns, the first of one with the first of the other.
    apart_percent : float, optional
        Standard uncertainty of each configuration's own, which others don't share. [%]

    Raises
    ------
    UsageError
        If an option can't be understood.
    NotEnoughDataError
        If nothing can be compared.
    LogFileError, TeamFileError
        If a file is at fault.
    """
    _check(sides, at, threshold_percent, apart_percent)
    read = tuple(_read(side) for side in sides)
    same = len({side.bench for side in sides}) == 1
    if not same and apart_percent == 0:
        raise UsageError(
            "the configurations have different bench files, so that calibration does not cancel",
            where="--bench",
            fix="Say with --apart by how many percent either may be off on its own.",
        )
    repeats: Repeats = "files" if all(len(side.paths) > 1 for side in sides) else "sweeps"
    points = []
    for word, places in _places(read, at).items():
        for place in places:
            points += _at_place(
                read, COORDINATES[word], place, repeats, paired, threshold_percent, apart_percent
            )
    if not any(point.compared for point in points):
        why = next((point.why for point in points), "no sweep has two settled steps")
        raise NotEnoughDataError(
            f"nothing can be compared: {why}",
            fix="Measure each configuration in two sweeps or more, over the same range.",
        )
    kept = held_together([p.compared for p in points if p.compared is not None])
    held = iter(kept)
    done = tuple(
        PointCompared(p.coordinate, p.at, p.first, p.second, next(held)) if p.compared else p
        for p in points
    )
    return GroundComparison(read, repeats, paired, threshold_percent, apart_percent, same, done)


def _check(
    sides: Sequence[Side], at: Sequence[tuple[str, float]], threshold: float, apart: float
) -> None:
    if not 2 <= len(sides) <= MOST_SIDES:
        raise UsageError(
            f"{len(sides)} configurations", fix=f"Give files of 2 to {MOST_SIDES} of them."
        )
    names = [side.name for side in sides]
    if len(set(names)) < len(names):
        raise UsageError(
            "two configurations have one name", where="--named", fix="Name them apart."
        )
    if len(at) > MOST_PLACES:
        raise UsageError(f"{len(at)} places", where="--at", fix=f"Give {MOST_PLACES} at most.")
    for word, place in at:
        if word not in COORDINATES:
            raise UsageError(
                f"{word[:40]!r} is nothing to hold alike",
                where="--at",
                fix=f"Give one of {', '.join(COORDINATES)}, as power=600.",
            )
        if not (math.isfinite(place) and place > 0):
            raise UsageError(f"{place!r} is not above 0", where="--at", fix="Give another place.")
    if not 0 < threshold < 100:
        raise UsageError(
            f"{threshold:g} % is not above 0 and below 100",
            where="--threshold",
            fix="Give the least difference that matters, such as 2.",
        )
    if not 0 <= apart < 100:
        raise UsageError(
            f"{apart:g} % is not 0 or more and below 100", where="--apart", fix="Correct it."
        )


def _read(side: Side) -> SideRead:
    """Reduce each file of a side on its own."""
    if not side.paths:
        raise UsageError("has no file", where=side.name, fix="Name its files.")
    tests = [run_ground_test(KIND, [path], side.bench) for path in side.paths]
    findings = []
    for path, test in zip(side.paths, tests, strict=True):
        for finding in test.answer.findings:
            findings.append((path.name, finding))
    files = tuple((t.files[0].name, t.files[0].sha256) for t in tests)
    return SideRead(side.name, files, tuple(tests), tuple(findings))


def _spoilt(test: GroundTest, coordinate: Coordinate) -> str:
    """Say what in the file spoils a coordinate or what is compared there; "" for nothing."""
    figures = [_FIGURES[key] for key in (coordinate.key, coordinate.quantity_key)]
    stops = (
        finding.message.rstrip(".")
        for finding in test.answer.findings
        if finding.severity == "stop" and any(affected(finding, figure) for figure in figures)
    )
    return next(stops, "")


def _curves(side: SideRead, coordinate: Coordinate) -> list[tuple[Curve, ...]]:
    """Give the sweeps of each file."""
    return [
        tuple(
            curve
            for table in test.answer.tables
            if table.key == STEPS
            for curve in curves(table, coordinate)
        )
        for test in side.tests
    ]


def _places(
    sides: Sequence[SideRead], at: Sequence[tuple[str, float]]
) -> Mapping[str, Sequence[float]]:
    if at:
        asked: dict[str, list[float]] = {}
        for word, place in at:
            asked.setdefault(word, []).append(place)
        return {word: tuple(dict.fromkeys(places)) for word, places in asked.items()}
    found = {}
    for word in USUAL:
        every = [c for s in sides for file in _curves(s, COORDINATES[word]) for c in file]
        found[word] = common_places(every)
    return found


def _at_place(
    sides: Sequence[SideRead],
    coordinate: Coordinate,
    place: float,
    repeats: Repeats,
    paired: bool,
    threshold: float,
    apart: float,
) -> list[PointCompared]:
    series = {s.name: _series(s, coordinate, place, repeats, apart) for s in sides}
    points = []
    for first, second in combinations(series, 2):
        found, why = None, ""
        a, b = series[first], series[second]
        missing = next((s for s in (a, b) if isinstance(s, str)), None)
        if isinstance(a, Series) and isinstance(b, Series):
            try:
                found = compared(a, b, threshold, paired=paired)
            except NotEnoughDataError as error:
                why = error.sentence()
        else:
            why = str(missing)
        points.append(PointCompared(coordinate, place, first, second, found, why))
    return points


def _series(
    side: SideRead, coordinate: Coordinate, place: float, repeats: Repeats, apart: float
) -> Series | str:
    """Give one value for each repeat, or why there are none."""
    values: list[float] = []
    for test in side.tests:
        if spoilt := _spoilt(test, coordinate):
            return f"{test.files[0].name}: {spoilt}"
    for test, file in zip(side.tests, _curves(side, coordinate), strict=True):
        read = [curve.at(place) for curve in file]
        kept = [value for value in read if value is not None]
        if not kept:
            return (
                f"{test.files[0].name} has no settled steps about {place:g} {coordinate.unit}, "
                f"or does not give {coordinate.quantity} there"
            )
        values += [math.fsum(kept) / len(kept)] if repeats == "files" else kept
    mean = math.fsum(values) / len(values)
    return Series(side.name, values, own_std=abs(mean) * apart / 100)
