"""Offsets between clocks against pairs of recordings whose offset is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flightlog.estimation.alignment import Alignment, Trace, align, is_alone, is_same_motion
from flightlog.estimation.clock_offset import clock_offset
from flightlog.estimation.correlation import GRID_S, MEMORY_S, correlate
from tests.accuracy.alignment import Logger, flight, look, make_pairs, measure

SEED = 20270315


def waves(time_s: np.ndarray) -> np.ndarray:
    """Speed that never repeats: three sines with incommensurable periods."""
    periods = (17.3, 41.9, 97.0)
    return 12.0 + sum(2.0 * np.sin(2 * np.pi * time_s / p + p) for p in periods)


def hills(time_s: np.ndarray) -> np.ndarray:
    return 40.0 + 15.0 * np.sin(2 * np.pi * time_s / 71.0) + 5.0 * np.sin(time_s / 5.3)


def seen(time_s: np.ndarray, *, clock_s: float = 0.0, noise: float = 0.0) -> list[Trace]:
    """Speed and height at true times, on a clock that shows so much at true zero."""
    rng = np.random.default_rng(5)
    speed = waves(time_s) + noise * rng.normal(size=len(time_s))
    return [
        Trace("speed", time_s + clock_s, speed),
        Trace("height", time_s + clock_s, hills(time_s) + noise * rng.normal(size=len(time_s))),
    ]


# --- the offset


def test_offset_of_two_rates_is_found_between_the_samples():
    found = align(
        seen(np.arange(0.03, 300.0, 0.1)), seen(np.arange(20.7, 280.0, 1.0), clock_s=-123.456)
    )

    assert found[0].clock.offset_s == pytest.approx(123.456, abs=0.02)


def test_holes_and_a_late_start_do_not_move_the_offset():
    whole = np.arange(0.0, 300.0, 0.2)
    holed = whole[((whole < 90.0) | (whole > 130.0)) & (whole > 45.0)]
    found = align(seen(whole), seen(holed, clock_s=71.3))

    assert found[0].clock.offset_s == pytest.approx(-71.3, abs=0.02)
    # The hole is no part of what is shared: 300 - 45 - 40 s.
    assert found[0].clock.shared_s == pytest.approx(215.0, abs=5.0)


def test_another_unit_and_another_zero_do_not_matter():
    true = np.arange(0.0, 300.0, 0.5)
    speed, height = seen(true, clock_s=9.0)
    other = [
        Trace("speed", speed.time_s, 3.6 * speed.value),
        Trace("height", height.time_s, height.value + 212.0),
    ]

    assert align(seen(true), other)[0].clock.offset_s == pytest.approx(-9.0, abs=0.01)


def test_a_window_keeps_out_what_the_clocks_forbid():
    true = np.arange(0.0, 300.0, 0.5)

    assert align(seen(true), seen(true, clock_s=50.0), windows=[(-52.0, -48.0)])
    for one in align(seen(true), seen(true, clock_s=50.0), windows=[(0.0, 40.0)]):
        assert -5.0 < one.clock.offset_s < 45.0


def test_rate_of_a_clock_is_found_over_an_hour_and_not_claimed_over_minutes():
    true = np.arange(0.0, 3600.0, 0.5)
    first = seen(true, noise=0.2)
    fast = [Trace(t.name, t.time_s * (1 + 80e-6), t.value) for t in seen(true, noise=0.1)]
    clock = align(first, fast)[0].clock

    # The second clock shows 80 ppm more, so what is added to it falls.
    assert clock.rate_ppm == pytest.approx(-80.0, abs=3 * clock.rate_std_ppm)
    assert clock.rate_std_ppm < 15.0
    assert clock.offset_s == pytest.approx(-80e-6 * clock.middle_s, abs=0.02)
    short = clock_offset(seen(true[:600]), seen(true[:600]), 0.0)
    assert short is not None
    assert math.isnan(short.rate_ppm)


def test_interval_holds_the_truth_as_often_as_it_says():
    """A short run; ``python -m tests.accuracy.alignment`` is the long one."""
    rows = measure(make_pairs(60, SEED))
    error = np.array([e for _, e, _ in rows])
    std = np.array([s for _, _, s in rows])
    found = np.isfinite(error)

    assert found.sum() >= 58
    # Of 60 at 95 %, fewer than 52 come once in a thousand.
    assert (np.abs(error) <= 1.96 * std)[found].sum() >= 52
    assert np.sqrt(np.mean(error[found] ** 2)) < 0.05
    # And it is not wide for safety: a width of a tenth of a second would hold anything.
    assert np.median(1.96 * std[found]) < 0.06


def test_traces_that_disagree_widen_the_interval_until_it_holds_both():
    true = np.arange(0.0, 400.0, 0.2)
    speed, height = seen(true, noise=0.1)
    late = Trace("height", height.time_s + 0.8, height.value)
    clock = align(seen(true, noise=0.05), [speed, late])[0].clock

    assert -0.8 <= clock.offset_s <= 0.0
    for offset in (0.0, -0.8):
        assert abs(clock.offset_s - offset) <= 1.96 * clock.std_s


# --- is it the same flight, and the only place


def laps(count: int, *, takeoff: bool) -> tuple[np.ndarray, list[Trace]]:
    """Laps of 50 s that repeat exactly; with a take-off or without."""
    time_s = np.arange(0.0, 50.0 * count, 0.5)
    speed = 14.0 + 2.0 * np.sin(2 * np.pi * time_s / 50.0) + np.sin(4 * np.pi * time_s / 50.0)
    height = 40.0 + 5.0 * np.cos(2 * np.pi * time_s / 50.0)
    if takeoff:
        speed = np.where(time_s < 20.0, 0.0, speed)
        height = np.minimum(height, np.maximum(0.0, 2.0 * (time_s - 25.0)))
    return time_s, [Trace("speed", time_s, speed), Trace("height", time_s, height)]


def part(traces: list[Trace], low: float, high: float) -> list[Trace]:
    return [
        Trace(t.name, t.time_s[at], t.value[at])
        for t in traces
        for at in [(t.time_s >= low) & (t.time_s < high)]
    ]


def test_laps_that_repeat_exactly_have_no_single_offset():
    _, whole = laps(6, takeoff=False)
    best = align(whole, part(whole, 100.0, 200.0))[0]

    assert not is_alone(best)
    assert abs(best.runner_up_s) == pytest.approx(50.0, abs=1.0) or best.runner_up_s % 50.0 < 1.0


def test_the_takeoff_tells_which_lap_is_which():
    _, whole = laps(6, takeoff=True)
    best = align(whole, part(whole, 0.0, 200.0))[0]

    assert is_alone(best)
    assert best.clock.offset_s == pytest.approx(0.0, abs=0.02)


def test_positions_tell_which_lap_is_which_where_laps_differ_by_metres():
    """Same speeds in every lap, but each lap lies 40 m farther out."""
    time_s, whole = laps(6, takeoff=False)
    north = Trace("north", time_s, 100.0 * np.sin(2 * np.pi * time_s / 50.0))
    east = Trace("east", time_s, 60.0 * np.cos(2 * np.pi * time_s / 50.0) + 0.8 * time_s)
    whole = [*whole, north, east]
    found = [one for one in align(whole, part(whole, 100.0, 200.0)) if is_same_motion(one)]

    assert len(found) == 1
    assert found[0].clock.offset_s == pytest.approx(0.0, abs=0.02)


def test_sharpness_and_runner_up_are_told():
    best = align(seen(np.arange(0.0, 300.0, 0.5)), seen(np.arange(0.0, 300.0, 0.5)))[0]

    assert 0.5 <= best.width_s < 6.0
    assert best.score > best.runner_up


def test_two_loggers_of_one_flight_agree_and_two_flights_do_not():
    rng = np.random.default_rng(SEED)
    logger = Logger(5.0, 0.1, 0.1, 1.0, 0.2, 0.2, 0.5, False, 0.0, 0.0, 0.0, 0.1)
    one, two = flight(rng, 200.0), flight(rng, 200.0)
    mine = look(one, logger, rng, clock_s=0.0)

    assert is_same_motion(align(mine, look(one, logger, rng, clock_s=7.0))[0])
    others = align(mine, look(two, logger, rng, clock_s=7.0))
    assert not any(is_same_motion(other) for other in others)


def test_what_only_stands_still_says_nothing():
    time_s = np.arange(0.0, 300.0, 0.5)
    rng = np.random.default_rng(1)
    still = [
        Trace("speed", time_s, np.abs(0.1 * rng.normal(size=len(time_s)))),
        Trace("height", time_s, 0.3 * rng.normal(size=len(time_s))),
    ]

    assert align(still, still) == ()


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ([], []),
        (seen(np.arange(0.0, 300.0, 1.0)), []),
        (seen(np.arange(0.0, 300.0, 1.0)), seen(np.arange(0.0, 20.0, 1.0))),
        (seen(np.arange(0.0, 300.0, 1.0)), [Trace("speed", np.array([1.0]), np.array([2.0]))]),
        (
            seen(np.arange(0.0, 300.0, 1.0)),
            [Trace("speed", np.arange(9.0) * 1e9, np.arange(9.0))],
        ),
        (
            seen(np.arange(0.0, 300.0, 1.0)),
            [Trace("speed", np.arange(300.0), np.full(300, np.nan))],
        ),
    ],
)
def test_too_little_in_common_gives_no_offset(first, second):
    assert align(first, second) == ()


def test_one_trace_is_no_proof():
    time_s = np.arange(0.0, 300.0, 0.5)
    speed = [Trace("speed", time_s, waves(time_s))]
    best = align(speed, speed)[0]

    assert isinstance(best, Alignment)
    assert not is_same_motion(best)


# --- correlation at every lag


def test_correlation_of_each_lag_is_that_of_the_samples_both_have():
    rng = np.random.default_rng(3)
    a = np.cumsum(rng.normal(size=160))
    b = np.cumsum(rng.normal(size=140))
    times_a, times_b = GRID_S * np.arange(160), GRID_S * np.arange(140)
    keep_a = np.ones(160, dtype=bool)
    keep_a[60:90] = False  # a hole of 15 s is not filled
    lags = correlate([Trace("speed", times_a[keep_a], a[keep_a])], [Trace("speed", times_b, b)])

    for at in range(0, len(lags.lag_s), 7):
        shift = round(lags.lag_s[at] / GRID_S)
        pairs = [(a[i], b[i - shift]) for i in range(160) if keep_a[i] and 0 <= i - shift < 140]
        if len(pairs) * GRID_S < 30.0:
            assert lags.score[at] == 0.0
            continue
        x, y = np.array(pairs).T
        r = np.corrcoef(x, y)[0, 1]
        expected = -0.5 * len(x) * GRID_S / MEMORY_S * math.log(1 - r * r) if r > 0 else 0.0
        assert lags.shared_s[at] == pytest.approx(len(x) * GRID_S)
        assert lags.score[at] == pytest.approx(expected, rel=1e-6, abs=1e-9)
