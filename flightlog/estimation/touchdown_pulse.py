"""The impact of a landing in the samples of an accelerometer: where it begins, how high it goes.

Samples are readings at instants or means since the sample before; a log does not say which.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_evidence import Series

LEAST_STEP_M_S2 = 1.5
"""Rise over the level of the flare that is no gust. [m/s²]"""

LEAST_IMPULSE_M_S = 0.12
"""Velocity that a contact takes away within `IMPULSE_S`. [m/s]"""

IMPULSE_S = 0.15

TOP_S, FOOT_SHARE = 0.2, 0.12
"""Within the first the pulse reaches its top; its foot is where it has left the level by the
second, as a share of the top. [s], [-]"""

ENOUGH_SAMPLES = 5
"""With fewer samples in a pulse its top may lie between them."""

LEAST_SEEN = 0.25
"""Share of a pulse's top that a sample shows at the least; of less it would not stand out. [-]"""

SHORTEST_PULSE_S = 0.03
"""Of the stiffest wheels and skids. [s]"""


def find_onset(
    upward: Series,
    start_s: float,
    end_s: float,
    stops: Callable[[float], bool] = lambda _time_s: True,
) -> tuple[float, float] | None:
    """Start of the first impact in a stretch, and its standard uncertainty. [s]

    Parameters
    ----------
    upward : Series
        Upward acceleration, gravity removed; samples from 1 s before ``start_s``.
    start_s, end_s : float
        Where the impact may begin. [s]
    stops : callable
        Whether the fall ends with a contact at a time [s]: a gust or a pull only slows it.

    Returns
    -------
    (float, float) or None
        None where no sample rises far enough over what the flare was like.
    """
    t, x = upward.time_s, upward.value
    step = float(np.median(np.diff(t))) if t.size > 1 else 0.0
    calm = (t > start_s - 1.2) & (t <= start_s)
    if calm.sum() < 5 or not step > 0:
        return None
    noise = 1.4826 * float(np.median(np.abs(np.diff(x[calm])))) / math.sqrt(2)
    area = np.concatenate([[0.0], np.cumsum(np.diff(t) * (x[1:] + x[:-1]) / 2)])
    least = max(LEAST_STEP_M_S2, 4 * noise)
    inside = np.flatnonzero((t > start_s) & (t <= end_s))
    begins = np.searchsorted(t, t[inside] - 0.45).tolist()
    ends = np.searchsorted(t, t[inside] - 0.5 * step).tolist()
    for k, begin, end in zip(inside.tolist(), begins, ends, strict=True):
        if end - begin < 3:
            continue
        near = x[begin:end]
        # The median costs more than the rest: most samples don't even rise over the least.
        if x[k] - near.min() < least:
            continue
        level = float(np.median(near))
        if x[k] - level < least:
            continue
        reach = min(t[k] + IMPULSE_S, t[-1])
        gained = float(np.interp(reach, t, area) - area[k]) - level * (reach - t[k])
        if gained < LEAST_IMPULSE_M_S:
            continue
        # A pull or a gust may have raised it before: the foot is that of the pulse itself.
        top = k + int(np.argmax(x[k : np.searchsorted(t, t[k] + TOP_S, side="right")]))
        limit = max(least, FOOT_SHARE * (float(x[top]) - level))
        foot = top
        while foot > 1 and x[foot - 1] - level > limit and t[top] - t[foot - 1] < 2 * TOP_S:
            foot -= 1
        flank = max(float(x[foot] - x[foot - 1]), 1e-6)
        at = float(t[foot]) - step * min(1.0, max(0.0, float(x[foot] - level) / flank))
        if stops(at):
            return at, math.hypot(0.3 * step, 0.012)
    return None


@dataclass(frozen=True, slots=True)
class Peak:
    """Top of an impact in the samples.

    Attributes
    ----------
    time_s, value : float
        Of the greatest sample. [s], in the signal's unit
    samples : int
        Samples of its pulse above a tenth of the way up from the level before it.
    impulse : float
        Integral over the level for as long as the pulse lasts. [unit s]
    step_s : float
        Spacing of the samples. [s]
    """

    time_s: float
    value: float
    samples: int
    impulse: float
    step_s: float


def find_peak(
    time_s: Array, value: Array, start_s: float, end_s: float, level: float
) -> Peak | None:
    """Greatest sample in a stretch, and the pulse that it belongs to.

    Parameters
    ----------
    time_s, value : array, shape (n,)
        Samples of a load factor or an acceleration. [s]
    start_s, end_s : float
        Stretch. [s]
    level : float
        What it was before the impact; the pulse is what lies above.
    """
    inside = np.flatnonzero((time_s >= start_s) & (time_s <= end_s))
    if inside.size < 2:
        return None
    top = int(inside[np.argmax(value[inside])])
    height = float(value[top]) - level
    if not height > 0:
        return None
    above = value > level + 0.1 * height
    i = j = top
    while i > 0 and above[i - 1]:
        i -= 1
    while j < len(value) - 1 and above[j + 1]:
        j += 1
    part = slice(max(0, i - 1), j + 2)
    t, over = time_s[part], value[part] - level
    impulse = float(np.sum(np.diff(t) * (over[1:] + over[:-1])) / 2)
    step = float(np.median(np.diff(time_s[inside])))
    return Peak(float(time_s[top]), float(value[top]), j - i + 1, impulse, step)


def missed_share(samples: int, step_s: float) -> Array:
    """What the true top may be over the greatest sample, less one: equally likely values.

    A pulse of the shape of half a sine wave, seen by so many samples, which fall anywhere in
    it; half of the values for readings at instants, half for means over the time between.

    Returns
    -------
    array, shape (n,)
        In rising order; all at least 0. [-]
    """
    offset = (np.arange(12) + 0.5) / 24  # of the nearest sample from the top, in steps
    shortest = max(SHORTEST_PULSE_S / step_s, 0.7)
    shares = []
    for length in samples + np.linspace(-0.9, 0.9, 7):
        # Samples above a tenth of the top lie within 94 % of the pulse.
        width = max(length / 0.94, shortest)
        shares.append(1 / np.maximum(np.cos(np.pi * offset / width), LEAST_SEEN) - 1)
        # Means see it for longer than it lasts.
        width = max((length - 0.75) / 0.94, shortest)
        mean = math.sin(math.pi / (2 * width)) / (math.pi / (2 * width))
        seen = np.maximum(np.cos(np.pi * offset / width) * mean, LEAST_SEEN)
        shares.append(1 / seen - 1)
    return np.sort(np.concatenate(shares))
