import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.analyses import battery_cells, battery_health, battery_left
from flightlog.analyses.packs import CURRENT_SCALE_STD, VOLTAGE_SCALE_STD, battery_of
from flightlog.estimation.pack_temperature import at_25c
from flightlog.figures import FIGURES, settle
from flightlog.findings import make_finding
from flightlog.inputs import Aircraft, Baseline, GivenAir, Inputs, Pack
from tests.wear.packs import Meter, flight_current
from tests.wear.packs import Pack as Cells
from tests.wear.resistance import plain_regression, recorded

from .made import battery, recording, sortie

TRUE = Cells(0.019, (0.5, 0.8), (6.0, 140.0))
RESISTANCE = TRUE.first_second_ohm


@pytest.fixture(scope="module")
def flown():
    rng = np.random.default_rng(4)
    t, amps = flight_current(rng, 190.0)
    return Meter(5.0, noise_a=0.05).read(t, amps, TRUE.voltage(amps), rng)


@pytest.fixture(scope="module")
def log(flown):
    return recorded(*flown)


def pack(**more):
    return Pack(**{"id": "a", "sha256": "", "cells": 6, "nominal_wh": 88.8, **more})


def codes(answer):
    return [f.code for f in answer.findings]


def table(log):
    return log[0]["battery"].copy()


def debriefed(rows, flight, inputs=None):
    return battery_health.answer(recording(battery=rows), flight, inputs or Inputs())


# --- worked numbers


def test_plain_regression_of_the_worked_example():
    amps = np.array([2, 45, 30, 12, 48, 25, 5, 40.0])
    charge = np.array([0, 0.10, 0.35, 0.60, 0.75, 1.10, 1.30, 1.45])
    volts = np.array([25.09, 23.37, 23.86, 24.44, 22.96, 23.72, 24.44, 23.01])
    found = plain_regression(amps, charge, volts)
    assert found.coefficients == pytest.approx(
        [25.16893234204009, 0.03920292792254134, 0.4153013551070298], rel=1e-9
    )
    assert found.std == pytest.approx(
        [0.010414122870710384, 0.00027544137792816215, 0.009129266010110618], rel=1e-9
    )
    assert found.scatter == pytest.approx(0.013103342464341222, rel=1e-9)


def test_resistance_at_25_degrees_of_the_worked_example():
    assert at_25c(0.03920292792254134, 308.15) == pytest.approx(0.047687531448750944, rel=1e-9)
    assert at_25c(0.02, 298.15) == 0.02


def test_usable_energy_of_the_worked_example():
    # 88.8 Wh, 80 % of it, 30 A through 31 mOhm of 23 V.
    wh = battery_left.usable_energy_wh(88.8, 0.8, 30 * 0.031 / 23)
    assert wh == pytest.approx(68.16751304347827, rel=1e-12)


def test_state_of_charge_lies_between_two_kinds_of_cell():
    # Chen and Rincon-Mora: 4.016975 V at 0.9, 3.803362 V at 0.5.
    for volts, state in ((4.016974899999979, 0.9), (3.803362474111599, 0.5)):
        found = battery_left.state_of_charge(volts)
        assert abs(found.value - state) < 2 * found.std
    full = battery_left.state_of_charge(4.20)
    assert full.value == pytest.approx(1.0)
    assert full.std >= 0.04
    assert battery_left.state_of_charge(4.5) is None
    assert battery_left.state_of_charge(3.0) is None


@given(st.floats(3.3, 4.25), st.floats(3.3, 4.25))
def test_a_fuller_cell_has_more_voltage(a, b):
    low, high = (battery_left.state_of_charge(v) for v in sorted((a, b)))
    assert 0 <= low.value <= high.value <= 1


# --- resistance


def test_resistance_with_its_sources(log):
    answer = battery_health.answer(*log, Inputs())
    quantity = answer.figures["battery.resistance"].quantity
    assert quantity.value == pytest.approx(RESISTANCE, rel=0.03)
    assert quantity.sources["current scale"] == pytest.approx(-CURRENT_SCALE_STD * quantity.value)
    assert quantity.sources["voltage scale"] == pytest.approx(VOLTAGE_SCALE_STD * quantity.value)
    assert "first second" in answer.figures["battery.resistance"].method
    assert not answer.findings
    assert set(answer.figures) | set(answer.withheld) == {
        id_ for id_ in FIGURES if FIGURES[id_].since == 4 and id_.startswith("battery.")
    }


def test_sag_is_at_the_current_of_the_pack_file(log):
    answer = battery_health.answer(*log, Inputs(pack=pack(reference_current_a=40.0)))
    ohm = answer.figures["battery.resistance"].quantity
    sag = answer.figures["battery.sag"].quantity
    assert (sag.value, sag.std) == pytest.approx((40 * ohm.value, 40 * ohm.std))
    without = battery_health.answer(*log, Inputs(pack=pack()))
    assert "reference_current_a" in without.withheld["battery.sag"]


def test_temperature_of_the_pack_before_that_of_the_air(log):
    warm = table(log).assign(temperature_k=308.15)
    air = Inputs(air=GivenAir(288.15))
    own = debriefed(warm, log[1], air).figures
    ohm = own["battery.resistance"].quantity.value
    at25 = own["battery.resistance_25c"]
    assert at25.quantity.value == pytest.approx(ohm * 0.047687531448750944 / 0.03920292792254134)
    # 500 K of 1/298.15 - 1/308.15, and 2 K of 1800 K / T².
    sources = at25.quantity.sources
    assert sources["temperature law"] == pytest.approx(0.05442 * at25.quantity.value, rel=1e-3)
    assert sources["pack temperature"] == pytest.approx(0.03791 * at25.quantity.value, rel=1e-3)
    by_air = debriefed(table(log), log[1], air).figures["battery.resistance_25c"]
    assert by_air.quantity.std > 0.2 * by_air.quantity.value
    assert "air" in by_air.method
    assert "temperature" in debriefed(table(log), log[1]).withheld["battery.resistance_25c"]


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda t: t[t["time_s"] < 60], "60 s are needed"),
        (lambda t: t.iloc[::15], "log voltage and current at 5 Hz"),
        (lambda t: t.assign(current_a=10 + 0.1 * np.sin(t["time_s"])), "more changes of power"),
        (lambda t: t.assign(voltage_v=23 + 0.05 * t["current_a"]), "does not fall"),
        (lambda t: t.assign(current_a=0.0), "no current"),
        (lambda t: t.drop(columns="current_a"), "no current"),
        (
            lambda t: t.assign(voltage_v=24 + np.random.default_rng(1).normal(0, 1, len(t))),
            "not identifiable",
        ),
    ],
)
def test_what_can_not_be_told_is_said(log, change, word):
    answer = debriefed(change(table(log)), log[1])
    assert "battery.resistance" not in answer.figures
    assert word in answer.withheld["battery.resistance"]
    assert "battery.energy_left" in answer.withheld


def test_two_packs_in_parallel_and_in_series(log):
    rows = table(log)
    amps = rows["current_a"]
    whole = battery_health.answer(*log, Inputs()).figures["battery.resistance"].quantity.value
    first = rows.assign(current_a=0.6 * amps)
    both = pd.concat([first, rows.assign(current_a=0.4 * amps, instance=1)])
    parallel = debriefed(both, log[1])
    figure = parallel.figures["battery.resistance"]
    assert figure.quantity.value == pytest.approx(whole, rel=0.01)
    assert "2 packs in parallel" in figure.method
    assert "current scale 2" in figure.quantity.sources
    halves = [0.55, 0.45]
    both = pd.concat(
        [rows.assign(voltage_v=h * rows["voltage_v"], instance=k) for k, h in enumerate(halves)]
    )
    series = debriefed(both, log[1]).figures["battery.resistance"]
    assert series.quantity.value == pytest.approx(whole, rel=0.01)
    assert "in series" in series.method
    same = pd.concat([rows, rows.assign(instance=1)])
    assert "does not" in debriefed(same, log[1]).withheld["battery.resistance"]


def test_a_sensor_at_its_limit_is_left_out(log):
    rows = table(log)
    cut = rows.assign(current_a=np.minimum(rows["current_a"], 25.0))
    assert (cut["current_a"] == 25.0).sum() > 50
    figure = debriefed(cut, log[1]).figures.get("battery.resistance")
    assert figure is None or figure.quantity.value == pytest.approx(RESISTANCE, rel=0.08)


def test_a_scale_by_the_charger_widens_what_it_bears_on(log):
    answer = battery_health.answer(*log, Inputs(pack=pack(reference_current_a=40.0)))
    off = make_finding("current-scale", "A scale of 1.10 is proposed.", widen=0.1)
    figures, _ = settle([answer], [off], ["battery"])
    for id_ in ("battery.resistance", "battery.sag"):
        before, after = answer.figures[id_].quantity, figures[id_].quantity
        assert after.value == before.value
        assert after.std == pytest.approx(math.hypot(before.std, 0.1 * before.value))


def test_a_log_that_starts_in_the_air_says_so(log):
    rows = table(log)
    rows = rows[rows["time_s"] > 25]
    flight = sortie(25.0, 180.0, liftoff=None, starts="air")
    answer = debriefed(rows, flight, Inputs(pack=pack()))
    assert "no rest before" in answer.withheld["battery.energy_left"]
    figure = answer.figures.get("battery.resistance")
    assert figure is None or "rest before" in figure.method


# --- energy left


def test_energy_left_of_a_known_pack(log, flown):
    t, amps, volts = flown
    answer = battery_health.answer(*log, Inputs(pack=pack(reserve_share=0.25)))
    left = answer.figures["battery.energy_left"]
    used = np.sum((amps * volts)[(t < log[1].end_s)]) * 0.2 / 3600
    assert left.quantity.value == pytest.approx(88.8 * (0.93 - 0.25) * 0.98 - used, abs=3)
    assert "25 % reserve (by the pack file)" in left.method
    # What the pack really holds above its reserve, at the voltage of its cells.
    assert abs(left.quantity.value - (88.8 * (0.97 - 0.25) - used)) < 2 * left.quantity.std
    ours = battery_health.answer(*log, Inputs(pack=pack())).figures["battery.energy_left"]
    assert "our own choice" in ours.method
    assert ours.quantity.value > left.quantity.value


def test_energy_left_needs_energy_cells_and_rest(log):
    def why(inputs, rows=None, flight=None):
        rows = table(log) if rows is None else rows
        return debriefed(rows, flight or log[1], inputs).withheld["battery.energy_left"]

    assert "nominal_wh" in why(Inputs())
    assert "cells" in why(Inputs(pack=pack(cells=None)))
    assert "no voltage of 4 lithium-polymer cells" in why(Inputs(pack=pack(cells=4)))
    late = table(log)[table(log)["time_s"] > 18.2]
    assert "no rest before" in why(Inputs(pack=pack()), late)


def test_a_battery_that_was_changed_counts_from_its_own_rest(log):
    rows = table(log)
    t = rows["time_s"]
    before = rows.assign(voltage_v=np.where(t < 8, 22.8, rows["voltage_v"]))
    both = [battery_of(recording(battery=r)) for r in (before, rows)]
    fresh, plain = (battery_left.rest_before(b, log[1]) for b in both)
    assert fresh.volts == pytest.approx(plain.volts, abs=0.01)
    assert fresh.time_s > 15
    assert plain.time_s < 12


# --- findings


def test_a_worn_pack_is_told_by_its_file_and_by_the_baseline(log):
    warm = table(log).assign(temperature_k=298.15)

    def found(**more):
        return [
            f for f in debriefed(warm, log[1], Inputs(**more)).findings if f.code != "not-excluded"
        ]

    worn = found(pack=pack(resistance_ohm=RESISTANCE / 2.2))
    assert [f.code for f in worn] == ["resistance-high"]
    assert worn[0].evidence["times"] == pytest.approx(2.2, rel=0.05)
    assert not found(pack=pack(resistance_ohm=RESISTANCE))
    line = {"battery.resistance_25c": Baseline(RESISTANCE / 2.2, 0.0003)}
    aircraft = Aircraft("a", "", baseline=line)
    assert [f.code for f in found(aircraft=aircraft)] == ["resistance-high"]
    line = {"battery.resistance_25c": Baseline(RESISTANCE / 1.2, 0.0003)}
    assert not found(aircraft=Aircraft("a", "", baseline=line))


def test_a_cold_pack_of_unknown_temperature_is_no_worn_one(log):
    # 1.7 times the new pack's is what 0 °C does to it.
    answer = battery_health.answer(*log, Inputs(pack=pack(resistance_ohm=RESISTANCE / 1.7)))
    assert not answer.findings
    answer = battery_health.answer(*log, Inputs(pack=pack(resistance_ohm=RESISTANCE / 4)))
    assert codes(answer) == ["resistance-high"]


def test_what_is_not_identifiable_can_not_be_excluded(log):
    slow = table(log).iloc[::15]
    answer = debriefed(slow, log[1], Inputs(pack=pack(resistance_ohm=0.02)))
    assert codes(answer) == ["not-excluded"]
    assert answer.findings[0].evidence == {"fault": "worn-battery"}
    assert not debriefed(slow, log[1]).findings


# --- cells

T = np.arange(0.0, 220.0, 0.2)
CRUISE = (T > 20) & (T < 200)


def cells(apart=0.0, loaded=0.0, least=3.6, **more):
    rng = np.random.default_rng(2)
    mean = np.where(CRUISE, least + 0.1, 4.1)
    offset = np.where(CRUISE, loaded, apart)[:, None] * np.array([-0.7, 0.3, 0.1, 0.3])
    volts = mean[:, None] + offset + rng.normal(0, 0.002, (T.size, 4))
    rows = battery(T, volts.sum(axis=1), np.where(CRUISE, 20.0, 0.4), **more)
    return rows.assign(cell_voltages=[list(r) for r in volts.round(3).tolist()])


def judged(rows, inputs=None, flight=None):
    return battery_cells.answer(recording(battery=rows), flight or sortie(), inputs or Inputs())


def test_spread_at_rest_and_under_load():
    answer = judged(cells(apart=0.020, loaded=0.050))
    rested = answer.figures["battery.cell_spread"].quantity
    loaded = answer.figures["battery.cell_spread_loaded"].quantity
    assert rested.value == pytest.approx(0.020, abs=0.002)
    # The greatest of 165 means of five readings lies a few tenths of their noise higher.
    assert 0.049 < loaded.value < 0.056
    assert rested.std == pytest.approx(math.sqrt(2) * battery_cells.CELL_STD_V)
    assert not answer.findings


def test_cells_apart_are_told():
    assert codes(judged(cells(apart=0.060))) == ["cells-apart"]
    found = judged(cells(apart=0.060, loaded=0.120)).findings
    assert [f.evidence["when"] for f in found] == ["at rest", "under load"]


def test_a_cell_held_too_low_is_told():
    assert not judged(cells(least=3.05)).findings
    low = judged(cells(least=2.85)).findings
    assert [f.code for f in low] == ["cell-low"]
    assert low[0].evidence["least_v"] == pytest.approx(2.95, abs=0.01)


def test_a_short_dip_is_none():
    rows = cells(least=3.5)
    dip = (T >= 100) & (T < 101.5)
    rows["cell_voltages"] = [
        [v - 1.0 for v in row] if d else row
        for row, d in zip(rows["cell_voltages"], dip, strict=True)
    ]
    assert not judged(rows).findings


def test_without_cells_their_mean_is_judged():
    rows = cells(least=2.8).drop(columns="cell_voltages")
    assert codes(judged(rows, Inputs(pack=pack(cells=4)))) == ["cell-low"]
    # A number of cells that the voltage at rest does not fit judges nothing.
    assert not judged(rows, Inputs(pack=pack(cells=6))).findings
    answer = judged(rows)
    assert not answer.findings
    assert "single cells" in answer.withheld["battery.cell_spread"]


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.none(),
            st.text(max_size=2),
            st.floats(),
            st.lists(st.one_of(st.none(), st.floats(), st.text(max_size=1)), max_size=30),
        ),
        min_size=T.size // 20,
        max_size=T.size // 20,
    )
)
def test_hostile_cells_break_nothing(values):
    few = T[::20][: len(values)]
    rows = battery(few, 15.0, 5.0)
    rows["cell_voltages"] = pd.Series(values, dtype=object)
    answer = judged(rows)
    assert set(answer.figures) | set(answer.withheld) == {
        "battery.cell_spread",
        "battery.cell_spread_loaded",
    }


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**16), st.sampled_from([0, 1, 3, 30, 400]))
def test_hostile_batteries_break_nothing(seed, n):
    rng = np.random.default_rng(seed)
    odd = np.array([np.nan, np.inf, -np.inf, 0, 1e12, -5, 3])
    t = np.sort(rng.choice([0.0, 1.0, 50.0, 60.0, 1e7, 1e12], n))
    if rng.random() < 0.5:
        t = np.sort(rng.uniform(0, 200, n))
    rows = battery(t, rng.choice(odd, n) + 20 * (rng.random(n) < 0.8), rng.choice(odd, n))
    rows["temperature_k"] = rng.choice(odd, n)
    answer = debriefed(rows, sortie(), Inputs(pack=pack(), air=GivenAir(290.0)))
    assert all(math.isfinite(f.quantity.value) for f in answer.figures.values())


def test_low_cells_on_both_sides_of_a_hole_are_no_run():
    time_s = np.array([10.0, 11.0, 400.0, 401.0, 402.0])
    seconds, least = battery_cells._longest_below(time_s, np.array([3.2, 2.98, 2.97, 3.1, 3.2]))

    assert seconds == 1.0
    assert least == 2.97
