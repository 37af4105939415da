from __future__ import annotations

from datetime import timedelta
from random import Random

import pytest

from flightlog.errors import UsageError
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from flightlog.operations.usage import (
    contradictions,
    fitted,
    flights_of,
    is_whole,
    timed_first,
    usage_of,
    usage_since,
    where_fitted,
)
from flightlog.reports.hangar import used_text
from tests.operations.flown import apart, flown, moved, recorded, second_aircraft, united
from tests.operations.logs import imported
from tests.operations.made import MORNING

NINE = MORNING + timedelta(hours=2)


def hours(farm, thing, id_):
    return round(usage_of(farm.desk, thing, id_).hours, 6)


def test_an_aircraft_has_what_it_had_before_and_what_it_flew(farm):
    flown(farm, 900, landings=2)
    flown(farm, 900, landings=1)

    used = usage_of(farm.desk, "aircraft", "pannier")

    # 3.2 h and 14 landings stand in its file; two quarters of an hour and 3 landings come.
    assert 3.7 == pytest.approx(used.hours)
    assert (17, 2) == (used.landings, used.cycles)
    # From 2026-09-05 to the morning of 2027-03-15 it is 191 days and some hours.
    assert 191 < used.days < 192


def test_a_cycle_of_a_pack_is_a_sortie_flown_with_it(farm):
    flown(farm, pack="pack-a")
    flown(farm, pack="pack-b")
    flown(farm, pack="pack-a")

    # 22 before the record.
    assert 24 == usage_of(farm.desk, "pack", "pack-a").cycles


def test_a_corrected_sortie_does_not_count(farm):
    wrong = flown(farm, 3600)
    before = hours(farm, "aircraft", "pannier")

    farm.add(
        "correction",
        {"text": "That was the other aircraft"},
        ("pilot", "stated"),
        relations=[("corrects", wrong)],
    )

    assert (4.2, 3.2) == (before, hours(farm, "aircraft", "pannier"))


def test_one_sortie_of_one_log_that_was_imported_twice_counts_once(farm):
    sha256 = "ab" * 32
    for _ in range(2):
        recording = recorded(farm, sha256)
        at = farm.clock.now - timedelta(hours=1)
        flown(farm, 1800, recording=recording, number=1, start=at)
        flown(farm, 1800, recording=recording, number=2, start=at + timedelta(minutes=35))

    assert 4.2 == hours(farm, "aircraft", "pannier")
    assert 24 == usage_of(farm.desk, "pack", "pack-a").cycles


def test_who_says_later_which_aircraft_and_pack_it_was_is_believed(farm):
    second_aircraft(farm)
    sortie = flown(farm, 3600)

    farm.add(
        "pairing",
        {"aircraft": "drover", "pack": "pack-b", "reason": "The wrong card was in"},
        ("pilot", "stated"),
        cites=[sortie],
    )

    assert (3.2, 1.0) == (hours(farm, "aircraft", "pannier"), hours(farm, "aircraft", "drover"))
    assert 22 == usage_of(farm.desk, "pack", "pack-a").cycles
    assert [sortie] == [f.entry for f in flights_of(farm.desk, "pack", "pack-b")]


def test_a_flight_without_a_time_is_named_and_counted_as_a_landing(farm):
    sortie = flown(farm, None)

    used = usage_of(farm.desk, "aircraft", "pannier")

    assert [sortie] == [f.entry for f in used.untimed]
    assert (3.2, 15) == (used.hours, used.landings)


def test_a_time_that_a_person_enters_tells_of_a_flight_whose_log_has_none(farm):
    """The log broke off in the air; the pilot noted half an hour."""
    sortie = flown(farm, None)
    began = flights_of(farm.desk, "pack", "pack-a")[0].began
    flown(farm, 1800, start=began, source="hand")

    used = usage_of(farm.desk, "aircraft", "pannier")

    assert [sortie] == [f.entry for f in used.sorties]
    assert (3.7, ()) == (used.hours, used.untimed)


def test_of_a_log_that_ends_in_the_air_hours_are_the_least(farm):
    (cut,) = imported(farm, NINE, each={"touchdown_s": None, "ends": "air"})
    imported(farm, NINE + timedelta(hours=1), file="whole.bin")

    used = usage_of(farm.desk, "aircraft", "pannier")

    assert used.is_least
    assert [cut.entry] == [f.entry for f in used.cut]
    assert () == used.untimed
    assert (False, True) == tuple(is_whole(f) for f in sorties(farm.desk))
    said = used_text("aircraft", used)
    assert said.startswith("at least ")
    assert f"the log is not of the whole flight of {named(cut.entry)}" in said


def test_of_a_log_without_a_clock_too_it_is_known_whether_it_is_whole(farm):
    imported(farm, None, each={"touchdown_s": None, "ends": "air"})
    imported(farm, None, file="whole.bin")

    assert [False, True] == [is_whole(f) for f in sorties(farm.desk)]


def test_of_several_logs_one_that_is_whole_is_enough(farm):
    imported(farm, NINE, file="cut.bin", flown_s=200, each={"touchdown_s": None, "ends": "air"})
    imported(farm, NINE, file="whole.bin")

    (flight,) = sorties(farm.desk)
    assert is_whole(flight)


def test_flights_of_which_nobody_knows_when_come_last_however_early_they_were_entered(farm):
    (untimed,) = imported(farm, None, file="untimed.bin")
    late = farm.clock.now + timedelta(days=3)
    (timed,) = imported(farm, late, file="timed.bin")

    entered = sorties(farm.desk)
    assert [untimed.entry, timed.entry] == [f.entry for f in entered]
    assert [timed.entry, untimed.entry] == [f.entry for f in timed_first(entered)]


def test_there_is_no_usage_without_a_file(farm):
    with pytest.raises(UsageError, match="no component file"):
        usage_of(farm.desk, "component", "propeller-9")


# --- components


def test_hours_go_with_a_component_from_one_aircraft_to_another(farm):
    second_aircraft(farm)
    flown(farm, 3600)
    moved(farm, "fitted")
    flown(farm, 1800, landings=2)
    moved(farm, "removed")
    flown(farm, 3600)
    moved(farm, "fitted", aircraft="drover")
    flown(farm, 900, aircraft="drover")

    used = usage_of(farm.desk, "component", "propeller-1")

    # 1.4 h before the record, half an hour in one aircraft, a quarter in the other.
    assert 2.15 == pytest.approx(used.hours)
    assert (3, 2) == (used.landings, used.cycles)
    assert () == fitted(farm.desk, "pannier")
    assert ["propeller-1"] == [f.component for f in fitted(farm.desk, "drover")]


def test_a_log_imported_after_the_transfer_goes_to_where_the_component_was_when_it_flew(farm):
    second_aircraft(farm)
    moved(farm, "fitted")
    flew = farm.clock.later(minutes=30)
    farm.clock.later(minutes=60)
    moved(farm, "removed")
    moved(farm, "fitted", aircraft="drover")
    flown(farm, 3600, start=flew)
    flown(farm, 1800, start=farm.clock.later(minutes=30), aircraft="pannier")

    assert 2.4 == hours(farm, "component", "propeller-1")


def released(farm):
    return farm.add(
        "release",
        {
            "aircraft": "pannier",
            "configuration": "cargo-2",
            "aircraft_file": "0" * 64,
            "pack": "pack-a",
            "mass": {"value": "8.0", "unit": "kg"},
            "units": 6,
            "landings": 1,
            "until": "2027-03-15T11:00:00Z",
            "conditions": [{"condition": "fitness", "says": "holds"}],
        },
        ("pilot", "accepted", "pilot"),
        ("mechanic", "released", "safety"),
        cites=[farm.desk.version("aircraft", "pannier").entry],
        effect=("permits", "aircraft:pannier"),
    )


def test_the_release_tells_what_was_fitted_where_clocks_do_not(farm):
    """The laptop is 40 minutes slow: by the clocks the flight was before the fitting."""
    moved(farm, "fitted")
    release = released(farm)
    begun = farm.clock.now - timedelta(minutes=40)
    removed = moved(farm, "removed")
    flown(farm, 1800, start=begun, relations=[("spends", release)])

    assert 1.9 == hours(farm, "component", "propeller-1")
    assert farm.desk.ledger.when(removed) > begun


def test_a_removal_written_down_late_is_believed_beside_a_release(farm):
    """It was out before the flight; the release did not know, since nobody had entered it."""
    moved(farm, "fitted")
    taken_out = farm.clock.later(minutes=5)
    release = released(farm)
    flown(farm, 1800, relations=[("spends", release)])
    moved(farm, "removed", occurred=taken_out)

    assert 1.4 == hours(farm, "component", "propeller-1")


def test_a_removal_written_down_late_counts_from_when_it_was(farm):
    moved(farm, "fitted")
    flown(farm, 3600)
    taken_out = farm.clock.later(minutes=5)
    flown(farm, 3600)
    moved(farm, "removed", occurred=taken_out, minutes=30)

    assert 2.4 == hours(farm, "component", "propeller-1")


def test_a_component_in_two_aircraft_is_a_contradiction_and_collects_from_both(farm):
    second_aircraft(farm)
    moved(farm, "fitted")
    moved(farm, "fitted", aircraft="drover")
    flown(farm, 3600)
    flown(farm, 1800, aircraft="drover")

    (said,) = contradictions(farm.desk)

    assert 2.9 == hours(farm, "component", "propeller-1")
    assert "propeller-1 is fitted in 2 places: pannier, nose" in said
    assert 1 == len(fitted(farm.desk, "pannier")) == len(fitted(farm.desk, "drover"))


def test_two_laptops_that_fit_it_apart_make_a_contradiction(farm, tmp_path):
    second_aircraft(farm)
    other = apart(farm, tmp_path / "other")
    moved(farm, "fitted")
    moved(other, "fitted", aircraft="drover")
    united(farm, other)
    flown(farm, 3600)
    flown(farm, 1800, aircraft="drover")

    assert 1 == len(contradictions(farm.desk))
    assert 2.9 == hours(farm, "component", "propeller-1")


def test_removing_it_from_one_of_two_ends_the_contradiction(farm):
    second_aircraft(farm)
    moved(farm, "fitted")
    moved(farm, "fitted", aircraft="drover")
    moved(farm, "removed", aircraft="pannier")

    assert () == contradictions(farm.desk)
    assert ["drover"] == [f.aircraft for f in where_fitted(farm.desk, "propeller-1")]


def test_fitted_twice_into_one_aircraft_is_told_and_counts_once(farm):
    moved(farm, "fitted")
    moved(farm, "fitted")
    flown(farm, 3600)

    assert 1 == len(contradictions(farm.desk))
    assert 2.4 == hours(farm, "component", "propeller-1")


def test_removed_from_where_it_was_not_is_told(farm):
    moved(farm, "removed")

    assert "was removed from pannier by" in contradictions(farm.desk)[0]


# --- since an entry


def test_what_an_entry_had_not_seen_was_flown_since(farm):
    flown(farm, 3600)
    remark = farm.add("remark", {"text": "looked at"}, ("mechanic", "stated"))
    late = farm.clock.now - timedelta(hours=5)
    flown(farm, 1800, start=late)  # flown before it, and known only after it

    since = usage_since(farm.desk, "aircraft", "pannier", remark)

    assert (0.5, 1) == (since.hours, since.landings)


def test_since_an_entry_written_down_late_counts_from_when_it_was(farm):
    flown(farm, 3600)
    done = farm.clock.later(minutes=90)
    flown(farm, 1800)
    remark = farm.add("remark", {"text": "done"}, ("mechanic", "stated"), occurred=done)

    assert 0.5 == usage_since(farm.desk, "aircraft", "pannier", remark).hours


def test_no_hour_of_a_component_is_lost_or_doubled_by_moving_it(farm):
    """What it collects is what the aircraft flies that it is in, whatever comes in which order."""
    second_aircraft(farm)
    rng = Random(11)
    place, expected = "", 1.4
    for _ in range(24):
        step = rng.choice(["pannier", "drover", "move"])
        if step == "move":
            if place:
                moved(farm, "removed", aircraft=place)
            place = "drover" if place == "pannier" else "pannier"
            moved(farm, "fitted", aircraft=place)
        else:
            flown(farm, 360, aircraft=step)
            expected += 0.1 if step == place else 0.0

    assert expected > 1.6
    assert round(expected, 6) == hours(farm, "component", "propeller-1")
    assert () == contradictions(farm.desk)
