"""The sheet of a ground test: one page, with the record that it stands in or without one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from flightlog.groundtests.answer import ResultTable
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.ground_baseline import Against
from flightlog.operations.ground_subject import said_of
from flightlog.operations.ground_test import GroundTest
from flightlog.operations.positions import heads_of, named
from flightlog.reports.cautions import RECORD
from flightlog.reports.chart import Chart
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.ground_blocks import (
    figures_block,
    file_block,
    findings_block,
    strips_block,
    table_blocks,
    withheld_block,
)
from flightlog.reports.ground_charts import charts_of
from flightlog.reports.ground_words import (
    CAUTIONS_OF,
    WHAT_IT_IS,
    against_texts,
    against_title,
    ground_headline,
    table_texts,
)
from flightlog.reports.release_words import signature_lines
from flightlog.reports.sheet_content import (
    Band,
    Block,
    Facts,
    Picture,
    SheetContent,
    Words,
    beside,
    wide,
)

NO_RECORD = "Not entered in a record"
_CHART, _ROOM, _HIGHEST = 400.0, 250.0, 360.0
"""Size of a chart, in its own units; it is half a page wide."""
_MOST_AGAINST, _MOST_FILES = 8, 6
_BESIDE = 20
"""So many figures take no more room than the chart beside them, and are never cut."""
_LINE, _BETWEEN = 108, 3
"""Characters that a row of a table on paper takes, and those between two columns."""
_HASH_DIGITS = 16


def ground_sheet(
    test: GroundTest,
    against: Against | None = None,
    *,
    made: datetime,
    desk: Desk | None = None,
    entry: Entry | None = None,
) -> SheetContent:
    """Give the sheet of a ground test.

    Parameters
    ----------
    test : GroundTest
        As it was reduced.
    against : Against, optional
        The earlier test that it was compared with.
    made : datetime
        When the sheet is made (aware).
    desk : Desk, optional
        The record; None without one.
    entry : Entry, optional
        Where the test stands in it; None where it was not entered.
    """
    bench = test.bench
    title = bench.title if bench is not None and bench.title else test.kind.label
    return SheetContent(
        title=title,
        subtitle=", ".join(filter(None, (test.kind.label, _subject(test, entry)))),
        team=desk.folder.name if desk is not None else NO_RECORD,
        headline=ground_headline(test),
        top=(_facts(test, entry),),
        parts=(tuple(_bands(test, against, desk, entry)),),
        notes=(f"{WHAT_IT_IS} {CAUTIONS_OF.get(test.kind.word, '')}".strip(), RECORD),
        heads=heads_of(desk.ledger) if desk is not None else (),
        made=made,
        one_page_each=True,
    )


def _subject(test: GroundTest, entry: Entry | None) -> str:
    if entry is not None:
        return said_of(entry).text
    if test.bench is None:
        return "nobody says what was tested"
    subject = test.bench.subject
    thing, id_ = subject.named
    told = (f"{thing} {id_}".strip(), subject.part, subject.configuration)
    return ", ".join(filter(None, told)) or "nobody says what was tested"


def _facts(test: GroundTest, entry: Entry | None) -> Facts:
    rows = [("question", test.kind.answers)]
    if test.bench is not None:
        bench = test.bench
        if bench.instrument:
            rows.append(("instrument", bench.instrument))
        rows.append(("bench file", f"{bench.id}, SHA-256 {bench.sha256[:_HASH_DIGITS]}…"))
    shown = test.files[:_MOST_FILES]
    rows += [("file", f"{f.name}, SHA-256 {f.sha256[:_HASH_DIGITS]}…") for f in shown]
    if len(test.files) > len(shown):
        rows.append(("files", f"and {len(test.files) - len(shown)} more"))
    rows.append(("entry", named(entry) if entry is not None else "none: it was not entered"))
    return Facts("", tuple(rows))


def _bands(
    test: GroundTest, against: Against | None, desk: Desk | None, entry: Entry | None
) -> Iterator[Band]:
    answer = test.answer
    if test.outcomes:
        yield wide(strips_block(test))
    figures = figures_block(answer)
    if len(figures.rows) <= _BESIDE:
        figures = replace(figures, most=0)
    left: list[Block] = [figures]
    if answer.withheld:
        left.append(withheld_block(answer))
    right: list[Block] = [_picture(chart) for chart in charts_of(test.kind.word, answer)]
    if against is not None:  # on the left, where there is room beside a chart
        left.append(Words(against_title(against), against_texts(against), most=_MOST_AGAINST))
    if not right:
        right = [Picture("Chart", "", "This test has nothing to draw.")]
    yield beside(left, right)
    if answer.findings:
        yield wide(findings_block(answer.findings))
    for table in table_blocks(tuple(map(_fitting, answer.tables[:1]))):
        yield wide(table)
    if file_block(answer).lines:
        yield wide(file_block(answer))
    if desk is not None and entry is not None:
        lines = tuple(signature_lines(desk, entry))
        yield wide(Words(f"Signed, {named(entry)}", lines, "Nobody signed it."))


def _fitting(table: ResultTable) -> ResultTable:
    """Give the columns that the width of paper takes, those of uncertainties last."""
    order = sorted(range(len(table.columns)), key=lambda i: ("_std" in table.columns[i].key, i))
    kept, room = [], _LINE
    for i in order:
        one = ResultTable("", "", (table.columns[i],), [(row[i],) for row in table.rows])
        head, rows = table_texts(one)
        # A head breaks between its words, a number does not.
        words = head[0].split() if head else []
        wide_ = max((*map(len, words), *(len(row[0]) for row in rows if row)), default=0)
        if wide_ + _BETWEEN > room:
            break
        room -= wide_ + _BETWEEN
        kept.append(i)
    kept.sort()
    rest = len(table.columns) - len(kept)
    title = f"{table.title} ({rest} more columns with --tables)" if rest else table.title
    return ResultTable(
        table.key,
        title,
        [table.columns[i] for i in kept],
        [[row[i] for i in kept] for row in table.rows],
    )


def _picture(chart: Chart) -> Picture:
    if chart.lacking:
        return Picture(chart.title, "", chart.lacking)
    high = min(_ROOM + 60.0 * max(0, len(chart.panels) - 2), _HIGHEST)
    return Picture(chart.title, chart_svg(chart, _CHART, high))
