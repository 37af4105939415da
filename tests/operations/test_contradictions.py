from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.baseline import Parameters, baseline_draft, note_parameters
from flightlog.operations.contradictions import contradictions
from flightlog.operations.sorties import sorties
from tests.logbook.made import public_of
from tests.operations.logs import imported, release, stored_debrief, weather
from tests.operations.made import MORNING

NINE = MORNING + timedelta(hours=2)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


def found(farm, flight=None):
    """Give the contradictions of a flight, the only one when none is named, by their code."""
    if flight is None:
        (flight,) = sorties(farm.desk)
    return {one.code: one for one in contradictions(farm.desk, flight)}


def finding(code, message="as the analyses say."):
    return {"findings": [{"code": code, "message": message, "evidence": {}}]}


def outcome(figure, value, bound, unit):
    return {
        "limit": figure, "kind": "aircraft", "figure": figure, "value": value, "unit": unit,
        "outcome": "not met", "bound": {"op": "<=", "value": bound, "unit": unit},
    }  # fmt: skip


def test_a_flight_as_it_was_released_contradicts_nothing(farm):
    release(farm, at(-10))
    imported(farm, NINE)

    assert {} == found(farm)


def test_flown_without_a_release(farm):
    imported(farm, NINE)

    assert {"without-release"} == set(found(farm))


def test_flown_before_the_release_was_signed_says_by_how_much(farm):
    late = release(farm, at(40))
    imported(farm, NINE)

    assert f"{late.body.number}." in found(farm)["without-release"].says
    assert "was signed 40 min after the take-off" in found(farm)["without-release"].says


def test_a_release_that_is_not_clear(farm):
    release(farm, at(-10)), release(farm, at(-5))
    imported(farm, NINE)

    assert {"release-not-clear"} == set(found(farm))


def test_flown_after_the_release_had_ended_by_a_person_s_statement(farm):
    signed = release(farm, at(-5 * 60))
    (flight,) = imported(farm, NINE)
    stated(farm, flight, signed)

    lapsed = found(farm)["release-lapsed"]
    assert "began 1 h after the release" in lapsed.says
    assert not lapsed.note


def test_a_few_minutes_over_are_a_note(farm):
    release(farm, at(-4 * 60 - 10))
    imported(farm, NINE)

    assert found(farm)["release-lapsed"].note


def stated(farm, flight, signed):
    return farm.add("pairing", {"reason": "the slip of paper"}, ("pilot", "stated"),
                    cites=[flight.entry], relations=[("spends", signed)])  # fmt: skip


def test_taken_off_before_the_last_signature_of_the_lists(farm):
    begun = farm.add("list-begun", {
        "list": "pre-flight", "checklist": "ab" * 32, "aircraft": "pannier", "source": "screen",
    })  # fmt: skip
    release(farm, at(-10), cites=[begun])
    imported(farm, NINE)
    assert {} == found(farm)

    farm.clock.now = at(29)
    check = {"item": "controls", "result": "pass"}
    farm.add("check", check, ("mechanic", "performed"), cites=[begun])

    late = found(farm)["before-checks"]
    assert "took off 30 min before check controls was signed" == late.says


@pytest.mark.parametrize("minutes", [14, 16])
def test_a_signature_within_what_clocks_may_differ_is_none(farm, minutes):
    begun = farm.add("list-begun", {
        "list": "pre-flight", "checklist": "ab" * 32, "aircraft": "pannier", "source": "screen",
    })  # fmt: skip
    release(farm, at(-10), cites=[begun])
    imported(farm, NINE)
    farm.clock.now = at(minutes - 1)
    farm.add("check", {"item": "controls", "result": "pass"}, ("mechanic", "performed"),
             cites=[begun])  # fmt: skip

    assert (minutes > 15) == ("before-checks" in found(farm))


def test_more_allowance_for_clocks_is_kept_with_the_recording(farm):
    apart = {"clocks_apart": {"value": "3600", "unit": "s"}}
    signed = release(farm, at(40))
    (flight,) = imported(farm, NINE, **apart)

    assert signed == flight.release
    assert {} == found(farm)


def test_another_pack_by_the_list_after_the_flight(farm):
    release(farm, at(-10), pack="pack-a")
    imported(farm, NINE)
    farm.add("list-begun", {
        "list": "post-flight", "checklist": "ab" * 32, "aircraft": "pannier", "pack": "pack-b",
        "source": "screen",
    })  # fmt: skip

    other = found(farm)["another-pack"]
    assert "flown with pack-b by list-begun" in other.says
    assert other.says.endswith("released with pack-a")


def test_the_list_after_the_next_flight_says_nothing_of_this_one(farm):
    release(farm, at(-10), pack="pack-a")
    (first,) = imported(farm, NINE)
    release(farm, at(20), pack="pack-b")
    (second,) = imported(farm, at(30), file="second.bin")
    farm.add("list-begun", {
        "list": "post-flight", "checklist": "ab" * 32, "aircraft": "pannier", "pack": "pack-b",
        "source": "screen",
    })  # fmt: skip

    assert {} == found(farm, first) == found(farm, second)


def test_another_pack_by_a_person_s_word(farm):
    release(farm, at(-10), pack="pack-a")
    (flight,) = imported(farm, NINE)
    said = {"reason": "the label", "pack": "pack-b"}
    entry = farm.add("pairing", said, ("pilot", "stated"), cites=[flight.entry])

    assert entry in found(farm)["another-pack"].entries


@pytest.mark.parametrize("code", ["cell-count", "pack-doubtful"])
def test_a_battery_that_is_not_as_stated(farm, code):
    release(farm, at(-10))
    imported(farm, NINE, each=finding(code, "23.1 V at rest is not that of 4 cells."))

    assert found(farm)["battery-doubtful"].says.endswith("23.1 V at rest is not that of 4 cells")


def test_a_mass_that_roll_and_climb_do_not_fit(farm):
    release(farm, at(-10))
    imported(farm, NINE, each=finding("mass-doubtful", "It climbed like 11 kg."))

    assert found(farm)["mass-doubtful"].says.endswith("It climbed like 11 kg")


def test_more_landings_than_declared(farm):
    release(farm, at(-10), landings=2)
    touch = {"code": "touch-and-go", "evidence": {"contacts": 2}, "message": "twice."}
    imported(farm, NINE, each={"findings": [touch]})

    assert found(farm)["more-landings"].says.startswith("3 landings, 2 declared")


def test_as_many_landings_as_declared_are_none(farm):
    release(farm, at(-10), landings=3)
    touch = {"code": "touch-and-go", "evidence": {"contacts": 2}, "message": "twice."}
    imported(farm, NINE, each={"findings": [touch]})

    assert {} == found(farm)


def test_two_flights_in_one_log_and_one_release(farm):
    release(farm, at(-10), landings=2)
    first, second = imported(farm, NINE, sorties=2)

    assert {} == found(farm, first)
    assert {"without-release", "more-flights"} == set(found(farm, second))


def test_two_flights_under_one_release_by_a_person_s_word(farm):
    signed = release(farm, at(-10))
    first, second = imported(farm, NINE, sorties=2)
    farm.add("pairing", {"reason": "so it was"}, ("pilot", "stated"),
             cites=[second.entry, signed])  # fmt: skip

    assert {"more-flights"} == set(found(farm, first))
    assert "more-flights" in found(farm, sorties(farm.desk)[1])


def test_a_release_of_another_aircraft(farm):
    signed = release(farm, at(-10))
    (flight,) = imported(farm, NINE)
    said = {"reason": "the other one", "aircraft": "drover"}
    farm.add("pairing", said, ("pilot", "stated"), cites=[flight.entry, signed])

    assert "flown with drover" in found(farm)["another-aircraft"].says


def test_what_restricted_the_aircraft_between_release_and_take_off(farm):
    release(farm, at(-100))
    farm.clock.now = at(-41)
    event = farm.add("event", {"event": "contact", "aircraft": "pannier"},
                     effect=("restricts", "aircraft:pannier"))  # fmt: skip
    (flight,) = imported(farm, NINE)

    void = found(farm)["release-void"]
    assert event in void.entries
    assert "40 min before the flight" in void.says
    assert flight.release is not None


@pytest.mark.parametrize("minutes", [-10, 5, 30])
def test_what_may_have_come_after_the_take_off_voids_nothing(farm, minutes):
    release(farm, at(-100))
    farm.clock.now = at(minutes - 1)
    farm.add("event", {"event": "contact", "aircraft": "pannier"},
             effect=("restricts", "aircraft:pannier"))  # fmt: skip
    imported(farm, NINE)

    assert {} == found(farm)


# --- parameters

SET = Parameters({"PITCH_GAIN": 0.8, "ROLL_GAIN": 0.6}, "Simulated autopilot 1.0", "set.param")


def flown_with(farm, parameters):
    draft = baseline_draft(farm.desk, "pannier", SET, public_of("mechanic"), public_of("observer"))
    baseline = farm.sign(draft, "mechanic", "observer")
    release(farm, at(-10), cites=[baseline])
    read = note_parameters(farm.desk, "pannier", parameters)
    imported(farm, NINE, cites=[read])
    return found(farm)


def test_parameters_and_firmware_as_in_the_baseline(farm):
    assert {} == flown_with(farm, SET)


def test_parameters_that_are_not_those_of_the_baseline(farm):
    other = Parameters({**SET.values, "ROLL_GAIN": 0.9}, SET.firmware, "flight.bin")

    assert "ROLL_GAIN 0.6 -> 0.9" in flown_with(farm, other)["parameters-changed"].says


def test_other_firmware_than_in_the_baseline(farm):
    other = Parameters(SET.values, "Simulated autopilot 1.1", "flight.bin")

    changed = flown_with(farm, other)
    assert {"firmware-changed"} == set(changed)
    assert changed["firmware-changed"].says.endswith("1.0 -> Simulated autopilot 1.1")


def test_a_later_baseline_says_nothing_of_an_earlier_flight(farm):
    assert {} == flown_with(farm, SET)
    new = Parameters({"PITCH_GAIN": 0.9}, "Simulated autopilot 2.0", "new.param")
    draft = baseline_draft(farm.desk, "pannier", new, public_of("mechanic"), public_of("observer"))
    farm.sign(draft, "mechanic", "observer")

    assert {} == found(farm)


# --- what the log shows and nobody entered


def test_a_roll_given_up_that_the_crew_did_not_enter(farm):
    release(farm, at(-10))
    imported(farm, NINE, attempts=1)
    # The device enters one from the log; that is no word of the crew.
    assert 1 == len(farm.desk.ledger.of("event", event="attempt"))

    assert {"attempt-not-entered"} == set(found(farm))


def test_a_roll_given_up_that_the_crew_entered(farm):
    release(farm, at(-10))
    farm.clock.now = at(-1)
    farm.add("event", {"event": "attempt", "aircraft": "pannier"})
    imported(farm, NINE, attempts=1)

    assert {} == found(farm)


def test_one_of_two_rolls_that_was_entered(farm):
    release(farm, at(-10))
    farm.clock.now = at(-1)
    farm.add("event", {"event": "attempt", "aircraft": "pannier"})
    imported(farm, NINE, attempts=2)

    assert "1 entered by the crew" in found(farm)["attempt-not-entered"].says


def test_a_roll_of_another_day_was_not_this_one(farm):
    farm.clock.now = at(-24 * 60)
    farm.add("event", {"event": "attempt", "aircraft": "pannier"})
    release(farm, at(-10))
    imported(farm, NINE, attempts=1)

    assert "attempt-not-entered" in found(farm)


HARD = {"outcomes": [outcome("landing.sink_rate", 2.4, 1.5, "m/s")]}


def test_a_hard_landing_that_the_crew_did_not_enter(farm):
    release(farm, at(-10))
    imported(farm, NINE, each=HARD)

    says = found(farm)["hard-landing-not-entered"].says
    assert "landing.sink_rate was 2.4 m/s, the aircraft's limit is <= 1.5 m/s" in says


@pytest.mark.parametrize("how", ["event", "list"])
def test_a_hard_landing_that_the_crew_entered(farm, how):
    release(farm, at(-10))
    imported(farm, NINE, each=HARD)
    farm.clock.now = at(15)
    if how == "event":
        farm.add("event", {"event": "hard-landing", "aircraft": "pannier"})
    else:
        begun = farm.add("list-begun", {
            "list": "post-flight", "checklist": "ab" * 32, "aircraft": "pannier",
            "source": "screen",
        })  # fmt: skip
        check = {"item": "landing", "result": "fail", "choice": "hard"}
        farm.add("check", check, ("pilot", "performed"), cites=[begun])

    assert {} == found(farm)


def test_too_fast_and_nobody_entered_it(farm):
    release(farm, at(-10))
    fast = outcome("flight.max_airspeed", 26.0, 24.0, "m/s")
    imported(farm, NINE, each={"outcomes": [fast]})

    assert {"overspeed-not-entered"} == set(found(farm))


# --- clocks, names, wind, hand


def test_a_flight_that_begins_after_its_log_was_taken_in(farm):
    farm.clock.now = at(-120)
    imported(farm, NINE, landed=False)

    assert "one of the clocks is wrong" in found(farm)["clocks-differ"].says


def test_a_log_that_names_another_autopilot(farm):
    release(farm, at(-10))
    imported(farm, NINE, autopilot="Drover DR-01")

    other = found(farm)["another-autopilot"]
    assert "'Drover DR-01'" in other.says
    assert "'Pannier PN-01'" in other.says


@pytest.mark.parametrize(
    ("low", "high", "differs"), [(6.0, 8.0, True), (3.0, 8.0, False), (0.0, 0.5, True)]
)
def test_wind_on_the_ground_and_in_the_air(farm, low, high, differs):
    release(farm, at(-10), cites=[weather(farm, "3.3")])
    measured = {"value": 3.3, "unit": "m/s", "low": 1.3, "high": 5.3}
    each = {
        "figures": {"wind.speed": {"value": (low + high) / 2, "low": low, "high": high}},
        "inputs": {"weather": {"wind_speed": measured}},
    }
    imported(farm, NINE, each=each)

    assert ({"wind-differs"} if differs else set()) == set(found(farm))
    assert all(one.note for one in found(farm).values())


def test_landings_by_hand_and_by_the_log(farm):
    release(farm, at(-10), landings=3)
    imported(farm, NINE)
    content = {
        "aircraft": "pannier", "number": 1, "source": "hand", "landings": 2, "attempts": 0,
        "start": f"{NINE:%Y-%m-%dT%H:%M:%SZ}", "flown": {"value": "240", "unit": "s"},
        "paired": "no release",
    }  # fmt: skip
    farm.add("sortie", content, ("pilot", "entered"))

    assert "by the log" in found(farm)["hand-differs"].says


def test_the_debrief_that_is_made_for_these_tests_is_of_the_shape_of_real_ones(farm):
    body = stored_debrief(NINE, attempts=1)

    assert {"log", "inputs", "attempts", "sorties", "findings", "schema", "tool"} == set(body)
    assert {"figures", "withheld", "outcomes", "findings", "laps", "start_s", "liftoff_s"} <= set(
        body["sorties"][0]
    )
