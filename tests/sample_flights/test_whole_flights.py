"""Whole simulated flights: their faults are where they are said to be, and nowhere else."""

from __future__ import annotations

import dataclasses
from dataclasses import replace
from math import degrees, radians

import numpy as np
import pandas as pd
import pytest

from sample_flights.generator import whole_flights as whole
from sample_flights.generator import whole_sensors
from sample_flights.generator.dynamics import STEP
from sample_flights.generator.run import Flown, Model, Setting, iterate_flown
from sample_flights.generator.takeoffs import Tables, Truth
from sample_flights.generator.whole_motion import (
    WHOLE_CHANNELS,
    WholeBatch,
    WholePilot,
    whole_pilot,
)
from sample_flights.generator.whole_truth import battery_truth, landing_truth, surface_truth
from tests.wear.flights import aircraft_of, recording_of

CASES = (("none", 0.0, 5), ("none", 0.0, 5), ("hard-touchdown", 2.2, 5), ("play", 3.0, 5),
         ("none", 0.0, 6))  # fmt: skip


def _on_final(settings: list[Setting], tracks: list[np.ndarray]) -> WholeBatch:
    batch = WholeBatch(settings, tracks)
    batch.s[:], batch.h[:], batch.vs[:] = -150.0, 13.5, 16.5
    return batch


def _landing_pilot(setting: Setting) -> WholePilot:
    pilot = whole_pilot(setting)
    pilot.phase = "final"
    return pilot


@pytest.fixture(scope="module")
def landings() -> list[tuple[whole.Drawn, Flown]]:
    drawn = [whole.draw(3, number, fault, size) for fault, size, number in CASES]
    for one in drawn:
        one.setting.plan = replace(one.setting.plan, idle_after=0.3)
        one.setting.build["rolling_friction"] = 0.15  # a short roll-out is a quick test
    model = Model(_on_final, _landing_pilot, WHOLE_CHANNELS)
    out = []
    for one, flown in zip(
        drawn, iterate_flown([d.setting for d in drawn], 26.0, model), strict=True
    ):
        assert flown.events[-1][1] == "parked"
        flown.events[:0] = [(0.0, "roll"), (-3.0, "cruise"), (5.0, "let_down")]
        out.append((one, flown))
    return out


def _tables(
    landing: tuple[whole.Drawn, Flown], fault: str = "none", size: float = 0.0, **other: object
) -> tuple[Tables, Truth]:
    one, flown = landing
    known: Truth = {"boot": 50.0}
    tables = whole.tables_of(one, flown, known, fault, size, **other)  # type: ignore[arg-type]
    return tables, known


def test_same_seed_same_flight_whatever_flies_beside_it(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    for name in WHOLE_CHANNELS:
        np.testing.assert_array_equal(landings[0][1][name], landings[1][1][name])
    assert not np.array_equal(landings[0][1]["h"][:2000], landings[4][1]["h"][:2000])


def test_same_seed_same_tables(landings: list[tuple[whole.Drawn, Flown]]) -> None:
    first, second = _tables(landings[0])[0], _tables(landings[1])[0]
    assert list(first) == list(second)
    for name, frame in first.items():
        pd.testing.assert_frame_equal(frame, second[name])


def test_flight_drawn_alone_is_the_one_drawn_among_others() -> None:
    assert whole.draw(3, 7).setting == whole.draw(3, 7).setting
    sound, loose = whole.draw(3, 7), whole.draw(3, 7, "play", 2.0)
    differs = {k for k, v in sound.setting.build.items() if loose.setting.build[k] != v}
    assert differs == {"play"}
    assert loose.setting.build["play"] == pytest.approx(radians(2.0))


def test_hard_touchdown_is_hard_in_motion_and_in_the_accelerometer(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    sound, hard = (landing_truth(landings[i][1], 50.0) for i in (0, 2))
    assert 0.2 < sound["wheel_sink_m_s"] < 1.3
    assert 1.8 < hard["wheel_sink_m_s"] < 2.7
    assert hard["peak_load_factor"] > 1.5 * sound["peak_load_factor"]
    imu = _tables(landings[2])[0]["imu"]
    near = np.abs(imu["time_s"] - hard["t_peak"]) < 0.1
    shown = -imu["accel_z_m_s2"][near].min() / 9.80665
    assert shown == pytest.approx(hard["peak_load_factor"], rel=0.25)


def test_height_falls_as_fast_as_the_truth_of_the_touchdown_says(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    flown = landings[0][1]
    known = landing_truth(flown, 0.0)
    k = round(known["t_touch"] / STEP)
    before = flown["wheel_height"][k - 20 : k].astype(float)
    slope = np.polyfit(np.arange(20) * STEP, before, 1)[0]
    assert -slope == pytest.approx(known["wheel_sink_m_s"], abs=0.15)


def test_surface_with_play_leaves_its_servo_by_half_the_gap_and_no_more(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    sound, loose = landings[0][1], landings[3][1]
    tight = np.abs(sound["elevator"] - sound["elevator_servo"])
    gap = np.degrees(np.abs(loose["elevator"] - loose["elevator_servo"]))
    assert tight.max() == 0.0
    assert gap.max() == pytest.approx(1.5, abs=1e-4)
    assert surface_truth(loose, 0.0)["elevator_play_deg"] == pytest.approx(3.0)
    assert surface_truth(sound, 0.0)["elevator_play_deg"] == 0.0
    assert not np.array_equal(sound["pitch"][:4000], loose["pitch"][:4000])


def test_still_command_leaves_the_surface_free_within_the_gap_only() -> None:
    setting = whole.draw(1, 1, "play", 2.0).setting
    batch = WholeBatch([setting], [np.zeros((3, 15200), dtype=np.float32)])
    seen = []
    for alpha in np.repeat([0.3, -0.3, 0.3], 400):
        batch._move_surfaces(np.array([alpha]))
        seen.append(degrees(batch.elevator[0]))
    assert max(seen) == pytest.approx(1.0, abs=1e-6)
    assert min(seen) == pytest.approx(-1.0, abs=1e-6)


def test_propeller_out_of_balance_shakes_only_in_first_order(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    (sound, known), (shaken, worse) = _tables(landings[0]), _tables(landings[0], "propeller", 3.0)
    assert worse["vibration"]["first_order_115"] == pytest.approx(
        3.0 * known["vibration"]["first_order_115"]
    )
    flown = landings[0][1]
    imu = sound["imu"]
    extra = (shaken["imu"]["accel_y_m_s2"] - imu["accel_y_m_s2"]).to_numpy()
    at = np.round((imu["time_s"].to_numpy() - 50.0) / STEP).astype(int)
    rev = flown["rev_s"][at].astype(float)
    turn = 2 * np.pi * flown["turn"][at]
    gain = np.sinc(rev / 200.0) if known["vibration"]["averaged"] else 1.0
    waves = np.stack([np.cos(turn), np.sin(turn)], axis=1) * (gain * (rev / 115.0) ** 2)[:, None]
    fit, rest, *_ = np.linalg.lstsq(waves, extra, rcond=None)
    more = 2.0 * known["vibration"]["first_order_115"] * np.sqrt(2.0)
    assert np.hypot(*fit) == pytest.approx(more, rel=0.06)
    assert rest[0] < 1e-6 * np.sum(extra**2)
    for name in ("gps", "battery", "outputs", "link"):
        pd.testing.assert_frame_equal(sound[name], shaken[name])


def test_hole_in_the_aerials_pattern_is_where_and_as_deep_as_said(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    (sound, _), (holed, known) = _tables(landings[0]), _tables(landings[0], "aerial-null", 10.0)
    link = known["link"]
    angle, gain = np.array(link["gain_azimuth_deg"]), np.array(link["gain_db"])
    plain = np.array(_tables(landings[0])[1]["link"]["gain_db"])
    lost = plain - gain
    away = np.abs((angle - link["null_azimuth_deg"] + 180.0) % 360.0 - 180.0)
    assert lost[away < 5.0] == pytest.approx(10.0, abs=0.1)
    assert lost[away > 45.0] == pytest.approx(0.0, abs=0.2)
    assert np.interp(20.0, np.sort(away), lost[np.argsort(away)]) == pytest.approx(5.0, abs=0.8)
    fields = {f.name: link[f.name] for f in dataclasses.fields(whole_sensors.Link)}
    radio = whole_sensors.Link(**fields)
    when = holed["link"]["time_s"].to_numpy() - 50.0
    _, azimuth = radio.seen_from(landings[0][1], when)
    missing = replace(radio, null_db=0.0).gain(azimuth) - radio.gain(azimuth)
    column = "rssi_raw" if link["raw"] else "rssi_dbm"
    scale = whole_sensors.Link.RAW_SCALE if link["raw"] else 1.0
    drop = scale * (sound["link"][column] - holed["link"][column])
    assert drop.to_numpy() == pytest.approx(missing, abs=1.0)


def test_panels_of_the_inverted_v_say_elevator_and_rudder(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    flown = landings[0][1]
    tables, known = _tables(landings[0], tail="inverted v")
    aircraft = aircraft_of(known)
    assert aircraft.outputs[2] == "left tail"
    assert aircraft.outputs[4] == "right tail"
    rows = tables["outputs"]
    angle = {}
    for channel in (2, 4):
        pulse, deg = np.array(aircraft.linkages[channel]).T
        mine = rows[rows["channel"] == channel]
        angle[channel] = np.interp(mine["pulse_us"], pulse, deg)
    at = ((mine["time_s"].to_numpy() - 50.0 + 1e-9) / STEP).astype(int)
    down, right = (angle[2] + angle[4]) / 2, (angle[2] - angle[4]) / 2
    assert down == pytest.approx(-np.degrees(flown["elevator_command"][at]), abs=0.06)
    assert right == pytest.approx(-0.6 * np.degrees(flown["rudder_command"][at]), abs=0.06)


def test_reversed_panel_moves_against_its_sense_and_alone(
    landings: list[tuple[whole.Drawn, Flown]],
) -> None:
    sound = _tables(landings[0], tail="inverted v")[0]["outputs"]
    turned = _tables(landings[0], "reversed-panel", 0.5)[0]["outputs"]
    right = sound["channel"] == 4
    pd.testing.assert_frame_equal(sound[~right], turned[~right])
    middle = whole_sensors.RIGHT_TAIL[1][0]
    there = sound["pulse_us"][right] - middle
    assert (turned["pulse_us"][right] - middle).to_numpy() == pytest.approx(
        -0.5 * there.to_numpy(), abs=1.01
    )
    assert np.ptp(there) > 30.0


def test_right_rudder_turns_the_nose_right() -> None:
    setting = whole.draw(1, 1).setting
    batch = WholeBatch([setting], [np.zeros((3, 15200), dtype=np.float32)])
    batch.h[:], batch.vs[:] = 40.0, 17.0
    batch.rudder_command[:] = -0.1  # to the right
    for _ in range(100):
        batch.step()
    assert batch.yaw_rate[0] > 0.05


def test_pack_sags_as_its_response_says(landings: list[tuple[whole.Drawn, Flown]]) -> None:
    one, flown = landings[0]
    known = battery_truth(flown, 0.0, one.kelvin, one.resistance_25)
    warm = np.exp(1800.0 * (1.0 / one.kelvin - 1.0 / 298.15))
    assert known["r_1s_ohm"] == pytest.approx(known["r_1s_25c_ohm"] * warm)
    # A step of 30 A on a pack at rest, slow parts solved in closed form.
    batch = WholeBatch([one.setting], [np.zeros((3, 15200), dtype=np.float32)])
    batch.build.charge_state[:] = 0.6
    dropped = []
    for throttle in (0.0, 1.0):
        batch.throttle[:] = throttle
        for _ in range(400):
            batch._drive(np.zeros(1))
        dropped.append((float(batch.current[0]), float(batch.voltage[0])))
    (low, before), (high, after) = dropped
    assert (before - after) / (high - low) == pytest.approx(known["r_1s_ohm"], rel=0.06)


def test_tables_make_a_recording(landings: list[tuple[whole.Drawn, Flown]]) -> None:
    tables, known = _tables(landings[4])
    recording = recording_of(tables)
    imu = recording.one("imu")
    assert imu is not None
    span = imu["time_s"].iloc[-1] - imu["time_s"].iloc[0]
    assert len(imu) == pytest.approx(200 * span, rel=0.001)
    assert aircraft_of(known).senses == {1: -1, 2: -1, 4: -1}


def test_flights_that_came_to_nothing_are_passed_over(
    landings: list[tuple[whole.Drawn, Flown]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fly(settings: list[Setting], longest_s: float, model: Model) -> list[Flown]:
        return [landings[0][1]] * len(settings)

    def odd(one: whole.Drawn, flown: Flown, fault: str) -> Truth | None:
        return {"boot": 50.0, "number": one.number} if one.number % 2 else None

    monkeypatch.setattr(whole, "iterate_flown", fly)
    monkeypatch.setattr(whole, "truth_of", odd)
    out = list(whole.iterate_flights(2, 3, fault="aerial-null"))
    assert [known["number"] for _, known in out] == [1, 3]
    assert [known["fault"] for _, known in out] == [{"kind": "aerial-null", "size": 10.0}] * 2
    monkeypatch.setattr(whole, "truth_of", lambda *_: None)
    with pytest.raises(ValueError, match="at rest"):
        next(whole.iterate_flights(1, 3))
