"""Each way a flight can begin, go on and end, on recordings made by hand."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

import flightlog
from flightlog.analyses.phases import find_sorties
from flightlog.analyses.phases_power import read_power
from flightlog.resources import data_path
from tests.synthetic import Story, as_recording


def codes(findings):
    return [f.code for f in findings]


def plain_flight() -> Story:
    return Story().rest(20).flight().rest(20)


SENSOR_SETS = [
    {},
    {"gps_hz": 1.0},
    {"gps_hz": 10.0, "sensors": "gps"},
    {"gps_hz": 1.0, "sensors": "gps"},
    {"sensors": "gps baro"},
    {"sensors": "gps imu"},
    {"sensors": "gps baro imu outputs"},
    {"sensors": "gps battery", "columns_without": ["current_a"]},
    {"sensors": "gps baro", "columns_without": ["climb_m_s", "altitude_msl_m", "fix"]},
    {"gps_hz": 2.0, "imu_hz": 3.0, "slow_hz": 2.0},
    {"throttle": 1},
]


@pytest.mark.parametrize("sensors", SENSOR_SETS, ids=str)
def test_runway_flight_is_found_to_a_second_with_whatever_sensors_there_are(sensors):
    story = plain_flight()
    (sortie,), attempts, findings = find_sorties(story.recording(**sensors))
    has_baro = "baro" in sensors.get("sensors", "baro")
    slack = 1.0 if has_baro else 2.0
    assert (sortie.launch, sortie.starts, sortie.ends) == ("runway", "rest", "standstill")
    assert sortie.start_s == pytest.approx(story.events["roll"], abs=1.0)
    assert sortie.liftoff_s == pytest.approx(story.events["liftoff"], abs=slack)
    assert sortie.touchdown_s == pytest.approx(story.events["touchdown"], abs=slack)
    assert sortie.end_s == pytest.approx(story.events["standstill"], abs=1.2)
    assert attempts == ()
    assert findings == ()


def test_search_window_holds_rest_before_the_roll_and_the_climb_past_5_m():
    story = plain_flight()
    (sortie,), _, _ = find_sorties(story.recording())
    begin, end = sortie.search_s
    assert story.start_s <= begin <= story.events["roll"] - 5
    assert end >= story.events["liftoff"] + np.sqrt(2 * 5.0) + 4.5


def test_search_window_leaves_out_the_taxi_to_the_line():
    story = Story().rest(20).go(5, speed=2.5, power=0.12).go(20, power=0.12, turn_deg=90)
    story.go(2, speed=0.0).event("lined up").rest(6).flight().rest(10)
    (sortie,), _, _ = find_sorties(story.recording())
    assert sortie.search_s[0] == pytest.approx(story.events["lined up"], abs=1.5)


def test_run_up_against_the_brakes_is_neither_a_roll_nor_an_attempt():
    story = Story().rest(20).rest(4, power=1.0, shake=0.03).flight().rest(10)
    (sortie,), attempts, _ = find_sorties(story.recording())
    assert sortie.start_s == pytest.approx(story.events["roll"], abs=1.0)
    assert attempts == ()


def test_run_up_with_noisy_position_is_no_attempt():
    story = Story().rest(30).rest(15, power=1.0, shake=0.03).rest(20)
    for seed in range(5):
        recording = story.recording(rest_noise=1.5, drift_m=20.0, seed=seed)
        sorties, attempts, findings = find_sorties(recording)
        assert (sorties, attempts) == ((), ())
        assert codes(findings) == ["no-flight"]


def test_hand_launch_is_told_from_a_roll():
    story = Story().rest(30).rest(5, shake=0.2).go(2.5, speed=3.5, shake=0.25)
    story.event("throw").go(0.5, speed=9.0, height=0.8, shake=0.8)
    story.go(6, speed=12.0, height=25.0, power=1.0, shake=0.3).cruise(40).descend()
    story.event("touchdown").stop().rest(20)
    for kinds in ("gps baro imu battery", "gps imu", "gps baro battery"):
        (sortie,), attempts, findings = find_sorties(story.recording(sensors=kinds))
        assert (sortie.launch, sortie.starts) == ("hand", "rest")
        assert sortie.liftoff_s == pytest.approx(story.events["throw"], abs=1.0)
        assert attempts == ()
        assert codes(findings) == ["hand-launch"]


def test_short_brisk_roll_is_not_taken_for_a_throw():
    story = Story().rest(20).event("roll").roll(9.0, acceleration=4.0).event("liftoff")
    story.climb().cruise(30).descend().stop().rest(10)
    (sortie,), _, _ = find_sorties(story.recording())
    assert sortie.launch == "runway"


def test_log_that_starts_during_the_roll():
    story = plain_flight()
    begin = story.events["roll"] + 2.0
    (sortie,), _, findings = find_sorties(story.recording(window=(begin, story.now)))
    assert (sortie.launch, sortie.starts) == ("unknown", "rolling")
    assert sortie.liftoff_s == pytest.approx(story.events["liftoff"], abs=1.2)
    assert codes(findings) == ["starts-rolling"]
    assert "takeoff.*" in findings[0].affects


def test_log_that_starts_with_a_second_of_rest_keeps_its_roll():
    story = plain_flight()
    begin = story.events["roll"] - 1.5
    (sortie,), _, findings = find_sorties(story.recording(window=(begin, story.now)))
    assert (sortie.launch, sortie.starts) == ("runway", "rest")
    assert findings == ()


def test_log_that_starts_in_the_air():
    story = plain_flight()
    begin = story.events["liftoff"] + 10.0
    (sortie,), _, findings = find_sorties(story.recording(window=(begin, story.now)))
    assert (sortie.launch, sortie.starts, sortie.liftoff_s) == ("air", "air", None)
    assert sortie.touchdown_s == pytest.approx(story.events["touchdown"], abs=1.0)
    assert codes(findings) == ["starts-in-air"]


def test_log_that_ends_in_the_air():
    story = plain_flight()
    end = story.events["touchdown"] - 10.0
    (sortie,), _, findings = find_sorties(story.recording(window=(story.start_s, end)))
    assert (sortie.ends, sortie.touchdown_s) == ("air", None)
    assert sortie.end_s == pytest.approx(end, abs=0.5)
    assert codes(findings) == ["ends-in-air"]


def test_log_that_starts_and_ends_in_the_air():
    story = plain_flight()
    window = (story.events["liftoff"] + 10.0, story.events["touchdown"] - 10.0)
    (sortie,), _, findings = find_sorties(story.recording(window=window))
    assert (sortie.starts, sortie.ends) == ("air", "air")
    assert codes(findings) == ["starts-in-air", "ends-in-air"]


def test_log_that_ends_while_rolling_out():
    story = plain_flight()
    end = story.events["touchdown"] + 3.0
    (sortie,), _, _ = find_sorties(story.recording(window=(story.start_s, end)))
    assert sortie.ends == "log"
    assert sortie.touchdown_s == pytest.approx(story.events["touchdown"], abs=1.0)


@pytest.mark.parametrize("sensors", [{}, {"gps_hz": 1.0}, {"sensors": "gps baro"}], ids=str)
def test_attempt_is_listed_and_the_take_off_after_it_found(sensors):
    story = Story().rest(20).event("first").roll(7.0).stop(deceleration=3.0).event("stopped")
    story.rest(15).flight().rest(10)
    (sortie,), (attempt,), _ = find_sorties(story.recording(**sensors))
    assert attempt.number == 1
    assert attempt.start_s == pytest.approx(story.events["first"], abs=1.0)
    assert attempt.stop_s == pytest.approx(story.events["stopped"], abs=1.0)
    assert abs(attempt.peak_ground_speed_m_s - 7.0) < 3 * attempt.peak_ground_speed_std_m_s + 0.3
    assert attempt.reason == "stopped before lift-off"
    assert sortie.start_s == pytest.approx(story.events["roll"], abs=1.0)


@pytest.mark.parametrize("sensors", [{}, {"gps_hz": 1.0}, {"gps_hz": 10.0}], ids=str)
def test_attempt_says_how_far_it_rolled_until_its_fastest_moment_and_in_all(sensors):
    missed = []
    for wait in (20.0, 20.3, 20.7, 21.1):
        story = Story().rest(wait).event("first").roll(7.0).event("top")
        story.stop(deceleration=3.0).event("stopped").rest(15)
        _, (attempt,), _ = find_sorties(story.recording(**sensors))
        # Speed rises and falls in straight lines: half of it over each stretch.
        until = 3.5 * (story.events["top"] - story.events["first"])
        whole = 3.5 * (story.events["stopped"] - story.events["first"])
        missed.append((attempt.distance.value - until) / attempt.distance.std)
        assert abs(attempt.distance_in_all.value - whole) < 3 * attempt.distance_in_all.std
        assert attempt.distance_in_all.std < 0.06 * whole
        assert attempt.distance.std < 0.3 * until
    assert all(abs(z) < 3 for z in missed)


def test_attempt_of_a_sample_rolled_as_far_as_its_truth_says():
    known = data_path("sample_flights", "attempt_then_takeoff.truth.json")
    (true,) = json.loads(known.read_text(encoding="utf-8"))["attempts"]
    recording = flightlog.read(data_path("sample_flights", "attempt_then_takeoff.bin"))
    (attempt,) = find_sorties(recording)[1]
    low, high = attempt.distance_in_all.interval()
    assert low < true["distance_m"] < high
    assert high - low < 0.2 * true["distance_m"]
    # It gained 6.3 m/s in less time than it took to stop.
    assert 0.3 * true["distance_m"] < attempt.distance.value < 0.5 * true["distance_m"]


def test_attempt_whose_start_the_log_does_not_show_has_no_distance():
    story = Story().rest(20).event("first").roll(10.0).stop().rest(20)
    start = story.events["first"] + 1.5
    (attempt,) = find_sorties(story.recording(window=(start, story.now)))[1]
    assert (attempt.distance, attempt.distance_in_all) == (None, None)


def test_attempt_in_which_the_log_ends_has_no_distance_in_all():
    story = Story().rest(20).roll(10.0).event("top").stop(deceleration=2.0).rest(20)
    end = story.events["top"] + 2.0
    (attempt,) = find_sorties(story.recording(window=(story.start_s, end)))[1]
    assert attempt.reason == "the log ends during the roll"
    assert attempt.distance is not None
    assert attempt.distance_in_all is None


def test_attempt_without_any_flight():
    story = Story().rest(20).roll(10.0).stop().rest(20)
    sorties, (attempt,), findings = find_sorties(story.recording())
    assert sorties == ()
    assert attempt.peak_ground_speed_m_s == pytest.approx(10.0, abs=0.5)
    assert codes(findings) == ["no-flight"]


def test_slow_attempt_counts_when_the_accelerometer_felt_it():
    story = Story().rest(30).roll(2.6).stop().rest(20)
    _, felt, _ = find_sorties(story.recording())
    assert len(felt) == 1
    _, unfelt, _ = find_sorties(story.recording(sensors="gps baro battery"))
    assert unfelt == ()


def test_one_short_attempt_in_a_long_log():
    story = Story().rest(600).roll(5.0).stop().rest(600)
    _, attempts, _ = find_sorties(story.recording(sensors="gps battery"))
    assert len(attempts) == 1


def test_attempt_right_before_the_take_off_does_not_become_part_of_its_roll():
    story = Story().rest(20).roll(6.0).stop(deceleration=3.0).rest(1.5, power=0.5)
    story.flight().rest(10)
    (sortie,), (attempt,), _ = find_sorties(story.recording())
    assert sortie.start_s == pytest.approx(story.events["roll"], abs=1.0)
    assert attempt.stop_s < sortie.start_s


@pytest.mark.parametrize("power", [0.12, 0.3])
def test_taxiing_is_neither(power):
    story = Story().rest(20).go(4, speed=4.0, power=power).go(20, power=power, turn_deg=180)
    story.go(3, speed=0.0).rest(20)
    sorties, attempts, _ = find_sorties(story.recording())
    assert (sorties, attempts) == ((), ())


def test_full_power_in_a_turn_is_taxiing():
    story = Story().rest(20).go(2, speed=4.0, power=1.0, turn_deg=40)
    story.go(3, power=0.6, turn_deg=90).stop().rest(10)
    assert find_sorties(story.recording())[1] == ()


def test_skips_before_the_final_lift_off_are_one_sortie():
    story = Story().rest(20).event("roll").roll(12.0)
    for _ in range(3):
        story.go(0.5, height=0.15, power=1.0).go(0.5, height=0.0, power=1.0)
    story.event("liftoff").climb().cruise(30).descend().stop().rest(10)
    (sortie,), attempts, findings = find_sorties(story.recording())
    assert sortie.liftoff_s == pytest.approx(story.events["liftoff"], abs=1.2)
    assert (attempts, findings) == ((), ())


def test_several_flights_in_a_file():
    story = Story().rest(20).flight().rest(30).flight(height=25.0).rest(40).flight().rest(10)
    sorties, attempts, findings = find_sorties(story.recording(baro_drift_m=6.0))
    assert [s.number for s in sorties] == [1, 2, 3]
    assert {s.launch for s in sorties} == {"runway"}
    assert (attempts, findings) == ((), ())
    for before, after in pairwise(sorties):
        assert before.end_s < after.search_s[0] < after.start_s


def test_touch_and_go_is_one_sortie_with_a_note():
    story = Story().rest(20).event("roll").roll().climb().cruise(20).descend().event("touched")
    story.go(5, power=0.3).roll(14.0).climb().cruise(20).descend().event("touchdown").stop().rest(9)
    (sortie,), attempts, findings = find_sorties(story.recording())
    assert codes(findings) == ["touch-and-go"]
    assert findings[0].evidence == {"contacts": 1}
    assert sortie.touchdown_s == pytest.approx(story.events["touchdown"], abs=1.0)
    assert attempts == ()


def test_long_taxi_between_two_flights_separates_them_without_a_standstill():
    story = Story().rest(20).roll().climb().cruise(20).descend().go(4, speed=3.0)
    story.go(40, power=0.12, turn_deg=180).event("roll").roll(13.0).climb().cruise(20)
    story.descend().stop().rest(10)
    first, second = find_sorties(story.recording())[0]
    assert first.ends == "log"
    assert first.end_s <= second.start_s
    assert second.start_s == pytest.approx(story.events["roll"], abs=2.0)


def test_restart_on_the_ground_carries_nothing_over():
    story = Story().rest(20).flight().rest(10).event("disarmed").rest(2).event("restart")
    story.rest(10).flight().rest(20)
    seam = story.events["restart"]
    locked = [(story.start_s + 1.0, 1), (story.events["disarmed"], 0)]
    recording = story.recording(seams=(seam,), armed=locked)
    sorties, _, _ = find_sorties(recording)
    # what was said of arming before the restart no longer holds after it
    assert len(sorties) == 2
    assert sorties[0].end_s < seam < sorties[1].search_s[0]


def test_restart_in_the_air_makes_two_sorties_and_says_so():
    story = plain_flight()
    seam = story.events["liftoff"] + 40.0
    sorties, _, findings = find_sorties(story.recording(seams=(seam,)))
    first, second = sorties
    assert (first.ends, second.starts) == ("air", "air")
    assert first.end_s <= seam <= second.start_s + 0.5
    assert "restart-in-flight" in codes(findings)


def test_hole_in_the_middle_of_a_flight_does_not_cut_it():
    story = Story().rest(20).event("roll").roll().climb().cruise(20).silence(57).cruise(20)
    story.descend().event("touchdown").stop().rest(10)
    (sortie,), _, _ = find_sorties(story.recording())
    assert sortie.touchdown_s == pytest.approx(story.events["touchdown"], abs=1.0)


def test_hours_of_silence_cost_no_memory_and_separate_flights():
    story = plain_flight()
    tables = {n: story.recording()[n] for n in story.recording()}
    far = {n: t.assign(time_s=t["time_s"] + 5e8) for n, t in tables.items()}
    both = {n: pd.concat([tables[n], far[n]], ignore_index=True) for n in tables}
    assert len(find_sorties(as_recording(both))[0]) == 2


def test_multicopter_rises_without_a_roll():
    story = Story().rest(20).event("up").go(4, height=6.0, power=0.6, shake=0.3)
    story.go(20, speed=3.0, power=0.5, shake=0.3).go(20, speed=0.0, power=0.5, shake=0.3)
    story.go(6, height=0.0, power=0.4, shake=0.3).event("down").rest(20)
    for kinds in ("gps baro imu battery", "gps baro outputs", "gps baro imu"):
        (sortie,), attempts, findings = find_sorties(story.recording(sensors=kinds))
        assert (sortie.launch, sortie.starts) == ("unknown", "rest")
        assert sortie.liftoff_s == pytest.approx(story.events["up"], abs=1.5)
        assert sortie.touchdown_s == pytest.approx(story.events["down"], abs=1.5)
        assert attempts == ()
        assert codes(findings) == ["vertical-launch"]


def test_multicopter_that_hovers_low_before_landing_has_not_landed():
    story = Story().rest(20).go(4, height=6.0, power=0.6, shake=0.3)
    story.go(20, power=0.5, shake=0.3).go(5, height=0.15, power=0.4, shake=0.3)
    story.go(6, power=0.5, shake=0.3).go(0.5, height=0.0, power=0.3).event("down").rest(20)
    (sortie,), _, _ = find_sorties(story.recording())
    assert sortie.touchdown_s == pytest.approx(story.events["down"], abs=1.0)


def test_slow_rise_without_any_sign_of_power_is_no_rest():
    story = Story().rest(20).event("up").go(15, height=20.0).go(5, speed=6.0)
    story.go(20).go(5, speed=0.0).go(15, height=0.0).event("down").rest(20)
    (sortie,), _, _ = find_sorties(story.recording(sensors="gps baro"))
    assert sortie.liftoff_s == pytest.approx(story.events["up"], abs=3.0)
    assert sortie.touchdown_s == pytest.approx(story.events["down"], abs=3.0)


def test_hop_below_two_metres_is_an_attempt():
    story = Story().rest(20).roll(12.0).go(1.5, height=1.8, power=1.0)
    story.go(3, power=1.0).go(1.5, height=0.0, power=0.2).stop().rest(20)
    sorties, (attempt,), _ = find_sorties(story.recording())
    assert sorties == ()
    assert attempt.peak_ground_speed_m_s == pytest.approx(12.0, abs=0.5)
    # It was as fast all the while, so nobody can say how far it went until its fastest moment.
    low, high = attempt.distance.interval()
    assert low < 40.0
    assert high > 90.0


def test_log_that_starts_at_full_power_has_no_rest_even_if_it_stands():
    story = Story().rest(5).rest(4, power=1.0).flight().rest(10)
    begin = story.events["roll"] - 0.5
    (sortie,), _, findings = find_sorties(story.recording(window=(begin, story.now)))
    assert (sortie.launch, sortie.starts) == ("unknown", "rolling")
    assert codes(findings) == ["starts-rolling"]


def test_straight_slow_taxi_in_a_log_without_full_power_is_no_attempt():
    story = Story().rest(20).go(8, speed=4.0, power=0.12).go(10, power=0.12)
    story.go(4, speed=0.0).rest(20)
    assert find_sorties(story.recording())[1] == ()


def test_car_ride_over_a_hill_is_no_flight():
    story = Story().rest(20, shake=0.05).go(8, speed=15.0, shake=0.2)
    story.go(60, height=30.0, shake=0.2).go(60, height=2.0, shake=0.2).stop().rest(20)
    motor_test = story.rest(3, power=1.0).rest(10)
    sorties, attempts, _ = find_sorties(motor_test.recording())
    assert (sorties, attempts) == ((), ())


def test_disarmed_all_the_time_is_no_flight():
    story = plain_flight()
    recording = story.recording(sensors="gps baro imu", armed=[(story.start_s + 1.0, 0)])
    assert find_sorties(recording)[0] == ()


def test_carried_up_a_bank_is_no_flight():
    story = Story().rest(20).go(2, speed=1.2, shake=0.3).go(20, height=4.5, shake=0.3)
    story.go(30, height=0.0, shake=0.3).go(2, speed=0.0).rest(20).rest(5, power=1.0).rest(10)
    assert find_sorties(story.recording())[0] == ()
    assert find_sorties(story.recording(sensors="gps baro imu"))[0] == ()


def test_barometer_warming_up_is_no_flight():
    story = Story().rest(400)
    recording = story.recording(baro_drift_m=12.0, rest_noise=1.4)
    assert find_sorties(recording)[0] == ()


def test_log_without_position_still_shows_the_flight():
    story = plain_flight()
    (sortie,), _, _ = find_sorties(story.recording(sensors="baro imu battery"))
    assert sortie.liftoff_s == pytest.approx(story.events["liftoff"], abs=2.0)
    assert sortie.ends == "standstill"


def test_no_sensors_at_all():
    sorties, attempts, findings = find_sorties(as_recording({}))
    assert (sorties, attempts) == ((), ())
    assert codes(findings) == ["no-flight"]
    assert "no gps, baro, imu, battery" in findings[0].message


def test_glitches_do_not_fly():
    recording = Story().rest(60).recording()
    gps, baro = recording["gps"].copy(), recording["baro"].copy()
    gps.loc[100, "ground_speed_m_s"] = 80.0
    baro.loc[[200, 400], "height_m"] = [500.0, -9000.0]
    baro.loc[300, "height_m"] = np.nan
    imu = recording["imu"].assign(gyro_x_rad_s=np.nan)
    tables = {n: recording[n] for n in recording} | {"gps": gps, "baro": baro, "imu": imu}
    sorties, attempts, _ = find_sorties(as_recording(tables))
    assert (sorties, attempts) == ((), ())


@pytest.mark.parametrize("channel", [1, 2, 3, 4])
def test_throttle_is_recognised_by_what_it_does_not_by_its_number(channel):
    recording = plain_flight().recording(sensors="outputs", throttle=channel)
    power = read_power(recording)
    assert (power.source, power.channel) == ("throttle", channel)


def test_largest_pulse_of_a_taxi_is_not_full_power():
    recording = Story().rest(20).go(20, speed=3.0, power=0.2).rest(5).recording(sensors="outputs")
    assert float(read_power(recording).share.max()) == pytest.approx(200 / 600, abs=0.02)


def test_current_of_cruise_alone_has_no_idle_to_compare_with():
    recording = Story().go(60, power=0.4).go(60, power=0.6).recording(sensors="battery")
    assert read_power(recording).source != "current"


def test_a_current_sensor_that_always_says_zero_is_not_believed():
    recording = plain_flight().recording()
    battery = recording["battery"].assign(current_a=0.0)
    tables = {n: recording[n] for n in recording} | {"battery": battery}
    assert read_power(as_recording(tables)).source == "throttle"
    assert len(find_sorties(as_recording(tables))[0]) == 1
