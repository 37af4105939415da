"""The table of a linkage as lines of an aircraft file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from flightlog.figures import slug

MOST_POINTS = 40
"""An aircraft file takes no more for one output."""
_A_LINE = 3

Points = Sequence[tuple[float, float]]


def file_lines(
    surfaces: Sequence[tuple[str, Points]], outputs: Mapping[str, int]
) -> tuple[str, ...]:
    """Write tables of deflections as an aircraft file takes them.

    Parameters
    ----------
    surfaces : sequence of (name, points)
        Names as in ids of figures. Points are (pulse [us], deflection [deg]), pulses rising. A
        table that turns back, or has one point, is left out, since the file would be refused.
    outputs : mapping of str to int
        Surface -> number of its output; where it is not known N stands for it.

    Returns
    -------
    tuple of str
        Lines of TOML.
    """
    numbers = {slug(name): number for name, number in outputs.items()}
    lines: list[str] = []
    for name, points in surfaces:
        few = [(round(pulse), round(angle, 2) + 0.0) for pulse, angle in _thinned(points)]
        steps = [b[1] - a[1] for a, b in pairwise(few)]
        if not steps or not (all(d > 0 for d in steps) or all(d < 0 for d in steps)):
            continue
        if lines:
            lines.append("")
        number: int | str = numbers.get(name, "N")
        if number == "N":
            lines.append("# put the number of its output in place of N")
        lines += [f"[outputs.{number}]", f'name = "{name}"']
        lines.append("deflection = [  # pulse in us, trailing edge down in deg")
        for k in range(0, len(few), _A_LINE):
            pairs = (f"[{pulse}, {angle:.2f}]" for pulse, angle in few[k : k + _A_LINE])
            lines.append(f"    {', '.join(pairs)},")
        lines.append("]")
    return tuple(lines)


def _thinned(points: Points) -> Points:
    if len(points) <= MOST_POINTS:
        return points
    last = len(points) - 1
    return [points[round(k * last / (MOST_POINTS - 1))] for k in range(MOST_POINTS)]
