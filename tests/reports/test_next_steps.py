"""Reasons grouped by what is to be done, each with what clears it and where."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from flightlog.operations.all_conditions import ORDER
from flightlog.operations.next_flight import HELD, READY, RELEASED, NextFlight
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.release_worth import ReleaseState
from flightlog.reports.next_steps import (
    LISTS,
    LOAD,
    RELEASE,
    SECTIONS,
    WEATHER,
    first_section,
    how_to_clear,
    in_short,
    section_words,
    state_sentence,
    steps,
)

PLAN = Plan("pannier", "pack-a", "club-trial-2027", "top-field")
WIND = Condition("weather", False, "measured 90 min ago", "Measure: 'flightlog weather add ...'.")
PACK = Condition("pack", False, "pack-a was not charged", "Charge it: 'flightlog team charge'.")
ROLL = Condition("limits", False, "takeoff-roll: takeoff.ground_roll at most 40 m; nobody said")
MASS = Condition("limits", False, "takeoff-mass: mass.takeoff at most 12 kg; load sheet 13 kg")


def now(*reasons, word=HELD, last=None):
    last = last or ReleaseState(HELD, "pannier")
    return NextFlight(word, PLAN, last, reasons, reasons)


def test_every_condition_that_there_is_has_its_group():
    for name in (*ORDER, "release"):
        found = steps([Condition(name, False, "it does not")])
        assert 1 == len(found), name
        assert found[0].title


def test_reasons_of_one_kind_stand_together_in_the_order_of_a_morning():
    walk = Condition("daily-list", False, "Daily: 7 of 7 items to do: a, b")
    fly = Condition("flight-list", False, "Pre-flight: 2 of 47 items to do: a, b")

    found = steps([fly, WIND, PACK, walk])

    assert ["care", "weather", "lists"] == [step.word for step in found]
    assert (fly, walk) == found[-1].reasons


def test_a_limit_leads_to_the_load_or_to_what_is_expected_by_its_figure():
    by_figure = {step.reasons: step.section for step in steps([ROLL, MASS])}

    assert {(ROLL,): RELEASE, (MASS,): LOAD} == by_figure


def test_a_condition_that_nobody_knows_is_shown_too():
    strange = Condition("from-a-newer-program", False, "it does not hold")

    assert (strange,) == steps([strange])[0].reasons


def test_what_the_page_does_itself_needs_no_command():
    (weather,) = steps([WIND])
    assert "" == how_to_clear(WIND, weather)
    wait = Condition("weather", False, "gusts", "Wait; then measure anew: 'flightlog weather add'.")
    assert "Wait; then measure anew." == how_to_clear(wait, weather)


def test_no_sentence_is_cut_in_the_middle_where_its_command_is_left_out():
    told = "Put it right; pilot and safety accept it with 'flightlog checks accept'."
    failed = Condition("acceptances", False, "failed: daily/gear", told)

    assert "Put it right; pilot and safety accept it." == how_to_clear(failed, steps([failed])[0])


def test_a_limit_is_told_by_the_name_of_its_figure():
    assert "takeoff-roll: ground roll at most 40 m; nobody said" == in_short(ROLL)


def test_what_is_done_elsewhere_keeps_its_command():
    (care,) = steps([PACK])
    assert PACK.clear == how_to_clear(PACK, care)
    fit = Condition("fitness", False, "none", "State it: 'flightlog fitness sign --aircraft X'.")
    assert fit.clear == how_to_clear(fit, steps([fit])[0])


def test_items_of_a_list_are_told_by_their_number_alone():
    walk = Condition("flight-list", False, "Pre-flight: 2 of 47 items to do: a, b")

    assert "Pre-flight: 2 of 47 items to do" == in_short(walk)
    assert WIND.says == in_short(WIND)


def test_each_section_says_how_it_stands():
    words = section_words(now(WIND, ROLL))

    assert list(SECTIONS) == list(words)
    assert {WEATHER: HELD, LOAD: "holds", LISTS: "holds", RELEASE: HELD} == words
    assert READY == section_words(now(word=READY))[RELEASE]


@pytest.mark.parametrize(
    ("reasons", "first"), [((ROLL, MASS), LOAD), ((WIND, MASS), WEATHER), ((PACK,), RELEASE)]
)
def test_the_page_begins_where_something_is_to_be_done(reasons, first):
    assert first == first_section(now(*reasons))


def test_the_sentence_of_a_state_says_for_what_and_until_when():
    until = datetime(2027, 4, 6, 11, 44, tzinfo=UTC)
    last = ReleaseState(RELEASED, "pannier", plan=PLAN, until=until)

    assert "until 2027-04-06 11:44 UTC" in state_sentence(now(word=RELEASED, last=last))
    assert "pack-a" in state_sentence(now(word=RELEASED, last=last))
    assert "nobody has signed" in state_sentence(now(word=READY))
    assert state_sentence(now(WIND)).startswith("1 reason,")
    assert state_sentence(now(WIND, PACK)).startswith("2 reasons,")
