"""What a release asks of the team's files: in force, whole, and the same in the folder."""

from __future__ import annotations

import os
from collections.abc import Iterator

from flightlog.errors import FlightlogError
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.usage import fitted
from flightlog.operations.working_copies import (
    FAULT,
    LOADERS,
    OLDER,
    WorkingCopy,
    doubt,
    home_of,
    is_same,
    working_copy,
)

FILES = "files"
"""Name of the condition."""
_MOST_KEYS = 4


def file_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the files of the next flight are in force, and those in the folder the same.

    They are those of the aircraft, of what is fitted to it and has a file, of the pack, the rule
    book and the site, and all check lists. A file that the folder lacks contradicts nothing: the
    record has it.
    """
    found = [_condition(desk, kind, id_) for kind, id_ in _wanted(desk, plan)]
    held = [condition for condition in found if not condition.holds]
    if held:
        return held
    says = f"in force, and the same in the folder: {', '.join(c.says for c in found)}"
    return [Condition(FILES, True, says, "", tuple(e for c in found for e in c.rests_on))]


def _wanted(desk: Desk, plan: Plan) -> Iterator[tuple[str, str]]:
    yield "aircraft", plan.aircraft
    yield "pack", plan.pack
    if plan.rules:
        yield "rules", plan.rules
    if plan.site:
        yield "site", plan.site
    components = desk.versions.known("component")
    for id_ in sorted({f.component for f in fitted(desk, plan.aircraft)}):
        if id_ in components:
            yield "component", id_
    for id_ in desk.versions.known("checklist"):
        yield "checklist", id_


def _condition(desk: Desk, kind: str, id_: str) -> Condition:
    what, shown = f"{kind} {id_}", home_of(desk, kind, id_).relative_to(desk.folder.path).as_posix()
    enter = f"Enter one: 'flightlog team enter {shown} --by WHO --by WHO'."
    unclear = doubt(desk, kind, id_)
    if unclear:
        apart = (v.entry for v in desk.versions.conflict(kind, id_))
        fallen = (entry for entry, _ in desk.versions.unsettled(kind, id_))
        return Condition(FILES, False, f"{what}: {unclear}", enter, (*apart, *fallen))
    version = desk.versions.in_force(kind, id_)
    if version is None:
        return Condition(FILES, False, f"{what}: no version was entered", enter)
    try:
        desk.loaded(version, LOADERS[kind])
    except FlightlogError as error:
        clear = error.fix or enter
        return Condition(FILES, False, f"{what}: {error.found}", clear, (version.entry,))
    home = home_of(desk, kind, id_)
    if os.path.lexists(home) and not is_same(home, version):
        unlike = _unlike(working_copy(desk, home, kind))
        clear = f"{enter} Or put back what is in force: 'flightlog team restore {shown}'."
        return Condition(FILES, False, f"{what}: {unlike}", clear, (version.entry,))
    return Condition(FILES, True, what, "", (version.entry,))


def _unlike(copy: WorkingCopy) -> str:
    """Say how a file in the folder is not the version in force."""
    if copy.state == FAULT:
        return f"the file in the folder is at fault: {copy.why}"
    if copy.state == OLDER:
        return "the file in the folder is an older version"
    keys = [difference.key for difference in copy.changes]
    if not keys:
        return "the file in the folder differs in layout or comments"
    more = f" and {len(keys) - _MOST_KEYS} more" if len(keys) > _MOST_KEYS else ""
    return f"the file in the folder differs: {', '.join(keys[:_MOST_KEYS])}{more}"
