"""Greatest speed and temperature of the motor, truth known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses import motor
from flightlog.figures import Answer
from tests.analyses.made import recording, sortie

T = np.arange(0.0, 100.0, 0.1)
FLIGHT = sortie(20.0, 90.0)
SPEED, TEMPERATURE = "motor.max_speed", "motor.max_temperature"


def ask(rpm: np.ndarray, kelvin: np.ndarray | float, **more: np.ndarray) -> Answer:
    table = pd.DataFrame(
        {
            "time_s": T,
            "instance": 0,
            "speed_rad_s": rpm * 2 * np.pi / 60,
            "temperature_k": kelvin,
            **more,
        }
    )
    return motor.answer(recording(rotation=table), FLIGHT)


def test_the_noise_of_single_samples_is_no_speed() -> None:
    """6000 rpm for 20 s under 60 rpm of noise, one sample of which reads three times as much."""
    rng = np.random.default_rng(2)
    rpm = np.where((T > 40) & (T < 60), 6000.0, 4000.0) + 60 * rng.standard_normal(T.size)
    quantity = ask(rpm, 300.0).figures[SPEED].quantity
    assert quantity.unit == "rpm"
    assert quantity.value == pytest.approx(6000, abs=2.5 * quantity.std)
    assert quantity.std < 50


def test_temperature_is_in_degrees_celsius_and_of_this_flight() -> None:
    kelvin = 293.15 + 40 * np.clip(T / 80, 0, 1)
    kelvin[T > 95] = 500.0  # after the flight
    quantity = ask(np.full(T.size, 4000.0), kelvin).figures[TEMPERATURE].quantity
    assert quantity.value == pytest.approx(60.0)
    assert quantity.unit == "°C"


def test_the_hotter_and_faster_of_two_motors_counts() -> None:
    one = pd.DataFrame({"time_s": T, "instance": 0, "speed_rad_s": 500.0, "temperature_k": 300.0})
    log = recording(
        rotation=pd.concat([one, one.assign(instance=1, speed_rad_s=600.0, temperature_k=330.0)])
    )
    figures = motor.answer(log, FLIGHT).figures
    assert figures[SPEED].quantity.value == pytest.approx(600 * 30 / np.pi)
    assert figures[TEMPERATURE].quantity.value == pytest.approx(330 - 273.15)
    assert "2 motors" in figures[SPEED].method


@pytest.mark.parametrize("kelvin", [np.nan, 273.15, 0.0, -5.0])
def test_a_sensor_that_is_not_there_has_no_temperature(kelvin: float) -> None:
    answer = ask(np.full(T.size, 4000.0), kelvin)
    assert "no temperature" in answer.withheld[TEMPERATURE]


@pytest.mark.parametrize("rpm", [0.0, np.nan, 1e12])
def test_a_motor_that_did_not_run_has_no_speed(rpm: float) -> None:
    assert "no motor speed" in ask(np.full(T.size, rpm), 300.0).withheld[SPEED]


def test_nothing_logged_is_withheld() -> None:
    answer = motor.answer(recording(), FLIGHT)
    assert set(answer.withheld) == {SPEED, TEMPERATURE}
