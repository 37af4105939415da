"""Events, what is out of service, and the way back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CORRECTS, ENDS
from flightlog.operations.check_drafts import Answer, for_person
from flightlog.operations.checks import list_state
from flightlog.operations.defects import defects
from flightlog.operations.events import EVENTS
from flightlog.operations.plan import Plan
from flightlog.operations.service import (
    all_stops,
    event_draft,
    ignored_returns,
    note_event,
    return_draft,
    service_conditions,
    stop_draft,
    stops,
    to_clear,
)
from tests.logbook.made import public_of
from tests.operations.faults import report
from tests.operations.lists import About, judge, passing, walk
from tests.operations.made import ROOT

PLAN = Plan("pannier", "pack-a")
LIST = ("after-hard-landing", About("pannier"))
PILOT, MECHANIC = public_of("pilot"), public_of("mechanic")
GROUNDING = [kind.word for kind in EVENTS.values() if kind.grounds]


def holds(farm):
    (condition,) = service_conditions(farm.desk, PLAN)
    return condition.holds


def photo(farm):
    from tests.operations.test_photos import jpeg

    path = farm.folder.path / "gear.jpg"
    path.write_bytes(jpeg())
    from flightlog.operations.photos import attach_photo

    return [attach_photo(farm.book, path)]


def test_an_event_that_grounds_needs_nobodys_signature(farm):
    for count, word in enumerate(GROUNDING, 1):
        entry = note_event(farm.desk, word, aircraft="pannier")

        assert entry in farm.book.standing.open_restrictions("aircraft:pannier")
        assert entry in stops(farm.desk, "aircraft", "pannier")
        assert count == len(stops(farm.desk, "aircraft", "pannier"))
    assert not holds(farm)


def test_an_event_that_grounds_stops_all_that_it_names_whoever_wrote_it(farm):
    """One entry restricts one thing; a program of somebody may let it restrict nothing."""
    note_event(farm.desk, "over-current", aircraft="pannier", pack="pack-a")
    assert 1 == len(stops(farm.desk, "pack", "pack-a"))
    farm.add("event", {"event": "contact", "aircraft": "pannier"})
    farm.add("out-of-service", {"pack": "pack-b", "reason": "swollen"})
    farm.add("incident", {"facts": "x", "packs": ["pack-b"], "aircraft": "pannier"})

    assert 3 == len(stops(farm.desk, "aircraft", "pannier"))
    assert 2 == len(stops(farm.desk, "pack", "pack-b"))


def test_other_events_reopen_checks_and_ground_nothing(farm):
    for kind in EVENTS.values():
        if not kind.grounds and kind.word != "flight":
            note_event(farm.desk, kind.word, aircraft="pannier")

    assert holds(farm)


def test_after_a_hard_landing_the_list_comes_before_the_return(farm):
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")
    with pytest.raises(RefusedError, match="after-hard-landing is not done"):
        return_draft(farm.desk, event, "looked fine", PILOT, MECHANIC, "safety")
    walk(farm, *LIST, photos=photo(farm))
    with pytest.raises(RefusedError, match="two persons"):
        return_draft(farm.desk, event, "list done", PILOT, PILOT, "")
    farm.sign(
        return_draft(farm.desk, event, "list done", PILOT, MECHANIC, "safety"),
        "pilot",
        "mechanic",
    )

    assert holds(farm)
    assert not stops(farm.desk, "aircraft", "pannier")
    # What reopens or changes the list later does not bring the old event back; a new one stops.
    text = (ROOT / "checklists" / "after-hard-landing.toml").read_text(encoding="utf-8")
    extra = text.replace('version = "1"', 'version = "2"') + (
        '\n[[item]]\nid = "tail"\nsection = "structure"\ntext = "Tail"\nrole = "mechanic"\n'
    )
    farm.enter("checklist", "after-hard-landing", extra.encode())
    assert holds(farm)
    note_event(farm.desk, "hard-landing", aircraft="pannier")
    assert 1 == len(stops(farm.desk, "aircraft", "pannier"))


def test_a_record_without_the_list_says_how_to_take_it_over(farm, monkeypatch):
    note_event(farm.desk, "hard-landing", aircraft="pannier")
    (known,) = service_conditions(farm.desk, PLAN)
    newer = replace(EVENTS["hard-landing"], list="after-a-landing-of-tomorrow")
    monkeypatch.setitem(EVENTS, "hard-landing", newer)
    (unknown,) = service_conditions(farm.desk, PLAN)

    assert known.clear.startswith("Work through the list after-hard-landing")
    assert "copy checklists/after-a-landing-of-tomorrow.toml of the program" in unknown.clear
    assert "flightlog team enter" in unknown.clear
    place = farm.folder.path / "checklists" / "after-a-landing-of-tomorrow.toml"
    place.write_text("put there by 'team new'", encoding="utf-8")
    farm.desk.refresh()
    (lies_there,) = service_conditions(farm.desk, PLAN)
    assert "lies in the team folder and is not entered yet" in lies_there.clear
    assert "copy" not in lies_there.clear


def test_a_list_that_such_an_event_does_not_reopen_says_what_to_do(farm):
    text = (ROOT / "checklists" / "after-hard-landing.toml").read_text(encoding="utf-8")
    older = text.replace(' "structure-changed",', "").replace('version = "1"', 'version = "0"')
    assert "structure-changed" not in older
    farm.enter("checklist", "after-hard-landing", older.encode())
    stopped = note_event(farm.desk, "structure-changed", aircraft="pannier")
    assert "not done anew after structure-changed: add the word" in to_clear(farm.desk, stopped)
    assert "anew" not in to_clear(farm.desk, note_event(farm.desk, "contact", aircraft="pannier"))


def test_a_return_without_the_list_returns_nothing_though_two_persons_signed(farm):
    """Somebody's own program asks for no list."""
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")
    signers = [("pilot", "released", "inspector"), ("mechanic", "released", "safety")]
    farm.add("return-to-service", {"text": "x"}, *signers, relations=[(ENDS, event)])

    assert not farm.book.standing.open_restrictions("aircraft:pannier")
    assert (event,) == stops(farm.desk, "aircraft", "pannier")
    (condition,) = service_conditions(farm.desk, PLAN)
    assert "was not done before it was returned: pack" in condition.says
    assert "after-hard-landing" in condition.clear
    # Nor does the list bring it back afterwards: the persons who return it have to have seen it.
    walk(farm, *LIST, photos=photo(farm))
    assert (event,) == stops(farm.desk, "aircraft", "pannier")


def returned_anyhow(farm, event):
    """Somebody's own program asks for no list."""
    signers = [("pilot", "released", "inspector"), ("mechanic", "released", "safety")]
    farm.add("return-to-service", {"text": "x"}, *signers, relations=[(ENDS, event)])


def test_a_list_with_an_item_that_a_second_person_has_not_seen_is_not_done(farm):
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")
    turns = ("pilot", "mechanic")  # the pilot has gone when there is something to look at
    begun = walk(farm, *LIST, photos=photo(farm), turns=turns)
    with pytest.raises(RefusedError, match="gear waits for a second person"):
        return_draft(farm.desk, event, "x", PILOT, MECHANIC, "safety")
    returned_anyhow(farm, event)
    assert "before it was returned: gear" in ignored_returns(farm.desk, event)[0]

    # To look afterwards is too late: the persons who returned it did not know.
    for item in for_person(farm.desk, list_state(farm.desk, *LIST), PILOT):
        judge(farm, begun, item.id, "pilot", passing(item))
    assert list_state(farm.desk, *LIST).complete
    assert (event,) == stops(farm.desk, "aircraft", "pannier")


@pytest.mark.parametrize("when", ["before", "half before", "half after"])
def test_a_list_counts_between_the_event_and_the_return_and_nowhere_else(farm, when):
    if when == "before":
        walk(farm, *LIST, photos=photo(farm))
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")
    begun = None
    if when != "before":
        begun = walk(farm, *LIST, skip=("photo",))
    if when == "half before":
        returned_anyhow(farm, event)
    if begun is not None:
        judge(farm, begun, "photo", "mechanic", Answer("pass", photos=photo(farm)))
        assert list_state(farm.desk, *LIST).complete
    if when == "half after":
        returned_anyhow(farm, event)
        assert () == stops(farm.desk, "aircraft", "pannier")
    else:
        if when == "before":
            returned_anyhow(farm, event)
        assert (event,) == stops(farm.desk, "aircraft", "pannier")


def test_a_list_that_was_done_before_the_event_does_not_do(farm):
    walk(farm, *LIST, photos=photo(farm))
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")

    with pytest.raises(RefusedError, match="is not done after it"):
        return_draft(farm.desk, event, "list done", PILOT, MECHANIC, "safety")


def test_what_ends_a_restriction_without_an_inspector_and_another_leaves_it_here(farm):
    two = [("pilot", "released", "inspector"), ("mechanic", "released", "safety")]
    for kind, signers, why in (
        ("remark", two, "a remark returns nothing"),
        ("return-to-service", [("pilot", "released"), two[1]], "not signed by an inspector"),
    ):
        stopped = farm.sign(stop_draft("pack", "pack-a", "swollen"))
        farm.add(kind, {"text": "fine"}, *signers, relations=[(ENDS, stopped)])

        assert not farm.book.standing.open_restrictions("pack:pack-a")
        assert stopped in stops(farm.desk, "pack", "pack-a")
        (said,) = ignored_returns(farm.desk, stopped)
        assert why in said
    assert not holds(farm)


def test_a_return_is_of_what_it_names_and_holds_until_it_is_struck_out(farm):
    first = farm.sign(stop_draft("pack", "pack-a", "swollen"))
    farm.clock.later(minutes=1)
    second = farm.sign(stop_draft("pack", "pack-a", "dropped"))
    draft = return_draft(farm.desk, first, "looked at", MECHANIC, PILOT, "pilot")
    returned = farm.sign(draft, "mechanic", "pilot")
    assert (second,) == stops(farm.desk, "pack", "pack-a")
    assert (("pack:pack-a", (second,)),) == all_stops(farm.desk)
    correction = ("correction", {"text": "x"}, ("pilot", "stated"))
    farm.add(*correction, relations=[(CORRECTS, returned)])
    assert (first, second) == stops(farm.desk, "pack", "pack-a")


def test_what_stops_nothing_or_is_a_defect_is_not_returned(farm):
    with pytest.raises(UsageError, match="stops nothing"):
        return_draft(farm.desk, farm.add("remark", {"text": "x"}), "x", PILOT, MECHANIC, "")
    with pytest.raises(UsageError, match="is a defect"):
        return_draft(farm.desk, report(farm), "x", PILOT, MECHANIC, "")


def test_a_restriction_of_a_kind_that_is_not_known_here_stops(farm):
    """A newer program may have kinds of its own; what restricts, restricts."""
    farm.add("quarantine", {"why": "x"}, effect=("restricts", "pack:pack-a"))

    assert not holds(farm)
    assert "quarantine" in service_conditions(farm.desk, PLAN)[0].says


def test_a_fitted_component_out_of_service_holds_its_aircraft(farm):
    place = {"component": "propeller-1", "aircraft": "pannier", "position": "nose"}
    farm.sign(stop_draft("component", "propeller-1", "nicked"))
    assert holds(farm)
    farm.add("fitting", {**place, "done": "fitted"}, ("mechanic", "performed", "mechanic"))
    assert not holds(farm)


def test_an_unknown_event_is_answered_with_what_is_near(farm):
    with pytest.raises(UsageError, match="'battery-change'"):
        event_draft(farm.desk, "batery-change", aircraft="pannier")
    with pytest.raises(UsageError, match="of what"):
        event_draft(farm.desk, "rain")


def test_what_restricts_and_has_not_the_form_of_its_kind_stops_and_breaks_nothing(
    farm, monkeypatch
):
    """Only a program that is not this one writes so."""
    monkeypatch.setattr(type(farm.book), "_ask_the_rules", lambda *_: None)
    for kind, content in (
        ("defect", {"severity": 3}),
        ("event", {"event": ["hard-landing"], "aircraft": 7}),
        ("incident", {"facts": {}, "packs": "x"}),
        ("out-of-service", {}),
    ):
        farm.add(kind, content, effect=("restricts", "aircraft:pannier"))
    farm.add("incident", {"packs": 1})
    farm.add("out-of-service", {"pack": 5})

    assert 4 == len(stops(farm.desk, "aircraft", "pannier"))
    assert not holds(farm)
    assert () == defects(farm.desk)
    assert all(
        "flightlog service return" in to_clear(farm.desk, e)
        for _, es in all_stops(farm.desk)
        for e in es
    )
