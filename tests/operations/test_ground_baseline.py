"""Which earlier test a ground test is put beside, and what may be no such test."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import RefusedError, UsageError
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.scales import WeighingDetail
from flightlog.logbook.entry import CORRECTS
from flightlog.operations.ground_baseline import baseline_of, compared, quantity_of
from flightlog.operations.ground_entry import events_shown, ground_draft, prepared, stored_result
from flightlog.operations.ground_history import ground_history
from flightlog.operations.ground_subject import GroundSubject
from flightlog.operations.ground_weighing import outdated_weighing, weighing_of_test
from flightlog.operations.positions import named
from flightlog.operations.weighing import last_weighing
from tests.operations.loads import rewritten
from tests.operations.test_ground_entry import LEFT, enter, ring, signer, weighing

FREQUENCY = "ringdown.first.frequency"


def damage(farm, entry):
    farm.book.attachments.path(entry.body.content["result"]).write_text("{}")
    farm.desk.lasting.clear()


# --- which one


def test_a_test_in_the_record_is_not_put_beside_itself(farm, tmp_path):
    test = ring(tmp_path)
    enter(farm, test)
    enter(farm, ring(tmp_path, 6.1, name="b"))

    # It is the first: what came after it is no baseline of it.
    assert prepared(farm.desk, test).against is None


def test_a_later_test_in_the_record_keeps_its_baseline(farm, tmp_path):
    first = enter(farm, ring(tmp_path))
    second = ring(tmp_path, 6.5, name="b")
    enter(farm, second)
    assert first == prepared(farm.desk, second).against.entry


def test_the_same_samples_with_another_bench_file_are_the_same_measurement(farm, tmp_path):
    first = enter(farm, ring(tmp_path))
    again = ring(tmp_path, name="b", more="[ringdown]\nmass_kg = 5.0\n")

    made = prepared(farm.desk, again)
    assert made.against is None
    with pytest.raises(RefusedError, match="would count as two") as caught:
        ground_draft(farm.desk, made, [signer()])
    assert f"--corrects {named(first)}" in caught.value.fix

    corrected = prepared(farm.desk, again, corrects=first)
    entry = farm.sign(ground_draft(farm.desk, corrected, [signer()]), "mechanic")
    assert (first.hash,) == tuple(entry.body.related(CORRECTS))
    (one,) = ground_history(farm.desk, {}, FREQUENCY)
    assert [entry] == [point.entry for point in one.points]


def test_one_file_may_tell_of_two_parts(farm, tmp_path):
    enter(farm, ring(tmp_path))
    other = enter(farm, ring(tmp_path, subject=LEFT.replace("left", "right"), name="b"))
    assert "right wing tip" == other.body.content["part"]


def test_a_correction_is_put_beside_what_was_before_it(farm, tmp_path):
    first = enter(farm, ring(tmp_path))
    second = enter(farm, ring(tmp_path, 6.4, name="b"))
    test = ring(tmp_path, 6.45, name="c")
    made = prepared(farm.desk, test, corrects=second)
    assert first == made.against.entry
    assert second == baseline_of(farm.desk, test, made.subject, but=first)


def test_what_is_named_is_of_the_same_thing(farm, tmp_path):
    entry = enter(farm, ring(tmp_path))
    other = GroundSubject("aircraft", "mule", "", "left wing tip", "no pack")
    with pytest.raises(RefusedError, match="is of aircraft pannier"):
        compared(farm.desk, ring(tmp_path, name="b"), other, named(entry))


def test_what_is_named_was_not_exchanged_since(farm, tmp_path):
    entry = enter(farm, ring(tmp_path))
    rewritten(farm, "PN-01", "PN-02")
    with pytest.raises(RefusedError, match=r"PN-01.*PN-02"):
        prepared(farm.desk, ring(tmp_path, name="b"), against=named(entry))


def test_another_configuration_may_be_named(farm, tmp_path):
    entry = enter(farm, ring(tmp_path))
    test = ring(tmp_path, 6.5, subject=LEFT.replace("no pack", "without pack"), name="b")
    assert prepared(farm.desk, test).against is None
    assert entry == prepared(farm.desk, test, against=named(entry)).against.entry


def test_the_same_files_may_not_be_named(farm, tmp_path):
    test = ring(tmp_path)
    entry = enter(farm, test)
    with pytest.raises(RefusedError, match="the same measurement"):
        prepared(farm.desk, test, against=named(entry))


# --- what it says


def test_a_baseline_that_is_damaged_is_told_and_never_passed_over(farm, tmp_path):
    first = enter(farm, ring(tmp_path))
    damage(farm, first)
    made = prepared(farm.desk, ring(tmp_path, 6.1, name="b"))

    (finding,) = made.test.answer.findings
    assert "structure-not-compared" == finding.code
    assert f"Not compared with {named(first)}" in finding.message
    with pytest.raises(UsageError, match="missing or damaged"):
        prepared(farm.desk, ring(tmp_path, 6.1, name="b"), against=named(first))


def test_what_bench_file_and_record_say_alike_is_told_once(farm, tmp_path):
    enter(farm, ring(tmp_path))
    by_bench = ground_finding(
        "structure-changed", "First: Natural frequency: fell.", evidence={"figure": FREQUENCY}
    )
    entry = enter(farm, ring(tmp_path, 6.1, name="b", findings=[by_bench]))

    (shown,) = events_shown(stored_result(farm.desk, entry))
    assert 1 == shown.text.count("First: Natural frequency")
    # (6.1 - 6.52) / 6.52
    assert "fell by 6.4 %" in shown.text


def test_a_bench_file_that_alone_says_changed_still_stops(farm, tmp_path):
    enter(farm, ring(tmp_path))
    by_bench = ground_finding(
        "structure-changed", "First: Natural frequency: fell.", evidence={"figure": FREQUENCY}
    )
    entry = enter(farm, ring(tmp_path, 6.51, name="b", findings=[by_bench]))
    assert ["structure-changed"] == [s.word for s in events_shown(stored_result(farm.desk, entry))]


NUMBERS = st.one_of(
    st.floats(), st.integers(-(10**400), 10**400), st.none(), st.text(max_size=3), st.booleans()
)


@given(st.fixed_dictionaries({"value": NUMBERS, "low": NUMBERS, "high": NUMBERS}))
def test_a_stored_figure_is_a_number_with_an_interval_or_nothing(body):
    got = quantity_of({**body, "unit": "Hz"}, "Hz")
    assert got is None or (got.std >= 0 and got.value == float(body["value"]))
    assert quantity_of({**body, "unit": "N"}, "Hz") is None


# --- a weighing that is put right


def test_a_weighing_whose_test_is_put_right_is_put_right_with_it(farm, tmp_path):
    test = weighing(tmp_path)
    wrong = enter(farm, test)
    made = prepared(farm.desk, test)
    old = farm.sign(weighing_of_test(farm.desk, made, [signer()], wrong), "mechanic")

    again = prepared(
        farm.desk, weighing(tmp_path, more="empty = true\narm_std_m = 0.002\n"), corrects=wrong
    )
    assert old == outdated_weighing(farm.desk, again)
    right = farm.sign(ground_draft(farm.desk, again, [signer()]), "mechanic")
    draft = weighing_of_test(farm.desk, again, [signer()], right)
    new = farm.sign(draft, "mechanic")

    assert (old.hash,) == tuple(new.body.related(CORRECTS))
    assert new == last_weighing(farm.desk, "pannier")
    assert outdated_weighing(farm.desk, again) is None


def test_a_weighing_that_was_not_of_the_empty_aircraft_is_named(farm, tmp_path):
    test = weighing(tmp_path)
    wrong = enter(farm, test)
    old = farm.sign(
        weighing_of_test(farm.desk, prepared(farm.desk, test), [signer()], wrong), "mechanic"
    )
    loaded = prepared(farm.desk, weighing(tmp_path, more="empty = false\n"), corrects=wrong)
    assert isinstance(loaded.test.answer.detail, WeighingDetail)
    assert weighing_of_test(farm.desk, loaded, [signer()]) is None
    assert old == outdated_weighing(farm.desk, loaded)
