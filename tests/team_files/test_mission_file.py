"""Mission files: what they may say, and how a fault is told."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import TeamFileError
from flightlog.team_files.mission_file import PropellerTable, read_mission_file
from tests.groundtests.missions import MISSION


@pytest.fixture
def read(tmp_path):
    def read_text(text):
        path = tmp_path / "mission.toml"
        path.write_text(text, encoding="utf-8")
        return read_mission_file(path)

    return read_text


def test_a_mission_is_read_as_written(read):
    m = read(MISSION)

    assert ("probes-upper-field", "energy") == (m.id, m.objective)
    assert (8.6, 0.02, 3) == (m.task.mass_kg, m.task.mass_kg_std, m.task.laps)
    assert ["16x8", "15x10"] == [p.name for p in m.propellers]
    assert 0.4064 == pytest.approx(m.propellers[0].diameter_m)
    assert [0.2, 0.068, 0.0305] == m.propellers[0].curve[1]
    assert (0.65, 25.0) == (m.limits.tip_mach, m.limits.clearance_mm)
    assert 64 == len(m.sha256)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("mass_kg = 8.6\n", "", r"\[task\] mass_kg: is missing"),
        ("mass_kg = 8.6\n", "mass_kg = nan\n", r"\[task\] mass_kg"),
        ("mass_kg = 8.6\n", "mas_kg = 8.6\n", "Did you mean 'mass_kg'"),
        ("laps = 3\n", "", "go together"),
        ("laps = 3\n", "laps = 3\ndistance_km = 6\n", "both laps and distance_km"),
        ("pressure_hpa = 986\n", "", "one of density_kg_m3 and pressure_hpa"),
        ("temperature_c = 24\n", "", "temperature_c"),
        ("induced = 0.050\n", "", "cd0 and induced"),
        ("induced = 0.050\n", "induced = 0.05\nlift_over_drag = 9\n", "lift_over_drag and cd0"),
        ("empty_mass_kg = 5.2\n", "", "empty_mass_kg"),
        ("empty_mass_kg = 5.2\n", "empty_mass_kg = 9.2\n", "not below"),
        ('name = "15x10"', 'name = "16x8"', r"\[\[propeller\]\] number 2 name: '16x8'"),
        ('name = "4.0 Ah"', 'name = "3.0 Ah"', r"\[\[pack\]\] number 2 name"),
        ("diameter_in = 16\n", "diameter_in = 16\ndiameter_mm = 406\n", "number 1"),
        ("[0.2, 0.068, 0.0305]", "[0.5, 0.068, 0.0305]", "J does not rise"),
        ("[0.2, 0.068, 0.0305]", "[0.2, 0.068, 0.0]", "CP of 0"),
        ("[0.2, 0.068, 0.0305]", "[0.2, 0.068]", "too few"),
        ("[0.2, 0.068, 0.0305]", "[0.2, 0.068, inf]", "finite"),
        ("speed_rpm = 7000\n", "", "speed_rpm: is missing"),
        ("zero_thrust_j = 0.75\n", "", "how thrust falls"),
        ("ct = 0.083\n", "", "ct: and cp are needed"),
        ("ct = 0.083\n", 'ct = 0.083\nbench = "b.toml"\n', "no files of the stand"),
        ('objective = "energy"', 'objective = "beauty"', "objective"),
    ],
)
def test_a_fault_names_its_place_and_what_to_do(read, old, new, said):
    assert old in MISSION

    with pytest.raises(TeamFileError, match=said) as caught:
        read(MISSION.replace(old, new, 1))
    assert caught.value.fix


def test_a_mission_that_names_nothing_to_choose_from_is_refused(read):
    with pytest.raises(TeamFileError, match="neither a propeller nor a pack"):
        read(MISSION[: MISSION.index("[[propeller]]")])


def test_the_example_of_the_module_is_a_mission_file(read):
    from flightlog.team_files import mission_file

    text = mission_file.__doc__.partition("::\n")[2]
    lines = [line.removeprefix("    ") for line in text.splitlines()]

    assert 2 == len(read("\n".join(lines)).propellers)


@given(st.floats(0.1, 80))
def test_inches_are_exact(inches):
    p = PropellerTable.model_validate({"name": "x", "diameter_in": inches})

    assert inches * 25.4 == pytest.approx(1000 * p.diameter_m, rel=1e-12)
