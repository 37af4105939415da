"""A marker followed through the pictures of a video, to a small part of a pixel.

The place is found in two steps: normalised cross-correlation with a template finds it to about a
pixel, whatever the brightness (Lewis 1995); least squares then registers template and picture,
with shift, gain and offset free at once (Lucas and Kanade 1981, in the inverse form of Baker and
Matthews 2004). Both see a slightly smoothed picture, between whose pixels a Lanczos kernel
interpolates: a linear one would pull places towards whole pixels.

The template is the mean of the marker in the first pictures and is never changed afterwards, so
that nothing can creep along a slow drift.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.video_files import Picture, opencv

Patch = NDArray[np.float32]

SMOOTHING_PX = 1.0
LEAST_MATCH = 0.6
"""Correlation below which the marker counts as lost. [-]"""
TEMPLATE_PICTURES = 8
"""Pictures of which the template is the mean."""

_TAPS = 6
_EDGE = _TAPS // 2
_MOST_STEPS = 10
_CONVERGED_PX = 5e-4
_PARTS = 8192
_MOST_REFINED_PX = 1.6
_CLOSE_PX = 10
_AS_USUAL = 0.95
_FAR_EVERY = 5


def smoothed(picture: Picture) -> Patch:
    """Smooth a part of a picture as all comparisons want it."""
    cv2 = opencv()
    return np.asarray(cv2.GaussianBlur(picture.astype(np.float32), (0, 0), SMOOTHING_PX))


@cache
def _kernels() -> NDArray[np.float32]:
    """Weights of six pixels for places between the third and the fourth, by part of a pixel."""
    at = np.arange(_PARTS + 1)[:, None] / _PARTS - np.arange(-2.0, 4.0)
    weights = np.sinc(at) * np.sinc(at / _EDGE)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True), dtype=np.float32)


def patch_at(picture: Patch, x: float, y: float, size: int) -> Patch | None:
    """Interpolate a square about a place; None where it leaves the picture.

    Parameters
    ----------
    picture : array
        Shape (rows, columns).
    x, y : float
        Middle of the square: to the right and down, 0 at the middle of the first pixel. [px]
    size : int
        Odd. [px]
    """
    half = size // 2
    left, top = int(np.floor(x)), int(np.floor(y))
    x0, y0 = left - half - 2, top - half - 2
    span = size + _TAPS - 1
    if x0 < 0 or y0 < 0 or x0 + span > picture.shape[1] or y0 + span > picture.shape[0]:
        return None
    cut = picture[y0 : y0 + span, x0 : x0 + span]
    kernels = _kernels()
    down, right = kernels[round((y - top) * _PARTS)], kernels[round((x - left) * _PARTS)]
    whole = opencv().sepFilter2D(cut, -1, right, down, anchor=(2, 2))
    return np.asarray(whole[2 : 2 + size, 2 : 2 + size])


@dataclass(slots=True)
class _Template:
    """What the marker looks like, ready for registration."""

    values: Patch
    weights: NDArray[np.float64]
    solve: NDArray[np.float64]
    root: NDArray[np.float64]

    @classmethod
    def of(cls, wide: Patch) -> _Template | None:
        """Build from a square that is two pixels wider; None if it shows nothing."""
        values = wide[1:-1, 1:-1]
        size = len(values)
        along_x = (wide[1:-1, 2:] - wide[1:-1, :-2]) / 2
        along_y = (wide[2:, 1:-1] - wide[:-2, 1:-1]) / 2
        at = np.arange(size) - size // 2
        fall = np.exp(-0.5 * (at / (0.35 * size)) ** 2)
        weights = np.outer(fall, fall).ravel()
        root = np.sqrt(weights)
        one = np.ones_like(values)
        columns = np.stack([p.ravel() for p in (values, one, along_x, along_y)], axis=1)
        matrix = columns.astype(np.float64) * root[:, None]
        scaled = matrix / np.maximum(np.linalg.norm(matrix, axis=0), 1e-12)
        if not np.isfinite(matrix).all() or np.linalg.svd(scaled, compute_uv=False)[-1] < 1e-3:
            return None
        return cls(np.ascontiguousarray(values), weights, np.linalg.pinv(matrix), root)

    def match(self, patch: Patch) -> float:
        """Correlate with a square of the same size, weighted. [-]"""
        # Sums, not dot products: those start threads for large squares, and wait for each other.
        a, b, w = self.values.ravel(), patch.ravel(), self.weights
        a = a - (w * a).sum() / w.sum()
        b = b - (w * b).sum() / w.sum()
        size = float(np.sqrt((w * a * a).sum() * (w * b * b).sum()))
        return float((w * a * b).sum()) / size if size > 1e-9 else 0.0


@dataclass(slots=True)
class Tracker:
    """One marker.

    Attributes
    ----------
    x, y : float
        Where it was seen last; at first, where it is in the first picture. [px]
    size : int
        Side of its square, odd. [px]
    matches : list of float
        Correlation in each picture; 0 where it was lost. [-]
    places : list of tuple of float
        Its place in each picture; NaN where it was lost. [px]
    """

    x: float
    y: float
    size: int
    matches: list[float] = field(default_factory=list)
    places: list[tuple[float, float]] = field(default_factory=list)
    _template: _Template | None = None
    _speed: tuple[float, float] = (0.0, 0.0)
    _first: list[Patch] = field(default_factory=list)
    _lost: int = 0
    _usual: float = 0.0

    def start(self, picture: Picture) -> bool:
        """Take the template from the first picture; False if there is nothing to follow."""
        part, x0, y0 = _window(picture, self.x, self.y, self.size // 2 + 8)
        wide = patch_at(smoothed(part), self.x - x0, self.y - y0, self.size + 2)
        self._template = _Template.of(wide) if wide is not None else None
        return self._template is not None

    def step(self, picture: Picture) -> None:
        """Find the marker in the next picture."""
        found = self._found(picture)
        if found is None:
            self.places.append((np.nan, np.nan))
            self.matches.append(0.0)
            self._speed = (0.0, 0.0)
            self._lost += 1
            return
        self._lost = 0
        x, y, match, wide = found
        seen_before = bool(self.matches) and self.matches[-1] > 0
        self._speed = (x - self.x, y - self.y) if seen_before else (0.0, 0.0)
        self.x, self.y = x, y
        self.places.append((x, y))
        self.matches.append(match)
        self._usual = match if not self._usual else 0.9 * self._usual + 0.1 * match
        if wide is not None and len(self._first) < TEMPLATE_PICTURES:
            self._learn(wide)

    def _found(self, picture: Picture) -> tuple[float, float, float, Patch | None] | None:
        """Look where it should be, then around, then far off; the last costs most."""
        near = max(24, 2 * self.size)
        x, y = self.x + self._speed[0], self.y + self._speed[1]
        found = self._search(picture, x, y, _CLOSE_PX) if not self._lost else None
        if found is not None and found[2] >= _AS_USUAL * self._usual:
            return found
        found = self._search(picture, x, y, near)
        if found is None and (self._lost < _FAR_EVERY or self._lost % _FAR_EVERY == 0):
            found = self._search(picture, self.x, self.y, 4 * near)
        return found

    def _learn(self, wide: Patch) -> None:
        """Make the template the mean of the first pictures, once there are enough."""
        self._first.append(wide)
        if len(self._first) == TEMPLATE_PICTURES:
            mean = np.mean(self._first, axis=0)
            self._template = _Template.of(np.asarray(mean, dtype=np.float32)) or self._template

    def _search(
        self, picture: Picture, x: float, y: float, reach: int
    ) -> tuple[float, float, float, Patch | None] | None:
        """Find the template within a distance of a place: place, correlation, what is there."""
        template = self._template
        if template is None:
            return None
        cv2 = opencv()
        part, x0, y0 = _window(picture, x, y, reach + self.size // 2 + _EDGE)
        if min(part.shape) < self.size + _TAPS:
            return None
        seen = smoothed(part)
        scores = cv2.matchTemplate(seen, template.values, cv2.TM_CCOEFF_NORMED)
        _, best, _, (column, row) = cv2.minMaxLoc(scores)
        if not np.isfinite(best) or best < 0.8 * LEAST_MATCH:
            return None
        half = self.size // 2
        rough_x = column + _vertex(scores[row, :], column) + half
        rough_y = row + _vertex(scores[:, column], row) + half
        found = _registered(seen, template, rough_x, rough_y)
        if found is None:
            return None
        wide = patch_at(seen, found[0], found[1], self.size + 2)
        return found[0] + x0, found[1] + y0, found[2], wide


def _window(picture: Picture, x: float, y: float, half: int) -> tuple[Picture, int, int]:
    """Cut a square about a place, as far as the picture goes; and where it begins."""
    rows, columns = picture.shape
    middle_x, middle_y = round(min(max(x, 0), columns)), round(min(max(y, 0), rows))
    x0, y0 = max(middle_x - half, 0), max(middle_y - half, 0)
    return picture[y0 : middle_y + half + 1, x0 : middle_x + half + 1], x0, y0


def _vertex(scores: Any, at: int) -> float:
    """Give the top of the parabola through a peak and its neighbours, from the peak. [px]"""
    if not 0 < at < len(scores) - 1:
        return 0.0
    before, peak, after = (float(scores[at + k]) for k in (-1, 0, 1))
    bend = before - 2 * peak + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def _registered(
    seen: Patch, template: _Template, x: float, y: float
) -> tuple[float, float, float] | None:
    """Register by least squares from a rough place: place, and correlation there."""
    size = len(template.values)
    start_x, start_y = x, y
    for _ in range(_MOST_STEPS):
        patch = patch_at(seen, x, y, size)
        if patch is None:
            return None
        gain, _, along_x, along_y = template.solve @ (patch.ravel() * template.root)
        if not gain > 1e-6:
            return None
        step_x, step_y = -along_x / gain, -along_y / gain
        x, y = x + min(max(float(step_x), -1), 1), y + min(max(float(step_y), -1), 1)
        if max(abs(x - start_x), abs(y - start_y)) > _MOST_REFINED_PX:
            return None
        if max(abs(step_x), abs(step_y)) < _CONVERGED_PX:
            break
    patch = patch_at(seen, x, y, size)
    match = template.match(patch) if patch is not None else 0.0
    return (x, y, match) if match >= LEAST_MATCH else None
