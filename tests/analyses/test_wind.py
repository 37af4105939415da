from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from flightlog import debrief, read
from flightlog.analyses import wind
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.inputs import GivenWind, Inputs
from flightlog.resources import data_path
from flightlog.uncertain import Uncertain
from tests.analyses.made import path as made_path
from tests.analyses.made import recording, sortie

T = np.arange(0.0, 200.0, 0.1)
FLIGHT = sortie(0.0, 200.0, liftoff=20.0, touchdown=200.0)


def flown(north_m_s: float, east_m_s: float, turns: float = 3.0) -> tuple[FlightPath, np.ndarray]:
    """A roll to the north for 20 s, then circles at 18 m/s in a wind that blows to there."""
    rng = np.random.default_rng(4)
    psi = 2 * np.pi * turns * np.clip(T - 20, 0, None) / 180
    airspeed = 18 + 0.3 * rng.normal(size=T.size)
    north = np.where(T < 20, 0.9 * T, airspeed * np.cos(psi) + north_m_s)
    east = np.where(T < 20, 0.0, airspeed * np.sin(psi) + east_m_s)
    airspeed = np.where(T < 20, np.hypot(north - north_m_s, east - east_m_s), airspeed)
    path = made_path(T, height=lambda t: 1.6 * np.clip(t - 20, 0, 25))
    return replace(path, north_m_s=north, east_m_s=east), airspeed


def sensor(values: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame({"time_s": T, "instance": 0, "airspeed_m_s": values})


def test_wind_of_circles_is_found_with_and_without_a_sensor() -> None:
    path, airspeed = flown(-4.0, 0.0)
    for tables in ({}, {"airspeed": sensor(airspeed)}):
        answer = wind.answer(recording(**tables), FLIGHT, path)
        speed = answer.figures["wind.speed"].quantity
        direction = answer.figures["wind.from_deg"].quantity
        assert speed.value == pytest.approx(4, abs=0.1)
        assert abs((direction.value + 180) % 360 - 180) < 2  # from the north
        low, high = speed.interval()
        assert low < 4 < high
        assert not answer.findings
        assert ("airspeed" in answer.figures["wind.speed"].sources) == bool(tables)


def test_calm_air_has_no_direction() -> None:
    path, _ = flown(0.0, 0.0)
    answer = wind.answer(recording(), FLIGHT, path)
    low, high = answer.figures["wind.speed"].quantity.interval()
    assert low <= 0 <= high
    assert "no direction" in answer.withheld["wind.from_deg"]


def test_a_wrong_airspeed_is_found() -> None:
    path, airspeed = flown(-4.0, 0.0)
    answer = wind.answer(recording(airspeed=sensor(airspeed / 1.12)), FLIGHT, path)
    (finding,) = answer.findings
    assert finding.code == "airspeed-scale"
    assert finding.severity == "degrade"
    assert finding.evidence["scale"] == pytest.approx(1.12, abs=0.01)
    assert answer.figures["wind.speed"].quantity.value == pytest.approx(4, abs=0.2)


def test_a_dead_tube_is_not_used() -> None:
    path, _ = flown(-4.0, 0.0)
    answer = wind.answer(recording(airspeed=sensor(0 * T + 0.4)), FLIGHT, path)
    assert answer.figures["wind.speed"].sources == ("gps",)


def test_too_little_turning_withholds_the_wind() -> None:
    path, _ = flown(-4.0, 0.0, turns=0.4)
    answer = wind.answer(recording(), FLIGHT, path)
    assert "240 deg" in answer.withheld["wind.speed"]
    assert "--wind" in answer.withheld["wind.from_deg"]
    assert "GPS" in wind.answer(recording(), FLIGHT, None).withheld["wind.speed"]


def headwind(
    path: FlightPath | None, inputs: Inputs | None = None, **tables: pd.DataFrame
) -> tuple[wind.Figure | None, str]:
    return wind.headwind_in_roll(
        recording(**tables), FLIGHT, 0.0, 0.0, 20.0, path, inputs or Inputs()
    )


@pytest.mark.parametrize(
    ("from_deg", "value", "std"),
    # sqrt((cos * 1)² + (4 sin * 0.349)² + (4 cos * 0.349² / sqrt(2))²), in closed form.
    [(0.0, 4.0, 1.058), (180.0, -4.0, 1.058), (90.0, 0.0, 1.396), (60.0, 2.0, 1.319)],
)
def test_given_wind_comes_first(from_deg: float, value: float, std: float) -> None:
    path, airspeed = flown(0.0, 0.0)
    figure, reason = headwind(
        path, Inputs(wind=GivenWind(4.0, from_deg)), airspeed=sensor(airspeed)
    )
    assert figure is not None
    assert reason == ""
    assert figure.sources == ("declared",)
    assert figure.quantity.value == pytest.approx(value, abs=1e-9)
    assert figure.quantity.std == pytest.approx(std, abs=2e-3)


def test_the_sensor_tells_the_headwind_of_the_roll() -> None:
    path, airspeed = flown(-3.0, 0.0)
    figure, _ = headwind(path, airspeed=sensor(airspeed))
    assert figure is not None
    assert "airspeed" in figure.sources
    low, high = figure.quantity.interval()
    assert low < 3 < high
    assert figure.quantity.value == pytest.approx(3, abs=0.3)
    assert figure.quantity.std < 1


def test_the_wind_of_the_flight_is_reduced_to_the_roll() -> None:
    path, _ = flown(-6.0, 0.0)
    figure, _ = headwind(path)
    assert figure is not None
    # 6 m/s at 40 m is 6 (0.5 / 40)^(1/7) = 3.21 m/s at 0.5 m.
    assert figure.quantity.value == pytest.approx(3.21, abs=0.1)
    assert figure.quantity.std >= 1


def test_unknown_wind_is_withheld_with_what_would_help() -> None:
    path, _ = flown(-6.0, 0.0, turns=0.3)
    for unknown in (path, None):
        figure, reason = headwind(unknown)
        assert figure is None
        assert "--wind" in reason
        assert "airspeed sensor" in reason


def test_shifting_time_changes_no_wind() -> None:
    path, airspeed = flown(-4.0, 1.0)
    later = replace(path, time_s=T + 500)
    table = sensor(airspeed).assign(time_s=T + 500)
    moved = sortie(500.0, 700.0, liftoff=520.0, touchdown=700.0)
    one = wind.answer(recording(airspeed=sensor(airspeed)), FLIGHT, path)
    other = wind.answer(recording(airspeed=table), moved, later)
    for name in ("wind.speed", "wind.from_deg"):
        a, b = one.figures[name].quantity, other.figures[name].quantity
        assert a.value == pytest.approx(b.value, rel=1e-3)
        assert a.std == pytest.approx(b.std, rel=0.02)


def test_thin_air_is_no_fault_of_the_sensor() -> None:
    """At 795 hPa, 2000 m in the standard atmosphere, the density is 0.8216 of sea level's."""
    path, airspeed = flown(-4.0, 0.0)
    baro = pd.DataFrame({"time_s": T, "instance": 0, "pressure_pa": 79495.2})
    shown = sensor(airspeed * np.sqrt(1.00649 / 1.225))
    tables = recording(airspeed=shown, baro=baro)

    assert wind.true_over_equivalent(tables, 0.0, 200.0) == pytest.approx(1.1032, abs=1e-4)
    assert not wind.answer(tables, FLIGHT, path).findings
    assert wind.answer(recording(airspeed=shown), FLIGHT, path).findings


def test_without_a_measured_roll_there_is_no_headwind() -> None:
    path, _ = flown(-6.0, 0.0)
    given = Inputs(wind=GivenWind(4.0, 0.0))
    figure, reason = wind.headwind_in_roll(recording(), FLIGHT, None, None, None, path, given)

    assert figure is None
    assert "no measured roll" in reason


# --- airspeed at lift-off


def lifted_off(path: FlightPath | None, **tables: pd.DataFrame) -> Answer:
    speed = Figure(
        "takeoff.liftoff_ground_speed",
        Uncertain.of(18.0, 0.1, "m/s", source="track"),
        "made",
        ("gps",),
    )
    roll = Takeoff(
        Answer({"takeoff.liftoff_ground_speed": speed}), start_s=0.0, liftoff_s=20.0, heading_deg=0
    )
    return wind.liftoff_airspeed(recording(**tables), FLIGHT, roll, path)


def test_the_sensor_tells_the_airspeed_at_lift_off_whatever_wind_is_given() -> None:
    path, airspeed = flown(-3.0, 0.0)
    figure = lifted_off(path, airspeed=sensor(airspeed)).figures[wind.LIFTOFF_AIRSPEED]

    low, high = figure.quantity.interval()
    assert low < 21.0 < high
    assert high - low < 4
    assert {"gps", "airspeed"} == set(figure.sources)


def test_without_a_sensor_or_a_roll_it_is_withheld() -> None:
    path, _ = flown(-3.0, 0.0)

    assert lifted_off(path).withheld[wind.LIFTOFF_AIRSPEED] == wind.NO_AIRSPEED
    seldom = sensor(np.full(T.size, 20.0)).iloc[::100]
    assert "log it at 5 Hz" in lifted_off(path, airspeed=seldom).withheld[wind.LIFTOFF_AIRSPEED]
    nothing = wind.liftoff_airspeed(recording(), FLIGHT, Takeoff(Answer()), path)
    assert "no measured roll" in nothing.withheld[wind.LIFTOFF_AIRSPEED]


def test_it_holds_the_truth_of_the_samples() -> None:
    held = 0
    logs = ("calm", "headwind", "gusty_crosswind", "heavy_misses_limit", "marginal")
    for name in logs:
        one = debrief(read(data_path("sample_flights", f"{name}.bin"))).sorties[0]
        truth = json.loads(
            data_path("sample_flights", f"{name}.truth.json").read_text(encoding="utf-8")
        )
        low, high = one.figures[wind.LIFTOFF_AIRSPEED].quantity.interval()
        held += low <= truth["liftoff_tas"] <= high
    assert len(logs) == held
