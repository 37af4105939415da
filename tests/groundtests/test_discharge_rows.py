"""Clock, sign and hostile files of a discharge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.groundtests.answer import settled
from flightlog.groundtests.discharge import reduce
from flightlog.groundtests.discharge_rows import grain, read_rows

from .packs import table
from .test_discharge import SETUP, codes, straight, value

AH = 16000 / 3600


def changed(one, **columns):
    return replace(one, columns={**one.columns, **columns})


def test_a_current_with_its_sign_reversed_is_turned_round():
    one = straight()
    answer = reduce([changed(one, current=-one.columns["current"])], SETUP)

    assert value(answer, "capacity") == pytest.approx(AH, rel=1e-9)
    assert "discharge-current-reversed" in codes(answer)


def test_a_reversed_current_without_steps_is_told_by_the_trend():
    one = straight(after=False)
    columns = {n: c[25:] for n, c in one.columns.items()}
    columns["current"] = -columns["current"]
    answer = reduce([table(**columns)], SETUP)

    assert "discharge-current-reversed" in codes(answer)


def test_a_voltage_that_is_read_late_does_not_reverse_the_current():
    rng = np.random.default_rng(5)
    one = straight(rate=10.0)
    late = np.roll(one.columns["voltage"], 2)
    late[:2] = late[2]
    noisy = late + rng.normal(0, 0.01, late.size)
    answer = reduce([changed(one, voltage=noisy)], SETUP)

    assert "discharge-current-reversed" not in codes(answer)
    assert value(answer, "capacity") == pytest.approx(AH, rel=2e-3)


def test_a_file_of_charging_is_no_discharge():
    t = np.arange(0.0, 600.0)
    amps = np.where(t > 20, -5.0, 0.0)
    volts = np.where(t > 20, 22.5 + 2.7 * t / 600, 22.0)
    answer = reduce([table(time=t, voltage=volts, current=amps)], SETUP)

    assert not answer.figures
    assert all("being charged only" in why for why in answer.withheld.values())


def test_a_time_that_jumps_ahead_costs_one_row():
    one = straight()
    t = one.columns["time"].copy()
    t[300] += 5000
    answer = settled(reduce([changed(one, time=t)], SETUP))

    assert value(answer, "capacity") == pytest.approx(AH, rel=1e-9)
    found = next(f for f in answer.findings if f.code == "discharge-clock-back")
    assert (found.severity, found.evidence["rows"]) == ("degrade", 1)


def test_a_clock_that_starts_anew_tells_no_charge():
    one = straight()
    t = one.columns["time"].copy()
    t[400:] -= t[400]
    answer = settled(reduce([changed(one, time=t)], SETUP))

    assert not answer.figures
    assert "discharge-clock-back" in answer.withheld["discharge.capacity"]


def test_a_clock_of_whole_seconds_gives_the_same_charge():
    """Ten rows a second, all with the same time."""
    one = straight(rate=10.0)
    t = np.floor(one.columns["time"])
    answer = reduce([changed(one, time=t)], SETUP)

    assert value(answer, "capacity") == pytest.approx(AH, rel=2e-3)


def test_rows_that_no_pack_can_have_are_left_out():
    one = straight()
    volts, amps = one.columns["voltage"].copy(), one.columns["current"].copy()
    volts[100], volts[200], amps[300], amps[400] = 1e300, -3.0, 1e300, np.nan
    answer = reduce([changed(one, voltage=volts, current=amps)], SETUP)

    assert value(answer, "capacity") == pytest.approx(AH, rel=1e-9)
    assert "discharge-rows-left-out" in codes(answer)


def test_irregular_rows_give_the_same_charge():
    rng = np.random.default_rng(3)
    one = straight(rate=5.0)
    keep = rng.random(len(one)) < 0.5
    columns = {n: c[keep] for n, c in one.columns.items()}
    answer = reduce([table(**columns)], SETUP)

    assert value(answer, "capacity") == pytest.approx(AH, rel=2e-3)


def test_the_step_of_readings_is_found():
    assert grain(np.round(np.random.default_rng(1).uniform(0, 20, 500), 2)) == pytest.approx(
        0.01, rel=1e-6
    )
    assert grain(np.random.default_rng(1).normal(size=500)) == 0.0
    assert grain(np.full(9, 3.0)) == 0.0


NUMBER = st.one_of(
    st.sampled_from([0.0, 1.0, -5.0, 20.0, 25.0, 1e300, -1e300, float("nan"), float("inf")]),
    st.floats(-50, 50),
)


@given(
    st.lists(st.tuples(NUMBER, NUMBER, NUMBER, NUMBER), min_size=0, max_size=40),
    st.booleans(),
)
@settings(deadline=None)
def test_nothing_crashes_and_every_figure_is_finite(rows, sorted_):
    t, volts, amps, extra = (np.array(c, dtype=float) for c in (zip(*rows) if rows else [[]] * 4))  # noqa: B905
    if sorted_:
        t = np.arange(t.size, dtype=float)
    made = table(
        time=t, voltage=volts, current=amps, charge=extra, temperature=extra + 273, cell_1=volts / 6
    )
    answer = settled(reduce([made], SETUP))

    for figure in answer.figures.values():
        low, high = figure.quantity.interval()
        assert np.isfinite([figure.quantity.value, low, high]).all()


@given(st.floats(0.1, 10.0), st.floats(-1e6, 1e6))
@settings(deadline=None, max_examples=10)
def test_charge_goes_with_the_current_and_not_with_the_start_of_the_clock(factor, start_s):
    one = straight(ohm=0.02)
    moved = changed(
        one, time=one.columns["time"] + start_s, current=one.columns["current"] * factor
    )

    answer = reduce([moved], SETUP)

    assert value(answer, "capacity") == pytest.approx(factor * AH, rel=1e-6)


def test_a_million_rows_take_a_moment():
    n = 1_000_000
    t = np.arange(n) / 100
    amps = np.where((t > 20) & (t < 9900), 1.5, 0.0)
    rows, _ = read_rows(table(time=t, voltage=25 - 5 * t / 1e4, current=amps), None)

    assert rows is not None
    assert rows.high_a == pytest.approx(1.5, rel=1e-3)


@pytest.mark.parametrize("volts_off", [0.0, 0.02, -0.01])
def test_a_pack_whose_protection_opens_at_the_end_is_not_read_as_reversed(volts_off):
    """The voltage falls to nothing as the current does, which no sign of the current explains."""
    one = straight(rate=5.0)
    volts = one.columns["voltage"].copy()
    volts[np.flatnonzero(one.columns["current"] > 1)[-1] + 1 :] = volts_off
    answer = settled(reduce([changed(one, voltage=volts)], SETUP))

    assert value(answer, "capacity") == pytest.approx(AH, rel=1e-3)
    assert "discharge-current-reversed" not in codes(answer)
    assert "discharge-rows-left-out" in codes(answer)


def test_a_pause_with_the_pack_off_is_a_rest_and_no_hole():
    """20 A for 800 s with 200 s off in between: no charge is bridged over them."""
    one = straight(rate=2.0)
    t, volts = one.columns["time"], one.columns["voltage"]
    early = t < 400
    pause = np.arange(400.25, 600.0, 0.5)
    read = table(
        time=np.concatenate([t[early], pause, t[~early] + 200]),
        voltage=np.concatenate([volts[early], np.full(pause.size, 0.0), volts[~early]]),
        current=np.concatenate(
            [one.columns["current"][early], pause * 0, one.columns["current"][~early]]
        ),
    )
    answer = settled(reduce([read], SETUP))

    assert value(answer, "capacity") == pytest.approx(AH, rel=1e-3)
    assert "discharge-rows-missing" not in codes(answer)


def test_the_tail_of_a_charge_is_not_taken_for_the_zero_of_the_current():
    one = straight()
    t = np.arange(3600.0)
    amps = np.where(t < 3000, -5.0, -5.0 * np.exp(-(t - 3000) / 200))
    charge = {"time": t - 3600, "voltage": np.interp(t, [0, 3000, 3600], [21, 25.2, 25.2])}
    charge["current"] = amps
    read = table(**{n: np.concatenate([charge[n], one.columns[n]]) for n in charge})
    answer = reduce([read], SETUP)

    assert value(answer, "capacity") == pytest.approx(AH, rel=1e-3)
    assert "discharge-current-zero" not in codes(answer)


def test_rows_that_are_mostly_impossible_tell_nothing():
    """Milliamperes under a header of amperes."""
    one = straight()
    answer = settled(reduce([changed(one, current=1000 * one.columns["current"])], SETUP))

    assert not answer.figures
    assert "units of voltage and current" in answer.withheld["discharge.capacity"]


def test_a_charge_written_without_its_sign_gives_nothing():
    """5 A for 50 min while the voltage rises, a rest, and the discharge, all positive."""
    one = straight()
    t = np.arange(3300.0)
    charge = {
        "time": t - 3300,
        "voltage": np.where(t < 3000, 21 + 4.2 * t / 3000, 25.1),
        "current": np.where(t < 3000, 5.0, 0.0),
    }
    read = table(**{n: np.concatenate([charge[n], one.columns[n]]) for n in charge})
    answer = settled(reduce([read], SETUP))

    assert not answer.figures
    assert "discharge-rises" in codes(answer)


def test_a_load_that_goes_off_before_the_current_shows_it_still_meets_the_cutoff():
    """The current is read 0.3 s late: the last rows under load hold the voltage of the rest."""
    one = straight(rate=10.0, end_v=19.79)
    late = np.roll(one.columns["current"], 3)
    answer = settled(reduce([changed(one, current=late)], SETUP))

    assert value(answer, "capacity") == pytest.approx(AH, rel=5e-3)


def test_a_break_of_the_clock_between_two_rows_under_load_is_no_crash():
    one = straight()
    keep = (one.columns["time"] < 300) | (one.columns["time"] > 303)
    volts = one.columns["voltage"].copy()
    volts[:5] = 1.0
    columns = {n: c[keep] for n, c in changed(one, voltage=volts).columns.items()}

    assert reduce([table(**columns)], SETUP).figures
