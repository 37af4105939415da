"""Weighing: mass and centre of gravity of an aircraft on two to four scales, read once or more."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import GroundAnswer, GroundFigure, ResultColumn, ResultTable
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.scale_arithmetic import (
    Body,
    Scale,
    pooled_scatter,
    scatter_of_mean,
    shares,
    weigh,
)
from flightlog.uncertain import Uncertain

MOST_SCALES = 4
HEAVIEST_KG, LONGEST_ARM_M = 100.0, 10.0
"""What is larger was typed in another unit."""
USUAL_NOSE_PCT = (8.0, 20.0)
"""Share of the mass that a nose wheel of a light aircraft usually bears. [%]"""

MASS, ARM, SIDE = "weighing.mass", "weighing.arm", "weighing.side"
BALANCE, THIRD = "weighing.balance", "weighing.third_wheel"
_EVERY = (MASS, ARM, SIDE, BALANCE, THIRD)
_SAME_PLACE_M = 1e-9
_APART = 3.0
"""Repeats that scatter by more of the stated uncertainty are told."""


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files.

    Attributes
    ----------
    reading_std_kg : float or None
        Standard uncertainty of one scale, independent of the others. [kg]
    arm_std_m : float or None
        Standard uncertainty of arm and side of one scale. [m]
    places : mapping
        Name of a scale -> its arm aft of the datum and its side to the right, where the file does
        not say. [m]
    lemac_m, lemac_std_m : float or None, float
        Leading edge of the mean aerodynamic chord, aft of the datum. [m]
    mac_m, mac_std_m : float or None, float
        The mean aerodynamic chord. [m]
    empty : bool
        Whether it stood without payload, so that load sheets may start from it; changes nothing
        here.
    with_pack : str or None
        The pack that was on board of the empty aircraft; its mass is not taken off here.
    """

    reading_std_kg: float | None = None
    arm_std_m: float | None = None
    places: Mapping[str, Sequence[float]] = field(default_factory=dict)
    lemac_m: float | None = None
    lemac_std_m: float = 0.0
    mac_m: float | None = None
    mac_std_m: float = 0.0
    empty: bool = False
    with_pack: str | None = None


@dataclass(frozen=True, slots=True)
class WeighingDetail:
    """What a weighing is entered and drawn from.

    Attributes
    ----------
    scales : tuple of (name, arm, side, readings)
        Arms aft of the datum and sides to the right [m], readings without their tare [kg].
    reading_std_kg, arm_std_m : float
        As stated.
    arm_m, side_m : float
        Where the centre of gravity is. [m]
    """

    scales: tuple[tuple[str, float, float, tuple[float, ...]], ...]
    reading_std_kg: float
    arm_std_m: float
    arm_m: float
    side_m: float


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one weighing.

    Parameters
    ----------
    tables : sequence of BenchTable
        Columns ``scale`` and ``reading``, ``arm`` and ``side`` unless the setup has the places, and
        ``tare``. Rows of one scale are repeats.
    setup : Setup
        What has to be known besides.

    Returns
    -------
    GroundAnswer
        Figures of the whole aircraft, a table ``scales``, a `WeighingDetail`.
    """
    readings, left_out = _readings(tables)
    places, findings = _places(tables, setup)
    findings += left_out
    fault = _fault(readings, places)
    if fault:
        stop = ground_finding("scales-no-balance", f"{fault}.")
        return GroundAnswer(withheld=dict.fromkeys(_EVERY, fault), findings=(stop, *findings))
    scales = [Scale(name, *places[name], tuple(each)) for name, each in readings.items()]
    table = _table(scales)
    unstated = [
        key for key in ("reading_std_kg", "arm_std_m") if not (getattr(setup, key) or 0.0) > 0
    ]
    if setup.reading_std_kg is None or setup.arm_std_m is None or unstated:
        why = f"nobody states how right the scales are: write {' and '.join(unstated)}"
        withheld = dict.fromkeys(_EVERY, f"{why} into [weighing] of the bench file")
        return GroundAnswer(withheld=withheld, findings=tuple(findings), tables=(table,))
    body = weigh(scales, setup.reading_std_kg, setup.arm_std_m)
    figures, withheld = _figures(body, scales, setup)
    findings += _scatter(scales, setup.reading_std_kg)
    findings += _nose(figures, scales)
    detail = WeighingDetail(
        tuple((s.name, s.arm_m, s.side_m, s.readings_kg) for s in scales),
        setup.reading_std_kg,
        setup.arm_std_m,
        body.arm.value,
        body.side.value,
    )
    return GroundAnswer(figures, withheld, tuple(findings), (table,), detail)


# --- what the files say


def _readings(tables: Sequence[BenchTable]) -> tuple[dict[str, list[float]], list[Finding]]:
    """Give the readings of each scale without their tares; rows without a number are counted."""
    found: dict[str, list[float]] = {}
    without: list[str] = []
    for table in tables:
        names = table.texts.get("scale", ())
        reading = table.columns.get("reading", np.full(len(names), np.nan))
        tare = table.columns.get("tare", np.zeros(len(names)))
        for i, name in enumerate(names):
            kg = float(reading[i] - tare[i])
            if name and math.isfinite(kg):
                found.setdefault(name, []).append(kg)
            else:
                without.append(f"{table.name}:{table.lines[i] if len(table.lines) else i + 1}")
    if not without:
        return found, []
    lines = ", ".join(without[:5]) + ("" if len(without) <= 5 else " and others")
    message = f"{len(without)} rows have no scale, no reading or no tare and were left out: {lines}"
    rows = ground_finding("weighing-rows-left-out", f"{message}.", evidence={"rows": len(without)})
    return found, [rows]


def _places(
    tables: Sequence[BenchTable], setup: Setup
) -> tuple[dict[str, tuple[float, float]], list[Finding]]:
    """Give arm and side of each scale; what is stated goes before what the file says."""
    places: dict[str, tuple[float, float]] = {}
    twice: set[str] = set()
    for table in tables:
        if not table.has("scale", "arm"):
            continue
        arms = table.columns["arm"]
        sides = table.columns.get("side", np.full(len(arms), np.nan))
        for name, arm, side in zip(table.texts["scale"], arms, sides, strict=True):
            if not name or not math.isfinite(arm):
                continue
            known = places.setdefault(name, (float(arm), float(side)))
            if not _alike(known, (float(arm), float(side))):
                twice.add(name)
    places.update({name: (float(p[0]), float(p[1])) for name, p in setup.places.items()})
    twice -= set(setup.places)
    findings = [
        ground_finding("scale-in-two-places", f"The scale {name!r} stands in two places.")
        for name in sorted(twice)
    ]
    return places, findings


def _alike(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return all(
        abs(a - b) <= _SAME_PLACE_M or (math.isnan(a) and math.isnan(b))
        for a, b in zip(one, other, strict=True)
    )


def _fault(
    readings: Mapping[str, Sequence[float]], places: Mapping[str, tuple[float, float]]
) -> str:
    """Say why no balance follows from the readings, "" where one does."""
    if not 2 <= len(readings) <= MOST_SCALES:
        return f"{len(readings)} scales were read, and two to {MOST_SCALES} bear an aircraft"
    lost = [name for name in readings if name not in places]
    if lost:
        return f"where {' and '.join(map(repr, lost))} stands is not known"
    idle = next((name for name, each in readings.items() if not fmean(each) > 0), None)
    if idle is not None:
        return f"the scale {idle!r} bears nothing"
    heavy = next((n for n, each in readings.items() if max(map(abs, each)) > HEAVIEST_KG), None)
    if heavy is not None:
        return f"the scale {heavy!r} bears more than {HEAVIEST_KG:g} kg, another unit perhaps"
    here = [places[name] for name in readings]
    if any(abs(x) > LONGEST_ARM_M for place in here for x in place):
        return f"a scale stands more than {LONGEST_ARM_M:g} m away, another unit perhaps"
    if np.ptp([arm for arm, _ in here]) <= _SAME_PLACE_M:
        return "all scales stand at one arm"
    return ""


# --- figures


def _figures(
    body: Body, scales: Sequence[Scale], setup: Setup
) -> tuple[dict[str, GroundFigure], dict[str, str]]:
    columns = ("reading", "arm")
    how = f"sum over {len(scales)} scales"
    moments = "moments of the scales over their sum"
    figures = {
        MASS: GroundFigure(MASS, body.mass, how, ("reading",)),
        ARM: GroundFigure(ARM, body.arm, moments, columns),
    }
    withheld: dict[str, str] = {}
    sides = [s.side_m for s in scales]
    if all(map(math.isfinite, sides)) and np.ptp(sides) > _SAME_PLACE_M:
        right = body.side.scaled(1000.0, "mm")
        figures[SIDE] = GroundFigure(SIDE, right, moments, ("reading", "side"))
    else:
        withheld[SIDE] = "all scales stand at one side, or their sides are not known"
    if setup.lemac_m is None or setup.mac_m is None:
        withheld[BALANCE] = "write lemac_m and mac_m into [weighing] of the bench file"
    else:
        share = _of_chord(body.arm, setup.lemac_m, setup.mac_m, setup)
        figures[BALANCE] = GroundFigure(BALANCE, share, moments, columns)
    third = _third(scales)
    if third is None:
        withheld[THIRD] = "no scale stands by itself before or behind two others"
    else:
        bears = _share(third, scales, setup.reading_std_kg or 0.0)
        figures[THIRD] = GroundFigure(THIRD, bears, f"reading of {third.name} over the sum")
    return figures, withheld


def _of_chord(arm: Uncertain, lemac_m: float, mac_m: float, setup: Setup) -> Uncertain:
    """Give an arm as per cent of the chord, the chord's own errors included."""
    share = (arm.value - lemac_m) / mac_m
    errors = {
        **arm.sources,
        "leading edge of the chord": -setup.lemac_std_m,
        "length of the chord": -share * setup.mac_std_m,
    }
    return Uncertain(100 * share, {n: 100 * e / mac_m for n, e in errors.items()}, "%")


def _third(scales: Sequence[Scale]) -> Scale | None:
    """Give the wheel that stands by itself, nose or tail: the one at an arm of its own."""
    if len(scales) != 3:
        return None
    by_arm = sorted(scales, key=lambda s: s.arm_m)
    ahead, behind = by_arm[1].arm_m - by_arm[0].arm_m, by_arm[2].arm_m - by_arm[1].arm_m
    if ahead == behind:
        return None
    return by_arm[0] if ahead > behind else by_arm[2]


def _share(third: Scale, scales: Sequence[Scale], reading_std_kg: float) -> Uncertain:
    """Give the share of one scale [%]; its error lies in its own reading and in the others'."""
    whole = math.fsum(s.kg for s in scales)
    share = third.kg / whole
    sources = {}
    for s in scales:
        std = math.hypot(reading_std_kg, scatter_of_mean(s, scales))
        effect = (1 - share if s is third else -share) / whole
        sources[f"reading of scale {s.name}"] = 100 * effect * std
    return Uncertain(100 * share, sources, "%")


def _table(scales: Sequence[Scale]) -> ResultTable:
    bears = shares(scales)
    columns = (
        ResultColumn("scale", "Scale"),
        ResultColumn("arm_m", "Arm", "m", 3),
        ResultColumn("side_m", "Side", "m", 3),
        ResultColumn("readings", "Readings", "", 0),
        ResultColumn("mean_kg", "Mean", "kg", 3),
        ResultColumn("spread_kg", "Most apart", "kg", 3),
        ResultColumn("share_pct", "Bears", "%", 1),
    )
    rows = [
        (
            s.name,
            s.arm_m,
            s.side_m if math.isfinite(s.side_m) else None,
            len(s.readings_kg),
            s.kg,
            float(np.ptp(s.readings_kg)) if len(s.readings_kg) > 1 else None,
            100 * bears[s.name],
        )
        for s in scales
    ]
    return ResultTable("scales", "Scales, tare taken off", columns, rows)


# --- findings


def _scatter(scales: Sequence[Scale], reading_std_kg: float) -> list[Finding]:
    scatter = pooled_scatter(scales)
    if not scatter > _APART * reading_std_kg:
        return []
    return [
        ground_finding(
            "weighings-apart",
            f"Repeats scatter by {1000 * scatter:.0f} g (standard deviation), and a scale is "
            f"stated to be right within {1000 * reading_std_kg:.0f} g.",
            evidence={"scatter_kg": scatter, "stated_kg": reading_std_kg},
        )
    ]


def _nose(figures: Mapping[str, GroundFigure], scales: Sequence[Scale]) -> list[Finding]:
    third, figure = _third(scales), figures.get(THIRD)
    if third is None or figure is None or third.arm_m > min(s.arm_m for s in scales):
        return []
    bears, (low, high) = figure.quantity.value, USUAL_NOSE_PCT
    if low <= bears <= high:
        return []
    return [
        ground_finding(
            "nose-load-unusual",
            f"The nose wheel bears {bears:.1f} % of the mass, and {low:g} to {high:g} % are usual.",
            evidence={"share_pct": bears},
        )
    ]
