"""After something went wrong: what is out of service, and what belongs to the incident."""

from __future__ import annotations

import pytest

from flightlog.errors import UsageError
from flightlog.operations.incident import (
    facts_in_parts,
    incident_of,
    incidents,
    opinion_draft,
    opinions_of,
    parts_of,
    restrict,
    restricted_by,
    sources_of,
    statement_draft,
    unknown,
)
from flightlog.operations.plan import Plan
from flightlog.operations.service import return_draft, service_conditions, stops
from tests.logbook.made import public_of
from tests.operations.test_incident_record import released

PLAN = Plan("pannier", "pack-a")


def in_service(farm, plan=PLAN):
    return service_conditions(farm.desk, plan)[0].holds


def test_aircraft_packs_and_named_components_are_out_of_service_without_a_signature(farm):
    entry = restrict(
        farm.desk, "pannier", ["pack-a", "pack-b", "pack-a"], "fell", components=["propeller-1"]
    )
    subjects = ("aircraft:pannier", "pack:pack-a", "pack:pack-b", "component:propeller-1")

    assert not entry.body.signers
    for subject in subjects:
        assert 1 == len(farm.book.standing.open_restrictions(subject)), subject
    assert not in_service(farm)
    assert not in_service(farm, Plan("drover", "pack-b"))


def test_a_pack_that_nobody_names_and_that_was_released_is_out_of_service_too(farm):
    released(farm)
    entry = restrict(farm.desk, "pannier", [], "fell")
    assert ("aircraft:pannier", "pack:pack-a") == restricted_by(farm.desk, entry)
    assert not in_service(farm)
    assert "may have been in" in stops(farm.desk, "pack", "pack-a")[0].body.content["reason"]
    # Once is enough where it is named, and a release of yesterday says nothing.
    entry = restrict(farm.desk, "pannier", ["pack-a"], "fell")
    assert ("aircraft:pannier", "pack:pack-a") == restricted_by(farm.desk, entry)
    assert 2 == len(stops(farm.desk, "pack", "pack-a"))
    farm.clock.later(hours=4)
    farm.desk.refresh()
    assert ("aircraft:pannier",) == restricted_by(
        farm.desk, restrict(farm.desk, "pannier", [], "fell")
    )


def test_each_is_returned_by_itself_by_two_persons(farm):
    entry = restrict(farm.desk, "pannier", ["pack-a"], "fell")
    pilot, mechanic = public_of("pilot"), public_of("mechanic")
    draft = return_draft(farm.desk, entry, "looked at", pilot, mechanic, "safety")
    farm.sign(draft, "pilot", "mechanic")
    assert not stops(farm.desk, "aircraft", "pannier")
    assert not in_service(farm)
    (stopped,) = stops(farm.desk, "pack", "pack-a")
    draft = return_draft(farm.desk, stopped, "looked at", pilot, mechanic, "safety")
    farm.sign(draft, "pilot", "mechanic")

    assert in_service(farm)


def test_it_may_be_of_a_pack_alone_and_of_nothing_it_is_none(farm):
    restrict(farm.desk, "", ["pack-b"], "smoke on the bench")
    assert farm.book.standing.open_restrictions("pack:pack-b")
    assert in_service(farm)
    with pytest.raises(UsageError, match="of what"):
        restrict(farm.desk, "", [], "x")
    with pytest.raises(UsageError, match="not an id"):
        restrict(farm.desk, "the pannier", [], "x")


def test_an_id_that_the_record_does_not_know_is_restricted_and_told(farm):
    restrict(farm.desk, "panier", [], "fell")

    assert farm.book.standing.open_restrictions("aircraft:panier")
    (line,) = unknown(farm.desk, [("aircraft", "panier"), ("pack", "pack-a")])
    assert "'panier'" in line
    assert "pannier" in line.partition("'panier'")[2]


def test_no_text_is_too_long_or_too_short_for_it(farm):
    long = "it turned left and fell. " * 500
    entry = restrict(farm.desk, "pannier", [], long, place="far field " * 40)
    facts = "".join(p.body.content["facts"] for p in parts_of(farm.desk, entry))
    assert facts.startswith(long.rstrip())
    assert facts.endswith(f"Place: {'far field ' * 40}".rstrip())
    assert "not described yet" == restrict(farm.desk, "pannier", [], " ").body.content["facts"]
    assert ["a?b"] == facts_in_parts("a\udcffb")
    with pytest.raises(UsageError, match="several statements"):
        statement_draft(entry, long, public_of("pilot"))


def test_facts_and_opinions_stand_apart(farm):
    entry = restrict(farm.desk, "pannier", ["pack-a"], "fell")
    statement = farm.sign(statement_draft(entry, "it fell", public_of("pilot")), "pilot")
    by_part = farm.sign(opinion_draft(statement, "gust", public_of("observer")), "observer")
    opinion = farm.sign(opinion_draft(entry, "elevator", public_of("pilot")), "pilot")
    other = restrict(farm.desk, "pannier", [], "fell again")

    assert (entry, statement) == parts_of(farm.desk, entry)
    assert (by_part, opinion) == opinions_of(farm.desk, entry)
    assert (entry, other) == incidents(farm.desk)
    assert entry == incident_of(farm.desk, statement)
    assert () == sources_of(farm.desk, entry)
    # A statement is no second incident: it stops nothing that the first one did not.
    assert 2 == len(stops(farm.desk, "aircraft", "pannier"))
    with pytest.raises(UsageError, match="no incident"):
        incident_of(farm.desk, opinion)


def test_what_has_not_the_form_of_an_incident_is_none_and_restricts_all_the_same(farm, monkeypatch):
    monkeypatch.setattr(type(farm.book), "_ask_the_rules", lambda *_: None)
    strange = farm.add("incident", {"packs": 1}, effect=("restricts", "aircraft:pannier"))

    assert () == incidents(farm.desk)
    assert not in_service(farm)
    with pytest.raises(UsageError, match="no incident"):
        incident_of(farm.desk, strange)
