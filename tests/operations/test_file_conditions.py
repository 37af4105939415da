"""What a release asks of the files: each way in which they are not as they should be holds it."""

from __future__ import annotations

import pytest

from flightlog.operations.file_conditions import FILES, file_conditions
from flightlog.operations.plan import Plan
from flightlog.operations.working_copies import home_of, restore
from tests.operations.laptops import second_laptop, take_over
from tests.operations.made import FILES as FARM_FILES
from tests.operations.made import SAMPLES

PLAN = Plan("pannier", "pack-a", "club-trial-2027", "top-field")
WANTED = [
    ("aircraft", "pannier"),
    ("pack", "pack-a"),
    ("rules", "club-trial-2027"),
    ("site", "top-field"),
    ("checklist", "charging"),
]


def held(farm, plan=PLAN) -> list[str]:
    found = file_conditions(farm.desk, plan)
    assert {FILES} == {c.name for c in found}
    assert all(c.holds != bool(c.clear) for c in found)
    return [f"{c.says}. {c.clear}" for c in found if not c.holds]


def write(farm, kind, id_, change) -> None:
    place = home_of(farm.desk, kind, id_)
    place.write_bytes(change(place.read_bytes()))


def test_files_in_force_hold_and_are_cited(farm):
    (found,) = file_conditions(farm.desk, PLAN)

    lists = [kind for kind, _ in FARM_FILES if kind == "checklist"]
    assert found.holds
    assert len(WANTED) - 1 + len(lists) == len(found.rests_on)
    assert farm.desk.version("pack", "pack-b").entry not in found.rests_on


def test_without_rules_and_site_they_are_not_asked(farm):
    write(farm, "rules", "club-trial-2027", lambda data: data + b"\n")

    assert [] == held(farm, Plan("pannier", "pack-a"))


@pytest.mark.parametrize(("kind", "id_"), WANTED)
def test_a_changed_file_in_the_folder_holds_until_it_is_put_back(farm, kind, id_):
    write(farm, kind, id_, lambda data: data + b"# a remark\n")
    (said,) = held(farm)
    assert f"{kind} {id_}: the file in the folder differs in layout or comments" in said
    assert "flightlog team enter" in said

    restore(farm.desk, kind, id_)
    assert [] == held(farm)


def test_the_keys_that_differ_are_named(farm):
    write(farm, "aircraft", "pannier", lambda d: d.replace(b"at_most = 24.0", b"at_most = 30.0"))

    (said,) = held(farm)
    assert 'limits."flight.max_airspeed".at_most' in said


def test_a_file_at_fault_in_the_folder_holds(farm):
    write(farm, "pack", "pack-a", lambda data: data[: len(data) // 2] + b"[[[")

    (said,) = held(farm)
    assert "pack pack-a: the file in the folder is at fault" in said


def test_an_older_version_in_the_folder_holds(farm):
    old = (SAMPLES / "site.toml").read_bytes()
    farm.enter("site", "top-field", old.replace(b"0.004", b"0.005"))
    assert [] == held(farm)
    write(farm, "site", "top-field", lambda _: old)

    (said,) = held(farm)
    assert "an older version" in said


def test_a_file_that_only_the_record_has_contradicts_nothing(farm):
    home_of(farm.desk, "aircraft", "pannier").unlink()

    assert [] == held(farm)


def test_a_file_that_was_never_entered_holds(farm):
    (said,) = held(farm, Plan("pannier", "pack-z"))

    assert "pack pack-z: no version was entered" in said
    assert "flightlog team enter packs/pack-z.toml" in said


def test_missing_bytes_hold(farm):
    version = farm.desk.version("aircraft", "pannier")
    version.path.unlink()
    farm.desk.refresh()

    (said,) = held(farm)
    assert "does not stand any more: its bytes are missing" in said


def test_a_version_that_this_program_can_not_read_holds(farm):
    data = (SAMPLES / "pack_a.toml").read_bytes() + b"\n[future]\nx = 1\n"
    farm.enter("pack", "pack-a", data)

    (said,) = held(farm)
    assert "pack pack-a: is not a known key" in said


def test_files_entered_apart_hold_until_one_has_seen_both(farm, tmp_path):
    other = second_laptop(farm, tmp_path / "tablet")
    data = (SAMPLES / "pannier.toml").read_bytes()
    farm.enter("aircraft", "pannier", data.replace(b"PN-01", b"PN-02"))
    other.enter("aircraft", "pannier", data.replace(b"PN-01", b"PN-03"))
    take_over(farm, other)
    other.close()

    (said,) = held(farm)
    assert "were entered apart from each other and differ" in said
    (condition,) = file_conditions(farm.desk, PLAN)
    assert 2 == len(condition.rests_on)


def test_a_fitted_component_has_its_file_looked_at_as_well(farm):
    fitting = {"component": "propeller-1", "aircraft": "pannier", "position": "nose"}
    write(farm, "component", "propeller-1", lambda data: data + b"\n")
    assert [] == held(farm)
    farm.add(
        "fitting",
        {**fitting, "done": "fitted"},
        ("mechanic", "performed", "mechanic"),
        ("observer", "inspected", "inspector"),
    )

    (said,) = held(farm)
    assert "component propeller-1" in said


def test_all_that_holds_is_said_at_once(farm):
    for kind, id_ in WANTED:
        write(farm, kind, id_, lambda data: data + b"\n")

    assert len(WANTED) == len(held(farm))
