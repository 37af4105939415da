"""The files from the bench: small, as the generator makes them, and reduced near their truth."""

from __future__ import annotations

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sample_flights
from flightlog.operations.ground_test import GroundTest, run_ground_test
from flightlog.team_files.hangar import read_component
from flightlog.team_files.mission_file import read_mission_file
from sample_flights.generator.bench import FILES, write_bench

FOLDER = Path(sample_flights.__file__).parent / "bench"
TRUTH: dict[str, Any] = json.loads((FOLDER / "bench_truth.json").read_text(encoding="utf-8"))


@cache
def reduced(name: str) -> GroundTest:
    kind = name.split("_")[0]
    return run_ground_test(kind, [FOLDER / f"{name}.csv"], FOLDER / f"{name}.toml")


def columns(name: str) -> dict[str, Any]:
    text = (FOLDER / f"{name}.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    return {key: np.array([row[key] for row in rows]) for key in rows[0]}


def close(test: GroundTest, id_: str, true: float, within: float) -> None:
    """Within a share of the truth, and within three and a half standard uncertainties."""
    quantity = test.answer.figures[id_].quantity
    assert quantity.value == pytest.approx(true, rel=within), id_
    assert abs(quantity.value - true) < 3.5 * quantity.std + 0.002 * abs(true), id_


def test_generator_makes_these_very_files(tmp_path: Path) -> None:
    write_bench(tmp_path)

    for path in tmp_path.iterdir():
        made = path.read_text(encoding="utf-8")
        assert made == (FOLDER / path.name).read_text(encoding="utf-8"), path.name


def test_each_has_a_bench_file_and_together_they_stay_small() -> None:
    assert sorted(TRUTH) == sorted(FILES)
    for name in FILES:
        assert (FOLDER / f"{name}.toml").is_file()
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) < 700_000


@pytest.mark.parametrize("name", sorted(FILES))
def test_every_file_reduces_without_a_stop(name: str) -> None:
    test = reduced(name)

    assert test.bench is not None
    assert not [f for f in test.answer.findings if f.severity == "stop"]
    assert "time-not-monotonic" not in {f.code for f in test.answer.findings}


@pytest.mark.parametrize("name", ["thrust_a", "thrust_b"])
def test_stand_gives_the_coefficients_of_the_propeller(name: str) -> None:
    test, true = reduced(name), TRUTH[name]
    top = true["steps"][-1]

    close(test, "thrust.ct", true["ct"], 0.02)
    close(test, "thrust.cp", true["cp"], 0.02)
    close(test, "thrust.figure_of_merit", true["figure_of_merit"], 0.03)
    close(test, "thrust.greatest", top["thrust_n"], 0.02)
    close(test, "thrust.standard", true["standard_thrust_n"], 0.02)
    close(test, "thrust.drive_efficiency", 100 * true["drive_efficiency"], 0.03)
    close(test, "thrust.speed_greatest", top["rpm"], 0.005)
    close(test, "thrust.current_greatest", top["current_a"], 0.02)
    assert [o.outcome for o in test.outcomes] == ["met"]


def test_discharge_gives_charge_energy_and_loss_of_the_pack() -> None:
    test, true = reduced("discharge_pack_a"), TRUTH["discharge_pack_a"]

    close(test, "discharge.capacity", true["capacity_ah"], 0.01)
    close(test, "discharge.energy", true["energy_wh"], 0.01)
    close(test, "discharge.resistance_25c", true["resistance_25c_ohm"], 0.05)
    assert test.answer.figures["discharge.energy_per_kg"].quantity.value == pytest.approx(
        true["energy_wh"] / 0.60, rel=0.01
    )


@pytest.mark.parametrize("name", ["ringdown_left", "ringdown_left_after"])
def test_ring_down_gives_both_close_modes(name: str) -> None:
    test, true = reduced(name), TRUTH[name]

    assert true["modes"][1]["frequency_hz"] / true["modes"][0]["frequency_hz"] < 1.21
    for which, mode in zip(("first", "second"), true["modes"], strict=True):
        close(test, f"ringdown.{which}.frequency", mode["frequency_hz"], 0.005)
        close(test, f"ringdown.{which}.damping", 100 * mode["damping"], 0.1)


def test_wing_after_the_hard_landing_has_changed_and_the_one_before_has_not() -> None:
    before = {f.code for f in reduced("ringdown_left").answer.findings}
    after = {f.code for f in reduced("ringdown_left_after").answer.findings}

    assert "structure-changed" in after - before
    first = [TRUTH[n]["modes"][0]["frequency_hz"] for n in ("ringdown_left", "ringdown_left_after")]
    assert first[1] / first[0] == pytest.approx(0.93)


def test_weighing_gives_mass_and_centre_of_gravity() -> None:
    test, true = reduced("weighing"), TRUTH["weighing"]

    close(test, "weighing.mass", true["mass_kg"], 0.002)
    close(test, "weighing.arm", true["cg_m"], 0.003)
    close(test, "weighing.balance", 100 * (true["cg_m"] - 0.35) / 0.26, 0.01)
    close(test, "weighing.third_wheel", 100 * true["nose_share"], 0.01)


def test_deflection_gives_the_stiffness() -> None:
    true_n_m = TRUTH["stiffness_left"]["stiffness_n_m"]

    close(reduced("stiffness_left"), "stiffness.stiffness", true_n_m, 0.01)
    assert abs(reduced("stiffness_left").answer.figures["stiffness.set"].quantity.value) < 1


# Of these the truth is close at hand: by plain sums over the file.


def test_deflections_hold_the_stiffness() -> None:
    table = columns("stiffness_left")
    load = table["mass (kg)"].astype(float) * 9.80665
    net = table["deflection (mm)"].astype(float) - table["root (mm)"].astype(float)
    going_up = np.concatenate([np.arange(5) + 9 * cycle for cycle in range(3)])

    slope = np.polyfit(load[going_up], net[going_up] / 1e3, 1)[0]

    assert 1 / slope == pytest.approx(TRUTH["stiffness_left"]["stiffness_n_m"], rel=0.01)


def test_scales_hold_mass_and_centre() -> None:
    table = columns("weighing")
    load = table["reading (kg)"].astype(float) - table["tare (kg)"].astype(float)
    true = TRUTH["weighing"]

    assert load.sum() / 3 == pytest.approx(true["mass_kg"], abs=0.01)
    arm = table["arm (m)"].astype(float)
    assert (load @ arm) / load.sum() == pytest.approx(true["cg_m"], abs=1e-3)


def test_elevator_holds_its_play() -> None:
    table = columns("linkage_elevator")
    pulse, angle = table["pulse (us)"].astype(int), table["angle (deg)"].astype(float)
    rising = np.concatenate([[True], np.diff(pulse) > 0])
    gaps = [
        angle[(pulse == p) & rising].mean() - angle[(pulse == p) & ~rising].mean()
        for p in range(1200, 1900, 100)
    ]

    assert np.mean(gaps) == pytest.approx(TRUTH["linkage_elevator"]["play_deg"], abs=0.1)


def test_mission_names_the_propellers_of_the_stand_and_the_second_one_is_a_component() -> None:
    mission = read_mission_file(FOLDER / "mission.toml")

    assert [p.name for p in mission.propellers] == ["16 x 8", "16 x 10"]
    assert [p.name for p in mission.packs] == ["pack-a", "3.0 Ah"]
    for propeller in mission.propellers:
        for name in (*propeller.files, propeller.bench):
            assert (FOLDER / str(name)).is_file()
    assert read_component(FOLDER / "propeller_2.toml").id == "propeller-2"
