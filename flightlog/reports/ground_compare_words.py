"""Configurations on the thrust stand against each other, in words and as JSON."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from flightlog.groundtests.comparison import LESS, MORE, SAME, Compared
from flightlog.groundtests.settled_steps import Coordinate
from flightlog.operations.ground_compare import GroundComparison, PointCompared
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain

SCHEMA = "flightlog.comparison/1"
CAUTION = (
    "Not shown is not the same as alike: few repeats show only what is coarse. This compares what "
    "stood on the stand; in flight, air flows through the propeller, and the airframe stands in "
    "its stream. A spinning propeller kills: guard the stand, and let nobody into its plane."
)
AIR = (
    "Thrust is that of the air at the stand: 1 % of density is 1 % of thrust at equal speed, and "
    "0.3 % at equal power."
)
ONE_MOUNTING = (
    "Repeats are sweeps of one mounting: what taking it off and on again changes is not in them. "
    "Several files of each, taken by turns, would show it."
)
WITHIN_PAIRS = (
    "Pairs take out what changes from pair to pair, and not what changes within each: a pack or a "
    "motor that drifts favours the one that always came first. Let them take turns in that too: "
    "first A then B, next B then A."
)
_WIDEST, _INDENT, _LONGEST = 100, "  ", 60


def comparison_lines(answer: GroundComparison, width: int = 80) -> list[str]:
    """Give the comparison as lines of text, the answer first.

    Parameters
    ----------
    answer : GroundComparison
        What was compared.
    width : int, optional
        Of the screen. [characters]
    """
    wide = max(40, min(width, _WIDEST))
    lines: list[str] = []
    for text in _headline(answer):
        lines += textwrap.wrap(text, wide)
    for point in answer.points:
        lines.append("")
        lines += textwrap.wrap(_title(point), wide)
        for text in _told(point):
            lines += textwrap.wrap(text, wide, initial_indent=_INDENT, subsequent_indent=_INDENT)
    lines.append("")
    for text in _basis(answer):
        lines += textwrap.wrap(text, wide)
    return [*lines, "", *textwrap.wrap(CAUTION, wide)]


def _name(text: str) -> str:
    return plain(text, _LONGEST)


def verdict_text(point: PointCompared) -> str:
    """Say in one clause what a comparison shows."""
    c, name = point.compared, point.coordinate.quantity
    if c is None:
        return "can't be compared"
    first, second = _name(point.first), _name(point.second)
    threshold = f"{c.threshold_percent:g} %"
    if c.word == SAME:
        return f"no difference that matters: within {threshold}"
    if c.word in (MORE, LESS):
        better = (c.word == MORE) == point.coordinate.more_is_better
        lead = first if better else second
        return f"{lead} is better by more than {threshold}"
    if c.differs:
        ahead = (c.difference > 0) == point.coordinate.more_is_better
        lead = first if ahead else second
        return f"{lead} has the better {name}, but whether by {threshold} is not shown"
    return "not shown: neither a difference, nor that there is none that matters"


def _headline(answer: GroundComparison) -> Iterator[str]:
    pairs = dict.fromkeys((p.first, p.second) for p in answer.points)
    for first, second in pairs:
        mine = [p for p in answer.points if (p.first, p.second) == (first, second)]
        said = dict.fromkeys(verdict_text(p) for p in mine)
        head = f"{_name(first)} against {_name(second)}"
        if len(said) == 1:
            yield f"{head}: {next(iter(said))}, at all {len(mine)} places."
        else:
            yield f"{head}: it depends on where they are compared."


def _place(coordinate: Coordinate, at: float) -> str:
    places = 0 if at >= 100 else 1
    return f"{coordinate.label} ({digits(at, places)} {coordinate.unit})"


def _title(point: PointCompared) -> str:
    return (
        f"{point.coordinate.quantity.capitalize()} at {_place(point.coordinate, point.at)}, "
        f"{_name(point.first)} against {_name(point.second)}: {verdict_text(point)}"
    )


def _chance(p: float) -> str:
    return "p under 0.001" if p < 0.001 else f"p {digits(p, 3)}"


def _told(point: PointCompared) -> Iterator[str]:
    c, unit = point.compared, point.coordinate.quantity_unit
    if c is None:
        yield plain(point.why, 300)
        return
    places = _decimals(c)
    yield (
        f"{digits(c.mean_first, places)} and {digits(c.mean_second, places)} {unit}; difference "
        f"{digits(c.difference, places)} {unit}, 95 %: {digits(c.low, places)} to "
        f"{digits(c.high, places)} {unit}"
    )
    if c.percent is not None and c.percent_low is not None and c.percent_high is not None:
        yield (
            f"{digits(c.percent, 2)} % of the first, 95 %: {digits(c.percent_low, 2)} to "
            f"{digits(c.percent_high, 2)} %"
        )
    if c.why:
        yield plain(c.why, 300)
    elif not math.isnan(c.t):
        how = "in pairs" if c.paired else "by Welch's test"
        yield (
            f"{c.n_first} and {c.n_second} repeats, {how}: t {digits(c.t, 2)} with "
            f"{digits(c.dof, 1)} degrees of freedom, {_chance(c.p)}"
        )


def _decimals(c: Compared) -> int:
    size = c.std or abs(c.mean_first)
    if not (math.isfinite(size) and size > 0):
        return 2
    return min(5, max(0, 1 - math.floor(math.log10(size))))


def _basis(answer: GroundComparison) -> Iterator[str]:
    if answer.repeats == "sweeps":
        yield ONE_MOUNTING
    elif not answer.paired:
        yield (
            "Files were not paired. Where they were taken by turns, --paired takes out what "
            "changed for both between turns."
        )
    else:
        yield WITHIN_PAIRS
    if answer.same_bench:
        yield "All were read by the same calibration, which cancels in percentages."
    yield (
        f"What each has for itself was taken as {answer.apart_percent:g} % of standard "
        "uncertainty, as --apart says."
        if answer.apart_percent
        else "Nothing was added for what configurations don't share, such as a stand that was set "
        "up anew: --apart adds it."
    )
    yield AIR
    compared = sum(p.compared is not None for p in answer.points)
    if compared > 1:
        yield f"All {compared} comparisons together are wrong in one of 20 cases at most."
    for side in answer.sides:
        for name, finding in side.findings:
            if finding.severity == "note":
                continue  # programs get them; here they would bury the rest
            yield f"{_name(side.name)}, {_name(name)}: {plain(finding.message, 300)}"


# --- JSON


def comparison_json(answer: GroundComparison) -> dict[str, object]:
    """Give the comparison as a JSON object, unrounded."""
    return {
        "schema": SCHEMA,
        "kind": "thrust",
        "repeats": answer.repeats,
        "paired": answer.paired,
        "threshold_percent": answer.threshold_percent,
        "apart_percent": answer.apart_percent,
        "same_bench": answer.same_bench,
        "configurations": [
            {
                "name": side.name,
                "files": [{"name": name, "sha256": sha} for name, sha in side.files],
                "findings": [
                    {"file": name, "code": f.code, "severity": f.severity, "message": f.message}
                    for name, f in side.findings
                ],
            }
            for side in answer.sides
        ],
        "comparisons": [_point(point) for point in answer.points],
        "caution": CAUTION,
    }


def _point(point: PointCompared) -> dict[str, object]:
    c, place = point.compared, point.coordinate
    body: dict[str, object] = {
        "first": point.first,
        "second": point.second,
        "at": {"coordinate": place.word, "value": point.at, "unit": place.unit},
        "quantity": {
            "name": place.quantity,
            "unit": place.quantity_unit,
            "more_is_better": place.more_is_better,
        },
        "says": verdict_text(point),
    }
    if c is None:
        return {**body, "verdict": None, "withheld": point.why}
    return {
        **body,
        "verdict": c.word,
        "withheld": c.why or None,
        "differs": c.differs,
        "means": [c.mean_first, c.mean_second],
        "spreads": [c.spread_first, c.spread_second],
        "repeats": [c.n_first, c.n_second],
        "difference": c.difference,
        "difference_95": [c.low, c.high],
        "percent": c.percent,
        "percent_95": None if c.percent_low is None else [c.percent_low, c.percent_high],
        "t": _finite(c.t),
        "degrees_of_freedom": _finite(c.dof),
        "p": _finite(c.p),
        "p_verdict_all": _finite(c.p_word),
        "p_difference_all": _finite(c.p_difference),
        "held_together": c.together,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
