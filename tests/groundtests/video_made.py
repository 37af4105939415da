"""Videos of a wing tip that rings down, rendered with known truth, and files written by hand."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    """A tip that hangs still, is let go at ``release_s``, and rings down in one mode."""

    width: int = 640
    height: int = 360
    rate_hz: float = 60.0
    length_s: float = 6.0
    frequency_hz: float = 6.5
    damping: float = 0.018
    amplitude_px: float = 12.0
    release_s: float = 0.5
    disc_px: float = 11.0  # radius
    exposure: float = 0.25  # share of the time between two pictures
    noise: float = 4.0  # grey levels
    flicker: float = 0.03
    shake_px: float = 0.0
    disc: bool = True

    def times(self) -> FloatArray:
        return np.arange(round(self.length_s * self.rate_hz)) / self.rate_hz

    def up_px(self, time_s: FloatArray) -> FloatArray:
        """Deflection upwards; held down by the amplitude before the release."""
        t = np.maximum(time_s - self.release_s, 0.0)
        decay = self.damping * 2 * np.pi * self.frequency_hz
        omega = 2 * np.pi * self.frequency_hz * np.sqrt(1 - self.damping**2)
        swing = np.cos(omega * t) + decay / omega * np.sin(omega * t)
        return np.asarray(-self.amplitude_px * np.exp(-decay * t) * swing)


class Painter:
    """Renders the pictures of a scene: a textured wing before a textured wall, and a disc."""

    def __init__(self, scene: Scene, seed: int) -> None:
        self.scene = scene
        self.rng = np.random.default_rng((2027, seed))
        shape = (scene.height, scene.width)
        self.wall = 105 + 22 * _texture(self.rng, shape, 5.0)
        self.wing = 170 + 16 * _texture(self.rng, shape, 2.5)
        self.y, self.x = np.mgrid[0 : scene.height, 0 : scene.width].astype(float)
        self.calm: FloatArray | None = None
        self.jitter = self.rng.uniform(-0.5, 0.5, 2)

    @property
    def rest_px(self) -> tuple[float, float]:
        """Middle of the disc where nothing bends the wing."""
        s = self.scene
        return (0.72 * s.width + self.jitter[0], 0.5 * s.height + self.jitter[1])

    @property
    def marker_px(self) -> tuple[float, float]:
        """Middle of the disc in the first picture, as a person reads it: whole pixels."""
        x, y = self.rest_px
        return (float(round(x)), float(round(y - self.scene.up_px(np.zeros(1))[0])))

    @property
    def corner_px(self) -> tuple[float, float]:
        """A cross on the wall, which stands still."""
        return (0.12 * self.scene.width, 0.2 * self.scene.height)

    def picture(self, time_s: float, shake: tuple[float, float] = (0.0, 0.0)) -> NDArray[np.uint8]:
        s = self.scene
        blurs = 3 if s.exposure > 0 else 1
        total = np.zeros((s.height, s.width))
        for k in range(blurs):
            moment = time_s + (k / max(blurs - 1, 1) - 0.5) * s.exposure / s.rate_hz
            total += self._still(float(s.up_px(np.array([moment]))[0]), shake)
        light = 1 + s.flicker * np.sin(2 * np.pi * 0.7 * time_s)
        grey = total / blurs * light + self.rng.normal(0, s.noise, total.shape)
        return np.asarray(np.clip(np.rint(grey), 0, 255), dtype=np.uint8)

    def _still(self, up_px: float, shake: tuple[float, float]) -> FloatArray:
        """One moment; what stands still is painted once, unless the camera moves."""
        s = self.scene
        if any(shake):
            return self._band(up_px, shake, slice(0, s.height))
        if self.calm is None:
            self.calm = self._band(0.0, shake, slice(0, s.height))
        reach = 0.11 * s.height + 1.4 * s.amplitude_px + 4
        middle = self.rest_px[1]
        band = slice(max(int(middle - reach), 0), int(middle + reach) + 1)
        seen = self.calm.copy()
        seen[band] = self._band(up_px, shake, band)
        return seen

    def _band(self, up_px: float, shake: tuple[float, float], band: slice) -> FloatArray:
        s = self.scene
        x0, y0 = self.rest_px
        # Bends like a cantilever: the wing comes from the left and ends behind the disc.
        x, y = self.x[band] - shake[0], self.y[band] - shake[1]
        along = np.clip((x - 0.1 * s.width) / (x0 - 0.1 * s.width), 0, 1.15)
        bent = up_px * along**2
        half = 0.11 * s.height
        off = y - (y0 - bent)
        inside = _edge(half - np.abs(off)) * _edge(1.12 * x0 - x)
        rows = np.clip(y + bent, 0, s.height - 1.01)
        columns = np.clip(x, 0, s.width - 1)
        wing = _shifted(self.wing, rows, columns)
        wall = _shifted(self.wall, np.clip(y, 0, s.height - 1.01), columns)
        seen = wall * (1 - inside) + wing * inside
        cx, cy = self.corner_px
        upright = _edge(2 - np.abs(x - cx)) * _edge(9 - np.abs(y - cy))
        cross = np.maximum(upright, _edge(2 - np.abs(y - cy)) * _edge(9 - np.abs(x - cx)))
        seen = seen * (1 - cross) + 15 * cross
        if not s.disc:
            return np.asarray(seen)
        far = np.hypot(x - x0, y - (y0 - up_px))
        disc = _edge(s.disc_px - far)
        dark = np.where(far < 0.4 * s.disc_px, 235.0, 30.0)
        return np.asarray(seen * (1 - disc) + dark * disc)


def _edge(inside_px: FloatArray) -> FloatArray:
    """1 inside, 0 outside, and soft across a pixel and a half, as a lens draws it."""
    return np.clip(inside_px / 1.5 + 0.5, 0, 1)


def _texture(rng: np.random.Generator, shape: tuple[int, int], grain_px: float) -> FloatArray:
    soft = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), grain_px)
    return np.asarray(soft / soft.std())


def _shifted(picture: FloatArray, rows: FloatArray, columns: FloatArray) -> FloatArray:
    low = np.floor(rows).astype(int)
    part = rows - low
    near = np.rint(columns).astype(int)
    return (1 - part) * picture[low, near] + part * picture[low + 1, near]


def write_video(
    path: Path, scene: Scene, seed: int, code: str = "mp4v", stated_hz: float | None = None
) -> Painter:
    """Render a scene into a file; give what painted it."""
    painter = Painter(scene, seed)
    size = (scene.width, scene.height)
    writer = cv2.VideoWriter(
        str(path), cv2.VideoWriter.fourcc(*code), stated_hz or scene.rate_hz, size
    )
    assert writer.isOpened()
    for picture in pictures(painter):
        writer.write(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))
    writer.release()
    return painter


def pictures(painter: Painter, times_s: FloatArray | None = None) -> Any:
    """Render picture after picture; a camera that is held by hand wanders."""
    s = painter.scene
    moments = s.times() if times_s is None else times_s
    wander = np.cumsum(painter.rng.normal(0, 1, (len(moments), 2)), axis=0)
    wander -= wander[0]
    wander *= s.shake_px / max(float(np.abs(wander).max()), 1e-9)
    for t, (dx, dy) in zip(moments, wander, strict=True):
        yield painter.picture(float(t), (float(dx), float(dy)))


# --- Matroska by hand: stamps as one likes (RFC 9559)


def _element(id_: str, content: bytes) -> bytes:
    return bytes.fromhex(id_) + struct.pack(">Q", len(content) | 1 << 56) + content


def _unsigned(id_: str, value: int) -> bytes:
    return _element(id_, value.to_bytes(max((value.bit_length() + 7) // 8, 1), "big"))


def write_matroska(path: Path, scene: Scene, seed: int, times_s: FloatArray) -> Painter:
    """Write pictures, as JPEG, at given times of 0.1 ms resolution."""
    painter = Painter(scene, seed)
    head = _element(
        "1A45DFA3",
        _unsigned("4286", 1)
        + _unsigned("42F7", 1)
        + _unsigned("42F2", 4)
        + _unsigned("42F3", 8)
        + _element("4282", b"matroska")
        + _unsigned("4287", 4)
        + _unsigned("4285", 2),
    )
    info = _element("1549A966", _unsigned("2AD7B1", 100_000) + _element("4D80", b"t"))
    shape = _element("E0", _unsigned("B0", scene.width) + _unsigned("BA", scene.height))
    track = _unsigned("D7", 1) + _unsigned("73C5", 1) + _unsigned("83", 1)
    tracks = _element("1654AE6B", _element("AE", track + _element("86", b"V_MJPEG") + shape))
    clusters = b""
    for moment, picture in zip(times_s, pictures(painter, times_s), strict=True):
        good, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 90])
        assert good
        block = _element("A3", b"\x81" + struct.pack(">hB", 0, 0x80) + jpeg.tobytes())
        clusters += _element("1F43B675", _unsigned("E7", round(moment * 1e4)) + block)
    path.write_bytes(head + _element("18538067", info + tracks + clusters))
    return painter
