"""Events, what is out of service, and the way back."""

from __future__ import annotations

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import ENDS
from flightlog.operations.events import EVENTS
from flightlog.operations.plan import Plan
from flightlog.operations.service import (
    event_draft,
    note_event,
    return_draft,
    service_conditions,
    stop_draft,
    stops,
)
from tests.logbook.made import public_of
from tests.operations.lists import About, walk

PLAN = Plan("pannier", "pack-a")
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


@pytest.mark.parametrize("word", GROUNDING)
def test_an_event_that_grounds_needs_nobodys_signature(farm, word):
    note_event(farm.desk, word, aircraft="pannier")

    assert farm.book.standing.open_restrictions("aircraft:pannier")
    assert not holds(farm)


def test_other_events_reopen_checks_and_ground_nothing(farm):
    for kind in EVENTS.values():
        if not kind.grounds and kind.word != "flight":
            note_event(farm.desk, kind.word, aircraft="pannier")

    assert holds(farm)


def test_after_a_hard_landing_the_list_comes_before_the_return(farm):
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")
    with pytest.raises(RefusedError, match="after-hard-landing is not done"):
        return_draft(farm.desk, event, "looked fine", PILOT, MECHANIC, "safety")
    walk(farm, "after-hard-landing", About("pannier"), photos=photo(farm))
    with pytest.raises(RefusedError, match="two persons"):
        return_draft(farm.desk, event, "list done", PILOT, PILOT, "")
    farm.sign(
        return_draft(farm.desk, event, "list done", PILOT, MECHANIC, "safety"),
        "pilot",
        "mechanic",
    )

    assert holds(farm)
    assert not stops(farm.desk, "aircraft", "pannier")


def test_a_list_that_was_done_before_the_event_does_not_do(farm):
    walk(farm, "after-hard-landing", About("pannier"), photos=photo(farm))
    event = note_event(farm.desk, "hard-landing", aircraft="pannier")

    with pytest.raises(RefusedError, match="is not done after it"):
        return_draft(farm.desk, event, "list done", PILOT, MECHANIC, "safety")


@pytest.mark.parametrize(
    "signers",
    [
        [("pilot", "released", "inspector")],
        [("pilot", "released"), ("mechanic", "released", "safety")],
    ],
)
def test_what_ends_a_restriction_without_an_inspector_and_another_leaves_it_here(farm, signers):
    stopped = farm.sign(stop_draft("pack", "pack-a", "swollen"))
    if len(signers) < 2:
        farm.add("remark", {"text": "fine again"}, *[(s[0], "stated") for s in signers],
                 relations=[(ENDS, stopped)])  # fmt: skip
    else:
        farm.add("return-to-service", {"text": "x"}, *signers, relations=[(ENDS, stopped)])

    assert not farm.book.standing.open_restrictions("pack:pack-a")
    assert not holds(farm)


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
