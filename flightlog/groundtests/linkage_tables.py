"""What was found of each surface, in rows of numbers and for its chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.answer import Cell, ResultColumn, ResultTable
from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.linkage_means import Lag, Means, Middle
from flightlog.groundtests.linkage_pushes import Play
from flightlog.groundtests.linkage_rows import SurfaceRows


@dataclass(frozen=True, slots=True, eq=False)
class ReducedSurface:
    """One surface.

    Attributes
    ----------
    rows, means, lag, middle, play :
        From its rows to what they say.
    gain_deg_us : float
        Slope of the line. [deg/us]
    off_line_deg : array, shape (k,)
        Deflections less the line. [deg]
    reading_std_deg : array, shape (k,)
        Of the deflections, but for the gauge; NaN where nothing shows it. [deg]
    arm_lag : Lag or None
        Of the servo's arm. [deg]
    """

    rows: SurfaceRows
    means: Means
    lag: Lag | None
    middle: Middle
    play: Play | None
    gain_deg_us: float
    off_line_deg: FloatArray
    reading_std_deg: FloatArray
    arm_lag: Lag | None

    @property
    def name(self) -> str:
        """As it stands in ids of figures."""
        return self.rows.name

    @property
    def way(self) -> float:
        """1 where a longer pulse moves the trailing edge down, else -1."""
        return -1.0 if self.gain_deg_us < 0 else 1.0

    @property
    def span_deg(self) -> float:
        """From the least to the greatest angle that was read. [deg]"""
        return float(np.ptp(self.rows.angle_deg))

    @property
    def turns_back(self) -> tuple[float, float] | None:
        """The first two pulses between which the surface moves against the rest. [us]"""
        wrong = np.flatnonzero(self.way * np.diff(self.middle.deflection_deg) <= 0)
        if not wrong.size:
            return None
        at = int(wrong[0])
        return float(self.middle.pulse_us[at]), float(self.middle.pulse_us[at + 1])

    def from_side(self, side: int) -> FloatArray:
        """Mean angles of one side at each pulse of `middle`; NaN where it was not read. [deg]"""
        into = np.full(self.rows.pulse_us.size, np.nan)
        mine = self.means.side == side
        into[self.means.level[mine]] = self.means.mean_deg[mine]
        return into[self.middle.level]


@dataclass(frozen=True, slots=True)
class LinkageDetail:
    """What the chart of a linkage is drawn from.

    Attributes
    ----------
    surfaces : tuple of ReducedSurface
        In the order of the file.
    file_lines : tuple of str
        For the aircraft file: two of each surface, ``name`` and ``deflection`` of its output.
    """

    surfaces: tuple[ReducedSurface, ...]
    file_lines: tuple[str, ...]


_SURFACE = ResultColumn("surface", "Surface")
_DEFLECTIONS = (
    _SURFACE,
    ResultColumn("pulse_us", "Pulse", "us", 0),
    ResultColumn("deflection_deg", "Deflection", "deg"),
    ResultColumn("reading_std_deg", "Its std of reading", "deg", 3),
    ResultColumn("from_below_deg", "From below", "deg"),
    ResultColumn("from_above_deg", "From above", "deg"),
    ResultColumn("lag_deg", "Hysteresis", "deg"),
    ResultColumn("off_line_deg", "Off the line", "deg"),
    ResultColumn("readings", "Readings", decimals=0),
)
_SURFACES = (
    _SURFACE,
    ResultColumn("pulses", "Pulses", decimals=0),
    ResultColumn("repeatability_deg", "Repeatability", "deg", 3),
    ResultColumn("freedom", "Degrees of freedom", decimals=0),
    ResultColumn("resolution_deg", "Written in steps of", "deg", 3),
    ResultColumn("off_line_pct", "Greatest off the line, of travel", "%", 1),
    ResultColumn("lag_spread_deg", "Hysteresis differs by", "deg", 3),
    ResultColumn("arm_lag_deg", "Hysteresis of the arm", "deg"),
    ResultColumn("arm_lag_std_deg", "Its std", "deg", 3),
)
_PUSHES = (
    _SURFACE,
    ResultColumn("pulse_us", "Pulse", "us", 0),
    ResultColumn("play_deg", "Free movement", "deg"),
)


def tables_of(made: Sequence[ReducedSurface]) -> tuple[ResultTable, ...]:
    """Make the tables of a test; none without a surface."""
    if not made:
        return ()
    tables = [
        ResultTable(
            "deflections",
            "Pulse and deflection",
            _DEFLECTIONS,
            [row for one in made for row in _deflections(one)],
        ),
        ResultTable("surfaces", "Surfaces", _SURFACES, [_summary(one) for one in made]),
    ]
    pushes: list[list[Cell]] = [
        [one.name, float(one.rows.pulse_us[level]), width]
        for one in made
        if one.play is not None
        for level, width in one.play.each
    ]
    if pushes:
        tables.append(ResultTable("pushes", "Pushed both ways", _PUSHES, pushes))
    return tuple(tables)


def _cell(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _deflections(one: ReducedSurface) -> list[list[Cell]]:
    below, above = one.from_side(1), one.from_side(-1)
    count = np.bincount(one.means.level, weights=one.means.count, minlength=one.rows.pulse_us.size)[
        one.middle.level
    ]
    lag = one.way * (above - below)
    return [
        [one.name, float(pulse), float(at), *(_cell(v) for v in numbers), int(n)]
        for pulse, at, n, *numbers in zip(
            one.middle.pulse_us,
            one.middle.deflection_deg,
            count,
            one.reading_std_deg,
            below,
            above,
            lag,
            one.off_line_deg,
            strict=True,
        )
    ]


def _summary(one: ReducedSurface) -> list[Cell]:
    span = float(np.ptp(one.middle.deflection_deg))
    off = 100 * float(np.abs(one.off_line_deg).max()) / span if span > 0 else np.nan
    lag, arm = one.lag, one.arm_lag
    shown = one.means.repeated
    return [
        one.name,
        int(one.middle.level.size),
        _cell(one.means.scatter_deg) if shown else None,
        one.means.freedom if shown else None,
        one.rows.resolution_deg,
        _cell(off),
        lag.spread_deg if lag is not None else None,
        abs(arm.mean_deg) if arm is not None else None,
        arm.std_deg if arm is not None else None,
    ]
