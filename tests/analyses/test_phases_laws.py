"""Laws of the phases: noise is no flight, and no clock is special."""

from __future__ import annotations

import time
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.analyses.phases import find_sorties
from tests.synthetic import Story, as_recording, shifted

KINDS = ["gps", "gps imu", "gps baro", "gps baro imu battery", "gps outputs", "gps imu battery"]


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    noise=st.floats(0.0, 2.0),
    drift=st.floats(0.0, 20.0),
    kinds=st.sampled_from(KINDS),
    rate=st.sampled_from([1.0, 5.0, 10.0]),
    run_up=st.sampled_from([0.0, 5.0]),
)
def test_noise_at_rest_is_neither_flight_nor_attempt(seed, noise, drift, kinds, rate, run_up):
    story = Story().rest(40)
    if run_up:
        story.rest(run_up, power=1.0, shake=0.03)
    recording = story.rest(60).recording(
        sensors=kinds, gps_hz=rate, imu_hz=25.0, rest_noise=noise, drift_m=drift, seed=seed
    )
    sorties, attempts, _ = find_sorties(recording)
    assert (sorties, attempts) == ((), ())


@pytest.fixture(scope="module")
def day():
    story = Story().rest(15).roll(6.0).stop().rest(10).flight(cruise_s=20).rest(25)
    return story.flight(height=20.0, cruise_s=20).rest(10).recording()


@settings(max_examples=15, deadline=None)
@given(seconds=st.floats(-1e5, 1e9))
def test_the_clock_does_not_matter(day, seconds):
    here, there = find_sorties(day), find_sorties(shifted(day, seconds))
    for one, other in zip(here[0], there[0], strict=True):
        assert (one.launch, one.starts, one.ends) == (other.launch, other.starts, other.ends)
        for name in ("start_s", "liftoff_s", "touchdown_s", "end_s"):
            assert getattr(other, name) - seconds == pytest.approx(getattr(one, name), abs=0.41)
    for one, other in zip(here[1], there[1], strict=True):
        assert other.start_s - seconds == pytest.approx(one.start_s, abs=0.41)
        assert other.peak_ground_speed_m_s == pytest.approx(one.peak_ground_speed_m_s)


NONSENSE = {
    "gps": ["ground_speed_m_s", "climb_m_s", "altitude_msl_m", "course_deg", "fix"],
    "baro": ["height_m", "pressure_pa"],
    "imu": [f"{s}" for a in "xyz" for s in (f"gyro_{a}_rad_s", f"accel_{a}_m_s2")],
    "battery": ["current_a", "voltage_v"],
    "outputs": ["channel", "pulse_us"],
    "arming": ["armed"],
}


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**31))
def test_nonsense_is_survived(seed):
    rng = np.random.default_rng(seed)
    odd = np.array([np.nan, np.inf, -np.inf, 1e300, -1e300, 1e20, 0.0, 3.0])
    span = rng.choice([3.0, 100.0, 1e4, 1e13, 1e300])
    tables = {}
    for name, columns in NONSENSE.items():
        n = int(rng.integers(0, 60))
        values = {"time_s": np.sort(rng.uniform(-0.1, 1.0, n) * span)}
        for column in columns:
            walk = np.cumsum(rng.normal(size=n)) * rng.choice([0.1, 1.0, 10.0, 300.0])
            strange = rng.uniform(size=n) < rng.choice([0.0, 0.1, 1.0], p=[0.5, 0.4, 0.1])
            values[column] = np.where(strange, rng.choice(odd, n), walk)
        tables[name] = pd.DataFrame(values)
    sorties, attempts, _ = find_sorties(as_recording(tables, seams=(50.0,)))
    for sortie in sorties:
        known = [sortie.start_s, sortie.liftoff_s, sortie.touchdown_s, sortie.end_s]
        known = [t for t in known if t is not None]
        assert np.isfinite(known).all()
        assert known == sorted(known)
        assert sortie.search_s[0] <= sortie.search_s[1]
    for before, after in pairwise(sorties):
        assert before.end_s <= after.start_s + 0.5
    for attempt in attempts:
        assert attempt.start_s <= attempt.stop_s


def test_a_long_dense_log_takes_a_moment(day):
    n = 500_000
    rng = np.random.default_rng(3)
    t = np.linspace(100.0, 1350.0, n)
    imu = {"time_s": t, "instance": 0}
    imu |= {f"gyro_{a}_rad_s": 0.01 * rng.normal(size=n) for a in "xyz"}
    imu |= {f"accel_{a}_m_s2": rng.normal(size=n) for a in "xyz"}
    tables = {name: day[name] for name in day} | {"imu": pd.DataFrame(imu)}
    recording = as_recording(tables)
    took = []
    for _ in range(3):
        begin = time.perf_counter()
        find_sorties(recording)
        took.append(time.perf_counter() - begin)
    # 0.1 s on an idle laptop; the room is for a busy one
    assert min(took) < 0.6
