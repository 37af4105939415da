from __future__ import annotations

import json
import os
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
            B: {"erased": True, "version": 2},
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


def test_an_erased_name_does_not_come_back():
    erased = Names().with_name(A, "one", "radio 4").erased(A)

    assert erased.of(A) is None
    assert "" == erased.contact(A)
    with pytest.raises(RefusedError, match="was erased, for good"):
        erased.with_name(A, "one")


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
