"""Rows of pulses and angles, put in order: which surface, which pulse, from which side it came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.figures import slug
from flightlog.groundtests.bench_table import BenchTable, FloatArray

Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

LEAST_US, MOST_US = 500.0, 2500.0
"""No servo is told less or more. [us]"""
MOST_DEG = 90.0
"""No surface turns further. [deg]"""
SAME_US = 1.0
"""Pulses that differ by no more are one. [us]"""
MOST_SURFACES = 40
_STEPS_DEG = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)
UNNAMED = "surface"


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceRows:
    """The rows of one surface, in the order in which they were read.

    Attributes
    ----------
    name : str
        As it stands in ids of figures.
    level : array of int, shape (n,)
        Which of the pulses each row is at.
    pulse_us : array, shape (k,)
        The pulses, rising. [us]
    angle_deg : array, shape (n,)
        Of the surface, trailing edge down (rudder: left) positive. [deg]
    arm_deg : array, shape (n,)
        Of the servo's arm; NaN where it was not read. [deg]
    force_n : array, shape (n,)
        With which it was pushed; 0 where it was not. [N]
    side : array of int, shape (n,)
        1 where the pulse came up to its value, -1 where it came down to it; 0 where neither is
        known, and where the surface was pushed since.
    hold : array of int, shape (n,)
        Number of the stay at one pulse that the row belongs to.
    turn : array of int, shape (n,)
        The level at which the pulse turned last before this row.
    """

    name: str
    level: Indices
    pulse_us: FloatArray
    angle_deg: FloatArray
    arm_deg: FloatArray
    force_n: FloatArray
    side: Indices
    hold: Indices
    turn: Indices

    @property
    def resolution_deg(self) -> float:
        """The step in which angles were written down; 0 where it is very fine. [deg]"""
        for step in _STEPS_DEG:
            off = self.angle_deg / step
            if float(np.abs(off - np.round(off)).max()) < 1e-6:
                return step
        return 0.0


def surfaces_of(
    tables: Sequence[BenchTable], unnamed: str = ""
) -> tuple[list[SurfaceRows], dict[str, int]]:
    """Sort the rows of all files by surface.

    Parameters
    ----------
    tables : sequence of BenchTable
        Each with ``pulse`` and ``angle``.
    unnamed : str
        Name of the surface where the file has none.

    Returns
    -------
    surfaces, left_out : list of SurfaceRows, dict
        In the order in which they come; and the rows that can't be used, by file.
    """
    left_out: dict[str, int] = {}
    parts: dict[str, list[tuple[FloatArray, ...]]] = {}
    for number, table in enumerate(tables):
        n = len(table)
        has = table.columns
        if "pulse" not in has or "angle" not in has:
            left_out[table.name] = n
            continue
        pulse, angle = has["pulse"], np.degrees(has["angle"])
        # Comparisons with NaN are false, so that holes go with what can't be.
        good = (pulse >= LEAST_US) & (pulse <= MOST_US) & (np.abs(angle) <= MOST_DEG)
        names = _names(table, n, unnamed)
        kept = list(parts)
        for name in dict.fromkeys(names[good].tolist()):
            if name not in parts and len(kept) >= MOST_SURFACES:
                good &= names != name
                continue
            kept = [*kept, name] if name not in parts else kept
            mine = good & (names == name)
            parts.setdefault(name, []).append(
                (
                    np.full(int(mine.sum()), float(number)),
                    pulse[mine],
                    angle[mine],
                    np.degrees(has["arm_angle"][mine]) if "arm_angle" in has else _none(mine),
                    has["force"][mine] if "force" in has else _none(mine),
                )
            )
        if not good.all():
            left_out[table.name] = int((~good).sum())
    found = [
        _ordered(name, *(np.concatenate(column) for column in zip(*of, strict=True)))
        for name, of in parts.items()
    ]
    return found, left_out


def _none(mine: Flags) -> FloatArray:
    return np.full(int(mine.sum()), np.nan)


def _names(table: BenchTable, n: int, unnamed: str) -> NDArray[np.str_]:
    default = slug(unnamed) or UNNAMED
    written = table.texts.get("surface")
    if not written:
        return np.full(n, default)
    known = {text: slug(text) or default for text in set(written)}
    return np.array([known[text] for text in written])


def _ordered(
    name: str,
    file: FloatArray,
    pulse: FloatArray,
    angle: FloatArray,
    arm: FloatArray,
    force: FloatArray,
) -> SurfaceRows:
    levels, level = _levels(pulse)
    usable = np.isfinite(force) & (np.abs(force) < 1e6)
    force = np.where(usable, force, 0.0)
    arm = np.where(np.abs(arm) <= 2 * MOST_DEG, arm, np.nan)
    side, hold, turn = _history(file, level, force != 0)
    return SurfaceRows(name, level, levels, angle, arm, force, side, hold, turn)


def _levels(pulse: FloatArray) -> tuple[FloatArray, Indices]:
    """Give the pulses that were told, and which of them each row is at."""
    firsts: list[float] = []
    for value in np.unique(pulse).tolist():
        if not firsts or value - firsts[-1] > SAME_US:
            firsts.append(value)
    level = np.searchsorted(np.array(firsts), pulse, side="right") - 1
    count = np.bincount(level, minlength=len(firsts))
    return np.bincount(level, weights=pulse, minlength=len(firsts)) / count, level


def _history(file: FloatArray, level: Indices, pushed: Flags) -> tuple[Indices, Indices, Indices]:
    """Follow the pulse: from which side it came, how long it stays, where it turned last."""
    n = level.size
    side, hold, turn = (np.zeros(n, dtype=np.int64) for _ in range(3))
    way, stay, turned, touched = 0, 0, int(level[0]), False
    at = level.tolist()
    files = file.tolist()
    for i in range(n):
        if i and files[i] != files[i - 1]:
            way, stay, turned, touched = 0, stay + 1, at[i], False
        elif i and at[i] != at[i - 1]:
            now = 1 if at[i] > at[i - 1] else -1
            if now != way:
                turned = at[i - 1]
            way, stay, touched = now, stay + 1, False
        touched = touched or bool(pushed[i])
        side[i], hold[i], turn[i] = (0 if touched else way), stay, turned
    return side, hold, turn
