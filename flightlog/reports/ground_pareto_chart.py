"""Propellers for a mission: ground roll against energy per distance."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

import numpy as np

from flightlog.groundtests.limits_of_choice import FITS, OUT
from flightlog.groundtests.propeller_choice import PropellerChoice, Weighed
from flightlog.operations.ground_choice import GroundChoice
from flightlog.reports.chart import Bound, Chart, Line, Panel, Spot
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain

TITLE = "Propellers: roll against energy"
_LONGEST, _SHORTEST = 40, 16


def pareto_chart(answer: GroundChoice) -> Chart:
    """Draw each propeller as a spot, with the line of those that nothing is shown to beat.

    Parameters
    ----------
    answer : GroundChoice
        What was weighed.
    """
    choice = answer.propellers
    if choice is None:
        return Chart("pareto", TITLE, lacking="The mission names no propellers.")
    shown = [w for w in choice.candidates if _drawable(w)]
    if not shown:
        return Chart("pareto", TITLE, lacking=f"Nothing to draw: {_why(choice)}.")
    out = [w.name for w in choice.candidates if w not in shown]
    limit = answer.mission.limits.roll_m
    source = answer.mission.limits.source
    bounds = (
        ()
        if limit is None
        else (Bound(f"at most {limit:g} m" + (f" ({source})" if source else ""), limit),)
    )
    left_out = f"Not drawn, for want of a number: {', '.join(out)}." if out else ""
    return Chart(
        "pareto",
        TITLE,
        "energy in cruise",
        "Wh/km",
        (Panel("ground roll", "m", tuple(_lines(shown)), tuple(_spots(shown)), bounds),),
        left_out=plain(left_out, 400),
    )


def _drawable(w: Weighed) -> bool:
    pair = [w.figures.get(figure) for figure in ("roll_m", "wh_per_km")]
    return all(spread is not None and math.isfinite(spread.value) for spread in pair)


def _why(choice: PropellerChoice) -> str:
    for w in choice.candidates:
        for figure in ("roll_m", "wh_per_km"):
            if figure in w.withheld:
                return f"{plain(w.name, _LONGEST)}: {w.withheld[figure]}"
    return "no propeller reaches lift-off and cruise"


def _spots(shown: list[Weighed]) -> Iterator[Spot]:
    for w in shown:
        energy = w.figures["wh_per_km"]
        low, high = energy.interval
        wide = "" if low == high else f", {_end(low)} to {_end(high)} Wh/km"
        text = f"{plain(w.name, _LONGEST)}: {w.state}{wide}"
        shape: Literal["circle", "cross", "triangle"] = "triangle"
        if w.state in (FITS, OUT):
            shape = "circle" if w.state == FITS else "cross"
        roll = w.figures["roll_m"].value
        yield Spot(text, energy.value, roll, shape, plain(w.name, _SHORTEST))


def _end(value: float) -> str:
    return digits(value, 2) if math.isfinite(value) else "out of reach"


def _lines(shown: list[Weighed]) -> Iterator[Line]:
    """Give the interval of each roll as an upright bar, and the front."""
    bars: list[tuple[float, float]] = []
    for w in sorted(shown, key=lambda one: one.figures["wh_per_km"].value):
        x = w.figures["wh_per_km"].value
        low, high = w.figures["roll_m"].interval
        high = high if math.isfinite(high) else w.figures["roll_m"].value
        bars += [(x, low), (x, high), (x, math.nan)]
    # The axis reaches over the intervals of the energy, which the legend tells.
    ends = [end for w in shown for end in w.figures["wh_per_km"].interval if math.isfinite(end)]
    bars = [(min(ends), math.nan), *bars, (max(ends), math.nan)]
    x_of, y_of = (np.array(column) for column in zip(*bars, strict=True))
    yield Line("95 % interval of the roll", x_of, y_of, strong=False)
    front = sorted(
        (w.figures["wh_per_km"].value, w.figures["roll_m"].value) for w in shown if w.on_front
    )
    if len(front) > 1:
        x_of, y_of = (np.array(column) for column in zip(*front, strict=True))
        yield Line("not shown to be beaten", x_of, y_of, stroke="dashed", strong=False)
