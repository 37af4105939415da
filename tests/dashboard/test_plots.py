from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from itertools import pairwise

import numpy as np
import plotly
import pytest

from flightlog.dashboard.plot_places import MOST_ROWS, levels, right_margin
from flightlog.dashboard.plot_traces import MOST_SIGNS, shown
from flightlog.dashboard.plots import NEEDLESS, figure_of
from flightlog.reports.chart import Bound, Chart, Line, Mark, Panel, Spot
from flightlog.reports.flight_charts import flight_charts
from tests.reports.views import HOSTILE, chart, line, view

NAMES = ("roll", "track", "laps", "power", "flight")


@pytest.fixture(scope="module")
def charts():
    return flight_charts(view())


@pytest.fixture(scope="module")
def figures(charts):
    return {name: figure_of(each) for name, each in charts.items()}


def drawn(figure):
    """Give the lines of a figure that have points, without bands."""
    return [t for t in figure.data if t.mode == "lines" and not t.fill and len(t.x) > 1]


def strings(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from strings(one)
    elif isinstance(value, list):
        for one in value:
            yield from strings(one)


def sizes(value, inside=""):
    """Give the sizes of all fonts of a figure. [px]"""
    if isinstance(value, dict):
        for key, one in value.items():
            if key == "size" and inside.endswith("font"):
                yield one
            yield from sizes(one, key)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from sizes(one, inside)


@pytest.mark.parametrize("name", NAMES)
def test_no_words_are_smaller_than_those_of_the_page(figures, name):
    found = list(sizes(figures[name].to_dict()["layout"]))

    assert len(found) > 3
    assert min(found) >= 16


@pytest.mark.parametrize("name", NAMES)
def test_all_panels_share_one_axis_across(figures, charts, name):
    figure = figures[name]
    upward = {t.yaxis for t in figure.data}

    assert {"x"} == {t.xaxis for t in figure.data}
    assert len(charts[name].panels) == len(upward)
    assert "axis" == (figure.layout.hoversubplots or "axis")
    assert ("closest" if name == "track" else "x unified") == figure.layout.hovermode
    domains = [
        figure.layout["yaxis" + axis[1:]].domain for axis in sorted(upward, key=lambda a: a[1:])
    ]
    for above, below in pairwise(domains):
        assert below[1] < above[0]


@pytest.mark.parametrize("name", NAMES)
def test_axes_have_units_and_hover_has_numbers_with_units(figures, charts, name):
    figure = figures[name]
    unit = charts[name].x_unit

    assert figure.layout.xaxis.title.text == f"{charts[name].x_label} ({unit})"
    for number, panel in enumerate(charts[name].panels, start=1):
        axis = figure.layout[f"yaxis{number}" if number > 1 else "yaxis"]
        assert axis.title.text == f"{panel.label} ({panel.unit})"
    for trace in drawn(figure):
        assert re.fullmatch(r"%\{y:\.\df\} \S+", trace.hovertemplate)


@pytest.mark.parametrize("name", NAMES)
def test_letters_are_large_and_near_black_on_white(figures, name):
    sizes, body = [], json.loads(figures[name].to_json())

    def collect(value):
        if isinstance(value, dict):
            sizes.extend(v for k, v in value.items() if k == "size" and isinstance(v, (int, float)))
            for one in value.values():
                collect(one)
        elif isinstance(value, list):
            for one in value:
                collect(one)

    collect({k: v for k, v in body["layout"].items() if k != "template"})
    assert min(sizes) >= 14
    assert ("#141414", "#ffffff") == (
        figures[name].layout.font.color,
        figures[name].layout.paper_bgcolor,
    )


def test_every_line_of_a_panel_differs_by_stroke_or_width_not_by_colour_alone(figures):
    for figure in figures.values():
        for axis in {t.yaxis for t in figure.data}:
            looks = [
                (t.line.dash, t.line.width)
                for t in drawn(figure)
                if t.yaxis == axis and t.x is not None
            ]
            assert len(looks) == len(set(looks))


def test_events_are_upright_lines_with_names_and_intervals(figures, charts):
    layout = figures["roll"].layout
    upright = [s for s in layout.shapes if s.type == "line" and s.x0 == s.x1]
    (interval,) = (s for s in layout.shapes if s.type == "rect")
    lift_off = charts["roll"].marks[1]

    assert [m.x for m in charts["roll"].marks] == [s.x0 for s in upright]
    assert {"start of roll", "lift-off", "limit 40 m (clause 4.2)"} == {
        a.text for a in layout.annotations
    }
    assert (lift_off.low, lift_off.high) == (interval.x0, interval.x1)
    assert upright[0].line.dash != upright[-1].line.dash


def test_limits_are_level_lines_named_in_the_legend(figures):
    figure = figures["flight"]
    names = [t.name for t in figure.data]
    level = [s.y0 for s in figure.layout.shapes if s.type == "line" and s.y0 == s.y1]

    assert "airspeed at most 24 m/s (aircraft file)" in names
    assert "at most 120 m (clause 5.1) (outside the picture)" in names
    assert [24.0] == level


def test_a_map_has_one_scale_a_bar_and_north(figures):
    layout = figures["track"].layout
    (bar,) = (s for s in layout.shapes if s.type == "line")

    assert ("x", 1) == (layout.yaxis.scaleanchor, layout.yaxis.scaleratio)
    assert {f"{bar.x1 - bar.x0:g} m", "↑<br>N"} == {a.text for a in layout.annotations}
    assert {"start of roll", "lift-off", "touchdown", "end of the gate"} == {
        t.name for t in figures["track"].data if t.mode == "markers"
    }


def test_no_button_sends_anything_anywhere(figures):
    assert {"sendChartToCloud", "sendDataToCloud", "editInChartStudio"} <= set(NEEDLESS)
    for figure in figures.values():
        assert set(NEEDLESS) <= set(figure.layout.modebar.remove)
        assert "http" not in "".join(strings(json.loads(figure.to_json())["layout"]))


def test_the_library_knows_no_other_button_that_sends():
    """A newer library may bring another one, under another name."""
    known = {"sendChartToCloud", "editInChartStudio", "sendDataToCloud"}
    bundle = plotly.offline.get_plotlyjs()
    buttons = set(re.findall(r'name:"((?:send|share|edit|upload|publish)\w*)",title', bundle))

    assert buttons <= known


# --- texts of others


def test_a_text_is_only_a_text():
    assert "&lt;b&gt;bold&lt;/b&gt; &amp; &#36;x&#36; &#37;{y} &lt;a href=" in shown(
        "<b>bold</b> & $x$ %{y} <a href='http://x'>"
    )


def test_hostile_texts_get_into_no_figure():
    spot = Spot(HOSTILE, 3.0, 0.0, label=HOSTILE)
    panel = Panel(HOSTILE, HOSTILE, (line(name=HOSTILE),), (spot,), (Bound(HOSTILE, 0.5),))
    made = Chart("made", HOSTILE, HOSTILE, HOSTILE, (panel,), (Mark(HOSTILE, 1.0),),
                 left_out=HOSTILE)  # fmt: skip
    for one in (made, Chart("made", HOSTILE, lacking=HOSTILE)):
        texts = list(strings(json.loads(figure_of(one).to_json())))
        texts = [t for t in texts if "alert" in t]

        assert texts
        for text in texts:
            assert "<script" not in text
            assert "%{z}" not in text
            assert "$" not in text
            assert "\u202e" not in text


# --- points and gaps


def test_a_long_line_is_thinned_and_keeps_its_peak():
    y = np.zeros(500_000)
    y[123_456] = 7.0
    began = time.perf_counter()
    figure = figure_of(chart(Line("one", np.arange(500_000.0), y)))
    lasted = time.perf_counter() - began
    (trace,) = drawn(figure)

    assert len(trace.y) <= 2000
    assert (7.0, 123_456.0) == (trace.y.max(), trace.x[int(np.argmax(trace.y))])
    assert lasted < 5.0


def test_most_points_are_what_was_asked_for():
    assert 100 >= len(drawn(figure_of(chart(line(5000)), most=100))[0].x)


def test_a_gap_stays_a_gap_also_in_the_band():
    y = np.sin(np.arange(60.0))
    y[20:30] = np.nan
    figure = figure_of(chart(Line("one", np.arange(60.0), y, y - 0.1, y + 0.1)))
    (band,) = [t for t in figure.data if t.fill]
    (trace,) = drawn(figure)

    assert not trace.connectgaps
    assert 10 == np.isnan(trace.y).sum()
    assert band.showlegend
    assert [40] == np.flatnonzero(np.isnan(band.y)).tolist()
    assert 40 + 1 + 60 == len(band.x)
    assert not any(20 <= x < 30 for x in band.x)


def test_a_line_that_is_all_gaps_makes_no_heap_of_areas():
    y = np.sin(np.arange(6000.0))
    y[::20] = np.nan
    figure = figure_of(chart(Line("one", np.arange(6000.0), y, y - 0.1, y + 1e300)))
    assert 1 == len(figure.data), "a band without end is none"

    figure = figure_of(chart(Line("one", np.arange(6000.0), y, y - 0.1, y + 0.1)))
    assert 2 == len(figure.data)


def test_no_number_without_end_is_drawn():
    y = np.sin(np.arange(60.0))
    y[5], y[15] = np.inf, 1e300

    assert "1e+300" not in figure_of(chart(Line("one", np.arange(60.0), y))).to_json()
    (trace,) = drawn(figure_of(chart(Line("one", np.arange(60.0), y))))
    assert 2 == np.isnan(trace.y).sum()


def test_points_have_bars_for_their_intervals_and_a_sign_for_each_line():
    x = np.arange(3.0)
    lines = [Line(f"aircraft {n}", x, x + n, x + n - 1, x + n + 2, "points") for n in range(4)]
    figure = figure_of(chart(*lines))

    assert 4 == len({t.marker.symbol for t in figure.data})
    for trace in figure.data:
        assert [1, 1, 1] == list(trace.error_y.arrayminus)
        assert [2, 2, 2] == list(trace.error_y.array)
    assert "closest" == figure.layout.hovermode


def test_signs_that_stand_for_a_line_do_not_lie_on_each_other():
    figure = figure_of(chart(line(5000, stroke="points"), line()))

    assert MOST_SIGNS >= min(len(t.x) for t in figure.data)


def test_a_look_is_told_once():
    lines = (line(name="lap 1"), line(name="lap 2", stroke="dashed"))
    made = Chart("made", "Made", "x", "m", [Panel(p, "m", lines) for p in ("Height", "Speed")])

    assert [("lap 1", True), ("lap 2", True), ("lap 1", False), ("lap 2", False)] == [
        (t.name, t.showlegend) for t in figure_of(made).data
    ]


# --- what is missing


def test_a_chart_without_anything_says_why():
    figure = figure_of(Chart("made", "Made", lacking="The log holds no position."))

    assert () == figure.data
    assert ["The log holds no position."] == [a.text for a in figure.layout.annotations]


def test_what_is_left_out_is_said_below():
    with_note = figure_of(chart(line(), left_out="Not drawn: airspeed."))
    plain = figure_of(chart(line()))

    assert ["Not drawn: airspeed."] == [a.text for a in with_note.layout.annotations]
    assert with_note.layout.height > plain.layout.height


# --- places


def test_names_near_each_other_stand_in_steps_and_too_many_are_left_out():
    marks = [Mark(f"gate {n}", 10.0 + n) for n in range(8)]
    rows = levels(marks, (0.0, 600.0))

    assert [None] * 4 + [3, 2, 1, 0] == rows
    assert MOST_ROWS == len({r for r in rows if r is not None})
    assert [0, 0] == levels([Mark("a", 10.0), Mark("b", 500.0)], (0.0, 600.0))
    assert [None] == levels([Mark("", 10.0)], (0.0, 600.0))


@pytest.mark.parametrize("name", NAMES)
def test_no_name_or_legend_lies_under_the_row_of_tools(figures, name):
    layout = figures[name].layout

    assert 40 <= layout.margin.t, "so high is the row"
    plots = layout.height - layout.margin.t - layout.margin.b
    rows = 3 if name == "track" else 1
    assert 32 * rows <= (1 - layout.yaxis.domain[1]) * plots + 1e-6


def test_a_name_at_the_right_end_has_room():
    assert 16 == right_margin([Mark("gate", 10.0)], (0.0, 100.0))
    assert 80 < right_margin([Mark("standstill", 100.0)], (0.0, 100.0)) < 160


def test_the_commands_load_no_library_of_charts():
    code = (
        "import sys, flightlog, flightlog.cli.app, flightlog.reports.flight_charts\n"
        "import flightlog.dashboard.plots\n"
        "print(sorted(m for m in sys.modules if m.split('.')[0] == 'plotly'))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )

    assert "[]\n" == done.stdout
