"""The offset between two clocks near a known lag, by least squares over all traces.

At the right offset the two traces of a quantity differ by a zero, a gain, a slow trend and
noise. The offset is where the squares of the rest are least; its uncertainty is that of a
regression whose errors are correlated within stretches of `BLOCK_S` and not between them
(leave-one-stretch-out jackknife; J. G. MacKinnon and H. White, J. Econometrics 29 (1985) 305),
widened for few stretches by Student's t, and for traces that disagree by what they disagree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.correlation import LEAST_S, STILL, Array, Mask, Trace, on_grid

REACH_S = 4.0
"""The offset is looked for so far around the lag [s]."""

BLOCK_S = 20.0
"""Errors are taken as independent from one stretch of this length to the next [s]."""

FEWEST_BLOCKS = 6
"""Shorter stretches are used when there would be fewer than this."""

RATE_NEEDS_S = 600.0
"""With less than this in common a clock's rate can't be told from its offset [s]."""

LONGEST_S = 4 * 3600.0
"""Of what is shared, so much from its beginning is compared closely [s]."""

FLOOR_S = 0.01
"""Stamps of logs are no better than this [s]."""

MOVING_M_S = 2.5
"""A walk: below this speed, or vertical speed in tenths of it, nothing moves [m/s]."""

POSITION = ("north", "east")
"""Traces that are in metres on the same ground: no gain is allowed for them."""

_STEP_S = 0.1
_STEPS = 20
_SETTLED_S = 0.02


@dataclass(frozen=True, slots=True)
class Fit:
    """The offset by one trace.

    Attributes
    ----------
    name : str
        Of the trace.
    offset_s, std_s : float
        Added to the second clock, and its standard uncertainty by this trace alone. [s]
    left_over : float
        Root mean square of what the two differ by while something moves, zero, gain and trend
        taken out. [m/s], [m]
    bias : float
        First minus second, mean. [m/s], [m]
    correlation : float
        While something moves.
    """

    name: str
    offset_s: float
    std_s: float
    left_over: float
    bias: float
    correlation: float


@dataclass(frozen=True, slots=True)
class ClockOffset:
    """What least squares say.

    Attributes
    ----------
    offset_s, std_s : float
        Added to the second clock at ``middle_s``; 1.96 ``std_s`` make a 95 % interval. [s]
    rate_ppm, rate_std_ppm : float
        How much the offset grows along the second clock; NaN where too little is shared.
    middle_s : float
        Middle of what is shared, on the second clock. [s]
    shared_s, moving_s : float
        For how long both have what was compared, and for how long something moved in it. [s]
    fits : tuple of Fit
        By each trace.
    """

    offset_s: float
    std_s: float
    rate_ppm: float
    rate_std_ppm: float
    middle_s: float
    shared_s: float
    moving_s: float
    fits: tuple[Fit, ...]


def clock_offset(
    first: Sequence[Trace], second: Sequence[Trace], lag_s: float
) -> ClockOffset | None:
    """Find the offset within `REACH_S` of a lag.

    Returns
    -------
    ClockOffset or None
        None when they share less than `LEAST_S`, nothing varies in it, or the squares have no
        least value there.
    """
    stage = _Stage.set_up(first, second, lag_s)
    if stage is None:
        return None
    offset, step = lag_s, math.inf
    for count in range(_STEPS):
        fits = stage.at(offset)
        if not fits:
            return None
        step = -sum(f.push.sum() for f in fits) / sum(f.pull.sum() for f in fits)
        # What is shared, and the weights, change a little with the offset: it may go to and fro.
        offset += float(np.clip(step, -1.0, 1.0)) * (1.0 if count < _STEPS // 2 else 0.5)
        if abs(offset - lag_s) > REACH_S:
            return None
        if abs(step) < 1e-4:
            break
    return _measured(stage, offset) if abs(step) < _SETTLED_S else None


# --- traces on even times


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two traces of one name on even times, smoothed alike so that none is made late."""

    name: str
    first: Array
    first_slope: Array
    second: Array
    second_slope: Array
    second_start_s: float

    def second_at(self, time_s: Array, offset_s: float) -> tuple[Array, Array]:
        """Second trace and its slope at times of the first clock; NaN where it has none."""
        own = (time_s - offset_s - self.second_start_s) / _STEP_S
        outside = (own < 0) | (own > len(self.second) - 1)
        place = np.clip(own.astype(np.int64), 0, len(self.second) - 2)
        part = own - place

        def between(values: Array) -> Array:
            return np.where(outside, np.nan, values[place] * (1 - part) + values[place + 1] * part)

        return between(self.second), between(self.second_slope)


@dataclass(frozen=True, slots=True)
class _Rest:
    """One trace at one offset. Arrays over all times of the stage, 0 where one is missing."""

    name: str
    push: Array
    pull: Array
    rest: Array
    x: Array
    y: Array
    shared: Mask


@dataclass(frozen=True, slots=True)
class _Stage:
    """All pairs of traces over what two recordings share at a lag."""

    time_s: Array
    pairs: tuple[_Pair, ...]

    @classmethod
    def set_up(cls, first: Sequence[Trace], second: Sequence[Trace], lag_s: float) -> _Stage | None:
        both = [(a, b) for a in first for b in second if a.name == b.name]
        both = [(a, b) for a, b in both if np.isfinite(a.step_s) and np.isfinite(b.step_s)]
        if not both:
            return None
        start = max(min(a.time_s[0] for a, _ in both), min(b.time_s[0] for _, b in both) + lag_s)
        end = min(max(a.time_s[-1] for a, _ in both), max(b.time_s[-1] for _, b in both) + lag_s)
        count = int(min(end - start, LONGEST_S) / _STEP_S) + 1
        if count * _STEP_S < LEAST_S:
            return None
        return cls(
            start + _STEP_S * np.arange(count),
            tuple(_pair(a, b, start, lag_s, count) for a, b in both),
        )

    def at(self, offset_s: float) -> list[_Rest]:
        rests = (_rest(pair, self.time_s, offset_s) for pair in self.pairs)
        return _weighted([r for r in rests if r is not None], self.time_s)

    def moving(self, rests: Sequence[_Rest]) -> Mask:
        """Where something moves, by the best trace for it."""
        by_name = {r.name: r for r in rests}
        if "speed" in by_name:
            speed = by_name["speed"]
            return speed.shared & (np.maximum(speed.x, speed.y) > MOVING_M_S)
        shared = np.any([r.shared for r in rests], axis=0)
        rate = sum(np.square(np.gradient(r.y, _STEP_S)) for r in rests)
        least = MOVING_M_S if "north" in by_name else 0.1 * MOVING_M_S
        moving: Mask = shared & (rate > least**2)
        return moving


def _pair(a: Trace, b: Trace, start_s: float, lag_s: float, count: int) -> _Pair:
    step = max(a.step_s, b.step_s)
    spare = int((REACH_S + 2.0) / _STEP_S)
    start_b = start_s - lag_s - spare * _STEP_S
    one = _smoothed(on_grid(a, start_s, count, _STEP_S), step)
    two = _smoothed(on_grid(b, start_b, count + 2 * spare, _STEP_S), step)
    return _Pair(a.name, one, np.gradient(one, _STEP_S), two, np.gradient(two, _STEP_S), start_b)


def _smoothed(values: Array, step_s: float) -> Array:
    """Smooth evenly to both sides; NaN wherever one side is missing."""
    sigma = float(np.clip(0.5 * step_s, 0.3, 1.0))
    reach = int(3 * sigma / _STEP_S)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * _STEP_S / sigma) ** 2)
    kernel /= kernel.sum()
    good = np.isfinite(values)
    smooth = np.convolve(np.where(good, values, 0.0), kernel, mode="same")
    whole = np.convolve(good.astype(np.float64), kernel, mode="same")
    return np.where(whole > 0.999, smooth, np.nan)


def _rest(pair: _Pair, time_s: Array, offset_s: float) -> _Rest | None:
    """Take out zero, trend and gain; None where nothing is left to compare."""
    other, other_slope = pair.second_at(time_s, offset_s)
    good = np.isfinite(pair.first + pair.first_slope + other + other_slope)
    if good.sum() * _STEP_S < LEAST_S:
        return None
    x, y, t = other[good], pair.first[good], time_s[good]
    if min(np.std(x), np.std(y)) < STILL[pair.name]:
        return None
    gain = 1.0
    design = [np.ones(len(t)), t - t.mean()]
    if pair.name not in POSITION:  # metres are metres, but speeds and heights have scales
        centred = x - x.mean()
        gain = float(centred @ (y - y.mean()) / (centred @ centred))
        design.append(centred)
    basis, _ = np.linalg.qr(np.stack(design, axis=1))

    def cleaned(values: Array) -> Array:
        return np.asarray(values - basis @ (basis.T @ values))

    rest = cleaned(y - gain * x)
    # A larger offset shows an earlier part of the second trace: the rest grows with its slope.
    slope = cleaned(0.5 * (gain * other_slope[good] + pair.first_slope[good]))

    def whole(values: Array) -> Array:
        out = np.zeros(len(time_s))
        out[good] = values
        return out

    return _Rest(
        pair.name,
        whole(slope * rest),
        whole(slope * slope),
        whole(rest),
        whole(x),
        whole(y),
        good,
    )


# --- what they say


def _weighted(rests: Sequence[_Rest], time_s: Array) -> list[_Rest]:
    """Weigh each trace by what it says of the offset by itself."""
    out = []
    for rest in rests:
        variance = _variance(rest.push, rest.pull, time_s)
        pull = rest.pull.sum()
        if not (variance > 0 and pull > 0):
            continue
        weight = 1.0 / (variance * pull)
        out.append(
            _Rest(
                rest.name,
                weight * rest.push,
                weight * rest.pull,
                rest.rest,
                rest.x,
                rest.y,
                rest.shared,
            )
        )
    return out


def _blocks(values: Array, time_s: Array) -> Array:
    """Sums over stretches of time."""
    span = time_s[-1] - time_s[0] + _STEP_S
    count = max(FEWEST_BLOCKS, round(span / BLOCK_S))
    edges = np.linspace(0, len(time_s), count + 1).astype(np.int64)
    return np.asarray(np.add.reduceat(values, edges[:-1]))


def _variance(push: Array, pull: Array, time_s: Array) -> float:
    """Jackknife variance of the offset, with Student's t for few stretches. [s²]"""
    from scipy.special import stdtrit

    force, stiffness = _blocks(push, time_s), _blocks(pull, time_s)
    whole = stiffness.sum()
    if not whole > 0:
        return float("nan")
    share = stiffness / whole
    effective = 1.0 / np.square(share).sum()
    without = np.maximum(1.0 - share, 0.1)
    offset = force.sum() / whole
    variance = np.square((force - offset * stiffness) / without).sum() / whole**2
    t = float(stdtrit(max(effective - 1.0, 1.0), 0.975)) / 1.959964
    return float(variance) * t * t + FLOOR_S**2


def _measured(stage: _Stage, offset_s: float) -> ClockOffset | None:
    rests = stage.at(offset_s)
    if not rests:
        return None
    moving = stage.moving(rests)
    fits = tuple(_fit(r, moving, offset_s, stage.time_s) for r in rests)
    push = np.sum([r.push for r in rests], axis=0)
    pull = np.sum([r.pull for r in rests], axis=0)
    variance = _variance(push, pull, stage.time_s) + _disagreement(fits, offset_s)
    shared = np.any([r.shared for r in rests], axis=0)
    rate, rate_std = _rate(push, pull, stage.time_s)
    return ClockOffset(
        offset_s=offset_s,
        std_s=float(np.sqrt(variance)),
        rate_ppm=rate,
        rate_std_ppm=rate_std,
        middle_s=float(np.average(stage.time_s, weights=pull)) - offset_s,
        shared_s=float(shared.sum() * _STEP_S),
        moving_s=float(moving.sum() * _STEP_S),
        fits=fits,
    )


def _fit(rest: _Rest, moving: Mask, offset_s: float, time_s: Array) -> Fit:
    seen = rest.shared & moving
    enough = seen.sum() > 10 and np.std(rest.x[seen]) > 0 and np.std(rest.y[seen]) > 0
    return Fit(
        name=rest.name,
        offset_s=offset_s - float(rest.push.sum() / rest.pull.sum()),
        std_s=float(np.sqrt(_variance(rest.push, rest.pull, time_s))),
        left_over=float(np.sqrt(np.mean(np.square(rest.rest[seen])))) if enough else float("nan"),
        bias=float(np.mean((rest.y - rest.x)[rest.shared])),
        correlation=float(np.corrcoef(rest.x[seen], rest.y[seen])[0, 1])
        if enough
        else float("nan"),
    )


def _disagreement(fits: Sequence[Fit], offset_s: float) -> float:
    """Variance between the traces beyond their own (R. DerSimonian, N. Laird 1986). [s²]"""
    if len(fits) < 2:
        return 0.0
    weight = np.array([f.std_s for f in fits]) ** -2.0
    away = np.array([f.offset_s for f in fits]) - offset_s
    away -= np.average(away, weights=weight)
    excess = float((weight * away**2).sum()) - (len(fits) - 1)
    scale = weight.sum() - np.square(weight).sum() / weight.sum()
    return max(0.0, excess / float(scale))


def _rate(push: Array, pull: Array, time_s: Array) -> tuple[float, float]:
    """Growth of the offset along the clock, and its standard uncertainty. [ppm]"""
    if time_s[-1] - time_s[0] < RATE_NEEDS_S:
        return float("nan"), float("nan")
    away = time_s - np.average(time_s, weights=pull)
    rate = -float((push * away).sum() / (pull * away**2).sum())
    variance = _variance((push + rate * pull * away) * away, pull * away**2, time_s)
    return 1e6 * rate, 1e6 * float(np.sqrt(variance - FLOOR_S**2))
