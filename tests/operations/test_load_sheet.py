from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest

from flightlog.errors import UsageError
from flightlog.operations.load_sheet import (
    latest_sheet,
    load_conditions,
    load_of,
    mass_of,
    typed_items,
    units_of,
    worked_out,
)
from tests.operations.loads import (
    PLAN,
    condition,
    happened,
    kg,
    made_by_hand,
    other_laptop,
    rewritten,
    sheeted,
    weighed,
)
from tests.operations.released import copied


@pytest.fixture
def ready(farm):
    """The farm with a weighing of 5.000 kg at 0.448 m."""
    weighed(farm)
    return farm


@pytest.fixture(scope="module")
def still(farm_place, tmp_path_factory):
    """A farm to which nothing is added."""
    made = copied(farm_place[0], tmp_path_factory.mktemp("still"), farm_place[1])
    weighed(made)
    yield made
    made.close()


def loaded(farm, plan=PLAN):
    return condition(load_conditions(farm.desk, plan), "load")


def test_a_sheet_says_what_weighing_pack_and_units_make(ready):
    sheet = sheeted(ready, units=8)
    said = sheet.body.content

    whole = 5.0 + 0.6 + 8 * 0.3
    arm = (5.0 * 0.448 + 0.6 * 0.38 + 2.4 * 0.47) / whole
    # Three scales and the pack of 5 g each, and 5 g common to eight units.
    std = math.sqrt(4 * 0.005**2 + 0.040**2)
    assert ("8.000", f"{std:.4f}") == (said["mass"]["value"], said["mass_std"]["value"])
    assert f"{arm:.4f}" == said["arm"]["value"]
    assert f"{100 * (arm - 0.35) / 0.26:.2f}" == said["balance"]["value"]
    assert said["inside"] is True
    items = [(i["item"], i["count"], i["mass"]["value"], i["station"]) for i in said["items"]]
    assert [("pack pack-a", 1, "0.6", "battery"), ("payload unit", 8, "0.3", "payload")] == items
    assert (8.0, pytest.approx(std, abs=1e-4)) == mass_of(ready.desk, PLAN)
    assert 8 == units_of(ready.desk, PLAN)


def test_a_load_holds_and_says_its_worst_corner(ready):
    sheet = sheeted(ready, units=8)

    found = loaded(ready)

    assert found.holds
    assert (sheet,) == found.rests_on
    assert "8.000 ± 0.082 kg, 8 units" in found.says
    assert "worst corner" in found.says


def test_other_things_on_board_and_a_unit_as_weighed_count(still):
    found, items = worked_out(
        still.desk,
        "pannier",
        "pack-b",
        4,
        ["camera,0.12,payload", "strap,0.02,battery,2"],
        unit_mass="0.310",
    )

    pack = still.desk.pack("pack-b").mass_kg
    assert pytest.approx(5.0 + pack + 4 * 0.31 + 0.12 + 0.04) == found.verdict.loaded.mass.value
    assert [1, 4, 1, 2] == [item["count"] for item in items]


def test_no_units_are_no_item(still):
    found, items = worked_out(still.desk, "pannier", "pack-a", 0)

    assert ["pack pack-a"] == [item["item"] for item in items]
    assert pytest.approx(5.6) == found.verdict.loaded.mass.value


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ({"items": ["camera"]}, "is no item"),
        ({"items": ["camera,0.12"]}, "is no item"),
        ({"items": [" ,0.12,payload"]}, "is no item"),
        ({"items": ["camera,0.12,hold"]}, "'hold' is no station"),
        ({"items": ["camera,120,payload"]}, "120 is not from 0.001 to 100 kg"),
        ({"items": ["camera,0,payload"]}, "0 is not from"),
        ({"items": ["camera,-0.1,payload"]}, "-0.1 is not from"),
        ({"items": ["camera,0.12,payload,0"]}, "there is none"),
        ({"items": ["camera,0.12,payload"] * 2}, "is there twice"),
        ({"items": ["payload unit,0.3,payload"]}, "options of their own"),
        ({"items": ["pack pack-b,0.6,battery"]}, "options of their own"),
        ({"items": [f"thing {n},0.1,payload" for n in range(63)]}, "65 items"),
        ({"unit_mass": "300"}, "300 is not from"),
        ({"unit_mass": "0,3"}, "is not a number"),
        ({"units": -1}, "-1 units"),
        ({"units": 1001}, "1001 units"),
    ],
)
def test_what_can_not_be_on_board_is_refused(still, given, found):
    units = given.pop("units", 8)
    with pytest.raises(UsageError, match=found) as caught:
        worked_out(still.desk, "pannier", "pack-a", units, given.pop("items", ()), **given)
    assert caught.value.fix


def test_a_mass_that_no_file_says_is_asked_for(ready):
    rewritten(ready, "payload_unit_kg = 0.30", "")
    with pytest.raises(UsageError, match="payload_unit_kg"):
        worked_out(ready.desk, "pannier", "pack-a", 1)
    assert worked_out(ready.desk, "pannier", "pack-a", 1, unit_mass="0.3")

    rewritten(ready, "mass_kg = 0.60", "", "pack", "pack-a")
    with pytest.raises(UsageError, match="mass_kg"):
        worked_out(ready.desk, "pannier", "pack-a", 0)


def test_a_load_outside_is_written_down_and_held(ready):
    sheet = sheeted(ready, units=20)  # 11.6 kg, and 10 kg is the most

    assert sheet.body.content["inside"] is False
    assert not loaded(ready).holds
    assert "worst corner 11." in loaded(ready).says
    assert "outside the envelope" in loaded(ready).says


def test_the_slip_of_a_load_alone_can_put_it_outside(ready):
    """The envelope ends between the worst corner without and with slip."""
    verdict = worked_out(ready.desk, "pannier", "pack-a", 8)[0].verdict
    end = verdict.high[1] - 50 * verdict.aft_m / 0.26
    assert verdict.balance.value + 2 * verdict.balance.std < end < verdict.high[1]
    envelope = f"[[4.8, 20.0], [4.8, {end:.4f}], [10.0, {end:.4f}], [10.0, 20.0]]"
    line = next(
        text
        for text in ready.desk.version("aircraft", "pannier").path.read_text("utf-8").splitlines()
        if text.startswith("envelope")
    )
    rewritten(ready, line, f"envelope = {envelope}")

    assert not sheeted(ready, units=8).body.content["inside"]


# --- when a sheet does not hold


def test_without_a_sheet_it_is_held(ready):
    assert "there is no load sheet" == loaded(ready).says
    assert "flightlog balance sheet --aircraft pannier --pack pack-a" in loaded(ready).clear
    assert mass_of(ready.desk, PLAN) is None
    assert units_of(ready.desk, PLAN) is None


def test_a_sheet_is_for_one_pack(ready):
    sheeted(ready, pack="pack-b")

    assert not loaded(ready).holds
    assert "made for pack pack-b, not pack-a" in loaded(ready).says
    assert loaded(ready, replace(PLAN, pack="pack-b")).holds


@pytest.mark.parametrize("event", ["battery-change", "payload-change", "configuration-change"])
def test_what_changes_the_load_voids_its_sheet(ready, event):
    sheeted(ready)
    happened(ready, event)

    assert f"made before: {event}" in loaded(ready).says
    assert not loaded(ready).holds


def test_a_change_of_the_pack_voids_it_and_one_of_another_pack_does_not(ready):
    sheeted(ready)
    happened(ready, "battery-change", pack="pack-b")
    assert loaded(ready).holds

    happened(ready, "battery-change", pack="pack-a")
    assert not loaded(ready).holds
    sheeted(ready)
    assert loaded(ready).holds


def test_a_sheet_holds_for_less_than_a_day(ready):
    sheeted(ready)
    ready.clock.later(hours=23.99)
    ready.desk.refresh()
    assert loaded(ready).holds

    ready.clock.later(hours=0.01)
    ready.desk.refresh()
    assert not loaded(ready).holds
    assert "24.0 h old; it holds for 24" in loaded(ready).says


def test_a_sheet_ahead_of_the_clock_is_not_believed(ready):
    sheeted(ready)
    ready.clock.later(minutes=-20)
    ready.desk.refresh()

    assert "ahead of this laptop's clock" in loaded(ready).says


def test_a_sheet_is_of_the_file_that_is_in_force(ready):
    sheeted(ready)
    rewritten(ready, "[10.0, 32.0]", "[10.0, 33.0]")

    assert "another version of the aircraft's file" in loaded(ready).says


def test_a_sheet_starts_from_the_weighing_that_holds(ready):
    sheeted(ready)
    weighed(ready)

    assert "does not start from the weighing that holds" in loaded(ready).says


def test_a_pack_that_was_weighed_anew_needs_another_sheet(ready):
    sheeted(ready)
    rewritten(ready, "mass_kg = 0.60", "mass_kg = 0.61", "pack", "pack-a")

    assert "its pack has 0.6 kg, and by its file 0.61 kg" in loaded(ready).says


def test_the_sheet_before_one_that_was_taken_back_does_not_come_back(ready):
    first = sheeted(ready, units=4)
    second = sheeted(ready, units=8)
    ready.add(
        "correction",
        {"text": "The probes stayed at home"},
        ("pilot", "stated"),
        relations=[("corrects", second)],
    )

    assert first != latest_sheet(ready.desk, "pannier")
    assert not loaded(ready).holds
    assert "taken back by" in loaded(ready).says
    assert mass_of(ready.desk, PLAN) is None


def test_a_sheet_that_corrects_another_one_counts(ready):
    wrong = sheeted(ready, units=4)
    right = sheeted(ready, units=8, corrects=wrong)

    assert right == latest_sheet(ready.desk, "pannier")
    assert loaded(ready).holds


def test_a_sheet_that_nobody_of_the_right_role_signed_is_none(ready):
    sheet = sheeted(ready, units=4)
    content = {**sheet.body.content, "units": 8}
    cited = ready.desk.ledger.named(sheet)
    ready.add("load-sheet", content, ("observer", "performed", "inspector"), cites=cited)

    assert sheet == latest_sheet(ready.desk, "pannier")


# --- what it says is computed anew


def test_a_sheet_computed_anew_gives_what_it_says(ready):
    sheet = sheeted(ready, units=8, items=["camera,0.12,payload"])
    rewritten(ready, "arm_m = 0.47", "arm_m = 0.57")  # later versions say nothing of it

    found = load_of(ready.desk, sheet)

    assert f"{found.verdict.loaded.arm.value:.4f}" == sheet.body.content["arm"]["value"]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"mass": kg("7.900")}, "it says mass 7.900 kg, and its items make 8.000"),
        ({"mass": kg("8.001")}, "it says mass 8.001 kg"),
        ({"mass_std": kg("0.0001")}, "it says mass_std"),
        ({"balance": {"value": "35.00", "unit": "%"}}, "it says balance 35.00 %"),
        ({"arm": {"value": "0.4000", "unit": "m"}}, "it says arm"),
        ({"inside": False}, "lies outside the envelope"),
        ({"units": 9}, "it says 9 units, and has 8 on it"),
        ({"configuration": "cargo-9"}, "made for configuration cargo-9"),
        ({"aircraft_file": "0" * 64}, "another version"),
    ],
)
def test_a_sheet_written_by_hand_does_not_hold_for_what_it_claims(ready, changed, says):
    made_by_hand(ready, sheeted(ready, units=8), **changed)

    assert not loaded(ready).holds
    assert says in loaded(ready).says


@pytest.mark.parametrize(
    ("number", "changed", "says"),
    [
        (0, {"item": "pack pack-b"}, "pack pack-a is not on it once"),
        (0, {"count": 2}, "pack pack-a is not on it once"),
        (0, {"station": "payload"}, "pack pack-a is not on it once"),
        (0, {"mass": kg("0.1")}, "its pack has 0.1 kg"),
        (1, {"count": 2}, "it says 8 units, and has 2 on it"),
        (1, {"station": "battery"}, "units are not at the station"),
        (1, {"mass": kg("0.2")}, "it says mass 8.000 kg, and its items make 7.200"),
        (1, {"mass": kg("-0.3")}, "has a mass that can't be one"),
        (1, {"mass_std": kg("0")}, "has a mass that can't be one"),
        (1, {"station": "wing"}, "units are not at the station"),
    ],
)
def test_items_written_by_hand_have_to_make_what_is_planned(ready, number, changed, says):
    sheet = sheeted(ready, units=8)
    items = [dict(item) for item in sheet.body.content["items"]]
    items[number].update(changed)
    made_by_hand(ready, sheet, items=items)

    assert not loaded(ready).holds
    assert says in loaded(ready).says


def test_an_item_at_a_station_that_is_not_there_is_found(ready):
    sheet = sheeted(ready, units=8, items=["camera,0.12,payload"])
    items = [dict(item) for item in sheet.body.content["items"]]
    items[2]["station"] = "wing"
    made_by_hand(ready, sheet, items=items)

    assert "'wing' is no station" in loaded(ready).says


def test_a_sheet_that_cites_two_weighings_is_none(ready):
    sheet = sheeted(ready)
    before = ready.desk.ledger.named(sheet)
    other = weighed(ready)
    content = dict(sheet.body.content)
    ready.add("load-sheet", content, ("mechanic", "performed", "engineer"), cites=[*before, other])

    assert "does not start from one weighing" in loaded(ready).says


def test_a_weighing_written_down_later_still_needs_a_new_sheet(ready):
    sheeted(ready)
    ready.clock.later(minutes=5)
    content = dict(ready.desk.ledger.last("weighing").body.content)
    ready.add(
        "weighing",
        content,
        ("mechanic", "performed", "engineer"),
        occurred=ready.clock.now - timedelta(days=1),
    )

    assert not loaded(ready).holds


def test_of_sheets_made_apart_none_holds_until_there_is_one(ready, tmp_path):
    with other_laptop(ready, tmp_path) as other:
        sheeted(other, units=8)
        sheeted(ready, units=4)

    assert not loaded(ready).holds
    assert "load sheets made apart" in loaded(ready).says
    assert mass_of(ready.desk, PLAN) is None
    sheeted(ready, units=8)
    assert loaded(ready).holds


def test_a_payload_that_was_changed_at_another_laptop_voids_a_sheet_made_meanwhile(ready, tmp_path):
    with other_laptop(ready, tmp_path) as other:
        happened(other, "payload-change")
        sheeted(ready)

    assert "made before: payload-change" in loaded(ready).says


def test_what_a_sheet_has_on_board_can_be_typed_again(ready):
    items = ["camera,0.12,payload,1", "strap,0.02,battery,2"]
    sheet = sheeted(ready, units=8, items=items)

    assert items == typed_items(sheet)
    again, _ = worked_out(ready.desk, "pannier", "pack-a", 8, typed_items(sheet))
    assert again.verdict == load_of(ready.desk, sheet).verdict
