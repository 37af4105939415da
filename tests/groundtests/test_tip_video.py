"""A wing tip in a video: what is seen is what was painted, and what is no video is called so."""

from __future__ import annotations

import struct
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import FlightlogError, LogFileError, TeamFileError
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests import tip_video, video_files
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.groundtests.tip_video import VideoSetup, is_video, read_tip_video
from flightlog.groundtests.video_tracking import Tracker
from flightlog.operations.ground_test import run_ground_test
from tests.groundtests.video_made import Painter, Scene, pictures, write_matroska, write_video
from tests.groundtests.video_reach import fitted

SMALL = Scene(200, 120, length_s=3.0, amplitude_px=8.0, disc_px=6.0, release_s=0.3, noise=2.0)
SHORT = replace(SMALL, length_s=1.2)
NAMED = {"marker_size_px": 15}


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("video") / "tip.mp4"
    return path, write_video(path, SMALL, 1)


@pytest.fixture(scope="module")
def small_avi(tmp_path_factory):
    path = tmp_path_factory.mktemp("video") / "tip.avi"
    return path, write_video(path, SHORT, 1, "MJPG")


def signal(seen, name="signal"):
    return seen.table.columns["time"], seen.table.columns[name]


def codes(seen):
    return {f.code for f in seen.findings}


def misplaced(seen, scene, name="signal", px_per=1.0):
    """Root mean square of what is left when shift and factor are free; and the factor."""
    time_s, y = signal(seen, name)
    good = np.isfinite(y)
    basis = np.stack([scene.up_px(time_s)[good], np.ones(np.count_nonzero(good))], axis=1)
    parts = np.linalg.lstsq(basis, y[good] * px_per, rcond=None)[0]
    return float(np.std(y[good] * px_per - basis @ parts)), float(parts[0])


# --- where the marker is


def test_marker_is_followed_to_a_part_of_a_pixel_and_gives_frequency_and_damping(small):
    path, painter = small

    seen = read_tip_video(path, {"marker_px": painter.marker_px, **NAMED})

    rms, factor = misplaced(seen, SMALL)
    assert rms < 0.12
    assert factor == pytest.approx(1, abs=0.01)
    frequency, damping = fitted(*signal(seen), SMALL.release_s)
    assert frequency == pytest.approx(SMALL.frequency_hz, rel=0.01)
    assert damping == pytest.approx(SMALL.damping, rel=0.15)
    assert codes(seen) == {"video-followed", "video-scale-missing"}


def test_marker_is_found_where_nobody_names_it(small):
    path, painter = small

    seen = read_tip_video(path, None)

    note = next(f for f in seen.findings if f.code == "video-followed")
    x, y = map(float, str(note.evidence["place"]).strip("[]").split(","))
    assert x > 0.6 * SMALL.width  # where the wing swings most
    assert abs(y - painter.marker_px[1]) < 0.2 * SMALL.height
    assert "found by itself" in note.message
    frequency, damping = fitted(*signal(seen), SMALL.release_s)
    assert frequency == pytest.approx(SMALL.frequency_hz, rel=0.01)
    assert damping == pytest.approx(SMALL.damping, rel=0.15)


@given(st.floats(-6, 6), st.floats(-6, 6), st.floats(0.6, 1.3), st.floats(-20, 20))
@settings(deadline=None)
def test_place_does_not_depend_on_light_nor_on_the_part_of_the_pixel(dx, dy, gain, offset):
    y, x = np.mgrid[0:80, 0:90]

    def blobs(left, down):
        one = np.exp(-((x - 45 - left) ** 2 + (y - 40 - down) ** 2) / 18)
        two = np.exp(-((x - 50 - left) ** 2 + (y - 36 - down) ** 2) / 10)
        return np.rint(60 + 110 * one - 40 * two)

    tracker = Tracker(45.0, 40.0, 21)
    assert tracker.start(blobs(0, 0).astype(np.uint8))
    tracker.step(np.clip(gain * blobs(dx, dy) + offset, 0, 255).astype(np.uint8))

    assert tracker.places[0] == pytest.approx((45 + dx, 40 + dy), abs=0.05)


def test_motion_of_the_camera_is_taken_off_by_a_place_that_stands_still(tmp_path):
    scene = Scene(
        200, 120, length_s=1.0, amplitude_px=8.0, disc_px=6.0, release_s=0.3, shake_px=4.0
    )
    painter = write_video(tmp_path / "a.avi", scene, 3, "MJPG")
    named = {"marker_px": painter.marker_px, **NAMED}

    bare, _ = misplaced(read_tip_video(tmp_path / "a.avi", named), scene)
    held, _ = misplaced(
        read_tip_video(tmp_path / "a.avi", {**named, "ref_px": painter.corner_px}), scene
    )

    assert bare > 0.5
    assert held < 0.15


def test_hand_before_the_marker_makes_a_gap_and_not_a_number(tmp_path):
    writer = cv2.VideoWriter(
        str(tmp_path / "a.avi"), cv2.VideoWriter.fourcc(*"MJPG"), 60.0, (SMALL.width, SMALL.height)
    )
    painter = Painter(SHORT, 1)
    for k, picture in enumerate(pictures(painter)):
        if 50 <= k < 56:
            picture[:, 90:] = 128
        writer.write(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))
    writer.release()

    seen = read_tip_video(tmp_path / "a.avi", {"marker_px": painter.marker_px, **NAMED})

    lost = np.flatnonzero(~np.isfinite(seen.table.columns["signal"]))
    assert lost.tolist() == list(range(50, 56))
    finding = next(f for f in seen.findings if f.code == "marker-lost")
    assert finding.severity == "degrade"
    assert finding.start_s == pytest.approx(50 / 60)
    rms, factor = misplaced(seen, SHORT)
    assert rms < 0.12
    assert factor == pytest.approx(1, abs=0.01)


# --- metres and seconds


def test_known_length_gives_metres_and_its_error_goes_into_the_amplitude_alone(small):
    path, painter = small
    scale = {
        "scale_from_px": [20.0, 30.0],
        "scale_to_px": [20.0, 80.0],
        "scale_length_m": 0.10,
        "scale_length_std_m": 0.001,
    }

    seen = read_tip_video(path, {"marker_px": painter.marker_px, **NAMED, **scale})

    _, factor = misplaced(seen, SMALL, "displacement", px_per=500.0)
    assert factor == pytest.approx(1, abs=0.01)
    finding = next(f for f in seen.findings if f.code == "video-scale")
    # 1 % of the length, and both ends read to a pixel of fifty.
    assert finding.widen == pytest.approx(np.hypot(0.01, np.sqrt(2) / 50))
    assert finding.affects == ("ringdown.*.amplitude",)
    assert "ringdown.NAME.amplitude" in GROUND_FIGURES.families


@pytest.mark.parametrize("missing", ["scale_from_px", "scale_length_m", "scale_length_std_m"])
def test_scale_that_is_stated_in_part_is_refused(small, missing):
    scale = {
        "scale_from_px": [20, 30],
        "scale_to_px": [20, 80],
        "scale_length_m": 0.1,
        "scale_length_std_m": 0.0,
    }
    del scale[missing]

    with pytest.raises(TeamFileError, match=missing):
        read_tip_video(small[0], scale)


def test_scale_shorter_than_ten_pixels_is_refused():
    setup = VideoSetup(
        scale_from_px=(5, 5), scale_to_px=(5, 8), scale_length_m=1.0, scale_length_std_m=0.0
    )
    with pytest.raises(TeamFileError, match="3 pixels"):
        setup.scale()


def test_times_are_those_of_the_file_where_its_rate_varies(tmp_path):
    rng = np.random.default_rng(5)
    times_s = np.round(np.cumsum(rng.choice([1 / 60, 1 / 45, 1 / 30], 90)), 4)
    painter = write_matroska(tmp_path / "a.mkv", SMALL, 2, times_s)

    seen = read_tip_video(tmp_path / "a.mkv", {"marker_px": painter.marker_px, **NAMED})

    time_s = seen.table.columns["time"]
    assert time_s == pytest.approx(times_s - times_s[0], abs=1e-4)
    y = seen.table.columns["signal"]
    true = SMALL.up_px(times_s)
    assert np.std(y - true) < 0.12


def test_slow_motion_is_brought_back_to_the_rate_at_which_it_was_recorded(tmp_path):
    painter = write_video(tmp_path / "a.avi", SHORT, 1, "MJPG", stated_hz=15.0)
    named = {"marker_px": painter.marker_px, **NAMED}

    played = read_tip_video(tmp_path / "a.avi", named)
    recorded = read_tip_video(tmp_path / "a.avi", {**named, "capture_rate_hz": 60.0})

    assert played.table.columns["time"] == pytest.approx(4 * SHORT.times())
    assert recorded.table.columns["time"] == pytest.approx(SHORT.times())
    assert "capture-rate-stated" in codes(recorded)


def test_pictures_without_stamps_take_the_stated_rate_and_say_so():
    video = video_files.VideoFile(Path("a.avi"), stated_rate_hz=50.0)

    times_s, findings = video_files.frame_times(video, np.zeros(5), None)

    assert times_s == pytest.approx([0, 0.02, 0.04, 0.06, 0.08])
    assert [f.code for f in findings] == ["frame-times-nominal"]


def test_stamp_that_does_not_rise_is_bridged():
    video = video_files.VideoFile(Path("a.mp4"), stated_rate_hz=10.0)
    stamps = np.arange(30) / 10.0
    stamps[7] = stamps[6]

    times_s, findings = video_files.frame_times(video, stamps, None)

    assert times_s == pytest.approx(np.arange(30) / 10.0)
    assert not findings


def test_neither_stamps_nor_rate_is_an_error():
    with pytest.raises(LogFileError, match="neither"):
        video_files.frame_times(video_files.VideoFile(Path("a.avi")), np.zeros(5), None)


# --- what is no ring-down


def test_what_is_a_video_is_decided_by_content(tmp_path, small):
    named = tmp_path / "table.mp4"
    named.write_text("time (s),displacement (m)\n0,1\n", encoding="utf-8")
    bare = tmp_path / "no-ending"
    bare.write_bytes(small[0].read_bytes())

    assert not is_video(named)
    assert is_video(bare)
    assert not is_video(tmp_path)
    assert not is_video(tmp_path / "missing.mp4")
    assert not is_video(Path("a\0b"))


def test_still_picture_and_series_of_pictures_are_refused(tmp_path):
    for k in range(3):
        cv2.imwrite(str(tmp_path / f"p{k}.png"), np.full((40, 40), 40 * k, dtype=np.uint8))

    for name in ("p0.png", "p%d.png"):
        with pytest.raises(LogFileError, match="is no video"):
            read_tip_video(tmp_path / name, None)


@pytest.mark.parametrize("part", [0.1, 0.5, 0.97])
def test_video_that_was_cut_off_gives_what_is_left_or_an_error(tmp_path, small, small_avi, part):
    whole = small[0].read_bytes()
    (tmp_path / "a.mp4").write_bytes(whole[: int(part * len(whole))])
    with pytest.raises(LogFileError):
        read_tip_video(tmp_path / "a.mp4", None)

    path, painter = small_avi
    whole = path.read_bytes()
    (tmp_path / "b.avi").write_bytes(whole[: int(part * len(whole))])
    named = {"marker_px": painter.marker_px, **NAMED}
    try:
        seen = read_tip_video(tmp_path / "b.avi", named)
    except LogFileError:
        assert part == 0.1
    else:
        assert 16 <= len(seen.table) <= len(SHORT.times())
        assert "video-cut-off" in codes(seen) or part > 0.9


@pytest.mark.parametrize("count", [1, 5])
def test_few_pictures_are_refused(tmp_path, count):
    scene = Scene(160, 90, length_s=count / 60, disc_px=5.0)
    write_video(tmp_path / "a.avi", scene, 1, "MJPG")

    with pytest.raises(LogFileError):
        read_tip_video(tmp_path / "a.avi", {"marker_px": [115, 52], "marker_size_px": 11})


def test_pictures_too_large_for_memory_are_refused_before_one_is_read(tmp_path, monkeypatch, small):
    monkeypatch.setattr(video_files, "MOST_PIXELS", 200 * 119)

    with pytest.raises(LogFileError, match="too many"):
        read_tip_video(small[0], None)


def test_video_longer_than_anybody_rings_is_refused(monkeypatch, small):
    monkeypatch.setattr(video_files, "MOST_FRAMES", 50)

    with pytest.raises(LogFileError, match="Cut it"):
        read_tip_video(small[0], {"marker_px": small[1].marker_px, **NAMED})


def test_nothing_that_moves_is_said(tmp_path):
    scene = Scene(160, 90, length_s=0.5, amplitude_px=0.0, flicker=0.0, noise=1.0)
    write_video(tmp_path / "a.avi", scene, 1, "MJPG")

    with pytest.raises(LogFileError, match="nothing that"):
        read_tip_video(tmp_path / "a.avi", None)


@pytest.mark.parametrize("place", [[0.0, 0.0], [1e4, 1e4], [199.0, 119.0]])
def test_marker_outside_of_the_picture_is_refused(small, place):
    with pytest.raises(LogFileError, match="marker_px"):
        read_tip_video(small[0], {"marker_px": place})


@given(st.binary(max_size=300), st.sampled_from(["mp4", "avi", "mkv"]))
@settings(deadline=None)
def test_no_bytes_crash(tmp_path_factory, content, kind):
    head = {
        "mp4": struct.pack(">I", 24) + b"ftypisom" + bytes(12),
        "avi": b"RIFF\x00\x01\x00\x00AVI LIST",
        "mkv": b"\x1aE\xdf\xa3" + bytes(12),
    }[kind]
    path = tmp_path_factory.mktemp("bytes") / "a"
    path.write_bytes(head + content)

    with pytest.raises(FlightlogError):
        read_tip_video(path, None)


def test_without_the_library_it_says_what_to_install(monkeypatch, small):
    monkeypatch.setitem(sys.modules, "cv2", None)
    video_files.opencv.cache_clear()
    try:
        with pytest.raises(LogFileError, match=r'pip install "flightlog\[video\]"'):
            read_tip_video(small[0], None)
    finally:
        monkeypatch.undo()
        video_files.opencv.cache_clear()


# --- the whole way


BENCH = """\
schema = "flightlog.bench/1"
id = "wing-left"
kind = "ringdown"
[ringdown.video]
marker_px = [{0}, {1}]
marker_size_px = 15
scale_from_px = [20, 30]
scale_to_px = [20, 80]
scale_length_m = 0.100
scale_length_std_m = 0.001
"""


def test_ground_test_takes_a_video_and_its_bench_file(tmp_path, small):
    path, painter = small
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH.format(*painter.marker_px), encoding="utf-8")

    test = run_ground_test("ringdown", [path], bench)

    assert test.files[0].taken[1][2] == "px"
    assert "columns-guessed" not in {f.code for f in test.answer.findings}
    figures = test.answer.figures
    assert figures["ringdown.first.frequency"].quantity.value == pytest.approx(6.5, rel=0.01)
    assert figures["ringdown.first.damping"].quantity.value == pytest.approx(1.8, rel=0.15)
    amplitude = figures["ringdown.first.amplitude"].quantity
    assert amplitude.std >= np.hypot(0.01, np.sqrt(2) / 50) * amplitude.value
    assert "video-scale" in figures["ringdown.first.amplitude"].method


def test_video_is_for_ring_downs_only(small):
    with pytest.raises(FlightlogError):
        run_ground_test("stiffness", [small[0]])


def test_fields_of_the_bench_file_are_those_of_the_settings():
    from dataclasses import fields

    from flightlog.team_files.bench_tables import VideoBench

    assert set(VideoBench.model_fields) == {f.name for f in fields(VideoSetup)}
    assert GROUND_KINDS["ringdown"].setup(video=VideoBench().model_dump()).video is not None


# --- what stands in the pictures, and is wrong


def ringing(rate_hz: float, hz: float, length_s: float = 8.0) -> tuple[np.ndarray, np.ndarray]:
    """Times, and places [px] that ring down from 12 px with 2 %; closed form."""
    times = np.arange(round(length_s * rate_hz)) / rate_hz
    return times, 12 * np.exp(-0.02 * 2 * np.pi * hz * times) * np.cos(2 * np.pi * hz * times)


def rate_codes(times: np.ndarray, along: np.ndarray, **stated: float) -> dict[str, str]:
    found = tip_video._rate_doubts(VideoSetup(**stated), times, along)
    return {f.code: f.severity for f in found}


def test_few_pictures_a_second_stop_figures_that_a_faster_ring_would_give_too():
    """6.5 Hz at 10 pictures a second gives the same places as 3.5 Hz (Shannon 1949)."""
    times, along = ringing(10.0, 6.5)

    (found,) = (
        f
        for f in tip_video._rate_doubts(VideoSetup(), times, along)
        if f.code == "video-rate-ambiguous"
    )

    assert found.severity == "stop"
    assert found.evidence["other_hz"] == pytest.approx(6.5, abs=0.15)
    assert "ringdown.*" in found.affects


@pytest.mark.parametrize(
    ("rate_hz", "hz", "stated", "severity"),
    [
        (60.0, 6.5, {}, None),
        (24.0, 6.5, {}, "note"),
        (30.0, 27.0, {}, "note"),
        (10.0, 2.5, {"nothing_above_hz": 4.0}, None),
        (10.0, 2.5, {"nothing_above_hz": 6.0}, "stop"),
    ],
)
def test_what_else_could_look_so_is_told_unless_it_is_known(rate_hz, hz, stated, severity):
    times, along = ringing(rate_hz, hz)

    assert rate_codes(times, along, **stated).get("video-rate-ambiguous") == severity


def test_pictures_that_show_a_swing_are_counted_rightly():
    """24 pictures a second of 6.5 Hz are 3.7 for each swing."""
    times, along = ringing(24.0, 6.5)
    (found,) = (
        f for f in tip_video._rate_doubts(VideoSetup(), times, along) if f.code == "video-rate-low"
    )

    assert found.evidence["pictures_per_swing"] == pytest.approx(24 / 6.5, rel=0.03)


def test_pictures_that_were_doubled_count_once():
    _, along = ringing(15.0, 6.5)
    doubled = np.repeat(along, 2)

    codes = rate_codes(np.arange(len(doubled)) / 30.0, doubled)

    assert codes["video-rate-ambiguous"] == "stop"
    assert "video-repeats" in codes
    assert "video-repeats" not in rate_codes(*ringing(24.0, 6.5))


@pytest.mark.parametrize("gap", [0, 3])
def test_what_comes_after_a_jump_to_another_place_is_left_out(gap):
    times, along = ringing(60.0, 6.5, 4.0)
    places = np.stack([np.full_like(along, 300.0), 120 - along], axis=1)
    places[150:] += (90.0, 40.0)
    places[150 - gap : 150] = np.nan

    end, found = tip_video._jump(places, times, 19)

    assert end == 150
    assert [f.code for f in found] == ["marker-jumped"]


@pytest.mark.parametrize(("rate_hz", "hz"), [(60.0, 6.5), (24.0, 6.5), (240.0, 3.0), (10.0, 6.5)])
def test_no_ring_is_a_jump_not_even_from_behind_a_hand(rate_hz, hz):
    times, along = ringing(rate_hz, hz)
    places = np.stack([np.full_like(along, 300.0), 120 - 6 * along], axis=1)
    places[20:24] = np.nan

    assert tip_video._jump(places, times, 19) == (len(times), [])
