"""Items in words: who does them, how they stand, and what was signed."""

from __future__ import annotations

from dataclasses import replace

from flightlog.operations.check_drafts import Answer, begun_draft, check_draft
from flightlog.operations.checklists import Item
from flightlog.operations.checks import About, ItemState, list_state
from flightlog.operations.plan import Plan
from flightlog.reports.check_words import (
    about_line,
    item_head,
    number_label,
    papers_lines,
    progress_text,
    said_line,
    state_text,
    who_line,
)
from tests.logbook.made import public_of
from tests.operations.conftest import farm, farm_place  # noqa: F401
from tests.operations.test_walk import reported

ITEM = Item("gear", "structure", "Wheels straight", "mechanic", unit="mm")


def test_who_does_an_item_and_who_looks_afresh_stand_beside_it():
    assert "mechanic" == who_line(ITEM)
    assert "mechanic, then inspector looks afresh" == who_line(replace(ITEM, second="inspector"))
    assert "structure · gear · mechanic" == item_head(ITEM)


def test_a_number_without_a_unit_is_asked_for_as_one():
    assert "Number in mm" == number_label(ITEM)
    assert "Number in 1" == number_label(replace(ITEM, unit=""))


def test_a_state_says_why_and_by_which_other_item():
    assert "reopened: rain" == state_text(ItemState(ITEM, "reopened", "rain"))
    renewed = ItemState(ITEM, "passed", renewed_by="turn-around/gear")
    assert "passed, by turn-around/gear" == state_text(renewed)


def test_progress_tells_what_waits_for_a_second_person(farm):  # noqa: F811
    about = About("pannier")
    begun = farm.desk.append(begun_draft(farm.desk, "daily", about))
    draft = check_draft(farm.desk, begun, "structure", Answer("pass"), public_of("mechanic"))
    farm.sign(draft, "mechanic")

    text = progress_text(list_state(farm.desk, "daily", about))

    assert "0 of 7 done, 1 done once, waiting for a second person" == text
    assert "pass; performed as mechanic" == said_line(draft)


def test_what_is_read_off_the_screen_is_that_of_the_plate(farm):  # noqa: F811
    line = about_line(farm.desk, About("pannier", "pack-a"))

    assert "pannier, serial PN-01, configuration cargo-2" in line
    assert "pack-a, serial" in line


def test_what_is_read_aloud_tells_fitness_defects_and_deferrals(farm):  # noqa: F811
    reported(farm)
    text = "\n".join(papers_lines(farm.desk, Plan("pannier", "pack-a")))

    assert "fitness: no fitness statement" in text
    assert "bay hatch" in text
    assert "deferrals: " in text
