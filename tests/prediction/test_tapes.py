"""Log and tape together, against the posterior worked out as one big normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.prediction.tapes import DATUM_STD_M, OFFSET_STD_M, READ_STD_M, fused


def joint(log, tape):
    """Solve for all rolls and the offset at once: least squares over every equation."""
    n = len(log)
    rows, seen, variances = [], [], []
    for k, (value, std) in enumerate(log):
        row = np.zeros(n + 1)
        row[k] = 1
        rows.append(row)
        seen.append(value)
        variances.append(std**2)
        if tape[k] is not None:
            row = row.copy()
            row[n] = 1
            rows.append(row)
            seen.append(tape[k][0])
            read = READ_STD_M if tape[k][1] is None else tape[k][1]
            variances.append(read**2 + DATUM_STD_M**2)
    rows.append(np.eye(n + 1)[n])
    seen.append(0.0)
    variances.append(OFFSET_STD_M**2)
    x, w = np.array(rows), np.diag(1 / np.array(variances))
    covariance = np.linalg.inv(x.T @ w @ x)
    mean = covariance @ x.T @ w @ np.array(seen)
    return mean, np.sqrt(np.diag(covariance))


LOG = [(28.0, 0.7), (30.5, 1.5), (26.0, 0.8), (33.0, 1.0)]
TAPE = [(28.9, 0.2), None, (26.4, None), (34.2, 0.1)]


def test_rolls_and_offset_are_the_posterior_of_all_equations_at_once():
    mean, std = joint(LOG, TAPE)
    found = fused(LOG, TAPE)

    assert np.array(found.rolls) == pytest.approx(np.column_stack([mean[:4], std[:4]]))
    assert (mean[4], std[4]) == pytest.approx((found.offset_m, found.offset_std_m))
    assert (3, ()) == (found.pairs, found.left_out)


@given(
    st.lists(
        st.tuples(st.floats(10, 60), st.floats(0.2, 3), st.floats(-1, 1), st.booleans()),
        min_size=1,
        max_size=8,
    )
)
@settings(max_examples=50)
def test_a_tape_never_makes_a_roll_less_sure(flights):
    log = [(value, std) for value, std, _, _ in flights]
    tape = [(v + d, None) if there else None for v, _, d, there in flights]

    for (value, std), (own, own_std), other in zip(fused(log, tape).rolls, log, tape, strict=True):
        assert std <= own_std
        if other is None:
            assert (value, std) == (own, own_std)


def test_the_offset_is_shrunk_while_few_flights_tell_it():
    far = [(30.0, 0.5)] * 12
    one = fused(far[:1], [(31.0, 0.1)])
    many = fused(far, [(31.0, 0.1)] * 12)

    assert 0.5 < one.offset_m < 0.75
    assert 0.94 < many.offset_m < 1.0
    assert many.offset_std_m < 0.4 * one.offset_std_m


def test_what_is_kept_is_said_with_what_was_taken():
    says = fused(LOG, TAPE, known_offset_m=0.25).says

    assert "m longer than the log, from 3 flights" in says
    assert "known offset of 0.25 m" in says
    assert "without an uncertainty of their own: 1; 0.3 m was taken" in says
    assert "" == fused(LOG, [None] * 4).says


def test_a_known_offset_is_taken_off_first():
    same = fused(LOG, [None if t is None else (t[0] - 0.5, t[1]) for t in TAPE])

    assert np.array(same.rolls) == pytest.approx(
        np.array(fused(LOG, TAPE, known_offset_m=0.5).rolls)
    )


def test_a_tape_of_something_else_leaves_the_log_alone():
    wrong = [TAPE[0], (41.0, 0.1), *TAPE[2:]]
    found = fused(LOG, wrong)

    assert (1,) == found.left_out
    assert LOG[1] == found.rolls[1]
    assert np.array(found.rolls) == pytest.approx(np.array(fused(LOG, TAPE).rolls))
    assert "contradict their log: 1" in found.says


@pytest.mark.parametrize(
    ("log", "tape"),
    [
        ([(30.0, 0.0)], [None]),
        ([(30.0, float("nan"))], [None]),
        ([(30.0, 1.0)], [(float("nan"), None)]),
        ([(30.0, 1.0)], [(30.0, -0.1)]),
        ([(30.0, 1.0)], []),
    ],
)
def test_numbers_that_can_not_be_are_refused(log, tape):
    with pytest.raises(ValueError, match=r"uncertainty|is none|zip"):
        fused(log, tape)
