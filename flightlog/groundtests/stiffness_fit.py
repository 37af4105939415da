"""The line through loads and deflections, and how sure it is.

Each branch of each loading (load rising, load falling) has an intercept of its own, so that a
gauge that was set to zero again, and the width of the loop, leave the slope alone. Loads are not
exact: with an error of each weight the line of least squares is too flat, so that the slope is
that of Deming (1943), who takes both errors into account. A weight is the same in every loading,
so its error does not average out over them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.groundtests.stiffness_loops import ALIKE_SHARE, Indices, Loading, Rows
from flightlog.uncertain import NORMAL_95

LEAST_FREEDOM = 3
"""Scatter is believed from so many degrees of freedom on; else a stated reading has to say it."""


@dataclass(frozen=True, slots=True, eq=False)
class Branches:
    """Rows of all loadings, marked.

    That of the greatest load ends the way up and begins the way down, so it is in both: what lags
    behind the load then leaves slope and curve alone.

    Attributes
    ----------
    row : array of int, shape (n,)
        Of `Rows`.
    load_n, net_m : array, shape (n,)
        [N], [m]
    loading, level : array of int, shape (n,)
        Index of the loading; which of the loads it is, from the least up.
    falling : array of bool, shape (n,)
        Whether the load falls.
    """

    row: Indices
    load_n: FloatArray
    net_m: FloatArray
    loading: Indices
    level: Indices
    falling: np.ndarray[tuple[int], np.dtype[np.bool_]]

    @property
    def branch(self) -> Indices:
        """Which branch each row is of."""
        return np.asarray(2 * self.loading + self.falling, dtype=np.int64)

    @property
    def levels(self) -> int:
        """How many loads there are."""
        return int(self.level.max()) + 1 if self.level.size else 0


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """What was fitted.

    Attributes
    ----------
    compliance_m_n : float
        Deflection over load. [m/N]
    sources : dict of str to float
        Its standard uncertainty by source, but for the scales. [m/N]
    reading_m : float
        Standard uncertainty of one reading. [m]
    residual_m : array, shape (n,)
        Of each row from its own branch. [m]
    bend : array, shape (2,)
        Deflection is bend[0] times load and bend[1] times its square. [m/N], [m/N²]
    bend_cov : array, shape (2, 2)
        Of readings and single loads.
    """

    compliance_m_n: float
    sources: dict[str, float]
    reading_m: float
    residual_m: FloatArray
    bend: FloatArray
    bend_cov: FloatArray


def branches_of(rows: Rows, loadings: Sequence[Loading]) -> Branches:
    """Mark the rows of all loadings."""
    parts = [part for each in loadings for part in _both_ways(each)]
    row = np.concatenate(parts)
    which = np.repeat(np.arange(len(parts)), [part.size for part in parts])
    loading, falling = which // 2, which % 2 == 1
    load = rows.load_n[row]
    return Branches(row, load, rows.net_m[row], loading, levels_of(load), falling)


def _both_ways(each: Loading) -> tuple[Indices, Indices]:
    down = np.concatenate([each.up[-1:], each.down]) if each.down.size else each.down
    return each.up, down


def levels_of(load_n: FloatArray) -> Indices:
    """Number the loads from the least up; such as differ by little are one.

    A load that rises without steps is cut into steps of that width.
    """
    alike = ALIKE_SHARE * float(np.ptp(load_n))
    order = np.argsort(load_n, kind="stable")
    level = np.empty(load_n.size, dtype=np.int64)
    level[order] = np.concatenate([[0], np.cumsum(np.diff(load_n[order]) > alike)])
    least = np.full(int(level.max()) + 1, np.inf)
    most = -least
    np.minimum.at(least, level, load_n)
    np.maximum.at(most, level, load_n)
    if alike > 0 and float((most - least).max()) > 2 * alike:
        cut = np.floor((load_n - load_n.min()) / alike).astype(np.int64)
        _, level = np.unique(cut, return_inverse=True)
    return np.asarray(level, dtype=np.int64)


def fitted(each: Branches, reading_std_m: float, load_std_n: float) -> Fit | None:
    """Fit the line.

    Parameters
    ----------
    each : Branches
        Of all loadings.
    reading_std_m : float
        Standard uncertainty of one reading as stated; 0 where it is not. [m]
    load_std_n : float
        Of one load, independent of the other loads. [N]

    Returns
    -------
    Fit or None
        None where too few rows show the scatter and nobody states it, or no load differs.
    """
    x, y = _centred(each.load_n, each.branch), _centred(each.net_m, each.branch)
    sxx = float(x @ x)
    if not sxx > 0 or each.levels < 2:
        return None
    plain = float(x @ y) / sxx
    scatter, freedom = _scatter(each, x, y, plain)
    wide = _student(freedom)
    if freedom < LEAST_FREEDOM:
        scatter, wide = 0.0, 1.0
        if not reading_std_m > 0:
            return None
    reading = max(scatter, reading_std_m)
    wide = wide if scatter > reading_std_m else 1.0
    slope = _deming(sxx, float(x @ y), float(y @ y), reading, load_std_n)
    sources = {"readings": wide * reading * float(np.linalg.norm(_by_row(each, x / sxx)))}
    slopes = _slopes(each, x, y)
    if len(slopes) > 1:
        repeats = mean_of_repeats(slopes, "", source="loadings")
        if repeats.std > sources["readings"]:
            sources = {"loadings": repeats.std}
    if load_std_n > 0:
        sources["single loads"] = slope * load_std_n * _lever(each, x / sxx)
    bend, cov = _bend(each, y, wide * reading, load_std_n, slope)
    return Fit(slope, sources, reading, y - slope * x, bend, cov)


def _centred(values: FloatArray, branch: Indices) -> FloatArray:
    """Take off the mean of each branch."""
    _, at = np.unique(branch, return_inverse=True)
    means = np.bincount(at, weights=values) / np.bincount(at)
    return np.asarray(values - means[at], dtype=float)


def _deming(sxx: float, sxy: float, syy: float, reading: float, load_std: float) -> float:
    if load_std <= 0 or reading <= 0:
        return sxy / sxx
    ratio = (load_std / reading) ** 2
    apart = ratio * syy - sxx
    return 2 * sxy / (math.sqrt(apart**2 + 4 * ratio * sxy**2) - apart)


def _scatter(each: Branches, x: FloatArray, y: FloatArray, slope: float) -> tuple[float, int]:
    """Give the standard deviation of a reading, and its degrees of freedom.

    Where loadings are repeated, how readings at one load differ shows it; a curve that all of them
    share is no scatter. Else a curve is fitted to each branch.
    """
    left = y - slope * x
    branches = np.unique(each.branch).size
    group = np.asarray(2 * each.level + each.falling, dtype=np.int64)
    _, at = np.unique(group, return_inverse=True)
    count = np.bincount(at)
    # Both ways of loading hang together by nothing, so each has one mean that is free.
    ways = np.unique(each.falling).size
    doubled = left.size - np.unique(each.row).size
    freedom = int(left.size - doubled - branches - count.size + ways)
    if freedom >= LEAST_FREEDOM and (count > 1).any():
        off = _centred(left - (np.bincount(at, weights=left) / count)[at], each.branch)
        return math.sqrt(float(off @ off) / freedom), freedom
    columns = [x]
    square = _centred(each.load_n**2, each.branch)
    columns += [np.where(each.falling == way, square, 0.0) for way in np.unique(each.falling)]
    design = np.stack(columns, axis=1)
    size = np.abs(design).max(axis=0)
    design = design[:, size > 0] / size[size > 0]
    solved, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    off = y - design @ solved
    freedom = int(y.size - doubled - branches - rank)
    return (math.sqrt(float(off @ off) / freedom) if freedom > 0 else 0.0), freedom


def _student(freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975)) / NORMAL_95 if freedom > 0 else 1.0


def _slopes(each: Branches, x: FloatArray, y: FloatArray) -> list[float]:
    count = int(each.loading.max()) + 1
    sxx = np.bincount(each.loading, weights=x * x, minlength=count)
    sxy = np.bincount(each.loading, weights=x * y, minlength=count)
    # Loadings that hardly load can't repeat the others.
    good = sxx > 0.1 * sxx.max()
    return [float(v) for v in sxy[good] / sxx[good]]


def _by_row(each: Branches, weights: FloatArray) -> FloatArray:
    """Give the weight of each reading, where one is in both ways."""
    _, at = np.unique(each.row, return_inverse=True)
    return np.asarray(np.bincount(at, weights=weights), dtype=float)


def _lever(each: Branches, weights: FloatArray) -> float:
    """Give the effect of one standard error of every single load that is not nothing."""
    per_level = np.bincount(each.level, weights=weights)
    load = np.bincount(each.level, weights=each.load_n) / np.bincount(each.level)
    loaded = np.abs(load) > ALIKE_SHARE * float(np.abs(each.load_n).max())
    return float(np.linalg.norm(per_level[loaded]))


def _bend(
    each: Branches, y: FloatArray, reading: float, load_std: float, slope: float
) -> tuple[FloatArray, FloatArray]:
    """Fit a curve through no load; where three loads are wanting it is the line."""
    top = float(np.abs(each.load_n).max())
    x = each.load_n / top
    columns = [_centred(x, each.branch)]
    if each.levels > 2:
        columns.append(_centred(x**2, each.branch))
    design = np.stack(columns, axis=1)
    inverse = np.linalg.pinv(design)
    solved = inverse @ y
    weights = np.stack([_by_row(each, one) for one in inverse])
    cov = reading**2 * weights @ weights.T
    if load_std > 0:
        load = np.bincount(each.level, weights=each.load_n) / np.bincount(each.level)
        loaded = np.abs(load) > ALIKE_SHARE * top
        for row_of in np.flatnonzero(loaded):
            effect = slope * load_std * inverse[:, each.level == row_of].sum(axis=1)
            cov = cov + np.outer(effect, effect)
    bend, both = np.zeros(2), np.zeros((2, 2))
    k = solved.size
    scale = np.array([1 / top, 1 / top**2])[:k]
    bend[:k], both[:k, :k] = solved * scale, cov * np.outer(scale, scale)
    return bend, both
