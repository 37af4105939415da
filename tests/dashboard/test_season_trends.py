"""The Season page says what is wearing out, with a chart for each thing that is named."""

from __future__ import annotations

import pytest

from tests.dashboard.conftest import _screen
from tests.dashboard.screens import texts
from tests.operations.worn import worn_place

__all__ = ["worn_place"]  # fixture

VIEW = "What is wearing out"


@pytest.fixture
def worn_screen(worn_place, tmp_path, monkeypatch):
    return _screen(*worn_place, tmp_path, monkeypatch)


def seen(screen):
    page = screen.page("season")
    return page.button_group("season-view").set_value(VIEW).run()


def test_what_wears_is_named_with_its_chart_and_the_rest_is_listed(worn_screen):
    page = seen(worn_screen)

    assert not page.exception
    shown = texts(page)
    assert "Battery resistance at 25 °C of pack pack-a" in shown
    assert "Elevator: play" in shown
    assert "No line here says that a flight is safe" in shown
    assert len(page.get("plotly_chart")) == 1


def test_any_series_can_be_looked_at_in_full(worn_screen):
    page = seen(worn_screen)
    box = page.selectbox("season-trend")
    page = box.set_value("aircraft pannier surface.elevator.play").run()

    assert not page.exception
    assert "19 flights have it, 1 not" in texts(page)
    assert len(page.get("plotly_chart")) == 2


def test_figures_of_a_surface_can_be_drawn_over_the_season(worn_screen):
    page = worn_screen.page("season")
    page.button_group("season-view").set_value("Course of a figure").run()
    page.selectbox("season-course-of").set_value("surface.elevator.play").run()

    assert not page.exception
    assert "19 of 20 flights have what is drawn here." in texts(page)


def test_without_flights_that_have_such_figures_nothing_is_said(farm_screen):
    from datetime import timedelta

    from tests.dashboard.test_season import farm_of
    from tests.operations.logs import imported
    from tests.operations.test_season_table import NINE

    farm = farm_of(farm_screen)
    imported(farm, NINE, each={"figures": {}})
    farm_screen.clock.now = NINE + timedelta(hours=2)
    farm.close()
    page = seen(farm_screen)

    assert not page.exception
    assert "No figure that is watched is in the record yet" in texts(page)
