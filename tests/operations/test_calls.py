"""Calls: spoken after the release, each answered, written down as one entry."""

from __future__ import annotations

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES
from flightlog.operations.calls import Call, calls_of, draft_calls, parsed_calls
from tests.logbook.made import public_of
from tests.operations.made import ROOT
from tests.operations.released import ready_place, released_farm, released_place

__all__ = ["ready_place", "released_farm", "released_place"]  # fixtures

ANSWERS = {
    "clear": Call(value="6"),
    "position": Call(value="11"),
    "attitude": Call("pass"),
    "zeros": Call("pass"),
    "voltage": Call(value="0.4"),
    "idle": Call(value="0.35"),
    "fences": Call("pass"),
    "last-sense": Call("pass"),
    "recording": Call("pass"),
    "run-up": Call("pass"),
    "go": Call("pass"),
}


@pytest.fixture
def release(released_farm):
    return released_farm.desk.ledger.last("release")


def draft(farm, release, **other):
    return draft_calls(farm.desk, release, {**ANSWERS, **other}, [public_of("observer")])


def test_they_are_one_entry_that_cites_the_release(released_farm, release):
    entry = released_farm.sign(draft(released_farm, release), "observer")
    state = calls_of(released_farm.desk, release)

    assert (release,) == released_farm.desk.ledger.named(entry, CITES)
    assert entry == state.entry
    assert (11, ()) == (state.answered, state.wrong)
    said = {one["item"]: one for one in entry.body.content["items"]}
    assert {"item": "clear", "result": "pass", "role": "safety", "value": q("6", "m")} == (
        said["clear"]
    )
    assert list(ANSWERS) == list(said)


def q(value, unit):
    return {"value": value, "unit": unit}


@pytest.mark.parametrize("item", ANSWERS)
def test_no_item_passes_by_itself(released_farm, release, item):
    answers = {id_: call for id_, call in ANSWERS.items() if id_ != item}
    with pytest.raises(RefusedError, match=f"1 of 11 items have no answer: {item}"):
        draft_calls(released_farm.desk, release, answers, [public_of("observer")])
    with pytest.raises(UsageError, match=item):
        draft(released_farm, release, **{item: Call()})


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"goo": Call("pass")}, "'go'"),
        ({"go": Call("fine")}, "no result"),
        ({"go": Call("not-applicable", reason="no runway")}, "applies always"),
        ({"go": Call("pass", value="3")}, "no measurement"),
        ({"go": Call("pass", role="Chief Pilot!")}, "no role"),
        ({"clear": Call("pass", value="4.9")}, "does not pass"),
        ({"clear": Call("pass")}, "on its number alone"),
        ({"clear": Call(value="six")}, "not a number"),
    ],
)
def test_an_answer_that_does_not_fit_is_told(released_farm, release, other, said):
    with pytest.raises(UsageError) as caught:
        draft(released_farm, release, **other)

    assert said in caught.value.sentence()


def test_a_number_beside_its_limit_fails_and_stands_with_the_flight(released_farm, release):
    made = draft(
        released_farm,
        release,
        idle=Call(value="1.01"),
        zeros=Call("fail", role="pilot", reason="height 3 m"),
    )
    released_farm.sign(made, "observer")
    state = calls_of(released_farm.desk, release)

    assert ("zeros failed (height 3 m)", "idle failed (1.01 A)") == state.wrong


def test_they_come_after_a_release(released_farm):
    fitness = released_farm.desk.ledger.last("fitness")

    with pytest.raises(RefusedError, match="is no release that counts"):
        draft(released_farm, fitness)


def test_they_are_written_down_once(released_farm, release):
    assert calls_of(released_farm.desk, release) is None
    released_farm.sign(draft(released_farm, release), "observer")

    with pytest.raises(RefusedError, match="written down already"):
        draft(released_farm, release)


def by_ones_own_program(farm, release, items, checklist=None):
    version = farm.desk.version("checklist", "calls")
    content = {"checklist": checklist or version.sha256, "items": items}
    farm.add("calls", content, ("observer", "spoken"), cites=[release])
    return calls_of(farm.desk, release)


def test_those_of_a_program_of_ones_own_are_judged_by_the_list(released_farm, release):
    items = [
        {"item": "clear", "result": "pass", "role": "safety", "value": q("2", "m")},
        {"item": "idle", "result": "pass", "role": "safety", "value": q("400", "mA")},
        {"item": "go", "result": "not-applicable", "role": "pilot"},
    ]
    state = by_ones_own_program(released_farm, release, items)

    assert "clear failed (2 m)" in state.wrong
    assert "idle failed (400 mA)" in state.wrong
    assert "go applies always" in state.wrong
    assert "attitude has no answer" in state.wrong


def test_those_by_a_list_that_is_not_here_are_not_taken_for_complete(released_farm, release):
    items = [{"item": "go", "result": "pass", "role": "pilot"}]
    state = by_ones_own_program(released_farm, release, items, "ab" * 32)

    assert ("the list that they follow is not in the record",) == state.wrong


def test_they_are_judged_by_the_list_that_was_in_force(released_farm, release):
    released_farm.sign(draft(released_farm, release), "observer")
    text = (ROOT / "checklists" / "calls.toml").read_text(encoding="utf-8")
    stricter = text.replace("at_least = 5", "at_least = 7")
    released_farm.enter("checklist", "calls", stricter.encode())

    assert () == calls_of(released_farm.desk, release).wrong


def test_answers_of_a_file_are_read():
    lines = [
        ("f:1", {"item": "go", "result": "pass"}),
        ("f:2", {"item": "clear", "value": "6", "role": "safety"}),
    ]

    assert {"go": Call("pass"), "clear": Call(value="6", role="safety")} == parsed_calls(lines)


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ([1], "is no answer"),
        ([{"result": "pass"}], "is no answer"),
        ([{"item": "go", "valu": "1"}], "'valu' is not known"),
        ([{"item": "clear", "value": 6}], "value is no text"),
        ([{"item": "go", "result": "pass"}] * 2, "is answered twice"),
    ],
)
def test_slips_in_a_file_are_told(answers, said):
    with pytest.raises(UsageError, match=said):
        parsed_calls(("f:1", one) for one in answers)
