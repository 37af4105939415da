"""Rolls under power that did not leave the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.phases_evidence import Evidence, column, good_fixes
from flightlog.analyses.phases_states import SLOW_M_S, Ground, Mask, spans
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.estimation.frames import Array
    from flightlog.recording import Recording

_PEAK_M_S = 3.0
"""Noise at rest reaches 2 m/s, a walk 1.5: a roll has to be faster [m/s]."""

_FELT_PEAK_M_S = 2.0
"""Enough when the accelerometer felt the same gain of speed [m/s]."""

_GAIN_M_S2 = 0.5
"""A roll gains speed faster, even with a heavy load; a taxi creeps up to its speed [m/s²]."""

_BLIND_PEAK_M_S = 4.0
_BLIND_GAIN_M_S2 = 1.0
"""Without any sign of power: this speed, reached this quickly [m/s, m/s²]."""

_FULL = 0.5
"""A roll takes over half of full power; a taxi doesn't need it."""

_STRAIGHT_DEG = 45.0
"""A taxi turns, a roll keeps to the strip [deg]."""

_FIX_NOISE_M_S = 0.2
"""Of one speed fix, where the log shows no rest to measure it on [m/s]."""

_LONGEST_GAP_S = 1.5
"""Between two fixes, over which a distance is still known: 1 Hz, and one that is late [s]."""

_SHARED_M_S = 0.05
"""What the speeds of one roll err by together [m/s]."""


@dataclass(frozen=True, slots=True)
class Roll:
    """One roll that did not become a flight.

    Attributes
    ----------
    start_s, stop_s : float
        Start of motion and standstill. [s]
    peak_m_s, peak_std_m_s : float
        Fastest 0.5 s mean of ground speed, and its standard uncertainty. [m/s]
    reason : str
        In words.
    distance, distance_in_all : Uncertain or None
        Rolled until the fastest moment, and until standstill; None where the log does not show it.
        [m]
    """

    start_s: float
    stop_s: float
    peak_m_s: float
    peak_std_m_s: float
    reason: str
    distance: Uncertain | None = None
    distance_in_all: Uncertain | None = None


@dataclass(frozen=True, slots=True)
class _Peak:
    """Fastest 0.5 s mean: speed and its standard uncertainty, when, and how sure that time is."""

    speed_m_s: float
    std_m_s: float
    time_s: float
    time_std_s: float


def find_rolls(recording: Recording, e: Evidence, ground: Ground, taken: Mask) -> list[Roll]:
    """Find the rolls outside flights.

    Parameters
    ----------
    recording : Recording
        For the fixes themselves.
    e, ground : Evidence, Ground
        The session.
    taken : array of bool
        Steps that belong to flights.
    """
    gps = recording.one("gps")
    time_s, speed = column(gps, "time_s"), good_fixes(gps, "ground_speed_m_s")
    if time_s is None or speed is None:
        return []
    course = good_fixes(gps, "course_deg")
    moving = (e.speed_m_s > SLOW_M_S) & ~taken
    found = []
    for i, j in spans(moving):
        if not np.any(e.speed_m_s[i:j] > 0.6 * _FELT_PEAK_M_S):
            continue
        inside = (time_s >= e.time_s[i] - 0.5) & (time_s <= e.time_s[j - 1] + 0.5)
        inside &= np.isfinite(speed)
        if not inside.any():
            continue
        way = course[inside] if course is not None else None
        noise = _rest_noise(e, ground)
        peak = _peak(time_s[inside], speed[inside], noise)
        if _is_attempt(e, (i, j), peak, _turned(speed[inside], way)):
            track = _Track(time_s, speed, noise)
            found.append(_roll(e, (i, j), peak, track))
    return found


@dataclass(frozen=True, slots=True)
class _Track:
    """The speeds of all fixes, and what one of them errs by on its own."""

    time_s: Array
    speed: Array
    noise: float

    def distance(self, start_s: float, end_s: float, end_std_s: float) -> Uncertain | None:
        """Add up what was rolled between two moments; None where fixes are missing [m]."""
        near = (self.time_s >= start_s - _LONGEST_GAP_S) & (self.time_s <= end_s + _LONGEST_GAP_S)
        near &= np.isfinite(self.speed)
        time_s, speed = self.time_s[near], self.speed[near]
        if len(time_s) < 2 or time_s[0] > start_s or time_s[-1] < end_s:
            return None
        inside = time_s[(time_s > start_s) & (time_s < end_s)]
        at = np.concatenate([[start_s], inside, [end_s]])
        if np.max(np.diff(at)) > _LONGEST_GAP_S:
            return None
        rolled = np.interp(at, time_s, speed)
        length_s = end_s - start_s
        period = float(np.median(np.diff(time_s)))
        sources = {
            "speed of each fix": self.noise * float(np.sqrt(length_s * period)),
            "speed of all fixes": _SHARED_M_S * length_s,
            # Between two fixes the roll began, and its speed is no straight line there.
            "between fixes": float(np.max(rolled)) * period / length_s * period / 4.0,
            "its end": float(rolled[-1]) * end_std_s,
        }
        return Uncertain(float(np.trapezoid(rolled, at)), sources, "m")


def _roll(e: Evidence, span: tuple[int, int], peak: _Peak, track: _Track) -> Roll:
    i, j = span
    half = e.steps(0.4)  # the 1 s mean starts to move before the aircraft does
    start = float(e.time_s[min(i + half, j - 1)]) - 0.5
    stopped = j < len(e.time_s) and e.speed_m_s[j] <= SLOW_M_S
    reason = "stopped before lift-off" if stopped else "the log ends during the roll"
    stop = float(e.time_s[min(j, len(e.time_s) - 1)])
    start = max(float(e.time_s[0]), start)
    # A log that begins in the roll does not show where that was.
    begins = i > 0 and bool(np.isfinite(e.speed_m_s[i - 1]))
    before, after = start - 0.5, stop + 0.5
    until = track.distance(before, peak.time_s, peak.time_std_s) if begins else None
    whole = track.distance(before, after, 0.0) if begins and stopped else None
    return Roll(start, stop, peak.speed_m_s, peak.std_m_s, reason, until, whole)


def _rest_noise(e: Evidence, ground: Ground) -> float:
    """Give the standard deviation of a speed fix, from the speeds shown at rest."""
    at_rest = e.speed_m_s[ground.rest & np.isfinite(e.speed_m_s)]
    if len(at_rest) < e.steps(5.0):
        return _FIX_NOISE_M_S
    # the speed at rest is the length of a two-dimensional error: rms / sqrt(2) per axis
    return max(0.05, float(np.sqrt(np.mean(at_rest**2) / 2.0)))


def _peak(time_s: Array, speed: Array, noise: float) -> _Peak:
    """Find the fastest moment."""
    first = np.searchsorted(time_s, time_s - 0.25)
    last = np.searchsorted(time_s, time_s + 0.25, side="right")
    total = np.concatenate([[0.0], np.cumsum(speed)])
    mean = (total[last] - total[first]) / (last - first)
    k = int(np.argmax(mean))
    # between two slow fixes the true peak may lie higher by a part of what they differ
    near = speed[max(0, k - 1) : k + 2]
    period = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 1.0
    between = 0.25 * float(np.max(near) - np.min(near)) if period > 0.5 else 0.0
    std = float(np.hypot(noise / np.sqrt(last[k] - first[k]), between))
    # As fast, as far as anyone can tell, it may have been at any of these moments.
    alike = time_s[mean >= mean[k] - 2.0 * noise / np.sqrt(last[k] - first[k])]
    alike_std = float(np.max(np.abs(alike - time_s[k]))) / np.sqrt(3.0)
    return _Peak(
        float(mean[k]), std, float(time_s[k]), float(np.hypot(period / np.sqrt(12.0), alike_std))
    )


def _turned(speed: Array, course_deg: Array | None) -> float:
    """Give the change of direction while faster than half the peak [deg]."""
    if course_deg is None:
        return 0.0
    ways = course_deg[(speed > 0.5 * np.max(speed)) & np.isfinite(course_deg)]
    if len(ways) < 2:
        return 0.0
    unwrapped = np.unwrap(np.radians(ways))
    return float(np.degrees(np.max(unwrapped) - np.min(unwrapped)))


def _is_attempt(e: Evidence, span: tuple[int, int], fastest: _Peak, turned_deg: float) -> bool:
    i, j = span
    peak, when_s = fastest.speed_m_s, fastest.time_s
    top = int(np.clip(np.searchsorted(e.time_s, when_s), i, j - 1))
    before = max(0, i - e.steps(3.0))
    if (e.armed[i:j] == 0).all() or turned_deg > _STRAIGHT_DEG:
        return False
    power = e.power[before : top + 1]
    # A log may start during the motion: what it shows first was not gained in it.
    gain = (peak - max(SLOW_M_S, float(e.speed_m_s[i]))) / max(1.0, when_s - float(e.time_s[i]))
    if not np.isfinite(power).any():
        return peak >= _BLIND_PEAK_M_S and gain >= _BLIND_GAIN_M_S2
    if gain < _GAIN_M_S2:
        return False
    if int(np.sum(power >= _FULL)) < e.steps(0.6):
        return False
    felt = _felt(e, i, top)
    return peak >= (_FELT_PEAK_M_S if felt >= 0.6 * peak else _PEAK_M_S)


def _felt(e: Evidence, i: int, top: int) -> float:
    """Give the speed gained by the accelerometer up to the peak, less what it shows before."""
    before = e.forward_m_s2[max(0, i - e.steps(5.0)) : max(1, i - e.steps(2.0))]
    push = e.forward_m_s2[max(0, i - e.steps(1.0)) : top + 1]
    if not np.isfinite(before).any() or not np.isfinite(push).all():
        return 0.0
    return float(np.sum(push - np.nanmedian(before)) * e.step_s)
