"""Trends in words, as JSON and as charts: whole, harmless, and on the right side of a limit."""

from __future__ import annotations

import json
import tomllib

import numpy as np
import pytest

from flightlog.figures import FIGURES
from flightlog.operations.trends import Course, TrendsAnswer, trends_answer
from flightlog.operations.trends_series import Line, Part, Point
from flightlog.operations.trends_watched import watched_kind
from flightlog.prediction.wear import Edge, Watched, judge
from flightlog.reports.trends_chart import course_chart, slope_strip
from flightlog.reports.trends_json import trends_json
from flightlog.reports.trends_words import (
    HEAD,
    baseline_lines,
    course_texts,
    headline,
    series_rows,
    trends_lines,
)
from tests.operations.conftest import farm_place
from tests.operations.worn import FIRST, PLAY, RESISTANCE, worn_farm, worn_place

__all__ = ["farm_place", "worn_farm", "worn_place"]  # fixtures


def course(values, figure=RESISTANCE, edges=(), lacking=(), id_="pack-a"):
    points = tuple(
        Point(k, f"{k}.AAAAA", FIRST, v, v - 0.001, v + 0.001) for k, v in enumerate(values, 1)
    )
    part = Part("the first flight of the record", 1, len(values), points, tuple(lacking))
    kind = watched_kind(figure)
    line = Line("pack" if kind.of_pack else "aircraft", id_, figure, (part,))
    (said,) = judge([Watched(part.series, kind.practical, tuple(edges), latest=len(values))])
    return Course(line, kind, said, (), None)


def answer(*courses):
    return TrendsAnswer(courses, len(courses), 30, 30)


def test_a_record_without_flights_names_the_import_and_not_what_was_done():
    (text,) = headline(TrendsAnswer((), 0, 0, 0))

    assert "holds no flight yet" in text
    assert "'flightlog import LOG'" in text
    assert "without options" not in text
    (other,) = headline(TrendsAnswer((), 7, 0, 12))
    assert "'flightlog trends' without options" in other


NOISE = 0.0005 * np.random.default_rng(2).standard_normal(20)
AGED = 0.030 * (1 + 0.02 * np.arange(20)) + NOISE


def test_what_is_named_stands_first_with_what_to_do():
    (text,) = headline(answer(course(AGED)))

    assert text.startswith("◐ Battery resistance at 25 °C of pack pack-a: wearing.")
    assert "ohm a cycle" in text
    assert "Inspect it" in text


def test_a_limit_that_will_be_crossed_is_told_with_its_source_and_as_beyond_the_data():
    near = Edge("<=", 0.045, 0.0, "pack file")
    (text,) = headline(answer(course(AGED, edges=[near])))

    assert "will cross the limit" in text
    assert "at most 0.0450" in text
    assert "ohm (pack file)" in text
    assert "beyond what was flown" in text


def test_nothing_named_is_no_word_of_safety():
    lines = " ".join(" ".join(trends_lines(answer(course(0.03 + NOISE)))).split())

    assert "Nothing is named" in lines
    assert "does not mean that nothing wears" in lines
    assert "that a flight is safe" in lines


def test_both_chances_are_told_in_plain_words():
    few = " ".join(" ".join(trends_lines(answer(course(0.03 + NOISE)))).split())
    full = " ".join(" ".join(trends_lines(answer(course(0.03 + NOISE)), full=True)).split())

    for said in (few, full):
        assert "'By chance': how likely a slope so clear comes about where nothing changes" in said
        assert "with all series, 1 here" in said
        assert "by chance" in said
    assert "alone, 1 with all" in few
    assert "p 0." not in few


def test_too_few_flights_say_how_many():
    few = course(AGED[:3])

    assert "fewer than 5 flights" in headline(answer(few))[0]
    assert any("3 flights have it" in text for text in course_texts(few))
    assert course_chart(few).lacking
    assert slope_strip(few)[0] == ""
    (row,) = series_rows(answer(few))
    assert len(row) == len(HEAD)


def test_a_flight_that_lacks_the_figure_is_told_with_its_reason():
    texts = course_texts(course(AGED, lacking=[("7.QQQQQ", "the current hardly changed")]))

    assert "1 not (7.QQQQQ: the current hardly changed)" in texts[0]


def test_a_chart_has_the_flights_the_line_and_what_lies_ahead():
    chart = course_chart(course(AGED, edges=[Edge("<=", 0.045, 0.0, "pack file")]))
    (panel,) = chart.panels
    flights, line, ahead = panel.lines

    assert len(flights.x) == 20
    assert (line.x[0], line.x[-1]) == (1, 20)
    assert (ahead.x[0], ahead.x[-1]) == (20, 30)
    assert "beyond what was flown" in ahead.name
    assert [bound.value for bound in panel.bounds] == [0.045]
    assert all((one.low <= one.y).all() and (one.y <= one.high).all() for one in panel.lines)


def test_a_limit_far_away_does_not_press_the_flights_flat():
    chart = course_chart(course(AGED, edges=[Edge("<=", 45.0, 0.0, "pack file")]))

    assert chart.panels[0].bounds == ()


def test_the_strip_shows_zero_apart_from_a_slope_that_is_shown():
    svg, says = slope_strip(course(AGED))

    assert svg.startswith("<svg")
    assert says.startswith("Slope +")


def test_names_of_a_foreign_laptop_do_no_harm():
    hostile = "<img src=x>\x1b[2J\u202e"
    lines = trends_lines(answer(course(AGED, id_=hostile)))

    assert not any("\x1b" in line or "\u202e" in line for line in lines)


@pytest.mark.parametrize("width", [40, 60, 80, 200])
def test_lines_fit_the_screen(width):
    for line in trends_lines(answer(course(AGED), course(0.4 + NOISE, PLAY)), width=width):
        assert len(line) <= max(60, min(width, 100))


def test_json_is_whole_and_holds_every_flight(worn_farm):
    body = json.loads(json.dumps(trends_json(trends_answer(worn_farm.desk)), allow_nan=False))

    assert body["schema"] == "flightlog.trends/1"
    assert [one["figure"] for one in body["named"]] == [RESISTANCE]
    by_figure = {one["figure"]: one for one in body["series"]}
    assert len(by_figure[RESISTANCE]["flights"]) == 20
    assert [one["ahead"] for one in by_figure[RESISTANCE]["expected"]] == [1, 5, 10]
    assert by_figure[PLAY]["lacking"][0]["why"]
    assert all(one["unit"] == FIGURES[id_].unit for id_, one in by_figure.items())


def test_lines_of_the_baseline_are_lines_of_an_aircraft_file():
    rows = [(PLAY, 0.41234567, 0.0223, ""), (RESISTANCE, 0.0, 0.0, "3 sound flights, 5 are needed")]
    body = tomllib.loads("\n".join(baseline_lines(rows, "pannier")))

    assert body == {"baseline": {PLAY: {"value": 0.412346, "spread": 0.0223, "unit": "deg"}}}
