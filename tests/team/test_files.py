"""Versions of team files: what is in force, and what only claims to be."""

from __future__ import annotations

import hashlib
import shutil

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import RefusedError
from flightlog.inputs import load_aircraft
from flightlog.logbook.book import Logbook
from flightlog.logbook.merge import merge
from flightlog.operations.desk import Desk
from flightlog.team.differences import differences
from flightlog.team.files import FILE_KINDS, FOLDERS, Versions
from flightlog.team.folder import TeamFolder
from flightlog.team_files.hangar import COMPONENT_GROUPS
from tests.operations.conftest import farm, farm_place
from tests.operations.made import SAMPLES

__all__ = ["farm", "farm_place"]  # fixtures

PANNIER = (SAMPLES / "pannier.toml").read_text(encoding="utf-8")


def enter(
    farm, text: str, *signers, before: str | None = None, limit_changed=False, kind="aircraft"
):
    """Enter a version with whatever flag and signatures somebody's own program writes."""
    data = text.encode()
    place = farm.folder.path / FOLDERS[kind] / "pannier.toml"
    place.write_bytes(data)
    content = {
        "kind": kind,
        "id": "pannier",
        "sha256": hashlib.sha256(data).hexdigest(),
        "limit_changed": limit_changed,
        "changes": [],
    }
    in_force = farm.desk.versions.in_force(kind, "pannier")
    content["before"] = before or (in_force.sha256 if in_force else None)
    content = {k: v for k, v in content.items() if v is not None}
    attached = farm.book.attach(place)
    return farm.add("file-version", content, *signers, attachments=[attached])


ONE = (("mechanic", "entered"),)
TWO = (("mechanic", "entered"), ("pilot", "agreed"))


def text_in_force(farm):
    return farm.desk.versions.in_force("aircraft", "pannier").path.read_text(encoding="utf-8")


def test_every_kind_of_file_has_a_folder():
    assert set(FILE_KINDS) == set(FOLDERS)
    assert len(COMPONENT_GROUPS) == len(set(COMPONENT_GROUPS))


def test_what_bounds_nothing_is_changed_by_one(farm):
    changed = PANNIER.replace('serial = "PN-01"', 'serial = "PN-02"')
    enter(farm, changed, *ONE)

    assert changed == text_in_force(farm)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("at_most = 24.0", "at_most = 30.0"),
        ("wind_gust_m_s = 11.0", "wind_gust_m_s = 14.0"),
        ("every_hours = 5.0", "every_hours = 50.0"),
        ("[4.8, 45.0]", "[4.8, 60.0]"),
        ("slip_m = 0.01", "slip_m = 0.0"),
        ("empty_kg = 5.6", "empty_kg = 5.0"),
        ("hours_before = 3.2", "hours_before = 0.0"),
        ("\n[weather]", "\n[life]\nhours = 10.0\n[weather]"),
    ],
)
@pytest.mark.parametrize("flag", [False, True])
def test_a_limit_is_changed_by_two_who_were_told_so(farm, old, new, flag):
    assert old in PANNIER
    changed = PANNIER.replace(old, new, 1)
    enter(farm, changed, *ONE, limit_changed=flag)
    assert PANNIER == text_in_force(farm)
    assert any("not two persons signed" in why for _, why in farm.desk.versions.refused)

    enter(farm, changed, *TWO, limit_changed=flag)
    assert (changed if flag else PANNIER) == text_in_force(farm)


def test_one_person_twice_is_refused(farm):
    changed = PANNIER.replace("at_most = 24.0", "at_most = 30.0")
    with pytest.raises(RefusedError, match="signs twice"):
        enter(farm, changed, ("mechanic", "entered"), ("mechanic", "agreed", "inspector"))


def test_an_old_release_still_finds_the_limits_of_its_day(farm):
    old = farm.desk.versions.in_force("aircraft", "pannier")
    enter(farm, PANNIER.replace("at_most = 24.0", "at_most = 30.0"), *TWO, limit_changed=True)

    kept = farm.desk.versions.by_hash(old.sha256)
    limits = load_aircraft(kept.path).limits
    assert {"at_most": 24.0, "unit": "m/s"} == limits["flight.max_airspeed"]
    assert 2 == len(farm.desk.versions.history("aircraft", "pannier"))


def test_a_version_that_does_not_follow_the_one_before_does_not_count(farm):
    enter(farm, PANNIER.replace("PN-01", "PN-02"), *TWO, before="ab" * 32)

    assert PANNIER == text_in_force(farm)


def test_a_file_that_is_missing_or_changed_in_the_store_brings_nothing_into_force(farm):
    changed = PANNIER.replace("PN-01", "PN-03")
    enter(farm, changed, *TWO)
    path = farm.desk.versions.in_force("aircraft", "pannier").path
    path.write_bytes(b"id = 'another'\n")
    versions = Versions.of(farm.desk.ledger, farm.book.attachments)

    assert PANNIER == versions.in_force("aircraft", "pannier").path.read_text(encoding="utf-8")


def test_versions_that_were_entered_apart_leave_the_common_one_until_a_third(farm, tmp_path):
    """Two laptops: each enters a version; after the merge neither is in force."""
    other_root = tmp_path / "other"
    shutil.copytree(farm.folder.path, other_root / "team")
    enter(farm, PANNIER.replace("PN-01", "PN-A"), *TWO)
    with Logbook.open(
        other_root / "team" / "logbook", profile=other_root / "profile", clock=farm.clock
    ) as book:
        here = farm.desk, farm.book, farm.folder
        farm.folder = TeamFolder.read(other_root / "team")
        farm.book, farm.desk = book, Desk(farm.folder, book)
        enter(farm, PANNIER.replace("PN-01", "PN-B"), *TWO)
        farm.desk, farm.book, farm.folder = here
        merge(farm.book, other_root / "team" / "logbook")
    farm.desk.refresh()

    assert 2 == len(farm.desk.versions.conflict("aircraft", "pannier"))
    assert PANNIER == text_in_force(farm)
    last = farm.desk.versions.history("aircraft", "pannier")[-1].sha256
    enter(farm, PANNIER.replace("PN-01", "PN-C"), *TWO, before=last)
    assert not farm.desk.versions.conflict("aircraft", "pannier")
    assert "PN-C" in text_in_force(farm)


values = st.recursive(
    st.integers() | st.text(max_size=5) | st.booleans(),
    lambda inner: (
        st.dictionaries(st.sampled_from("abcd"), inner, max_size=3) | st.lists(inner, max_size=3)
    ),
    max_leaves=8,
)
tables = st.dictionaries(st.sampled_from(["limits", "id", "x", "task"]), values, max_size=4)


@given(tables, tables)
def test_two_tables_differ_where_a_difference_is_told_and_nowhere_else(one, other):
    assert not differences("aircraft", one, one)
    if one != other:
        found = differences("aircraft", one, other)
        back = differences("aircraft", other, one)
        assert [d.key for d in found] == [d.key for d in back]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=5)
@given(st.sampled_from(["at_most = 24.0", "every_landings = 20", "valid_min = 60.0"]))
def test_no_number_of_a_limit_changes_by_one_signature(farm, old):
    changed = PANNIER.replace(old, old[:-1] + "7")
    enter(farm, changed, *ONE)

    assert PANNIER == text_in_force(farm)
