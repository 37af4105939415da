"""Free movement of a surface that is pushed both ways while its pulse is held."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.linkage_means import LEAST_FREEDOM
from flightlog.groundtests.linkage_rows import Flags, Indices, SurfaceRows
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.uncertain import NORMAL_95

_TWO_SIZES = 1.5
"""Pushes that differ by so much tell what bends from what is free. [-]"""


@dataclass(frozen=True, slots=True)
class Play:
    """Free movement at a held pulse.

    Attributes
    ----------
    value_deg, std_deg : float
        Whole width. [deg]
    holds : int
        Stays at a pulse at which it was pushed both ways.
    bending_off : bool
        Whether what the push bends was told apart, by pushes of two sizes.
    push_n : float
        Mean size of the push. [N]
    each : tuple of (level, width)
        Of each stay; [deg].
    """

    value_deg: float
    std_deg: float
    holds: int
    bending_off: bool
    push_n: float
    each: tuple[tuple[int, float], ...]


def play_of(rows: SurfaceRows, scatter_deg: float) -> Play | None:
    """Give the free movement at held pulses.

    Parameters
    ----------
    rows : SurfaceRows
        Of one surface.
    scatter_deg : float
        Of one reading, where the pushes themselves don't show it; may be NaN. [deg]

    Returns
    -------
    Play or None
        None where it was not pushed both ways at any held pulse, or nothing shows how sure it is.
    """
    pushed = rows.force_n != 0
    hold, force, angle = rows.hold[pushed], rows.force_n[pushed], rows.angle_deg[pushed]
    mine = np.isin(hold, np.intersect1d(hold[force > 0], hold[force < 0]))
    if not mine.any():
        return None
    force, angle = force[mine], angle[mine]
    key, first, at = np.unique(hold[mine], return_index=True, return_inverse=True)
    level = rows.level[pushed][mine][first]
    size = np.abs(force)
    sign = np.sign(force)
    told = float(size.max()) >= _TWO_SIZES * float(size.min())
    fitted = None
    if told:
        part = force / float(size.max())
        fitted = _within(np.stack([sign, part], axis=1), angle, at, key.size)
    told = fitted is not None
    if fitted is None:
        fitted = _within(sign[:, None], angle, at, key.size)
    if fitted is None:
        return None
    solved, inverse, scatter, freedom = fitted
    if freedom < LEAST_FREEDOM:
        scatter, freedom = scatter_deg, 0
    bend = float(solved[1]) * force / float(size.max()) if told else np.zeros(force.size)
    each = _widths(angle - bend, force > 0, at, key.size)
    std = _std(each, inverse, scatter, freedom)
    if not math.isfinite(std):
        return None
    mean = 2 * float(solved[0]) if told else float(each.mean())
    std = max(std, rows.resolution_deg / math.sqrt(6 * key.size))
    turned = -1.0 if mean < 0 else 1.0
    widths = tuple(zip(level.tolist(), (turned * each).tolist(), strict=True))
    return Play(abs(mean), std, key.size, told, float(size.mean()), widths)


def _within(
    design: FloatArray, angle: FloatArray, at: Indices, holds: int
) -> tuple[FloatArray, FloatArray, float, int] | None:
    """Least squares with a place of its own for each stay; None where columns hang together."""
    count = np.bincount(at, minlength=holds)

    def centred(column: FloatArray) -> FloatArray:
        means = np.bincount(at, weights=column, minlength=holds) / count
        return np.asarray(column - means[at], dtype=float)

    x = np.stack([centred(c) for c in design.T], axis=1)
    y = centred(angle)
    normal = x.T @ x
    if not np.linalg.cond(normal) < 1e8:
        return None
    inverse = np.asarray(np.linalg.inv(normal), dtype=float)
    solved = np.asarray(inverse @ x.T @ y, dtype=float)
    off = y - x @ solved
    freedom = max(int(angle.size - holds - design.shape[1]), 0)
    scatter = math.sqrt(float(off @ off) / freedom) if freedom else math.nan
    return solved, inverse, scatter, freedom


def _widths(angle: FloatArray, positive: Flags, at: Indices, holds: int) -> FloatArray:
    def mean(mine: Flags) -> FloatArray:
        sums = np.bincount(at[mine], weights=angle[mine], minlength=holds)
        return np.asarray(sums / np.bincount(at[mine], minlength=holds), dtype=float)

    return mean(positive) - mean(~positive)


def _std(each: FloatArray, inverse: FloatArray, scatter: float, freedom: int) -> float:
    """Standard uncertainty of a width: the larger of what the fit and the pulses show. [deg]"""
    from scipy.special import stdtrit

    wide = float(stdtrit(freedom, 0.975)) / NORMAL_95 if freedom else 1.0
    fit = 2 * wide * scatter * math.sqrt(float(inverse[0, 0]))
    if each.size < 2:
        return fit
    between = mean_of_repeats(each.tolist(), "deg").std
    return max(fit, between) if math.isfinite(fit) else between
