"""A list for paper: each item has room to be judged, and the version of its list."""

from __future__ import annotations

from flightlog.operations.checklists import CHECK
from flightlog.operations.checks import About, checklist_in_force
from flightlog.reports.check_sheet import check_content
from flightlog.reports.sheet_pdf import sheet_pdf
from tests.operations.conftest import farm, farm_place
from tests.reports.sheets import all_of, text_of

__all__ = ["farm", "farm_place"]  # fixtures


def test_every_item_has_its_boxes(farm):
    checklist = checklist_in_force(farm.desk, "daily")
    content = check_content(farm.desk, checklist, About("pannier"))
    forms = {
        item.id: item
        for band in content.parts[0]
        for block in band.columns[0]
        for item in block.rows
    }

    assert [item.id for item in checklist.items] == list(forms)
    for item in checklist.items:
        assert (("pass", "fail") if item.kind == CHECK else ()) == forms[item.id].boxes
        assert bool(item.second) == forms[item.id].second
    assert f"SHA-256 {checklist.sha256}" in all_of(content)


def test_the_paper_names_what_it_is_for(farm):
    checklist = checklist_in_force(farm.desk, "pre-flight")
    text = text_of(sheet_pdf(check_content(farm.desk, checklist, About("pannier"))))

    assert "Aircraft pannier" in text
    assert "Pack ____" in text
    for item in checklist.items:
        assert item.id in text.replace(" ", "")
    assert text.count("result or number") == len(checklist.items)
