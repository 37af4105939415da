"""The page before a flight: what is missing, the state, and what clears what holds it."""

from __future__ import annotations

from flightlog.logbook.book import Logbook
from tests.dashboard.before_page import (
    HELD,
    READY,
    RELEASED,
    farm_of,
    ok,
    press,
    section,
    state_of,
)
from tests.dashboard.screens import texts
from tests.operations.made import FILES


def test_without_a_team_folder_it_says_how_to_make_one(no_team_screen):
    page = ok(no_team_screen.page("before"))

    assert "flightlog team new" in texts(page)


def test_a_new_team_is_told_to_enter_its_aircraft_first(new_team_screen):
    page = ok(new_team_screen.page("before"))

    assert "no aircraft file yet" in texts(page)
    assert "flightlog team enter aircraft/ID.toml" in texts(page)
    assert 'role="status"' not in texts(page), "of no aircraft nothing can be said"


def test_a_team_without_a_pack_is_told_to_enter_one(new_team_screen):
    with farm_of(new_team_screen) as farm:
        farm.enter("aircraft", "pannier", FILES["aircraft", "pannier"].read_bytes())

    page = ok(new_team_screen.page("before"))

    assert "no pack file yet" in texts(page)


def test_a_folder_that_can_only_be_read_is_shown_and_refuses_to_sign(farm_screen, monkeypatch):
    from flightlog.errors import NotWritableError

    whole = Logbook.open

    def refused(folder, *, read_only=False, **rest):
        if not read_only:
            raise NotWritableError("the stick is write-protected")
        return whole(folder, read_only=True, **rest)

    monkeypatch.setattr(Logbook, "open", refused)
    page = ok(farm_screen.page("before"))
    assert "write-protected" in texts(page)
    assert HELD == state_of(page)

    section(page, "lists")
    press(page, "before-take-daily")
    press(page, "before-begin-daily")

    ok(page)
    assert 'role="alert"' in texts(page)


def test_a_new_day_is_held_and_each_reason_leads_to_what_clears_it(farm_screen):
    page = ok(farm_screen.page("before"))

    html = texts(page)
    assert HELD == state_of(page)
    for reason in ("nobody measured it at top-field", "Daily inspection: 7 of 7 items to do"):
        assert reason in html
    assert "flightlog fitness sign" in html
    assert "flightlog team charge pack-a" in html
    for step, name in (("weather", "weather"), ("lists", "lists"), ("load", "load")):
        page.button(key=f"before-go-{step}").click().run()
        assert name == page.session_state["before-section"]


def test_all_conditions_stand_below_and_the_cautions_with_them(farm_screen):
    html = texts(ok(farm_screen.page("before")))

    assert "parameters" in html
    assert "no certificate" in html
    assert "Lithium batteries burn" in html


def test_ready_is_not_released(ready_screen):
    page = ok(ready_screen.page("before"))

    assert READY == state_of(page)
    assert "nobody has signed yet" in texts(page)
    keys = [b.key for b in page.button if b.key]
    assert any(k.startswith("before-release-sign-") for k in keys), "opens where it is signed"


def test_a_release_says_until_when_and_that_calls_come_after_landing(released_screen):
    page = section(ok(released_screen.page("before")), "release")

    assert RELEASED == state_of(page)
    assert "until 2027-03-15" in texts(page)
    assert "flightlog release calls" in texts(page)


def test_another_pack_than_the_released_one_is_held(released_screen):
    page = ok(released_screen.page("before"))

    page.selectbox(key="shell-pack").set_value("pack-b").run()

    assert HELD == state_of(page)
    assert "not known to be flown, nor withdrawn" in texts(page)


def test_how_old_merge_and_second_copy_are_is_told(farm_screen):
    html = texts(ok(farm_screen.page("before")))

    assert "all entries here are of one laptop" in html
    assert "Second copy: NONE YET" in html


def test_a_fault_in_one_section_leaves_the_rest_of_the_page(farm_screen, monkeypatch):
    from flightlog.errors import UsageError

    def broken(*_):
        raise UsageError("the sky fell", where="weather")

    monkeypatch.setattr("flightlog.dashboard.before_weather.show", broken)
    page = section(ok(farm_screen.page("before")), "weather")

    assert "the sky fell" in texts(page)
    assert HELD == state_of(page)
    assert "no certificate" in texts(page)
