from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import flightlog
from flightlog.analyses.energy import energy_between
from flightlog.debriefing import debrief
from flightlog.findings import make_finding
from flightlog.joining import join
from flightlog.recording import ColumnSource, Recording, UtcRelation
from flightlog.uncertain import Uncertain
from tests.joining.made import NOON, card, cut, days_work, dressed, logger, one_flight
from tests.synthetic import Story

ONBOARD = "gps baro imu outputs"


def found(recording: Recording, code: str) -> list[str]:
    return [f.message for f in recording.findings if f.code == code]


# --- two recordings of one flight


def test_a_card_and_an_onboard_log_become_one_recording_on_the_onboard_clock():
    story = one_flight(1)
    onboard = logger(story, "a.bin", sensors=ONBOARD)
    [joined] = join([card(story, clock_s=3000.0), onboard])

    assert joined.receipt.file == "a.bin"
    assert set(joined) == {"gps", "baro", "imu", "outputs", "battery"}
    assert joined["gps"].equals(onboard["gps"])
    [partner] = joined.receipt.partners
    assert (partner.file, partner.format, partner.tables) == (
        "card.csv",
        "transmitter",
        ("battery",),
    )
    assert partner.offset_s == pytest.approx(-3000.0, abs=1.96 * partner.offset_std_s)
    assert partner.offset_s == pytest.approx(-3000.0, abs=0.1)
    assert joined.receipt.rows["battery"] == len(joined["battery"])


def test_rows_of_the_partner_are_moved_by_the_offset_and_keep_their_values():
    story = one_flight(1)
    radio = card(story, clock_s=3000.0)
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), radio])

    assert joined["battery"]["current_a"].tolist() == radio["battery"]["current_a"].tolist()
    moved = radio["battery"]["time_s"] - joined["battery"]["time_s"]
    assert np.ptp(moved) < 1e-6
    assert moved.iloc[0] == pytest.approx(3000.0, abs=0.1)


def test_energy_comes_from_the_partner_and_its_interval_knows_the_clocks():
    story = one_flight(1)
    whole = logger(story, "whole.bin", sensors=f"{ONBOARD} battery")
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), card(story, clock_s=3000.0)])
    alone, mixed = (debrief(r).sorties[0].figures["energy.used"] for r in (whole, joined))

    assert mixed.quantity.value == pytest.approx(alone.quantity.value, rel=0.02)
    effect = mixed.quantity.sources["clock of the battery"]
    # From rest to rest: what flows at the end is what flowed at the start.
    assert abs(effect) < 0.02 * mixed.quantity.value
    assert "clock of the battery" not in alone.quantity.sources


def test_the_clocks_take_power_at_the_end_minus_power_at_the_start():
    """A window from full power to rest is late by dt: it loses 45 A x 23.86 V x dt."""
    story = one_flight(1)
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), card(story, clock_s=3000.0)])
    full, rest = story.events["roll"] + 3.0, story.now - 5.0
    energy = energy_between(joined, full, rest)
    std_s = joined.receipt.partners[0].offset_std_s

    # 45.6 A at 25 V - 0.025 ohm x 45.6 A, against 0.6 A at 24.985 V at rest.
    watts = 45.6 * (25.0 - 0.025 * 45.6) - 0.6 * 24.985
    assert isinstance(energy, Uncertain)
    assert energy.sources["clock of the battery"] * 3600.0 == pytest.approx(
        -watts * std_s, rel=0.02
    )


def test_effects_of_the_clocks_on_adjoining_windows_add_up():
    story = one_flight(1)
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), card(story, clock_s=3000.0)])
    a, b, c = 122.0, 150.0, 180.0
    first, second, whole = (energy_between(joined, *window) for window in ((a, b), (b, c), (a, c)))

    assert (first + second).sources["clock of the battery"] == pytest.approx(
        whole.sources["clock of the battery"]
    )


def test_the_finding_tells_offset_uncertainty_and_what_was_taken_and_why():
    story = one_flight(1)
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), card(story, clock_s=3000.0)])
    [message] = found(joined, "partner-recording")

    for word in ("card.csv", "-3000.0", "±", "battery (a.bin has none)", "position", "speed"):
        assert word in message


def test_nothing_is_taken_that_is_as_good_on_board():
    story = one_flight(1)
    [joined] = join([logger(story, "a.bin"), card(story, clock_s=3000.0)])

    assert joined.receipt.partners[0].tables == ()
    assert "nothing, a.bin has all of it as good" in found(joined, "partner-recording")[0]


def test_current_that_was_not_measured_on_board_comes_from_the_card():
    story = one_flight(1)
    seen = logger(story, "a.bin")
    blind = dressed(
        Recording(
            {**{n: seen[n] for n in seen}, "battery": seen["battery"].assign(current_a=np.nan)},
            seen.receipt,
            findings=(make_finding("current-not-measured", "all zero"),),
        ),
        "a.bin",
        utc=seen.receipt.utc,
    )
    [joined] = join([blind, card(story, clock_s=3000.0)])

    assert joined.receipt.partners[0].tables == ("battery",)
    assert joined["battery"]["current_a"].max() > 30.0
    assert not found(joined, "current-not-measured")
    assert "a.bin measured no current" in found(joined, "partner-recording")[0]


def test_a_faster_logger_gives_its_positions_but_a_radio_does_not():
    story = one_flight(2)
    slow = logger(story, "slow.bin", gps_hz=1.0)
    fast = logger(story, "fast.gpx", sensors="gps", gps_hz=10.0, format="gpx", seed=4)
    by_radio = card(story, gps_hz=10.0)

    assert join([slow, fast])[0].receipt.partners[0].tables == ("gps",)
    assert join([slow, by_radio])[0].receipt.partners[0].tables == ()


def test_a_table_with_holes_is_taken_from_the_partner_without():
    story = one_flight(2)
    seen = logger(story, "a.bin")
    battery = seen["battery"]
    holed = Recording(
        {
            **{n: seen[n] for n in seen},
            "battery": battery[battery["time_s"] < 140.0].reset_index(drop=True),
        },
        seen.receipt,
    )
    [joined] = join([holed, card(story)])

    assert joined.receipt.partners[0].tables == ("battery",)
    assert joined["battery"]["time_s"].iloc[-1] > 170.0


def test_findings_of_the_partner_come_along_where_they_touch_what_was_taken():
    story = one_flight(1)
    radio = card(story, clock_s=3000.0)
    radio.findings = (
        make_finding("current-clipped", "stood at 40 A", start_s=3130.0),
        make_finding("whole-second-stamps", "ten rows a second"),
        make_finding("values-out-of-range", "one voltage", evidence={"battery.voltage_v": 1}),
        make_finding("values-out-of-range", "one speed", evidence={"gps.ground_speed_m_s": 1}),
    )
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), radio])
    texts = [f.message for f in joined.findings]

    assert "card.csv: stood at 40 A" in texts
    assert "card.csv: one voltage" in texts
    assert not any("one speed" in t for t in texts)
    [clipped] = [f for f in joined.findings if f.code == "current-clipped"]
    assert clipped.start_s == pytest.approx(130.0, abs=0.1)
    assert "energy.used" in clipped.affects
    # What is wrong with the card's positions is no matter: they were not taken.
    assert not any(i.startswith("takeoff") for f in joined.findings for i in f.affects)


def test_sources_of_the_columns_name_the_file_they_came_from():
    story = one_flight(1)
    radio = card(story, clock_s=3000.0)
    radio.receipt = replace(
        radio.receipt,
        columns=(
            ColumnSource("battery", "current_a", "Curr(A)", "A", "the header"),
            ColumnSource("gps", "latitude_deg", "GPS", "deg", ""),
        ),
    )
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), radio])

    assert [c.source for c in joined.receipt.columns] == ["card.csv: Curr(A)"]


def test_a_clock_that_runs_fast_is_taken_out_over_a_long_log():
    """A card whose clock gains 0.02 % is 0.36 s off at the ends of half an hour."""
    story = Story(start_s=100.0).rest(20.0).roll().climb()
    rng = np.random.default_rng(4)
    for _ in range(90):
        story.go(rng.uniform(6, 14), speed=rng.uniform(12, 19), turn_deg=rng.uniform(100, 200))
        story.go(rng.uniform(6, 14), speed=rng.uniform(12, 19), height=rng.uniform(25, 60))
    radio = card(story)
    tables = {n: radio[n].assign(time_s=radio[n]["time_s"] * 1.0002) for n in radio}
    [joined] = join(
        [
            logger(story, "a.bin", sensors="gps baro"),
            Recording(tables, replace(radio.receipt, utc=UtcRelation())),
        ]
    )
    [partner] = joined.receipt.partners

    assert partner.rate_ppm == pytest.approx(-200.0, abs=40.0)
    true_s, shown_s = radio["battery"]["time_s"], joined["battery"]["time_s"]
    assert np.abs(shown_s - true_s).max() < 0.1
    assert "ppm, which is taken out" in found(joined, "partner-recording")[0]


# --- one day


def test_every_log_of_a_day_finds_its_part_of_the_transmitters_file():
    story, spans = days_work((1, 2, 3))
    logs = [
        logger(story, f"{n}.bin", sensors=ONBOARD, window=span, clock_s=1000.0 * n)
        for n, span in enumerate(spans)
    ]
    joined = join([card(story, clock_s=5000.0), *logs])

    assert [r.receipt.file for r in joined] == ["0.bin", "1.bin", "2.bin"]
    for n, (recording, (low, high)) in enumerate(zip(joined, spans, strict=True)):
        [partner] = recording.receipt.partners
        assert partner.offset_s == pytest.approx(1000.0 * n - 5000.0, abs=0.1)
        times = recording["battery"]["time_s"] - 1000.0 * n
        assert low - 6.0 <= times.iloc[0] <= low + 1.0
        assert high - 1.0 <= times.iloc[-1] <= high + 6.0


def test_a_flight_that_only_the_transmitter_saw_is_not_lost_and_none_is_counted_twice():
    story, spans = days_work((1, 2, 3))
    logs = [
        logger(story, f"{n}.bin", sensors=ONBOARD, window=spans[n], clock_s=1000.0 * n)
        for n in (0, 2)
    ]
    joined = join([*logs, card(story, clock_s=5000.0)])
    flights = [(r.receipt.file, len(debrief(r).sorties)) for r in joined]

    assert flights == [("0.bin", 1), ("2.bin", 1), ("card.csv", 1)]
    only = debrief(joined[2]).sorties[0].sortie
    assert spans[1][0] < only.start_s - 5000.0 < only.end_s - 5000.0 < spans[1][1]
    assert len(found(joined[2], "partner-recording")) == 2


def test_a_log_that_ends_in_the_air_takes_the_rest_of_its_flight_with_it():
    story = one_flight(1)
    broken = logger(story, "a.bin", window=(story.start_s, 160.0))
    joined = join([broken, card(story)])

    # The landing that only the card saw is of the same flight, and no flight of its own.
    assert [r.receipt.file for r in joined] == ["a.bin"]


# --- copies


def test_the_same_content_twice_is_one():
    one = logger(one_flight(1), "a.bin")
    again = Recording({n: one[n] for n in one}, one.receipt)
    [kept] = join([one, again])

    assert found(kept, "same-recording") == [
        "a.bin was given as well: the same content, byte by byte"
    ]
    assert not kept.receipt.partners


def test_a_longer_copy_of_a_growing_file_stands_for_the_shorter():
    whole = logger(one_flight(1), "whole.bin")
    early = cut(whole, 0.0, 150.0, "early.bin")

    for order in ([early, whole], [whole, early]):
        [kept] = join(order)
        assert kept.receipt.file == "whole.bin"
        assert "early.bin" in found(kept, "longer-copy")[0]
        assert not kept.receipt.partners


@pytest.mark.parametrize("order", [list, lambda logs: logs[::-1]], ids=["as named", "reversed"])
def test_the_same_rows_in_another_form_are_one_and_the_exact_form_stands(order):
    one = logger(one_flight(1), "a.bin")
    text = dressed(one, "a.log", format="dataflash-text", utc=one.receipt.utc)
    # The text is the larger file of the two, and holds fewer digits.
    size = 10 * one.receipt.size
    text = Recording({n: text[n] for n in text}, replace(text.receipt, size=size))
    [kept] = join(order([one, text]))

    assert kept.receipt.file == "a.bin"
    assert "a.log was given as well: the same rows, as dataflash-text" in found(
        kept, "same-recording"
    )


def test_another_form_that_holds_more_is_joined_at_offset_zero():
    one = logger(one_flight(1), "a.bin")
    fuller = dressed(one, "a.log", format="dataflash-text", utc=one.receipt.utc)
    lacking = dressed(one, "a.bin", utc=one.receipt.utc, without=("battery",))
    extra = dressed(fuller, "a.log", format="dataflash-text", without=("imu", "outputs"))
    [joined] = join([lacking, extra])

    [partner] = joined.receipt.partners
    assert partner.tables == ("battery",)
    assert abs(partner.offset_s) < 1e-3
    # One clock: no part of it is later than another.
    assert partner.offset_std_s < 0.02


# --- strangers


def test_flights_that_only_share_the_place_stay_apart_even_without_clocks():
    logs = [logger(one_flight(n), f"{n}.bin", utc=UtcRelation()) for n in range(4)]

    assert [r.receipt.file for r in join(logs)] == ["0.bin", "1.bin", "2.bin", "3.bin"]
    assert not any(r.receipt.partners for r in join(logs))


def test_clocks_of_another_day_keep_apart_what_looks_alike():
    story = one_flight(1)
    later = UtcRelation(NOON + 5 * 86400.0, 0.2, "fixes")
    joined = join([logger(story, "a.bin"), logger(story, "b.bin", utc=later, seed=3)])

    assert [len(r.receipt.partners) for r in joined] == [0, 0]


def test_without_positions_the_clocks_must_agree():
    """Aircraft with one autopilot take off alike: speed and height are no proof by themselves."""
    story = one_flight(1)
    bare = ("latitude_deg", "longitude_deg")
    known = logger(story, "a.bin", columns_without=bare)
    unknown = logger(story, "b.bin", columns_without=bare, utc=UtcRelation(), seed=3)
    same_day = logger(story, "c.bin", columns_without=bare, seed=3)

    assert len(join([known, unknown])) == 2
    assert len(join([known, same_day])) == 1


def test_a_transmitter_whose_clock_was_never_set_is_found_by_its_track():
    story = one_flight(1)
    radio = card(story, clock_s=3000.0)
    lost = dressed(
        radio,
        "card.csv",
        format="transmitter",
        utc=UtcRelation(946_684_800.0, 60.0, "the device's own clock", zone_known=False),
    )
    [joined] = join([logger(story, "a.bin", sensors=ONBOARD), lost])

    assert joined.receipt.partners[0].offset_s == pytest.approx(-3000.0, abs=0.1)


def test_an_overlap_that_nothing_shows_to_be_one_flight_is_said_and_not_joined():
    story = one_flight(1)
    meter = logger(story, "meter.csv", sensors="battery", format="delimited")
    kept = join([logger(story, "a.bin", sensors=ONBOARD), meter])

    assert [r.receipt.file for r in kept] == ["a.bin", "meter.csv"]
    [message] = found(kept[0], "partner-unaligned")
    assert "meter.csv was not joined" in message


def test_laps_that_repeat_exactly_are_not_joined_at_a_lap_of_chance():
    story = Story(start_s=100.0).go(1.0, speed=15.0, height=40.0)
    for _ in range(10):
        story.go(10.0, speed=18.0, turn_deg=180.0).go(10.0, speed=15.0, turn_deg=180.0)
    quiet = {"speed_noise": 0.0, "sensors": "gps", "utc": UtcRelation()}
    whole = logger(story, "a.bin", **quiet)
    part = logger(story, "b.bin", window=(160.0, 230.0), seed=3, **quiet)
    kept = join([whole, part])

    assert len(kept) == 2
    assert "fit alike" in found(kept[0], "partner-unaligned")[0]


# --- odd input


def test_nothing_in_nothing_out():
    assert join([]) == []


def test_a_recording_alone_is_given_back_as_it_is():
    one = logger(one_flight(1), "a.bin")

    assert join([one]) == [one]


def test_recordings_without_sensors_are_left_alone():
    empty = dressed(Recording({}, logger(one_flight(1), "x").receipt), "empty.bin")
    other = dressed(empty, "other.bin")

    assert [r.receipt.file for r in join([empty, other])] == ["empty.bin", "other.bin"]


def test_join_is_offered_at_the_top():
    assert flightlog.join is join
