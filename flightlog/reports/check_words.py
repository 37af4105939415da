"""Items of a check list in words: what is asked, what passes, and what was signed."""

from __future__ import annotations

from flightlog.logbook.book import Draft
from flightlog.operations.checklists import Item
from flightlog.operations.checks import About, ItemState, ListState
from flightlog.operations.defects import defect_conditions
from flightlog.operations.desk import Desk
from flightlog.operations.fitness import fitness_conditions
from flightlog.operations.plan import Plan
from flightlog.operations.walk import done_of, is_second_look


def said_line(draft: Draft) -> str:
    """Give all that a check says, on one line."""
    said = draft.content
    parts = [str(said["result"])]
    if "value" in said:
        parts.append(f"{said['value']['value']} {said['value']['unit']}".strip())
    parts += [str(said[key]) for key in ("choice", "instrument", "reason", "remark") if key in said]
    if draft.attachments:
        parts.append(f"{len(draft.attachments)} photos")
    (signer,) = draft.signers
    return f"{', '.join(parts)}; {signer.meaning} as {signer.role}"


def about_line(desk: Desk, about: About) -> str:
    """Say what a list is walked for as its plate has it: serial and configuration.

    Raises
    ------
    UsageError, TeamFileError
        If a file of it is not in the record, or can't be read.
    """
    said = []
    if about.aircraft:
        file = desk.aircraft(about.aircraft)
        configuration = f", configuration {file.configuration}" if file.configuration else ""
        said.append(f"{about.aircraft}, serial {file.serial or 'none'}{configuration}")
    if about.pack:
        said.append(f"{about.pack}, serial {desk.pack(about.pack).serial or 'none'}")
    return "; ".join(said)


def papers_lines(desk: Desk, plan: Plan) -> list[str]:
    """Say what is read aloud before a flight: the fitness statement, defects and deferrals."""
    found = (*fitness_conditions(desk, plan), *defect_conditions(desk, plan))
    return [f"{one.name}: {one.says}" for one in found]


def who_line(item: Item) -> str:
    """Say who does an item, and who looks at it afresh."""
    return f"{item.role}, then {item.second} looks afresh" if item.second else item.role


def state_text(state: ItemState) -> str:
    """Say how an item stands, and why; by what it was done again where another list did it."""
    why = f": {state.why}" if state.why else ""
    again = f", by {state.renewed_by}" if state.renewed_by else ""
    return f"{state.state}{why}{again}"


def progress_text(state: ListState) -> str:
    """Say how far a list is: what is done, and what waits for a second person."""
    done, whole = done_of(state)
    waiting = sum(map(is_second_look, state.items))
    waits = f", {waiting} done once, waiting for a second person" if waiting else ""
    return f"{done} of {whole} done{waits}"


def number_label(item: Item) -> str:
    """Say which number is asked for."""
    return f"Number in {item.unit or '1'}"


def item_head(item: Item) -> str:
    """Give the part of the list in which an item stands, its id, and who does it."""
    return f"{item.section} · {item.id} · {who_line(item)}"
