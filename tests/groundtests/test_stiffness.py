"""A static deflection: the worked example, closed forms, coverage, and what is told or withheld."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.groundtests.stiffness import EVERY, Setup, reduce
from flightlog.groundtests.stiffness_loops import loadings_of, rows_of
from flightlog.reports.ground_stiffness_chart import chart
from tests.groundtests.bent_wing import STEPS_N, Wing, loaded
from tests.groundtests.stiffness_reach import coverage

STATED = Setup(load_std_pct=0.2, deflection_std_pct=0.5, reading_std_mm=0.01)


def reduced(table: BenchTable, setup: Setup = STATED) -> GroundAnswer:
    return settled(reduce([table], setup))


def without(table: BenchTable, name: str, **more: FloatArray) -> BenchTable:
    columns = {n: c for n, c in table.columns.items() if n != name}
    return replace(table, columns=columns | more)


def value(answer: GroundAnswer, name: str) -> float:
    return answer.figures[f"stiffness.{name}"].quantity.value


def codes(answer: GroundAnswer) -> set[str]:
    return {finding.code for finding in answer.findings}


def test_the_worked_example_of_a_cantilever() -> None:
    """20 N bend it by 18.5 mm at 1 m: K = 1081.081, EI = 360.360; 0.206071 kg swing at 11.5276."""
    setup = replace(STATED, length_m=1.0, tip_mass_kg=0.10, wing_mass_kg=0.45)
    answer = reduced(loaded(Wing(20.0 / 0.0185)), setup)

    assert value(answer, "stiffness") == pytest.approx(1081.081081081081, rel=1e-12)
    assert value(answer, "bending") == pytest.approx(360.3603603603604, rel=1e-12)
    assert value(answer, "tip_frequency") == pytest.approx(11.5276391786354, rel=1e-12)
    assert value(answer, "greatest_deflection") == pytest.approx(18.5, rel=1e-12)
    assert value(answer, "set") == pytest.approx(0.0, abs=1e-9)
    assert value(answer, "hysteresis") == pytest.approx(0.0, abs=1e-9)
    assert "stiffness-root-unmeasured" not in codes(answer)


def test_uncertainty_of_what_follows_from_stiffness_by_hand() -> None:
    """K has 0.2 and 0.5 %; EI thrice that of the length besides; f half of K's and the masses'."""
    setup = Setup(
        load_std_pct=0.2,
        deflection_std_pct=0.5,
        reading_std_mm=1e-6,
        length_m=1.0,
        length_std_m=0.002,
        tip_mass_kg=0.10,
        wing_mass_kg=0.45,
        tip_mass_std_kg=0.002,
    )
    figures = reduced(loaded(Wing()), setup).figures
    share = {n: f.quantity.std / f.quantity.value for n, f in figures.items() if f.quantity.value}
    whole = math.hypot(0.002, 0.005)

    assert share["stiffness.stiffness"] == pytest.approx(whole, rel=1e-4)
    assert share["stiffness.bending"] == pytest.approx(math.hypot(whole, 3 * 0.002), rel=1e-4)
    mass = 0.002 / (0.10 + 33 / 140 * 0.45)
    assert share["stiffness.tip_frequency"] == pytest.approx(math.hypot(whole, mass) / 2, rel=1e-4)


def test_loop_of_known_area() -> None:
    """A lag of 4 f F (T - F)/T² each way encloses 4 f T/3; over T d/2."""
    wing = Wing(friction_m=0.2e-3)
    fine = tuple(float(x) for x in np.linspace(0, 20, 401))
    answer = reduced(loaded(wing, steps_n=fine, cycles=2))

    assert value(answer, "hysteresis") == pytest.approx(100 * (4 / 3 * 0.2e-3) / (0.5 * 0.02), 1e-4)
    assert value(answer, "stiffness") == pytest.approx(1000.0, rel=1e-9)


def test_set_is_what_is_left_over_the_greatest_deflection_and_a_large_one_is_told() -> None:
    answer = reduced(loaded(Wing(set_m=1.5e-3)))
    # Loading 1 bends by 21.5 mm, the others by 20.
    assert value(answer, "set") == pytest.approx(100 * 1.5 / ((21.5 + 20 + 20) / 3), rel=1e-9)
    assert "stiffness-set-large" in codes(answer)
    small = reduced(loaded(Wing(set_m=0.2e-3)))
    assert "stiffness-set-large" not in codes(small)


def test_a_gauge_that_is_set_to_zero_between_loadings_changes_nothing() -> None:
    one, other = loaded(Wing()), loaded(Wing(), seed=5, rezero_m=2e-3)
    for name in ("stiffness", "set", "hysteresis", "greatest_deflection"):
        assert value(reduced(one), name) == pytest.approx(value(reduced(other), name), abs=1e-9)


def test_stiffness_that_rises_with_the_load_is_shown() -> None:
    """d = F/1000 - 1e-6 F²: 1/K at 20 N is 0.001 - 4e-5, so that it rises by 4.1667 %."""
    answer = reduced(loaded(Wing(bend_m_n2=-1e-6)))

    assert value(answer, "change_with_load") == pytest.approx(100 * (1 / 0.96 - 1), rel=1e-6)
    assert "stiffness-bends" in codes(answer)


def test_movement_of_the_fixed_end_is_taken_off_or_its_lack_is_told() -> None:
    table = loaded(Wing(root_m_n=5e-5))
    assert value(reduced(table), "stiffness") == pytest.approx(1000.0, rel=1e-9)
    soft = reduced(without(table, "root"))
    assert value(soft, "stiffness") == pytest.approx(1 / (1e-3 + 5e-5), rel=1e-9)
    assert "stiffness-root-unmeasured" in codes(soft)


def test_masses_weigh_with_local_gravity_and_else_with_what_gravity_may_be() -> None:
    table = loaded(Wing())
    mass = table.columns["load"] / 9.81
    table = without(table, "load", mass=mass)
    known = reduced(table, replace(STATED, gravity_m_s2=9.81)).figures["stiffness.stiffness"]
    guess = reduced(table).figures["stiffness.stiffness"]

    assert known.quantity.value == pytest.approx(1000.0, rel=1e-9)
    assert guess.quantity.value == pytest.approx(1000.0 * 9.80665 / 9.81, rel=1e-9)
    assert guess.quantity.std == pytest.approx(math.hypot(known.quantity.std, 1.5), rel=0.01)


def test_limit_load_and_the_deflection_at_it() -> None:
    setup = replace(STATED, limit_load_n=20.0, semispan_m=0.1)
    answer = reduced(loaded(Wing(bend_m_n2=-1e-6)), setup)
    assert value(answer, "load_share") == pytest.approx(100.0)
    assert value(answer, "deflection_share") == pytest.approx(100 * (0.02 - 4e-4) / 0.1, rel=1e-6)
    assert "stiffness-deflection-large" in codes(answer)

    beyond = reduced(loaded(Wing(bend_m_n2=-1e-6)), replace(setup, limit_load_n=30.0))
    assert "stiffness-below-limit-load" in codes(beyond)
    low, high = beyond.figures["stiffness.deflection_share"].quantity.interval()
    assert low < 100 * (0.03 - 9e-4) / 0.1 < high
    far = reduced(loaded(Wing()), replace(setup, limit_load_n=50.0))
    assert "too far" in far.withheld["stiffness.deflection_share"]


def test_a_change_against_an_earlier_test_is_told() -> None:
    setup = replace(STATED, baseline_n_m=1200.0, baseline_std_n_m=6.0)
    assert "structure-changed" in codes(reduced(loaded(Wing()), setup))
    same = reduced(loaded(Wing()), replace(setup, baseline_n_m=1003.0))
    assert not {c for c in codes(same) if c.startswith("structure")}


def test_without_what_is_stated_shares_stand_and_the_rest_says_what_unlocks_it() -> None:
    answer = reduced(loaded(Wing(friction_m=1e-4), seed=2, reading_m=1e-5), Setup())

    assert set(answer.figures) == {
        f"stiffness.{n}" for n in ("hysteresis", "set", "change_with_load")
    }
    assert "load_std_pct" in answer.withheld["stiffness.stiffness"]
    assert "deflection_std_pct" in answer.withheld["stiffness.stiffness"]


def test_every_figure_is_given_or_withheld() -> None:
    for answer in (
        reduced(loaded(Wing())),
        reduced(loaded(Wing()), Setup()),
        settled(reduce([], STATED)),
    ):
        assert {*answer.figures, *answer.withheld} == set(EVERY)


def test_a_reading_that_was_typed_wrongly_is_named() -> None:
    table = loaded(Wing(), reading_m=2e-5)
    table.columns["deflection"][12] += 3e-3
    answer = reduced(table)

    (found,) = [f for f in answer.findings if f.code == "stiffness-rows-off"]
    assert "wing.csv:14" in found.message


def test_few_steps_and_one_way_only() -> None:
    few = reduced(loaded(Wing(), steps_n=(0.0, 10.0, 20.0)))
    assert "stiffness-few-steps" in codes(few)
    up = {n: c[:5] for n, c in loaded(Wing()).columns.items()}
    one_way = reduced(BenchTable("up.csv", up))
    assert value(one_way, "stiffness") == pytest.approx(1000.0)
    for name in ("hysteresis", "set"):
        assert "goes back" in one_way.withheld[f"stiffness.{name}"]
    assert chart(one_way).left_out


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda c: c.update(deflection=-c["deflection"]), "does not rise"),
        (lambda c: c.update(load=np.zeros(27)), "never rises"),
        (lambda c: c.update(load=c["load"] - 10.0), "below zero"),
        (lambda c: c.update(load=1e300 * c["load"]), "another unit"),
        (lambda c: c.update(deflection=np.full(27, np.nan)), "no row"),
        (lambda c: c.pop("load"), "a mass that was hung on"),
    ],
)
def test_what_is_no_loading_is_withheld_with_its_reason(
    change: Callable[[dict[str, Any]], object], why: str
) -> None:
    columns = dict(loaded(Wing(), reading_m=1e-5).columns)
    change(columns)
    answer = reduced(BenchTable("bad.csv", columns))

    assert not answer.figures
    assert all(why in reason.lower() for reason in answer.withheld.values())
    assert chart(answer).lacking


def test_loadings_are_found_without_their_numbers() -> None:
    table = loaded(Wing(), cycles=4)
    numbered = loadings_of(rows_of([table], 9.81))
    found = loadings_of(
        rows_of([BenchTable("w", {n: c for n, c in table.columns.items() if n != "cycle"})], 9.81)
    )
    assert [list(each.rows) for each in found] == [list(each.rows) for each in numbered]
    assert all(each.returned and each.up.size == len(STEPS_N) for each in found)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(allow_nan=True, allow_infinity=True), st.floats(allow_nan=True, width=32)
        ),
        max_size=30,
    )
)
def test_whatever_the_rows_hold_figures_stand_or_are_withheld(
    rows: list[tuple[float, float]],
) -> None:
    load, deflection = (
        (np.array(c, dtype=float) for c in zip(*rows, strict=True))
        if rows
        else (
            np.zeros(0),
            np.zeros(0),
        )
    )
    answer = reduced(BenchTable("x.csv", {"load": load, "deflection": deflection}))
    assert {*answer.figures, *answer.withheld} == set(EVERY)


def test_chart_draws_both_ways_beside_the_line() -> None:
    drawn = chart(reduced(loaded(Wing(friction_m=1e-4))))
    bent, off = drawn.panels
    assert [line.name for line in bent.lines] == [
        "load rising",
        "load falling",
        "line of the stiffness",
    ]
    assert bent.lines[0].y[-1] == pytest.approx(20.0)
    assert (off.lines[1].y[1:4] > 0).all()
    assert (off.lines[0].y[1:4] < 0).all()


def test_intervals_hold_the_truth() -> None:
    """A part of the reach script; 50 of 60 is 4 standard deviations below 95 %."""
    for name, held, of in coverage(60, first=7):
        assert of == 60
        assert held >= 50, name
