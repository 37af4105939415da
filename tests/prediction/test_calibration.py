"""Coverage, scores and baselines of a season, against closed forms and numbers worked out apart."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.calibration import (
    CARD,
    LAST,
    LINE,
    exact_interval,
    flights_to_show,
    probability_of_at_least,
    score,
    season_scores,
)
from flightlog.prediction.quantiles import Quantiles
from flightlog.prediction.roll_baselines import last_roll, straight_line
from flightlog.prediction.takeoffs import Takeoff


def rolled(roll_m, mass_kg=8.0, headwind_m_s=2.0, name="a"):
    return Takeoff(name, "1", roll_m, 0.5, mass_kg, 1.2, headwind_m_s)


def normal(mean, std):
    return Quantiles.of(NormalDist(mean, std).inv_cdf)


def test_none_of_twenty_above_a_right_bound_is_no_rarity():
    # METHODS 13.5: 0.95^20 = 0.358.
    assert 0.358 == pytest.approx(1 - probability_of_at_least(1, 20, 0.05), abs=5e-4)


def test_three_of_twenty_above_it_does_not_refute_it_either():
    assert 0.0755 == pytest.approx(probability_of_at_least(3, 20, 0.05), abs=5e-5)


def test_it_takes_59_flights_without_one_to_show_95_percent():
    assert 59 == flights_to_show(0.95, 0.95)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    # The first and the last by hand: (1/2)·0.05 = p^20, so p = 0.025^(1/20).
    [(20, 20, 0.025 ** (1 / 20), 1.0), (0, 20, 0.0, 1 - 0.025 ** (1 / 20))],
)
def test_the_exact_interval_at_its_ends(count, of, low, high):
    assert (low, high) == pytest.approx(exact_interval(count, of))


@pytest.mark.parametrize(("count", "of"), [(19, 20), (7, 8), (3, 11)])
def test_the_ends_of_the_exact_interval_leave_the_tails(count, of):
    low, high = exact_interval(count, of)

    assert 0.025 == pytest.approx(probability_of_at_least(count, of, low))
    assert 0.975 == pytest.approx(probability_of_at_least(count + 1, of, high))


def test_a_prediction_is_judged_by_what_came():
    inside, over = score(normal(30, 2), 33.0), score(normal(30, 2), 34.0)

    assert inside.inside
    assert not over.inside
    assert inside.pit == pytest.approx(NormalDist().cdf(1.5))
    # 33.3 lies above the one-sided bound of 33.29 and within the central interval, to 33.92.
    between = score(normal(30, 2), 33.3)
    assert between.over
    assert between.inside


def test_the_last_roll_is_as_wide_as_the_steps_between_flights():
    kept = last_roll([rolled(30), rolled(33), rolled(29)], rolled(99))

    # Steps 3 and -4: root mean square sqrt(12.5), two degrees of freedom; t(0.975, 2) = 4.302653.
    assert 29 == pytest.approx(kept.quantile(0.5))
    assert 29 + 4.302653 * 12.5**0.5 == pytest.approx(kept.quantile(0.975), rel=1e-6)


def test_the_straight_line_is_that_of_the_textbook():
    rng = np.random.default_rng(4)
    before = [
        rolled(20 + 5 * m - 3 * w + e, m, w)
        for m, w, e in zip(
            rng.uniform(7, 9, 8), rng.uniform(0, 4, 8), rng.normal(0, 1, 8), strict=True
        )
    ]
    kept = straight_line(before, rolled(1, 8.4, 1.0))
    # Normal equations, without centring.
    x = np.array([[1, t.mass_kg, t.headwind_m_s] for t in before])
    y = np.array([t.roll_m for t in before])
    fit = np.linalg.inv(x.T @ x) @ x.T @ y
    row = np.array([1, 8.4, 1.0])
    left = y - x @ fit
    scale = np.sqrt(left @ left / 5 * (1 + row @ np.linalg.inv(x.T @ x) @ row))

    assert float(row @ fit) == pytest.approx(kept.quantile(0.5))
    # t(0.975, 5) = 2.570582.
    assert float(row @ fit) + 2.570582 * float(scale) == pytest.approx(kept.quantile(0.975))


def test_the_straight_line_waits_for_five_flights():
    some = [rolled(30 + n, 7 + 0.3 * n, n % 3) for n in range(5)]
    with pytest.raises(NotEnoughDataError, match="4 flights before"):
        straight_line(some[:4], rolled(1))

    assert straight_line(some, rolled(1)).quantile(0.5)


def test_what_never_differed_has_no_slope_and_no_answer_elsewhere():
    same = [rolled(30 + n % 2, 8.0, 0.5 * n) for n in range(6)]

    assert 30.5 == pytest.approx(straight_line(same, rolled(1, 8.0, 1.2)).quantile(0.5), abs=0.5)
    with pytest.raises(NotEnoughDataError, match="all had a mass of 8 kg"):
        straight_line(same, rolled(1, 8.3, 1.2))


def test_mass_and_wind_that_went_together_can_not_be_told_apart():
    together = [rolled(30 + n % 2, 7 + 0.1 * n, float(n)) for n in range(6)]
    with pytest.raises(NotEnoughDataError, match="went together"):
        straight_line(together, rolled(1))


def season(count=9):
    rng = np.random.default_rng(2)
    return [
        rolled(30 + 4 * (m - 8) - 3 * w + float(rng.normal(0, 1)), m, w, str(n))
        for n, (m, w) in enumerate(
            zip(rng.uniform(7, 9, count), rng.uniform(0, 4, count), strict=True)
        )
    ]


def test_a_baseline_learns_from_the_flights_before_it_only():
    flights = season()
    scores = season_scores(flights, [None] * 9).rows[6].scores
    later = [*flights[:7], rolled(99.0), rolled(1.0)]

    assert season_scores(later, [None] * 9).rows[6].scores == scores
    assert season_scores([rolled(40.0), *flights[1:]], [None] * 9).rows[6].scores != scores


def test_a_season_counts_and_compares_on_the_same_flights():
    flights = season()
    cards = [None, *(normal(t.roll_m + 0.5, 1.0) for t in flights[1:7]), normal(10, 1), None]
    found = season_scores(flights, cards, [*"abcdefghi"])
    card, last, line = found.methods

    assert (CARD, 7, 6, 1) == (card.name, card.flights, card.inside, card.over)
    assert (LAST, 6) == (last.name, last.flights)
    assert (LINE, 4) == (line.name, line.flights)
    assert exact_interval(6, 7) == card.coverage
    assert 1 - 0.95**7 == pytest.approx(card.as_many_over)
    # All three predict the flights 5, 6 and 7.
    assert 3 == found.common
    shared = [found.rows[n].scores[CARD].crps for n in (5, 6, 7)]
    assert sum(shared) / 3 == pytest.approx(card.common_crps_m)
    assert 2 * 1.959964 == pytest.approx(card.width_m, rel=1e-6)
    assert "a" == found.rows[0].why[CARD]
    assert "3 are needed" in found.rows[2].why[LAST]


def test_a_season_without_cards_is_told_and_not_made_up():
    found = season_scores(season(), [None] * 9)

    assert (0, None, None, None) == (
        found.methods[0].flights,
        found.methods[0].coverage,
        found.methods[0].as_many_over,
        found.methods[0].crps_m,
    )
    assert 0 == found.common
