"""Parameters or firmware that changed within the log.

A change on the ground makes sorties hard to compare. One in flight spoils what the parameter
scales: a figure then holds values of two scales, and which of them was right is not known.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from flightlog.analyses.settings import ZEROED_AT_REST, Change, changes, firmwares
from flightlog.findings import Finding, make_finding
from flightlog.screening.context import LogView

if TYPE_CHECKING:
    from flightlog.analyses.phases import Sortie

TOLD = 5
"""So many changes are spelt out."""

_CURRENT = "energy.* charge.used battery.max_current battery.max_power"
_VOLTAGE = "energy.* battery.min_voltage battery.max_power"
_MONITOR = "energy.* charge.used battery.max_current battery.max_power battery.min_voltage"
_AIRSPEED = "flight.max_airspeed flight.min_stall_margin"
_WIND = "wind.* takeoff.headwind takeoff.ground_roll_reference"
_INERTIAL = "takeoff.* flight.max_load_factor flight.min_load_factor flight.min_stall_margin"


@dataclass(frozen=True, slots=True)
class Effect:
    """What parameters of one kind scale.

    Attributes
    ----------
    what : str
        In words.
    names : str
        Pattern of the whole name, from the open descriptions of autopilot parameters.
    affects : str
        Figures that are computed from it.
    law : {"proportional", "root", "unknown"}
        How the measured value goes with the parameter; with an unknown one no share can be put
        on a change.
    """

    what: str
    names: str
    affects: str
    law: Literal["proportional", "root", "unknown"]


EFFECTS = (
    Effect(
        "the scale of the current",
        r"BATT\w?_(?:AMP_PERVOLT|AMP_PERVLT|CURR_MULT)|AMP_PER_VOLT|BAT\d?_A_PER_V",
        _CURRENT,
        "proportional",
    ),
    Effect(
        "the zero of the current",
        r"BATT\w?_AMP_OFFSET|BAT\d?_V_OFFS_CURR",
        _CURRENT,
        "unknown",
    ),
    Effect(
        "the scale of the voltage",
        r"BATT\w?_VOLT_MULT|VOLT_DIVIDER|BAT\d?_V_DIV",
        _VOLTAGE,
        "proportional",
    ),
    Effect(
        "the battery monitor",
        r"BATT\w?_(?:MONITOR|VOLT_PIN|CURR_PIN|VLT_OFFSET)|BAT\d?_(?:V|I)_CHANNEL|BAT\d?_SOURCE",
        _MONITOR,
        "unknown",
    ),
    # The airspeed is the root of pressure times ratio.
    Effect("the ratio of the airspeed sensor", r"ARSPD\d?_RATIO", _AIRSPEED, "root"),
    Effect("the scale of the airspeed", r"ASPD_SCALE(?:_\d)?", _AIRSPEED, "proportional"),
    Effect(
        "the zero or kind of the airspeed sensor",
        r"ARSPD\d?_(?:OFFSET|OFFS|TYPE|PIN|TUBE_ORDER|TUBE_ORDR)|SENS_DPRES_OFF",
        _AIRSPEED,
        "unknown",
    ),
    Effect(
        "the height by the barometer",
        r"(?:BARO|GND)_ALT_OFFSET|BARO_PRIMARY",
        "climb.* flight.max_height takeoff.distance_to_screen",
        "unknown",
    ),
    Effect(
        "the calibration or mounting of the inertial sensors",
        r"INS_ACC\d?_?(?:OFFS|SCAL)_[XYZ]|INS_GYR\d?_?OFFS_[XYZ]|AHRS_ORIENTATION|SENS_BOARD_ROT"
        r"|CAL_(?:ACC|GYRO)\d_\w+",
        _INERTIAL,
        "unknown",
    ),
)
"""Kinds of parameters whose effect on figures is known; all others get a note."""

WIND_SHARE = 0.01
"""Above this change of the scale of the airspeed the wind that is found by it is withheld: at
15 m/s it is 0.15 m/s, which the analysis allows for anyway. [-]"""


def settings_changed(view: LogView) -> Iterator[Finding]:
    """Tell parameters and firmware that changed within the log.

    A change in a sortie degrades the figures of what the parameter scales; where no share can be
    put on it (a zero, a kind of sensor), they are withheld. Other changes are told as a note.
    """
    yield from _firmware(view)
    rest: list[Change] = []
    spoilt: dict[tuple[int, Effect], list[Change]] = {}
    for change in changes(view.recording):
        within = next((i for i, s in enumerate(view.sorties) if _holds(s, change)), None)
        effect = _effect_of(change.name)
        if within is not None and effect is not None:
            spoilt.setdefault((within, effect), []).append(change)
        elif within is not None or not ZEROED_AT_REST.fullmatch(change.name):
            rest.append(change)
    for (number, effect), mine in spoilt.items():
        wind_given = view.inputs.wind is not None
        yield from _spoilt(effect, mine, view.sorties[number], wind_given=wind_given)
    if rest:
        yield make_finding(
            "settings-changed",
            f"{_count(rest)} changed within the log: {_told(rest)}.",
            evidence={"changes": len(rest), "parameters": len(_by_name(rest))},
            severity="note",
            start_s=rest[0].time_s,
            end_s=rest[-1].time_s,
        )


def _firmware(view: LogView) -> Iterator[Finding]:
    found = firmwares(view.recording)
    for (_, before), (time_s, after) in pairwise(found):
        yield make_finding(
            "settings-changed",
            f"The firmware changed within the log, from '{before}' to '{after}' at {time_s:.1f} s.",
            evidence={"before": before, "after": after},
            severity="note",
            start_s=time_s,
            end_s=time_s,
        )


def _spoilt(
    effect: Effect, mine: Sequence[Change], sortie: Sortie, *, wind_given: bool
) -> Iterator[Finding]:
    """Findings on what one kind of parameter scales in one sortie."""
    share = max(_share(effect, of_one) for of_one in _by_name(mine).values())
    known = math.isfinite(share)
    by = f" by {100 * share:.1f} %" if known else ""
    message = (
        f"{_count(mine)} changed within sortie {sortie.number}: {_told(mine)}; so did {effect.what}"
        f"{by}"
    )
    evidence: dict[str, float | int | str] = {
        "changes": len(mine),
        "parameters": len(_by_name(mine)),
    }
    if known:
        evidence["share"] = share
        yield make_finding(
            "settings-changed",
            f"{message}.",
            evidence=evidence,
            affects=_affected(effect, mine, sortie),
            start_s=mine[0].time_s,
            end_s=mine[-1].time_s,
            # The truth lies anywhere between all by the one and all by the other scale.
            widen=share / math.sqrt(3),
        )
    unknown = [] if known else _affected(effect, mine, sortie)
    if effect.affects == _AIRSPEED and share > WIND_SHARE:
        # A wind that was given does not hang on the sensor.
        unknown += _WIND.split()[:1] if wind_given else _WIND.split()
    if unknown:
        yield make_finding(
            "settings-changed",
            f"{message}; how far that moves figures that use it can't be told.",
            evidence=evidence,
            affects=unknown,
            severity="stop",
            remedy="Set parameters on the ground, and fly again for these figures.",
            start_s=mine[0].time_s,
            end_s=mine[-1].time_s,
        )


def _affected(effect: Effect, mine: Sequence[Change], sortie: Sortie) -> list[str]:
    """Figures that a change spoils: the take-off stands when it was over by then."""
    over = mine[0].time_s > sortie.search_s[1]
    return [one for one in effect.affects.split() if not (over and one.startswith("takeoff."))]


def _share(effect: Effect, of_one: Sequence[Change]) -> float:
    """How much the measured value changed, as a share; infinite where that can't be told. [-]"""
    values = [value for change in of_one for value in (change.before, change.after)]
    if effect.law == "unknown" or min(values) <= 0:
        return math.inf
    ratio = max(values) / min(values)
    return (math.sqrt(ratio) if effect.law == "root" else ratio) - 1


def _holds(sortie: Sortie, change: Change) -> bool:
    return sortie.start_s <= change.time_s <= sortie.end_s


@lru_cache(maxsize=4096)
def _effect_of(name: str) -> Effect | None:
    return next((one for one in EFFECTS if re.fullmatch(one.names, name)), None)


def _by_name(found: Sequence[Change]) -> dict[str, list[Change]]:
    sorted_: dict[str, list[Change]] = {}
    for change in found:
        sorted_.setdefault(change.name, []).append(change)
    return sorted_


def _count(found: Sequence[Change]) -> str:
    count = len(_by_name(found))
    return f"{count} parameter{'s' if count != 1 else ''}"


def _told(found: Sequence[Change]) -> str:
    """Name the first changes."""
    first = ", ".join(
        f"{c.name} from {c.before:g} to {c.after:g} at {c.time_s:.1f} s" for c in found[:TOLD]
    )
    more = len(found) - TOLD
    return f"{first} and {more} more" if more > 0 else first
