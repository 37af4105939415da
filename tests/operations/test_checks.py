"""What a check is worth, and what takes that away."""

from __future__ import annotations

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES, INSPECTS
from flightlog.operations.check_drafts import (
    Answer,
    acceptance_draft,
    check_draft,
    for_person,
)
from flightlog.operations.check_evidence import evidence
from flightlog.operations.checks import About, list_state
from flightlog.operations.service import event_draft
from tests.logbook.made import public_of
from tests.operations.lists import PANNIER, begin, judge, passing, walk


def state(farm, item, list_id="pre-flight"):
    return list_state(farm.desk, list_id, PANNIER).of(item)


def test_a_list_begins_with_everything_open(farm):
    begin(farm, "pre-flight")
    found = list_state(farm.desk, "pre-flight", PANNIER)

    assert not found.complete
    assert {"open"} == {item.state for item in found.items}


def test_no_answer_is_none(farm):
    begun = begin(farm, "pre-flight")

    for item, who in (("structure-skins", "mechanic"), ("battery-voltage", "pilot")):
        with pytest.raises(UsageError):
            check_draft(farm.desk, begun, item, Answer(), public_of(who))


def test_a_measurement_passes_on_its_number_alone(farm):
    begun = begin(farm, "pre-flight")
    key = public_of("pilot")

    with pytest.raises(UsageError, match="number alone"):
        check_draft(farm.desk, begun, "battery-spread", Answer("pass", instrument="MM-2"), key)
    answer = Answer("pass", value="0.021", instrument="MM-2")
    with pytest.raises(UsageError, match="does not pass"):
        check_draft(farm.desk, begun, "battery-spread", answer, key)
    judge(farm, begun, "battery-spread", "pilot", Answer("", value="0.021", instrument="MM-2"))
    assert "failed" == state(farm, "battery-spread").state
    judge(farm, begun, "battery-spread", "pilot", Answer("", value="0.020", instrument="MM-2"))
    assert "passed" == state(farm, "battery-spread").state


def test_an_entry_that_claims_a_pass_beside_a_bad_number_is_a_fail(farm):
    begun = begin(farm, "pre-flight")
    content = {
        "item": "battery-spread",
        "result": "pass",
        "value": {"value": "0.5", "unit": "V"},
        "instrument": "MM-2",
    }
    farm.add("check", content, ("pilot", "performed", "battery"), cites=[begun])

    assert "failed" == state(farm, "battery-spread").state


def test_a_claimed_pass_without_its_number_or_in_another_unit_is_none(farm):
    begun = begin(farm, "pre-flight")
    content = {"item": "battery-spread", "result": "pass", "instrument": "MM-2"}
    farm.add("check", content, ("pilot", "performed", "battery"), cites=[begun])
    assert "open" == state(farm, "battery-spread").state

    content["value"] = {"value": "0.01", "unit": "mV"}
    farm.add("check", content, ("pilot", "performed", "battery"), cites=[begun])
    assert "failed" == state(farm, "battery-spread").state


def test_only_who_holds_the_role_signs_an_item(farm):
    begun = begin(farm, "pre-flight")
    with pytest.raises(RefusedError, match="does not hold the role 'battery'"):
        check_draft(farm.desk, begun, "battery-look", Answer("pass"), public_of("observer"))

    content = {"item": "battery-look", "result": "pass"}
    farm.add("check", content, ("observer", "performed"), cites=[begun])
    assert "open" == state(farm, "battery-look").state


def test_a_second_person_looks_in_their_own_turn(farm):
    begun = begin(farm, "pre-flight")
    first = judge(farm, begun, "controls-hinges", "mechanic", Answer("pass"))
    assert "waits for a second person" == state(farm, "controls-hinges").state

    # The same person again is no second look, though the mechanic is an inspector too.
    judge(farm, begun, "controls-hinges", "mechanic", Answer("pass"))
    assert "waits for a second person" == state(farm, "controls-hinges").state

    look = judge(farm, begun, "controls-hinges", "pilot", Answer("pass"))
    assert "passed" == state(farm, "controls-hinges").state
    assert first.hash not in look.body.related(INSPECTS)  # the last one is what was looked at


def test_one_person_with_two_entries_is_not_two(farm):
    begun = begin(farm, "pre-flight")
    first = judge(farm, begun, "controls-hinges", "mechanic", Answer("pass"))
    content = {"item": "controls-hinges", "result": "pass"}
    with pytest.raises(RefusedError):
        farm.add(
            "check",
            content,
            ("mechanic", "inspected", "inspector"),
            cites=[begun],
            relations=[(INSPECTS, first)],
        )


def test_what_the_second_person_finds_wrong_is_wrong(farm):
    begun = begin(farm, "pre-flight")
    judge(farm, begun, "controls-hinges", "mechanic", Answer("pass"))
    judge(farm, begun, "controls-hinges", "pilot", Answer("fail", reason="a gap at the horn"))

    assert "failed" == state(farm, "controls-hinges").state


def test_a_second_pass_before_the_first_look_counts_for_nothing(farm):
    begun = begin(farm, "pre-flight")
    content = {"item": "controls-hinges", "result": "pass"}
    farm.add("check", content, ("pilot", "inspected", "inspector"), cites=[begun])

    assert "open" == state(farm, "controls-hinges").state


def test_not_applicable_needs_a_reason_and_an_item_that_allows_it(farm):
    begun = begin(farm, "pre-flight")
    key = public_of("mechanic")
    with pytest.raises(UsageError, match="always applies"):
        check_draft(farm.desk, begun, "structure-skins", Answer("not-applicable", reason="x"), key)
    with pytest.raises(UsageError, match="what reason"):
        check_draft(farm.desk, begun, "battery-limiter", Answer("not-applicable"), key)

    answer = Answer("not-applicable", reason="the rule book asks for none")
    judge(farm, begun, "battery-limiter", "mechanic", answer)
    assert "not applicable" == state(farm, "battery-limiter").state


@pytest.mark.parametrize(
    ("event", "reopened", "left"),
    [
        (
            "battery-change",
            ["battery-strap", "battery-voltage", "balance-sheet"],
            ["structure-gear"],
        ),
        ("hard-landing", ["structure-gear", "controls-play"], ["radio-model", "payload-count"]),
        ("parameter-change", ["controls-sense", "radio-fail-safe"], ["structure-skins"]),
        ("rain", ["site-length", "avionics-pitot"], ["controls-hinges"]),
        ("transport", ["structure-joiner", "radio-range"], ["battery-look"]),
    ],
)
def test_an_event_reopens_the_items_that_name_it_and_no_others(farm, event, reopened, left):
    walk(farm, "pre-flight")
    assert list_state(farm.desk, "pre-flight", PANNIER).complete
    farm.desk.append(event_draft(farm.desk, event, aircraft="pannier"))

    assert all("reopened" == state(farm, item).state for item in reopened)
    assert all(event == state(farm, item).why for item in reopened)
    assert all("passed" == state(farm, item).state for item in left)


def test_an_event_about_another_aircraft_reopens_nothing(farm):
    walk(farm, "pre-flight")
    farm.desk.append(event_draft(farm.desk, "transport", aircraft="another"))

    assert list_state(farm.desk, "pre-flight", PANNIER).complete


def test_a_result_ends_with_its_hours(farm):
    walk(farm, "daily")
    farm.clock.later(hours=13.5)
    farm.desk.refresh()
    assert list_state(farm.desk, "daily", PANNIER).complete
    farm.clock.later(hours=1)
    farm.desk.refresh()

    assert {"expired"} == {i.state for i in list_state(farm.desk, "daily", PANNIER).items}


def test_a_list_of_another_version_counts_for_nothing(farm):
    walk(farm, "daily")
    place = farm.folder.path / "checklists" / "daily.toml"
    text = place.read_text(encoding="utf-8")
    farm.enter("checklist", "daily", text.replace("no grinding", "no noise").encode())

    assert not list_state(farm.desk, "daily", PANNIER).begun
    assert not list_state(farm.desk, "daily", PANNIER).complete


def test_a_failed_item_is_accepted_by_two_only_where_its_list_allows_that(farm):
    begun = begin(farm, "pre-flight")
    noise = judge(farm, begun, "radio-neighbours", "pilot", Answer("fail", reason="a camera"))
    crack = judge(farm, begun, "structure-skins", "mechanic", Answer("fail", reason="a crack"))
    pilot, mechanic = public_of("pilot"), public_of("mechanic")

    with pytest.raises(RefusedError, match="can't be accepted"):
        acceptance_draft(farm.desk, crack, "it is small", pilot, mechanic)
    with pytest.raises(RefusedError):
        acceptance_draft(farm.desk, noise, "far off", pilot, pilot)
    assert "failed" == state(farm, "radio-neighbours").state
    draft = acceptance_draft(farm.desk, noise, "far off", pilot, mechanic)
    farm.sign(draft, "pilot", "mechanic")
    assert "failed, accepted" == state(farm, "radio-neighbours").state

    # An acceptance by somebody's own program does not lift what stops a flight.
    farm.add(
        "acceptance",
        {"reason": "x"},
        ("pilot", "accepted", "pilot"),
        ("mechanic", "accepted", "safety"),
        cites=[crack],
    )
    assert "failed" == state(farm, "structure-skins").state


def test_of_results_made_apart_the_worse_one_holds(farm):
    """Both cite the list; a later result that has not seen the fail does not take it away."""
    begun = begin(farm, "pre-flight")
    judge(farm, begun, "structure-gear", "mechanic", Answer("", value="1"))
    assert "failed" == state(farm, "structure-gear").state
    judge(farm, begun, "structure-gear", "mechanic", Answer("", value="5"))
    assert "passed" == state(farm, "structure-gear").state


def test_what_a_person_can_do_goes_by_role_and_by_who_did_the_first_look(farm):
    begun = begin(farm, "pre-flight")
    found = list_state(farm.desk, "pre-flight", PANNIER)
    pilots = {item.id for item in for_person(farm.desk, found, public_of("pilot"))}
    assert "papers-identity" in pilots
    assert "structure-skins" not in pilots

    judge(farm, begun, "controls-hinges", "mechanic", Answer("pass"))
    found = list_state(farm.desk, "pre-flight", PANNIER)
    assert "controls-hinges" in {i.id for i in for_person(farm.desk, found, public_of("pilot"))}
    mechanics = {i.id for i in for_person(farm.desk, found, public_of("mechanic"))}
    assert "controls-hinges" not in mechanics


def test_equal_numbers_and_quick_looks_are_told_and_block_nothing(farm):
    for _ in range(3):
        begun = begin(farm, "post-flight")
        judge(farm, begun, "look", "mechanic", Answer("pass", seconds="0.8"))
        answer = Answer("", value="3.81", instrument="MM-2", seconds="9.0")
        judge(farm, begun, "pack-voltage", "pilot", answer)
    found = evidence(farm.desk, "pannier")

    assert (6, 0, 3) == (found.checks, found.fails, found.quick)
    assert (("pack-voltage", "3.81 V", 3),) == found.repeats
    assert any("nothing ever failed" in line for line in found.lines)
    assert "passed" == list_state(farm.desk, "post-flight", PANNIER).of("look").state


def test_a_list_about_a_pack_is_begun_for_one(farm):
    with pytest.raises(UsageError, match="about a pack"):
        begin(farm, "charging", About("pannier"))
    begun = begin(farm, "charging", About("", "pack-a"))
    judge(farm, begun, "look", "pilot", passing(_item(farm, "charging", "look")))

    assert "passed" == list_state(farm.desk, "charging", About("", "pack-a")).of("look").state
    assert "open" == list_state(farm.desk, "charging", About("", "pack-b")).of("look").state


def _item(farm, list_id, item):
    return list_state(farm.desk, list_id, About("pannier", "pack-a")).of(item).item


def test_a_check_cites_its_list_and_says_who_in_which_role(farm):
    begun = begin(farm, "pre-flight")
    entry = judge(farm, begun, "structure-skins", "mechanic", Answer("pass", seconds="6.0"))

    assert (begun.hash,) == entry.body.related(CITES)
    assert [("performed", "mechanic")] == [(s.meaning, s.role) for s in entry.body.signers]
