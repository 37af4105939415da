"""How much may be loaded today, laid out as lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.operations.load_answer import FAILS, Bind, LoadAnswer
from flightlog.reports.cautions import PEOPLE, RECORD
from flightlog.reports.load_today_score import score_texts
from flightlog.reports.load_today_words import (
    CAUTION,
    CHOICE_HEAD,
    EFFECT_HEAD,
    WHAT_IF_HEAD,
    WHAT_IF_SAYS,
    abort_m,
    as_of_text,
    choice_rows,
    effect_rows,
    headline,
    rests_on,
    units_word,
    what_if_rows,
)
from flightlog.reports.plain import plain

_AROUND = 5
"""So many choices above and below the answer are printed."""
_WIDEST = 100
_INDENT = "  "


def load_lines(answer: LoadAnswer, *, width: int = 80, as_of: Entry | None = None) -> list[str]:
    """Write the answer for people; ``as_of`` is the entry to whose makers it was so."""
    width = min(max(width, 60), _WIDEST)
    lines = _as_of(as_of, width)
    lines += [line for text in headline(answer) for line in _wrap(text, width)]
    lines.append("")
    lines += [line for text in rests_on(answer) for line in _wrap(text, width)]
    what = "What the model says, not to be loaded by" if answer.withheld else "Per number of units"
    lines += _titled(what, _table(CHOICE_HEAD, choice_rows(answer, _AROUND), width))
    if not answer.withheld:
        lines += _titled("What would change it", _table(WHAT_IF_HEAD, what_if_rows(answer), width))
        lines += _wrapped([WHAT_IF_SAYS], width)
    chosen = answer.choice(answer.most)
    shown = chosen if chosen is not None else answer.choices[0] if answer.choices else None
    if shown is not None:
        said = [_bind_text(bind) for bind in shown.binds]
        lines += _titled(f"What else binds with {units_word(shown.units)}", _wrapped(said, width))
    lines += _titled("Give up", _wrapped([_abort_text(answer)], width))
    lines += _titled("Score", _wrapped(score_texts(answer), width))
    lines += _titled(
        "Before any flight, and after them", _table(EFFECT_HEAD, effect_rows(answer), width)
    )
    lines += _titled(
        "Nothing was learnt from", _wrapped([f"{o.name}: {o.why}" for o in answer.left_out], width)
    )
    lines.append("")
    for text in (CAUTION, RECORD, PEOPLE):
        lines += _wrap(text, width)
    return [plain(line) for line in lines]


def _bind_text(bind: Bind) -> str:
    word = bind.word.upper() if bind.word == FAILS else bind.word
    return f"{bind.name}: {word}: {bind.says}"


def _abort_text(answer: LoadAnswer) -> str:
    if answer.abort_m is None:
        return f"No point is named: {answer.no_abort}"
    return f"When it is not airborne {abort_m(answer)} from the start line."


def withheld_lines(
    error: FlightlogError, *, width: int = 80, as_of: Entry | None = None
) -> list[str]:
    """Write that nothing can be said, why, and what would change that."""
    width = min(max(width, 60), _WIDEST)
    lines = _as_of(as_of, width)
    lines += _wrap(f"No number is given: {error.sentence()}", width)
    return [*lines, "", *_wrap(CAUTION, width)]


def _as_of(entry: Entry | None, width: int) -> list[str]:
    return [*_wrap(as_of_text(entry), width), ""] if entry is not None else []


def _titled(title: str, lines: Sequence[str]) -> list[str]:
    return ["", title, *lines] if lines else []


def _wrapped(texts: Iterable[str], width: int) -> list[str]:
    return [line for text in texts for line in _wrap(text, width, _INDENT, _INDENT * 2)]


def _wrap(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text), width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Write a table; the first column to the left where it holds words, numbers to the right."""
    cells = [tuple(map(plain, row)) for row in (head, *rows)]
    widths = [max(len(row[n]) for row in cells) for n in range(len(head))]
    words = {n for n in range(len(head)) if any(_is_word(row[n]) for row in rows)}
    lines = []
    for row in cells:
        padded = [
            cell.ljust(widths[n]) if n in words else cell.rjust(widths[n])
            for n, cell in enumerate(row)
        ]
        lines.append((_INDENT + "  ".join(padded)).rstrip())
    return lines


def _is_word(cell: str) -> bool:
    return len(cell) > 1 and cell[0].isalpha() and cell not in ("none",) and "99.9" not in cell
