"""Headers of a transmitter card to assignments, by the data in `transmitter.toml`.

Most columns are decided by their name and the unit in their header. The rules here decide what
takes a look at the other headers or at the range of the numbers; the data say why.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from flightlog.importers.common import FloatArray, Notes
from flightlog.importers.delimited_numbers import numbers, style_of
from flightlog.importers.delimited_reading import TextTable
from flightlog.importers.delimited_tables import Assignment, house_column
from flightlog.team_files.column_units import spelled_unit

_HEADER = re.compile(r"(?P<name>[^()]+?)\s*\((?P<unit>[^()]*)\)")
_REPEATED = re.compile(r".* \(\d+\)")

COURSE_TURN = 65.536
"""What a course that ran over lacks, in tens of degrees: 65536 thousandths."""

YAW_TURN = 6.5536
"""What a yaw that ran over lacks: 65536 ten-thousandths [rad]."""

OVERFLOW = 32.768
"""The largest number that 16 bits with a sign hold in thousandths, and a little."""


@cache
def sensors() -> tuple[Mapping[str, Any], ...]:
    """Read the data."""
    text = files("flightlog.importers").joinpath("transmitter.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["sensor"])


@dataclass(frozen=True, slots=True)
class Named:
    """A header of the file, cut into name and unit."""

    at: int
    name: str
    unit: str


def named(header: tuple[str, ...]) -> dict[str, Named]:
    """Cut headers into names and units; of a repeated name the first counts."""
    found: dict[str, Named] = {}
    for at, text in enumerate(header):
        if _REPEATED.fullmatch(text):
            continue
        match = _HEADER.fullmatch(text)
        name = match["name"].strip() if match else text
        found.setdefault(name, Named(at, name, match["unit"].strip() if match else ""))
    return found


@dataclass(slots=True)
class Card:
    """What the rules look at and where they tell what they found."""

    table: TextTable
    names: Mapping[str, Named]
    notes: Notes
    unclear: list[str]
    decimal: str | None = None

    def values(self, at: int) -> FloatArray:
        """Numbers of a column as they are printed, without the missing ones."""
        style = style_of(self.table.some(at), elsewhere=self.decimal)
        found, _ = numbers(self.table, at, style)
        return found[np.isfinite(found)]

    def one_frame(self) -> bool:
        """Whether the link is of the family that sends its own quality as RQly and 1RSS."""
        return bool({"RQly", "1RSS"} & set(self.names))


def assignments(
    table: TextTable, notes: Notes, decimal: str | None = None
) -> tuple[list[Assignment], list[str]]:
    """Say what each column of a card is.

    Returns
    -------
    assignments : list of Assignment
        One per column that feeds a table; a cell with two words has two.
    unclear : list of str
        Columns that were left out because their unit or meaning is unclear.
    """
    names = named(table.header)
    card = Card(table, names, notes, [], decimal)
    made: list[Assignment] = []
    taken: set[tuple[str, str, int | None]] = set()
    for spec in sensors():
        column = names.get(spec["name"])
        if column is None:
            continue
        for assignment in _assigned(card, column, spec):
            key = (assignment.table, assignment.column, assignment.channel)
            if key not in taken:
                taken.add(key)
                made.append(assignment)
    return made, card.unclear


def _assigned(card: Card, column: Named, spec: Mapping[str, Any]) -> list[Assignment]:
    """Give the assignments of one column; none when its unit or meaning is unclear."""
    if "parts" in spec:
        return [
            Assignment(column.at, spec["table"], one, spec["unit"], part=part)
            for part, one in enumerate(spec["parts"], start=1)
        ]
    house = house_column(spec["table"], spec["is"])
    unit: str | None = spec.get("unit")
    why = "the header"
    if unit is None:
        spelled = spelled_unit(column.unit, house.unit) if house.unit else None
        if spelled is None and house.unit:
            card.unclear.append(card.table.header[column.at])
            return []
        unit = spelled.name if spelled else ""
    elif spec["table"] == "inputs":
        why = "the firmware's sticks, numbered in its order; 100 % is 512 us"
    plain = Assignment(column.at, spec["table"], spec["is"], unit, why, channel=spec.get("channel"))
    rule = spec.get("rule")
    decided = _RULES[rule](card, plain) if rule else plain
    return [decided] if decided else []


Rule = Callable[[Card, Assignment], Assignment | None]


def _course(card: Card, plain: Assignment) -> Assignment | None:
    values = card.values(plain.at)
    header = card.table.header[plain.at]
    if not len(values) or np.abs(values).max() > OVERFLOW:
        return plain
    if (values < 0).any():
        card.notes.lines.append(
            f"{header}: hundredths of a degree in 16 bits, read by the transmitter as signed "
            "thousandths; negative numbers were set back by 65.536 and all were taken times 10"
        )
        return replace(
            plain,
            wrap=COURSE_TURN,
            scale=10.0,
            why="the header, and a 16-bit number that ran over",
        )
    if card.one_frame() and (values != 0).any():
        card.unclear.append(f"{header} (degrees or tens of degrees)")
        return None
    return plain


def _yaw(card: Card, plain: Assignment) -> Assignment | None:
    values = card.values(plain.at)
    if plain.unit != "rad" or not (values < 0).any():
        return plain
    over = bool((np.abs(values) > np.pi + 0.006).any())  # printed with two decimals
    under = bool(((values > -0.26) & (values < -0.006)).any())
    header = card.table.header[plain.at]
    if over and not under and np.abs(values).max() <= 3.28:
        card.notes.lines.append(
            f"{header}: counts from 0 to 2 pi in 16 bits and ran over at 3.2768; negative numbers "
            "were set back by 6.5536"
        )
        return replace(plain, wrap=YAW_TURN, why="the header, and a 16-bit number that ran over")
    if over == under:
        card.unclear.append(f"{header} (where it runs over)")
        return None
    return plain


def _altitude(card: Card, plain: Assignment) -> Assignment | None:
    header = card.table.header[plain.at]
    if "GAlt" in card.names:
        return plain
    if card.one_frame() and "Sats" in card.names:
        card.notes.find(
            "altitude-reference",
            f"{header} came in one frame with the fixes; whether it counts from the sea or from "
            "the start, and by which sensor, the card does not tell. Only its changes are used.",
            severity="note",
            evidence={"column": header},
        )
        return replace(
            plain, table="gps", column="altitude_msl_m", why="the header; came with the fixes"
        )
    card.notes.find(
        "altitude-reference",
        f"{header} was taken for the height of a variometer above its own zero: no column of "
        "the fixes' own altitude is there.",
        severity="note",
        evidence={"column": header},
    )
    return plain


def _pitch(card: Card, plain: Assignment) -> Assignment | None:
    header = card.table.header[plain.at]
    card.notes.lines.append(
        f"{header} was left out: which way is positive differs between autopilots; say it with "
        "'sign' in a column map"
    )
    return None


def _receiver_voltage(card: Card, plain: Assignment) -> Assignment | None:
    header = card.table.header[plain.at]
    if {"VFAS", "Cels"} & set(card.names):
        return None
    if {"Curr", "Capa", "Bat_"} <= set(card.names):
        return replace(plain, why="the header; one sensor with current, charge and per cent")
    card.notes.lines.append(
        f"{header} was left out: it is the receiver's supply unless current, charge and per cent "
        "of the pack come with it"
    )
    return None


def _signal(card: Card, plain: Assignment) -> Assignment | None:
    values = card.values(plain.at)
    positive, negative = bool((values > 0).any()), bool((values < 0).any())
    if positive and negative:
        card.unclear.append(f"{card.table.header[plain.at]} (both signs)")
        return None
    if positive:
        return replace(plain, sign=-1, why="the header; the link sends dBm times -1")
    return plain


def _counts(card: Card, plain: Assignment) -> Assignment | None:
    values = card.values(plain.at)
    if (values < 0).any():
        if (values > 0).any():
            card.unclear.append(f"{card.table.header[plain.at]} (both signs)")
            return None
        return replace(plain, column="rssi_dbm", unit="dBm")
    return replace(plain, unit="", why="the receiver's own counts")


_RULES: Mapping[str, Rule] = {
    "course": _course,
    "yaw": _yaw,
    "altitude": _altitude,
    "pitch": _pitch,
    "receiver-voltage": _receiver_voltage,
    "signal": _signal,
    "counts": _counts,
}
