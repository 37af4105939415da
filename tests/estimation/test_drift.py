"""Positions and velocities with known errors: what is left after they have been joined."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.estimation.drift import KNOT_S, Anchored, _knots, anchored_to_velocity

LAP_S = 80.0


def wander(rng: np.random.Generator, count: int, dt: float, std: float, time: float) -> np.ndarray:
    """First-order Gauss-Markov processes, one per column."""
    kept = np.exp(-dt / time)
    out = np.empty((count, 2))
    out[0] = std * rng.normal(size=2)
    for k in range(1, count):
        out[k] = kept * out[k - 1] + std * np.sqrt(1 - kept**2) * rng.normal(size=2)
    return out


class Flight:
    """Circuits of 80 s, seen by a receiver whose errors are drawn from processes."""

    def __init__(
        self,
        seed: int,
        *,
        hz: float = 5.0,
        length_s: float = 300.0,
        drift: tuple[float, float] = (1.5, 40.0),
        white_speed: float = 0.1,
        slow_speed: tuple[float, float] = (0.0, 60.0),
    ) -> None:
        rng = np.random.default_rng(seed)
        dt = 1 / hz
        self.time = 100.0 + np.arange(0, length_s, dt)
        angle = 2 * np.pi * self.time / LAP_S
        self.truth = 230.0 * np.stack([np.sin(angle), np.cos(angle)], axis=1)
        n = self.time.size
        self.place = self.truth + wander(rng, n, dt, *drift)
        speed = 230.0 * 2 * np.pi / LAP_S
        self.velocity = speed * np.stack([np.cos(angle), -np.sin(angle)], axis=1)
        self.velocity += white_speed * rng.normal(size=(n, 2)) + wander(rng, n, dt, *slow_speed)

    def joined(self, drift_std: float = 1.5, claimed: float = 0.1) -> Anchored:
        n = self.time.size
        out = anchored_to_velocity(
            self.time, self.place, self.velocity, np.full(n, claimed), drift_std, 40.0
        )
        assert out is not None
        return out

    def lap_errors(self, place: np.ndarray) -> np.ndarray:
        """Errors of displacements over laps that follow each other."""
        every = round(LAP_S / (self.time[1] - self.time[0]))
        return np.diff((place - self.truth)[::every], axis=0)


def spread(values: list[np.ndarray]) -> float:
    return float(np.sqrt(np.mean(np.concatenate(values) ** 2)))


@pytest.mark.parametrize(("hz", "at_most"), [(1.0, 0.75), (5.0, 0.45), (10.0, 0.35)])
def test_lap_to_lap_error_is_a_fraction_of_the_drift(hz: float, at_most: float) -> None:
    flights = [Flight(seed, hz=hz) for seed in range(6)]
    before = spread([f.lap_errors(f.place) for f in flights])
    after = spread([f.lap_errors(f.joined().place_m) for f in flights])

    assert before > 1.6  # 1.5 m at sqrt(2 (1 - exp(-80 / 40)))
    assert after < at_most * before


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("as assumed", {"white_speed": 0.1, "slow_speed": (0.005, 60.0)}),
        ("correlated velocity", {"white_speed": 0.08, "slow_speed": (0.05, 0.5)}),
        ("slower drift", {"drift": (1.5, 100.0)}),
        ("noisy velocity", {"white_speed": 0.3}),
        ("slow fixes", {"hz": 1.0}),
    ],
)
def test_stated_error_of_a_difference_covers(name: str, options: dict[str, float]) -> None:
    """Differences over a lap lie within what the stated process gives them."""
    z = []
    for seed in range(16):
        flight = Flight(seed, **options)
        out = flight.joined(claimed=options.get("white_speed", 0.1))
        left = out.drift_std_m * np.sqrt(2 * -np.expm1(-LAP_S / out.drift_time_s))
        z.append(flight.lap_errors(out.place_m) / left)
    inside = np.mean(np.abs(np.concatenate(z)) < 1.96)

    assert 0.93 < inside <= 1.0
    assert 0.45 < spread(z) < 1.1, name


def test_velocity_worse_than_it_claims_is_noticed() -> None:
    """Velocity that wanders by metres must not be believed against positions."""
    flight = Flight(3, white_speed=2.0, drift=(0.5, 40.0))
    good, bad = Flight(3).joined(), flight.joined(drift_std=0.8, claimed=0.1)

    assert spread([flight.lap_errors(bad.place_m)]) < 3.0
    assert bad.drift_std_m * np.sqrt(2) > 0.5 * spread([flight.lap_errors(bad.place_m)])
    assert bad.drift_time_s < good.drift_time_s


def test_disagreement_that_grows_over_a_minute_is_noticed() -> None:
    """Velocity that is 0.3 s older than position: small from fix to fix, metres over half a lap."""
    flight = Flight(9)
    fair = flight.joined()
    flight.velocity = np.roll(flight.velocity, 2, axis=0)
    flight.velocity += 0.1
    late = flight.joined()

    assert late.drift_std_m > 1.5 * fair.drift_std_m


def test_mean_place_stays_with_the_positions() -> None:
    flight = Flight(8, length_s=600.0)
    off = flight.joined().place_m - flight.place

    assert np.abs(off.mean(axis=0)).max() < 0.25


def test_a_hole_is_not_bridged() -> None:
    flight = Flight(4)
    whole = np.abs(flight.joined().place_m - flight.truth).max()
    use = (flight.time < 180) | (flight.time > 195)
    flight.time, flight.truth = flight.time[use], flight.truth[use]
    flight.place, flight.velocity = flight.place[use], flight.velocity[use]

    assert np.abs(flight.joined().place_m - flight.truth).max() < whole + 1.5


def test_fix_without_velocity_is_moved_with_its_neighbours() -> None:
    flight = Flight(5)
    all_known = flight.joined().place_m
    flight.velocity[[200, 201, 700]] = np.nan
    some = flight.joined().place_m

    assert np.abs(some - all_known).max() < 0.6


@pytest.mark.parametrize("known", [0, 5, 1000])
def test_too_few_velocities_leave_the_positions_alone(known: int) -> None:
    flight = Flight(6)
    flight.velocity[known:] = np.nan
    n = flight.time.size
    out = anchored_to_velocity(
        flight.time, flight.place, flight.velocity, np.full(n, 0.1), 1.5, 40.0
    )

    assert out is None


@settings(max_examples=10, deadline=None)
@given(st.floats(0, 2 * np.pi), st.floats(-1e5, 1e5))
def test_turned_and_delayed_flight_gives_the_same_place(angle: float, delay: float) -> None:
    flight = Flight(7, length_s=120.0)
    here = flight.joined()
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    flight.time = flight.time + delay
    flight.place, flight.velocity = flight.place @ turn, flight.velocity @ turn
    there = flight.joined()

    # Medians are taken by axis and noise is measured by axis: turned, they differ a little.
    assert there.place_m == pytest.approx(here.place_m @ turn, abs=0.1)
    assert there.drift_std_m == pytest.approx(here.drift_std_m, rel=0.1)


def test_knots_are_means_and_medians_of_stretches_of_any_length() -> None:
    rng = np.random.default_rng(6)
    time_s = 30.0 + np.cumsum(
        rng.choice([0.1, 0.2, 0.25, 1.0, 4.0], 400, p=[0.4, 0.3, 0.2, 0.07, 0.03])
    )
    apart = rng.normal(size=(400, 2))
    knots = _knots(time_s, apart)
    holes = np.flatnonzero(np.diff(time_s) > 1.5) + 1
    place, lengths = 0, set()
    for piece in np.split(np.arange(400), holes):
        number = np.floor((time_s[piece] - time_s[piece[0]]) / KNOT_S + 1e-3)
        for one in np.unique(number):
            rows = piece[number == one]
            lengths.add(rows.size)
            assert knots.time_s[place] == pytest.approx(np.mean(time_s[rows]), rel=1e-14)
            assert knots.apart_m[place] == pytest.approx(np.median(apart[rows], axis=0))
            place += 1
    assert place == knots.time_s.size
    assert len(lengths) > 5
