"""What is wearing out, in words: what is named first, then every series with its numbers."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

from flightlog.figures import FIGURES
from flightlog.operations.trends import STEPS, Course, TrendsAnswer
from flightlog.operations.trends_series import Part
from flightlog.prediction.trends import FEWEST, Trend
from flightlog.prediction.wear import (
    AHEAD,
    BETTER,
    BEYOND,
    CROSSES,
    NOTHING,
    STANDS_OUT,
    STEPPED,
    SURE,
    TOO_FEW,
    WEARING,
    EdgeState,
)
from flightlog.reports.numbers import digits, probability, with_unit
from flightlog.reports.plain import plain

CAUTION = (
    "Trends tell what to look at. That nothing is shown does not mean that nothing wears: few "
    "flights show only what is coarse. No line here says that a flight is safe."
)
LOOKED = (
    "Of 100 healthy seasons of 30 flights about 5 at most have a wearing figure named, over all "
    "series and all looks together, where flights scatter evenly and independently. A flight that "
    "was measured wildly is named as standing out; a figure that always lay near its limit can be "
    "named as beyond it."
)
CHANCE = (
    "'By chance': how likely a slope so clear comes about where nothing changes; the first number "
    "for this series at this look alone, the second with all series, {} here, and a look after "
    "every flight counted in. Near 0 a change is shown, near 1 it is not."
)
BEYOND_DATA = "beyond what was flown"
HEAD = (
    "state",
    "of",
    "figure",
    "flights",
    "per flight",
    "95 %",
    "p",
    "p, all looks",
    "now",
    "in 10",
)
"""Columns of the table of all series."""
NUMBERS = HEAD[3:]
SHAPES = {
    BEYOND: "■", CROSSES: "■", WEARING: "◐", STEPPED: "◐", STANDS_OUT: "◐",
    BETTER: "●", NOTHING: "○", TOO_FEW: "○",
}  # fmt: skip
"""Word -> its mark."""
_WIDEST, _INDENT, _NONE, _LONGEST = 100, "  ", "-", 200
_MORE_DECIMALS = 2


# --- numbers


def _decimals(course: Course, size: float) -> int:
    """Decimals that show a number of such a size to three digits; at least those of its kind."""
    own = FIGURES[course.line.figure].decimals
    if not size or not math.isfinite(size):
        return own
    return min(own + _MORE_DECIMALS, max(own, 2 - math.floor(math.log10(abs(size)))))


def figure_number(course: Course, value: float) -> str:
    """Write a number of a series with its unit."""
    kind = FIGURES[course.line.figure]
    trend = course.judged.trend
    size = trend.scatter if trend is not None else value
    places = min(_decimals(course, size or value), _decimals(course, value) + 1)
    return with_unit(digits(value, places), kind.unit)


def _slope(course: Course, value: float) -> str:
    trend = course.judged.trend
    slope = trend.slope if trend is not None else None
    size = max(abs(slope.low), abs(slope.high)) if slope is not None else value
    return f"{'+' if value > 0 else ''}{digits(value, _decimals(course, size))}"


def slope_text(course: Course) -> str:
    """Write the slope with its interval: "+0.00012 ohm a flight (0.00007 to 0.00016)"."""
    trend = course.judged.trend
    if trend is None:
        return _NONE
    unit = with_unit("", FIGURES[course.line.figure].unit).rstrip()
    low, high = _slope(course, trend.slope.low), _slope(course, trend.slope.high)
    return f"{_slope(course, trend.slope.value)}{unit} a {_event(course)} ({low} to {high})"


def _event(course: Course) -> str:
    return "cycle" if course.line.thing == "pack" else "flight"


def thing_text(course: Course) -> str:
    """Name what a series is of."""
    return f"{course.line.thing} {plain(course.line.id, 60)}"


def label_text(course: Course) -> str:
    """Name the figure of a series."""
    return FIGURES[course.line.figure].label


def edge_text(course: Course, state: EdgeState) -> str:
    """Write a limit: "at most 0.045 ohm (trigger of an inspection: ...)"."""
    word = "at most" if state.edge.op == "<=" else "at least"
    return f"{word} {figure_number(course, state.edge.value)} ({plain(state.edge.source, 120)})"


def worst_edge(course: Course) -> EdgeState | None:
    """Give the limit that is nearest, None where there is none."""

    def worse(one: EdgeState) -> tuple[float, float]:
        beyond = course.judged.word == BEYOND
        return (one.now, one.ahead) if beyond else (one.ahead, one.now)

    return max(course.judged.edges, key=worse, default=None)


# --- sentences


def headline(answer: TrendsAnswer) -> list[str]:
    """Say what is named, the worst first; or that nothing is."""
    if not answer.in_record:
        return [
            "The record holds no flight yet, so there is nothing to follow: 'flightlog import LOG' "
            "brings one in."
        ]
    if not answer.series:
        return [
            "No figure that is watched is in the record yet: no flight has one. Import more logs: "
            "'flightlog import LOG'."
        ]
    if not answer.courses:
        return [
            "No flight has a figure that is watched, of what was asked for: type 'flightlog "
            "trends' without options for all that is watched."
        ]
    if not answer.named:
        said = sum(course.judged.word != TOO_FEW for course in answer.courses)
        few = len(answer.courses) - said
        have = "1 more has" if few == 1 else f"{few} more have"
        short = f"; {have} fewer than {FEWEST} flights" if few else ""
        return [f"Nothing is named: in {said} series no wear is shown{short}."]
    return [text for course in answer.named for text in named_texts(course)]


def named_texts(course: Course) -> list[str]:
    """Say what is named of one series, and what to do."""
    trend, word = course.judged.trend, course.judged.word
    if trend is None:
        return []
    begin = f"{SHAPES[word]} {label_text(course)} of {thing_text(course)}: {word}."
    texts = [begin]
    edge = worst_edge(course)
    end = course.end
    if word in (BEYOND, CROSSES) and edge is not None:
        texts.append(_edge_says(course, edge, trend, end, word == BEYOND))
    if word in (CROSSES, WEARING) or (word == BEYOND and course.judged.shown):
        first, last = course.level(trend.first).value, course.level(trend.last).value
        texts.append(
            f"{slope_text(course)}; from {figure_number(course, first)} to "
            f"{figure_number(course, last)} over {trend.flights} "
            f"flights; {_by_chance(course, trend)}."
        )
    jump = course.judged.jumps[-1] if course.judged.jumps else None
    if word in (STANDS_OUT, STEPPED) and jump is not None:
        point = course.line.now.points[jump.place]
        row = f", as do the {jump.in_a_row - 1} before it" if jump.in_a_row > 1 else ""
        texts.append(
            f"{point.name} has {figure_number(course, point.value)}; earlier flights led to expect "
            f"{figure_number(course, jump.low)} to {figure_number(course, jump.high)}{row}. Look "
            "at it before the next flight."
        )
    if word != STANDS_OUT and word != STEPPED:
        texts.append("Inspect it, and enter what was found: 'flightlog defect --help'.")
    return [" ".join(texts)]


def _edge_says(course: Course, edge: EdgeState, trend: Trend, end: float, now: bool) -> str:
    limit = edge_text(course, edge)
    if now:
        level = course.level(end)
        return (
            f"The line is at {figure_number(course, level.value)}, and {limit} is the limit "
            f"(probability {_chance(edge.now)})."
        )
    at = f", about {_event(course)} {edge.at:.0f}" if edge.at is not None else ""
    return (
        f"Within {AHEAD} {_event(course)}s it will be beyond {limit} (probability "
        f"{_chance(edge.ahead)}{at}; {BEYOND_DATA})."
    )


def _chance(value: float) -> str:
    """Write a probability that a limit is crossed, so that it stays on its side of `SURE`."""
    return "under 0.01" if value < 0.01 else probability(value, SURE)


def _by_chance(course: Course, trend: Trend) -> str:
    """Say how likely chance alone shows so much; see `CHANCE`."""
    alone = f"by chance {_p(trend.p)} alone ({trend.p_by})"
    return f"{alone}, {_p(course.judged.p_all)} with all looks and series"


def _p(value: float) -> str:
    return "under 0.0001" if value < 1e-4 else f"{value:.2g}"


# --- the table


def series_rows(answer: TrendsAnswer) -> list[tuple[str, ...]]:
    """Give every series in the order of `HEAD`."""
    return [_row(course) for course in answer.courses]


def _row(course: Course) -> tuple[str, ...]:
    word, trend = course.judged.word, course.judged.trend
    first = (
        f"{SHAPES[word]} {word}",
        plain(course.line.id, 30),
        label_text(course),
        str(len(course.line.now.points)),
    )
    if trend is None:
        return (*first, *[_NONE] * (len(HEAD) - len(first)))
    end = course.end
    ahead = course.flight(end + AHEAD)
    return (
        *first,
        _slope(course, trend.slope.value),
        f"{_slope(course, trend.slope.low)} to {_slope(course, trend.slope.high)}",
        _p(trend.p),
        _p(course.judged.p_all),
        figure_number(course, course.level(end).value),
        f"{_plain_number(course, ahead.low)} to {_plain_number(course, ahead.high)}",
    )


def _plain_number(course: Course, value: float) -> str:
    return figure_number(course, value).split(" ", 1)[0]


# --- one series in full


def course_texts(course: Course) -> list[str]:
    """Say all of one series."""
    part, trend = course.line.now, course.judged.trend
    texts = [f"Since {plain(part.since, _LONGEST)}: {_count(part)}."]
    if trend is None:
        texts.append(f"Nothing is said yet: {course.judged.why}.")
    else:
        texts += _numbers(course, trend)
    if course.landings is not None:
        total, counted, missing = course.landings
        lacking = f"; {missing} landings lack it and are not in the sum" if missing else ""
        texts.append(
            f"Sum of the squares of the sink rate: {digits(total, 2)} m²/s² over {counted} "
            f"landings{lacking}."
        )
    texts += _earlier(course)
    return texts


def _count(part: Part) -> str:
    have = "1 flight has it" if len(part.points) == 1 else f"{len(part.points)} flights have it"
    if not part.lacking:
        return have
    name, why = part.lacking[-1]
    return f"{have}, {len(part.lacking)} not ({plain(name, 40)}: {plain(why, _LONGEST)})"


def _numbers(course: Course, trend: Trend) -> Iterable[str]:
    end = course.end
    yield (
        f"Slope {slope_text(course)}; {_by_chance(course, trend)}. "
        f"A flight scatters by {figure_number(course, trend.scatter)}."
    )
    if trend.wider > 1.05:
        yield (
            f"Flights near each other go together (correlation {digits(trend.lag1, 2)}): the "
            f"intervals are {digits(math.sqrt(trend.wider), 1)} times as wide for it."
        )
    expected = [
        f"{figure_number(course, f.value)} ({_plain_number(course, f.low)} to "
        f"{_plain_number(course, f.high)}) in {step}"
        for step in STEPS
        for f in (course.flight(end + step),)
    ]
    yield (
        f"Now {figure_number(course, course.level(end).value)}; expected {_event(course)}s ahead: "
        f"{', '.join(expected)} ({BEYOND_DATA})."
    )
    for state in course.judged.edges:
        yield (
            f"Limit {edge_text(course, state)}: beyond it now with probability "
            f"{_chance(state.now)}, in {AHEAD} {_event(course)}s "
            f"{_chance(state.ahead)}{_when(course, state, end)}."
        )
    for jump in course.judged.jumps:
        point = course.line.now.points[jump.place]
        yield (
            f"{point.name} stood out with {figure_number(course, point.value)}, where "
            f"{figure_number(course, jump.low)} to {figure_number(course, jump.high)} was expected."
        )


def _when(course: Course, state: EdgeState, end: float) -> str:
    if state.at is None or state.at <= end or not course.judged.shown:
        return ""
    early = "" if state.earliest is None else f"{state.earliest:.0f}"
    late = "never" if state.latest is None else f"{state.latest:.0f}"
    at = f"{_event(course)} {state.at:.0f} ({early} to {late})"
    return f"; the line gets there at {at}, {BEYOND_DATA}"


def _earlier(course: Course) -> Iterable[str]:
    for part, trend in course.before:
        begin = f"Before, since {plain(part.since, 80)}: {len(part.points)} flights"
        if trend is None:
            yield f"{begin}, too few for a slope."
        else:
            yield (
                f"{begin}, {_slope(course, trend.slope.value)} a {_event(course)} "
                f"({_slope(course, trend.slope.low)} to {_slope(course, trend.slope.high)})."
            )


# --- lines for a terminal


def trends_lines(answer: TrendsAnswer, *, width: int = 80, full: bool = False) -> list[str]:
    """Lay the answer out for a terminal; in full, every series is told of."""
    width = min(max(width, 60), _WIDEST)
    lines = [line for text in headline(answer) for line in _wrap(text, width)]
    for course in answer.courses:
        if full or course.judged.named:
            lines += ["", f"{label_text(course)}, {thing_text(course)}: {course.judged.word}"]
            lines += [x for text in course_texts(course) for x in _wrap(text, width, _INDENT)]
    if answer.courses and not full:
        lines += ["", "All series", *_wrap(CHANCE.format(answer.series), width), ""]
        lines += _blocks(answer, width)
    lines.append("")
    chance = [CHANCE.format(answer.series)] if full else []
    for text in (*([*chance, LOOKED] if answer.courses else []), CAUTION):
        lines += _wrap(text, width)
    return [plain(line) for line in lines]


def _blocks(answer: TrendsAnswer, width: int) -> list[str]:
    """Give each series in two lines, which fit on any screen."""
    lines = []
    for course in answer.courses:
        lines += _wrap(
            f"{SHAPES[course.judged.word]} {label_text(course)}, {course.line.id}: "
            f"{course.judged.word}",
            width,
            _INDENT,
        )
        if course.judged.trend is None:
            lines += _wrap(course.judged.why, width, _INDENT * 3)
            continue
        row = dict(zip(HEAD, _row(course), strict=True))
        lines += _wrap(
            f"{slope_text(course)}, now {row['now']}, {row['flights']} flights; by chance "
            f"{row['p']} alone, {row['p, all looks']} with all",
            width,
            _INDENT * 3,
        )
    return lines


def _wrap(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text),
        width,
        initial_indent=indent,
        subsequent_indent=indent + _INDENT,
        break_on_hyphens=False,
    )


# --- lines for the aircraft file


def toml_line(figure: str, value: float, spread: float) -> str:
    """Write a line of ``[baseline]``."""
    unit = FIGURES[figure].unit
    written = f', unit = "{unit}"' if unit else ""
    return f'"{figure}" = {{ value = {value:.6g}, spread = {spread:.3g}{written} }}'


def baseline_lines(rows: Sequence[tuple[str, float, float, str]], aircraft: str) -> list[str]:
    """Write the table ``[baseline]``; what is not fit for it stands as a remark with the reason.

    Parameters
    ----------
    rows : sequence of (str, float, float, str)
        Figure, value, spread, and why it is not given; "" where it is.
    aircraft : str
        Id of the aircraft.
    """
    lines = [f"# For the file of {plain(aircraft, 60)}: put these lines into it, and enter it."]
    lines.append("[baseline]")
    for figure, value, spread, why in rows:
        lines.append(
            f"# {figure}: {plain(why, _LONGEST)}" if why else toml_line(figure, value, spread)
        )
    return lines
