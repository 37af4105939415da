from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES, SPENDS
from flightlog.operations.by_hand import (
    Flown,
    Stated,
    draft_pairing,
    draft_sortie,
    find_sortie,
)
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from tests.logbook.made import public_of
from tests.operations.logs import imported, release
from tests.operations.made import MORNING

NINE = MORNING + timedelta(hours=2)
TOLD = Flown("pannier", "pack-a", NINE, timedelta(minutes=4), 1)
PILOT = public_of("pilot")


def at(minutes):
    return NINE + timedelta(minutes=minutes)


@pytest.fixture
def afternoon(farm):
    farm.clock.now = at(120)
    farm.desk.refresh()
    return farm


def entered(farm, told=TOLD):
    draft, found = draft_sortie(farm.desk, told, PILOT)
    return farm.sign(draft, "pilot"), found


def stated(farm, flight, said, reason="by the slip"):
    return farm.sign(draft_pairing(farm.desk, flight, said, reason, PILOT), "pilot")


def test_a_flight_entered_by_hand_is_signed_and_spends_its_release(farm):
    signed = release(farm, at(-10))
    farm.clock.now = at(30)
    farm.desk.refresh()
    entry, found = entered(farm, replace(TOLD, landings=2, text="no card was in"))

    (flight,) = sorties(farm.desk)
    assert ("hand", "pannier", "pack-a", 240.0, 2) == (
        flight.source, flight.aircraft, flight.pack, flight.flown_s, flight.landings
    )  # fmt: skip
    assert signed == flight.release == found.release
    assert (signed.hash,) == entry.body.related(SPENDS)
    assert 1 == len(farm.desk.ledger.persons(entry, "entered"))


def test_its_pack_decides_between_two_releases(farm):
    release(farm, at(-10), pack="pack-b")
    second = release(farm, at(-5), pack="pack-a")
    farm.clock.now = at(30)
    farm.desk.refresh()

    assert second == entered(farm)[1].release


def test_of_a_flight_whose_log_is_there_the_release_is_not_spent_again(farm):
    signed = release(farm, at(-10))
    (flight,) = imported(farm, NINE)
    entry, _ = entered(farm)

    assert () == entry.body.related(SPENDS)
    assert {flight.entry.hash, signed.hash} == set(entry.body.related(CITES))
    assert 1 == len(sorties(farm.desk))


def test_lift_off_and_touchdown_tell_the_time_in_the_air(afternoon):
    told = replace(TOLD, liftoff=at(1), touchdown=at(6))
    entered(afternoon, told)

    assert 300.0 == sorties(afternoon.desk)[0].flown_s


@pytest.mark.parametrize(
    ("changed", "found"),
    [
        ({"aircraft": "pannie"}, "no aircraft file"),
        ({"pack": "pack-c"}, "no pack file"),
        ({"flown": timedelta(0)}, "not the time of a flight"),
        ({"flown": timedelta(hours=24)}, "not the time of a flight"),
        ({"liftoff": at(-1)}, "not in this order"),
        ({"liftoff": at(5), "touchdown": at(4)}, "not in this order"),
        ({"start": at(121)}, "still to come"),
    ],
)
def test_what_does_not_go_together_is_refused(afternoon, changed, found):
    with pytest.raises(UsageError, match=found):
        draft_sortie(afternoon.desk, replace(TOLD, **changed), PILOT)


# --- naming


def test_a_flight_is_found_by_its_entry_and_by_its_day(farm):
    (first,) = imported(farm, NINE)
    (second,) = imported(farm, at(60), file="second.bin")

    assert first == find_sortie(farm.desk, named(first.entry))
    assert second == find_sortie(farm.desk, "2027-03-15/2")
    with pytest.raises(UsageError, match="2 flights of this day"):
        find_sortie(farm.desk, "2027-03-15")
    with pytest.raises(UsageError, match="2 flights of this day"):
        find_sortie(farm.desk, "2027-03-15/3")
    with pytest.raises(UsageError, match="no flight of this day"):
        find_sortie(farm.desk, "2027-03-16")
    with pytest.raises(UsageError, match="is a recording, no sortie"):
        find_sortie(farm.desk, named(first.recording))
    with pytest.raises(RefusedError, match="no such entry"):
        find_sortie(farm.desk, "9.ZZZZZ")


def test_the_only_flight_of_a_day_needs_no_number(farm):
    (flight,) = imported(farm, NINE)

    assert flight == find_sortie(farm.desk, "2027-03-15")


# --- stated


def test_a_person_pairs_what_was_not_clear_and_that_spends_the_release(farm):
    release(farm, at(-10))
    second = release(farm, at(-5))
    (flight,) = imported(farm, NINE)
    assert flight.release is None

    entry = stated(farm, flight, Stated(release=second))

    assert (second.hash,) == entry.body.related(SPENDS)
    assert second == sorties(farm.desk)[0].release


def test_a_release_that_was_spent_is_not_spent_again(farm):
    signed = release(farm, at(-10))
    first, second = imported(farm, NINE, sorties=2)
    assert signed == first.release

    entry = stated(farm, second, Stated(release=signed))

    assert () == entry.body.related(SPENDS)
    assert [signed, signed] == [f.release for f in sorties(farm.desk)]


def test_a_flight_can_be_given_its_aircraft_and_pack(farm):
    (flight,) = imported(farm, NINE, aircraft=None)
    assert "" == flight.aircraft

    stated(farm, flight, Stated(aircraft="pannier", pack="pack-b"))

    (flight,) = sorties(farm.desk, "pannier")
    assert "pack-b" == flight.pack


def test_two_entries_can_be_said_to_be_one_flight(farm):
    (flight,) = imported(farm, NINE)
    farm.clock.now = at(60)
    farm.desk.refresh()
    entered(farm, replace(TOLD, start=at(30)))
    hand = sorties(farm.desk)[1]

    stated(farm, flight, Stated(same_as=[hand]))

    (flight,) = sorties(farm.desk)
    assert hand.entry == flight.by_hand


@pytest.mark.parametrize(
    ("said", "error", "found"),
    [
        (Stated(), UsageError, "nothing is said"),
        (Stated(aircraft="drover"), UsageError, "no aircraft file"),
        (Stated(pack="pack-c"), UsageError, "no pack file"),
    ],
)
def test_what_can_not_be_stated_is_refused(farm, said, error, found):
    (flight,) = imported(farm, NINE)

    with pytest.raises(error, match=found):
        draft_pairing(farm.desk, flight, said, "so", PILOT)


def test_a_release_can_not_be_named_and_denied_at_once(farm):
    signed = release(farm, at(-10))
    (flight,) = imported(farm, NINE)

    with pytest.raises(UsageError, match="exclude each other"):
        draft_pairing(farm.desk, flight, Stated(signed, without_release=True), "so", PILOT)


def test_a_release_of_another_aircraft_and_another_kind_of_entry_are_refused(farm):
    other = release(farm, at(-10), aircraft="drover")
    (flight,) = imported(farm, NINE)

    with pytest.raises(RefusedError, match="a release of drover, the flight was with pannier"):
        draft_pairing(farm.desk, flight, Stated(other), "so", PILOT)
    with pytest.raises(UsageError, match="is a recording, no release"):
        draft_pairing(farm.desk, flight, Stated(flight.recording), "so", PILOT)


def test_two_flights_of_one_log_are_not_one(farm):
    first, second = imported(farm, NINE, sorties=2)

    with pytest.raises(RefusedError, match="two flights"):
        draft_pairing(farm.desk, first, Stated(same_as=[second]), "so", PILOT)
    with pytest.raises(UsageError, match="this flight already"):
        draft_pairing(farm.desk, first, Stated(same_as=[first]), "so", PILOT)
