"""Load on the page before a flight: tried at once, seen in its envelope, signed."""

from __future__ import annotations

from tests.dashboard.before_page import (
    farm_of,
    length,
    ok,
    press,
    section,
    typed,
)
from tests.dashboard.screens import passphrase_of, texts
from tests.logbook.made import public_of


def test_a_load_is_tried_at_once_and_nothing_is_added(ready_screen):
    page = section(ok(ready_screen.page("before")), "load")
    assert "inside the envelope" in texts(page)
    assert 'src="data:image/svg+xml;base64,' in texts(page)
    before = length(ready_screen)

    page.number_input(key="before-load-units").set_value(30).run()

    ok(page)
    assert "✕ outside" in texts(page)
    assert "NOT inside the envelope" in texts(page)
    assert before == length(ready_screen)


def test_a_load_is_signed_as_it_was_tried(ready_screen):
    page = section(ok(ready_screen.page("before")), "load")
    page.number_input(key="before-load-units").set_value(6).run()
    page.text_area(key="before-load-items").set_value("camera,0.12,payload").run()

    page.selectbox(key="before-load-by").set_value(public_of("mechanic")).run()
    press(typed(page, passphrase_of("mechanic")), "before-load-sign")

    ok(page)
    assert "Signed and added: the load sheet" in texts(page)
    with farm_of(ready_screen) as farm:
        said = farm.desk.ledger.last("load-sheet").body.content
    assert 6 == said["units"]
    assert "camera" in {item["item"] for item in said["items"]}


def test_an_item_that_is_typed_wrong_is_told_where_the_load_would_be(ready_screen):
    page = section(ok(ready_screen.page("before")), "load")

    page.text_area(key="before-load-items").set_value("camera and strap").run()

    ok(page)
    assert "is no item" in texts(page)


def test_without_a_weighing_it_says_what_to_do(farm_screen):
    page = section(ok(farm_screen.page("before")), "load")

    assert "flightlog balance weigh" in texts(page)
