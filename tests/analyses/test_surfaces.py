"""Surfaces of made-up flights whose moves are written down, and a closed-form aircraft."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses import surface_answers, surfaces
from flightlog.analyses.surface_data import surfaces_of
from flightlog.figures import Answer
from flightlog.inputs import Aircraft, Baseline, Inputs
from tests.analyses.made import path, recording, sortie

LINKAGE = ((1100.0, 20.0), (1500.0, 0.0), (1900.0, -20.0))
T = np.arange(10.0, 205.0, 0.04)
LATE_S, DAMPING, STRENGTH = 0.06, 5.0, 30.0


def aircraft(**more: Any) -> Aircraft:
    known = {"outputs": {2: "Elevator", 3: "motor"}, "linkages": {2: LINKAGE}}
    return Aircraft("pannier", "0" * 64, **(known | more))


def outputs(pulse: np.ndarray | float, channel: int = 2, t: np.ndarray = T) -> pd.DataFrame:
    return pd.DataFrame({"time_s": t, "channel": channel, "pulse_us": pulse * np.ones(t.size)})


def imu(t: np.ndarray, pitch_rate: np.ndarray | float = 0.0) -> pd.DataFrame:
    still = {f"gyro_{a}_rad_s": 0.0 for a in "xz"} | {f"accel_{a}_m_s2": 0.0 for a in "xy"}
    return pd.DataFrame(
        {"time_s": t, "instance": 0, "gyro_y_rad_s": pitch_rate, "accel_z_m_s2": -9.8, **still}
    )


def attitude(roll: float = 0.0) -> pd.DataFrame:
    return pd.DataFrame({"time_s": T, "roll_rad": roll, "pitch_rad": 0.0, "yaw_rad": 0.0})


def told(known: Aircraft | None = None, **tables: pd.DataFrame) -> Answer:
    level = path(np.arange(5.0, 205.0, 0.2), height=lambda t: 40.0 + 0 * t)
    return surfaces.answer(
        recording(**tables), sortie(), level, Inputs(aircraft=known or aircraft())
    )


def value(answer: Answer, figure: str) -> float:
    return answer.figures[f"surface.elevator.{figure}"].quantity.value


def codes(answer: Answer) -> list[str]:
    return [f.code for f in answer.findings]


# --- ends of the travel


def test_saturation_is_the_share_of_the_airborne_time_at_an_end():
    # Airborne from 25 to 190 s; 8.25 s of them are 5 %.
    pulse = np.where((T >= 100.0) & (T < 108.25), 1898.0, 1500.0)
    answer = told(outputs=outputs(pulse))
    (finding,) = [f for f in answer.findings if f.code == "surface-saturated"]

    assert value(answer, "saturation") == pytest.approx(0.05, abs=0.0005)
    assert finding.evidence["longest_s"] == pytest.approx(8.25, abs=0.05)
    assert finding.evidence["before_touchdown_s"] == 0
    assert finding.start_s == pytest.approx(100.0, abs=0.05)


@pytest.mark.parametrize(
    ("start", "length", "found"),
    [(60.0, 0.4, False), (60.0, 0.7, True), (169.0, 0.2, False), (180.0, 0.2, True)],
)
def test_half_a_second_at_once_or_anything_before_touchdown_is_told(start, length, found):
    pulse = np.where((start <= T) & (start + length > T), 1100.0, 1500.0)

    assert ("surface-saturated" in codes(told(outputs=outputs(pulse)))) == found


def test_on_the_ground_a_surface_may_be_at_its_end():
    pulse = np.where((T < 24.0) | (T > 191.0), 1900.0, 1500.0)
    answer = told(outputs=outputs(pulse))

    assert value(answer, "saturation") == 0
    assert "surface-saturated" not in codes(answer)


def test_without_a_table_the_ends_are_the_usual_ones_and_degrees_are_asked_for():
    answer = told(aircraft(linkages={}), outputs=outputs(1500.0))

    assert "no table of travel" in answer.figures["surface.elevator.saturation"].method
    for figure in ("trim", "reversals", "travel"):
        assert "needs [outputs.2] deflection" in answer.withheld[f"surface.elevator.{figure}"]


def test_a_motor_is_no_surface_and_a_silent_output_says_what_to_log():
    answer = told(outputs=outputs(1500.0, channel=3))

    assert set(answer.withheld) == {f"surface.elevator.{w}" for w in surfaces.FIGURES_OF_ONE}
    assert not answer.figures


def test_names_of_surfaces_and_of_what_is_none():
    names = {
        1: "left aileron",
        2: "Flap",
        3: "motor",
        4: "tail wheel",
        5: "drop",
        6: "flap",
        7: "*",
    }
    found = surfaces_of(aircraft(outputs=names, linkages={7: LINKAGE}))

    assert [s.figure("trim") for s in found] == [
        "surface.left_aileron.trim",
        "surface.flap.trim",
        "surface.flap_6.trim",
        "surface.output_7.trim",
    ]


# --- moves and trim


def test_moves_of_a_swing():
    # 2 deg at 0.5 Hz: two turning points and 8 deg of travel in every 2 s.
    answer = told(outputs=outputs(1500.0 + 40.0 * np.sin(np.pi * T)))

    assert value(answer, "reversals") == pytest.approx(1.0, abs=0.01)
    assert value(answer, "travel") == pytest.approx(4.0, rel=0.01)


def test_trim_is_the_deflection_in_steady_level_flight_only():
    # The second half is turned through, with another deflection.
    pulse = np.where(T < 110.0, 1460.0, 1400.0)
    turning = np.where(T < 110.0, 0.0, 0.2)
    fast = {"imu": imu(T, turning), "attitude": attitude()}
    answer = told(outputs=outputs(pulse), **fast)
    trim = answer.figures["surface.elevator.trim"].quantity

    assert trim.value == pytest.approx(2.0)
    assert trim.std >= 0.5
    assert "[baseline]" in answer.withheld["surface.elevator.trim_shift"]


@pytest.mark.parametrize(("before", "found"), [(4.5, True), (3.5, False), (-0.5, True)])
def test_a_shift_beyond_two_degrees_is_told_with_confidence(before, found):
    known = aircraft(baseline={"surface.elevator.trim": Baseline(before, 0.2)})
    answer = told(known, outputs=outputs(1460.0), imu=imu(T), attitude=attitude())

    assert value(answer, "trim_shift") == pytest.approx(2.0 - before)
    assert ("trim-shifted" in codes(answer)) == found


def test_a_shift_within_the_spread_of_flights_is_not_told():
    known = aircraft(baseline={"surface.elevator.trim": Baseline(4.5, 0.5)})

    assert "trim-shifted" not in codes(
        told(known, outputs=outputs(1460.0), imu=imu(T), attitude=attitude())
    )


def test_a_flight_in_a_bank_has_no_trim():
    answer = told(outputs=outputs(1460.0), imu=imu(T), attitude=attitude(roll=0.3))

    assert "steady level flight" in answer.withheld["surface.elevator.trim"]


# --- answers


@cache
def pitched(width: float, late_s: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, what the servo was told [deg], and the pitch rate [deg/s] that it brings."""
    rng = np.random.default_rng(4)
    step = 0.005
    t = np.arange(10.0, 205.0, step)
    hand = np.interp(t, np.arange(10.0, 206.0, 0.4), rng.normal(0, 2.0, 490))
    surface, rate, seen = 0.0, 0.0, np.zeros(t.size)
    late = round(late_s / step)
    for k, servo in enumerate(np.pad(hand, (late, 0), mode="edge")[: t.size].tolist()):
        surface = min(max(surface, servo - width / 2), servo + width / 2)
        rate += (-DAMPING * rate - STRENGTH * surface) * step
        seen[k] = rate
    return t, hand, seen + rng.normal(0, 0.3, t.size)


def answering(
    known: Aircraft | None = None,
    *,
    width: float = 0.0,
    imu_hz: float = 200.0,
    outputs_hz: float = 25.0,
    late_s: float = LATE_S,
    stamped_s: float = 0.0,
) -> Answer:
    """What is told of a pitch rate that a deflection brings, with noise of the sensor."""
    t, hand, seen = pitched(width, late_s)
    every = round(200.0 / imu_hz)
    when = np.arange(10.0, 205.0, 1 / outputs_hz)
    pulse = 1500.0 - 20.0 * np.interp(when, t, hand)
    return told(
        known,
        outputs=outputs(pulse, t=when + stamped_s),
        imu=imu(t[::every], np.radians(seen[::every])),
    )


def test_lag_and_gain_of_a_sound_surface_and_no_play():
    answer = answering()
    play = answer.figures["surface.elevator.play"].quantity

    assert value(answer, "lag") == pytest.approx(LATE_S, abs=0.012)
    # Positive: trailing edge down puts the nose down, as it should.
    gain = STRENGTH / DAMPING * (1 - np.exp(-DAMPING * 0.3))
    assert value(answer, "gain") == pytest.approx(gain, rel=0.05)
    assert play.interval()[1] < 0.6
    assert codes(answer) == []


@pytest.mark.parametrize("outputs_hz", [50.0, 25.0, 10.0])
@pytest.mark.parametrize("late_s", [0.0, 0.03, 0.06])
def test_a_lag_is_never_below_zero_and_its_interval_holds_the_truth(late_s, outputs_hz):
    answer = answering(aircraft(linkages={}), late_s=late_s, outputs_hz=outputs_hz)
    lag = answer.figures["surface.elevator.lag"].quantity
    low, high = lag.interval()

    assert lag.value >= 0
    assert 0 <= low <= late_s <= high
    # Nothing is gained by hiding: the upper end says how late it may be.
    assert 0 < high < late_s + 0.1


def test_an_answer_before_the_command_is_one_of_two_clocks():
    # Stamped 0.04 s late, a surface that answers at once seems to answer before.
    answer = answering(late_s=0.0, stamped_s=0.04)

    for figure in ("lag", "play"):
        assert "before it is told to" in answer.withheld[f"surface.elevator.{figure}"]
    assert "surface.elevator.gain" in answer.figures
    assert "surface-play" not in codes(answer)


def test_play_beyond_the_limit_is_told_and_the_aircraft_file_has_its_own_limit():
    own = aircraft(limits={"surface.elevator.play": {"at_most": 3.5, "unit": "deg"}})
    first, second = answering(width=2.0), answering(own, width=2.0)

    (finding,) = [f for f in first.findings if f.code == "surface-play"]
    assert finding.evidence["low_deg"] < 2.0 < finding.evidence["high_deg"]
    assert value(first, "play") == pytest.approx(2.0, abs=0.3)
    assert "surface-play" not in codes(second)


def test_a_surface_that_no_width_explains_is_no_play(monkeypatch):
    fitted = surface_answers.answer_to_surface

    def to_the_end(*given: Any) -> Any:
        found = fitted(*given)
        if found is None or not found.widths_deg.size:
            return found
        return replace(found, probability=(found.widths_deg > 3.7) / 2)

    monkeypatch.setattr(surface_answers, "answer_to_surface", to_the_end)
    answer = answering(width=2.0)

    assert "no width up to 4 deg explains" in answer.withheld["surface.elevator.play"]
    assert "surface-play" not in codes(answer)


@pytest.mark.parametrize("rates", [{"imu_hz": 50.0}, {"outputs_hz": 10.0}])
def test_a_slow_log_does_not_exclude_play(rates):
    answer = answering(**rates)
    (finding,) = [f for f in answer.findings if f.code == "not-excluded"]

    assert finding.evidence == {"fault": "surface-play"}
    assert "cannot be excluded" in finding.message
    assert "Hz" in answer.withheld["surface.elevator.play"]
    assert "surface.elevator.lag" in answer.figures


@pytest.mark.parametrize(
    ("lag", "gain", "found"),
    [(0.06, 4.66, False), (0.01, 4.66, True), (0.04, 4.66, False), (0.06, 7.5, True)],
)
def test_later_or_weaker_answers_than_the_baseline_are_told(lag, gain, found):
    known = aircraft(
        baseline={
            "surface.elevator.lag": Baseline(lag, 0.004),
            "surface.elevator.gain": Baseline(gain, 0.2),
        }
    )

    assert ("surface-slow" in codes(answering(known))) == found


def test_swinging_under_quiet_commands_is_told_and_steady_flight_is_not():
    t = np.arange(10.0, 205.0, 0.01)
    swing = np.radians(8.0) * np.sin(2 * np.pi * 5.0 * t) * ((t > 80) & (t < 95))
    quiet = outputs(1500.0)
    (finding,) = [
        f for f in told(outputs=quiet, imu=imu(t, swing)).findings if f.code == "limit-cycle"
    ]
    busy = outputs(1500.0 + 20.0 * np.sin(2 * np.pi * 5.0 * T))

    assert finding.evidence["axis"] == "pitch"
    assert finding.evidence["frequency_hz"] == pytest.approx(5.0, abs=0.5)
    assert finding.evidence["rate_deg_s"] == pytest.approx(8.0 / np.sqrt(2), rel=0.15)
    assert finding.start_s == pytest.approx(80.0, abs=2.0)
    assert "limit-cycle" not in codes(told(outputs=busy, imu=imu(t, swing)))
    assert "limit-cycle" not in codes(told(outputs=quiet, imu=imu(t)))


# --- supply


def supply(dip_v: float, start: float = 100.0, length: float = 0.5) -> pd.DataFrame:
    t = np.arange(10.0, 205.0, 0.1)
    volts = np.where((t >= start) & (t < start + length), dip_v, 5.2)
    return pd.DataFrame({"time_s": t, "board_voltage_v": 5.1, "servo_voltage_v": volts})


def test_a_dip_while_servos_work_is_told_and_one_at_rest_is_not():
    work = outputs(1500.0 + 200.0 * np.sin(6 * T) * ((T > 98) & (T < 104)))
    elsewhere = outputs(1500.0 + 200.0 * np.sin(0.6 * T) * (T < 90))
    found = told(outputs=work, supply=supply(4.5))

    assert found.figures["supply.min_voltage"].quantity.value == pytest.approx(4.5)
    assert codes(found).count("servo-supply-low") == 1
    assert "servo-supply-low" not in codes(told(outputs=work, supply=supply(4.9)))
    assert "servo-supply-low" not in codes(told(outputs=elsewhere, supply=supply(4.5)))


def test_a_sensor_that_nothing_is_connected_to_gives_no_voltage():
    answer = told(outputs=outputs(1500.0), supply=supply(0.0, 0.0, 300.0))

    assert "nothing is connected" in answer.withheld["supply.min_voltage"]
    assert "servo-supply-low" not in codes(answer)


# --- hostile tables


@pytest.mark.parametrize("damage", ["nan", "equal", "huge", "few", "gap"])
def test_damaged_tables_give_reasons_and_no_numbers_out_of_nothing(damage):
    t = T.copy()
    pulse = 1500.0 + 50.0 * np.sin(T)
    if damage == "nan":
        pulse[:] = np.nan
    elif damage == "equal":
        t[:] = 100.0
    elif damage == "huge":
        t[-1] = 1e300
    elif damage == "few":
        t, pulse = t[:3], pulse[:3]
    else:
        t[T > 50] += 100.0
    answer = told(
        outputs=outputs(pulse, t=t),
        imu=imu(t, 0.01 * np.sin(t)),
        supply=supply(4.0).assign(time_s=np.inf),
    )

    for figure in answer.figures.values():
        assert np.isfinite(figure.quantity.interval()).all()
