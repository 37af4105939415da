"""The form of entries about flying: what each kind takes, and what it refuses."""

from __future__ import annotations

from typing import Any

import pytest

from flightlog.logbook.entry import RELATIONS, Body, ClaimedTime, Relation, Signer
from flightlog.logbook.flying_kinds import FLYING_KINDS, GROUPS, NEVER_DEFERRED
from flightlog.logbook.forms import Kind
from flightlog.logbook.kinds import KINDS, content_problem, form_problem
from tests.logbook.made import NOON, TEAM, public_of

SHA = "ab" * 32


def q(value: str, unit: str) -> dict[str, str]:
    return {"value": value, "unit": unit}


SCALE = {"name": "nose", "arm": q("0.1", "m"), "side": q("0", "m"), "reading": q("1.4", "kg")}
POINT = {"setup": "a", "measure": "b", "stop": "c"}
GOOD: dict[str, dict[str, Any]] = {
    "file-version": {
        "kind": "aircraft",
        "id": "pannier",
        "sha256": SHA,
        "limit_changed": True,
        "changes": [{"key": "limits.x", "before": "1", "after": "2"}],
    },
    "baseline": {"aircraft": "pannier", "firmware": "one", "parameters": SHA, "count": 3},
    "parameters-read": {"aircraft": "pannier", "parameters": SHA, "count": 3, "source": "a.bin"},
    "weighing": {
        "aircraft": "pannier",
        "configuration": "cargo-2",
        "state": "empty",
        "instrument": "SC-1",
        "scales": [SCALE, SCALE, SCALE],
        "reading_std": q("0.005", "kg"),
        "arm_std": q("0.001", "m"),
    },
    "weather": {
        "place": "top-field",
        "mast_height": q("2", "m"),
        "instrument": "meter 1",
        "source": "read-off",
        "wind_mean": q("3.1", "m/s"),
        "wind_gust": q("4.4", "m/s"),
        "wind_from": q("70", "deg"),
        "pressure": q("1013.2", "hPa"),
        "temperature": q("-1.5", "°C"),
        "humidity": q("60", "%"),
    },
    "event": {"event": "hard-landing", "aircraft": "pannier"},
    "defect": {
        "aircraft": "pannier",
        "part": "left aileron horn",
        "group": "flight-controls",
        "severity": "blocking",
        "text": "loose",
    },
    "check": {"item": "tail", "result": "pass"},
    "flight-card": {
        "aircraft": "pannier",
        "pack": "pack-a",
        "units": 4,
        "mass": q("6.85", "kg"),
        "headwind": q("-0.4", "m/s"),
        "density": q("1.225", "kg/m³"),
        "roll": q("30.0", "m"),
        "roll_low": q("26.1", "m"),
        "roll_high": q("33.9", "m"),
        "bound": q("33.3", "m"),
        "needed": q("0.95", ""),
        "quantiles": "0.5=30.0",
        "limits": [
            {
                "limit": "takeoff-roll",
                "at_most": q("40", "m"),
                "required": q("0.95", ""),
                "probability": q("0.99", ""),
            }
        ],
        "model": "one",
        "points": [{"point": "one", "setup": "a", "measure": "b", "stop": "c"}],
    },
    "flight-card-done": {"points": [{"point": "one", "result": "to-repeat"}]},
    "sortie": {"number": 1, "source": "log", "landings": 1, "attempts": 0, "paired": "by time"},
    "fitness": {
        "aircraft": "pannier",
        "configuration": "cargo-2",
        "aircraft_file": SHA,
        "work": "annual inspection",
        "until": "2027-04-01T00:00:00Z",
    },
}


def body(kind: Kind, content: dict[str, Any], signers: int | None = None) -> Body:
    meaning = (kind.meanings or ("stated",))[0] if kind.meanings != () else ""
    count = kind.signers if signers is None else signers
    return Body(
        team=TEAM,
        device=public_of("laptop"),
        number=2,
        previous=SHA,
        seen=(),
        time=ClaimedTime(NOON, "laptop clock"),
        kind=kind.name,
        content=content,
        signers=tuple(Signer(public_of(f"person {n}"), meaning) for n in range(count)),
        relations=(Relation(kind.relation, SHA),) if kind.relation else (),
    )


@pytest.mark.parametrize("name", sorted(GOOD))
def test_a_good_content_is_taken_and_one_key_less_or_more_is_not(name):
    kind = KINDS[name]
    assert form_problem(body(kind, GOOD[name])) is None
    assert content_problem(body(kind, {**GOOD[name], "colour": "red"}))
    for key, form in kind.content.items():
        if not form.optional:
            less = {k: v for k, v in GOOD[name].items() if k != key}
            assert content_problem(body(kind, less)), key


@pytest.mark.parametrize("kind", FLYING_KINDS, ids=lambda kind: kind.name)
def test_a_kind_says_what_it_is_for_and_needs_only_what_there_is(kind):
    assert kind.label
    assert kind.note.endswith(".")
    assert not kind.relation or kind.relation in RELATIONS
    assert kind.signers == 0 or kind.meanings


@pytest.mark.parametrize("kind", [k for k in FLYING_KINDS if k.signers], ids=lambda k: k.name)
def test_one_signature_too_few_is_told(kind):
    problem = form_problem(body(kind, GOOD.get(kind.name, {}), kind.signers - 1))

    assert problem


@pytest.mark.parametrize(
    ("name", "key", "value"),
    [
        ("weather", "wind_mean", q("3.1", "kt")),
        ("weather", "temperature", 12),
        ("event", "aircraft", "a/b"),
        ("event", "aircraft", "x" * 61),
        ("defect", "severity", "urgent"),
        ("sortie", "landings", -1),
        ("fitness", "until", "2027-02-30T00:00:00Z"),
        ("fitness", "until", "2027-02-28"),
        ("weighing", "scales", [SCALE]),
        ("flight-card", "roll", q("30", "ft")),
        ("flight-card", "limits", [{"limit": "takeoff-roll", "at_most": q("40", "m")}]),
        ("flight-card", "points", [{"point": "one", "setup": "a", "measure": "b"}]),
        ("flight-card", "points", [{"point": str(n), **POINT} for n in range(41)]),
        ("flight-card-done", "points", [{"point": "one", "result": "done"}]),
    ],
)
def test_a_value_of_another_form_is_refused(name, key, value):
    assert content_problem(body(KINDS[name], {**GOOD[name], key: value}))


def test_what_is_never_deferred_is_a_group():
    assert 4 == len(NEVER_DEFERRED)
    assert set(NEVER_DEFERRED) < set(GROUPS)
