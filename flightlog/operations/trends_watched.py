"""The figures that are watched over a season: which way is bad for each, and from what size.

What an aircraft does with its energy on a flight is a choice of that day; what it takes for a lap
or a kilometre is not. So `battery.energy_left` is not watched, nor what the weather decides alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from flightlog.figures import FIGURES, FREE_NAME
from flightlog.prediction.wear import Practical

UP: Literal[1] = 1
DOWN: Literal[-1] = -1
EITHER: Literal[0] = 0
RESISTANCE, TRIM, SINK = "battery.resistance_25c", "surface.NAME.trim", "landing.sink_rate"
STRUCTURE_PEAK = "vibration.structure_peak"


@dataclass(frozen=True, slots=True)
class Default:
    """A limit that holds where no file gives one.

    Attributes
    ----------
    op : {"<=", ">="}
        How it holds.
    value : float
        In the unit of the figure; of the baseline a factor, or what is added to it.
    of : {"", "times", "plus"}
        Whether it is a number of its own, or by the baseline.
    """

    op: Literal["<=", ">="]
    value: float
    of: Literal["", "times", "plus"] = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """A figure, or a family of figures, that is watched.

    Attributes
    ----------
    id : str
        Figure id; of a family with ``NAME``.
    practical : Practical
        Which way is bad, and from what size.
    defaults : tuple of Default
        The team's limits where no file gives one; triggers of an inspection, none of airworthiness.
    likely : bool
        Whether it wears out for certain.
    within : (float, float)
        From where to where it can be: a line that is drawn on leads beyond.
    """

    id: str
    practical: Practical
    defaults: tuple[Default, ...] = ()
    likely: bool = False
    within: tuple[float, float] = (0.0, math.inf)

    @property
    def of_pack(self) -> bool:
        """Whether it is a pack's, else the aircraft's."""
        return self.id.startswith("battery.")


_ANY = (-math.inf, math.inf)


def _share(bad: Literal[1, -1, 0], change: float, jump: float) -> Practical:
    return Practical(bad, change, jump, share=True)


WATCHED: Mapping[str, Kind] = {
    kind.id: kind
    for kind in (
        Kind(RESISTANCE, _share(UP, 0.10, 0.20), (Default("<=", 1.5, "times"),), likely=True),
        Kind("battery.cell_spread", Practical(UP, 0.010, 0.015), (Default("<=", 0.030),)),
        Kind("battery.cell_spread_loaded", Practical(UP, 0.020, 0.030), (Default("<=", 0.080),)),
        Kind(
            TRIM,
            Practical(EITHER, 1.0, 2.0),
            (Default("<=", 2.0, "plus"), Default(">=", -2.0, "plus")),
            within=_ANY,
        ),
        Kind("surface.NAME.play", Practical(UP, 0.3, 0.5), (Default("<=", 1.0),)),
        Kind(
            "surface.NAME.lag",
            Practical(UP, 0.010, 0.030),
            (Default("<=", 0.030, "plus"),),
            within=_ANY,
        ),
        Kind("surface.NAME.gain", _share(DOWN, 0.10, 0.25), (Default(">=", 0.75, "times"),)),
        Kind("surface.NAME.reversals", Practical(UP, 0.5, 2.0), (Default("<=", 4.0),)),
        Kind(SINK, Practical(UP, 0.3, 0.8), (Default("<=", 1.5),)),
        Kind("link.margin", Practical(DOWN, 3.0, 6.0), (Default(">=", 10.0),), within=_ANY),
        Kind("link.minimum_quality", Practical(DOWN, 10.0, 25.0), within=(0.0, 100.0)),
        Kind(
            "vibration.first_order",
            _share(UP, 0.25, 0.41),
            (Default("<=", 1.41, "times"),),
        ),
        Kind(
            STRUCTURE_PEAK,
            _share(EITHER, 0.03, 0.05),
            (Default("<=", 1.05, "times"), Default(">=", 0.95, "times")),
        ),
        Kind("energy.per_lap", _share(UP, 0.07, 0.20)),
        Kind("energy.per_km", _share(UP, 0.07, 0.20)),
        Kind("takeoff.ground_roll_reference", _share(UP, 0.10, 0.25)),
        Kind("climb.best_rate", _share(DOWN, 0.10, 0.25), within=_ANY),
    )
}
"""Id -> figure or family that is watched, in the order in which they are told."""


def watched_kind(figure: str) -> Kind | None:
    """Give what is watched of a figure, None where it is not."""
    if figure in WATCHED:
        return WATCHED[figure]
    first, _, rest = figure.partition(".")
    _, _, last = rest.partition(".")
    kind = WATCHED.get(f"{first}.{FREE_NAME}.{last}")
    return kind if kind is not None and figure in FIGURES else None


def watched_ids(ids: Iterable[str]) -> list[str]:
    """Give the figures that are watched among some, in order."""
    places = {id_: place for place, id_ in enumerate(WATCHED)}
    kinds = {id_: watched_kind(id_) for id_ in FIGURES.ordered(ids)}
    found = [(places[kind.id], id_) for id_, kind in kinds.items() if kind is not None]
    return [id_ for _, id_ in sorted(found)]
