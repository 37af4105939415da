"""Limits that are judged before a flight: of declared figures, and of expected ones.

A declared figure comes from the load sheet and the pack's file. Any other one needs an entry of
an engineer that says what is expected and how sure that is: made for this aircraft, after the load
sheet and the weather that are in force, and not longer ago than `EXPECTED_FOR`. Either way the
limit holds when the probability that its bound holds is at least the one that the limit asks for
before the flight, unrounded. Of numbers entered apart from each other every one has to do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from flightlog.figures import FIGURES
from flightlog.inputs import Aircraft, Pack
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import EXPECTATION
from flightlog.operations.desk import Desk
from flightlog.operations.load_sheet import PAYLOAD, sheets
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest
from flightlog.operations.weather import latest_weather
from flightlog.rules.book import Limit, RuleBook, aircraft_limits, make_limit
from flightlog.rules.judge import probability_of
from flightlog.team_files.models import checked_limit
from flightlog.uncertain import Uncertain

EXPECTED_FOR = timedelta(hours=12)
"""How long an expected figure holds."""
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
class _Lacking:
    """Why there is no such number, and what would bring it."""

    says: str
    clear: str


_Found = _Given | _Lacking


def limits_before_flight(
    book: RuleBook | None, aircraft: Aircraft, pack: Pack | None = None
) -> tuple[Limit, ...]:
    """Give the limits that are judged before a flight: the rule book's, aircraft's and pack's."""
    every = (*(book.limits if book else ()), *aircraft_limits(aircraft), *_pack_limits(pack))
    return tuple(limit for limit in every if limit.enforced != "after_flight")


def _pack_limits(pack: Pack | None) -> tuple[Limit, ...]:
    if pack is None:
        return ()
    where = f"pack file {pack.id}"
    return tuple(
        make_limit(
            figure,
            "aircraft",
            figure,
            checked_limit(figure, dict(body), where),
            f'{where}: [limits] "{figure}"',
        )
        for figure, body in pack.limits.items()
    )


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
    if found.unit != bound.unit:
        says = f"{asked}; {found.source} is in {found.unit!r}"
        return Condition(LIMITS, False, says, how_to_expect(plan, limit.measured), found.rests_on)
    number = Uncertain.of(float(found.value), float(found.std), found.unit, source=found.source)
    probability = probability_of(limit, number)
    shown = _shown(probability, limit.plan_at)
    says = f"{asked}; {found.source} {found.text}: holds with probability {shown}"
    if probability >= limit.plan_at:
        return Condition(LIMITS, True, says, rests_on=found.rests_on)
    says = f"{says}, and {limit.plan_at:g} is needed"
    return Condition(LIMITS, False, says, _how_to_keep(plan, limit), found.rests_on)


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


def current_sheets(desk: Desk, plan: Plan) -> tuple[Entry, ...]:
    """Give the load sheet that is in force, or several made apart from each other."""
    return newest(desk.ledger, sheets(desk, plan.aircraft))


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
    found = newest(ledger, ledger.of(EXPECTATION, aircraft=plan.aircraft, figure=figure))
    if not found:
        clear = how_to_expect(plan, figure)
        return [_Lacking("nobody said what is expected of it", clear)]
    return [_of_entry(desk, plan, figure, entry) for entry in found]


def _of_entry(desk: Desk, plan: Plan, figure: str, entry: Entry) -> _Found:
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
    ledger, content = desk.ledger, entry.body.content
    age = ledger.now - ledger.when(entry)
    if not ledger.persons(entry, "computed", ENGINEER):
        return f"is not signed by a person of the role {ENGINEER!r}"
    if age > EXPECTED_FOR:
        return f"is older than {EXPECTED_FOR.total_seconds() / 3600:g} h"
    if age < -CLOCKS_APART:
        return "claims a time that is still to come"
    if content["std"]["unit"] != content["value"]["unit"]:
        return "has its uncertainty in another unit"
    std = float(content["std"]["value"])
    if not (std > 0 and math.isfinite(std)):
        return "says no uncertainty, and nothing that is expected is exact"
    weather = latest_weather(desk, plan.site)
    known = (*current_sheets(desk, plan), *([weather] if weather is not None else ()))
    missed = ledger.unseen(known, entry)
    if missed:
        return f"was made without {' and '.join(f'{e.body.kind} {named(e)}' for e in missed)}"
    return ""
