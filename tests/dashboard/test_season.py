"""The season shows what was flown, lets it be filtered, and takes no text for markup."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from flightlog.dashboard import shell
from flightlog.logbook.book import Logbook
from flightlog.logbook.names import Names
from flightlog.operations.desk import Desk
from flightlog.operations.season_table import season_rows
from flightlog.team.folder import TeamFolder
from tests.dashboard.screens import texts
from tests.operations.carded import carded, flown_after, released_by_card
from tests.operations.logs import imported, release
from tests.operations.made import HillFarm
from tests.operations.released import loaded, weighed, wind
from tests.operations.test_season_table import NINE, WITH_ROLL

HOSTILE = "[a](http://x.invalid) ![b](http://x.invalid/b.png) <img src=x onerror=alert(1)> =1+1"


def farm_of(screen):
    """Work at the folder that a screen has open, as by commands in another window."""
    shell.close()
    farm = HillFarm.__new__(HillFarm)
    farm.clock = screen.clock
    farm.folder = TeamFolder.read(screen.team)
    farm.book = Logbook.open(farm.folder.logbook, clock=farm.clock)
    farm.desk = Desk(farm.folder, farm.book, Names.read(farm.folder.names))
    return farm


@pytest.fixture
def season_screen(farm_screen):
    farm = farm_of(farm_screen)
    release(farm, NINE - timedelta(minutes=10))
    imported(farm, NINE, each=WITH_ROLL)
    imported(farm, NINE + timedelta(days=1), file="second.bin", pack="pack-b")
    third = datetime(2027, 4, 2, 9, tzinfo=UTC)
    (flight,) = imported(farm, third, file="third.bin", pack="pack-b")
    said = {"reason": HOSTILE, "pack": "pack-a"}
    farm.add("pairing", said, ("pilot", "stated"), cites=[flight.entry])
    farm_screen.names = [row.name for row in season_rows(farm.desk)]
    farm.close()
    return farm_screen


def listed(page):
    """Give the sorties that the page lists, in the order of the field that chooses one."""
    return [text.split(",")[0] for text in page.selectbox("season-sortie").options]


def test_an_empty_team_is_told_to_import(new_team_screen):
    page = new_team_screen.page("season")

    assert not page.exception
    assert "flightlog import LOG" in texts(page)


def test_the_first_thing_is_what_the_season_came_to(season_screen):
    shown = texts(season_screen.page("season"))

    assert '<div class="fl-tile-number">3</div><div><strong>flights</strong>' in shown
    assert "2 without a release" in shown
    assert '<div class="fl-tile-number">2</div><div><strong>contradictions open</strong>' in shown


def test_all_sorties_are_listed_and_filters_take_away(season_screen):
    page = season_screen.page("season")
    first, second, third = season_screen.names
    assert {first, second, third} == set(listed(page))

    assert [second] == listed(page.selectbox("season-pack").set_value("pack-b").run())
    page.selectbox("season-pack").set_value("").run()
    assert [first] == listed(page.selectbox("season-release").set_value("with a release").run())
    page.selectbox("season-release").set_value("").run()
    assert [first] == listed(page.selectbox("season-outcome").set_value("not met").run())
    page.selectbox("season-outcome").set_value("").run()
    assert [third] == listed(page.date_input("season-from").set_value(date(2027, 4, 1)).run())
    page.date_input("season-from").set_value(None).run()
    assert [second] == listed(page.text_input("season-text").set_value("Second.bin").run())


def test_a_filter_that_nothing_fits_says_so(season_screen):
    page = season_screen.page("season").text_input("season-text").set_value("zebra").run()

    assert not page.exception
    assert "No sortie fits." in texts(page)


def test_a_sortie_in_short_and_its_way_to_after(season_screen):
    page = season_screen.page("season")
    page.selectbox("season-sortie").set_value(season_screen.names[2]).run()
    assert not page.exception
    assert "Said by persons" in texts(page)
    assert page.button("season-open")


def test_hostile_words_are_words(season_screen):
    page = season_screen.page("season")
    page.selectbox("season-sortie").set_value(season_screen.names[2]).run()

    shown = texts(page)
    assert "&lt;img src=x" in shown
    assert "<img src=x" not in shown
    assert not any("http://x.invalid" in element.value for element in page.markdown)
    assert not any("x.invalid" in element.label for element in page.expander)


@pytest.mark.parametrize("view", ["Figures against each other", "Course of a figure"])
def test_charts_say_which_flights_lack_a_number(season_screen, view):
    page = season_screen.page("season")
    page.button_group("season-view").set_value(view).run()

    assert not page.exception
    assert "of 3 flights have what is drawn here." in texts(page)


def test_predictions_without_cards_say_so_beside_the_baselines(season_screen):
    page = season_screen.page("season")
    page.button_group("season-view").set_value("Prediction against outcome").run()

    assert not page.exception
    assert "nothing can be said yet of how good the predictions are" in texts(page)


def test_predictions_stand_against_what_was_flown(farm_screen):
    farm = farm_of(farm_screen)
    weighed(farm)
    loaded(farm)
    wind(farm)
    carded(farm)
    released_by_card(farm)
    flown_after(farm, roll_m=31.0)
    farm.close()
    page = farm_screen.page("season")
    page.button_group("season-view").set_value("Prediction against outcome").run()

    assert not page.exception
    assert "1 of 1 rolls lay within the 95 % interval of their card" in texts(page)
    assert "26.1 to 33.9" in texts(page)
    assert "measured 31.0 ± 1.0 m: inside." in texts(farm_screen.page("after"))


def test_a_course_of_two_points_is_told_and_not_drawn(season_screen):
    page = season_screen.page("season")
    page.button_group("season-view").set_value("Course of a figure").run()
    page.selectbox("season-course-of").set_value("takeoff.ground_roll").run()

    assert "From fewer than three nothing can be seen." in texts(page)
    assert not page.get("plotly_chart")


def test_a_file_that_was_damaged_takes_no_page_away(season_screen):
    farm = farm_of(season_screen)
    path = farm.desk.version("aircraft", "pannier").path
    farm.close()
    path.chmod(0o644)
    path.write_bytes(b"not what it was")
    page = season_screen.page("season")

    assert not page.exception
    assert set(season_screen.names) == set(listed(page))
