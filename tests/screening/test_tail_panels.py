"""Panels of V tails: which way they turn, and a reversed one among sound ones."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.deflection import panel_turn
from flightlog.figures import Answer
from flightlog.findings import Finding
from flightlog.inputs import Aircraft, Inputs
from flightlog.screening.context import FlightView
from flightlog.screening.surfaces import Surface, panel_named, surface_named, surface_sense
from tests.analyses.made import recording, sortie

T = np.arange(10.0, 205.0, 0.02)


@pytest.mark.parametrize(
    ("name", "dihedral", "ways"),
    [
        # Trailing edge down: nose down; on a V the left panel pushes the tail right, nose left.
        ("left tail", 35.0, (Surface(1, -1), Surface(2, -1))),
        ("Right tail", 35.0, (Surface(1, -1), Surface(2, 1))),
        ("left tail", -35.0, (Surface(1, -1), Surface(2, 1))),
        ("right tail", -35.0, (Surface(1, -1), Surface(2, -1))),
        ("right tail", 3.0, (Surface(1, -1),)),
        ("right tail", None, ()),
        ("tail", 35.0, ()),
        ("left aileron", 35.0, ()),
    ],
)
def test_how_a_panel_turns_the_aircraft(name, dihedral, ways):
    assert panel_named(name, dihedral) == ways


@cache
def flown(dihedral: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Deflections of both panels by a restless autopilot, and the turning that they bring."""
    rng = np.random.default_rng(8)
    wanted = [np.interp(T, np.arange(10.0, 206.0, 0.5), rng.normal(0, 2.0, 392)) for _ in range(2)]
    turns = [panel_turn(right=right, dihedral_deg=dihedral) for right in (False, True)]
    rates, panels = np.zeros((T.size, 3)), np.zeros((T.size, 2))
    pitch = yaw = 0.0
    gusts = rng.normal(0, 3.0, (T.size, 2)).cumsum(axis=0)
    gusts -= np.array([np.convolve(g, np.full(200, 1 / 200), "same") for g in gusts.T]).T
    for k in range(T.size):
        common, apart = wanted[0][k] + 0.05 * pitch, wanted[1][k]
        panels[k] = common + apart, common - apart
        moments = [
            sum(getattr(turn, axis) * angle for turn, angle in zip(turns, panels[k], strict=True))
            for axis in ("pitch", "yaw")
        ]
        pitch += (-5.0 * pitch + 20.0 * moments[0] + gusts[k, 0]) * 0.02
        yaw += (-3.0 * yaw + 10.0 * moments[1] + gusts[k, 1]) * 0.02
        rates[k] = 0.0, pitch, yaw
    rates += rng.normal(0, 0.3, rates.shape)
    return panels[:, 0], panels[:, 1], np.radians(rates)


def senses(dihedral: float, left: float, right: float) -> list[Finding]:
    """What is said when a positive deflection is logged with these signs of the pulse."""
    down_left, down_right, rates = flown(dihedral)
    rows = [
        pd.DataFrame({"time_s": T, "channel": c, "pulse_us": 1500.0 + 15.0 * p})[::2]
        for c, p in ((2, left * down_left), (4, right * down_right))
    ]
    outputs = pd.concat(rows).sort_values("time_s", kind="stable")
    imu = pd.DataFrame({"time_s": T, "instance": 0}).assign(
        **{f"gyro_{a}_rad_s": rates[:, k] for k, a in enumerate("xyz")}
    )
    aircraft = Aircraft(
        "pannier",
        "0" * 64,
        outputs={2: "left tail", 4: "right tail"},
        senses={2: 1, 4: -1},
        tail_dihedral_deg=dihedral,
    )
    log = recording(outputs=outputs, imu=imu)
    inputs = Inputs(aircraft=aircraft)
    return list(surface_sense(FlightView(log, sortie(), inputs, Takeoff(Answer()), None, {})))


def test_a_ruddervator_is_a_panel_and_no_rudder():
    assert surface_named("left ruddervator") is None
    assert panel_named("left ruddervator", -35.0) == panel_named("left tail", -35.0) != ()


@pytest.mark.parametrize("dihedral", [35.0, -35.0])
def test_only_the_reversed_panel_is_told(dihedral):
    assert senses(dihedral, 1, -1) == []
    (one,) = senses(dihedral, 1, 1)
    (other,) = senses(dihedral, -1, -1)

    assert (one.code, one.evidence["channel"]) == ("surface-sense", 4)
    assert other.evidence["channel"] == 2
    assert "pitches" in one.message
    assert "yaws" in one.message
