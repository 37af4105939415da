from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.plan import Plan
from flightlog.operations.upkeep import due, due_of, upkeep_conditions
from tests.operations.flown import (
    DOER,
    LOOKER,
    apart,
    did,
    flown,
    moved,
    second_aircraft,
    task,
    united,
    with_tasks,
)
from tests.operations.made import MORNING, SAMPLES

PLAN = Plan("pannier", "pack-a")


def state(farm, name, thing="aircraft", id_="pannier"):
    return next(d for d in due_of(farm.desk, thing, id_) if d.name == name)


# --- intervals


def test_a_task_by_hours_is_soon_in_its_last_tenth_and_due_when_nothing_is_left(farm):
    with_tasks(farm, task("linkages", every_hours=5.0))
    words = []
    for hours in (4.4, 0.1, 0.4, 0.1, 0.1):  # 4.4, 4.5, 4.9, 5.0, 5.1 in all
        flown(farm, hours * 3600)
        words.append(state(farm, "linkages").state)

    assert ["later", "soon", "soon", "due", "overdue"] == words
    assert state(farm, "linkages").stops


def test_a_task_by_landings_is_due_with_the_last_of_them(farm):
    with_tasks(farm, task("gear", every_landings=20))
    flown(farm, landings=19)
    before = state(farm, "gear")
    flown(farm, landings=1)

    assert ("soon", "1 landings left") == (before.state, before.left[0].text)
    assert "due" == state(farm, "gear").state


def test_a_task_by_days_is_soon_in_its_last_week(farm):
    with_tasks(farm, task("radio", every_days=30.0))
    did(farm, "radio")
    words = []
    for days in (20, 3.5, 7):
        farm.clock.later(days=days)
        farm.desk.refresh()
        words.append(state(farm, "radio").state)

    assert ["later", "soon", "overdue"] == words


def test_the_interval_that_ends_first_counts(farm):
    with_tasks(farm, task("all", every_hours=5.0, every_landings=100, every_days=365.0))
    did(farm, "all")
    flown(farm, 3600 * 4.75)

    found = state(farm, "all")

    assert ("soon", pytest.approx(0.05)) == (found.state, found.share)
    assert ["h", "landings", "days"] == [one.unit for one in found.left]


def test_cycles_of_a_pack_are_its_flights(farm):
    did(farm, "capacity", pack="pack-a")
    for _ in range(3):
        flown(farm, pack="pack-a")

    (cycles, _days) = state(farm, "capacity", "pack", "pack-a").left

    assert (40, 37) == (cycles.bound, cycles.rest)


# --- when it was last done


def test_what_was_never_done_counts_from_its_first_use_and_says_so(farm):
    """The sample aircraft: 191 days in use and 3.2 h before the record."""
    found = state(farm, "motor-mount")

    assert ("later", pytest.approx(6.8)) == (found.state, found.left[0].rest)
    assert "never done in this record" in found.says
    assert "overdue" == state(farm, "linkages").state


def test_doing_it_starts_it_anew(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    flown(farm, 3600)
    done = did(farm, "mount")
    flown(farm, 360)

    found = state(farm, "mount")

    assert ("later", done) == (found.state, found.last)
    assert 0.9 == pytest.approx(found.left[0].rest)


def test_a_flight_that_was_imported_after_it_was_done_counts_as_flown_since(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    early = farm.clock.later(minutes=5)
    farm.clock.later(hours=3)
    did(farm, "mount")
    flown(farm, 3600, start=early)

    assert "due" == state(farm, "mount").state


def test_work_written_down_late_counts_from_when_it_was_done(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    done = farm.clock.later(minutes=30)
    flown(farm, 3600)
    did(farm, "mount", occurred=done)

    assert "due" == state(farm, "mount").state


def test_work_written_down_late_is_done_all_the_same(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    flown(farm, 3600)
    done = farm.clock.later(minutes=30)
    did(farm, "mount", occurred=done)

    assert "later" == state(farm, "mount").state


def test_a_flight_at_another_laptop_counts_as_flown_since(farm, tmp_path):
    with_tasks(farm, task("mount", every_hours=1.0))
    other = apart(farm, tmp_path / "other")
    flown(other, 3600)
    farm.clock.later(hours=5)
    did(farm, "mount")
    united(farm, other)

    assert "due" == state(farm, "mount").state


def test_old_work_written_down_late_takes_nothing_from_newer_work(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    old = farm.clock.later(minutes=30)
    flown(farm, 3600)
    newer = did(farm, "mount")
    did(farm, "mount", occurred=old)

    assert ("later", newer) == (state(farm, "mount").state, state(farm, "mount").last)


def test_work_that_claims_a_time_to_come_is_not_believed(farm):
    with_tasks(farm, task("radio", every_days=30.0), since="2026-09-05")
    farm.clock.later(days=400)
    did(farm, "radio")
    farm.clock.now = MORNING + timedelta(hours=1)
    farm.desk.refresh()

    found = state(farm, "radio")

    assert "overdue" == found.state
    assert "claims a time that is still to come" in found.says


def test_work_signed_without_a_role_for_it_counts_for_nothing(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    flown(farm, 3600)
    did(farm, "mount", ("pilot", "performed", "pilot"))

    assert "due" == state(farm, "mount").state


def test_another_thing_or_another_task_is_not_meant(farm):
    with_tasks(farm, task("mount", every_hours=1.0), task("gear", every_hours=1.0))
    second_aircraft(farm)
    flown(farm, 3600)
    did(farm, "mount", aircraft="drover")
    did(farm, "gear")

    assert ("due", "later") == (state(farm, "mount").state, state(farm, "gear").state)


def test_corrected_work_is_not_done(farm):
    with_tasks(farm, task("mount", every_hours=1.0))
    flown(farm, 3600)
    done = did(farm, "mount")
    farm.add(
        "correction",
        {"text": "It was the other motor"},
        ("mechanic", "stated"),
        relations=[("corrects", done)],
    )

    assert "due" == state(farm, "mount").state


# --- a second person


def test_an_independent_task_is_not_done_by_one_person(farm):
    with_tasks(farm, task("linkages", every_hours=1.0, independent=True))
    flown(farm, 3600)
    done = did(farm, "linkages")

    found = state(farm, "linkages")

    assert ("due", done) == (found.state, found.waits_for)
    assert "team inspect" in found.clear


def test_a_second_signature_on_the_work_does(farm):
    with_tasks(farm, task("linkages", every_hours=1.0, independent=True))
    flown(farm, 3600)
    did(farm, "linkages", DOER, LOOKER)

    assert "later" == state(farm, "linkages").state


def test_a_second_signature_in_another_role_does_not(farm):
    with_tasks(farm, task("linkages", every_hours=1.0, independent=True))
    flown(farm, 3600)
    did(farm, "linkages", DOER, ("observer", "inspected", "safety"))

    assert "due" == state(farm, "linkages").state


def looked(farm, work, result="pass", who="observer"):
    content = {"result": result, "text": "seen afresh"}
    signer = (who, "inspected", "inspector")
    return farm.add("inspection", content, signer, relations=[("inspects", work)])


def test_an_inspection_in_its_own_turn_does(farm):
    with_tasks(farm, task("linkages", every_hours=1.0, independent=True))
    flown(farm, 3600)
    looked(farm, did(farm, "linkages"))

    assert "later" == state(farm, "linkages").state


def test_an_inspection_that_found_it_wrong_undoes_it_until_another_one_finds_it_right(farm):
    with_tasks(farm, task("linkages", every_hours=1.0, independent=True))
    flown(farm, 3600)
    done = did(farm, "linkages", DOER, LOOKER)
    looked(farm, done, "fail", who="pilot")
    wrong = state(farm, "linkages").state
    looked(farm, done, who="pilot")

    assert ("due", "later") == (wrong, state(farm, "linkages").state)


# --- check lists


LIST = """
schema = "flightlog.checklist/1"
id = "works"
version = "1"
title = "Works"
[[item]]
id = "radio"
section = "radio"
text = "Range at full distance"
role = "pilot"
second = "inspector"
[[item]]
id = "quick"
section = "radio"
text = "Aerials"
role = "pilot"
"""


def checked(farm, item, *, second=True, result="pass"):
    version = farm.desk.version("checklist", "works")
    begun = farm.add(
        "list-begun",
        {"list": "works", "checklist": version.sha256, "aircraft": "pannier", "source": "screen"},
    )
    content = {"item": item, "result": result}
    first = farm.add("check", content, ("pilot", "performed", "pilot"), cites=[begun])
    if second:
        farm.add("check", content, LOOKER, cites=[begun], relations=[("inspects", first)])
    return first


@pytest.mark.parametrize(
    ("item", "second", "result", "word"),
    [
        ("radio", True, "pass", "later"),
        ("radio", False, "pass", "due"),
        ("radio", True, "fail", "due"),
        ("quick", False, "pass", "due"),  # no second person in the list, and the task asks for one
    ],
)
def test_the_check_that_a_task_names_does_it(farm, item, second, result, word):
    keys = {"list": '"works"', "item": f'"{item}"', "independent": True}
    with_tasks(farm, task("radio", every_hours=1.0, **keys))
    farm.enter("checklist", "works", LIST.encode())
    flown(farm, 3600)
    checked(farm, item, second=second, result=result)

    assert word == state(farm, "radio").state


def test_a_check_that_was_corrected_or_found_wrong_afterwards_did_nothing(farm):
    with_tasks(
        farm,
        task("radio", every_hours=1.0, list='"works"', item='"radio"'),
        task("quick", every_hours=1.0, list='"works"', item='"quick"'),
    )
    farm.enter("checklist", "works", LIST.encode())
    flown(farm, 3600)
    first, quick = checked(farm, "radio"), checked(farm, "quick", second=False)
    before = [state(farm, name).state for name in ("radio", "quick")]
    farm.add(
        "check",
        {"item": "radio", "result": "fail"},
        ("mechanic", "inspected", "inspector"),
        cites=farm.desk.ledger.named(first),
        relations=[("inspects", first)],
    )
    farm.add(
        "correction",
        {"text": "Those were the other aerials"},
        ("pilot", "stated"),
        relations=[("corrects", quick)],
    )

    assert ["later", "later"] == before
    assert ["due", "due"] == [state(farm, name).state for name in ("radio", "quick")]


def test_a_task_may_be_signed_in_the_role_of_its_check(farm):
    with_tasks(farm, task("radio", every_hours=1.0, list='"works"', item='"radio"'))
    farm.enter("checklist", "works", LIST.encode())
    flown(farm, 3600)
    did(farm, "radio", ("pilot", "performed", "pilot"))

    assert "later" == state(farm, "radio").state


# --- events


def happened(farm, event, **about):
    return farm.add("event", {"event": event, **about})


def test_an_event_makes_it_due_at_once_until_it_is_done_again(farm):
    with_tasks(farm, task("ring-down", every_hours=10.0, events='["hard-landing"]'))
    did(farm, "ring-down")
    happened(farm, "rain", aircraft="pannier")
    calm = state(farm, "ring-down").state
    happened(farm, "hard-landing", aircraft="pannier")
    found = state(farm, "ring-down")
    did(farm, "ring-down")

    assert ("later", "due") == (calm, found.state)
    assert "after a hard landing" in found.says
    assert "later" == state(farm, "ring-down").state


def test_work_that_was_done_before_an_event_and_written_down_after_it_does_not_clear_it(farm):
    with_tasks(farm, task("ring-down", every_hours=10.0, events='["hard-landing"]'))
    done = farm.clock.later(minutes=5)
    happened(farm, "hard-landing", aircraft="pannier")
    did(farm, "ring-down", occurred=done)

    assert "due" == state(farm, "ring-down").state


def test_an_event_of_another_aircraft_is_not_meant(farm):
    with_tasks(farm, task("ring-down", every_hours=10.0, events='["hard-landing"]'))
    second_aircraft(farm)
    happened(farm, "hard-landing", aircraft="drover")

    assert "later" == state(farm, "ring-down").state


PROPELLER = (SAMPLES / "propeller_1.toml").read_text(encoding="utf-8")


def test_what_happens_to_an_aircraft_happens_to_what_is_fitted_in_it(farm):
    second_aircraft(farm)
    strike = task("balance", events='["propeller-strike"]')
    farm.enter("component", "propeller-1", (PROPELLER + strike).encode())
    happened(farm, "propeller-strike", aircraft="pannier")
    moved(farm, "fitted")
    before = state(farm, "balance", "component", "propeller-1").state
    happened(farm, "propeller-strike", aircraft="drover")
    apart = state(farm, "balance", "component", "propeller-1").state
    happened(farm, "propeller-strike", aircraft="pannier")

    assert ("later", "later") == (before, apart)
    assert "due" == state(farm, "balance", "component", "propeller-1").state


def test_being_fitted_is_a_change_of_the_component_and_of_the_aircraft(farm):
    change = task("balance", events='["component-change"]')
    farm.enter("component", "propeller-1", (PROPELLER + change).encode())
    with_tasks(farm, change)
    moved(farm, "fitted")

    assert "due" == state(farm, "balance").state
    assert "due" == state(farm, "balance", "component", "propeller-1").state


# --- life, and what is not known


def test_the_life_of_a_component_ends_with_the_hours_of_its_aircraft(farm):
    moved(farm, "fitted")
    flown(farm, 3600 * 8.5)  # of 10 h it had 1.4
    soon = state(farm, "life", "component", "propeller-1")
    flown(farm, 360)

    assert ("soon", "0.1 h left") == (soon.state, soon.left[0].text)
    assert "due" == state(farm, "life", "component", "propeller-1").state


def test_a_flight_without_a_time_stops_what_counts_by_hours(farm):
    with_tasks(farm, task("mount", every_hours=10.0), task("gear", every_landings=20))
    flown(farm, None)

    found = state(farm, "mount")

    assert ("due", "later") == (found.state, state(farm, "gear").state)
    assert "no flight time is known of" in found.says
    assert "flightlog sortie enter" in found.clear
    assert "team done" not in found.clear


def test_without_a_first_day_of_use_days_can_not_be_counted(farm):
    with_tasks(farm, task("radio", every_days=30.0), since="")

    found = state(farm, "radio")

    assert ("due", "days: not known") == (found.state, found.left[0].text)


# --- for screens and for a release


def test_what_is_due_comes_first_and_a_fitted_component_is_with_its_aircraft(farm):
    with_tasks(farm, task("mount", every_hours=10.0), task("gear", every_landings=1))
    moved(farm, "fitted")
    flown(farm, 3600 * 8.5, landings=2)
    did(farm, "mount")

    found = [(d.id, d.name, d.state) for d in due(farm.desk, "pannier")]

    assert [
        ("pannier", "gear", "overdue"),
        ("propeller-1", "life", "soon"),
        ("pannier", "mount", "later"),
    ] == found


def test_all_that_has_a_file_is_listed_when_nothing_is_named(farm):
    assert {"pannier", "pack-a", "pack-b", "propeller-1"} == {d.id for d in due(farm.desk)}


def conditions(farm):
    return {c.name: c for c in upkeep_conditions(farm.desk, PLAN)}


def everything_done(farm):
    """Do all tasks of aircraft and pack, some of which are overdue when the record begins."""
    for name in ("linkages", "motor-mount", "ring-down", "reweigh", "strip-down"):
        did(farm, name, DOER, LOOKER)
    return did(farm, "capacity", pack="pack-a")


def test_a_release_is_held_by_each_inspection_that_is_overdue(farm):
    held = conditions(farm)["inspections"]

    assert not held.holds
    assert "aircraft pannier: Linkages, servo gears and their screws overdue" in held.says
    assert "pack pack-a: Capacity and resistance on the bench overdue" in held.says
    assert "flightlog team done linkages --aircraft pannier --by WHO" in held.clear


def test_it_holds_when_all_is_done_and_rests_on_that(farm):
    last = everything_done(farm)

    found = conditions(farm)

    assert found["inspections"].holds, found["inspections"].says
    assert found["life"].holds
    assert last in found["inspections"].rests_on


def test_a_life_that_is_over_holds_it(farm):
    everything_done(farm)
    moved(farm, "fitted")
    flown(farm, 3600 * 8.7)

    held = conditions(farm)["life"]

    assert not held.holds
    assert "component propeller-1: life overdue (0.1 h over)" in held.says
    assert "team remove propeller-1" in held.clear


def test_a_component_that_is_not_fitted_holds_nothing(farm):
    everything_done(farm)
    moved(farm, "fitted")
    flown(farm, 3600 * 4.7)
    moved(farm, "removed")

    assert conditions(farm)["life"].holds


def test_a_fitted_component_without_a_file_holds_it(farm):
    everything_done(farm)
    moved(farm, "fitted", component="propeller-9")

    found = conditions(farm)

    assert "component propeller-9: file due (none is in force)" in found["inspections"].says
    assert not found["life"].holds
    assert "flightlog team enter FILE" in found["life"].clear


def test_an_aircraft_without_a_file_is_a_condition_and_no_error(farm):
    found = upkeep_conditions(farm.desk, Plan("drover", "pack-a"))

    assert ["inspections", "life"] == [c.name for c in found]
    assert not any(c.holds for c in found)
    assert all(c.clear for c in found)
