"""Walking through check lists in tests: who does what, and numbers that pass."""

from __future__ import annotations

from dataclasses import replace

from flightlog.logbook.entry import Entry
from flightlog.operations.check_drafts import Answer, begun_draft, check_draft, for_person
from flightlog.operations.checklists import Item
from flightlog.operations.checks import About, list_state
from tests.logbook.made import public_of
from tests.operations.made import HillFarm

PANNIER = About("pannier", "pack-a")
TURNS = ("mechanic", "pilot", "mechanic")


def passing(item: Item, seconds: str = "6.0") -> Answer:
    """An answer that passes: a number on a limit, the first good choice."""
    instrument = "MM-2" if item.instrument else ""
    if item.kind == "measurement":
        value = item.at_least if item.at_least is not None else item.at_most
        return Answer("", value=f"{value:g}", instrument=instrument, seconds=seconds)
    if item.kind == "choice":
        return Answer("", choice=item.passing[0], seconds=seconds)
    return Answer("pass", instrument=instrument, seconds=seconds)


def begin(farm: HillFarm, list_id: str, about: About = PANNIER) -> Entry:
    farm.clock.later(seconds=5)
    return farm.desk.append(begun_draft(farm.desk, list_id, about))


def judge(farm: HillFarm, begun: Entry, item: str, name: str, answer: Answer) -> Entry:
    """One person judges one item."""
    farm.clock.later(seconds=6)
    draft = check_draft(farm.desk, begun, item, answer, public_of(name))
    return farm.sign(draft, name)


def walk(
    farm: HillFarm, list_id: str, about: About = PANNIER, *, turns=TURNS, skip=(), photos=()
) -> Entry:
    """Walk through a list until nobody has anything to do; gives the list as begun."""
    begun = begin(farm, list_id, about)
    for name in turns:
        for item in for_person(farm.desk, list_state(farm.desk, list_id, about), public_of(name)):
            if item.id in skip:
                continue
            answer = passing(item)
            if item.kind == "photo":
                answer = replace(answer, photos=photos)
            judge(farm, begun, item.id, name, answer)
    return begun
