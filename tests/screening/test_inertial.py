"""The accelerometer against gravity: unit, sign, mounting, limit and sampling."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from flightlog.debriefing import debrief
from flightlog.importers.common import Notes
from flightlog.importers.house import house_table
from flightlog.inputs import Inputs
from flightlog.recording import Recording
from flightlog.screening.inertial import ACCEL, find_limit, tilt_at_rest, unit_of
from tests.screening.flights import (
    PANNIER,
    changed,
    clean,
    found,
    is_withheld_for,
    only,
    sortie,
    value,
)
from tests.screening.made import findings, sample

CALM = Inputs(aircraft=PANNIER)
G = 9.80665
OURS = {"accelerometer-unit", "board-rotated", "accelerometer-clipped", "vibration-folds"}


def with_force(change: object) -> Recording:
    """The calm flight with its accelerations, shape (n, 3), put through a function."""

    def apply(table: pd.DataFrame) -> pd.DataFrame:
        table[list(ACCEL)] = change(table[list(ACCEL)].to_numpy())  # type: ignore[operator]
        return table

    return changed(sample(), "imu", apply)


def test_the_clean_flight_says_nothing_of_its_accelerometer():
    assert not {f.code for f in findings(clean())} & OURS


# --- accelerometer-unit


@pytest.mark.parametrize(
    ("reads", "unit"),
    [(1.0, "g"), (1000.0, "thousandths of g"), (32.174, "ft/s²"), (9.81, ""), (300.0, "")],
)
def test_a_reading_at_rest_tells_its_unit(reads, unit):
    assert unit_of(reads / G) == unit


@pytest.mark.parametrize(
    ("factor", "reads", "unit"), [(1 / G, "0.99", "g"), (3.2808, "31.9", "ft/s²")]
)
def test_an_accelerometer_in_another_unit_is_found_and_stops_what_needs_it(factor, reads, unit):
    result = debrief(with_force(lambda f: f * factor), CALM)
    finding = only(result, "accelerometer-unit")

    assert reads in finding.message
    assert finding.evidence["looks_like"] == unit
    assert "Nothing was converted" in finding.remedy
    for figure in ("takeoff.ground_roll", "flight.max_load_factor", "flight.min_load_factor"):
        assert is_withheld_for(result, figure, "accelerometer-unit")
    assert "energy.used" in sortie(result).figures


def test_thousandths_of_g_that_an_importer_left_out_are_found_by_what_it_left_out():
    notes = Notes()
    table = sample()["imu"]
    columns = {name: table[name].to_numpy() for name in table.columns if name != "instance"}
    for name in ACCEL:
        columns[name] = columns[name] * 1000 / G
    imu = house_table("imu", columns, notes)
    recording = changed(sample(), "imu", lambda _: imu, notes.findings)

    finding = only(debrief(recording, CALM), "accelerometer-unit")

    assert imu["accel_z_m_s2"].isna().all()
    assert finding.evidence["looks_like"] == "thousandths of g"


def test_a_sign_turned_round_is_found_and_stops_what_needs_it():
    result = debrief(with_force(lambda f: -f), CALM)
    finding = only(result, "accelerometer-unit")

    assert "+9.7" in finding.message
    assert "-9.81" in finding.message
    assert is_withheld_for(result, "takeoff.ground_roll", "accelerometer-unit")
    assert not found(result, "board-rotated")


@pytest.mark.parametrize("zero", [0.4, -0.4])
def test_an_uncalibrated_zero_and_scale_are_no_unit(zero):
    result = debrief(with_force(lambda f: 1.03 * f + zero), CALM)

    assert not found(result, "accelerometer-unit")


# --- board-rotated


@pytest.mark.parametrize(
    ("force", "roll_deg", "pitch_deg"),
    [
        ((0.0, 0.0, -1.0), 0.0, 0.0),
        # Nose up by 10 degrees: what holds the aircraft up points forward along its body.
        ((math.sin(math.radians(10)), 0.0, -math.cos(math.radians(10))), 0.0, 10.0),
        # Right wing down by 20 degrees: it points to the left.
        ((0.0, -math.sin(math.radians(20)), -math.cos(math.radians(20))), 20.0, 0.0),
    ],
)
def test_gravity_felt_and_attitude_agree_where_the_board_sits_straight(force, roll_deg, pitch_deg):
    tilt = tilt_at_rest(9.8 * np.array(force), math.radians(roll_deg), math.radians(pitch_deg))

    assert tilt.apart_deg == pytest.approx(0.0, abs=1e-5)
    assert tilt.felt_roll_deg == pytest.approx(roll_deg, abs=1e-9)
    assert tilt.felt_pitch_deg == pytest.approx(pitch_deg, abs=1e-9)


def nose_up(force: np.ndarray, degrees: float) -> np.ndarray:
    """What a board feels that sits nose up by so much in a level aircraft."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    # Its forward axis points up a little, so that it sees the force that holds the aircraft.
    turn = np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]])
    return np.asarray(force @ turn.T)


def test_a_board_that_sits_nose_up_against_the_attitude_stops_what_needs_it():
    result = debrief(with_force(lambda f: nose_up(f, 8.0)), CALM)
    finding = only(result, "board-rotated")

    # The zero of the sample's own accelerometer turns gravity by 0.9 degrees to begin with.
    assert finding.evidence["apart_deg"] == pytest.approx(8.0, abs=0.95)
    assert finding.evidence["felt_pitch_deg"] - finding.evidence["pitch_deg"] == pytest.approx(
        8.0, abs=0.95
    )
    assert f"{finding.evidence['apart_deg']:.1f}°" in finding.message
    for figure in ("takeoff.ground_roll", "flight.max_load_factor", "flight.max_bank"):
        assert is_withheld_for(result, figure, "board-rotated")


def test_three_degrees_are_within_zero_and_attitude():
    assert not found(debrief(with_force(lambda f: nose_up(f, 3.0)), CALM), "board-rotated")


def test_an_aircraft_that_rests_tilted_by_both_is_told_and_nothing_is_withheld():
    def lean(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(roll_rad=table["roll_rad"] + math.radians(8.0))

    c, s = math.cos(math.radians(8.0)), math.sin(math.radians(8.0))
    turn = np.array([[1, 0, 0], [0, c, s], [0, -s, c]])
    leaning = changed(with_force(lambda f: f @ turn.T), "attitude", lean)
    result = debrief(leaning, CALM)
    finding = only(result, "board-rotated")

    assert finding.severity == "note"
    assert finding.evidence["felt_roll_deg"] == pytest.approx(8.0, abs=1.0)
    assert "takeoff.ground_roll" in sortie(result).figures


# --- accelerometer-clipped


def test_a_limit_is_where_samples_pile_up():
    rng = np.random.default_rng(20260101)
    values = rng.normal(9.8, 12.0, 20_000)
    limit = find_limit(np.clip(values, -39.2266, 39.2266))

    assert limit is not None
    assert limit.value == pytest.approx(39.2266)
    assert limit.count >= (values >= 39.2266).sum()


@pytest.mark.parametrize("step", [0.0, 0.01, 0.5])
def test_noise_and_coarse_steps_and_a_sustained_turn_are_no_limit(step):
    rng = np.random.default_rng(20260101)
    for scale in (3.0, 12.0, 30.0):
        for _ in range(30):
            values = rng.normal(9.8, scale, 5000)
            values[:200] = rng.normal(24.5, 0.5, 200)
            if step:
                values = np.round(values / step) * step
            assert find_limit(values) is None


def stronger(force: np.ndarray) -> np.ndarray:
    """Four times the manoeuvres along the down axis, at a sensor that ends at 2 g."""
    force = force.copy()
    force[:, 2] = np.clip(-G + 4 * (force[:, 2] + G), -2 * G, 2 * G)
    return force


def test_a_clipped_accelerometer_gives_no_greatest_load_factor_but_a_bound():
    recording = with_force(stronger)
    result = debrief(recording, CALM)
    finding = next(f for f in found(result, "accelerometer-clipped") if f.severity == "stop")

    one = sortie(result).sortie
    imu = recording["imu"]
    flying = imu["time_s"].between(one.liftoff_s, one.touchdown_s)
    at_limit = int((imu["accel_z_m_s2"][flying] == -2 * G).sum())
    assert at_limit <= finding.evidence["samples"] <= 1.05 * at_limit
    assert finding.evidence["limit_m_s2"] == pytest.approx(-2 * G)
    assert "2.0 g" in finding.message
    assert "the greatest load factor is at least" in finding.message
    # The zero that the rest before the roll shows is 0.4 m/s² at most.
    assert 1.5 < finding.evidence["at_least"] <= 2.0 + 0.4 / G
    assert is_withheld_for(result, "flight.max_load_factor", "accelerometer-clipped")
    assert "flight.min_load_factor" in sortie(result).figures
    assert "takeoff.ground_roll" in sortie(result).figures


def test_a_limit_met_in_the_landing_alone_leaves_the_load_factor_of_the_flight():
    one = sortie(clean()).sortie

    def hard(table: pd.DataFrame) -> pd.DataFrame:
        rows = table["time_s"].between(one.touchdown_s + 1.2, one.touchdown_s + 1.3)
        table.loc[rows, "accel_z_m_s2"] = -4 * G
        return table

    result = debrief(changed(sample(), "imu", hard), CALM)
    finding = only(result, "accelerometer-clipped")

    assert finding.severity == "note"
    # A hair's breadth apart: the touchdown, where the flight ends, is smoothed over the hit too.
    sound = pytest.approx(value(clean(), "flight.max_load_factor"), rel=1e-4)
    assert value(result, "flight.max_load_factor") == sound


# --- vibration-folds


def test_a_slow_imu_on_a_loud_motor_is_told():
    rng = np.random.default_rng(20260101)

    def slow(table: pd.DataFrame) -> pd.DataFrame:
        table = table.iloc[::4].reset_index(drop=True)
        return table.assign(accel_z_m_s2=table["accel_z_m_s2"] + rng.normal(0, 3.0, len(table)))

    finding = only(debrief(changed(sample(), "imu", slow), CALM), "vibration-folds")

    assert finding.severity == "note"
    assert finding.evidence["rate_hz"] == pytest.approx(25.0)
    assert finding.evidence["scatter_m_s2"] == pytest.approx(3.0, rel=0.1)
    assert "faster than 12.5 Hz" in finding.message
