"""How much may be loaded, on the page before a flight: the number first, or why there is none."""

from __future__ import annotations

import re
from base64 import b64decode
from html import unescape

from tests.dashboard.before_page import farm_of, length, ok, press, section, typed
from tests.dashboard.screens import passphrase_of, texts
from tests.logbook.made import public_of
from tests.operations.released import loaded

FIELD_BEST = "before-today-entered-club-trial-2027-field_best"


def opened(screen):
    return section(ok(screen.page("before")), "load")


def tile(page):
    """Give the number that is read first; None where none is given."""
    found = re.search(r'fl-tile-number">(\d+) units?<', texts(page))
    return int(found[1]) if found else None


def pictures(page):
    return [
        b64decode(data).decode()
        for data in re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', texts(page))
    ]


def test_the_number_its_sentence_and_its_picture_come_first(season_screen):
    before = length(season_screen)
    page = ok(opened(season_screen))
    said = texts(page)

    most = tile(page)
    assert most is not None
    places = [said.index(f"Load {most} units at most."), said.index("fl-picture")]
    places += [said.index(text) for text in ("Per number of units", "What would change it")]
    assert sorted(places) == places
    assert f"at most {most}" in pictures(page)[0]
    assert "A prediction can be wrong" in said
    assert before == length(season_screen)


def test_wind_what_else_binds_and_the_model_are_told(season_screen):
    said = texts(ok(opened(season_screen)))

    assert "1 m/s more headwind" in said
    assert "1 m/s less headwind" in said
    assert "● holds" in said
    assert "○ not assessable" in said
    assert "Only the roll is asked anew there" in said
    assert "roll, in % per % of mass" in said


def test_the_answer_is_taken_into_the_load_that_is_tried(season_screen):
    page = opened(season_screen)
    most = tile(page)
    assert most != page.number_input(key="before-load-units").value

    press(page, f"before-today-take-{most}")

    assert most == ok(page).number_input(key="before-load-units").value
    assert "stand in the field of units below" in texts(page)
    page.selectbox(key="before-load-by").set_value(public_of("mechanic")).run()
    press(typed(page, passphrase_of("mechanic")), "before-load-sign")
    with farm_of(season_screen) as farm:
        assert most == farm.desk.ledger.last("load-sheet").body.content["units"]


def test_a_lower_voltage_of_the_pack_allows_less(season_screen):
    page = opened(season_screen)
    most = tile(page)

    page.number_input(key="before-today-voltage").set_value(22.0).run()

    assert most > tile(ok(page))
    assert "22 V at rest, as typed" in texts(page)


def test_a_voltage_that_cannot_be_is_refused_and_typed_anew(season_screen):
    page = opened(season_screen)

    page.number_input(key="before-today-voltage").set_value(3.7).run()

    assert "! 3.7 V can't be the rest voltage" in unescape(texts(ok(page)))
    assert tile(page) is None
    page.number_input(key="before-today-voltage").set_value(25.0).run()
    assert tile(ok(page)) is not None


def test_the_score_asks_for_laps_and_the_numbers_of_the_rule_book(season_screen):
    page = opened(season_screen)
    assert "No score" in texts(page)
    assert not re.search("--(laps|entered|pack-voltage)", texts(page)), "there are fields for it"

    page.number_input(key="before-today-laps").set_value(3).run()
    page.number_input(key=FIELD_BEST).set_value(40.0).run()

    assert "best expected score" in texts(ok(page))
    assert "safest, of those that keep the limit" in texts(page)
    assert "3 laps as planned" in texts(page)


def test_too_old_weather_withholds_the_number_and_says_what_to_do(season_screen):
    season_screen.clock.later(hours=3)
    page = ok(opened(season_screen))
    said = texts(page)

    assert tile(page) is None
    assert "No number is given, and why" in said
    assert "measure it anew" in said
    assert "at most" not in "".join(pictures(page)[:1])
    assert not [b for b in page.button if (b.key or "").startswith("before-today-take")]
    assert "What the model says, not to be loaded by" in [e.label for e in page.expander]


def test_without_flights_it_says_what_is_missing(ready_screen):
    page = ok(opened(ready_screen))

    assert tile(page) is None
    assert "No number is given" in texts(page)
    assert page.number_input(key="before-today-laps") is not None
    assert "Try a load" in texts(page), "the rest of the section stays"


def test_without_a_rule_book_no_number_of_its_formula_is_asked(season_screen):
    page = opened(season_screen)
    page.selectbox(key="shell-rules").set_value("").run()

    assert not [n for n in ok(page).number_input if n.key == FIELD_BEST]
    assert "at the top of the page" in texts(page)
    assert tile(page) is None


# --- the flight card


def carded(page):
    page.checkbox(key="before-card-drawn-up").set_value(True).run()
    return ok(page)


def test_the_card_is_drawn_up_for_the_load_sheet_and_signed_by_two(season_screen):
    with farm_of(season_screen) as farm:
        loaded(farm)
    page = opened(season_screen)
    page.number_input(key="before-today-laps").set_value(2).run()
    carded(page)
    page.multiselect(key="before-card-points").set_value(["light"]).run()
    page.selectbox(key="before-card-engineer").set_value(public_of("observer")).run()

    fields = [f for f in page.text_input if (f.key or "").startswith("before-card-typed")]
    for field, name in zip(fields, ("observer", "pilot"), strict=True):
        field.set_value(passphrase_of(name))
    press(page, "before-card-sign")

    assert "Signed and added: the flight card" in texts(ok(page))
    with farm_of(season_screen) as farm:
        said = farm.desk.ledger.last("flight-card").body.content
        units = farm.desk.ledger.last("load-sheet").body.content["units"]
    assert units == said["units"]
    assert ["light"] == [point["point"] for point in said["points"]]


def test_there_is_no_card_where_no_number_is_given(season_screen):
    with farm_of(season_screen) as farm:
        loaded(farm)
    season_screen.clock.later(hours=3)

    page = carded(opened(season_screen))

    assert "There is no card" in texts(page)
    assert not [f for f in page.text_input if (f.key or "").startswith("before-card-typed")]
