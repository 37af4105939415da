from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from flightlog.reports.chart import Bound, Chart, Line, Mark, Panel, Spot
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.flight_charts import flight_charts
from flightlog.reports.svg_pieces import Axis
from tests.reports.views import HOSTILE, chart, line, view

NAMES = ("roll", "track", "laps", "power", "flight")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def charts():
    return flight_charts(view())


def parsed(text):
    return ET.fromstring(text)


def texts(root):
    return [t.text for t in root.iter(f"{SVG}text")]


def points(root, tag="polyline"):
    return [
        np.array([[float(v) for v in p.split(",")] for p in one.get("points").split()])
        for one in root.iter(f"{SVG}{tag}")
    ]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("size", [(720, None), (400, 250), (1000, 700)])
def test_every_chart_is_plain_svg_with_nothing_from_anywhere(charts, name, size):
    text = chart_svg(charts[name], *size)
    root = parsed(text)

    assert {"svg", "g", "rect", "line", "path", "polyline", "polygon", "circle", "text"} >= {
        one.tag.removeprefix(SVG) for one in root.iter()
    }
    assert ["http://www.w3.org/2000/svg"] == re.findall(r"https?://[^\"']*", text)
    assert not re.search(r"\b(?:id|class|style|href|url)\b\s*=|url\(", text)
    assert "sans-serif" == root.get("font-family")
    sizes = [float(s) for s in re.findall(r'font-size="([\d.]+)"', text)]
    assert min(sizes) >= 11
    assert size[0] == float(root.get("width"))
    assert f"0 0 {root.get('width')} {root.get('height')}" == root.get("viewBox")


@pytest.mark.parametrize("name", NAMES)
def test_only_black_white_and_greys(charts, name):
    inks = set(re.findall(r"#([0-9a-f]{6})", chart_svg(charts[name])))

    for ink in inks:
        red, green, blue = (int(ink[n : n + 2], 16) for n in (0, 2, 4))
        assert max(red, green, blue) - min(red, green, blue) <= 8, ink


@pytest.mark.parametrize("name", NAMES)
def test_everything_lies_within_the_picture(charts, name):
    root = parsed(chart_svg(charts[name]))
    width, height = float(root.get("width")), float(root.get("height"))

    for places in (*points(root), *points(root, "polygon")):
        assert (places >= 0).all()
        assert (places <= [width, height]).all()
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x")) <= width
        assert 0 <= float(text.get("y")) <= height


def test_axes_marks_limits_and_units_are_named(charts):
    roll = texts(parsed(chart_svg(charts["roll"])))

    for name in (
        "Speed over ground, m/s",
        "Height of the wheels, m",
        "distance along the runway, m",
        "start of roll",
        "lift-off",
        "limit 40 m (clause 4.2)",
        "95 % interval",
    ):
        assert name in roll
    assert "at most 60 A (clause 3.4)" in texts(parsed(chart_svg(charts["power"])))
    assert "at most 120 m (clause 5.1) (outside the picture)" in texts(
        parsed(chart_svg(charts["flight"]))
    )


@pytest.mark.parametrize("name", ["roll", "track", "laps"])
def test_a_height_that_is_given_is_kept(charts, name):
    assert 250 == pytest.approx(float(parsed(chart_svg(charts[name], 400, 250)).get("height")))


def test_hostile_texts_are_only_texts():
    one = replace(line(), name=HOSTILE)
    spot = Spot(HOSTILE, 3.0, 0.0, label=HOSTILE)
    made = Chart(
        "made",
        HOSTILE,
        HOSTILE,
        HOSTILE,
        (Panel(HOSTILE, HOSTILE, (one, line(name="two", stroke="dashed")), (spot,),
               (Bound(HOSTILE, 0.5),)),),
        (Mark(HOSTILE, 10.0),),
        left_out=HOSTILE,
    )  # fmt: skip
    for picture in (made, replace(made, map=True), replace(made, panels=(), lacking=HOSTILE)):
        text = chart_svg(picture)
        tags = {one.tag for one in parsed(text).iter()}

        assert f"{SVG}script" not in tags
        assert "<script" not in text
        assert "\u202e" not in text


def test_a_gap_stays_a_gap_also_in_the_band():
    y = np.sin(np.arange(60.0))
    y[20:30] = np.nan
    root = parsed(chart_svg(chart(Line("one", np.arange(60.0), y, y - 0.1, y + 0.1))))

    assert [20, 30] == [len(p) for p in points(root)]
    assert [40, 60] == [len(p) for p in points(root, "polygon")]


def test_no_number_that_cannot_be_drawn_gets_into_the_picture():
    y = np.sin(np.arange(60.0))
    y[5], y[15], y[25] = np.inf, 1e300, -1e300
    for made in (chart(Line("one", np.arange(60.0), y)), chart(Line("one", y, y), map=True)):
        text = chart_svg(made)

        assert "nan" not in text
        assert "inf" not in text
        assert 4 == len(points(parsed(text)))


def test_a_chart_without_numbers_says_so():
    blank = chart(Line("one", np.arange(3.0), np.full(3, np.nan)))

    assert ["There is nothing to draw."] == texts(parsed(chart_svg(blank)))
    assert ["No GPS."] == texts(parsed(chart_svg(chart(lacking="No GPS."))))


def test_what_is_left_out_is_said_below():
    made = parsed(chart_svg(chart(line(), left_out="Not drawn: airspeed.")))

    assert "Not drawn: airspeed." in texts(made)


@pytest.mark.parametrize("values", [[5.0], [5.0, 5.0], [0.0, 0.0, 0.0], [0.0, 5e-324]])
def test_a_line_that_is_level_or_one_point_is_drawn(values):
    made = chart_svg(chart(Line("one", np.arange(float(len(values))), np.array(values))))

    assert 1 == len(points(parsed(made)))


def test_peaks_of_a_long_line_stay():
    y = np.zeros(200_000)
    y[123_456] = 7.0
    text = chart_svg(chart(Line("one", np.arange(200_000.0), y)))
    (drawn,) = points(parsed(text))

    assert len(drawn) < 2000
    assert 1 == (drawn[:, 1] < drawn[:, 1].max() - 50).sum()


def test_points_have_bars_for_their_intervals_and_a_sign_for_each_line():
    x = np.arange(3.0)
    lines = [Line(f"aircraft {n}", x, x + n, x + n - 1, x + n + 1, "points") for n in range(4)]
    root = parsed(chart_svg(chart(*lines)))
    upright = [one for one in root.iter(f"{SVG}line") if one.get("stroke-width") == "1.4"]

    assert 12 == len(upright)
    assert not points(root)
    assert 4 == len(list(root.iter(f"{SVG}circle")))  # three places, one in the legend
    assert {f"aircraft {n}" for n in range(4)} <= set(texts(root))


def test_lines_that_look_alike_share_an_entry_of_the_legend():
    thin = [line(name=f"lap {n}", strong=False) for n in (4, 5)]
    made = parsed(chart_svg(chart(*thin, line(name="lap 1"))))

    assert {"lap 4, lap 5", "lap 1"} <= set(texts(made))


def test_names_of_marks_that_are_near_each_other_do_not_meet():
    marks = (Mark("start of roll", 10.0), Mark("lift-off", 11.0), Mark("gate 1", 12.0))
    root = parsed(chart_svg(chart(line(), marks=marks)))
    rows = {t.text: float(t.get("y")) for t in root.iter(f"{SVG}text")}

    assert rows["start of roll"] < rows["lift-off"] < rows["gate 1"]


# --- the map


def test_a_map_has_one_scale_north_and_a_bar_that_is_as_long_as_it_says():
    east, north = np.array([0.0, 300.0, 300.0]), np.array([0.0, 0.0, 100.0])
    root = parsed(chart_svg(chart(Line("track", east, north), map=True)))
    (drawn,) = points(root)
    metre = (drawn[1, 0] - drawn[0, 0]) / 300

    assert metre == pytest.approx((drawn[1, 1] - drawn[2, 1]) / 100, rel=0.01)
    assert "N" in texts(root)
    bar = next(t for t in texts(root) if re.fullmatch(r"\d+ m", t))
    path = next(p.get("d") for p in root.iter(f"{SVG}path") if "v9H" in p.get("d"))
    left, right = (float(n) for n in re.fullmatch(r"M([\d.]+) 6v9H([\d.]+)v-9", path).groups())
    assert float(bar.split()[0]) * metre == pytest.approx(right - left, rel=0.01)


def test_a_map_of_one_place_is_drawn():
    made = chart(Line("track", np.zeros(3), np.zeros(3)), map=True)

    assert 1 == len(points(parsed(chart_svg(made))))


# --- axes


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (0.0, 10.0, 5, ["0", "2", "4", "6", "8", "10"]),
        (-0.3, 0.3, 3, ["-0.2", "0.0", "0.2"]),
        (22.9, 24.7, 3, ["23", "24"]),
        (0.0, 0.0, 3, []),
        (999.0, 4321.0, 3, ["2000", "4000"]),
    ],
)
def test_numbers_of_an_axis_are_round(low, high, most, expected):
    assert expected == [text for _, text in Axis(low, high, 0.0, 100.0).ticks(most)]
