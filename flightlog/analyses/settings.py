"""Parameters and firmware: what was set at a time, what changed, and how two sorties differ."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from flightlog.recording import Recording

SELF_WRITTEN = re.compile(
    "|".join(
        (
            # Statistics and counters: time run and flown, boots, flights.
            r"STAT_.*",
            r"SYS_NUM_RESETS|COM_FLIGHT_UUID|LND_FLIGHT_T_(?:HI|LO)",
            # Pressure and temperature at the ground, taken anew before each flight.
            r"(?:BARO|GND)\d?_?(?:GND_)?(?:ABS_)?(?:PRESS|TEMP)\d?",
            # How many points of a mission, fence or rally list are stored, and which is next.
            r"(?:MIS|CMD|FENCE|RALLY)_(?:TOTAL|INDEX)",
        )
    )
)
"""Names that autopilots write by themselves and that set nothing."""

ZEROED_AT_REST = re.compile(
    # The zeros of the airspeed sensor and of the gyros, taken after switching on.
    r"ARSPD\d?_OFFS(?:ET)?|INS_GYR\d?_?OFFS_[XYZ]|SENS_DPRES_OFF"
)
"""Names that autopilots calibrate while the aircraft stands; in flight a change counts."""

_FIRMWARE = re.compile(r"([A-Za-z].{2,60}?[Vv ])\d+\.\d+")
_PRINTED_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Change:
    """A parameter that was given another value.

    Attributes
    ----------
    name : str
        Parameter.
    time_s : float
        When the log states the new value. [s]
    before, after : float
        In the parameter's own unit.
    """

    name: str
    time_s: float
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Setup:
    """What was set at one time.

    Attributes
    ----------
    values : mapping of str to float
        Parameters, each in its own unit; only those that the log had stated by then.
    firmware : str
        Text of the firmware, or "" where the log does not tell.
    """

    values: Mapping[str, float]
    firmware: str


@dataclass(frozen=True, slots=True)
class SettingsDifference:
    """How two setups differ.

    Attributes
    ----------
    changed : mapping of str to (float, float)
        Parameters of both with different values: of the first, of the second.
    only_first, only_second : tuple of str
        Parameters that only one of them states: not known, rather than different.
    firmware : tuple of str, or None
        Both texts where they differ, "" for one that its log does not tell; else None.
    """

    changed: Mapping[str, tuple[float, float]]
    only_first: tuple[str, ...]
    only_second: tuple[str, ...]
    firmware: tuple[str, str] | None

    @property
    def same(self) -> bool:
        """Whether nothing that both state differs."""
        return not self.changed and self.firmware is None


def settings_of(recording: Recording, at_s: float) -> Mapping[str, float]:
    """Give the parameters as they were set at a time.

    Parameters
    ----------
    recording : Recording
        Its ``parameters`` table; empty result without one.
    at_s : float
        On the log's clock. [s]

    Returns
    -------
    mapping of str to float
        Name -> last value stated up to then, in the parameter's own unit, in the order of
        names. A parameter that the log states only later is absent: what it was is not known.
    """
    values: dict[str, float] = {}
    for name, time_s, value in _statements(recording):
        if time_s <= at_s:
            values[name] = value
    return dict(sorted(values.items()))


def firmware_of(recording: Recording, at_s: float) -> str:
    """Give the text of the firmware that ran at a time; "" where the log does not tell."""
    ran = ""
    for time_s, text in firmwares(recording):
        if time_s <= at_s:
            ran = text
    return ran or recording.receipt.firmware


def setup_of(recording: Recording, at_s: float) -> Setup:
    """Give parameters and firmware at a time, for example at a sortie's start of roll. [s]"""
    return Setup(settings_of(recording, at_s), firmware_of(recording, at_s))


def compare_settings(first: Setup, second: Setup) -> SettingsDifference:
    """Say how two sorties, of one or of two recordings, differ in what was set.

    Parameters
    ----------
    first, second : Setup
        By `setup_of` at the start of each sortie.

    Notes
    -----
    `SELF_WRITTEN` names are left out. Values count as the same when they are the same as singles,
    as autopilots hold them, or when one was printed with six digits, as text logs print them, and
    the other rounds to it.
    """
    a, b = (
        {name: value for name, value in one.values.items() if not SELF_WRITTEN.fullmatch(name)}
        for one in (first, second)
    )
    changed = {
        name: (value, b[name])
        for name, value in a.items()
        if name in b and not same_value(value, b[name])
    }
    differs = first.firmware != second.firmware
    return SettingsDifference(
        changed=changed,
        only_first=tuple(name for name in a if name not in b),
        only_second=tuple(name for name in b if name not in a),
        firmware=(first.firmware, second.firmware) if differs else None,
    )


def changes(recording: Recording) -> tuple[Change, ...]:
    """List what was set anew within the log, in the order of time.

    A value that is stated again is no change, and `SELF_WRITTEN` names are left out.
    """
    last: dict[str, float] = {}
    found: list[Change] = []
    for name, time_s, value in _statements(recording):
        before = last.get(name, value)
        last[name] = value
        # Mostly it is the very same number, which is quick to see.
        if before == value:
            continue
        if _single(before) != _single(value) and not SELF_WRITTEN.fullmatch(name):
            found.append(Change(name, time_s, before, value))
    return tuple(found)


def firmwares(recording: Recording) -> tuple[tuple[float, str], ...]:
    """List the texts in which the log names its firmware, each where it stands first or anew.

    A text counts when it begins as the receipt's does, up to the version.
    """
    messages = recording.get("messages")
    named = _FIRMWARE.match(recording.receipt.firmware)
    if messages is None or named is None:
        return ()
    found: list[tuple[float, str]] = []
    for time_s, text in zip(messages["time_s"].tolist(), messages["text"].tolist(), strict=True):
        match = _FIRMWARE.match(text)
        if match and match[1] == named[1] and (not found or found[-1][1] != text):
            found.append((time_s, text))
    return tuple(found)


def same_value(one: float, other: float) -> bool:
    """Whether two statements, perhaps of two kinds of log, can be of one value."""
    if _single(one) == _single(other):
        return True
    short_one, short_other = (float(f"{v:.{_PRINTED_DIGITS}g}") for v in (one, other))
    return short_one == short_other and (short_one == one or short_other == other)


def _single(value: float) -> float:
    """Round to a 32-bit float, as which autopilots hold parameters."""
    with np.errstate(over="ignore"):
        return float(np.float32(value))


def _statements(recording: Recording) -> Iterator[tuple[str, float, float]]:
    """Name, time and value of each row that holds a number, in the order of time."""
    table = recording.get("parameters")
    if table is None:
        return
    columns = (table[name].tolist() for name in ("name", "time_s", "value"))
    for name, time_s, value in zip(*columns, strict=True):
        if math.isfinite(value):
            yield name, time_s, value
