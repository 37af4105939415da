"""Helpers for the page before a flight: its state, fields and buttons, and the farm behind it."""

from __future__ import annotations

from contextlib import contextmanager

from flightlog.logbook.book import Logbook
from flightlog.logbook.names import Names
from flightlog.operations.desk import Desk
from flightlog.team.folder import TeamFolder
from tests.dashboard.screens import passphrase_of, texts
from tests.logbook.made import public_of
from tests.operations.made import CREW, HillFarm

HELD, RELEASED, READY = "■ held", "▲ released", "△ ready"


@contextmanager
def farm_of(screen):
    """The farm behind a screen, as at another window of the same laptop."""
    farm = HillFarm.__new__(HillFarm)
    farm.clock = screen.clock
    farm.folder = TeamFolder.read(screen.team)
    profile = screen.team.parent / "profile"
    farm.book = Logbook.open(farm.folder.logbook, profile=profile, clock=farm.clock)
    names = Names()
    for name in CREW:
        names = names.with_name(public_of(name), name)
    farm.desk = Desk(farm.folder, farm.book, names)
    try:
        yield farm
    finally:
        farm.close()


def length(screen):
    with farm_of(screen) as farm:
        return len(farm.book.order)


def state_of(page):
    """Give the word in the large block at the top."""
    html = texts(page)
    start = html.index('role="status">') + len('role="status">')
    return html[start : html.index("<", start)]


def kept(page):
    return repr(page.session_state)


def section(page, name):
    page.session_state["before-section"] = name
    return page.run()


def typed(page, *phrases):
    """Type passphrases into the fields that ask for them."""
    fields = [f for f in page.text_input if "passphrase" in f.label.lower()]
    for field, phrase in zip(fields, phrases, strict=True):
        field.set_value(phrase)
    return page


def press(page, begins):
    """Press the button whose key begins so."""
    return next(b for b in page.button if b.key and b.key.startswith(begins)).click().run()


def ok(page):
    assert not page.exception, page.exception
    return page


def at_laptop(page, list_id, name):
    box = next(s for s in page.selectbox if (s.key or "").startswith(f"before-walk-{list_id}"))
    box.set_value(public_of(name))
    return press(typed(page, passphrase_of(name)), f"before-walk-{list_id}-begin")


def taken(screen, list_id="daily"):
    page = section(ok(screen.page("before")), "lists")
    press(page, f"before-take-{list_id}")
    press(page, f"before-begin-{list_id}")
    return ok(page)


def item(page, item_id, ends):
    """Give a button of an item."""
    return next(
        b
        for b in page.button
        if b.key
        and b.key.startswith("before-item-")
        and f"-{item_id}-" in b.key
        and b.key.endswith(ends)
    )
