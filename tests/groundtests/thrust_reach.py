"""How often the intervals of a thrust stand hold the truth; run by hand with a number of seeds."""

from __future__ import annotations

import sys

import numpy as np

from flightlog.groundtests.thrust import reduce
from tests.groundtests.made_stand import Truth, made_stand

CASES = {
    "six sweeps": Truth(),
    "strong sag": Truth(sag=0.12),
    "strong drift": Truth(drift_n=0.6),
    "two sweeps, short": Truth(sweeps=2, hold_s=3.0),
    "no pulse": Truth(pulse=False),
    "slow sampling": Truth(rate_hz=10.0),
    "scatter only": Truth(wrong=0.0),
}


def truths(truth: Truth, top_n: float) -> dict[str, float]:
    """Figure -> what it truly is."""
    return {
        "thrust.greatest": top_n,
        "thrust.ct": truth.ct,
        "thrust.cp": truth.cp,
        "thrust.figure_of_merit": truth.figure_of_merit,
        "thrust.drive_efficiency": truth.efficiency * 100,
    }


def main(seeds: int) -> None:
    """Print coverage of 95 % intervals, and their half width in % of the value."""
    for name, truth in CASES.items():
        held: dict[str, list[bool]] = {}
        wide: dict[str, list[float]] = {}
        off: dict[str, list[float]] = {}
        findings: dict[str, int] = {}
        for seed in range(seeds):
            table, setup, top = made_stand(seed, truth)
            answer = reduce([table], setup)
            for finding in answer.findings:
                findings[finding.code] = findings.get(finding.code, 0) + 1
            for id_, true in truths(truth, top).items():
                if id_ not in answer.figures:
                    held.setdefault(id_, []).append(False)
                    continue
                low, high = answer.figures[id_].quantity.interval()
                held.setdefault(id_, []).append(low <= true <= high)
                wide.setdefault(id_, []).append((high - low) / 2 / true * 100)
                value = answer.figures[id_].quantity.value
                off.setdefault(id_, []).append((value / true - 1) * 100)
        print(f"{name}: {findings}")
        for id_ in held:
            print(
                f"  {id_:26s} held {100 * np.mean(held[id_]):5.1f} %  half width "
                f"{np.mean(wide.get(id_, [np.nan])):.2f} %  error {np.mean(off[id_]):+.3f} ± "
                f"{np.std(off[id_]):.3f} %"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
