"""A ring-down straight from a video of the wing tip.

A marker, or a place that shows enough contrast, is followed through the pictures to a small part of
a pixel (`video_tracking`); a known length in the picture turns pixels into metres. Frequency and
damping need no scale: an error of the scale, of the perspective, or of the exposure, which smears
the motion, goes into the amplitude alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from flightlog.errors import TeamFileError
from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.video_files import (
    FloatArray,
    Picture,
    VideoFile,
    frame_times,
    is_video,
)
from flightlog.groundtests.video_marker import (
    PRUNED_EVERY,
    best_of,
    candidates,
    still_seen,
    usual_size,
)
from flightlog.groundtests.video_tracking import Tracker

__all__ = ["TipVideo", "VideoSetup", "is_video", "read_tip_video"]

LEAST_FRAMES = 16
MOST_LOST = 0.3
"""Share of pictures without the marker beyond which nothing is given. [-]"""

_FEW_LOST = 0.02
_READ_TO_PX = 1.0
_TILTED_DEG = 20.0
_FEW_PER_SWING = 8.0
_TALL = 0.15
_LEAST_RATE_HZ = 23.5
"""The slowest ordinary camera; below, a wing easily rings beyond half the rate."""
_PLAIN_RATE_HZ = 49.5
_JUMP_SIZES = 1.5
_JUMP_STEPS = 3.0
_USUAL_AT = 8
_REPEATED = 0.05
_MOST_REPEATED = 0.12
_WHERE = "[ringdown.video]"


@dataclass(frozen=True, slots=True)
class VideoSetup:
    """What a bench file states of a video, under ``[ringdown.video]``.

    Attributes
    ----------
    marker_px : sequence of float or None
        Middle of the marker in the first picture: to the right, down. [px]
    marker_size_px : int or None
        Side of the square to follow; it has to lie on the wing, without what is behind it. [px]
    ref_px : sequence of float or None
        A place that stands still, whose motion is the camera's and is taken off. [px]
    scale_from_px, scale_to_px : sequence of float or None
        Ends of a known length in the first picture, near the tip, in the plane of its motion. [px]
    scale_length_m, scale_length_std_m : float or None
        That length, and its standard uncertainty. [m]
    direction : {"vertical", "horizontal", "main"}
        Which motion counts: up, to the right, or along the largest one (upwards).
    capture_rate_hz : float or None
        At which it was recorded, where the file plays at another rate. [1/s]
    nothing_above_hz : float or None
        Nothing on the part rings faster, as something else than a slow video showed. [Hz]
    """

    marker_px: Sequence[float] | None = None
    marker_size_px: int | None = None
    ref_px: Sequence[float] | None = None
    scale_from_px: Sequence[float] | None = None
    scale_to_px: Sequence[float] | None = None
    scale_length_m: float | None = None
    scale_length_std_m: float | None = None
    direction: Literal["vertical", "horizontal", "main"] = "vertical"
    capture_rate_hz: float | None = None
    nothing_above_hz: float | None = None

    def scale(self) -> tuple[float, float] | None:
        """Give metres for each pixel and its relative standard uncertainty; None if not stated.

        Raises
        ------
        TeamFileError
            If it is stated in part, or its ends fall together.
        """
        parts = {
            "scale_from_px": self.scale_from_px,
            "scale_to_px": self.scale_to_px,
            "scale_length_m": self.scale_length_m,
            "scale_length_std_m": self.scale_length_std_m,
        }
        missing = [name for name, value in parts.items() if value is None]
        if len(missing) == len(parts):
            return None
        start, end, length = self.scale_from_px, self.scale_to_px, self.scale_length_m
        std = self.scale_length_std_m
        if start is None or end is None or length is None or std is None:
            raise TeamFileError(
                f"lacks {', '.join(missing)}", where=_WHERE, fix="State all four of a scale."
            )
        pixels = math.hypot(end[0] - start[0], end[1] - start[1])
        if pixels < 10 * _READ_TO_PX:
            raise TeamFileError(
                f"has a scale of {pixels:.3g} pixels", where=_WHERE, fix="Name a longer length."
            )
        ends = math.sqrt(2.0) * _READ_TO_PX / pixels
        return length / pixels, math.hypot(std / length, ends)


@dataclass(frozen=True, slots=True)
class TipVideo:
    """What a video showed.

    Attributes
    ----------
    table : BenchTable
        Columns ``time`` [s] and ``displacement`` [m], up positive; in place of the latter
        ``signal`` [px] where no scale is stated. NaN where the marker was lost; ``lines`` counts
        pictures from 1.
    findings : tuple of Finding
        What was noticed.
    taken : tuple of (str, str, str)
        Column, what it came from, and the unit there.
    """

    table: BenchTable
    findings: tuple[Finding, ...]
    taken: tuple[tuple[str, str, str], ...]


def read_tip_video(path: Path, settings: VideoSetup | Mapping[str, Any] | None) -> TipVideo:
    """Follow the marker in a video.

    Parameters
    ----------
    path : Path
        MP4, MOV, AVI, Matroska or WebM, by content.
    settings : VideoSetup, mapping or None
        What a bench file states; a mapping has the fields of `VideoSetup` as keys.

    Raises
    ------
    LogFileError
        If it is no video, too large, too short, or shows nothing to follow; or if OpenCV is
        missing.
    TeamFileError
        If the settings can't be.
    """
    setup = settings if isinstance(settings, VideoSetup) else VideoSetup(**(settings or {}))
    scale = setup.scale()
    video = VideoFile(path)
    markers, ref, stamps = _followed(video, setup)
    if len(stamps) < LEAST_FRAMES:
        raise video.unlike(
            f"holds {len(stamps)} pictures that can be read", "Record a whole ring-down."
        )
    time_s, findings = frame_times(video, stamps, setup.capture_rate_hz)
    marker = markers[0] if setup.marker_px is not None else best_of(markers, time_s)
    if marker is None:
        raise video.unlike(
            "shows nothing that swings", "Put a marker on the tip and name it: marker_px."
        )
    places = np.array(marker.places)
    if ref is not None:
        still = np.array(ref.places)
        places = places - (still - still[_first_seen(still)])
    findings += _told(video, setup, marker, time_s, scale)
    end, jumped = _jump(places, time_s, marker.size)
    time_s, places = time_s[:end], places[:end]
    findings += jumped
    along_px, tilt_deg = _along(places, setup.direction)
    per_px = 1.0 if scale is None else scale[0]
    name = "signal" if scale is None else "displacement"
    columns = {"time": time_s}
    if np.isfinite(along_px).any():
        columns[name] = along_px * per_px
    seen = np.arange(1, len(time_s) + 1, dtype=np.int64)
    table = BenchTable(path.name, columns, {}, seen)
    findings += _losses(time_s, along_px)
    findings += _doubts(video, setup, time_s, along_px, tilt_deg)
    findings += _rate_doubts(setup, time_s, along_px)
    at = f"marker at {marker_place(marker)}"
    taken = (("time", "time stamps of the pictures", "s"), (name, at, "px"))
    return TipVideo(table, tuple(findings), taken)


def _first_seen(places: FloatArray) -> int:
    seen = np.flatnonzero(np.isfinite(places[:, 0]))
    return int(seen[0]) if len(seen) else 0


def marker_place(marker: Tracker) -> str:
    """Say where a marker was seen first."""
    places = np.array(marker.places).reshape(-1, 2)
    x, y = places[_first_seen(places)] if len(places) else (marker.x, marker.y)
    return f"[{x:.0f}, {y:.0f}]"


def _followed(
    video: VideoFile, setup: VideoSetup
) -> tuple[list[Tracker], Tracker | None, FloatArray]:
    """Follow the marker, or all that could be one, and the reference; and give the stamps."""
    markers = _markers(video, setup)
    ref: Tracker | None = None
    stamps: list[float] = []
    for picture, stamp in video.frames():
        if not stamps:
            if setup.ref_px is not None:
                ref = _at(setup.ref_px, _side(video, setup))
            markers = _started(video, markers, ref, picture)
        for tracker in markers if ref is None else [*markers, ref]:
            tracker.step(picture)
        stamps.append(stamp)
        if len(markers) > 1 and len(stamps) % PRUNED_EVERY == 0:
            markers = still_seen(markers)
    return markers, ref, np.array(stamps)


def _side(video: VideoFile, setup: VideoSetup) -> int:
    return (setup.marker_size_px or usual_size(video.width, video.height)) | 1


def _at(place_px: Sequence[float], size: int) -> Tracker:
    return Tracker(float(place_px[0]), float(place_px[1]), size)


def _markers(video: VideoFile, setup: VideoSetup) -> list[Tracker]:
    """Give the marker that was stated, or all places that could be one."""
    first = next(iter(video.frames()), None)
    if first is None:
        raise video.unlike("holds no picture that can be read", "Copy it from the camera again.")
    size = _side(video, setup)
    if setup.marker_px is not None:
        return [_at(setup.marker_px, size)]
    markers = candidates(video, size)
    if not markers:
        raise video.unlike(
            "shows nothing that moves and could be followed",
            "Put a marker on the tip and name it: marker_px.",
        )
    return markers


def _started(
    video: VideoFile, markers: list[Tracker], ref: Tracker | None, picture: Picture
) -> list[Tracker]:
    """Take all templates from the first picture; give the markers that have one."""
    started = [m for m in markers if m.start(picture)]
    fix = "Name the middle of something with contrast, away from the edges: "
    if not started:
        raise video.unlike("has nothing to follow where the marker should be", f"{fix}marker_px.")
    if ref is not None and not ref.start(picture):
        raise video.unlike("has nothing to follow at the reference", f"{fix}ref_px.")
    return started


def _along(places: FloatArray, direction: str) -> tuple[FloatArray, float]:
    """Give the motion along a direction [px], and how far the largest lies from it [deg]."""
    off = places - np.nanmedian(places, axis=0) if np.isfinite(places).any() else places
    seen = off[np.isfinite(off[:, 0])]
    axis = np.array([0.0, -1.0])
    if len(seen) > 1:
        axis = np.linalg.svd(seen, full_matrices=False)[2][0]
        axis = axis if abs(axis[1]) < 1e-9 or axis[1] < 0 else -axis  # up: rows count down
    if abs(axis[1]) < 1e-9:
        axis = np.abs(axis)
    wanted = {"vertical": np.array([0.0, -1.0]), "horizontal": np.array([1.0, 0.0])}
    chosen = wanted.get(direction, axis)
    tilt_deg = math.degrees(math.acos(min(abs(float(chosen @ axis)), 1.0)))
    return off @ chosen, tilt_deg


# --- what was noticed


def _told(
    video: VideoFile,
    setup: VideoSetup,
    marker: Tracker,
    time_s: FloatArray,
    scale: tuple[float, float] | None,
) -> list[Finding]:
    """Say what was followed, and how it became metres."""
    rate_hz = (len(time_s) - 1) / max(float(time_s[-1]), 1e-9)
    found = "as stated" if setup.marker_px is not None else "found by itself"
    match = float(np.median([m for m in marker.matches if m > 0] or [0.0]))
    at = marker_place(marker)
    message = f"Followed the place {at} of the first picture, {found}, a square of {marker.size} "
    message += f"px, in {len(time_s)} pictures of {video.width} by {video.height} at {rate_hz:.4g} "
    message += f"a second; it matched to {match:.2f} in the middle."
    evidence = {"frames": len(time_s), "rate_hz": rate_hz, "match": match}
    findings = [ground_finding("video-followed", message, evidence={**evidence, "place": at})]
    if scale is None:
        message = "No length in the picture was stated, so that the motion is in pixels."
        findings.append(ground_finding("video-scale-missing", message))
    else:
        message = f"A pixel is {scale[0] * 1e3:.4g} mm, within {scale[1] * 100:.2g} % (standard, "
        message += f"the ends read to {_READ_TO_PX:g} px): amplitudes share that error, frequency "
        message += "and damping do not."
        findings.append(
            ground_finding(
                "video-scale",
                message,
                evidence={"m_per_px": scale[0], "relative_std": scale[1]},
                widen=scale[1],
            )
        )
    read = len(time_s)
    if video.stated_frames - read > max(2, 0.02 * read):
        message = f"The file states {video.stated_frames} pictures, and {read} could be read."
        findings.append(ground_finding("video-cut-off", message, evidence={"frames": read}))
    return findings


def _losses(time_s: FloatArray, along_px: FloatArray) -> list[Finding]:
    """Say in how many pictures the marker was not seen."""
    lost = ~np.isfinite(along_px)
    count = int(np.count_nonzero(lost))
    if not count:
        return []
    share = count / len(lost)
    first = float(time_s[int(np.argmax(lost))])
    message = f"The marker was not seen in {count} of {len(lost)} pictures, first at {first:.2f} s."
    severity: Literal["stop", "degrade", "note"] = "stop" if share > MOST_LOST else "degrade"
    return [
        ground_finding(
            "marker-lost",
            message,
            evidence={"frames": count, "share": share},
            severity="note" if share < _FEW_LOST else severity,
            start_s=first,
        )
    ]


def _doubts(
    video: VideoFile, setup: VideoSetup, time_s: FloatArray, along_px: FloatArray, tilt_deg: float
) -> list[Finding]:
    """Say what of camera and motion enters the amplitude."""
    findings = []
    if tilt_deg > _TILTED_DEG:
        message = f"The largest motion lies {tilt_deg:.0f}° from the direction that counts, "
        message += f"{setup.direction}."
        findings.append(
            ground_finding("video-direction", message, evidence={"degrees": round(tilt_deg, 1)})
        )
    seen = np.isfinite(along_px)
    if np.count_nonzero(seen) < LEAST_FRAMES:
        return findings
    reach_px = float(np.ptp(along_px[seen]))
    if reach_px > _TALL * video.height:
        message = f"The motion covers {reach_px / video.height * 100:.0f} % of the height of the "
        message += "picture: lines that are read one after the other and perspective bend it."
        findings.append(
            ground_finding("video-motion-tall", message, evidence={"motion_px": reach_px})
        )
    return findings


def _jump(places: FloatArray, time_s: FloatArray, size: int) -> tuple[int, list[Finding]]:
    """Say up to which picture a place moves without a jump to another one.

    What swings makes many steps that are nearly as long as its longest; a jump is alone.
    """
    steps = np.nan_to_num(np.hypot(*np.diff(places, axis=0).T))  # NaN beside a gap
    usual = float(np.sort(steps)[-1 - min(_USUAL_AT, len(steps) - 1)])
    far = steps > max(_JUMP_SIZES * size, _JUMP_STEPS * usual)
    seen = np.flatnonzero(np.isfinite(places[:, 0]))
    before, after = seen[:-1], seen[1:]
    gap = after > before + 1  # from behind what hid it, it comes back to where it can be
    before, after = before[gap], after[gap]
    reach = (size + _JUMP_SIZES * usual * (after - before))[:, None]
    low = np.fmin.accumulate(places, axis=0)[before] - reach
    high = np.fmax.accumulate(places, axis=0)[before] + reach
    far[after - 1] = np.any((places[after] < low) | (places[after] > high), axis=1)
    steps[after - 1] = np.hypot(*(places[after] - places[before]).T)
    if not far.any():
        return len(places), []
    end = int(np.argmax(far)) + 1
    message = (
        f"At {time_s[end]:.2f} s the place that is followed jumps by {steps[end - 1]:.0f} px, "
    )
    message += "which nothing does that swings: what comes after it is left out."
    return end, [
        ground_finding(
            "marker-jumped",
            message,
            evidence={"px": float(steps[end - 1]), "frames_left_out": len(places) - end},
            start_s=float(time_s[end]),
        )
    ]


def _rate_doubts(setup: VideoSetup, time_s: FloatArray, along_px: FloatArray) -> list[Finding]:
    """Say what follows from how often a picture was taken (Shannon 1949)."""
    seen = np.isfinite(along_px)
    if np.count_nonzero(seen) < LEAST_FRAMES or not time_s[-1] > 0:
        return []
    findings, heard = [], along_px[seen]
    rate_hz = 1.0 / max(float(np.median(np.diff(time_s))), 1e-9)
    repeated = _repeated(heard)
    if repeated > _MOST_REPEATED:
        rate_hz *= 1.0 - repeated
        message = f"{repeated * 100:.0f} % of the pictures show what the one before them shows: "
        message += f"the camera took about {rate_hz:.3g} a second."
        findings.append(
            ground_finding("video-repeats", message, evidence={"share": repeated, "hz": rate_hz})
        )
    seems_hz = _loudest_hz(time_s[seen], heard)
    per_swing = rate_hz / max(seems_hz, 1e-9)
    if float(np.std(heard)) > 1.0 and per_swing < _FEW_PER_SWING:
        low = 1.0 - float(np.sinc(1.0 / per_swing))
        message = f"About {per_swing:.1f} pictures show a swing: amplitudes can be up to "
        message += f"{low * 100:.0f} % low, since each exposure smears the motion."
        findings.append(
            ground_finding("video-rate-low", message, evidence={"pictures_per_swing": per_swing})
        )
    above_hz = setup.nothing_above_hz
    known = above_hz is not None and rate_hz > 2 * above_hz
    if not known and (above_hz is not None or rate_hz < _PLAIN_RATE_HZ):
        other_hz = abs(rate_hz - seems_hz)
        message = f"At {rate_hz:.3g} pictures a second, what rings at {other_hz:.3g} Hz looks "
        message += f"like {seems_hz:.3g} Hz: the pictures do not say which it is."
        stops = above_hz is not None or rate_hz < _LEAST_RATE_HZ
        findings.append(
            ground_finding(
                "video-rate-ambiguous",
                message,
                evidence={"rate_hz": rate_hz, "other_hz": other_hz},
                severity="stop" if stops else "note",
            )
        )
    return findings


def _repeated(along_px: FloatArray) -> float:
    """Give the share of pictures, while something moves, that repeat the one before. [-]"""
    steps = np.abs(np.diff(along_px))
    here, beside = steps[1:-1], np.maximum(steps[:-2], steps[2:])
    moving = np.maximum(here, beside) > 1.0
    if np.count_nonzero(moving) < LEAST_FRAMES:
        return 0.0
    return float(np.mean(here[moving] < _REPEATED * beside[moving]))


def _loudest_hz(time_s: FloatArray, along_px: FloatArray) -> float:
    """Give the frequency at which a place seems to swing most, by its steps. [Hz]"""
    even_s = np.linspace(time_s[0], time_s[-1], len(time_s))
    steps = np.diff(np.interp(even_s, time_s, along_px))
    power = np.abs(np.fft.rfft(steps * np.hanning(len(steps)))) ** 2
    peak = int(np.argmax(power[1:])) + 1
    return float(peak * (len(even_s) - 1) / max(even_s[-1] - even_s[0], 1e-9) / len(steps))
