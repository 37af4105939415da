"""Videos as files: what is one, and its pictures one after the other with their times.

Pictures are decoded by OpenCV (extra ``video``), grey, one at a time, so that memory does not grow
with the length. Times are the presentation time stamps of the file: phones record at a rate that
varies. The rate that a file states stands in only where it has no stamps.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.errors import FlightlogError, LogFileError
from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding

FloatArray = NDArray[np.float64]
Picture = NDArray[np.uint8]

MOST_PIXELS = 8192 * 4352
"""Of one picture; larger ones are no recording of a bench, and would not fit into memory."""
MOST_FRAMES = 60_000
"""Of one file: a quarter of an hour at 60 pictures a second."""
INSTALL = 'Install it: pip install "flightlog[video]".'

_HEAD = 16
_TIMEOUT_MS = 15_000
_MOST_WITHOUT_STAMP = 0.1


def is_video(path: Path) -> bool:
    """Whether the content of a file begins like a video: MP4 or MOV, AVI, Matroska or WebM.

    A file that can't be read is none. Only the first bytes are looked at.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except (OSError, ValueError):
        return False
    if len(head) < _HEAD:
        return False
    boxes = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"}
    return (
        head[4:8] in boxes
        or (head[:4] == b"RIFF" and head[8:12] == b"AVI ")
        or head[:4] == b"\x1aE\xdf\xa3"
    )


@cache
def opencv() -> Any:
    """Import OpenCV.

    Raises
    ------
    LogFileError
        If it is not installed.
    """
    # Its decoder writes to the terminal what it dislikes of a file; we say it ourselves.
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
    try:
        import cv2
    except ImportError as error:
        raise LogFileError(
            "a video needs OpenCV, which is not installed", where="video", fix=INSTALL
        ) from error
    return cv2


@dataclass(slots=True)
class VideoFile:
    """A video whose pictures can be gone through, more than once.

    Attributes
    ----------
    path : Path
        Where it is.
    width, height : int
        Of its pictures, as they are shown. [px]
    stated_rate_hz : float
        By the file; NaN where it states none. [1/s]
    stated_frames : int
        By the file, 0 where it states none.
    """

    path: Path
    width: int = 0
    height: int = 0
    stated_rate_hz: float = math.nan
    stated_frames: int = 0

    def unlike(self, found: str, fix: str) -> FlightlogError:
        """Build an error about this file."""
        return LogFileError(found, where=self.path.name or str(self.path), fix=fix)

    def frames(self) -> Iterator[tuple[Picture, float]]:
        """Give picture after picture with its time stamp; NaN without one. [s]

        Yields
        ------
        picture : array of uint8
            Shape (height, width), grey.
        stamp_s : float
            Presentation time.

        Raises
        ------
        LogFileError
            If it can't be decoded, is too large, or changes its size.
        """
        cv2 = opencv()
        capture = self._opened(cv2)
        try:
            count = 0
            while True:
                try:
                    good, colour = capture.read()
                except cv2.error:
                    return
                if not good or colour is None:
                    return
                if colour.shape[:2] != (self.height, self.width):
                    if count:
                        raise self.unlike("changes its size on the way", "Record it anew.")
                    self.height, self.width = colour.shape[:2]
                count += 1
                if count > MOST_FRAMES:
                    raise self.unlike(
                        f"holds more than {MOST_FRAMES} pictures", "Cut it to the ring-downs."
                    )
                yield _grey(cv2, colour), float(capture.get(cv2.CAP_PROP_POS_MSEC)) / 1e3
        finally:
            capture.release()

    def _opened(self, cv2: Any) -> Any:
        # The decoder is named, so that no name is taken for a series of pictures or an address.
        wait = [
            *(cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, _TIMEOUT_MS),
            *(cv2.CAP_PROP_READ_TIMEOUT_MSEC, _TIMEOUT_MS),
        ]
        fix = "Name a whole video file: MP4, MOV, AVI, MKV or WebM."
        if not is_video(self.path):
            raise self.unlike("is no video", fix)
        try:
            capture = cv2.VideoCapture(str(self.path.resolve()), cv2.CAP_FFMPEG, wait)
        except cv2.error as error:
            raise self.unlike("can't be opened as a video", fix) from error
        if not capture.isOpened():
            raise self.unlike("can't be opened as a video: cut off, or of an unknown coding", fix)
        self.width = int(_number(capture, cv2.CAP_PROP_FRAME_WIDTH))
        self.height = int(_number(capture, cv2.CAP_PROP_FRAME_HEIGHT))
        if self.width * self.height > MOST_PIXELS:
            capture.release()
            raise self.unlike(
                f"has pictures of {self.width} by {self.height} points, too many",
                "Make a smaller copy of it.",
            )
        rate = _number(capture, cv2.CAP_PROP_FPS)
        self.stated_rate_hz = rate if 0.1 < rate < 1e5 else math.nan
        self.stated_frames = int(_number(capture, cv2.CAP_PROP_FRAME_COUNT))
        return capture


def _number(capture: Any, which: int) -> float:
    value = float(capture.get(which))
    return value if math.isfinite(value) and 0 < value < 1e9 else 0.0


def _grey(cv2: Any, colour: Any) -> Picture:
    grey = colour if colour.ndim == 2 else cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY)
    return np.asarray(grey, dtype=np.uint8)


def frame_times(
    video: VideoFile, stamps_s: FloatArray, capture_rate_hz: float | None
) -> tuple[FloatArray, list[Finding]]:
    """Say when each picture was taken.

    Parameters
    ----------
    video : VideoFile
        Whose.
    stamps_s : array
        Shape (n,), presentation time stamps, n of at least 2. [s]
    capture_rate_hz : float or None
        At which it was recorded, where it plays at another one. [1/s]

    Returns
    -------
    time_s : array
        Shape (n,), from 0 at the first picture; never falling. [s]
    findings : list of Finding
        What was noticed.

    Raises
    ------
    LogFileError
        If there are neither stamps nor a rate.
    """
    findings: list[Finding] = []
    stamps = stamps_s - stamps_s[0]
    steps = np.diff(stamps)
    bad = int(np.count_nonzero(~(steps > 0)))
    if bad > _MOST_WITHOUT_STAMP * len(steps):
        rate = capture_rate_hz or video.stated_rate_hz
        if not math.isfinite(rate):
            raise video.unlike(
                "states neither times nor a rate of its pictures",
                "State capture_rate_hz under [ringdown.video] in a bench file.",
            )
        whose = "that was stated" if capture_rate_hz else "that the file states"
        message = f"{bad} of {len(steps)} pictures have no time stamp of their own; times are "
        message += f"by the rate {whose}, {rate:.6g} a second."
        findings.append(
            ground_finding("frame-times-nominal", message, evidence={"rate_hz": float(rate)})
        )
        return np.arange(len(stamps)) / rate, findings
    if bad:  # a stamp that does not rise is no time; its neighbours stand in
        good = np.concatenate([[True], stamps[1:] > np.maximum.accumulate(stamps[:-1])])
        index = np.arange(len(stamps))
        stamps = np.interp(index, index[good], stamps[good])
    if capture_rate_hz is not None:
        stamps, finding = _recorded_times(stamps, capture_rate_hz)
        findings.append(finding)
    return np.maximum.accumulate(stamps), findings


def _recorded_times(stamps: FloatArray, rate_hz: float) -> tuple[FloatArray, Finding]:
    """Turn times of playing into times of recording; a picture left out stays a gap."""
    steps = np.diff(stamps)
    whole = np.maximum(np.rint(steps / np.median(steps)), 1.0)
    step = float(steps.sum() / whole.sum())
    plays_hz = 1.0 / step
    even = bool(np.all(np.abs(steps / step - whole) < 0.2))
    counted = np.concatenate([[0.0], np.cumsum(whole)]) if even else stamps / step
    times = counted / rate_hz
    message = f"Plays {plays_hz:.4g} pictures a second and was recorded at {rate_hz:.6g}, as "
    message += f"stated: its times were divided by {rate_hz / plays_hz:.4g}."
    evidence = {"plays_hz": plays_hz, "recorded_hz": float(rate_hz)}
    return times, ground_finding("capture-rate-stated", message, evidence=evidence)
