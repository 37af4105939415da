"""The sheet of an incident: facts apart from opinions, and no text that becomes a command."""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pytest

from flightlog.logbook.codes import head_code
from flightlog.operations.channels import Channel, Happened
from flightlog.operations.incident import opinion_draft, part_draft, restrict, sources_of
from flightlog.operations.incident_record import around
from flightlog.operations.last_minute import Timeline
from flightlog.reports import incident_sheet as sheets
from flightlog.reports.incident_sheet import DUTIES, incident_sheet, timeline_table
from tests.logbook.made import public_of
from tests.operations.conftest import farm, farm_place

__all__ = ["farm", "farm_place"]  # fixtures

EVIL = '<img src=x onerror="a()">'


def channel(column="roll_rad", value=(1.0, 2.0), source="a.bin", **more):
    values = np.array(value)
    times = -np.arange(float(len(values)))[::-1]
    gaps = np.zeros(len(values), dtype=bool)
    more.setdefault("axis", source)
    return Channel(more.pop("table", "attitude"), column, "rad", times, values, gaps,
                   source=source, **more)  # fmt: skip


def sheet(farm, incident, found=None):
    found = found or Timeline()
    sources = sources_of(farm.desk, incident)
    return incident_sheet(farm.desk, incident, sources, found, around(farm.desk, incident))


def section(page, title):
    return page.partition(f"<h2>{title}</h2>")[2].partition("<h2>")[0]


def test_facts_and_opinions_stand_in_sections_of_their_own(farm):
    incident = restrict(farm.desk, "pannier", ["pack-a"], "struck the ground", place="far field")
    farm.desk.append(part_draft(incident, "the left tip was found first"))
    opinion = opinion_draft(incident, "I think a gust", public_of("pilot"))
    farm.sign(opinion, "pilot")
    page = sheet(farm, incident)

    facts, opinions = section(page, "Facts"), section(page, "Opinions")
    for text in ("struck the ground", "left tip", "far field", "no person signed it"):
        assert text in facts
        assert text not in opinions
    assert "I think a gust" in opinions
    assert "stated: pilot" in opinions
    assert 1 == page.count("I think a gust")
    assert page.index("<h2>Facts</h2>") < page.index("<h2>Opinions</h2>")


def test_cautions_duties_hashes_and_head_are_on_every_sheet(farm):
    path = farm.folder.path / "a.bin"
    path.write_bytes(b"abc")
    incident = restrict(farm.desk, "pannier", [], "fell")
    farm.desk.append(part_draft(incident, "kept", [farm.book.attach(path)]))
    page = sheet(farm, incident)
    (tip,) = farm.desk.ledger.order.tips()

    # SHA-256 of "abc", FIPS 180-2.
    assert "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" in page
    assert head_code(tip.body.number, tip.hash) in page
    assert DUTIES in page
    assert "local law" in DUTIES
    assert "Change nothing on the card" in DUTIES
    assert page.index("Lithium batteries burn") < page.index("<h2>Facts</h2>")
    assert "no certificate" in page
    assert "no release of pannier was in the record" in section(page, "Flown under")


def test_text_of_logs_notes_and_files_is_shown_and_never_run(farm):
    path = farm.folder.path / "a.bin"
    path.write_bytes(b"abc")
    incident = restrict(farm.desk, "pannier", [], EVIL, place=EVIL)
    farm.desk.append(part_draft(incident, EVIL, [farm.book.attach(path, f"{EVIL}.bin")]))
    farm.sign(opinion_draft(incident, EVIL, public_of("pilot")), "pilot")
    found = Timeline(
        (channel(EVIL, source=EVIL, axis=EVIL), channel("x", (1.0, 1.0), table=EVIL)),
        (Happened(-1.0, "messages", EVIL, EVIL, EVIL),),
        (EVIL,),
    )
    page = sheet(farm, incident, found)

    assert "<img" not in page
    assert page.count("&lt;img") > 8
    assert "default-src &#x27;none&#x27;" in page or "default-src 'none'" in page
    assert not re.search(r"\b(?:src|href)=", page.replace(EVIL, "").replace("&lt;img src=x", ""))


def test_channels_are_charts_and_what_never_changes_is_a_line_of_text(farm):
    incident = restrict(farm.desk, "pannier", [], "fell")
    found = Timeline(
        (
            channel("roll_rad"),
            channel("time_utc", table="gps"),
            channel("fix", (3.0, 3.0), table="gps"),
            channel("Roll", table="ATT", as_logged=True),
            channel("voltage_v", source="card.csv", axis="a.bin"),
        ),
        (Happened(-2.0, "modes", "mode 5", "a.bin", "a.bin"),),
        ("a.bin: zero is its end",),
    )
    part = section(sheet(farm, incident, found), "The last minute")

    assert 2 == part.count("<svg")
    assert "gps fix 3" in part
    assert "mode 5" in part
    assert "zero is its end" in part
    assert "card.csv, laid on a.bin" in part
    assert "2 more channels" in part  # the field of the log, and the clock of the receiver


def test_no_channel_is_left_out_in_silence(farm, monkeypatch):
    monkeypatch.setattr(sheets, "MOST_CHARTS", 3)
    monkeypatch.setattr(sheets, "_MOST_EVENTS", 2)
    incident = restrict(farm.desk, "pannier", [], "fell")
    found = Timeline(
        tuple(channel(f"c{n}") for n in range(5)),
        tuple(Happened(float(-n), "messages", f"m{n}") for n in range(3)),
    )
    part = section(sheet(farm, incident, found), "The last minute")

    assert 3 == part.count("<svg")
    assert "2 more channels" in part
    assert "1 more stand" in part


@pytest.mark.parametrize("evil", ["=1+1", "+a", "@x", "-cmd", "\tx", 'a"b,c\r\nd'])
def test_the_table_holds_every_value_and_a_spreadsheet_computes_none(evil):
    found = Timeline(
        (channel(evil, source=evil, axis=evil), channel("v", (-1.5, 2.0), as_logged=True)),
        (Happened(-1.0, "messages", evil, evil, evil),),
    )
    rows = list(csv.DictReader(io.StringIO(timeline_table(found))))

    assert ["time_s", "source", "table", "column", "value", "unit", "axis"] == list(rows[0])
    assert [1.0, 2.0, -1.5, 2.0] == [float(r["value"]) for r in rows[:4]]
    assert ["-1.000", "0.000"] == [r["time_s"].replace("-0.000", "0.000") for r in rows[:2]]
    assert "attitude (as logged)" == rows[2]["table"]
    assert evil.strip()[:1] in rows[4]["value"]
    for row in rows:
        for text in (row["source"], row["column"]):
            assert not text.startswith(("=", "+", "@", "-", "\t"))
