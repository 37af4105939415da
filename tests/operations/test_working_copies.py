"""Files in the folder beside the record, and what a release asks of them."""

from __future__ import annotations

import pytest

from flightlog.errors import RefusedError, TeamFileError
from flightlog.operations.file_conditions import file_conditions
from flightlog.operations.plan import Plan
from flightlog.operations.working_copies import version_draft, working_copies, working_copy
from tests.logbook.made import public_of

PLAN = Plan("pannier", "pack-a", "club-trial-2027", "top-field")
MECHANIC, PILOT = public_of("mechanic"), public_of("pilot")


def edit(farm, place, old, new):
    path = farm.folder.path / place
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8", newline="\n")
    return path


def holds(farm):
    (condition,) = file_conditions(farm.desk, PLAN)
    return condition


def test_all_sample_files_are_in_force(farm):
    assert {"in force"} == {copy.state for copy in working_copies(farm.desk)}
    assert holds(farm).holds
    assert holds(farm).rests_on


def test_an_edited_file_is_held_until_it_is_entered(farm):
    path = edit(farm, "aircraft/pannier.toml", "at_most = 24.0", "at_most = 25.0")
    copy = working_copy(farm.desk, path)
    assert "changed" == copy.state
    assert [("limits.flight.max_airspeed.at_most", "24.0", "25.0", True)] == [
        (d.key, d.before, d.after, d.limit) for d in copy.changes
    ]
    assert not holds(farm).holds
    assert "limits.flight.max_airspeed.at_most" in holds(farm).says

    with pytest.raises(RefusedError, match="two persons"):
        version_draft(farm.desk, copy, [MECHANIC])
    farm.clock.later(minutes=1)
    farm.sign(version_draft(farm.desk, copy, [MECHANIC, PILOT]), "mechanic", "pilot")
    assert holds(farm).holds


def test_a_comment_alone_is_a_version_too_and_takes_one(farm):
    path = edit(farm, "aircraft/pannier.toml", 'serial = "PN-01"', 'serial = "PN-01"  # plate')
    copy = working_copy(farm.desk, path)
    assert ("changed", ()) == (copy.state, copy.changes)
    farm.sign(version_draft(farm.desk, copy, [MECHANIC]), "mechanic")

    assert "in force" == working_copy(farm.desk, path).state


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('id = "pannier"', 'id = "panier"', "the file is called"),
        ("area_m2", "area_m3", "Did you mean 'area_m2'"),
        ("[wing]", "[wing", "not valid TOML"),
    ],
)
def test_a_file_at_fault_says_where_and_holds(farm, old, new, why):
    path = edit(farm, "aircraft/pannier.toml", old, new)
    copy = working_copy(farm.desk, path)

    assert "at fault" == copy.state
    assert why in copy.why
    assert not holds(farm).holds
    with pytest.raises(TeamFileError):
        version_draft(farm.desk, copy, [MECHANIC, PILOT])


def test_a_file_that_the_folder_lacks_is_told_and_the_record_does(farm):
    (farm.folder.path / "packs" / "pack-a.toml").unlink()

    (gone,) = [c for c in working_copies(farm.desk) if c.state == "not in the folder"]
    assert ("pack", "pack-a") == (gone.kind, gone.id)
    assert holds(farm).holds


def test_a_file_that_was_never_entered_is_no_file(farm):
    condition = file_conditions(farm.desk, Plan("pannier", "pack-z"))[0]

    assert "pack pack-z: no version was entered" in condition.says


def test_bytes_in_no_encoding_are_told(farm):
    path = farm.folder.path / "packs" / "pack-a.toml"
    path.write_bytes(b"schema = \xff\xfe")

    assert "not UTF-8" in working_copy(farm.desk, path).why
