"""Signing at the screen: only what was shown, by the right passphrase, and nothing of it stays."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from flightlog.dashboard import hands, shell
from flightlog.errors import FlightlogError
from tests.dashboard.screens import PATIENCE_S, passphrase_of, texts
from tests.logbook.made import public_of

SIGNING = """
import streamlit as st
from flightlog.dashboard import hands, shell
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Signer
with shell.at_desk() as desk:
    text = st.text_input("Remark", "Horn glued", key="remark")
    key = desk.crew.present_key("pilot")
    make = lambda: Draft("remark", {"text": text}, [Signer(key, "remarked", "pilot")])
    entry = hands.signed(desk, make, key="s", button="Sign")
    if entry is not None:
        st.write("added", entry.body.content["text"])
    st.session_state["length"] = len(desk.book.order)
"""

LIST = """
from flightlog.dashboard import hands, shell
import streamlit as st
with shell.at_desk() as desk:
    keys = [desk.crew.present_key(name) for name in ("pilot", "mechanic")]
    found = hands.at_laptop(desk, "pre-flight", keys, "w")
    st.session_state["present"] = desk.crew.label_of_key(found.key) if found else "nobody"
"""


PLAIN_FIELD = """
import streamlit as st
with st.form("f"):
    st.text_input("Text", key="t")
    st.form_submit_button("Send")
"""


def opened(script: str) -> AppTest:
    return AppTest.from_string(script, default_timeout=PATIENCE_S).run()


def kept(page: AppTest) -> str:
    """Give all that the state of a page holds, as text."""
    return repr(page.session_state)


def type_and_press(page: AppTest, text: str) -> AppTest:
    field = next(f for f in page.text_input if f.key.startswith(("s-typed", "w-typed")))
    field.set_value(text)
    return page.button[0].click().run()


def test_the_right_passphrase_adds_what_was_shown(farm_screen):
    page = opened(SIGNING)
    before = page.session_state["length"]
    assert "Horn glued" in texts(page)

    type_and_press(page, passphrase_of("pilot"))

    assert any("added" in m.value and "Horn glued" in m.value for m in page.markdown)
    assert before + 1 == page.session_state["length"]


def test_no_passphrase_stays_in_the_state_of_the_page(farm_screen):
    page = opened(SIGNING)
    plain = opened(PLAIN_FIELD)
    plain.text_input[0].set_value("typed into a plain field")
    plain.button[0].click().run()
    assert "typed into a plain field" in kept(plain), "else this test could not fail"

    type_and_press(page, passphrase_of("pilot"))
    assert passphrase_of("pilot") not in kept(page)
    page.run()
    type_and_press(page, "a wrong passphrase")
    assert "a wrong passphrase" not in kept(page)


def test_a_wrong_passphrase_is_told_and_adds_nothing(farm_screen):
    page = opened(SIGNING)
    before = page.session_state["length"]

    type_and_press(page, "a wrong passphrase")

    assert 'role="alert"' in texts(page)
    alert = texts(page).partition('role="alert">')[2]
    assert alert.startswith("! pilot"), "of several that sign, whose it was"
    assert ".json" not in alert
    assert before == page.session_state["length"]


def test_what_changed_between_reading_and_signing_is_not_signed(farm_screen):
    page = opened(SIGNING)
    before = page.session_state["length"]

    page.text_input(key="remark").set_value("Something else")
    type_and_press(page, passphrase_of("pilot"))

    assert "has changed meanwhile" in texts(page)
    assert before == page.session_state["length"]
    type_and_press(page, passphrase_of("pilot"))
    assert any("Something else" in m.value for m in page.markdown)


def test_fields_and_button_belong_to_the_text_above_them(farm_screen):
    page = opened(SIGNING)
    fields = {f.key for f in page.text_input}
    button = page.button[0].key

    page.text_input(key="remark").set_value("Something else").run()

    assert button != page.button[0].key, "a press on the button of before would sign this text"
    assert {"remark"} == fields & {f.key for f in page.text_input}
    page.text_input(key="remark").set_value("Horn glued").run()
    assert button == page.button[0].key


@pytest.mark.parametrize("script", [SIGNING, LIST])
def test_a_fault_leaves_no_passphrase(farm_screen, script, monkeypatch):
    page = opened(script)

    def at_fault(*_, **__):
        raise ZeroDivisionError

    monkeypatch.setattr(hands, "_folder_of", at_fault)
    monkeypatch.setattr(shell, "fault_of", lambda error: FlightlogError(type(error).__name__))
    type_and_press(page, passphrase_of("pilot"))

    assert "ZeroDivisionError" in texts(page)
    assert passphrase_of("pilot") not in kept(page)


def test_a_key_that_is_not_on_this_laptop_is_told(farm_screen):
    for file in farm_screen.keys.glob("*.json"):
        file.unlink()
    page = opened(SIGNING)

    type_and_press(page, passphrase_of("pilot"))

    assert "is not here" in texts(page)


def test_who_unlocks_is_at_the_laptop_until_they_hand_over(farm_screen):
    page = opened(LIST)
    assert "nobody" == page.session_state["present"]

    type_and_press(page, passphrase_of("pilot"))
    assert page.session_state["present"].startswith("pilot")
    page.button(key="w-hand-over").click().run()

    assert "nobody" == page.session_state["present"]


def test_another_tab_is_nobody_until_it_unlocks_itself(farm_screen):
    mine = opened(LIST)
    type_and_press(mine, passphrase_of("pilot"))

    theirs = opened(LIST)

    assert "nobody" == theirs.session_state["present"]
    assert mine.run().session_state["present"].startswith("pilot")


def test_a_passphrase_of_another_person_unlocks_nothing(farm_screen):
    page = opened(LIST)

    type_and_press(page, passphrase_of("mechanic"))  # the pilot is chosen

    assert "nobody" == page.session_state["present"]
    assert public_of("mechanic") not in kept(page)


@pytest.mark.parametrize("script", [SIGNING, LIST])
def test_fields_for_passphrases_show_nothing_and_are_not_remembered(farm_screen, script):
    page = opened(script)

    fields = [f for f in page.text_input if "passphrase" in f.label.lower()]
    assert fields
    assert all("off" == f.proto.autocomplete and f.proto.type == 1 for f in fields)
