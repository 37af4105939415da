"""Where the scales stood, and where the centre of gravity is: the aircraft from above."""

from __future__ import annotations

import math

import numpy as np

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.scales import WeighingDetail
from flightlog.reports.chart import Chart, Line, Panel, Spot

_ID, _TITLE = "weighing", "Scales and centre of gravity, from above"


def chart(answer: GroundAnswer) -> Chart:
    """Draw the scales of a weighing, and the centre of gravity between them."""
    detail = answer.detail
    if not isinstance(detail, WeighingDetail):
        return Chart(_ID, _TITLE, lacking="No balance follows from this weighing.")
    placed = [(name, arm, side) for name, arm, side, _ in detail.scales if math.isfinite(side)]
    if len(placed) < len(detail.scales):
        return Chart(_ID, _TITLE, lacking="The sides of the scales are not known.")
    spots = [Spot(f"scale {name}", arm, side, "square", name) for name, arm, side in placed]
    spots.append(Spot("centre of gravity", detail.arm_m, detail.side_m, "circle"))
    around = [*placed, placed[0]] if len(placed) > 2 else placed
    order = sorted(around[:-1], key=lambda p: math.atan2(p[2] - detail.side_m, p[1] - detail.arm_m))
    ring = [*order, order[0]] if len(placed) > 2 else placed
    line = Line(
        "between the scales",
        np.array([arm for _, arm, _ in ring]),
        np.array([side for _, _, side in ring]),
        stroke="dotted",
        strong=False,
    )
    panel = Panel("Side, to the right", "m", (line,), spots)
    return Chart(_ID, _TITLE, "Arm, aft of the datum", "m", (panel,))
