"""Vibration of made-up flights whose propeller, hiss and ringing part are known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses import vibration, vibration_orders
from flightlog.figures import Answer, Figure
from flightlog.inputs import Aircraft, Baseline, Inputs
from flightlog.recording import Recording
from flightlog.uncertain import Uncertain
from tests.analyses.made import recording
from tests.wear.shaking import flight, shaken

FIRST, BLADES, PEAK = "vibration.first_order", "vibration.blade_pass", "vibration.structure_peak"


def inputs(normal: float | None = None, *structure_hz: float, spread: float = 0.15) -> Inputs:
    baseline = {} if normal is None else {FIRST: Baseline(normal, spread)}
    return Inputs(
        aircraft=Aircraft(
            "made", "", outputs={3: "motor"}, blades=2, baseline=baseline, structure_hz=structure_hz
        )
    )


def ask(log: Recording, given: Inputs | None = None) -> Answer:
    found, path, takeoff = flight()
    return vibration.answer(log, found, path, given or inputs(), takeoff)


def codes(answer: Answer) -> list[str]:
    return [f.code for f in answer.findings]


def holds(answer: Answer, id_: str, truth: float) -> bool:
    low, high = answer.figures[id_].quantity.interval(0.99)
    return low <= truth <= high


@pytest.mark.parametrize("logged", [True, False], ids=["logged", "from the spectrum"])
@pytest.mark.parametrize("rate_hz", [200.0, 400.0])
def test_multiples_of_the_propeller_are_measured(rate_hz: float, logged: bool) -> None:
    """1.0 and 0.5 m/s² at 100 turns a second, under as much hiss, though cruise turns at 73."""
    answer = ask(shaken(rate_hz, logged=logged))
    assert holds(answer, FIRST, 1.0)
    assert holds(answer, BLADES, 0.5)
    assert answer.figures[FIRST].quantity.std < 0.05
    assert ("rotation" in answer.figures[FIRST].sources) == logged
    assert not answer.findings


def test_folded_multiples_are_measured_as_well_and_it_is_said() -> None:
    answer = ask(shaken(100.0))
    assert holds(answer, FIRST, 1.0)
    assert holds(answer, BLADES, 0.5)
    assert "73 Hz, folded to 27 Hz at 100 Hz" in answer.figures[FIRST].method
    assert "left out where multiples fold onto it" in answer.figures[FIRST].method


def test_phases_have_their_own_level() -> None:
    """White noise of 0.3 m/s² on each axis, of which 95 of 100 Hz count."""
    answer = ask(shaken(tones=()))
    for phase in ("takeoff", "climb", "cruise", "descent"):
        assert holds(answer, f"vibration.{phase}", np.sqrt(3 * 0.95) * 0.3)
    louder = ask(shaken())
    assert (
        louder.figures["vibration.takeoff"].quantity.value
        > louder.figures["vibration.cruise"].quantity.value
        > louder.figures["vibration.descent"].quantity.value
    )


def test_a_propeller_that_shakes_three_times_as_much_is_told() -> None:
    answer = ask(shaken(tones=(3.0, 0.5, 0.2, 0.2)), inputs(1.0))
    (finding,) = answer.findings
    assert finding.code == "propeller-vibration"
    assert finding.evidence["times_normal"] == pytest.approx(3.0, rel=0.06)
    assert finding.severity == "note"


@pytest.mark.parametrize(
    ("times", "spread"),
    [(1.0, 0.15), (1.6, 0.15), (2.0, 0.15), (3.0, 2.0)],
    ids=["normal", "more", "twice", "scatters as much"],
)
def test_less_than_twice_or_what_sound_flights_do_is_no_finding(
    times: float, spread: float
) -> None:
    answer = ask(shaken(tones=(times, 0.5, 0.2, 0.2)), inputs(1.0, spread=spread))
    assert not answer.findings


def test_without_a_baseline_nothing_is_told() -> None:
    assert not ask(shaken(tones=(3.0, 0.5, 0.2, 0.2))).findings


def test_a_slow_imu_can_not_exclude_it() -> None:
    for rate, why in ((25.0, "25 Hz"), (50.0, "at 50 Hz multiple 1")):
        answer = ask(shaken(rate))
        (finding,) = answer.findings
        assert finding.code == "not-excluded"
        assert finding.evidence["fault"] == "propeller"
        assert why in finding.message
        assert why in answer.withheld[FIRST]


def test_a_speed_that_nothing_tells_can_not_exclude_it() -> None:
    for log in (shaken(tones=(), logged=False), shaken(logged=False).without("outputs")):
        answer = ask(log)
        assert codes(answer) == ["not-excluded"]
        assert "log the motor's speed" in answer.withheld[FIRST]
        assert "log the motor's speed" in answer.withheld[PEAK]


def test_a_line_lost_in_noise_can_not_exclude_it() -> None:
    answer = ask(shaken(tones=(0.05,), hiss=6.0), inputs(0.05, spread=0.01))
    assert codes(answer) == ["not-excluded"]


def test_blades_must_be_known() -> None:
    answer = ask(shaken(), Inputs())
    assert "blades" in answer.withheld[BLADES]
    assert FIRST in answer.figures


def test_a_part_that_rings_is_found_beside_the_propeller() -> None:
    answer = ask(shaken(ringing=(31.0, 0.4), seed=1), inputs(None, 31.0))
    assert holds(answer, PEAK, 31.0)
    assert not answer.findings
    moved = ask(shaken(ringing=(28.0, 0.4)), inputs(None, 31.0))
    assert holds(moved, PEAK, 28.0)
    assert codes(moved) == ["structure-peak-shifted"]
    # Another part altogether is no shift.
    assert not ask(shaken(ringing=(28.0, 0.4)), inputs(None, 12.0)).findings


@pytest.mark.parametrize("seed", range(3))
def test_a_propeller_alone_is_no_structure(seed: int) -> None:
    answer = ask(shaken(seed=seed), inputs(None, 31.0))
    assert "no peak" in answer.withheld[PEAK]
    assert not answer.findings


def test_a_natural_frequency_near_the_propeller_is_told() -> None:
    """In cruise it turns at 73, at take-off at 112 turns a second; blades pass twice as often."""
    near = ask(shaken(), inputs(None, 80.0))
    assert codes(near) == ["structure-near-order"]
    assert near.findings[0].evidence["phase"] == "cruise"
    blades = ask(shaken(), inputs(None, 230.0))
    assert [(f.evidence["phase"], f.evidence["order"]) for f in blades.findings] == [("takeoff", 2)]
    assert not ask(shaken(), inputs(None, 31.0, 92.0)).findings


def test_a_peak_that_grows_with_airspeed_is_told() -> None:
    answer = ask(shaken(ringing=(28.0, 0.15), grows=True))
    (finding,) = answer.findings
    assert finding.code == "peak-grows-with-speed"
    assert finding.evidence["peak_hz"] == pytest.approx(28.0, abs=0.5)
    # One that is there at any airspeed is none.
    assert not ask(shaken(ringing=(28.0, 0.4))).findings


def test_a_log_without_a_motor_says_nothing_of_propellers() -> None:
    log = shaken().without("imu", "rotation", "outputs", "battery")
    answer = ask(log)
    assert not answer.findings
    assert "no accelerometer" in answer.withheld[FIRST]


def test_without_heights_the_phases_of_flight_are_withheld() -> None:
    found, _, takeoff = flight()
    answer = vibration.answer(shaken(), found, None, inputs(), takeoff)
    assert "log a barometer" in answer.withheld["vibration.cruise"]
    assert "vibration.takeoff" in answer.figures
    assert FIRST in answer.withheld


def damaged(kind: str) -> Recording:
    """Tables that no sensor writes."""
    log = shaken(logged=kind != "no speed")
    tables = {name: log[name].copy() for name in log}
    imu, rotation = tables["imu"], tables.get("rotation")
    if kind == "nan":
        imu.loc[::7, "accel_x_m_s2"] = np.nan
        rotation["speed_rad_s"] = np.nan
    elif kind == "huge":
        imu.loc[::50, "accel_z_m_s2"] = 1e300
        rotation.loc[::3, "speed_rad_s"] = 1e9
    elif kind == "equal times":
        imu["time_s"] = 50.0
        tables["battery"]["time_s"] = 50.0
    elif kind == "few rows":
        tables = {name: table.iloc[:3] for name, table in tables.items()}
    elif kind == "constant":
        imu[["accel_x_m_s2", "accel_y_m_s2", "accel_z_m_s2"]] = 0.0
        rotation["speed_rad_s"] = 500.0
    elif kind == "no speed":
        tables["outputs"]["pulse_us"] = np.nan
    elif kind == "leap":
        imu.loc[imu.index > 12000, "time_s"] += 1e7
        rotation.loc[rotation.index > 700, "time_s"] += 1e7
    elif kind == "two motors":
        other = rotation.assign(instance=1, speed_rad_s=rotation["speed_rad_s"] * 0.7)
        tables["rotation"] = pd.concat([rotation, other], ignore_index=True)
    return recording(**tables)


@pytest.mark.parametrize(
    "kind",
    ["nan", "huge", "equal times", "few rows", "constant", "no speed", "leap", "two motors"],
)
def test_hostile_tables_are_survived(kind: str) -> None:
    answer = ask(damaged(kind), inputs(1.0, 31.0))
    for id_ in vibration.SUBJECT:
        assert (id_ in answer.figures) != (id_ in answer.withheld)
        if id_ in answer.figures:
            quantity = answer.figures[id_].quantity
            assert np.isfinite([quantity.value, quantity.std]).all()
        else:
            assert answer.withheld[id_]
    if kind == "two motors":
        assert "2 motors" in answer.withheld[FIRST]


def test_a_line_far_below_normal_is_looked_for_in_the_wrong_place():
    quantity = Uncertain.of(0.02, 0.01, "m/s²", source="x")
    figure = Figure("vibration.first_order", quantity, "made", ("imu",))

    assert "pole pairs" in vibration_orders._lost_in_noise(figure, Baseline(0.7, 0.1))
    assert vibration_orders._lost_in_noise(figure, Baseline(0.05, 0.1)) == ""
