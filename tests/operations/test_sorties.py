from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.contract import DEBRIEF_SCHEMA
from flightlog.operations import sorties as rooms
from flightlog.operations.sorties import debrief_of, recording_debrief, sortie_of, sorties
from tests.operations.flown import flown, recorded
from tests.operations.logs import imported, recording, release, stored_debrief
from tests.operations.made import MORNING

NINE = MORNING + timedelta(hours=2)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


@pytest.fixture
def entered(farm):
    """Enter a flight by hand, signed by the pilot."""

    def enter(minutes, seconds=240, landings=1, relations=(), **said):
        content = {
            "aircraft": "pannier",
            "number": 1,
            "source": "hand",
            "start": at(minutes).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "flown": {"value": str(seconds), "unit": "s"},
            "landings": landings,
            "attempts": 0,
            "paired": "no release",
            **said,
        }
        return farm.add("sortie", content, ("pilot", "entered"), relations=relations)

    return enter


def test_one_sortie_of_one_log_counts_once_however_often_it_was_imported(farm):
    for _ in range(2):
        flown(farm, 600, recording=recorded(farm, "ab" * 32), number=1)

    (flight,) = sorties(farm.desk)
    assert 600 == flight.flown_s
    assert 1 == len(flight.others)
    assert flight == sortie_of(farm.desk, flight.others[0])


def test_two_sorties_of_one_log_are_two_flights_though_their_times_are_the_same(farm):
    one = recorded(farm, "ab" * 32)
    for number in (1, 2):
        flown(farm, 600, recording=one, number=number, start=NINE)

    assert [1, 2] == [f.number for f in sorties(farm.desk)]


def test_a_hand_entry_at_the_time_of_a_log_is_the_same_flight_and_the_log_s_numbers_stand(
    farm, entered
):
    imported(farm, NINE)
    hand = entered(1, seconds=300, landings=2, pack="pack-b")

    (flight,) = sorties(farm.desk)
    assert ("log", 240.0, hand) == (flight.source, flight.flown_s, flight.by_hand)
    assert "pack-b" == flight.pack
    # A landing that only the pilot counted wears the gear all the same.
    assert 2 == flight.landings


def test_a_hand_entry_before_the_log_is_known_as_the_same_flight_too(farm, entered):
    hand = entered(0)
    (flight,) = imported(farm, NINE)

    assert hand == flight.by_hand
    assert 1 == len(sorties(farm.desk))


@pytest.mark.parametrize("minutes", [-7, 7])
def test_a_hand_entry_minutes_away_is_another_flight(farm, entered, minutes):
    imported(farm, NINE)
    entered(minutes)

    # Counted twice is put right by a person; not counted wears out unseen.
    assert 2 == len(sorties(farm.desk))


@pytest.mark.parametrize(("minutes", "flights"), [(1, 1), (3, 2)])
def test_half_of_the_shorter_one_has_to_be_shared(farm, entered, minutes, flights):
    entered(0, seconds=240)
    entered(minutes, seconds=240)

    assert flights == len(sorties(farm.desk))


def test_another_aircraft_can_fly_at_the_same_time(farm, entered):
    imported(farm, NINE)
    entered(0, aircraft="drover")

    assert 2 == len(sorties(farm.desk))


def test_a_hand_entry_over_two_flights_of_a_log_makes_them_no_single_one(farm, entered):
    imported(farm, NINE, sorties=2, apart_min=10)
    entered(0, seconds=900)

    flights = sorties(farm.desk)
    assert [1, 2] == [f.number for f in flights]
    assert 1 == sum(f.by_hand is not None for f in flights)


def test_two_logs_of_one_flight_are_one_flight(farm):
    imported(farm, NINE, file="card.bin")
    imported(farm, NINE + timedelta(seconds=2), file="radio.tlog")

    (flight,) = sorties(farm.desk)
    assert "card.bin" == flight.recording.body.content["file"]


def test_a_log_that_was_copied_too_early_gives_way_to_the_whole_one(farm):
    """The card was pulled in flight, so to say, and read again in the evening."""
    imported(farm, NINE, file="cut.bin", flown_s=100, each={"touchdown_s": None, "ends": "air"})
    (cut,) = sorties(farm.desk)
    imported(farm, NINE, file="whole.bin", flown_s=240)

    (flight,) = sorties(farm.desk)
    assert "whole.bin" == flight.recording.body.content["file"]
    assert debrief_of(farm.desk, flight)["touchdown_s"] is not None
    assert cut.entry in flight.others
    assert flight == sortie_of(farm.desk, cut.entry)


@pytest.mark.parametrize(("seconds", "main"), [(240, "longer.bin"), (102, "cut.bin")])
def test_of_two_logs_that_end_in_the_air_the_longer_one_s_numbers_stand(farm, seconds, main):
    """Else energy of one stood beside the flown time of the other; what is about as long stays."""
    in_air = {"touchdown_s": None, "ends": "air"}
    imported(farm, NINE, file="cut.bin", flown_s=100, each=in_air)
    imported(farm, NINE, file="longer.bin", flown_s=seconds, each=in_air)

    (flight,) = sorties(farm.desk)
    assert main == flight.recording.body.content["file"]


def test_a_person_may_say_that_two_are_one_though_their_times_differ(farm, entered):
    (flight,) = imported(farm, NINE)
    hand = entered(30)
    farm.add("pairing", {"reason": "the watch was out"}, ("pilot", "stated"),
             cites=[flight.entry, hand])  # fmt: skip

    (flight,) = sorties(farm.desk)
    assert hand == flight.by_hand


def test_what_a_person_states_stands_over_what_was_found(farm):
    first = release(farm, at(-5))
    second = release(farm, at(-3), pack="pack-b")
    (flight,) = imported(farm, NINE, pack="pack-a")
    assert first == flight.release

    farm.add("pairing", {"reason": "by the slip"}, ("pilot", "stated"), cites=[flight.entry],
             relations=[("spends", second)])  # fmt: skip
    (flight,) = sorties(farm.desk)
    assert second == flight.release
    assert "stated by a person: by the slip" == flight.paired

    said = {"reason": "it was a test", "without_release": True, "pack": "pack-b"}
    farm.add("pairing", said, ("pilot", "stated"), cites=[flight.entry])
    (flight,) = sorties(farm.desk)
    assert (None, "pack-b") == (flight.release, flight.pack)


def test_a_sortie_that_was_corrected_counts_no_more(farm):
    (flight,) = imported(farm, NINE)
    farm.add("correction", {"text": "the car, not the aircraft"}, ("pilot", "entered"),
             relations=[("corrects", flight.entry)])  # fmt: skip

    assert () == sorties(farm.desk)


def test_flights_are_in_the_order_in_which_they_were_flown_not_entered(farm):
    imported(farm, at(40), file="second.bin")
    imported(farm, NINE, file="first.bin")

    assert ["first.bin", "second.bin"] == [
        f.recording.body.content["file"] for f in sorties(farm.desk, "pannier")
    ]
    assert () == sorties(farm.desk, "drover")


def test_the_stored_debrief_is_found_and_a_damaged_one_is_not_believed(farm):
    entry = recording(farm, stored_debrief(NINE))
    assert DEBRIEF_SCHEMA == rooms.DEBRIEF_SCHEMA == recording_debrief(farm.desk, entry)["schema"]

    (flight,) = imported(farm, at(60), file="other.bin")
    assert 1 == debrief_of(farm.desk, flight)["number"]
    stored = flight.recording.body.attachments[-1]
    farm.book.attachments.path(stored.sha256).write_text("{}", encoding="utf-8")
    assert debrief_of(farm.desk, flight) is None


def test_a_log_that_is_called_like_a_debrief_is_not_read_as_one(farm):
    body = stored_debrief(NINE, file="odd.debrief.json")

    assert body == recording_debrief(farm.desk, recording(farm, body))
