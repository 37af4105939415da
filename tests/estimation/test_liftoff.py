"""The instant of lift-off against made vertical signals whose instant is known."""

from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

from flightlog.estimation.liftoff import LiftoffPosterior
from flightlog.estimation.liftoff_evidence import _without_hops

from .made_liftoffs import Hop, Made, made

HOP = Hop()
BLOCK_S = 0.04


def quantile(posterior: LiftoffPosterior, weight: np.ndarray, share: float) -> float:
    return float(np.interp(share, np.cumsum(weight), posterior.time_s + BLOCK_S / 2))


def last_contact(posterior: LiftoffPosterior) -> float:
    return quantile(posterior, posterior.last_contact, 0.5)


@cache
def located(seed: int, **how) -> tuple[Made, LiftoffPosterior]:
    roll_s = float(np.random.default_rng(1000 + seed).uniform(3.6, 6.0))
    take_off = made(seed, roll_s=roll_s, **how)
    return take_off, take_off.locate()


def errors_and_hits(n: int, **how) -> tuple[np.ndarray, int]:
    """Errors of the median last contact [s], and how many 95 % intervals hold the truth."""
    errors, hits = [], 0
    for seed in range(n):
        take_off, p = located(seed, **how)
        low, high = (quantile(p, p.last_contact, share) for share in (0.025, 0.975))
        hits += low <= take_off.last_contact_s <= high
        errors.append(last_contact(p) - take_off.last_contact_s)
    return np.array(errors), hits


def worst_fair_count(n: int) -> int:
    """Fewer hits than this a fair 95 % interval has with a probability below 0.001."""
    return int(binom.ppf(1e-3, n, 0.95))


@pytest.mark.parametrize(
    ("how", "n", "rms_s"),
    [
        ({}, 20, 0.12),
        ({"shake": 0.15, "bumps": 0.1}, 10, 0.10),
        ({"hop": HOP, "shake": 0.2, "bumps": 0.15}, 16, 0.10),
        ({"inertial": False}, 16, 0.45),
    ],
    ids=["clean", "quiet", "one hop", "barometer only"],
)
def test_the_instant_is_found_and_the_interval_holds_it(how, n, rms_s):
    errors, hits = errors_and_hits(n, **how)
    assert np.sqrt(np.mean(errors**2)) < rms_s
    assert hits >= worst_fair_count(n)


def test_vibration_widens_the_interval_but_it_still_holds():
    _, quiet = located(3)
    widths = []
    for seed in range(8):
        take_off, p = located(seed, shake=2.5)
        low, high = (quantile(p, p.last_contact, share) for share in (0.005, 0.995))
        assert low <= take_off.last_contact_s <= high
        widths.append(p.width_s())
    assert np.median(widths) > 1.5 * quiet.width_s()


def test_a_quiet_imu_narrows_the_interval():
    def width(**how):
        return np.median([located(seed, **how)[1].width_s() for seed in range(8)])

    sharp = width(push=1.5, shake=0.15, bumps=0.1)
    assert sharp < width(push=1.5, shake=1.5) / 1.5
    assert sharp < width(push=1.5, inertial=False) / 1.5
    assert sharp < 0.6


def test_weights_are_probabilities():
    for how in ({}, {"hop": HOP, "shake": 0.2, "bumps": 0.15}, {"inertial": False}):
        _, p = located(1, **how)
        for weight in (p.last_contact, p.first_clear):
            assert weight.sum() == pytest.approx(1.0)
            assert (weight >= 0).all()
            assert weight.shape == p.time_s.shape
        assert 0 <= p.skip_probability <= 1 + 1e-9
        assert p.width_s(0.5) < p.width_s(0.95)


def test_a_hop_is_told_from_a_clean_lift_off():
    for seed in range(8):
        _, clean = located(seed, shake=0.15, bumps=0.1)
        _, skipped = located(seed, hop=HOP, shake=0.2, bumps=0.15)
        assert clean.resolves_skips
        assert clean.skip_probability < 0.2
        assert clean.skips == 0
        assert skipped.resolves_skips
        assert skipped.skip_probability > 0.8
        assert skipped.skips >= 1


def test_a_quiet_roll_is_not_taken_for_flight_because_of_its_hop():
    # The hop is a thousand times as loud as the roll. Counted into the noise of the roll, it made
    # each quiet stretch of it more like flight than like rolling.
    t = np.arange(0.0, 4.0, BLOCK_S)
    roll = 0.36 + 0.001 * np.sin(40 * t)
    hop = np.where((t > 3.0) & (t < 3.5), -2.0, 0.0) + np.where((t > 3.5) & (t < 3.7), 4.0, 0.0)
    kept = _without_hops(roll + hop)

    assert np.isnan(kept[(t > 3.01) & (t < 3.69)]).all()
    assert np.isfinite(kept[t < 3.0]).all()
    # A strip that is rough throughout keeps all of its bumps.
    rough = np.random.default_rng(2).standard_t(4, t.size)
    assert np.isfinite(_without_hops(rough)).all()


def test_first_clear_is_before_the_hop_and_last_contact_after_it():
    for seed in range(8):
        take_off, p = located(seed, hop=HOP, shake=0.2, bumps=0.15)
        clear = quantile(p, p.first_clear, 0.5)
        assert clear == pytest.approx(take_off.first_clear_s, abs=0.3)
        assert last_contact(p) - clear > 0.4
    take_off, p = located(0)
    assert quantile(p, p.first_clear, 0.5) == pytest.approx(last_contact(p), abs=0.05)


def test_without_an_imu_skips_do_not_show():
    for seed in range(4):
        _, p = located(seed, inertial=False)
        assert p.shake_ground_m_s2 is None
        assert p.shake_air_m_s2 is None
        assert not p.resolves_skips
    _, shaken = located(0, shake=2.5)
    assert shaken.shake_air_m_s2 > 0.25
    assert not shaken.resolves_skips


def test_the_bias_of_the_accelerometer_does_not_matter():
    for seed in range(2):
        for how in ({}, {"hop": HOP, "shake": 0.2, "bumps": 0.15}):
            _, without = located(seed, **how)
            for bias in (0.3, -0.3):
                _, biased = located(seed, bias=bias, **how)
                assert last_contact(biased) == pytest.approx(last_contact(without), abs=0.06)
                assert biased.width_s() == pytest.approx(without.width_s(), abs=0.1)


def test_a_later_clock_moves_the_instant_along():
    for how in ({}, {"hop": HOP, "shake": 0.2, "bumps": 0.15}):
        _, p = located(2, **how)
        for shift in (1000.0, -123.456):
            _, later = located(2, shift_s=shift, **how)
            assert last_contact(later) - shift == pytest.approx(last_contact(p), abs=0.03)
            assert later.width_s() == pytest.approx(p.width_s(), abs=0.05)
            assert later.skip_probability == pytest.approx(p.skip_probability, abs=0.1)


def test_a_barometer_that_reads_wrong_in_the_roll_does_not_lead_it_astray():
    # 0.06 of the velocity head is 0.6 m at 14 m/s, as ground effect and rotation give.
    for seed in range(4):
        for static in (-0.06, 0.06):
            take_off, p = located(seed, static=static)
            assert last_contact(p) == pytest.approx(take_off.last_contact_s, abs=0.25)


def test_no_evidence_at_all_still_gives_probabilities():
    take_off = made(0)
    bare = type(take_off.evidence)(None, None, None, None, None)
    p = Made(bare, 0, 0, take_off.two_metres_s).locate()
    assert p.last_contact.sum() == pytest.approx(1.0)
    assert p.width_s() > 1.0
