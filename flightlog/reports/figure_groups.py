"""Figures by what a person asks: what the flight did, and what is wearing out.

Every face shows them in these groups and in this order. What all surfaces have is one table, a row
for each surface, since a list of fifty lines is read by nobody.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from flightlog.figures import FIGURES, Figure
from flightlog.findings import Finding
from flightlog.reports.numbers import figure_span, figure_value
from flightlog.reports.plain import plain

FLIGHT = ("Take-off", "Climb", "Flight", "Laps", "Energy")
"""What the flight did."""
WEAR = ("Battery", "Surfaces", "Landing", "Link", "Vibration")
"""What is wearing out."""
WEAR_TITLE = "What is wearing out"
OTHERS = "Others"

_FIRST_PART: Mapping[str, str] = {
    "takeoff": "Take-off",
    "climb": "Climb",
    "flight": "Flight",
    "wind": "Flight",
    "laps": "Laps",
    "energy": "Energy",
    "charge": "Energy",
    "battery": "Battery",
    "supply": "Surfaces",
    "surface": "Surfaces",
    "landing": "Landing",
    "link": "Link",
    "vibration": "Vibration",
    "motor": "Vibration",
}
_SINGLE: Mapping[str, str] = {
    "battery.max_current": "Energy",
    "battery.min_voltage": "Energy",
    "battery.max_power": "Energy",
    "battery.energy_left": "Energy",
}
"""Figures of the battery that tell what was used, not what wears."""

NOT_EXCLUDED = "not-excluded"
"""Finding that stands with the figures of its subject, not among what was found."""

DECLARED = ("declared",)
"""Sources of a figure that people gave."""
TOLD_ELSEWHERE = ("takeoff.start_time", "takeoff.liftoff_time")
"""Figures that stand in the line of the sortie."""

_SURFACE, _COLUMNS = "surface", (
    "trim", "trim_shift", "play", "lag", "gain", "saturation", "reversals", "travel",
)  # fmt: skip
_NAMED = 3
"""Withheld figures of one group and reason that are named; more are counted."""


def group_of(figure_id: str) -> str:
    """Give the group in which a figure stands.

    >>> group_of("surface.elevator.play"), group_of("battery.max_power")
    ('Surfaces', 'Energy')
    """
    return _SINGLE.get(figure_id) or _FIRST_PART.get(figure_id.split(".", 1)[0], OTHERS)


def in_groups(figures: Iterable[Figure]) -> dict[str, list[Figure]]:
    """Put measured figures into their groups, those of the flight first; none that is empty.

    Left out is what people declared, and what stands in the line of the sortie.
    """
    found: dict[str, list[Figure]] = {name: [] for name in (*FLIGHT, *WEAR, OTHERS)}
    for figure in figures:
        if figure.sources != DECLARED and figure.id not in TOLD_ELSEWHERE:
            found[group_of(figure.id)].append(figure)
    return {name: group for name, group in found.items() if group}


# --- surfaces


@dataclass(frozen=True, slots=True)
class SurfaceColumn:
    """One figure of all surfaces: its name, its unit, and for each surface value and interval.

    Both are "" where a surface has no such figure.
    """

    name: str
    unit: str
    cells: tuple[tuple[str, str], ...]

    @property
    def head(self) -> str:
        """Name with unit."""
        return f"{self.name}, {self.unit}" if self.unit else self.name


@dataclass(frozen=True, slots=True)
class SurfaceTable:
    """All surfaces with the figures that they have."""

    surfaces: tuple[str, ...]
    columns: tuple[SurfaceColumn, ...]


def surface_table(figures: Iterable[Figure]) -> SurfaceTable | None:
    """Give the figures of all surfaces as one table, None where there are none.

    Parameters
    ----------
    figures : iterable of Figure
        Of any kind.

    Returns
    -------
    SurfaceTable or None
        Surfaces by name; a column that no surface has is not there.
    """
    by_id = {figure.id: figure for figure in figures if is_of_surface(figure.id)}
    names = sorted({id_.split(".")[1] for id_ in by_id})
    columns = []
    for column in _COLUMNS:
        cells = [by_id.get(f"{_SURFACE}.{name}.{column}") for name in names]
        if any(cells):
            kind = FIGURES.families[f"{_SURFACE}.NAME.{column}"]
            columns.append(SurfaceColumn(kind.label, kind.unit, tuple(map(_cell, cells))))
    if not columns:
        return None
    return SurfaceTable(tuple(name.replace("_", " ") for name in names), tuple(columns))


def is_of_surface(figure_id: str) -> bool:
    """Whether a figure is one of the table of surfaces."""
    parts = figure_id.split(".")
    return len(parts) == 3 and parts[0] == _SURFACE and parts[2] in _COLUMNS


def _cell(figure: Figure | None) -> tuple[str, str]:
    return ("", "") if figure is None else (figure_value(figure), figure_span(figure) or "exact")


# --- what is withheld


def withheld_texts(withheld: Mapping[str, str]) -> list[str]:
    """Say what is withheld, those of one reason together: "Link (all 6 figures): no link data".

    Parameters
    ----------
    withheld : mapping of str to str
        Figure id -> reason, with what would unlock it.
    """
    reasons: dict[str, list[str]] = {}
    for figure_id, reason in withheld.items():
        reasons.setdefault(_of_all_surfaces(figure_id, reason), []).append(figure_id)
    return [f"{what_of(ids, withheld)}: {reason}" for reason, ids in reasons.items()]


def _of_all_surfaces(figure_id: str, reason: str) -> str:
    """Give a reason that names its own figure as the others of its kind give theirs."""
    if not is_of_surface(figure_id):
        return reason
    name = figure_id.split(".")[1]
    return reason.replace(f"{_SURFACE}.{name}.", f"{_SURFACE}.NAME.")


def what_of(ids: Iterable[str], withheld: Mapping[str, str]) -> str:
    """Name figures in few words: the groups that have many are counted."""
    groups: dict[str, list[str]] = {}
    for id_ in ids:
        groups.setdefault(group_of(id_), []).append(id_)
    parts = []
    for group, own in groups.items():
        names = list(_names(own))
        if len(names) <= _NAMED:
            parts += names
        else:
            every = len(own) == sum(group_of(id_) == group for id_ in withheld)
            parts.append(f"{group} ({'all ' if every else ''}{len(own)} figures)")
    return ", ".join(parts)


def _names(ids: Iterable[str]) -> Iterable[str]:
    """Give labels; what several surfaces lack is one name: "Play of aileron and rudder"."""
    surfaces: dict[str, list[str]] = {}
    for id_ in ids:
        if is_of_surface(id_):
            _, name, column = id_.split(".")
            surfaces.setdefault(column, []).append(name.replace("_", " "))
        else:
            yield FIGURES[id_].label if id_ in FIGURES else plain(id_, 40)
    alike: dict[tuple[str, ...], list[str]] = {}
    for column, names in surfaces.items():
        label = FIGURES.families[f"{_SURFACE}.NAME.{column}"].label
        alike.setdefault(tuple(names), []).append(label)
    for names_of_all, labels in alike.items():
        text = f"{_list(labels)} of {_list(names_of_all)}"
        yield f"{text[0].upper()}{text[1:]}"


def _list(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


# --- findings

FAULTS: Mapping[str, tuple[str, str]] = {
    "surface-sense": ("Surfaces", "a surface that moves the wrong way"),
    "surface-play": ("Surfaces", "play in a linkage"),
    "surface-slow": ("Surfaces", "a surface that answers late or weakly"),
    "limit-cycle": ("Surfaces", "a surface that swings by itself"),
    "trim-shifted": ("Surfaces", "a trim that has shifted"),
    "surface-saturated": ("Surfaces", "a surface at the end of its travel"),
    "servo-supply-low": ("Surfaces", "low voltage at the servos"),
    "hard-landing": ("Landing", "a hard landing"),
    "cell-low": ("Battery", "a low cell"),
    "cells-apart": ("Battery", "cells that are apart"),
    "resistance-high": ("Battery", "a high battery resistance"),
    "peak-grows-with-speed": ("Vibration", "a vibration that grows with speed"),
    "propeller-vibration": ("Vibration", "vibration of the propeller"),
    "structure-peak-shifted": ("Vibration", "a natural frequency that has shifted"),
    "structure-near-order": ("Vibration", "a natural frequency that the propeller meets"),
    "link-dropout": ("Link", "a dropout of the link"),
    "weak-aspect": ("Link", "a weak direction of the aerial"),
    "link-current": ("Link", "a link that the motor disturbs"),
}
"""Finding about what is wearing out or was strained -> its group, and its name in a sentence."""


def faults(findings: Iterable[Finding]) -> list[Finding]:
    """Give the findings about what is wearing out or was strained, in the order of `FAULTS`."""
    order = list(FAULTS)
    return sorted((f for f in findings if f.code in FAULTS), key=lambda f: order.index(f.code))


def apart(findings: Iterable[Finding]) -> tuple[list[Finding], list[Finding]]:
    """Part what was found from faults that the log is too slow or too poor to show."""
    found: list[Finding] = []
    open_: list[Finding] = []
    for finding in findings:
        (open_ if finding.code == NOT_EXCLUDED else found).append(finding)
    return found, open_
