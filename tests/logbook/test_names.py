from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import NotWritableError, RefusedError, TeamFolderError
from flightlog.logbook.names import MOST_BYTES, MOST_PERSONS, Names, Person

A, B = "a" * 64, "b" * 64


def written(path: Path, record: object) -> Path:
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


def file_of(persons: object) -> dict[str, object]:
    return {"schema": "flightlog.names/1", "persons": persons}


# --- reading and writing


def test_without_a_file_there_are_no_names(tmp_path):
    names = Names.read(tmp_path / "names.json")

    assert names.of(A) is None
    assert "" == names.contact(A)


def test_the_file_has_the_form_that_is_written_down(tmp_path):
    path = tmp_path / "names.json"
    Names().with_name(A, "B. Młynarz", "radio 4").with_name(B, "gone").erased(B).write(path)

    assert {
        "schema": "flightlog.names/1",
        "persons": {
            A: {"name": "B. Młynarz", "contact": "radio 4", "version": 1},
            B: {"erased": True, "version": 1001},
        },
    } == json.loads(path.read_text(encoding="utf-8"))
    assert "gone" not in path.read_text(encoding="utf-8")


def test_what_is_written_is_read_again(tmp_path):
    names = Names().with_name(A, "B. Young").with_name(A, "B. Elder", "radio 4").erased(B)
    names.write(tmp_path / "names.json")

    assert names == Names.read(tmp_path / "names.json")
    assert "B. Elder" == names.of(A)
    assert "radio 4" == names.contact(A)
    assert 2 == names.persons[A].version


def test_writing_replaces_the_file_and_leaves_nothing_else(tmp_path):
    path = tmp_path / "names.json"
    Names().with_name(A, "one").write(path)
    Names().with_name(A, "two").write(path)

    assert ["names.json"] == [p.name for p in tmp_path.iterdir()]
    assert "two" == Names.read(path).of(A)


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "names.json"
    Names().with_name(A, "one").write(path)

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(NotWritableError, match=r"names can't be written \(No space left"):
        Names().with_name(A, "two").write(path)

    assert ["names.json"] == [p.name for p in tmp_path.iterdir()]
    assert "one" == Names.read(path).of(A)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "it is not JSON"),
        (b"\xff", "it is not JSON"),
        (b"[" * 100_000, "it is not JSON"),
        (b'{"schema":"a","schema":"b"}', "a key stands twice"),
        (b"[]", "it is not a JSON object"),
        (b'{"schema":"flightlog.names/2"}', "Use a newer version of flightlog"),
        (b'{"schema":"else"}', "its schema is 'else'"),
        (b"x" * (MOST_BYTES + 1), "longer than 1000000 bytes"),
    ],
)
def test_a_damaged_file_is_refused_in_words(tmp_path, content, found):
    path = tmp_path / "names.json"
    path.write_bytes(content)

    with pytest.raises(TeamFolderError, match=found):
        Names.read(path)


@pytest.mark.parametrize(
    ("persons", "found"),
    [
        ([], "more or less than 'schema' and 'persons'"),
        ({A: []}, "is not an object"),
        ({A: {"name": "x"}}, "has neither name, contact, version nor erased"),
        ({A: {"erased": False, "version": 1}}, "has neither"),
        ({"A" * 64: {"erased": True, "version": 1}}, "64 hexadecimal digits"),
        ({A: {"erased": True, "version": 0}}, "version 0 is out of range"),
        ({A: {"erased": True, "version": True}}, "version is no integer"),
        ({A: {"erased": True, "version": "1"}}, "version is no integer"),
        ({A: {"name": "", "contact": "", "version": 1}}, "a name is a text of 1 to 80"),
        ({A: {"name": "x" * 81, "contact": "", "version": 1}}, "a name is a text"),
        ({A: {"name": 7, "contact": "", "version": 1}}, "a name is a text"),
        ({A: {"name": "\ud800", "contact": "", "version": 1}}, "a name is a text"),
        ({A: {"name": "x", "contact": "y" * 201, "version": 1}}, "contact details are a text"),
        (
            {f"{n:064x}": {"erased": True, "version": 1} for n in range(MOST_PERSONS + 1)},
            "more than 1000 persons",
        ),
    ],
)
def test_persons_of_another_form_are_refused(tmp_path, persons, found):
    path = written(tmp_path / "names.json", file_of(persons))

    with pytest.raises(TeamFolderError, match=found):
        Names.read(path)


def test_only_a_plain_file_is_read(tmp_path):
    (tmp_path / "names.json").mkdir()

    with pytest.raises(TeamFolderError, match="it is no plain file"):
        Names.read(tmp_path / "names.json")


def test_a_file_that_may_not_be_read_is_refused_in_words(tmp_path, monkeypatch):
    path = written(tmp_path / "names.json", file_of({}))

    def refused(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(TeamFolderError, match=r"can't be read \(Permission denied\)"):
        Names.read(path)


def test_more_persons_than_the_file_holds_are_refused():
    half = {f"{n:064x}": Person("x", "", 1) for n in range(600)}
    other = {f"{n:064x}": Person("x", "", 1) for n in range(500, 1101)}

    with pytest.raises(TeamFolderError, match="1101 persons"):
        Names(half).merged(Names(other))


# --- changing


def test_a_change_leaves_the_old_names_alone():
    before = Names().with_name(A, "one")
    before.with_name(A, "two")
    before.erased(A)

    assert "one" == before.of(A)


def test_an_erased_name_is_gone_until_somebody_names_the_person_anew():
    erased = Names().with_name(A, "one", "radio 4").erased(A)
    anew = erased.with_name(A, "two")

    assert erased.of(A) is None
    assert "" == erased.contact(A)
    assert "two" == anew.of(A)
    assert Person("two", "", 1002) == anew.persons[A]
    assert "two" == erased.merged(anew).of(A)


def test_a_person_without_a_name_can_be_erased():
    assert Person("", "", 1000, erased=True) == Names().erased(A).persons[A]
    full = Names({A: Person("x", "", 2**53 - 1)})
    assert Person("", "", 2**53 - 1, erased=True) == full.erased(A).persons[A]
    assert full.merged(full.erased(A)).of(A) is None


@pytest.mark.parametrize("sign", ["\n", "\x1b", "\x7f", "\u202e", "\u200b", "\u2028", "\ue000"])
def test_signs_that_can_not_be_seen_are_refused_in_names(sign):
    with pytest.raises(RefusedError, match=rf"the sign U\+{ord(sign):04X} can't be seen"):
        Names().with_name(A, f"B. {sign}Young")
    with pytest.raises(RefusedError, match="can't be seen"):
        Names().with_name(A, "B. Young", f"radio{sign}4")


def test_a_version_at_the_end_can_not_go_up():
    with pytest.raises(RefusedError, match="version 9007199254740992 is out of range"):
        Names({A: Person("x", "", 2**53 - 1)}).with_name(A, "y")


def test_erasing_twice_changes_nothing():
    once = Names().with_name(A, "one").erased(A)

    assert once == once.erased(A)


def test_a_name_has_to_be_one():
    with pytest.raises(RefusedError, match="a name is a text of 1 to 80"):
        Names().with_name(A, "  ")
    with pytest.raises(RefusedError, match="64 hexadecimal digits"):
        Names().with_name("pilot", "B. Young")
    with pytest.raises(RefusedError, match="64 hexadecimal digits"):
        Names().erased("pilot")


def test_the_holder_of_a_name_is_found_and_of_an_erased_one_is_not():
    names = Names().with_name(A, "B. Młynarz").with_name(B, "gone").erased(B)

    assert A == names.holder_of(" b. MŁYNARZ ")
    assert names.holder_of("gone") is None
    assert names.holder_of("") is None


# --- merging

_persons = st.one_of(
    st.builds(Person, st.sampled_from("xyz"), st.sampled_from(["", "c"]), st.integers(1, 3)),
    st.builds(Person, st.just(""), st.just(""), st.integers(1, 3), st.just(True)),
    st.builds(Person, st.just("w"), st.just(""), st.sampled_from([1000, 1001, 1002])),
    st.builds(Person, st.just(""), st.just(""), st.sampled_from([1000, 1001]), st.just(True)),
)
_names = st.dictionaries(st.sampled_from([A, B]), _persons).map(Names)


@given(_names, _names, _names)
def test_merging_gives_the_same_in_any_order_and_any_number_of_times(one, two, three):
    assert one.merged(two) == two.merged(one)
    assert one.merged(two).merged(three) == one.merged(two.merged(three))
    assert one.merged(two) == one.merged(two).merged(two)
    assert one == one.merged(one)


def test_what_one_copy_erased_stays_erased_whatever_the_other_says():
    erased = Names().with_name(A, "one").erased(A)
    busy = Names().with_name(A, "1").with_name(A, "2").with_name(A, "3").with_name(A, "4")

    assert busy.merged(erased).of(A) is None
    assert erased.merged(busy).of(A) is None


def test_the_later_version_of_a_name_counts():
    old = Names().with_name(A, "zzz")
    new = Names().with_name(A, "zzz").with_name(A, "aaa")

    assert "aaa" == old.merged(new).of(A)


@given(_names, st.integers(0, 5))
def test_no_older_copy_brings_an_erased_name_back(names, changes):
    """Older: made from the same names by changes, without the erasing."""
    names = names.with_name(A, "before")
    older = names
    for number in range(changes):
        older = older.with_name(A, f"change {number}")

    assert names.erased(A).merged(older).of(A) is None
    assert older.merged(names.erased(A)).of(A) is None


def test_at_the_same_version_what_is_erased_wins():
    named, erased = Names({A: Person("x", "", 7)}), Names({A: Person("", "", 7, erased=True)})

    assert named.merged(erased) == erased.merged(named) == erased


# --- files from elsewhere


def known(person: str) -> bool:
    return person in (A, B)


@pytest.mark.parametrize(("above", "taken"), [(10_000, True), (10_001, False)])
def test_a_version_far_above_ours_is_left_out(above, taken):
    ours = Names({A: Person("ours", "", 5)})
    for theirs in (Person("theirs", "", 5 + above), Person("", "", 5 + above, erased=True)):
        accepted, notes = ours.acceptable(Names({A: theirs}), known)

        assert taken == (accepted == Names({A: theirs}))
        assert taken == (notes == [])
        assert taken or f"its version {5 + above} is far above ours" in notes[0]
    accepted, notes = Names().acceptable(Names({A: Person("theirs", "", above)}), known)
    assert taken == bool(accepted.persons)


def test_persons_whom_the_record_does_not_know_are_left_out():
    many = {f"{n:064x}": Person("zz", "", 1) for n in range(998)}
    accepted, notes = Names().acceptable(Names({**many, A: Person("one", "", 1)}), known)

    assert Names({A: Person("one", "", 1)}) == accepted
    assert ["Names of 998 persons whom the record does not know were left out."] == notes
    assert Names({A: Person("x", "", 1)}) == Names({**many, A: Person("x", "", 1)}).limited(known)


def test_a_name_from_elsewhere_with_signs_that_can_not_be_seen_is_left_out():
    accepted, notes = Names().acceptable(Names({A: Person("x\u202ey", "", 1)}), known)

    assert {} == accepted.persons
    assert "U+202E can't be seen" in notes[0]


def test_what_a_merge_changes_is_told():
    before = Names().with_name(A, "one", "radio 4").with_name(B, "two")
    name = r"The name 'one' of person [0-9A-Z]{5}…?"

    def told(after):
        (line,) = before.changes(after)
        return line

    assert [] == before.changes(before)
    assert [] == Names().changes(before)
    assert [] == before.erased(A).changes(before.erased(A).with_name(A, "x"))
    assert re.fullmatch(rf"{name} was erased\.", told(before.erased(A)))
    assert re.fullmatch(rf"{name} was erased\.", told(before.limited(lambda p: p == B)))
    assert re.fullmatch(rf"{name} was changed to 'uno'\.", told(before.with_name(A, "uno")))
    assert "The contact details of 'one' were changed." == told(before.with_name(A, "one", "5"))
