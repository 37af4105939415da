"""Discharges of simulated packs with known truth; the large number is `discharge_reach`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flightlog.estimation.pack_temperature import at_25c
from flightlog.groundtests import discharge, discharge_setup
from flightlog.groundtests.answer import settled

from . import packs
from .discharge_reach import SETUP, truths_of
from .packs import table
from .test_discharge import codes


@pytest.fixture(scope="module")
def pulsed():
    return packs.discharges([14.0, 18.0, 22.0, 25.0], every_s=110.0, pulse_s=12.0)


@pytest.mark.parametrize("state", [0.1, 0.5, 0.9])
def test_the_cell_is_the_published_one(state):
    """Open circuit and ohmic part at three states, by the table of the paper's coefficients."""
    known = {0.1: (3.67457, 0.088115), 0.5: (3.80336, 0.074461), 0.9: (4.01697, 0.074460)}[state]

    assert float(packs.rest_voltage(np.array(state))) == pytest.approx(known[0], abs=6e-6)
    assert float(packs.parts(np.array(state))[0]) == pytest.approx(known[1], abs=6e-7)


def test_most_intervals_hold_the_truth(pulsed):
    rng = np.random.default_rng(8)
    inside, every = 0, 0
    for one in pulsed:
        true = truths_of(one, packs.OHM)
        for rate in (1.0, 5.0):
            answer = discharge.reduce([packs.draw_logger(rng, rate).read(one, rng)], SETUP)
            for id_, number in true.items():
                low, high = answer.figures[id_].quantity.interval(0.99)
                inside, every = inside + (low <= number <= high), every + 1

    assert inside >= every - 1


def test_a_perfect_logger_reads_the_resistance_of_flights(pulsed):
    rng = np.random.default_rng(1)
    answer = discharge.reduce([packs.Logger(10.0).read(pulsed[1], rng)], SETUP)
    true = packs.first_second_ohm(0.6)

    assert answer.figures[discharge_setup.OHM].quantity.value == pytest.approx(true, rel=0.01)
    steps = next(t for t in answer.tables if t.key == "resistance")
    states = [row[2] for row in steps.rows]
    assert states[0] == pytest.approx(100, abs=3)
    assert states == sorted(states, reverse=True)


def test_the_temperature_law_is_that_of_flights(pulsed):
    rng = np.random.default_rng(1)
    read = packs.Logger(5.0).read(pulsed[2], rng)
    warm = table(**read.columns, temperature=np.full(len(read), 308.15))
    answer = discharge.reduce([warm], SETUP)
    by_room = discharge.reduce([read], replace(SETUP, ambient_c=35.0))

    ohm = answer.figures[discharge_setup.OHM].quantity.value
    at_25 = answer.figures[discharge_setup.OHM_25C].quantity
    assert at_25.value == pytest.approx(at_25c(ohm, 308.15), rel=1e-9)
    room = by_room.figures[discharge_setup.OHM_25C].quantity
    assert room.value == pytest.approx(at_25.value, rel=1e-9)
    assert room.std > 0.2 * room.value > at_25.std
    assert discharge.pack_keys(answer) == {"resistance_ohm": at_25.value}


def test_a_constant_current_knows_the_resistance_at_both_ends_only():
    rng = np.random.default_rng(2)
    (one,) = packs.discharges([20.0], pulse=1.0)
    answer = discharge.reduce([packs.Logger(5.0).read(one, rng)], SETUP)

    assert "discharge-few-steps" in codes(answer)
    ohm = answer.figures[discharge_setup.OHM].quantity
    low, high = ohm.interval()
    assert low < packs.first_second_ohm(0.99) < high


def test_rows_too_far_apart_tell_no_resistance():
    rng = np.random.default_rng(2)
    (one,) = packs.discharges([20.0], pulse=1.0)
    answer = discharge.reduce([packs.Logger(0.2).read(one, rng)], SETUP)

    assert "5.0 s apart" in answer.withheld[discharge_setup.OHM]
    assert discharge_setup.CAPACITY in answer.figures


@pytest.mark.parametrize("settles_s", [0.2, 2.0, 5.0])
def test_a_quick_part_of_the_cell_is_inside_the_interval_of_the_resistance(settles_s):
    """20 milliohm at once and 6 that settle with a time constant: exact between rows."""
    rng = np.random.default_rng(4)
    t = np.arange(0.0, 700.0, 0.05)
    amps = np.where(t < 20, 0.0, np.where(np.mod(t, 100) < 15, 30.0, 15.0))
    amps[t >= 660] = 0.0
    quick = np.zeros(t.size)
    for k in range(1, t.size):
        quick[k] = amps[k - 1] + (quick[k - 1] - amps[k - 1]) * np.exp(-0.05 / settles_s)
    volts = 25.0 - 2e-3 * t - 0.020 * amps - 0.006 * quick + rng.normal(0, 0.003, t.size)
    answer = discharge.reduce([table(time=t, voltage=volts, current=amps)], SETUP)
    true = 0.020 + 0.006 * (1 - settles_s * (1 - np.exp(-1 / settles_s)))

    quantity = answer.figures[discharge_setup.OHM].quantity
    scales = ("current scale", "voltage scale")
    own = np.sqrt(sum(e**2 for n, e in quantity.sources.items() if n not in scales))
    assert abs(quantity.value - true) < 1.96 * own


@pytest.mark.parametrize(("smoothed_s", "late_s", "told"), [(0, 0, 0), (1, 0, 1), (0, 0.3, 1)])
def test_a_current_that_is_read_late_is_told_and_widens_the_resistance(
    pulsed, smoothed_s, late_s, told
):
    """The truth is that of the cell; only the reading of the current is changed."""
    rng = np.random.default_rng(2)
    read = packs.Logger(10.0, noise_a=0.05, noise_v=0.004).read(pulsed[1], rng)
    amps = np.roll(read.columns["current"], round(10 * late_s))
    if smoothed_s:
        amps = np.convolve(np.append(np.zeros(9), amps), np.full(10, 0.1), "valid")
    answer = settled(discharge.reduce([table(**{**read.columns, "current": amps})], SETUP))

    assert ("discharge-current-late" in {f.code for f in answer.findings}) == bool(told)
    low, high = answer.figures[discharge_setup.OHM].quantity.interval()
    assert low < packs.first_second_ohm(0.6) < high
