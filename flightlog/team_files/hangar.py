"""Pack and component files, and the tables of aircraft, pack and component that are alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, Strict

from flightlog.errors import TeamFileError
from flightlog.inputs import Balance, Component, Life, Pack, Station, Task
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.reading import near_miss, read_toml

MOST_TASKS = 100
MOST_CORNERS = 40
LEAST_CORNERS = 3

Hours = Annotated[float, Field(ge=0, le=100_000, description="hours, 0 or more")]
Count = Annotated[int, Field(ge=0, le=1_000_000, description="a whole number, 0 or more")]
_Every = Annotated[float, Field(gt=0, le=100_000, description="a number above 0")]
_Times = Annotated[int, Field(gt=0, le=1_000_000, description="a whole number above 0")]
_Arm = Annotated[float, Field(ge=-10, le=10, description="an arm in metres aft of the datum")]
_Std = Annotated[float, Field(ge=0, le=1, description="a standard uncertainty in metres, 0 to 1")]
_Corner = Annotated[
    tuple[Annotated[float, Field(gt=0, le=100)], Annotated[float, Field(ge=-100, le=200)]],
    Strict(False),
]


class BalanceTable(Table):
    """``[balance]`` of an aircraft."""

    datum: Text = Field(description="where arms count from, in words", min_length=1)
    mac_m: float = Field(gt=0, le=5, description="the mean aerodynamic chord in metres")
    lemac_m: _Arm
    mac_std_m: _Std = 0.0
    lemac_std_m: _Std = 0.0
    envelope: list[_Corner] = Field(
        min_length=LEAST_CORNERS,
        max_length=MOST_CORNERS,
        description="corners [mass in kg, balance in % of the chord], in order around it",
    )


class StationTable(Table):
    """``[stations.NAME]`` of an aircraft."""

    arm_m: _Arm
    arm_std_m: _Std = 0.002
    slip_m: float = Field(
        default=0.0, ge=0, le=2, description="how far a load can slip either way, in metres"
    )
    forward_m: _Arm | None = None
    aft_m: _Arm | None = None


_Wind = Annotated[float, Field(gt=0, le=40, description="a wind in m/s, up to 40")]
_Celsius = Annotated[float, Field(ge=-60, le=60, description="a temperature in °C, -60 to 60")]


class WeatherTable(Table):
    """``[weather]`` of an aircraft."""

    wind_mean_m_s: _Wind | None = None
    wind_gust_m_s: _Wind | None = None
    crosswind_m_s: _Wind | None = None
    temperature_min_c: _Celsius | None = None
    temperature_max_c: _Celsius | None = None
    valid_min: float = Field(
        default=60.0, gt=0, le=1440, description="minutes for which a measurement holds, to 1440"
    )


class LifeTable(Table):
    """``[life]``."""

    hours: _Every | None = None
    landings: _Times | None = None
    cycles: _Times | None = None
    days: _Every | None = None


class TaskTable(Table):
    """One ``[[task]]``."""

    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    title: Text = Field(min_length=1, description="what is done, in a few words")
    every_hours: _Every | None = None
    every_landings: _Times | None = None
    every_cycles: _Times | None = None
    every_days: _Every | None = None
    independent: bool = Field(default=False, description="whether a second person looks")
    list: Slug | None = Field(default=None, description="the id of the check list that does it")
    item: Slug | None = Field(default=None, description="the item of that list")
    events: Annotated[tuple[Slug, ...], Strict(False)] = Field(
        default=(), description="events after which it is due at once"
    )


class _PackFile(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    serial: Text = ""
    chemistry: Text = ""
    cells: int | None = Field(default=None, ge=1, le=28, description="cells in series, 1 to 28")
    parallel: int = Field(default=1, ge=1, le=20, description="strings in parallel, 1 to 20")
    capacity_ah: float | None = Field(
        default=None, gt=0, le=200, description="the capacity in Ah printed on the pack"
    )
    nominal_wh: float | None = Field(
        default=None, gt=0, le=5000, description="the energy in Wh printed on the pack"
    )
    mass_kg: float | None = Field(default=None, gt=0, le=50, description="the mass in kg")
    resistance_ohm: float | None = Field(
        default=None, gt=0, le=2, description="the resistance in ohm of the pack when new, up to 2"
    )
    reference_current_a: float | None = Field(
        default=None, gt=0, le=1000, description="the current in A at which its sag is stated"
    )
    reserve_share: float | None = Field(
        default=None, ge=0, le=0.9, description="the share of its energy left at landing, 0 to 0.9"
    )
    since: date | None = None
    hours_before: Hours = 0.0
    landings_before: Count = 0
    cycles_before: Count = 0
    life: LifeTable = LifeTable()
    task: list[TaskTable] = Field(default_factory=list, max_length=MOST_TASKS)
    limits: dict[str, dict[str, Any]] = Field(default_factory=dict)


class _ComponentFile(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    title: Text = Field(min_length=1, description="what it is, in a few words")
    group: str = Field(description="what it belongs to")
    serial: Text = ""
    since: date | None = None
    hours_before: Hours = 0.0
    landings_before: Count = 0
    cycles_before: Count = 0
    life: LifeTable = LifeTable()
    task: list[TaskTable] = Field(default_factory=list, max_length=MOST_TASKS)


COMPONENT_GROUPS = (
    "flight-controls",
    "primary-structure",
    "propulsion-mounting",
    "radio-fail-safe",
    "propulsion",
    "battery",
    "landing-gear",
    "payload",
    "avionics",
    "other",
)
"""The same words as the record's; a test keeps the two alike."""


def read_pack(path: Path) -> Pack:
    """See `flightlog.inputs.load_pack`."""
    from flightlog.team_files.models import check_limits

    table, sha256 = read_toml(path, "pack")
    file = checked(_PackFile, table, str(path))
    check_limits(file.limits, str(path))
    given = file.model_dump(exclude={"life", "task"})
    return Pack(
        sha256=sha256,
        life=Life(**file.life.model_dump()),
        tasks=tasks_of(file.task, str(path)),
        **given,
    )


def read_component(path: Path) -> Component:
    """See `flightlog.inputs.load_component`."""
    table, sha256 = read_toml(path, "component")
    file = checked(_ComponentFile, table, str(path))
    if file.group not in COMPONENT_GROUPS:
        raise TeamFileError(
            f"is {file.group[:60]!r}, which is no group of components",
            where=f"{path}: group",
            fix=near_miss(file.group, COMPONENT_GROUPS) or f"One of {', '.join(COMPONENT_GROUPS)}.",
        )
    given = file.model_dump(exclude={"life", "task"})
    return Component(
        sha256=sha256,
        life=Life(**file.life.model_dump()),
        tasks=tasks_of(file.task, str(path)),
        **given,
    )


def balance_of(table: BalanceTable | None, path: str) -> Balance | None:
    """Turn ``[balance]`` into what a load sheet needs.

    Raises
    ------
    TeamFileError
        If the envelope does not enclose one area: its corners lie on one line, one is there
        twice, or its edges touch or cross each other.
    """
    if table is None:
        return None
    corners = tuple(table.envelope)
    fault = _envelope_fault(corners)
    if fault:
        raise TeamFileError(
            fault,
            where=f"{path}: [balance] envelope",
            fix="Give its corners in order around it, each once.",
        )
    given = table.model_dump(exclude={"envelope"})
    return Balance(envelope=corners, **given)


_Exact = tuple[Fraction, Fraction]


def _envelope_fault(corners: Sequence[tuple[float, float]]) -> str:
    """Say why corners enclose no single area, "" where they do."""
    exact = [(Fraction(repr(m)), Fraction(repr(b))) for m, b in corners]
    twice = next((n for n, corner in enumerate(exact) if corner in exact[:n]), 0)
    if twice:
        return f"has corner {twice + 1} twice"
    count = len(exact)
    if not any(_turn(exact[0], exact[1], corner) for corner in exact[2:]):
        return "encloses nothing"
    for i in range(count):
        a, b, after = exact[i], exact[(i + 1) % count], exact[(i + 2) % count]
        if not _turn(a, b, after) and (_is_between(a, b, after) or _is_between(b, after, a)):
            return f"turns back on itself at corner {(i + 1) % count + 1}"
        for j in range(i + 2, count - (i == 0)):
            if _meet(a, b, exact[j], exact[(j + 1) % count]):
                return f"touches or crosses itself behind the corners {i + 1} and {j + 1}"
    return ""


def _turn(a: _Exact, b: _Exact, c: _Exact) -> int:
    """Say to which side c lies of the line from a to b; 0 on it."""
    area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return (area > 0) - (area < 0)


def _is_between(a: _Exact, b: _Exact, c: _Exact) -> bool:
    """Whether c, on one line with a and b, lies from a to b."""
    return all(min(a[k], b[k]) <= c[k] <= max(a[k], b[k]) for k in (0, 1))


def _meet(a: _Exact, b: _Exact, c: _Exact, d: _Exact) -> bool:
    """Whether two edges have a point in common."""
    sides = (_turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b))
    if sides[0] * sides[1] < 0 and sides[2] * sides[3] < 0:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(not side and _is_between(*end) for side, end in zip(sides, ends, strict=True))


def stations_of(tables: Mapping[str, StationTable], path: str) -> dict[str, Station]:
    """Turn ``[stations.NAME]`` into stations.

    Raises
    ------
    TeamFileError
        If the place of a station does not lie between the ends of its fastening.
    """
    for name, table in tables.items():
        forward = table.arm_m if table.forward_m is None else table.forward_m
        aft = table.arm_m if table.aft_m is None else table.aft_m
        if not forward <= table.arm_m <= aft:
            raise TeamFileError(
                f"is {table.arm_m:g}, outside of {forward:g} to {aft:g}",
                where=f"{path}: [stations.{name}] arm_m",
                fix="Arms count aft: forward_m, arm_m and aft_m rise in this order.",
            )
    return {name: Station(**table.model_dump()) for name, table in tables.items()}


def tasks_of(tables: Sequence[TaskTable], path: str) -> tuple[Task, ...]:
    """Turn ``[[task]]`` into tasks.

    Raises
    ------
    TeamFileError
        If two have one id, one never comes back, or names an item without its list.
    """
    tasks: dict[str, Task] = {}
    for table in tables:
        where = f'{path}: [[task]] "{table.id}"'
        if table.id in tasks:
            raise TeamFileError(
                "is there twice", where=where, fix="Give each task an id of its own."
            )
        given = table.model_dump()
        every = [v for k, v in given.items() if k.startswith("every_")]
        if not table.events and not any(every):
            raise TeamFileError(
                "never comes back",
                where=where,
                fix="Give every_hours, every_landings, every_cycles, every_days or events.",
            )
        if table.item and not table.list:
            raise TeamFileError("names an item and no list", where=where, fix='Add list = "LIST".')
        given.update(list=table.list or "", item=table.item or "")
        tasks[table.id] = Task(**given)
    return tuple(tasks.values())
