"""A load in its envelope as lines of text: mass upwards, balance across.

::

    10.20 kg |
     9.27 kg |          ················
     8.33 kg |      ··········▒▒▒X········
     7.40 kg |    ············▒+▒▒········
             +-----------------------------------------
               28 %                                46 %
"""

from __future__ import annotations

from flightlog.inputs import Balance
from flightlog.operations.balance import Verdict
from flightlog.operations.polygon import Point, within

WIDE, HIGH = 56, 13
"""Columns and rows of a picture."""
FINE, PLAIN = ("·", "▒"), (".", "#")
"""Signs for the envelope and for what the load can be; the second ones are in every encoding."""
LOAD, WORST = "+", "X"
_MARGIN = 0.04


def picture(
    verdict: Verdict, balance: Balance, signs: tuple[str, str] = FINE, *, wide: int = WIDE
) -> list[str]:
    """Draw a load in its envelope.

    Parameters
    ----------
    verdict : Verdict
        The load, as judged.
    balance : Balance
        Of the aircraft's file.
    signs : tuple of str
        `FINE`, or `PLAIN` where the screen can't print these.
    wide : int
        Columns between the two edges.

    Returns
    -------
    list of str
        Lines, the last one the legend.
    """
    inside, box = signs
    points = (*balance.envelope, *verdict.corners)
    low, high = _view(points)
    step = ((high[0] - low[0]) / (HIGH - 1), (high[1] - low[1]) / (wide - 1))

    def cell(point: Point) -> tuple[int, int]:
        return round((high[0] - point[0]) / step[0]), round((point[1] - low[1]) / step[1])

    bottom, left = cell(verdict.low)
    top, right = cell(verdict.high)
    middle, worst = cell((verdict.loaded.mass.value, verdict.balance.value)), cell(verdict.worst)

    def sign(row: int, column: int) -> str:
        if (row, column) == worst:
            return WORST
        if (row, column) == middle:
            return LOAD
        if top <= row <= bottom and left <= column <= right:
            return box
        place = (high[0] - row * step[0], low[1] + column * step[1])
        return inside if within(place, balance.envelope) else " "

    lines = []
    for row in range(HIGH):
        signs_of_row = "".join(sign(row, column) for column in range(wide))
        lines.append(f"{high[0] - row * step[0]:7.2f} kg |{signs_of_row}".rstrip())
    lines.append(f"{'':10} +{'-' * wide}")
    lines.append(f"{'':12}{low[1]:<{wide - 8}.1f}{high[1]:.1f} %")
    where = "inside" if verdict.inside else "NOT inside"
    lines.append(
        f"{'':12}{inside} envelope   {box} what the load can be   {LOAD} load sheet   "
        f"{WORST} worst corner, {where}"
    )
    return lines


def _view(points: tuple[Point, ...]) -> tuple[Point, Point]:
    """Give the corners of what is drawn: all points, and a little around them."""
    spans = [[p[k] for p in points] for k in (0, 1)]
    ends = [(min(v), max(v)) for v in spans]
    room = [_MARGIN * (last - first) for first, last in ends]
    return (
        (ends[0][0] - room[0], ends[1][0] - room[1]),
        (ends[0][1] + room[0], ends[1][1] + room[1]),
    )
