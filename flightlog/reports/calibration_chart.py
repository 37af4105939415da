"""What was expected of the ground roll beside what was measured, flight by flight."""

from __future__ import annotations

import numpy as np

from flightlog.operations.card_season import Calibration
from flightlog.prediction.calibration import CARD
from flightlog.reports.chart import Chart, Line, Panel
from flightlog.uncertain import NORMAL_95

_BESIDE = 0.12
"""So far apart from each other both stand, so that their bars can be told apart."""


def calibration_chart(found: Calibration) -> Chart:
    """Draw the rolls that a card predicted: expected and measured, each with its 95 % interval."""
    judged = [row for row in found.season.rows if CARD in row.scores]
    if not judged:
        lacking = "No flight with a measured roll had a flight card: sign one before the next."
        return Chart("predicted-rolls", "Ground roll, expected and measured", lacking=lacking)
    places = np.arange(1.0, len(judged) + 1.0)
    cards = [row.scores[CARD] for row in judged]
    seen = np.array([row.takeoff.roll_m for row in judged])
    half = NORMAL_95 * np.array([row.takeoff.roll_std_m for row in judged])
    expected = Line(
        "expected by the card",
        places - _BESIDE,
        np.array([s.median for s in cards]),
        np.array([s.low for s in cards]),
        np.array([s.high for s in cards]),
        stroke="points",
    )
    measured = Line("measured", places + _BESIDE, seen, seen - half, seen + half, stroke="points")
    return Chart(
        "predicted-rolls",
        "Ground roll, expected and measured",
        "Flights with a card, in the order in which they were flown",
        "",
        (Panel("Ground roll", "m", lines=(expected, measured)),),
    )
