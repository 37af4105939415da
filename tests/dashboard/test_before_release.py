"""Declarations and the release on the page before a flight."""

from __future__ import annotations

from flightlog.dashboard import shell
from tests.dashboard.before_page import (
    HELD,
    READY,
    RELEASED,
    farm_of,
    kept,
    length,
    ok,
    press,
    section,
    state_of,
    typed,
)
from tests.dashboard.screens import passphrase_of, texts
from tests.logbook.made import public_of
from tests.operations.released import wind


def test_what_is_expected_is_signed_by_an_engineer(ready_screen):
    page = section(ok(ready_screen.page("before")), "release")
    for name, text in (("value", "31.5"), ("std", "2.2"), ("method", "mean of six")):
        page.text_input(key=f"before-expect-{name}").set_value(text)
    page.selectbox(key="before-expect-by").set_value(public_of("mechanic")).run()

    fields = [f for f in page.text_input if f.key.startswith("before-expect-typed")]
    fields[0].set_value(passphrase_of("mechanic"))
    press(page, "before-expect-sign")

    ok(page)
    assert "Signed and added: what is expected" in texts(page)
    assert "31.5" in texts(page)
    assert "" == page.text_input(key="before-expect-value").value, "nobody signs it twice by a slip"
    assert "Expected, m" == page.text_input(key="before-expect-value").label


def test_a_release_is_signed_by_two_and_then_the_word_is_released(ready_screen):
    page = section(ok(ready_screen.page("before")), "release")
    assert READY == state_of(page)
    page.selectbox(key="before-accepts").set_value(public_of("pilot"))
    page.selectbox(key="before-releases").set_value(public_of("mechanic")).run()
    fields = [f for f in page.text_input if f.key.startswith("before-release-typed")]

    for field, name in zip(fields, ("pilot", "mechanic"), strict=True):
        field.set_value(passphrase_of(name))
    ready_screen.clock.later(seconds=90)  # they read it, and typed
    press(page, "before-release-sign")

    ok(page)
    assert RELEASED == state_of(page)
    assert "Signed and added: the release" in texts(page)
    assert "accepted as pilot by pilot" in texts(page)
    assert "released as safety by mechanic" in texts(page)
    for name in ("pilot", "mechanic"):
        assert passphrase_of(name) not in kept(page)


def test_a_release_is_not_signed_when_something_came_in_while_it_was_read(ready_screen):
    page = section(ok(ready_screen.page("before")), "release")
    page.selectbox(key="before-releases").set_value(public_of("mechanic")).run()
    with farm_of(ready_screen) as farm:
        farm.add("remark", {"text": "the other gate is open"}, ("pilot", "remarked", "pilot"))
    fields = [f for f in page.text_input if f.key.startswith("before-release-typed")]

    for field, name in zip(fields, ("pilot", "mechanic"), strict=True):
        field.set_value(passphrase_of(name))
    press(page, "before-release-sign")

    ok(page)
    assert "has changed meanwhile" in texts(page)
    assert READY == state_of(page)


def test_a_release_is_not_signed_when_what_it_rests_on_is_over_meanwhile(ready_screen):
    page = section(ok(ready_screen.page("before")), "release")
    page.selectbox(key="before-releases").set_value(public_of("mechanic")).run()
    fields = [f for f in page.text_input if f.key.startswith("before-release-typed")]

    for field, name in zip(fields, ("pilot", "mechanic"), strict=True):
        field.set_value(passphrase_of(name))
    ready_screen.clock.later(hours=2)  # the weather holds for one
    before = length(ready_screen)
    press(page, "before-release-sign")

    ok(page)
    assert HELD == state_of(page)
    assert before == length(ready_screen)
    assert passphrase_of("pilot") not in kept(page)


def test_a_release_is_drawn_up_anew_when_the_clock_was_set_back(ready_screen):
    ready_screen.clock.later(minutes=40)
    page = section(ok(ready_screen.page("before")), "release")
    page.selectbox(key="before-releases").set_value(public_of("mechanic")).run()
    made = page.session_state["before-release-draft"].made

    ready_screen.clock.later(minutes=-30)
    page.run()

    again = page.session_state["before-release-draft"]
    assert again.made < made, "else it would end later than a release may"


def test_the_one_who_accepts_is_not_offered_to_release(ready_screen):
    page = section(ok(ready_screen.page("before")), "release")

    accepts = page.selectbox(key="before-accepts")
    releases = page.selectbox(key="before-releases")

    assert accepts.value not in releases.proto.options
    assert not set(accepts.options) & set(releases.options)


def test_a_release_is_taken_back_with_a_reason_and_is_held_again(released_screen):
    page = section(ok(released_screen.page("before")), "release")
    page.text_input(key="before-withdraw-reason").set_value("gusts over the trees").run()

    page.selectbox(key="before-withdraw-by").set_value(public_of("pilot")).run()
    press(typed(page, passphrase_of("pilot")), "before-take-back-sign")

    ok(page)
    assert "the release is taken back" in texts(page)
    assert RELEASED != state_of(page)


def test_a_held_day_can_be_written_down(farm_screen):
    page = section(ok(farm_screen.page("before")), "release")
    assert not [b for b in page.button if (b.key or "").startswith("before-release-sign")]

    page.button(key="before-hold").click().run()

    ok(page)
    assert "that it is held" in texts(page)
    assert "that it is held" not in texts(page.run()), "said once"
    with farm_of(farm_screen) as farm:
        assert farm.desk.ledger.last("hold") is not None


def test_what_was_entered_at_another_window_is_there_at_the_next_drawing(farm_screen):
    page = ok(farm_screen.page("before"))
    with farm_of(farm_screen) as farm:
        wind(farm)

    page.run()

    assert "nobody measured it at top-field" not in texts(page)
    shell.close()
