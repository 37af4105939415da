"""What is due: inspections that come back, and the ends of lives.

A task counts from when it was last done; one that was never done in this record counts from the
first use of the thing, with what it had before the record began. It is done by an entry of its
own, signed in the role of one who does such work, or by the item of a check list that its file
names; and where it is independent, a second person has to have found it right.

*Due* is a task of which nothing is left, or that an event asks for; *overdue* one that was flown
beyond its end. Both stop the next flight. What can't be told (a flight without a time, no first
day of use, no file) is due, and says why. Left over is counted from what the last time had not
seen, so that what was flown apart from it, or imported late, counts as flown since.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from flightlog.errors import TeamFileError
from flightlog.inputs import Life, Task
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import EVENT, FITTING
from flightlog.operations.checks import COMPONENT_CHANGE
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS, FLIGHT
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named, newest
from flightlog.operations.usage import (
    SECONDS_PER_DAY,
    Usage,
    fitted,
    flights_of,
    usage_of,
    usage_since,
    was_fitted,
)
from flightlog.operations.work_done import times_done, was_inspected
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, THINGS

SOON_SHARE = 0.1
"""A task is due soon in the last tenth of its interval."""
SOON_DAYS = 7.0
"""Or in its last week [days]."""
OVERDUE, DUE, SOON, LATER = "overdue", "due", "soon", "later"
LIFE = "life"
"""Name of the item of `due` that is the end of a life."""
FILE = "file"
"""Name of the item of `due` that says that a thing has no file."""
INSPECTIONS, LIVES = "inspections", "life"
"""Names of the conditions."""

_RANK = {OVERDUE: 0, DUE: 1, SOON: 2, LATER: 3}
_MOST_NAMED = 3
_NOTHING = 1e-9
"""Less than this is nothing left [h, days]: sums of seconds are not exact."""


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of one interval, negative when it is over.

    Attributes
    ----------
    unit : str
        "h", "landings", "cycles" or "days".
    bound : float
        The interval, in ``unit``.
    used : float or None
        What was used of it; None where nobody knows.
    """

    unit: str
    bound: float
    used: float | None

    @property
    def rest(self) -> float:
        """What is left, in ``unit``; 0 where it can't be told."""
        rest = 0.0 if self.used is None else self.bound - self.used
        return 0.0 if abs(rest) < _NOTHING else rest

    @property
    def share(self) -> float:
        """What is left as a share of the interval."""
        return self.rest / self.bound

    @property
    def is_soon(self) -> bool:
        """Whether its end is near."""
        return self.share <= SOON_SHARE or (self.unit == "days" and self.rest <= SOON_DAYS)

    @property
    def text(self) -> str:
        """It in words."""
        if self.used is None:
            return f"{self.unit}: not known"
        digits = 1 if self.unit in ("h", "days") else 0
        word = "left" if self.rest >= 0 else "over"
        return f"{abs(self.rest):.{digits}f} {self.unit} {word}"


@dataclass(frozen=True, slots=True)
class Due:
    """One inspection or life as it stands.

    Attributes
    ----------
    thing, id : str
        "aircraft", "pack" or "component", and which.
    name, title : str
        Id of the task, "life" or "file"; and what it is.
    state : str
        "overdue", "due", "soon" or "later".
    left : tuple of Left
        What is left of each interval.
    why : str
        The event that made it due; empty where none did.
    last : Entry or None
        When it was last done.
    waits_for : Entry or None
        It was done by this entry, at which no second person has looked yet.
    notes : tuple of str
        What else there is to say.
    unknown : tuple of (str, str)
        What is not known, so that it is due, and what would tell.
    """

    thing: str
    id: str
    name: str
    title: str
    state: str
    left: tuple[Left, ...]
    why: str = ""
    last: Entry | None = None
    waits_for: Entry | None = None
    notes: tuple[str, ...] = ()
    unknown: tuple[tuple[str, str], ...] = ()

    @property
    def share(self) -> float:
        """What is left of the interval that ends first, as a share; 1 where there is none."""
        return min((one.share for one in self.left), default=1.0)

    @property
    def stops(self) -> bool:
        """Whether nothing may be flown before it is done."""
        return self.state in (OVERDUE, DUE)

    @property
    def details(self) -> str:
        """Why it stands so, in words."""
        said = [self.why] if self.why else []
        said += [text for text, _ in self.unknown]
        said += [one.text for one in self.left]
        if self.last is not None:
            said.append(f"last done by {named(self.last)}")
        if self.waits_for is not None:
            said.append(f"done by {named(self.waits_for)}, waits for a second person")
        return ", ".join([*said, *self.notes])

    @property
    def says(self) -> str:
        """It in words."""
        text = f" ({self.details})" if self.details else ""
        return f"{self.thing} {self.id}: {self.title} {self.state}{text}"

    @property
    def clear(self) -> str:
        """What would clear it, as sentences."""
        tells = [fix for _, fix in self.unknown]
        is_over = bool(self.why) or any(one.used is not None and one.rest <= 0 for one in self.left)
        return " ".join(tells if tells and not is_over else [*tells, self._remedy])

    @property
    def _remedy(self) -> str:
        if self.name == LIFE:
            if self.thing == COMPONENT:
                return f"Replace it, and enter that: {_remove(self.id)}."
            return f"The life of {self.id} is over: fly another one."
        if self.waits_for is not None:
            return (
                f"Have a second person look at it: 'flightlog team inspect {named(self.waits_for)} "
                "--text TEXT --by WHO'."
            )
        return (
            f"Do it, and enter it: 'flightlog team done {self.name} --{self.thing} {self.id} "
            "--by WHO'."
        )


def _remove(component: str) -> str:
    return f"'flightlog team remove {component} --by WHO'"


def due(desk: Desk, aircraft: str | None = None, pack: str | None = None) -> tuple[Due, ...]:
    """Give what is due, the most urgent first.

    Parameters
    ----------
    desk : Desk
        The record and the files in force.
    aircraft, pack : str, optional
        Only of this aircraft with what is fitted to it, and of this pack; all when neither is
        given.

    Returns
    -------
    tuple of Due
        What has no file in force is among them, as due.

    Raises
    ------
    TeamFileError
        If a file in force can't be read.
    """
    things: list[tuple[str, str]] = []
    if aircraft is None and pack is None:
        things = [(thing, id_) for thing in THINGS for id_ in desk.versions.ids(thing)]
        parts = [f for id_ in desk.versions.ids(AIRCRAFT) for f in fitted(desk, id_)]
    else:
        things += [(AIRCRAFT, aircraft)] if aircraft is not None else []
        things += [(PACK, pack)] if pack is not None else []
        parts = list(fitted(desk, aircraft)) if aircraft is not None else []
    things += [(COMPONENT, part.component) for part in parts]
    found = [item for thing, id_ in dict.fromkeys(things) for item in due_of(desk, thing, id_)]
    return tuple(sorted(found, key=lambda d: (_RANK[d.state], d.share, d.thing, d.id, d.name)))


def due_of(desk: Desk, thing: str, id_: str) -> tuple[Due, ...]:
    """Give what is due of one thing, in the order of its file, its life last."""
    if desk.versions.in_force(thing, id_) is None:
        return (_without_file(thing, id_),)
    tasks, life = tasks_of(desk, thing, id_)
    found = [_task(desk, thing, id_, task) for task in tasks]
    if life != Life():
        used = usage_of(desk, thing, id_)
        found.append(_judged(_What(thing, id_, LIFE, "life", life), used))
    return tuple(found)


def _without_file(thing: str, id_: str) -> Due:
    other = f", or enter that it was removed: {_remove(id_)}" if thing == COMPONENT else ""
    fix = f"Enter the file of {id_}: 'flightlog team enter FILE --by WHO --by WHO'{other}."
    return Due(thing, id_, FILE, "file", DUE, (), unknown=(("none is in force", fix),))


def tasks_of(desk: Desk, thing: str, id_: str) -> tuple[tuple[Task, ...], Life]:
    """Give the tasks and the life of a thing, by its file in force.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    """
    if thing == AIRCRAFT:
        return desk.aircraft(id_).tasks, desk.aircraft(id_).life
    if thing == PACK:
        return desk.pack(id_).tasks, desk.pack(id_).life
    return desk.component(id_).tasks, desk.component(id_).life


# --- how it stands


@dataclass(frozen=True, slots=True)
class _What:
    """What is judged: one task, or the life, of one thing."""

    thing: str
    id: str
    name: str
    title: str
    every: Life


def _task(desk: Desk, thing: str, id_: str, task: Task) -> Due:
    every = Life(task.every_hours, task.every_landings, task.every_cycles, task.every_days)
    what = _What(thing, id_, task.id, task.title, every)
    times = times_done(desk, thing, id_, task)
    ahead = tuple(
        f"{named(entry)} claims a time that is still to come and is not believed"
        for entry in times.ahead[-1:]
    )
    # Each time that it was done, it was; what leaves most is the last one. Of those that were
    # written down at once, only the newest can be.
    last = [*newest(desk.ledger, [e for e in times.done if e.body.occurred is None])]
    last += [e for e in times.done if e.body.occurred is not None]
    if not last:
        why = _event(desk, thing, id_, task, None)
        notes = ("never done in this record, counted from its first use", *ahead)
        used = usage_of(desk, thing, id_)
        return _judged(what, used, why, waits_for=_latest(times.waiting), notes=notes)
    stands = [_since(desk, what, task, entry, times.waiting) for entry in last]
    best = min(stands, key=lambda d: (-_RANK[d.state], -d.share))
    return replace(best, notes=ahead)


def _since(desk: Desk, what: _What, task: Task, last: Entry, waiting: Sequence[Entry]) -> Due:
    ledger = desk.ledger
    since = usage_since(desk, what.thing, what.id, last)
    days = max(0.0, (ledger.now - ledger.when(last)).total_seconds() / SECONDS_PER_DAY)
    used = replace(since, days=days)
    why = _event(desk, what.thing, what.id, task, last)
    waits = [entry for entry in waiting if not ledger.has_seen(last, entry)]
    return _judged(what, used, why, last=last, waits_for=_latest(waits))


def _latest(entries: Sequence[Entry]) -> Entry | None:
    return entries[-1] if entries else None


def _event(desk: Desk, thing: str, id_: str, task: Task, last: Entry | None) -> str:
    """Name the event after which a task is due at once, "" where there was none."""
    ledger = desk.ledger
    if not task.events:
        return ""

    def is_new(entries: Iterable[Entry]) -> bool:
        return last is None or not any(
            ledger.has_seen(last, e)
            and (last.body.occurred is None or ledger.when(e) < ledger.when(last))
            for e in entries
        )

    for entry in ledger.of(EVENT):
        word = entry.body.content["event"]
        if word in task.events and _is_about(desk, entry, thing, id_) and is_new([entry]):
            kind = EVENTS.get(word)
            return f"after {kind.label if kind else word}, {named(entry)}"
    if COMPONENT_CHANGE in task.events and thing != PACK:
        for entry in ledger.of(FITTING, **{thing: id_}):
            if is_new([entry]):
                return f"after {EVENTS[COMPONENT_CHANGE].label}, {named(entry)}"
    if FLIGHT in task.events:
        for flight in flights_of(desk, thing, id_):
            if is_new(flight.entries):
                return f"after {EVENTS[FLIGHT].label}, {named(flight.entry)}"
    return ""


def _is_about(desk: Desk, event: Entry, thing: str, id_: str) -> bool:
    """Whether an event is about a thing; what happens to an aircraft happens to its parts too."""
    said = event.body.content
    if said.get(thing) == id_:
        return True
    aircraft = str(said.get(AIRCRAFT, ""))
    return thing == COMPONENT and bool(aircraft) and was_fitted(desk, id_, aircraft, event)


def _judged(
    what: _What,
    used: Usage,
    why: str = "",
    *,
    last: Entry | None = None,
    waits_for: Entry | None = None,
    notes: tuple[str, ...] = (),
) -> Due:
    every = what.every
    pairs = (
        ("h", every.hours, used.hours),
        ("landings", every.landings, used.landings),
        ("cycles", every.cycles, used.cycles),
        ("days", every.days, used.days),
    )
    left = tuple(Left(unit, bound, spent) for unit, bound, spent in pairs if bound is not None)
    unknown = tuple(_unknown(what, used))
    least = min((one.rest for one in left), default=1.0)
    soon = any(one.is_soon for one in left)
    is_due = bool(why) or bool(unknown) or least == 0
    state = OVERDUE if least < 0 else DUE if is_due else SOON if soon else LATER
    return Due(
        *(what.thing, what.id, what.name, what.title, state, left, why, last, waits_for, notes),
        unknown,
    )


def _unknown(what: _What, used: Usage) -> Iterator[tuple[str, str]]:
    """Say what would have to be known to count, and what would tell."""
    if what.every.hours is not None and used.untimed:
        flights = ", ".join(named(f.entry) for f in used.untimed[:_MOST_NAMED])
        yield (
            f"no flight time is known of {flights}",
            f"Enter the time of flight {flights} by hand: 'flightlog sortie enter --help' says "
            "how.",
        )
    if what.every.days is not None and used.days is None:
        yield (
            "its file does not say since when it is in use",
            f"Write 'since' into the file of {what.id} and enter it: 'flightlog team enter FILE "
            "--by WHO'.",
        )


# --- for a release


def upkeep_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether inspections are done, and lives not over, for the next flight."""
    try:
        every = due(desk, plan.aircraft, plan.pack)
    except TeamFileError as error:
        clear = error.fix or "Put the file right and enter it: 'flightlog team enter FILE'."
        return [
            Condition(name, False, f"{error.where}: {error.found}", clear)
            for name in (INSPECTIONS, LIVES)
        ]
    return [
        _condition(INSPECTIONS, [d for d in every if d.name != LIFE], "no inspection is due"),
        _condition(LIVES, [d for d in every if d.name in (LIFE, FILE)], "no life is over"),
    ]


def _condition(name: str, every: list[Due], fine: str) -> Condition:
    stopping = [d for d in every if d.stops]
    rests_on = tuple(dict.fromkeys(d.last for d in every if d.last is not None))
    if stopping:
        clear = " ".join(dict.fromkeys(d.clear for d in stopping))
        return Condition(name, False, "; ".join(d.says for d in stopping), clear, rests_on)
    soon = [d.says for d in every if d.state == SOON]
    says = "; ".join([f"{fine}, {len(every)} looked at", *soon])
    return Condition(name, True, says, "", rests_on)


__all__ = [
    "Due",
    "Left",
    "due",
    "due_of",
    "tasks_of",
    "upkeep_conditions",
    "was_inspected",
]
