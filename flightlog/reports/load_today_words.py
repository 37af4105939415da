"""How much may be loaded today, in words: one sentence first, then what it rests on."""

from __future__ import annotations

import math

from flightlog.logbook.entry import Entry
from flightlog.operations.load_answer import FAILS, Choice, LoadAnswer, WhatIf
from flightlog.operations.positions import named
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain
from flightlog.uncertain import NORMAL_95

CAUTION = (
    "A prediction can be wrong, and says nothing of whether a flight is safe or legal. Load less "
    "whenever anything is not as it was on the flights that it rests on."
)
CHOICE_HEAD = ("units", "kg", "roll m", "95 % m", "95 of 100 below m", "keeps, of 100", "binds")
EFFECT_HEAD = ("what", "before any flight", "after the flights")
WHAT_IF_HEAD = ("if there is", "units", "95 of 100 below m")
WHAT_IF_SAYS = (
    "Only the roll is asked anew there: room to stop, energy and the limits on the weather are "
    "taken as they are now, and may allow less then."
)
AT_MOST = "at most "
_MOST_DIGITS = 9
_JUST = 0.01
"""What misses by less is just below. [-]"""
_TENTH_M = 0.1
_ROUNDING = 1e-6
"""What adding up leaves over is no part of a length, as a share of the last digit. [-]"""


# --- small pieces


def in_hundred(probability: float, needed: float) -> str:
    """Write a probability as so many of 100, on its own side of the one that is needed."""
    if probability > 0.9995 and needed <= 0.999:
        return "over 99.9"
    if probability < 0.0005:
        return "under 0.1"
    for places in range(1 if probability > 0.99 else 0, _MOST_DIGITS):
        text = digits(100 * probability, places)
        if (float(text) >= 100 * needed) == (probability >= needed):
            return text
    return repr(100 * probability)


def abort_m(answer: LoadAnswer) -> str:
    """Write the point at which to give up in whole metres, never beyond it; "" without one."""
    return "" if answer.abort_m is None else f"{math.floor(answer.abort_m)} m"


def units_word(units: int) -> str:
    """Write a number of units."""
    return "1 unit" if units == 1 else f"{units} units"


def binds_word(choice: Choice) -> str:
    """Name what a choice fails, "" where it fails nothing."""
    return ", ".join(bind.name for bind in choice.binds if bind.word == FAILS)


def hundred(choice: Choice, needed: float) -> str:
    """Write how often a choice keeps the limit, of 100; "-" without one."""
    return "-" if choice.probability is None else in_hundred(choice.probability, needed)


# --- the first sentences


def as_of_text(entry: Entry) -> str:
    """Say that an answer is one of the past, and whose."""
    kind, when = entry.body.kind.replace("-", " "), f"{entry.body.time.utc:%Y-%m-%d %H:%M}"
    return (
        f"AS IT WAS to those who made the {kind} {named(entry)}, at {when} UTC by their clock; "
        "nothing to load by now."
    )


def headline(answer: LoadAnswer) -> list[str]:
    """Give the answer in sentences, the most important first."""
    if answer.withheld:
        return [f"No number is given: {answer.withheld.rstrip('.')}."]
    chosen = answer.choice(answer.most)
    if chosen is None:
        return _nothing(answer)
    limit = answer.limit
    bound = chosen.roll.quantile(0.95)
    texts = [
        f"Load {units_word(chosen.units)} at most{_of_looked_at(answer, chosen)}. "
        f"Predicted {digits(chosen.roll.median_m, 1)} m; "
        f"95 of 100 such take-offs stay below {digits(bound, 1)} m"
        + (f", the limit is {limit.bound.value:g} m{_source(answer)}." if limit else ".")
    ]
    texts += _judged_longer(answer)
    texts += _next(answer, chosen)
    if answer.most_by_roll is not None and answer.most_by_roll > chosen.units:
        other = answer.choice(answer.most_by_roll)
        texts.append(
            f"The take-off limit alone would allow {answer.most_by_roll}; what binds is "
            f"{binds_word(other) if other is not None else 'something else'}."
        )
    if chosen.beyond_flown:
        texts.append(_beyond(answer, chosen))
    return texts


def _source(answer: LoadAnswer) -> str:
    source = answer.limit.source if answer.limit is not None else ""
    return f" ({plain(source, 60)})" if source else ""


def _of_looked_at(answer: LoadAnswer, chosen: Choice) -> str:
    """Say that the list ended there, and not what the aircraft can carry."""
    if answer.looked_at != chosen.units:
        return ""
    return f", of the {answer.looked_at} that were looked at: more may keep the limit too"


def _judged_longer(answer: LoadAnswer) -> list[str]:
    """Say by how much the limit is nearer than it reads, never farther."""
    longer, limit, last = answer.judged_longer_m, answer.limit, answer.kept_up_to_m
    if limit is None or last is None or longer < _TENTH_M / 2:
        return []
    kept = math.floor(last / _TENTH_M + _ROUNDING) * _TENTH_M
    return [
        f"Tape or judge read {digits(longer, 1)} m longer than the log, so the limit of "
        f"{limit.bound.value:g} m is kept by rolls up to {digits(kept, 1)} m."
    ]


def _nothing(answer: LoadAnswer) -> list[str]:
    if not answer.choices:
        return ["No number is given: no load could be tried."]
    first = answer.choices[0]
    texts = [
        f"Do not take off: even without payload the limit is kept in "
        f"{hundred(first, answer.needed)} of 100 take-offs, and "
        f"{100 * answer.needed:g} are asked."
        if not answer.keeps(first)
        else "No load keeps the take-off limit and all that binds besides."
    ]
    failing = [bind for bind in first.binds if bind.word == FAILS]
    texts += [f"{bind.name}: {bind.says.rstrip('.')}." for bind in failing]
    return texts + _judged_longer(answer)


def _next(answer: LoadAnswer, chosen: Choice) -> list[str]:
    """Say how the limit is kept with one and two units more."""
    parts: list[str] = []
    asked, told = f"{100 * answer.needed:g}", False
    for more in (1, 2):
        choice = answer.choice(chosen.units + more)
        if choice is None or choice.probability is None:
            break
        text = f"with {units_word(choice.units)} {hundred(choice, answer.needed)}"
        text += " in 100" if more == 1 else ""
        close = 0 < answer.needed - choice.probability < _JUST
        told = told or close
        parts.append(f"{text}, just below the {asked} that are asked" if close else text)
    if not parts:
        return []
    said = "; ".join(parts)
    return [f"{said[0].upper()}{said[1:]}{'' if told else f'; {asked} are asked'}."]


def _beyond(answer: LoadAnswer, choice: Choice) -> str:
    build_up = (
        "Fly a build-up flight between what was flown and this first"
        if answer.model.flights
        else "Build up from lightly loaded flights first"
    )
    return f"BEYOND WHAT WAS FLOWN: {choice.beyond_flown}. {build_up}."


def rests_on(answer: LoadAnswer) -> list[str]:
    """Say what the answer rests on."""
    model = answer.model
    days = len({t.day for t in model.takeoffs})
    counted = "1 flight" if model.flights == 1 else f"{model.flights} flights"
    flights = f"{counted} on {'1 day' if days == 1 else f'{days} days'}" if days else counted
    heaviest = max((t.mass_kg for t in model.takeoffs), default=None)
    heavy = f", nothing heavier than {heaviest:.2f} kg" if heaviest is not None else ""
    given_up = f", {model.given_up} given up" if model.given_up else ""
    texts = [
        f"From {flights}{given_up}{heavy}. What was believed before any flight comes from "
        f"{model.prior.source}.",
        f"Weather {named(answer.weather)}: headwind {_signed(answer.headwind_m_s)} m/s, air "
        f"{answer.density_kg_m3:.3f} kg/m³.",
        *(_sentence(text) for text in answer.said),
        *model.says,
    ]
    if answer.other_configuration:
        texts.append(f"{answer.other_configuration} flights in another configuration are left out.")
    return texts


def _signed(speed_m_s: float) -> str:
    """Write a speed with its sign; what rounds to nothing is no tailwind."""
    return f"{round(speed_m_s, 1) + 0.0:+.1f}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


# --- tables


def choice_rows(answer: LoadAnswer, around: int | None = None) -> list[tuple[str, ...]]:
    """Give the choices as cells in the order of `CHOICE_HEAD`, those near the answer alone."""
    rows: list[tuple[str, ...]] = []
    middle = answer.most if answer.most is not None else 0
    for choice in answer.choices:
        if around is not None and abs(choice.units - middle) > around:
            continue
        low, high = choice.roll.interval(0.95)
        marks = [binds_word(choice)]
        if choice.beyond_flown:
            marks.append("beyond what was flown")
        rows.append(
            (
                f"{AT_MOST if choice.units == answer.most else ''}{choice.units}",
                digits(choice.mass_kg, 2),
                digits(choice.roll.median_m, 1),
                f"{digits(low, 1)} to {digits(high, 1)}",
                digits(choice.roll.quantile(0.95), 1),
                hundred(choice, answer.needed),
                "; ".join(filter(None, marks)),
            )
        )
    return rows


def what_if_rows(answer: LoadAnswer) -> list[tuple[str, str, str]]:
    """Give what would change the answer, in the order of `WHAT_IF_HEAD`; as it is now first."""
    now = answer.choice(answer.most)
    bound = now.roll.quantile(0.95) if now is not None else None
    as_it_is = WhatIf("the wind and air of now", answer.most, bound)
    return [_what_if(one) for one in (as_it_is, *answer.what_ifs)]


def _what_if(one: WhatIf) -> tuple[str, str, str]:
    return (
        one.name,
        "none" if one.units is None else str(one.units),
        "-" if one.bound_m is None else digits(one.bound_m, 1),
    )


def bind_rows(choice: Choice) -> list[tuple[str, str, str]]:
    """Give what else binds a choice: what, word, numbers."""
    return [(bind.name, bind.word, bind.says) for bind in choice.binds]


def effect_rows(answer: LoadAnswer) -> list[tuple[str, str, str]]:
    """Give what was believed before any flight beside what is believed now, as 95 % intervals."""
    prior = answer.model.prior
    names = {
        "level": f"roll at {prior.mass_kg:g} kg, {prior.density_kg_m3:.3f} kg/m³, no wind, m",
        "mass": "roll, in % per % of mass",
        "density": "roll, in % per % of air density",
        "wind": "roll, in % per % of airspeed that the wind leaves",
        "lift-off airspeed": f"airspeed at lift-off at {prior.mass_kg:g} kg, m/s",
    }
    rows = []
    for effect in answer.model.effects:
        scale = {"level": 1.0, "lift-off airspeed": prior.airspeed_m_s}.get(effect.name)
        before, after = (_spread(numbers, scale) for numbers in (effect.prior, effect.posterior))
        rows.append((names.get(effect.name, effect.name), before, after))
    return rows


def _spread(numbers: tuple[float, float], scale: float | None) -> str:
    mean, half = numbers[0], NORMAL_95 * numbers[1]
    ends = (mean, mean - half, mean + half)
    if scale is not None:
        middle, low, high = (digits(scale * math.exp(one), 1) for one in ends)
    else:
        middle, low, high = (digits(one, 2) for one in ends)
    return f"{middle} ({low} to {high})"
