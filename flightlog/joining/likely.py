"""Which pairs of very many recordings may have anything to do with each other.

Comparing all of a season with all would take a time that grows with the square of their number.
What is said here is never too narrow: the pairs that are left out are such that the comparison
itself would find nothing in.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from flightlog.estimation.correlation import LEAST_S, Array
from flightlog.joining.copies import FEWEST_ROWS
from flightlog.joining.match import NEAR_M, QUARTER_S, SLACK_S, ZONES_S, is_unknown
from flightlog.joining.sketch import METRES_PER_DEG, Sketch

Places = npt.NDArray[np.int64]
Yes = npt.NDArray[np.bool_]

_ROUNDING_S, _ROUNDING_M = 1.0, 1.0
"""More than the same sums differ by, in whatever order they are made [s, m]."""
_LONGEST = 16
"""Beginnings of files are compared up to two to the power of this [bytes]."""
START_S = 1.0
"""The same rows in two files begin within this [s]."""


def _numbers(values: Sequence[float | None]) -> Array:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


class LikelyPartners:
    """Pairs of recordings that may be of one flight.

    Parameters
    ----------
    sketches : sequence of Sketch
        All of them.
    """

    def __init__(self, sketches: Sequence[Sketch]) -> None:
        self._start = _numbers([s.start_s for s in sketches])
        self._end = _numbers([s.end_s for s in sketches])
        self._unknown = np.array([is_unknown(s.utc) for s in sketches], dtype=bool)
        self._offset = _numbers([s.utc.offset_s or 0.0 for s in sketches])
        self._std = _numbers([s.utc.std_s or 0.0 for s in sketches])
        self._zone = np.array([s.utc.zone_known for s in sketches], dtype=bool)
        self._placed = np.array([len(s.latitude_deg.value) > 1 for s in sketches], dtype=bool)
        none = np.zeros(1)
        latitudes = [s.latitude_deg.value if len(s.latitude_deg.value) else none for s in sketches]
        self._south = _numbers([float(np.min(value)) for value in latitudes])
        self._north = _numbers([float(np.max(value)) for value in latitudes])

    def of(self, second: int, firsts: Sequence[int]) -> list[int]:
        """Give the places of those that may be of one flight with another, in their order.

        Parameters
        ----------
        second : int
            Which recording.
        firsts : sequence of int
            Those that it is to be compared with.
        """
        if not firsts:
            return []
        first = np.asarray(firsts, dtype=np.int64)
        # Of a clock that was never set positions tell, and both have to have them.
        free = self._unknown[first] | self._unknown[second]
        likely = np.where(
            free, self._meet(first, second), ~(self._shared_s(first, second) < LEAST_S)
        )
        return [int(place) for place in np.flatnonzero(likely)]

    def _meet(self, first: Places, second: int) -> Yes:
        reach = (NEAR_M + _ROUNDING_M) / METRES_PER_DEG
        apart = (self._north[first] + reach < self._south[second]) | (
            self._north[second] + reach < self._south[first]
        )
        return np.asarray(self._placed[first] & self._placed[second] & ~apart)

    def _shared_s(self, first: Places, second: int) -> Array:
        """Give the longest time that any offset of the clocks lets them share, and more [s]."""
        reach = 3.0 * np.hypot(self._std[first], self._std[second]) + SLACK_S + _ROUNDING_S
        low = np.where(self._zone[second], 0.0, -ZONES_S[1]) + np.where(
            self._zone[first], 0.0, ZONES_S[0]
        )
        high = np.where(self._zone[second], 0.0, -ZONES_S[0]) + np.where(
            self._zone[first], 0.0, ZONES_S[1]
        )
        with np.errstate(invalid="ignore"):  # a clock may say that it is ahead by infinity
            between = self._offset[second] - self._offset[first]
        low, high = between + low - reach, between + high + QUARTER_S + reach
        starts, ends = self._start[first], self._end[first]
        start, end = self._start[second], self._end[second]
        best = np.clip(0.5 * (starts + ends) - 0.5 * (start + end), low, high)
        shared = np.minimum(ends, end + best) - np.maximum(starts, start + best)
        return np.asarray(shared + 2.0 * _ROUNDING_S)


class LikelyCopies:
    """Pairs of recordings of which one may be a copy of the other.

    Parameters
    ----------
    sketches : sequence of Sketch
        All of them.
    stands : sequence of int
        Those that are to be compared, in their order.
    """

    def __init__(self, sketches: Sequence[Sketch], stands: Sequence[int]) -> None:
        chosen = [sketches[i] for i in stands]
        self._rows = np.array([len(s.latitude_deg.value) >= FEWEST_ROWS for s in chosen], bool)
        self._start = _numbers([s.start_s for s in chosen])
        self._zero = _numbers([s.utc.unix_offset_s for s in chosen])
        self._std = _numbers([s.utc.std_s or 0.0 for s in chosen])
        self._level: list[int] = []
        self._begins: list[dict[int, bytes]] = []
        self._alike: defaultdict[tuple[int, bytes], list[int]] = defaultdict(list)
        for place, one in enumerate(chosen):
            self._level.append(min(max(one.size, 1).bit_length() - 1, _LONGEST))
            self._begins.append(_beginnings(one.path))
            for beginning in self._begins[-1].items():
                self._alike[beginning].append(place)

    def before(self, place: int) -> list[int]:
        """Give the places before one of those that it may be a copy of, or that may be of it.

        Parameters
        ----------
        place : int
            In the order that was given.
        """
        level = self._level[place]
        own = self._begins[place].get(level)
        alike = self._alike[level, own] if own is not None else []
        found = {one for one in alike if one < place}
        found.update(np.flatnonzero(self._same_rows(place)).tolist())
        return sorted(found)

    def _same_rows(self, place: int) -> Yes:
        """Ask which of those before may hold the same rows; only where both have enough."""
        if not self._rows[place]:
            return np.zeros(0, dtype=bool)
        late = np.abs(self._start[:place] - self._start[place]) > START_S
        reach = 3.0 * np.hypot(self._std[:place], self._std[place]) + 1.0 + _ROUNDING_S
        with np.errstate(invalid="ignore"):
            other = np.abs(self._zero[:place] - self._zero[place]) > reach
        return np.asarray(self._rows[:place] & ~late & ~other)


def _beginnings(path: Path | None) -> dict[int, bytes]:
    """Give what the beginnings of a file are known by: power of two that is their size -> hash."""
    if path is None:
        return {}
    try:
        with path.open("rb") as file:
            data = file.read(1 << _LONGEST)
    except OSError:
        return {}
    known, running, done = {}, hashlib.sha256(), 0
    for level in range(_LONGEST + 1):
        if 1 << level > len(data):
            break
        running.update(data[done : 1 << level])
        done = 1 << level
        known[level] = running.digest()
    return known
