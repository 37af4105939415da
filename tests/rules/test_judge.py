"""Outcomes: the four words, the edges, and laws that hold for any figure and bound."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from flightlog.figures import Figure
from flightlog.rules.book import Limit
from flightlog.rules.judge import judge, probability_of, verdict
from flightlog.rules.outcomes import Bound, Outcome
from flightlog.uncertain import Posterior, Quantity, Uncertain

ROLL = "takeoff.ground_roll"
CLEAR = "takeoff.first_clear_distance"
ORDER = ["not met", "not shown", "met"]

Op = Literal["<=", ">="]

values = st.floats(-1e3, 1e3)
gaussians = st.builds(
    lambda value, std: Uncertain.of(value, std, "m", source="noise"),
    values,
    st.floats(0, 100) | st.just(0.0),
)
posteriors = st.lists(values, min_size=1, max_size=30).map(
    lambda samples: Posterior.from_samples(samples, None, "m")
)
quantities = gaussians | posteriors
ops: st.SearchStrategy[Op] = st.sampled_from(["<=", ">="])
required = st.floats(0.51, 0.999)


def limit(op: Op, value: float, shown_at: float = 0.95, **more: object) -> Limit:
    return Limit("roll", "rule", ROLL, Bound(op, value, "m"), shown_at, **more)  # type: ignore[arg-type]


def of(
    quantity: Quantity | None, bound: Limit, withheld: Mapping[str, str] | None = None
) -> Outcome:
    figures = {} if quantity is None else {ROLL: Figure(ROLL, quantity, "made", ("gps",))}
    (outcome,) = judge([bound], figures, withheld or {})
    return outcome


def gaussian(value: float, std: float) -> Uncertain:
    return Uncertain.of(value, std, "m", source="noise")


# --- words


@pytest.mark.parametrize(
    ("value", "op", "word"),
    [
        # One-sided 95 % of a normal distribution is 1.6449 standard deviations.
        (40 - 1.65, "<=", "met"),
        (40 - 1.64, "<=", "not shown"),
        (40.0, "<=", "not shown"),
        (40 + 1.64, "<=", "not shown"),
        (40 + 1.65, "<=", "not met"),
        (40 + 1.65, ">=", "met"),
        (40 + 1.64, ">=", "not shown"),
        (40 - 1.64, ">=", "not shown"),
        (40 - 1.65, ">=", "not met"),
    ],
)
def test_the_word_follows_the_probability(value, op, word):
    outcome = of(gaussian(value, 1.0), limit(op, 40.0))

    assert word == outcome.outcome
    expected = 0.5 * math.erfc((value - 40) / math.sqrt(2) * (1 if op == "<=" else -1))
    assert expected == pytest.approx(outcome.probability, abs=1e-12)


def test_an_outcome_carries_what_it_was_judged_by():
    quantity = gaussian(38.0, 0.5)
    outcome = of(quantity, limit("<=", 40.0, 0.9, source="clause 4.2"))

    assert ("roll", "rule", ROLL) == (outcome.limit, outcome.kind, outcome.figure)
    assert quantity is outcome.quantity
    assert Bound("<=", 40.0, "m") == outcome.bound
    assert (0.9, "clause 4.2", "") == (outcome.required_probability, outcome.source, outcome.reason)


@pytest.mark.parametrize("op", ["<=", ">="])
@pytest.mark.parametrize(
    "exact",
    [
        gaussian(40.0, 0.0),
        Uncertain(40.0, {}, "m"),
        Posterior.from_samples([40.0], None, "m"),
        Posterior.from_samples([40.0, 40.0, 40.0], [0.1, 0.2, 0.3], "m"),
    ],
)
def test_an_exact_number_at_its_bound_is_within_it(op, exact):
    outcome = of(exact, limit(op, 40.0))

    assert ("met", 1.0) == (outcome.outcome, outcome.probability)


def test_numbers_are_not_rounded_before_they_are_compared():
    # Both print as 40.0.
    assert "not met" == of(gaussian(40.0 + 1e-9, 0.0), limit("<=", 40.0)).outcome
    assert "met" == of(gaussian(40.0 - 1e-9, 0.0), limit("<=", 40.0)).outcome


def test_counted_numbers_at_the_bound_count_for_both_directions():
    laps = Posterior.from_samples([2, 3, 4], [0.03, 0.95, 0.02], "m")

    assert 0.98 == pytest.approx(probability_of(limit("<=", 3.0), laps))
    assert 0.97 == pytest.approx(probability_of(limit(">=", 3.0), laps))


@pytest.mark.parametrize(("probability", "word"), [(0.95, "met"), (1 - 0.95, "not met")])
def test_exactly_the_required_probability_is_enough(probability, word):
    assert word == verdict(probability, 0.95)


# --- missing data


def test_a_withheld_figure_cannot_be_assessed_and_says_why():
    outcome = of(None, limit("<=", 40.0), {ROLL: "no GPS; connect one"})

    assert ("not assessable", None, None) == (
        outcome.outcome,
        outcome.probability,
        outcome.quantity,
    )
    assert "no GPS; connect one" == outcome.reason


def test_a_figure_that_nobody_computed_cannot_be_assessed():
    outcome = of(None, limit("<=", 40.0))

    assert "not assessable" == outcome.outcome
    assert outcome.reason


def test_a_limits_own_definition_brings_its_own_value():
    figures = {
        ROLL: Figure(ROLL, gaussian(41.0, 0.1), "made", ("gps",)),
        CLEAR: Figure(CLEAR, gaussian(38.0, 0.1), "made", ("gps",)),
    }
    own = limit("<=", 40.0, definition={"liftoff": "first_clear"}, measured=CLEAR)
    first, second = judge([own, limit("<=", 40.0)], figures, {})

    assert (ROLL, "met", 38.0) == (first.figure, first.outcome, first.quantity.value)
    assert ("not met", 41.0) == (second.outcome, second.quantity.value)


def test_a_definition_without_its_number_does_not_fall_back_on_the_figure():
    own = limit("<=", 40.0, definition={"liftoff": "first_clear"}, measured=CLEAR)
    outcome = of(gaussian(30.0, 0.1), own, {CLEAR: "the wheels skipped"})

    assert "not assessable" == outcome.outcome
    assert "the wheels skipped" in outcome.reason


def test_another_unit_is_a_fault_not_a_number():
    with pytest.raises(ValueError, match="'ft'"):
        probability_of(limit("<=", 40.0), gaussian(40.0, 1.0).scaled(1 / 0.3048, "ft"))


# --- laws


@given(quantities, ops, values, st.floats(0, 100), required)
def test_a_looser_bound_is_never_worse(quantity, op, bound, looser, at):
    step = looser if op == "<=" else -looser
    tight = of(quantity, limit(op, bound, at))
    loose = of(quantity, limit(op, bound + step, at))

    assert tight.probability <= loose.probability
    assert ORDER.index(tight.outcome) <= ORDER.index(loose.outcome)


@given(quantities, ops, values, required, required)
def test_asking_for_more_probability_only_takes_words_away(quantity, op, bound, one, other):
    lower, higher = sorted((one, other))
    asked_less, asked_more = (of(quantity, limit(op, bound, at)).outcome for at in (lower, higher))

    assert asked_more in {asked_less, "not shown"}


@given(quantities, values, required)
def test_both_directions_share_the_whole_probability(quantity, bound, at):
    below = of(quantity, limit("<=", bound, at))
    above = of(quantity, limit(">=", bound, at))

    assert 0 <= below.probability <= 1
    assert 0 <= above.probability <= 1
    # What lies on the bound counts for both, so that they may add up to more.
    assert below.probability + above.probability >= 1 - 1e-12
    assert (below.outcome, above.outcome) != ("not met", "not met")


@given(quantities, ops, values, required, st.integers(-8, 8))
def test_the_unit_does_not_change_the_outcome(quantity, op, bound, at, power):
    # Powers of two scale without rounding, so that nothing but the unit changes.
    factor = 2.0**power
    assume(all(abs(x) > 1e-200 or x == 0 for x in (quantity.value, quantity.std, bound)))
    # Whole numbers are counts, in which other units have no meaning.
    assume(not (isinstance(quantity, Posterior) and (quantity.samples % 1 == 0).all()))
    scaled = quantity.scaled(factor, "m")
    assume(not (isinstance(scaled, Posterior) and (scaled.samples % 1 == 0).all()))
    one = of(quantity, limit(op, bound, at))
    other = of(scaled, limit(op, bound * factor, at))

    assert one.outcome == other.outcome
    assert one.probability == pytest.approx(other.probability, abs=1e-9)


@given(quantities, ops, values, required)
def test_mirroring_everything_changes_nothing(quantity, op, bound, at):
    one = probability_of(limit(op, bound, at), quantity)
    mirrored: Op = ">=" if op == "<=" else "<="
    other = probability_of(limit(mirrored, -bound, at), quantity.scaled(-1.0, "m"))

    assert one == pytest.approx(other, abs=1e-9)
