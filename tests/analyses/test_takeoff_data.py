"""What the take-off analysis is given: directions, zeros, and coarse times with known truth."""

import math

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses.takeoff_data import (
    Body,
    Fixes,
    barometric_height,
    body_motion,
    column,
    first_motion,
    forward_input,
    gather,
    good_fixes,
    last_rest,
    window,
)

from .made import recording, sortie

G = 9.80665


def at_attitude(roll_deg, pitch_deg, *, forward=0.0, up=0.0, rate=100.0, seconds=4.0):
    """IMU and attitude of a body that accelerates along the ground and upward."""
    t = np.arange(0, seconds, 1 / rate)
    roll, pitch = math.radians(roll_deg), math.radians(pitch_deg)
    # Specific force in north-east-down with the nose north: what is felt is a - g.
    felt = np.array([forward, 0.0, -up - G])
    cp, sp, cr, sr = math.cos(pitch), math.sin(pitch), math.cos(roll), math.sin(roll)
    to_body = np.array([[1, 0, 0], [0, cr, sr], [0, -sr, cr]]) @ np.array(
        [[cp, 0, -sp], [0, 1, 0], [sp, 0, cp]]
    )
    x, y, z = to_body @ felt
    imu = pd.DataFrame(
        {"time_s": t, "instance": 0, "accel_x_m_s2": x, "accel_y_m_s2": y, "accel_z_m_s2": z}
    )
    attitude = pd.DataFrame({"time_s": t, "roll_rad": roll, "pitch_rad": pitch, "yaw_rad": 0.0})
    return recording(imu=imu, attitude=attitude)


@pytest.mark.parametrize(("roll", "pitch"), [(0, 0), (0, 12), (0, -5), (20, 0), (-15, 10)])
@pytest.mark.parametrize(("forward", "up"), [(0.0, 0.0), (3.5, 0.0), (0.0, 1.2), (2.0, -0.7)])
def test_accelerations_along_the_ground_and_upward(roll, pitch, forward, up):
    body, why = body_motion(at_attitude(roll, pitch, forward=forward, up=up), 0, 10)
    assert why == ""
    assert body.upward_m_s2 == pytest.approx(up, abs=1e-9)
    if roll == 0:  # the formula for the ground takes the wings as level
        assert body.forward_m_s2 == pytest.approx(forward, abs=1e-9)
    assert body.rate_hz == pytest.approx(100.0)


def test_a_body_needs_imu_rate_and_attitude():
    full = at_attitude(0, 5)
    assert body_motion(recording(), 0, 10) == (None, "the log has no IMU data")
    assert "no attitude" in body_motion(recording(imu=full["imu"]), 0, 10)[1]
    slow = recording(imu=full["imu"].iloc[::10], attitude=full["attitude"])
    assert "logged at 10 Hz; 20 Hz are needed" in body_motion(slow, 0, 10)[1]
    blind = recording(imu=full["imu"].assign(accel_x_m_s2=math.nan), attitude=full["attitude"])
    assert "no usable IMU" in body_motion(blind, 0, 10)[1]


def test_rows_whose_time_stands_are_left_out():
    full = at_attitude(0, 0)
    imu = full["imu"].copy()
    imu.loc[50:60, "time_s"] = imu.loc[50, "time_s"]
    body, _ = body_motion(recording(imu=imu, attitude=full["attitude"]), 0, 10)
    assert (np.diff(body.time_s) > 0).all()


def gps(t, speed, course=90.0, climb=0.0, **more):
    return pd.DataFrame(
        {
            "time_s": t,
            "instance": 0,
            "ground_speed_m_s": speed * np.ones(t.size),
            "course_deg": course * np.ones(t.size),
            "climb_m_s": climb * np.ones(t.size),
            "fix": 3,
            **more,
        }
    )


T = np.arange(0, 30, 0.2)


def test_fixes_are_split_by_course():
    fixes = good_fixes(recording(gps=gps(T, 10.0, 120.0)), 0, 30)
    assert fixes.east_m_s == pytest.approx(10 * math.sin(math.radians(120)))
    assert fixes.north_m_s == pytest.approx(-5.0)
    assert fixes.rate_hz == pytest.approx(5.0)


def test_poor_fixes_are_left_out():
    fix = np.where(T < 10, 2, 3)
    assert good_fixes(recording(gps=gps(T, 10.0, fix=fix)), 0, 30).time_s[0] == pytest.approx(10.0)
    assert good_fixes(recording(gps=gps(T, 10.0, fix=1)), 0, 30) is None
    assert good_fixes(recording(gps=gps(T, math.nan)), 0, 30) is None
    assert good_fixes(recording(gps=gps(T, 10.0)), 50, 60) is None
    unsaid = gps(T, 10.0).drop(columns="fix")
    assert good_fixes(recording(gps=unsaid), 0, 30).time_s.size == T.size


def test_a_missing_course_matters_only_when_it_moves():
    course = np.where((T < 5) | ((T > 14.9) & (T < 15.9)), np.nan, 90.0)
    speed = np.where(T < 10, 0.0, 12.0)
    fixes = good_fixes(recording(gps=gps(T, speed, course)), 0, 30)
    # Standing without a course is fine; a fast fix without one has no direction.
    assert fixes.time_s[0] == 0.0
    assert not ((fixes.time_s > 14.9) & (fixes.time_s < 15.9)).any()
    assert fixes.north_m_s == pytest.approx(0.0, abs=1e-9)


def test_claimed_noise_is_taken_but_not_below_a_tenth():
    claimed = np.where(T < 10, 0.01, 0.4)
    claimed[-1] = np.nan
    fixes = good_fixes(recording(gps=gps(T, 10.0, speed_accuracy_m_s=claimed)), 0, 30)
    assert fixes.speed_std_m_s[0] == 0.1
    assert fixes.speed_std_m_s[-2] == 0.4
    assert fixes.speed_std_m_s[-1] == 0.1


def test_what_cannot_be_a_measurement_is_missing():
    table = gps(np.arange(4.0), np.array([1.0, 1e300, -5.0, 2.0]), np.array([0, 370.0, -90, 5]))
    assert np.isnan(column(table, "ground_speed_m_s")).tolist() == [False, True, True, False]
    assert column(table, "course_deg").tolist() == [0, 370, -90, 5]
    assert np.isnan(column(table, "satellites")).all()


def test_a_window_needs_three_rows():
    table = gps(T, 1.0)
    assert len(window(table, 1.0, 2.0)) == 5
    assert window(table, 1.0, 1.35) is None
    assert window(None, 0, 10) is None


def test_the_barometer_is_zero_before_the_roll():
    height = 7.0 + np.where(T > 22, 3.0 * (T - 22), 0.0)
    noise = 0.1 * np.random.default_rng(1).normal(size=T.size)
    table = pd.DataFrame({"time_s": T, "instance": 0, "height_m": height + noise})
    series = barometric_height(recording(baro=table), 0, 30, 17.0)
    assert np.median(series.value[series.time_s < 20]) == pytest.approx(0.0, abs=0.06)
    assert series.value[-1] == pytest.approx(height[-1] - 7.0, abs=0.4)
    assert (series.std >= 0.25).all()


def rolled(start=20.0, push=3.0, rate=5.0):
    t = np.arange(8, 30, 1 / rate)
    v = np.clip(push * (t - start), 0, None)
    return Fixes(t, v, v, 0 * v, 0 * v, np.full(t.size, 0.1))


@pytest.mark.parametrize("push", [2.0, 4.0])
@pytest.mark.parametrize("rate", [1.0, 5.0, 10.0])
def test_first_motion_of_a_constant_push(push, rate):
    assert first_motion(rolled(20.0, push, rate), 20.0 + 5.0 / push) == pytest.approx(20.0, abs=0.3)


def pushed(start=20.0, push=3.5, bias=0.4, vibration=0.5):
    t = np.arange(8, 26, 0.01)
    noise = vibration * np.random.default_rng(2).normal(size=t.size)
    forward = bias + np.where(t > start, push, 0.0) + noise
    return Body(t, forward, 0 * t, 100.0)


def test_last_rest_is_just_before_the_push():
    body = pushed()
    assert last_rest(body, 0.4, 21.6, 8.0) == pytest.approx(20.0 - 0.1, abs=0.15)


def test_the_level_at_rest_and_the_noise_are_measured():
    given = forward_input(pushed(start=17.0), 20.0, 25.0)
    assert given.rest_mean_m_s2 == pytest.approx(0.4, abs=0.06)
    # White noise of 0.5 m/s² at 100 Hz has a density of 0.05 m/s²/sqrt(Hz).
    assert given.density == pytest.approx(0.05, rel=0.4)
    late = forward_input(pushed(start=17.0), 12.0, 18.0)
    assert late.rest_mean_m_s2 == 0.0
    assert late.rest_std_m_s2 > given.rest_std_m_s2


def climbing(liftoff=25.0, rate=2.0):
    t = np.arange(0, 40, 0.1)
    v = np.clip(3.0 * (t - 20), 0, 15)
    height = np.clip(rate * (t - liftoff), 0, None)
    fixes = gps(t, v, climb=np.where(t > liftoff, rate, 0.0))
    baro = pd.DataFrame({"time_s": t, "instance": 0, "height_m": height})
    return fixes, baro


@pytest.mark.parametrize("with_baro", [True, False])
def test_gathered_times_of_a_known_take_off(with_baro):
    fixes, baro = climbing()
    tables = {"gps": fixes, **({"baro": baro} if with_baro else {})}
    data = gather(recording(**tables), sortie(20.0, 40.0, liftoff=25.0))
    assert data.fast_s == pytest.approx(20 + 5 / 3, abs=0.02)
    assert data.two_metres_s == pytest.approx(26.0, abs=0.3)
    assert data.body is None
    assert "no IMU data" in data.no_body
    assert (data.height is not None) is with_baro


def test_an_earlier_burst_of_speed_is_not_this_roll():
    fixes, baro = climbing()
    fixes.loc[(fixes["time_s"] > 10) & (fixes["time_s"] < 12), "ground_speed_m_s"] = 7.0
    data = gather(recording(gps=fixes, baro=baro), sortie(20.0, 40.0, liftoff=25.0))
    assert data.fast_s == pytest.approx(20 + 5 / 3, abs=0.02)


@pytest.mark.parametrize(("hole", "measured"), [((24.0, 25.2), True), ((24.0, 26.0), False)])
def test_a_hole_in_the_fixes_of_the_roll_is_not_bridged(hole, measured):
    fixes, baro = climbing()
    fixes = fixes[(fixes["time_s"] <= hole[0]) | (fixes["time_s"] >= hole[1])]
    data = gather(recording(gps=fixes, baro=baro), sortie(20.0, 40.0, liftoff=25.0))

    assert measured is not isinstance(data, str)
    assert measured or "no position fixes from 24.0 s to 26.0 s" in data


def test_a_hole_well_before_the_roll_does_not_matter():
    fixes, baro = climbing()
    fixes = fixes[(fixes["time_s"] < 5) | (fixes["time_s"] > 12)]

    assert not isinstance(gather(recording(gps=fixes, baro=baro), sortie(20.0, 40.0)), str)


def test_what_is_missing_is_said():
    fixes, baro = climbing()
    asked = sortie(20.0, 40.0, liftoff=25.0)
    assert "no usable position fixes" in gather(recording(baro=baro), asked)
    slow = fixes.assign(ground_speed_m_s=3.0)
    assert "never passed 5 m/s" in gather(recording(gps=slow, baro=baro), asked)
    astray = fixes.assign(course_deg=np.nan)
    assert "no course" in gather(recording(gps=astray, baro=baro), asked)
    unknown = fixes.drop(columns="climb_m_s")
    assert "log one of them" in gather(recording(gps=unknown), asked)


def test_a_flipped_sample_is_not_an_impact():
    """One accelerometer sample of the wrong sign once moved a roll by twelve metres."""
    level = at_attitude(0, 3, forward=3.0)
    imu = level["imu"].copy()
    imu.loc[200, "accel_z_m_s2"] *= -1
    flipped = recording(imu=imu, attitude=level["attitude"])

    body, _ = body_motion(flipped, 0, 10)

    assert body is not None
    assert len(imu) - 1 == len(body.time_s)
    assert body.upward_m_s2 == pytest.approx(0.0, abs=1e-9)


def test_an_impact_of_several_samples_is_believed():
    # 40 m/s² for 50 ms at 100 Hz: a hard contact, not a speck.
    level = at_attitude(0, 3)
    imu = level["imu"].copy()
    imu.loc[200:204, "accel_z_m_s2"] -= 40.0

    body, _ = body_motion(recording(imu=imu, attitude=level["attitude"]), 0, 10)

    assert body is not None
    assert len(imu) == len(body.time_s)
    assert body.upward_m_s2.max() == pytest.approx(40.0, rel=0.01)
