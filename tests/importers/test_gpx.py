"""GPX: documents written by hand, their damage, and files that mean harm."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import LogFileError
from flightlog.importers.gpx import load, sniff
from flightlog.importers.registry import Match
from tests.importers.log_checks import DAY_S, codes, damaged, fixes, keeps_promises, read_text

MORNING_S = DAY_S + 9 * 3600 + 14 * 60
"""2027-03-02T09:14:00Z"""


def point(second: float, rest: str = "", lat: str = "12.5", lon: str = "98.25") -> str:
    moment = f"2027-03-02T09:{14 + int(second // 60):02d}:{second % 60:06.3f}Z"
    return f'<trkpt lat="{lat}" lon="{lon}"><time>{moment}</time>{rest}</trkpt>'


def gpx(*segments: str, version: str = "1.1", head: str = "") -> str:
    parts = "".join(f"<trkseg>{segment}</trkseg>" for segment in segments)
    digits = version.replace(".", "/")
    space = f'xmlns="http://example.org/GPX/{digits}"'
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<gpx version="{version}" creator="us" '
        f"{space}>\n<trk><name>out</name>{parts}</trk>\n</gpx>\n"
    )


TWO = gpx(
    point(5.25, "<ele>210.5</ele><sat>9</sat><hdop>0.8</hdop><fix>3d</fix>")
    + point(6.5, "<ele>211</ele><sat>10</sat><hdop>0.7</hdop><fix>dgps</fix>", lat="-12.500125")
)


def test_the_fields_of_a_point_and_its_time_with_a_fraction():
    recording = read_text(load, TWO)
    gps = recording["gps"]

    assert gps["time_s"].tolist() == pytest.approx([0.0, 1.25], abs=1e-6)
    assert gps["latitude_deg"].tolist() == [12.5, -12.500125]
    assert gps["longitude_deg"].tolist() == [98.25, 98.25]
    assert gps["altitude_msl_m"].tolist() == [210.5, 211.0]
    assert gps["satellites"].tolist() == [9.0, 10.0]
    assert gps["hdop"].tolist() == [0.8, 0.7]
    assert gps["fix"].tolist() == [3.0, 4.0]
    assert gps["time_utc"].tolist() == [MORNING_S + 5.25, MORNING_S + 6.5]
    assert gps["ground_speed_m_s"].isna().all(), "nobody measured a speed"
    assert recording.receipt.utc.unix_offset_s == pytest.approx(MORNING_S + 5.25, abs=1e-6)
    assert recording.receipt.utc.std_s == pytest.approx(0.2)
    assert recording.receipt.message_counts == {"trk": 1, "trkseg": 1, "trkpt": 2}
    assert codes(recording) == []


def test_speed_and_course_of_version_1_0_and_where_each_column_came_from():
    recording = read_text(
        load,
        gpx(
            point(0, "<course>84.5</course><speed>11.25</speed>") + point(1, "<speed>12</speed>"),
            version="1.0",
        ),
    )

    assert recording["gps"]["ground_speed_m_s"].tolist() == [11.25, 12.0]
    assert recording["gps"]["course_deg"].tolist()[0] == 84.5
    assert np.isnan(recording["gps"]["course_deg"][1])
    told = {s.column: (s.source, s.unit, s.why) for s in recording.receipt.columns}
    assert told["ground_speed_m_s"] == ("trkpt/speed", "m/s", "the format")
    assert "altitude_msl_m" not in told


def test_speed_of_an_extension_is_taken_and_its_unit_told_as_not_stated():
    inside = (
        "<extensions><x:more><x:speed>7.5</x:speed><x:course>181</x:course>"
        "<x:time>2020-01-01T00:00:00Z</x:time></x:more></extensions>"
    )
    recording = read_text(load, gpx(point(0, inside) + point(1, inside, lat="12.6")))

    assert recording["gps"]["ground_speed_m_s"].tolist() == [7.5, 7.5]
    assert recording["gps"]["course_deg"].tolist() == [181.0, 181.0]
    assert recording["gps"]["time_utc"][0] == MORNING_S, "not the time of the extension"
    why = {s.column: s.why for s in recording.receipt.columns}
    assert "not stated" in why["ground_speed_m_s"]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("2027-03-02T09:14:00Z", 0.0),
        ("2027-03-02T10:14:00.5+01:00", 0.5),
        ("2027-03-02T04:44:00-0430", 0.0),
        ("2027-03-02 09:14:00.123456789Z", 0.123456),
        (" 2027-03-02T09:14:00Z\n", 0.0),
        ("2027-3-2T9:14:00Z", 0.0),
        ("2027-03-02T09:14:00", 0.0),  # no zone: UTC by the format
    ],
)
def test_times_in_every_form_of_iso_8601(text, seconds):
    made = f'<trkpt lat="1" lon="2"><time>{text}</time></trkpt>'
    recording = read_text(load, gpx(made))

    assert recording["gps"]["time_utc"][0] == pytest.approx(MORNING_S + seconds, abs=1e-6)
    zoneless = any("no zone" in note for note in recording.receipt.notes)
    assert zoneless == (text == "2027-03-02T09:14:00")


@pytest.mark.parametrize("text", ["2027-03-02T09:14:01X99", "2027-03-02", "20270302"])
def test_a_time_that_is_none_leaves_the_point_out_and_says_so(text):
    bad = point(1).replace("2027-03-02T09:14:01.000Z", text)
    recording = read_text(load, gpx(point(0) + bad + point(2)))

    assert len(recording["gps"]) == 2
    assert recording.receipt.dropped["time that can't be read"] == 1
    assert recording.receipt.dropped["track points without a time"] == 1
    assert codes(recording) == ["unreadable-cells"]


def test_points_of_all_segments_stand_in_order_and_a_pause_is_a_seam():
    recording = read_text(load, gpx(point(0) + point(1), "", point(90, lat="13")))

    assert recording["gps"]["time_s"].tolist() == pytest.approx([0.0, 1.0, 90.0])
    assert recording.receipt.seams == pytest.approx((90.0,))
    assert recording.receipt.message_counts["trkseg"] == 3
    assert recording.raw["trkpt"]["segment"].tolist() == [1.0, 1.0, 3.0]


def test_a_track_of_one_point_a_minute_and_a_half_is_kept_whole():
    recording = read_text(load, gpx("".join(point(90 * k, lat=f"1{k}") for k in range(15))))

    assert recording["gps"]["time_s"].tolist() == pytest.approx([90.0 * k for k in range(15)])
    assert "clock-backwards" not in codes(recording)


def test_repeated_points_are_no_data():
    twice = point(0) + point(0) + point(1) + point(2, lat="12.6") * 3
    recording = read_text(load, gpx(twice))

    assert recording["gps"]["time_s"].tolist() == pytest.approx([0.0, 1.0, 2.0])
    assert recording.receipt.dropped == {"repeated fix": 3}
    assert codes(recording) == ["repeated-fixes"]


def test_standing_still_is_no_repetition():
    recording = read_text(load, gpx(point(0) + point(1) + point(2)))

    assert len(recording["gps"]) == 3
    assert codes(recording) == []


def test_a_file_of_waypoints_and_routes_is_refused_with_what_it_holds():
    marks = '<wpt lat="1" lon="2"/>' * 3 + '<rte><rtept lat="1" lon="2"/></rte>'

    with pytest.raises(LogFileError, match="no track point in it, but 3 waypoints, 1 route point"):
        read_text(load, f"<gpx>{marks}</gpx>")


def test_points_without_any_time_are_refused_with_their_number():
    with pytest.raises(
        LogFileError, match=r"not one of its track points \(4\) has a time"
    ) as caught:
        read_text(load, gpx('<trkpt lat="1" lon="2"><ele>3</ele></trkpt>' * 4))

    assert "with times" in caught.value.fix


def test_mostly_timeless_points_stop_every_figure_of_time():
    recording = read_text(load, gpx('<trkpt lat="1" lon="2"/>' * 9 + point(0)))
    found = next(f for f in recording.findings if f.code == "no-clock")

    assert len(recording["gps"]) == 1
    assert found.severity == "stop"
    assert found.message.startswith("9 of 10 track points have no time")


def test_a_bad_number_costs_itself_and_a_bad_position_the_point():
    points = point(0, "<ele>abc</ele><sat>8.0</sat><fix>odd</fix>") + point(1, lat="north")
    recording = read_text(load, gpx(points + point(2)))

    assert recording["gps"]["time_s"].tolist() == pytest.approx([0.0, 2.0])
    assert recording["gps"]["satellites"][0] == 8.0
    assert recording["gps"]["altitude_msl_m"].isna().all()
    assert recording.receipt.dropped["ele that can't be read"] == 1
    assert recording.receipt.dropped["fix that can't be read"] == 1
    assert recording.receipt.dropped["track points whose position can't be read"] == 1
    assert sorted(codes(recording)) == ["damaged-lines", "unreadable-cells"]


def test_a_latitude_beyond_the_pole_is_no_measurement():
    recording = read_text(load, gpx(point(0) + point(1, lat="97.5")))

    assert np.isnan(recording["gps"]["latitude_deg"][1])
    assert codes(recording) == ["values-out-of-range"]


@pytest.mark.parametrize("damage", ["<trk§t ", "\x01", "&nothing;", "</ele>", '<a b="'])
def test_a_broken_place_costs_one_point_of_many(damage):
    points = [point(k, lat=f"12.{k:02d}") for k in range(60)]
    points[30] = points[30].replace("<time>", f"{damage}<time>")
    recording = read_text(load, gpx("".join(points)))
    kept = recording["gps"]["latitude_deg"].tolist()

    assert kept == [float(f"12.{k:02d}") for k in range(60) if k != 30]
    assert "damaged-lines" in codes(recording)


def test_two_documents_in_one_file_are_read_both():
    recording = read_text(load, gpx(point(0)) + gpx(point(5, lat="13")))

    assert recording["gps"]["latitude_deg"].tolist() == [12.5, 13.0]
    assert codes(recording) == ["damaged-lines"]


@pytest.mark.parametrize(
    "encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "iso-8859-1"]
)
def test_encodings_with_and_without_marks(encoding):
    text = TWO.replace("<name>out", "<name>hinüber")
    if encoding == "iso-8859-1":
        text = text.replace('encoding="UTF-8"', 'encoding="ISO-8859-1"')
    content = text.encode(encoding)

    assert sniff(content[:4096]) is Match.YES
    assert fixes(read_text(load, content)) == fixes(read_text(load, TWO))


def test_a_prefix_for_the_format_s_own_names():
    text = gpx(point(0)).replace("<", "<g:").replace("<g:/", "</g:").replace("<g:?", "<?")

    assert sniff(text.encode()) is Match.YES
    assert read_text(load, text)["gps"]["latitude_deg"].tolist() == [12.5]


# --- files that mean harm

LAUGHS = (
    '<!DOCTYPE gpx [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {c}{c} "{"&" + c + ";"}">' for c in "bcdefgh")
    + "]>"
)
OUTSIDE = '<!DOCTYPE gpx [<!ENTITY e SYSTEM "file:///etc/hostname">]>'


@pytest.mark.parametrize("head", [LAUGHS, OUTSIDE, "<!DOCTYPE gpx>", "<!-- - --><!ENTITY a 'b'>"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_own_entities_are_refused_before_anything_is_parsed(head, encoding):
    content = gpx(point(0), head=head).encode(encoding)

    assert sniff(content) is Match.MAYBE
    with pytest.raises(LogFileError, match="declares its own XML entities"):
        read_text(load, content)


def test_a_doctype_in_a_comment_is_only_a_comment():
    recording = read_text(load, gpx(point(0), head="<!-- <!DOCTYPE gpx> -->"))

    assert len(recording["gps"]) == 1


def test_deep_nesting_is_refused():
    with pytest.raises(LogFileError, match="stand inside each other"):
        read_text(load, "<gpx>" + "<a>" * 10_000)


@pytest.mark.parametrize(
    "text",
    ["<trkpt <", "<gpx><!--", "<gpx><![CDATA[", '<gpx a="', "<", "<?", "<!--", "<gpx>&#x41;"],
)
def test_text_that_never_ends_is_an_error_and_no_crash(text):
    assert keeps_promises(load, (text * 5000).encode()) is None


# --- is it GPX at all


@pytest.mark.parametrize(
    ("head", "match"),
    [
        ("<gpx>", Match.YES),
        ("\ufeff<?xml version='1.0'?>\n<!-- <kml> -->\n <gpx version='1.1'", Match.YES),
        ("<gpx", Match.NO),
        ("<gpxx>", Match.NO),
        ("<kml><Placemark/></kml>", Match.NO),
        ("<kml><!-- gpx --></kml>", Match.NO),
        ("log of 2 March\n<gpx version='1.1'>", Match.MAYBE),
        ("damaged<trkpt lat='1' lon='2'>", Match.MAYBE),
        ("", Match.NO),
        ("Date,Time\n1,2\n", Match.NO),
    ],
)
def test_the_root_element_decides(head, match):
    assert sniff(head.encode()) is match


# --- any damage

LONG = gpx(
    "".join(
        point(k / 5, f"<ele>{200 + k}</ele><speed>{k}</speed>", lat=f"12.5{k:03d}")
        for k in range(8)
    )
).encode()


def test_cut_at_every_byte_it_invents_nothing():
    whole = fixes(read_text(load, LONG))
    seen = set()
    for length in range(len(LONG)):
        recording = keeps_promises(load, LONG[:length])
        if recording is not None:
            assert fixes(recording) <= whole, length
            assert "truncated" in codes(recording) or length > LONG.rindex(b"</gpx>")
            seen.add(len(recording["gps"]))

    assert seen == set(range(1, 9))


@settings(max_examples=75, deadline=None)
@given(damaged(LONG))
def test_whatever_the_damage_a_recording_or_a_clear_error(content):
    sniff(content)
    keeps_promises(load, content)


@settings(max_examples=50, deadline=None)
@given(st.binary(max_size=300), st.booleans())
def test_bytes_of_any_kind(content, with_root):
    keeps_promises(load, b"<gpx>" * with_root + content)
