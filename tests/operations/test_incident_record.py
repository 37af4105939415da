"""What the record says around an incident: as it was then, and not as it is now."""

from __future__ import annotations

from datetime import timedelta

from flightlog.logbook.entry import INSPECTS, SPENDS, write_utc
from flightlog.operations.incident import opinion_draft, restrict
from flightlog.operations.incident_record import around
from tests.logbook.made import public_of
from tests.operations.faults import put_off, report
from tests.operations.flown import flown, moved, second_aircraft


def fell(farm):
    farm.clock.later(minutes=10)
    farm.desk.refresh()
    return restrict(farm.desk, "pannier", ["pack-a"], "fell")


def released(farm):
    """A release that rests on the weather and on a list with one item that two persons saw."""
    begun = {"list": "daily", "checklist": "a" * 64, "aircraft": "pannier", "source": "screen"}
    list_ = farm.add("list-begun", begun)
    passed = {"item": "structure", "result": "pass"}
    check = farm.add("check", passed, ("mechanic", "performed", "mechanic"), cites=[list_])
    look = farm.add(
        "check",
        passed,
        ("pilot", "inspected", "inspector"),
        cites=[list_],
        relations=[(INSPECTS, check)],
    )
    remark = farm.add("remark", {"text": "runway is dry"}, ("observer", "stated"))
    content = {
        "aircraft": "pannier",
        "configuration": "cargo-2",
        "aircraft_file": "a" * 64,
        "pack": "pack-a",
        "mass": {"value": "8.0", "unit": "kg"},
        "units": 4,
        "landings": 1,
        "until": write_utc(farm.clock.now + timedelta(hours=4)),
        "conditions": [{"condition": "weather", "says": "calm"}],
    }
    release = farm.add(
        "release",
        content,
        ("pilot", "accepted", "pilot"),
        ("mechanic", "released", "safety"),
        cites=[list_, remark],
        effect=("permits", "aircraft:pannier"),
    )
    return release, list_, check, look, remark


def test_a_release_that_was_open_is_there_with_everybody_who_signed_for_it(farm):
    release, list_, check, look, remark = released(farm)
    found = around(farm.desk, fell(farm))
    by = {line.entry: line.by for line in found.signed}

    assert release == found.release
    assert "was open, unspent" in found.release_says
    # The release first, what it rests on, then each check with the person who looked again.
    assert [release, remark, list_, check, look] == [line.entry for line in found.signed]
    assert "accepted as pilot: pilot" in by[release]
    assert "released as safety: mechanic" in by[release]
    assert "performed as mechanic: mechanic" in by[check]
    assert "inspected as inspector: pilot" in by[look]
    assert "structure, pass" == found.signed[-1].what


def test_a_release_that_was_spent_or_over_is_told_so(farm):
    release, *_ = released(farm)
    then = farm.clock.now
    farm.clock.later(hours=5)
    farm.desk.refresh()
    assert "had ended unspent" in around(farm.desk, fell(farm)).release_says
    farm.clock.now = then
    sortie = flown(farm, cites=[], relations=[(SPENDS, release)])
    said = around(farm.desk, fell(farm)).release_says

    assert "was spent by" in said
    assert sortie.body.content["start"] in said


def test_a_release_that_a_defect_had_voided_is_told_so(farm):
    released(farm)
    report(farm)

    assert "did not hold: restricted by" in around(farm.desk, fell(farm)).release_says


def test_without_a_release_the_lists_that_were_worked_through_are_there(farm):
    assert "no release of pannier" in around(farm.desk, fell(farm)).release_says
    begun = {"list": "daily", "checklist": "a" * 64, "aircraft": "pannier", "source": "screen"}
    other = farm.add("list-begun", {**begun, "aircraft": "drover"})
    first, last = farm.add("list-begun", begun), farm.add("list-begun", begun)
    farm.add(
        "check",
        {"item": "structure", "result": "fail", "reason": "a crack"},
        ("mechanic", "performed", "mechanic"),
        cites=[last],
    )
    lines = around(farm.desk, fell(farm)).signed

    assert ["structure, fail, a crack"] == [x.what for x in lines if x.entry.body.kind == "check"]
    assert last in [line.entry for line in lines]
    assert first not in [line.entry for line in lines]
    assert other not in [line.entry for line in lines]


def test_it_is_the_record_as_it_was_then(farm):
    moved(farm, "fitted")
    incident = fell(farm)
    before = around(farm.desk, incident)
    report(farm, severity="deferrable")
    moved(farm, "removed")
    farm.add("fitness", FITNESS, ("pilot", "released", "inspector"))
    opinion = farm.sign(opinion_draft(incident, "gust", public_of("pilot")), "pilot")
    after = around(farm.desk, incident)

    assert (before.changes, before.configuration) == (after.changes, after.configuration)
    assert () == after.open_then
    assert "component propeller-1" in dict(after.configuration)
    # Opinions come afterwards; that is what they are.
    assert (opinion,) == after.opinions


FITNESS = {
    "aircraft": "pannier",
    "configuration": "cargo-2",
    "aircraft_file": "a" * 64,
    "work": "x",
    "until": "2027-04-01T00:00:00Z",
}


def test_configuration_open_defects_and_last_changes_are_of_what_was_in_it(farm):
    second_aircraft(farm)
    moved(farm, "fitted")
    flown(farm, 1800)
    defect = report(farm, "payload", "deferrable")
    deferral = put_off(farm, defect)
    elsewhere = report(farm, aircraft="drover")
    pack = report(farm, "battery", "cosmetic", pack="pack-a")
    found = around(farm.desk, fell(farm))
    told = dict(found.configuration)

    assert "cargo-2" == told["configuration"]
    # 3.2 h stand in the file of the aircraft, 1.4 h in that of the propeller; both flew 0.5 h.
    assert "3.7 h, 15 landings, 1 flights" in told["aircraft pannier"]
    assert "1.9 h" in told["component propeller-1"]
    assert "none in the record" == told["baseline"]
    assert farm.desk.version("pack", "pack-a").sha256 in told["pack pack-a"]
    assert 2 == len(found.open_then)
    assert "deferred (deferrable), 0 of 2 flights flown: not in rain" in found.open_then[0]
    changes = [line.entry for line in found.changes]
    assert [pack, deferral, defect] == changes[:3]
    assert elsewhere not in changes
    assert not [e for e in changes if e.body.content.get("id") in ("pack-b", "drover", "daily")]
    assert [e for e in changes if e.body.content.get("id") == "pannier"]


def test_an_aircraft_and_a_pack_of_which_there_is_no_file_are_told_so(farm):
    farm.desk.refresh()
    found = around(farm.desk, restrict(farm.desk, "drover", ["pack-z"], "fell"))
    told = dict(found.configuration)

    assert "no file of it was in the record" == told["aircraft drover"]
    assert told["pack pack-z"].startswith("no file of it")
    assert () == around(farm.desk, restrict(farm.desk, "", ["pack-a"], "x")).signed
