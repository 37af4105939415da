"""How far the clocks of two recordings of one flight are apart.

What both saw (speed over ground, height, position) is laid over each other. Correlation at every
lag (`flightlog.estimation.correlation`) gives the places where they could fit; at each of the
best the offset is found between the samples by least squares
(`flightlog.estimation.clock_offset`), and what is left over tells whether it is the same flight
at all, and how sure the offset is. Repeated laps fit at several places: the second best is part
of the answer, and where the two can't be told apart there is no offset.

The offset is that of the series. A receiver or a link that is late is late in it as well: two
recordings with the same clock, whose positions reach the log 0.1 s and 0.6 s after they hold,
are 0.5 s apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flightlog.estimation.clock_offset import POSITION, ClockOffset, Fit, clock_offset
from flightlog.estimation.correlation import Lags, Trace, correlate

__all__ = ["Alignment", "Trace", "align", "is_alone", "is_same_motion"]

APART_S = 4.0
"""Two lags that are nearer than this are one [s]."""

CANDIDATES = 8
"""So many lags are looked at closely."""

HOPELESS = 0.4
"""And none whose score is below this share of the best."""

MARGIN = 8.0
"""The best lag's log-likelihood must be so far above the next one's."""

LEAST_MOVING_S = 15.0
"""With less motion than this in common nothing shows that two recordings are of one flight [s]."""

_LEFT_OVER = {"speed": 1.0, "north": 6.0, "east": 6.0, "height": 4.0}
"""Two loggers on one aircraft differ by less, root mean square [m/s], [m]."""

_FARTHEST_M = 20.0
"""And the means of their positions by less than this, each way [m]."""

_LEAST_CORRELATION = 0.9
"""Of speed and height, unless they hardly vary and differ by less than the next."""

_NEAR = {"speed": 0.3, "height": 1.0}


@dataclass(frozen=True, slots=True)
class Alignment:
    """One lag at which the second recording could lie on the first.

    Attributes
    ----------
    clock : ClockOffset
        Offset, rate and what is left over.
    score, runner_up : float
        Log-likelihood of this lag against "nothing in common", and that of the best other one;
        0 where there is none.
    runner_up_s : float
        How far away the other is; NaN where there is none. [s]
    width_s : float
        How far from the peak the score has fallen to a half: its sharpness. [s]
    """

    clock: ClockOffset
    score: float
    width_s: float
    runner_up: float = 0.0
    runner_up_s: float = float("nan")


def align(
    first: Sequence[Trace],
    second: Sequence[Trace],
    *,
    windows: Sequence[tuple[float, float]] | None = None,
) -> tuple[Alignment, ...]:
    """Find the offsets at which the second recording could lie on the first, the best first.

    Parameters
    ----------
    first, second : sequence of Trace
        At most one of a name. Speeds and heights may differ by gain and zero, positions by a
        constant.
    windows : sequence of (float, float), optional
        Offsets that are possible, lowest and highest [s]; all of them when not given.

    Returns
    -------
    tuple of Alignment
        Empty when they share too little, or nothing moves in what they share.
    """
    lags = correlate(first, second)
    if windows is not None:
        lags = _within(lags, windows)
    found: list[Alignment] = []
    peaks = lags.peaks(apart_s=APART_S, most=CANDIDATES)
    for at in peaks:
        if lags.score[at] < HOPELESS * lags.score[peaks[0]]:
            break
        clock = clock_offset(first, second, float(lags.lag_s[at]))
        known = clock is None or any(
            abs(clock.offset_s - o.clock.offset_s) < APART_S for o in found
        )
        if clock is not None and not known:
            found.append(Alignment(clock, float(lags.score[at]), _width_s(lags, at)))
    return tuple(_with_runner_up(one, found) for one in found)


def is_same_motion(alignment: Alignment) -> bool:
    """Whether what is left over is as small as two loggers on one aircraft leave it.

    Every trace that can be compared has to agree, and there must be two of them at least.
    """
    clock = alignment.clock
    if clock.moving_s < LEAST_MOVING_S or len(clock.fits) < 2:
        return False
    return all(_agrees(fit) for fit in clock.fits)


def _agrees(fit: Fit) -> bool:
    if not fit.left_over <= _LEFT_OVER[fit.name]:  # NaN does not agree
        return False
    if fit.name in POSITION:
        return abs(fit.bias) <= _FARTHEST_M
    return fit.correlation >= _LEAST_CORRELATION or fit.left_over <= _NEAR[fit.name]


def is_alone(alignment: Alignment) -> bool:
    """Whether this lag is so much likelier than the next that there is no choice."""
    return alignment.score - alignment.runner_up >= MARGIN


def _within(lags: Lags, windows: Sequence[tuple[float, float]]) -> Lags:
    allowed = np.zeros(len(lags.lag_s), dtype=bool)
    for low, high in windows:
        allowed |= (lags.lag_s >= low) & (lags.lag_s <= high)
    return replace(lags, score=np.where(allowed, lags.score, 0.0))


def _width_s(lags: Lags, at: int) -> float:
    low = lags.score < 0.5 * lags.score[at]
    away = np.abs(lags.lag_s[low] - lags.lag_s[at])
    return float(away.min()) if len(away) else float("inf")


def _with_runner_up(one: Alignment, found: Sequence[Alignment]) -> Alignment:
    other = next((o for o in found if o is not one), None)
    if other is None:
        return one
    away = other.clock.offset_s - one.clock.offset_s
    return replace(one, runner_up=other.score, runner_up_s=away)
