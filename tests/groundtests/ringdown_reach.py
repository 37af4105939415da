"""How near the ring-down comes to the truth, over many records.

Run it by ``python -m tests.groundtests.ringdown_reach [seeds] [part of the name of a case]``.
"""

from __future__ import annotations

import math
import sys
import time

import numpy as np

from flightlog.groundtests.damped_modes import ring
from tests.groundtests.rings import CASES, Case, drawn


def bound(t, truth, noise_std):
    """Cramér-Rao bound of frequency and damping of each mode, by differences, not by the fit."""
    start = np.array([v for m in truth for v in (m.frequency_hz, m.damping, m.amplitude, m.phase)])

    def model(p):
        return sum(type(truth[0])(*p[4 * i : 4 * i + 4]).at(t) for i in range(len(truth)))

    slopes = []
    for i in range(start.size):
        step = 1e-6 * max(1.0, abs(start[i]))
        high, low = start.copy(), start.copy()
        high[i] += step
        low[i] -= step
        slopes.append((model(high) - model(low)) / (2 * step))
    j = np.array([*slopes, np.ones_like(t)])
    cov = np.linalg.inv(j @ j.T) * noise_std**2
    std = np.sqrt(np.diag(cov))
    return std[0:-1:4], std[1:-1:4]


def reach(case: Case, seeds: int) -> str:
    """Run one case, and give its line."""
    right = 0
    both, inside_f, inside_z, error_f, error_z, over_f, over_z = [], [], [], [], [], [], []
    begun = time.process_time()
    for seed in range(seeds):
        t, y, truth = drawn(case, seed)
        found = ring(t, y)
        modes = found.modes if found is not None else ()
        if len(modes) != len(truth):
            both.append(False)
            continue
        right += 1
        f_std, z_std = bound(t, truth, 10 ** (-case.snr_db / 20))
        near = []
        for k, (mode, true) in enumerate(zip(modes, truth, strict=True)):
            df, dz = mode.frequency_hz - true.frequency_hz, mode.damping - true.damping
            near.append(abs(df) < 0.005 * true.frequency_hz and abs(dz) < 0.1 * true.damping)
            inside_f.append(abs(df) < 1.96 * mode.frequency_std_hz)
            inside_z.append(abs(dz) < 1.96 * mode.damping_std)
            error_f.append(df / true.frequency_hz)
            error_z.append(dz / true.damping)
            over_f.append(df / f_std[k])
            over_z.append(dz / z_std[k])
        both.append(all(near))

    def rms(values):
        return math.sqrt(np.mean(np.square(values))) if values else math.nan

    spent = (time.process_time() - begun) / seeds
    return (
        f"{case.name:26s} count {right / seeds:6.1%}  within {np.mean(both):6.1%}  "
        f"rms f {rms(error_f):6.3%} z {rms(error_z):5.1%}  over bound f {rms(over_f):4.2f} "
        f"z {rms(over_z):4.2f}  95 % holds f {np.mean(inside_f):6.1%} z {np.mean(inside_z):6.1%}  "
        f"{spent:.2f} s"
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    wanted = sys.argv[2] if len(sys.argv) > 2 else ""
    for each in CASES:
        if wanted in each.name:
            print(reach(each, count), flush=True)
