"""Servo and linkage: known tables come back, play is told from lag, and what is wanting is said."""

from __future__ import annotations

import json
import math
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sample_flights
from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.linkage import PARTS, Setup, reduce
from flightlog.groundtests.linkage_lines import file_lines
from flightlog.groundtests.linkage_tables import LinkageDetail
from flightlog.operations.ground_test import run_ground_test
from flightlog.reports.ground_linkage_chart import chart
from flightlog.team_files.wear_tables import linkage_of
from tests.groundtests.linkages import UP, Linkage, read, truths

STATED = Setup(angle_std_deg=0.2)
UP_DOWN = [1100.0, 1300.0, 1500.0, 1700.0, 1900.0, 1700.0, 1500.0, 1300.0, 1100.0]


def rows(
    pulses: list[float],
    angles_deg: list[float],
    force: list[float] | None = None,
    names: list[str] | None = None,
) -> BenchTable:
    columns = {"pulse": np.array(pulses), "angle": np.radians(np.array(angles_deg))}
    if force is not None:
        columns["force"] = np.array(force)
    return BenchTable("linkage.csv", columns, {} if names is None else {"surface": tuple(names)})


def exact(pulses: list[float], gain: float, lag: float) -> list[float]:
    """Angles about 1500 us behind a gap that friction holds, with a little scatter."""
    at, before, angles = -1.0, pulses[0] - 1, []
    for k, pulse in enumerate(pulses):
        at = 1.0 if pulse > before else -1.0
        sign = 1.0 if gain > 0 else -1.0
        angles.append(gain * (pulse - 1500) - sign * at * lag / 2 + 0.01 * (-1) ** (k // 2))
        before = pulse
    return angles


def reduced(table: BenchTable, setup: Setup = STATED) -> GroundAnswer:
    return settled(reduce([table], setup))


def value(answer: GroundAnswer, part: str, name: str = "surface") -> float:
    return answer.figures[f"linkage.{name}.{part}"].quantity.value


def codes(answer: GroundAnswer) -> list[str]:
    return [finding.code for finding in answer.findings]


# --- known truth


@pytest.mark.parametrize("gain", [0.06, -0.06])
def test_a_straight_linkage_gives_its_gain_lag_travel_and_neutral(gain):
    """400 us are 24 deg at 0.06 deg/us; the lag is the whole width, whichever way it turns."""
    twice = UP_DOWN + UP_DOWN[1:]
    answer = reduced(rows(twice, exact(twice, gain, 0.8)))

    assert value(answer, "gain") == pytest.approx(gain, rel=2e-3)
    assert value(answer, "hysteresis") == pytest.approx(0.8, abs=0.02)
    assert value(answer, "travel_up") == pytest.approx(24.0, abs=0.05)
    assert value(answer, "travel_down") == pytest.approx(24.0, abs=0.05)
    assert value(answer, "neutral") == pytest.approx(1500.0, abs=0.5)
    assert codes(answer) == []


def test_the_gauge_counts_whole_at_an_angle_and_at_both_ends_of_the_line():
    """0.2 deg: 0.2 deg of travel, 0.2 over 0.06 us of neutral, 0.4 of 48.8 deg of the gain."""
    twice = UP_DOWN + UP_DOWN[1:]
    figures = reduced(rows(twice, exact(twice, 0.06, 0.8))).figures

    def gauge(part: str) -> float:
        quantity = figures[f"linkage.surface.{part}"].quantity
        return float(quantity.sources["angle gauge"])

    assert gauge("travel_up") == pytest.approx(0.2)
    assert gauge("neutral") == pytest.approx(0.2 / 0.06, rel=1e-3)
    assert gauge("gain") == pytest.approx(0.06 * 0.4 / 48.4, rel=0.02)


@pytest.mark.parametrize(("scale_only", "linkage"), [(False, Linkage()), (True, Linkage(bend=0.0))])
def test_intervals_hold_the_truth(scale_only, linkage):
    """Binomial: of 60 intervals of 95 % fewer than 51 hold it once in 2000 times."""
    held: Counter[str] = Counter()
    for seed in range(60):
        rng = np.random.default_rng(seed)
        table = read(linkage, rng, pushes=(1.0, 2.0), scale_only=scale_only)
        figures = reduce([table], Setup(angle_std_deg=linkage.gauge_deg)).figures
        for part, true in truths(linkage).items():
            low, high = figures[f"linkage.surface.{part}"].quantity.interval()
            held[part] += low <= true <= high

    assert sorted(held) == sorted(PARTS)
    assert min(held.values()) >= 51


def test_readings_that_were_rounded_coarsely_are_no_surer_than_the_rounding():
    """Repeats that read the same have no scatter, and still 0.5 deg of steps over root 12."""
    linkage = Linkage(noise_deg=0.0, step_deg=0.5, gauge_deg=0.0)
    answer = reduced(read(linkage, np.random.default_rng(1)), Setup(angle_std_deg=0.0))

    travel = answer.figures["linkage.surface.travel_down"].quantity
    assert travel.std >= 0.5 / math.sqrt(12)
    assert abs(travel.value - truths(linkage)["travel_down"]) < 3 * travel.std


def test_the_file_from_the_bench_gives_its_table_and_lag():
    folder = Path(sample_flights.__file__).parent / "bench"
    true = json.loads((folder / "bench_truth.json").read_text(encoding="utf-8"))["linkage_elevator"]
    test = run_ground_test(
        "linkage", [folder / "linkage_elevator.csv"], folder / "linkage_elevator.toml"
    )

    lag = test.answer.figures["linkage.elevator.hysteresis"].quantity
    assert abs(lag.value - true["play_deg"]) < 3 * lag.std < 0.3
    table = next(t for t in test.answer.tables if t.key == "deflections")
    found = {row[1]: (row[2], row[3]) for row in table.rows}
    for pulse, deflection in true["table"]:
        at, std = found[pulse]
        assert abs(at - deflection) < 3.5 * std
    assert "linkage.elevator.play" in test.answer.withheld


# --- play


def pushed(forces: tuple[float, ...], give: float = 0.1, lag: float = 0.0) -> BenchTable:
    """0.6 deg of gap at four pulses, with ``give`` in deg/N, after a surface that shows ``lag``."""
    pulses, force = [*UP_DOWN], [0.0] * len(UP_DOWN)
    angles = exact(UP_DOWN, 0.06, lag)
    for k, pulse in enumerate([1200.0, 1400.0, 1600.0, 1800.0]):
        for size in forces:
            for sign in (1, -1):
                pulses.append(pulse)
                force.append(sign * size)
                off = 0.01 * (-1) ** (k + int(sign > 0))
                angles.append(0.06 * (pulse - 1500) + sign * (0.3 + give * size) + off)
    return rows(pulses, angles, force)


def test_pushes_of_two_sizes_tell_the_gap_from_what_yields():
    answer = reduced(pushed((1.0, 2.0)))

    play = answer.figures["linkage.surface.play"].quantity
    assert play.value == pytest.approx(0.6, abs=3 * play.std)
    assert play.std < 0.05
    assert "linkage-one-force" not in codes(answer)


def test_pushes_of_one_size_hold_what_yields_and_say_so():
    """0.6 deg of gap and 0.1 deg/N to either side of 1 N are 0.8 deg."""
    answer = reduced(pushed((1.0,)))

    assert value(answer, "play") == pytest.approx(0.8, abs=0.03)
    assert "linkage-one-force" in codes(answer)


def test_which_way_a_force_is_counted_does_not_matter():
    table = pushed((1.0, 2.0))
    turned = BenchTable("t", {**table.columns, "force": -table.columns["force"]})

    assert value(reduced(turned), "play") == pytest.approx(value(reduced(table), "play"))


def test_a_surface_that_rests_on_one_side_of_its_gap_has_play_and_no_lag():
    answer = reduced(pushed((1.0, 2.0), lag=0.0))

    assert abs(value(answer, "hysteresis")) < 0.05
    assert value(answer, "play") == pytest.approx(0.6, abs=0.05)


def test_lag_never_stands_in_for_play():
    answer = reduced(rows(UP_DOWN, exact(UP_DOWN, 0.06, 0.8)))

    assert "push" in answer.withheld["linkage.surface.play"]


def test_wide_play_is_told():
    twice = UP_DOWN + UP_DOWN[1:]

    assert "linkage-play-wide" in codes(reduced(rows(twice, exact(twice, 0.06, 1.6))))
    assert "linkage-play-wide" not in codes(reduced(rows(twice, exact(twice, 0.06, 0.6))))


# --- what is wanting


def test_without_the_gauge_nothing_is_given_and_the_key_is_named():
    answer = reduced(pushed((1.0, 2.0)), Setup())

    assert not answer.figures
    assert all("angle_std_deg" in answer.withheld[f"linkage.surface.{p}"] for p in PARTS)
    assert answer.tables


def test_one_way_gives_the_gain_alone():
    pulses = [float(p) for p in UP]
    answer = reduced(rows(pulses, exact(pulses, 0.06, 0.8)))

    assert set(answer.figures) == {"linkage.surface.gain"}
    assert "up and down" in answer.withheld["linkage.surface.neutral"]
    assert "linkage-one-way" in codes(answer)
    assert isinstance(answer.detail, LinkageDetail)
    assert answer.detail.file_lines == ()


def test_a_surface_ahead_of_its_pulse_stops_the_lag():
    """Rows that were sorted, or read too early, look as if the surface led."""
    twice = UP_DOWN + UP_DOWN[1:]
    answer = reduced(rows(twice, exact(twice, 0.06, -0.8)))

    assert "linkage-leads" in codes(answer)
    assert "linkage.surface.hysteresis" in answer.withheld
    assert value(answer, "travel_up") == pytest.approx(24.0, abs=0.05)


def test_a_step_back_within_the_gap_is_not_taken_for_a_reading_from_the_other_side():
    """After a turn at 1900 us the gap of 0.8 deg holds the surface for 13 us of 0.06 deg/us."""
    down = [1900.0, 1892.0, 1700.0, 1500.0, 1300.0, 1100.0]
    up = [1300.0, 1500.0, 1700.0, 1892.0, 1900.0]
    pulses = [1100.0, *up, *down[1:], *up, *down[1:]]
    angles = exact(pulses, 0.06, 0.8)
    for k in range(1, len(pulses)):
        if pulses[k] == 1892.0 and pulses[k - 1] == 1900.0:
            angles[k] = angles[k - 1]
    answer = reduced(rows(pulses, angles))

    assert value(answer, "hysteresis") == pytest.approx(0.8, abs=0.03)


def test_neutral_outside_of_what_was_read_is_withheld():
    high = [1600.0, 1700.0, 1800.0, 1900.0, 1800.0, 1700.0, 1600.0, 1700.0, 1800.0, 1900.0]
    answer = reduced(rows(high, exact(high, 0.06, 0.4)))

    assert "neutral" in answer.withheld["linkage.surface.neutral"]
    assert "trailing edge up" in answer.withheld["linkage.surface.travel_up"]
    assert value(answer, "travel_down") == pytest.approx(24.0, abs=0.1)


def test_rows_that_can_not_be_are_left_out_and_told():
    pulses = [*UP_DOWN, math.nan, 9000.0, 1500.0]
    angles = [*exact(UP_DOWN, 0.06, 0.8), 1.0, 1.0, 400.0]
    answer = reduced(rows(pulses, angles))

    assert value(answer, "gain") == pytest.approx(0.06, rel=0.01)
    assert answer.findings[0].evidence["rows"] == 3


@pytest.mark.parametrize(("pulses", "angles"), [([1500.0], [0.1]), ([1500.0, 1500.0], [0.0, 0.2])])
def test_one_pulse_is_no_table(pulses, angles):
    answer = reduced(rows(pulses, angles))

    assert codes(answer) == ["linkage-unread"]
    assert set(answer.withheld) == {f"linkage.surface.{part}" for part in PARTS}
    assert chart(answer).lacking


def test_surfaces_are_kept_apart_by_name():
    pulses = UP_DOWN * 2
    names = ["Left aileron"] * len(UP_DOWN) + ["Rudder"] * len(UP_DOWN)
    angles = exact(UP_DOWN, 0.06, 0.8) + exact(UP_DOWN, -0.05, 0.4)
    answer = reduced(rows(pulses, angles, names=names))

    assert value(answer, "gain", "left_aileron") == pytest.approx(0.06, rel=0.01)
    assert value(answer, "gain", "rudder") == pytest.approx(-0.05, rel=0.01)
    assert value(answer, "hysteresis", "rudder") == pytest.approx(0.4, abs=0.05)


# --- lines for the aircraft file, chart


@given(
    st.lists(st.floats(-90, 90), min_size=1, max_size=60),
    st.lists(st.integers(500, 2500), min_size=60, max_size=60, unique=True),
)
@settings(max_examples=60, deadline=None)
def test_lines_are_none_or_what_an_aircraft_file_takes(angles, pulses):
    told = sorted(pulses)[: len(angles)]
    points = list(zip([float(p) for p in told], angles, strict=True))
    for some in (points, sorted(zip([float(p) for p in told], sorted(angles), strict=True))):
        lines = file_lines([("left_aileron", some)], {"Left aileron": 3})
        if lines:
            body = tomllib.loads("\n".join(lines))["outputs"]["3"]
            assert len(body["deflection"]) <= 40
            assert linkage_of([tuple(p) for p in body["deflection"]], "here")


def test_a_table_that_turns_back_has_no_lines_and_is_told():
    twice = UP_DOWN + UP_DOWN[1:]
    bent = [20 - abs(a) for a in exact(twice, 0.06, 0.0)]
    answer = reduced(rows(twice, bent))

    assert "linkage-turns-back" in codes(answer)
    assert isinstance(answer.detail, LinkageDetail)
    assert answer.detail.file_lines == ()


def test_the_chart_shows_deflection_and_what_is_off_the_line():
    twice = UP_DOWN + UP_DOWN[1:]
    drawn = chart(reduced(rows(twice, exact(twice, 0.06, 0.8))))

    assert [panel.unit for panel in drawn.panels] == ["deg", "deg"]
    for panel in drawn.panels:
        assert len({line.stroke for line in panel.lines}) == len(panel.lines)
    middle = drawn.panels[0].lines[0]
    assert list(middle.x) == [1100.0, 1300.0, 1500.0, 1700.0, 1900.0]
    assert middle.y[2] == pytest.approx(0.0, abs=0.02)


# --- hostile files

_ANY = st.sampled_from(
    [1500.0, 1100.0, 1900.0, 1500.4, 500.0, 0.0, math.nan, math.inf, 1e300, -1.0]
)


@given(st.data(), st.integers(1, 14))
@settings(max_examples=80, deadline=None)
def test_any_numbers_give_finite_figures(data, n):
    def column(scale: float) -> list[float]:
        drawn = data.draw(st.lists(_ANY, min_size=n, max_size=n))
        return [v * scale for v in drawn]

    table = rows(column(1.0), column(0.02), column(1e-3), None)
    for figure in reduced(table).figures.values():
        assert math.isfinite(figure.quantity.value)
        assert math.isfinite(figure.quantity.std)
        assert figure.quantity.std >= 0


def test_many_rows_take_no_long_time():
    rng = np.random.default_rng(3)
    pulses = np.round(1500 + 400 * np.sin(np.arange(60_000) / 300))
    angles = 0.06 * (pulses - 1500) + rng.normal(0, 0.1, pulses.size)
    table = BenchTable("long.csv", {"pulse": pulses, "angle": np.radians(angles)})

    assert value(reduced(table), "gain") == pytest.approx(0.06, rel=0.01)


def test_the_lag_of_the_servos_arm_stands_apart_in_the_table():
    """The arm lags by 0.3 deg at 0.08 deg/us, the surface behind it by 0.8 deg at 0.06 deg/us."""
    twice = UP_DOWN + UP_DOWN[1:]
    table = rows(twice, exact(twice, 0.06, 0.8))
    arm = np.radians(np.array(exact(twice, 0.08, 0.3)))
    answer = reduced(BenchTable("linkage.csv", {**table.columns, "arm_angle": arm}))

    surfaces = next(t for t in answer.tables if t.key == "surfaces")
    at = [column.key for column in surfaces.columns].index("arm_lag_deg")
    assert surfaces.rows[0][at] == pytest.approx(0.3, abs=0.02)
