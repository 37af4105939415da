"""A structure against an earlier test of it."""

import pytest

from flightlog.groundtests.structure_change import (
    DAMPING,
    FREQUENCY,
    Circumstance,
    Comparison,
    amplitudes,
    changes,
    masses,
)
from flightlog.uncertain import Uncertain

FIRST = "ringdown.first.frequency"


def pair(now, now_std, then, then_std, *circumstances, rule=FREQUENCY, figure=FIRST, unit="Hz"):
    return Comparison(
        figure,
        Uncertain.of(now, now_std, unit, source="fit"),
        Uncertain.of(then, then_std, unit, source="fit"),
        rule,
        circumstances,
    )


@pytest.mark.parametrize(
    ("now", "std", "verdict", "code"),
    [
        (6.10, 0.01, "changed", "structure-changed"),  # -6.2 % ± 0.4 %
        (6.90, 0.01, "changed", "structure-changed"),  # +6.2 %: rises count, too
        (6.20, 0.05, "unclear", "structure-change-unclear"),  # -4.6 % ± 2.2 %
        (6.10, 0.30, "unclear", "structure-change-unclear"),  # -6.2 % ± 13 %
        (6.44, 0.005, "shifted", "structure-shifted"),  # -0.9 % ± 0.2 %
        (6.49, 0.01, "same", None),  # -0.2 % ± 0.4 %
    ],
)
def test_verdicts(now, std, verdict, code):
    (change,), findings = changes([pair(now, std, 6.5, std)])
    assert change.verdict == verdict
    assert [f.code for f in findings] == ([code] if code else [])
    assert change.share == pytest.approx(now / 6.5 - 1)
    assert change.share_std == pytest.approx(2**0.5 * std / 6.5, rel=0.05)
    assert all(f.severity == "note" for f in findings)


def test_the_words_carry_change_uncertainty_and_limit():
    (change,), _ = changes([pair(6.10, 0.01, 6.5, 0.01)])
    assert "fell by 6.2 % ± 0.4 % (95 %)" in change.text
    assert "from 6.5 to 6.1 Hz" in change.text
    assert "beyond the limit of 5 %" in change.text
    assert "inspect" in change.text
    (small,), _ = changes([pair(6.44, 0.005, 6.5, 0.005)])
    assert "more than the tests' uncertainty explains" in small.text
    assert "mass, temperature and supports" in small.text


def test_tests_do_not_share_errors_because_their_sources_have_one_name():
    (change,), _ = changes([pair(6.5, 0.1, 6.5, 0.1)])
    assert change.share_std == pytest.approx(2**0.5 * 0.1 / 6.5)


def test_damping_is_compared_at_like_amplitudes_only():
    figure = {"rule": DAMPING, "figure": "ringdown.first.damping", "unit": "%"}
    (like,), _ = changes([pair(3.0, 0.1, 1.8, 0.1, amplitudes(4.0, 3.0), **figure)])
    assert like.verdict == "changed"
    (unlike,), findings = changes([pair(3.0, 0.1, 1.8, 0.1, amplitudes(9.0, 3.0), **figure)])
    assert unlike.verdict == "not comparable"
    assert "amplitude 9 now, 3 then" in unlike.text
    assert findings[0].code == "structure-not-compared"


def test_a_circumstance_that_is_not_known_is_told():
    (change,), _ = changes([pair(6.5, 0.01, 6.5, 0.01, masses(None, 7.9))])
    assert change.verdict == "same"
    assert "that both had the same mass is not known" in change.text


def test_an_earlier_value_of_zero_is_no_base():
    (change,), _ = changes([pair(6.5, 0.01, 0.0, 0.01)])
    assert change.verdict == "not comparable"


@pytest.mark.parametrize(("now", "then", "alike"), [(1, 1.4, True), (1, 1.6, False), (0, 1, None)])
def test_likeness(now, then, alike):
    assert Circumstance("amplitude", now, then, 1.5).alike is alike
