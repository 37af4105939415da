"""What was measured on the ground is told of what it was measured, newest first."""

from __future__ import annotations

from flightlog.operations.ground_record import (
    CHARGED,
    DONE,
    SET,
    SHOWN,
    WEIGHED,
    measured_on_ground,
)
from tests.logbook.made import public_of
from tests.operations.flown import did, second_aircraft
from tests.operations.released import baseline, charged, weighed


def test_each_kind_is_told_with_serial_and_persons(farm):
    weighing, charge, setting = weighed(farm), charged(farm), baseline(farm)

    found = {one.what: one for one in measured_on_ground(farm.desk)}
    assert (weighing, charge, setting) == tuple(
        found[word].entry for word in (WEIGHED, CHARGED, SET)
    )
    assert ("aircraft", "pannier", "PN-01") == (
        found[WEIGHED].thing, found[WEIGHED].id, found[WEIGHED].serial,
    )  # fmt: skip
    assert ("pack", "pack-a", "PK-01") == (
        found[CHARGED].thing, found[CHARGED].id, found[CHARGED].serial,
    )  # fmt: skip
    assert (public_of("pilot"),) == found[CHARGED].persons
    # The three scales of the made weighing: 0.65 + 2.175 + 2.175 kg.
    assert found[WEIGHED].says.startswith("5.000 kg (± ")
    assert "2 parameters" in found[SET].says


def test_the_newest_comes_first_and_kinds_can_be_asked_for(farm):
    first, second = charged(farm), charged(farm)
    weighed(farm)

    assert [second, first] == [one.entry for one in measured_on_ground(farm.desk, [CHARGED])]


def test_only_clauses_that_were_measured_are_ground_tests(farm):
    said = {"rules": "club-trial-2027", "rules_file": "ab" * 32, "clause": "span",
            "aircraft": "pannier", "state": "not-shown", "text": "2.62 m, tape T-1"}  # fmt: skip
    entry = farm.add("clause-evidence", said | {"how": "measured"}, ("mechanic", "stated"))
    farm.add("clause-evidence", said | {"how": "tested"}, ("mechanic", "stated"))

    (one,) = measured_on_ground(farm.desk, [SHOWN])
    assert entry == one.entry
    assert "club-trial-2027, span: NOT shown; 2.62 m, tape T-1" == one.says


def test_work_without_a_file_in_force_has_no_serial(farm):
    did(farm, "linkages", aircraft="stranger")
    second_aircraft(farm)

    (one,) = measured_on_ground(farm.desk, [DONE])
    assert ("stranger", "") == (one.id, one.serial)


def test_what_was_corrected_is_not_told(farm):
    wrong = charged(farm)
    farm.add("correction", {"text": "another pack"}, ("pilot", "stated"),
             relations=[("corrects", wrong)])  # fmt: skip

    assert () == measured_on_ground(farm.desk, [CHARGED])
