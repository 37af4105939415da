"""Lag, gain and play of a made-up aircraft whose motion is integrated here, in small steps."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.estimation.linkage_play import WIDTHS_DEG, behind_servo, floated, played
from flightlog.estimation.surface_answer import STEP_S, Answered, answer_to_surface

FINE_S = 0.005
DAMPING, STRENGTH, DELAY_S = 5.0, -40.0, 0.06
WALKS = st.lists(st.floats(-3, 3), min_size=2, max_size=40)


@cache
def flown(width: float, way: str, seed: int = 3) -> tuple[np.ndarray, ...]:
    """Turning rate, command and force of two minutes under a restless, correcting pilot."""
    rng = np.random.default_rng(seed)
    n = round(120 / FINE_S)
    late = round(DELAY_S / FINE_S)
    rate = angle = gust = hand = surface = 0.0
    told = np.zeros(n)
    seen = np.zeros((n, 2))
    noise = rng.standard_normal((n, 2))
    for k in range(n):
        gust += -gust * FINE_S / 0.8 + 0.9 * np.sqrt(2 * FINE_S / 0.8) * noise[k, 0]
        hand += -hand * FINE_S / 0.4 + 0.7 * np.sqrt(2 * FINE_S / 0.4) * noise[k, 1]
        told[k] = 1.1 * angle + 0.12 * rate + hand
        servo = told[max(k - late, 0)]
        if way == "held":
            surface = min(max(surface, servo - width / 2), servo + width / 2)
        else:
            surface = min(max(0.4 * gust, servo - width / 2), servo + width / 2)
        rate += (-DAMPING * rate - 20 * gust + STRENGTH * surface) * FINE_S
        angle += rate * FINE_S
        seen[k] = rate, -6 * gust
    every = round(STEP_S / FINE_S)
    mean = seen[: n // every * every].reshape(-1, every, 2).mean(axis=1)
    mean += rng.normal(0, (0.1, 0.2), mean.shape)
    # Every mean lies in the middle of its step, and so does the command.
    middle = (np.arange(len(mean)) + 0.5) * every - 0.5
    return mean[:, 0], np.interp(middle, np.arange(n), told), mean[:, 1]


def fitted(width: float, way: str = "held", *, look: bool = True) -> Answered:
    rate, command, force = flown(width, way)
    answered = answer_to_surface(rate, command, [rate, force], air=force if look else None)
    assert answered is not None
    return answered


def test_lag_and_gain_of_a_sound_linkage_are_those_of_the_motion():
    answered = fitted(0.0, look=False)
    # After a step the rate is STRENGTH / DAMPING (1 - exp(-DAMPING t)).
    gain = STRENGTH / DAMPING * (1 - np.exp(-DAMPING * 0.3))

    assert answered.lag_s == pytest.approx(DELAY_S, abs=0.012)
    assert answered.lag_s == pytest.approx(DELAY_S, abs=4 * answered.lag_std_s)
    assert answered.gain == pytest.approx(gain, rel=0.06)
    assert answered.gain == pytest.approx(gain, abs=4 * answered.gain_std)
    assert not answered.widths_deg.size


@pytest.mark.parametrize("way", ["held", "floating"])
@pytest.mark.parametrize("width", [0.0, 2.0])
def test_play_is_as_wide_as_it_was_made(width, way):
    answered = fitted(width, way)

    assert float(answered.probability @ answered.widths_deg) == pytest.approx(width, abs=0.35)
    assert answered.probability.sum() == pytest.approx(1.0)


def test_play_takes_from_the_gain():
    assert abs(fitted(2.0, look=False).gain) < 0.85 * abs(fitted(0.0, look=False).gain)


def test_a_surface_without_effect_is_not_significant():
    rate, _, force = flown(0.0, "held")
    foreign = flown(0.0, "held", seed=9)[1]
    answered = answer_to_surface(rate, foreign, [rate, force])

    assert answered is not None
    assert answered.significance < 5


def test_nothing_is_said_of_a_short_flight_or_a_surface_at_rest():
    rate, command, force = flown(0.0, "held")

    assert answer_to_surface(rate[:200], command[:200], [rate[:200]]) is None
    assert answer_to_surface(rate, np.zeros(rate.size), [rate, force]) is None


@settings(deadline=None)
@given(WALKS, st.floats(0, 4))
def test_a_held_surface_stays_within_the_gap_and_moves_only_when_pushed(steps, width):
    command = np.cumsum(steps)
    surface = played(command, np.array([width]))[:, 0]

    assert (np.abs(surface - command) <= width / 2 + 1e-9).all()
    moved = np.abs(np.diff(surface)) > 1e-9
    assert np.abs(surface - command)[1:][moved] == pytest.approx(width / 2, abs=1e-9)


@settings(deadline=None)
@given(WALKS)
def test_without_a_gap_the_surface_follows(steps):
    command = np.cumsum(steps)

    assert played(command, WIDTHS_DEG)[:, 0] == pytest.approx(command, abs=1e-9)
    assert floated(command, np.zeros(len(steps)), WIDTHS_DEG)[:, 0] == pytest.approx(command)


@settings(deadline=None)
@given(WALKS, st.floats(-5, 5), st.floats(0, 4))
def test_a_floating_surface_lies_where_it_trails_unless_the_gap_ends(steps, trail, width):
    command = np.cumsum(steps)
    surface = trail + floated(command, np.full(command.size, trail), np.array([width]))[:, 0]

    assert surface == pytest.approx(np.clip(trail, command - width / 2, command + width / 2))


def test_a_servo_follows_a_step_as_an_exponential_and_starts_where_it_is_told():
    t = 0.04 * np.arange(1, 40)
    told = np.concatenate([[2.0], np.full(39, 5.0)])
    behind = behind_servo(told, 0.08, 0.04)
    assert behind[0] == pytest.approx(2.0)
    assert behind[1:] == pytest.approx(5.0 - 3.0 * np.exp(-t / 0.08), rel=1e-12)
    assert behind_servo(told, 0.0, 0.04) is told


def test_several_commands_go_through_the_gap_as_each_by_itself():
    commands = np.cumsum(np.random.default_rng(2).normal(size=(300, 3)), axis=0)
    every = played(commands, WIDTHS_DEG)
    assert every.shape == (300, 3, WIDTHS_DEG.size)
    for column, command in enumerate(commands.T):
        assert np.array_equal(every[:, column], played(command, WIDTHS_DEG))
