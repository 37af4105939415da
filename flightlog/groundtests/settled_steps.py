"""The settled steps of thrust stands, read at the same power, speed or thrust for each sweep.

Between two neighbouring steps the quantity is taken as a power of the coordinate: thrust goes
with the square of the speed and with the 2/3 power of the power, so that logarithms are nearly
straight. Outside of the steps nothing is given.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from flightlog.groundtests.answer import Cell, ResultTable

STEPS = "steps"
"""Key of the table of a thrust answer."""
SWEEP = "sweep"
AT_REST = 0
"""Number of the sweep of steps at which the motor stood."""
_MOST_ALIKE = 1e-9


@dataclass(frozen=True, slots=True)
class Coordinate:
    """What is held alike, and what is compared there.

    Attributes
    ----------
    word : str
        As commands name it.
    label, unit, key : str
        Of the coordinate.
    quantity, quantity_unit, quantity_key : str
        Of what is compared.
    more_is_better : bool
        Whether more of the quantity is better.
    """

    word: str
    label: str
    unit: str
    key: str
    quantity: str
    quantity_unit: str
    quantity_key: str
    more_is_better: bool


COORDINATES: Mapping[str, Coordinate] = MappingProxyType(
    {
        c.word: c
        for c in (
            Coordinate(
                *("power", "equal electrical power", "W", "electrical_power_w"),
                *("thrust", "N", "thrust_n"),
                more_is_better=True,
            ),
            Coordinate(
                *("speed", "equal speed", "rpm", "speed_rpm"),
                *("thrust", "N", "thrust_n"),
                more_is_better=True,
            ),
            Coordinate(
                *("thrust", "equal thrust", "N", "thrust_n"),
                *("electrical power", "W", "electrical_power_w"),
                more_is_better=False,
            ),
        )
    }
)
"""Word -> coordinate."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A quantity against a coordinate in one sweep.

    Attributes
    ----------
    x, y : tuple of float
        Of the settled steps, above 0; x rises.
    """

    x: tuple[float, ...]
    y: tuple[float, ...]

    def at(self, x: float) -> float | None:
        """Give the quantity at a place; None outside of the steps."""
        if not self.x or not self.x[0] <= x <= self.x[-1]:
            return None
        upper = next(i for i, each in enumerate(self.x) if each >= x)
        if self.x[upper] == x or upper == 0:
            return self.y[upper]
        x0, x1, y0, y1 = self.x[upper - 1], self.x[upper], self.y[upper - 1], self.y[upper]
        share = math.log(x / x0) / math.log(x1 / x0)
        return math.exp((1 - share) * math.log(y0) + share * math.log(y1))


def curves(table: ResultTable, coordinate: Coordinate) -> tuple[Curve, ...]:
    """Give one curve for each sweep that has two steps or more, in the order of the table.

    Parameters
    ----------
    table : ResultTable
        Settled steps, with the keys of the coordinate; a column ``sweep`` where there are several.
    coordinate : Coordinate
        What against what. Steps at which either is missing or not above 0 are left out.
    """
    place = {column.key: i for i, column in enumerate(table.columns)}
    if coordinate.key not in place or coordinate.quantity_key not in place:
        return ()
    sweeps: dict[Cell, list[tuple[float, float]]] = {}
    for row in table.rows:
        x, y = row[place[coordinate.key]], row[place[coordinate.quantity_key]]
        sweep = row[place[SWEEP]] if SWEEP in place else None
        if _positive(x) and _positive(y) and sweep != AT_REST:
            sweeps.setdefault(sweep, []).append((float(x), float(y)))  # type: ignore[arg-type]
    made = (_curve(points) for points in sweeps.values())
    return tuple(curve for curve in made if len(curve.x) > 1)


def _positive(cell: Cell) -> bool:
    return isinstance(cell, (int, float)) and math.isfinite(cell) and cell > 0


def _curve(points: Iterable[tuple[float, float]]) -> Curve:
    """Sort, and take the mean of steps at the same place."""
    alike: list[list[tuple[float, float]]] = []
    for point in sorted(points):
        if alike and point[0] <= alike[-1][0][0] * (1 + _MOST_ALIKE):
            alike[-1].append(point)
        else:
            alike.append([point])
    return Curve(
        tuple(group[0][0] for group in alike),
        tuple(math.fsum(y for _, y in group) / len(group) for group in alike),
    )


def common_places(every: Sequence[Curve]) -> tuple[float, ...]:
    """Give three places that all curves reach, with two digits: low, middle and high.

    Empty where they have no stretch in common.
    """
    if not every:
        return ()
    low, high = max(c.x[0] for c in every), min(c.x[-1] for c in every)
    if not low < high:
        return ()
    places = []
    for share in (0.25, 0.5, 0.75):
        exact = low + share * (high - low)
        rounded = float(f"{exact:.2g}")
        places.append(rounded if low <= rounded <= high else exact)
    return tuple(dict.fromkeys(places))
