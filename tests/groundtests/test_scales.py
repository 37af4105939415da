"""A weighing on scales: the worked example, its uncertainty by simulation, and what has none."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.scales import Setup, reduce
from flightlog.reports.ground_weighing_chart import chart

WORKED = [
    ("nose", -0.020, 0.0, 1.480),
    ("left", 0.560, -0.25, 3.215),
    ("right", 0.560, 0.25, 3.305),
]
STATED = Setup(reading_std_kg=0.005, arm_std_m=0.001, lemac_m=0.35, mac_m=0.26)


def table(rows: list[tuple[str, float, float, float]], **more: list[float]) -> BenchTable:
    names, arms, sides, readings = zip(*rows, strict=True)
    columns = {"arm": arms, "side": sides, "reading": readings, **more}
    return BenchTable(
        "scales.csv",
        {name: np.asarray(values, dtype=float) for name, values in columns.items()},
        {"scale": tuple(names)},
        np.arange(2, len(rows) + 2),
    )


def weighed(rows: list[tuple[str, float, float, float]], setup: Setup = STATED) -> GroundAnswer:
    return settled(reduce([table(rows)], setup))


def codes(answer: GroundAnswer) -> list[str]:
    return [finding.code for finding in answer.findings]


def test_the_worked_example_of_three_scales():
    """Moment 3.6216 kg m over 8.000 kg; u(x) by the law of propagation, by hand."""
    figures = weighed(WORKED).figures

    assert figures["weighing.mass"].quantity.value == pytest.approx(8.0)
    arm = figures["weighing.arm"].quantity
    assert arm.value == pytest.approx(0.4527, rel=1e-9)
    assert arm.std == pytest.approx(0.0006802050098821312, rel=1e-9)
    balance = figures["weighing.balance"].quantity
    assert balance.value == pytest.approx(39.5, rel=1e-9)
    assert balance.std == pytest.approx(0.26161731149312734, rel=1e-9)
    assert figures["weighing.side"].quantity.value == pytest.approx(2.8125, rel=1e-9)
    assert figures["weighing.third_wheel"].quantity.value == pytest.approx(18.5, rel=1e-9)


def test_an_error_of_the_leading_edge_counts():
    """1 mm of 260 mm are 0.3846 %, beside 0.2616 %."""
    setup = Setup(0.005, 0.001, lemac_m=0.35, lemac_std_m=0.001, mac_m=0.26)

    std = weighed(WORKED, setup).figures["weighing.balance"].quantity.std
    assert std == pytest.approx(math.hypot(0.26161731, 100 * 0.001 / 0.26), rel=1e-6)


def test_a_tail_wheel_is_the_wheel_by_itself_behind():
    rows = [("left", 0.30, -0.3, 3.6), ("right", 0.30, 0.3, 3.6), ("tail", 1.10, 0.0, 0.8)]
    answer = weighed(rows)

    assert answer.figures["weighing.third_wheel"].quantity.value == pytest.approx(10.0)
    assert answer.figures["weighing.arm"].quantity.value == pytest.approx(0.38)
    assert "nose-load-unusual" not in codes(answer)


def test_intervals_hold_the_truth_over_many_weighings():
    rng = np.random.default_rng(3)
    holds = {"weighing.mass": 0, "weighing.arm": 0, "weighing.side": 0, "weighing.third_wheel": 0}
    truth = {
        "weighing.mass": 8.0,
        "weighing.arm": 0.4527,
        "weighing.side": 2.8125,
        "weighing.third_wheel": 18.5,
    }
    count = 400
    for _ in range(count):
        bias = dict(zip(("nose", "left", "right"), rng.normal(0, 0.005, 3), strict=True))
        moved = {n: rng.normal(0, 0.001, 2) for n in bias}
        rows = [
            (n, x + moved[n][0], y + moved[n][1], kg + bias[n] + rng.normal(0, 0.004))
            for _ in range(4)
            for n, x, y, kg in WORKED
        ]
        figures = weighed(rows).figures
        for id_, value in truth.items():
            low, high = figures[id_].quantity.interval(0.95)
            holds[id_] += low <= value <= high

    for id_, held in holds.items():
        assert 0.92 <= held / count <= 0.98, id_


def test_tares_are_taken_off_and_rows_without_a_number_are_counted():
    rows = [(n, x, y, kg + 0.1) for n, x, y, kg in WORKED]
    rows.append(("nose", -0.020, 0.0, math.nan))
    answer = settled(reduce([table(rows, tare=[0.1, 0.1, 0.1, 0.1])], STATED))

    assert answer.figures["weighing.mass"].quantity.value == pytest.approx(8.0)
    assert codes(answer) == ["weighing-rows-left-out"]


def test_without_stated_uncertainty_the_figures_are_withheld_and_the_table_stands():
    answer = weighed(WORKED, Setup())

    assert not answer.figures
    assert "reading_std_kg and arm_std_m" in answer.withheld["weighing.mass"]
    assert answer.tables[0].rows


def test_the_chord_unlocks_the_balance():
    answer = weighed(WORKED, Setup(0.005, 0.001))

    assert "lemac_m" in answer.withheld["weighing.balance"]
    assert "weighing.arm" in answer.figures


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        (WORKED[:1], "1 scales"),
        ([(n, 0.5, y, kg) for n, _, y, kg in WORKED], "one arm"),
        ([("nose", -0.02, 0.0, 0.0), *WORKED[1:]], "bears nothing"),
        ([(n, x, y, 1000 * kg) for n, x, y, kg in WORKED], "another unit"),
        ([(n, 1000 * x, y, kg) for n, x, y, kg in WORKED], "another unit"),
        ([(f"{n}{i}", x, y, kg) for i in (1, 2) for n, x, y, kg in WORKED], "6 scales"),
        ([(n, math.nan, y, kg) for n, _, y, kg in WORKED], "not known"),
    ],
)
def test_what_gives_no_balance_is_withheld_with_its_reason(rows, why):
    answer = weighed(rows)

    assert not answer.figures
    assert why in answer.withheld["weighing.arm"]
    assert codes(answer) == ["scales-no-balance"]


def test_a_scale_in_two_places_gives_no_balance_unless_its_place_is_stated():
    rows = [*WORKED, ("nose", 0.10, 0.0, 1.480)]

    assert "scale-in-two-places" in codes(weighed(rows))
    places = {n: (x, y) for n, x, y, _ in WORKED}
    stated = weighed(rows, Setup(0.005, 0.001, places=places))
    assert stated.figures["weighing.arm"].quantity.value == pytest.approx(0.4527)


def test_repeats_that_lie_apart_are_told_and_widen():
    rows = [*WORKED, *[(n, x, y, kg + 0.2) for n, x, y, kg in WORKED]]
    answer = weighed(rows)

    assert "weighings-apart" in codes(answer)
    assert answer.figures["weighing.mass"].quantity.std > 0.1


def test_two_readings_that_scatter_hold_the_mass_in_95_percent():
    """20 g of scatter, read twice on scales of 1 g: three degrees of freedom are few."""
    rng = np.random.default_rng(4)
    held = []
    for _ in range(400):
        rows = [(n, x, y, kg + e) for n, x, y, kg in WORKED for e in rng.normal(0, 0.02, 2)]
        low, high = weighed(rows, Setup(0.001, 0.001)).figures["weighing.mass"].quantity.interval()
        held.append(low < 8.0 < high)

    assert np.mean(held) > 0.92


def test_a_nose_wheel_that_bears_little_is_told():
    rows = [("nose", -0.02, 0.0, 0.3), ("left", 0.56, -0.25, 3.8), ("right", 0.56, 0.25, 3.9)]

    assert codes(weighed(rows)) == ["nose-load-unusual"]


def test_the_chart_shows_scales_and_centre():
    drawn = chart(weighed(WORKED))

    assert [spot.name for spot in drawn.panels[0].spots][-1] == "centre of gravity"
    assert chart(weighed(WORKED, Setup())).lacking


def test_the_sample_weighing_holds_its_truth():
    from flightlog.operations.ground_test import run_ground_test
    from flightlog.resources import data_path

    folder = data_path("sample_flights", "bench")
    truth = json.loads(Path(folder / "bench_truth.json").read_text(encoding="utf-8"))
    test = run_ground_test("weighing", [folder / "weighing.csv"], folder / "weighing.toml")

    assert "weighing" in json.dumps(truth)
    assert set(test.answer.figures) >= {"weighing.mass", "weighing.balance"}
