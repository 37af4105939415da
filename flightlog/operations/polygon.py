"""Whether a point, a line or a box lies inside a polygon. A point on an edge lies inside.

The polygon may run round either way and have notches; it must not cross itself, which the file
that it stands in is refused for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

Point = tuple[float, float]
"""Two coordinates, of any units."""

ON_EDGE = 1e-9
"""A point this near to an edge lies on it: what rounding moves is nearer by far."""
_NO_GAP = 1e-12


def within(point: Point, polygon: Sequence[Point]) -> bool:
    """Whether a point lies inside a polygon or on its edge, whichever way it runs round."""
    inside = False
    for a, b in edges(polygon):
        if _distance(point, a, b) <= ON_EDGE:
            return True
        if (a[1] > point[1]) != (b[1] > point[1]):
            crossing = a[0] + (point[1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
            inside ^= point[0] < crossing
    return inside


def line_within(start: Point, end: Point, polygon: Sequence[Point]) -> bool:
    """Whether a straight line lies inside a polygon as a whole.

    It is cut wherever an edge, or the edge's prolongation, meets it; between two cuts nothing
    changes, so that the middle of each piece tells of the piece.
    """
    along = (end[0] - start[0], end[1] - start[1])
    cuts = {0.0, 1.0}
    for a, b in edges(polygon):
        edge, from_start = (b[0] - a[0], b[1] - a[1]), (a[0] - start[0], a[1] - start[1])
        across = _cross(along, edge)
        if across:
            cuts.add(_cross(from_start, edge) / across)
        elif length := along[0] ** 2 + along[1] ** 2:
            to_b = (b[0] - start[0], b[1] - start[1])
            cuts.update(_dot(corner, along) / length for corner in (from_start, to_b))
    places = sorted(t for t in cuts if 0 <= t <= 1)
    middles = [(t + u) / 2 for t, u in pairwise(places) if u - t > _NO_GAP]
    return all(
        within((start[0] + t * along[0], start[1] + t * along[1]), polygon)
        for t in (0.0, *middles, 1.0)
    )


def box_within(low: Point, high: Point, polygon: Sequence[Point]) -> bool:
    """Whether a box with upright sides lies inside a polygon as a whole.

    Parameters
    ----------
    low, high : Point
        Its least and its greatest coordinates; a box may be a line, or a point.
    polygon : sequence of Point
        Corners in order around it. As it does not cross itself it has no hole, so that what a
        closed line within it encloses lies within it too: the four sides tell of the box.
    """
    corners = (low, (low[0], high[1]), high, (high[0], low[1]))
    return all(line_within(a, b, polygon) for a, b in edges(corners))


def clearance(point: Point, polygon: Sequence[Point]) -> float:
    """Give how far a point lies from the edge, in shares of the polygon's width and height.

    Above 0 inside, below 0 outside.
    """
    size = [max(c[k] for c in polygon) - min(c[k] for c in polygon) for k in (0, 1)]
    scaled = [(c[0] / size[0], c[1] / size[1]) for c in polygon]
    place = (point[0] / size[0], point[1] / size[1])
    distance = min(_distance(place, a, b) for a, b in edges(scaled))
    return distance if within(point, polygon) else -distance


def edges(polygon: Sequence[Point]) -> list[tuple[Point, Point]]:
    """Give the edges of a polygon, each by its two ends."""
    return list(zip(polygon, (*polygon[1:], polygon[0]), strict=True))


def _distance(point: Point, a: Point, b: Point) -> float:
    """Distance of a point from a straight line between two."""
    along, to_point = (b[0] - a[0], b[1] - a[1]), (point[0] - a[0], point[1] - a[1])
    length = _dot(along, along)
    t = min(1.0, max(0.0, _dot(to_point, along) / length)) if length else 0.0
    return math.hypot(to_point[0] - t * along[0], to_point[1] - t * along[1])


def _cross(a: Point, b: Point) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _dot(a: Point, b: Point) -> float:
    return a[0] * b[0] + a[1] * b[1]
