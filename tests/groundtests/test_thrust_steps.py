"""Steps of a stand's file: which of three shapes it is, what is settled, and how sure a mean is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.thrust_steps import (
    LAG_STD_S,
    cleaned,
    find_steps,
    mean_of_settled,
    scatter_about_neighbours,
    signals_of,
    sweeps,
)


def table(**columns: object) -> BenchTable:
    return BenchTable("made.csv", {k: np.asarray(v, dtype=float) for k, v in columns.items()})


def found(made: BenchTable, transient_s: float | None = None):
    made = cleaned(made)
    return find_steps(made, signals_of(made), transient_s)


def series(rate_hz: float = 50.0, hold_s: float = 6.0, levels=(1000, 1300, 1600, 1000)):
    """Thrust that goes to its new value with a time constant of half a second."""
    pulse = np.repeat(np.asarray(levels, dtype=float), round(hold_s * rate_hz))
    thrust = np.empty(len(pulse))
    at = 0.0
    keeps = math.exp(-1 / (rate_hz * 0.5))
    for i, told in enumerate((pulse - 1000) / 100):
        at = keeps * at + (1 - keeps) * told
        thrust[i] = at
    return pulse, thrust, np.arange(len(pulse)) / rate_hz


# --- which shape


def test_one_row_for_each_level_without_a_clock_is_rows():
    steps = found(table(pulse=np.arange(1200, 1800, 100), thrust=np.arange(6.0)))

    assert steps.shape == "rows"
    assert len(steps) == 6
    assert steps.mean["thrust"].tolist() == [0, 1, 2, 3, 4, 5]


def test_a_settle_time_that_jumps_about_is_no_clock():
    time = [0.42, 0.38, 0.51, 0.40, 0.44, 0.39, 0.47, 0.41, 0.45]
    steps = found(table(pulse=np.arange(1200, 2100, 100), thrust=np.arange(9.0), time=time))

    assert steps.shape == "rows"
    assert not steps.clocked


def test_a_throttle_that_moves_with_every_row_is_a_ramp():
    n = 100
    steps = found(
        table(time=np.arange(n) * 0.05, pulse=1000 + 10 * np.arange(n), thrust=0.1 * np.arange(n))
    )

    assert steps.shape == "ramp"
    # 0.1 N for each 0.05 s is 2 N/s: so much times the lag it may be behind.
    assert steps.lag["thrust"][50] == pytest.approx(2.0 * LAG_STD_S)


@pytest.mark.parametrize("rate_hz", [10.0, 100.0])
def test_a_series_gives_one_step_for_each_hold_without_its_transient(rate_hz):
    pulse, thrust, time = series(rate_hz)
    steps = found(table(time=time, pulse=pulse, thrust=thrust))

    assert steps.shape == "series"
    assert steps.level.tolist() == [1000, 1300, 1600, 1000]
    assert steps.mean["thrust"][1:3] == pytest.approx([3.0, 6.0], rel=2e-3)
    assert 2.9 < min(steps.settled_s[1:])


def test_what_is_dropped_can_be_stated():
    pulse, thrust, time = series()
    steps = found(table(time=time, pulse=pulse, thrust=thrust), transient_s=5.0)

    assert steps.settled_s == pytest.approx([1.0] * 4, abs=0.05)


def test_without_a_command_levels_are_found_from_what_was_read():
    _, thrust, time = series(hold_s=8.0)
    rng = np.random.default_rng(1)
    noisy = thrust + rng.normal(0, 0.05, len(thrust))
    steps = found(table(time=time, thrust=noisy))

    assert steps.shape == "series"
    assert steps.command == "thrust"
    assert steps.mean["thrust"] == pytest.approx([0, 3, 6, 0], abs=0.05)


def test_a_slow_ramp_between_holds_is_no_step():
    hold, up = np.full(250, 1300.0), np.linspace(1300, 1700, 250)
    pulse = np.concatenate((hold, up, np.full(250, 1700.0)))
    steps = found(table(time=np.arange(750) / 50, pulse=pulse, thrust=pulse / 100))

    assert steps.level.tolist() == [1300, 1700]


def test_a_series_without_time_is_one_by_its_many_rows():
    pulse, thrust, _ = series()
    steps = found(table(pulse=pulse, thrust=thrust))

    assert steps.shape == "series"
    assert np.isnan(steps.settled_s).all()


def test_a_clock_that_once_goes_back_stays_a_clock():
    pulse, thrust, time = series()
    time = time.copy()
    time[700:] -= 100.0
    steps = found(table(time=time, pulse=pulse, thrust=thrust))

    assert len(steps) == 4
    assert steps.clocked


def test_very_many_rows_that_are_no_steps_are_told_to_be_unknown():
    rng = np.random.default_rng(2)
    steps = found(table(pulse=rng.uniform(1000, 2000, 5000), thrust=rng.normal(size=5000)))

    assert steps.shape == "unknown"
    assert len(steps) == 0


# --- means


def test_the_mean_of_white_noise_is_as_sure_as_its_number_says():
    rng = np.random.default_rng(3)
    _, std = mean_of_settled(rng.normal(5.0, 2.0, 4000))

    assert std == pytest.approx(2.0 / math.sqrt(4000), rel=0.15)


@pytest.mark.parametrize("keeps", [0.0, 0.8, 0.9])
def test_intervals_of_settled_means_hold_the_truth_whatever_neighbours_share(keeps):
    """Noise of which each row keeps a part of the one before; 200 rows."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(4)
    held = []
    for _ in range(300):
        noise = lfilter([1.0], [1.0, -keeps], rng.normal(size=400))[200:]
        mean, std = mean_of_settled(noise)
        held.append(abs(mean) <= 1.96 * std)

    assert np.mean(held) > 0.90


@pytest.mark.parametrize("values", [[], [math.nan, math.nan], [3.0], [2.0, 2.0, 2.0]])
def test_few_or_like_rows_have_a_mean_without_noise(values):
    mean, std = mean_of_settled(np.asarray(values, dtype=float))

    assert math.isnan(std) or std == 0
    assert math.isnan(mean) or mean in values


def test_scatter_about_neighbours_sees_noise_and_not_the_curve():
    rng = np.random.default_rng(5)
    x = np.linspace(1200, 1900, 40)
    guess = [
        scatter_about_neighbours(x, (x / 100) ** 2 + rng.normal(0, 0.5, 40)) for _ in range(50)
    ]

    # Student's factor for its 25 or so degrees of freedom is 1.05.
    assert np.sqrt(np.mean(np.square(guess))) == pytest.approx(0.5 * 1.05, rel=0.07)


# --- sweeps


def test_a_sweep_ends_where_the_throttle_turns_and_where_the_motor_stood():
    level = np.array([1.0, 2, 3, 4, 3, 2, 1, 2, 3])
    rest = np.array([True, *[False] * 8])

    assert sweeps(level, rest, None).tolist() == [0, 1, 1, 1, 2, 2, 2, 3, 3]


def test_the_number_of_the_file_ends_a_sweep_as_well():
    level = np.array([1.0, 2, 3, 1, 2, 3])
    given = np.array([1.0, 1, 1, 2, 2, 2])

    assert sweeps(level, np.zeros(6, dtype=bool), given).tolist() == [1, 1, 1, 2, 2, 2]


@given(
    arrays.arrays(
        float,
        st.tuples(st.integers(1, 60), st.just(4)),
        elements=st.floats(allow_nan=True, allow_infinity=True, width=64),
    )
)
def test_no_file_breaks_the_search(values):
    time, pulse, thrust, current = values.T
    made = table(time=time, pulse=pulse, thrust=thrust, current=current)
    steps = found(made)

    assert all(len(mean) == len(steps) for mean in steps.mean.values())
    assert len(steps) <= len(made)
