"""Tables of an aircraft file that say what wear is measured against."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated

from pydantic import Field, Strict

from flightlog.errors import TeamFileError
from flightlog.figures import FIGURES
from flightlog.inputs import Baseline, Gear, LinkSetting
from flightlog.team_files.checking import Table
from flightlog.team_files.limits import near_figure
from flightlog.team_files.units import converted, units_like

MOST_POINTS = 40

_Point = Annotated[
    tuple[Annotated[float, Field(ge=500, le=2500)], Annotated[float, Field(ge=-90, le=90)]],
    Strict(False),
]
Points = Annotated[list[_Point], Field(min_length=2, max_length=MOST_POINTS)]
"""``deflection`` of an output: [pulse in us, deflection in deg]."""

POINTS = (
    "two or more [pulse in us, deflection in deg], pulses rising from 500 to 2500, deflections "
    "-90 to 90, trailing edge down (rudder: to the left) positive"
)

Frequencies = Annotated[list[Annotated[float, Field(gt=0, le=1000)]], Field(max_length=20)]


class TailTable(Table):
    """``[tail]``: two panels that do the work of elevator and rudder."""

    dihedral_deg: float = Field(
        ge=-80, le=80, description="of the panels in degrees, tips up positive, -80 to 80"
    )


class GearTable(Table):
    """``[gear]``."""

    stroke_m: float = Field(gt=0, le=1, description="how far the gear yields, in metres, up to 1")
    efficiency: float = Field(
        gt=0, le=1, description="its share of stroke times greatest force, 0.5 for a plain spring"
    )


class LinkTable(Table):
    """``[link]``."""

    planned_distance_m: float | None = Field(
        default=None, gt=0, le=100_000, description="the greatest planned distance in metres"
    )
    sensitivity_dbm: float | None = Field(
        default=None, ge=-150, le=0, description="the weakest usable power in dBm, -150 to 0"
    )
    raw_scale: float | None = Field(
        default=None, gt=0, le=10, description="dB for each count of the signal strength, up to 10"
    )
    raw_offset_dbm: float | None = Field(
        default=None, ge=-200, le=100, description="the power in dBm at a count of 0, -200 to 100"
    )
    frequency_hz: float | None = Field(
        default=None, gt=1e6, le=1e11, description="the frequency in Hz"
    )


class MotorTable(Table):
    """``[motor]``."""

    blades: int | None = Field(default=None, ge=1, le=12, description="of the propeller, 1 to 12")
    pole_pairs: int | None = Field(
        default=None, ge=1, le=60, description="pole pairs of the motor, 1 to 60"
    )


class StructureTable(Table):
    """``[structure]``."""

    frequencies_hz: Frequencies = Field(
        default_factory=list,
        description="natural frequencies of the ground test in Hz, up to 1000",
    )


class BaselineTable(Table):
    """One line of ``[baseline]``."""

    value: float = Field(description="what the figure was on sound flights")
    spread: float = Field(ge=0, description="the standard deviation of one flight about it")
    unit: str | None = Field(default=None, description="the unit of both")


def linkage_of(points: list[tuple[float, float]], where: str) -> tuple[tuple[float, float], ...]:
    """Check a table of pulse and deflection.

    Raises
    ------
    TeamFileError
        If pulses don't rise, or deflections turn back.
    """
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(points)]
    if any(pulse <= 0 for pulse, _ in steps):
        raise TeamFileError(
            "has pulses that do not rise", where=where, fix="Put the points in the order of pulses."
        )
    if not (all(d > 0 for _, d in steps) or all(d < 0 for _, d in steps)):
        raise TeamFileError(
            "has deflections that turn back",
            where=where,
            fix="A longer pulse moves a surface one way only: measure the points again.",
        )
    return tuple((float(pulse), float(deflection)) for pulse, deflection in points)


def baseline_of(tables: Mapping[str, BaselineTable], path: str) -> dict[str, Baseline]:
    """Turn ``[baseline]`` into values in the units of the figures.

    Raises
    ------
    TeamFileError
        If a figure is unknown or a unit does not fit.
    """
    found = {}
    for figure, line in tables.items():
        where = f"{path}: [baseline] {figure[:80]}"
        if figure not in FIGURES:
            raise TeamFileError(
                f"{figure[:80]!r} is not a figure", where=where, fix=near_figure(figure)
            )
        unit = FIGURES[figure].unit
        written = line.unit or ""
        fitting = units_like(unit)
        if written not in fitting:
            allowed = ", ".join(f"{u!r}" for u in fitting)
            raise TeamFileError(
                f"{written!r} does not fit {figure}, which is in {unit!r}",
                where=f"{where} unit",
                fix=f"Allowed here: {allowed}.",
            )
        zero = converted(0.0, written, unit)
        found[figure] = Baseline(
            converted(line.value, written, unit), converted(line.spread, written, unit) - zero
        )
    return found


def gear_of(table: GearTable | None) -> Gear | None:
    """Turn ``[gear]`` into what a landing needs."""
    return Gear(table.stroke_m, table.efficiency) if table else None


def link_of(table: LinkTable | None) -> LinkSetting | None:
    """Turn ``[link]`` into what a link needs."""
    return LinkSetting(**table.model_dump()) if table else None
