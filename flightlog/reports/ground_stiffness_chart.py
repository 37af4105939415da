"""How far a structure bent under its loads: both ways beside the line, and what is off it."""

from __future__ import annotations

import numpy as np

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.stiffness import StiffnessDetail
from flightlog.reports.chart import Chart, Line, Panel

_ID, _TITLE = "stiffness", "Deflection under load, mean of all loadings"


def chart(answer: GroundAnswer) -> Chart:
    """Draw deflection over load, and the loop off the line.

    Parameters
    ----------
    answer : GroundAnswer
        Of a static deflection.
    """
    detail = answer.detail
    if not isinstance(detail, StiffnessDetail) or not len(detail.rising):
        reason = next(iter(answer.withheld.values()), "nothing was loaded")
        return Chart(_ID, _TITLE, lacking=f"Nothing to draw: {reason.rstrip('.')}.")
    ways = [("load rising", detail.rising)]
    if len(detail.falling) > 1:
        ways.append(("load falling", detail.falling))
    start = detail.rising[0]
    load = np.unique(np.concatenate([way[:, 0] for _, way in ways]))
    line = start[1] + detail.compliance_m_n * (load - start[0])
    bent = [_line(k, name, way[:, 0], way[:, 1]) for k, (name, way) in enumerate(ways)]
    bent.append(Line("line of the stiffness", load, 1e3 * line, stroke="dotted", strong=False))
    off = [
        _line(k, name, way[:, 0], way[:, 1] - np.interp(way[:, 0], load, line))
        for k, (name, way) in enumerate(ways)
    ]
    return Chart(
        _ID,
        _TITLE,
        "load",
        "N",
        (Panel("Deflection", "mm", bent), Panel("Off the line", "mm", off)),
        left_out="" if len(ways) > 1 else "No reading was taken while the load went down.",
    )


def _line(which: int, name: str, load_n: FloatArray, net_m: FloatArray) -> Line:
    return Line(name, load_n, 1e3 * net_m, stroke="dashed" if which else "solid")
