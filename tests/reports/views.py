"""Flights to draw: a sample log debriefed as for the record, and what can be taken away from it."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any, cast

import numpy as np

import flightlog
from flightlog.contract import to_json
from flightlog.inputs import Inputs, load_aircraft, load_site
from flightlog.operations.flight_view import FlightView, flown_in, path_of
from flightlog.recording import Recording
from flightlog.reports.chart import Chart, Line, Mark, Panel
from flightlog.rules.book import load_rules
from tests.operations.made import FILES, SAMPLES

HOSTILE = "<script>alert(1)</script> [a](http://x) $y$ %{z} \u202e\x07&"
NO_RECORD = cast(Any, None)


@cache
def stored(name: str = "calm.bin") -> tuple[Recording, str]:
    """Give a sample log and the text of its debrief."""
    log = flightlog.read(SAMPLES / name)
    inputs = Inputs(
        site=load_site(FILES["site", "top-field"]),
        aircraft=load_aircraft(FILES["aircraft", "pannier"]),
    )
    rules = load_rules(FILES["rules", "club-trial-2027"])
    return log, json.dumps(to_json(flightlog.debrief(log, inputs, rules)))


@cache
def view(name: str = "calm.bin") -> FlightView:
    """Give a flight with everything."""
    log, text = stored(name)
    whole = json.loads(text)
    item = whole["sorties"][0]
    sortie, takeoff = flown_in(log, item)
    path = path_of(log, item, takeoff)
    aircraft = load_aircraft(FILES["aircraft", "pannier"])
    return FlightView(NO_RECORD, item, whole, log, path, "", (3,), aircraft, sortie, takeoff)


def without(view: FlightView, *tables: str) -> FlightView:
    """Give a flight whose log lacks some sensors; the numbers stay."""
    log = cast(Recording, view.recording).without(*tables)
    sortie, takeoff = flown_in(log, view.debrief)
    path = path_of(log, view.debrief, takeoff)
    return replace(view, recording=log, path=path, sortie=sortie, takeoff=takeoff)


def with_debrief(view: FlightView, **said: Any) -> FlightView:
    """Give a flight whose stored debrief says something else."""
    return replace(view, debrief={**view.debrief, **said})


def chart(*lines: Line, marks: tuple[Mark, ...] = (), **said: Any) -> Chart:
    """Give a chart of one panel, or of none without lines."""
    panels = (Panel("Height", "m", lines, **said.pop("panel", {})),) if lines else ()
    return Chart("made", "Made", "time", "s", panels, marks, **said)


def line(count: int = 50, name: str = "one", **said: Any) -> Line:
    """Give a line that goes up and down."""
    x = np.arange(count, dtype=np.float64)
    return Line(name, x, np.sin(x), **said)
