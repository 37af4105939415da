"""Which version of a team file is in force, and why another one is not."""

from __future__ import annotations

import os

import pytest

from tests.team.made_files import LAPTOP, ONE, TABLET, TWO, Shelf, toml

FAST = {"limits": {"flight.max_airspeed": {"at_most": 24.0, "unit": "m/s"}}, "serial": "PN-01"}
FASTER = {"limits": {"flight.max_airspeed": {"at_most": 26.0, "unit": "m/s"}}, "serial": "PN-01"}
RENAMED = {**FAST, "serial": "PN-02"}
PLAIN = {"serial": "PN-01"}
NAME = ("aircraft", "pannier")


@pytest.fixture
def shelf(tmp_path):
    return Shelf(tmp_path)


# --- who has to sign


def test_a_first_version_without_limits_takes_one_person(shelf):
    entry = shelf.enter(PLAIN)

    assert entry == shelf.in_force()
    assert [] == list(shelf.versions().refused)


def test_a_first_version_with_limits_takes_two(shelf):
    alone = shelf.enter(FAST, flag=False)
    assert (None, True) == (shelf.in_force(), "not two persons signed" in shelf.why(alone))

    both = shelf.enter(FAST, TWO, flag=False)
    assert both == shelf.in_force()


def test_a_change_without_limits_takes_one(shelf):
    first = shelf.enter(FAST, TWO)
    second = shelf.enter(RENAMED, before=first, flag=False)

    assert second == shelf.in_force()


@pytest.mark.parametrize("flag", [True, False])
def test_one_person_changes_no_limit_whatever_the_entry_says_of_it(shelf, flag):
    first = shelf.enter(FAST, TWO)
    second = shelf.enter(FASTER, before=first, flag=flag)

    assert first == shelf.in_force()
    assert "at_most" in shelf.why(second)


def test_two_persons_who_are_told_that_no_limit_differs_change_none(shelf):
    first = shelf.enter(FAST, TWO)
    lie = shelf.enter(FASTER, TWO, before=first, flag=False)

    assert first == shelf.in_force()
    assert 'says that no limit differs, and limits."flight.max_airspeed".at_most does' in (
        shelf.why(lie)
    )


@pytest.mark.parametrize(
    "signers",
    [
        (("mechanic", "entered"), ("pilot", "entered")),
        (("mechanic", "agreed"), ("pilot", "agreed")),
    ],
    ids=["nobody agreed", "nobody entered"],
)
def test_two_are_one_who_enters_and_another_who_agrees(shelf, signers):
    first = shelf.enter(FAST, TWO)
    shelf.enter(FASTER, signers, before=first)

    assert first == shelf.in_force()


def test_the_second_signature_of_a_stranger_is_none(shelf):
    first = shelf.enter(FAST, TWO)
    second = shelf.enter(FASTER, (*ONE, ("stranger", "agreed")), before=first)

    assert first == shelf.in_force()
    assert "not two persons signed" in shelf.why(second)


def test_one_persons_two_keys_are_one_person(shelf):
    first = shelf.enter(FAST, TWO)
    seen = shelf.crew.tips()
    shelf.crew.change("mechanic", "mechanic", "mechanic-new", device=TABLET, seen=seen)
    shelf.crew.change("mechanic", "mechanic", "mechanic-2", device=LAPTOP, seen=[])
    second = shelf.enter(
        FASTER, (("mechanic-new", "entered"), ("mechanic-2", "agreed")), before=first
    )

    assert first == shelf.in_force()
    assert shelf.crew.standing.counts(second)
    assert "not two persons signed" in shelf.why(second)


def test_comments_and_layout_make_a_version_that_changes_nothing(shelf):
    first = shelf.enter(FAST, TWO)
    data = toml({"id": "pannier", **FAST}) + b"# looked through in spring\n"
    second = shelf.enter(data, before=first, flag=False)

    versions = shelf.versions()
    assert second == shelf.in_force()
    assert () == versions.differences(*NAME, versions.table(versions.history(*NAME)[0]))


# --- what it follows


def test_a_version_that_names_none_before_it_follows_none(shelf):
    first = shelf.enter(FAST, TWO)
    second = shelf.enter(RENAMED)

    assert first == shelf.in_force()
    assert "names none" in shelf.why(second)


def test_a_limit_is_not_put_back_by_one_person_who_names_an_older_version(shelf):
    old = shelf.enter(FASTER, TWO)
    strict = shelf.enter(FAST, TWO, before=old)
    shelf.enter(FASTER, before=old, flag=False)

    assert strict == shelf.in_force()


def test_a_version_before_that_was_not_seen_is_not_followed(shelf):
    entry = shelf.enter(PLAIN, before="ab" * 32)

    assert None is shelf.in_force()
    assert "that it had not seen" in shelf.why(entry)


def test_a_correction_does_not_bring_the_limits_of_before_back(shelf):
    old = shelf.enter(FASTER, TWO)
    strict = shelf.enter(FAST, TWO, before=old)
    shelf.crew.add(
        LAPTOP,
        "correction",
        {"text": "a slip"},
        signers=[("pilot", "corrected", "")],
        relations=[("corrects", strict)],
    )

    assert strict == shelf.in_force()


def test_a_refused_version_does_not_stand_in_the_way_of_the_next(shelf):
    first = shelf.enter(FAST, TWO)
    shelf.enter(FASTER, before=first)
    third = shelf.enter(FASTER, TWO, before=first)

    assert third == shelf.in_force()


# --- the bytes


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"schema = \n", "not valid TOML"),
        (b"\xff", "not UTF-8"),
        (toml({"id": "pannier"}, "pack"), "is 'flightlog.pack/1'"),
        (toml({"id": "other"}), "its id is 'other'"),
        (b'schema = "flightlog.aircraft/1"\n' + b"a." * 5000 + b"b = 1\n", "too long to read"),
    ],
)
def test_bytes_that_are_no_such_file_are_refused(shelf, data, why):
    entry = shelf.enter(data, TWO)

    assert None is shelf.in_force()
    assert why in shelf.why(entry)


def test_an_entry_without_the_file_is_refused(shelf):
    entry = shelf.enter(PLAIN, attached=False)

    assert "it does not hold the file" == shelf.why(entry)


def test_missing_bytes_bring_back_what_was_before_and_leave_the_file_unsettled(shelf):
    first = shelf.enter(FAST, TWO)
    second = shelf.enter(FASTER, TWO, before=first)
    shelf.path(second).unlink()

    versions = shelf.versions()
    assert first == shelf.in_force()
    assert ((second, "its bytes are missing"),) == versions.unsettled(*NAME)

    third = shelf.enter(FASTER, TWO, before=second)  # which puts the bytes there again
    assert third == shelf.in_force()
    assert () == shelf.versions().unsettled(*NAME)


def test_damaged_bytes_are_found_though_they_were_read_before(shelf):
    shelf.enter(FAST, TWO)
    path = shelf.path(shelf.in_force())
    data = path.read_bytes()
    os.chmod(path, 0o600)
    path.write_bytes(data.replace(b"24.0", b"42.0"))

    assert None is shelf.in_force()


def test_one_person_can_not_follow_a_version_whose_bytes_are_missing(shelf):
    first = shelf.enter(FAST, TWO)
    second = shelf.enter(RENAMED, before=first)
    third = shelf.enter({**RENAMED, "serial": "PN-03"}, before=second)
    shelf.path(second).unlink()

    assert first == shelf.in_force()
    assert "can't be told" in shelf.why(third)


# --- old versions


def test_old_versions_are_found_by_their_bytes(shelf):
    first = shelf.enter(FAST, TWO)
    shelf.enter(FASTER, TWO, before=first)
    versions = shelf.versions()

    found = versions.by_hash(first.body.content["sha256"])
    assert (first, FAST["limits"]) == (found.entry, versions.table(found)["limits"])
    assert [first, versions.in_force(*NAME).entry] == [v.entry for v in versions.history(*NAME)]


def test_what_never_was_in_force_is_not_found_by_its_bytes(shelf):
    first = shelf.enter(FAST, TWO)
    lie = shelf.enter(FASTER, before=first, flag=False)

    assert None is shelf.versions().by_hash(lie.body.content["sha256"])


def test_bytes_that_another_file_claims_are_found_all_the_same(shelf):
    first = shelf.enter(FAST, TWO)
    shelf.id = "other"
    shelf.enter(toml({"id": "pannier", **FAST}), TWO)

    assert first == shelf.versions().by_hash(first.body.content["sha256"]).entry
    assert ("pannier",) == shelf.versions().ids("aircraft")


# --- entered apart


def apart(shelf, one, other, signers=TWO):
    """Enter two versions after the same one, on two laptops."""
    first = shelf.enter(FAST, TWO)
    here = shelf.enter(one, signers, before=first)
    there = shelf.enter(other, signers, before=first, device=TABLET, seen=[first])
    return first, here, there


def test_of_two_entered_apart_neither_is_in_force_until_a_third_has_seen_both(shelf):
    first, here, there = apart(shelf, RENAMED, {**FAST, "serial": "PN-03"}, ONE)

    versions = shelf.versions()
    assert first == shelf.in_force()
    assert {here, there} == {v.entry for v in versions.conflict(*NAME)}

    third = shelf.enter(RENAMED, before=there, flag=False)
    assert third == shelf.in_force()
    assert () == shelf.versions().conflict(*NAME)


def test_the_same_bytes_entered_apart_are_no_conflict(shelf):
    _, here, there = apart(shelf, RENAMED, RENAMED, ONE)

    assert shelf.in_force() in (here, there)
    assert () == shelf.versions().conflict(*NAME)


def test_two_first_versions_entered_apart_leave_none_in_force(shelf):
    start = shelf.crew.tips()
    shelf.enter(PLAIN)
    shelf.enter({"serial": "PN-07"}, device=TABLET, seen=start)

    versions = shelf.versions()
    assert None is versions.in_force(*NAME)
    assert 2 == len(versions.conflict(*NAME))
    assert ((), ("pannier",)) == (versions.ids("aircraft"), versions.known("aircraft"))


@pytest.mark.parametrize("side", [1, 2])
def test_a_third_version_is_compared_with_both_before_it(shelf, side):
    found = apart(shelf, RENAMED, FASTER)
    table = (RENAMED, FASTER)[side - 1]
    alone = shelf.enter(table, before=found[side])
    assert found[0] == shelf.in_force()
    assert "at_most" in shelf.why(alone)

    both = shelf.enter(table, TWO, before=found[side])
    assert both == shelf.in_force()


def test_what_follows_one_side_of_a_conflict_does_not_end_it(shelf):
    first, _, there = apart(shelf, RENAMED, {**FAST, "serial": "PN-03"}, ONE)
    later = {**FAST, "serial": "PN-04"}
    shelf.enter(later, before=there, flag=False, device=TABLET, seen=[])

    assert first == shelf.in_force()
    assert 2 == len(shelf.versions().conflict(*NAME))


# --- signatures that fall


def test_a_version_falls_with_the_signature_of_a_revoked_key_and_is_unsettled(shelf):
    first = shelf.enter(FASTER, TWO)
    shelf.crew.revoke("mechanic", "pilot", device=TABLET, seen=[first])
    strict = shelf.enter(FAST, TWO, before=first, seen=[])

    versions = shelf.versions()
    assert first == shelf.in_force()
    assert [strict] == [entry for entry, _ in versions.unsettled(*NAME)]
    assert 1 == len(versions.history(*NAME))


def test_one_signature_does_not_carry_a_limit_over_from_a_version_that_fell(shelf):
    first = shelf.enter(FAST, TWO)
    loose = shelf.enter(FASTER, (("mechanic", "entered"), ("safety", "agreed")), before=first)
    renamed = {**FASTER, "serial": "PN-09"}
    third = shelf.enter(renamed, (("pilot", "entered"),), before=loose, flag=False)
    assert third == shelf.in_force()

    shelf.crew.revoke("safety", "pilot", device=TABLET, seen=[first])
    assert first == shelf.in_force()
    assert "is void" in shelf.why(third)

    settled = shelf.enter(FAST, (("pilot", "entered"), ("mechanic", "agreed")), before=third)
    assert settled == shelf.in_force()
    assert () == shelf.versions().unsettled(*NAME)


def test_entries_of_no_form_are_refused_and_do_no_harm(shelf):
    first = shelf.enter(PLAIN)
    bad = shelf.crew.add(
        LAPTOP, "file-version", {"kind": [], "id": {}}, signers=[("pilot", "entered", "")]
    )

    assert first == shelf.in_force()
    assert shelf.why(bad)


def test_what_an_entry_would_follow_tells_whether_two_have_to_sign(shelf):
    first = shelf.enter(FAST, TWO)
    versions = shelf.versions()

    alike = versions.following(*NAME, {"id": "pannier", **RENAMED})
    other = versions.following(*NAME, {"id": "pannier", **FASTER})
    new = versions.following("aircraft", "second", {"id": "second", **FAST})

    sha256 = first.body.content["sha256"]
    assert (sha256, False) == (alike.before, alike.needs_two)
    assert ['limits."flight.max_airspeed".at_most'] == [d.key for d in other.limits]
    assert (None, True) == (new.before, new.needs_two)
