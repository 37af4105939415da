"""A ground test as blocks, for its sheet and its page: limits, findings, figures, tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from flightlog.contract import outcome_json, plain_json
from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import GroundAnswer, ResultTable
from flightlog.operations.ground_baseline import Against
from flightlog.operations.ground_test import GroundTest
from flightlog.reports.ground_words import (
    against_texts,
    against_title,
    figure_cells,
    file_lines,
    in_reading_order,
    table_texts,
    withheld_lines,
)
from flightlog.reports.numbers import bound_text, digits, span
from flightlog.reports.sheet_content import Strip, Strips, Table, Words
from flightlog.reports.stored_words import in_order, outcome_chance, outcome_source
from flightlog.reports.strip_svg import strip_svg
from flightlog.reports.words import judged_value
from flightlog.rules.outcomes import Outcome

LEGEND = (
    "Line: allowed; broken line: beyond the bound; tick: the bound; diamond: the figure; bar: its "
    "one-sided limits at the required probability p."
)
_STRIP = 300
_MOST_STRIPS, _MOST_FOUND, _MOST_FIGURES, _MOST_WITHHELD, _MOST_ROWS = 10, 10, 30, 12, 24


def strips_block(test: GroundTest, width: float = _STRIP) -> Strips:
    """Give the limits of the bench file as strips, the worst first."""
    pairs = [(plain_json(outcome_json(outcome)), outcome) for outcome in test.outcomes]
    outcomes = {id(body): outcome for body, outcome in pairs}
    rows = tuple(
        Strip(
            outcomes[id(body)].outcome,
            _judged(outcomes[id(body)]),
            outcome_source(body),
            outcome_chance(body),
            strip_svg(body, width),
        )
        for body in in_order([body for body, _ in pairs])
    )
    drawn = any(outcome.quantity is not None for outcome in test.outcomes)
    none = "No limit was given: [limits] of a bench file names some."
    return Strips("Limits", rows, LEGEND if drawn else "", none, _MOST_STRIPS)


def _judged(outcome: Outcome) -> str:
    kind = GROUND_FIGURES[outcome.figure]
    interval = span(outcome.quantity, kind.decimals) if outcome.quantity is not None else ""
    said = f"{kind.label} {judged_value(outcome)}{f' ({interval})' if interval else ''}"
    return f"{said}, {bound_text(outcome.bound)}"


def findings_block(findings: Iterable[Finding], none: str = "None.") -> Table:
    """Give findings, the most severe first; what to do about a kind stands with its first."""
    ordered = in_reading_order(findings)
    told: set[str] = set()
    rows = []
    for finding in ordered:
        rows.append((finding.severity, _found(finding, remedy=finding.code not in told)))
        told.add(finding.code)
    head = ("severity", "what")
    return Table("Findings", head, tuple(rows), (0, 1), states=(0,), none=none, most=_MOST_FOUND)


def _found(finding: Finding, *, remedy: bool) -> str:
    when = f"at {digits(finding.start_s, 1)} s: " if finding.start_s is not None else ""
    to_do = f" {finding.remedy}" if remedy and finding.remedy else ""
    return f"{when}{finding.message.rstrip('.')} [{finding.code}].{to_do}"


def figures_block(answer: GroundAnswer) -> Table:
    """Give all figures that stand, each with its interval."""
    return Table(
        "Figures",
        ("figure", "value", "95 % interval"),
        tuple(figure_cells(figure) for figure in answer.figures.values()),
        (1, 0, 0),
        (1, 2),
        none="No figure stands.",
        most=_MOST_FIGURES,
    )


def withheld_block(answer: GroundAnswer) -> Words:
    """Say what is withheld and what would unlock it."""
    return Words("Withheld figures", tuple(withheld_lines(answer)), "None.", _MOST_WITHHELD)


def against_block(against: Against) -> Words:
    """Say what moved since the earlier test, but for what stands with the findings."""
    return Words(against_title(against), against_texts(against))


def table_blocks(tables: Sequence[ResultTable]) -> tuple[Table, ...]:
    """Give the tables of details."""
    return tuple(_table(table) for table in tables if table.rows)


def _table(table: ResultTable) -> Table:
    head, rows = table_texts(table)
    numbers = tuple(
        n
        for n in range(len(head))
        if all(row[n] is None or isinstance(row[n], int | float) for row in table.rows)
    )
    return Table(table.title, head, tuple(rows), tuple(0.0 for _ in head), numbers, most=_MOST_ROWS)


def file_block(answer: GroundAnswer) -> Words:
    """Give the lines that a test gives for a file of the team."""
    return Words("For the file of the team", file_lines(answer))


def method_block(answer: GroundAnswer) -> Table:
    """Say how each figure was had."""
    rows = tuple(
        (GROUND_FIGURES[figure.id].label, figure.method) for figure in answer.figures.values()
    )
    return Table("How they were had", ("figure", "how"), rows, (0, 1), none="No figure stands.")


def columns_block(test: GroundTest) -> Table:
    """Say which columns the numbers came from."""
    rows = tuple(
        (file.name, name, header, unit) for file in test.files for name, header, unit in file.taken
    )
    head = ("file", "column", "header", "unit")
    return Table("Columns read", head, rows, (0, 0, 1, 0), none="No column was named.")
