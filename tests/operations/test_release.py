"""The release: no condition can be unmet, whoever's program writes it."""

from __future__ import annotations

import json
import shutil
from datetime import timedelta

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Logbook
from flightlog.logbook.merge import merge
from flightlog.operations.checks import About, checklist_in_force
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.release import (
    ORDER,
    conditions,
    draft_hold,
    draft_release,
    draft_withdrawal,
    release_state,
)
from tests.logbook.made import public_of
from tests.operations.flown import flown
from tests.operations.logs import stored_debrief
from tests.operations.released import (
    PLAN,
    charged,
    checked,
    copied,
    expected,
    loaded,
    parameters_read,
    ready_farm,
    ready_place,
    released,
    released_farm,
    released_place,
    stated_fit,
    upkept,
    walked,
    wind,
)
from tests.operations.unmet import ALSO, DEFECT, UNMET, forged, made_unmet

__all__ = ["ready_farm", "ready_place", "released_farm", "released_place"]  # fixtures


def unmet(farm, beside: bool = False) -> set[str]:
    release = farm.desk.ledger.last("release") if beside else None
    return {c.name for c in conditions(farm.desk, PLAN, beside=release) if not c.holds}


def attempt(farm, findings) -> None:
    """Enter the log of a roll that was given up, and the event that it is."""
    attached = []
    if findings is not None:
        place = farm.folder.path.parent / "one.debrief.json"
        whole = stored_debrief(None, sorties=0, findings=findings)
        place.write_text(json.dumps(whole), encoding="utf-8")
        attached.append(farm.book.attach(place))
    content = {
        "file": "one.bin",
        "sha256": "ab" * 32,
        "format": "dataflash",
        "analyses": 2,
        "sorties": 0,
        "attempts": 1,
        "aircraft": "pannier",
    }
    recording = farm.add("recording", content, attachments=attached)
    farm.add("event", {"event": "attempt", "aircraft": "pannier"}, cites=[recording])


def reasons(farm) -> dict[str, str]:
    state = release_state(farm.desk, "pannier")
    assert state.released == (not state.reasons)
    return {c.name: c.says for c in state.reasons}


def says(farm) -> str:
    return "\n".join(c.says for c in release_state(farm.desk, "pannier").reasons)


def test_with_everything_met_it_is_released_for_four_hours(ready_farm):
    release = released(ready_farm)
    drafted = ready_farm.clock.now - timedelta(minutes=1)
    state = release_state(ready_farm.desk, "pannier")

    assert "released" == state.word, state.reasons
    assert release == state.release
    assert PLAN == state.plan
    assert set(ORDER) == {c.name for c in state.conditions}
    ready_farm.clock.now = drafted + timedelta(hours=3, minutes=59, seconds=59)
    ready_farm.desk.refresh()
    assert {"weather"} == set(reasons(ready_farm))
    ready_farm.clock.later(seconds=1)
    ready_farm.desk.refresh()
    assert "ended unspent" in says(ready_farm)


def test_conditions_come_in_one_order_and_each_is_there(ready_farm):
    names = [c.name for c in conditions(ready_farm.desk, PLAN)]

    assert list(ORDER) == list(dict.fromkeys(names))
    assert set(ORDER) == set(UNMET)


@pytest.mark.parametrize("name", UNMET)
def test_no_release_can_be_had_with_one_condition_unmet(ready_farm, name):
    made_unmet(ready_farm, name)
    held = [c for c in conditions(ready_farm.desk, PLAN) if not c.holds]

    assert {name} | ALSO.get(name, set()) == {c.name for c in held}, held
    assert all(c.says and c.clear for c in held), held
    with pytest.raises(RefusedError, match=f"{name}: "):
        draft_release(ready_farm.desk, PLAN, public_of("pilot"), public_of("mechanic"))

    # Nor by a program of somebody's own, which signs well and asks for nothing.
    release = forged(ready_farm)

    assert ready_farm.book.standing.permit(release).holds
    state = release_state(ready_farm.desk, "pannier")
    assert "held" == state.word
    assert name in {c.name for c in state.reasons} or any(name in c.says for c in state.reasons)
    assert all(c.says and c.clear for c in state.reasons)


@pytest.mark.parametrize("name", [n for n in UNMET if n != "no-open-release"])
def test_a_release_is_held_as_soon_as_one_condition_is_unmet_after_it(released_farm, name):
    made_unmet(released_farm, name)

    assert name in reasons(released_farm)


# --- what is missing when it is signed can't be made up for afterwards


def _measure(farm) -> None:
    wind(farm)
    expected(farm)


def _flight_list_again(farm) -> None:
    begun = farm.desk.ledger.last("list-begun", list="pre-flight")
    checked(farm, begun, checklist_in_force(farm.desk, "pre-flight").item("papers-dates"))


CLEARED = {
    "fitness": stated_fit,
    "flight-list": _flight_list_again,
    "inspections": upkept,
    "pack": charged,
    "weather": _measure,
    "limits": expected,
    "parameters": parameters_read,
}


@pytest.mark.parametrize("name", CLEARED)
def test_what_did_not_hold_when_it_was_signed_is_not_mended_later(ready_farm, name):
    made_unmet(ready_farm, name)
    forged(ready_farm)
    CLEARED[name](ready_farm)

    assert "no-open-release" not in unmet(ready_farm, beside=True)
    assert {"release"} == set(reasons(ready_farm))
    assert f"{name} did not hold when it was signed" in says(ready_farm)


def test_a_release_cites_what_it_rests_on(released_farm):
    release = released_farm.desk.ledger.last("release")
    cited = {e.body.kind for e in released_farm.desk.ledger.named(release)}

    assert {
        *("file-version", "fitness", "list-begun", "task-done", "charge", "weighing"),
        *("load-sheet", "weather", "expectation", "baseline", "parameters-read"),
    } == cited


def test_one_that_leaves_out_what_it_rests_on_is_worth_nothing(ready_farm):
    forged(ready_farm, leave_out="fitness")

    assert "does not cite" in says(ready_farm)
    assert "(fitness)" in says(ready_farm)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("configuration", "cargo-1"),
        ("aircraft_file", "ab" * 32),
        ("rules", "ab" * 32),
        ("rules", None),
        ("site", None),
        ("mass", {"value": "5.000", "unit": "kg"}),
        ("units", 0),
        ("pack", "pack-b"),
        ("pack", "no-such-pack"),
    ],
)
def test_one_that_says_what_the_record_does_not_is_worth_nothing(ready_farm, key, value):
    forged(ready_farm, **{key: value})

    if value is None and key == "rules":  # under no rule book: that is another plan, and may be
        assert "released" == release_state(ready_farm.desk, "pannier").word
    else:
        assert reasons(ready_farm)


def test_it_does_not_last_longer_than_four_hours_whatever_it_says(ready_farm):
    forged(ready_farm, until="2027-03-16T07:00:00Z")
    began = ready_farm.clock.now
    ends = release_state(ready_farm.desk, "pannier").until

    assert began + timedelta(hours=4) == ends


@pytest.mark.parametrize(
    "signers",
    [
        [("pilot", "accepted", ""), ("mechanic", "released", "safety")],
        [("pilot", "accepted", "pilot"), ("mechanic", "released", "mechanic")],
        [("pilot", "accepted", "pilot"), ("mechanic", "accepted", "safety")],
        [("mechanic", "accepted", "safety"), ("observer", "released", "safety")],
    ],
)
def test_a_pilot_accepts_and_another_person_releases(ready_farm, signers):
    forged(ready_farm, signers=signers)

    assert "no pilot accepted" in says(ready_farm) or "no second person" in says(ready_farm)


@pytest.mark.parametrize(
    ("pilot", "other", "said"),
    [
        ("mechanic", "observer", "does not hold the role 'pilot'"),
        ("pilot", "pilot", "one person can't both"),
        ("pilot", "stranger", "does not hold the role 'safety' or 'inspector'"),
    ],
)
def test_a_draft_is_refused_to_others(ready_farm, pilot, other, said):
    with pytest.raises(RefusedError, match=said):
        draft_release(ready_farm.desk, PLAN, public_of(pilot), public_of(other))


def test_all_reasons_are_told_at_once(farm):
    with pytest.raises(RefusedError) as caught:
        draft_release(farm.desk, PLAN, public_of("pilot"), public_of("pilot"))

    for name in ("fitness", "flight-list", "load", "weather", "limits", "parameters", "persons"):
        assert f"{name}: " in caught.value.found
    assert "flightlog checks walk" in caught.value.fix


@pytest.mark.parametrize(
    "plan",
    [
        Plan("panier", "pack-a"),
        Plan("pannier", "pack-x"),
        Plan("pannier", "pack-a", rules="none-such"),
        Plan("pannier", "pack-a", site="nowhere"),
        Plan("pannier", "pack-a", landings=0),
    ],
)
def test_what_is_typed_wrong_is_told_as_such(farm, plan):
    with pytest.raises(UsageError):
        draft_release(farm.desk, plan, public_of("pilot"), public_of("mechanic"))


# --- after it


def test_it_is_spent_by_its_flight(released_farm):
    release = released_farm.desk.ledger.last("release")
    flown(released_farm, relations=[("spends", release)])

    assert "held" == release_state(released_farm.desk, "pannier").word
    assert "spent by" in says(released_farm)


def test_one_that_was_spent_is_not_said_to_have_ended_unspent(released_farm):
    release = released_farm.desk.ledger.last("release")
    flight = flown(released_farm, relations=[("spends", release)])
    released_farm.clock.later(hours=9)
    released_farm.desk.refresh()

    assert f"spent by {named(flight)}" in says(released_farm)
    assert "unspent" not in says(released_farm)


def test_an_attempt_does_not_spend_it(released_farm):
    attempt(released_farm, findings=[{"code": "radio-copy", "severity": "note"}])

    assert "released" == release_state(released_farm.desk, "pannier").word


def test_an_attempt_with_a_stop_finding_does(released_farm):
    attempt(released_farm, findings=[{"code": "no-position", "severity": "stop"}])

    assert "with the finding no-position" in says(released_farm)


def test_an_attempt_whose_debrief_is_gone_does(released_farm):
    attempt(released_farm, findings=None)

    assert "is missing" in says(released_farm)


def test_an_event_that_reopens_a_check_ends_it_though_the_check_is_done_again(released_farm):
    released_farm.add("event", {"event": "storage", "aircraft": "pannier"})
    assert "daily-list" in reasons(released_farm)
    walked(released_farm, "daily", About("pannier"))

    assert {"release"} == set(reasons(released_farm))
    assert "since then: storage" in says(released_farm)


def test_an_event_of_another_aircraft_does_not_end_it(released_farm):
    released_farm.add("event", {"event": "rain", "aircraft": "drover"})

    assert "released" == release_state(released_farm.desk, "pannier").word


def test_measuring_again_does_not_end_it(released_farm):
    wind(released_farm)
    assert {"limits"} == set(reasons(released_farm))  # what is expected was for other air
    expected(released_farm)
    parameters_read(released_farm)

    assert "released" == release_state(released_farm.desk, "pannier").word


def test_another_load_ends_it(released_farm):
    loaded(released_farm, units=5)
    expected(released_farm)

    assert "(load-sheet), which it had not seen" in says(released_farm)


def test_a_restriction_ends_it_though_it_was_ended_itself(released_farm):
    stop = released_farm.add(
        "out-of-service",
        {"pack": "pack-a", "reason": "warm"},
        effect=("restricts", "pack:pack-a"),
    )
    released_farm.add(
        "return-to-service",
        {"text": "cool again"},
        ("pilot", "released", "inspector"),
        ("mechanic", "released", "safety"),
        relations=[("ends", stop)],
    )

    assert set() == unmet(released_farm, beside=True)
    assert "pack:pack-a was restricted" in says(released_farm)


def test_work_ends_it(released_farm):
    defect = released_farm.add("defect", {**DEFECT, "severity": "cosmetic"})
    assert "released" == release_state(released_farm.desk, "pannier").word
    released_farm.add(
        "rectification",
        {"action": "painted"},
        ("mechanic", "performed", "mechanic"),
        cites=[defect],
    )

    assert "work was done" in says(released_farm)


def test_an_open_release_has_to_be_accounted_for_before_the_next(released_farm):
    first = released_farm.desk.ledger.last("release")
    with pytest.raises(RefusedError, match="not known to be flown, nor withdrawn"):
        released(released_farm)
    draft = draft_withdrawal(released_farm.desk, first, "gusts", public_of("observer"))
    released_farm.sign(draft, "observer")
    assert "ended by" in says(released_farm)
    released(released_farm)

    assert "released" == release_state(released_farm.desk, "pannier").word
    with pytest.raises(RefusedError, match="worth nothing any more"):
        draft_withdrawal(released_farm.desk, first, "again", public_of("observer"))


def test_what_is_no_release_can_t_be_withdrawn(ready_farm):
    fitness = ready_farm.desk.ledger.last("fitness")

    with pytest.raises(UsageError, match="no release"):
        draft_withdrawal(ready_farm.desk, fitness, "slip", public_of("pilot"))


def test_one_signed_by_a_clock_that_runs_ahead_is_held(released_farm):
    released_farm.clock.later(minutes=20)
    wind(released_farm)
    expected(released_farm)
    released_farm.clock.later(minutes=-18)
    released_farm.desk.refresh()

    assert "still to come" in says(released_farm)


def test_no_release_at_all_is_held(farm):
    state = release_state(farm.desk, "pannier")

    assert ("held", None) == (state.word, state.release)
    with pytest.raises(UsageError, match="'pannier'"):
        release_state(farm.desk, "panier")


def test_releases_made_apart_hold_each_other(ready_farm, tmp_path):
    other = copied(ready_farm.folder.path.parent, tmp_path / "other", ready_farm.clock.now)
    shutil.rmtree(tmp_path / "other" / "profile")
    other.book.close()
    other.book = Logbook.open(
        other.folder.logbook, profile=tmp_path / "other" / "profile", clock=other.clock
    )
    other.desk = Desk(other.folder, other.book, other.desk.names)
    released(ready_farm)
    released(other)
    merge(ready_farm.book, other.folder.logbook)
    other.close()
    ready_farm.desk.refresh()

    assert "no-open-release" in reasons(ready_farm)


def test_a_forked_record_holds_it(ready_farm, tmp_path):
    """One laptop's profile and folder were copied, and both went on."""
    twin = copied(ready_farm.folder.path.parent, tmp_path / "twin", ready_farm.clock.now)
    twin.add("remark", {"text": "there"})
    ready_farm.add("remark", {"text": "here"})
    merge(ready_farm.book, twin.folder.logbook)
    twin.close()
    ready_farm.desk.refresh()
    held = [c for c in conditions(ready_farm.desk, PLAN) if not c.holds]

    assert ["record"] == [c.name for c in held]
    assert "forked" in held[0].says
    assert 2 == held[0].clear.count("--explains")


# --- whatever the rooms say


def test_nothing_raises_whatever_is_planned(farm):
    for plan in (Plan("", ""), Plan("drover", "pack-z", "x", "y"), Plan("pannier", "pack-a", "x")):
        held = [c for c in conditions(farm.desk, plan) if not c.holds]

        assert held
        assert all(c.says and c.clear for c in held), held


def test_a_room_that_says_nothing_holds_the_release(ready_farm, monkeypatch):
    rooms = [(("weather",), lambda desk, plan: [])]
    monkeypatch.setattr("flightlog.operations.all_conditions._ROOMS", rooms)
    found = {c.name: c for c in conditions(ready_farm.desk, PLAN)}

    assert not found["weather"].holds
    with pytest.raises(RefusedError, match="weather: nothing could be found out"):
        released(ready_farm)


def test_more_than_a_release_can_cite_is_cut_off_in_one_way(ready_farm, monkeypatch):
    monkeypatch.setattr("flightlog.operations.all_conditions.MOST_CITED", 3)
    release = released(ready_farm)

    assert 3 == len(release.body.related("cites"))
    assert "released" == release_state(ready_farm.desk, "pannier").word


def test_a_held_day_is_written_down_by_the_laptop_alone(farm):
    held = [c for c in conditions(farm.desk, PLAN) if not c.holds]
    entry = farm.desk.append(draft_hold("pannier", held))

    assert () == entry.body.signers
    said = [r["condition"] for r in entry.body.content["reasons"]]
    assert list(dict.fromkeys(c.name for c in held)) == said
