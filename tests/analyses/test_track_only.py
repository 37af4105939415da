"""Flights of which there are positions only: what can be said, and what must not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import flightlog
from flightlog.analyses.heights import MOST_DRIFT_M, wheel_heights
from flightlog.analyses.phases import find_sorties
from flightlog.analyses.phases_evidence import gather
from flightlog.estimation.frames import LocalFrame
from flightlog.estimation.path import estimate_path
from flightlog.recording import Recording
from tests.analyses.made import recording

START_S, STOP_S = 40.0, 240.0
"""Rest before, roll of 8 s, flight at 16 m/s in circles, 8 s of slowing down, rest behind."""


def speeds(t: np.ndarray) -> np.ndarray:
    return 16.0 * np.clip(np.minimum(t - START_S, STOP_S - t) / 8.0, 0.0, 1.0)


def heights(t: np.ndarray, *, to_m: float = 0.0, top_m: float = 60.0) -> np.ndarray:
    """Climb from the end of the roll at 3 m/s, and the way down to ``to_m`` in the last 60 s."""
    known = [0.0, START_S + 8, START_S + 28, STOP_S - 68, STOP_S - 8, 400.0]
    return np.interp(t, known, [0.0, 0.0, top_m, top_m, to_m, to_m])


def track(
    *, hz: float = 1.0, baro: bool = True, to_m: float = 0.0, top_m: float = 60.0, step_deg=1e-7
) -> Recording:
    fine = np.arange(0.0, 300.0, 0.02)
    way = 0.3 + np.radians(9.0) * np.clip(fine - START_S - 12, 0, None)
    east = np.cumsum(speeds(fine) * np.sin(way)) * 0.02
    north = np.cumsum(speeds(fine) * np.cos(way)) * 0.02
    t = np.arange(0.0, 299.0, 1 / hz)
    place = LocalFrame(12.5, 98.25)
    lat, lon = zip(
        *(
            place.position(e, n)
            for e, n in zip(np.interp(t, fine, east), np.interp(t, fine, north), strict=True)
        ),
        strict=True,
    )
    height = np.round(heights(t, to_m=to_m, top_m=top_m))
    gps = pd.DataFrame(
        {
            "time_s": t,
            "instance": 0,
            "latitude_deg": np.round(np.array(lat) / step_deg) * step_deg,
            "longitude_deg": np.round(np.array(lon) / step_deg) * step_deg,
            "altitude_msl_m": 210.0 + height,
            "ground_speed_m_s": np.nan,
            "course_deg": np.nan,
            "fix": 3.0,
        }
    )
    tables = {"gps": gps}
    if baro:
        tables["baro"] = pd.DataFrame({"time_s": t, "instance": 0, "height_m": height})
    return recording(**tables)


@pytest.mark.parametrize("hz", [0.5, 1.0, 5.0])
def test_speed_of_the_steps_is_that_of_the_way_between_the_fixes(hz):
    (evidence,) = gather(track(hz=hz))
    cruise = (evidence.time_s > START_S + 12) & (evidence.time_s < STOP_S - 12)
    rest = evidence.time_s < START_S - 3

    # A chord of 2 s (18 degrees of the circle) is shorter than its arc by 0.4 %.
    assert evidence.speed_m_s[cruise] == pytest.approx(16.0, abs=0.25)
    assert evidence.speed_m_s[rest] == pytest.approx(0.0, abs=0.05)


def test_positions_in_steps_of_two_metres_are_good_enough_to_tell_rest_from_motion():
    (evidence,) = gather(track(step_deg=0.001 / 60))
    cruise = (evidence.time_s > START_S + 12) & (evidence.time_s < STOP_S - 12)

    assert evidence.speed_m_s[cruise] == pytest.approx(16.0, abs=1.5)


def test_a_speed_that_was_logged_is_not_touched():
    log = track()
    log["gps"]["ground_speed_m_s"] = 3.0
    (evidence,) = gather(log)

    assert np.nanmax(evidence.speed_m_s) == pytest.approx(3.0)


@pytest.mark.parametrize("baro", [True, False])
def test_the_flight_is_found_and_its_take_off_withheld(baro):
    debrief = flightlog.debrief(track(baro=baro))
    (sortie,) = debrief.sorties

    assert sortie.sortie.start_s == pytest.approx(START_S, abs=4)
    assert sortie.sortie.liftoff_s == pytest.approx(START_S + 8, abs=5)
    assert sortie.sortie.ends == "standstill"
    assert not [id_ for id_ in sortie.figures if id_.startswith("takeoff.")]
    assert "no speed over ground" in sortie.withheld["takeoff.ground_roll"]
    found = sortie.figures["flight.max_height"].quantity
    assert found.value == pytest.approx(60.0, abs=max(2.0, 3 * found.std))


def test_ground_far_below_the_start_is_other_ground_and_no_drift():
    """A straight line taken out would show the start's height twice that over the landing."""
    log = track(to_m=-300.0, top_m=0.0)
    sorties, _, _ = find_sorties(log)
    (sortie,) = sorties
    path = estimate_path(log, sortie.start_s - 10, sortie.end_s + 10)
    held = wheel_heights(log, sortie, path)

    assert held is not None
    assert [f.code for f in held.findings] == ["baro-drift"]
    assert "other ground" in held.findings[0].message
    # Level flight at the start's height until the way down: no drift takes it up.
    level = (held.time_s > START_S + 12) & (held.time_s < STOP_S - 75)
    assert held.height_m[level] == pytest.approx(0.0, abs=1.0)


def test_a_drift_that_can_be_is_taken_out_as_before():
    log = track(to_m=MOST_DRIFT_M - 5)
    (sortie,), _, _ = find_sorties(log)
    path = estimate_path(log, sortie.start_s - 10, sortie.end_s + 10)
    held = wheel_heights(log, sortie, path)

    assert held is not None
    assert "taken out" in held.findings[0].message
    assert "other ground, and drift" not in held.findings[0].message
    landed = held.time_s > sortie.end_s + 1
    assert held.height_m[landed] == pytest.approx(0.0, abs=1.0)


def test_a_log_that_starts_at_speed_and_ends_is_no_attempt():
    log = track()
    gps = log["gps"][(log["gps"]["time_s"] > 100) & (log["gps"]["time_s"] < 106)].copy()
    gps["ground_speed_m_s"] = np.linspace(15.5, 16.5, len(gps))

    sorties, attempts, _ = find_sorties(recording(gps=gps))

    assert sorties == ()
    assert attempts == ()
