"""Defects: what closes and defers them, and what only looks as if it did."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES, ENDS, INSPECTS
from flightlog.logbook.flying_kinds import NEVER_DEFERRED
from flightlog.operations.defects import (
    closing_draft,
    defect_conditions,
    defect_draft,
    deferral_draft,
    inspection_draft,
    rectification_draft,
    state_of,
)
from flightlog.operations.plan import Plan
from tests.logbook.made import public_of

PLAN = Plan("pannier", "pack-a")
PILOT, MECHANIC, OBSERVER = (public_of(n) for n in ("pilot", "mechanic", "observer"))


def report(farm, group="avionics", severity="blocking", **about):
    farm.clock.later(minutes=1)
    draft = defect_draft(
        farm.desk,
        part="bay hatch",
        group=group,
        severity=severity,
        text="worn",
        **(about or {"aircraft": "pannier"}),
    )
    return farm.sign(draft)


def put_off(farm, defect, **end):
    draft = deferral_draft(
        farm.desk,
        defect,
        reason="no part",
        risk="water",
        limitation="not in rain",
        pilot=PILOT,
        safety=MECHANIC,
        **(end or {"flights": 2}),
    )
    return farm.sign(draft, "pilot", "mechanic")


def mend(farm, defect):
    draft = rectification_draft(
        farm.desk, defect, action="new seal", parts="", data="", key=MECHANIC
    )
    return farm.sign(draft, "mechanic")


def condition(farm, name="defects"):
    return next(c for c in defect_conditions(farm.desk, PLAN) if c.name == name)


@pytest.mark.parametrize(("severity", "restricts"), [("blocking", True), ("deferrable", True),
                                                     ("cosmetic", False)])  # fmt: skip
def test_what_a_defect_restricts_goes_by_its_severity(farm, severity, restricts):
    report(farm, severity=severity)

    assert restricts == bool(farm.book.standing.open_restrictions("aircraft:pannier"))
    assert restricts != condition(farm).holds


def test_a_defect_is_open_until_it_is_put_right_and_closed(farm):
    defect = report(farm)
    with pytest.raises(RefusedError, match="nobody has put it right"):
        closing_draft(farm.desk, defect, text="x", key=MECHANIC, role="mechanic")
    mend(farm, defect)
    assert not condition(farm).holds
    farm.sign(closing_draft(farm.desk, defect, text="x", key=PILOT, role="inspector"), "pilot")

    assert "closed" == state_of(farm.desk, defect).state
    assert condition(farm).holds
    assert not farm.book.standing.open_restrictions("aircraft:pannier")


@pytest.mark.parametrize("group", [*NEVER_DEFERRED, "propulsion"])
def test_work_on_what_matters_most_is_inspected_by_another_person(farm, group):
    defect = report(farm, group=group)
    work = mend(farm, defect)
    with pytest.raises(RefusedError, match="an independent inspection"):
        closing_draft(farm.desk, defect, text="x", key=PILOT, role="inspector")
    with pytest.raises(RefusedError, match="did the work"):
        inspection_draft(farm.desk, work, result="pass", text="x", key=MECHANIC)
    look = inspection_draft(farm.desk, work, result="pass", text="locked", key=PILOT)
    farm.sign(look, "pilot")
    farm.sign(closing_draft(farm.desk, defect, text="x", key=PILOT, role="inspector"), "pilot")

    assert "closed" == state_of(farm.desk, defect).state


def test_an_inspection_that_failed_keeps_it_open(farm):
    defect = report(farm, group="flight-controls")
    work = mend(farm, defect)
    for result in ("pass", "fail"):
        draft = inspection_draft(farm.desk, work, result=result, text="x", key=PILOT)
        farm.sign(draft, "pilot")

    with pytest.raises(RefusedError, match="independent inspection"):
        closing_draft(farm.desk, defect, text="x", key=PILOT, role="inspector")


@pytest.mark.parametrize("signer", [("mechanic", "closed", "mechanic"), ("pilot", "closed")])
def test_an_entry_that_ends_the_restriction_alone_closes_nothing(farm, signer):
    """Somebody's own program writes a closing without work, or without its inspection."""
    defect = report(farm, group="flight-controls")
    work = mend(farm, defect)
    farm.add("defect-closed", {"text": "done"}, signer, relations=[(ENDS, defect), (CITES, work)])

    assert not farm.book.standing.open_restrictions("aircraft:pannier")
    assert state_of(farm.desk, defect).state != "closed"
    assert not condition(farm).holds


@pytest.mark.parametrize("group", NEVER_DEFERRED)
def test_what_is_never_deferred_is_not_deferred_by_anybody(farm, group):
    defect = report(farm, group=group, severity="deferrable")
    with pytest.raises(RefusedError, match="never deferred"):
        put_off(farm, defect)
    content = {"reason": "a", "risk": "b", "limitation": "c", "flights": 5}
    farm.add(
        "deferral",
        content,
        ("pilot", "accepted", "pilot"),
        ("mechanic", "accepted", "safety"),
        relations=[(ENDS, defect)],
    )

    assert "open" == state_of(farm.desk, defect).state
    assert not condition(farm).holds


def test_the_file_of_a_component_beats_what_the_report_says(farm):
    text = (
        'schema = "flightlog.component/1"\nid = "servo-3"\ntitle = "Servo of the elevator"\n'
        'group = "flight-controls"\n'
    )
    farm.enter("component", "servo-3", text.encode())
    defect = report(farm, "avionics", "deferrable", aircraft="pannier", component="servo-3")

    assert "flight-controls" == state_of(farm.desk, defect).group
    with pytest.raises(RefusedError, match="never deferred"):
        put_off(farm, defect)


def test_words_of_a_report_make_nothing_a_flight_control(farm):
    farm.clock.later(minutes=1)
    draft = defect_draft(
        farm.desk,
        part="paint near the elevator spar",
        group="other",
        severity="deferrable",
        text="flight control primary structure fail-safe",
        aircraft="pannier",
    )
    defect = farm.sign(draft)
    put_off(farm, defect)

    assert "deferred" == state_of(farm.desk, defect).state


def test_a_deferral_ends_by_day(farm):
    defect = report(farm, severity="deferrable")
    put_off(farm, defect, until=farm.clock.now + timedelta(days=3))
    assert condition(farm).holds
    assert "not in rain" in condition(farm, "deferrals").says
    farm.clock.later(days=3, minutes=1)
    farm.desk.refresh()

    assert "deferral over" == state_of(farm.desk, defect).state
    assert not condition(farm, "deferrals").holds


def test_a_deferral_ends_by_flights(farm):
    defect = report(farm, severity="deferrable")
    put_off(farm, defect, flights=2)
    for n in range(2):
        assert "deferred" == state_of(farm.desk, defect).state, n
        content = {
            "aircraft": "pannier",
            "number": 1,
            "source": "hand",
            "landings": 1,
            "attempts": 0,
            "paired": "by hand",
            "start": f"2027-03-{16 + n}T09:00:00Z",
        }
        farm.add("sortie", content, ("pilot", "stated"))

    assert "deferral over" == state_of(farm.desk, defect).state


@pytest.mark.parametrize(
    "signers",
    [
        [("pilot", "accepted", "pilot"), ("mechanic", "accepted")],
        [("observer", "accepted", "safety"), ("mechanic", "accepted", "safety")],
    ],
)
def test_a_deferral_is_signed_by_pilot_and_safety_officer(farm, signers):
    defect = report(farm, severity="deferrable")
    content = {"reason": "a", "risk": "b", "limitation": "c", "flights": 5}
    farm.add("deferral", content, *signers, relations=[(ENDS, defect)])

    assert "open" == state_of(farm.desk, defect).state


def test_a_deferral_has_an_end_that_is_not_past(farm):
    defect = report(farm, severity="deferrable")
    with pytest.raises(UsageError, match="ends"):
        put_off(farm, defect, until=None, flights=None)
    with pytest.raises(UsageError, match="past"):
        put_off(farm, defect, until=farm.clock.now - timedelta(days=1))


def test_a_blocking_defect_is_not_deferred(farm):
    with pytest.raises(RefusedError, match="blocking, not deferrable"):
        put_off(farm, report(farm))


def test_a_defect_of_the_pack_holds_flights_with_that_pack(farm):
    report(farm, "battery", "blocking", pack="pack-b")
    assert condition(farm).holds
    report(farm, "battery", "blocking", pack="pack-a")
    assert not condition(farm).holds


def test_work_that_somebody_inspected_is_named_in_the_closing(farm):
    defect = report(farm, group="propulsion")
    work = mend(farm, defect)
    look = farm.sign(
        inspection_draft(farm.desk, work, result="pass", text="x", key=OBSERVER), "observer"
    )
    closing = closing_draft(farm.desk, defect, text="x", key=PILOT, role="inspector")
    entry = farm.sign(closing, "pilot")

    assert {work.hash, look.hash} == set(entry.body.related(CITES))
    assert (work.hash,) == look.body.related(INSPECTS)
