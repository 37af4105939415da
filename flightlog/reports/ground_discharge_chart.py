"""A discharge of a pack: voltage over the charge drawn, cells, and resistance along the way."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flightlog.constants import COULOMB_PER_AH
from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.discharge_detail import DischargeDetail, DrawnLine
from flightlog.groundtests.discharge_steps import StepResistance
from flightlog.reports.chart import Bound, Chart, Line, Mark, Panel, Stroke
from flightlog.reports.chart_pieces import STROKES
from flightlog.uncertain import NORMAL_95

ID = "ground-discharge"
TITLE = "Discharge: voltage over the charge drawn"


def chart(answer: GroundAnswer) -> Chart:
    """Draw the voltage of the pack, its weakest and strongest cell, and the resistance.

    Parameters
    ----------
    answer : GroundAnswer
        Of a discharge.
    """
    detail = answer.detail
    if not isinstance(detail, DischargeDetail) or not detail.lines:
        why = next(iter(answer.withheld.values()), "the file holds no discharge")
        return Chart(ID, TITLE, lacking=f"Nothing to draw: {why.rstrip('.')}.")
    # A panel tells four lines apart; the newest are shown.
    lines = detail.lines[-len(STROKES) + 1 :]
    panels = [_pack(lines, detail), *_cells(lines[-1], detail), *_resistance(detail)]
    marks = [
        Mark(f"cut-off, {line.name}" if len(lines) > 1 else "cut-off", line.end_ah)
        for line in lines
        if line.end_ah is not None
    ]
    return Chart(
        ID,
        TITLE,
        "charge drawn",
        "Ah",
        panels,
        sorted(marks, key=lambda mark: mark.x),
        left_out=_left_out(lines[-1], detail, len(detail.lines) - len(lines)),
    )


def _pack(lines: Sequence[DrawnLine], detail: DischargeDetail) -> Panel:
    drawn = [
        Line(
            line.name if len(lines) > 1 else "under load",
            line.drawn_ah,
            line.volts,
            stroke=stroke,
            strong=line is lines[-1],
        )
        for line, stroke in zip(lines, STROKES, strict=False)
    ]
    bounds = []
    if detail.cutoff_v is not None:
        bounds.append(Bound(f"cut-off {detail.cutoff_v:.2f} V", detail.cutoff_v, ">="))
    return Panel("Voltage of the pack", "V", drawn, bounds=bounds)


def _cells(line: DrawnLine, detail: DischargeDetail) -> list[Panel]:
    """Weakest and strongest cell, else the mean of all."""
    bounds = []
    if detail.cutoff_v is not None and detail.cells:
        cell = detail.cutoff_v / detail.cells
        bounds.append(Bound(f"cut-off {cell:.2f} V", cell, ">="))
    if line.lowest_v is not None and line.highest_v is not None:
        drawn = (
            Line("lowest cell", line.drawn_ah, line.lowest_v),
            Line("highest cell", line.drawn_ah, line.highest_v, stroke="dashed", strong=False),
        )
        return [Panel("Voltage of the cells", "V", drawn, bounds=bounds)]
    if not detail.cells:
        return []
    mean = Line("mean of the cells", line.drawn_ah, line.volts / detail.cells)
    return [Panel("Voltage per cell", "V", (mean,), bounds=bounds)]


def _resistance(detail: DischargeDetail) -> list[Panel]:
    if not detail.steps:
        return []
    warm = [step for step in detail.steps if step.ohm_25c is not None]
    drawn = [_points("resistance", detail.steps, [s.ohm for s in detail.steps], "solid")]
    if len(warm) > 1:
        at_25c = [step.ohm_25c or 0.0 for step in warm]
        drawn.append(_points("at 25 °C", warm, at_25c, "dashed"))
    return [Panel("Resistance, 1 s scale", "ohm", drawn)]


def _points(
    name: str, steps: Sequence[StepResistance], ohm: Sequence[float], stroke: Stroke
) -> Line:
    order = np.argsort([step.charge_c for step in steps], kind="stable")
    x = np.array([steps[i].charge_c for i in order]) / COULOMB_PER_AH
    y = np.array([ohm[i] for i in order])
    half = NORMAL_95 * y * np.array([steps[i].std_ohm / steps[i].ohm for i in order])
    # One point is no line.
    return Line(
        name, x, y, y - half, y + half, stroke if x.size > 1 else "points", stroke == "solid"
    )


def _left_out(line: DrawnLine, detail: DischargeDetail, more: int) -> str:
    said = []
    if more > 0:
        said.append(f"{more} earlier discharges are not drawn.")
    if line.lowest_v is None:
        said.append("Single cells are left out: log them by the balance plug.")
    if not detail.steps:
        said.append("The resistance is left out: no step of the current tells it.")
    return " ".join(said)
