"""Defects of the hill farm in tests: reported, put off, put right, looked at, in one line each."""

from __future__ import annotations

from typing import Any

from flightlog.logbook.entry import Entry
from flightlog.operations.defects import (
    closing_draft,
    defect_conditions,
    defect_draft,
    deferral_draft,
    inspection_draft,
    rectification_draft,
    state_of,
)
from flightlog.operations.plan import Condition, Plan
from tests.logbook.made import public_of
from tests.operations.made import HillFarm

PLAN = Plan("pannier", "pack-a")
PILOT, MECHANIC, OBSERVER = (public_of(n) for n in ("pilot", "mechanic", "observer"))
DEFERRED = {"reason": "a", "risk": "b", "limitation": "not in rain", "flights": 5}
BOTH = ("pilot", "accepted", "pilot"), ("mechanic", "accepted", "safety")


def report(
    farm: HillFarm, group: str = "avionics", severity: str = "blocking", **about: Any
) -> Entry:
    farm.clock.later(minutes=1)
    cites = about.pop("cites", ())
    draft = defect_draft(
        farm.desk,
        part=about.pop("part", "bay hatch"),
        group=group,
        severity=severity,
        text=about.pop("text", "worn"),
        cites=cites,
        **(about or {"aircraft": "pannier"}),
    )
    return farm.sign(draft)


def put_off(farm: HillFarm, defect: Entry, **end: Any) -> Entry:
    draft = deferral_draft(
        farm.desk,
        defect,
        reason="no part",
        risk="water",
        limitation="not in rain",
        pilot=PILOT,
        safety=MECHANIC,
        **(end or {"flights": 2}),
    )
    return farm.sign(draft, "pilot", "mechanic")


def mend(farm: HillFarm, defect: Entry, action: str = "new seal") -> Entry:
    draft = rectification_draft(farm.desk, defect, action=action, parts="", data="", key=MECHANIC)
    return farm.sign(draft, "mechanic")


def look(farm: HillFarm, work: Entry, result: str = "pass", by: str = "pilot") -> Entry:
    draft = inspection_draft(farm.desk, work, result=result, text="looked at", key=public_of(by))
    return farm.sign(draft, by)


def close(farm: HillFarm, defect: Entry) -> Entry:
    return farm.sign(closing_draft(farm.desk, defect, text="done", key=PILOT), "pilot")


def corrected(farm: HillFarm, entry: Entry, by: str = "mechanic") -> Entry:
    return farm.add(
        "correction", {"text": "a slip"}, (by, "stated"), relations=[("corrects", entry)]
    )


def condition(farm: HillFarm, name: str = "defects") -> Condition:
    return next(c for c in defect_conditions(farm.desk, PLAN) if c.name == name)


def state(farm: HillFarm, defect: Entry) -> str:
    return state_of(farm.desk, defect).state
