"""What the dropped files of a ground test give: the answer, what it rests on, its sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import streamlit as st

from flightlog.dashboard import ground_drop, parts, sheet_parts
from flightlog.dashboard.ground_drop import Reduced
from flightlog.dashboard.plots import figure_of
from flightlog.dashboard.views import Picture
from flightlog.errors import FlightlogError
from flightlog.findings import Finding
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.operations.desk import Desk
from flightlog.operations.first_bench import first_bench_text
from flightlog.operations.ground_entry import Prepared, prepared
from flightlog.operations.ground_json import ground_text
from flightlog.operations.ground_test import GroundTest
from flightlog.reports.ground_blocks import (
    against_block,
    columns_block,
    figures_block,
    file_block,
    findings_block,
    method_block,
    strips_block,
    withheld_block,
)
from flightlog.reports.ground_charts import charts_of
from flightlog.reports.ground_sheet import ground_sheet
from flightlog.reports.ground_words import (
    CAUTIONS_OF,
    WHAT_IT_IS,
    about,
    ground_headline,
    table_texts,
)
from flightlog.reports.markup import escaped
from flightlog.reports.sheet_content import Block, Words
from flightlog.reports.sheet_pdf import sheet_pdf

_DRAWN = "ground-drawn"
_BENCH = "ground-first-bench"
_OF = "ground-subject"
_MOST_ROWS = 120


@dataclass(frozen=True, slots=True)
class Seen:
    """What came of the files, beside what the record holds.

    Attributes
    ----------
    reduced : Reduced
        What lies there, and what it gave.
    made : Prepared or None
        What could be entered; None where nobody knows of what it is, or it was refused.
    """

    reduced: Reduced
    made: Prepared | None

    @property
    def test(self) -> GroundTest | None:
        """The test, with what the comparison found; None where the files were refused."""
        return self.made.test if self.made is not None else self.reduced.test


def look(desk: Desk, reduced: Reduced) -> Seen:
    """Draw what is asked about the files, and put them beside the record."""
    _first_bench(reduced)
    if st.button("Put these files away", key="ground-away", width="stretch"):
        ground_drop.give_back()
        st.rerun()
    test = reduced.test
    if test is None:
        return Seen(reduced, None)
    told: dict[str, str] = {}
    if test.bench is None or not test.bench.subject.named[0]:
        chosen = _of(desk, test)
        if chosen is None:
            return Seen(reduced, None)
        told = dict([chosen])
    try:
        return Seen(reduced, prepared(desk, test, told))
    except FlightlogError as error:
        parts.warn(f"It can't be entered: {reduced.lying.shelf.without_place(error.sentence())}")
        return Seen(reduced, None)


def _of(desk: Desk, test: GroundTest) -> tuple[str, str] | None:
    """Ask what was tested, of what the record holds; None until that is answered."""
    known = [(thing, id_) for thing in test.kind.things for id_ in desk.versions.ids(thing)]
    if not known:
        kinds = " or ".join(test.kind.things)
        parts.note(f"The record holds no file of any {kinds}, so that nothing can be entered.")
        return None
    return st.selectbox(
        "What was tested?",
        known,
        index=None,
        format_func=lambda one: parts.option(" ".join(one)),
        placeholder="Choose, to compare and to enter it",
        key=f"{_OF}-{test.kind.word}",
    )


def _first_bench(reduced: Reduced) -> None:
    """Offer a bench file to begin with, where there is none but a file of numbers."""
    if not reduced.word or reduced.lying.benches or not reduced.lying.files:
        return
    path = reduced.lying.files[0]
    kept = cast(tuple[object, str] | None, st.session_state.get(_BENCH))
    if kept is None or kept[0] != reduced.key:
        try:
            kept = (reduced.key, first_bench_text(reduced.word, path))
        except FlightlogError:
            kept = (reduced.key, "")  # what is at fault in the file is told beside
        st.session_state[_BENCH] = kept
    if not kept[1]:
        return
    name = f"{path.stem or reduced.word}.toml"
    parts.download(
        st.container(), "A first bench file for these (TOML)", kept[1], name, key="ground-bench"
    )
    parts.note("It states what stood on the bench. Fill it in, and drop it beside them.")


# --- the answer


def answer(seen: Seen) -> None:
    """Draw the answer: the sentence, the limits, what was found, the figures."""
    test = seen.test
    if test is None:
        word = seen.reduced.word
        parts.heading(GROUND_KINDS[word].label if word in GROUND_KINDS else "Ground test")
        parts.warn(seen.reduced.fault)
        return
    parts.html(f'<p class="headline fl-answer">{escaped(ground_headline(test))}</p>')
    grave = [f for f in test.answer.findings if _is_grave(seen, f)]
    if test.outcomes:
        sheet_parts.blocks(strips_block(test))
    if grave:
        sheet_parts.blocks(findings_block(grave))
    shown = figures_block if test.answer.figures else withheld_block
    sheet_parts.blocks(shown(test.answer))


def _is_grave(seen: Seen, finding: Finding) -> bool:
    """Whether a finding stands with the answer: it spoils a figure, or says what has moved."""
    against = seen.made.against if seen.made is not None else None
    return finding.severity != "note" or (against is not None and finding in against.findings)


def details(desk: Desk, seen: Seen) -> None:
    """Draw what the answer rests on: charts, tables, methods."""
    test = seen.test
    if test is None:
        return
    _charts(seen.reduced, test)
    _downloads(desk, seen, test)
    with st.expander("Tables, columns and methods", key="ground-tables"):
        _tables(seen, test)
    parts.html(
        f'<div class="fl-caution"><p>{escaped(WHAT_IT_IS)}</p>'
        f"<p>{escaped(CAUTIONS_OF.get(test.kind.word, ''))}</p></div>"
    )


def beside(seen: Seen) -> None:
    """Draw what stands beside the answer: the earlier test, and what is withheld."""
    test = seen.test
    if test is None:
        return
    parts.html(sheet_parts.STYLE)
    sheet_parts.blocks(_against(seen))
    if test.answer.figures:  # else it is the answer
        sheet_parts.blocks(withheld_block(test.answer))


def _against(seen: Seen) -> Block:
    if seen.made is not None and seen.made.against is not None:
        return against_block(seen.made.against)
    if seen.made is None:
        text = "It is compared as soon as it is known what was tested."
    else:
        text = f"No earlier test of {seen.made.subject.text} counts: this one is the first."
    return Words("Against the baseline", (text,))


def _charts(reduced: Reduced, test: GroundTest) -> None:
    kept = cast(tuple[object, list[Picture]] | None, st.session_state.get(_DRAWN))
    if kept is None or kept[0] != reduced.key:
        charts = charts_of(test.kind.word, test.answer)
        drawn = [Picture(one, None if one.lacking else figure_of(one)) for one in charts]
        kept = (reduced.key, drawn)
        st.session_state[_DRAWN] = kept
    for one in kept[1]:
        sheet_parts.chart(one.chart, one.figure, f"ground-plot-{one.chart.id}")


def _tables(seen: Seen, test: GroundTest) -> None:
    parts.html(f"<p>{escaped(about(test))}</p>")
    notes = [f for f in test.answer.findings if not _is_grave(seen, f)]
    if notes:
        sheet_parts.blocks(findings_block(notes))
    own = file_block(test.answer)
    if own.lines:
        sheet_parts.blocks(own)
    for table in test.answer.tables:
        head, rows = table_texts(table)
        parts.heading(table.title)
        parts.table(head, rows[:_MOST_ROWS])
        if len(rows) > _MOST_ROWS:
            parts.note(f"{len(rows) - _MOST_ROWS} more rows stand in the JSON.")
    sheet_parts.blocks(method_block(test.answer), columns_block(test))


def _downloads(desk: Desk, seen: Seen, test: GroundTest) -> None:
    now = desk.ledger.now
    against = seen.made.against if seen.made is not None else None
    name = test.bench.id if test.bench is not None else test.files[0].path.stem or test.kind.word
    left, right, _ = st.columns([1, 1, 2])
    parts.download(
        left,
        "The sheet for paper (PDF)",
        lambda: sheet_pdf(ground_sheet(test, against, made=now, desk=desk)),
        f"{name}.pdf",
        key="ground-sheet",
    )
    parts.download(
        right,
        "All numbers (JSON)",
        lambda: ground_text(test, against),
        f"{name}.json",
        key="ground-json",
    )
