"""The model on seasons whose truth it does not contain: a small run of ``reach``.

The whole table takes minutes; here are seasons enough that a model which is clearly wrong fails.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from flightlog.estimation.ground_roll import RollModel
from tests.prediction import reach
from tests.prediction import seasons as made

SEASONS, SEED = 150, 5
BY_NAME = {case.name: case for case in reversed(reach.CASES)}  # of equal names the first


def rarely(share: float) -> float:
    """Give the share that a true share falls below with a probability of one in a thousand."""
    return float(binom.ppf(1e-3, SEASONS, share)) / SEASONS


@pytest.fixture(scope="module")
def ordinary():
    return reach.run(BY_NAME["ordinary, 8 flights on 4 days"], SEASONS, SEED)


def test_the_integrated_roll_is_the_closed_form_where_that_holds():
    """Full thrust at once, no gusts: the simulation's own arithmetic against the integral."""
    one = np.ones(1)
    ramp, made.RAMP_S = made.RAMP_S, 1e-6
    try:
        roll, speed = made.rolled(
            8.0 * one,
            1.225 * one,
            3.0 * one,
            0 * one,
            np.zeros((1, 8)),
            one,
            one,
            0.04 * one,
            one,
            one,
        )
    finally:
        made.RAMP_S = ramp
    model = RollModel(8.0, 1.225, 0.55, 0.50, 0.055, 0.04, 1.50 / 1.21, 38.0, 0.70, 0.010)

    assert pytest.approx(model.distance_m(3.0), rel=0.01) == roll[0]
    assert pytest.approx(13.706 - 3.0, abs=0.06) == speed[0]


def test_the_bound_holds_as_often_as_it_says(ordinary):
    outcomes, _ = ordinary
    held = reach.coverage(outcomes)

    assert rarely(0.95) <= held
    # Nor is it so wide that it always holds.
    narrower = np.mean([one.roll <= one.bound / 1.12 for one in outcomes])
    assert narrower < 0.95


def test_the_chosen_load_makes_the_limit(ordinary):
    assert rarely(0.95) <= reach.success(ordinary[1])


def test_it_is_narrower_than_a_straight_line(ordinary):
    assert (reach.narrower(ordinary[0]) or 0.0) > 0.1


def test_rough_seasons_switch_the_wider_setting_on():
    rough, chosen = reach.run(BY_NAME["rough, 8 flights"], SEASONS, SEED)
    usual, _ = reach.run(BY_NAME["ordinary, 8 flights on 4 days"], 40, SEED)

    assert rarely(0.92) <= reach.coverage(rough)
    assert rarely(0.92) <= reach.success(chosen)
    assert np.mean([one.wide for one in usual]) < 0.4 < 0.6 < np.mean([one.wide for one in rough])


def test_a_new_technique_is_noticed_more_often_than_a_usual_day():
    changed, _ = reach.run(BY_NAME["  technique new today"], SEASONS, SEED)
    usual, _ = reach.run(BY_NAME["ordinary, 8 + first of today"], SEASONS, SEED)

    noticed, by_chance = (np.mean([one.noticed for one in two]) for two in (changed, usual))
    assert noticed > by_chance + 0.1
    # Where a number is given after a change was noticed it holds.
    given = [one for one in changed if one.noticed and not one.withheld]
    assert reach.coverage(given) >= float(binom.ppf(1e-3, len(given), 0.93)) / len(given)
