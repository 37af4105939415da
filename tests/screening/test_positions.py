"""Jumps of position and speed, and a receiver that holds still."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.screening.positions import find_jumps, find_static_hold
from flightlog.screening.series import Fixes, read_fixes
from tests.screening.made import (
    changed,
    debrief,
    flown,
    half_width,
    sample,
    story,
    told,
    withheld_by,
)
from tests.synthetic import DT

METRE_DEG = 1 / 111_000.0


def moved(rows, metres: float, recording=None):
    """The made flight with some fixes moved north."""
    recording = recording or flown()
    gps = recording["gps"].copy()
    gps.loc[gps.index[rows], "latitude_deg"] += metres * METRE_DEG
    return changed(recording, gps=gps)


def in_flight(share: float) -> int:
    gps = flown()["gps"]
    fast = np.flatnonzero(gps["ground_speed_m_s"] > 10)
    return int(fast[int(share * len(fast))])


def test_a_fix_that_jumps_is_told_with_its_distance():
    at = in_flight(0.5)
    recording = moved([at], 80.0)
    (finding,) = told(recording, "position-jumps")
    t = float(flown()["gps"]["time_s"].iloc[at])

    assert finding.severity == "degrade"
    assert finding.evidence["place_jumps"] == 2  # there and back
    assert finding.evidence["largest_m"] == pytest.approx(80.0, abs=1.5)
    assert f"{finding.evidence['largest_m']:.0f} m" in finding.message
    assert finding.start_s == pytest.approx(t, abs=1e-6)


def test_fixes_left_out_make_distance_and_laps_less_sure():
    """Two seconds of fixes 300 m away are left out: the path is interpolated there."""
    at = in_flight(0.5)
    clean, spoilt = debrief(flown()), debrief(moved(slice(at, at + 10), 300.0))

    for figure in ("flight.distance", "laps.mean_time", "wind.speed"):
        assert half_width(spoilt, figure) > 1.05 * half_width(clean, figure), figure
    true_m = far_flown()
    low, high = spoilt.sorties[0].figures["flight.distance"].quantity.interval(0.95)
    assert low < true_m < high


def far_flown() -> float:
    """Way of the made flight from lift-off to touchdown, by its own speed."""
    made = story()
    truth = made.truth()
    airborne = (truth["time"] > made.events["liftoff"]) & (
        truth["time"] <= made.events["touchdown"]
    )
    return float(truth["speed"][airborne].sum() * DT)


def test_a_receiver_that_jumps_all_the_time_withholds_the_track():
    gps = flown()["gps"]
    recording = moved(slice(0, len(gps), 4), 150.0)
    (finding,) = told(recording, "position-jumps")

    assert finding.severity == "stop"
    assert finding.evidence["share"] == pytest.approx(0.5, abs=0.05)
    assert withheld_by(debrief(recording), "position-jumps") >= {
        "flight.distance", "laps.mean_time", "flight.max_ground_speed", "takeoff.ground_roll",
    }  # fmt: skip


def test_a_single_wrong_speed():
    recording = flown()
    gps = recording["gps"].copy()
    at = gps.index[in_flight(0.3)]
    gps.loc[at, "ground_speed_m_s"] += 25.0
    (finding,) = told(changed(recording, gps=gps), "position-jumps")

    assert finding.evidence["speed_jumps"] == 1
    assert "25 m/s" in finding.message


def test_jumps_before_the_flight_concern_nobody():
    assert not told(moved([20], 500.0), "position-jumps")


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
def test_three_g_turns_are_flown_and_no_jump(rate_hz):
    """30 m/s on a radius of 30 m is 3 g, twice what counts for a jump that comes and goes."""
    t = np.arange(0.0, 60.0, 1 / rate_hz)
    angle = 30.0 / 30.0 * t
    nothing = np.full(len(t), np.nan)
    fixes = Fixes(
        t, 30 * np.sin(angle), 30 * np.cos(angle), np.full(len(t), 30.0),
        np.degrees(np.pi / 2 + angle) % 360, nothing, nothing, nothing,
    )  # fmt: skip

    assert not find_jumps(fixes).any.any()


def test_the_wander_of_a_poor_receiver_is_no_jump():
    recording = story().recording(drift_m=8.0, speed_noise=0.5, rest_noise=1.0)

    assert not find_jumps(read_fixes(recording)).any.any()


# --- without a logged speed


def without_speed(recording):
    """The flight as a track file holds it: places and times alone."""
    gps = recording["gps"].assign(ground_speed_m_s=np.nan, course_deg=np.nan)
    return changed(recording, gps=gps)


@pytest.mark.parametrize(("rows", "jumps"), [(1, 2), (None, 1)])
def test_a_jump_of_a_track_withholds_its_greatest_speed_and_way(rows, jumps):
    """There and back, or for good: 250 m within a fifth of a second, and no speed beside it."""
    at = in_flight(0.5)
    recording = without_speed(moved(slice(at, None if rows is None else at + rows), 250.0))
    (finding,) = told(recording, "position-jumps")
    done = debrief(recording)

    assert finding.severity == "stop"
    assert finding.evidence["place_jumps"] == jumps
    # The steps before and after a jump there lead back by half of the jump back.
    assert finding.evidence["largest_m"] == pytest.approx(375.0 if rows else 250.0, abs=5.0)
    assert withheld_by(done, "position-jumps") == {
        "flight.max_ground_speed", "flight.distance", "energy.per_km",
    }  # fmt: skip


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
@pytest.mark.parametrize("whole_seconds", [False, True])
def test_a_sound_track_has_no_jump(rate_hz, whole_seconds):
    recording = without_speed(story().recording(gps_hz=rate_hz, drift_m=2.0))
    if whole_seconds:  # stamped with the second that has begun
        gps = recording["gps"]
        begun = np.floor(gps["time_s"])
        once = np.append(True, np.diff(begun) > 0)
        recording = changed(recording, gps=gps.assign(time_s=begun)[once])

    assert not find_jumps(read_fixes(recording)).any.any()


def test_three_g_turns_of_a_track_are_no_jump():
    t = np.arange(0.0, 60.0, 1.0)
    nothing = np.full(len(t), np.nan)
    fixes = Fixes(t, 30 * np.sin(t), 30 * np.cos(t), nothing, nothing, nothing, nothing, nothing)

    assert not find_jumps(fixes).any.any()


# --- few satellites


@pytest.mark.parametrize(
    ("column", "value", "said"), [("hdop", 2.3, "HDOP 2.3"), ("satellites", 5, "satellites 5")]
)
def test_a_poor_geometry_in_most_of_a_flight_is_told(column, value, said):
    gps = flown()["gps"]
    (finding,) = told(changed(flown(), gps=gps.assign(**{column: value})), "poor-fixes")

    assert said in finding.message
    assert finding.evidence["share"] == 1.0
    assert finding.severity == "note"


def test_a_poor_geometry_on_the_ground_or_for_a_moment_is_not():
    gps = flown()["gps"]
    at = in_flight(0.5)
    hdop = np.where((np.arange(len(gps)) < at) & (np.arange(len(gps)) > at - 20), 6.0, 0.8)
    hdop[:50] = 6.0

    assert not told(changed(flown(), gps=gps.assign(hdop=hdop)), "poor-fixes")
    assert not told(flown(), "poor-fixes")


# --- static hold


def held(recording, below_m_s: float):
    gps = recording["gps"]
    speed = gps["ground_speed_m_s"].where(gps["ground_speed_m_s"] >= below_m_s, 0.0)
    return changed(recording, gps=gps.assign(ground_speed_m_s=speed))


def test_a_held_speed_without_an_imu_withholds_the_roll():
    recording = held(flown("gps baro battery outputs"), 2.5)
    (finding,) = told(recording, "static-hold")
    done = debrief(recording)

    # 2.5 m/s at 3 m/s² take 0.83 s; the last zero is up to a fix before it
    assert 0.83 - 0.25 <= finding.evidence["held_s"] <= 0.83 + 0.1
    assert f"{finding.evidence['held_s']:.1f} s" in finding.message
    assert finding.severity == "stop"
    assert withheld_by(done, "static-hold") >= {"takeoff.ground_roll", "takeoff.start_time"}
    assert "climb.best_rate" in done.sorties[0].figures


def test_a_held_speed_with_an_imu_widens_the_roll():
    clean, spoilt = sample("calm.bin"), held(sample("calm.bin"), 3.0)
    (finding,) = told(spoilt, "static-hold")
    done = debrief(spoilt)

    assert finding.severity == "degrade"
    assert half_width(done, "takeoff.ground_roll") > half_width(
        debrief(clean), "takeoff.ground_roll"
    )
    low, high = done.sorties[0].figures["takeoff.ground_roll"].quantity.interval(0.95)
    assert low < 27.95 < high, "the truth of the simulation"


@pytest.mark.parametrize("rate_hz", [1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize("push_m_s2", [1.5, 3.0, 5.0])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.7])
def test_a_receiver_that_shows_zero_at_rest_is_right(rate_hz, push_m_s2, phase):
    """However the fixes fall about the start, an even push from rest is no hold."""
    t = np.arange(0.0, 20.0, 1 / rate_hz)
    speed = np.maximum(0.0, push_m_s2 * (t - 12.0 - phase / rate_hz))

    assert find_static_hold(t, speed) is None


def test_the_hold_is_the_time_rolled_by_the_last_zero():
    t = np.arange(0.0, 20.0, 0.1)
    true = np.maximum(0.0, 3.0 * (t - 12.0))
    hold = find_static_hold(t, np.where(true < 2.0, 0.0, true))

    assert hold.last_zero_s == pytest.approx(12.6)
    assert hold.held_s == pytest.approx(0.6, abs=0.01)
    assert hold.first_m_s == pytest.approx(2.1)


def test_fixes_of_one_time_give_no_acceleration_and_so_no_hold():
    t = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 5.0, 5.0, 9.0])

    assert find_static_hold(t, np.array([0.0, 0, 0, 0, 0, 2.0, 2.5, 3.0, 6.0])) is None


def test_clean_logs_have_none_of_these():
    for recording in (flown(), sample("calm.bin"), sample("position_1hz_only.bin")):
        assert not told(recording, "position-jumps")
        assert not told(recording, "static-hold")
