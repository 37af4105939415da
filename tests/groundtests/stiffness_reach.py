"""Coverage of the figures of static deflections on made-up wings, by hand.

Run as ``python -m tests.groundtests.stiffness_reach [SEEDS]``.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from itertools import pairwise

from flightlog.groundtests.answer import settled
from flightlog.groundtests.stiffness import Setup, reduce
from tests.groundtests.bent_wing import Wing, loaded

WING = Wing(1081.0, bend_m_n2=-4e-7, friction_m=0.1e-3, root_m_n=2e-5)
SETUP = Setup(
    load_std_pct=0.3,
    load_std_n=0.02,
    deflection_std_pct=0.4,
    length_m=1.0,
    limit_load_n=20.0,
    semispan_m=1.0,
)


def truth() -> dict[str, float]:
    """Compute each figure of the wing in closed form, at the weights of the test."""
    loads = [0.0, 5.0, 10.0, 15.0, 20.0]
    # Least squares over loads that lie evenly about their middle: the slope there.
    stiff = 1 / (1 / WING.stiffness_n_m + WING.bend_m_n2 * 20.0)
    top = 20.0 / WING.stiffness_n_m + WING.bend_m_n2 * 400.0
    # Of the polygon through the five loads: half the area of the parabola's four chords.
    lags = [WING.friction_m * 4 * x * (20.0 - x) / 400.0 for x in loads]
    area = 2 * sum(5.0 * (a + b) / 2 for a, b in pairwise(lags))
    first = 1 / WING.stiffness_n_m
    return {
        "stiffness": stiff,
        "bending": stiff / 3,
        "hysteresis": 100 * area / (0.5 * 20.0 * top),
        "set": 0.0,
        "greatest_deflection": 1e3 * top,
        "deflection_share": 100 * top,
        "change_with_load": 100 * (first / (first + 40.0 * WING.bend_m_n2) - 1),
    }


def coverage(seeds: int, first: int = 0, cycles: int = 3) -> Iterator[tuple[str, int, int]]:
    """Count how often each interval holds the truth: name, times held, times given."""
    held = dict.fromkeys(truth(), 0)
    count = dict.fromkeys(truth(), 0)
    for seed in range(first, first + seeds):
        table = loaded(
            WING,
            seed,
            cycles=cycles,
            reading_m=0.03e-3,
            single_n=0.02,
            loads_share=0.003,
            gauge_share=0.004,
            rezero_m=1e-3,
        )
        figures = settled(reduce([table], SETUP)).figures
        for name, value in truth().items():
            figure = figures.get(f"stiffness.{name}")
            if figure is None:
                continue
            low, high = figure.quantity.interval(0.95)
            count[name] += 1
            held[name] += low <= value <= high
    for name in held:
        yield name, held[name], count[name]


if __name__ == "__main__":
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for cycles in (1, 2, 3, 5):
        for name, held, given in coverage(seeds, cycles=cycles):
            print(f"{cycles} loadings  {name:22} {100 * held / max(given, 1):5.1f} % of {given}")
