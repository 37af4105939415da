"""The landing's figures on made landings, and on the sample flights with their truth."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

import flightlog
from flightlog.analyses import landing
from flightlog.analyses.landing import answer, measure_landing
from flightlog.analyses.landing_faults import hard_landing
from flightlog.analyses.phases import Sortie, find_sorties
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.path import estimate_path
from flightlog.estimation.touchdown_evidence import Hop, Touchdown
from flightlog.figures import Answer
from flightlog.inputs import Aircraft, Gear, Inputs, Mass
from flightlog.recording import Receipt, Recording
from flightlog.resources import data_path
from flightlog.uncertain import Posterior, Uncertain
from tests.estimation.made_landings import TOUCH_S, baro_of, climb_of, made_landing, sampled

NO_TAKEOFF = Takeoff(Answer())
SORTIE = Sortie(1, "runway", "air", "standstill", 92.0, None, TOUCH_S - 0.7, 108.0, (92.0, 93.0))


def made_recording(sink_m_s: float, *, rate_hz: float = 200, gps: bool = True) -> Recording:
    """Tables of a landing in level attitude that slows from 12 m/s to rest within 8 s."""
    made = made_landing(sink_m_s)
    rng = np.random.default_rng(2)
    tables: dict[str, pd.DataFrame] = {}
    tb, hb = baro_of(made, rng)
    tables["baro"] = pd.DataFrame({"time_s": tb, "instance": 0, "height_m": hb})
    if rate_hz:
        t, a = sampled(made, rate_hz, rng, zero=0.1)
        still = np.zeros(t.size)
        tables["imu"] = pd.DataFrame(
            {"time_s": t, "instance": 0}
            | {f"gyro_{axis}_rad_s": still for axis in "xyz"}
            | {"accel_x_m_s2": still, "accel_y_m_s2": still, "accel_z_m_s2": -a - 9.80665}
        )
        tables["attitude"] = pd.DataFrame(
            {"time_s": t[::8], "roll_rad": 0.0, "pitch_rad": 0.0, "yaw_rad": 0.0}
        )
    if gps:
        tc, vc = climb_of(made, rng)
        speed = np.clip(12.0 - 1.5 * np.maximum(tc - 0.15 - TOUCH_S, 0.0), 0.0, None)
        way = np.concatenate([[0.0], np.cumsum(np.diff(tc) * (speed[1:] + speed[:-1]) / 2)])
        tables["gps"] = pd.DataFrame(
            {
                "time_s": tc,
                "instance": 0,
                "latitude_deg": way / 111_195.0,
                "longitude_deg": 0.0,
                "altitude_msl_m": 0.0,
                "ground_speed_m_s": speed,
                "course_deg": 0.0,
                "climb_m_s": vc,
                "fix": 3,
            }
        )
    return Recording(tables, Receipt("made", 0, "", "made", 1))


def landed(recording: Recording, inputs: Inputs | None = None, sortie: Sortie = SORTIE) -> Answer:
    path = estimate_path(recording, sortie.start_s, sortie.end_s + 2)
    return answer(recording, sortie, path, inputs or Inputs(), NO_TAKEOFF)


def aircraft(**changes: Any) -> Aircraft:
    return Aircraft(id="pannier", sha256="", **changes)


def value(given: Answer, name: str) -> float:
    return given.figures[f"landing.{name}"].quantity.value


def test_a_sound_landing_has_all_figures_and_no_finding():
    given = landed(made_recording(0.7))

    assert value(given, "sink_rate") == pytest.approx(0.7, abs=0.12)
    assert value(given, "touchdown_speed") == pytest.approx(12.0, abs=0.4)
    # From 12 to 1 m/s at 1.5 m/s²: (144 - 1) / 3.
    assert value(given, "roll_out") == pytest.approx(143 / 3, abs=2.0)
    assert value(given, "bounces") < 0.5
    assert given.findings == ()
    assert set(given.withheld) == {"landing.gear_energy"}


@pytest.mark.parametrize(
    ("top", "std", "length", "interval"),
    [
        (0.012, 0.035, 0.2, (0, 1)),  # what the noise of the height may hide is not excluded
        (0.005, 0.007, 0.2, (0, 0)),
        (0.012, 0.035, 0.06, (0, 0)),  # too short for 5 cm
    ],
)
def test_a_bounce_is_excluded_only_as_far_as_the_height_is_known(top, std, length, interval):
    low = Hop(TOUCH_S + 0.1, TOUCH_S + 0.1 + length, top, std)
    one = np.ones(1)
    touch = Touchdown(TOUCH_S, 0.01, one, one, (), TOUCH_S + 1, inertial=True, faint=(low, low))
    found = landing._bounces(touch, "")

    assert not isinstance(found, str)
    assert found[0].value == 0
    assert found[0].interval() == interval


def test_a_bounce_that_was_seen_is_counted():
    high = Hop(TOUCH_S + 0.1, TOUCH_S + 0.6, 0.2, 0.02)
    one = np.ones(1)
    touch = Touchdown(TOUCH_S, 0.01, one, one, (high,), TOUCH_S + 1, inertial=True)
    found = landing._bounces(touch, "")

    assert not isinstance(found, str)
    assert (found[0].value, found[0].std) == (1, 0)
    assert "tops 20 cm" in found[1]


def test_the_peak_load_factor_is_that_of_the_impact():
    made = made_landing(1.2)
    found = landed(made_recording(1.2)).figures["landing.peak_load_factor"]
    low, high = found.quantity.interval(0.99)

    assert low < made.peak_load < high
    assert found.quantity.value == pytest.approx(made.peak_load, rel=0.06)
    assert "at least" not in found.method


def test_a_pulse_of_few_samples_is_a_lower_bound_and_says_so():
    found = landed(made_recording(1.2, rate_hz=25)).figures["landing.peak_load_factor"]
    low, high = found.quantity.interval()

    assert found.method.startswith("at least")
    assert low < made_landing(1.2).peak_load < high
    assert high - found.quantity.value > found.quantity.value - low


def test_a_hard_landing_is_told_with_its_numbers():
    (finding,) = landed(made_recording(2.3)).findings

    assert finding.code == "hard-landing"
    assert finding.evidence["sink_rate_m_s"] == pytest.approx(2.3, abs=0.15)
    assert finding.evidence["load_factor"] == pytest.approx(made_landing(2.3).peak_load, rel=0.1)
    assert finding.start_s == pytest.approx(TOUCH_S, abs=0.05)


def test_the_aircrafts_own_limit_counts_where_it_sets_one():
    softer = aircraft(limits={"landing.sink_rate": {"at_most": 0.5, "unit": "m/s"}})
    tougher = aircraft(
        limits={
            "landing.sink_rate": {"at_most": 3.0, "unit": "m/s"},
            "landing.peak_load_factor": {"at_most": 12.0, "unit": ""},
        }
    )

    assert [f.code for f in landed(made_recording(0.7), Inputs(aircraft=softer)).findings] == [
        "hard-landing"
    ]
    assert landed(made_recording(2.3), Inputs(aircraft=tougher)).findings == ()


def test_the_energy_into_the_gear_needs_gear_and_mass():
    fitted = aircraft(gear=Gear(0.05, 0.5))
    without_mass = landed(made_recording(0.7), Inputs(aircraft=fitted))
    whole = landed(made_recording(0.7), Inputs(aircraft=fitted, mass=Mass(8.0, 0.05, "option")))

    assert "mass" in without_mass.withheld["landing.gear_energy"]
    sink = value(whole, "sink_rate")
    expected = 0.5 * 8.0 * sink**2 + 8.0 * 9.80665 * 0.05 / 3
    assert value(whole, "gear_energy") == pytest.approx(expected, rel=0.02)


def test_without_accelerations_a_steep_landing_is_not_excluded():
    given = landed(made_recording(1.3, rate_hz=0))

    assert "landing.sink_rate" in given.figures
    assert "IMU" in given.withheld["landing.peak_load_factor"]
    assert "IMU" in given.withheld["landing.bounces"]
    (finding,) = given.findings
    assert finding.code == "not-excluded"
    assert finding.evidence["fault"] == "hard-landing"


def test_with_a_barometer_alone_everything_is_withheld_and_nothing_excluded():
    given = landed(made_recording(0.7, rate_hz=0, gps=False))

    assert not given.figures
    assert [f.code for f in given.findings] == ["not-excluded"]


def test_a_log_that_ends_in_the_air_has_no_landing():
    in_air = Sortie(1, "runway", "air", "air", 92.0, None, None, 99.0, (92.0, 93.0))
    given = landed(made_recording(0.7), sortie=in_air)

    assert not given.figures
    assert not given.findings
    assert "in the air" in given.withheld["landing.sink_rate"]


def test_the_place_of_the_sensor_is_taken_out_of_the_load_factor():
    # A board 0.4 m ahead of the axle on an aircraft that pitches up at 20 rad/s² feels it.
    level = made_recording(0.7)
    tables = {name: level[name].copy() for name in level}
    imu = tables["imu"]
    t = imu["time_s"].to_numpy()
    kick = np.exp(-(((t - TOUCH_S - 0.06) / 0.04) ** 2))
    imu["gyro_y_rad_s"] = np.concatenate([[0], np.cumsum(np.diff(t) * 20 * kick[1:])])
    imu["accel_z_m_s2"] -= 20 * kick * 0.4
    imu["accel_x_m_s2"] -= imu["gyro_y_rad_s"] ** 2 * 0.4
    kicked = Recording(tables, Receipt("made", 0, "", "made", 1))
    known = Inputs(aircraft=aircraft(imu_lever_m=(0.4, 0.0, 0.0)))

    assert (
        value(landed(kicked), "peak_load_factor") > value(landed(level), "peak_load_factor") + 0.3
    )
    assert value(landed(kicked, known), "peak_load_factor") == pytest.approx(
        value(landed(level), "peak_load_factor"), abs=0.12
    )


@pytest.mark.parametrize(
    ("sink", "load", "code"),
    [(1.0, 3.0, None), (1.8, 3.0, "hard-landing"), (1.0, 4.6, "hard-landing")],
)
def test_sink_rate_or_load_factor_alone_makes_it_hard(sink, load, code):
    found = hard_landing(
        Uncertain.of(sink, 0.1, "m/s", source="x"),
        Uncertain.of(load, 0.2, "", source="x"),
        whole=True,
        impulse_m_s=1.2,
        rate_hz=200.0,
        limits={},
        time_s=10.0,
    )

    assert [f.code for f in found] == ([code] if code else [])


def judged(
    sink: Uncertain,
    load: float,
    *,
    whole: bool = True,
    limits: Any = None,
    impulse_m_s: float = 1.6,
) -> list[str]:
    found = hard_landing(
        sink,
        Posterior.from_samples(np.linspace(load, load + 4.0, 40), None, ""),
        whole=whole,
        impulse_m_s=impulse_m_s,
        rate_hz=20.0,
        limits=limits or {},
        time_s=10.0,
    )
    return [f.code for f in found]


def test_what_a_pulse_that_was_cut_may_have_reached_makes_no_landing_hard():
    soft = Uncertain.of(0.7, 0.1, "m/s", source="x")

    assert judged(soft, 2.6, whole=False) == ["not-excluded"], "up to 6.6, as far as is known"
    assert judged(soft, 4.4, whole=False) == ["hard-landing"], "so much was read"


def test_a_short_pulse_of_stiff_gear_is_no_hard_landing_unless_the_team_says_so():
    soft = Uncertain.of(0.7, 0.1, "m/s", source="x")
    own = {"landing.peak_load_factor": {"at_most": 4.0}}

    assert judged(soft, 6.0) == ["hard-landing"]
    assert judged(soft, 6.0, impulse_m_s=0.9) == []
    assert judged(soft, 6.0, impulse_m_s=0.9, limits=own) == ["hard-landing"]


def test_a_landing_that_ends_with_the_log_or_without_sinking_is_withheld():
    whole = made_recording(0.7)
    cut = Sortie(1, "runway", "air", "log", 92.0, None, TOUCH_S, TOUCH_S + 0.4, (92.0, 93.0))
    found = measure_landing(whole, cut, None, Inputs(), NO_TAKEOFF)

    assert not found.answer.figures
    assert found.time_s is None
    assert "the log ends within a second" in found.answer.withheld["landing.sink_rate"]
    assert [f.code for f in found.answer.findings] == ["not-excluded"]


def test_a_limit_in_another_unit_takes_the_place_of_the_usual_one():
    firm = Uncertain.of(1.9, 0.1, "m/s", source="x")
    own = {"landing.sink_rate": {"at_most": 9.0, "unit": "km/h"},
           "landing.peak_load_factor": {"at_most": 20.0}}  # fmt: skip

    assert judged(firm, 2.0) == ["hard-landing"]
    assert judged(firm, 2.0, limits=own) == [], "its outcome judges it"


@cache
def sample(name: str) -> tuple[Answer, dict[str, Any]]:
    """Landing of a sample flight, and its truth."""
    recording = flightlog.read(data_path("sample_flights", f"{name}.bin"))
    sortie = find_sorties(recording)[0][0]
    path = estimate_path(recording, sortie.start_s, sortie.end_s + 5.0, rest_until_s=sortie.start_s)
    given = answer(recording, sortie, path, Inputs(), NO_TAKEOFF)
    text = data_path("sample_flights", f"{name}.truth.json").read_text(encoding="utf-8")
    return given, json.loads(text)["landing"]


@pytest.mark.parametrize("name", ["calm", "headwind", "position_1hz_only"])
def test_sample_flights_landed_as_their_truth_says(name):
    given, truth = sample(name)
    for figure, true in (
        ("sink_rate", truth["sink_rate_mps"]),
        ("touchdown_speed", truth["touch_groundspeed"]),
    ):
        low, high = given.figures[f"landing.{figure}"].quantity.interval(0.99)
        assert low < true < high, figure
    # The truth's way ends at standstill, a third of a metre after 1 m/s.
    low, high = given.figures["landing.roll_out"].quantity.interval(0.99)
    assert low < truth["rollout_m"] - 0.35 < high
    assert "hard-landing" not in [f.code for f in given.findings]


@pytest.mark.parametrize("name", ["calm", "headwind"])
def test_with_accelerations_the_sink_rate_of_samples_is_good_to_a_decimetre_a_second(name):
    given, truth = sample(name)

    assert value(given, "sink_rate") == pytest.approx(truth["sink_rate_mps"], abs=0.15)
