"""Entries are found by kind, person and words, the newest first, with their marks."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.entry_search import (
    CORRECTED,
    CORRECTION,
    LATE,
    NOT_COUNTED,
    Asked,
    find_entries,
    kinds_in,
    marks_of,
)
from flightlog.operations.positions import named
from tests.logbook.made import public_of
from tests.operations.flown import apart, united


@pytest.fixture
def remarks(farm):
    return [
        farm.add("remark", {"text": text}, (who, "stated"))
        for text, who in (("Horn glued", "pilot"), ("horn again", "mechanic"), ("seal", "pilot"))
    ]


def test_the_newest_come_first_and_all_are_counted(farm, remarks):
    found = find_entries(farm.desk, Asked(), 2)

    assert (remarks[2], remarks[1]) == found.entries
    assert len(farm.book.order) == found.total


@pytest.mark.parametrize(
    ("asked", "places"),
    [
        (Asked(kind="remark"), [2, 1, 0]),
        (Asked(text="HORN"), [1, 0]),
        (Asked(person=public_of("mechanic"), kind="remark"), [1]),
        (Asked(person=public_of("pilot"), text="horn"), [0]),
        (Asked(kind="remark", text="mechanic"), [1]),
        (Asked(kind="weather"), []),
    ],
)
def test_what_is_asked_for_is_found(farm, remarks, asked, places):
    assert [remarks[k] for k in places] == list(find_entries(farm.desk, asked, 9).entries)


def test_an_entry_is_found_by_its_name(farm, remarks):
    assert (remarks[0],) == find_entries(farm.desk, Asked(text=named(remarks[0])), 9).entries


def test_marks(farm, remarks, tmp_path):
    hour = farm.clock.now - timedelta(hours=1)
    late = farm.add("remark", {"text": "one"}, ("pilot", "stated"), occurred=hour)
    said = {"text": "two"}
    right = farm.add("correction", said, ("pilot", "stated"), relations=[("corrects", late)])
    other = apart(farm, tmp_path / "elsewhere")
    stolen = other.add("remark", {"text": "three"}, ("mechanic", "stated"))
    content = {"key": public_of("mechanic"), "why": "lost", "reason": "stick lost"}
    farm.add("revocation", content, ("pilot", "revoked"))
    united(farm, other)

    assert (LATE, CORRECTED) == marks_of(farm.desk, late)
    assert (CORRECTION,) == marks_of(farm.desk, right)
    assert NOT_COUNTED in marks_of(farm.desk, farm.book.find(named(stolen)))
    assert () == marks_of(farm.desk, remarks[0])
    marked = find_entries(farm.desk, Asked(marked=True), 9).entries
    assert {late, right} < set(marked)
    assert remarks[0] not in marked


def test_kinds_are_counted(farm, remarks):
    assert 3 == kinds_in(farm.desk)["remark"]
