"""The sheet of a ground test: one page, with and without a record."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import ResultColumn, ResultTable
from flightlog.operations.ground_entry import ground_draft, prepared
from flightlog.operations.positions import heads_of, named
from flightlog.reports.ground_sheet import ground_sheet
from flightlog.reports.sheet_content import cut
from flightlog.reports.sheet_html import sheet_html
from flightlog.reports.sheet_pdf import sheet_pdf
from tests.groundtests.made_answer import bench_file, ground_test
from tests.operations.conftest import farm, farm_place
from tests.operations.loads import signer

__all__ = ["farm", "farm_place"]  # fixtures
NOON = datetime(2027, 3, 15, 12, 0, tzinfo=UTC)


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def test_without_a_record_it_names_no_head_and_says_so(tmp_path):
    test = ground_test(tmp_path, bench=bench_file(tmp_path))
    text = sheet_html(ground_sheet(test, made=NOON))

    assert "Not entered in a record" in text
    assert "Head of the record" not in text
    assert "6.520 Hz" in text
    assert test.files[0].sha256[:16] in text
    assert 1 == pages(sheet_pdf(ground_sheet(test, made=NOON)))


def test_in_a_record_it_names_entry_signatures_and_head(farm, tmp_path):
    test = ground_test(tmp_path, bench=bench_file(tmp_path))
    made = prepared(farm.desk, test)
    entry = farm.sign(ground_draft(farm.desk, made, [signer()]), "mechanic")

    content = ground_sheet(made.test, made=NOON, desk=farm.desk, entry=entry)
    text = sheet_html(content)

    assert heads_of(farm.desk.ledger) == content.heads
    assert named(entry) in text
    assert "performed as engineer by mechanic" in text
    assert "PN-01" in text


def test_a_table_of_forty_columns_is_cut_to_the_paper(tmp_path):
    test = ground_test(tmp_path, bench=bench_file(tmp_path))
    columns = [ResultColumn(f"c{n}_n", f"Column {n}", "N") for n in range(40)]
    table = ResultTable("wide", "Wide", columns, [[1000.0 + n for n in range(40)]] * 60)
    wide = replace(test, answer=replace(test.answer, tables=(table,)))

    content = ground_sheet(wide, made=NOON)

    assert "more columns with --tables" in sheet_html(content)
    assert 1 == pages(sheet_pdf(content))


def test_what_to_do_about_several_findings_of_a_kind_stands_once(tmp_path):
    told = [ground_finding("structure-shifted", f"Figure {n} rose.") for n in range(3)]
    test = ground_test(tmp_path, findings=told, bench=bench_file(tmp_path))
    text = sheet_html(ground_sheet(test, made=NOON))

    assert all(f"Figure {n} rose" in text for n in range(3))
    assert 1 == text.count("Find what was different")


def test_all_figures_stand_on_paper_however_much_is_told_besides(tmp_path):
    names = ("first", "second", "third")
    figures = {
        f"ringdown.{name}.{f}": (5.0, 0.1) for name in names for f in ("frequency", "damping")
    }
    told = [ground_finding("structure-shifted", "Moved a little. " * 30) for _ in range(12)]
    test = ground_test(tmp_path, figures, findings=told, bench=bench_file(tmp_path))

    content = ground_sheet(test, made=NOON)

    (part,) = content.parts
    blocks = [b for band in cut(part, 0.05) for column in band.columns for b in column]
    (table,) = [b for b in blocks if b.title == "Figures"]
    assert (6, 0) == (len(table.rows), table.more)
    assert 1 == pages(sheet_pdf(content))
