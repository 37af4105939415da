"""The radio link's figures and findings, on flights whose link is known in closed form."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses import link
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer
from flightlog.inputs import Aircraft, Inputs, LinkSetting, Runway, Site
from flightlog.recording import Receipt, Recording
from tests.analyses.made import battery, sortie
from tests.analyses.made import path as made_path

T = np.arange(0.0, 300.0, 0.2)
FLIGHT = sortie(0.0, 300.0, liftoff=20.0, touchdown=295.0)
EXPONENT, LEVEL, SPREAD = 2.2, -30.0, 1.5
SETTING = LinkSetting(planned_distance_m=300.0, sensitivity_dbm=-100.0)


def flown(centre_m: float = 230.0, radius_m: float = 110.0) -> tuple[FlightPath, np.ndarray]:
    """Level left circles 40 m up east of the start, farther out by half in the end."""
    angle = 2 * np.pi * np.clip(T - 20, 0, None) / 55
    middle = centre_m * (0.8 + 0.5 * T / 300)
    east, north = middle + radius_m * np.cos(angle), radius_m * np.sin(angle)
    still = T < 20
    course = np.unwrap(np.arctan2(np.gradient(east, T), np.gradient(north, T)))
    path = made_path(T, height=lambda t: np.where(t < 20, 0.0, 40.0))
    path = replace(path, east_m=np.where(still, 0, east), north_m=np.where(still, 0, north))
    return path, np.where(still, 0.0, course)


def attitude(yaw: np.ndarray) -> pd.DataFrame:
    turned = (yaw + np.pi) % (2 * np.pi) - np.pi
    return pd.DataFrame({"time_s": T, "roll_rad": 0.0, "pitch_rad": 0.0, "yaw_rad": turned})


def power(
    path: FlightPath,
    yaw: np.ndarray,
    *,
    null_db: float = 0.0,
    null_deg: float = 90.0,
    seed: int = 3,
) -> np.ndarray:
    """Power with a hole 40 deg wide, at every step of the path; the station is at the start."""
    assert path.height_m is not None
    east, north = -path.east_m, -path.north_m
    bearing = np.degrees(np.arctan2(east, north) - yaw)  # level flight: no more than that
    away = np.abs((bearing - null_deg + 180) % 360 - 180)
    distance = np.sqrt(east**2 + north**2 + (path.height_m - 1.5) ** 2)
    rng = np.random.default_rng(seed)
    shade = np.zeros(T.size)
    for k in range(1, T.size):
        shade[k] = 0.93 * shade[k - 1] + SPREAD * np.sqrt(1 - 0.93**2) * rng.normal()
    clean = LEVEL - 10 * EXPONENT * np.log10(np.maximum(distance, 1.0)) + shade
    return np.asarray(clean - null_db * (away < 20))


def log(form: str = "made", **tables: pd.DataFrame) -> Recording:
    return Recording(tables, Receipt("made", 0, "", form, 1))


def reports(**columns: Any) -> pd.DataFrame:
    return pd.DataFrame({"time_s": T, "quality_pct": 99.0, **columns})


def inputs(setting: LinkSetting | None = SETTING, **site: Any) -> Inputs:
    place = Site("s", "", Runway(0.0), pilot_deg=(0.0, 0.0)) if site.pop("placed", True) else None
    return Inputs(aircraft=Aircraft("a", "", link=setting), site=place)


def said(answer: Answer) -> dict[str, Any]:
    return {f.code: f for f in answer.findings}


def holds(answer: Answer, id_: str, truth: float) -> bool:
    low, high = answer.figures[id_].quantity.interval()
    return low <= truth <= high


def test_sound_link_gives_its_exponent_and_margin_and_no_alarm() -> None:
    path, yaw = flown()
    recording = log(link=reports(rssi_dbm=power(path, yaw)), attitude=attitude(yaw))
    answer = link.answer(recording, FLIGHT, path, inputs())
    assert holds(answer, "link.range_exponent", EXPONENT)
    truth = LEVEL - 10 * EXPONENT * np.log10(300.0) + 100
    assert holds(answer, "link.margin", truth)
    assert answer.figures["link.margin"].quantity.std < 4
    assert answer.figures["link.weakest_aspect"].quantity.value < 3
    assert not said(answer)
    assert answer.figures["link.minimum_quality"].quantity.value == 99
    assert answer.figures["link.longest_gap"].quantity.value == 0


@pytest.mark.parametrize("null_deg", [90.0, 250.0])
def test_hole_is_found_where_it_is_and_costs_margin(null_deg: float) -> None:
    path, yaw = flown()
    tables = {"attitude": attitude(yaw)}
    dbm = power(path, yaw, null_db=10.0, null_deg=null_deg)
    answer = link.answer(log(link=reports(rssi_dbm=dbm), **tables), FLIGHT, path, inputs())
    weak = said(answer)["weak-aspect"]
    assert abs((weak.evidence["azimuth_deg"] - null_deg + 180) % 360 - 180) <= 15
    assert holds(answer, "link.weakest_aspect", 10.0)
    assert "not-excluded" not in said(answer)
    sound = link.answer(
        log(link=reports(rssi_dbm=power(path, yaw)), **tables), FLIGHT, path, inputs()
    )
    lost = [a.figures["link.margin"].quantity.value for a in (sound, answer)]
    assert lost[0] - lost[1] == pytest.approx(10.0, abs=3.5)


def test_circuit_about_the_station_says_which_side_was_never_seen() -> None:
    path, yaw = flown(0.0, 120.0)
    recording = log(link=reports(rssi_dbm=power(path, yaw)), attitude=attitude(yaw))
    answer = link.answer(recording, FLIGHT, path, inputs())
    doubt = said(answer)["not-excluded"]
    assert doubt.evidence["fault"] == "aerial-null"
    # Always off the left wing: one distance, one direction.
    assert "few directions" in doubt.message
    assert "not identifiable" in answer.withheld["link.range_exponent"]
    assert "few directions" in answer.withheld["link.weakest_aspect"]


def test_wide_left_circuit_names_the_right_side() -> None:
    path, yaw = flown(60.0, 120.0)
    recording = log(link=reports(rssi_dbm=power(path, yaw)), attitude=attitude(yaw))
    doubt = said(link.answer(recording, FLIGHT, path, inputs()))["not-excluded"]
    assert "the right wing" in doubt.message
    assert "the left wing" not in doubt.message
    assert doubt.evidence["unseen_deg"] >= 90


def test_counts_need_their_scale_except_where_it_does_not_matter() -> None:
    path, yaw = flown()
    dbm = power(path, yaw)
    amps = 20 + 5 * np.sin(T / 9)
    tables = {
        "link": reports(rssi_raw=(dbm + 130) / 0.5),
        "attitude": attitude(yaw),
        "battery": battery(T, 22.0, amps),
    }
    bare = link.answer(log(**tables), FLIGHT, path, inputs(None))
    for id_ in ("link.range_exponent", "link.weakest_aspect", "link.margin"):
        assert "raw_scale" in bare.withheld[id_]
    assert "link.current_correlation" in bare.figures
    assert said(bare)["not-excluded"].evidence == {"fault": "aerial-null"}
    scaled = inputs(replace(SETTING, raw_scale=0.5))
    half = link.answer(log(**tables), FLIGHT, path, scaled)
    assert holds(half, "link.range_exponent", EXPONENT)
    assert "raw_offset_dbm" in half.withheld["link.margin"]
    full = inputs(replace(SETTING, raw_scale=0.5, raw_offset_dbm=-130.0))
    whole = link.answer(log(**tables), FLIGHT, path, full)
    direct = link.answer(log(**tables | {"link": reports(rssi_dbm=dbm)}), FLIGHT, path, inputs())
    for id_ in ("link.margin", "link.range_exponent", "link.weakest_aspect"):
        assert whole.figures[id_].quantity.value == pytest.approx(
            direct.figures[id_].quantity.value, abs=1e-6
        )
    wrong = inputs(replace(SETTING, raw_scale=0.5, raw_offset_dbm=130.0))
    assert "correct them" in link.answer(log(**tables), FLIGHT, path, wrong).withheld["link.margin"]


def test_margin_needs_a_plan_and_a_flight_that_reaches_towards_it() -> None:
    path, yaw = flown()
    tables = {"link": reports(rssi_dbm=power(path, yaw)), "attitude": attitude(yaw)}
    without = link.answer(log(**tables), FLIGHT, path, inputs(LinkSetting(sensitivity_dbm=-100)))
    assert "planned_distance_m" in without.withheld["link.margin"]
    far = replace(SETTING, planned_distance_m=5000.0)
    assert "beyond" in link.answer(log(**tables), FLIGHT, path, inputs(far)).withheld["link.margin"]
    # 38 m and 1.5 m high at 100 MHz the ground takes the wave away from 77 m on.
    low = replace(SETTING, planned_distance_m=500.0, frequency_hz=1e8)
    assert "beyond" in link.answer(log(**tables), FLIGHT, path, inputs(low)).withheld["link.margin"]


def test_without_attitude_the_fall_with_distance_is_still_given() -> None:
    path, yaw = flown()
    answer = link.answer(log(link=reports(rssi_dbm=power(path, yaw))), FLIGHT, path, inputs())
    assert holds(answer, "link.range_exponent", EXPONENT)
    assert "roll, pitch and yaw" in answer.withheld["link.weakest_aspect"]
    assert "not allowed for" in answer.figures["link.margin"].method
    assert "roll, pitch and yaw" in said(answer)["not-excluded"].message


def test_station_that_nobody_placed_widens_the_exponent() -> None:
    path, yaw = flown()
    recording = log(link=reports(rssi_dbm=power(path, yaw)))
    placed = link.answer(recording, FLIGHT, path, inputs())
    guessed = link.answer(recording, FLIGHT, path, inputs(placed=False))
    pair = [a.figures["link.range_exponent"].quantity for a in (placed, guessed)]
    assert pair[1].std > pair[0].std
    assert "start" in guessed.figures["link.range_exponent"].method
    air = sortie(0.0, 300.0, liftoff=None, touchdown=None, starts="air", launch="air")
    lost = link.answer(recording, air, path, inputs(placed=False))
    assert "pilot_deg" in lost.withheld["link.range_exponent"]


def imu(keep: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame({"time_s": T[keep], "instance": 0, "accel_z_m_s2": -9.8})


GAP = (T > 100) & (T < 103)


@pytest.mark.parametrize("way", ["rows missing", "quality 0", "nothing said"])
def test_link_that_is_lost_while_the_log_goes_on_is_a_dropout(way: str) -> None:
    path, yaw = flown()
    table = reports(rssi_dbm=power(path, yaw))
    if way == "rows missing":
        table = table[~GAP]
    else:
        table.loc[GAP, "quality_pct"] = 0.0 if way == "quality 0" else np.nan
        if way == "nothing said":
            table.loc[GAP, "rssi_dbm"] = np.nan
    recording = log(link=table, attitude=attitude(yaw), imu=imu(T > -1))
    answer = link.answer(recording, FLIGHT, path, inputs())
    found = said(answer)["link-dropout"]
    assert found.evidence["kind"] == "link"
    assert found.evidence["count"] == 1
    assert found.evidence["longest_s"] == pytest.approx(3.0, abs=0.3)
    at = int(np.searchsorted(T, 100.0))
    assert found.evidence["distance_m"] == pytest.approx(
        np.hypot(np.hypot(path.east_m[at], path.north_m[at]), 38.5), rel=0.02
    )
    assert found.evidence["height_m"] == pytest.approx(40)
    assert {"azimuth_deg", "elevation_deg", "bank_deg", "bearing_deg"} <= set(found.evidence)
    assert found.start_s == pytest.approx(100.0, abs=0.3)
    assert answer.figures["link.longest_gap"].quantity.value == pytest.approx(2.9, abs=0.25)
    assert answer.figures["link.minimum_quality"].quantity.value == 0
    low, high = (60 * v for v in (2.5e-5 * 3.68, 0.0201))  # one event in 275 s, exact
    assert found.evidence["per_minute_low"] == pytest.approx(low, rel=0.02)
    assert found.evidence["per_minute_high"] == pytest.approx(high, rel=0.02)


def test_logger_that_stops_is_not_the_links_fault() -> None:
    path, yaw = flown()
    recording = log(
        link=reports(rssi_dbm=power(path, yaw))[~GAP],
        attitude=attitude(yaw)[~GAP],
        imu=imu(~GAP),
    )
    answer = link.answer(recording, FLIGHT, path, inputs())
    assert "link-dropout" not in said(answer)
    assert answer.figures["link.longest_gap"].quantity.value == 0


def test_copy_on_the_ground_tells_a_lost_link_only_by_what_went_on() -> None:
    path, yaw = flown()
    strength = reports(rssi_raw=100.0).drop(columns="quality_pct")
    aboard = {"attitude": attitude(yaw)[~GAP], "imu": imu(~GAP)}
    going = log("mavlink-telemetry", link=strength, **aboard)
    stopped = log("mavlink-telemetry", link=strength[~GAP], **aboard)
    kinds = [
        said(link.answer(r, FLIGHT, path, inputs()))["link-dropout"].evidence["kind"]
        for r in (going, stopped)
    ]
    assert kinds == ["link", "link or ground side"]


def test_silence_up_to_the_end_counts() -> None:
    path, yaw = flown()
    recording = log(link=reports(rssi_dbm=power(path, yaw))[T < 280], imu=imu(T > -1))
    found = said(link.answer(recording, FLIGHT, path, inputs()))["link-dropout"]
    assert found.evidence["longest_s"] == pytest.approx(15, abs=0.3)


def test_seconds_that_were_not_heard_keep_the_exponent_honest() -> None:
    path, yaw = flown(400.0, 300.0)
    dbm = power(path, yaw)
    weak = dbm < -89
    assert 0.1 < weak[T > 20].mean() < 0.6
    recording = log(link=reports(rssi_dbm=dbm)[~weak], imu=imu(T > -1))
    answer = link.answer(recording, FLIGHT, path, inputs(LinkSetting()))
    assert holds(answer, "link.range_exponent", EXPONENT)
    assert "below what is reported" in answer.figures["link.range_exponent"].method


def test_motor_that_disturbs_the_link_is_found_and_a_sound_one_is_not() -> None:
    path, yaw = flown()
    rng = np.random.default_rng(8)
    amps = 20 + 8 * np.repeat(rng.normal(size=T.size // 15 + 1), 15)[: T.size]
    quiet = power(path, yaw)
    tables = {"attitude": attitude(yaw), "battery": battery(T, 22.0, amps)}
    sound = link.answer(log(link=reports(rssi_dbm=quiet), **tables), FLIGHT, path, inputs())
    assert "link-current" not in said(sound)
    assert holds(sound, "link.current_correlation", 0.0)
    noisy = quiet - 0.35 * (amps - 20)
    found = link.answer(log(link=reports(rssi_dbm=noisy), **tables), FLIGHT, path, inputs())
    assert said(found)["link-current"].evidence["high"] < -0.3
    steady = tables | {"battery": battery(T, 22.0, 20.0 + 0.1 * np.sin(T))}
    same = link.answer(log(link=reports(rssi_dbm=quiet), **steady), FLIGHT, path, inputs())
    assert "hardly changed" in same.withheld["link.current_correlation"]


def test_log_without_a_link_says_nothing_and_one_without_strength_what_is_missing() -> None:
    path, _ = flown()
    assert link.answer(log(imu=imu(T > -1)), FLIGHT, path, inputs()) == Answer()
    answer = link.answer(log(link=reports()), FLIGHT, path, inputs())
    assert "strength" in answer.withheld["link.margin"]
    assert answer.figures["link.minimum_quality"].quantity.value == 99


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t: t.assign(rssi_dbm=np.nan, quality_pct=np.nan),
        lambda t: t.assign(rssi_dbm=-60.0),
        lambda t: t.assign(rssi_dbm=1e300),
        lambda t: t.assign(time_s=100.0),
        lambda t: t.assign(time_s=np.linspace(0, 1e9, len(t))),
        lambda t: t.assign(quality_pct=0.0, rssi_dbm=np.nan),
        lambda t: t.head(2),
        lambda t: t.assign(rssi_dbm=t["rssi_dbm"].where(np.arange(len(t)) % 400 == 0)),
    ],
)
def test_hostile_tables_give_reasons_not_faults(spoil: Any) -> None:
    path, yaw = flown()
    recording = log(
        link=spoil(reports(rssi_dbm=power(path, yaw))), attitude=attitude(yaw), imu=imu(T > -1)
    )
    answer = link.answer(recording, FLIGHT, path, inputs())
    ids = {f"link.{n}" for n in ("minimum_quality", "longest_gap", "margin", "range_exponent")}
    assert ids <= set(answer.figures) | set(answer.withheld)
    assert not set(answer.figures) & set(answer.withheld)
    assert all(np.isfinite(f.quantity.std) for f in answer.figures.values())
    assert all(answer.withheld.values())
    assert "weak-aspect" not in said(answer)
