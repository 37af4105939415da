"""Lists on the page before a flight: walked by two persons, and nothing passes by itself."""

from __future__ import annotations

from flightlog.dashboard import before_answers
from tests.dashboard.before_page import (
    at_laptop,
    farm_of,
    item,
    kept,
    length,
    ok,
    press,
    section,
    taken,
)
from tests.dashboard.screens import passphrase_of, texts


def test_two_persons_walk_an_item_one_after_the_other(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    assert "mechanic" in texts(page)
    assert "0 of 7 done" in texts(page)
    item(page, "structure", "-pass").click().run()
    assert "1 done once, waiting for a second person" in texts(page)

    page.button(key="before-walk-daily-hand-over").click().run()
    at_laptop(page, "daily", "pilot")
    assert "another person has done it" in texts(page)
    item(page, "structure", "-pass").click().run()

    ok(page)
    assert "1 of 7 done" in texts(page)
    assert "inspected as inspector by pilot" in texts(page)
    for name in ("pilot", "mechanic"):
        assert passphrase_of(name) not in kept(page)
    with farm_of(farm_screen) as farm:
        first, _ = farm.desk.ledger.of("check", item="structure")
        assert {"mechanic"} == {s.role for s in first.body.signers}
        assert "seconds" in first.body.content


def test_nothing_passes_by_itself_and_looking_writes_nothing(farm_screen):
    page = section(ok(farm_screen.page("before")), "lists")
    before = length(farm_screen)

    press(page, "before-take-pre-flight")
    page.run()

    assert before == length(farm_screen)
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    page.run()
    assert before + 1 == length(farm_screen), "that it was begun, and nothing else"


def test_a_pass_that_nobody_can_have_looked_at_is_not_signed(farm_screen, monkeypatch):
    monkeypatch.setattr(before_answers, "LEAST_S", 1e6)
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    before = length(farm_screen)

    item(page, "structure", "-pass").click().run()

    assert "too quick" in texts(page)
    assert before == length(farm_screen)


def test_a_fail_says_what_is_wrong_and_holds_the_aircraft(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    item(page, "structure", "-to-fail").click().run()

    reason = next(f for f in page.text_input if f.label == "What is wrong")
    reason.set_value("spar cracked")
    item(page, "structure", "-sign-fail").click().run()

    ok(page)
    assert "fail, spar cracked" in texts(page)
    assert "failed: daily/structure" in texts(page)


def test_a_fail_without_words_is_not_signed(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    item(page, "structure", "-to-fail").click().run()
    before = length(farm_screen)

    item(page, "structure", "-sign-fail").click().run()

    ok(page)
    assert "what is wrong is not said" in texts(page)
    assert before == length(farm_screen)


def test_an_item_that_failed_is_marked_so_where_it_stands(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    item(page, "structure", "-to-fail").click().run()
    reason = next(f for f in page.text_input if f.label == "What is wrong")
    reason.set_value("spar cracked")
    item(page, "structure", "-sign-fail").click().run()

    assert "✕ fail</span> spar cracked" in texts(page)


def test_a_measurement_passes_on_its_number_alone(farm_screen, patient):
    page = taken(farm_screen, "pre-flight")
    at_laptop(page, "pre-flight", "mechanic")
    for name in ("papers-fitness", "papers-dates", "papers-plan", "weather-wind"):
        item(page, name, "-later").click().run()
    sign = item(page, "weather-visibility", "-sign")

    number = next(f for f in page.text_input if f.label.startswith("Number in m"))
    number.set_value("three thousand")
    sign.click().run()
    assert "is not a number" in texts(page)
    number = next(f for f in page.text_input if f.label.startswith("Number in m"))
    number.set_value("300")
    item(page, "weather-visibility", "-sign").click().run()

    ok(page)
    assert "fail, 300 m" in texts(page)


def test_as_a_list_all_items_of_the_person_are_there(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    assert 1 == sum(b.label == "Pass" for b in page.button)

    page.session_state["before-walk-mode"] = "As a list"
    page.run()

    assert 6 == sum(b.label == "Pass" for b in page.button)
    item(page, "motor", "-pass").click().run()
    assert "1 of 7 done" in texts(page)


def test_the_pass_of_a_person_who_is_gone_is_not_signed(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    button = item(page, "structure", "-pass")
    before = length(farm_screen)
    for unlocked in page.session_state["unlocked-lists"]["daily"].unlocks:
        unlocked.end()

    button.click().run()

    ok(page)
    assert "Nobody is at the laptop any more" in texts(page)
    assert before == length(farm_screen)


HOSTILE = "**bold** ![x](http://198.51.100.7/x.png) <img src=x onerror=alert(1)> [a](javascript:b)"


def test_hostile_words_of_a_list_are_shown_as_they_are(farm_screen, patient):
    with farm_of(farm_screen) as farm:
        path = farm.folder.path / "checklists" / "daily.toml"
        text = path.read_text(encoding="utf-8")
        text = text.replace("Whole airframe by hand and eye", HOSTILE)
        text = text.replace('title = "Daily inspection"', f'title = "{HOSTILE}"')
        farm.enter("checklist", "daily", text.encode())

    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")

    html = texts(ok(page))
    assert "<img src=x" not in html
    assert "&lt;img src=x onerror=alert(1)&gt;" in html
    labels = [b.label for b in page.button] + [m.value for m in page.markdown]
    assert not any("![x](" in label or "[a](javascript" in label for label in labels)


def test_an_item_that_was_passed_by_a_slip_can_be_done_again(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    for name in ("structure", "controls"):
        item(page, name, "-later").click().run()
    item(page, "wiring", "-pass").click().run()
    again = next(s for s in page.selectbox if (s.key or "").startswith("before-again-daily"))

    again.set_value("wiring").run()
    item(page, "wiring", "-to-fail").click().run()
    reason = next(f for f in page.text_input if f.label == "What is wrong")
    reason.set_value("chafed")
    item(page, "wiring", "-sign-fail").click().run()

    ok(page)
    assert "failed: daily/wiring" in texts(page)
    with farm_of(farm_screen) as farm:
        results = [c.body.content["result"] for c in farm.desk.ledger.of("check", item="wiring")]
    assert ["pass", "fail"] == results, "what was signed stays"


def test_a_list_that_is_put_away_needs_the_passphrase_again(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    assert item(page, "structure", "-pass")

    page.button(key="before-lists-back").click().run()
    press(page, "before-take-daily")

    ok(page)
    assert "is at the laptop" not in texts(page)
    assert not [b for b in page.button if (b.key or "").endswith("-pass")]
