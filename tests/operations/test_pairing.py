from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.operations.pairing import begun, pair, utc_of
from flightlog.operations.sortie_drafts import Leg, LogClock, pair_legs
from tests.operations.logs import release
from tests.operations.made import MORNING

NINE = MORNING + timedelta(hours=2)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


def found(farm, minutes, *, zone_known=True, apart=15, **more):
    """Pair a flight that began so many minutes after nine; by no clock where that is None."""
    start = at(minutes).timestamp() if minutes is not None else None
    farm.clock.now = max(farm.clock.now, at(60))
    farm.desk.refresh()
    slack = timedelta(minutes=apart)
    began = begun(farm.desk.ledger.now, start, 0.0, zone_known=zone_known, apart=slack)
    return pair(farm.desk, "pannier", began, **more)


@pytest.mark.parametrize(
    ("minutes", "fits"),
    [(-16, False), (-15, True), (-1, True), (0, True), (120, True), (255, True), (256, False)],
)
def test_a_release_fits_from_its_signing_for_four_hours_with_a_quarter_for_clocks(
    farm, minutes, fits
):
    signed = release(farm, NINE)

    assert found(farm, minutes).release == (signed if fits else None)


def test_more_may_be_told_of_clocks(farm):
    signed = release(farm, NINE)

    assert found(farm, -40).release is None
    assert signed == found(farm, -40, apart=45).release


def test_the_log_s_own_doubt_is_allowed_for(farm):
    signed = release(farm, NINE)
    began = begun(at(60), at(-17).timestamp(), 60.0)

    # A quarter of an hour and three times a minute: 18 minutes.
    assert signed == pair(farm.desk, "pannier", began).release


def test_how_it_was_found_says_by_how_much_the_clocks_would_differ(farm):
    release(farm, NINE)

    assert "signed 10 min after the take-off by the clocks" in found(farm, -10).says
    assert "by time: signed 20 min before the take-off" == found(farm, 20).says


@pytest.mark.parametrize(
    ("minutes", "why"),
    [(-40, "was signed 40 min after"), (300, "had ended 1 h before")],
)
def test_why_there_is_none_names_the_one_that_was_near(farm, minutes, why):
    signed = release(farm, NINE)
    none = found(farm, minutes)

    assert none.release is None
    assert none.clear
    assert why in none.says
    assert (signed,) == none.near


def test_without_any_release_that_is_said(farm):
    assert "no release: there is none of pannier at that time" == found(farm, 10).says


def test_what_was_spent_is_not_found_again_and_its_spender_is_named(farm):
    signed = release(farm, NINE)
    spent = farm.add("remark", {"text": "stands for a sortie"}, relations=[("spends", signed)])
    none = found(farm, 10)

    assert none.release is None
    assert f"was spent by {spent.body.number}." in none.says


def test_a_release_that_an_earlier_flight_of_the_log_took_is_not_free(farm):
    signed = release(farm, NINE)

    assert "is for one flight" in found(farm, 10, taken={signed.hash}).says


@pytest.mark.parametrize(("withdrawn", "fits"), [(10, False), (40, True), (90, True)])
def test_a_release_that_was_taken_back_before_is_not_that_of_the_flight(farm, withdrawn, fits):
    signed = release(farm, NINE)
    farm.clock.now = at(withdrawn)
    farm.add(
        "release-withdrawn", {"reason": "rain"}, ("pilot", "withdrawn"), minutes=0,
        relations=[("ends", signed)],
    )  # fmt: skip

    assert found(farm, 50).release == (signed if fits else None)


def test_what_stops_the_aircraft_after_the_flight_takes_nothing_from_it(farm):
    signed = release(farm, NINE)
    farm.add(
        "event", {"event": "hard-landing", "aircraft": "pannier"},
        effect=("restricts", "aircraft:pannier"),
    )  # fmt: skip

    assert signed == found(farm, 10).release


def test_of_two_the_one_that_needs_no_allowance_wins(farm):
    first = release(farm, NINE)
    release(farm, at(20))

    assert first == found(farm, 10).release


def test_the_pack_decides_between_two_that_fit(farm):
    release(farm, NINE, pack="pack-a")
    second = release(farm, at(5), pack="pack-b")

    assert second == found(farm, 10, pack="pack-b").release


def test_where_nothing_decides_nothing_is_spent_and_both_are_named(farm):
    both = release(farm, NINE), release(farm, at(5))
    doubtful = found(farm, 10)

    assert doubtful.release is None
    assert not doubtful.clear
    assert both == doubtful.near
    assert all(f"{entry.body.number}." in doubtful.says for entry in both)


def test_without_any_time_the_only_unspent_one_is_taken_and_that_is_said(farm):
    signed = release(farm, NINE)
    only = found(farm, None)

    assert signed == only.release
    assert only.says.startswith("by order of import: the log tells no time")


def test_without_any_time_two_are_too_many(farm):
    release(farm, NINE), release(farm, at(5))

    assert not found(farm, None).clear


def test_without_any_time_one_of_long_ago_is_not_taken(farm):
    release(farm, NINE - timedelta(days=3))

    assert found(farm, None).release is None


@pytest.mark.parametrize(("hours", "fits"), [(14, True), (-12, True), (20, False), (-20, False)])
def test_a_local_time_may_be_of_any_zone_that_there_is(farm, hours, fits):
    signed = release(farm, NINE)

    assert found(farm, 60 * hours, zone_known=False).release == (signed if fits else None)


def test_a_release_of_another_aircraft_is_none(farm):
    release(farm, NINE, aircraft="drover")

    assert found(farm, 10).release is None


def test_a_release_that_permits_nothing_is_none(farm):
    release(farm, NINE, effect=None)

    assert "permits nothing" in found(farm, 10).says


def test_a_release_that_was_corrected_is_none(farm):
    signed = release(farm, NINE)
    text = {"text": "made by mistake"}
    farm.add("correction", text, ("pilot", "entered"), relations=[("corrects", signed)])

    assert "was corrected" in found(farm, 10).says


@given(st.floats(4e8, 4e9), st.floats(0, 1e4), st.booleans(), st.integers(0, 24 * 60))
def test_the_time_that_a_log_tells_lies_within_what_is_allowed_for_it(unix_s, std, zone, apart):
    slack = timedelta(minutes=apart)
    found = begun(datetime(2027, 3, 15, tzinfo=UTC), unix_s, std, zone_known=zone, apart=slack)
    told = utc_of(unix_s)

    assert found.earliest <= told - slack
    assert told + slack <= found.latest
    assert found.at == (told if zone else None)


@pytest.mark.parametrize("unix_s", [None, -1.0, 0.0, 1e8, 5e9, 1e18, float("inf"), float("nan")])
def test_a_time_of_no_flying_day_is_none(unix_s):
    assert utc_of(unix_s) is None


def test_a_release_that_a_flight_in_work_has_is_not_found_for_another(farm):
    signed = release(farm, NINE)
    farm.clock.now = at(60)
    farm.desk.refresh()
    clock = LogClock(at(10).timestamp() - 100.0, 0.2, zone_known=True)
    leg = Leg(1, 100.0, 104.0, 300.0, 310.0, goes_on=False)

    (one,) = pair_legs(farm.desk, "pannier", clock, [leg])
    (other,) = pair_legs(farm.desk, "pannier", clock, [leg], taken=[signed.hash])

    assert signed == one.release
    assert other.release is None
