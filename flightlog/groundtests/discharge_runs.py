"""Single discharges of a file: where they begin and end.

A discharge lasts from the load on a pack that was charged to the cut-off, or to the end of the
load where the cut-off was not reached. Pauses are inside of it; charging ends it.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.groundtests.discharge_drawn import LEVEL_SHARE, integrated
from flightlog.groundtests.discharge_rows import Index, Rows
from flightlog.groundtests.discharge_run import Run

HELD_S = 2.0
"""The voltage has to stay below the cut-off for so long, or to the end of the load. [s]"""

_CHARGED = 1.02
_CHARGED_SOON, _CHARGED_LATE, _RELAXED_S = 1.12, 1.03, 60.0
_TRIVIAL = 0.02
_LEAST_BREAK_S = 2.0
_FIT_S = 10.0
_LATE_S, _LATE_STEP = 1.0, 0.3
_TURNS = 12


def find_runs(rows: Rows, cutoff_v: float | None, slack_v: float = 0.0) -> list[Run]:
    """Cut the rows of a file into discharges, and integrate each.

    Parameters
    ----------
    rows : Rows
        Of one file.
    cutoff_v : float or None
        Voltage of the pack under load at which a discharge ends; None where nothing says it. [V]
    slack_v : float
        So far above it the load may go off by a voltmeter of its own; what the pack would still
        have given is then allowed for. [V]
    """
    if not rows.high_a > 0 or not rows.loaded.any():
        return []
    edges = _edges(rows)
    runs = []
    for first, last in pairwise(edges):
        span = np.arange(first, last)
        # Rows of charging at an end of the stretch are no rest of this discharge.
        span = span[~rows.charging[span]]
        if span.size < 4 or not rows.loaded[span].any():
            continue
        runs.append(integrated(_ended(rows, int(span[0]), int(span[-1]) + 1, cutoff_v, slack_v)))
    most = max((run.charge.value for run in runs), default=0.0)
    return [run for run in runs if run.charge.value > _TRIVIAL * most]


def _edges(rows: Rows) -> list[int]:
    """Rows at which another discharge can begin, with both ends of the file."""
    loaded = rows.loaded
    at = np.flatnonzero(loaded)
    # Nobody charges a pack in a break of a moment.
    after_break = np.flatnonzero(np.diff(rows.time_s[at]) > _LEAST_BREAK_S) + 1
    starts, offs = at[np.append(0, after_break)], at[np.append(0, after_break - 1)] + 1
    edges = [0]
    charged = np.append(0, np.cumsum(rows.charging))
    before: float | None = None
    for k, start in enumerate(starts.tolist()):
        off = int(offs[k])
        rest = np.arange(max(edges[-1], start - 3, off if k else 0), start)
        rest = rest[~loaded[rest] & ~rows.charging[rest]]
        now = float(np.median(rows.volts[rest])) if rest.size else None
        if k:
            in_between = charged[start] - charged[off]
            risen = now is not None and before is not None and now > _CHARGED * before
            if in_between >= 3 or risen or _charged_in_a_hole(rows, off, start):
                edges.append(_cut(rows, off, start))
                before = None
        before = now if now is not None else before
    return [*edges, rows.time_s.size]


def _charged_in_a_hole(rows: Rows, off: int, start: int) -> bool:
    """Whether the voltage at rest rose over a hole by more than a pack recovers."""
    t, volts = rows.time_s, rows.volts
    if start - off < 2:
        return False
    hole = off + int(np.argmax(np.diff(t[off:start])))
    if t[hole + 1] - t[hole] <= rows.gap_s:
        return False
    relaxed = t[hole] - t[off] >= _RELAXED_S
    return bool(volts[hole + 1] > (_CHARGED_LATE if relaxed else _CHARGED_SOON) * volts[hole])


def _cut(rows: Rows, off: int, start: int) -> int:
    """Where the rest before a load begins: after charging, else after the largest hole."""
    charging = np.flatnonzero(rows.charging[off:start])
    if charging.size:
        return off + int(charging[-1]) + 1
    return off + int(np.argmax(np.diff(rows.time_s[off : start + 1]))) + 1


# --- the end


def _ended(rows: Rows, first: int, last: int, cutoff_v: float | None, slack_v: float) -> Run:
    """Find where a discharge begins and ends."""
    loaded: Index = np.flatnonzero(rows.loaded[first:last]) + first
    on, off = int(loaded[0]), int(loaded[-1])
    # A current that is read late shows a load that is on already as a rest.
    calm = int(np.searchsorted(rows.time_s, rows.time_s[on] - _LATE_S))
    till = calm if calm > first else on
    rest = np.arange(max(first, till - 5), till)
    rest = rest[~rows.loaded[rest]]
    before = float(np.median(rows.volts[rest])) if rest.size else None
    if off + 1 < last and rows.time_s[off + 1] - rows.time_s[off] <= rows.gap_s:
        step = float(rows.time_s[off + 1] - rows.time_s[off])
        end, std = float(rows.time_s[off + 1]), step / math.sqrt(12)
    else:
        end, std = float(rows.time_s[off]), 0.0
    shape = (rows, first, last, on, off)
    if cutoff_v is None:
        return Run(*shape, end, std, False, before, 0.0, end, end, 0.0)
    loaded = _without_rebound(rows, loaded, last)
    off = int(loaded[-1])
    crossing = _crossing(rows, loaded, cutoff_v)
    early = _crossing(rows, loaded, cutoff_v + slack_v)
    late = _crossing(rows, loaded, cutoff_v - slack_v)
    level, slope, level_std = _level(rows, off, loaded)
    # Without rows so far down a straight line on from the last has to tell it.
    on_s = max(level - cutoff_v + slack_v, 0.0) / -slope if slope < 0 else 0.0
    late_s = late[0] if late is not None else end + on_s
    early_s = min(early[0], end) if early is not None else end
    if crossing is not None:
        at, at_std, fall = crossing
        return Run(*shape, at, at_std, True, before, fall, min(early_s, at), max(late_s, at), 0.0)
    # The load goes off at once when the cut-off is met: no row need show it.
    reach = 1.5 * abs(slope) * rows.step_s + 3 * level_std + rows.grain_v
    reach += slack_v if slope < 0 else 0.0
    reached = level - cutoff_v <= reach
    short = max(0.0, level - cutoff_v) if reached else 0.0
    return Run(*shape, end, std, reached, before, slope, early_s, max(late_s, end), short)


def _without_rebound(rows: Rows, loaded: Index, last: int) -> Index:
    """Rows under load without the last ones, where a current that is read late hides its end."""
    off, t, volts = int(loaded[-1]), rows.time_s, rows.volts
    near = loaded[(t[loaded] >= t[off] - _LATE_S) & (loaded < off)]
    after = volts[off + 1 : min(off + 4, last)]
    if not near.size or not after.size:
        return loaded
    rise = volts[near + 1] - volts[near]
    rise[np.abs(rows.amps[near + 1] - rows.amps[near]) > _LATE_STEP * rows.high_a] = 0.0
    k = int(np.argmax(rise))
    whole = float(np.median(after)) - float(volts[near[k]])
    if not rise[k] > max(0.4 * whole, 6 * rows.noise_v + rows.grain_v):
        return loaded
    return loaded[: int(np.searchsorted(loaded, near[k], side="right"))]


def _crossing(rows: Rows, loaded: Index, cutoff_v: float) -> tuple[float, float, float] | None:
    """Time [s] at which the voltage is at the cut-off to stay, its 1 sigma, the slope there."""
    time_s, volts = rows.time_s[loaded], rows.volts[loaded]
    slack = 3 * rows.noise_v + 0.5 * rows.grain_v
    # Above is whatever stands out of the noise; the first row below after the last of those.
    held = np.searchsorted(time_s, time_s + HELD_S, side="right")
    above = np.append(0, np.cumsum(volts > cutoff_v + slack))
    stays = (volts <= cutoff_v) & (above[held] == above[np.arange(volts.size)])
    found = np.flatnonzero(stays)
    if not found.size:
        return None
    k = int(found[0])
    for _ in range(_TURNS):
        near = _steady(rows, loaded, k)
        t, v = time_s[near], volts[near]
        if t.size < 4:
            return _between(time_s, volts, k, cutoff_v)
        slope, level, spread = _line(t, v, time_s[k])
        if not slope < 0:
            return float(time_s[k]), rows.step_s, 0.0
        at = float(time_s[k] + (cutoff_v - level) / slope)
        nearest = min(int(np.searchsorted(time_s, at)), volts.size - 1)
        if at <= t[-1] + rows.step_s or nearest == k:
            break
        k = nearest
    at = min(max(at, float(t[0])), float(time_s[-1]))
    away = at - float(t.mean())
    sigma = max(rows.noise_v, spread, rows.grain_v / math.sqrt(12))
    own = sigma * math.sqrt(1 / t.size + away**2 / float(np.sum((t - t.mean()) ** 2)))
    return at, abs(own / slope), slope


def _steady(rows: Rows, loaded: Index, k: int) -> Index:
    """Rows about one in which the current is as there, without a break."""
    time_s, amps = rows.time_s[loaded], rows.amps[loaded]
    low = int(np.searchsorted(time_s, time_s[k] - max(_FIT_S, 6 * rows.step_s)))
    high = int(np.searchsorted(time_s, time_s[k] + HELD_S, side="right"))
    near = np.abs(amps[low:high] - amps[k]) <= LEVEL_SHARE * rows.high_a + 4 * rows.noise_a
    near &= np.diff(loaded[low:high], prepend=loaded[low] - 1) == 1
    broken = np.flatnonzero(~near)
    before, after = broken[broken < k - low], broken[broken > k - low]
    start = low + (int(before[-1]) + 1 if before.size else 0)
    return np.arange(start, low + int(after[0]) if after.size else high)


def _line(t: Array, v: Array, about: float) -> tuple[float, float, float]:
    """Slope, level at a time, and scatter of a straight line."""
    x = t - about
    slope, level = np.polyfit(x, v, 1)
    spread = math.sqrt(float(np.sum((v - level - slope * x) ** 2)) / max(t.size - 2, 1))
    return float(slope), float(level), spread


def _between(time_s: Array, volts: Array, k: int, cutoff_v: float) -> tuple[float, float, float]:
    """Crossing between two rows; the first of all where there is none before it."""
    if k == 0 or volts[k - 1] <= cutoff_v:
        return float(time_s[k]), 0.0, 0.0
    step, fall = float(time_s[k] - time_s[k - 1]), float(volts[k] - volts[k - 1])
    share = (cutoff_v - float(volts[k - 1])) / fall
    return float(time_s[k - 1]) + share * step, step / math.sqrt(12), fall / step


def _level(rows: Rows, off: int, loaded: Index) -> tuple[float, float, float]:
    """Voltage when the load goes off [V], its slope [V/s], and the 1 sigma of the former."""
    near = _steady(rows, loaded, loaded.size - 1)
    t, v = rows.time_s[loaded][near], rows.volts[loaded][near]
    if t.size < 4:
        return float(rows.volts[off]), 0.0, max(rows.noise_v, rows.grain_v / math.sqrt(12))
    t, v = t[-8:] - t[-1], v[-8:]
    # The voltage bends down at the end.
    line = np.polyfit(t, v, 2 if t.size > 5 else 1)
    rest = v - np.polyval(line, t)
    spread = math.sqrt(float(rest @ rest) / max(t.size - line.size, 1))
    sigma = max(rows.noise_v, spread, rows.grain_v / math.sqrt(12))
    return float(line[-1]), min(float(line[-2]), 0.0), sigma
