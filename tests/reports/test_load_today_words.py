"""How much may be loaded today in words: never rounded across what is asked, nothing hidden."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from flightlog.errors import NotEnoughDataError
from flightlog.operations.energy_need import EnergyNeed
from flightlog.operations.flown_takeoffs import LeftOut
from flightlog.operations.load_answer import FAILS, HOLDS, Bind, ScoreSpread
from flightlog.operations.load_today import load_answer
from flightlog.reports.cautions import PEOPLE, RECORD
from flightlog.reports.load_today_json import load_json, withheld_json
from flightlog.reports.load_today_lines import load_lines, withheld_lines
from flightlog.reports.load_today_score import score_texts
from flightlog.reports.load_today_words import (
    CAUTION,
    CHOICE_HEAD,
    WHAT_IF_SAYS,
    choice_rows,
    effect_rows,
    headline,
    in_hundred,
    rests_on,
    what_if_rows,
)
from tests.operations.conftest import farm_place
from tests.operations.takeoff_days import PLAN, season_farm, season_place

__all__ = ["farm_place", "season_farm", "season_place"]  # fixtures


@pytest.fixture
def answer(season_farm):
    return load_answer(season_farm.desk, PLAN, laps=4, entered={"field_best": 40.0})


def changed(answer, units, **more):
    """Change one choice."""
    choices = [replace(c, **more) if c.units == units else c for c in answer.choices]
    return replace(answer, choices=tuple(choices))


def text_of(answer):
    return " ".join(" ".join(load_lines(answer)).split())


@pytest.mark.parametrize(
    ("probability", "needed", "text"),
    [
        (0.949972, 0.95, "94.997"),
        (0.94999994, 0.95, "94.99999"),
        (0.95, 0.95, "95"),
        (0.9500001, 0.95, "95"),
        (0.86316, 0.95, "86"),
        (0.9842, 0.95, "98"),
        (0.998, 0.95, "99.8"),
        (0.99987, 0.95, "over 99.9"),
        (0.0001, 0.95, "under 0.1"),
        (0.99987, 0.9999, "99.987"),
        (0.8996, 0.9, "89.96"),
    ],
)
def test_a_probability_is_never_rounded_onto_what_is_asked(probability, needed, text):
    assert text == in_hundred(probability, needed)


def test_the_first_sentences_say_the_load_and_what_keeps_it(answer):
    chosen = answer.choice(answer.most)
    text = headline(answer)

    bound = f"{chosen.roll.quantile(0.95):.1f}"
    assert (
        f"Load {answer.most} units at most. Predicted {chosen.roll.median_m:.1f} m; 95 of 100 such "
        f"take-offs stay below {bound} m, the limit is 40 m (clause 4.2)." == text[0]
    )
    assert text[1].startswith(f"With {answer.most + 1} units ")
    assert text[1].endswith("95 are asked.")


def test_what_just_fails_is_said_to_just_fail(answer):
    close = changed(answer, answer.most + 1, probability=0.949972)

    n = answer.most + 1
    start = f"With {n} units 94.997 in 100, just below the 95 that are asked; with {n + 1} units "
    assert headline(close)[1].startswith(start)


def test_the_end_of_the_list_is_not_told_as_what_the_aircraft_carries(answer):
    at = f"Load {answer.most} units at most"
    ended = replace(answer, looked_at=answer.most)

    assert headline(ended)[0].startswith(f"{at}, of the {answer.most} that were looked at: more ")
    assert headline(replace(answer, looked_at=answer.most + 2))[0].startswith(f"{at}. ")


def test_tape_or_judge_that_read_longer_bring_the_limit_nearer(answer):
    longer = replace(answer, judged_longer_m=2.71)
    says = (
        "Tape or judge read 2.7 m longer than the log, so the limit of 40 m is kept by rolls up to "
        "37.2 m."
    )

    assert says == headline(longer)[1]
    assert says in headline(replace(longer, most=None, most_by_roll=None))
    assert "kept by rolls up to 37.3 m" in headline(replace(answer, judged_longer_m=2.7))[1]
    assert "Tape or judge" not in " ".join(headline(answer))
    body = load_json(longer)
    assert {"value": 2.71, "unit": "m"} == body["judged_longer"]
    assert 37.29 == pytest.approx(body["limit_kept_up_to"]["value"])


def test_what_is_not_asked_anew_in_other_wind_is_said(answer):
    assert WHAT_IF_SAYS in text_of(answer)
    assert WHAT_IF_SAYS == load_json(answer)["what_ifs_say"]


def test_what_binds_more_than_the_limit_is_named(answer):
    low = replace(answer, most=answer.most - 2)
    failing = (Bind("balance", FAILS, "too far aft"),)
    low = changed(low, answer.most, binds=failing)

    assert f"would allow {answer.most}; what binds is balance." in text_of(low)
    row = next(r for r in choice_rows(low) if r[0] == str(answer.most))
    assert "balance" in row[-1]


def test_beyond_what_was_flown_asks_for_a_build_up_flight(answer):
    far = changed(answer, answer.most, beyond_flown="9.80 kg, and flown were 8.00 kg")

    text = " ".join(headline(far))
    assert "BEYOND WHAT WAS FLOWN: 9.80 kg" in text
    assert "Fly a build-up flight between what was flown and this first." in text
    assert (
        "beyond what was flown"
        in next(r for r in choice_rows(far) if r[0].startswith("at most"))[-1]
    )


def test_nothing_that_could_be_loaded_by_is_named_while_it_is_withheld(answer):
    held = replace(answer, most=None, most_by_roll=None, withheld="the weather is old")

    lines = load_lines(held)
    assert "No number is given: the weather is old." == lines[0]
    assert "What the model says, not to be loaded by" in lines
    assert not any(line.startswith("Load ") for line in lines)
    assert "What would change it" not in lines


def test_not_even_the_empty_aircraft(answer):
    none = changed(replace(answer, most=None, most_by_roll=None), 0, probability=0.31)

    assert headline(none)[0].startswith("Do not take off: even without payload")
    assert "31 of 100" in headline(none)[0]


def test_no_sentence_ends_twice(answer):
    failing = (Bind("room to stop", FAILS, "it does not stop. Make the strip longer."),)
    none = changed(replace(answer, most=None, most_by_roll=None), 0, binds=failing)
    held = replace(answer, withheld="the weather is old. Measure it.")

    for one in (none, held, replace(answer, said=("the pack is full.",))):
        assert ".." not in " ".join([*headline(one), *rests_on(one)])


def test_what_rounds_to_nothing_is_no_tailwind(answer):
    assert "headwind +0.0 m/s" in " ".join(rests_on(replace(answer, headwind_m_s=-0.02)))
    assert "headwind -0.1 m/s" in " ".join(rests_on(replace(answer, headwind_m_s=-0.08)))


def test_the_answer_says_what_it_rests_on_and_what_it_does_not(answer):
    other = replace(answer, left_out=(LeftOut("12.ABCDE", "hand launch"),), other_configuration=3)

    text = " ".join(rests_on(other))
    assert "From 6 flights on 3 days, nothing heavier than 8.00 kg" in text
    assert "What was believed before any flight comes from the flights themselves: " in text
    assert "headwind +2.0 m/s" in text
    assert "3 flights in another configuration are left out" in text
    assert "12.ABCDE: hand launch" in text_of(other)


def test_every_answer_ends_with_its_cautions(answer):
    text = text_of(answer)

    for caution in (CAUTION, RECORD, PEOPLE):
        assert caution in text


def test_the_table_holds_a_row_for_each_choice_and_marks_the_answer(answer):
    rows = choice_rows(answer)

    assert len(answer.choices) == len(rows)
    assert {len(CHOICE_HEAD)} == {len(row) for row in rows}
    assert [f"at most {answer.most}"] == [row[0] for row in rows if "most" in row[0]]
    assert len(rows) > len(choice_rows(answer, 2)) == 5


def test_the_wind_table_says_what_less_wind_would_leave(answer):
    rows = what_if_rows(answer)

    names = ["the wind and air of now", "1 m/s more headwind", "1 m/s less headwind"]
    assert names == [row[0] for row in rows][:3]
    assert str(answer.most) == rows[0][1]


def test_before_any_flight_and_after_them_stand_side_by_side(answer):
    rows = {row[0]: row[1:] for row in effect_rows(answer)}

    before, after = rows["roll, in % per % of mass"]
    assert "2.35 (1.76 to 2.94)" == before
    assert after != before


def test_best_and_safest_stand_side_by_side(answer):
    best = replace(answer, best_expected=answer.most + 1, safest=answer.most)
    best = changed(best, answer.most + 1, score=ScoreSpread(99.0, 0.0, 110.0, "4 laps"))

    text = " ".join(score_texts(best))
    assert f"Best expected score: {answer.most + 1} units, 99.0 (0.0 to 110.0" in text
    assert f"Safest of those that keep the limit: {answer.most} units" in text
    assert "Assumed: 4 laps" in text
    far = changed(best, answer.most + 1, beyond_flown="9.5 kg")
    assert "of 100; BEYOND WHAT WAS FLOWN Safest" in " ".join(score_texts(far))
    same = " ".join(score_texts(replace(answer, best_expected=3, safest=3)))
    assert "Best expected score, and safest: 3 units" in same


def test_the_json_is_whole_and_unrounded(answer):
    body = json.loads(json.dumps(load_json(answer), allow_nan=False))

    assert "flightlog.load/1" == body["schema"]
    assert answer.most == body["most"]
    assert len(answer.choices) == len(body["choices"])
    chosen = next(c for c in body["choices"] if c["units"] == answer.most)
    assert answer.choice(answer.most).probability == chosen["probability"]
    assert {"mass", "balance", "current"} <= {b["name"] for b in chosen["binds"]}
    assert ["level", "mass", "density", "wind", "lift-off airspeed"] == [
        e["name"] for e in body["model"]["effects"]
    ]


def test_no_program_loads_by_what_misses_the_limit_or_is_withheld(answer):
    def said(one):
        return {c["units"]: c for c in load_json(one)["choices"]}

    every, n = said(answer), answer.most
    assert (True, True) == (every[n]["keeps_limit"], every[n]["may_be_loaded"])
    assert every[n]["binds_hold"] is None, "the climb is not assessable"
    assert (False, False) == (every[n + 1]["keeps_limit"], every[n + 1]["may_be_loaded"])
    withheld = said(replace(answer, withheld="the weather is old"))
    assert {False} == {c["may_be_loaded"] for c in withheld.values()}
    forbidden = said(changed(answer, n, binds=(Bind("balance", FAILS, "too far aft"),)))[n]
    assert (False, False) == (forbidden["binds_hold"], forbidden["may_be_loaded"])
    holding = said(changed(answer, n, binds=(Bind("balance", HOLDS, "inside"),)))[n]
    assert (True, True) == (holding["binds_hold"], holding["may_be_loaded"])


def test_the_json_says_how_many_laps_fit(answer):
    need = EnergyNeed(4, 20.0, 23.0, 71.0, 3.5, 0.2, 0.999, 13, "x")

    assert 13 == load_json(replace(answer, energy=need))["energy"]["most_laps"]


def test_nothing_at_all_is_said_with_the_reason_and_what_to_do():
    error = NotEnoughDataError("nobody measured it", where="weather", fix="Measure it.")

    assert "No number is given: weather: nobody measured it. Measure it." in withheld_lines(error)
    assert "weather: nobody measured it. Measure it." == withheld_json(error)["withheld"]
    assert withheld_json(error)["most"] is None
