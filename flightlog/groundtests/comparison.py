"""Two configurations of one quantity: how much they differ, and whether that matters.

Repeats are compared by Welch's test, or in pairs where the two were measured by turns (Student
1908; Welch 1947; degrees of freedom by Satterthwaite 1946). A difference can be real and too
small to matter, so that there are two questions beside "do they differ":

* is one more than the other by more than a threshold, at 5 %?
* does the difference lie within the threshold on both sides, each at 5 % (two one-sided tests,
  Schuirmann 1987)?

Where neither is shown, nothing is. The threshold is a share of the first configuration's mean;
since this mean is measured too, what is tested is ``(1 - k) first - second`` against zero, and the
interval of the percentage is the set of k that this test does not refuse (Fieller 1954).

Several pairs of configurations are held to 5 % together by Holm's rule (Holm 1979).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final, Literal

from flightlog.errors import NotEnoughDataError

LEVEL = 0.05
"""Probability of a wrong word, where the truth lies right at the edge. [-]"""
TAIL_95 = 0.975
MORE: Final = "more by more than the threshold"
LESS: Final = "less by more than the threshold"
SAME: Final = "no difference that matters"
OPEN: Final = "not shown"
Word = Literal[
    "more by more than the threshold",
    "less by more than the threshold",
    "no difference that matters",
    "not shown",
]
_MOST_PERCENT = 1e4
"""An interval of the percentage that is wider tells nothing. [%]"""


@dataclass(frozen=True, slots=True)
class Series:
    """Repeats of one quantity in one configuration.

    Attributes
    ----------
    name : str
        Of the configuration.
    values : sequence of float
        One for each repeat, in the order measured; all in one unit.
    own_std : float
        Standard uncertainty that its repeats share, and other configurations do not: the stand
        was set up anew, the air was measured anew. [unit]
    """

    name: str
    values: Sequence[float]
    own_std: float = 0.0


@dataclass(frozen=True, slots=True)
class Compared:
    """The first configuration against the second.

    Attributes
    ----------
    first, second : str
        Names.
    paired : bool
        Whether repeats were taken in pairs.
    n_first, n_second : int
        Repeats.
    mean_first, mean_second, spread_first, spread_second : float
        Means and standard deviations of repeats. [unit]
    difference : float
        First less second. [unit]
    t, dof, p : float
        Of the repeats alone: statistic, degrees of freedom, two-sided probability. NaN where all
        repeats are alike.
    low, high : float
        95 % interval of the difference, with what is not in the repeats. [unit]
    std, dof_all : float
        Standard uncertainty of the difference and its degrees of freedom, likewise; infinite
        degrees are a Gaussian.
    percent : float or None
        Difference in percent of the first's mean; None where that mean is not surely positive.
    percent_low, percent_high : float or None
        Its 95 % interval.
    threshold_percent : float
        What matters. [%]
    word : str
        One of `MORE`, `LESS`, `SAME` and `OPEN`.
    p_word : float
        Probability of the word by chance at the edge of what it says, at most; for `OPEN` the
        least of the three. NaN where it can't be had.
    p_difference : float
        That they do not differ at all, with what is not in the repeats; after `all_pairs`, held
        to all pairs.
    together : int
        With how many pairs it was judged.
    why : str
        Why the word can't be had, where it can't; else "".
    """

    first: str
    second: str
    paired: bool
    n_first: int
    n_second: int
    mean_first: float
    mean_second: float
    spread_first: float
    spread_second: float
    difference: float
    t: float
    dof: float
    p: float
    low: float
    high: float
    std: float
    dof_all: float
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    threshold_percent: float
    word: Word
    p_word: float
    p_difference: float
    together: int = 1
    why: str = ""

    @property
    def differs(self) -> bool:
        """Whether a difference is shown, be it ever so small."""
        return self.p_difference <= LEVEL


@dataclass(frozen=True, slots=True)
class _Contrast:
    """``factor first - second``: its value, standard uncertainty and degrees of freedom."""

    value: float
    std: float
    dof: float


def compared(
    first: Series,
    second: Series,
    threshold_percent: float,
    *,
    paired: bool = False,
    common_relative: float = 0.0,
) -> Compared:
    """Compare two configurations.

    Parameters
    ----------
    first, second : Series
        Repeats; at least two of each, and as many where they are paired.
    threshold_percent : float
        The least difference that matters, in percent of the first's mean; above 0. [%]
    paired : bool, optional
        Whether the repeats of the same place were taken one after the other, by turns.
    common_relative : float, optional
        Relative standard uncertainty of a calibration that both share. It scales both: it cancels
        in the percentage, and the difference has it as its own share. [-]

    Raises
    ------
    NotEnoughDataError
        If repeats are too few, not numbers, or can't be paired.
    """
    _check(first, second, threshold_percent, paired, common_relative)
    scale = max(abs(v) for s in (first, second) for v in s.values) or 1.0
    at = _contrast(first, second, paired, scale)
    plain = at(1.0, False)
    t, p = _two_sided(plain)
    whole = at(1.0, True)
    std = math.hypot(whole.std, common_relative * abs(whole.value))
    dof = whole.dof if std <= 0 else whole.dof * (std / whole.std) ** 4 if whole.std else math.inf
    half = _quantile(dof) * std if std > 0 else 0.0
    means = [_mean(s, scale) for s in (first, second)]
    percent, low, high = _percent(at, means)
    word, p_word, why = _word(at, threshold_percent / 100, percent)
    return Compared(
        first.name,
        second.name,
        paired,
        len(first.values),
        len(second.values),
        means[0] * scale,
        means[1] * scale,
        _spread(first, scale) * scale,
        _spread(second, scale) * scale,
        plain.value * scale,
        t,
        plain.dof,
        p,
        (whole.value - half) * scale,
        (whole.value + half) * scale,
        std * scale,
        dof,
        percent,
        low,
        high,
        threshold_percent,
        word,
        p_word,
        _two_sided(whole)[1],
        why=why,
    )


def all_pairs(
    series: Sequence[Series],
    threshold_percent: float,
    *,
    paired: bool = False,
    common_relative: float = 0.0,
) -> tuple[Compared, ...]:
    """Compare every configuration with every other, so that all words together hold at 5 %.

    Raises
    ------
    NotEnoughDataError
        As `compared`.
    """
    return held_together(
        [
            compared(a, b, threshold_percent, paired=paired, common_relative=common_relative)
            for a, b in combinations(series, 2)
        ]
    )


def held_together(pairs: Sequence[Compared]) -> tuple[Compared, ...]:
    """Hold comparisons to 5 % together: Holm's rule for words, and for differences."""
    words = holm([c.p_word for c in pairs])
    differences = holm([c.p_difference for c in pairs])
    return tuple(
        replace(
            c,
            word=c.word if word <= LEVEL else OPEN,
            p_word=word,
            p_difference=difference,
            together=len(pairs),
        )
        for c, word, difference in zip(pairs, words, differences, strict=True)
    )


def holm(p: Sequence[float]) -> list[float]:
    """Adjust probabilities so that those at most 5 % are wrong in 5 % of cases, all together.

    What has no probability (NaN) stays so, and counts as one that was asked.
    """
    order = sorted(range(len(p)), key=lambda i: math.inf if math.isnan(p[i]) else p[i])
    adjusted = list(p)
    highest = 0.0
    for place, i in enumerate(order):
        if math.isnan(p[i]):
            continue
        highest = max(highest, min(1.0, p[i] * (len(p) - place)))
        adjusted[i] = highest
    return adjusted


# --- what is asked


def _check(a: Series, b: Series, threshold: float, paired: bool, common: float) -> None:
    for s in (a, b):
        if len(s.values) < 2:
            raise NotEnoughDataError(
                f"{len(s.values)} repeat{'s' if len(s.values) != 1 else ''}: how they scatter is "
                "not known",
                where=s.name,
                fix="Measure each configuration at least twice, better five times.",
            )
        if not all(math.isfinite(v) for v in s.values):
            raise NotEnoughDataError(
                "a repeat is no finite number", where=s.name, fix="Look at what was measured."
            )
        if not (math.isfinite(s.own_std) and s.own_std >= 0):
            raise ValueError(f"own_std must be zero or positive, got {s.own_std!r}")
    if not (math.isfinite(common) and common >= 0):
        raise ValueError(f"common_relative must be zero or positive, got {common!r}")
    if not 0 < threshold < 100:
        raise ValueError(f"a threshold must be above 0 and below 100 %, got {threshold!r}")
    if paired and len(a.values) != len(b.values):
        raise NotEnoughDataError(
            f"{len(a.values)} and {len(b.values)} repeats can't be paired",
            where=f"{a.name} and {b.name}",
            fix="Give as many of each in the order in which they were measured, or don't pair.",
        )


def _contrast(
    first: Series, second: Series, paired: bool, scale: float
) -> Callable[[float, bool], _Contrast]:
    """Give ``factor first - second`` for any factor, in units of ``scale``."""
    a = [v / scale for v in first.values]
    b = [v / scale for v in second.values]
    mean_a, mean_b = math.fsum(a) / len(a), math.fsum(b) / len(b)
    # A variance that is nothing but rounding is none.
    least = 1e-26

    def variance(values: Sequence[float]) -> float:
        mean = math.fsum(values) / len(values)
        found = math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1)
        return found if found > least else 0.0

    of_a, of_b = variance(a) / len(a), variance(b) / len(b)

    def at(factor: float, whole: bool) -> _Contrast:
        if paired:
            parts = [
                (
                    variance([factor * x - y for x, y in zip(a, b, strict=True)]) / len(a),
                    len(a) - 1,
                )
            ]
        else:
            parts = [(factor * factor * of_a, len(a) - 1), (of_b, len(b) - 1)]
        square = math.fsum(v for v, _ in parts)
        below = math.fsum(v * v / n for v, n in parts)
        if whole:
            square += (factor * first.own_std / scale) ** 2 + (second.own_std / scale) ** 2
        dof = square * square / below if below > 0 else math.inf
        return _Contrast(factor * mean_a - mean_b, math.sqrt(square), dof)

    return at


def _mean(series: Series, scale: float) -> float:
    return math.fsum(v / scale for v in series.values) / len(series.values)


def _spread(series: Series, scale: float) -> float:
    mean = _mean(series, scale)
    n = len(series.values)
    return math.sqrt(math.fsum((v / scale - mean) ** 2 for v in series.values) / (n - 1))


def _two_sided(c: _Contrast) -> tuple[float, float]:
    if c.std == 0:
        return math.nan, math.nan
    t = c.value / c.std
    return t, 2 * _tail(abs(t), c.dof)


def _tail(t: float, dof: float) -> float:
    """Probability that Student's t is above ``t``."""
    from scipy.special import ndtr, stdtr

    return float(ndtr(-t)) if math.isinf(dof) else float(stdtr(dof, -t))


def _quantile(dof: float, level: float = TAIL_95) -> float:
    from scipy.special import ndtri, stdtrit

    return float(ndtri(level)) if math.isinf(dof) else float(stdtrit(dof, level))


# --- percentage and word


def _percent(
    at: Callable[[float, bool], _Contrast], means: Sequence[float]
) -> tuple[float | None, float | None, float | None]:
    """Give the difference in percent of the first, with the interval that Fieller's test leaves."""
    if means[0] <= 0:
        return None, None, None
    middle = 1 - means[1] / means[0]
    low, high = (_edge(at, middle, sign) for sign in (-1.0, 1.0))
    if low is None or high is None:
        return None, None, None
    return 100 * middle, 100 * low, 100 * high


def _edge(at: Callable[[float, bool], _Contrast], middle: float, sign: float) -> float | None:
    """Find the share on one side of ``middle`` that the test just refuses."""

    def refused(k: float) -> bool:
        c = at(1 - k, True)
        return c.std == 0 or abs(c.value) > _quantile(c.dof) * c.std

    step = 1e-6
    while not refused(middle + sign * step):
        step *= 2
        if step > _MOST_PERCENT / 100:
            return None  # the first's own mean is not surely off zero
    inside, outside = 0.0, step
    for _ in range(50):
        half = (inside + outside) / 2
        inside, outside = (inside, half) if refused(middle + sign * half) else (half, outside)
    return middle + sign * outside


def _word(
    at: Callable[[float, bool], _Contrast], share: float, percent: float | None
) -> tuple[Word, float, str]:
    """Ask the three questions; at most one of them can be answered with yes."""
    if at(1.0, True).std == 0:
        return OPEN, math.nan, "all repeats are alike: write down more digits"
    if percent is None:
        return OPEN, math.nan, "the mean of the first is not surely above zero"

    def above(k: float) -> float:
        """Probability of so large a first by chance, were it more by just ``k``."""
        c = at(1 - k, True)
        if c.std == 0:
            return 0.0 if c.value > 0 else 1.0
        return _tail(c.value / c.std, c.dof)

    more, less = above(share), 1 - above(-share)
    asked: Mapping[Word, float] = {
        "more by more than the threshold": more,
        "less by more than the threshold": less,
        "no difference that matters": max(1 - more, 1 - less),
    }
    word = min(asked, key=lambda w: asked[w])
    return (word if asked[word] <= LEVEL else "not shown"), asked[word], ""
