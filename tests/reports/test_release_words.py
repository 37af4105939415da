"""A release as words, as an object for programs, and as a page."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.operations.fitness import fitness_state
from flightlog.operations.release import conditions, release_state
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.release_sheet import release_sheet
from flightlog.reports.release_words import (
    check_json,
    check_lines,
    fitness_json,
    fitness_lines,
    last_release_lines,
    state_json,
    state_lines,
)
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import flown
from tests.operations.released import (
    PLAN,
    ready_farm,
    ready_place,
    released,
    released_farm,
    released_place,
)

__all__ = [
    "farm",
    "farm_place",
    "ready_farm",
    "ready_place",
    "released_farm",
    "released_place",
]  # fixtures

HOSTILE = "<script>alert(1)</script>\u202e\x1b[2J"


def test_the_first_line_is_the_word_and_the_last_ones_are_the_cautions(released_farm):
    desk = released_farm.desk
    state = release_state(desk, "pannier")
    lines = state_lines(desk, state)

    assert "released" == lines[0]
    assert list(CAUTIONS) == lines[-len(CAUTIONS) :]
    assert lines[-len(CAUTIONS) - 1].startswith("Head of the record: 103.")
    assert any(line.startswith("  rests on ") and "(fitness)" in line for line in lines)


def test_each_reason_is_followed_by_what_clears_it(released_farm):
    desk = released_farm.desk
    flown(released_farm, relations=[("spends", desk.ledger.last("release"))])
    state = release_state(desk, "pannier")
    lines = state_lines(desk, state)

    assert "held" == lines[0]
    for reason in state.reasons:
        at = lines.index(f"  {reason.name}: {reason.says}")
        assert f"    To clear: {reason.clear}" == lines[at + 1]
    assert not re.search(r"\b(safe|legal|approved|airworthy)\b", "\n".join(lines))


def test_a_check_is_never_called_released(ready_farm):
    found = conditions(ready_farm.desk, PLAN)

    assert "ready" == check_lines(ready_farm.desk, PLAN, found)[0]
    assert "ready" == check_json(ready_farm.desk, PLAN, found)["state"]
    worse = [replace(found[0], holds=False, clear="Do it."), *found[1:]]
    assert "held" == check_lines(ready_farm.desk, PLAN, worse)[0]
    assert "held" == check_json(ready_farm.desk, PLAN, worse)["state"]


def test_without_a_release_there_are_words_too(farm):
    state = release_state(farm.desk, "pannier")

    assert "held" == state_lines(farm.desk, state)[0]
    body = state_json(farm.desk, state)
    assert (None, None, None) == (body["release"], body["plan"], body["until"])
    fitness = fitness_state(farm.desk, "pannier")
    assert "none" == fitness_lines(farm.desk, "pannier", fitness)[0]
    assert "none" == fitness_json(farm.desk, "pannier", fitness)["state"]


def test_objects_are_json(released_farm):
    desk = released_farm.desk
    for body in (
        state_json(desk, release_state(desk, "pannier")),
        fitness_json(desk, "pannier", fitness_state(desk, "pannier")),
    ):
        assert json.loads(json.dumps(body, allow_nan=False))["cautions"] == list(CAUTIONS)


# --- the page


def test_the_page_shows_what_was_released_and_by_whom(released_farm):
    release = released_farm.desk.ledger.last("release")
    text = release_sheet(released_farm.desk, release)

    for caution in CAUTIONS:
        assert caution.replace("'", "&#x27;") in text
    for said in ("<strong>released</strong>", "accepted as pilot by pilot", "balance 36.88 %"):
        assert said in text
    assert release.body.content["aircraft_file"] in text


def test_the_page_of_a_spent_release_says_so(released_farm):
    release = released_farm.desk.ledger.last("release")
    flown(released_farm, relations=[("spends", release)])
    text = release_sheet(released_farm.desk, release)

    assert "<strong>held</strong>" in text
    assert "spent by" in text


def test_texts_of_others_are_shown_and_never_run(ready_farm):
    release = released(ready_farm, replace(PLAN, purpose=HOSTILE))
    text = release_sheet(ready_farm.desk, release)

    assert "<script" not in text
    assert "&lt;script&gt;" in text
    assert "\u202e" not in text
    assert "\x1b" not in text


def test_there_is_no_sheet_of_anything_else(released_farm):
    desk = released_farm.desk

    with pytest.raises(UsageError, match="no release"):
        release_sheet(desk, desk.ledger.last("fitness"))


def test_there_is_no_sheet_of_a_release_that_does_not_count(released_farm, monkeypatch):
    desk = released_farm.desk
    release = desk.ledger.last("release")
    monkeypatch.setattr(type(desk.ledger.standing), "counts", lambda self, entry: False)

    with pytest.raises(RefusedError, match="does not count"):
        release_sheet(desk, release)


def test_the_last_release_is_told_in_short_however_it_stands(released_farm):
    desk = released_farm.desk
    release = desk.ledger.last("release")
    (line,) = last_release_lines(desk, release_state(desk, "pannier"))
    assert line.startswith("Release ")

    flown(released_farm, 300, relations=[("spends", release)])
    desk.refresh()
    (line,) = last_release_lines(desk, release_state(desk, "pannier"))

    assert line.startswith("Last release ")
    assert "spent by" in line


def test_where_none_was_ever_signed_that_is_told(farm):
    (line,) = last_release_lines(farm.desk, release_state(farm.desk, "pannier"))

    assert "none was ever signed" in line
