"""The PDF: whatever a text holds is set as text, and nothing else is read."""

from __future__ import annotations

from datetime import timedelta

import pytest
import typst

from flightlog.reports.sheet_content import (
    Facts,
    Form,
    FormItem,
    Notice,
    Picture,
    Table,
    Words,
    wide,
)
from flightlog.reports.sheet_pdf import _files, printed, sheet_pdf
from tests.reports.sheets import HEAD, MADE, pages_of, sheet, table, text_of

HOSTILE = (
    '#import "@preview/cetz:0.3.4": *',
    '#read("content.json")',
    "*bold* _slanted_ `raw` $x^2$ = heading",
    "] ) } \\ \\u{1F600} // comment /* more",
    "<label> @reference 'quoted' \"twice\" -- --- ...",
    "#panic()",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_a_text_that_looks_like_source_is_set_as_it_is(text):
    block = Table("Of it", ("a", "b"), (("1", text),))
    pdf = sheet_pdf(sheet(Words("", (text,)), block, Facts("", (("name", text),)), title=text))

    assert text_of(pdf).count(text) >= 4  # in the footer too


def test_hidden_signs_show_themselves_and_none_is_an_empty_box():
    assert "a<U+202E>b" == printed("a\u202eb")
    assert "<U+0007>" == printed("\x07")
    assert "<U+4E2D>" == printed("\u4e2d")
    assert "Grüße ± ≤ ° ● ◐ ○ ◆ Ω Привет" == printed("Grüße ± ≤ ° ● ◐ ○ ◆ Ω Привет")
    assert "two\nlines" == printed("two\nlines")

    assert "left<U+202E>right <U+4E2D>" in text_of(sheet_pdf(sheet(headline="left\u202eright 中")))


def test_no_other_file_is_read(tmp_path, monkeypatch):
    (tmp_path / "picture-9.svg").write_text("<svg/>", encoding="utf-8")
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    files = _files(sheet(), [0]) | {"main.typ": b'#read("secret.txt")'}

    monkeypatch.setattr("flightlog.reports.sheet_pdf._files", lambda *_: files)
    with pytest.raises(typst.TypstError, match="not found"):
        sheet_pdf(sheet())


def test_the_same_record_gives_the_same_bytes():
    first, second = sheet_pdf(sheet(table(5))), sheet_pdf(sheet(table(5)))

    assert first == second
    assert first != sheet_pdf(sheet(table(5), made=MADE + timedelta(days=1)))
    assert b"20270406150000" in first


def test_a_part_is_cut_down_to_its_page_and_says_what_is_missing():
    parts = ((wide(table(300, 300)),), (wide(table(3), table(200, 200)),))
    pages = pages_of(sheet_pdf(sheet(parts=parts, one_page_each=True)))

    assert 2 == len(pages)
    for page, count in zip(pages, (300, 200), strict=True):
        more = int(page.partition(" more, see the record")[0].rpartition("and ")[2])
        assert f"row number {count - more}" in page
        assert f"row number {count - more + 1}" not in page
        assert 20 < count - more


def test_a_sheet_without_that_limit_goes_on_for_as_long_as_it_takes():
    pages = pages_of(sheet_pdf(sheet(table(300))))

    assert 4 < len(pages)
    assert "row number 300" in " ".join(pages)
    assert f"page {len(pages)} of {len(pages)}" in pages[-1]


def test_the_head_stands_on_each_page_and_in_full_at_the_end():
    pages = pages_of(sheet_pdf(sheet(table(100))))

    assert all(HEAD in page for page in pages)
    assert 2 == pages[-1].count(HEAD)


def test_a_long_hash_stays_in_one_piece_for_who_copies_it():
    digest = "84eb41edea3c2a369d446ffd038ab2f655a0a679ddf894f912b6df8dbfaca7ec"
    narrow = Table("", ("a", "b", "c"), (("x" * 10, digest, "y"),), (1, 1, 1))

    assert digest in text_of(sheet_pdf(sheet(narrow))).replace(" ", "")


def test_a_text_of_any_length_ends_somewhere():
    notice = Notice("held", "word " * 3000)
    pages = pages_of(sheet_pdf(sheet(table(3), top=(notice,), one_page_each=True)))

    assert 1 == len(pages)
    assert "more characters, see the record" in pages[0]


def test_states_pictures_and_forms_are_set():
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9"/></svg>'
    item = FormItem("gear", "Gear locked", "passes as written", "mechanic", ("pass", "fail"), True)
    found = text_of(
        sheet_pdf(
            sheet(
                Notice("held", "no release"),
                Picture("Map", svg),
                Picture("Roll", "", "the log has no position"),
                Form("wheels", (item,)),
                Table("", ("state",), (("not shown",),), states=(0,)),
            )
        )
    )

    for text in ("held", "Map", "the log has no position", "Gear locked", "not shown"):
        assert text in found
    assert "passes as written; mechanic" in found
    for text in ("pass fail", "result or number", "initials", "second", "UTC"):
        assert text in found
