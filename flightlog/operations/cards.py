"""The flight card: what is expected of one flight, signed before it, with its test points.

It is for one flight of one aircraft with the load sheet and the weather in force. The engineer
who computed it and the pilot who flies to it sign. It permits nothing: a release asks whether its
limits hold, and a card that promises too little holds the flight.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from flightlog.errors import NotEnoughDataError, RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import FLIGHT_CARD, MOST_POINTS
from flightlog.operations.card_numbers import FIGURE, roll_content, written_probability
from flightlog.operations.card_worth import ACCEPTED, COMPUTED, ENGINEER, PILOT
from flightlog.operations.desk import Desk
from flightlog.operations.expected_worth import current_sheets
from flightlog.operations.flown_takeoffs import flown_takeoffs
from flightlog.operations.limits_before import every_limit
from flightlog.operations.load_answer import FAILS, Choice, LoadAnswer
from flightlog.operations.plan import Plan
from flightlog.operations.point_files import PointFile
from flightlog.operations.positions import named
from flightlog.operations.weather import latest_weather
from flightlog.prediction.expected_figure import expect_figure
from flightlog.prediction.quantiles import Quantiles, levels_with

CLIMB = "climb.best_rate"
MODEL = "log-linear roll 1"
"""Name and version of what predicts the roll; another number where its answers change."""
_MASS_STEP_KG = 0.001
NEVER = ("mass", "balance")
"""What has to hold for a card to be made at all."""
_MOST_FAILS, _LONGEST_SAYS, _LONGEST_STATE = 10, 400, 200


def draft_card(
    desk: Desk,
    answer: LoadAnswer,
    units: int,
    test_card: PointFile | None,
    *,
    computed_by: str,
    accepted_by: str,
) -> Draft:
    """Draft a flight card.

    Parameters
    ----------
    desk : Desk
        The record.
    answer : LoadAnswer
        As `load_today.load_answer` gives it; with ``most_units=units``, so that abort point and
        energy are told for this very load.
    units : int
        Payload units; those of the load sheet in force.
    test_card : PointFile or None
        Points that are to be flown.
    computed_by, accepted_by : str
        Public keys of an engineer, and of the pilot who flies.

    Raises
    ------
    RefusedError
        If the prediction was withheld, or it is not for the load sheet and the weather in force.
    UsageError
        If there are too many points, or both keys are of one person.
    """
    plan = answer.plan
    if answer.withheld:
        raise RefusedError(
            f"no number is given for this flight, so that there is no card: {answer.withheld}",
            where=plan.aircraft,
            fix="See 'flightlog load' for what would bring one.",
        )
    choice = next((c for c in answer.choices if c.units == units), None)
    if choice is None:
        raise RefusedError(
            f"nothing was predicted for {units} units",
            where="--units",
            fix="'flightlog load' lists what was; further units would miss the take-off limit.",
        )
    _refuse_unfit(choice)
    points = test_card.points if test_card is not None else ()
    if len(points) > MOST_POINTS:
        raise UsageError(
            f"{len(points)} test points are too many for one flight",
            where="--points",
            fix=f"At most {MOST_POINTS}; choose some with --point NAME.",
        )
    people = desk.book.people
    if people.person_of(computed_by) == people.person_of(accepted_by):
        raise UsageError(
            "one person can't both compute and accept", where="--accepted-by", fix="Name the pilot."
        )
    sheet, weather = _sheet(desk, plan, choice), _weather(desk, answer)
    content = _content(desk, answer, choice, sheet)
    if test_card is not None:
        content["test_card"] = f"{test_card.id}, SHA-256 {test_card.sha256}"
    content["points"] = [
        {"point": p.name, "setup": p.setup, "measure": p.measure, "stop": p.stop} for p in points
    ]
    return Draft(
        FLIGHT_CARD,
        content,
        [Signer(computed_by, COMPUTED, ENGINEER), Signer(accepted_by, ACCEPTED, PILOT)],
        relations=[Relation(CITES, entry.hash) for entry in (sheet, weather)],
    )


def _refuse_unfit(choice: Choice) -> None:
    """Refuse a load that no weather and no pilot can make fit."""
    for bind in choice.binds:
        if bind.name in NEVER and bind.word == FAILS:
            raise RefusedError(
                f"{bind.name} does not hold with {choice.units} units: {bind.says}",
                where="--units",
                fix="Load otherwise, make a new load sheet, and sign its card.",
            )


def _sheet(desk: Desk, plan: Plan, choice: Choice) -> Entry:
    sheets = current_sheets(desk, plan)
    make = (
        f"Make one: 'flightlog balance sheet --aircraft {plan.aircraft} --pack {plan.pack} "
        f"--units {choice.units} --by WHO'."
    )
    if not sheets:
        raise RefusedError("there is no load sheet yet", where=plan.aircraft, fix=make)
    if len(sheets) > 1:
        codes = " and ".join(map(named, sheets))
        raise RefusedError(f"{codes} were made apart from each other", where="load sheet", fix=make)
    said = sheets[0].body.content
    mass_kg = float(said["mass"]["value"])
    if (said["units"], said["pack"]) != (choice.units, plan.pack):
        raise RefusedError(
            f"{named(sheets[0])} is for {said['units']} units with {said['pack']}, and the card "
            f"would be for {choice.units} with {plan.pack}",
            where="load sheet",
            fix=make,
        )
    if abs(mass_kg - choice.mass_kg) > _MASS_STEP_KG:
        raise RefusedError(
            f"{named(sheets[0])} has {mass_kg:.3f} kg, and the roll was predicted for "
            f"{choice.mass_kg:.3f} kg",
            where="load sheet",
            fix=make,
        )
    return sheets[0]


def _weather(desk: Desk, answer: LoadAnswer) -> Entry:
    latest = latest_weather(desk, answer.plan.site)
    if latest is None or latest.hash != answer.weather.hash:
        raise RefusedError(
            f"the weather was measured again since {named(answer.weather)}",
            where="weather",
            fix="Ask again with the newest: 'flightlog load'.",
        )
    return answer.weather


# --- what it says


def _content(desk: Desk, answer: LoadAnswer, choice: Choice, sheet: Entry) -> dict[str, Any]:
    plan, said = answer.plan, sheet.body.content
    quantiles = Quantiles.of(choice.roll.quantile, levels_with(answer.needed))
    content: dict[str, Any] = {
        "aircraft": plan.aircraft,
        "pack": plan.pack,
        "units": choice.units,
        "mass": said["mass"],
        "headwind": quantity(_number(answer.headwind_m_s, 3), "m/s"),
        "density": quantity(_number(answer.density_kg_m3, 4), "kg/m³"),
        **roll_content(quantiles, answer.needed),
        "limits": _limits(desk, plan, choice, answer.judged_longer_m),
        "model": _model(answer),
    }
    for key, id_ in (("rules", plan.rules), ("site", plan.site)):
        if id_:
            content[key] = id_
    if answer.judged_longer_m > 0:
        content["judged_longer"] = quantity(_number(answer.judged_longer_m, 6), "m")
    # Both are told for the load that is the answer, and for no other one.
    if answer.abort_m is not None and answer.most == choice.units:
        # Rounded down: nobody gives up later than is said.
        content["abort"] = quantity(_number(math.floor(10 * answer.abort_m) / 10, 1), "m")
    if answer.energy is not None and answer.most == choice.units:
        content["laps"] = answer.energy.laps
        content["energy"] = quantity(_number(answer.energy.expected_wh, 2), "Wh")
        content["energy_bound"] = quantity(_number(answer.energy.q95_wh, 2), "Wh")
    fails = [bind for bind in choice.binds if bind.word == FAILS]
    if fails:
        content["fails"] = [
            {"what": bind.name, "says": bind.says[:_LONGEST_SAYS]} for bind in fails[:_MOST_FAILS]
        ]
    if answer.pack_says:
        content["pack_state"] = answer.pack_says[:_LONGEST_STATE]
    if choice.beyond_flown:
        content["beyond"] = choice.beyond_flown
    return content | _climb(desk, plan.aircraft, choice.mass_kg)


def _limits(desk: Desk, plan: Plan, choice: Choice, judged_longer_m: float) -> list[dict[str, Any]]:
    """Give every limit on the roll that has a longest one, the rule book's first."""
    book = desk.rules(plan.rules) if plan.rules else None
    limits = every_limit(book, desk.aircraft(plan.aircraft), desk.pack(plan.pack))
    return [
        {
            "limit": limit.id,
            "at_most": quantity(_exactly(limit.bound.value), "m"),
            "required": quantity(_exactly(limit.plan_at), ""),
            "probability": quantity(
                written_probability(choice.roll.at_most(limit.bound.value - judged_longer_m)), ""
            ),
        }
        for limit in limits
        if limit.measured == FIGURE and limit.bound.op == "<="
    ]


def _climb(desk: Desk, aircraft: str, mass_kg: float) -> dict[str, Any]:
    """Give what is expected of the climb, by the flights before; nothing where they are too few."""
    flights = [f for f in flown_takeoffs(desk, aircraft).flights if CLIMB in f.figures]
    try:
        found = expect_figure(
            [f.figures[CLIMB].value for f in flights], [f.mass_kg for f in flights], mass_kg
        )
    except NotEnoughDataError:
        return {}
    levels = {"climb": 0.5, "climb_low": 0.025, "climb_high": 0.975}
    return {key: quantity(_number(found.quantile(p).item(), 3), "m/s") for key, p in levels.items()}


def _model(answer: LoadAnswer) -> str:
    model = answer.model
    given_up = f", {model.given_up} given up" if model.given_up else ""
    return f"{MODEL}, from {model.flights} flights{given_up}"


def _number(value: float, places: int) -> str:
    return f"{Decimal(repr(value)).quantize(Decimal(1).scaleb(-places)):f}"


def _exactly(value: float) -> str:
    return f"{Decimal(repr(value)):f}"
