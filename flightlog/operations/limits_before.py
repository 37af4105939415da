"""Limits that are judged before a flight: of declared figures, and of expected ones.

A declared figure comes from the load sheet and the pack's file. Any other one needs an entry of
an engineer that says what is expected and how sure that is: made for this aircraft, after the load
sheet and the weather that are in force, and not longer ago than `expected_worth.EXPECTED_FOR`. For
the ground roll a flight card is such an entry: its quantiles say the probability, and the newer of
both counts. Either way the limit holds when the probability that its bound holds is at least the
one that the limit asks for before the flight, unrounded. Of numbers entered apart from each other
every one has to do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import Decimal

from flightlog.figures import FIGURES
from flightlog.inputs import Aircraft, Pack
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import EXPECTATION, FLIGHT_CARD
from flightlog.operations.card_numbers import FIGURE as ROLL
from flightlog.operations.card_numbers import CardNumbers
from flightlog.operations.card_worth import cards, not_in_force, sound_numbers
from flightlog.operations.desk import Desk
from flightlog.operations.expected_worth import current_sheets, why_old
from flightlog.operations.load_sheet import PAYLOAD
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named, newest
from flightlog.rules.book import Limit, RuleBook, aircraft_limits, pack_limits
from flightlog.rules.judge import probability_of
from flightlog.uncertain import Uncertain

ENGINEER = "engineer"
"""The role in which a person says what is expected."""
LIMITS = "limits"
"""Name of the condition."""
DECLARED = ("mass.takeoff", "payload.units", "payload.mass", "battery.nominal_energy")
"""Figures that load sheet and pack file give; nobody has to say what is expected of them."""
_MOST_DIGITS = 9
_SURE = 0.999


@dataclass(frozen=True, slots=True)
class _Given:
    """A number that a limit can be judged by, its uncertainty, and where it comes from."""

    value: str
    std: str
    unit: str
    source: str
    rests_on: tuple[Entry, ...] = ()

    @property
    def text(self) -> str:
        spread = f" ± {self.std}" if float(self.std) else ""
        return f"{self.value}{spread} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class _Card:
    """A flight card in force, which says with what probability the limits that it names hold."""

    entry: Entry
    numbers: CardNumbers


@dataclass(frozen=True, slots=True)
class _Lacking:
    """Why there is no such number, and what would bring it."""

    says: str
    clear: str


_Found = _Given | _Card | _Lacking


def limits_before_flight(
    book: RuleBook | None, aircraft: Aircraft, pack: Pack | None = None
) -> tuple[Limit, ...]:
    """Give the limits that are judged before a flight: the rule book's, aircraft's and pack's."""
    every = every_limit(book, aircraft, pack)
    return tuple(limit for limit in every if limit.enforced != "after_flight")


def every_limit(
    book: RuleBook | None, aircraft: Aircraft, pack: Pack | None = None
) -> tuple[Limit, ...]:
    """Give all limits, whenever they are judged: the rule book's, aircraft's and pack's."""
    return (*(book.limits if book else ()), *aircraft_limits(aircraft), *pack_limits(pack))


def limit_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether each limit that is judged before the flight can be expected to hold.

    Returns
    -------
    list of Condition
        One for each limit, all of the name "limits"; one that says so where there is none.
    """
    book = desk.rules(plan.rules) if plan.rules else None
    limits = limits_before_flight(book, desk.aircraft(plan.aircraft), desk.pack(plan.pack))
    under = f"rule book {plan.rules}" if plan.rules else "no rule book"
    if not limits:
        return [Condition(LIMITS, True, f"{under}: no limit is judged before the flight")]
    return [_of_limit(desk, plan, limit) for limit in limits]


def _of_limit(desk: Desk, plan: Plan, limit: Limit) -> Condition:
    judged = [_judged(plan, limit, found) for found in _numbers(desk, plan, limit.measured)]
    return next((one for one in judged if not one.holds), judged[-1])


def _judged(plan: Plan, limit: Limit, found: _Found) -> Condition:
    bound = limit.bound
    word = "at most" if bound.op == "<=" else "at least"
    asked = f"{limit.id}: {limit.measured} {word} {bound.value:g} {bound.unit}".rstrip()
    if isinstance(found, _Lacking):
        return Condition(LIMITS, False, f"{asked}; {found.says}", found.clear)
    if isinstance(found, _Card):
        return _by_card(plan, limit, found, asked)
    if found.unit != bound.unit:
        says = f"{asked}; {found.source} is in {found.unit!r}"
        return Condition(LIMITS, False, says, how_to_expect(plan, limit.measured), found.rests_on)
    number = Uncertain.of(float(found.value), float(found.std), found.unit, source=found.source)
    says = f"{asked}; {found.source} {found.text}"
    return _kept(plan, limit, says, probability_of(limit, number), found.rests_on)


def _by_card(plan: Plan, limit: Limit, card: _Card, asked: str) -> Condition:
    """Judge a limit by what a flight card says of it."""
    bound, name = limit.bound, named(card.entry)
    about = card.numbers.limit(limit.id, bound.value) if bound.op == "<=" else None
    if about is None:
        says = f"{asked}; the flight card {name} does not name this limit with this bound"
        return Condition(LIMITS, False, says, how_to_card(plan), (card.entry,))
    says = f"{asked}; the flight card {name} has {card.numbers.bound_m:.1f} m as what "
    says += f"{100 * card.numbers.needed:g} of 100 such take-offs do not exceed"
    return _kept(plan, limit, says, card.numbers.probability(about), (card.entry,))


def _kept(
    plan: Plan, limit: Limit, says: str, probability: float, rests_on: tuple[Entry, ...]
) -> Condition:
    says = f"{says}: holds with probability {_shown(probability, limit.plan_at)}"
    if probability >= limit.plan_at:
        return Condition(LIMITS, True, says, rests_on=rests_on)
    says = f"{says}, and {limit.plan_at:g} is needed"
    return Condition(LIMITS, False, says, _how_to_keep(plan, limit), rests_on)


def expected_figures(desk: Desk, plan: Plan) -> tuple[str, ...]:
    """Give the figures of which somebody has to say what is expected before the flight.

    Raises
    ------
    UsageError, TeamFileError
        If a file of the plan is not in the record, or can't be read.
    """
    book = desk.rules(plan.rules) if plan.rules else None
    limits = limits_before_flight(book, desk.aircraft(plan.aircraft), desk.pack(plan.pack))
    asked = (limit.measured for limit in limits if limit.measured not in DECLARED)
    return tuple(dict.fromkeys(asked))


def figure_of(condition: Condition) -> str:
    """Give the figure whose limit a condition is about, "" where it is about none."""
    _, colon, rest = condition.says.partition(": ")
    found = rest.partition(" ")[0] if colon and condition.name == LIMITS else ""
    return found if found in FIGURES else ""


def _how_to_keep(plan: Plan, limit: Limit) -> str:
    if limit.measured in DECLARED:
        return "Load less or take another pack, and make a new load sheet."
    then = how_to_expect(plan, limit.measured, "then enter")
    return f"Load less, or wait for other weather; {then}"


def how_to_expect(plan: Plan, figure: str, begin: str = "Enter") -> str:
    """Say what to type so that an expected figure stands in the record."""
    return (
        f"{begin} what is expected of it: 'flightlog release expect {figure} VALUE --std S "
        f"--aircraft {plan.aircraft} --method TEXT --by WHO'."
    )


def how_to_card(plan: Plan) -> str:
    """Say what to type so that a flight card in force stands in the record."""
    return (
        f"Sign a flight card for this load and weather: 'flightlog card sign --aircraft "
        f"{plan.aircraft} --pack {plan.pack} --help'."
    )


def _shown(probability: float, needed: float) -> str:
    """Write a probability with as many digits as keep it on its side of the one needed."""
    if probability > _SURE and needed <= _SURE:
        return f"over {_SURE}"
    if probability < 1 - _SURE:
        return f"under {1 - _SURE:g}"
    for places in range(3, _MOST_DIGITS):
        text = f"{probability:.{places}f}"
        if (float(text) >= needed) == (probability >= needed):
            return text
    return repr(probability)


# --- the numbers


def _numbers(desk: Desk, plan: Plan, figure: str) -> list[_Found]:
    """Give what is known of a figure: one number, or several made apart from each other."""
    if figure == "battery.nominal_energy":
        return [_energy(desk, plan)]
    if figure in DECLARED:
        sheets = current_sheets(desk, plan)
        if not sheets:
            clear = "Make one: 'flightlog balance sheet'."
            return [_Lacking(f"no load sheet of {plan.aircraft} is in the record", clear)]
        return [_from_sheet(desk, plan, figure, sheet) for sheet in sheets]
    return _expected(desk, plan, figure)


def _energy(desk: Desk, plan: Plan) -> _Found:
    energy = desk.pack(plan.pack).nominal_wh
    if energy is None:
        return _Lacking(
            f"the file of {plan.pack} does not say its energy",
            "Write nominal_wh into the pack's file and enter it: 'flightlog team enter FILE'.",
        )
    entry = desk.version("pack", plan.pack).entry
    return _Given(f"{Decimal(repr(energy)):f}", "0", "Wh", f"file of {plan.pack}", (entry,))


def _from_sheet(desk: Desk, plan: Plan, figure: str, sheet: Entry) -> _Found:
    content = sheet.body.content
    if figure == "mass.takeoff":
        mass, std = content["mass"], content["mass_std"]
        return _Given(mass["value"], std["value"], mass["unit"], "load sheet", (sheet,))
    if figure == "payload.units":
        return _Given(str(content["units"]), "0", "", "load sheet", (sheet,))
    payload = [i for i in content["items"] if i["station"] == PAYLOAD]
    mass_kg = sum((i["count"] * Decimal(i["mass"]["value"]) for i in payload), Decimal(0))
    # The scale's error is the same for each of the alike ones: it does not shrink with the count.
    variance = sum((i["count"] * Decimal(i["mass_std"]["value"])) ** 2 for i in payload)
    std = f"{Decimal(variance).sqrt():f}"
    return _Given(f"{mass_kg:f}", std, "kg", "load sheet", (sheet,))


def _expected(desk: Desk, plan: Plan, figure: str) -> list[_Found]:
    ledger = desk.ledger
    entries = [*ledger.of(EXPECTATION, aircraft=plan.aircraft, figure=figure)]
    if figure == ROLL:
        entries += cards(desk, plan.aircraft)
    found = newest(ledger, entries)
    if not found:
        clear = how_to_expect(plan, figure)
        if figure == ROLL:
            clear = f"{how_to_card(plan)} Or {clear[0].lower()}{clear[1:]}"
        return [_Lacking("nobody said what is expected of it", clear)]
    return [_of_entry(desk, plan, figure, entry) for entry in found]


def _of_card(desk: Desk, plan: Plan, card: Entry) -> _Found:
    numbers = sound_numbers(desk, card)
    why = not_in_force(desk, plan, card)
    if why or isinstance(numbers, str):
        return _Lacking(f"the flight card {named(card)} {why or numbers}", how_to_card(plan))
    # A card of another program may leave out by how much a judge reads longer; the record knows.
    longer_m = max(numbers.judged_longer_m, _judged_longer_m(desk, plan))
    return _Card(card, replace(numbers, judged_longer_m=longer_m))


def _judged_longer_m(desk: Desk, plan: Plan) -> float:
    # It reads flights and knows models, which only those need who have a card.
    from flightlog.operations.flown_takeoffs import flown_takeoffs

    return flown_takeoffs(desk, plan.aircraft).offset_m


def _of_entry(desk: Desk, plan: Plan, figure: str, entry: Entry) -> _Found:
    if entry.body.kind == FLIGHT_CARD:
        return _of_card(desk, plan, entry)
    content = entry.body.content
    why = _why_not(desk, plan, entry)
    if why:
        return _Lacking(
            f"{named(entry)}, what is expected of it, {why}", how_to_expect(plan, figure)
        )
    value, std = content["value"], content["std"]
    return _Given(
        value["value"], std["value"], value["unit"], f"expected by {named(entry)}", (entry,)
    )


def _why_not(desk: Desk, plan: Plan, entry: Entry) -> str:
    """Say why an expected figure can't be used; empty where it can."""
    content = entry.body.content
    if not desk.ledger.persons(entry, "computed", ENGINEER):
        return f"is not signed by a person of the role {ENGINEER!r}"
    if content["std"]["unit"] != content["value"]["unit"]:
        return "has its uncertainty in another unit"
    std = float(content["std"]["value"])
    if not (std > 0 and math.isfinite(std)):
        return "says no uncertainty, and nothing that is expected is exact"
    return why_old(desk, plan, entry)
