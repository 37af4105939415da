"""Every way in which a log misleads has its findings, and each is met in a test."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from flightlog.findings import FINDINGS

ROWS = {
    # clocks
    "T1 streams by different clocks": "mixed-clocks",
    "T2 a clock that runs backwards or starts again": "clock-restart clock-backwards",
    "T3 a week counter that ran over, a date that can't be": "gps-week-rollover",
    "T4 leap seconds": "utc-leap-seconds",
    "T5 fixes that are late": "gps-late",
    # heights
    "B1 a barometer that drifts": "baro-drift",
    "B2 a static port that errs with speed": "static-pressure-error",
    "B3 a barometer that warms up": "baro-warming",
    "G1 which altitude it is": "altitude-reference",
    # positions
    "G2 positions that jump, speeds that are held": "position-jumps poor-fixes static-hold",
    "G3 fixes that repeat": "repeated-fixes",
    # current and voltage
    "C1 a current with the motor off": "current-offset",
    "C2 a current of another scale": "current-scale",
    "C3 a current at its limit": "current-clipped",
    "C4 several packs, or how many cells": "several-packs cell-count",
    "C5 wires between cells and sensor": "wiring-resistance",
    # outputs
    "P1 a surface that moves the wrong way": "surface-sense",
    "P2 outputs that are no pulses": "pulse-unit",
    "P3 a throttle among the surfaces": "throttle-channel",
    # units
    "U1 speed": "speed-unit",
    "U2 height": "height-unit",
    "U3 angles": "angle-unit",
    "U4 integers with a lost scale": "scaled-integers",
    "U5 accelerations": "accelerometer-unit",
    # what a log holds
    "L1 it starts too late": "starts-rolling starts-in-air",
    "L2 it ends too early": "ends-in-air power-lost",
    "L3 it has holes": "log-gap battery-gap lap-gap",
    "L4 it holds several flights": "several-sorties",
    "L5 it is there twice": "same-recording longer-copy",
    "L6 settings changed in it": "settings-changed",
    "L7 it is damaged": "damaged-bytes truncated damaged-lines",
    "L8 it is a copy from the radio": "radio-copy",
    # inertial sensors and estimates
    "M1 an accelerometer at its limit": "accelerometer-clipped",
    "M2 a board that is turned": "board-rotated",
    "M3 an estimate taken for a measurement": "estimated-quantity",
    # air
    "W1 no wind": "wind-unknown",
    "W2 an airspeed that is wrong": "airspeed-scale airspeed-unusable",
    # people
    "H1 another mass or pack than flew": "mass-doubtful pack-doubtful",
    "S1 attempts that nobody mentions": "attempts-first",
    "V1 another version of the analyses": "recomputed",
}
"""What goes wrong -> the findings that say so."""

SLUGS = sorted({slug for slugs in ROWS.values() for slug in slugs.split()})


def test_no_row_is_forgotten():
    """Rows by subject, as the table of failure modes counts them."""
    counts: dict[str, int] = {}
    for row in ROWS:
        counts[row[0]] = counts.get(row[0], 0) + 1

    assert counts == {
        "T": 5, "B": 3, "G": 3, "C": 5, "P": 3, "U": 5, "L": 8, "M": 3, "W": 2, "H": 1, "S": 1,
        "V": 1,
    }  # fmt: skip


@pytest.mark.parametrize("slug", SLUGS)
def test_a_row_is_in_the_dictionary(slug):
    assert slug in FINDINGS


@cache
def _texts() -> dict[str, str]:
    here = Path(__file__)
    files = (p for p in here.parents[1].rglob("test_*.py") if p != here)
    return {p.as_posix(): p.read_text(encoding="utf-8") for p in files}


@pytest.mark.parametrize("slug", SLUGS)
def test_a_row_is_met_in_a_test(slug):
    quoted = re.compile(rf"""["'( ]{re.escape(slug)}["') ]""")
    named = [name for name, text in _texts().items() if quoted.search(text)]

    # The table of what real logs show is not enough: it needs the logs.
    assert [name for name in named if not name.endswith("_corpus.py")]
