"""Uncertain numbers: sources that cancel, intervals, weighted samples."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from flightlog.uncertain import Posterior, Quantity, Uncertain

numbers = st.floats(-1e6, 1e6)
effects = st.dictionaries(st.sampled_from("abcd"), st.floats(-1e3, 1e3))
uncertains = st.builds(lambda value, sources: Uncertain(value, sources, "m"), numbers, effects)
shares = st.floats(0.001, 0.999)


@st.composite
def posteriors(draw: st.DrawFn) -> Posterior:
    # On a grid of nanometres: between neighbours of the number line no share can be told apart.
    finely = st.floats(-1e4, 1e4).map(lambda x: round(x, 9))
    samples = draw(st.lists(finely, min_size=2, max_size=30, unique=True))
    weights = draw(st.lists(st.floats(0.01, 1), min_size=len(samples), max_size=len(samples)))
    return Posterior.from_samples(samples, weights, "m")


def normal_below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


# --- Gaussian


def test_a_shared_error_cancels_in_the_difference():
    first = Uncertain(10.0, {"zero of the barometer": 2.0, "noise": 0.3}, "m")
    second = Uncertain(4.0, {"zero of the barometer": 2.0, "other noise": 0.4}, "m")
    gained = first - second
    assert gained.value == 6.0
    assert gained.std == pytest.approx(0.5)
    assert gained.sources["zero of the barometer"] == 0.0
    # In the sum the shared one counts twice as itself, not as two independent ones.
    assert (first + second).std == pytest.approx(math.sqrt(4.0**2 + 0.3**2 + 0.4**2))


def test_signs_of_effects_matter():
    up, down = Uncertain(1.0, {"wind": 2.0}), Uncertain(1.0, {"wind": -2.0})
    assert (up + down).std == 0.0
    assert (up - down).std == 4.0


@given(uncertains)
def test_anything_less_itself_is_surely_zero(number):
    nothing = number - number
    assert (nothing.value, nothing.std) == (0.0, 0.0)


@given(uncertains, uncertains)
def test_sums_and_differences_undo_each_other(a, b):
    back = (a + b) - b
    assert back.value == pytest.approx(a.value, abs=1e-6)
    assert back.std == pytest.approx(a.std, abs=1e-6)
    assert (a - b).value == -(b - a).value
    assert (a - b).std == pytest.approx((b - a).std)
    assert (-a).std == a.std


@given(effects)
def test_std_is_the_root_sum_of_squares(sources):
    assert Uncertain(0.0, sources).std == pytest.approx(np.linalg.norm([0.0, *sources.values()]))


@given(uncertains, st.floats(-1e3, 1e3))
def test_scaling_scales_value_and_each_source(number, factor):
    scaled = number.scaled(factor, "cm")
    assert scaled.unit == "cm"
    assert scaled.value == number.value * factor
    assert scaled.std == pytest.approx(abs(factor) * number.std, abs=1e-9)
    assert (number * factor).unit == number.unit
    assert (factor * number).value == scaled.value


def test_plain_numbers_shift_without_adding_doubt():
    number = Uncertain.of(3.0, 0.5, "s", source="clock")
    assert (number + 2.0).value == 5.0
    assert (number - 2.0).value == 1.0
    assert (number - 2.0).sources == {"clock": 0.5}


def test_widening_is_independent_of_what_is_there():
    number = Uncertain.of(3.0, 0.3, "m", source="noise")
    assert number.widened(0.4, "drift").std == pytest.approx(0.5)
    assert number.widened(0.4, "noise").sources == {"noise": pytest.approx(0.5)}
    assert number.std == 0.3


def test_the_interval_at_published_levels():
    number = Uncertain.of(10.0, 2.0, "m", source="x")
    # NIST/SEMATECH e-Handbook 1.3.6.7.1: two-sided points of the standard normal.
    for level, factor in ((0.6827, 1.0), (0.95, 1.959964), (0.99, 2.575829)):
        low, high = number.interval(level)
        assert high == pytest.approx(10 + 2 * factor, abs=3e-4)
        assert low == pytest.approx(10 - 2 * factor, abs=3e-4)
    assert number.interval() == number.interval(0.95)


@given(numbers, st.floats(0.01, 1e3), st.floats(-5, 5))
def test_probability_below_is_the_normal_distribution(value, std, z):
    number = Uncertain.of(value, std, source="x")
    bound = value + z * std
    assert number.probability_below(bound) == pytest.approx(normal_below((bound - value) / std))


def test_a_sure_number_is_surely_below_or_not():
    sure = Uncertain(5.0)
    assert sure.probability_below(5.0) == 1.0
    assert sure.probability_below(4.999) == 0.0
    assert sure.interval() == (5.0, 5.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_refused(bad):
    with pytest.raises(ValueError, match="must be finite"):
        Uncertain(bad, {}, "m")
    with pytest.raises(ValueError, match="'drift' has effect"):
        Uncertain(1.0, {"drift": bad}, "m")
    with pytest.raises(ValueError, match="finite samples"):
        Posterior.from_samples([1.0, bad])
    with pytest.raises(ValueError, match="must be finite, not negative"):
        Posterior.from_samples([1.0, 2.0], [1.0, bad])


@pytest.mark.parametrize("std", [-0.1, math.nan])
def test_a_std_must_be_a_size(std):
    with pytest.raises(ValueError, match="zero or positive"):
        Uncertain.of(1.0, std, "m", source="x")


def test_units_must_agree():
    with pytest.raises(ValueError, match="can't combine 'm' with 's'"):
        Uncertain(1.0, {}, "m") + Uncertain(1.0, {}, "s")


def test_sources_cannot_change_afterwards():
    given_sources = {"x": 1.0}
    number = Uncertain(1.0, given_sources)
    given_sources["x"] = 9.0
    assert number.std == 1.0
    with pytest.raises(TypeError):
        number.sources["x"] = 9.0  # type: ignore[index]


# --- weighted samples


@given(posteriors(), shares)
def test_quantile_and_probability_below_are_inverse(posterior, share):
    middle = np.cumsum(posterior.weights) - posterior.weights / 2
    assume(middle[0] < share < middle[-1])
    assert posterior.probability_below(posterior.quantile(share)) == pytest.approx(share, abs=1e-6)


def test_a_probability_stays_one_between_neighbours_of_the_number_line():
    posterior = Posterior.from_samples([0.0, 5e-323, 1.0])

    assert 0.0 <= posterior.probability_below(posterior.quantile(0.25)) <= 1.0


@given(posteriors(), shares)
def test_mirrored_samples_have_mirrored_quantiles(posterior, share):
    mirrored = Posterior.from_samples(-posterior.samples, posterior.weights, "m")
    assert mirrored.quantile(1 - share) == pytest.approx(-posterior.quantile(share), abs=1e-5)
    assert mirrored.std == pytest.approx(posterior.std, abs=1e-6)


@given(posteriors(), shares, shares)
def test_quantiles_do_not_fall(posterior, a, b):
    low, high = sorted((a, b))
    assert posterior.quantile(low) <= posterior.quantile(high)
    assert posterior.samples[0] <= posterior.quantile(low)
    assert posterior.quantile(high) <= posterior.samples[-1]


@given(posteriors(), st.floats(0.1, 100))
def test_scaling_scales_quantiles_and_spread(posterior, factor):
    scaled = posterior.scaled(factor, "ft")
    assert scaled.unit == "ft"
    assert scaled.value == pytest.approx(factor * posterior.value, abs=1e-6)
    assert scaled.std == pytest.approx(factor * posterior.std, rel=1e-6)
    assert scaled.interval(0.9) == pytest.approx(
        tuple(factor * end for end in posterior.interval(0.9)), abs=1e-6
    )


def test_scaling_by_a_negative_factor_turns_the_interval():
    posterior = Posterior.from_samples([1.0, 2.0, 5.0], [1, 2, 1])
    low, high = posterior.interval()
    assert posterior.scaled(-1.0, "").interval() == pytest.approx((-high, -low))


def test_order_of_the_samples_does_not_matter():
    a = Posterior.from_samples([3.0, 1.0, 2.0], [1, 5, 2], "m")
    b = Posterior.from_samples([1.0, 2.0, 3.0], [50, 20, 10], "m")
    assert np.array_equal(a.samples, b.samples)
    assert a.weights == pytest.approx(b.weights)


def test_many_normal_samples_agree_with_the_normal_law():
    x = np.random.default_rng(7).normal(20.0, 3.0, 40_000)
    posterior = Posterior.from_samples(x, None, "m")
    sure = Uncertain.of(20.0, 3.0, "m", source="x")
    assert posterior.value == pytest.approx(20.0, abs=0.06)
    assert posterior.std == pytest.approx(3.0, abs=0.05)
    assert posterior.interval() == pytest.approx(sure.interval(), abs=0.2)
    assert posterior.probability_below(23.0) == pytest.approx(normal_below(1.0), abs=0.01)


def test_weights_stand_for_repeated_samples():
    weighted = Posterior.from_samples([0.0, 1.0], [1, 3])
    assert weighted.std == pytest.approx(np.std([0.0, 1.0, 1.0, 1.0]))
    assert weighted.value > 0.5


def test_a_posterior_of_nothing_is_refused():
    for samples, weights in (([], None), ([1.0], [0.0]), ([1.0, 2.0], [1.0]), ([1.0], [-1.0])):
        with pytest.raises(ValueError, match=r"posterior"):
            Posterior.from_samples(samples, weights)


def test_a_posterior_cannot_change_afterwards():
    posterior = Posterior.from_samples([1.0, 2.0])
    with pytest.raises(ValueError, match="read-only"):
        posterior.samples[0] = 9.0


def test_probability_outside_the_samples():
    posterior = Posterior.from_samples([1.0, 2.0, 3.0])
    assert posterior.probability_below(0.5) == 0.0
    assert posterior.probability_below(3.5) == 1.0


@pytest.mark.parametrize("number", [Uncertain(1.0), Posterior.from_samples([1.0])])
def test_both_shapes_are_quantities(number):
    assert isinstance(number, Quantity)
    assert number.value == 1.0
    assert number.interval() == (1.0, 1.0)


@given(posteriors(), st.floats(0.01, 1e4))
def test_a_wider_posterior_has_the_variances_of_both(posterior, std):
    wide = posterior.widened(std, "made")
    assert wide.std == pytest.approx(math.hypot(posterior.std, std))
    mean = float(posterior.weights @ posterior.samples)
    assert float(wide.weights @ wide.samples) == pytest.approx(mean, abs=1e-6 * wide.std)


def test_a_large_posterior_stays_small_when_widened_again_and_again():
    rng = np.random.default_rng(20260101)
    posterior = Posterior.from_samples(rng.normal(0, 3, 5000), None, "m")
    for _ in range(4):
        posterior = posterior.widened(2.0, "made")
    assert posterior.samples.size <= 1001
    # 9 + 4 * 4
    assert posterior.std == pytest.approx(5.0, rel=0.03)


def test_a_sharp_posterior_widened_is_a_gaussian():
    wide = Posterior.from_samples([5.0], None, "m").widened(2.0, "made")
    low, high = wide.interval()
    assert (low, high) == (
        pytest.approx(5 - 1.96 * 2, abs=0.15),
        pytest.approx(5 + 1.96 * 2, abs=0.15),
    )
    assert wide.value == pytest.approx(5.0)
    assert wide.unit == "m"


def test_nothing_added_changes_nothing():
    posterior = Posterior.from_samples([1.0, 2.0, 4.0], [1, 2, 1], "m")
    assert posterior.widened(0.0, "made") is posterior
