"""Every real log: a recording with the right findings, or the right error.

Expected results are written out by hand from what the README beside the logs says of each. The
lists of findings are complete: one more or one less fails. Numbers of the flights themselves
are judged elsewhere (`tests/accuracy`).
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

import flightlog
from flightlog.errors import LogFileError
from tests import corpus
from tests.corpus import debriefed

pytestmark = pytest.mark.skipif(
    not corpus.ROOT, reason="FLIGHTLOG_CORPUS names no folder of real logs"
)


@dataclass(frozen=True, slots=True)
class Log:
    """What a log must give.

    Attributes
    ----------
    format : str
        Importer that reads it.
    sorties : str
        Launch, start and end of each, as "runway rest air", separated by commas; "" for none.
    findings : str
        All codes, of reading and of the debrief, with what makes each right in the comment.
    tables : str
        Tables that must be there, at the least; a name with "-" before it must not.
    """

    format: str
    sorties: str = ""
    findings: str = ""
    tables: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """An error: what it must say was found, and what must be advised."""

    found: str
    fix: str = ""


UNKNOWN = "no known log format"
TABLE_HINT = "'flightlog explain FILE' shows its columns"
SIMULATED_FIRMWARE = "gps baro airspeed imu attitude battery outputs inputs rotation"

EXPECTED: dict[str, Log | Refused] = {
    # Not logs.
    "README.md": Refused(UNKNOWN),
    **{
        f"{stem}.truth.json": Refused(UNKNOWN)
        for stem in (
            *(f"runway/j{n}" for n in range(31, 41)),
            *(f"runway/r{n}" for n in range(25, 31)),
            "dataflash/runway_simulated",
            "telemetry/runway_simulated",
        )
    },
    # Tables of a thrust stand: a step table is no flight, and nothing may take it for one.
    "bench/thrust_steps_21.csv": Refused(UNKNOWN, TABLE_HINT),
    "bench/thrust_steps_101.csv": Refused(UNKNOWN, TABLE_HINT),
    "bench/thrust_steps_aborted.csv": Refused(UNKNOWN, TABLE_HINT),
    # Only voltage was monitored, so the current is 0 throughout, and the last voltage is 0; no
    # barometer, so heights are the receiver's; a hand launch.
    "dataflash/electric_hand_launch_2013.bin": Log(
        "dataflash",
        "hand rest standstill",
        "current-not-measured values-missing hand-launch altitude-reference hard-landing",
        "gps imu airspeed attitude battery -baro",
    ),
    # The same values as text. It comes down with 5 g and 2 m/s, which it has no gear for.
    "dataflash/electric_hand_launch_2013.log": Log(
        "dataflash-text",
        "hand rest standstill",
        "current-not-measured values-missing hand-launch altitude-reference hard-landing",
        "gps imu airspeed attitude battery -baro",
    ),
    # Multicopter; starts in the air; a hole of 57 s before the last row. Its current has no rest
    # to be zeroed at, the IMU is slow (25 Hz), and it learns a hover throttle in flight.
    "dataflash/copter_starts_in_air.bin": Log(
        "dataflash",
        "air air standstill",
        "starts-in-air log-gap current-zero-unknown baro-drift vibration-folds settings-changed",
        "gps baro imu battery outputs",
    ),
    # Never flew; no battery, baro, IMU or outputs.
    "dataflash/plane_ground_only_a.bin": Log(
        "dataflash", "", "no-flight", "gps attitude -battery -baro -imu -outputs"
    ),
    "dataflash/plane_ground_only_b.bin": Log(
        "dataflash",
        "",
        "no-flight truncated values-missing",
        "gps attitude -battery -baro -imu -outputs",
    ),
    # A whole simulated flight, all sensors.
    "dataflash/runway_simulated.bin": Log(
        "dataflash",
        "runway rest standstill",
        "values-missing skipped",
        SIMULATED_FIRMWARE,
    ),
    # Ten simulated aeroplanes; no landing in the log, position 150 ms late, a barometer with
    # ground effect and speed error.
    **{
        f"runway/{name}.bin": Log(
            "dataflash",
            "runway rest air",
            f"ends-in-air {more}",
            "gps baro airspeed imu attitude battery outputs",
        )
        for name, more in {
            "j31": "",
            "j32": "liftoff-uncertain",
            "j33": "gps-late",
            "j34": "gps-late",
            "j35": "",
            "j36": "",
            "j37": "",
            "j38": "gps-late",
            "j39": "gps-late",
            "j40": "static-pressure-error",
        }.items()
    },
    # Six by the autopilot's firmware in simulation: wheels that skip, logs that end in flight.
    **{
        f"runway/{name}.bin": Log(
            "dataflash",
            "runway rest air",
            f"ends-in-air values-missing {more}",
            SIMULATED_FIRMWARE,
        )
        for name, more in {
            "r25": "skipped",
            "r26": "skipped gps-late",
            "r27": "gps-late",
            "r28": "gps-late",
            "r29": "skipped",
            "r30": "",
        }.items()
    },
    # A fifth of the fixes is missing; what the autopilot estimated stands beside what it measured.
    "telemetry/runway_simulated.tlog": Log(
        "mavlink-telemetry",
        "runway rest standstill",
        "radio-copy missing-fixes estimated-quantity values-missing no-inertial-takeoff "
        "liftoff-uncertain",
        "gps baro airspeed attitude battery",
    ),
    # Starts in the air; current is the -1 sentinel; frames of ids that no definition knows fail
    # the checksum.
    "telemetry/electric_engine_cut_2018.tlog": Log(
        "mavlink-telemetry",
        "air air air",
        "starts-in-air ends-in-air current-not-measured values-missing damaged-bytes "
        "several-systems estimated-quantity radio-copy",
        "gps baro airspeed",
    ),
    # Seven arm cycles, of which five left the ground; a reboot; two systems and a radio; damage.
    # The vertical speed of that firmware has the other sign.
    "telemetry/copter_seven_flights_reboot.tlog": Log(
        "mavlink-telemetry",
        ", ".join(["unknown rest standstill"] * 5),
        "clock-restart several-systems damaged-bytes truncated vertical-launch several-sorties "
        "height-unit estimated-quantity missing-fixes radio-copy values-missing baro-drift "
        "poor-fixes",
        "gps baro imu attitude battery",
    ),
    "telemetry/plane_bench_cut_mid_record.tlog": Log(
        "mavlink-telemetry",
        "",
        "truncated no-flight no-position current-not-measured values-missing several-systems "
        "radio-copy",
        "baro imu attitude",
    ),
    # Four dropouts; neither position nor barometer.
    "ulog/sample.ulg": Log(
        "ulog", "", "log-gap no-flight no-position settings-changed", "imu attitude outputs -gps"
    ),
    # Three appended sections: a crash report of the autopilot.
    "ulog/sample_appended_multiple.ulg": Log(
        "ulog", "", "autopilot-fault no-flight no-position", "imu baro attitude -gps"
    ),
    # A real one on the ground: negative airspeed, a stated duration far beyond the data.
    "ulog/sample_log_small.ulg": Log(
        "ulog",
        "",
        "clock-unbelievable log-gap no-flight airspeed-unusable",
        "gps baro imu airspeed battery outputs",
    ),
    "ulog/sample_logging_tagged_and_default_params.ulg": Log(
        "ulog", "", "no-flight values-missing current-not-measured", "gps baro imu battery"
    ),
    "ulog/sample_px4_events.ulg": Log(
        "ulog", "", "no-flight values-missing current-not-measured", "gps baro imu battery"
    ),
    "damaged/early_format.ulg": Log(
        "ulog",
        "unknown rest air",
        "truncated vertical-launch ends-in-air current-not-measured",
        "gps baro imu battery",
    ),
    "damaged/unordered_time.ulg": Log(
        "ulog",
        "",
        "clock-backwards log-gap no-flight no-position settings-changed",
        "imu attitude -gps",
    ),
    # Four sessions, several packs; the barometer's or the receiver's height is not told.
    "transmitter/four_sessions_2021-08-29.csv": Log(
        "transmitter",
        "runway rest log, runway rest standstill, unknown rest log, runway rest log",
        "local-time repeated-fixes altitude-reference several-sorties radio-copy log-gap "
        "battery-gap lap-gap position-jumps poor-fixes vertical-launch",
        "gps battery attitude inputs link modes",
    ),
    # Tracks: no take-off can be measured from any.
    "tracks/pynmea2_data.log": Log("nmea", "", "damaged-lines no-flight", "gps"),
    "damaged/bad_line.igc": Log("igc", "", "damaged-lines altitude-reference no-flight", "gps"),
    "tracks/igc/bad-line.igc": Log("igc", "", "damaged-lines altitude-reference no-flight", "gps"),
    "tracks/igc/example.igc": Log(
        "igc", "", "repeated-fixes clock-backwards no-flight", "gps baro"
    ),
    # Launches from a hill: they land lower than they started, which is no drift.
    "tracks/igc/glide-2019.igc": Log(
        "igc", "unknown rest standstill", "vertical-launch baro-drift", "gps baro"
    ),
    "tracks/igc/soaring-2023.igc": Log(
        "igc", "runway rest standstill", "baro-drift gate-edge", "gps baro"
    ),
    "tracks/igc/glide-2020.igc": Log("igc", "runway rest standstill", "baro-drift", "gps baro"),
    # Pressure altitude 0 throughout: no barometer.
    "tracks/igc/without-barometer-2022.igc": Log(
        "igc", "runway rest standstill", "values-missing altitude-reference", "gps -baro"
    ),
    "tracks/igc/without-barometer-2023.igc": Log(
        "igc",
        "air air air",
        "values-missing altitude-reference starts-in-air ends-in-air",
        "gps -baro",
    ),
    "tracks/gpx/track-with-extremes.gpx": Refused("not one of its track points (25) has a time"),
    "tracks/gpx/track_with_dilution_errors.gpx": Refused(
        "not one of its track points (1) has a time"
    ),
    "tracks/gpx/unicode_with_bom.gpx": Refused("no track point in it, but 1 waypoint"),
    "tracks/gpx/waypoint-with-extension.gpx": Refused("no track point in it, but 1 waypoint"),
    "tracks/gpx/gpx1.1_with_extensions_without_namespaces.gpx": Refused(
        "no track point in it, but 1 waypoint"
    ),
    "tracks/gpx/track-with-empty-segment.gpx": Log("gpx", "", "log-gap no-flight", "gps"),
    "tracks/gpx/track-with-less-sec-time.gpx": Log("gpx", "", "no-flight", "gps"),
    "tracks/gpx/track_with_speed.gpx": Log("gpx", "", "no-flight", "gps"),
    "tracks/gpx/lake-without-times.gpx": Log("gpx", "", "no-clock no-flight", "gps"),
    # Travel on the ground, in parts with long pauses; nothing but position tells that.
    "tracks/gpx/lake-without-elevations.gpx": Log(
        "gpx",
        "unknown rolling log, air air air",
        "log-gap several-sorties starts-rolling starts-in-air ends-in-air position-jumps",
        "gps",
    ),
}

NO_TAKEOFF = [
    name
    for name, log in EXPECTED.items()
    if isinstance(log, Log) and not name.startswith("runway/") and "runway_simulated" not in name
]
"""Nothing else here holds a take-off from a runway that can be measured."""


def test_every_file_of_the_folder_is_expected():
    assert sorted(EXPECTED) == sorted(corpus.files())


LOGS = [name for name, log in EXPECTED.items() if isinstance(log, Log)]
REFUSED = [name for name, log in EXPECTED.items() if isinstance(log, Refused)]


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_flight_log_is_refused_and_says_what_to_do(name):
    with pytest.raises(LogFileError) as caught:
        flightlog.read(corpus.log(name))

    want = EXPECTED[name]
    assert isinstance(want, Refused)
    assert want.found in caught.value.found
    assert want.fix in caught.value.fix
    assert caught.value.fix
    assert caught.value.where == corpus.log(name).name


@pytest.mark.parametrize("name", LOGS)
def test_the_log_is_read_with_its_findings_and_flights(name):
    want, got = EXPECTED[name], debriefed(name)
    assert isinstance(want, Log)

    assert want.format == got.receipt.format
    flights = [f"{s.sortie.launch} {s.sortie.starts} {s.sortie.ends}" for s in got.sorties]
    assert want.sorties == ", ".join(flights)
    found = {f.code for f in got.findings} | {f.code for s in got.sorties for f in s.findings}
    # What a log is too slow to show is said of nearly every one, and has tests of its own.
    assert set(want.findings.split()) == found - {"not-excluded"}


@pytest.mark.parametrize("name", LOGS)
def test_the_sensors_that_were_on_board_have_tables_and_no_others(name):
    want, rows = EXPECTED[name], debriefed(name).receipt.rows
    assert isinstance(want, Log)

    for table in want.tables.split():
        assert (table.removeprefix("-") in rows) is not table.startswith("-"), table


@pytest.mark.parametrize("name", NO_TAKEOFF)
def test_no_take_off_is_claimed_where_there_is_none_to_measure(name):
    for sortie in debriefed(name).sorties:
        assert "takeoff.ground_roll" in sortie.withheld, sortie.sortie.number


@pytest.mark.parametrize("name", LOGS)
def test_the_receipt_says_which_clock_it_is_and_how_it_leads_to_utc(name):
    receipt = debriefed(name).receipt

    assert receipt.clock
    assert receipt.utc.source
    assert (receipt.utc.offset_s is None) == (receipt.utc.std_s is None)
