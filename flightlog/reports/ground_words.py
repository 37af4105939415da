"""A ground test in words: the answer first, then how sure it is, then what it rests on."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence

from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import Cell, GroundAnswer, GroundFigure, ResultTable
from flightlog.operations.ground_baseline import FOUND, Against
from flightlog.operations.ground_test import GroundTest
from flightlog.operations.positions import named
from flightlog.reports.cautions import DISCHARGING, LOADS, PROPELLER, STAND
from flightlog.reports.numbers import digits, span, with_unit
from flightlog.reports.plain import plain
from flightlog.reports.strip import DRAWN, Look
from flightlog.reports.words import (
    TEXT_LIMIT,
    finding_lines,
    legend_lines,
    most_severe_first,
    outcome_lines,
)
from flightlog.rules.outcomes import WORST_FIRST

WHAT_IT_IS = (
    "This says what was measured on the ground, not that anything is safe or fit to fly. The rule "
    "book in force and the persons who release the aircraft decide."
)
CAUTIONS_OF: Mapping[str, str] = {
    "thrust": STAND,
    "discharge": DISCHARGING,
    "ringdown": LOADS,
    "stiffness": LOADS,
    "weighing": PROPELLER,
    "linkage": PROPELLER,
}
"""Kind of test -> what can hurt people in it."""
FIRST_SAID: Mapping[str, tuple[str, ...]] = {
    "thrust": ("thrust.greatest", "thrust.per_watt", "thrust.figure_of_merit"),
    "discharge": ("discharge.capacity", "discharge.energy", "discharge.resistance"),
    "ringdown": ("ringdown.first.frequency", "ringdown.first.damping"),
    "stiffness": ("stiffness.stiffness", "stiffness.set"),
    "weighing": ("weighing.mass", "weighing.balance", "weighing.arm"),
}
"""Kind of test -> the figures that answer its question, if they stand."""

NOTHING_COMMON = "The two tests have no figure in common."

_BEFORE_ALL = ("structure-changed",)
_WIDEST, _NARROWEST = 100, 50
_INDENT = "  "
_MOST_ROWS = 24
_MOST_SAID = 3


def ground_lines(
    test: GroundTest,
    against: Against | None = None,
    *,
    width: int = 80,
    look: Look = DRAWN,
    tables: bool = False,
) -> list[str]:
    """Write a ground test for people.

    Parameters
    ----------
    test : GroundTest
        As it was reduced.
    against : Against, optional
        The earlier test that it was compared with.
    width : int
        Characters of a line.
    look : Look
        Characters of the strips.
    tables : bool
        Whether all tables are written in full; else the first one, as far as the width takes it.

    Returns
    -------
    list of str
        Lines without control codes.
    """
    width = min(max(width, _NARROWEST), _WIDEST)
    answer = test.answer
    lines = [*_wrap(ground_headline(test), width), "", *_wrap(about(test), width)]
    lines += outcome_lines(test.outcomes, width, look)
    if any(outcome.quantity is not None for outcome in test.outcomes):
        lines += legend_lines(width, look)
    if answer.findings:
        lines += ["", "Findings", *finding_lines(in_reading_order(answer.findings), width)]
    if answer.figures:
        lines += ["", "Figures, each with its 95 % interval"]
        for figure in answer.figures.values():
            lines += _figure(figure, width)
    if against is not None:
        lines += ["", *_wrap(against_title(against), width)]
        for text in against_texts(against):
            lines += _wrap(text, width, _INDENT, _INDENT * 2)
    if answer.withheld:
        lines += ["", "Withheld"]
        for text in withheld_lines(answer):
            lines += _wrap(text, width, _INDENT, _INDENT * 2)
    lines += _tables(answer.tables, width, whole=tables)
    if own := file_lines(answer):
        lines += ["", "For the file of the team:", *(_INDENT + line for line in own)]
    caution = CAUTIONS_OF.get(test.kind.word, "")
    lines += ["", *_wrap(f"{WHAT_IT_IS} {caution}".strip(), width)]
    return [plain(line) for line in lines]


def _wrap(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text), width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )


def in_reading_order(findings: Iterable[Finding]) -> list[Finding]:
    """Order findings as they are read: what must be looked at before anything flies first."""
    return sorted(most_severe_first(findings), key=lambda f: f.code not in _BEFORE_ALL)


def ground_headline(test: GroundTest) -> str:
    """Say in one sentence what the test gave, and the worst of its outcomes."""
    figures = test.answer.figures
    wanted = [id_ for id_ in FIRST_SAID.get(test.kind.word, ()) if id_ in figures]
    said = wanted or list(figures)[:_MOST_SAID]
    label = test.kind.label
    if not said:
        return f"{label}: no figure stands; what is withheld says why."
    told = ", ".join(figure_text(figures[id_]) for id_ in said)
    worst = min((o.outcome for o in test.outcomes), key=WORST_FIRST.index, default="")
    limits = {
        "": "",
        "met": " All limits are met.",
        "not met": " A limit is NOT met.",
        "not shown": " That all limits are met is not shown.",
        "not assessable": " Not all limits can be assessed.",
    }[worst]
    changed = any(finding.code == "structure-changed" for finding in test.answer.findings)
    moved = " The structure is NOT what it was." if changed else ""
    return f"{label}: {told}.{limits}{moved}"


def against_title(against: Against) -> str:
    """Name the earlier test that a test is compared with."""
    which = "named" if against.named else "the first of the same thing and part"
    return f"Against {named(against.entry)} of {against.when:%Y-%m-%d} ({which})"


def against_texts(against: Against) -> tuple[str, ...]:
    """Say what moved since the earlier test; what is a finding stands there."""
    told = tuple(one.text for one in against.moved if one.verdict not in FOUND)
    if against.moved or against.findings:
        return told or ("What is to be said of it stands with the findings.",)
    return (NOTHING_COMMON,)


def about(test: GroundTest) -> str:
    """Say what was tested, with what, and which files it came from."""
    parts = [f"{plain(f.name, 60)} (SHA-256 {f.sha256[:12]})" for f in test.files]
    bench = test.bench
    if bench is not None:
        thing, id_ = bench.subject.named
        told = (
            f"{thing} {id_}" if thing else "",
            bench.subject.part,
            bench.subject.configuration,
            f"bench file {bench.id}",
            bench.instrument,
        )
        parts = [*(plain(text, 80) for text in told if text), *parts]
    return "; ".join(parts)


def figure_text(figure: GroundFigure) -> str:
    """Write a figure as a clause: "thrust 33.0 N (32.4 to 33.6)"."""
    kind = GROUND_FIGURES[figure.id]
    value = with_unit(digits(figure.quantity.value, kind.decimals), kind.unit)
    interval = span(figure.quantity, kind.decimals)
    return f"{kind.label.lower().replace(': ', ' ')} {value}" + (
        f" ({interval})" if interval else ""
    )


def figure_cells(figure: GroundFigure) -> tuple[str, str, str]:
    """Give label, value with its unit, and interval of a figure, for a table."""
    kind = GROUND_FIGURES[figure.id]
    value = with_unit(digits(figure.quantity.value, kind.decimals), kind.unit)
    return kind.label, value, span(figure.quantity, kind.decimals) or "exact"


def _figure(figure: GroundFigure, width: int) -> list[str]:
    kind = GROUND_FIGURES[figure.id]
    value = digits(figure.quantity.value, kind.decimals)
    interval = span(figure.quantity, kind.decimals) or "exact"
    label = f"{_INDENT}{kind.label:<37} "
    line = f"{label}{value:>9} {kind.unit:<7} {interval}".rstrip()
    if len(line) <= width:
        return [line]
    text = f"{kind.label} {with_unit(value, kind.unit)} ({interval})"
    return _wrap(text, width, _INDENT, _INDENT * 2)


def withheld_lines(answer: GroundAnswer) -> Iterator[str]:
    """Say what is withheld and why; figures with one reason together."""
    together: dict[str, list[str]] = {}
    for id_, reason in answer.withheld.items():
        together.setdefault(plain(reason, TEXT_LIMIT), []).append(GROUND_FIGURES[id_].label)
    for reason, labels in together.items():
        yield f"{', '.join(labels)}: {reason}"


def file_lines(answer: GroundAnswer) -> tuple[str, ...]:
    """Give the lines that a test gives for a file of the team; none where it gives none."""
    return tuple(getattr(answer.detail, "file_lines", ()))


# --- tables


def cell_text(cell: Cell, decimals: int) -> str:
    """Write one cell of a table of results."""
    if cell is None:
        return "-"
    if isinstance(cell, float):
        return digits(cell, decimals)
    return plain(str(cell), 40)


def table_texts(table: ResultTable) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Give head and rows of a table of results as texts, units in the head.

    A column that holds nothing is left out, and so is a word that all of several rows share.
    """
    kept = [i for i in range(len(table.columns)) if _tells([row[i] for row in table.rows])]
    columns = [table.columns[i] for i in kept]
    head = tuple(f"{c.label} {c.unit}".strip() for c in columns)
    rows = [
        tuple(cell_text(row[i], c.decimals) for i, c in zip(kept, columns, strict=True))
        for row in table.rows
    ]
    return head, rows


def _tells(cells: Sequence[Cell]) -> bool:
    words = {cell for cell in cells if isinstance(cell, str)}
    if len(words) == 1 and len(cells) > 1 and all(isinstance(cell, str) for cell in cells):
        return False
    return any(cell is not None for cell in cells)


def _tables(tables: Sequence[ResultTable], width: int, *, whole: bool) -> list[str]:
    filled = [table for table in tables if table.rows]
    if whole:
        return [line for table in filled for line in _table(table, width, whole=True)]
    lines = [line for table in filled[:1] for line in _table(table, width, whole=False)]
    if filled:
        more = f", and {len(filled) - 1} more" if len(filled) > 1 else ""
        lines += _wrap(f"All of it{more}: --tables.", width, _INDENT)
    return lines


def _table(table: ResultTable, width: int, *, whole: bool) -> list[str]:
    """Write a table; columns that the width does not take follow below, or are left out."""
    head, rows = table_texts(table)
    shown = rows if whole else rows[:_MOST_ROWS]
    wide = [max(len(head[i]), *(len(row[i]) for row in shown)) + 2 for i in range(len(head))]
    lines = ["", table.title]
    left = list(range(1, len(wide)))
    while True:
        taken, room = [0], width - wide[0]
        while left and (wide[left[0]] <= room or len(taken) == 1):
            room -= wide[left[0]]
            taken.append(left.pop(0))
        lines += [_row([row[i] for i in taken], [wide[i] for i in taken]) for row in (head, *shown)]
        if not left or not whole:
            return lines
        lines.append("")


def _row(cells: Sequence[str], wide: Sequence[int]) -> str:
    return "".join(f"{cell:>{w}}" for cell, w in zip(cells, wide, strict=True)).rstrip()
