"""A thrust stand from its files to its figures: made-up ones of known truth, and real ones."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.thrust import Setup, reduce
from flightlog.operations.ground_test import GroundTest, run_ground_test
from flightlog.team_files.bench_tables import ThrustBench
from tests import corpus
from tests.groundtests.made_stand import SETUP, Truth, made_stand
from tests.groundtests.thrust_reach import truths

SMALL = Truth(rate_hz=20.0, levels=5)


def codes(answer: GroundAnswer) -> list[str]:
    return [finding.code for finding in answer.findings]


def made(seed: int = 3, truth: Truth = SMALL, **stated: object) -> GroundAnswer:
    table, setup, _ = made_stand(seed, truth)
    return settled(reduce([table], replace(setup, **stated)))


# --- figures


def test_a_stand_without_error_gives_what_it_truly_is():
    truth = Truth(noise=0.0, wrong=0.0, drift_n=0.0, sag=0.0)
    table, setup, top = made_stand(1, truth)
    answer = reduce([table], setup)

    for id_, true in truths(truth, top).items():
        assert answer.figures[id_].quantity.value == pytest.approx(true, rel=1e-3)
    turns = 125 * 60.0
    assert answer.figures["thrust.speed_greatest"].quantity.value == pytest.approx(turns, rel=1e-3)
    assert answer.figures["thrust.standard"].quantity.value == pytest.approx(
        top * 1.225 / 1.19, rel=1e-3
    )
    assert answer.figures["thrust.tip_mach"].quantity.value == pytest.approx(
        np.pi * 125 * 0.4064 / 343.2, rel=1e-3
    )
    watts = answer.figures["thrust.power_greatest"].quantity.value
    assert answer.figures["thrust.per_watt"].quantity.value == pytest.approx(
        top / 9.80665 * 1000 / watts, rel=1e-3
    )


def test_intervals_hold_the_truth():
    """A few of the many seeds of thrust_reach.py."""
    held: list[bool] = []
    for seed in range(24):
        table, setup, top = made_stand(seed, SMALL)
        answer = reduce([table], setup)
        for id_, true in truths(SMALL, top).items():
            low, high = answer.figures[id_].quantity.interval()
            held.append(low <= true <= high)

    assert np.mean(held) > 0.9


def test_drift_is_given_in_parts_of_full_scale():
    """0.15 N over the whole file, of 50 N; between the middles of the rests a little less."""
    answer = made(truth=replace(SMALL, noise=0.0))
    share = 1 - 1 / (SMALL.sweeps * SMALL.levels + 2)

    assert answer.figures["thrust.tare_drift"].quantity.value == pytest.approx(
        0.15 / 50 * 100 * share, rel=0.02
    )


def test_calibration_puts_the_scale_on():
    points = [{"load_n": x, "reading_n": x / 1.1} for x in (0.0, 10.0, 20.0, 30.0, 20.0, 10.0, 0.0)]
    before, after = made(), made(calibration=points, load_std_pct=0.1)

    ratio = (
        after.figures["thrust.greatest"].quantity.value
        / before.figures["thrust.greatest"].quantity.value
    )
    assert ratio == pytest.approx(1.1)
    assert after.figures["thrust.scale"].quantity.value == pytest.approx(1.1)


def test_electrical_speed_is_divided_by_pole_pairs():
    table, setup, _ = made_stand(3, SMALL)
    columns = dict(table.columns)
    columns["electrical_speed"] = columns.pop("speed") * 7
    answer = reduce([replace(table, columns=columns)], replace(setup, pole_pairs=7))

    assert answer.figures["thrust.ct"].quantity.value == pytest.approx(
        made().figures["thrust.ct"].quantity.value
    )


def test_a_force_on_an_arm_is_a_torque():
    table, setup, _ = made_stand(3, SMALL)
    columns = dict(table.columns)
    columns["arm_force"] = columns.pop("torque") / 0.12
    answer = reduce([replace(table, columns=columns)], replace(setup, arm_m=0.12))

    assert answer.figures["thrust.cp"].quantity.value == pytest.approx(
        made().figures["thrust.cp"].quantity.value
    )


def test_files_of_one_test_are_repeats():
    tables = [made_stand(seed, replace(SMALL, sweeps=2, wrong=0.0))[0] for seed in range(3)]
    answer = reduce(tables, SETUP)

    assert "stand-few-sweeps" not in codes(answer)
    levels = next(table for table in answer.tables if table.key == "levels")
    # The highest throttle, where a sweep turns, is held through: one long step.
    assert [row[1] for row in levels.rows] == [6, 6, 6, 6, 3]


# --- what is not stated


@pytest.mark.parametrize(
    ("nothing", "figures", "unlock"),
    [
        ({"diameter_m": None}, "thrust.ct thrust.cp thrust.figure_of_merit", "diameter_m"),
        ({"density_kg_m3": None}, "thrust.ct thrust.cp thrust.standard", "pressure_hpa"),
        ({"density_std_kg_m3": None}, "thrust.ct thrust.standard", "density_std_kg_m3"),
        ({"speed_std_rpm": None}, "thrust.ct thrust.speed_greatest", "speed_std_rpm"),
        ({"temperature_c": None}, "thrust.tip_mach", "temperature_c"),
        ({"thrust_std_n": None, "thrust_std_pct": None}, "thrust.greatest", "thrust_std_n"),
        ({"torque_std_nm": None, "torque_std_pct": None}, "thrust.cp", "torque_std_nm"),
        ({"current_std_pct": None}, "thrust.power_greatest thrust.per_watt", "current_std_a"),
        ({"full_scale_n": None}, "thrust.tare_drift", "full_scale_n"),
    ],
)
def test_what_nobody_stated_withholds_and_says_what_would_unlock(nothing, figures, unlock):
    answer = made(**nothing)

    for id_ in figures.split():
        assert unlock in answer.withheld[id_]


def test_steps_are_shown_without_an_uncertainty_where_none_was_stated():
    answer = made(thrust_std_n=None, thrust_std_pct=None)
    steps = next(table for table in answer.tables if table.key == "steps")
    keys = [column.key for column in steps.columns]

    assert "thrust_n" in keys
    assert "thrust_std_n" not in keys
    assert {"sweep", "electrical_power_w", "speed_rpm", "ct", "cp_std"} <= set(keys)


# --- findings


def test_a_good_stand_has_nothing_to_remark():
    assert codes(made(truth=replace(SMALL, hold_s=8.0, zero_n=0.0))) == ["stand-steps-found"]


def changed(**columns: object) -> GroundAnswer:
    """Reduce the usual stand with some columns put through functions."""
    table, setup, _ = made_stand(3, replace(SMALL, hold_s=8.0, zero_n=0.0))
    every = dict(table.columns)
    for name, change in columns.items():
        if change is None:
            del every[name]
        else:
            every[name] = change(every[name])  # type: ignore[operator]
    return settled(reduce([replace(table, columns=every)], setup))


@pytest.mark.parametrize(
    ("columns", "code", "lost", "kept"),
    [
        ({"thrust": lambda x: -x}, "thrust-reversed", "thrust.greatest", "thrust.tare_drift"),
        ({"torque": lambda x: x * 0 + 1e-3}, "torque-silent", "thrust.cp", "thrust.ct"),
        ({"torque": lambda x: x * 2}, "efficiency-above-100", "thrust.cp", "thrust.ct"),
        ({"speed": None}, "shaft-speed-missing", "thrust.ct", "thrust.greatest"),
        ({"thrust": lambda x: x - 1.0}, "thrust-negative-at-rest", "", "thrust.ct"),
        ({"voltage": lambda x: x * np.linspace(1, 0.8, len(x))}, "supply-sag", "", "thrust.ct"),
        ({"thrust": lambda x: x / 3}, "coefficients-unusual", "", "thrust.ct"),
        (
            {"thrust": lambda x: x + np.linspace(0, 1, len(x))},
            *("stand-zero-drift", "", "thrust.ct"),
        ),
        (
            {"thrust": lambda x: 0.5 * np.sign(x) * np.abs(x) ** 1.2},
            *("ct-not-constant", "", "thrust.ct"),
        ),
    ],
)
def test_what_is_wrong_is_said_and_spoils_what_it_must(columns, code, lost, kept):
    answer = changed(**columns)

    assert code in codes(answer)
    assert not lost or lost in answer.withheld
    assert kept in answer.figures


def test_an_optical_sensor_that_counts_blades_is_seen():
    table, setup, _ = made_stand(3, SMALL)
    columns = dict(table.columns)
    columns["electrical_speed"] = columns["speed"] * 7
    columns["speed"] = columns["speed"] * 2
    setup = replace(setup, pole_pairs=7, blades=2)
    answer = settled(reduce([replace(table, columns=columns)], setup))

    finding = next(f for f in answer.findings if f.code == "shaft-speeds-disagree")
    assert "each of 2 blades" in finding.message
    assert "thrust.ct" in answer.withheld


def test_rest_before_only_leaves_the_drift_open():
    table, setup, _ = made_stand(3, SMALL)
    cut = {name: column[:-100] for name, column in table.columns.items()}
    answer = settled(reduce([replace(table, columns=cut)], setup))

    assert "stand-zero-once" in codes(answer)
    assert "thrust.tare_drift" in answer.withheld
    wide = answer.figures["thrust.greatest"].quantity.std
    assert wide > made().figures["thrust.greatest"].quantity.std


@pytest.mark.parametrize(
    ("points", "load_std_pct", "code"),
    [
        ([(0, 0), (10, 10)], 0.1, "calibration-unusable"),
        ([(0, 0), (10, 10), (20, 20)], None, "calibration-unusable"),
        ([(0, 0), (10, 10.4), (20, 20), (10, 10), (0, 0)], 0.1, "calibration-hysteresis"),
        ([(0, 0), (10, 11), (20, 20), (10, 11), (0, 0)], 0.1, "calibration-not-straight"),
    ],
)
def test_a_calibration_that_is_not_good_is_remarked(points, load_std_pct, code):
    given_points = [{"load_n": float(x), "reading_n": float(y)} for x, y in points]

    assert code in codes(made(calibration=given_points, load_std_pct=load_std_pct))


@settings(max_examples=15)
@given(
    arrays.arrays(
        float,
        st.tuples(st.integers(0, 40), st.just(7)),
        elements=st.floats(allow_nan=True, allow_infinity=True, width=64)
        | st.sampled_from([0.0, 1000.0, 1500.0, 2000.0, 1e300]),
    )
)
def test_no_table_breaks_the_reduction(values):
    names = ("time", "pulse", "thrust", "torque", "voltage", "current", "speed")
    columns = dict(zip(names, values.T, strict=True))
    answer = settled(reduce([BenchTable("made.csv", columns)], SETUP))

    assert set(answer.figures) | set(answer.withheld) >= {"thrust.greatest", "thrust.ct"}


def test_a_motor_that_never_turned_gives_nothing_but_says_so():
    n = 200
    flat = BenchTable(
        "made.csv",
        {
            "time": np.arange(n) / 20,
            "pulse": np.full(n, 1000.0),
            "thrust": np.random.default_rng(1).normal(0.1, 0.02, n),
            "speed": np.zeros(n),
        },
    )
    answer = settled(reduce([flat], replace(SETUP, rest_pulse_us=1050.0)))

    assert not answer.figures
    assert codes(answer) == ["stand-no-steps"]


def test_keys_of_the_bench_file_are_what_the_reduction_takes():
    assert set(ThrustBench.model_fields) == {field.name for field in fields(Setup)}
    Setup(**ThrustBench().model_dump())


# --- real files

real = pytest.mark.skipif(not corpus.ROOT, reason="FLIGHTLOG_CORPUS names no folder of real logs")
BENCH = """
schema = "flightlog.bench/1"
id = "small-stand"
kind = "thrust"
[subject]
component = "motor-1"
[thrust]
diameter_m = 0.0762
diameter_std_m = 0.0003
pole_pairs = 1
pressure_hpa = 1000.0
temperature_c = 20.0
thrust_std_pct = 1.0
thrust_std_n = 0.002
torque_std_pct = 2.0
speed_std_rpm = 20.0
voltage_std_v = 0.02
current_std_pct = 1.0
tare_before_n = 0.0
tare_after_n = 0.0
tare_std_n = 0.001
tare_before_nm = 0.0
tare_after_nm = 0.0
tare_std_nm = 0.00002
"""


def run(name: str, bench: Path | None = None) -> GroundTest:
    return run_ground_test("thrust", [corpus.log(f"bench/thrust_steps_{name}.csv")], bench)


def first_words(test: GroundTest, code: str) -> str:
    return next(f.message for f in test.answer.findings if f.code == code)


@real
@pytest.mark.parametrize(
    ("name", "found"),
    [
        (
            # One row a step, 21 of them; the time goes back once; nothing at rest; no shaft speed.
            "21",
            "columns-guessed time-not-monotonic thrust-in-gram-force stand-steps-found "
            "stand-few-sweeps stand-zero-unknown shaft-speed-missing",
        ),
        (
            # 1000 to 2000 µs in five seconds on one cell, 4.15 V down to 3.34 V; torque and speed
            # sensors dead; rest before only, at -0.5 gf.
            "101",
            "columns-guessed thrust-in-gram-force stand-ramp stand-few-sweeps stand-zero-once "
            "thrust-negative-at-rest shaft-speed-missing torque-silent supply-sag",
        ),
        (
            # Two rows, the second with 104.4 % in the stand's own column.
            "aborted",
            "columns-guessed thrust-in-gram-force stand-steps-found stand-run-aborted "
            "stand-zero-unknown shaft-speed-missing efficiency-above-100",
        ),
    ],
)
def test_real_files_give_exactly_the_right_findings(name, found):
    test = run(name)

    assert codes(test.answer) == found.split()
    assert not test.answer.figures  # nobody states how right that stand is


@real
def test_real_rest_and_efficiency_are_as_the_files_have_them():
    # -3.3658 gf in seven rows up to 1060 µs, by hand: -0.4809 gf = -4.716 mN.
    assert "reads -4.7 ±" in first_words(run("101"), "thrust-negative-at-rest")
    assert "104.4 %" in first_words(run("aborted"), "efficiency-above-100")
    assert "4.16 to 3.35 V" in first_words(run("101"), "supply-sag")


@real
def test_a_real_file_with_a_bench_file_gives_what_its_own_columns_say(tmp_path):
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH, encoding="utf-8")
    figures = run("21", bench).answer.figures

    # The last row as the stand wrote it: 48.537 gf, 20.199 W, 25594 rpm, 52.103 %, 2.4031 gf/W.
    for id_, written in {
        "thrust.greatest": 48.53719777074354 * 0.00980665,
        "thrust.power_greatest": 20.198795657320026,
        "thrust.speed_greatest": 25594,
        "thrust.drive_efficiency": 52.10306460102979,
        "thrust.per_watt": 2.4030709109570325,
    }.items():
        assert figures[id_].quantity.value == pytest.approx(written, rel=1e-4)
        low, high = figures[id_].quantity.interval()
        assert low < written < high


@real
def test_real_electrical_speed_that_was_not_divided_spoils_what_rests_on_it(tmp_path):
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH, encoding="utf-8")
    answer = run("aborted", bench).answer

    assert "efficiency-above-100" in codes(answer)
    assert set(answer.figures) == set()
