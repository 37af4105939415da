"""The records can be read, searched and checked, and a defect reported, on the page."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pytest

from flightlog.logbook.names import Names
from flightlog.operations.defects import defects
from flightlog.operations.incident import restrict
from flightlog.operations.positions import named
from flightlog.team.folder import TeamFolder
from tests.dashboard.before_page import press, typed
from tests.dashboard.screens import passphrase_of, texts
from tests.dashboard.test_season import HOSTILE, farm_of
from tests.logbook.made import public_of

SECTIONS = (
    "Logbook",
    "Defects",
    "Crew",
    "Aircraft and packs",
    "Inspection matrix",
    "Incidents",
    "Files",
)


def section(screen, name):
    page = screen.page("records")
    return page.button_group("records-section").set_value(name).run()


@pytest.mark.parametrize("name", SECTIONS)
def test_each_section_opens_for_a_new_team(new_team_screen, name):
    page = section(new_team_screen, name)

    assert not page.exception
    assert "fl-heading" in texts(page)


@pytest.mark.parametrize("name", SECTIONS)
def test_each_section_opens_with_files_in_force(farm_screen, name):
    page = section(farm_screen, name)

    assert not page.exception
    assert not page.error


# --- the logbook


def entries_of(page):
    return page.selectbox("records-entry").options


def test_entries_are_found_by_kind_person_and_words(farm_screen):
    farm = farm_of(farm_screen)
    remark = farm.add("remark", {"text": "aileron horn glued anew"}, ("pilot", "stated"))
    total = len(farm.book.order)
    farm.close()
    page = farm_screen.page("records")
    assert named(remark) == entries_of(page)[0]

    page.text_input("records-text").set_value("HORN").run()
    assert [named(remark)] == entries_of(page)
    page.text_input("records-text").set_value("").run()
    page.selectbox("records-kind").set_value("file-version").run()
    assert named(remark) not in entries_of(page)
    page.selectbox("records-kind").set_value("").run()
    page.selectbox("records-person").set_value(public_of("pilot")).run()
    assert named(remark) in entries_of(page)
    assert len(entries_of(page)) < total


def test_an_entry_in_full_tells_that_it_was_late_and_corrected(farm_screen):
    farm = farm_of(farm_screen)
    hour = farm.clock.now - timedelta(hours=1)
    late = farm.add("remark", {"text": "one"}, ("pilot", "stated"), occurred=hour)
    farm.add("correction", {"text": "two"}, ("pilot", "stated"), relations=[("corrects", late)])
    farm.close()
    page = farm_screen.page("records")
    page.checkbox("records-marked").check().run()
    assert named(late) in entries_of(page)
    page.selectbox("records-entry").set_value(named(late)).run()

    assert "note: late by" in texts(page)
    assert "note: corrected by" in texts(page)


def test_the_check_says_what_it_found_and_what_it_cannot_know(farm_screen):
    page = farm_screen.page("records")
    page.button("records-check").click().run()

    assert not page.exception
    assert "The record is whole" in texts(page)
    assert "What this check can&#x27;t know" in texts(page)


def test_a_head_that_was_typed_wrong_is_told(farm_screen):
    page = farm_screen.page("records")
    page.text_input("records-heads").set_value("12.ABCDE-QQQQQ").run()
    page.button("records-check").click().run()

    assert not page.exception
    assert 'class="fl-warn"' in texts(page)


# --- defects


def filled(page, severity="blocking", text="cracked at the root", by=()):
    page.text_input("records-defect-part").set_value("rib 4")
    page.selectbox("records-defect-group").set_value("primary-structure")
    page.text_area("records-defect-text").set_value(text)
    page.button_group("records-defect-severity").set_value(severity)
    page.multiselect("records-defect-by").set_value(list(by))
    return page.button("records-defect-go-on").click().run()


def test_a_defect_is_reported_without_a_signature(farm_screen):
    page = filled(section(farm_screen, "Defects"))
    assert "aircraft pannier is held as soon as this is entered" in texts(page)
    press(page, "records-defect-sign-sign-")

    assert not page.exception
    farm = farm_of(farm_screen)
    (defect,) = defects(farm.desk)
    assert defect.stops
    assert "cracked at the root" == defect.entry.body.content["text"]
    farm.close()


def test_a_defect_is_reported_with_a_photo_and_a_signature(farm_screen):
    page = section(farm_screen, "Defects")
    page.get("file_uploader")[0].set_value(("rib.png", picture(), "image/png"))
    page = filled(page, by=[public_of("pilot")])
    typed(page, passphrase_of("pilot"))
    press(page, "records-defect-sign-sign-")

    assert not page.exception
    farm = farm_of(farm_screen)
    (defect,) = defects(farm.desk)
    assert (public_of("pilot"),) == farm.desk.ledger.persons(defect.entry)
    assert ["rib.png"] == [file.name for file in defect.entry.body.attachments]
    farm.close()
    assert passphrase_of("pilot") not in repr(page.session_state)


def picture():
    """Give a PNG of one white point."""
    import struct
    import zlib

    def part(kind, body):
        check = struct.pack(">I", zlib.crc32(kind + body))
        return struct.pack(">I", len(body)) + kind + body + check

    out = io.BytesIO(b"")
    out.write(b"\x89PNG\r\n\x1a\n" + part(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)))
    out.write(part(b"IDAT", zlib.compress(b"\0\xff")) + part(b"IEND", b""))
    return out.getvalue()


def test_a_report_with_something_missing_is_not_taken(farm_screen):
    page = section(farm_screen, "Defects")
    page.text_input("records-defect-part").set_value("rib 4")
    page.button("records-defect-go-on").click().run()

    assert "Still missing: what was found, what it belongs to, severity" in texts(page)


def test_a_report_can_be_left(farm_screen):
    page = filled(section(farm_screen, "Defects"))
    page.button("records-defect-back").click().run()

    assert page.text_input("records-defect-part")
    farm = farm_of(farm_screen)
    assert () == defects(farm.desk)
    farm.close()


# --- texts of others


def test_hostile_texts_are_shown_as_texts(farm_screen):
    farm = farm_of(farm_screen)
    content = {"aircraft": "pannier", "part": HOSTILE, "group": "payload",
               "severity": "deferrable", "text": HOSTILE}  # fmt: skip
    farm.add("defect", content, effect=("restricts", "aircraft:pannier"))
    restrict(farm.desk, "pannier", ["pack-a"], HOSTILE)
    farm.close()
    place = TeamFolder.read(farm_screen.team).names
    Names.read(place).with_name(public_of("pilot"), "**p** [x](http://x.invalid)").write(place)

    for name in SECTIONS:
        page = section(farm_screen, name)
        assert not page.exception
        assert "<img src=x" not in texts(page)
        assert not any("x.invalid" in element.value for element in page.markdown)
        labels = [e.label for kind in ("expander", "button", "checkbox") for e in page.get(kind)]
        assert not any("](http" in label for label in labels)
    assert "&lt;img src=x" in texts(section(farm_screen, "Defects"))
    assert "&lt;img src=x" in texts(section(farm_screen, "Incidents"))


# --- the rest


def test_an_incident_without_sources_still_has_its_sheet(farm_screen):
    farm = farm_of(farm_screen)
    incident = restrict(farm.desk, "pannier", ["pack-a"], "struck the ground")
    farm.close()
    page = section(farm_screen, "Incidents")
    page.selectbox("records-incident").set_value(named(incident)).run()
    assert "FACTS" in texts(page)
    page.button("records-incident-lay").click().run()

    assert not page.exception
    assert 2 == len(page.get("download_button"))


def test_the_matrix_can_be_narrowed_and_taken_along(farm_screen):
    page = section(farm_screen, "Inspection matrix")
    assert 2 == len(page.get("download_button"))
    assert "0 of 12 clauses are shown, 0 are not, 12 are open" in texts(page)
    page.selectbox("records-clause-state").set_value("shown").run()

    assert "No clause is." in texts(page)


def test_a_changed_working_copy_shows_what_differs(farm_screen):
    path = farm_screen.team / "aircraft" / "pannier.toml"
    text = path.read_text(encoding="utf-8")
    assert "empty_kg = 5.6" in text
    path.write_text(text.replace("empty_kg = 5.6", "empty_kg = 5.7"), encoding="utf-8")
    page = section(farm_screen, "Files")

    assert not page.exception
    assert "<td>changed</td>" in texts(page)
    assert "mass.empty_kg" in texts(page)


def test_two_files_that_are_called_alike_are_both_shown(farm_screen):
    place = farm_screen.team / "aircraft" / "pannier.toml"
    changed = re.sub(rb'serial = ".*?"', b'serial = "another"', place.read_bytes())
    for name in ("pannier.toml", "pannier.TOML"):  # one and the same on some systems
        (place.parent / name).write_bytes(changed)

    page = section(farm_screen, "Files")

    assert not page.exception
    assert any("aircraft pannier" in one.label for one in page.expander)
