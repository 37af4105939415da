"""What the detectors say about real and independent logs: nothing that is not so."""

from __future__ import annotations

import pytest

from flightlog.errors import LogFileError
from tests import corpus
from tests.corpus import debriefed
from tests.screening.made import findings

pytestmark = pytest.mark.skipif(
    not corpus.ROOT, reason="FLIGHTLOG_CORPUS names no folder of real logs"
)

SUBJECT = {
    "mixed-clocks", "utc-leap-seconds", "gps-week-rollover", "gps-late", "position-jumps",
    "poor-fixes", "static-hold", "speed-unit", "height-unit", "angle-unit", "scaled-integers",
    "static-pressure-error", "baro-warming", "altitude-reference", "several-sorties",
    "attempts-first", "power-lost", "log-gap", "radio-copy",
}  # fmt: skip
"""Findings about clocks, positions, heights, units and what a log holds."""

EXPECTED = {
    # parked, flown and parked again, without a barometer
    "dataflash/electric_hand_launch_2013.bin": "altitude-reference",
    # its sensors end 57 s before its last row
    "dataflash/copter_starts_in_air.bin": "log-gap",
    "dataflash/plane_ground_only_a.bin": "",
    "dataflash/plane_ground_only_b.bin": "",
    "dataflash/runway_simulated.bin": "",
    # barometers with ground effect and speed error, fixes 0.15 s old; what is told is what the
    # noise of each log, and a slope that nobody gave, let be told
    "runway/j31.bin": "",
    "runway/j32.bin": "",
    "runway/j33.bin": "gps-late",
    "runway/j34.bin": "gps-late",
    "runway/j35.bin": "",
    "runway/j36.bin": "",
    "runway/j37.bin": "",
    "runway/j38.bin": "gps-late",
    "runway/j39.bin": "gps-late",
    "runway/j40.bin": "static-pressure-error",
    # fixes 0.08 to 0.22 s old
    "runway/r25.bin": "",
    "runway/r26.bin": "gps-late",
    "runway/r27.bin": "gps-late",
    "runway/r28.bin": "gps-late",
    "runway/r29.bin": "",
    "runway/r30.bin": "",
    # its autopilot sent the vertical speed with up positive, against the definition of the message
    "telemetry/copter_seven_flights_reboot.tlog": (
        "height-unit several-sorties radio-copy poor-fixes"
    ),
    "telemetry/electric_engine_cut_2018.tlog": "radio-copy",
    "telemetry/plane_bench_cut_mid_record.tlog": "radio-copy",
    "telemetry/runway_simulated.tlog": "radio-copy",
}


@pytest.mark.parametrize("name", EXPECTED)
def test_what_is_told_of_each_log(name):
    told = {f.code for f in findings(debriefed(name))} & SUBJECT

    assert told == set(EXPECTED[name].split())


@pytest.mark.parametrize("name", EXPECTED)
def test_nothing_is_withheld_that_the_log_carries(name):
    stops = {f.code for f in findings(debriefed(name)) if f.severity == "stop"} & SUBJECT

    assert stops == set()


@pytest.mark.parametrize("name", [n for n in EXPECTED if n.startswith("runway/")])
def test_every_simulated_roll_still_stands(name):
    (sortie,) = debriefed(name).sorties

    assert "takeoff.ground_roll" in sortie.figures


OTHERS = [
    name
    for name in corpus.files()
    if name.startswith(("ulog/", "transmitter/", "tracks/", "damaged/"))
]
LEAPING = "tracks/gpx/lake-without-elevations.gpx"
"""A track that leaps by 180 m in two seconds, and goes at 7 m/s on either side."""


@pytest.mark.parametrize("name", OTHERS)
def test_no_unit_or_clock_of_any_other_log_is_doubted(name):
    try:
        done = debriefed(name)
    except LogFileError:
        pytest.skip("not a log that can be read")
    stops = {f.code for f in findings(done) if f.severity == "stop"} & SUBJECT

    assert stops == ({"position-jumps"} if name == LEAPING else set())


def test_a_track_that_leaps_has_no_greatest_speed():
    leaps, sound = debriefed(LEAPING).sorties[::-1]

    assert "(position-jumps)" in leaps.withheld["flight.max_ground_speed"]
    assert "flight.max_ground_speed" in sound.figures


def test_the_climb_rate_of_the_copter_is_upside_down():
    """Its barometer rises by 13 m while the sum of its climb rates falls."""
    (finding,) = (
        f
        for f in findings(debriefed("telemetry/copter_seven_flights_reboot.tlog"))
        if f.code == "height-unit"
    )

    assert finding.evidence["column"] == "gps.climb_m_s"
    assert finding.evidence["ratio"] == pytest.approx(-1.0, abs=0.15)
    assert finding.severity == "degrade"


def test_what_the_barometer_of_the_copter_carries_stands():
    sorties = debriefed("telemetry/copter_seven_flights_reboot.tlog").sorties

    assert any("flight.max_height" in s.figures for s in sorties)
    assert not any("height-unit" in why for s in sorties for why in s.withheld.values())
