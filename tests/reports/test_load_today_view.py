"""How much may be loaded today as a page shows it: withheld where it is, kept while it stands."""

from __future__ import annotations

import pytest

from flightlog.operations.load_answer import ScoreSpread
from flightlog.reports import load_today_view
from flightlog.reports.load_today_picture import shown_choices
from flightlog.reports.load_today_view import Asked, kept_view, load_view, on_page
from tests.operations.conftest import farm_place
from tests.operations.released import wind
from tests.operations.takeoff_days import PLAN, season_farm, season_place
from tests.reports.load_answers import answer, choice

__all__ = ["farm_place", "season_farm", "season_place"]  # fixtures


# --- what it says


def test_the_number_comes_with_where_to_give_up():
    view = load_view(answer())

    assert ("9 units", "36 m", "") == (view.number, view.give_up, view.no_give_up)
    assert view.first.startswith("Load 9 units at most.")
    assert not view.reasons


def test_that_tape_or_judge_read_longer_is_told_on_the_page():
    view = load_view(answer(judged_longer_m=2.7))

    assert "kept by rolls up to 37.3 m." in view.then[0]


def test_why_no_point_to_give_up_is_named():
    view = load_view(answer(abort_m=None, no_abort="the strip has no length"))

    assert "" == view.give_up
    assert "No point to give up is named: the strip has no length." == view.no_give_up


def test_a_withheld_answer_has_reasons_and_nothing_to_load_by():
    view = load_view(answer(most=None, withheld="the weather is old; the pack was not measured"))

    assert ("The weather is old.", "The pack was not measured.") == view.reasons
    assert ("", "", ()) == (view.number, view.give_up, view.what_ifs)
    assert view.choices, "what the model says is there all the same"


def test_even_a_withheld_answer_with_a_number_in_it_names_none():
    view = load_view(answer(withheld="the weather is old"))

    assert ("", "") == (view.number, view.give_up)


def test_a_build_up_flight_is_asked_for_in_a_frame_of_its_own():
    every = tuple(choice(n, beyond="never so heavy" * (n > 8)) for n in range(12))
    view = load_view(answer(*every))

    assert "BEYOND WHAT WAS FLOWN" in view.beyond
    assert not [text for text in view.then if "BEYOND" in text]
    assert [8, 9] == [units for units, _ in view.offers], "the one that was flown comes first"
    assert "after build-up flights" in view.offers[1][1]
    assert "" == load_view(answer()).beyond
    assert [9] == [units for units, _ in load_view(answer()).offers]
    assert () == load_view(answer(withheld="the weather is old")).offers


def test_the_row_of_the_answer_is_not_read_as_more_than():
    cells = [row[0] for row in load_view(answer()).choices]

    assert "at most 9" in cells
    assert not [cell for cell in cells if ">" in cell]


@pytest.mark.parametrize("most", [9, None])
def test_the_table_has_the_choices_of_the_picture(most):
    said = answer(most=most, withheld="" if most else "old weather")
    cells = [int(row[0].removeprefix("at most ")) for row in load_view(said).choices]

    assert [c.units for c in shown_choices(said)] == cells


def test_the_best_expected_score_stands_beside_the_safest():
    scored = tuple(choice(n, score=ScoreSpread(10.0 * n, 0.0, 12.0 * n, "x")) for n in range(12))
    view = load_view(answer(*scored, best_expected=10, safest=9, score_slopes=(("a lap", -1.5),)))

    assert ["10", "9"] == [row[1] for row in view.scores]
    assert ["100.0", "90.0"] == [row[2] for row in view.scores]
    assert ("The expected score of the answer changes by: a lap -1.5.", "X.") == view.score_says


def test_why_there_is_no_score():
    assert ("No score: none.",) == load_view(answer()).score_says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("measure it and give --pack-voltage, or", "measure it and type it into its field, or"),
        ("no laps are planned: give --laps N", "no laps are planned: type it into its field"),
        ("Say how many: --laps N.", "Say how many in the field of laps."),
        ("numbers given with --entered.", "numbers typed into their fields."),
        ("--pack-voltage: 3 V can't be", "3 V can't be"),
        ("Give --entered field_best=VALUE.", "Type it into its field."),
        ("choose a rule book with --rules, or", "choose a rule book at the top of the page, or"),
        ("Choose a site with a [runway]: --site ID.", "Choose a site with a [runway] at the top"),
        ("Measure it: 'flightlog weather add --by WHO'.", "Measure it in the section Weather."),
        ("Measure it: 'flightlog weather add' enters it.", "Measure it in the section Weather."),
    ],
)
def test_options_of_commands_are_told_by_where_they_are_on_the_page(text, says):
    assert on_page(text).startswith(says)
    assert "--" not in on_page(text)


# --- how long it stands


@pytest.fixture
def counted(monkeypatch):
    """Count how often the answer is worked out."""
    times = []
    work = load_today_view.load_answer

    def answered(*args, **more):
        times.append(more)
        return work(*args, **more)

    monkeypatch.setattr(load_today_view, "load_answer", answered)
    return times


def test_it_is_worked_out_once_for_a_record_and_what_is_typed(season_farm, counted):
    first = kept_view(season_farm.desk, PLAN, Asked())
    season_farm.desk.refresh()

    assert first is kept_view(season_farm.desk, PLAN, Asked())
    assert 1 == len(counted)
    assert first.number

    with_laps = kept_view(season_farm.desk, PLAN, Asked(laps=2))
    assert [None, 2] == [more["laps"] for more in counted]
    assert with_laps is kept_view(season_farm.desk, PLAN, Asked(laps=2))


def test_it_does_not_outlive_a_new_entry_or_the_weather(season_farm, counted):
    desk = season_farm.desk
    first = kept_view(desk, PLAN, Asked())

    wind(season_farm, wind_mean="4.0", wind_gust="5.0")
    windier = kept_view(desk, PLAN, Asked())
    assert first.answer.headwind_m_s < windier.answer.headwind_m_s

    season_farm.clock.later(hours=3)
    desk.refresh()
    assert kept_view(desk, PLAN, Asked()).reasons, "the weather is too old by the clock alone"
    assert 3 == len(counted)
