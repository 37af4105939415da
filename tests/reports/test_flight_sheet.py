"""The sheet of a flight says what the record says, whatever of it is missing."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.contract import finding_json, to_json
from flightlog.findings import make_finding
from flightlog.logbook.codes import head_code
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.figure_groups import WEAR_TITLE
from flightlog.reports.flight_sheet import HAND_ONLY, NO_DEBRIEF, flight_sheet
from flightlog.reports.flight_sheet_wear import most_telling
from flightlog.reports.flights import WITHOUT
from flightlog.reports.sheet_content import Strips
from flightlog.reports.sheet_html import sheet_html
from flightlog.reports.sheet_pdf import sheet_pdf
from flightlog.reports.stored_debrief import stored_sortie
from flightlog.uncertain import Uncertain
from tests.made_debriefs import judged, made
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import flown
from tests.operations.logs import imported, load_sheet, recording, release, stored_debrief, weather
from tests.operations.made import MORNING
from tests.reports.sheets import all_of, pages_of
from tests.reports.wear import SLOW, told_of_wear

__all__ = ["farm", "farm_place"]  # fixtures

NINE = MORNING + timedelta(hours=2)
EVIL = '#panic("x") *b* $ \\ ] \u202e <img src=x>'


def sheet_of(farm):
    """Give the sheet of the last flight, and its text; it fits on two pages."""
    content = flight_sheet(farm.desk, sorties(farm.desk)[-1])
    assert 2 == len(pages_of(sheet_pdf(content)))
    sheet_html(content)
    return content, all_of(content)


def told(*outcomes, **more):
    """Give what a made-up debrief says of its flight."""
    item = to_json(made(*outcomes, roll=Uncertain.of(28.94, 0.6, "m", source="a"), **more))
    return {key: item["sorties"][0][key] for key in ("figures", "outcomes", "withheld", "findings")}


def released(farm, **more):
    begun = farm.add("list-begun", {
        "list": "pre-flight", "checklist": farm.desk.version("checklist", "pre-flight").sha256,
        "aircraft": "pannier", "source": "screen",
    })  # fmt: skip
    for item in ("papers-identity", "papers-plan"):
        farm.add("check", {"item": item, "result": "pass"}, ("mechanic", "performed"),
                 cites=[begun])  # fmt: skip
    cites = [begun, load_sheet(farm), weather(farm)]
    return release(farm, NINE - timedelta(minutes=10), cites=cites, **more)


def test_a_flight_stands_beside_all_that_it_was_flown_under(farm):
    signed = released(farm)
    (flight,) = imported(farm, NINE, each=told(judged(28.94)))
    content, text = sheet_of(farm)

    assert f"Flight {named(flight.entry)}" == content.title
    assert "Ground roll 28.9 m (27.8 to 30.1): the 40 m limit is met." == content.headline
    assert f"release | {named(signed)}" in text
    assert "accepted as pilot by pilot" in text
    assert "load | inside" in text
    assert "2 of 47: 2 pass | mechanic" in text
    assert f"SHA-256 {farm.desk.version('rules', 'club-trial-2027').sha256}" in text
    assert "arm 0.452 m, balance 39.5 %" in text
    assert "Contradictions" in text
    assert "None was found." in text


def test_the_pages_say_the_same_as_the_content(farm):
    released(farm)
    imported(farm, NINE, each=told(judged(28.94), judged(None)))
    content, _ = sheet_of(farm)
    first, second = pages_of(sheet_pdf(content))
    page = " ".join(sheet_html(content).split())

    for text in ("Ground roll 28.9 m (27.8 to 30.1), at most 40 m", "2.13 m/s", "39.81"):
        assert text in first
        assert text.split(" (")[0] in page
    assert "not assessable" in first
    assert "hand launch, so there is no ground roll" in first
    for text in (*CAUTIONS, content.heads[0], "Signed checks"):
        assert text.replace("'", "’") in second.replace("'", "’")
    tip = farm.desk.ledger.order.tips()[0]
    assert (head_code(tip.body.number, tip.hash),) == content.heads


def test_what_is_wearing_out_has_a_page_of_its_own(farm):
    withheld = {f"link.{name}": "the log has no link data" for name in ("margin", "longest_gap")}
    withheld["climb.gradient"] = "the log has no gps data"
    imported(farm, NINE, each=told_of_wear(judged(28.94), withheld=withheld))
    content = flight_sheet(farm.desk, sorties(farm.desk)[-1])
    first, second, third = pages_of(sheet_pdf(content))
    page = " ".join(sheet_html(content).split())

    assert WEAR_TITLE in third
    for text in ("0.0312 ohm", "0.0304 to 0.0320", "left aileron outer", "0.036 to 0.060"):
        assert text in third
        assert text in page
        assert text not in first
    assert "1023 W" in first, "what was used is no wear"
    assert "Link margin, Longest gap of the link: the log has no link data" in all_of(content)
    assert "Climb gradient: the log has no gps data" in first
    assert f"{SLOW}." in " ".join(third.split())
    assert "not-excluded" not in second


def test_a_fault_stands_first_on_its_page_and_in_the_sentence(farm):
    each = told_of_wear(judged(28.94))
    fault = make_finding(
        "surface-play", "Output 2 (elevator): 1.6 deg of play", evidence={"channel": 2}
    )
    each["findings"] = [*each["findings"], finding_json(fault)]
    imported(farm, NINE, each=each)
    content = flight_sheet(farm.desk, sorties(farm.desk)[-1])

    assert "To be inspected: play in a linkage; see the findings first." in content.headline
    (words,) = content.parts[2][0].columns[0]
    assert (WEAR_TITLE, 1) == (words.title, len(words.lines))
    assert words.lines[0].startswith("Output 2 (elevator): 1.6 deg of play. Don't fly")
    assert "Surfaces" == most_telling(stored_of(each))[0]


def stored_of(each):
    body = stored_debrief(NINE, each=each)
    return stored_sortie(body["sorties"][0], body)


def test_limits_that_are_not_met_stand_first(farm):
    outcomes = (judged(28.9), judged(None), judged(39.8), judged(48.0))
    imported(farm, NINE, each=told(*outcomes))
    content, _ = sheet_of(farm)
    strips = content.parts[0][0].columns[0][0]

    assert isinstance(strips, Strips)
    assert ["not met", "not shown", "not assessable", "met"] == [s.word for s in strips.rows]


def test_a_flight_without_a_release_says_so_first(farm):
    imported(farm, NINE)
    content, text = sheet_of(farm)

    assert WITHOUT == content.top[0].word
    assert "without-release" in text
    assert "No release names a list." in text
    assert WITHOUT in pages_of(sheet_pdf(content))[0]


def test_a_flight_without_a_log_says_so(farm):
    flown(farm, 600, source="hand")
    content, text = sheet_of(farm)

    assert HAND_ONLY == content.headline
    assert "he flight was entered by hand" in text


def test_a_flight_without_a_rule_book_is_judged_by_nothing(farm):
    released(farm, rules=False)
    imported(farm, NINE, each=told())
    _, text = sheet_of(farm)

    assert "no limit was given for it" in text
    assert "neither rule book nor aircraft file names one" in text
    assert "rule book | none" in text


def test_a_log_that_can_not_be_read_leaves_the_stored_numbers(farm):
    imported(farm, NINE, each=told(judged(28.94)))  # whose log is no log
    content, text = sheet_of(farm)

    assert "Ground roll 28.9 m" in content.headline
    assert "made.bin" in text
    assert "no known log format" in text


def test_a_debrief_that_is_gone_is_said(farm):
    (flight,) = imported(farm, NINE)
    for attachment in flight.recording.body.attachments:
        if attachment.name.endswith(".debrief.json"):
            farm.book.attachments.path(attachment.sha256).unlink()
    farm.desk.refresh()
    content, _ = sheet_of(farm)

    assert NO_DEBRIEF == content.headline


@pytest.mark.parametrize("kind", ["release", "load-sheet", "weather"])
def test_what_it_was_flown_under_and_was_put_right_since_says_so(farm, kind):
    released(farm)
    imported(farm, NINE, each=told(judged(28.94)))
    assert "put right" not in sheet_of(farm)[1]

    wrong = farm.desk.ledger.last(kind)
    right = farm.add("correction", {"text": "a slip of the pen"}, ("pilot", "stated"),
                     relations=[("corrects", wrong)])  # fmt: skip

    assert f"put right by {named(right)}" in sheet_of(farm)[1]


def test_a_debrief_of_another_shape_is_no_fault(farm):
    body = stored_debrief(NINE, each={"laps": [{"number": "one"}]})
    flown(farm, recording=recording(farm, body))
    content, _ = sheet_of(farm)

    assert NO_DEBRIEF == content.headline


@pytest.mark.parametrize("count", [40])
def test_long_parts_are_counted_and_stay_on_two_pages(farm, count):
    outcomes = [judged(48.0) for _ in range(count)]
    each = told(*outcomes, message=EVIL * 60)
    each["findings"] = each["findings"] * count
    each["withheld"] = {f"flight.strange_{i}": f"{EVIL} {i}" for i in range(count)}
    released(farm)
    imported(farm, NINE, each=each, file=f"{'a' * 150}.bin")
    content, _ = sheet_of(farm)
    first, second = pages_of(sheet_pdf(content))

    assert "more, see the record" in first
    assert "more, see the record" in second
    page = sheet_html(content)
    assert "<img" not in page
    assert page.count("flight.strange_") == count
