"""Propellers and packs for a mission, in words: the best first, and what is not shown."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence

from flightlog.groundtests.draws import Spread
from flightlog.groundtests.limits_of_choice import FITS, Judged
from flightlog.groundtests.pack_choice import PACK_LABELS, WeighedPack
from flightlog.groundtests.propeller_choice import OBJECTIVES, PropellerChoice, Weighed
from flightlog.groundtests.propeller_performance import LABELS
from flightlog.operations.ground_choice import GroundChoice, IdealSplit
from flightlog.reports.numbers import digits, digits_beside, probability
from flightlog.reports.plain import plain

CAUTION = (
    "This weighs what was stated and measured; it approves nothing. A choice that holds its limits "
    "here is to be tried on the stand and in flight, step by step. Guard spinning propellers, and "
    "charge lithium batteries attended, on ground that can't burn."
)
SPEED = (
    "The speed at full throttle is taken to be that of the stand. In flight it rises, since the "
    "air unloads the propeller: keep a margin to the maker's highest speed."
)
GROSS = (
    "The mass at take-off is the same with every pack, and what is left is payload. What the strip "
    "allows is another question: flightlog load."
)
STATES = {FITS: "●", "open": "◐", "ruled out": "■"}
"""State -> its mark."""
_CANT = "can't"
_WIDEST, _INDENT, _DEEP, _LONGEST = 100, "  ", "    ", 60
_FIRST = ("roll_m", "wh_per_km", "current_a", "static_thrust_n", "climb_m_s", "cruise_rpm")
_PACK_FIRST = ("payload_kg", "energy_left_wh", "distance_km", "usable_wh_kg")
_MOST_SOURCES = 3
_LEAST_SHOWN = 0.01


def choice_lines(answer: GroundChoice, width: int = 80) -> list[str]:
    """Give the choice as lines of text.

    Parameters
    ----------
    answer : GroundChoice
        What was weighed.
    width : int, optional
        Of the screen. [characters]
    """
    wide = max(40, min(width, _WIDEST))
    lines: list[str] = []

    def say(text: str, indent: str = "") -> None:
        lines.extend(
            textwrap.wrap(text, wide, initial_indent=indent, subsequent_indent=indent) or [""]
        )

    say(f"Mission {mission_name(answer)}")
    for text in head_texts(answer):
        say(text)
    for told in candidate_texts(answer):
        say("")
        for indent, text in told:
            say(text, indent)
    say("")
    for text in basis_texts(answer):
        say(text)
    say("")
    say(CAUTION)
    return lines


def mission_name(answer: GroundChoice) -> str:
    """Give the title of a mission, or its id."""
    return _name(answer.mission.title or answer.mission.id)


def head_texts(answer: GroundChoice) -> tuple[str, ...]:
    """Say which propeller and which pack are best, and what is not shown to be worse."""
    return (*_propeller_head(answer.propellers), *_pack_head(answer))


def candidate_texts(answer: GroundChoice) -> Iterator[list[tuple[str, str]]]:
    """Give what is told of each candidate, its state first: indent and text of each line."""
    for w in answer.propellers.candidates if answer.propellers else ():
        yield list(_propeller(w))
    for pack in answer.packs.packs if answer.packs else ():
        yield list(_pack(pack))


def _name(text: str) -> str:
    return plain(text, _LONGEST)


def _named(names: Sequence[str]) -> str:
    return ", ".join(_name(name) for name in names)


def _propeller_head(choice: PropellerChoice | None) -> Iterator[str]:
    if choice is None:
        return
    figure, aim = OBJECTIVES[choice.objective]
    if not choice.best:
        yield (
            f"Propeller: none of {len(choice.candidates)} is shown to hold every limit, so that "
            "none is named best."
        )
    else:
        spread = next(c for c in choice.candidates if c.name == choice.best).figures[figure]
        yield (
            f"Propeller with the {aim}, of those that hold every limit: {_name(choice.best)}, "
            f"{_number(figure, spread)}."
        )
        if choice.as_good:
            yield f"Not shown to be worse than it: {_named(choice.as_good)}."
    front = [c.name for c in choice.candidates if c.on_front]
    beaten = [c for c in choice.candidates if c.beaten_by]
    if front and len(choice.candidates) > 1:
        yield f"Nothing is shown to beat in roll and energy together: {_named(front)}."
    for c in beaten:
        yield f"{_name(c.name)} is beaten in both by {_name(c.beaten_by)}."


def _pack_head(answer: GroundChoice) -> Iterator[str]:
    choice = answer.packs
    if choice is None:
        return
    if not choice.best:
        yield (
            f"Pack: none of {len(choice.packs)} is shown to hold every limit, so that none is "
            "named best."
        )
    else:
        best = next(p for p in choice.packs if p.name == choice.best)
        units = "" if best.units is None else f", {best.units} units"
        yield (
            f"Pack with the most payload, of those that hold every limit: {_name(best.name)}, "
            f"{_pack_number('payload_kg', best.figures['payload_kg'])}{units}."
        )
        if choice.as_good and best.units is not None:
            yield f"As many units, with less energy left: {_named(choice.as_good)}."
        elif choice.as_good:
            yield f"Not shown to carry less: {_named(choice.as_good)}."


# --- one choice


def _value(spread: Spread, decimals: int, unit: str) -> str:
    """Write a figure with its interval; what can't be done has no number."""
    if not math.isfinite(spread.value):
        return f"{_CANT} be reached"
    low, high = spread.interval
    text = f"{digits(spread.value, decimals)} {unit}".strip()
    if low == high:
        return text
    end = digits(high, decimals) if math.isfinite(high) else f"what {_CANT} be reached"
    return f"{text} (95 %: {digits(low, decimals)} to {end})"


def _number(figure: str, spread: Spread) -> str:
    _, unit, decimals = LABELS[figure]
    return _value(spread, decimals, unit)


def _pack_number(figure: str, spread: Spread) -> str:
    _, unit, decimals = PACK_LABELS[figure]
    return _value(spread, decimals, unit)


def _propeller(w: Weighed) -> Iterator[tuple[str, str]]:
    yield "", f"{STATES[w.state]} {_name(w.name)}: {w.state}"
    for judged in w.demands:
        yield _INDENT, demand_text(judged, w.figures, LABELS)
    for figure in _FIRST:
        if figure in w.figures:
            yield _INDENT, f"{LABELS[figure][0]}: {_number(figure, w.figures[figure])}"
            shares = w.figures[figure].shares
            if shares and figure in ("roll_m", "wh_per_km"):
                yield _DEEP, f"mostly not known for: {_sources(shares)}"
    yield from _missing(w.withheld, w.demands, LABELS)


def _pack(p: WeighedPack) -> Iterator[tuple[str, str]]:
    yield "", f"{STATES[p.state]} pack {_name(p.name)}: {p.state}"
    for judged in p.demands:
        yield _INDENT, demand_text(judged, p.figures, PACK_LABELS)
    for figure in _PACK_FIRST:
        if figure in p.figures:
            yield _INDENT, f"{PACK_LABELS[figure][0]}: {_pack_number(figure, p.figures[figure])}"
    if p.units is not None:
        yield _INDENT, f"units of payload that fit: {p.units}"
    if p.beaten_by:
        yield _INDENT, f"{_name(p.beaten_by)} carries more and reaches farther"
    yield from _missing(p.withheld, p.demands, PACK_LABELS)


def demand_text(
    judged: Judged, figures: Mapping[str, Spread], labels: Mapping[str, tuple[str, str, int]]
) -> str:
    """Write a limit with its word: "met: ground roll at most 40 m (0.99)"."""
    d = judged.demand
    side = "at most" if d.op == "<=" else "at least"
    bound = "" if d.bound is None else f" {side} {d.bound:g} {d.unit}".rstrip()
    text = f"{judged.word}: {d.label}{bound}"
    if judged.probability is None:
        return f"{text}: {judged.why}" if judged.why else text
    spread = figures[d.figure]
    decimals = labels[d.figure][2]
    mine = (
        digits_beside(spread.value, d.bound or 0.0, decimals)
        if math.isfinite(spread.value)
        else f"{_CANT} be reached"
    )
    low, high = spread.interval
    if low == high:
        return f"{text}: {mine} {d.unit}".rstrip()
    return (
        f"{text}: {mine} {d.unit}".rstrip()
        + f", with probability {_probability(judged.probability, d.shown_at)}"
    )


def _probability(value: float, required: float) -> str:
    """Write a probability; that of draws is not known to more than some thousandths."""
    return "under 0.01" if value < _LEAST_SHOWN else probability(value, required)


def _sources(shares: Mapping[str, float]) -> str:
    return ", ".join(
        f"{plain(name, _LONGEST)} ({digits(100 * share, 0)} %)"
        for name, share in list(shares.items())[:_MOST_SOURCES]
    )


def _missing(
    withheld: Mapping[str, str],
    demands: Sequence[Judged],
    labels: Mapping[str, tuple[str, str, int]],
) -> Iterator[tuple[str, str]]:
    told = {j.demand.figure for j in demands if j.word == "not assessable"}
    whys: dict[str, list[str]] = {}
    for figure, why in withheld.items():
        if figure not in told:
            whys.setdefault(why, []).append(labels[figure][0])
    for why, names in whys.items():
        yield _INDENT, f"withheld: {', '.join(names)}: {why}"


# --- what it rests on


def basis_texts(answer: GroundChoice) -> Iterator[str]:
    """Say what the choice rests on, and what it does not know."""
    if answer.propellers is not None:
        yield SPEED
    if answer.packs is not None:
        yield GROSS
        if answer.drive:
            yield f"Energy and current for the packs are those of {_name(answer.drive)}."
    if answer.ideal is not None:
        yield from ideal_texts(answer.ideal)
    if answer.exact:
        yield (
            "Stated without a standard uncertainty, and taken as exact: "
            f"{', '.join(answer.exact)}. Intervals are too narrow by that."
        )
    for stand in answer.stand:
        for finding in stand.test.answer.findings:
            yield f"{_name(stand.name)} on the stand: {plain(finding.message, 300)}"


def ideal_texts(ideal: IdealSplit) -> Iterator[str]:
    """Say what the best mass of battery would be."""
    s = ideal.split
    yield (
        f"Were there packs of any mass, as good as {_name(ideal.pack)} "
        f"({digits(ideal.usable_wh_kg, 0)} Wh/kg usable): payload times distance is greatest "
        f"with {digits(s.battery_kg, 2)} kg of battery and {digits(s.payload_kg, 2)} kg of "
        f"payload, over {digits(s.range_m / 1000, 1)} km in level flight ({s.binds})."
    )
    if ideal.needed_kg is not None:
        yield (
            f"The distance of the mission takes {digits(ideal.needed_kg, 2)} kg of such battery; "
            "more is payload left behind."
        )
