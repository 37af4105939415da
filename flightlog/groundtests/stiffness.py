"""Static deflection: how stiff a structure is, whether it comes back, and how far it bends.

A wing or tail is held at one end and loaded at the other, in four steps or more, up and down,
several times. Stiffness is the slope of load over deflection; the area between the way up and the
way down is what is lost in joints and skin; what is left of the deflection afterwards is the set.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import GroundAnswer, GroundFigure
from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.groundtests.stiffness_findings import findings_of
from flightlog.groundtests.stiffness_fit import branches_of, fitted
from flightlog.groundtests.stiffness_loops import ALIKE_SHARE, Loading, Rows, loadings_of, rows_of
from flightlog.groundtests.stiffness_setup import (
    BEND,
    BENDING,
    DEFLECTION,
    DEFLECTION_SHARE,
    EVERY,
    HYSTERESIS,
    LOAD,
    LOAD_SHARE,
    SET,
    STIFFNESS,
    TIP_FREQUENCY,
    Loaded,
    Setup,
)
from flightlog.groundtests.stiffness_tables import mean_of, tables_of
from flightlog.groundtests.structure_change import STIFFNESS as CHANGE
from flightlog.groundtests.structure_change import Comparison, changes
from flightlog.uncertain import Uncertain

__all__ = ["EVERY", "Setup", "StiffnessDetail", "reduce"]

WING_SHARE = 33 / 140
"""Share of a uniform beam's mass that swings with its tip (Rayleigh). [-]"""
_LARGEST_N, _LARGEST_M = 1e6, 100.0
_FURTHEST = 2.0
"""A line is not drawn on to more than so many times the greatest load. [-]"""
_MASSES = ("tip_mass_kg", "wing_mass_kg")


@dataclass(frozen=True, slots=True, eq=False)
class StiffnessDetail:
    """What the chart is drawn from.

    Attributes
    ----------
    rising, falling : array, shape (n, 2)
        Load and mean deflection over all loadings, measured from that of no load on the way up,
        by rising load. [N], [m]
    compliance_m_n : float
        Slope of the line. [m/N]
    """

    rising: FloatArray
    falling: FloatArray
    compliance_m_n: float


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one test.

    Parameters
    ----------
    tables : sequence of BenchTable
        Columns ``deflection`` and ``load`` or ``mass``; ``root`` and ``cycle`` where there are.
        All are of one place and one structure.
    setup : Setup
        What has to be known besides.

    Returns
    -------
    GroundAnswer
        Figures, tables ``loadings`` and ``rows``, a `StiffnessDetail`.
    """
    if not tables or not all(t.has("load") or t.has("mass") for t in tables):
        return _nothing("the files don't all have a load, or a mass that was hung on")
    rows = rows_of(tables, setup.gravity_m_s2 or G0_M_S2)
    loadings = loadings_of(rows)
    fault = _fault(rows, loadings)
    if fault:
        return _nothing(fault)
    each = branches_of(rows, loadings)
    stated_m = (setup.reading_std_mm or 0.0) / 1e3
    fit = fitted(each, stated_m, setup.load_std_n or 0.0)
    if fit is None:
        return _nothing(
            "too few rows show how readings scatter: load it in more steps, or again, or write "
            "reading_std_mm into [stiffness] of the bench file"
        )
    if not fit.compliance_m_n > 3 * math.hypot(*fit.sources.values()):
        return _nothing("the deflection does not rise with the load", "stiffness-reversed")
    test = Loaded(rows, loadings, each, fit, setup)
    figures, withheld = _figures(test)
    _, moved = changes(_compared(figures, setup))
    findings = (*findings_of(test, tables, figures), *moved)
    detail = StiffnessDetail(mean_of(each, False), mean_of(each, True), fit.compliance_m_n)
    return GroundAnswer(figures, withheld, findings, tables_of(test, tables), detail)


def _nothing(why: str, code: str = "stiffness-no-loading") -> GroundAnswer:
    stop = ground_finding(code, f"{why[0].upper()}{why[1:]}.")
    return GroundAnswer(withheld=dict.fromkeys(EVERY, why), findings=(stop,))


def _fault(rows: Rows, loadings: Sequence[Loading]) -> str:
    if not len(rows):
        return "no row has both a load and a deflection"
    if (
        float(np.abs(rows.load_n).max()) > _LARGEST_N
        or float(np.abs(rows.net_m).max()) > _LARGEST_M
    ):
        return (
            f"loads beyond {_LARGEST_N:g} N or deflections beyond {_LARGEST_M:g} m are none of an "
            "aircraft, another unit perhaps"
        )
    if rows.load_n.min() < -ALIKE_SHARE * rows.load_n.max():
        return (
            "loads go below zero: count them positive in the direction in which it is pushed, and "
            "test each direction by itself"
        )
    if not loadings:
        return "the load never rises"
    return ""


# --- figures


def _figures(test: Loaded) -> tuple[dict[str, GroundFigure], dict[str, str]]:
    figures: dict[str, GroundFigure] = {}
    withheld: dict[str, str] = {}
    count = len(test.loadings)
    slope = f"line through {count} loading{'s' if count > 1 else ''}"
    if test.rows.rooted:
        slope += ", movement of the fixed end taken off"
    columns = ("load", "deflection")

    def put(id_: str, made: Uncertain | str, method: str) -> None:
        if isinstance(made, str):
            withheld[id_] = made
        else:
            figures[id_] = GroundFigure(id_, made, method, columns)

    stiff = test.unscaled or _stiffness(test)
    put(STIFFNESS, stiff, slope)
    put(BENDING, _bending(stiff, test.setup), "K L³/3 of a uniform cantilever loaded at its end")
    put(TIP_FREQUENCY, _tip_frequency(stiff, test.setup), "√(K/m)/2π, m with 33/140 of the wing")
    put(HYSTERESIS, _hysteresis(test), "area of the loops over half of load times deflection")
    put(SET, _set(test), "what all loadings left, over the greatest deflection")
    put(BEND, _change_with_load(test), "curve through all loadings")
    greatest = test.unscaled or _greatest_load(test)
    put(LOAD, greatest, "largest load of the file")
    put(DEFLECTION, test.unscaled or _greatest_deflection(test), "at the greatest load")
    limit = test.setup.limit_load_n
    if limit is None:
        share: Uncertain | str = "write limit_load_n into [stiffness] of the bench file"
    else:
        share = greatest if isinstance(greatest, str) else greatest.scaled(100 / limit, "%")
    put(LOAD_SHARE, share, "greatest load over limit load")
    put(DEFLECTION_SHARE, _deflection_share(test), _how_far(test))
    return figures, withheld


def _stiffness(test: Loaded) -> Uncertain:
    """Give the stiffness; relative errors of the slope are its own."""
    compliance = test.fit.compliance_m_n
    stiff = 1 / compliance
    sources = {name: -stiff * std / compliance for name, std in test.fit.sources.items()}
    for name, pct in test.loads_pct().items():
        sources[name] = stiff * pct / 100
    sources["scale of the gauge"] = -stiff * (test.setup.deflection_std_pct or 0.0) / 100
    return Uncertain(stiff, sources, "N/m")


def _bending(stiff: Uncertain | str, setup: Setup) -> Uncertain | str:
    if isinstance(stiff, str):
        return stiff
    if setup.length_m is None:
        return "write length_m and length_std_m into [stiffness] of the bench file"
    bending = stiff.scaled(setup.length_m**3 / 3, "N·m²")
    share = 3 * setup.length_std_m / setup.length_m
    return bending.widened(share * bending.value, "length")


def _tip_frequency(stiff: Uncertain | str, setup: Setup) -> Uncertain | str:
    if isinstance(stiff, str):
        return stiff
    if setup.tip_mass_kg is None or setup.wing_mass_kg is None:
        lacks = " and ".join(key for key in _MASSES if getattr(setup, key) is None)
        return f"write {lacks} into [stiffness] of the bench file"
    mass = setup.tip_mass_kg + WING_SHARE * setup.wing_mass_kg
    if not mass > 0:
        return "no mass swings: tip_mass_kg and wing_mass_kg are 0"
    hertz = math.sqrt(stiff.value / mass) / (2 * math.pi)
    half = 0.5 * hertz
    sources = {name: half * effect / stiff.value for name, effect in stiff.sources.items()}
    sources["mass at the tip"] = -half * setup.tip_mass_std_kg / mass
    sources["mass of the wing"] = -half * WING_SHARE * setup.wing_mass_std_kg / mass
    return Uncertain(hertz, sources, "Hz")


def _hysteresis(test: Loaded) -> Uncertain | str:
    """Give the mean share of the loops; scales of load and gauge cancel in it."""
    shares, stds = [], []
    for each in test.loadings:
        if not each.returned:
            continue
        load, net = test.rows.load_n[each.rows], test.rows.net_m[each.rows]
        energy = 0.5 * float(np.ptp(load)) * float(net[each.up.size - 1] - net[0])
        # Closed from the last row to the first; more deflection on the way down is a loss.
        lever = 0.5 * (np.roll(load, 1) - np.roll(load, -1))
        if energy > 0:
            shares.append(100 * float(net @ lever) / energy)
            stds.append(100 * test.fit.reading_m * float(np.linalg.norm(lever)) / energy)
    if not shares:
        return "no loading goes back to where it began: take readings while the load goes down"
    return _together(shares, stds, "%")


def _together(values: Sequence[float], stds: Sequence[float], unit: str) -> Uncertain:
    """Give a mean over loadings, as sure as neither their scatter nor the readings deny."""
    within = math.sqrt(math.fsum(s * s for s in stds)) / len(stds)
    if len(values) > 1:
        repeats = mean_of_repeats(values, unit, source="loadings")
        if repeats.std >= within:
            return repeats
    return Uncertain(math.fsum(values) / len(values), {"readings": within}, unit)


def _set(test: Loaded) -> Uncertain | str:
    back = [each for each in test.loadings if each.returned]
    if not back:
        return "no loading goes back to where it began: read the gauge again without the load"
    # A row that ends one loading and begins the next cancels.
    counts = np.zeros(len(test.rows))
    for each in back:
        counts[each.down[-1]] += 1
        counts[each.up[0]] -= 1
    share = 100 / test.deflection_m
    std = test.fit.reading_m * float(np.linalg.norm(counts))
    # A load cell does not come back to quite the same load: what that bends is no set.
    unbent = test.rows.net_m - test.fit.compliance_m_n * test.rows.load_n
    return Uncertain(share * float(counts @ unbent), {"readings": share * std}, "%")


def _change_with_load(test: Loaded) -> Uncertain | str:
    if test.each.levels <= 2:
        return "two loads make a line: load it in four steps or more"
    (first, second), top = test.fit.bend, test.greatest_n
    end = first + 2 * second * top
    if not (first > 0 and end > 0):
        return "the curve through the readings turns back, so that the stiffness has no end values"
    slopes = np.array([1 / end - first / end**2, -2 * top * first / end**2])
    std = math.sqrt(float(slopes @ test.fit.bend_cov @ slopes))
    return Uncertain(100 * (first / end - 1), {"curve": 100 * std}, "%")


def _greatest_load(test: Loaded) -> Uncertain:
    load = test.greatest_n
    sources = {name: load * pct / 100 for name, pct in test.loads_pct().items()}
    sources["single loads"] = test.setup.load_std_n or 0.0
    return Uncertain(load, sources, "N")


def _greatest_deflection(test: Loaded) -> Uncertain:
    size = test.deflection_m
    sources = {
        "readings": math.sqrt(2) * test.fit.reading_m,
        "scale of the gauge": size * (test.setup.deflection_std_pct or 0.0) / 100,
        "single loads": -test.fit.compliance_m_n * (test.setup.load_std_n or 0.0),
    }
    # It is that of the load as stated, and the true one may be another.
    sources |= {name: -size * pct / 100 for name, pct in test.loads_pct().items()}
    return Uncertain(size, sources, "m").scaled(1e3, "mm")


def _how_far(test: Loaded) -> str:
    limit = test.setup.limit_load_n
    if limit is None or limit <= test.greatest_n * (1 + ALIKE_SHARE):
        return "curve through all loadings, at the limit load"
    return f"line drawn on from {test.greatest_n:.3g} N to the limit load"


def _deflection_share(test: Loaded) -> Uncertain | str:
    setup, fit = test.setup, test.fit
    if setup.limit_load_n is None or setup.semispan_m is None:
        return "write limit_load_n and semispan_m into [stiffness] of the bench file"
    if test.unscaled:
        return test.unscaled
    limit = setup.limit_load_n
    if limit > _FURTHEST * test.greatest_n:
        return f"the greatest load is {test.greatest_n:.3g} N, too far from the limit load"
    powers = np.array([limit, limit**2])
    curve = float(fit.bend @ powers)
    line = fit.compliance_m_n * limit
    if limit <= test.greatest_n * (1 + ALIKE_SHARE):
        size = curve
        sources = {"curve": math.sqrt(float(powers @ fit.bend_cov @ powers))}
    else:
        # Beyond the last load nobody knows whether it goes on as a line or as the curve.
        size = line
        sources = {name: limit * std for name, std in fit.sources.items()}
        sources["line or curve"] = abs(curve - line)
    for name, pct in test.loads_pct().items():
        sources[name] = -size * pct / 100
    sources["scale of the gauge"] = size * (setup.deflection_std_pct or 0.0) / 100
    return Uncertain(size, sources, "m").scaled(100 / setup.semispan_m, "%")


def _compared(figures: Mapping[str, GroundFigure], setup: Setup) -> list[Comparison]:
    now = figures.get(STIFFNESS)
    if now is None or setup.baseline_n_m is None:
        return []
    then = Uncertain.of(
        setup.baseline_n_m, setup.baseline_std_n_m, "N/m", source="the earlier test"
    )
    return [Comparison(STIFFNESS, now.quantity, then, CHANGE)]
