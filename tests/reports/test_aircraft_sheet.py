"""The airworthiness record: what the record holds of an aircraft, and that it holds nothing."""

from __future__ import annotations

import pytest

from flightlog.errors import UsageError
from flightlog.operations.positions import named
from flightlog.reports.aircraft_sheet import aircraft_sheet
from flightlog.reports.sheet_html import sheet_html
from flightlog.reports.sheet_pdf import sheet_pdf
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import DOER, flown, moved
from tests.operations.released import ready_place, released_farm, released_place
from tests.reports.sheets import all_of, text_of

__all__ = ["farm", "farm_place", "ready_place", "released_farm", "released_place"]  # fixtures


def defect(farm, **more):
    said = {
        "aircraft": "pannier",
        "part": "bay hatch",
        "group": "payload",
        "severity": "deferrable",
        "text": "seal worn",
    } | more
    return farm.add("defect", said, DOER, effect=("restricts", "aircraft:pannier"))


def test_an_aircraft_that_nobody_worked_on_holds_nothing(farm):
    content = aircraft_sheet(farm.desk, "pannier")
    text = all_of(content)

    assert ["held", "fitness: none"] == [notice.word for notice in content.top]
    assert "none was ever signed" in text
    for nothing in ("None is in the record.", "The record holds none that is fitted.",
                    "None was ever reported.", "Nothing restricts it"):  # fmt: skip
        assert nothing in text
    assert "takeoff-roll | takeoff.ground_roll | at most 40 m | 0.95 | clause 4.2" in text


def test_a_released_one_says_on_what_that_rests(released_farm):
    content = aircraft_sheet(released_farm.desk, "pannier")
    text = all_of(content)

    assert ["released", "fitness: holds"] == [notice.word for notice in content.top]
    assert "winter inspection of the whole aircraft" in text
    assert "released as inspector by observer" in text
    assert "safe" not in text
    for word in ("released", "holds"):
        assert word in text_of(sheet_pdf(content))


def test_hours_parts_defects_and_files_stand_there_with_their_entries(farm):
    flown(farm, 600)
    moved(farm, "fitted")
    flown(farm, 600)
    report = defect(farm)
    content = aircraft_sheet(farm.desk, "pannier")
    text = all_of(content)

    version = farm.desk.version("aircraft", "pannier")
    assert "flown | 3.53 h" in text  # 3.2 h before the record, and 20 min
    assert "landings | 16" in text
    assert "propeller-1 | Propeller 16 x 8 | PR-07 | nose | " in text
    assert f"open | {named(report)} | deferrable | bay hatch, payload: seal worn" in text
    assert f"{named(version.entry)}, " in text
    assert f"SHA-256 {version.sha256}" in text
    assert "linkages" in text


def test_texts_of_defects_are_no_commands(farm):
    evil = '#panic() *b* <img src="x">'
    defect(farm, part=evil, text=evil)
    content = aircraft_sheet(farm.desk, "pannier")

    assert "<img" not in sheet_html(content)
    assert evil in text_of(sheet_pdf(content))


def test_an_aircraft_that_is_not_known_is_refused(farm):
    with pytest.raises(UsageError, match="no aircraft file"):
        aircraft_sheet(farm.desk, "drover")
