"""Wind that nobody knows, and an airspeed that can't be used."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from flightlog.debriefing import Debrief, debrief
from flightlog.inputs import GivenWind, Inputs, Mass
from flightlog.recording import Recording
from flightlog.screening.airflow import Pitot, pitot_fault, unexplained_at_rest
from tests.screening.flights import (
    FOLDER,
    PANNIER,
    added_share,
    changed,
    clean,
    found,
    is_withheld_for,
    only,
    sortie,
    value,
)
from tests.screening.made import sample
from tests.synthetic import Story

GIVEN = Inputs(aircraft=PANNIER, mass=Mass(8.0, 0.02, "option"))
SAMPLES = sorted(p.name for p in FOLDER.iterdir() if p.suffix in {".bin", ".tlog"})


def with_airspeed(change: Callable[[np.ndarray], np.ndarray]) -> Recording:
    def apply(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(airspeed_m_s=change(table["airspeed_m_s"].to_numpy()))

    return changed(sample(), "airspeed", apply)


# --- wind-unknown


def straight_flight() -> Recording:
    story = Story().rest(20).event("roll").roll().event("liftoff").climb(40)
    return story.cruise(40).descend().stop().rest(15).recording()


def test_without_any_wind_the_worth_of_one_metre_a_second_is_told():
    result = debrief(straight_flight(), GIVEN)
    finding = only(result, "wind-unknown")

    # The roll goes with (1 + wind/speed)^1.85; the story lifts off at 13 m/s: 14 %.
    assert finding.evidence["share_per_m_s"] == pytest.approx(1.85 / 13.0, rel=0.05)
    assert "14 %" in finding.message
    assert {"takeoff.headwind", "takeoff.ground_roll_reference"} <= set(sortie(result).withheld)
    assert "takeoff.ground_roll" in sortie(result).figures


def test_a_given_wind_or_one_from_turns_is_a_wind():
    given = replace(GIVEN, wind=GivenWind(2.0, 40.0))

    assert not found(debrief(straight_flight(), given), "wind-unknown")
    assert not found(debrief(Story().rest(20).flight().rest(15).recording(), GIVEN), "wind-unknown")
    assert not found(clean(), "wind-unknown")


# --- airspeed-unusable


def test_what_a_sensor_at_rest_shows_beyond_the_wind_is_counted_in_pressures():
    # 5² = 3² + 4²; a wind known to half a metre a second may be 1 m/s more.
    assert unexplained_at_rest(5.0, 3.0, 0.0) == pytest.approx(4.0)
    assert unexplained_at_rest(5.0, 2.0, 0.5) == pytest.approx(4.0)
    assert unexplained_at_rest(3.0, 3.0, 0.5) == 0.0


def pitot(at_rest: float | None, flying: float, ground: float, negative: float = 0.0) -> Pitot:
    wave = np.sin(np.linspace(0, 9, 60))
    return Pitot(at_rest, flying + wave, ground + wave, negative)


@pytest.mark.parametrize(
    ("shown", "fault"),
    [
        (pitot(0.5, 16.0, 16.0), False),
        # Against 8 m/s of wind all the way, and with it: 8 at rest, 0.5 the other way.
        (pitot(8.0, 16.0, 8.0), False),
        (pitot(0.0, 16.0, 24.0), False),
        (pitot(None, 16.0, 16.0), False),
        (pitot(1.5, 2.0, 16.0), True),
        (pitot(None, 1.0, 16.0), True),
        (pitot(0.5, 16.0, 16.0, negative=0.2), True),
    ],
)
def test_a_tube_is_blocked_when_it_does_not_rise_with_the_speed(shown, fault):
    assert bool(pitot_fault(shown)[0]) == fault


def fell_back(result: Debrief) -> bool:
    """Whether the headwind is had without the sensor, whose figures are withheld."""
    one = sortie(result)
    return (
        is_withheld_for(result, "flight.max_airspeed", "airspeed-unusable")
        and is_withheld_for(result, "flight.min_stall_margin", "airspeed-unusable")
        and "mean wind of the flight" in one.figures["takeoff.headwind"].method
        and "airspeed" not in one.figures["wind.speed"].method
    )


RNG = np.random.default_rng(20260101)
FAULTS = {
    "blocked": (lambda v: 1.5 + 0.3 * RNG.normal(size=v.size), "over ground at"),
    "constant": (lambda v: np.where(v > 8, 15.0, v), "stands at 15.0 m/s"),
    "negative": (lambda v: -v, "below -1 m/s in 100 %"),
    # 6 m/s at rest is 22 Pa: at 16.2 m/s off by 6² / (2 * 16.2²) = 6.8 %.
    "zero": (lambda v: np.hypot(v, 6.0), "its zero is off, by 6"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_an_unusable_airspeed_is_told_and_the_headwind_falls_back(fault):
    change, told = FAULTS[fault]
    result = debrief(with_airspeed(change), GIVEN)
    finding = only(result, "airspeed-unusable")

    assert finding.severity == "stop"
    assert told in finding.message
    assert "not used" in finding.message
    assert fell_back(result)
    # The simulation's mean headwind in the roll of the calm flight is 0.17 m/s.
    low, high = sortie(result).figures["takeoff.headwind"].quantity.interval()
    assert low <= 0.17 <= high


def test_a_small_zero_widens_the_airspeed_by_what_it_is_worth():
    result = debrief(with_airspeed(lambda v: np.hypot(v, 3.2)), GIVEN)
    finding = only(result, "airspeed-unusable")
    untold = debrief(
        with_airspeed(lambda v: np.hypot(v, 3.2)), replace(GIVEN, wind=GivenWind(4, 0))
    )

    assert finding.severity == "degrade"
    # Its own 1.8 m/s and 3.2 make 3.7; less 1.4 of wind that there may be: 3.4, 2.1 % of 16.6.
    assert finding.evidence["share"] == pytest.approx(0.021, abs=0.003)
    assert added_share(untold, result, "flight.max_airspeed") == pytest.approx(0.021, abs=0.003)
    assert "airspeed" in sortie(result).figures["takeoff.headwind"].sources


def parked(zero_m_s: float) -> Recording:
    """On the ground for a minute, with an airspeed that has a zero error."""
    recording = Story().rest(60).recording()
    t = np.arange(recording["gps"]["time_s"].iloc[0], recording["gps"]["time_s"].iloc[-1], 0.1)
    noise = np.random.default_rng(3).normal(0.0, 0.4, t.size)
    table = pd.DataFrame({"time_s": t, "airspeed_m_s": zero_m_s + noise})
    tables = {name: recording[name] for name in recording} | {"airspeed": table}
    return Recording(tables, recording.receipt)


def test_an_airspeed_below_zero_is_told_even_where_nothing_flew():
    finding = only(debrief(parked(-2.7)), "airspeed-unusable")

    assert finding.severity == "note"
    assert finding.evidence["at_rest_m_s"] == pytest.approx(-2.7, abs=0.1)
    assert "-2.7 m/s" in finding.message


@pytest.mark.parametrize("zero_m_s", [0.0, -0.5, 3.0])
def test_a_parked_aircraft_in_noise_or_wind_has_no_airspeed_below_zero(zero_m_s):
    assert not found(debrief(parked(zero_m_s)), "airspeed-unusable")


def test_a_reading_below_zero_before_the_roll_needs_no_wind_to_be_judged():
    """-4 m/s at rest, in a straight flight whose wind nobody knows."""
    story = straight_flight()
    gps = story["gps"]
    t = np.arange(gps["time_s"].iloc[0], gps["time_s"].iloc[-1], 0.1)
    speed = np.interp(t, gps["time_s"], gps["ground_speed_m_s"])
    shown = np.where(speed < 1.0, -4.0, speed)
    tables = {name: story[name] for name in story}
    tables["airspeed"] = pd.DataFrame({"time_s": t, "airspeed_m_s": shown})
    result = debrief(Recording(tables, story.receipt))
    finding = only(result, "airspeed-unusable")

    assert "shows -4.0 m/s before the roll: its zero is off" in finding.message
    assert finding.evidence["unexplained_m_s"] == pytest.approx(4.0)
    # It cruises at 16 m/s: 4² / (2 * 16²) is 3.1 %, more than the 3 % that intervals allow for.
    assert finding.evidence["share"] == pytest.approx(4.0**2 / (2 * 16.0**2), rel=0.02)
    assert is_withheld_for(result, "flight.max_airspeed", "airspeed-unusable")


def test_a_wind_that_explains_the_reading_at_rest_is_no_fault():
    # A gale along the runway: at rest the tube shows it, in the turns it is a circle's middle.
    windy = replace(GIVEN, wind=GivenWind(4.0, 68.0, 0.5))

    assert not found(debrief(with_airspeed(lambda v: np.hypot(v, 3.2)), windy), "airspeed-unusable")


@pytest.mark.parametrize("name", SAMPLES)
def test_no_sample_has_an_unusable_airspeed(name):
    assert not found(clean(name), "airspeed-unusable")


def test_the_clean_flight_uses_its_airspeed():
    assert "airspeed" in sortie(clean()).figures["takeoff.headwind"].sources
    assert value(clean(), "flight.max_airspeed") > 15
