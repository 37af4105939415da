"""What was done once is done again when it is due again."""

from __future__ import annotations

import pytest

from flightlog.operations.check_drafts import for_person
from flightlog.operations.checks import list_state
from flightlog.operations.list_conditions import list_conditions
from flightlog.operations.plan import Plan
from flightlog.operations.service import event_draft
from tests.logbook.made import public_of
from tests.operations.flown import flown
from tests.operations.lists import PANNIER, walk


def event_lists(farm):
    found = list_conditions(farm.desk, Plan("pannier", "pack-a"))
    return next(c for c in found if c.name == "event-lists")


@pytest.mark.parametrize(
    ("event", "list_id"),
    [
        ("transport", "after-transport"),
        ("contact", "after-hard-landing"),
        ("structure-changed", "after-hard-landing"),
        ("surface-sense", "after-surface-fault"),
    ],
)
def test_a_second_event_asks_for_its_list_again_and_the_list_can_be_done(farm, event, list_id):
    photos = [farm.book.attach(farm.folder.path / "checklists" / "daily.toml", "gear.jpg")]
    for _ in range(2):
        farm.desk.append(event_draft(farm.desk, event, aircraft="pannier"))
        assert not event_lists(farm).holds
        walk(farm, list_id, photos=photos)
        assert event_lists(farm).holds, event_lists(farm).says
        farm.clock.later(hours=30)
        farm.desk.refresh()


def test_a_second_flight_opens_the_post_flight_list_again(farm):
    walk(farm, "post-flight")
    assert list_state(farm.desk, "post-flight", PANNIER).complete
    farm.clock.later(hours=3)
    flown(farm, 300)
    farm.clock.later(minutes=20)
    farm.desk.refresh()

    found = list_state(farm.desk, "post-flight", PANNIER)
    assert not any(item.fine for item in found.items)
    assert for_person(farm.desk, found, public_of("pilot"))
