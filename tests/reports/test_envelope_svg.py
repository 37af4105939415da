"""The envelope as a picture: every part lies where its numbers say, and greys keep them apart."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from flightlog.groundtests.scale_arithmetic import Body
from flightlog.inputs import Balance
from flightlog.operations.balance import Added, judge
from flightlog.reports.envelope_svg import HEIGHT, WIDTH, envelope_svg, envelope_words
from flightlog.uncertain import Uncertain

SVG = "{http://www.w3.org/2000/svg}"
ENVELOPE = ((4.8, 30.0), (4.8, 45.0), (8.0, 45.0), (10.0, 44.0), (10.0, 32.0), (8.0, 30.0))


@pytest.fixture
def balance():
    return Balance(
        datum="tip of the nose",
        mac_m=0.26,
        lemac_m=0.35,
        mac_std_m=0.001,
        lemac_std_m=0.001,
        envelope=ENVELOPE,
    )


def judged(balance, units=8):
    empty = Body(
        Uncertain(5.0, {"scales": 0.01}, "kg"),
        Uncertain(5.0 * 0.4478, {"scales": 0.004}, "kg·m"),
        Uncertain(0.0, {}, "kg·m"),
    )
    added = (
        Added("pack", 1, 0.6, 0.005, "battery", 0.38, 0.002, 0.02, 0.02),
        Added("payload unit", units, 0.3, 0.005, "payload", 0.47, 0.002, 0.01, 0.01),
    )
    return judge(empty, added, balance)


def parsed(verdict, balance):
    return ElementTree.fromstring(envelope_svg(verdict, balance))


def points(text):
    return [tuple(map(float, pair.split(","))) for pair in text.split()]


def scale(root):
    """Give how a mass and a balance are laid out, from the envelope's own corners."""
    drawn = points(root.find(f"{SVG}polygon").get("points"))
    (x0, y0), (x1, y1) = drawn[0], drawn[3]
    (m0, b0), (m1, b1) = ENVELOPE[0], ENVELOPE[3]

    def at(mass, share):
        x = x0 + (share - b0) * (x1 - x0) / (b1 - b0)
        return x, y0 + (mass - m0) * (y1 - y0) / (m1 - m0)

    return at, drawn


def test_the_envelope_has_all_its_corners_to_one_scale(balance):
    at, drawn = scale(parsed(judged(balance), balance))

    assert len(ENVELOPE) == len(drawn)
    for corner, place in zip(ENVELOPE, drawn, strict=True):
        assert pytest.approx(at(*corner), abs=0.2) == place


def test_more_mass_is_higher_and_more_balance_further_right(balance):
    at, _ = scale(parsed(judged(balance), balance))

    assert at(9.0, 38.0)[1] < at(8.0, 38.0)[1]
    assert at(8.0, 40.0)[0] > at(8.0, 38.0)[0]


def test_the_box_is_what_the_load_can_be(balance):
    verdict = judged(balance)
    root = parsed(verdict, balance)
    at, _ = scale(root)
    box = root.find(f"{SVG}rect")

    left, bottom = at(*verdict.low)
    right, top = at(*verdict.high)
    found = [float(box.get(name)) for name in ("x", "y", "width", "height")]
    assert pytest.approx([left, top, right - left, bottom - top], abs=0.2) == found


def test_the_worst_corner_is_marked_where_it_lies(balance):
    verdict = judged(balance)
    root = parsed(verdict, balance)
    at, _ = scale(root)
    mark = root.find(f"{SVG}circle")

    assert verdict.inside
    found = float(mark.get("cx")), float(mark.get("cy"))
    assert pytest.approx(at(*verdict.worst), abs=0.2) == found


def test_a_load_outside_has_another_mark_and_says_so(balance):
    heavy = judged(balance, units=20)
    drawn = envelope_svg(heavy, balance)

    assert not heavy.inside
    assert "NOT inside" in drawn
    assert "<circle" not in drawn
    assert "NOT inside" in envelope_words(heavy)


def test_nothing_of_it_lies_outside_of_the_picture(balance):
    for units in (0, 8, 40):
        drawn = envelope_svg(judged(balance, units), balance)
        for x in re.findall(r'(?<![a-z])(?:x|x1|x2|cx)="([-0-9.]+)"', drawn):
            assert -1 <= float(x) <= WIDTH
        for y in re.findall(r'(?<![a-z])(?:y|y1|y2|cy)="([-0-9.]+)"', drawn):
            assert -1 <= float(y) <= HEIGHT


def test_it_needs_no_colour_and_nothing_from_anywhere(balance):
    drawn = envelope_svg(judged(balance), balance)

    for red, green, blue in re.findall(r"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})", drawn):
        assert 16 >= max(int(c, 16) for c in (red, green, blue)) - min(
            int(c, 16) for c in (red, green, blue)
        ), "a colour, which a print in greys loses"
    assert "http" not in drawn.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert "<script" not in drawn


def test_ids_begin_with_the_name_that_is_given(balance):
    drawn = envelope_svg(judged(balance), balance, name="second")

    assert re.findall(r'id="([^"]+)"', drawn) == ["second-hatching"]
    assert "url(#second-hatching)" in drawn


def test_a_load_without_any_spread_can_be_drawn(balance):
    verdict = judged(balance)
    middle = (verdict.loaded.mass.value, verdict.balance.value)
    sharp = replace(verdict, low=middle, high=middle, worst=middle)

    assert "<rect" in envelope_svg(sharp, balance)
