"""How often intervals of a linkage hold the truth; run by hand."""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np

from flightlog.groundtests.linkage import Setup, reduce
from tests.groundtests.linkages import Linkage, read, truths

CASES = {
    "gap 0.8, steps of 0.1": (Linkage(), 2, (1.0, 2.0), False),
    "only the scale of the gauge": (Linkage(), 2, (1.0, 2.0), True),
    "no noise but steps of 0.5": (Linkage(noise_deg=0.02, step_deg=0.5), 2, (1.0, 2.0), False),
    "noise 0.3, up and down once": (Linkage(noise_deg=0.3), 1, (1.0, 1.0), False),
    "noise 0.3, three times": (Linkage(noise_deg=0.3), 3, (1.0, 2.0, 3.0), False),
    "no gap, no noise of the gauge": (
        Linkage(gap_deg=0.0, servo_deg=0.0, gauge_deg=0.0), 2, (1.0, 2.0), False),
    "skewed": (Linkage(skew_deg=3.0), 2, (1.0, 2.0), False),
}  # fmt: skip


def main(seeds: int) -> None:
    """Print coverage of 95 % intervals and mean error over standard uncertainty."""
    for name, (linkage, passes, pushes, scale_only) in CASES.items():
        true = dict(truths(linkage))
        if len(set(pushes)) == 1:
            true["play"] += 2 * linkage.give_deg_n * pushes[0]
        held: Counter[str] = Counter()
        seen: Counter[str] = Counter()
        pull: dict[str, list[float]] = {}
        for seed in range(seeds):
            rng = np.random.default_rng(seed)
            table = read(linkage, rng, passes=passes, pushes=pushes, scale_only=scale_only)
            figures = reduce([table], Setup(angle_std_deg=linkage.gauge_deg)).figures
            for part, value in true.items():
                figure = figures.get(f"linkage.surface.{part}")
                if figure is not None:
                    low, high = figure.quantity.interval()
                    seen[part] += 1
                    held[part] += low <= value <= high
                    off = (figure.quantity.value - value) / max(figure.quantity.std, 1e-12)
                    pull.setdefault(part, []).append(off)
        print(name)
        for part in true:
            if seen[part]:
                pulls = np.array(pull[part])
                print(f"  {part:12} {100 * held[part] / seen[part]:5.1f} % of {seen[part]}, "
                      f"pulls {pulls.mean():+.2f} ± {pulls.std():.2f}")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
