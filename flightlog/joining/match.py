"""Are two recordings of one flight, and how do their clocks lie on each other?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flightlog.estimation.alignment import Alignment, align, is_alone, is_same_motion
from flightlog.estimation.clock_offset import POSITION
from flightlog.estimation.correlation import LEAST_S
from flightlog.joining.sketch import Sketch, metres_east, metres_north
from flightlog.recording import UtcRelation

QUARTER_S = 900.0
"""Zones of the world differ by whole quarters of an hour [s]."""

ZONES_S = (-12 * 3600.0, 14 * 3600.0)
"""Westernmost and easternmost zone, ahead of UTC [s]."""

SLACK_S = 5.0
"""Receivers and links are late by up to so much, whatever the clocks say [s]."""

SURE_S = 5.0
"""A clock that is better than this says by itself whether two recordings overlap [s]."""

NEVER_SET_UNIX_S = 1_420_070_400.0
"""2015-01-01: a clock that is older was never set, and says nothing [s]."""

NEAR_M = 2000.0
"""Tracks that stay farther apart than this are of different flights [m]."""


@dataclass(frozen=True, slots=True)
class Match:
    """What two recordings have to do with each other.

    Attributes
    ----------
    alignment : Alignment or None
        How the second lies on the first, when they are of one flight.
    unaligned : str
        Why they can't be aligned though they overlap; "" when they don't, or can be.
    """

    alignment: Alignment | None = None
    unaligned: str = ""


STRANGERS = Match()
"""Nothing shows that they are of one flight."""


def match(first: Sketch, second: Sketch) -> Match:
    """Compare two recordings.

    Two are of one flight when they agree in all that both have (speed, height, position) at
    one offset of the clocks that their UTC allows, and at no other. Without positions in both
    the UTC has to be known to both: aircraft with one autopilot take off alike.
    """
    windows = offset_windows(first.utc, second.utc)
    if windows is not None:
        windows = [w for w in windows if _overlap_s(first, second, w) >= LEAST_S]
        if not windows:
            return STRANGERS
    if not _near(first, second):
        return STRANGERS
    origin = first.middle_deg
    mine, other = first.traces(origin), second.traces(origin)
    common = {t.name for t in mine} & {t.name for t in other}
    sure = _is_sure(first.utc) and _is_sure(second.utc)
    if not common:
        return Match(unaligned=_nothing_common(first, second)) if sure else STRANGERS
    if windows is None and not common & set(POSITION):
        return STRANGERS
    found = [one for one in align(mine, other, windows=windows) if is_same_motion(one)]
    if not found:
        return STRANGERS
    if len(found) == 1 or is_alone(_against(found[0], found[1])):
        return Match(found[0])
    return Match(
        unaligned=(
            f"offsets of {found[0].clock.offset_s:.1f} s and {found[1].clock.offset_s:.1f} s fit "
            "alike, as with repeated laps, and their clocks don't tell which holds"
        )
    )


def offset_windows(first: UtcRelation, second: UtcRelation) -> list[tuple[float, float]] | None:
    """Offsets from the second clock to the first that their UTC allows; None for any.

    A local time of an unknown zone may be any whole quarter of an hour from UTC, from 12 h
    behind to 14 h ahead.
    """
    if is_unknown(first) or is_unknown(second):
        return None
    one, two = first.offset_s or 0.0, second.offset_s or 0.0
    reach = 3.0 * float(np.hypot(first.std_s or 0.0, second.std_s or 0.0)) + SLACK_S
    low, high = (0.0, 0.0)
    if not second.zone_known:  # local time is UTC plus the zone, so UTC is earlier by it
        low, high = low - ZONES_S[1], high - ZONES_S[0]
    if not first.zone_known:
        low, high = low + ZONES_S[0], high + ZONES_S[1]
    shifts = np.arange(low, high + 1.0, QUARTER_S)
    return [(two - one + s - reach, two - one + s + reach) for s in shifts.tolist()]


def is_unknown(utc: UtcRelation) -> bool:
    """Whether a clock says nothing about UTC: it has none, or was never set."""
    return utc.offset_s is None or not utc.offset_s > NEVER_SET_UNIX_S


def _is_sure(utc: UtcRelation) -> bool:
    return not is_unknown(utc) and utc.zone_known and (utc.std_s or 0.0) <= SURE_S


def _overlap_s(first: Sketch, second: Sketch, window: tuple[float, float]) -> float:
    """Longest overlap that an offset of the window gives [s]; 0 without sensors."""
    low, high = window
    # The best offset of the window is the one that puts the middles nearest to each other.
    best = 0.5 * (first.start_s + first.end_s) - 0.5 * (second.start_s + second.end_s)
    offset = min(max(best, low), high)
    start = max(first.start_s, second.start_s + offset)
    shared = min(first.end_s, second.end_s + offset) - start
    return shared if shared > 0 else 0.0


def _near(first: Sketch, second: Sketch) -> bool:
    """Whether the tracks could meet; True when one has no positions."""
    origin = first.middle_deg
    if origin is None or second.middle_deg is None:
        return True
    for metres, one, two in (
        (metres_north, first.latitude_deg.value, second.latitude_deg.value),
        (metres_east, first.longitude_deg.value, second.longitude_deg.value),
    ):
        a, b = metres(one, origin), metres(two, origin)
        if a.max() + NEAR_M < b.min() or b.max() + NEAR_M < a.min():
            return False
    return True


def _against(one: Alignment, other: Alignment) -> Alignment:
    return replace(one, runner_up=other.score)


def _nothing_common(first: Sketch, second: Sketch) -> str:
    offset = (second.utc.offset_s or 0.0) - (first.utc.offset_s or 0.0)
    shared = _overlap_s(first, second, (offset, offset))
    return (
        f"by UTC they share {shared:.0f} s, but no speed, height or position that both hold shows "
        "that they are of one flight"
    )
