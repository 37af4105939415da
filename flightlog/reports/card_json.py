"""Flight cards as JSON, for programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flightlog.logbook.entry import write_utc
from flightlog.operations.card_flights import CardOutcome
from flightlog.operations.card_view import CardView
from flightlog.operations.positions import named
from flightlog.reports.card_words import value
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.load_today_words import CAUTION


def cards_json(views: Sequence[CardView]) -> dict[str, Any]:
    """Give cards as an object for JSON."""
    return {
        "schema": "flightlog.flight-cards/1",
        "cards": [_card_json(view) for view in views],
        "cautions": [CAUTION, *CAUTIONS],
    }


def _card_json(view: CardView) -> dict[str, Any]:
    said = view.card.body.content
    numbers = ("mass", "headwind", "density", "roll", "roll_low", "roll_high", "bound", "needed")
    may = ("abort", "climb", "climb_low", "climb_high", "energy", "energy_bound")
    return {
        "card": named(view.card),
        "signed": write_utc(view.card.body.time.utc),
        "state": view.word,
        "why": view.why or None,
        **{key: said.get(key) for key in ("aircraft", "pack", "rules", "site", "units", "laps")},
        **{key: _number(said[key]) for key in numbers},
        **{key: _number(said[key]) if key in said else None for key in may},
        "limits": [
            {"limit": one["limit"]}
            | {key: value(one, key) for key in ("at_most", "required", "probability")}
            for one in said["limits"]
        ],
        "quantiles": None
        if view.numbers is None
        else {
            "probability": list(view.numbers.quantiles.levels),
            "roll_m": list(view.numbers.quantiles.values),
        },
        "model": said["model"],
        "beyond": said.get("beyond"),
        "pack_state": said.get("pack_state"),
        "judged_longer": _number(said["judged_longer"]) if "judged_longer" in said else None,
        "fails": [{"what": one["what"], "says": one["says"]} for one in said.get("fails") or []],
        "points": [
            {
                "point": p.name,
                "setup": p.setup,
                "measure": p.measure,
                "stop": p.stop,
                "result": p.result or None,
                "text": p.text or None,
            }
            for p in view.points
        ],
        "outcome": None if view.outcome is None else _outcome_json(view.outcome),
    }


def _number(said: Mapping[str, Any]) -> dict[str, Any]:
    return {"value": float(said["value"]), "unit": said["unit"]}


def _outcome_json(outcome: CardOutcome) -> dict[str, Any]:
    score = outcome.score
    return {
        "sortie": named(outcome.flight.entry),
        "roll_m": outcome.roll_m,
        "roll_std_m": outcome.roll_std_m,
        "no_roll": outcome.no_roll or None,
        "inside": None if score is None else score.inside,
        "above_bound": None
        if outcome.numbers is None or outcome.roll_m is None
        else outcome.roll_m > outcome.numbers.bound_m,
        "probability_of_at_most": None if score is None else score.pit,
        "crps_m": None if score is None else score.crps,
        "others": [
            {
                "figure": one.figure,
                "unit": one.unit,
                "expected": one.expected,
                "low": one.low,
                "high": one.high,
                "measured": one.measured,
                "inside": one.inside,
                "why": one.why or None,
            }
            for one in outcome.others
        ],
    }
