"""Copies: the same file twice, the same rows twice, and a file that has grown since."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from flightlog.estimation.correlation import Trace
from flightlog.joining.sketch import Sketch
from flightlog.recording import UtcRelation

_CHUNK = 1 << 20
_END = 1 << 12
FEWEST_ROWS = 20
"""Fewer are no proof that two files hold the same."""
_STAMP_S = 2e-3
"""Stamps of one log in two forms differ by less: text has milliseconds [s]."""
_PLACE_DEG = 2e-7
"""And positions: text has seven decimals [deg]."""
_SPEED_M_S = 0.02
"""And speeds: text has two decimals [m/s]."""
_MISSING_ROWS = 2


def is_beginning(short: Path, long: Path, size: int) -> bool:
    """Whether the first ``size`` bytes of the long file are all of the short one.

    The last of them are compared first, since logs of one autopilot begin alike; then both are read
    piece by piece. A file that can't be read is no copy.
    """
    try:
        with short.open("rb") as one, long.open("rb") as two:
            end = max(0, size - _END)
            one.seek(end)
            two.seek(end)
            if one.read(_END) != two.read(size - end):
                return False
            one.seek(0)
            two.seek(0)
            left = size
            while left > 0:
                piece = one.read(min(_CHUNK, left))
                if not piece or piece != two.read(len(piece)):
                    return False
                left -= len(piece)
            return not one.read(1)
    except OSError:
        return False


def has_rows_of(long: Sketch, short: Sketch) -> bool:
    """Whether all fixes of one recording are in another, at the same times of the same clock.

    The last ones of the shorter may be missing, as when its end was damaged.
    """
    if _other_time(long.utc, short.utc):
        return False
    moving = len(np.unique(short.latitude_deg.value)) > FEWEST_ROWS // 2
    if not moving or min(len(s.latitude_deg.value) for s in (long, short)) < FEWEST_ROWS:
        return False  # a place where nothing moved is no proof
    return all(
        _is_part(mine, theirs, within)
        for mine, theirs, within in (
            (short.latitude_deg, long.latitude_deg, _PLACE_DEG),
            (short.longitude_deg, long.longitude_deg, _PLACE_DEG),
            (short.speed, long.speed, _SPEED_M_S),
        )
    )


def _other_time(one: UtcRelation, two: UtcRelation) -> bool:
    """Whether the two clocks had their zero at different moments."""
    if one.unix_offset_s is None or two.unix_offset_s is None:
        return False
    reach = 3.0 * float(np.hypot(one.std_s or 0.0, two.std_s or 0.0)) + 1.0
    return abs(one.unix_offset_s - two.unix_offset_s) > reach


def _is_part(mine: Trace, theirs: Trace, within: float) -> bool:
    if not len(mine.value):
        return True
    if not len(theirs.value):
        return False
    near = np.searchsorted(theirs.time_s, mine.time_s - _STAMP_S)
    near = np.minimum(near, len(theirs.value) - 1)
    same = np.abs(theirs.time_s[near] - mine.time_s) <= _STAMP_S
    same &= np.abs(theirs.value[near] - mine.value) <= within
    return int((~same).sum()) <= _MISSING_ROWS
