"""How much may be loaded today as a picture: strips to one scale, which greys keep apart."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from flightlog.operations.load_answer import FAILS, Bind
from flightlog.reports.load_today_picture import (
    MOST_ROWS,
    WIDTH,
    load_today_picture_words,
    load_today_svg,
    shown_choices,
)
from flightlog.reports.look import SMALL_PX
from tests.reports.load_answers import answer, choice

SVG = "{http://www.w3.org/2000/svg}"
BAR_PX = 10.0


def parsed(said):
    return ElementTree.fromstring(load_today_svg(said))


def texts(root):
    return [t.text or "" for t in root.iter(f"{SVG}text")]


def scale(root):
    """Give where a number of metres lies, from two numbers of the axis."""
    ticks = [
        (float(t.text), float(t.get("x")))
        for t in root.iter(f"{SVG}text")
        if t.get("text-anchor") == "middle" and (t.text or "").isdigit()
    ]
    (v0, x0), (v1, x1) = ticks[0], ticks[-1]
    return lambda metres: x0 + (metres - v0) * (x1 - x0) / (v1 - v0)


def rows(root):
    """Give the bars of the choices from top to bottom, without those of the legend."""
    found = [r for r in root.iter(f"{SVG}rect") if float(r.get("height")) == BAR_PX]
    return found[:-2]


def marks(root):
    return [float(re.match(r"M([0-9.]+) ", p.get("d"))[1]) + 6.5 for p in root.iter(f"{SVG}path")]


def frames(root):
    return [r for r in root.iter(f"{SVG}rect") if r.get("fill") == "none"]


def test_mark_and_bar_lie_where_the_prediction_says():
    said = answer()
    root = parsed(said)
    at = scale(root)

    for one, bar, mark in zip(shown_choices(said), rows(root), marks(root), strict=False):
        assert at(one.roll.median_m) == pytest.approx(mark, abs=0.2)
        assert at(one.roll.quantile(0.05)) == pytest.approx(float(bar.get("x")), abs=0.2)
        end = float(bar.get("x")) + float(bar.get("width"))
        if one.units != said.most:  # its bar ends so near to the limit that it is kept clear of it
            assert at(one.roll.quantile(0.95)) == pytest.approx(end, abs=0.2)


@pytest.mark.parametrize("close", [0.9501, 0.9499])
def test_the_bar_ends_on_the_side_of_the_limit_that_the_word_says(close):
    said = answer(*(choice(n) for n in range(9)), choice(9, probability=close), most=None)
    root = parsed(said)
    bar = rows(root)[-1]
    end = float(bar.get("x")) + float(bar.get("width"))

    assert (close >= 0.95) == (end < scale(root)(40.0))


def test_the_answer_alone_stands_in_a_frame_and_says_so():
    root = parsed(answer())
    (frame,) = frames(root)

    assert "at most 9" in texts(root)
    middle = float(frame.get("y")) + float(frame.get("height")) / 2
    (row,) = [t for t in root.iter(f"{SVG}text") if t.text == "at most 9"]
    assert middle == pytest.approx(float(row.get("y")) - 5.5, abs=0.2)


@pytest.mark.parametrize("said", [answer(most=None), answer(withheld="old weather")])
def test_without_an_answer_nothing_is_framed(said):
    root = parsed(said)

    assert not frames(root)
    assert not [t for t in texts(root) if "at most" in t]


def test_what_is_beyond_what_was_flown_is_hollow_and_broken_and_named():
    said = answer(most=9)
    for one, bar in zip(shown_choices(said), rows(parsed(said)), strict=False):
        assert bool(one.beyond_flown) == bool(bar.get("stroke-dasharray"))
        assert bool(one.beyond_flown) == (bar.get("fill") != bar.get("stroke"))
    assert "beyond what was flown" in texts(parsed(said))
    assert "beyond what was flown from 12 on" in load_today_picture_words(said)


def test_what_else_fails_stands_beside_a_kept_limit():
    heavy = choice(1, binds=(Bind("balance", FAILS, "outside"),))
    found = texts(parsed(answer(choice(0), heavy, most=0)))

    assert "● over 99.9 of 100" in found
    assert "✕ over 99.9 of 100, balance" in found


def test_some_choices_around_the_answer_are_drawn():
    said = answer()

    assert MOST_ROWS == len(shown_choices(said))
    assert [5, 12] == [c.units for c in (shown_choices(said)[0], shown_choices(said)[-1])]
    assert [0, 1] == [c.units for c in shown_choices(answer(choice(0), choice(1), most=1))]
    assert 14 == shown_choices(answer(most=14))[-1].units


def test_it_is_told_in_words():
    said = load_today_picture_words(answer())

    assert "limit 40 m" in said
    assert "at most 9 units" in said
    assert "9 units median 34.8 m, 95 of 100 below 39.9 m" in said


def test_it_is_drawn_without_a_limit():
    found = texts(parsed(answer(choice(0, probability=None), limit=None, most=None, withheld="no")))

    assert not [t for t in found if t.startswith("limit")]


def test_nothing_of_it_lies_outside_and_every_letter_can_be_read():
    for said in (answer(), answer(most=0), answer(choice(0)), answer(withheld="old")):
        drawn = load_today_svg(said)
        height = float(re.search(r'viewBox="0 0 [0-9.]+ ([0-9.]+)"', drawn)[1])
        for x in re.findall(r'(?<![a-z])(?:x|x1|x2)="([-0-9.]+)"', drawn):
            assert 0 <= float(x) <= WIDTH
        for y in re.findall(r'(?<![a-z])(?:y|y1|y2)="([-0-9.]+)"', drawn):
            assert 0 <= float(y) <= height
        sizes = re.findall(r'<text[^>]*font-size="([0-9.]+)"', drawn)
        assert sizes
        assert {float(SMALL_PX)} == {float(size) for size in sizes}


def test_it_needs_no_colour_and_nothing_from_anywhere():
    drawn = load_today_svg(answer())

    for colour in re.findall(r"#([0-9a-f]{6})", drawn):
        parts = [int(colour[i : i + 2], 16) for i in (0, 2, 4)]
        assert 16 >= max(parts) - min(parts), "a colour, which a print in greys loses"
    assert "http" not in drawn.replace('xmlns="http://www.w3.org/2000/svg"', "")
