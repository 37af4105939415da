"""Real tracks: what each file must give, written out by hand, and other decoders' values."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from flightlog.errors import LogFileError
from flightlog.importers import detect, gpx, igc, nmea, read, read_head
from flightlog.importers.registry import HEAD_BYTES, Match
from flightlog.recording import Recording
from tests import corpus

SAMPLES = Path(__file__).parents[2] / "sample_flights"
needs_corpus = pytest.mark.skipif(
    not corpus.ROOT, reason="FLIGHTLOG_CORPUS names no folder of logs"
)

# File -> rows of gps, rows of baro, findings.
READ: dict[str, tuple[int, int, set[str]]] = {
    # 296 points in eight tracks, one of them without a time.
    "gpx/lake-without-elevations.gpx": (295, 0, set()),
    # The same with times for the last five only.
    "gpx/lake-without-times.gpx": (5, 0, {"no-clock"}),
    "gpx/track-with-empty-segment.gpx": (9, 0, set()),
    "gpx/track-with-less-sec-time.gpx": (2, 0, set()),
    "gpx/track_with_speed.gpx": (3, 0, set()),
    # Nine fixes, and letters in the additions of one. Altitudes above the ellipsoid.
    "igc/bad-line.igc": (8, 8, {"damaged-lines", "altitude-reference"}),
    # Ten fixes: the last one twice, and both earlier than the one before.
    "igc/example.igc": (8, 8, {"repeated-fixes", "clock-backwards"}),
    "igc/glide-2019.igc": (533, 533, set()),
    "igc/soaring-2023.igc": (2008, 2008, set()),
    "igc/glide-2020.igc": (583, 583, set()),
    # Pressure altitude 0 throughout: a telephone without a barometer.
    "igc/without-barometer-2022.igc": (294, 0, {"values-missing"}),
    "igc/without-barometer-2023.igc": (979, 0, {"values-missing"}),
    # One fix, three other sentences, and a word.
    "pynmea2_data.log": (1, 0, {"damaged-lines"}),
}

REFUSED = {
    "gpx/gpx1.1_with_extensions_without_namespaces.gpx": "no track point in it, but 1 waypoint",
    "gpx/waypoint-with-extension.gpx": "no track point in it, but 1 waypoint",
    "gpx/track-with-extremes.gpx": r"not one of its track points \(25\) has a time",
    "gpx/track_with_dilution_errors.gpx": r"not one of its track points \(1\) has a time",
    "gpx/unicode_with_bom.gpx": "no track point in it, but 1 waypoint",
}


@cache
def recording(name: str) -> Recording:
    return read(corpus.log(f"tracks/{name}"))


@needs_corpus
def test_every_track_has_its_expectation():
    files = {n.removeprefix("tracks/") for n in corpus.files() if n.startswith("tracks/")}

    assert files == {*READ, *REFUSED}


@needs_corpus
@pytest.mark.parametrize(("name", "expected"), READ.items(), ids=list(READ))
def test_rows_and_findings(name, expected):
    log = recording(name)
    rows, baro, findings = expected

    assert log.receipt.rows == {"gps": rows} | ({"baro": baro} if baro else {})
    assert {f.code for f in log.findings} == findings
    assert log["gps"]["latitude_deg"].notna().all()


@needs_corpus
@pytest.mark.parametrize(("name", "message"), REFUSED.items(), ids=list(REFUSED))
def test_what_is_no_track_is_refused(name, message):
    with pytest.raises(LogFileError, match=message):
        read(corpus.log(f"tracks/{name}"))


@needs_corpus
def test_the_damaged_line():
    log = read(corpus.log("damaged/bad_line.igc"))

    assert log.receipt.rows == {"gps": 8, "baro": 8}
    assert log.receipt.dropped == {"damaged fixes": 1}
    assert {f.code for f in log.findings} == {"damaged-lines", "altitude-reference"}
    # 3 h 14 min lie between its two parts.
    assert len(log.receipt.seams) == 1


# --- other decoders

B_RECORD = re.compile(
    r"^B(\d\d)(\d\d)(\d\d)(\d\d)(\d{5})([NS])(\d{3})(\d{5})([EW])A([-\d]\d{4})([-\d]\d{4})(.*?)\r?$",
    re.MULTILINE,
)
DATES = {
    "igc/bad-line.igc": (2022, 8, 5),
    "igc/example.igc": (2001, 7, 16),
    "igc/glide-2019.igc": (2019, 4, 15),
    "igc/soaring-2023.igc": (2023, 4, 15),
    "igc/glide-2020.igc": (2020, 9, 4),
    "igc/without-barometer-2022.igc": (2022, 4, 7),
    "igc/without-barometer-2023.igc": (2023, 4, 28),
}
FINER = ("igc/glide-2020.igc", "igc/without-barometer-2022.igc", "igc/without-barometer-2023.igc")
"""In these the first two digits behind a record are further ones of the position."""


@needs_corpus
@pytest.mark.parametrize("name", DATES)
def test_igc_fixes_are_those_of_a_second_decoder(name):
    text = corpus.log(f"tracks/{name}").read_text(encoding="utf-8")
    midnight = datetime(*DATES[name], tzinfo=UTC).timestamp()
    wanted = []
    for h, m, s, lat, lat_m, ns, lon, lon_m, ew, baro, gps, rest in B_RECORD.findall(text):
        if re.search("[A-Za-z]", rest):
            continue
        fine = rest[:2] if name in FINER else "00"
        north = int(lat) + (int(lat_m) + int(fine[0]) / 10) / 60_000
        east = int(lon) + (int(lon_m) + int(fine[1]) / 10) / 60_000
        wanted.append(
            (
                midnight + int(h) * 3600 + int(m) * 60 + int(s),
                -north if ns == "S" else north,
                -east if ew == "W" else east,
                int(gps),
                int(baro),
            )
        )
    if name == "igc/example.igc":
        wanted = wanted[:8]
    gps = recording(name)["gps"]
    columns = ["time_utc", "latitude_deg", "longitude_deg", "altitude_msl_m"]

    assert gps[columns].to_numpy() == pytest.approx(np.array(wanted)[:, :4], abs=1e-9)
    if "baro" in recording(name):
        assert recording(name)["baro"]["height_m"].tolist() == [row[4] for row in wanted]
    else:
        assert {row[4] for row in wanted} == {0}


@needs_corpus
def test_speed_of_the_igc_additions_fits_the_way_flown():
    gps = recording("igc/bad-line.igc")["gps"].iloc[-4:]
    # Degrees to metres on a sphere of 40,008 km; the fixes are 1 s apart but for the lost one.
    north = np.diff(gps["latitude_deg"]) * 111_133
    east = np.diff(gps["longitude_deg"]) * 111_133 * np.cos(np.radians(47.8))
    speed = np.hypot(north, east) / np.diff(gps["time_s"])

    # Positions have steps of 1.9 m.
    assert gps["ground_speed_m_s"].to_numpy()[1:] == pytest.approx(speed, abs=2.5)
    assert speed.min() > 40


@needs_corpus
@pytest.mark.parametrize("name", [n for n in READ if n.endswith(".gpx")])
def test_gpx_points_are_those_of_the_library_s_own_reading(name):
    import gpxpy

    document = gpxpy.parse(corpus.log(f"tracks/{name}").read_text(encoding="utf-8-sig"))
    points = [p for t in document.tracks for s in t.segments for p in s.points if p.time]
    gps = recording(name)["gps"]

    assert gps["time_utc"].to_numpy() == pytest.approx(
        [p.time.timestamp() for p in points], abs=1e-6
    )
    assert gps["latitude_deg"].tolist() == [p.latitude for p in points]
    assert gps["longitude_deg"].tolist() == [p.longitude for p in points]
    heights = [np.nan if p.elevation is None else p.elevation for p in points]
    assert gps["altitude_msl_m"].to_numpy() == pytest.approx(heights, nan_ok=True)
    speeds = [np.nan if p.speed is None else p.speed for p in points]
    assert gps["ground_speed_m_s"].to_numpy() == pytest.approx(speeds, nan_ok=True)


@needs_corpus
def test_a_time_in_a_zone_of_its_own():
    log = recording("gpx/track-with-less-sec-time.gpx")

    # 15:43:13.000+01:00 on 11 December 2015.
    assert log["gps"]["time_utc"][0] == datetime(2015, 12, 11, 14, 43, 13, tzinfo=UTC).timestamp()
    assert log["gps"]["time_s"].tolist() == pytest.approx([0.0, 0.994], abs=1e-6)


@needs_corpus
def test_speeds_of_a_gpx_file():
    speeds = recording("gpx/track_with_speed.gpx")["gps"]["ground_speed_m_s"]

    assert speeds.tolist() == [1.2, 2.2, 3.2]


@needs_corpus
def test_the_nmea_sentence_is_that_of_the_line():
    line = corpus.log("tracks/pynmea2_data.log").read_text(encoding="ascii").splitlines()[0]
    lat, ns, lon, ew = line.split(",")[2:6]
    row = recording("pynmea2_data.log")["gps"].iloc[0]

    assert row["latitude_deg"] == pytest.approx(
        (int(lat[:2]) + float(lat[2:]) / 60) * (-1 if ns == "S" else 1), abs=1e-12
    )
    assert row["longitude_deg"] == pytest.approx(
        (int(lon[:3]) + float(lon[3:]) / 60) * (-1 if ew == "W" else 1), abs=1e-12
    )
    assert (row["altitude_msl_m"], row["satellites"], row["hdop"]) == (100.0, 4.0, 2.6)


# --- through the debrief


@needs_corpus
@pytest.mark.parametrize("name", READ)
def test_a_track_alone_claims_no_roll(name):
    debrief = corpus.debriefed(f"tracks/{name}")

    for sortie in debrief.sorties:
        assert not [id_ for id_ in sortie.figures if id_.startswith("takeoff.")]
        assert "takeoff.ground_roll" in sortie.withheld


@needs_corpus
@pytest.mark.parametrize("name", ["glide-2019", "soaring-2023", "glide-2020"])
def test_a_glide_from_a_hill_is_one_flight_and_its_way_down_no_drift(name):
    log = recording(f"igc/{name}.igc")
    (sortie,) = corpus.debriefed(f"tracks/igc/{name}.igc").sorties
    height = log["baro"]["height_m"].to_numpy()
    above_start = float(height.max() - height[0])

    assert sortie.sortie.ends == "standstill"
    found = sortie.figures["flight.max_height"].quantity
    # It is the greatest height from lift-off on, which may lie under the place of the launch.
    assert found.value <= above_start + 3 * found.std
    assert [f.code for f in sortie.findings if "other ground" in f.message] == ["baro-drift"]


@needs_corpus
def test_a_part_of_a_flight_is_not_taken_for_a_roll():
    debrief = corpus.debriefed("tracks/igc/bad-line.igc")

    assert debrief.sorties == ()
    assert debrief.attempts == ()


# --- whose file is it


def heads() -> list[Path]:
    samples = (p for p in SAMPLES.rglob("*") if p.is_file() and p.suffix != ".py")
    return sorted([*samples, *corpus.files().values()])


@pytest.mark.parametrize("path", heads(), ids=lambda p: f"{p.parent.name}/{p.name}")
def test_each_importer_claims_its_own_files_and_no_others(path):
    content = path.read_bytes()[:HEAD_BYTES]
    claims = {m.FORMAT: m.sniff(content) for m in (gpx, nmea, igc)}
    own = {".gpx": "gpx", ".igc": "igc"}.get(path.suffix)

    if path.name == "pynmea2_data.log":
        assert claims == {"gpx": Match.NO, "igc": Match.NO, "nmea": Match.MAYBE}
        assert detect(read_head(path)).format == "nmea"
    else:
        assert {name for name, match in claims.items() if match} == ({own} if own else set())
    if own:
        assert claims[own] is Match.YES


@pytest.mark.parametrize(
    ("own", "head"),
    [
        (gpx, b"<gpx><trk><trkseg><trkpt lat='1' lon='2'/>"),
        (nmea, b"$GPGGA,1*00\n$GPRMC,1*00\n$GPGGA,2*00\n"),
        (igc, b"AXYZ001\nHFDTE020327\nB0914051203000N09806000WA0020400210\n"),
    ],
)
def test_the_beginning_of_a_track_is_claimed_by_one(own, head):
    assert [m for m in (gpx, nmea, igc) if m.sniff(head)] == [own]
    assert detect(head).format == own.FORMAT
