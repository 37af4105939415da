"""What a thrust stand gives at each level: thrust, power, coefficients and efficiencies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.thrust import ThrustDetail
from flightlog.groundtests.thrust_detail import Points
from flightlog.reports.chart import Array, Chart, Line, Panel, Stroke
from flightlog.uncertain import NORMAL_95

ID = "thrust"
TITLE = "Thrust stand"
_AXES = (
    # quantity, label, unit, factor
    ("speed", "speed", "rpm", 60.0),
    ("power", "electrical power", "W", 1.0),
)
_PANELS = (
    # quantity, title, unit, factor; a panel each, since bands of two lines would hide one another
    ("ct", "CT", "", 1.0),
    ("cp", "CP", "", 1.0),
    ("drive_efficiency", "Drive efficiency", "%", 100.0),
    ("figure_of_merit", "Figure of merit", "", 1.0),
)
_COMMANDS = {"pulse": ("pulse", "µs"), "throttle": ("throttle", "%")}


def chart(answer: GroundAnswer) -> Chart:
    """Draw a test against speed; against electrical power or throttle where there is no speed.

    Parameters
    ----------
    answer : GroundAnswer
        Of a thrust stand; one without a detail says why nothing is drawn.
    """
    detail = answer.detail
    if not isinstance(detail, ThrustDetail) or not len(detail.level):
        return Chart(ID, TITLE, lacking="Nothing to draw: no step under power was found.")
    levels, steps = detail.levels, detail.steps
    if "thrust.greatest" in answer.withheld and "thrust" in levels:
        # Readings are shown where the figure is withheld, but no band that would pretend.
        bare = Points(levels["thrust"].value, np.full(len(levels["thrust"].value), np.nan))
        levels = {**levels, "thrust": bare}
    label, unit, x_levels, x_steps = _axis(detail)
    panels = [
        Panel("Thrust", "N", tuple(_curve(levels, steps, "thrust", x_levels, x_steps))),
    ]
    if label != "electrical power":
        power = tuple(_curve(levels, steps, "power", x_levels, x_steps, said="electrical power"))
        panels.append(Panel("Electrical power", "W", power))
    for name, title, of, factor in _PANELS:
        if name in levels and f"thrust.{name}" not in answer.withheld:
            panels.append(
                Panel(title, of, tuple(_line(levels[name], title, x_levels, factor, "solid")))
            )
    return Chart(
        ID,
        TITLE,
        label,
        unit,
        tuple(panel for panel in panels if panel.lines),
        left_out=_left_out(answer, levels),
    )


def _axis(detail: ThrustDetail) -> tuple[str, str, Array, Array]:
    """Choose what the chart is drawn against."""
    for name, label, unit, factor in _AXES:
        if name in detail.levels and np.isfinite(detail.levels[name].value).all():
            x = detail.levels[name].value * factor, detail.steps[name].value * factor
            return label, unit, *x
    label, unit = _COMMANDS.get(detail.command, ("level", ""))
    levels = np.sort(detail.level)
    ends = np.linspace(levels[0], levels[-1], _count(detail))
    return label, unit, ends, detail.level


def _count(detail: ThrustDetail) -> int:
    return max((len(points.value) for points in detail.levels.values()), default=0)


def _curve(
    levels: Mapping[str, Points],
    steps: Mapping[str, Points],
    name: str,
    x_levels: Array,
    x_steps: Array,
    *,
    said: str = "",
) -> Iterator[Line]:
    """Draw a quantity: the mean of each level, and the single steps where there are repeats."""
    if name not in levels:
        return
    said = said or name
    yield from _line(levels[name], f"{said}, mean of each level", x_levels, 1.0, "solid")
    if len(x_steps) > len(x_levels):
        order = np.argsort(x_steps, kind="stable")
        y = steps[name].value[order]
        yield Line("single steps", x_steps[order], y, stroke="points", strong=False)


def _line(points: Points, name: str, x: Array, factor: float, stroke: Stroke) -> Iterator[Line]:
    order = np.argsort(x, kind="stable")
    order = order[np.isfinite(x[order])]
    y = points.value[order] * factor
    if not np.isfinite(y).any():
        return
    half = NORMAL_95 * points.std[order] * factor
    if np.isfinite(half).any():
        yield Line(name, x[order], y, y - half, y + half, stroke)
    else:
        yield Line(name, x[order], y, stroke=stroke)


def _left_out(answer: GroundAnswer, levels: Mapping[str, Points]) -> str:
    """Say why coefficients, or bands, are not drawn."""
    reasons: dict[str, list[str]] = {}
    for id_, what in (
        ("thrust.ct", "CT"),
        ("thrust.cp", "CP"),
        ("thrust.drive_efficiency", "drive efficiency"),
        ("thrust.figure_of_merit", "figure of merit"),
    ):
        if id_ in answer.withheld:
            reasons.setdefault(answer.withheld[id_].rstrip("."), []).append(what)
    if "thrust" in levels and not np.isfinite(levels["thrust"].std).any():
        why = answer.withheld.get("thrust.greatest", "its uncertainty is not known")
        reasons.setdefault(why.rstrip("."), []).append("the band of the thrust")
    said = (f"{', '.join(what)}: {why}." for why, what in reasons.items())
    told = " Also without ".join(said)
    return f"Without {told}" if told else ""
