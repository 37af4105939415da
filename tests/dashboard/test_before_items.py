"""Items of each kind on the page before a flight, and the ways they can go."""

from __future__ import annotations

from flightlog.operations.checks import About
from flightlog.operations.positions import named
from tests.dashboard.before_page import (
    at_laptop,
    farm_of,
    item,
    length,
    ok,
    press,
    section,
    taken,
)
from tests.dashboard.screens import texts
from tests.operations.lists import walk as lists_walk
from tests.operations.test_walk import deferred


def test_a_choice_is_signed_by_its_own_button(farm_screen, patient):
    with farm_of(farm_screen) as farm:
        edited(farm, 'id = "structure"', 'id = "structure"\nkind = "choice"', CHOICES)
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")

    item(page, "structure", "-cracked").click().run()

    ok(page)
    assert "fail, cracked" in texts(page), "a choice that does not pass is a fail"


def test_a_choice_may_be_called_like_anything_on_the_page(farm_screen, patient):
    names = ["later", "back", "value", "to-fail", "to-fail", "A -> B"]
    choices = f"choices = {names}\npassing = {names}\n".replace("'", '"')
    with farm_of(farm_screen) as farm:
        edited(farm, 'id = "structure"', 'id = "structure"\nkind = "choice"', choices)
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")

    item(ok(page), "structure", "-choice-later").click().run()

    ok(page)
    with farm_of(farm_screen) as farm:
        (check,) = farm.desk.ledger.of("check", item="structure")
        assert ("pass", "later") == (check.body.content["result"], check.body.content["choice"])


CHOICES = 'choices = ["sound", "cracked"]\npassing = ["sound"]\n'


def edited(farm, old, new, more=""):
    """Put another version of the daily list into force."""
    path = farm.folder.path / "checklists" / "daily.toml"
    text = path.read_text(encoding="utf-8").replace(old, f"{new}\n{more}", 1)
    farm.enter("checklist", "daily", text.encode())


def test_a_photo_is_kept_with_the_item_and_needed_for_it(farm_screen, patient):
    from tests.operations.test_photos import jpeg

    with farm_of(farm_screen) as farm:
        edited(farm, 'id = "structure"', 'id = "structure"\nkind = "photo"')
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    item(page, "structure", "-pass").click().run()
    assert "needs a photo" in texts(page)

    page.file_uploader[0].upload("../spar.jpg", jpeg(), "image/jpeg")
    item(page, "structure", "-pass").click().run()

    ok(page)
    assert "1 photos" in texts(page)
    with farm_of(farm_screen) as farm:
        (check,) = farm.desk.ledger.of("check", item="structure")
        (photo,) = check.body.attachments
    assert "structure.jpg" == photo.name


def test_what_does_not_apply_says_why(farm_screen, patient):
    with farm_of(farm_screen) as farm:
        edited(farm, 'id = "structure"', 'id = "structure"\nnot_applicable = true')
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    item(page, "structure", "-to-not-applicable").click().run()
    item(page, "structure", "-sign-not-applicable").click().run()
    assert "for what reason?" in texts(page)

    next(f for f in page.text_input if f.label.startswith("Why")).set_value("flown without hatches")
    item(page, "structure", "-sign-not-applicable").click().run()

    ok(page)
    assert "not-applicable, flown without hatches" in texts(page)


def test_nothing_is_put_off_without_a_deferral(farm_screen, patient):
    with farm_of(farm_screen) as farm:
        edited(farm, 'id = "structure"', 'id = "structure"\ndeferrable = true')
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")

    item(page, "structure", "-to-deferred").click().run()

    assert "No deferral is in force" in texts(ok(page))
    assert not [b for b in page.button if (b.key or "").endswith("-sign-deferred")]
    item(page, "structure", "-back").click().run()
    assert item(page, "structure", "-pass")


def test_an_item_is_put_off_by_a_deferral_of_the_record(farm_screen, patient):
    with farm_of(farm_screen) as farm:
        edited(farm, 'id = "structure"', 'id = "structure"\ndeferrable = true')
        deferral = deferred(farm)
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")

    item(page, "structure", "-to-deferred").click().run()
    item(page, "structure", "-sign-deferred").click().run()

    ok(page)
    assert f"deferred, by {named(deferral)}" in texts(page)


def test_later_puts_an_item_last_and_signs_nothing(farm_screen, patient):
    page = taken(farm_screen)
    at_laptop(page, "daily", "mechanic")
    before = length(farm_screen)

    item(page, "structure", "-later").click().run()

    assert item(page, "controls", "-pass")
    assert not [b for b in page.button if "-structure-" in (b.key or "")]
    assert before == length(farm_screen)


def test_a_list_that_is_complete_lets_nobody_stay_at_the_laptop(farm_screen, patient):
    with farm_of(farm_screen) as farm:
        lists_walk(farm, "daily", About("pannier"), skip=("motor",))
    page = section(ok(farm_screen.page("before")), "lists")
    assert "Daily inspection: 1 of 7 items to do" in texts(page)
    press(page, "before-take-daily")
    at_laptop(page, "daily", "mechanic")

    item(page, "motor", "-pass").click().run()

    ok(page)
    assert "● complete" in texts(page)
    assert not page.session_state["unlocked-lists"]["daily"].unlocks
    assert "Daily inspection: 1 of 7 items to do" not in texts(page), "the state knows it"
