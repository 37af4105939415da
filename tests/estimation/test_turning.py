"""The speed of turning from folded lines whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.estimation.spectra import cut_windows, power_spectra
from flightlog.estimation.turning import Factor, find_factor

RATE = 200.0
T = np.arange(0.0, 150.0, 1 / RATE)


def found(
    tones: tuple[float, ...],
    *,
    full: float = 110.0,
    bend: float = 1.0,
    seed: int = 0,
    low: float = 0.5,
) -> Factor | None:
    """Spectra of a propeller whose drive goes between ``low`` and 1, and what is found in them."""
    rng = np.random.default_rng(seed)
    drive = low + (1 - low) * (0.5 + 0.5 * np.sin(T / 9 + rng.uniform(0, 6)))
    turns = np.cumsum(full * drive**bend) / RATE
    shake = 0.5 * rng.standard_normal((T.size, 3))
    for order, tone in enumerate(tones, start=1):
        shake[:, order % 3] += tone * np.sin(2 * np.pi * order * turns)
    windows = cut_windows(T, shake)
    assert windows is not None
    there = 20 * np.interp(windows.middle_s, T, drive)
    return find_factor(power_spectra(windows), RATE, there)


@pytest.mark.parametrize("full", [75.0, 110.0, 160.0])
@pytest.mark.parametrize("bend", [1.0, 0.85])
def test_the_speed_is_found_though_every_line_folds(full: float, bend: float) -> None:
    """At 160 turns a second even the first multiple lies above half the rate."""
    factor = found((1.0, 0.6, 0.4, 0.3), full=full, bend=bend, seed=int(full))
    assert factor is not None
    assert factor.sure
    for drive in (0.6, 0.8, 1.0):
        assert factor.speed(np.array([20 * drive]))[0] == pytest.approx(
            full * drive**bend, rel=0.015
        )


def test_half_the_speed_is_not_taken_for_it_without_a_line_of_its_own() -> None:
    """Two lines of a fast propeller may be those of the blades of a slow one: not sure."""
    factor = found((1.0, 0.8), full=150.0)
    assert factor is not None
    assert not factor.sure
    assert factor.third < 0.2


@pytest.mark.parametrize("seed", range(8))
def test_noise_has_no_speed(seed: int) -> None:
    factor = found((), seed=seed)
    assert factor is not None
    assert not factor.sure


def test_a_drive_that_hardly_changes_tells_nothing() -> None:
    assert found((1.0, 0.6, 0.4, 0.3), low=0.95) is None


def test_few_windows_tell_nothing() -> None:
    assert find_factor(np.ones((5, 101)), RATE, np.linspace(1, 2, 5)) is None
    assert find_factor(np.ones((50, 101)), RATE, np.full(50, np.nan)) is None
    assert find_factor(np.zeros((50, 101)), RATE, np.linspace(1, 2, 50)) is not None
