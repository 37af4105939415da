"""The roll along the runway against motions whose truth is known in closed form."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from flightlog.estimation.roll import (
    LATENCY_PRIOR_S,
    STEP_S,
    ForwardAcceleration,
    RollTrack,
    SpeedFixes,
    _backward,
    _distance_std,
    _fixes_on_grid,
    _forward,
    _gains,
    _Model,
    block_means,
    estimate_roll,
)

START_S, END_S, ASKED_S = 20.0, 25.0, 24.0


@dataclass(frozen=True)
class Roll:
    """Thrust comes up within ``ramp_s``, then the acceleration is constant."""

    accel_m_s2: float = 3.5
    ramp_s: float = 0.05

    def accel(self, time):
        return self.accel_m_s2 * np.clip((time - START_S) / self.ramp_s, 0, 1)

    def speed(self, time):
        ramped, after = self._parts(time)
        return self.accel_m_s2 * (ramped**2 / (2 * self.ramp_s) + after)

    def distance(self, time):
        ramped, after = self._parts(time)
        ramp = self.ramp_s
        return self.accel_m_s2 * (ramped**3 / (6 * ramp) + ramp / 2 * after + after**2 / 2)

    def _parts(self, time):
        x = np.clip(np.asarray(time) - START_S, 0, None)
        ramped = np.minimum(x, self.ramp_s)
        return ramped, x - ramped


def fixes_of(
    roll: Roll, rng, *, rate: float = 5.0, latency: float = 0.15, noise: float = 0.1
) -> SpeedFixes:
    time = np.arange(5 + rng.uniform(0, 1 / rate), START_S + 6, 1 / rate)
    shown = roll.speed(time - latency) + noise * rng.normal(size=time.size)
    return SpeedFixes(time, shown, np.full(time.size, 0.1))


def accel_of(
    roll: Roll, rng, *, rate: float = 100.0, noise: float = 0.5, bias: float = 0.1
) -> ForwardAcceleration:
    time = np.arange(5, START_S + 6, 1 / rate)
    shown = roll.accel(time) + bias + noise * rng.normal(size=time.size)
    return ForwardAcceleration(time, shown, bias, 0.15, noise / np.sqrt(rate))


def track_of(fixes: SpeedFixes, accel: ForwardAcceleration | None) -> RollTrack:
    return estimate_roll(fixes, accel, START_S - 0.5, END_S, start_std_s=0.3)


def mixed(track: RollTrack, at_s: float = ASKED_S) -> tuple[float, float, float, float]:
    """Distance, its std, speed, its std over all latencies."""
    distance, d_std, speed, v_std = (a[0] for a in track.at(np.array([at_s])))
    w = track.weight
    d, v = float(w @ distance), float(w @ speed)
    return (
        d,
        float(np.sqrt(w @ (d_std**2 + (distance - d) ** 2))),
        v,
        float(np.sqrt(w @ (v_std**2 + (speed - v) ** 2))),
    )


@pytest.mark.parametrize("rate", [1, 5, 10])
@pytest.mark.parametrize("inertial", [True, False])
def test_distance_speed_and_start_of_a_constant_push(rate, inertial):
    rng, roll = np.random.default_rng(rate), Roll()
    fixes = fixes_of(roll, rng, rate=rate)
    track = track_of(fixes, accel_of(roll, rng) if inertial else None)
    distance, d_std, speed, v_std = mixed(track)
    assert distance == pytest.approx(float(roll.distance(ASKED_S)), abs=3 * d_std)
    assert speed == pytest.approx(float(roll.speed(ASKED_S)), abs=3 * v_std)
    assert d_std < (0.6 if inertial else 1.2)
    assert track.mean_start_s() == pytest.approx(START_S, abs=0.06 if inertial else 0.3)
    assert track.inertial is inertial


@pytest.mark.parametrize("latency", [0.06, 0.14, 0.24])
@pytest.mark.parametrize("rate", [1, 5, 10])
def test_the_age_of_a_fix_is_recovered(latency, rate):
    rng, roll = np.random.default_rng(11), Roll(ramp_s=0.4)
    fixes = fixes_of(roll, rng, rate=rate, latency=latency, noise=0.05)
    track = track_of(fixes, accel_of(roll, rng, noise=0.2))
    assert track.latency_mean_s == pytest.approx(latency, abs=2.6 * track.latency_std_s)
    assert track.latency_std_s < 0.05
    # Clearly told from the prior's mean where it is far from it.
    if abs(latency - LATENCY_PRIOR_S[0]) > 0.05 and rate > 1:
        assert abs(track.latency_mean_s - latency) < 0.5 * abs(LATENCY_PRIOR_S[0] - latency)


def test_without_an_imu_only_the_prior_tells_the_age():
    rng, roll = np.random.default_rng(4), Roll()
    early = track_of(fixes_of(roll, rng, latency=0.02), None)
    late = track_of(fixes_of(roll, rng, latency=0.30), None)
    assert early.weight == pytest.approx(late.weight)
    assert early.latency_mean_s == pytest.approx(LATENCY_PRIOR_S[0], abs=0.01)
    assert early.latency_std_s == pytest.approx(LATENCY_PRIOR_S[1], abs=0.01)


@pytest.mark.parametrize("inertial", [True, False])
def test_the_interval_of_the_distance_holds_the_truth(inertial):
    n, hits, errors, stds = 100, 0, [], []
    for seed in range(n):
        rng = np.random.default_rng(seed)
        roll = Roll(rng.uniform(2.5, 5.0), rng.uniform(0.05, 0.8))
        fixes = fixes_of(roll, rng, rate=float(rng.choice([1, 5, 10])),
                         latency=rng.uniform(0.05, 0.25))  # fmt: skip
        accel = accel_of(roll, rng, bias=rng.normal(0, 0.1)) if inertial else None
        distance, std, *_ = mixed(track_of(fixes, accel))
        errors.append(distance - float(roll.distance(ASKED_S)))
        stds.append(std)
        hits += abs(errors[-1]) <= 1.96 * std
    assert hits >= binom.ppf(1e-3, n, 0.95)
    # Not by being vague: the errors are about as large as it says.
    assert np.sqrt(np.mean(np.square(errors))) > 0.5 * np.mean(stds)
    assert abs(np.mean(errors)) < 0.2


def test_claims_that_are_too_good_widen_the_interval():
    ratios = []
    for seed in range(6):
        rng, roll = np.random.default_rng(seed), Roll()
        accel = accel_of(roll, rng)
        honest = track_of(fixes_of(roll, rng), accel)
        wild = track_of(fixes_of(roll, rng, noise=0.3), accel)
        assert wild.misfit > 3 * honest.misfit
        ratios.append(mixed(wild)[1] / mixed(honest)[1])
        distance, std, *_ = mixed(wild)
        assert distance == pytest.approx(float(roll.distance(ASKED_S)), abs=3 * std)
    assert np.mean(ratios) > 1.2


@pytest.mark.parametrize("wrong", [8.0, -8.0, 60.0])
@pytest.mark.parametrize("inertial", [True, False])
def test_one_glitch_does_not_move_the_result(wrong, inertial):
    rng, roll = np.random.default_rng(6), Roll()
    fixes = fixes_of(roll, rng, rate=10)
    accel = accel_of(roll, rng) if inertial else None
    clean = mixed(track_of(fixes, accel))
    speeds = fixes.speed_m_s.copy()
    speeds[int(np.searchsorted(fixes.time_s, 22.5))] += wrong
    struck = mixed(track_of(replace(fixes, speed_m_s=speeds), accel))
    # It costs one fix of fifty, so a small part of the stated spread.
    assert struck[0] == pytest.approx(clean[0], abs=0.3 * clean[1])
    assert struck[2] == pytest.approx(clean[2], abs=0.3 * clean[3])


def test_a_later_clock_moves_the_track_along():
    rng, roll = np.random.default_rng(7), Roll()
    fixes, accel = fixes_of(roll, rng), accel_of(roll, rng)
    shift = 1000 * STEP_S
    later = estimate_roll(
        replace(fixes, time_s=fixes.time_s + shift),
        replace(accel, time_s=accel.time_s + shift),
        START_S - 0.5 + shift,
        END_S + shift,
    )
    now = track_of(fixes, accel)
    assert mixed(later, ASKED_S + shift) == pytest.approx(mixed(now), abs=1e-5)
    assert later.mean_start_s() - shift == pytest.approx(now.mean_start_s(), abs=1e-6)


def test_speed_in_other_units_scales_the_distance():
    # Half the speed, half the noise, half the push: half the distance. Without an IMU only
    # roughly, as the model's own walk stays.
    rng = np.random.default_rng(8)
    full, half = Roll(4.0), Roll(2.0)
    whole = mixed(track_of(fixes_of(full, np.random.default_rng(8), noise=0.0),
                           accel_of(full, rng, noise=0.0)))  # fmt: skip
    part = mixed(track_of(fixes_of(half, np.random.default_rng(8), noise=0.0),
                          accel_of(half, rng, noise=0.0)))  # fmt: skip
    assert part[0] == pytest.approx(whole[0] / 2, abs=0.1)


def test_noise_before_the_roll_does_not_add_to_the_distance():
    # The position drifts while it stands; the lag covariance takes that out of the difference.
    rng, roll = np.random.default_rng(9), Roll()
    fixes, accel = fixes_of(roll, rng), accel_of(roll, rng)
    short = estimate_roll(fixes, accel, START_S - 0.5, END_S)
    long = estimate_roll(fixes, accel, START_S - 10.0, END_S)
    assert mixed(long)[1] < 1.15 * mixed(short)[1]
    assert mixed(long)[0] == pytest.approx(mixed(short)[0], abs=0.3)
    assert short.distance_std_m[0] == pytest.approx(0.0)


def test_smoother_and_lag_covariance_equal_one_large_solution():
    """All states at once as one Gaussian: prior of the chain, then all fixes in one update."""
    rng, roll = np.random.default_rng(10), Roll()
    fixes, accel = fixes_of(roll, rng), accel_of(roll, rng)
    begin = START_S - 1.0
    track = estimate_roll(fixes, accel, begin, begin + 3.0)
    model, time, lag = _Model.inertial(accel), track.time_s, 7
    push = block_means(accel.time_s, accel.accel_m_s2, time)
    z, var = (a[:, lag] for a in _fixes_on_grid(fixes, time, push))
    var = var * max(1.0, track.misfit)

    n, f = len(time), model.transition
    mean, cov = [model.start_mean], [model.start_cov]
    for k in range(1, n):
        mean.append(f @ mean[-1] + model.push * push[k - 1])
        cov.append(f @ cov[-1] @ f.T + model.noise)
    joint = np.zeros((3 * n, 3 * n))
    for i in range(n):
        block = cov[i]
        joint[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = block
        for j in range(i + 1, n):
            block = block @ f.T
            joint[3 * i : 3 * i + 3, 3 * j : 3 * j + 3] = block
            joint[3 * j : 3 * j + 3, 3 * i : 3 * i + 3] = block.T
    seen = np.flatnonzero(np.isfinite(z))
    look = np.zeros((len(seen), 3 * n))
    look[np.arange(len(seen)), 3 * seen + 1] = 1.0
    gain = np.linalg.solve(look @ joint @ look.T + np.diag(var[seen]), look @ joint).T
    state = np.concatenate(mean) + gain @ (z[seen] - look @ np.concatenate(mean))
    after = joint - gain @ look @ joint

    assert track.speed_m_s[:, lag] == pytest.approx(state[1::3], abs=1e-6)
    assert track.speed_std_m_s[:, lag] == pytest.approx(np.sqrt(np.diag(after)[1::3]), abs=1e-6)
    origin = round((track.start_s[lag] - time[0]) / STEP_S)
    last = n - 1
    pair = np.zeros(3 * n)
    pair[3 * last], pair[3 * origin] = 1.0, -1.0
    exact = float(np.sqrt(pair @ after @ pair))
    assert track.distance_std_m[last, lag] == pytest.approx(exact, abs=1e-6)
    moved = state[3 * last] - np.interp(track.start_s[lag], time, state[0::3])
    assert track.distance_m[last, lag] == pytest.approx(moved, abs=1e-6)


def test_the_distance_is_far_surer_than_two_positions():
    # A start that is 5 m uncertain: root sum of squares would be 7 m, the distance is not.
    rng, roll = np.random.default_rng(12), Roll()
    fixes, accel = fixes_of(roll, rng), accel_of(roll, rng)
    begin = START_S - 1.0
    time = begin + STEP_S * np.arange(200)
    push = np.append(block_means(accel.time_s, accel.accel_m_s2, time), 0.0)[: len(time) - 1]
    sure = _Model.inertial(accel)
    vague = replace(sure, start_cov=np.diag([25.0, *np.diag(sure.start_cov)[1:]]))
    z, var = _fixes_on_grid(fixes, time, push)
    start = np.full(z.shape[1], START_S)
    stds = []
    for model in (sure, vague):
        filtered = _forward(model, push, z, var)
        gains = _gains(model, filtered)
        smooth = _backward(gains, filtered)[1]
        stds.append(_distance_std(gains, smooth, time, start)[-1])
        if model is vague:
            assert np.sqrt(smooth[-1, :, 0, 0]).min() > 4.9
    assert stds[1] == pytest.approx(stds[0], abs=0.02)
    assert stds[1].max() < 0.6


# --- means between edges


@given(
    st.lists(st.floats(0.01, 0.5), min_size=2, max_size=12),
    st.lists(st.floats(-10, 10), min_size=13, max_size=13),
    st.lists(st.floats(0.02, 0.98), min_size=2, max_size=6, unique=True),
)
def test_means_of_a_piecewise_linear_signal_are_exact(gaps, heights, places):
    time = np.concatenate([[0.0], np.cumsum(gaps)])
    values = np.array(heights[: len(time)])
    edges = np.unique(np.round(places, 3)) * time[-1]
    if len(edges) < 2:
        return
    means = block_means(time, values, edges)
    for low, high, mean in zip(edges[:-1], edges[1:], means, strict=True):
        x = np.unique(np.concatenate([[low, high], time[(time > low) & (time < high)]]))
        y = np.interp(x, time, values)
        area = float(np.sum(np.diff(x) * (y[1:] + y[:-1]) / 2))
        assert mean * (high - low) == pytest.approx(area, abs=1e-9)


def test_means_outside_the_data_are_missing():
    means = block_means(np.array([1.0, 2.0, 3.0]), np.ones(3), np.array([0.0, 1.5, 2.5, 3.5]))
    assert np.isnan(means[[0, 2]]).all()
    assert means[1] == 1.0
