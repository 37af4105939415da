"""The JSON shape that every face shares, and nothing else.

All ``_s`` are on the log's own clock; ``low`` and ``high`` are the ends of the interval at
`flightlog.figures.LEVEL`. A number that is not finite never gets out: a figure moves to
``withheld``, anything else becomes null. Keys keep one order, so that two debriefs can be
compared line by line.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from flightlog import __version__
from flightlog.analyses.laps import Gate, Lap
from flightlog.analyses.phases import Attempt
from flightlog.constants import COULOMB_PER_AH
from flightlog.debriefing import Debrief, SortieDebrief
from flightlog.errors import FlightlogError
from flightlog.figures import ANALYSES_VERSION, LEVEL, Figure
from flightlog.findings import Finding
from flightlog.inputs import Inputs
from flightlog.recording import Partner, Receipt
from flightlog.rules.outcomes import Outcome, Score
from flightlog.uncertain import Quantity, Uncertain

DEBRIEF_SCHEMA = "flightlog.debrief/1"
ERROR_SCHEMA = "flightlog.error/1"
TOOL_VERSION = __version__
"""Of this program, as its JSON names it."""

Json = dict[str, Any]


def to_json(debrief: Debrief) -> Json:
    """Turn a debrief into plain JSON types.

    Parameters
    ----------
    debrief : Debrief
        Of one recording.

    Returns
    -------
    dict
        Of dict, list, str, int, float, bool and None; every float is finite.
    """
    body = {
        "schema": DEBRIEF_SCHEMA,
        "tool": {"version": TOOL_VERSION, "analyses": ANALYSES_VERSION},
        "log": _log(debrief.receipt),
        "inputs": _inputs(debrief.inputs, debrief.rules),
        "attempts": [_attempt(a) for a in debrief.attempts],
        "sorties": [_sortie(s) for s in debrief.sorties],
        "findings": [finding_json(f) for f in debrief.findings],
    }
    plain: Json = plain_json(body)
    return plain


def error_to_json(error: FlightlogError) -> Json:
    """Turn an error into the object that stands in for a debrief."""
    body = {
        "schema": ERROR_SCHEMA,
        "where": error.where,
        "found": error.found,
        "fix": error.fix,
    }
    plain: Json = plain_json(body)
    return plain


def dumps(body: Debrief | FlightlogError | Mapping[str, Any]) -> str:
    """Write a debrief or an error as JSON text, indented, fit for UTF-8.

    Raises
    ------
    ValueError
        If a mapping holds NaN or an infinity; those made here never do.
    """
    if isinstance(body, Debrief):
        body = to_json(body)
    elif isinstance(body, FlightlogError):
        body = error_to_json(body)
    return json.dumps(body, ensure_ascii=False, allow_nan=False, indent=2)


def _log(receipt: Receipt) -> Json:
    return {
        "file": receipt.file,
        "sha256": receipt.sha256,
        "format": receipt.format,
        "duration_s": receipt.duration_s,
        "start_utc": _utc_text(receipt.utc.unix_offset_s),
        "time_origin": receipt.time_origin,
        "utc": _utc(receipt),
        "partners": [_partner(p) for p in receipt.partners],
    }


def _utc(receipt: Receipt) -> Json:
    """How the log's clock leads to UTC: ``utc = time_s + offset_s``, and how sure that is.

    Without a known zone ``offset_s`` leads to the local time of some place.
    """
    utc = receipt.utc
    return {
        "offset_s": utc.offset_s,
        "std_s": utc.std_s,
        "zone_known": utc.zone_known,
        "source": utc.source,
        "clock": receipt.clock,
    }


def _partner(partner: Partner) -> Json:
    """Another recording of the same flight: ``offset`` is added to its clock. [s]"""
    return {
        "file": partner.file,
        "sha256": partner.sha256,
        "format": partner.format,
        "offset": bounds_json(
            Uncertain.of(partner.offset_s, partner.offset_std_s, "s", source="clocks"),
            unit=True,
            level=True,
        ),
        "rate_ppm": partner.rate_ppm,
        "method": partner.method,
        "tables": list(partner.tables),
    }


def _utc_text(unix_s: float | None) -> str | None:
    """UTC of the clock's zero in whole seconds; null when the log does not tell."""
    if unix_s is None or not math.isfinite(unix_s):
        return None
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=round(unix_s))
    except OverflowError:  # a damaged log may say any year
        return None
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def _inputs(inputs: Inputs, rules: Mapping[str, str] | None) -> Json:
    site, aircraft, mass, pack = inputs.site, inputs.aircraft, inputs.mass, inputs.pack
    return {
        "site": site and {"id": site.id, "sha256": site.sha256},
        "aircraft": aircraft
        and {"id": aircraft.id, "serial": aircraft.serial, "sha256": aircraft.sha256},
        "pack": pack and {"id": pack.id, "serial": pack.serial, "sha256": pack.sha256},
        "rules": dict(rules) if rules else None,
        "mass": mass and {"value": mass.kg, "unit": "kg", "source": mass.source},
        "weather": _weather(inputs),
        "payload_units": inputs.payload_units,
        "screen_height_m": inputs.screen_height_m,
        "entered": dict(inputs.entered),
        "charged": _charged(inputs),
    }


def _charged(inputs: Inputs) -> Json | None:
    """What the charger put back after the log; null when it was not given."""
    if inputs.charged_coulomb is None:
        return None
    return {"value": inputs.charged_coulomb / COULOMB_PER_AH, "unit": "Ah"}


def _weather(inputs: Inputs) -> Json | None:
    """What the team measured of the air; null when nothing was given."""
    wind, air = inputs.wind, inputs.air
    if wind is None and air is None:
        return None
    return {
        "wind_speed": wind and _given(wind.speed_m_s, wind.speed_std_m_s, "m/s"),
        "wind_from": wind and _given(wind.from_deg, wind.from_std_deg, "deg"),
        "air_temperature": air and _given(air.temperature_k, air.temperature_std_k, "K"),
        "source": "given",
    }


def _given(value: float, std: float, unit: str) -> Json:
    return bounds_json(Uncertain.of(value, std, unit, source="given"), unit=True, level=False)


def bounds_json(quantity: Quantity, *, unit: bool, level: bool) -> Json:
    """Give value and interval of a number, with its unit and the interval's level where asked."""
    low, high = quantity.interval(LEVEL)
    body: Json = {"value": quantity.value}
    if unit:
        body["unit"] = quantity.unit
    body |= {"low": low, "high": high}
    if level:
        body["level"] = LEVEL
    return body


def _attempt(attempt: Attempt) -> Json:
    speed = Uncertain.of(
        attempt.peak_ground_speed_m_s, attempt.peak_ground_speed_std_m_s, "m/s", source="speed"
    )
    return {
        "number": attempt.number,
        "start_s": attempt.start_s,
        "stop_s": attempt.stop_s,
        "peak_ground_speed": bounds_json(speed, unit=True, level=False),
        "distance": _rolled(attempt.distance),
        "distance_in_all": _rolled(attempt.distance_in_all),
        "reason": attempt.reason,
    }


def _rolled(distance: Uncertain | None) -> Json | None:
    """A distance, whose interval does not begin below zero; null when it is not known."""
    if distance is None:
        return None
    body = bounds_json(distance, unit=True, level=False)
    return body | {"low": max(0.0, body["low"])}


def _sortie(debrief: SortieDebrief) -> Json:
    sortie = debrief.sortie
    figures, withheld = figures_json(debrief.figures, debrief.withheld)
    return {
        "number": sortie.number,
        "launch": sortie.launch,
        "starts": sortie.starts,
        "ends": sortie.ends,
        "start_s": sortie.start_s,
        "liftoff_s": sortie.liftoff_s,
        "touchdown_s": sortie.touchdown_s,
        "end_s": sortie.end_s,
        "figures": figures,
        "withheld": withheld,
        "gate": debrief.gate and _gate(debrief.gate),
        "laps": [_lap(lap) for lap in debrief.laps],
        "outcomes": [outcome_json(o) for o in debrief.outcomes],
        "score": debrief.score and _score(debrief.score),
        "findings": [finding_json(f) for f in debrief.findings],
    }


def figures_json(figures: Mapping[str, Figure], withheld: Mapping[str, str]) -> tuple[Json, Json]:
    """Give figures, and what is withheld; a figure that is not finite moves over."""
    given = {id_: _figure(figure) for id_, figure in figures.items()}
    endless = [id_ for id_, body in given.items() if not _is_finite(body)]
    why = dict.fromkeys(endless, "its value or interval is not a finite number")
    return {k: v for k, v in given.items() if k not in endless}, {**withheld, **why}


def _is_finite(body: Json) -> bool:
    return all(math.isfinite(body[key]) for key in ("value", "low", "high"))


def _figure(figure: Figure) -> Json:
    return {
        **bounds_json(figure.quantity, unit=True, level=True),
        "method": figure.method,
        "sources": list(figure.sources),
    }


def _gate(gate: Gate) -> Json:
    return {"origin": gate.origin, "left": list(gate.left_deg), "right": list(gate.right_deg)}


def _lap(lap: Lap) -> Json:
    return {
        "number": lap.number,
        "start_s": lap.start_s,
        "end_s": lap.end_s,
        **{
            name: quantity and bounds_json(quantity, unit=True, level=True)
            for name, quantity in (
                ("time", lap.time),
                ("energy", lap.energy),
                ("distance", lap.distance),
            )
        },
    }


def outcome_json(outcome: Outcome) -> Json:
    """Give one limit as it was judged."""
    quantity, bound = outcome.quantity, outcome.bound
    low, high = quantity.interval(LEVEL) if quantity else (None, None)
    body: Json = {
        "limit": outcome.limit,
        "kind": outcome.kind,
        "figure": outcome.figure,
        "definition": outcome.definition,
        "value": quantity.value if quantity else None,
        "low": low,
        "high": high,
        "unit": bound.unit,
        "outcome": outcome.outcome,
        "probability": outcome.probability,
        "bound": {"op": bound.op, "value": bound.value, "unit": bound.unit},
        "required_probability": outcome.required_probability,
        "source": outcome.source,
    }
    if outcome.reason:
        body["reason"] = outcome.reason
    return body


def _score(score: Score) -> Json:
    body: Json = {
        "total": score.total and bounds_json(score.total, unit=False, level=False),
        "terms": {n: bounds_json(q, unit=False, level=False) for n, q in score.terms.items()},
    }
    if score.reason:
        body["reason"] = score.reason
    return body


def finding_json(finding: Finding) -> Json:
    """Give one finding."""
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "evidence": dict(finding.evidence),
        "affects": list(finding.affects),
        "remedy": finding.remedy,
        "start_s": finding.start_s,
        "end_s": finding.end_s,
    }


def plain_json(value: object) -> Any:
    """Make JSON types of what numpy and hostile logs may have left in a value."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        # Half a surrogate pair, as from a file name in bytes, has no form in UTF-8.
        return value.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, Mapping):
        return {plain_json(str(k)): plain_json(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain_json(v) for v in value]
    if hasattr(value, "item"):  # a number of numpy
        return plain_json(value.item())
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return plain_json(str(value))
