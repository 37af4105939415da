"""Walking through a list on the screen: what is before whom, and what there is to put off.

It is the same as at the command line: one person at the laptop at a time, each item signed when it
is judged, by the person's own key.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import DEFERRAL
from flightlog.operations.check_drafts import for_person
from flightlog.operations.check_worth import WAITS, deferral_problem
from flightlog.operations.checklists import Checklist
from flightlog.operations.checks import ItemState, ListState
from flightlog.operations.desk import Desk
from flightlog.operations.signers import Hand, hands_for

LEAST_S = 0.6
"""Nobody reads an item in less, so that a pass in less was a slip of the hand [s]."""


@dataclass(frozen=True, slots=True)
class Share:
    """What of a list one person can do now.

    Attributes
    ----------
    hand : Hand
        The person.
    items : int
        How many items wait for this person.
    """

    hand: Hand
    items: int


def done_of(state: ListState) -> tuple[int, int]:
    """Give how many items of a list are done, and how many it has."""
    return sum(item.fine for item in state.items), len(state.items)


def shares(desk: Desk, state: ListState) -> tuple[Share, ...]:
    """Give the persons of the roles that a list asks for, with what each can do now."""
    roles = _roles(state.checklist)
    return tuple(
        Share(hand, len(for_person(desk, state, hand.key))) for hand in hands_for(desk, roles)
    )


def _roles(checklist: Checklist) -> tuple[str, ...]:
    every = (role for item in checklist.items for role in (item.role, item.second) if role)
    return tuple(dict.fromkeys(every))


def before(
    desk: Desk, state: ListState, key: str, later: Collection[str] = ()
) -> tuple[ItemState, ...]:
    """Give the items that are before a person, in the order of the list.

    Parameters
    ----------
    desk : Desk
        The record.
    state : ListState
        How the list stands.
    key : str
        Of the person.
    later : collection of str
        Ids of items that the person left for later; they come last.
    """
    mine = {item.id for item in for_person(desk, state, key)}
    items = [item for item in state.items if item.item.id in mine]
    return (
        *(item for item in items if item.item.id not in later),
        *(item for item in items if item.item.id in later),
    )


def done_by_role(desk: Desk, state: ListState, key: str) -> tuple[ItemState, ...]:
    """Give the items that are done and that a person may do once more, as after a slip."""
    person = desk.book.people.person_of(key)
    return tuple(
        item
        for item in state.items
        if item.fine and person is not None and desk.book.people.holds(person.id, item.item.role)
    )


def is_second_look(state: ItemState) -> bool:
    """Whether somebody has done the item and a second person is to look at it afresh."""
    return state.state == WAITS and state.result is not None


def deferrals_for(desk: Desk, begun: Entry) -> tuple[Entry, ...]:
    """Give the deferrals by which an item of a begun list can be put off."""
    return tuple(
        entry for entry in desk.ledger.of(DEFERRAL) if not deferral_problem(desk, entry, begun)
    )


def stopwatch(now_s: float, shown_s: float | None, last_answer_s: float | None) -> float:
    """Give how long an item was before a person [s].

    Parameters
    ----------
    now_s : float
        When it was answered, by a clock that only counts up.
    shown_s : float or None
        Since when it is on the screen; None where that is not known.
    last_answer_s : float or None
        When the item before it was answered: until then the person looked at that one.
    """
    since = now_s if shown_s is None else shown_s
    return now_s - max(since, last_answer_s if last_answer_s is not None else since)
