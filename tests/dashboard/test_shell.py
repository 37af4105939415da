"""Every page opens: without a team folder, with a new one, and with one that is broken."""

from __future__ import annotations

import pytest

from tests.dashboard.screens import texts

PAGES = ("before", "after", "season", "ground_tests", "records")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_without_a_team_folder_says_how_to_make_one(no_team_screen, name):
    page = no_team_screen.page(name)

    assert not page.exception
    assert "flightlog team new" in texts(page)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_of_a_new_team_says_what_to_do_first(new_team_screen, name):
    page = new_team_screen.page(name)

    assert not page.exception
    assert 'class="fl-empty"' in texts(page)
