"""How much may we load today? The answer, from the record as it is now.

Past take-offs teach the model (`load_learnt`), weather and pack say what the next one is flown
under (`load_setting`), the load sheet of each number of units gives its mass (`load_tried`), and
for each it is asked whether the take-off limit keeps (`load_limit`) and what else binds
(`load_binds`). `load_asked` puts it together.
"""

from __future__ import annotations

from collections.abc import Mapping

from flightlog.errors import NotEnoughDataError, UsageError
from flightlog.operations.desk import Desk
from flightlog.operations.energy_need import LapEnergy, lap_energy
from flightlog.operations.limits_before import every_limit
from flightlog.operations.load_answer import LoadAnswer
from flightlog.operations.load_asked import Asked
from flightlog.operations.load_binds import Binding
from flightlog.operations.load_learnt import learnt
from flightlog.operations.load_limit import roll_limits, told
from flightlog.operations.load_room import room_of
from flightlog.operations.load_scores import Scoring
from flightlog.operations.load_setting import Today, today
from flightlog.operations.load_tried import tried_loads
from flightlog.operations.load_weather import weather_bind
from flightlog.operations.plan import Plan
from flightlog.rules.book import RuleBook

MOST_CHOICES = 40
"""So many units are looked at, where nothing else ends the list."""
_USUAL = 0.95


def load_answer(
    desk: Desk,
    plan: Plan,
    *,
    laps: int | None = None,
    entered: Mapping[str, float] | None = None,
    most_units: int | None = None,
    pack_voltage: float | None = None,
) -> LoadAnswer:
    """Answer how much may be loaded today.

    Parameters
    ----------
    desk : Desk
        The record.
    plan : Plan
        Aircraft, pack, rule book and site.
    laps : int, optional
        As planned; without them the energy is not told.
    entered : mapping of str to float, optional
        Numbers that only people know and that the score formula asks for.
    most_units : int, optional
        More units are not looked at.
    pack_voltage : float, optional
        Rest voltage of the pack as typed [V]; by the record where left out.

    Raises
    ------
    NotEnoughDataError
        If nothing can be said at all: no weather, no weighing, too few flights.
    UsageError
        If a file of the plan is not in the record, or a number can't be meant, or the score
        formula asks for none of this name.
    """
    if laps is not None and laps < 1:
        raise UsageError(f"{laps} laps can't be planned", where="--laps", fix="From 1 up.")
    aircraft, pack = desk.aircraft(plan.aircraft), desk.pack(plan.pack)
    book = desk.rules(plan.rules) if plan.rules else None
    _known_names(book, entered or {})
    limits = every_limit(book, aircraft, pack)
    now = today(desk, plan, pack_voltage)
    known = learnt(desk, aircraft, now)
    looked_at = MOST_CHOICES if most_units is None else most_units
    tried = tried_loads(desk, plan, limits, looked_at)
    rolls = [known.model.predict(now.setting(load.mass_kg)) for load in tried.loads]
    offset = known.judged_longer_m
    limit, others = roll_limits(limits, rolls, offset)
    room = room_of(aircraft, now, known.model)
    needed = limit.plan_at if limit is not None else _USUAL
    energy = _energy(desk, plan, now, laps)
    binding = Binding(
        desk,
        plan,
        now,
        limits,
        known.past.flights,
        room,
        needed,
        laps,
        energy,
        weather_bind(desk, plan, now),
    )
    scoring = Scoring(desk, plan, book, limit, offset, laps, entered or {})
    asked = Asked(plan, now, known, limit, needed, others, binding, scoring, looked_at)
    loads = told(tried.loads, rolls, limit, offset)
    choices = tuple(asked.choice(units, load, rolls[units]) for units, load in enumerate(loads))
    return asked.answer(
        choices, loads, (*known.said, *tried.said, f"state of the pack: {now.pack.says}")
    )


def _energy(desk: Desk, plan: Plan, now: Today, laps: int | None) -> LapEnergy | NotEnoughDataError:
    """Give what laps are judged by, learnt once for all choices; or why there is nothing."""
    if laps is None:
        return NotEnoughDataError("no laps are planned", fix="Say how many: --laps N.")
    try:
        return lap_energy(desk, plan, now.wind.mean_m_s, now.pack)
    except NotEnoughDataError as error:
        return error


def _known_names(book: RuleBook | None, entered: Mapping[str, float]) -> None:
    """Refuse numbers that the score formula does not ask people for."""
    score = book.score if book is not None else None
    known = tuple(score.entered) if score is not None else ()
    for name in entered:
        if name not in known:
            raise UsageError(
                f"the score asks for no number {name!r}",
                where="--entered",
                fix=f"It asks for {', '.join(known)}."
                if known
                else "Leave it out: it asks for none."
                if book is not None
                else "Choose a rule book with a score: --rules ID.",
            )
