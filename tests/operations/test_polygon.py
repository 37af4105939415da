from __future__ import annotations

import math
import random
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.operations.polygon import box_within, clearance, edges, line_within, within

SQUARE = ((0.0, 0.0), (0.0, 4.0), (4.0, 4.0), (4.0, 0.0))
NOTCHED = (
    (0.0, 0.0),
    (0.0, 6.0),
    (2.0, 6.0),
    (2.0, 3.0),
    (4.0, 3.0),
    (4.0, 6.0),
    (6.0, 6.0),
    (6.0, 0.0),
)
"""A square of 6 with a notch of 2 by 3 in one side."""


@st.composite
def stars(draw):
    """Polygons that don't cross themselves: one corner in each of several directions."""
    count = draw(st.integers(3, 12))
    seed = random.Random(draw(st.integers(0, 2**32)))
    angles = [2 * math.pi * (n + seed.random() * 0.9) / count for n in range(count)]
    radii = [seed.uniform(0.5, 10) for _ in range(count)]
    corners = [(r * math.cos(a), r * math.sin(a)) for r, a in zip(radii, angles, strict=True)]
    return tuple(corners if draw(st.booleans()) else reversed(corners))


def winds_around(point, polygon):
    """Whether a polygon winds around a point: the turns of the sight of its corners in sum."""
    turned = 0.0
    for a, b in edges(polygon):
        ax, ay, bx, by = a[0] - point[0], a[1] - point[1], b[0] - point[0], b[1] - point[1]
        turned += math.atan2(ax * by - ay * bx, ax * bx + ay * by)
    return abs(turned) > math.pi


@given(stars(), st.tuples(st.floats(-11, 11), st.floats(-11, 11)))
def test_a_point_is_within_what_winds_around_it(polygon, point):
    if abs(clearance(point, polygon)) > 1e-6:
        assert winds_around(point, polygon) == within(point, polygon)


@given(stars(), st.integers(0, 11), st.floats(0, 1))
def test_edges_and_corners_lie_within(polygon, number, share):
    a, b = edges(polygon)[number % len(polygon)]

    assert within(a, polygon)
    assert within((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])), polygon)


@pytest.mark.parametrize("polygon", [SQUARE, SQUARE[::-1]])
def test_either_way_round_is_the_same(polygon):
    assert within((2.0, 2.0), polygon)
    assert not within((4.001, 2.0), polygon)
    assert 0.25 == clearance((1.0, 2.0), polygon)
    assert -0.5 == clearance((6.0, 2.0), polygon)


# --- lines and boxes


def test_a_line_across_a_notch_is_not_within_though_its_ends_are():
    assert within((1.0, 5.0), NOTCHED)
    assert within((5.0, 5.0), NOTCHED)
    assert not line_within((1.0, 5.0), (5.0, 5.0), NOTCHED)
    assert line_within((1.0, 3.0), (5.0, 3.0), NOTCHED)
    assert line_within((1.0, 2.9), (5.0, 2.9), NOTCHED)


@pytest.mark.parametrize(
    ("low", "high", "inside"),
    [
        ((1.0, 5.0), (5.0, 5.5), False),  # over the notch, all corners inside
        ((1.0, 1.0), (5.0, 3.0), True),  # below it, touching
        ((1.0, 1.0), (5.0, 3.1), False),
        ((2.0, 3.0), (4.0, 6.0), False),  # the notch itself: all corners on the edge
        ((0.0, 0.0), (2.0, 6.0), True),  # beside it, touching
        ((0.0, 0.0), (6.0, 6.0), False),
        ((1.0, 5.0), (5.0, 5.0), False),  # a line, and
        ((1.0, 1.0), (5.0, 1.0), True),
        ((3.0, 3.0), (3.0, 3.0), True),  # points
        ((3.0, 3.5), (3.0, 3.5), False),
    ],
)
@pytest.mark.parametrize("way", [1, -1])
def test_a_box_has_to_be_within_as_a_whole(low, high, inside, way):
    assert inside == box_within(low, high, NOTCHED[::way])


def test_a_box_that_is_the_polygon_is_within_it_and_one_that_rounding_made_larger_too():
    assert box_within((0.0, 0.0), (4.0, 4.0), SQUARE)
    assert box_within((-1e-13, 0.0), (4.0, 4.0 + 1e-13), SQUARE)
    assert not box_within((0.0, 0.0), (4.0, 4.0001), SQUARE)


@st.composite
def staircases(draw):
    """Columns of whole heights side by side, as one polygon."""
    heights = draw(st.lists(st.integers(1, 5), min_size=1, max_size=7))
    tops = [(float(n + side), float(h)) for n, h in enumerate(heights) for side in (0, 1)]
    corners = [(0.0, 0.0), *tops, (float(len(heights)), 0.0)]
    corners = [c for n, c in enumerate(corners) if c != corners[n - 1]]
    return heights, tuple(corners if draw(st.booleans()) else reversed(corners))


halves = st.integers(-1, 15).map(lambda n: n / 2)


@given(staircases(), halves, halves, halves, halves)
def test_a_box_is_within_a_staircase_as_far_as_its_columns_are_high(made, x1, x2, y1, y2):
    heights, polygon = made
    (left, right), (bottom, top) = sorted((x1, x2)), sorted((y1, y2))
    if left == right:  # a line: one of the columns beside it is enough
        beside = [h for n, h in enumerate(heights) if n <= left <= n + 1]
        inside = bool(beside) and 0 <= bottom and top <= max(beside)
    else:
        under = [h for n, h in enumerate(heights) if left < n + 1 and right > n]
        whole = 0 <= left and right <= len(heights)
        inside = whole and 0 <= bottom and top <= min(under)

    assert inside == box_within((left, bottom), (right, top), polygon)


@given(stars(), st.tuples(st.floats(-9, 9), st.floats(-9, 9)), st.floats(0.01, 4))
def test_every_point_of_a_box_that_is_within_is_within(polygon, low, size):
    high = (low[0] + size, low[1] + size)
    if box_within(low, high, polygon):
        shares = [k / 10 for k in range(11)]
        for s, t in product(shares, shares):
            assert within((low[0] + s * size, low[1] + t * size), polygon)
