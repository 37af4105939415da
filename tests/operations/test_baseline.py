"""The parameter baseline: who signs it, and when what was read equals it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.errors import UsageError
from flightlog.importers import read
from flightlog.operations.baseline import (
    against_baseline,
    baseline_draft,
    baseline_of,
    note_parameters,
    note_recording,
    parameter_conditions,
)
from flightlog.operations.parameters import Parameters
from flightlog.operations.plan import Plan
from tests.logbook.made import public_of
from tests.operations.laptops import second_laptop, take_over
from tests.operations.made import SAMPLES

PLAN = Plan("pannier", "pack-a")
FIRMWARE = "Made autopilot 1.0"
SET = {"ROLL_P": 0.12, "PITCH_P": 0.15}


def baseline(farm, values=None, firmware=FIRMWARE, by=("mechanic", "observer")):
    farm.clock.later(minutes=1)
    given = Parameters(values or SET, firmware, "bench.param")
    draft = baseline_draft(farm.desk, "pannier", given, *map(public_of, by))
    return farm.sign(draft, *by)


def noted(farm, values=None, firmware=FIRMWARE, at=None):
    farm.clock.later(minutes=1)
    return note_parameters(
        farm.desk, "pannier", Parameters(values or SET, firmware, "today.bin", at)
    )


def changed(farm, word="parameter-change"):
    return farm.add("event", {"event": word, "aircraft": "pannier"})


def held(farm) -> str:
    (found,) = parameter_conditions(farm.desk, PLAN)
    assert "parameters" == found.name
    assert found.holds != bool(found.clear)
    return "" if found.holds else f"{found.says}. {found.clear}"


# --- signing


def test_a_baseline_is_attached_as_a_list_and_signed_by_two(farm):
    entry = baseline(farm)

    assert entry == baseline_of(farm.desk, "pannier")
    path = farm.book.attachments.path(entry.body.content["parameters"])
    assert b'[["PITCH_P","0.15"],["ROLL_P","0.12"]]' == path.read_bytes()
    meanings = [(s.meaning, s.role) for s in entry.body.signers]
    assert [("performed", ""), ("inspected", "inspector")] == meanings


def test_one_person_signs_no_baseline(farm):
    with pytest.raises(UsageError, match="two persons sign a baseline"):
        baseline(farm, by=("mechanic", "mechanic"))


def test_without_firmware_or_aircraft_there_is_no_baseline(farm):
    with pytest.raises(UsageError, match=r"bench\.param: does not tell the firmware"):
        baseline(farm, firmware="")
    given = Parameters(SET, FIRMWARE, "x")
    with pytest.raises(UsageError, match="'pannier'"):
        baseline_draft(farm.desk, "panier", given, public_of("pilot"), public_of("mechanic"))
    with pytest.raises(UsageError, match="'pannier'"):
        note_parameters(farm.desk, "panier", given)


def test_a_baseline_that_nobody_inspected_is_none(farm):
    entry = baseline(farm)
    content = {**entry.body.content, "firmware": "other"}
    farm.add(
        "baseline",
        content,
        ("pilot", "performed"),
        ("mechanic", "performed"),
        attachments=entry.body.attachments,
    )

    assert entry == baseline_of(farm.desk, "pannier")


# --- the condition


def test_what_was_read_equals_the_baseline(farm):
    assert "there is no baseline. Sign one: 'flightlog team baseline" in held(farm)
    signed = baseline(farm)
    assert "nobody read them. Read them: 'flightlog team parameters" in held(farm)
    was_read = noted(farm)

    (found,) = parameter_conditions(farm.desk, PLAN)
    assert (True, (signed, was_read)) == (found.holds, found.rests_on)


def test_what_was_read_before_the_baseline_was_signed_is_compared_as_well(farm):
    noted(farm)
    baseline(farm)

    assert "" == held(farm)


@pytest.mark.parametrize(
    ("values", "firmware", "why"),
    [
        ({**SET, "ROLL_P": 0.13}, FIRMWARE, "ROLL_P 0.12 -> 0.13"),
        ({**SET, "NEW": 1.0}, FIRMWARE, "NEW is not in the baseline"),
        ({"ROLL_P": 0.12}, FIRMWARE, "PITCH_P was not read"),
        (SET, "Made autopilot 1.1", f"firmware {FIRMWARE} -> Made autopilot 1.1"),
        (SET, "", "does not tell the firmware"),
    ],
)
def test_whatever_differs_holds(farm, values, firmware, why):
    baseline(farm)
    noted(farm, values, firmware)

    assert why in held(farm)


def test_the_smallest_step_of_a_32_bit_float_is_a_difference_and_less_is_none(farm):
    baseline(farm, {"A": 0.1})
    noted(farm, {"A": 0.10000000149})
    assert "" == held(farm)

    noted(farm, {"A": 0.10000001})
    assert "A 0.1 -> 0.10000001" in held(farm)


def test_the_last_reading_counts(farm):
    baseline(farm)
    noted(farm, {**SET, "ROLL_P": 0.2})
    assert held(farm)
    noted(farm)
    assert "" == held(farm)
    noted(farm, {**SET, "ROLL_P": 0.2})
    assert held(farm)


@pytest.mark.parametrize("word", ["parameter-change", "firmware-change"])
def test_a_change_asks_for_another_reading(farm, word):
    baseline(farm)
    noted(farm)
    changed(farm, "battery-change")
    assert "" == held(farm)

    changed(farm, word)
    assert f"not read since {word}" in held(farm)
    noted(farm)
    assert "" == held(farm)


def test_a_log_of_before_the_change_is_no_reading_after_it(farm):
    baseline(farm)
    before = farm.clock.now
    farm.clock.later(minutes=5)
    changed(farm)
    noted(farm, at=before)

    assert "not read since parameter-change" in held(farm)


def test_a_reading_holds_for_a_day(farm):
    baseline(farm)
    noted(farm)
    farm.clock.later(hours=24)
    farm.desk.refresh()
    assert "" == held(farm)

    farm.clock.later(minutes=1)
    farm.desk.refresh()
    assert "they were read 24 h ago" in held(farm)


def test_a_log_of_last_week_tells_nothing_of_today(farm):
    baseline(farm)
    noted(farm, at=farm.clock.now - timedelta(days=7))

    assert "they were read 168 h ago" in held(farm)


def test_an_old_log_that_is_imported_today_does_not_take_the_place_of_this_mornings(farm):
    baseline(farm)
    morning = noted(farm)
    noted(farm, at=farm.clock.now - timedelta(days=7))

    (found,) = parameter_conditions(farm.desk, PLAN)
    assert found.holds
    assert morning in found.rests_on


def test_an_old_log_from_before_the_baseline_may_differ_and_one_since_may_not(farm):
    signed = baseline(farm)
    at = farm.desk.ledger.when(signed)
    farm.clock.later(hours=48)
    noted(farm)
    noted(farm, {**SET, "ROLL_P": 0.2}, at=at - timedelta(minutes=1))
    assert "" == held(farm)

    noted(farm, {**SET, "ROLL_P": 0.2}, at=at + timedelta(minutes=1))
    assert held(farm)
    noted(farm)
    assert "" == held(farm)


def test_a_reading_of_another_aircraft_says_nothing(farm):
    baseline(farm)
    data = (SAMPLES / "pannier.toml").read_bytes().replace(b'"pannier"', b'"second"')
    farm.enter("aircraft", "second", data)
    note_parameters(farm.desk, "second", Parameters(SET, FIRMWARE, "x"))

    assert "nobody read them" in held(farm)


def test_missing_lists_hold(farm):
    signed = baseline(farm)
    noted(farm)
    farm.book.attachments.path(signed.body.content["parameters"]).unlink()

    assert "a list of parameters is missing or damaged" in held(farm)


def test_a_list_that_is_none_holds(farm):
    signed = baseline(farm)
    made = farm.book.attach(farm.folder.path / "team.toml")
    content = {"aircraft": "pannier", "firmware": FIRMWARE, "count": 2, "source": "x"}
    farm.add("parameters-read", {**content, "parameters": made.sha256}, attachments=[made])

    assert "missing or damaged" in held(farm)
    assert signed == baseline_of(farm.desk, "pannier")


# --- which baseline


def test_a_second_baseline_takes_the_place_of_the_first(farm):
    baseline(farm)
    noted(farm)
    baseline(farm, {"ROLL_P": 0.2})
    assert held(farm)

    noted(farm, {"ROLL_P": 0.2})
    assert "" == held(farm)


def test_a_correction_by_one_person_does_not_bring_the_baseline_of_before_back(farm):
    baseline(farm)
    second = baseline(farm, {"ROLL_P": 0.2})
    noted(farm)
    farm.add(
        "correction", {"text": "a slip"}, ("pilot", "stated"), relations=[("corrects", second)]
    )

    assert "was corrected" in held(farm)
    assert baseline_of(farm.desk, "pannier") is None


def test_baselines_that_were_signed_apart_hold_until_another_has_seen_both(farm, tmp_path):
    other = second_laptop(farm, tmp_path / "tablet")
    baseline(farm)
    baseline(other, {"ROLL_P": 0.2})
    take_over(farm, other)
    other.close()
    noted(farm)
    assert "baselines were signed apart and differ" in held(farm)

    baseline(farm)
    assert "" == held(farm)


def test_a_change_on_another_laptop_that_the_reading_did_not_know_of_holds(farm, tmp_path):
    baseline(farm)
    other = second_laptop(farm, tmp_path / "tablet")
    changed(other)
    noted(farm)
    assert "" == held(farm)
    take_over(farm, other)
    other.close()

    assert "not read since parameter-change" in held(farm)


def test_of_readings_made_apart_each_has_to_equal_it(farm, tmp_path):
    baseline(farm)
    other = second_laptop(farm, tmp_path / "tablet")
    noted(other, {**SET, "ROLL_P": 0.9})
    noted(farm)
    take_over(farm, other)
    other.close()

    assert "ROLL_P 0.12 -> 0.9" in held(farm)


# --- logs


def test_a_log_is_noted_with_its_firmware_and_time(farm):
    entry = note_recording(farm.desk, read(SAMPLES / "calm.bin"), "pannier", "calm.bin")

    said = entry.body.content
    assert ("Simulated autopilot 1.0", "calm.bin") == (said["firmware"], said["source"])
    assert said["at"].startswith("2027-03-15T")
    assert () == entry.body.signers


def test_a_log_without_parameters_is_not_noted(farm):
    recording = read(SAMPLES / "calm_transmitter.csv")

    assert note_recording(farm.desk, recording, "pannier", "calm.csv") is None


def test_what_a_log_does_not_hold_is_no_contradiction(farm):
    signed = baseline(farm)
    less, other = noted(farm, {"ROLL_P": 0.12}), noted(farm, {"ROLL_P": 0.2}, "other")

    assert [] == against_baseline(farm.desk, signed, less)
    assert [f"firmware {FIRMWARE} -> other", "ROLL_P 0.12 -> 0.2"] == against_baseline(
        farm.desk, signed, other
    )
