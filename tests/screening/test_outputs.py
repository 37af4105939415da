"""Outputs: which way surfaces move, in which unit pulses are, and which one is the throttle."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from flightlog.debriefing import debrief
from flightlog.findings import affected
from flightlog.importers.common import Notes
from flightlog.importers.house import house_table
from flightlog.inputs import Inputs, load_aircraft
from flightlog.recording import Recording
from flightlog.screening.outputs import pulse_scale
from flightlog.screening.surfaces import rate_responses, surface_named
from tests.screening.flights import (
    FOLDER,
    PANNIER,
    changed,
    clean,
    found,
    only,
)
from tests.screening.made import findings, sample
from tests.synthetic import Story

SAMPLES = sorted(p.name for p in FOLDER.iterdir() if p.suffix in {".bin", ".tlog"})

# --- surface-sense


@pytest.mark.parametrize(
    ("name", "axis", "turns"),
    [
        # Trailing edge down on the tail: the tail rises, the nose goes down, pitch rate negative.
        ("elevator", 1, -1),
        # Trailing edge left: the tail is pushed to the right, the nose goes left.
        ("rudder", 2, -1),
        # Trailing edge down on the right wing lifts it: left wing down, roll rate negative.
        ("right aileron", 0, -1),
        ("aileron", 0, -1),
        # On the left wing it lifts that one: right wing down.
        ("Left Aileron", 0, 1),
    ],
)
def test_the_positive_way_of_a_surface_turns_the_aircraft_as_in_a_textbook(name, axis, turns):
    surface = surface_named(name)

    assert surface is not None
    assert (surface.axis, surface.turns) == (axis, turns)


@pytest.mark.parametrize("name", ["motor", "left elevon", "flap", "gear"])
def test_what_turns_the_aircraft_about_no_single_axis_is_left_alone(name):
    assert surface_named(name) is None


def flown_by_an_autopilot(effect: float, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Roll in gusts: rate, pulse and angle at 50 Hz, of an aircraft that is kept level.

    ``dp/dt = -5 p + effect * pulse / 400 + gusts``; the autopilot corrects angle and rate
    through a servo of 50 ms, with the sign that keeps the aircraft the right way up.
    """
    rng = np.random.default_rng(seed)
    n, dt = 120 * 50, 0.02
    rate, angle, pulse, gust, servo = np.zeros(n), np.zeros(n), np.zeros(n), 0.0, 0.0
    way = np.sign(effect)
    wanted = np.repeat(rng.normal(0, 0.3, n // 250 + 1), 250)[:n]
    for k in range(1, n):
        gust += dt * -gust / 0.5 + np.sqrt(dt) * 2.0 * rng.normal()
        pulse[k] = way * np.clip(300 * (wanted[k] - angle[k - 1]) - 60 * rate[k - 1], -400, 400)
        servo += dt / 0.05 * (pulse[k] - servo)
        rate[k] = rate[k - 1] + dt * (-5 * rate[k - 1] + effect * servo / 400 + gust)
        angle[k] = angle[k - 1] + dt * rate[k]
    return rate + rng.normal(0, 0.02, n), pulse, angle


@pytest.mark.parametrize("effect", [12.0, -12.0])
def test_the_answer_to_a_pulse_has_its_sign_although_the_autopilot_works_against_the_turn(effect):
    for seed in range(5):
        rate, pulse, angle = flown_by_an_autopilot(effect, seed)
        time_s = 0.02 * np.arange(rate.size)
        gyro = np.column_stack([rate, 0 * rate, 0 * rate])
        rows = np.arange(5, rate.size - 50, 5)
        tilt = np.column_stack([angle, 0 * angle])[rows]
        grid = time_s[rows] + 0.001  # the sample at the time itself is known to the autopilot
        (answer,) = rate_responses(grid, {1: pulse[rows]}, (time_s, gyro), tilt)[1, 0]

        assert answer.value * effect > 0
        assert abs(answer.value) > 5 * answer.std


def test_without_any_effect_no_answer_is_believed():
    for seed in range(10):
        rate, _, angle = flown_by_an_autopilot(12.0, seed)
        _, foreign, _ = flown_by_an_autopilot(12.0, seed + 100)
        time_s = 0.02 * np.arange(rate.size)
        rows = np.arange(5, rate.size - 50, 5)
        gyro = np.column_stack([rate, 0 * rate, 0 * rate])
        tilt = np.column_stack([angle, 0 * angle])[rows]
        responses = rate_responses(time_s[rows], {1: foreign[rows]}, (time_s, gyro), tilt)
        (answer,) = responses[1, 0]

        assert abs(answer.value) < 5 * answer.std


@pytest.mark.parametrize("name", SAMPLES)
def test_the_senses_of_the_shipped_aircraft_file_hold_on_every_sample(name):
    assert PANNIER.senses == {1: -1, 2: -1, 4: -1}
    assert not found(clean(name), "surface-sense")


@pytest.mark.parametrize(("channel", "told"), [(1, "rolls right"), (2, "pitches nose up")])
def test_a_sense_that_the_flight_contradicts_is_found(channel, told):
    # The simulation has: command and pulse up, roll right and nose up.
    wrong = replace(PANNIER, senses={**PANNIER.senses, channel: 1})
    finding = only(debrief(sample(), Inputs(aircraft=wrong)), "surface-sense")

    assert finding.severity == "stop"
    assert f"Output {channel}" in finding.message
    assert told in finding.message
    assert "check it before the next flight" in finding.message
    assert affected(finding, "surface.elevator.saturation")
    assert not affected(finding, "takeoff.ground_roll")


def test_a_servo_that_was_plugged_in_reversed_is_found():
    def reverse(table: pd.DataFrame) -> pd.DataFrame:
        elevator = table["channel"] == 2
        turned = (3000.0 - table["pulse_us"]).where(elevator, table["pulse_us"])
        return table.assign(pulse_us=turned)

    finding = only(
        debrief(changed(sample(), "outputs", reverse), Inputs(aircraft=PANNIER)), "surface-sense"
    )

    assert finding.evidence["channel"] == 2
    assert "pitches nose down" in finding.message


@pytest.mark.parametrize(
    "aircraft", [None, replace(PANNIER, senses={}), replace(PANNIER, outputs={})]
)
def test_without_names_and_senses_nothing_is_said(aircraft):
    assert not found(debrief(sample(), Inputs(aircraft=aircraft)), "surface-sense")


def test_the_senses_are_read_from_the_aircraft_file(tmp_path: Path):
    path = tmp_path / "a.toml"
    path.write_text(
        'schema = "flightlog.aircraft/1"\nid = "a"\n'
        "[battery]\nresistance_ohm = 0.02\n"
        '[outputs.2]\nname = "elevator"\nsense = -1\n[outputs.3]\nname = "motor"\n',
        encoding="utf-8",
    )
    aircraft = load_aircraft(path)

    assert aircraft.senses == {2: -1}
    assert aircraft.battery_resistance_ohm == 0.02


# --- pulse-unit


@pytest.mark.parametrize(
    ("least", "greatest", "looks"),
    [
        (0.02, 0.98, "0 to 1"),
        (-1.0, 0.7, "-1 to 1"),
        (-100.0, 100.0, "per cent"),
        (48.0, 499.0, "digital protocol"),
        (-1024.0, -20.0, "radio"),
        (3000.0, 65534.0, "16-bit"),
        (-5e6, 1e9, "no known unit"),
    ],
)
def test_the_unit_of_an_output_is_recognised_by_its_range(least, greatest, looks):
    assert looks in pulse_scale(least, greatest)


def imported(pulse_us: np.ndarray) -> Recording:
    """A made flight whose outputs went the way of every importer."""
    recording = Story().rest(20).flight().rest(15).recording()
    outputs = recording["outputs"]
    notes = Notes()
    columns = {
        "time_s": outputs["time_s"].to_numpy(),
        "channel": outputs["channel"].to_numpy(dtype=float),
        "pulse_us": pulse_us,
    }
    tables = {name: recording[name] for name in recording}
    tables["outputs"] = house_table("outputs", columns, notes)
    return Recording(tables, recording.receipt, {}, tuple(notes.findings))


def story_pulses() -> np.ndarray:
    recording = Story().rest(20).flight().rest(15).recording()
    return recording["outputs"]["pulse_us"].to_numpy()


@pytest.mark.parametrize(
    ("pulses", "looks"),
    [
        ((story_pulses() - 1000) / 1000 + 1e-3, "0 to 1"),
        ((story_pulses() - 1500) / 500, "-1 to 1"),
        (48 + (story_pulses() - 1000) * 0.449, "digital protocol"),
    ],
)
def test_outputs_that_are_no_microseconds_are_found_and_stop_the_surfaces(pulses, looks):
    finding = only(debrief(imported(pulses)), "pulse-unit")

    assert looks in finding.message
    assert finding.severity == "stop"
    assert affected(finding, "surface.elevator.saturation")
    assert "%" in finding.message
    assert "Nothing was converted" in finding.remedy


def test_outputs_that_no_importer_filtered_are_found_as_well():
    def shares(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(pulse_us=(table["pulse_us"] - 1000) / 1000 + 1e-3)

    assert "0 to 1" in only(debrief(changed(sample(), "outputs", shares)), "pulse-unit").message


def test_pulses_and_outputs_that_are_off_and_a_few_damaged_values_are_not_spoken_of():
    pulses = story_pulses()
    off = pulses.copy()
    off[::3] = 0.0
    damaged = pulses.copy()
    damaged[:5] = 7e4
    unfiltered = Story().rest(20).flight().rest(15).recording()

    assert not found(debrief(imported(pulses)), "pulse-unit")
    assert not found(debrief(imported(damaged)), "pulse-unit")
    assert not found(
        debrief(changed(unfiltered, "outputs", lambda t: t.assign(pulse_us=off))), "pulse-unit"
    )


def test_in_a_text_log_the_column_map_is_where_the_unit_is_confirmed():
    recording = imported((story_pulses() - 1500) / 500)
    tables = {name: recording[name] for name in recording}
    receipt = replace(recording.receipt, format="transmitter")
    text = Recording(tables, receipt, {}, recording.findings)

    assert "column map" in only(debrief(text), "pulse-unit").remedy


# --- throttle-channel


def test_a_motor_that_is_named_on_the_wrong_output_is_found():
    swapped = replace(PANNIER, outputs={1: "aileron", 2: "motor", 3: "elevator"}, senses={})
    finding = only(debrief(sample(), Inputs(aircraft=swapped)), "throttle-channel")

    assert finding.evidence["follows"] == 3
    assert "output 2 the motor" in finding.message
    assert affected(finding, "surface.elevator.saturation")


def test_a_motor_named_on_an_output_that_the_log_lacks_is_found():
    elsewhere = replace(PANNIER, outputs={9: "motor"}, senses={})

    assert found(debrief(sample(), Inputs(aircraft=elsewhere)), "throttle-channel")


@pytest.mark.parametrize("name", SAMPLES)
def test_the_outputs_of_the_shipped_aircraft_file_hold_on_every_sample(name):
    assert not {f.code for f in findings(clean(name))} & {"throttle-channel", "pulse-unit"}


def test_the_clean_flight_says_nothing_of_its_outputs():
    codes = {f.code for f in findings(clean())}

    assert not codes & {"surface-sense", "pulse-unit", "throttle-channel"}
