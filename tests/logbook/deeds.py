"""What a made-up crew does on the field: work, inspections, defects, releases, take-offs."""

from __future__ import annotations

from typing import Any

from flightlog.logbook.entry import Entry
from tests.logbook.crew import Crew, founded

ON = "pannier"


def crew_of_three() -> Crew:
    """Pilot, mechanic and a loader, on a laptop and a tablet that have seen the same."""
    crew = founded()
    crew.enrol("loader")
    crew.grant("loader", ["load-master"])
    crew.add("tablet", "chain-start", {"reason": "a new tablet"})
    crew.remark()
    return crew


def work(crew: Crew, by: str, device: str = "laptop", **more: Any) -> Entry:
    return crew.add(device, "work", signers=[(by, "performed", "")], **more)


def inspection(crew: Crew, of: Entry, *by: str, device: str = "laptop", **more: Any) -> Entry:
    signers = [(name, "inspected", "") for name in by]
    return crew.add(device, "made-up-look", signers=signers, relations=[("inspects", of)], **more)


def defect(crew: Crew, *by: str, on: str = ON, device: str = "laptop", **more: Any) -> Entry:
    signers = [(name, "reported", "") for name in by]
    return crew.add(device, "made-up-flaw", signers=signers, effect=("restricts", on), **more)


def release(crew: Crew, *by: str, role: str = "", device: str = "laptop", **more: Any) -> Entry:
    signers = [(name, "released", role) for name in by]
    return crew.add(device, "made-up-leave", signers=signers, effect=("permits", ON), **more)


def close(
    crew: Crew, what: Entry, *by: str, word: str = "ends", device: str = "laptop", **more: Any
) -> Entry:
    signers = [(name, "closed", "") for name in by]
    return crew.add(device, "closing", signers=signers, relations=[(word, what)], **more)


def take_off(crew: Crew, what: Entry, *, device: str = "laptop", **more: Any) -> Entry:
    return crew.add(device, "take-off", relations=[("spends", what)], **more)


def holds(crew: Crew, entry: Entry) -> bool:
    return crew.standing.permit(entry).holds


def why(crew: Crew, entry: Entry) -> tuple[str, ...]:
    return crew.standing.permit(entry).why


def texts(crew: Crew) -> list[str]:
    return [c.text for c in crew.standing.contradictions]


def forked() -> tuple[Crew, list[Entry]]:
    crew = crew_of_three()
    before = crew.last["laptop"]
    left = crew.remark("pilot", seen=[])
    right = crew.remark("mechanic", after=before, seen=[])
    return crew, [left, right]


def explain(
    crew: Crew, branches: list[Entry], *by: str, device: str = "laptop", **more: Any
) -> Entry:
    signers = [(name, "explained", "") for name in by]
    relations = [("explains", branch) for branch in branches]
    return crew.add(device, "explanation", signers=signers, relations=relations, **more)
