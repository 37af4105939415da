"""How well a discharge is measured: ``python -m tests.groundtests.discharge_reach --seeds 200``.

Packs of published cells with a known ohmic part are discharged with pulses, and read by loggers
with errors of scale, zero, noise and steps. For each rate: the root mean square error, the bias,
and how often the 95 % interval holds the truth; the resistance also with the drawn scales taken
off.
"""

from __future__ import annotations

import argparse
from collections import defaultdict

import numpy as np

from flightlog.groundtests import discharge, discharge_setup
from tests.groundtests import packs

FIGURES = (
    discharge_setup.CAPACITY,
    discharge_setup.ENERGY,
    discharge_setup.MEAN_V,
    discharge_setup.OHM,
)


def truths_of(one: packs.Truth, ohm: float) -> dict[str, float]:
    """True values of the figures that are compared."""
    steps = np.flatnonzero(np.abs(np.diff(one.amps)) > 0.5)
    states = [s for s in one.state[steps] if s >= 0.3]
    return {
        discharge_setup.CAPACITY: one.charge_c / 3600,
        discharge_setup.ENERGY: one.energy_j / 3600,
        discharge_setup.MEAN_V: one.energy_j / one.charge_c,
        discharge_setup.OHM: float(np.mean([packs.first_second_ohm(s, ohm) for s in states])),
    }


def measure(
    seeds: int, rates: tuple[float, ...] = (1.0, 5.0, 10.0), first: int = 0
) -> dict[tuple[float, str], list[tuple[float, float]]]:
    """Errors, and half widths of the 95 % intervals, over truth."""
    rng = np.random.default_rng(first)
    out: dict[tuple[float, str], list[tuple[float, float]]] = defaultdict(list)
    for _ in range(-(-seeds // 40)):
        amps = rng.uniform(8.0, 25.0, min(seeds, 40))
        ohm = float(rng.uniform(0.012, 0.035))
        beyond = float(rng.choice([0.0, 0.6]))
        made = packs.discharges(
            amps.tolist(),
            pulse=float(rng.uniform(1.3, 2.0)),
            pulse_s=float(rng.uniform(8, 25)),
            every_s=(18000 / amps / rng.uniform(4, 9)).tolist(),
            beyond_v=beyond,
            ohm=ohm,
        )
        for one in made:
            true = truths_of(one, ohm)
            for rate in rates:
                logger = packs.draw_logger(rng, rate)
                answer = discharge.reduce([logger.read(one, rng)], SETUP)
                for id_ in FIGURES:
                    found = answer.figures.get(id_)
                    if found is None:
                        out[rate, id_].append((np.nan, np.nan))
                        continue
                    low, high = found.quantity.interval()
                    out[rate, id_].append(
                        (found.quantity.value / true[id_] - 1, (high - low) / 2 / true[id_])
                    )
                if discharge_setup.OHM in answer.figures:
                    q = answer.figures[discharge_setup.OHM].quantity
                    scale = (1 + logger.voltage_scale) / (1 + logger.current_scale)
                    out[rate, "resistance, scales known"].append(
                        (
                            q.value / scale / true[discharge_setup.OHM] - 1,
                            1.96 * q.sources["fit"] / true[discharge_setup.OHM],  # type: ignore[attr-defined]
                        )
                    )
    return out


SETUP = discharge.Setup(
    cells=packs.CELLS,
    cutoff_cell_v=packs.CUTOFF_CELL_V,
    charged_cell_v=packs.FULL_CELL_V,
    nominal_capacity_ah=5.0,
    current_scale_std=0.01,
    voltage_scale_std=0.002,
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    print(f"{'':36} given   RMS   bias  cover  half  (per cent)")
    for (rate, id_), pairs in sorted(measure(given.seeds, first=given.first).items()):
        error, half = np.array(pairs).T
        good = np.isfinite(error)
        e, h = 100 * error[good], 100 * half[good]
        print(
            f"{rate:4.0f} Hz {id_:28} {good.sum():4d}/{good.size:3d} {np.sqrt(np.mean(e**2)):5.2f}"
            f" {e.mean():6.2f} {100 * np.mean(np.abs(e) <= h):5.1f} {np.median(h):6.2f}"
        )


if __name__ == "__main__":
    main()
