"""Which place of a picture to follow, where nobody says it.

Places that show enough contrast in both directions to be followed (Shi and Tomasi 1994), and whose
brightness changes over the video, are all followed; the one that swings most at one frequency is
the marker.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.video_files import FloatArray, Picture, VideoFile, opencv
from flightlog.groundtests.video_tracking import Tracker

MOST_CANDIDATES = 8
PRUNED_EVERY = 32
"""Pictures after which candidates that were mostly lost are given up."""

_WIDEST_PX = 640
_LEAST_CHANGE = 3.0
_LEAST_SEEN = 0.7
_ALIKE = 0.85
_WORSE = 0.03
_IN_TIME = 0.95
_STEPPY = 1.6
_LEAST_SWING_PX = 0.3
_LOWEST_HZ = 0.5


def usual_size(width: int, height: int) -> int:
    """Side of a marker's square where nobody says it: a fifteenth of the picture, odd. [px]"""
    side = int(np.clip(min(width, height) / 15, 15, 101))
    return side | 1


def candidates(video: VideoFile, size: int) -> list[Tracker]:
    """Go through a video once and give what is worth following, the best contrast first.

    Parameters
    ----------
    video : VideoFile
        Which.
    size : int
        Side of a marker's square. [px]
    """
    cv2 = opencv()
    first: Picture | None = None
    count, mean, spread = 0, np.zeros(0), np.zeros(0)
    shrink = 1.0
    for picture, _ in video.frames():
        if first is None:
            shrink = min(1.0, _WIDEST_PX / max(picture.shape))
        small = _shrunk(cv2, picture, shrink).astype(np.float32)
        if first is None:
            first = picture
            mean, spread = np.zeros_like(small), np.zeros_like(small)
        count += 1
        off = small - mean
        mean += off / count
        spread += off * (small - mean)
    if first is None or count < 2:
        return []
    change = np.sqrt(spread / count)
    side = max(round(size * shrink), 5)
    quality = _contrast(cv2, _shrunk(cv2, first, shrink), side)
    moving = change > max(_LEAST_CHANGE, 3.0 * float(np.median(change)))
    quality = quality * cv2.dilate(moving.astype(np.uint8), np.ones((side, side), np.uint8))
    places = _peaks(quality, side)
    return [Tracker((x + 0.5) / shrink - 0.5, (y + 0.5) / shrink - 0.5, size) for x, y in places]


def _shrunk(cv2: Any, picture: Picture, by: float) -> Picture:
    if by >= 1:
        return picture
    small = cv2.resize(picture, None, fx=by, fy=by, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8)


def _contrast(cv2: Any, picture: Picture, side: int) -> NDArray[np.float32]:
    """Give the weaker of the two contrasts of each square: the lesser eigenvalue's root."""
    calm = cv2.GaussianBlur(picture, (0, 0), 1.0)
    least = cv2.cornerMinEigenVal(calm, blockSize=side, ksize=3)
    quality = np.sqrt(np.maximum(least, 0.0))
    edge = side // 2 + 4  # there a square would leave the picture
    inner = np.zeros_like(quality)
    inner[edge:-edge, edge:-edge] = quality[edge:-edge, edge:-edge]
    return np.asarray(inner, dtype=np.float32)


def _peaks(quality: NDArray[np.float32], apart: int) -> list[tuple[int, int]]:
    """Give the highest places that are not near each other."""
    left = quality.copy()
    places: list[tuple[int, int]] = []
    while len(places) < MOST_CANDIDATES:
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        if not left[row, column] > 0.05 * quality.max():
            break
        places.append((int(column), int(row)))
        y0, x0 = max(int(row) - apart, 0), max(int(column) - apart, 0)
        left[y0 : int(row) + apart + 1, x0 : int(column) + apart + 1] = 0
    return places


def still_seen(trackers: list[Tracker]) -> list[Tracker]:
    """Give up candidates that were lost in most pictures; one stays in any case."""
    shares = [float(np.mean(np.array(t.matches) > 0)) for t in trackers]
    best = max(shares, default=0.0)
    return [t for t, s in zip(trackers, shares, strict=True) if s > 0.5 or s == best]


def best_of(trackers: Sequence[Tracker], time_s: FloatArray) -> Tracker | None:
    """Give the one that swings most at one frequency; None if none swings.

    Parameters
    ----------
    trackers : sequence of Tracker
        Each with a place for every picture; the best contrast first.
    time_s : array
        Times of the pictures. [s]
    """
    swinging = [(t, swing) for t in trackers if (swing := _swing(t, time_s)) > _LEAST_SWING_PX]
    if not swinging:
        return None
    # What was mistaken for another place moves like nothing else; what holds a piece of the
    # background matches worse.
    swinging = _together(swinging, time_s)
    matches = [float(np.median(t.matches)) for t, _ in swinging]
    good = [
        (t, swing)
        for (t, swing), match in zip(swinging, matches, strict=True)
        if match >= max(matches) - _WORSE
    ]
    most = max(swing for _, swing in good)
    alike = (t for t, swing in good if swing >= _ALIKE * most)
    return max(alike, key=lambda t: float(np.median(t.matches)))


def _together(
    swinging: list[tuple[Tracker, float]], time_s: FloatArray
) -> list[tuple[Tracker, float]]:
    """Give those that move in time with at least one other, where there are any."""
    if len(swinging) < 2:
        return swinging
    motions = np.stack([_main_motion(t, time_s) for t, _ in swinging])
    alike = np.abs(motions @ motions.T) - np.eye(len(motions))
    good = alike.max(axis=1) >= _IN_TIME
    return [pair for pair, keep in zip(swinging, good, strict=True) if keep] or swinging


def _main_motion(tracker: Tracker, time_s: FloatArray) -> FloatArray:
    """Give the motion along its largest direction, of length 1."""
    places = np.array(tracker.places)
    seen = np.isfinite(places[:, 0])
    filled = np.stack([np.interp(time_s, time_s[seen], places[seen, k]) for k in (0, 1)], axis=1)
    off = filled - filled.mean(axis=0)
    along = off @ np.linalg.svd(off, full_matrices=False)[2][0]
    return np.asarray(along / max(float(np.linalg.norm(along)), 1e-12))


def _swing(tracker: Tracker, time_s: FloatArray) -> float:
    """Give the size of the motion about the frequency at which it is largest. [px]"""
    places = np.array(tracker.places).reshape(-1, 2)
    seen = np.isfinite(places[:, 0])
    if np.count_nonzero(seen) < max(8, _LEAST_SEEN * len(places)) or time_s[-1] <= 0:
        return 0.0
    even_s = np.linspace(0.0, time_s[-1], len(time_s))
    power = np.zeros(len(even_s) // 2 + 1)
    for axis in range(2):
        along = np.interp(even_s, time_s[seen], places[seen, axis])
        slope = np.polynomial.Polynomial.fit(even_s, along, 1)
        shape = np.fft.rfft((along - slope(even_s)) * np.hanning(len(even_s)))
        power += np.abs(shape) ** 2
    at_hz = np.arange(len(power)) / time_s[-1]
    power[at_hz < _LOWEST_HZ] = 0
    peak = int(np.argmax(power))
    # From one picture to the next a swing covers a known part of its range at most.
    steps = np.hypot(*np.diff(places, axis=0).T)  # NaN beside a gap
    reach = float(np.hypot(*np.ptp(places[seen], axis=0)))
    part = np.sin(np.pi * min(float(at_hz[peak] * time_s[-1] / len(time_s)), 0.5))
    if float(np.nanmax(steps, initial=0.0)) > _STEPPY * part * reach + 1.0:
        return 0.0
    near = np.abs(at_hz - at_hz[peak]) <= max(0.1 * at_hz[peak], 2.0 / time_s[-1])
    share = float(power[near].sum() / max(power.sum(), 1e-12))
    # What jerks about has its power everywhere; a ring-down has it in one place.
    return share * float(np.sqrt(power[near].sum())) / len(even_s) * 4
