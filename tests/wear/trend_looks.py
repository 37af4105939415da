"""What looking after every flight does to the probability of a trend, by simulation.

    python -m tests.wear.trend_looks [SERIES]

Prints, for each kind of healthy series, a / q(a), where q(a) is what the least probability of all
looks falls below in a share a of the series: what ``flightlog.prediction.trends.LOOKS`` had to be.
Seed 20270614. The line is taken out by least squares where there are 200 looks, for speed; with 30
looks by the median of slopes, as the package does.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable

import numpy as np
from scipy.special import ndtr

from flightlog.prediction.mann_kendall import EXACT_BELOW, dependence, exact_p
from flightlog.prediction.trends import FEWEST, LOOKS, slope_p

SEED = 20270614
LEVELS = (0.05, 0.01, 0.002, 0.001)
KINDS = ("alone", "neighbours 0.3", "neighbours 0.5", "days of 3, 0.5", "days of 5, 0.5", "wild")


def healthy(kind: str, many: int, n: int, chance: np.random.Generator) -> np.ndarray:
    """Draw series without a trend, shape (many, n), scatter 1."""
    noise = chance.standard_normal((many, n))
    if kind.startswith("neighbours"):
        r = float(kind.split()[1])
        for k in range(1, n):
            noise[:, k] = r * noise[:, k - 1] + np.sqrt(1 - r * r) * noise[:, k]
    elif kind.startswith("days"):
        size, share = int(kind.split()[2].strip(",")), float(kind.split()[3])
        days = chance.standard_normal((many, -(-n // size)))
        noise = np.sqrt(share) * np.repeat(days, size, axis=1)[:, :n] + np.sqrt(1 - share) * noise
    elif kind == "wild":
        noise = np.where(chance.random((many, n)) < 0.05, 5 * noise, noise)
    return noise


def days_of(kind: str, n: int) -> np.ndarray:
    """Give the day of each flight."""
    size = int(kind.split()[2].strip(",")) if kind.startswith("days") else 1
    return np.arange(n) // size


def least_p(y: np.ndarray, days: np.ndarray, looks: Iterable[int]) -> np.ndarray:
    """Give the least probability of all looks at each series."""
    least = np.ones(len(y))
    n1 = y.shape[1]
    signs = np.zeros((len(y), n1 + 1))
    for n in range(2, n1 + 1):
        signs[:, n] = signs[:, n - 1] + np.sign(y[:, n - 1 : n] - y[:, : n - 1]).sum(axis=1)
    for n in looks:
        s = signs[:, n]
        if n < EXACT_BELOW:
            table = {value: exact_p(value, n) for value in np.unique(s)}
            p = np.array([table[value] for value in s])
        else:
            slope, rest = _line(y[:, :n], n1 > 60)
            wider = dependence(rest, days[:n])
            var = n * (n - 1) * (2 * n + 5) / 18 * wider
            by_rank = 2 * ndtr(-np.maximum(np.abs(s) - 1, 0) / np.sqrt(var))
            p = np.sqrt(by_rank * slope_p(slope, rest, np.arange(n), wider))
        least = np.minimum(least, p)
    return least


def _line(y: np.ndarray, quick: bool) -> tuple[np.ndarray, np.ndarray]:
    x = np.arange(y.shape[1]) - 0.5 * (y.shape[1] - 1)
    if quick:
        slope = y @ x / (x @ x)
    else:
        i, j = np.triu_indices(len(x), 1)
        slope = np.median((y[:, j] - y[:, i]) / (j - i), axis=1)
    return slope, y - slope[:, None] * x


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 40_000
    print(f"LOOKS is {LOOKS:g}; needed at", *LEVELS)
    for flights, every in ((30, 1), (200, 4)):
        for kind in KINDS:
            chance = np.random.default_rng(SEED)
            block = many if flights < 60 else many // 4
            y = healthy(kind, block, flights, chance)
            least = least_p(y, days_of(kind, flights), range(FEWEST, flights + 1, every))
            needed = [a / np.quantile(least, a) for a in LEVELS]
            print(f"{flights} looks, {kind}:", *(f"{k:.3g}" for k in needed), flush=True)


if __name__ == "__main__":
    main()
