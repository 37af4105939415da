"""The committed samples: complete, small, and still what the generator makes."""

from __future__ import annotations

import csv
import json
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pymavlink import DFReader, mavutil

import sample_flights
from sample_flights.generator import truth
from sample_flights.generator.flights import BOOT, SAMPLES, setting_of
from sample_flights.generator.run import fly

FOLDER = Path(sample_flights.__file__).parent


def _truth(name: str) -> dict[str, Any]:
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    known: dict[str, Any] = json.loads(text)
    return known


def test_index_lists_every_flight_and_every_file_is_there() -> None:
    index = tomllib.loads((FOLDER / "index.toml").read_text(encoding="utf-8"))
    assert index["schema"] == "flightlog.samples/1"
    assert [entry["file"] for entry in index["flight"]] == [s.file for s in SAMPLES]
    assert len(SAMPLES) >= 8
    for entry, sample in zip(index["flight"], SAMPLES, strict=True):
        assert entry["mass_kg"] == sample.mass_kg == _truth(sample.name)["mass_kg"]
        for key in ("file", "site", "aircraft"):
            assert (FOLDER / entry[key]).is_file()


def test_card_of_the_transmitter_is_listed_with_its_flight_and_small() -> None:
    index = tomllib.loads((FOLDER / "index.toml").read_text(encoding="utf-8"))
    cards = {e["file"]: e["transmitter"] for e in index["flight"] if "transmitter" in e}
    assert cards == {s.file: s.card_file for s in SAMPLES if s.transmitter}
    assert cards == {"calm.bin": "calm_transmitter.csv"}
    assert 50e3 < (FOLDER / "calm_transmitter.csv").stat().st_size < 300e3


def test_card_of_the_transmitter_shows_the_flight_late_and_on_its_own_clock() -> None:
    """Against the log of the same receiver, read with the reference reader."""
    known = _truth("calm_transmitter")
    assert known["clock_minus_utc_s"] == 3600.0 - 7.4
    text = (FOLDER / "calm_transmitter.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert len(rows) == known["rows"]
    moments = [datetime.fromisoformat(f"{r['Date']}T{r['Time']}+00:00").timestamp() for r in rows]
    at = np.array(moments) - known["clock_minus_utc_s"] - known["utc_at_log_zero"]
    log = DFReader.DFReader_binary(str(FOLDER / known["of"]))
    fixes = []
    while (message := log.recv_match(type="GPS")) is not None:
        fixes.append((message.TimeUS / 1e6, message.Lat, message.Spd))
    log.close()
    time_s, latitude, speed = np.array(fixes).T
    shown = np.array([[float(v) for v in r["GPS"].split()] for r in rows])[:, 0]
    # Each row shows a fix that the log has, from up to a second before.
    ages = []
    for t, lat, kmh in zip(at, shown, (float(r["GSpd(kmh)"]) for r in rows), strict=True):
        same = (np.abs(latitude - lat) < 6e-7) & (np.abs(speed * 3.6 - kmh) < 0.06)
        same &= (time_s <= t) & (time_s > t - 1.0)
        assert same.any()
        ages.append(t - time_s[same].max())
    assert 0.1 < np.mean(ages) < 0.6
    repeats = np.mean(np.diff(shown) == 0)
    assert 0.3 < repeats < 0.7
    assert {len(r) for r in rows} == {17}


def test_together_they_stay_small() -> None:
    size = sum(p.stat().st_size for p in FOLDER.iterdir() if p.is_file())
    assert size < 12e6


def test_first_misses_its_limit_and_second_is_too_close_to_tell() -> None:
    assert _truth(SAMPLES[0].name)["ground_roll_m"] > 44.0
    assert _truth(SAMPLES[1].name)["ground_roll_m"] == pytest.approx(40.0, abs=0.3)
    assert 25.0 < _truth("calm")["ground_roll_m"] < 32.0


def test_gusty_flight_skips_and_the_calm_one_does_not() -> None:
    skipping, calm = _truth("gusty_crosswind"), _truth("calm")
    assert skipping["contacts_before_2m"] >= 2
    assert 0.01 < skipping["hop_max_height_m"] < 0.15
    assert skipping["ground_roll_m"] - skipping["first_airborne_dist_m"] > 5.0
    assert calm["contacts_before_2m"] == 1
    assert calm["first_airborne_dist_m"] == calm["ground_roll_m"]


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda s: s.name)
def test_truth_agrees_with_itself(sample: Any) -> None:
    known = _truth(sample.name)
    assert len(known["flights"]) == sample.plan.flights
    assert len(known["attempts"]) == len(sample.plan.attempts)
    for flight in known["flights"]:
        assert len(flight["laps"]) == sample.plan.laps
        for lap in flight["laps"]:
            assert lap["time_s"] == pytest.approx(lap["t_end"] - lap["t_start"])
            assert lap["energy_J"] == pytest.approx(3600.0 * lap["energy_Wh"])
            assert 650.0 < lap["distance_m"] < 950.0
        parts = sum(lap["energy_J"] for lap in flight["laps"])
        assert flight["energy"]["roll_to_liftoff_J"] < parts < flight["energy"]["roll_to_end_J"]
        assert flight["t_liftoff"] < flight["landing"]["t_first_touch"]
        assert flight["landing"]["t_first_touch"] <= flight["landing"]["t_final_touch"]
        assert flight["landing"]["t_final_touch"] < flight["landing"]["t_stop"]
        assert flight["max_hagl_m"] > 35.0


def test_take_off_flown_again_is_the_committed_one() -> None:
    """Other machines may round differently; the events must still agree."""
    chosen = [s for s in SAMPLES if s.name in ("heavy_misses_limit", "calm")]
    for sample, flown in zip(chosen, fly([setting_of(s) for s in chosen], 29.0), strict=True):
        m = truth.motion(flown)
        k = truth.find_takeoff(m, 0, m.time.size)
        assert k is not None
        known = _truth(sample.name)
        assert m.time[k.liftoff] + BOOT == pytest.approx(known["t_liftoff"], abs=0.03)
        assert m.s[k.liftoff] - m.s[k.start] == pytest.approx(known["ground_roll_m"], abs=0.3)


def test_binary_opens_with_the_reference_reader() -> None:
    log = DFReader.DFReader_binary(str(FOLDER / "position_1hz_only.bin"))
    fixes, kinds = [], set()
    while (message := log.recv_msg()) is not None:
        kinds.add(message.get_type())
        if message.get_type() == "GPS":
            fixes.append(message)
    log.close()
    assert {"FMT", "FMTU", "GPS", "GPA", "BAT", "RCOU", "ARM", "MODE", "MSG", "PARM"} <= kinds
    assert not {"IMU", "BARO"} & kinds
    assert len(fixes) > 200
    assert all(f.Status == 3 and abs(f.Lat) < 0.1 and abs(f.Lng) < 0.1 for f in fixes)


def test_telemetry_opens_with_the_reference_reader() -> None:
    log = mavutil.mavlink_connection(str(FOLDER / "radio_copy.tlog"))
    fixes, armed, systems = [], set(), set()
    while (message := log.recv_msg()) is not None:
        assert message.get_type() != "BAD_DATA"
        systems.add(message.get_srcSystem())
        if message.get_type() == "GPS_RAW_INT":
            fixes.append((message.time_usec, message.lat))
        if message.get_type() == "HEARTBEAT":
            armed.add(bool(message.base_mode & 128))
    log.close()
    assert armed == {True, False}
    assert systems == {1, 51}
    repeats = len(fixes) - len({t for t, _ in fixes})
    assert 0 < repeats < 0.5 * len(fixes)


def test_generator_knows_nothing_of_the_reader() -> None:
    for path in (FOLDER / "generator").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert "import flightlog" not in text
        assert "from flightlog" not in text
