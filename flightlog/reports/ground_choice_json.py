"""Propellers and packs for a mission, as JSON for programs: unrounded, and never a NaN."""

from __future__ import annotations

import math
from collections.abc import Mapping

from flightlog.groundtests.draws import Spread
from flightlog.groundtests.limits_of_choice import Judged
from flightlog.operations.ground_choice import GroundChoice, IdealSplit
from flightlog.reports.ground_choice_words import CAUTION

SCHEMA = "flightlog.choice/1"


def choice_json(answer: GroundChoice) -> dict[str, object]:
    """Give the choice as a JSON object."""
    mission, propellers, packs = answer.mission, answer.propellers, answer.packs
    return {
        "schema": SCHEMA,
        "mission": {"id": mission.id, "title": mission.title, "sha256": mission.sha256},
        "objective": mission.objective,
        "propellers": None
        if propellers is None
        else {
            "best": propellers.best or None,
            "not_shown_to_be_worse": list(propellers.as_good),
            "candidates": [
                {
                    "name": w.name,
                    "state": w.state,
                    "on_front": w.on_front,
                    "beaten_by": w.beaten_by or None,
                    **_weighed(w.figures, w.withheld, w.demands),
                }
                for w in propellers.candidates
            ],
        },
        "packs": None
        if packs is None
        else {
            "best": packs.best or None,
            "not_shown_to_be_worse": list(packs.as_good),
            "energy_and_current_of": answer.drive or None,
            "candidates": [
                {
                    "name": p.name,
                    "state": p.state,
                    "units": p.units,
                    "beaten_by": p.beaten_by or None,
                    **_weighed(p.figures, p.withheld, p.demands),
                }
                for p in packs.packs
            ],
        },
        "ideal_battery": None if answer.ideal is None else _ideal(answer.ideal),
        "taken_as_exact": list(answer.exact),
        "stand": [
            {
                "propeller": s.name,
                "files": [{"name": f.name, "sha256": f.sha256} for f in s.test.files],
                "findings": [
                    {"code": f.code, "severity": f.severity, "message": f.message}
                    for f in s.test.answer.findings
                ],
            }
            for s in answer.stand
        ],
        "caution": CAUTION,
    }


def _weighed(
    figures: Mapping[str, Spread], withheld: Mapping[str, str], demands: tuple[Judged, ...]
) -> dict[str, object]:
    return {
        "figures": {
            id_: {
                "value": _finite(spread.value),
                "unit": spread.unit,
                "interval_95": [_finite(end) for end in spread.interval],
                "sources": dict(spread.shares),
            }
            for id_, spread in figures.items()
        },
        "withheld": dict(withheld),
        "limits": [
            {
                "figure": j.demand.figure,
                "op": j.demand.op,
                "bound": j.demand.bound,
                "unit": j.demand.unit,
                "outcome": j.word,
                "probability": j.probability,
                "required": j.demand.shown_at,
                "reason": j.why or None,
            }
            for j in demands
        ],
    }


def _ideal(ideal: IdealSplit) -> dict[str, object]:
    return {
        "battery_kg": ideal.split.battery_kg,
        "payload_kg": ideal.split.payload_kg,
        "gross_kg": ideal.split.gross_kg,
        "range_km": ideal.split.range_m / 1000,
        "comes_from": ideal.split.binds,
        "needed_for_the_distance_kg": ideal.needed_kg,
        "usable_wh_kg": ideal.usable_wh_kg,
        "pack": ideal.pack,
    }


def _finite(value: float) -> float | None:
    """Give a number; None for what can't be reached."""
    return value if math.isfinite(value) else None
