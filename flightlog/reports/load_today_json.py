"""How much may be loaded today, as JSON for programs: all choices, unrounded."""

from __future__ import annotations

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.operations.load_answer import UNKNOWN, Choice, LoadAnswer
from flightlog.operations.positions import named
from flightlog.reports.load_today_words import CAUTION, WHAT_IF_SAYS

SCHEMA = "flightlog.load/1"


def load_json(answer: LoadAnswer, as_of: Entry | None = None) -> dict[str, object]:
    """Give the answer as a JSON object; ``as_of`` is the entry to whose makers it was so."""
    plan, limit, energy = answer.plan, answer.limit, answer.energy
    return {
        "schema": SCHEMA,
        "as_of": _as_of_json(as_of),
        "aircraft": plan.aircraft,
        "pack": plan.pack,
        "rules": plan.rules or None,
        "site": plan.site or None,
        "day": answer.day,
        "weather": named(answer.weather),
        "headwind": {"value": answer.headwind_m_s, "unit": "m/s"},
        "air_density": {"value": answer.density_kg_m3, "unit": "kg/m³"},
        "pack_ratio": answer.pack_ratio,
        "limit": {
            "id": limit.id,
            "kind": limit.kind,
            "op": limit.bound.op,
            "value": limit.bound.value,
            "unit": limit.bound.unit,
            "source": limit.source,
        }
        if limit is not None
        else None,
        "judged_longer": {"value": answer.judged_longer_m, "unit": "m"},
        "limit_kept_up_to": {"value": answer.kept_up_to_m, "unit": "m"},
        "needed": answer.needed,
        "withheld": answer.withheld or None,
        "most": answer.most,
        "most_by_roll": answer.most_by_roll,
        "looked_at": answer.looked_at,
        "choices": [_choice_json(answer, choice) for choice in answer.choices],
        "what_ifs": [
            {"name": w.name, "units": w.units, "bound_m": w.bound_m} for w in answer.what_ifs
        ],
        "what_ifs_say": WHAT_IF_SAYS,
        "best_expected": answer.best_expected,
        "safest": answer.safest,
        "score_slopes": dict(answer.score_slopes),
        "abort_m": answer.abort_m,
        "no_abort": answer.no_abort or None,
        "energy": {
            "laps": energy.laps,
            "expected_wh": energy.expected_wh,
            "q95_wh": energy.q95_wh,
            "usable_wh": energy.usable_wh,
            "reserve_share": energy.reserve_share,
            "probability": energy.probability,
            "most_laps": energy.most_laps,
            "says": energy.says,
        }
        if energy is not None
        else None,
        "no_energy": answer.no_energy or None,
        "model": {
            "flights": answer.model.flights,
            "given_up": answer.model.given_up,
            "prior": answer.model.prior.source,
            "effects": [
                {"name": e.name, "prior": list(e.prior), "posterior": list(e.posterior)}
                for e in answer.model.effects
            ],
            "wide": answer.model.wide,
            "technique": answer.model.technique,
            "says": list(answer.model.says),
        },
        "left_out": [{"name": one.name, "why": one.why} for one in answer.left_out],
        "other_configuration": answer.other_configuration,
        "said": list(answer.said),
        "caution": CAUTION,
    }


def _choice_json(answer: LoadAnswer, choice: Choice) -> dict[str, object]:
    low, high = choice.roll.interval(0.95)
    score = choice.score
    return {
        "units": choice.units,
        "mass_kg": choice.mass_kg,
        "roll": {
            "median": choice.roll.median_m,
            "low": low,
            "high": high,
            "below_95": choice.roll.quantile(0.95),
            "unit": "m",
        },
        "probability": choice.probability,
        "keeps_limit": answer.keeps(choice) if choice.probability is not None else None,
        "binds_hold": _binds_hold(choice),
        "may_be_loaded": answer.may_be_loaded(choice),
        "binds": [
            {"name": b.name, "word": b.word, "says": b.says, "probability": b.probability}
            for b in choice.binds
        ],
        "score": {"expected": score.expected, "low": score.low, "high": score.high}
        if score is not None
        else None,
        "no_score": choice.no_score or None,
        "beyond_flown": choice.beyond_flown or None,
    }


def _binds_hold(choice: Choice) -> bool | None:
    """Whether all that binds besides holds; None where nothing fails and not all is assessable."""
    if not choice.allowed:
        return False
    return None if any(bind.word == UNKNOWN for bind in choice.binds) else True


def withheld_json(error: FlightlogError, as_of: Entry | None = None) -> dict[str, object]:
    """Give that nothing can be said, as a JSON object."""
    return {
        "schema": SCHEMA,
        "as_of": _as_of_json(as_of),
        "withheld": error.sentence(),
        "most": None,
        "choices": [],
        "caution": CAUTION,
    }


def _as_of_json(entry: Entry | None) -> dict[str, object] | None:
    if entry is None:
        return None
    return {
        "entry": named(entry),
        "hash": entry.hash,
        "kind": entry.body.kind,
        "time": f"{entry.body.time.utc:%Y-%m-%dT%H:%M:%SZ}",
    }
