"""From rows of a file to figures, findings and tables of a ring-down."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import settled
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.ringdown import Setup, reduce, together
from flightlog.team_files.bench_tables import RingdownBench
from tests.groundtests.rings import Truth, recording

ONE = [Truth(6.5, 0.018)]
TWO = [Truth(6.5, 0.018, 1.0, 0.2), Truth(7.3, 0.018, 0.6, 1.0)]


def answered(t, y, column="displacement", setup=None, **more):
    table = BenchTable("ring.csv", {"time": t, column: y, **more})
    return settled(reduce([table], setup or Setup()))


def codes(answer):
    return [f.code for f in answer.findings]


def number(answer, id_):
    return answer.figures[f"ringdown.{id_}"].quantity


def test_two_modes_of_three_releases():
    t, y, _ = recording([TWO] * 3, noise=0.02, hum=0.3)
    answer = answered(t, y, "acceleration")
    for name, true in zip(("first", "second"), TWO, strict=True):
        frequency, damping = number(answer, f"{name}.frequency"), number(answer, f"{name}.damping")
        assert abs(frequency.value - true.frequency_hz) < 3 * frequency.std
        assert frequency.std < 0.02
        assert abs(damping.value - 1.8) < 3 * damping.std
        assert damping.std < 0.15
        size = number(answer, f"{name}.amplitude")
        most = 1000 * true.amplitude / (2 * math.pi * true.frequency_hz) ** 2
        assert 0.25 * most < size.value < 0.6 * most
    assert "ringdown.third.frequency" not in answer.figures
    tables = {table.key: table for table in answer.tables}
    assert len(tables["releases"].rows) == 3
    assert len(tables["modes"].rows) == 6
    for table in answer.tables:
        assert all(len(row) == len(table.columns) for row in table.rows)
    spectrum = [row[3] for row in tables["spectrum"].rows]
    assert spectrum[0] == pytest.approx(2 / (0.018 * 6.5), rel=0.1)


def test_displacement_gives_millimetres_and_a_signal_none():
    t, y, _ = recording([ONE], held=1.0)
    metres = answered(t, y)
    # Fitted where it has fallen to about 0.4 of 1 m.
    assert number(metres, "first.amplitude").value == pytest.approx(400, rel=0.2)
    plain = answered(t, y, "signal")
    assert "no unit" in plain.withheld["ringdown.first.amplitude"]
    assert number(plain, "first.frequency").value == pytest.approx(6.5, rel=0.002)
    assert "ring-single" in codes(metres)


def test_a_hand_ends_the_window():
    t, y, _ = recording([ONE], touched_s=2.0)
    answer = answered(t, y)
    finding = next(f for f in answer.findings if f.code == "ring-disturbed")
    assert finding.end_s == pytest.approx(5.0, abs=0.3)
    damping = number(answer, "first.damping")
    assert abs(damping.value - 1.8) < 3 * damping.std
    assert damping.std < 0.1


def test_clipping_is_told():
    t, y, _ = recording([ONE])
    answer = answered(t, np.clip(y, -0.6, 0.6))
    assert "ring-clipped" in codes(answer)
    damping = number(answer, "first.damping")
    assert abs(damping.value - 1.8) < 3 * damping.std


def test_friction_is_told_and_not_given_precisely():
    t = np.arange(1400) / 200
    size = np.clip(1.0 - 0.2 * np.clip(t - 2, 0, None), 0, None) * (t >= 2)
    y = size * np.cos(2 * math.pi * 6.5 * t) + np.random.default_rng(0).normal(0, 0.01, t.size)
    answer = answered(t, y)
    assert "ring-bends" in codes(answer)
    damping = number(answer, "first.damping")
    # 0.2/s of 1 is 0.5 % at the start, and ever more later.
    assert damping.std > 0.2 * damping.value
    assert damping.interval()[0] < 0.5 * 0.2 / (0.5 * 2 * math.pi * 6.5) * 100 + 0.5


def test_too_slow_sampling_is_withheld():
    t = np.arange(300) / 20
    y = Truth(9.2, 0.008).at(np.clip(t - 4, 0, None)) * (t >= 4)
    answer = answered(t, y + np.random.default_rng(0).normal(0, 0.005, t.size))
    assert "ring-sampling-slow" in answer.withheld["ringdown.first.frequency"]


def test_mains_folded_next_to_the_structure_are_told():
    # At 44 samples a second 50 Hz shows at 6 Hz.
    t = np.arange(44 * 8) / 44
    y = Truth(6.1, 0.018).at(np.clip(t - 3, 0, None)) * (t >= 3)
    answer = answered(t, y + np.random.default_rng(0).normal(0, 0.01, t.size))
    assert "ring-near-mains" in codes(answer)


def test_stated_windows_are_taken_in_place_of_found_ones():
    t, y, _ = recording([ONE] * 2)
    answer = answered(t, y, setup=Setup(windows_s=[[3.5, 6.0]]))
    ((_, _, start, end, *_),) = answer.tables[0].rows
    assert (start, end) == pytest.approx((3.5, 6.0), abs=0.02)


def test_files_together_give_one_answer():
    tables = []
    for k in range(3):
        t, y, _ = recording([ONE], seed=k, noise=0.02)
        tables.append(BenchTable(f"{k}.csv", {"time": t, "displacement": y}))
    answer = settled(reduce(tables, Setup()))
    assert "3 of 3 releases" in answer.figures["ringdown.first.damping"].method
    assert "ring-single" not in codes(answer)


@pytest.mark.parametrize(
    ("t", "y"),
    [
        (np.zeros(0), np.zeros(0)),
        (np.array([1.0]), np.array([1.0])),
        (np.arange(900) / 100, np.ones(900)),
        (np.arange(900) / 100, np.full(900, 1e300)),
        (np.arange(900) / 100, np.random.default_rng(0).normal(size=900)),
        (np.arange(900)[::-1] / 100, np.random.default_rng(0).normal(size=900)),
        (np.arange(900) / 100, (np.arange(900) > 500) * 1.0),
        (np.full(900, np.nan), np.ones(900)),
    ],
)
def test_what_does_not_ring_is_withheld(t, y):
    answer = answered(t, y)
    assert not answer.figures
    assert set(answer.withheld) == {f"ringdown.first.{f}" for f in (
        "frequency", "damping", "amplitude")}  # fmt: skip
    assert "ring-not-found" in codes(answer)


def test_files_without_a_common_motion_are_withheld():
    t, _, _ = recording([ONE])
    answer = settled(reduce([BenchTable("a", {"time": t})], Setup()))
    assert "column of motion" in answer.withheld["ringdown.first.frequency"]
    assert settled(reduce([], Setup())).withheld


def test_a_window_of_minutes_takes_seconds():
    t = np.arange(40_000) / 400
    y = np.sin(40 * t) * np.exp(-(t % 50)) + 0.001
    answer = answered(t, y, setup=Setup(windows_s=[[5.0, 95.0]]))
    assert answer.figures or answer.withheld


@settings(max_examples=8, deadline=None)
@given(
    y=arrays(float, 60, elements=st.floats(allow_nan=True, allow_infinity=True, width=64)),
    ringing=st.booleans(),
)
def test_no_numbers_break_it(y, ringing):
    t = np.arange(260) / 50
    signal = Truth(4.0, 0.02).at(t) * ringing
    signal[100:160] = y
    answer = answered(t, signal)
    assert answer.figures or answer.withheld
    for figure in answer.figures.values():
        assert math.isfinite(figure.quantity.std)


def test_handling_is_left_out_and_told():
    t, y, _ = recording([ONE] * 2)
    answer = answered(t, y)
    finding = next(f for f in answer.findings if f.code == "ring-left-out")
    assert "2.0" in finding.message  # the hand is there from 2 to 3 s
    assert len(answer.tables[0].rows) == 2


def test_handling_stronger_than_the_ring_is_cut_off():
    t, y, starts = recording([ONE] * 3, handling=1.5, noise=0.02, ring_s=4.0)
    answer = answered(t, y)
    damping, frequency = number(answer, "first.damping"), number(answer, "first.frequency")
    assert abs(damping.value - 1.8) < 3 * damping.std
    assert abs(frequency.value - 6.5) < 3 * frequency.std
    assert "ringdown.second.frequency" not in answer.figures
    for row, start in zip(answer.tables[0].rows, starts, strict=True):
        assert row[2] >= start


def test_a_motor_that_runs_beside_it_and_noise_of_the_room_are_told():
    rng = np.random.default_rng(3)
    t = np.arange(1400) / 200
    y = Truth(6.5, 0.018).at(np.clip(t - 2, 0, None)) * (t >= 2)
    y = y + 0.1 * np.sin(2 * math.pi * 13.3 * t) + rng.normal(0, 0.01, t.size)
    assert "ring-steady-line" in codes(answered(t, y))
    band = np.fft.rfft(rng.normal(0, 1, t.size))
    hertz = np.fft.rfftfreq(t.size, 1 / 200)
    band[(hertz < 5) | (hertz > 8.5)] = 0
    y = Truth(6.5, 0.018).at(np.clip(t - 2, 0, None)) * (t >= 2)
    shaken = np.fft.irfft(band, t.size)
    shaken *= 0.02 / shaken.std()
    assert "ring-noise-coloured" in codes(answered(t, y + shaken))


def test_times_that_were_put_right_are_told():
    t, y, _ = recording([ONE])
    y[5] = np.nan
    assert "1 rows without a usable number" in next(
        f.message for f in answered(t, y).findings if f.code == "ring-times"
    )


# --- releases together


def test_repeats_are_as_wide_as_they_scatter_and_never_narrower_than_their_fits():
    # Student's: s = 0.1, n = 4, t(3) = 3.182.
    values, stds = np.array([1.0, 1.1, 1.2, 1.3]), np.full(4, 0.01)
    wide = together(values, stds, "%")
    half = wide.interval()[1] - wide.value
    assert half == pytest.approx(3.182446 * np.std(values, ddof=1) / 2, rel=1e-4)
    alike = together(np.full(4, 1.0), np.full(4, 0.1), "%")
    assert alike.std == pytest.approx(0.05)
    assert together(np.array([2.0]), np.array([0.3]), "%").std == pytest.approx(0.3)


@pytest.mark.parametrize("between", [0.0, 0.1, 0.4])
def test_intervals_of_repeats_hold_the_truth(between):
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(600):
        values = rng.normal(0, math.hypot(0.1, between), 3)
        inside += abs(together(values, np.full(3, 0.1), "%").value) < (
            1.96 * together(values, np.full(3, 0.1), "%").std)  # fmt: skip
    assert inside / 600 > 0.93


# --- baseline in the bench file


def ring_with(baseline, mass_kg=None):
    t, y, _ = recording([ONE], noise=0.02, ring_s=3.0, rate_hz=100.0)
    made = RingdownBench(baseline=baseline, mass_kg=mass_kg).model_dump()
    return answered(t, y, setup=Setup(**made))


def test_a_fall_beyond_five_percent_asks_for_an_inspection():
    answer = ring_with({"first": {"frequency_hz": 7.0, "frequency_std_hz": 0.02}})
    finding = next(f for f in answer.findings if f.code == "structure-changed")
    # 6.5 against 7.0.
    assert "fell by 7.1 %" in finding.message
    assert "5 %" in finding.message
    assert "ringdown.first.frequency" in answer.figures


def test_damping_at_another_amplitude_is_not_compared():
    answer = ring_with(
        {"first": {"damping_percent": 0.6, "damping_std_percent": 0.05, "amplitude_mm": 20.0}}
    )
    finding = next(f for f in answer.findings if f.code == "structure-not-compared")
    assert "amplitude" in finding.message


def test_another_mass_is_not_compared():
    answer = ring_with(
        {"first": {"frequency_hz": 7.0, "frequency_std_hz": 0.02, "mass_kg": 9.0}}, mass_kg=7.9
    )
    assert "structure-not-compared" in codes(answer)
    assert "structure-changed" not in codes(answer)


def test_the_keys_of_the_bench_file_are_those_of_the_setup():
    assert set(RingdownBench.model_fields) == set(Setup.__dataclass_fields__)
    assert GROUND_FIGURES["ringdown.first.frequency"].unit == "Hz"


def test_an_oscillation_that_is_gone_is_not_passed_over():
    answer = ring_with({"second": {"frequency_hz": 11.0, "frequency_std_hz": 0.02}})
    finding = next(f for f in answer.findings if f.code == "structure-not-compared")
    assert "11 Hz" in finding.message
    assert "gives none" in finding.message


def test_a_shadow_of_a_faster_oscillation_is_not_compared():
    """9.2 Hz at 20 samples a second is withheld, so that it grounds and clears nothing."""
    t, y, _ = recording([[replace(ONE[0], frequency_hz=9.2)]], noise=0.02, ring_s=6.0, rate_hz=20.0)
    made = RingdownBench(
        baseline={"first": {"frequency_hz": 6.5, "frequency_std_hz": 0.02}}
    ).model_dump()
    answer = answered(t, y, setup=Setup(**made))
    assert "ring-sampling-slow" in codes(answer)
    assert "structure-changed" not in codes(answer)
    assert "structure-not-compared" in codes(answer)


def test_an_earlier_test_without_uncertainty_is_said_to_be_taken_as_exact():
    found = ring_with({"first": {"frequency_hz": 7.0}})
    assert {"structure-changed", "sensor-uncertainty-assumed"} <= set(codes(found))


def test_names_that_may_have_moved_are_told():
    """Earlier 6.5 and 7.3 Hz; now the lower one was not excited, so that 7.3 Hz is the first."""
    t, y, _ = recording(
        [[replace(ONE[0], frequency_hz=7.3)]], noise=0.02, ring_s=3.0, rate_hz=100.0
    )
    baseline = {"first": {"frequency_hz": 6.5}, "second": {"frequency_hz": 7.3}}
    told = [f.message for f in answered(t, y, setup=Setup(baseline=baseline)).findings]
    assert any("Second" in m and "gives none" in m for m in told)


def test_side_lines_of_a_bent_decay_take_no_names():
    from flightlog.groundtests.damped_numbers import Mode
    from flightlog.groundtests.ringdown import _sure

    def mode(hertz, damping, std, size):
        return Mode(hertz, 0.01, damping, std, size, 0.01, size, 0.1 * size)

    real = {k: mode(6.5, 0.03 + 0.001 * k, 0.001, 1.0) for k in range(5)}
    side = {k: mode(5.9, 0.002 + 0.006 * k, 0.004, 0.15) for k in range(3)}
    weak = {k: mode(14.0, 0.02 + 0.001 * k, 0.001, 0.05) for k in range(3)}
    wide = {k: mode(5.6 + 0.1 * k, 0.02 + 0.001 * k, 0.001, 0.15) for k in range(4)}
    assert _sure([side, wide, real, weak], [None] * 5) == [real, weak]


def test_a_slow_wing_that_rings_for_most_of_the_file_is_found():
    """1.7 Hz at 0.5 %: after 15 s it still swings by half, and little of the file is rest."""
    slow = [Truth(1.7, 0.005)]
    t, y, _ = recording([slow] * 2, noise=0.02, ring_s=15.0, rest_s=1.0, rate_hz=25.0)
    found = answered(t, y).figures
    low, high = found["ringdown.first.frequency"].quantity.interval()
    assert low < 1.7 < high
    assert found["ringdown.first.damping"].quantity.value == pytest.approx(0.5, rel=0.1)
