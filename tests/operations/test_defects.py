"""Defects: what closes and defers them, and what only looks as if it did."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES, ENDS, INSPECTS
from flightlog.logbook.flying_kinds import NEVER_DEFERRED
from flightlog.operations.defects import (
    closing_draft,
    defect_draft,
    defects,
    inspection_draft,
    rectification_draft,
    state_of,
    work_meant,
)
from tests.operations.faults import (
    BOTH,
    DEFERRED,
    MECHANIC,
    OBSERVER,
    PILOT,
    close,
    condition,
    corrected,
    look,
    mend,
    put_off,
    report,
    state,
)
from tests.operations.flown import apart, flown, moved, second_aircraft, united

DONE = ("mechanic", "closed", "mechanic")


def open_in_the_record(farm):
    return bool(farm.book.standing.open_restrictions("aircraft:pannier"))


@pytest.mark.parametrize("severity", ["blocking", "deferrable"])
def test_what_a_defect_restricts_goes_by_its_severity(farm, severity):
    report(farm, severity="cosmetic")
    assert not open_in_the_record(farm)
    assert condition(farm).holds
    assert "1 cosmetic" in condition(farm).says
    report(farm, severity=severity)

    assert open_in_the_record(farm)
    assert not condition(farm).holds


def test_a_defect_is_open_until_it_is_put_right_and_closed(farm):
    defect = report(farm)
    with pytest.raises(RefusedError, match="nobody has put it right"):
        closing_draft(farm.desk, defect, text="x", key=MECHANIC)
    mend(farm, defect)
    assert not condition(farm).holds
    assert "put right, not closed" == state(farm, defect)
    closing = close(farm, defect)

    assert "closed" == state(farm, defect)
    assert condition(farm).holds
    assert not open_in_the_record(farm)
    with pytest.raises(RefusedError, match="closed"):
        rectification_draft(farm.desk, defect, action="x", parts="", data="", key=MECHANIC)
    # What was struck out closes nothing, and the defect is back.
    corrected(farm, closing)
    assert "put right, not closed" == state(farm, defect)
    assert "corrected" in state_of(farm.desk, defect).ignored[0]


def test_striking_out_a_report_puts_nothing_right(farm):
    defect = report(farm)
    correction = corrected(farm, defect)

    assert "open" == state(farm, defect)
    assert not condition(farm).holds
    assert correction in state_of(farm.desk, defect).history


def test_work_on_what_matters_most_is_inspected_by_another_person(farm):
    for group in (*NEVER_DEFERRED, "propulsion"):
        defect = report(farm, group=group)
        work = mend(farm, defect)
        with pytest.raises(RefusedError, match="an independent inspection"):
            closing_draft(farm.desk, defect, text="x", key=PILOT)
        with pytest.raises(RefusedError, match="did the work"):
            inspection_draft(farm.desk, work, result="pass", text="x", key=MECHANIC)
        seen = look(farm, work)
        closing = close(farm, defect)

        assert "closed" == state(farm, defect), group
        assert {work.hash, seen.hash} == set(closing.body.related(CITES))
        assert (work.hash,) == seen.body.related(INSPECTS)
        assert (defect, work, seen, closing) == state_of(farm.desk, defect).history
    assert condition(farm).holds


def test_an_inspection_that_failed_keeps_it_open_until_that_is_answered(farm):
    for group in ("flight-controls", "payload"):
        defect = report(farm, group=group)
        work = mend(farm, defect)
        look(farm, work)
        wrong = look(farm, work, "fail")
        with pytest.raises(RefusedError, match="found it not right"):
            closing_draft(farm.desk, defect, text="x", key=PILOT)
        assert not condition(farm).holds
        again = mend(farm, defect)
        if group == "flight-controls":
            with pytest.raises(RefusedError, match="an independent inspection"):
                closing_draft(farm.desk, defect, text="x", key=PILOT)
            look(farm, again)
        closing = close(farm, defect)

        assert "closed" == state(farm, defect), group
        assert {work.hash, wrong.hash, again.hash} <= set(closing.body.related(CITES))


def test_who_found_it_not_right_may_find_it_right_afterwards(farm):
    defect = report(farm, group="flight-controls")
    work = mend(farm, defect)
    look(farm, work, "fail", by="observer")
    look(farm, work)
    close(farm, defect)
    assert "closed" == state(farm, defect)

    # Somebody looks once more after the closing, and finds it wrong.
    look(farm, work, "fail", by="observer")
    assert not condition(farm).holds


def test_what_was_disturbed_again_is_inspected_again(farm):
    defect = report(farm, group="flight-controls")
    look(farm, mend(farm, defect))
    mend(farm, defect, "horn moved once more")

    with pytest.raises(RefusedError, match="an independent inspection"):
        closing_draft(farm.desk, defect, text="x", key=PILOT)


def test_work_at_another_laptop_that_the_closing_had_not_seen_opens_it_again(farm, tmp_path):
    defect = report(farm)
    other = apart(farm, tmp_path / "other")
    mend(farm, defect)
    close(farm, defect)
    mend(other, defect, "bolt taken out")
    united(farm, other)

    assert "put right, not closed" == state(farm, defect)
    assert not condition(farm).holds


def test_an_entry_that_ends_the_restriction_alone_closes_nothing(farm):
    """Somebody's own program writes a closing without inspection, or role, or without naming it."""
    every = []
    for signer, inspected, names_it in (
        (DONE, False, True),
        (DONE, True, False),
        (("pilot", "closed"), True, True),
        (("pilot", "closed", "pilot"), True, True),
    ):
        defect = report(farm, group="flight-controls")
        work = mend(farm, defect)
        if inspected:
            look(farm, work)
        relations = [(ENDS, defect), *([(CITES, work)] if names_it else [])]
        farm.add("defect-closed", {"text": "done"}, signer, relations=relations)
        every.append(defect)

    assert not open_in_the_record(farm)
    assert {"put right, not closed"} == {state(farm, defect) for defect in every}
    assert not condition(farm).holds
    assert len(every) == condition(farm).says.count("(defect-closed) does not count: ")


def test_an_inspection_after_the_closing_makes_it_no_closing(farm):
    defect = report(farm, group="flight-controls")
    work = mend(farm, defect)
    relations = [(ENDS, defect), (CITES, work)]
    farm.add("defect-closed", {"text": "done"}, DONE, relations=relations)
    look(farm, work)
    assert "put right, not closed" == state(farm, defect)
    close(farm, defect)

    assert "closed" == state(farm, defect)


def test_other_entries_that_end_the_restriction_close_nothing(farm):
    signers = [("pilot", "released", "inspector"), ("mechanic", "released", "safety")]
    for kind in ("remark", "return-to-service"):
        defect = report(farm)
        farm.add(kind, {"text": "fine"}, *signers, relations=[(ENDS, defect)])

        assert not open_in_the_record(farm)
        assert "open" == state(farm, defect)
        assert f"({kind}) does not count" in condition(farm).says


def test_work_that_no_mechanic_answers_for_is_none(farm):
    defect = report(farm)
    farm.add("rectification", {"action": "x"}, ("pilot", "performed"), cites=[defect])
    with pytest.raises(RefusedError, match="signed by a mechanic"):
        closing_draft(farm.desk, defect, text="x", key=PILOT)
    work = mend(farm, defect)
    corrected(farm, work)
    with pytest.raises(RefusedError, match="signed by a mechanic"):
        closing_draft(farm.desk, defect, text="x", key=PILOT)
    mend(farm, defect)
    close(farm, defect)

    assert "closed" == state(farm, defect)


def test_a_closing_is_signed_as_inspector_or_mechanic(farm):
    defect = report(farm)
    mend(farm, defect)
    with pytest.raises(UsageError, match="'pilot' closes no defect"):
        closing_draft(farm.desk, defect, text="x", key=PILOT, role="pilot")

    assert "mechanic" == closing_draft(
        farm.desk, defect, text="x", key=MECHANIC, role="mechanic"
    ).signers[0].role  # fmt: skip
    assert "inspector" == closing_draft(farm.desk, defect, text="x", key=OBSERVER).signers[0].role


def test_what_is_never_deferred_is_not_deferred_by_anybody(farm):
    for group in NEVER_DEFERRED:
        defect = report(farm, group=group, severity="deferrable")
        with pytest.raises(RefusedError, match="never deferred"):
            put_off(farm, defect)
        farm.add("deferral", DEFERRED, *BOTH, relations=[(ENDS, defect)])

        assert not open_in_the_record(farm)
        assert "open" == state(farm, defect), group
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
    # A file that is changed afterwards makes no less of it, and one that changes to more does.
    farm.enter("component", "servo-3", text.replace("flight-controls", "payload").encode())
    assert "flight-controls" == state_of(farm.desk, defect).group
    later = report(farm, "avionics", "deferrable", aircraft="pannier", component="servo-3")
    put_off(farm, later)
    assert "deferred" == state(farm, later)
    farm.enter("component", "servo-3", text.encode())
    assert "open" == state(farm, later)
    # What can't be read is taken for the gravest.
    for version in farm.desk.versions.history("component", "servo-3"):
        version.path.unlink(missing_ok=True)  # two versions are of the same bytes
    farm.desk._loaded.clear()
    assert "not known" == state_of(farm.desk, defect).group
    with pytest.raises(RefusedError, match="never deferred"):
        put_off(farm, later)


def test_words_of_a_report_make_nothing_a_flight_control(farm):
    text = "flight control primary structure fail-safe"
    part = "paint near the elevator spar"
    defect = report(farm, "other", "deferrable", aircraft="pannier", part=part, text=text)
    put_off(farm, defect)

    assert "deferred" == state(farm, defect)


def test_a_deferral_ends_by_day(farm):
    defect = report(farm, severity="deferrable")
    deferral = put_off(farm, defect, until=farm.clock.now + timedelta(days=3))
    assert condition(farm).holds
    assert "not in rain" in condition(farm, "deferrals").says
    assert (deferral,) == condition(farm, "deferrals").rests_on
    assert 3.0 == pytest.approx(state_of(farm.desk, defect).days_left)
    farm.clock.later(days=3, minutes=1)
    farm.desk.refresh()

    assert "deferral over" == state(farm, defect)
    assert condition(farm).holds
    assert not condition(farm, "deferrals").holds
    # It can be put off again, or be put right: work that is not closed is no deferral.
    put_off(farm, defect, until=farm.clock.now + timedelta(days=1))
    assert condition(farm, "deferrals").holds
    mend(farm, defect)
    assert not condition(farm).holds


def test_a_clock_that_was_set_back_makes_no_deferral_longer(farm):
    defect = report(farm, severity="deferrable")
    put_off(farm, defect, until=farm.clock.now + timedelta(days=3))
    farm.clock.later(days=-30)
    farm.desk.refresh()

    assert "deferral over" == state(farm, defect)


def test_a_deferral_ends_by_flights_of_whatever_it_is_about(farm):
    moved(farm, "fitted")
    of_aircraft = report(farm, severity="deferrable")
    of_pack = report(farm, "battery", "deferrable", pack="pack-b")
    of_part = report(farm, "other", "deferrable", component="propeller-1")
    every = [of_aircraft, of_pack, of_part]
    for defect in every:
        if defect is of_part:
            farm.add("deferral", {**DEFERRED, "flights": 2}, *BOTH, relations=[(ENDS, defect)])
        else:
            put_off(farm, defect, flights=2)
    assert ["deferred"] * 3 == [state(farm, d) for d in every]
    flown(farm, pack="pack-a")
    assert [1, 2, 1] == [state_of(farm.desk, d).flights_left for d in every]
    flown(farm, pack="pack-b")

    assert ["deferral over", "deferred", "deferral over"] == [state(farm, d) for d in every]


def test_a_flight_of_another_laptop_counts_though_it_was_entered_later(farm, tmp_path):
    defect = report(farm, severity="deferrable")
    other = apart(farm, tmp_path / "other")
    flown(other)
    put_off(farm, defect, flights=1)
    united(farm, other)

    assert "deferral over" == state(farm, defect)


def test_a_deferral_is_signed_by_pilot_and_safety_officer(farm):
    defect = report(farm, severity="deferrable")
    for signers in (
        [("pilot", "accepted", "pilot"), ("mechanic", "accepted")],
        [("observer", "accepted", "safety"), ("mechanic", "accepted", "safety")],
    ):
        farm.add("deferral", DEFERRED, *signers, relations=[(ENDS, defect)])

        assert "open" == state(farm, defect)
        assert "not accepted by a pilot" in state_of(farm.desk, defect).ignored[-1]


def test_a_deferral_has_an_end_that_is_not_past(farm):
    defect = report(farm, severity="deferrable")
    with pytest.raises(UsageError, match="ends"):
        put_off(farm, defect, until=None, flights=None)
    with pytest.raises(UsageError, match="past"):
        put_off(farm, defect, until=farm.clock.now - timedelta(days=1))
    endless = {k: v for k, v in DEFERRED.items() if k != "flights"}
    farm.add("deferral", endless, *BOTH, relations=[(ENDS, defect)])
    assert "open" == state(farm, defect)
    deferral = farm.add("deferral", DEFERRED, *BOTH, relations=[(ENDS, defect)])
    assert "deferred" == state(farm, defect)
    corrected(farm, deferral)
    assert "open" == state(farm, defect)


def test_a_blocking_defect_is_not_deferred(farm):
    defect = report(farm)
    with pytest.raises(RefusedError, match="blocking, not deferrable"):
        put_off(farm, defect)
    farm.add("deferral", DEFERRED, *BOTH, relations=[(ENDS, defect)])

    assert "open" == state(farm, defect)


def test_work_on_propulsion_that_waits_for_its_inspection_is_not_put_off(farm):
    defect = report(farm, "propulsion", "deferrable")
    mend(farm, defect)
    with pytest.raises(RefusedError, match="work was done on it"):
        put_off(farm, defect)
    farm.add("deferral", DEFERRED, *BOTH, relations=[(ENDS, defect)])

    assert "put right, not closed" == state(farm, defect)


def test_of_deferrals_made_apart_both_bind(farm, tmp_path):
    defect = report(farm, severity="deferrable")
    other = apart(farm, tmp_path / "other")
    put_off(farm, defect, flights=5)
    put_off(other, defect, flights=1)
    united(farm, other)
    assert "deferred" == state(farm, defect)
    flown(farm)

    assert "deferral over" == state(farm, defect)


def test_a_severity_is_raised_by_a_new_report_and_never_lowered(farm):
    defect = report(farm, severity="deferrable")
    put_off(farm, defect)
    with pytest.raises(RefusedError, match="not lowered"):
        report(farm, severity="cosmetic", aircraft="pannier", cites=[defect])
    raised = report(farm, severity="blocking", aircraft="pannier", cites=[defect])

    assert not condition(farm).holds
    assert raised in state_of(farm.desk, defect).history


def test_a_defect_of_the_pack_holds_flights_with_that_pack(farm):
    report(farm, "battery", "blocking", pack="pack-b")
    assert condition(farm).holds
    report(farm, "battery", "blocking", pack="pack-a")
    assert not condition(farm).holds


def test_a_defect_of_a_component_goes_with_it_and_stays_where_it_was_found(farm):
    second_aircraft(farm)
    moved(farm, "fitted")
    defect = report(farm, component="propeller-1")
    assert open_in_the_record(farm)
    moved(farm, "removed")
    moved(farm, "fitted", aircraft="drover")

    for aircraft in ("pannier", "drover"):
        assert [defect] == [d.entry for d in defects(farm.desk, aircraft)], aircraft
    assert 1 == len(defects(farm.desk))


def test_slips_are_refused_with_what_is_known(farm):
    said = {"part": "x", "severity": "blocking", "text": "x", "aircraft": "pannier"}
    with pytest.raises(UsageError, match="no group of parts"):
        defect_draft(farm.desk, group="wings", **said)
    with pytest.raises(UsageError, match="no severity"):
        defect_draft(farm.desk, group="other", **{**said, "severity": "bad"})
    with pytest.raises(UsageError, match="found on what"):
        defect_draft(farm.desk, group="other", **{**said, "aircraft": ""})
    with pytest.raises(UsageError, match="holds no aircraft file"):
        defect_draft(farm.desk, group="other", **{**said, "aircraft": "panier"})
    remark = farm.add("remark", {"text": "x"})
    with pytest.raises(UsageError, match="is a remark, no defect"):
        state_of(farm.desk, remark)


def test_an_inspection_means_the_newest_work_where_the_defect_is_named(farm, tmp_path):
    defect = report(farm)
    with pytest.raises(UsageError, match="no work was done"):
        work_meant(farm.desk, defect)
    mend(farm, defect)
    work = mend(farm, defect)
    assert work == work_meant(farm.desk, defect)
    assert work == work_meant(farm.desk, work)
    other = apart(farm, tmp_path / "other")
    mend(other, defect)
    mend(farm, defect)
    united(farm, other)

    with pytest.raises(UsageError, match="several pieces of work"):
        work_meant(farm.desk, defect)
    with pytest.raises(UsageError, match="is a defect, no work"):
        inspection_draft(farm.desk, defect, result="pass", text="x", key=PILOT)
