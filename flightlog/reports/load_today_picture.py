"""How much may be loaded today as a picture: a strip for each number of units, one above the other.

Each is the strip of an outcome: a line that is drawn through where the limit allows, the limit as
a tick, the predicted roll as a mark, its one-sided limits at the needed probability as a bar; a
thin line beyond the bar is the central 95 %. The bar is filled for what was flown before and
hollow, in a broken frame, for what was not. The answer stands in a heavy frame with its words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from flightlog.operations.load_answer import Choice, LoadAnswer
from flightlog.reports.load_today_words import binds_word, in_hundred, units_word
from flightlog.reports.look import FAINT, INK, PAPER, SMALL_PX, STEP_PX, shape
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain
from flightlog.reports.svg_pieces import Axis, box, limits, rule, svg, words

WIDTH = 660.0
"""Of the picture [px]: so that no letter is made smaller on the narrowest screen."""
MOST_ROWS = 8
"""So many choices are drawn, those around the answer."""
_ROW = 3.5 * STEP_PX
_HEAD, _FOOT = 3.5 * STEP_PX, 12.0 * STEP_PX
_LEFT, _RIGHT = 112.0, 182.0
_BAR, _MARK = 10.0, 6.5
_CLEAR = 4.0
"""A bar that ends on one side of the limit stays so far from it. [px]"""
_ROOM = 0.04
_DASH, _BEYOND = "5 3", "3 5"
_LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class _Strip:
    """One choice with the places of its parts in metres."""

    choice: Choice
    low: float
    high: float
    interval: tuple[float, float]
    keeps: bool

    @property
    def good(self) -> bool:
        """Whether nothing speaks against it, the smaller choices left out."""
        return self.keeps and self.choice.allowed


def load_today_svg(answer: LoadAnswer) -> str:
    """Draw the predicted roll of each number of units against the limit.

    Returns
    -------
    str
        An ``<svg>``, with nothing from anywhere. Where the answer is withheld no choice is marked.
    """
    strips = [_strip(answer, choice) for choice in shown_choices(answer)]
    height = _HEAD + _ROW * len(strips) + _FOOT
    bound = answer.limit.bound.value if answer.limit is not None else None
    ends: list[float] = [end for s in strips for end in (s.low, s.high, *s.interval)]
    low, high = limits([*ends, *([bound] if bound is not None else [])]) or (0.0, 1.0)
    room = _ROOM * (high - low)
    axis = Axis(max(0.0, low - room), high + room, _LEFT, WIDTH - _RIGHT)
    bottom = _HEAD + _ROW * len(strips)
    middles = [_HEAD + _ROW * (n + 0.5) for n in range(len(strips))]
    parts = [
        *_axis(axis, bottom),
        *(
            part
            for strip, y in zip(strips, middles, strict=True)
            for part in _drawn(answer, strip, axis, y)
        ),
        *_limit(answer, axis, bottom),
        *(
            _diamond(axis.at(strip.choice.roll.median_m), y)
            for strip, y in zip(strips, middles, strict=True)
        ),
        *_legend(bottom + 8 * STEP_PX, answer),
    ]
    return svg(WIDTH, height, load_today_picture_words(answer), parts)


def load_today_picture_words(answer: LoadAnswer) -> str:
    """Say what the picture shows, for who can't see it."""
    choices = shown_choices(answer)
    if not choices:
        return "No load could be tried"
    bound = f" against {_limit_text(answer)}" if answer.limit is not None else ""
    first = f"Predicted ground roll{bound}, with {choices[0].units} to {choices[-1].units} units"
    rolls = (
        f"{units_word(one.units)} median {digits(one.roll.median_m, 1)} m, 95 of 100 below "
        f"{digits(one.roll.quantile(_LEVEL), 1)} m"
        for one in choices
        if answer.most is None or answer.most <= one.units <= answer.most + 1
    )
    most = f"; at most {units_word(answer.most)}" if answer.most is not None else ""
    beyond = next((f"; beyond what was flown from {c.units} on" for c in choices
                   if c.beyond_flown), "")  # fmt: skip
    return f"{first}{most}{beyond}: {'; '.join(rolls)}"


def shown_choices(answer: LoadAnswer) -> Sequence[Choice]:
    """Give the choices that are drawn and listed: those around the answer."""
    middle = answer.most if answer.most is not None else _last_good(answer)
    begin = max(0, min(middle - MOST_ROWS // 2, len(answer.choices) - MOST_ROWS))
    return answer.choices[begin : begin + MOST_ROWS]


def _last_good(answer: LoadAnswer) -> int:
    """Give around which choice to draw where none is the answer."""
    return sum(answer.keeps(choice) for choice in answer.choices)


def _strip(answer: LoadAnswer, choice: Choice) -> _Strip:
    roll, needed = choice.roll, max(answer.needed, 0.5)
    low, high = (roll.quantile(p) for p in (1 - needed, needed)) if needed < 1 else (
        roll.interval(_LEVEL)
    )  # fmt: skip
    return _Strip(choice, low, high, roll.interval(_LEVEL), answer.keeps(choice))


# --- the pieces


def _axis(axis: Axis, bottom: float) -> Iterator[str]:
    text = bottom + 2.5 * STEP_PX
    for value, written in axis.ticks(5):
        yield rule(axis.at(value), _HEAD, axis.at(value), bottom, FAINT)
        yield words(axis.at(value), text, written, anchor="middle", size=SMALL_PX)
    yield rule(_LEFT, bottom, WIDTH - _RIGHT, bottom)
    middle = (_LEFT + WIDTH - _RIGHT) / 2
    yield words(middle, text + 2.5 * STEP_PX, "ground roll, m", anchor="middle", size=SMALL_PX)
    yield words(_LEFT - STEP_PX, 2.5 * STEP_PX, "units", anchor="end", size=SMALL_PX)


def _drawn(answer: LoadAnswer, strip: _Strip, axis: Axis, y: float) -> Iterator[str]:
    """Draw one strip: frame, line, bar, mark, and its numbers at both sides."""
    choice = strip.choice
    chosen = choice.units == answer.most and not answer.withheld
    if chosen:
        yield (
            f'<rect x="2" y="{y - _ROW / 2:.1f}" width="{WIDTH - 4:g}" height="{_ROW:g}" '
            f'fill="none" stroke="{INK}" stroke-width="3"/>'
        )
    yield words(
        _LEFT - STEP_PX,
        y + 5.5,
        f"{'at most ' if chosen else ''}{choice.units}",
        anchor="end",
        size=SMALL_PX,
        bold=chosen,
    )
    yield from _line(answer, axis, y)
    first, last = (axis.at(end) for end in strip.interval)
    yield rule(first, y, last, y, INK, 2.2)
    yield _bar(answer, strip, axis, y)
    yield words(
        WIDTH - _RIGHT + 1.5 * STEP_PX, y + 5.5, _side(answer, strip), size=SMALL_PX, bold=chosen
    )


def _line(answer: LoadAnswer, axis: Axis, y: float) -> Iterator[str]:
    """Draw through where the limit allows, broken beyond."""
    if answer.limit is None:
        return
    tick, below = axis.at(answer.limit.bound.value), answer.limit.bound.op == "<="
    yield rule(axis.begin, y, tick, y, INK, 1.2, "" if below else _BEYOND)
    yield rule(tick, y, axis.end, y, INK, 1.2, _BEYOND if below else "")


def _bar(answer: LoadAnswer, strip: _Strip, axis: Axis, y: float) -> str:
    """Draw the one-sided limits; the bar ends on the side of the limit that the word says."""
    low, high = axis.at(strip.low), axis.at(strip.high)
    if answer.limit is not None and answer.limit.bound.op == "<=":
        tick = axis.at(answer.limit.bound.value)
        high = min(high, tick - _CLEAR) if strip.keeps else max(high, tick + _CLEAR)
    filled = f'fill="{INK}" stroke="{INK}"'
    hollow = f'fill="{PAPER}" stroke="{INK}" stroke-dasharray="{_DASH}"'
    return (
        f'<rect x="{min(low, high):.1f}" y="{y - _BAR / 2:.1f}" width="{abs(high - low):.1f}" '
        f'height="{_BAR:g}" stroke-width="1.8" {hollow if strip.choice.beyond_flown else filled}/>'
    )


def _side(answer: LoadAnswer, strip: _Strip) -> str:
    """Say how often the limit is kept, and what else fails."""
    choice = strip.choice
    if choice.probability is None:
        return binds_word(choice)
    kept = f"{in_hundred(choice.probability, answer.needed)} of 100"
    sign = shape("holds" if strip.good else "beyond")
    return f"{sign} {', '.join(filter(None, (kept, binds_word(choice))))}"


def _limit(answer: LoadAnswer, axis: Axis, bottom: float) -> Iterator[str]:
    if answer.limit is None:
        return
    at = axis.at(answer.limit.bound.value)
    yield rule(at, 2.5 * STEP_PX + 4, at, bottom, INK, 3.0)
    yield words(at, 2.0 * STEP_PX, _limit_text(answer), anchor="middle", size=SMALL_PX, bold=True)
    yield words(WIDTH - _RIGHT + 1.5 * STEP_PX, 2.5 * STEP_PX, "keep the limit", size=SMALL_PX)


def _limit_text(answer: LoadAnswer) -> str:
    limit = answer.limit
    return f"limit {plain(f'{limit.bound.value:g}', 20)} m" if limit is not None else ""


def _legend(top: float, answer: LoadAnswer) -> Iterator[str]:
    """Name every sign, in two rows."""
    second, right = top + 3 * STEP_PX, 40.0 * STEP_PX
    text, size = 3.5 * STEP_PX, SMALL_PX
    yield _diamond(1.5 * STEP_PX, top - 5)
    yield words(text, top, "half roll less than this", size=size)
    yield rule(right, top - 5, right + 20, top - 5, INK, 2.2)
    yield words(right + text, top, "95 of 100 end on the line", size=size)
    yield box(2, second - 10, 20, _BAR, INK)
    yield words(text, second, f"ends where {100 * answer.needed:g} of 100 roll less", size=size)
    yield (
        f'<rect x="{right:g}" y="{second - 10:.1f}" width="20" height="{_BAR:g}" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="1.8" stroke-dasharray="{_DASH}"/>'
    )
    yield words(right + text, second, "beyond what was flown", size=size)


def _diamond(x: float, y: float) -> str:
    size = _MARK
    return (
        f'<path d="M{x - size:.1f} {y:.1f}l{size} {-size}l{size} {size}l{-size} {size}Z" '
        f'fill="{PAPER}" stroke="{INK}" stroke-width="2.2"/>'
    )
