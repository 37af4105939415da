"""The limits that a watched figure has: of the rule book, the files, or the team's own triggers.

A trigger is for an inspection. Where it is told by a baseline, that is the one of the aircraft's
file, of a pack's resistance that of the pack's file, else the median of the first five flights,
which is as uncertain as they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.inputs import Aircraft, Pack
from flightlog.operations.desk import Desk
from flightlog.operations.sorties import SortieRecord, sorties
from flightlog.operations.trends_series import Line
from flightlog.operations.trends_watched import RESISTANCE, Default, Kind
from flightlog.operations.usage import AIRCRAFT
from flightlog.prediction.trends import FEWEST
from flightlog.prediction.wear import Edge
from flightlog.rules.book import RuleBook, limits_after_flight, load_rules

_BASELINE_FLIGHTS = 5
"""From so many flights a baseline is taken to come, where nobody says from how many."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """What a figure was on sound flights, how sure that is, and by whom."""

    value: float
    std: float
    source: str


def edges_of(desk: Desk, line: Line, kind: Kind) -> tuple[Edge, ...]:
    """Give the limits of a series, in the unit of its figure."""
    aircraft, pack = _files(desk, line)
    # What all flights err by alike, no line through them shows: at least the surest one's.
    alike = min((p.std for p in line.now.points), default=0.0)
    given = tuple(
        Edge(
            limit.bound.op,
            limit.bound.value,
            alike,
            f"rule book: {limit.source or limit.id}" if limit.kind == "rule" else limit.source,
        )
        for limit in limits_after_flight(_rules(desk, line), aircraft, pack)
        if limit.measured == line.figure
    )
    sides = {edge.op for edge in given}
    defaults = (
        _edge(default, baseline_of(line, aircraft, pack), alike)
        for default in kind.defaults
        if default.op not in sides
    )
    return (*given, *(edge for edge in defaults if edge is not None))


def _edge(default: Default, baseline: Baseline | None, alike: float) -> Edge | None:
    if not default.of:
        return Edge(default.op, default.value, alike, "trigger of an inspection")
    if baseline is None:
        return None
    if default.of == "times":
        value, std = default.value * baseline.value, default.value * baseline.std
        word = f"{default.value:g} times {baseline.source}"
    else:
        value, std = baseline.value + default.value, baseline.std
        word = f"{baseline.source} {'+' if default.value > 0 else '-'} {abs(default.value):g}"
    return Edge(default.op, value, abs(std), f"trigger of an inspection: {word}")


def baseline_of(line: Line, aircraft: Aircraft | None, pack: Pack | None) -> Baseline | None:
    """Give the baseline of a series, None where there is none yet."""
    if line.figure == RESISTANCE and pack is not None and pack.resistance_ohm is not None:
        # Measured on the bench, by other sensors than those of the flights.
        alike = min((p.std for p in line.now.points), default=0.0)
        return Baseline(pack.resistance_ohm, alike, "the resistance of the pack file")
    if aircraft is not None and line.figure in aircraft.baseline:
        known = aircraft.baseline[line.figure]
        std = known.spread / math.sqrt(_BASELINE_FLIGHTS)
        return Baseline(known.value, std, "the baseline of the aircraft file")
    first = [p.value for p in line.now.points[:FEWEST]]
    if len(first) < FEWEST:
        return None
    std = float(np.std(first, ddof=1)) * math.sqrt(0.5 * math.pi / len(first))
    return Baseline(float(np.median(first)), std, f"the first {FEWEST} flights")


def _files(desk: Desk, line: Line) -> tuple[Aircraft | None, Pack | None]:
    """Give the files in force: of the thing, and for a pack of the aircraft that carries it."""
    if line.thing == AIRCRAFT:
        known = line.id in desk.versions.ids("aircraft")
        return (desk.aircraft(line.id) if known else None), None
    pack = desk.pack(line.id) if line.id in desk.versions.ids("pack") else None
    last = _last(desk, line)
    carrier = last.aircraft if last is not None else ""
    known = carrier in desk.versions.ids("aircraft")
    return (desk.aircraft(carrier) if known else None), pack


def _last(desk: Desk, line: Line) -> SortieRecord | None:
    """Give the latest flight that was released."""
    own = (
        flight
        for flight in sorties(desk)
        if (flight.aircraft if line.thing == AIRCRAFT else flight.pack) == line.id
    )
    released = [flight for flight in own if flight.release is not None]
    return released[-1] if released else None


def _rules(desk: Desk, line: Line) -> RuleBook | None:
    """Give the rule book under which it was flown last."""
    last = _last(desk, line)
    if last is None or last.release is None or "rules" not in last.release.body.content:
        return None
    version = desk.versions.by_hash(last.release.body.content["rules"])
    return desk.loaded(version, load_rules) if version is not None else None
