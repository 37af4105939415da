"""What the season's trends reach, by simulation: false alarms, power, coverage.

    python -m tests.wear.trend_reach [SEASONS [PART ...]]

Parts: power, coverage, crossing, shown, alarms; all where none is named. Seed 20270615; the
constants of the package were chosen with other ones. A season has 30 flights and 24 figures, all
looked at after every flight, each like the resistance of a pack: level 1, scatter per flight as
printed, a tenth of it a practical change, three twentieths a practical jump, and a limit at 1.5.
Two of the figures are likely to wear, and it is one of them that ages.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import numpy as np

from flightlog.prediction.trends import FEWEST, LOOKS, Series, trend_of
from flightlog.prediction.wear import (
    BEYOND,
    CROSSES,
    STANDS_OUT,
    STEPPED,
    TREND_LEVEL,
    WEARING,
    Edge,
    Practical,
    Watched,
    judge,
)
from tests.wear.trend_looks import days_of, healthy, least_p

SEED = 20270615
FLIGHTS, FIGURES, LIKELY = 30, 24, 2
GROWTH = 0.2
PRACTICAL = Practical(1, 0.10, 0.15, share=True)
EDGE = Edge("<=", 1.5, 0.0, "1.5 times the baseline")
TRENDS = (WEARING, CROSSES, BEYOND)
KINDS = ("alone", "neighbours 0.3", "neighbours 0.5", "days of 3, 0.5", "wild")


def watched(y: np.ndarray, days: np.ndarray, scatter: float, likely: bool) -> Watched:
    """Make a series of a season so far."""
    n = len(y)
    series = Series.of(np.arange(1, n + 1), y, np.full(n, 0.5 * scatter), days[:n])
    return Watched(series, PRACTICAL, (EDGE,), likely=likely)


def level(figure: int) -> float:
    """Give the share of the level of a figure."""
    return 0.5 * TREND_LEVEL / (LIKELY if figure < LIKELY else FIGURES - LIKELY)


def alarms(y: np.ndarray, days: np.ndarray, scatter: float) -> tuple[np.ndarray, np.ndarray]:
    """Say which seasons have a trend or a limit named at any look, and which a flight.

    A look is passed over only where nothing can be named at it: no probability is small enough,
    no number is a practical jump off the median of those before it.

    Parameters
    ----------
    y : array
        Shape (seasons, figures, flights).
    """
    trends, flights = np.zeros(len(y), bool), np.zeros(len(y), bool)
    few = np.array([level(k) for k in range(FIGURES)]) / LOOKS
    flat = y.reshape(-1, y.shape[2])
    for n in range(FEWEST, y.shape[2] + 1):
        p = least_p(flat[:, :n], days, (n,)).reshape(y.shape[:2])
        for season, figure in zip(*np.nonzero(p <= few), strict=True):
            trends[season] |= named(y[season, figure, :n], days, scatter, figure) in TRENDS
        if n > FEWEST:
            off = y[:, :, n - 1] / np.median(y[:, :, : n - 1], axis=2) - 1
            for season, figure in zip(*np.nonzero(off > 0.9 * PRACTICAL.jump), strict=True):
                if not flights[season]:
                    word = named(y[season, figure, :n], days, scatter, figure)
                    flights[season] = word in (STANDS_OUT, STEPPED)
    return trends, flights


def named(y: np.ndarray, days: np.ndarray, scatter: float, figure: int) -> str:
    """Give the word for one figure of a season so far, beside others that show nothing."""
    dull = [Watched(Series.of([1.0], [1.0]), PRACTICAL, likely=k < LIKELY) for k in range(FIGURES)]
    dull[figure] = watched(y, days, scatter, figure < LIKELY)
    return judge(dull)[figure].word


def false_alarms(seasons: int, scatter: float, kind: str) -> None:
    """Print how many healthy seasons have anything named."""
    chance = np.random.default_rng([SEED, 1, round(1e4 * scatter), KINDS.index(kind)])
    days = days_of(kind, FLIGHTS)
    found = []
    for many in (100,) * (seasons // 100):
        y = healthy(kind, many * FIGURES, FLIGHTS, chance).reshape(many, FIGURES, FLIGHTS)
        found.append(alarms(1 + scatter * y, days, scatter))
    trend, flight = (np.concatenate(both) for both in zip(*found, strict=True))
    both = (trend | flight).sum()
    print(
        f"healthy, scatter {scatter:.0%}, {kind}: of {len(trend)} seasons {both} "
        f"({both / len(trend):.1%}) with anything named; trends {trend.sum()}, flights that stand "
        f"out {flight.sum()}",
        flush=True,
    )


def trend_shown(seasons: int, kind: str) -> None:
    """Print how many healthy seasons have a trend shown, of whatever size."""
    chance = np.random.default_rng([SEED, 2, KINDS.index(kind)])
    y = healthy(kind, seasons * FIGURES, FLIGHTS, chance)
    least = least_p(y, days_of(kind, FLIGHTS), range(FEWEST, FLIGHTS + 1))
    few = np.array([level(k) for k in range(FIGURES)]) / LOOKS
    shown = (least.reshape(seasons, FIGURES) <= few).any(axis=1).sum()
    print(
        f"healthy, any scatter, {kind}: of {seasons} seasons {shown} ({shown / seasons:.1%}) "
        "with a trend shown at any look, of whatever size",
        flush=True,
    )


def first_named(y: np.ndarray, days: np.ndarray, scatter: float) -> int | None:
    """Give the flight after which ageing is named, beside healthy figures that count too."""
    few = level(0) / LOOKS
    for n in range(FEWEST, len(y) + 1):
        small = least_p(y[None, :n], days, (n,))[0] <= few
        if small and named(y[:n], days, scatter, 0) in TRENDS:
            return n
    return None


def power(seasons: int, scatter: float, kind: str, growth: float = GROWTH) -> None:
    """Print how many seasons of ageing are found, and after which flight."""
    chance = np.random.default_rng([SEED, 3, round(1e4 * scatter), KINDS.index(kind)])
    days = days_of(kind, FLIGHTS)
    line = 1 + growth * np.arange(FLIGHTS) / (FLIGHTS - 1)
    found = [
        first_named(row, days, scatter)
        for row in line * (1 + scatter * healthy(kind, seasons, FLIGHTS, chance))
    ]
    at = sorted(n for n in found if n is not None)
    after = at[seasons // 2] if len(at) > seasons // 2 else "-"
    print(
        f"{growth:.0%} in {FLIGHTS} flights, scatter {scatter:.0%}, {kind}: found in "
        f"{len(at) / seasons:.1%} of {seasons} seasons, half of them by flight {after}",
        flush=True,
    )


def coverage(many: int, n: int, kind: str) -> None:
    """Print how often 95 % intervals hold what they should."""
    chance = np.random.default_rng([SEED, 4, n, KINDS.index(kind)])
    days = days_of(kind, n + 10)
    held = np.zeros(4)
    for _ in range(many):
        slope, scatter = chance.normal(0, 0.01), 0.04
        noise = healthy(kind, 1, n + 10, chance)[0]
        line = 1 + slope * np.arange(1, n + 11)
        y = line + scatter * noise
        trend = trend_of(Series.of(np.arange(1, n + 1), y[:n], np.full(n, 0.02), days[:n]))
        for place, (low, high, true) in enumerate(
            (
                (trend.slope.low, trend.slope.high, slope),
                *(
                    (trend.flight(k).low, trend.flight(k).high, y[k - 1])
                    for k in (n + 1, n + 5, n + 10)
                ),
            )
        ):
            held[place] += low <= true <= high
    print(
        f"95 % intervals after {n} flights, {kind}: slope {held[0] / many:.1%}, next flight "
        f"{held[1] / many:.1%}, fifth {held[2] / many:.1%}, tenth {held[3] / many:.1%} of {many}",
        flush=True,
    )


def crossing(many: int, kind: str) -> None:
    """Print how often a limit is crossed within ten flights, by the probability that was said."""
    said, came = zip(*_crossings(many, kind), strict=True)
    p, true = np.array(said), np.array(came)
    for low, high in ((0, 0.05), (0.05, 0.3), (0.3, 0.7), (0.7, 0.9), (0.9, 0.97), (0.97, 1.01)):
        inside = (p >= low) & (p < high)
        if inside.any():
            print(
                f"crossing within ten flights, {kind}: said {low:.2f} to {min(high, 1):.2f} (mean "
                f"{p[inside].mean():.3f}), came in {true[inside].mean():.3f} of {inside.sum()}",
                flush=True,
            )


def _crossings(many: int, kind: str) -> Iterator[tuple[float, bool]]:
    chance = np.random.default_rng([SEED, 5, KINDS.index(kind)])
    for _ in range(many):
        n = int(chance.integers(6, 31))
        slope, bound = chance.normal(0, 0.02), 1 + chance.normal(0, 0.4)
        y = 1 + slope * np.arange(1, n + 1) + 0.04 * healthy(kind, 1, n, chance)[0]
        trend = trend_of(Series.of(np.arange(1, n + 1), y, np.full(n, 0.02), days_of(kind, n)))
        yield trend.probability_beyond(n + 10, "<=", bound), 1 + slope * (n + 10) > bound


def main() -> None:
    """Print what is asked for."""
    seasons = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    parts = sys.argv[2:] or ["power", "coverage", "crossing", "shown", "alarms"]
    scatters = (0.04, 0.02, 0.06)
    if "power" in parts:
        for scatter in scatters:
            for kind in KINDS:
                power(seasons, scatter, kind)
    if "shown" in parts:
        for kind in KINDS:
            trend_shown(seasons, kind)
    if "alarms" in parts:
        for kind in KINDS:
            for scatter in scatters:
                false_alarms(seasons, scatter, kind)
    if "coverage" in parts:
        for n in (8, 15, 30):
            for kind in KINDS:
                coverage(seasons, n, kind)
    if "crossing" in parts:
        for kind in ("alone", "neighbours 0.3"):
            crossing(5 * seasons, kind)


if __name__ == "__main__":
    main()
