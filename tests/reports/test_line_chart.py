"""Small charts: where points lie, what the axes say, and that any numbers make a picture."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.reports.line_chart import as_image, line_chart


def lines(chart):
    root = ElementTree.fromstring(chart)
    return [
        [tuple(map(float, point.split(","))) for point in line.get("points").split()]
        for line in root.iter()
        if line.tag.endswith("polyline")
    ]


def texts(chart):
    root = ElementTree.fromstring(chart)
    return [one.text for one in root.iter() if one.tag.endswith("text")]


def test_points_lie_where_time_and_value_say():
    chart = line_chart([-60.0, -30.0, 0.0], [0.0, 10.0, 5.0], "V", span=(-60.0, 0.0))
    ((a, b, c),) = lines(chart)

    # Left to right over the frame of 96 to 748, and upwards for larger values.
    assert (96.0, 748.0) == (a[0], c[0])
    assert b[0] == pytest.approx((96.0 + 748.0) / 2)
    assert a[1] > c[1] > b[1]
    assert c[1] == pytest.approx((a[1] + b[1]) / 2)
    assert {"10 V", "0 V", "-60", "-10", "0 s"} <= set(texts(chart))


def test_a_gap_is_no_line_and_a_point_by_itself_is_a_dot():
    times, values = [-9.0, -8.0, -3.0, -1.0, 0.0], [1.0, 2.0, 9.0, 4.0, 5.0]
    gaps = [False, False, True, True, False]
    chart = line_chart(times, values, span=(-10.0, 0.0), gaps=gaps)

    assert [2, 2] == [len(line) for line in lines(chart)]
    assert 1 == chart.count("<circle")


def test_what_never_changes_is_a_line_in_the_middle_with_one_number():
    chart = line_chart([-2.0, 0.0], [3.5, 3.5], "A", span=(-2.0, 0.0))

    assert 1 == len({y for _, y in lines(chart)[0]})
    assert ["3.5 A"] == [t for t in texts(chart) if "A" in t]


def test_numbers_that_lie_near_each_other_are_told_apart():
    chart = line_chart([-1.0, 0.0], [51.4712345, 51.4712346], "deg", span=(-1.0, 0.0))

    assert {"51.4712345 deg", "51.4712346 deg"} <= set(texts(chart))


def test_a_unit_from_a_log_is_no_markup():
    chart = line_chart([-1.0, 0.0], [1.0, 2.0], "<script>&", span=(-1.0, 0.0))

    assert "2 <script>&" in texts(chart)
    assert "<script>" not in chart


@given(
    st.lists(
        st.tuples(st.floats(-70, 10), st.floats(allow_nan=False, allow_infinity=False)),
        min_size=1,
        max_size=60,
    )
)
def test_any_finite_numbers_make_a_picture_within_its_frame(points):
    points.sort()
    times, values = zip(*points, strict=True)
    chart = line_chart(times, values, "m", span=(-70.0, 10.0))

    assert "nan" not in chart
    assert not re.search(r"\binf", chart)
    for line in lines(chart):
        for x, y in line:
            assert 95.9 <= x <= 748.1
            assert 7.9 <= y <= 108.1


def test_as_an_image_it_has_a_size_and_is_whole():
    image = as_image(line_chart([0.0, 1.0], [1.0, 2.0], "m", span=(0.0, 1.0)))

    root = ElementTree.fromstring(image)
    assert "{http://www.w3.org/2000/svg}svg" == root.tag
    assert ("1140", "195") == (root.get("width"), root.get("height"))
