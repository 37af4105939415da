"""The dictionary of figures that are measured on the ground.

They are kept apart from those of flights (`flightlog.figures`), since no log gives them and no
debrief misses them. As there, an id has one definition for ever. A family stands for one figure of
many things: ``ringdown.NAME.frequency`` is that of whatever mode was found.
"""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.figures import FigureKind, Kinds

GROUND_VERSION = 1
"""Rises whenever a figure's number can change for the same files."""


def _kind(id_: str, unit: str, decimals: int, label: str, definition: str) -> FigureKind:
    return FigureKind(id_, unit, label, definition, decimals)


def _kinds() -> Iterable[FigureKind]:
    # --- thrust: thrust stand
    # --- discharge: discharge of a pack
    # --- ringdown: ring-down of a wing or tail
    # --- stiffness: static deflection under load
    # --- weighing: aircraft on scales
    # --- linkage: servo and linkage
    yield from ()


GROUND_FIGURES = Kinds(_kinds())
"""Figure id -> what it means."""
