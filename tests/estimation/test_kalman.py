"""Kalman filter and smoother against a worked example and what must always hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from flightlog.estimation.kalman import Motion, Smoothed, lag_covariance, smooth
from flightlog.estimation.smoother import Measurements, smooth_motion

# Along a runway at 5 Hz: position, speed and accelerometer bias, acceleration as input.
# Expected values were computed with another program at full precision.
DT = 0.2
PUSH = np.array([4.3, 4.1, 4.0, 3.8, 3.7])
MEASURED = np.array([(0.3, 0.05), (0.1, 0.80), (0.6, 1.75), (1.1, 2.45), (1.4, 3.30), (2.4, 4.00)])
FILTERED = [
    (0.18292682926829268, 0.015384615384615385, 0.0),
    (0.2039223004398068, 0.8411197105047074, 0.014750244388334572),
    (0.5003780319903633, 1.7053667156486685, -0.009497218214632397),
    (0.9551349370234303, 2.4775610187696455, 0.00585396567619278),
    (1.5104622111387394, 3.2697630029729146, -0.01045923556819812),
    (2.2618963046841207, 4.006205549100338, -0.007829259089648797),
]
SMOOTHED = [
    (0.19652750444167974, 0.00860814001487449, -0.007817367941270605),
    (0.2834231704103932, 0.86034851967226, -0.007825205862813586),
    (0.5393135952824899, 1.6985557290487063, -0.00782638691707501),
    (0.9585042657726389, 2.493350975852783, -0.007830275983568174),
    (1.5345575565660023, 3.2671819320808497, -0.007829259089648797),
    (2.2618963046841207, 4.006205549100338, -0.007829259089648797),
]
FILTERED_STD_M = [
    0.6246950475544243,
    0.4924580606372805,
    0.4196831967326306,
    0.3721755470872361,
    0.33816050095346994,
    0.31235016028015317,
]
SMOOTHED_STD_M = [
    0.31151688032752456,
    0.3109501961508605,
    0.31065562305129163,
    0.3107288353823726,
    0.31122501667175617,
    0.31235016028015317,
]


def worked(measured: np.ndarray = MEASURED) -> Smoothed:
    move = np.array([[1, DT, -DT * DT / 2], [0, 1, -DT], [0, 0, 1]])
    push = np.array([DT * DT / 2, DT, 0])
    noise = 0.25 * np.outer(push, push) + np.diag([0, 0, 1e-4 * DT])
    return smooth(
        np.zeros(3),
        np.diag([1.0, 0.01, 0.04]),
        Motion(move, noise, PUSH[:, None] * push),
        np.eye(3)[:2],
        np.diag([0.64, 0.0225]),
        measured,
    )


def test_worked_example_to_full_precision() -> None:
    run = worked()
    assert run.filtered_mean == pytest.approx(np.array(FILTERED), abs=1e-12)
    assert run.mean == pytest.approx(np.array(SMOOTHED), abs=1e-12)
    assert np.sqrt(run.filtered_cov[:, 0, 0]) == pytest.approx(FILTERED_STD_M, abs=1e-12)
    assert np.sqrt(run.cov[:, 0, 0]) == pytest.approx(SMOOTHED_STD_M, abs=1e-12)
    assert run.log_likelihood == pytest.approx(-1.8331693828767022, abs=1e-12)


def test_distance_between_smoothed_states_needs_their_covariance() -> None:
    run = worked()
    shared = lag_covariance(run, 0, 5)
    assert run.mean[5, 0] - run.mean[0, 0] == pytest.approx(2.065368800242441, abs=1e-12)
    assert shared[0, 0] == pytest.approx(0.09565205834622312, abs=1e-12)
    variance = run.cov[0, 0, 0] + run.cov[5, 0, 0] - 2 * shared[0, 0]
    assert np.sqrt(variance) == pytest.approx(0.05745670251227792, abs=1e-12)
    assert lag_covariance(run, 5, 0) == pytest.approx(shared.T)
    assert lag_covariance(run, 3, 3) == pytest.approx(run.cov[3])


def test_nothing_measured_leaves_the_forecast() -> None:
    run = worked(np.full((6, 2), np.nan))
    assert run.mean[-1, 1] == pytest.approx(DT * PUSH.sum())
    assert run.log_likelihood == 0.0
    assert np.isnan(run.nis).all()


@settings(max_examples=30, deadline=None)
@given(
    values=st.lists(
        st.tuples(st.floats(-50, 50), st.floats(-20, 20), st.booleans()), min_size=6, max_size=6
    )
)
def test_hindsight_is_never_worse(values: list[tuple[float, float, bool]]) -> None:
    """Smoothed variances don't exceed the filtered ones, whatever is measured or missing."""
    measured = np.array([(s, v if there else np.nan) for s, v, there in values])
    run = worked(measured)
    before = np.einsum("kii->ki", run.filtered_cov)
    assert (np.einsum("kii->ki", run.cov) <= before * (1 + 1e-9)).all()
    assert np.linalg.eigvalsh(run.cov).min() > 0


def plainly(first, motion, look, errors, measured):
    """The textbook's steps one after the other: the update with a gain, then backwards."""
    mean, cov = first
    ahead, filtered, log_likelihood = [], [], 0.0
    for k, row in enumerate(measured):
        if k:
            mean = motion.transition[k - 1] @ mean + motion.push[k - 1]
            cov = motion.transition[k - 1] @ cov @ motion.transition[k - 1].T + motion.noise[k - 1]
        ahead.append((mean, cov))
        seen = np.flatnonzero(np.isfinite(row))
        if seen.size:
            h, r = look[seen], errors[np.ix_(seen, seen)]
            s = h @ cov @ h.T + r
            off = row[seen] - h @ mean
            log_likelihood += float(multivariate_normal(cov=s).logpdf(off))
            gain = cov @ h.T @ np.linalg.inv(s)
            mean, cov = mean + gain @ off, cov - gain @ s @ gain.T
        filtered.append((mean, cov))
    smoothed = [filtered[-1]]
    for k in range(len(measured) - 2, -1, -1):
        (mean, cov), (m, p) = filtered[k], ahead[k + 1]
        c = cov @ motion.transition[k].T @ np.linalg.inv(p)
        later = smoothed[0]
        smoothed.insert(0, (mean + c @ (later[0] - m), cov + c @ (later[1] - p) @ c.T))
    return filtered, smoothed, log_likelihood


def test_one_two_or_no_numbers_at_a_step_are_as_the_textbook_has_them() -> None:
    rng = np.random.default_rng(8)
    n, steps = 4, 45
    spread = rng.normal(size=(steps - 1, n, n))
    motion = Motion(
        np.eye(n) + 0.1 * rng.normal(size=(steps - 1, n, n)),
        0.1 * spread @ spread.transpose(0, 2, 1),
        rng.normal(size=(steps - 1, n)),
    )
    look = rng.normal(size=(3, n))
    errors = np.array([[1.0, 0.3, 0.1], [0.3, 2.0, -0.4], [0.1, -0.4, 0.5]])
    measured = rng.normal(size=(steps, 3))
    measured[rng.random((steps, 3)) < 0.55] = np.nan
    counts = np.isfinite(measured).sum(axis=1)
    assert {0, 1, 2, 3} == set(counts.tolist())

    first = rng.normal(size=n), np.diag(rng.uniform(0.5, 2.0, n))
    run = smooth(*first, motion, look, errors, measured)
    filtered, smoothed, log_likelihood = plainly(first, motion, look, errors, measured)
    for k in range(steps):
        assert run.filtered_mean[k] == pytest.approx(filtered[k][0], abs=1e-9)
        assert run.filtered_cov[k] == pytest.approx(filtered[k][1], abs=1e-9)
        assert run.mean[k] == pytest.approx(smoothed[k][0], abs=1e-9)
        assert run.cov[k] == pytest.approx(smoothed[k][1], abs=1e-9)
    assert run.log_likelihood == pytest.approx(log_likelihood, rel=1e-12)


def test_banded_smoother_gives_the_same_states_and_variances() -> None:
    rng = np.random.default_rng(3)
    h, n, jerk = 0.1, 60, 4.0
    time_s = 50.0 + h * np.arange(0, n, 2)
    place, speed = rng.normal(size=(30, 2)), 0.1 * rng.normal(size=(30, 2))
    kinds = (
        Measurements(time_s, place, np.full(30, 2.0), 0),
        Measurements(time_s, speed, np.full(30, 0.3), 1),
    )
    motion = smooth_motion(50.0, h, n, kinds, jerk)
    move = np.array([[1, h, h * h / 2], [0, 1, h], [0, 0, 1]])
    powers = [
        [h**5 / 20, h**4 / 8, h**3 / 6],
        [h**4 / 8, h**3 / 3, h**2 / 2],
        [h**3 / 6, h**2 / 2, h],
    ]
    for axis in range(2):
        measured = np.full((n, 2), np.nan)
        measured[::2, 0], measured[::2, 1] = place[:, axis], speed[:, axis]
        run = smooth(
            np.zeros(3),
            np.diag([1e8, 1e4, 1e2]),
            Motion(move, jerk**2 * np.array(powers)),
            np.eye(3)[:2],
            np.diag([4.0, 0.09]),
            measured,
        )
        assert motion.position[:, axis] == pytest.approx(run.mean[:, 0], abs=1e-8)
        assert motion.velocity[:, axis] == pytest.approx(run.mean[:, 1], abs=1e-8)
        assert motion.position_std == pytest.approx(np.sqrt(run.cov[:, 0, 0]), rel=1e-6)
        assert motion.velocity_std == pytest.approx(np.sqrt(run.cov[:, 1, 1]), rel=1e-6)
