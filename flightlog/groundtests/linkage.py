"""Servo and linkage: which pulse gives which deflection, and what moves between them.

The gauge's own error is not in the scatter of its readings, so it has to be stated. It is taken as
alike at neighbouring angles: at any angle it counts whole; in a slope as if it were wrong one way
at one end of the travel and the other way at the other, which is the worst that it can do.

The play of the bench is comparable with that of a flight, ``surface.NAME.play``: both are whole
widths in degrees of the surface. Pushed both ways at a held pulse it is seen directly. The
difference between a pulse that was reached from below and from above shows it only as far as
friction holds the surface in its gap, and with the servo's own dead band in it: a surface that
rests on one side of its gap has play and shows none. So it never stands in for the play.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import GroundAnswer, GroundFigure
from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.groundtests.linkage_lines import file_lines
from flightlog.groundtests.linkage_means import (
    Lag,
    lag_of,
    line_weights,
    means_of,
    middle_of,
    middle_std,
    usable_rows,
    zero_crossing,
)
from flightlog.groundtests.linkage_pushes import Play, play_of
from flightlog.groundtests.linkage_rows import UNNAMED, SurfaceRows, surfaces_of
from flightlog.groundtests.linkage_tables import LinkageDetail, ReducedSurface, tables_of
from flightlog.uncertain import Uncertain

__all__ = ["LinkageDetail", "Setup", "reduce"]

PARTS = ("gain", "play", "hysteresis", "travel_up", "travel_down", "neutral")
WIDE_PLAY_DEG = 1.0
"""Play beyond this asks for work, as in flight. [deg]"""
_SURE = 1.645
_AHEAD = 2.5
_STATE_GAUGE = (
    "how good the angle gauge is, is not known; state it in the bench file: [linkage] angle_std_deg"
)
_PUSH = (
    "the surface was not pushed both ways at a held pulse; push its trailing edge lightly up and "
    "down at three pulses or more, and write the force with its sign into a column 'force'"
)
_BOTH_WAYS = (
    "no pulse was reached from below and from above; tell the pulses up and down again, in rows of "
    "that order"
)
_REPEAT = "nothing shows the scatter of the readings; go up and down once more"
_READ = ("pulse", "angle")


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files.

    Attributes
    ----------
    surface : str or None
        Name of the surface, where the file has none.
    angle_std_deg : float or None
        Standard uncertainty of the gauge at any angle, shared by all readings. [deg]
    outputs : mapping of str to int
        Surface -> number of its output, for the lines of the aircraft file.
    """

    surface: str | None = None
    angle_std_deg: float | None = None
    outputs: Mapping[str, int] = field(default_factory=dict)


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one test.

    Parameters
    ----------
    tables : sequence of BenchTable
        Columns ``pulse`` and ``angle``, in the order in which they were told and read; ``force``
        where the surface was pushed, ``arm_angle`` of the servo, ``surface`` where there are
        several.
    setup : Setup
        What has to be known besides.

    Returns
    -------
    GroundAnswer
        Figures of each surface; tables ``deflections``, ``surfaces`` and ``pushes``; a
        `LinkageDetail`, with lines for the aircraft's file.
    """
    surfaces, left_out = surfaces_of(tables, setup.surface or "")
    findings = [_left_out(name, count) for name, count in left_out.items()]
    made: list[ReducedSurface] = []
    figures: dict[str, GroundFigure] = {}
    withheld: dict[str, str] = {}
    for rows in surfaces:
        one = _surface(rows)
        if one is None:
            findings.append(_unread(rows.name, withheld))
            continue
        made.append(one)
        found, lacking = _figures(one, setup.angle_std_deg)
        figures.update(found)
        withheld.update(lacking)
        findings += _findings(one, found)
    if not surfaces:
        findings.append(_unread(UNNAMED, withheld))
    detail = LinkageDetail(tuple(made), _lines(made, setup)) if made else None
    return GroundAnswer(figures, withheld, tuple(findings), tables_of(made), detail)


def _left_out(name: str, count: int) -> Finding:
    return ground_finding(
        "linkage-rows-left-out",
        f"{name}: {count} rows without a pulse and an angle that can be were left out.",
        evidence={"file": name, "rows": count},
    )


def _unread(name: str, withheld: dict[str, str]) -> Finding:
    reason = "fewer than two pulses hold an angle"
    withheld.update({f"linkage.{name}.{part}": reason for part in PARTS})
    return ground_finding("linkage-unread", f"{name}: {reason}.", affects=(f"linkage.{name}.*",))


def _lines(made: Sequence[ReducedSurface], setup: Setup) -> tuple[str, ...]:
    """Give lines for the aircraft file; half of the lag would be in what was read one way only."""
    points = [
        (
            one.name,
            list(
                zip(one.middle.pulse_us.tolist(), one.middle.deflection_deg.tolist(), strict=True)
            ),
        )
        for one in made
        if one.middle.sided
    ]
    return file_lines(points, setup.outputs)


# --- one surface


def _surface(rows: SurfaceRows) -> ReducedSurface | None:
    """Reduce the rows of one surface; None with fewer than two pulses."""
    usable = rows.force_n == 0
    if np.unique(rows.level[usable]).size < 2:
        return None
    # Whether the gap was taken up after a turn depends on the gap, so look twice or more.
    for _ in range(4):
        means = means_of(rows, rows.angle_deg, usable)
        lag = lag_of(means, rows.resolution_deg)
        middle = middle_of(means, lag, rows.pulse_us)
        gain = float(line_weights(middle.pulse_us) @ middle.deflection_deg)
        now = usable_rows(rows, gain, lag.mean_deg if lag is not None else 0.0)
        if np.unique(rows.level[now]).size < 2 or (now == usable).all():
            break
        usable = now
    play = play_of(rows, means.wide * means.scatter_deg)
    line = float(middle.deflection_deg.mean()) + gain * (middle.pulse_us - middle.pulse_us.mean())
    each = np.array([middle_std(means, lag, middle, one) for one in np.eye(middle.pulse_us.size)])
    return ReducedSurface(
        rows, means, lag, middle, play, gain, middle.deflection_deg - line, each, _arm_lag(rows)
    )


def _arm_lag(rows: SurfaceRows) -> Lag | None:
    """Give the lag of the servo's arm, where it was read."""
    usable = (rows.force_n == 0) & np.isfinite(rows.arm_deg)
    if np.unique(rows.level[usable]).size < 2:
        return None
    return lag_of(means_of(rows, rows.arm_deg, usable), 0.0)


def _std(one: ReducedSurface, combine: FloatArray) -> float:
    return middle_std(one.means, one.lag, one.middle, combine)


# --- figures

_Made = tuple[Uncertain, str, tuple[str, ...]] | str
"""A number, how it was had, and from which columns; or why it could not be had."""


def _figures(
    one: ReducedSurface, gauge_deg: float | None
) -> tuple[dict[str, GroundFigure], dict[str, str]]:
    id_ = f"linkage.{one.name}"
    figures: dict[str, GroundFigure] = {}
    withheld: dict[str, str] = {}
    gauge = 0.0 if gauge_deg is None else gauge_deg
    # Worst case of the gauge: wrong by its uncertainty at both ends of what was read, opposite.
    scale = 2 * gauge / max(one.span_deg, 1e-9)
    for part, made in (
        ("gain", _gain(one, scale)),
        ("play", _play(one.play, scale)),
        ("hysteresis", _hysteresis(one, scale)),
        ("travel_up", _travel(one, gauge, down=False)),
        ("travel_down", _travel(one, gauge, down=True)),
        ("neutral", _neutral(one, gauge)),
    ):
        key = f"{id_}.{part}"
        if isinstance(made, str):
            withheld[key] = made
        elif gauge_deg is None:
            withheld[key] = _STATE_GAUGE
        else:
            figures[key] = GroundFigure(key, *made)
    return figures, withheld


def _of(
    value: float,
    std: float,
    gauge: float,
    unit: str,
    method: str,
    sources: tuple[str, ...] = _READ,
) -> _Made:
    if not (math.isfinite(value) and math.isfinite(std) and math.isfinite(gauge)):
        return _REPEAT
    return Uncertain(value, {"readings": std, "angle gauge": gauge}, unit), method, sources


def _gain(one: ReducedSurface, scale: float) -> _Made:
    weights = line_weights(one.middle.pulse_us)
    ways = "middles of both ways" if one.middle.sided else "angles of one way"
    method = f"line of least squares through {ways}, {weights.size} pulses"
    gain = one.gain_deg_us
    return _of(gain, _std(one, weights), scale * abs(gain), "deg/us", method)


def _hysteresis(one: ReducedSurface, scale: float) -> _Made:
    if one.lag is None:
        return _REPEAT if {1, -1} <= set(one.means.side.tolist()) else _BOTH_WAYS
    lag = one.lag.mean_deg * one.way
    method = f"angles from above less those from below, {one.lag.level.size} pulses"
    return _of(lag, one.lag.std_deg, scale * abs(lag), "deg", method)


def _travel(one: ReducedSurface, gauge_deg: float, *, down: bool) -> _Made:
    if not one.middle.sided:
        return _BOTH_WAYS
    sign = 1.0 if down else -1.0
    deflection = sign * one.middle.deflection_deg
    at = int(np.argmax(deflection))
    if deflection[at] <= 0:
        side = "down" if down else "up"
        return f"no pulse brought the trailing edge {side}; tell pulses over the whole travel"
    std = _std(one, sign * np.eye(1, deflection.size, at)[0])
    method = f"at {one.middle.pulse_us[at]:.0f} us"
    return _of(float(deflection[at]), std, gauge_deg, "deg", method)


def _neutral(one: ReducedSurface, gauge_deg: float) -> _Made:
    if not one.middle.sided:
        return _BOTH_WAYS
    found = zero_crossing(one.middle)
    if found is None:
        return "the angle does not pass 0 just once; tell pulses on both sides of neutral"
    if not math.isfinite(found.curve_us):
        return "two pulses do not show how the deflection bends between them; tell more"
    method = "straight between the pulses on both sides of 0"
    gauge = gauge_deg / abs(found.slope_deg_us)
    made = _of(found.pulse_us, _std(one, found.effect), gauge, "us", method)
    if isinstance(made, str):
        return made
    return made[0].widened(found.curve_us, "curve between pulses"), method, _READ


def _play(play: Play | None, scale: float) -> _Made:
    if play is None:
        return _PUSH
    bent = "what it bends taken off" if play.bending_off else "what it bends in it"
    method = f"pushed both ways with {play.push_n:.2g} N at {play.holds} held pulses, {bent}"
    gauge = scale * play.value_deg
    return _of(play.value_deg, play.std_deg, gauge, "deg", method, (*_READ, "force"))


# --- findings


def _findings(one: ReducedSurface, figures: Mapping[str, GroundFigure]) -> list[Finding]:
    found: list[Finding] = []
    id_ = f"linkage.{one.name}"

    def tell(code: str, message: str, part: str = "*", **evidence: float) -> None:
        found.append(
            ground_finding(
                code, f"{one.name}: {message}.", affects=(f"{id_}.{part}",), evidence=evidence
            )
        )

    if not {1, -1} <= set(one.means.side.tolist()):
        tell("linkage-one-way", "each pulse was reached from one side only")
    lag = one.lag
    ahead = lag is not None and lag.mean_deg * one.way < -_AHEAD * lag.std_deg
    if lag is not None and ahead:
        size = abs(lag.mean_deg)
        tell(
            "linkage-leads",
            f"the surface stands {size:.2f} deg ahead of its pulse, from both sides together, "
            "which no play does",
            "hysteresis",
            lead_deg=size,
        )
    if one.turns_back:
        low, high = one.turns_back
        tell(
            "linkage-turns-back",
            f"between {low:.0f} and {high:.0f} us a longer pulse does not move the surface on",
        )
    if one.play is not None and not one.play.bending_off:
        tell(
            "linkage-one-force",
            f"pushed with about {one.play.push_n:.2g} N only, so that the play holds what yields "
            "to it",
            "play",
        )
    for part in ("play",) if ahead else ("play", "hysteresis"):
        figure = figures.get(f"{id_}.{part}")
        if figure is None:
            continue
        width = figure.quantity.value
        if width - _SURE * figure.quantity.std > WIDE_PLAY_DEG:
            told = f"{part} of {width:.2f} deg, more than {WIDE_PLAY_DEG:g} deg"
            tell("linkage-play-wide", told, part, width_deg=width)
            break
    return found
