"""A made-up static deflection whose truth is known: weights, friction, a clamp that gives, set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.bench_table import BenchTable

STEPS_N = (0.0, 5.0, 10.0, 15.0, 20.0)


@dataclass(frozen=True)
class Wing:
    """Deflection [m] = F/K + bend F², lagging by friction [m] each way, with a set left [m]."""

    stiffness_n_m: float = 1000.0
    bend_m_n2: float = 0.0
    friction_m: float = 0.0
    set_m: float = 0.0
    root_m_n: float = 0.0


def loaded(
    wing: Wing,
    seed: int = 0,
    *,
    cycles: int = 3,
    reading_m: float = 0.0,
    single_n: float = 0.0,
    loads_share: float = 0.0,
    gauge_share: float = 0.0,
    steps_n: tuple[float, ...] = STEPS_N,
    rezero_m: float = 0.0,
) -> BenchTable:
    """Load it up and down; errors are standard deviations, and weights stay what they are."""
    rng = np.random.default_rng(seed)
    steps = np.array(steps_n)
    true = steps * (1 + loads_share * rng.standard_normal())
    true = true + np.where(steps > 0, single_n * rng.standard_normal(steps.size), 0.0)
    gauge = 1 + gauge_share * rng.standard_normal()
    up = list(range(steps.size))
    columns: dict[str, list[float]] = {"load": [], "deflection": [], "root": [], "cycle": []}
    top = float(true[-1])
    kept = 0.0
    for cycle in range(1, cycles + 1):
        start = rezero_m * rng.standard_normal()
        for place, k in enumerate([*up, *up[-2::-1]]):
            load = float(true[k])
            falling = place >= len(up)
            if place == len(up) - 1 and cycle == 1:
                kept = wing.set_m
            # A loop that is closed at both ends: nothing at no load and at the greatest.
            lag = wing.friction_m * 4 * load * (top - load) / top**2
            lag = lag if falling else -lag
            root = wing.root_m_n * load
            bent = load / wing.stiffness_n_m + wing.bend_m_n2 * load**2 + lag + kept
            read = gauge * (bent + root) + start + reading_m * rng.standard_normal()
            columns["load"].append(float(steps[k]))
            columns["deflection"].append(read)
            columns["root"].append(gauge * root)
            columns["cycle"].append(float(cycle))
    return BenchTable(
        "wing.csv",
        {name: np.array(values) for name, values in columns.items()},
        {},
        np.arange(2, 2 + len(columns["load"])),
    )
