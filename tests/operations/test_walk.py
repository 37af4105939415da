"""Walking on the screen: what is before whom, in which order, and for how long."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.check_drafts import begun_draft
from flightlog.operations.checks import About, checklist_in_force, list_state
from flightlog.operations.defects import defect_draft, deferral_draft
from flightlog.operations.walk import (
    before,
    deferrals_for,
    done_by_role,
    done_of,
    is_second_look,
    shares,
    stopwatch,
)
from tests.logbook.made import public_of
from tests.operations.released import checked

ABOUT = About("pannier")


@pytest.fixture
def begun(farm):
    return farm.desk.append(begun_draft(farm.desk, "daily", ABOUT))


def state_of(farm):
    farm.desk.refresh()
    return list_state(farm.desk, "daily", ABOUT)


def do(farm, begun, *ids):
    for item in checklist_in_force(farm.desk, "daily").items:
        if item.id in ids:
            checked(farm, begun, item)


def first_look(farm, begun, item_id):
    said = {"item": item_id, "result": "pass"}
    farm.add("check", said, ("mechanic", "performed", "mechanic"), cites=[begun])


def test_each_sees_what_they_can_do_in_the_order_of_the_list(farm, begun):
    found = before(farm.desk, state_of(farm), public_of("mechanic"))

    ids = [one.item.id for one in found]
    assert ["structure", "controls", "wiring", "motor", "tools", "crew"] == ids


def test_what_was_left_for_later_comes_last(farm, begun):
    later = {"structure", "motor"}

    found = before(farm.desk, state_of(farm), public_of("mechanic"), later)

    assert ["structure", "motor"] == [one.item.id for one in found][-2:]
    assert 6 == len(found)


def test_what_was_done_once_is_before_a_second_person_and_not_the_first(farm, begun):
    first_look(farm, begun, "structure")

    state = state_of(farm)

    mine = [one.item.id for one in before(farm.desk, state, public_of("mechanic"))]
    theirs = {one.item.id: one for one in before(farm.desk, state, public_of("pilot"))}
    assert "structure" not in mine
    assert is_second_look(theirs["structure"])


def test_done_counts_what_both_have_looked_at(farm, begun):
    first_look(farm, begun, "structure")
    assert (0, 7) == done_of(state_of(farm))

    do(farm, begun, "controls", "wiring")

    assert (2, 7) == done_of(state_of(farm))


def test_shares_count_what_each_can_do_now(farm, begun):
    do(farm, begun, "structure", "controls", "wiring", "motor", "tools")

    found = {share.hand.key: share.items for share in shares(farm.desk, state_of(farm))}

    assert {"pilot": 1, "mechanic": 1, "observer": 1} == {
        name: found[public_of(name)] for name in ("pilot", "mechanic", "observer")
    }


def reported(farm):
    report = defect_draft(
        farm.desk,
        part="bay hatch",
        group="payload",
        severity="deferrable",
        text="seal worn",
        aircraft="pannier",
    )
    return farm.sign(report)


def deferred(farm):
    """Have a defect put off for three days by pilot and safety."""
    draft = deferral_draft(
        farm.desk,
        reported(farm),
        reason="seal on order",
        risk="water in the bay",
        limitation="not in rain",
        until=farm.clock.now + timedelta(days=3),
        pilot=public_of("pilot"),
        safety=public_of("mechanic"),
    )
    return farm.sign(draft, "pilot", "mechanic")


def test_a_defect_alone_puts_no_item_off(farm, begun):
    reported(farm)

    assert () == deferrals_for(farm.desk, begun)


def test_only_a_deferral_that_holds_for_this_aircraft_can_put_an_item_off(farm, begun):
    deferral = deferred(farm)
    assert (deferral,) == deferrals_for(farm.desk, begun)

    farm.clock.later(days=4)
    farm.desk.refresh()

    assert () == deferrals_for(farm.desk, begun)


@pytest.mark.parametrize(
    ("shown", "last", "seconds"),
    [
        (90.0, None, 10.0),
        (20.0, 95.0, 5.0),  # on the screen all the time, looked at after the answer before it
        (97.0, 95.0, 3.0),
        (None, 95.0, 0.0),
        (None, None, 0.0),
    ],
)
def test_an_item_is_timed_from_when_a_person_could_look_at_it(shown, last, seconds):
    assert seconds == stopwatch(100.0, shown, last)


def test_only_what_is_done_and_of_ones_role_can_be_done_again(farm, begun):
    assert () == done_by_role(farm.desk, state_of(farm), public_of("mechanic"))
    do(farm, begun, "wiring", "packs")

    mine = done_by_role(farm.desk, state_of(farm), public_of("mechanic"))

    assert ["wiring"] == [one.item.id for one in mine], "the packs are the battery's"
