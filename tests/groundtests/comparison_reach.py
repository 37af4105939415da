"""How often comparisons and choices err, over many draws: ``python -m ... [draws]``.

Each line is a share of wrong words, or of intervals that hold the truth, beside what it may be.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from flightlog.groundtests.comparison import MORE, SAME, Series, all_pairs, compared
from flightlog.groundtests.draws import Known
from flightlog.groundtests.propeller_choice import PropellerLimits, choose_propeller
from tests.groundtests.test_propeller_choice import AIRCRAFT, candidate

CASES = (  # repeats of each, spread of each in percent, shared drift in percent, paired
    ((3, 3), (0.5, 0.5), 0.0, False),
    ((3, 8), (2.0, 0.5), 0.0, False),
    ((8, 3), (2.0, 0.5), 0.0, False),
    ((5, 5), (1.0, 1.5), 0.0, False),
    ((3, 3), (0.5, 1.0), 3.0, True),
    ((6, 6), (1.0, 1.0), 3.0, True),
)


def words(draws: int) -> None:
    """Print how often words are wrong where the truth lies at the threshold, of 2 %."""
    rng = np.random.default_rng(1)
    for (n, m), (sa, sb), drift, paired in CASES:
        more = same = inside = 0
        for _ in range(draws):
            shared = rng.normal(0, drift, max(n, m)) / 100
            a = 30 * (1 + shared[:n] + rng.normal(0, sa, n) / 100)
            b = 29.4 * (1 + shared[:m] + rng.normal(0, sb, m) / 100)
            c = compared(Series("a", a), Series("b", b), 2.0, paired=paired)
            more += c.word == MORE
            same += c.word == SAME
            low, high = c.percent_low, c.percent_high
            inside += low is not None and high is not None and low <= 2.0 <= high
        print(
            f"repeats {n} {m}  spread {sa} {sb} %  drift {drift} %  paired {paired!s:5}  more "
            f"{more / draws:.3f}  same {same / draws:.3f} (0.05)  interval {inside / draws:.3f}"
        )


def systematic(draws: int) -> None:
    """Print how often intervals hold where each configuration is off for itself."""
    rng = np.random.default_rng(2)
    for n, own in ((3, 0.1), (3, 0.3), (6, 0.6)):
        held = 0
        for _ in range(draws):
            a, b = (rng.normal(0, own) + rng.normal(30, 0.2, n) for _ in range(2))
            c = compared(Series("a", a, own), Series("b", b, own), 2.0)
            held += c.low <= 0 <= c.high
        print(f"repeats {n}  own {own} N, spread 0.2 N: interval {held / draws:.3f} (0.95)")


def families(draws: int) -> None:
    """Print how often any of several pairs gets a wrong word; right at the threshold, either is."""
    rng = np.random.default_rng(3)
    # Three alike; two pairs at the threshold; one far off and two at the threshold.
    for means in ((30, 30, 30), (30, 29.4, 30), (30, 29.4, 25), (30, 29.4, 28.812)):
        more = same = 0
        for _ in range(draws):
            series = [Series(str(i), rng.normal(m, 0.4, 4)) for i, m in enumerate(means)]
            found = all_pairs(series, 2.0)
            share = [
                round(100 * (1 - means[int(c.second)] / means[int(c.first)]), 6) for c in found
            ]
            pairs = list(zip(found, share, strict=True))
            more += any(c.word == MORE and at <= 2 for c, at in pairs)
            same += any(c.word == SAME and abs(at) >= 2 for c, at in pairs)
        print(f"means {means}: any wrong more {more / draws:.3f}, same {same / draws:.3f} (0.05)")


def choices(draws: int) -> None:
    """Print how often the intervals of roll and energy hold the truth."""
    rng = np.random.default_rng(4)
    # The truth is drawn about what was measured, as uncertainties say.
    mission = replace(
        AIRCRAFT, mass_kg=Known(8.0, 0.05), friction=Known(0.04, 0.008), cd0=Known(0.04, 0.003)
    )
    parts = {"ct_relative": 0.02, "cp_relative": 0.02, "speed_rev_s": Known(7000 / 60, 0.5)}
    one = candidate("a", **parts)
    other = candidate("b", cruise_drive_efficiency=Known(0.70, 0.01), **parts)
    said = choose_propeller(mission, [one, other], PropellerLimits(), "energy")
    held = {"roll_m": 0, "wh_per_km": 0}
    for _ in range(draws):
        true = replace(
            mission,
            mass_kg=Known(8.0 * np.exp(0.05 / 8 * rng.normal())),
            friction=Known(0.04 * np.exp(0.2 * rng.normal())),
            cd0=Known(0.04 * np.exp(0.075 * rng.normal())),
        )
        size = np.exp(0.02 * rng.normal(size=2))
        curve = type(one.curve)(one.curve.j, one.curve.ct * size[0], one.curve.cp * size[1])
        real = replace(
            one,
            curve=curve,
            ct_relative=0.0,
            cp_relative=0.0,
            speed_rev_s=Known(one.speed_rev_s.value * np.exp(0.5 / 116.667 * rng.normal())),
        )
        (truth,) = choose_propeller(true, [real], PropellerLimits(), "energy").candidates
        for figure in held:
            low, high = said.candidates[0].figures[figure].interval
            held[figure] += low <= truth.figures[figure].value <= high
    for figure, count in held.items():
        print(f"{figure}: interval holds {count / draws:.3f} (0.95)")


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    words(number)
    systematic(number)
    families(number)
    choices(min(number, 1000))
