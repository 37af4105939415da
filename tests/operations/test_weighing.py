from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.operations.load_sheet import load_conditions
from flightlog.operations.weighing import empty_of, last_weighing, scales_of, weighed_of
from tests.operations.loads import (
    PLAN,
    SCALES,
    condition,
    happened,
    kg,
    other_laptop,
    rewritten,
    sheeted,
    signer,
    weighed,
    weighing_of,
)
from tests.operations.released import copied


@pytest.fixture(scope="module")
def still(farm_place, tmp_path_factory):
    """A farm to which nothing is added."""
    made = copied(farm_place[0], tmp_path_factory.mktemp("still"), farm_place[1])
    yield made
    made.close()


def weighing(farm):
    return condition(load_conditions(farm.desk, PLAN), "weighing")


def test_what_was_read_stands_in_the_entry_digit_by_digit(farm):
    entry = weighed(farm, (*SCALES, "nose=0.10,0=0.6520"))

    readings = [s["reading"]["value"] for s in entry.body.content["scales"]]
    body = weighed_of(entry.body.content)
    assert ["0.650", "2.170", "2.180", "0.6520"] == readings
    assert pytest.approx(0.651 + 2.17 + 2.18) == body.mass.value
    assert 3 == len(scales_of(entry.body.content))


def test_a_weighing_holds_and_says_mass_and_arm(farm):
    entry = weighed(farm)

    found = weighing(farm)

    assert found.holds
    assert "5.000 kg empty at 0.4480 m" in found.says
    assert "2028-03-14" in found.says
    assert (entry,) == found.rests_on
    assert "" == found.clear


@pytest.mark.parametrize(
    ("scales", "where", "found"),
    [
        (("nose 0.1 0.65", *SCALES[1:]), "--scale", "is no scale"),
        (("=0.10,0=0.65", *SCALES[1:]), "--scale", "is no scale"),
        ((" =0.10,0=0.65", *SCALES[1:]), "--scale", "is no scale"),
        (("nose=0,10,0=0.65", *SCALES[1:]), "--scale", "is no scale"),
        (("nose=a,0=0.65", *SCALES[1:]), "--scale nose", "'a' is not a number"),
        (("nose=0.10,0=650", *SCALES[1:]), "--scale nose", "650 is not from 0 to 100 kg"),
        (("nose=100,0=0.65", *SCALES[1:]), "--scale nose", "100 is not from -10 to 10 m"),
        (("nose=0.10,0=-0.65", *SCALES[1:]), "--scale nose", "-0.65 is not from"),
        (("nose=0.10,0=0", *SCALES[1:]), "--scale", "bears nothing"),
        (("nose=0.11,0=0.65", *SCALES), "--scale", "stands in two places"),
        (SCALES[:1], "--scale", "two scales or more"),
        (SCALES[1:], "--scale", "at one arm"),
        ((*SCALES, "a=0,0=1", "b=0,0=1"), "--scale", "4 scales at most"),
        (SCALES * 6, "--scale", "18 readings"),
    ],
)
def test_scales_that_can_not_be_are_refused(still, scales, where, found):
    with pytest.raises(UsageError, match=found) as caught:
        weighing_of(still, scales)
    assert where == caught.value.where
    assert caught.value.fix


@pytest.mark.parametrize(
    "given", [{"reading_std": "0"}, {"reading_std": "5"}, {"arm_std": "0"}, {"arm_std": "1"}]
)
def test_an_uncertainty_that_is_none_or_of_another_unit_is_refused(still, given):
    with pytest.raises(UsageError, match="is not from"):
        weighing_of(still, **given)


def test_only_who_weighs_by_role_counts(farm):
    weighed(farm, by=signer("mechanic", "mechanic"))
    assert weighing(farm).holds


def test_a_weighing_that_nobody_of_the_right_role_signed_is_none(farm):
    content = dict(weighing_of(farm).content)
    farm.add("weighing", content, ("observer", "performed", "inspector"))

    assert not weighing(farm).holds
    assert "was never weighed" in weighing(farm).says


# --- the pack that was on board


def test_a_pack_on_board_is_taken_off_again_with_its_mass_of_that_day(farm):
    # 5.0 kg at 0.448 m, and 0.6 kg at the battery's 0.38 m.
    with_pack = ("nose=0.10,0=0.794", "left=0.50,-0.25=2.398", "right=0.50,0.25=2.408")
    entry = weighed(farm, with_pack, with_pack="pack-a")
    rewritten(farm, "mass_kg = 0.60", "mass_kg = 0.70", "pack", "pack-a")

    empty = empty_of(entry.body.content, farm.desk.aircraft("pannier"))

    whole = 0.0794 + 0.5 * 4.806
    assert {"value": "0.6", "unit": "kg"} == entry.body.content["pack_mass"]
    assert pytest.approx(5.0) == empty.mass.value
    assert pytest.approx((whole - 0.6 * 0.38) / 5.0) == empty.arm.value


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"pack_mass": None}, "does not say the mass"),
        ({"pack_mass": kg("-0.6")}, "can't be one"),
        ({"reading_std": kg("-0.005")}, "no uncertainty"),
        ({"arm_std": {"value": "0", "unit": "m"}}, "no uncertainty"),
    ],
)
def test_a_weighing_by_another_program_that_can_not_be_used_does_not_hold(farm, change, found):
    content = {**weighing_of(farm, with_pack="pack-a").content, **change}
    content = {k: v for k, v in content.items() if v is not None}
    farm.add("weighing", content, ("mechanic", "performed", "engineer"))

    assert not weighing(farm).holds
    assert found in weighing(farm).says


def test_a_pack_of_no_mass_can_not_be_taken_off(farm):
    rewritten(farm, "mass_kg = 0.60", "", "pack", "pack-a")

    with pytest.raises(UsageError, match="no mass_kg"):
        weighing_of(farm, with_pack="pack-a")


# --- how long it holds


def test_without_a_weighing_there_is_no_load(farm):
    found = weighing(farm)

    assert not found.holds
    assert "flightlog balance weigh" in found.clear
    with pytest.raises(RefusedError, match="never weighed"):
        sheeted(farm)


@pytest.mark.parametrize("event", ["repair", "configuration-change"])
def test_after_a_repair_or_in_another_configuration_it_has_to_be_weighed_again(farm, event):
    weighed(farm)
    happened(farm, event)
    assert f"not weighed since: {event}" == weighing(farm).says

    weighed(farm)
    assert weighing(farm).holds


@pytest.mark.parametrize("about", [{"aircraft": "drover"}, {"pack": "pack-a"}])
def test_what_happens_to_others_does_not_void_it(farm, about):
    weighed(farm)
    happened(farm, "repair", **about)
    happened(farm, "battery-change")

    assert weighing(farm).holds


def test_a_weighing_holds_for_a_year(farm):
    weighed(farm)
    farm.clock.later(days=365)
    farm.desk.refresh()
    assert weighing(farm).holds

    farm.clock.later(minutes=1)
    farm.desk.refresh()
    assert "365 days old" in weighing(farm).says
    assert not weighing(farm).holds


def test_a_weighing_ahead_of_the_clock_is_not_believed(farm):
    weighed(farm)
    farm.clock.later(minutes=-20)
    farm.desk.refresh()

    assert "ahead of this laptop's clock" in weighing(farm).says


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('datum = "tip of the nose"', 'datum = "firewall"', "another datum"),
        ("mac_m = 0.26\n", "mac_m = 0.27\n", "another mac_m"),
        ("lemac_m = 0.35\n", "lemac_m = 0.36\n", "another lemac_m"),
        ("empty_kg = 5.6", "empty_kg = 5.66", "another empty_kg: 5.6, now 5.66 kg"),
        ("empty_kg = 5.6", "empty_kg = 5.54", "another empty_kg"),
    ],
)
def test_what_a_weighing_rests_on_may_not_change_in_the_file(farm, old, new, says):
    weighed(farm)
    rewritten(farm, old, new)

    assert not weighing(farm).holds
    assert says in weighing(farm).says
    weighed(farm)
    assert weighing(farm).holds


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("empty_kg = 5.6", "empty_kg = 5.65"),  # less than a hundredth
        ("[10.0, 32.0]", "[10.0, 33.0]"),
        ("arm_m = 0.47", "arm_m = 0.48"),
    ],
)
def test_other_changes_of_the_file_leave_it_as_it_is(farm, old, new):
    weighed(farm)
    rewritten(farm, old, new)

    assert weighing(farm).holds


def test_another_configuration_needs_a_weighing_of_its_own(farm):
    weighed(farm)
    rewritten(farm, 'configuration = "cargo-2"', 'configuration = "cargo-3"')
    assert "weighed in configuration cargo-2, not cargo-3" == weighing(farm).says
    assert last_weighing(farm.desk, "pannier") is None

    weighed(farm)
    assert weighing(farm).holds


def test_a_corrected_weighing_gives_way_to_what_corrects_it(farm):
    wrong = weighed(farm, ("nose=0.10,0=0.650", "left=0.50,-0.25=2.710", "right=0.50,0.25=2.180"))
    right = weighed(farm, corrects=wrong)

    assert right == last_weighing(farm.desk, "pannier")
    assert (right,) == weighing(farm).rests_on


def test_a_weighing_corrects_only_one_of_the_same_aircraft(farm):
    content = {**weighing_of(farm).content, "aircraft": "drover"}
    other = farm.add("weighing", content, ("mechanic", "performed", "engineer"))

    with pytest.raises(UsageError, match="is of drover, not of pannier"):
        weighing_of(farm, corrects=other)


def test_it_is_late_by_when_it_was_weighed_not_by_when_it_was_written_down(farm):
    content = dict(weighing_of(farm).content)
    farm.add(
        "weighing",
        content,
        ("mechanic", "performed", "engineer"),
        occurred=farm.clock.now - timedelta(days=366),
    )

    assert not weighing(farm).holds
    assert "days old" in weighing(farm).says


def test_of_weighings_made_apart_none_holds_until_it_is_weighed_again(farm, tmp_path):
    weighed(farm)
    with other_laptop(farm, tmp_path) as other:
        weighed(other)
        weighed(farm)

    assert last_weighing(farm.desk, "pannier") is None
    assert "weighings made apart from each other" in weighing(farm).says
    weighed(farm)
    assert weighing(farm).holds


def test_a_repair_at_another_laptop_voids_a_weighing_made_meanwhile(farm, tmp_path):
    with other_laptop(farm, tmp_path) as other:
        happened(other, "repair")
        weighed(farm)

    assert "not weighed since: repair" == weighing(farm).says
