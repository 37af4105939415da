"""Every page opens: without a team folder, with a new one, and with one that is broken."""

from __future__ import annotations

import re
import threading
import time

import pytest

from flightlog.dashboard import parts, shell
from flightlog.errors import NotWritableError
from flightlog.logbook.book import Logbook
from flightlog.logbook.names import Names
from flightlog.team.folder import TeamFolder
from tests.dashboard.before_page import farm_of
from tests.dashboard.screens import texts
from tests.logbook.made import public_of

PAGES = ("before", "after", "season", "ground_tests", "records")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_without_a_team_folder_says_how_to_make_one(no_team_screen, name):
    page = no_team_screen.page(name)

    assert not page.exception
    assert "flightlog team new" in texts(page)


def test_a_page_that_waits_for_another_tab_says_so_and_comes(farm_screen, monkeypatch):
    monkeypatch.setattr(shell, "_SOON_S", 0.05)
    said, at_work = [], threading.Event()
    inner = parts.note
    monkeypatch.setattr(parts, "note", lambda text: said.append(text) or inner(text))

    def import_long():
        with shell._LOCK:
            at_work.set()
            # Until the page has said so, however slow the machine is.
            for _ in range(600):
                if said:
                    break
                time.sleep(0.05)

    other = threading.Thread(target=import_long)
    other.start()
    at_work.wait()
    page = farm_screen.page("records")
    other.join()

    assert "Another tab is at work" in said[0]
    assert "Another tab" not in texts(page)
    assert "Is the record whole?" in texts(page)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_of_a_new_team_says_what_to_do_first(new_team_screen, name):
    page = new_team_screen.page(name)

    assert not page.exception
    assert 'class="fl-empty"' in texts(page)


@pytest.mark.parametrize("name", PAGES)
def test_a_clock_behind_the_record_is_told_on_every_page(farm_screen, name):
    farm_screen.clock.later(days=-200)

    assert "behind the record" in texts(farm_screen.page(name))


def test_a_folder_that_can_only_be_read_is_shown_and_says_so(farm_screen, monkeypatch):
    whole = Logbook.open

    def read_only(folder, *, read_only=False, **more):
        if not read_only:
            raise NotWritableError("the disk can only be read", where=str(folder))
        return whole(folder, read_only=True, **more)

    monkeypatch.setattr(Logbook, "open", read_only)

    assert "Nothing can be signed" in texts(farm_screen.page("records"))


def test_a_broken_record_is_told_and_how_to_look_into_it(farm_screen):
    place = farm_screen.team / "logbook" / "record.sqlite"
    place.write_bytes(b"no database at all, whatever it is called" * 100)

    said = texts(farm_screen.page("before"))

    assert "it is no SQLite file" in said
    assert "flightlog logbook check" in said
    assert "flightlog team new" not in said


def test_what_another_process_added_is_seen_by_the_next_run(farm_screen):
    page = farm_screen.page("records")
    before = int(re.search(r"(\d+) entries", texts(page)).group(1))
    with farm_of(farm_screen) as farm:
        farm.add("remark", {"text": "wind from the north"}, ("pilot", "remarked"))
    names = Names().with_name(public_of("pilot"), "pilot of the north")
    names.write(TeamFolder.read(farm_screen.team).names)

    page.run()

    assert f"{before + 1} entries" in texts(page)
    assert any("pilot of the north" in option for box in page.selectbox for option in box.options)
