"""Ways in which a list could seem done and is not."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.errors import TeamFileError, UsageError
from flightlog.logbook.entry import CITES, CORRECTS, INSPECTS, SPENDS
from flightlog.operations.check_drafts import Answer, begun_draft, check_draft, in_hand
from flightlog.operations.checklists import load_checklist
from flightlog.operations.checks import About, list_state
from flightlog.operations.list_conditions import list_conditions
from flightlog.operations.plan import Plan
from flightlog.operations.service import event_draft, note_event
from flightlog.operations.turn_around import flight_list
from tests.logbook.made import public_of
from tests.operations.flown import flown
from tests.operations.laptops import second_laptop, take_over
from tests.operations.lists import PANNIER, begin, judge, passing, walk
from tests.operations.released import PLAN, ready_place, released_farm, released_place

__all__ = ["ready_place", "released_farm", "released_place"]  # fixtures

OTHER = About("pannier", "pack-b")


def state(farm, item, list_id="pre-flight", about=PANNIER):
    return list_state(farm.desk, list_id, about).of(item).state


def condition(farm, name, plan=PLAN):
    farm.desk.refresh()
    return next(c for c in list_conditions(farm.desk, plan) if c.name == name)


def test_what_was_looked_at_with_one_pack_says_nothing_of_another(farm):
    walk(farm, "pre-flight", PANNIER)

    assert list_state(farm.desk, "pre-flight", PANNIER).complete
    assert "reopened" == state(farm, "battery-voltage", about=OTHER)
    assert "reopened" == state(farm, "battery-strap", about=OTHER)
    assert "passed" == state(farm, "structure-gear", about=OTHER)
    assert not condition(farm, "flight-list", Plan("pannier", "pack-b")).holds

    walk(farm, "pre-flight", OTHER)
    assert list_state(farm.desk, "pre-flight", OTHER).complete
    assert "reopened" == state(farm, "battery-strap")  # the first pack is not on board any more


def test_a_list_that_looks_at_the_pack_is_begun_for_one(farm):
    with pytest.raises(UsageError, match="pack on board"):
        begin(farm, "pre-flight", About("pannier"))


def test_rain_between_turn_around_and_release_is_not_forgotten(released_farm):
    farm = released_farm
    release = farm.desk.ledger.last("release")
    farm.clock.later(minutes=5)
    flown(farm, 300, relations=[(SPENDS, release)])
    farm.clock.later(minutes=20)
    farm.desk.refresh()
    walk(farm, "turn-around", PANNIER)
    assert condition(farm, "flight-list").holds

    note_event(farm.desk, "rain", aircraft="pannier")
    found = condition(farm, "flight-list")
    assert not found.holds
    assert "propulsion-controller (reopened: rain)" in found.says


def test_a_turn_around_covers_a_change_of_the_pack(released_farm):
    farm = released_farm
    release = farm.desk.ledger.last("release")
    farm.clock.later(minutes=5)
    flown(farm, 300, relations=[(SPENDS, release)])
    note_event(farm.desk, "battery-change", aircraft="pannier", pack="pack-b")
    farm.clock.later(minutes=20)
    farm.desk.refresh()
    walk(farm, "turn-around", OTHER)

    found = condition(farm, "flight-list", Plan("pannier", "pack-b"))
    assert found.holds, found.says
    assert not condition(farm, "flight-list").holds  # the pack of the flight before is off board


def test_what_was_done_on_paper_before_an_event_did_not_know_of_it(farm):
    begun = begin(farm, "pre-flight")
    done = farm.clock.now
    farm.clock.later(hours=1)
    farm.desk.append(event_draft(farm.desk, "rain", aircraft="pannier"))
    farm.clock.later(hours=1)
    answer = Answer("", value="100")
    draft = check_draft(
        farm.desk, begun, "site-length", answer, public_of("mechanic"),
        occurred=done, late_reason="laptop was flat",
    )  # fmt: skip
    farm.sign(draft, "mechanic")

    assert "reopened" == state(farm, "site-length")


def test_a_paper_pass_entered_late_does_not_cover_a_later_fail(farm):
    begun = begin(farm, "pre-flight")
    done = farm.clock.now
    farm.clock.later(minutes=30)
    judge(farm, begun, "structure-skins", "mechanic", Answer("fail", reason="a crack"))
    draft = check_draft(
        farm.desk, begun, "structure-skins", Answer("pass"), public_of("mechanic"),
        occurred=done, late_reason="laptop was flat",
    )  # fmt: skip
    farm.clock.later(minutes=30)
    farm.sign(draft, "mechanic")

    assert "failed" == state(farm, "structure-skins")


def test_a_second_person_passes_a_measurement_on_their_own_number(farm):
    begun = begin(farm, "pre-flight")
    first = judge(farm, begun, "controls-play", "mechanic", Answer("", value="0.4"))
    look = ("pilot", "inspected", "inspector")
    content = {"item": "controls-play", "result": "pass"}
    farm.add("check", content, look, cites=[begun], relations=[(INSPECTS, first)])
    assert "waits for a second person" == state(farm, "controls-play")

    content["value"] = {"value": "3", "unit": "deg"}
    farm.add("check", content, look, cites=[begun], relations=[(INSPECTS, first)])
    assert "failed" == state(farm, "controls-play")


def test_a_fail_counts_from_anybody_of_the_team(farm):
    begun = begin(farm, "pre-flight")
    judge(farm, begun, "structure-skins", "mechanic", Answer("pass"))
    content = {"item": "structure-skins", "result": "fail", "reason": "a crack"}
    farm.add("check", content, ("pilot", "performed"), cites=[begun])

    assert "failed" == state(farm, "structure-skins")


def test_striking_out_a_fail_does_not_bring_back_the_pass_before_it(farm):
    begun = begin(farm, "pre-flight")
    judge(farm, begun, "structure-skins", "mechanic", Answer("pass"))
    fail = judge(farm, begun, "structure-skins", "mechanic", Answer("fail", reason="a crack"))
    farm.add("remark", {"text": "slip"}, ("pilot", "said"), relations=[(CORRECTS, fail)])

    assert "open" == state(farm, "structure-skins")


def test_a_crack_needs_no_number(farm):
    begun = begin(farm, "pre-flight")
    judge(farm, begun, "propulsion-propeller", "mechanic", Answer("fail", reason="cracked hub"))
    judge(farm, begun, "battery-voltage", "pilot", Answer("fail", reason="no meter"))

    assert "failed" == state(farm, "propulsion-propeller")
    assert "failed" == state(farm, "battery-voltage")


def test_of_results_made_on_two_laptops_the_worse_one_holds_until_it_is_done_again(farm, tmp_path):
    begun = begin(farm, "pre-flight")
    other = second_laptop(farm, tmp_path / "tablet")
    judge(other, begun, "structure-skins", "mechanic", Answer("fail", reason="a crack"))
    judge(farm, begun, "structure-skins", "mechanic", Answer("pass"))
    assert "passed" == state(farm, "structure-skins")
    take_over(farm, other)
    other.close()

    assert "failed" == state(farm, "structure-skins")
    judge(farm, begun, "structure-skins", "mechanic", Answer("pass"))
    assert "passed" == state(farm, "structure-skins")


def test_an_event_entered_on_another_laptop_reopens_what_was_done_without_it(farm, tmp_path):
    other = second_laptop(farm, tmp_path / "tablet")
    other.clock.now -= timedelta(hours=1)  # clocks say that it was before the list
    other.desk.append(event_draft(other.desk, "rain", aircraft="pannier"))
    walk(farm, "pre-flight")
    assert "passed" == state(farm, "avionics-pitot")
    take_over(farm, other)
    other.close()

    assert "reopened" == state(farm, "avionics-pitot")


def test_a_release_rests_on_the_lists_by_which_the_items_stand(farm):
    first = walk(farm, "daily", About("pannier"))
    farm.clock.later(hours=20)
    farm.desk.refresh()
    second = walk(farm, "daily", About("pannier"))
    found = condition(farm, "daily-list")

    assert found.holds
    assert (second,) == found.rests_on
    assert first not in found.rests_on


@pytest.mark.parametrize("list_id", ["post-flight", "charging", "periodic"])
def test_a_list_that_begins_anew_begins_with_nothing_done(farm, list_id):
    about = PANNIER if list_id != "charging" else About("", "pack-a")
    walk(farm, list_id, about)
    assert list_state(farm.desk, list_id, about).complete
    assert in_hand(farm.desk, list_id, about) is None
    begun = begin(farm, list_id, about)

    assert {"open"} == {i.state for i in list_state(farm.desk, list_id, about).items}
    assert begun == in_hand(farm.desk, list_id, about)


def test_beginning_anew_does_not_lift_what_failed(farm):
    begun = begin(farm, "post-flight")
    judge(farm, begun, "look", "mechanic", Answer("fail", reason="axle bent"))
    again = begin(farm, "post-flight")

    assert "failed" == state(farm, "look", "post-flight")
    found = condition(farm, "acceptances")
    assert not found.holds
    assert "post-flight/look (axle bent)" in found.says
    judge(farm, again, "look", "mechanic", Answer("pass"))
    assert condition(farm, "acceptances").holds


def test_what_failed_in_a_periodic_inspection_holds_the_flight(farm):
    begun = begin(farm, "periodic")
    judge(farm, begun, "motor-mount", "mechanic", Answer("fail", reason="bearing rough"))

    assert "periodic/motor-mount" in condition(farm, "acceptances").says


def test_what_failed_in_a_turn_around_is_mended_by_the_whole_list(farm):
    begun = begin(farm, "turn-around")
    judge(farm, begun, "cells", "pilot", Answer("", value="4.0", instrument="MM-2"))
    assert "turn-around/cells" in condition(farm, "acceptances").says
    walk(farm, "pre-flight")

    assert condition(farm, "acceptances").holds


def test_calls_are_not_walked(farm):
    with pytest.raises(UsageError) as caught:
        begun_draft(farm.desk, "calls", PANNIER)
    assert "flightlog release calls" in caught.value.fix


DEFERRABLE = """schema = "flightlog.checklist/1"
id = "extra"
version = "1"
title = "Extra"
[[item]]
id = "seal"
section = "hatch"
text = "Seal whole"
role = "mechanic"
deferrable = true
"""


def test_an_item_is_put_off_by_a_deferral_that_holds_and_is_of_this_aircraft(farm):
    farm.enter("checklist", "extra", DEFERRABLE.encode())
    said = {"part": "seal", "group": "payload", "severity": "deferrable", "text": "worn"}
    signers = ("pilot", "accepted", "pilot"), ("mechanic", "accepted", "safety")
    terms = {"reason": "on order", "risk": "water", "limitation": "no rain", "flights": 1}
    deferred = {}
    for aircraft in ("pannier", "another"):
        effect = ("restricts", f"aircraft:{aircraft}")
        defect = farm.add("defect", {**said, "aircraft": aircraft}, effect=effect)
        deferred[aircraft] = farm.add("deferral", terms, *signers, relations=[("ends", defect)])
    begun = begin(farm, "extra")

    for item_state, aircraft in (("open", "another"), ("deferred", "pannier")):
        farm.add(
            "check", {"item": "seal", "result": "deferred", "reason": "later"},
            ("mechanic", "performed", "mechanic"),
            relations=[(CITES, begun), (CITES, deferred[aircraft])],
        )  # fmt: skip
        assert item_state == state(farm, "seal", "extra")
    flown(farm, 300)
    farm.desk.refresh()
    assert "open" == state(farm, "seal", "extra")


LIST = """schema = "flightlog.checklist/1"
id = "extra"
version = "1"
title = "Extra"
{top}
[[item]]
id = "one"
section = "s"
text = "t"
role = "pilot"
{item}
"""


@pytest.mark.parametrize(
    ("top", "item", "said"),
    [
        ("", 'reopened_by = ["batery-change"]', "Did you mean 'battery-change'"),
        ('reopened_by = ["flihgt"]', "", "Did you mean 'flight'"),
        ("", 'second = "inspectr"', "Did you mean 'inspector'"),
        ("", 'second = "In Spector"', "is no role"),
        ("", 'kind = "measurement"', "without a limit"),
        ("", "at_most = 3", "has limits and is none"),
        ("", 'kind = "measurement"\nat_least = 3\nat_most = 2', "can't pass"),
        ("", 'kind = "choice"', "choices"),
        ("", 'kind = "choice"\nchoices = ["a"]\npassing = ["b"]', "names no choice"),
        ("", 'renews = ["gear"]', "is no item"),
        ("", 'colour = "red"', "colour"),
        ("", 'block = "stop"', "block"),
        ("valid_hours = 0", "", "valid_hours"),
        ("", '[[item]]\nid = "one"\nsection = "s"\ntext = "t"\nrole = "pilot"', "is there twice"),
    ],
)
def test_a_slip_in_a_list_is_told_with_its_place(tmp_path, top, item, said):
    path = tmp_path / "extra.toml"
    path.write_text(LIST.format(top=top, item=item), encoding="utf-8")

    with pytest.raises(TeamFileError) as caught:
        load_checklist(path)
    assert said in caught.value.sentence()
    assert str(path) in caught.value.sentence()


def test_a_role_of_the_team_is_a_role(tmp_path):
    path = tmp_path / "extra.toml"
    path.write_text(LIST.format(top="anew = true", item='second = "launcher"'), encoding="utf-8")
    found = load_checklist(path)

    assert "launcher" == found.items[0].second
    assert found.anew


def test_the_flight_list_names_what_a_turn_around_did_again(released_farm):
    farm = released_farm
    release = farm.desk.ledger.last("release")
    farm.clock.later(minutes=5)
    flown(farm, 300, relations=[(SPENDS, release)])
    farm.clock.later(minutes=20)
    farm.desk.refresh()
    walk(farm, "turn-around", PANNIER)
    whole, short, why_not = flight_list(farm.desk, PLAN)

    assert "" == why_not
    assert whole.complete
    assert short is not None
    renewed = {i.item.id: i.renewed_by for i in whole.items if i.renewed_by}
    assert "turn-around/strap" == renewed["battery-strap"]
    assert passing(whole.items[0].item)
