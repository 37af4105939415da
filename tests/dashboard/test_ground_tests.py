"""What was measured on the ground stands on its page with serial, entry, date and signature."""

from __future__ import annotations

import pytest

from flightlog.operations.positions import named
from tests.dashboard.screens import texts
from tests.dashboard.test_season import farm_of
from tests.operations.released import baseline, charged, weighed

SECTIONS = (
    "Weighings",
    "Charges of packs",
    "Parameter baselines",
    "Clauses measured",
    "Inspections and service",
)


@pytest.mark.parametrize("name", SECTIONS)
def test_each_section_says_what_to_do_first(farm_screen, name):
    page = farm_screen.page("ground_tests")
    page.button_group("ground-section").set_value(name).run()

    assert not page.exception
    assert 'class="fl-empty"' in texts(page)
    assert "flightlog " in texts(page)


def test_the_page_says_what_it_does_not_read(farm_screen):
    shown = texts(farm_screen.page("ground_tests"))

    assert "thrust stand, of discharges and of ring-downs are not read yet" in shown


@pytest.mark.parametrize(
    ("name", "enter", "serial", "who"),
    [
        ("Weighings", weighed, "PN-01", "observer"),
        ("Charges of packs", charged, "PK-01", "pilot"),
        ("Parameter baselines", baseline, "PN-01", "pilot"),
    ],
)
def test_what_was_entered_is_shown_with_its_signature(farm_screen, name, enter, serial, who):
    farm = farm_of(farm_screen)
    entry = enter(farm)
    farm.close()
    page = farm_screen.page("ground_tests")
    page.button_group("ground-section").set_value(name).run()

    shown = texts(page)
    assert named(entry) in shown
    assert f"<td>{serial}</td>" in shown
    assert f"<td>{who} (" in shown
