"""The mixture's quantiles belong to its probabilities, however far apart its parts lie."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flightlog.prediction.predicted_roll import PredictedRoll
from flightlog.prediction.regression import StudentT


def part(median_m: float, scale: float = 0.08, freedoms: float = 12.0) -> StudentT:
    return StudentT(np.array([math.log(median_m)]), np.array([scale]), freedoms)


def mixed(parts: list[StudentT], *weights: float) -> PredictedRoll:
    return PredictedRoll(parts, np.array(weights))


def test_one_part_has_students_quantiles():
    roll = mixed([part(30.0, 0.1, 10.0)], 1.0)

    assert 30.0 == pytest.approx(roll.median_m, rel=1e-12)
    # t of 10 freedoms: 1.812461 at 0.95, 2.228139 at 0.975.
    assert 30.0 * math.exp(0.1812461) == pytest.approx(roll.quantile(0.95), rel=1e-7)
    assert 30.0 * math.exp(-0.2228139) == pytest.approx(roll.interval(0.95)[0], rel=1e-7)


@pytest.mark.parametrize("probability", [1e-4, 0.025, 0.31, 0.5, 0.69, 0.95, 0.999])
@pytest.mark.parametrize(
    "roll",
    [
        mixed([part(24.0), part(29.0)], 0.7, 0.3),
        # Nothing in between, so that there the density is next to nothing.
        mixed([part(10.0, 0.002, 40.0), part(60.0, 0.001, 40.0)], 0.31, 0.69),
        mixed([part(30.0, 0.001, 2.5), part(30.0, 2.0, 2.5)], 0.5, 0.5),
        mixed([part(30.0)] * 8, *[0.125] * 8),
    ],
    ids=["usual", "far-apart", "sharp-and-flat", "alike"],
)
def test_a_quantile_has_its_probability(roll, probability):
    found = roll.quantile(probability)

    assert probability == pytest.approx(roll.at_most(found), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, math.nan])
def test_what_is_no_probability_is_refused(probability):
    with pytest.raises(ValueError, match="between 0 and 1"):
        mixed([part(30.0)], 1.0).quantile(probability)
