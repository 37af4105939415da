"""Files in the folder beside the record: their states, and entering them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from flightlog.errors import RefusedError, TeamFileError, UsageError
from flightlog.operations.working_copies import (
    APART,
    CHANGED,
    FAULT,
    GONE,
    MOST_FILES,
    NEW,
    OLDER,
    SAME,
    WorkingCopy,
    bring_home,
    home_of,
    restore,
    version_draft,
    working_copies,
    working_copy,
)
from flightlog.team.files import FOLDERS
from tests.logbook.made import public_of
from tests.operations.laptops import second_laptop, take_over
from tests.operations.made import SAMPLES

AIRCRAFT = ("aircraft", "pannier")
SPEED = 'limits."flight.max_airspeed".at_most'


def home(farm, kind="aircraft", id_="pannier") -> Path:
    return home_of(farm.desk, kind, id_)


def edit(farm, old: str, new: str, kind="aircraft", id_="pannier") -> Path:
    place = home(farm, kind, id_)
    text = place.read_text(encoding="utf-8")
    assert old in text
    place.write_text(text.replace(old, new), encoding="utf-8", newline="\n")
    return place


def faster(farm) -> Path:
    return edit(farm, "at_most = 24.0", "at_most = 26.0")


def renamed(farm, to="PN-02") -> Path:
    return edit(farm, '"PN-01"', f'"{to}"')


def copy_of(farm, kind="aircraft", id_="pannier") -> WorkingCopy:
    found = [c for c in working_copies(farm.desk) if (c.kind, c.id) == (kind, id_)]
    assert len(found) == 1
    return found[0]


def entered(farm, *names: str, kind="aircraft", id_="pannier"):
    draft = version_draft(farm.desk, copy_of(farm, kind, id_), [public_of(n) for n in names])
    return farm.sign(draft, *names)


# --- states


def test_files_that_were_entered_are_in_force(farm):
    states = {(c.kind, c.state) for c in working_copies(farm.desk)}

    assert {(kind, SAME) for kind in FOLDERS if kind != "meter"} == states


def test_a_changed_file_is_shown_with_what_differs(farm):
    faster(farm)
    copy = copy_of(farm)

    assert (CHANGED, True) == (copy.state, copy.needs_two)
    assert [(SPEED, "24.0", "26.0", True)] == [
        (d.key, d.before, d.after, d.limit) for d in copy.changes
    ]


def test_another_layout_is_a_change_without_differences(farm):
    edit(farm, "[mass]", "# weighed in spring\n[mass]")

    copy = copy_of(farm)
    assert (CHANGED, (), False) == (copy.state, copy.changes, copy.needs_two)


def test_what_was_never_entered_and_what_the_folder_lacks_are_told(farm):
    new = home(farm, "pack", "pack-c")
    new.write_text('schema = "flightlog.pack/1"\nid = "pack-c"\n', encoding="utf-8")
    home(farm, "site", "top-field").unlink()

    assert NEW == copy_of(farm, "pack", "pack-c").state
    assert GONE == copy_of(farm, "site", "top-field").state


def test_a_folder_of_before_the_files_were_kept_has_none(farm):
    for folder in FOLDERS.values():
        for place in (farm.folder.path / folder).glob("*"):
            place.unlink()
        (farm.folder.path / folder).rmdir()

    assert {GONE} == {c.state for c in working_copies(farm.desk)}


def test_an_older_version_in_the_folder_is_told_from_a_change(farm):
    old = home(farm).read_bytes()
    renamed(farm)
    entered(farm, "mechanic")
    home(farm).write_bytes(old)

    assert OLDER == copy_of(farm).state


def test_files_entered_apart_on_two_laptops_are_told(farm, tmp_path):
    other = second_laptop(farm, tmp_path / "tablet")
    renamed(farm, "PN-02")
    renamed(other, "PN-03")
    here, there = entered(farm, "mechanic"), entered(other, "pilot")
    take_over(farm, other)
    copy = copy_of(farm)
    other.close()

    assert APART == copy.state
    assert "were entered apart from each other" in copy.why
    third = entered(farm, "observer")
    assert third == farm.desk.version(*AIRCRAFT).entry
    assert SAME == copy_of(farm).state
    assert {here, there} <= set(farm.desk.ledger.order)


# --- hostile files


def at_fault(farm, name: str, kind="pack") -> str:
    copy = next(c for c in working_copies(farm.desk) if c.path.name == name)
    assert FAULT == copy.state
    with pytest.raises(TeamFileError):
        version_draft(farm.desk, copy, [public_of("mechanic"), public_of("observer")])
    return copy.why


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"\xff\xfe", "is not UTF-8"),
        (b"x" * 1_000_001, "holds more than 1000000 bytes"),
        (b'schema = "flightlog.pack/1"\nid = "pack-d"\n', "is 'pack-d', and the file is called"),
        (b'schema = "flightlog.pack/1"\n', "id: is missing"),
        (b'schema = "flightlog.pack/1"\nid = 3\n', "id: is 3, not a text"),
        (b'schema = "flightlog.site/1"\nid = "pack-c"\n', "This is a site file"),
        (b'schema = "flightlog.pack/9"\nid = "pack-c"\n', "update the program"),
        (b'schema = "flightlog.pack/1"\nid = "pack-c"\ncells = 99\n', "cells"),
        (b'schema = "flightlog.pack/1"\nid = "pack-c"\n[[x]]\n' + b"a." * 999 + b"b=1", "too long"),
        (b"[", "not valid TOML"),
        (b"", "schema: is missing"),
    ],
)
def test_a_file_at_fault_says_why(farm, data, why):
    home(farm, "pack", "pack-c").write_bytes(data)

    assert why in at_fault(farm, "pack-c.toml")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_links_are_not_followed(farm, tmp_path):
    secret = tmp_path / "outside.toml"
    secret.write_text('schema = "flightlog.pack/1"\nid = "pack-c"\n', encoding="utf-8")
    home(farm, "pack", "pack-c").symlink_to(secret)

    assert "is a link" in at_fault(farm, "pack-c.toml")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_folder_that_is_a_link_is_not_followed(farm, tmp_path):
    packs = farm.folder.path / "packs"
    packs.rename(tmp_path / "packs")
    packs.symlink_to(tmp_path / "packs")

    found = [c for c in working_copies(farm.desk) if c.kind == "pack"]
    assert [(FAULT, ""), (GONE, "pack-a"), (GONE, "pack-b")] == [(c.state, c.id) for c in found]
    assert "is a link" in found[0].why


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names")
def test_a_pipe_is_not_waited_for(farm):
    os.mkfifo(home(farm, "pack", "pack-c"))

    assert "is no file" in at_fault(farm, "pack-c.toml")


def test_a_folder_with_the_name_of_a_file_is_none(farm):
    home(farm, "pack", "pack-c").mkdir()

    assert "is no file" in at_fault(farm, "pack-c.toml")


def test_too_many_files_are_told_and_not_looked_at(farm):
    for number in range(MOST_FILES):
        home(farm, "meter", f"m-{number}").write_bytes(b"")
    home(farm, "meter", "one-more").write_bytes(b"")

    (found,) = (c for c in working_copies(farm.desk) if c.kind == "meter")
    assert (FAULT, f"holds {MOST_FILES + 1} files" in found.why) == (found.state, True)


def test_what_other_programs_leave_in_a_folder_is_left_aside(farm):
    for name in ("._pannier.toml", "pannier.toml~", "pannier.toml.kept", "notes.txt"):
        (farm.folder.path / "aircraft" / name).write_bytes(b"\xff")

    assert SAME == copy_of(farm).state


# --- entering


def test_one_person_enters_a_change_without_limits(farm):
    renamed(farm)
    entry = entered(farm, "mechanic")

    said = entry.body.content
    assert entry == farm.desk.version(*AIRCRAFT).entry
    assert [{"key": "serial", "before": '"PN-01"', "after": '"PN-02"'}] == said["changes"]
    assert not said["limit_changed"]


def test_one_person_enters_no_change_of_a_limit(farm):
    faster(farm)

    with pytest.raises(RefusedError, match=r"changes limits .*at_most.*two different persons"):
        entered(farm, "mechanic")
    copy, twice = copy_of(farm), [public_of("mechanic")] * 2
    with pytest.raises(RefusedError, match="two different persons"):
        version_draft(farm.desk, copy, twice)

    entry = entered(farm, "mechanic", "observer")
    assert entry == farm.desk.version(*AIRCRAFT).entry
    assert entry.body.content["limit_changed"]
    assert 26.0 == farm.desk.aircraft("pannier").limits["flight.max_airspeed"]["at_most"]


def test_a_first_version_with_limits_takes_two(farm):
    data = (SAMPLES / "pack_a.toml").read_bytes().replace(b'"pack-a"', b'"pack-c"')
    home(farm, "pack", "pack-c").write_bytes(data)

    with pytest.raises(RefusedError, match="sets limits"):
        entered(farm, "mechanic", kind="pack", id_="pack-c")
    entry = entered(farm, "mechanic", "observer", kind="pack", id_="pack-c")
    assert [] == entry.body.content["changes"]
    assert 6 == farm.desk.pack("pack-c").cells


def test_a_site_takes_one(farm):
    edit(farm, "slope = 0.004", "slope = 0.005", "site", "top-field")

    entered(farm, "pilot", kind="site", id_="top-field")
    assert 0.005 == farm.desk.site("top-field").runway.slope


def test_what_is_in_force_is_not_entered_again(farm):
    with pytest.raises(RefusedError, match="in force already"):
        entered(farm, "mechanic")


def test_what_was_changed_after_it_was_looked_at_is_not_entered(farm):
    renamed(farm)
    copy = copy_of(farm)
    renamed_again = edit(farm, '"PN-02"', '"PN-03"')

    with pytest.raises(TeamFileError, match="was changed meanwhile"):
        version_draft(farm.desk, copy, [public_of("mechanic")])
    assert renamed_again.is_file()


def test_very_many_changes_are_cut_in_the_entry(farm):
    item = '[[item]]\nid = "{}"\nsection = "x"\ntext = "y"\nrole = "pilot"\n'
    head = 'schema = "flightlog.checklist/1"\nid = "long"\nversion = "1"\ntitle = "Long"\n'
    place = home(farm, "checklist", "long")
    place.write_text(head + item.format("a"), encoding="utf-8")
    entered(farm, "mechanic", "observer", kind="checklist", id_="long")
    items = "".join(item.format(f"i-{n}") for n in range(200))
    place.write_text(head + items, encoding="utf-8")

    entry = entered(farm, "mechanic", "observer", kind="checklist", id_="long")
    changes = entry.body.content["changes"]
    assert (151, {"key": "and 51 more"}) == (len(changes), changes[-1])


def test_a_version_that_fell_is_followed_by_one_that_two_sign(farm):
    faster(farm)
    fallen = entered(farm, "mechanic", "observer")
    farm.desk.version(*AIRCRAFT).path.unlink()
    farm.desk.refresh()

    copy = copy_of(farm)
    assert (CHANGED, True) == (copy.state, "does not stand any more" in copy.why)
    entered(farm, "mechanic", "observer")
    assert SAME == copy_of(farm).state
    assert fallen != farm.desk.version(*AIRCRAFT).entry


# --- the folder


def test_a_file_from_elsewhere_is_brought_into_the_folder(farm, tmp_path):
    place = tmp_path / "my pack.toml"
    place.write_text('schema = "flightlog.pack/1"\nid = "pack-c"\n', encoding="utf-8")
    copy = working_copy(farm.desk, place)
    assert ("pack", "pack-c", NEW) == (copy.kind, copy.id, copy.state)
    farm.sign(version_draft(farm.desk, copy, [public_of("pilot")]), "pilot")

    assert home(farm, "pack", "pack-c") == bring_home(farm.desk, copy)
    assert place.read_bytes() == home(farm, "pack", "pack-c").read_bytes()
    assert bring_home(farm.desk, copy) is None


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b'schema = "flightlog.team/1"\nname = "x"\n', "is a team file, which the record does not"),
        (b"id = 3\n", "is no file of ours"),
    ],
)
def test_a_file_of_no_kind_that_is_kept_is_refused(farm, tmp_path, data, why):
    (tmp_path / "x.toml").write_bytes(data)

    copy = working_copy(farm.desk, tmp_path / "x.toml")
    assert (FAULT, True) == (copy.state, why in copy.why)


def test_a_near_name_is_offered(farm):
    copy = working_copy(farm.desk, farm.folder.path / "aircraft" / "panier.toml")

    assert "Did you mean 'pannier.toml'?" in copy.why


def test_what_is_in_force_is_put_back_and_what_was_there_is_kept(farm):
    was = home(farm).read_bytes()
    for serial in ("PN-02", "PN-03"):
        renamed(farm, serial)
        place, kept = restore(farm.desk, *AIRCRAFT)
        assert was == place.read_bytes()
        assert serial in kept.read_text(encoding="utf-8")

    home(farm).unlink()
    assert (home(farm), None) == restore(farm.desk, *AIRCRAFT)
    assert SAME == copy_of(farm).state


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_putting_back_does_not_write_through_a_link(farm, tmp_path):
    outside = tmp_path / "outside.toml"
    outside.write_bytes(b"theirs")
    home(farm).unlink()
    home(farm).symlink_to(outside)
    restore(farm.desk, *AIRCRAFT)

    assert b"theirs" == outside.read_bytes()
    assert not home(farm).is_symlink()


def test_nothing_is_put_back_that_was_never_entered(farm):
    with pytest.raises(UsageError, match="'pannier'"):
        restore(farm.desk, "aircraft", "panier")
