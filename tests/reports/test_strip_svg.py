from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.contract import outcome_json, plain_json
from flightlog.reports import strip
from flightlog.reports.strip_svg import one_sided, strip_svg
from tests.made_debriefs import judged
from tests.reports.views import HOSTILE

SVG = "{http://www.w3.org/2000/svg}"


def body(*said, **more):
    return plain_json(outcome_json(judged(*said, **more)))


def lines(text, width):
    return [
        [float(one.get(key)) for key in ("x1", "y1", "x2", "y2")]
        for one in ET.fromstring(text).iter(f"{SVG}line")
        if float(one.get("stroke-width")) == width
    ]


def tick_and_bar(text):
    (tick,) = lines(text, 2.6)
    bars = lines(text, 7.0)
    return tick[0], (bars[0][0], bars[0][2]) if bars else None


@given(
    st.floats(0, 100),
    st.floats(0, 50),
    st.floats(0.001, 100),
    st.sampled_from(["<=", ">="]),
    st.floats(120, 800),
    st.sampled_from([0.6, 0.9, 0.95, 0.999]),
)
def test_the_bar_never_says_another_word_than_the_outcome(value, std, limit, op, width, required):
    outcome = body(value, std, limit=limit, op=op, required=required)
    tick, bar = tick_and_bar(strip_svg(outcome, width))

    sides = {bar[0] < tick, bar[1] < tick} if bar else set()
    allowed = op == "<="
    expected = {"met": {allowed}, "not met": {not allowed}, "not shown": {True, False}}
    assert expected[outcome["outcome"]] == sides
    assert 0 <= bar[0] <= bar[1] <= width


@given(st.floats(-50, 50), st.floats(0.1, 20), st.sampled_from([0.5, 0.8, 0.95, 0.99]))
def test_one_sided_limits_are_those_of_the_distribution_itself(value, std, required):
    outcome = judged(value, std, required=required)
    stored = outcome_json(outcome)
    ends = one_sided(stored["value"], stored["low"], stored["high"], required)

    assert strip.one_sided(outcome.quantity, required) == pytest.approx(ends, abs=1e-6)


def test_one_sided_limits_keep_the_lean_of_an_interval():
    low, high = one_sided(10.0, 8.0, 14.0, 0.95)

    assert (10 - 0.8392 * 2, 10 + 0.8392 * 4) == (
        pytest.approx(low, abs=1e-3),
        pytest.approx(high, abs=1e-3),
    )


@pytest.mark.parametrize("op", ["<=", ">="])
def test_the_line_is_through_where_it_is_allowed_and_broken_beyond(op):
    root = ET.fromstring(strip_svg(body(30.0, 1.0, op=op)))
    halves = [one for one in root.iter(f"{SVG}line") if one.get("stroke-width") == "1.6"]
    through = next(one for one in halves if one.get("stroke-dasharray") is None)
    broken = next(one for one in halves if one.get("stroke-dasharray"))

    assert (float(through.get("x1")) < float(broken.get("x1"))) == (op == "<=")


def test_what_is_not_assessable_has_a_bound_and_no_bar():
    text = strip_svg(body(None))
    tick, bar = tick_and_bar(text)

    assert bar is None
    assert "<path" not in text
    assert 210 == tick


def test_nothing_is_drawn_of_numbers_without_end():
    assert tick_and_bar(strip_svg(body(1e308, 1e307)))[1] is None


def test_it_says_in_words_what_it_shows():
    assert 'aria-label="met: Ground roll 30.0 m, at most 40 m"' in strip_svg(body(30.0, 1.0))


def test_hostile_texts_are_only_texts():
    text = strip_svg({**body(30.0, 1.0), "figure": HOSTILE, "outcome": "met"})

    assert "<script" not in text
    assert ET.fromstring(text).get("aria-label")
    assert not re.search(r"\b(?:id|class|style|href)=", text)
