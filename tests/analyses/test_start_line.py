"""Distance from a painted line, against simulated take-offs whose start is known."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest

from flightlog.analyses import start_line
from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff import measure_takeoff
from flightlog.estimation.frames import LocalFrame
from flightlog.inputs import Aircraft, Inputs, Runway, Site
from flightlog.recording import Receipt, Recording
from sample_flights.generator.takeoffs import iterate_takeoffs

BEHIND_M = 3.0


@cache
def takeoffs():
    return tuple(measured_takeoffs())


def measured_takeoffs():
    for tables, truth in iterate_takeoffs(5, 41, gps_hz=5, imu="100-400", air="calm"):
        recording = Recording(tables, Receipt("made", 0, "", "simulated", 1))
        t0, tl = truth["t_start_roll"], truth["t_liftoff"]
        sortie = Sortie(
            1, "runway", "rest", "air", t0, tl, None, tl + 18, (max(0, t0 - 12), tl + 9)
        )
        yield recording, measure_takeoff(recording, sortie, Inputs()), truth


def site_with_line(truth, behind_m: float) -> Site:
    """A line so far behind the true start of roll."""
    heading = math.radians(truth["runway"]["heading_deg"])
    frame = LocalFrame(*truth["start_latlon"])
    line = frame.position(-behind_m * math.sin(heading), -behind_m * math.cos(heading))
    return Site("made", "", Runway(truth["runway"]["heading_deg"], line))


def test_it_holds_the_distance_from_a_line_behind_the_start():
    held = 0
    for recording, takeoff, truth in takeoffs():
        inputs = Inputs(
            site=site_with_line(truth, BEHIND_M),
            aircraft=Aircraft("made", "", lever_m=tuple(truth["lever_m"])),
        )
        figure = start_line.answer(recording, takeoff, inputs).figures[start_line.FIGURE]
        low, high = figure.quantity.interval()
        held += low <= truth["ground_roll_m"] + BEHIND_M <= high
        roll = takeoff.answer.figures["takeoff.ground_roll"].quantity
        assert figure.quantity.std > roll.std
        assert figure.quantity.value - roll.value == pytest.approx(BEHIND_M, abs=4.0)

    # Five fair 95 % intervals hold fewer than four truths with probability 0.001.
    assert held >= 4


def test_without_a_line_it_says_which_setting_gives_it():
    recording, takeoff, truth = takeoffs()[0]
    site = site_with_line(truth, BEHIND_M)
    bare = replace(site, runway=Runway(site.runway.heading_deg))

    for inputs in (Inputs(), Inputs(site=bare)):
        reason = start_line.answer(recording, takeoff, inputs).withheld[start_line.FIGURE]
        assert "start_deg" in reason


def test_a_line_of_another_strip_is_refused():
    recording, takeoff, truth = takeoffs()[0]
    far = Inputs(site=site_with_line(truth, 500.0))

    reason = start_line.answer(recording, takeoff, far).withheld[start_line.FIGURE]

    assert "stood 49" in reason or "stood 50" in reason
