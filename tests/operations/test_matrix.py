from __future__ import annotations

import io
import json

import pytest

from flightlog.errors import UsageError
from flightlog.operations.matrix import evidence_draft, matrix
from flightlog.reports.matrix_sheet import matrix_lines, matrix_rows, matrix_sheet, matrix_table
from tests.logbook.made import public_of
from tests.operations.flown import apart, flown, united
from tests.operations.logs import stored_debrief
from tests.operations.made import FILES, HillFarm

BOOK = "club-trial-2027"
RULES = FILES["rules", BOOK].read_text(encoding="utf-8")
PANNIER = FILES["aircraft", "pannier"].read_text(encoding="utf-8")


def row(farm, clause):
    return next(r for r in matrix(farm.desk, BOOK, "pannier") if r.clause.id == clause)


def showed(farm, clause, how="measured", state="shown", by=("mechanic",), photos=(), text="2.48 m"):
    draft = evidence_draft(
        farm.desk,
        rules=BOOK,
        aircraft="pannier",
        clause=clause,
        how=how,
        state=state,
        text=text,
        keys=[public_of(name) for name in by],
        photos=photos,
    )
    farm.clock.later(minutes=1)
    return farm.sign(draft, *by)


def outcome(limit, word, value=28.9):
    return {
        "limit": limit,
        "kind": "rule",
        "figure": "takeoff.ground_roll",
        "value": value,
        "low": value - 1,
        "high": value + 1,
        "unit": "m",
        "outcome": word,
        "bound": {"op": "<=", "value": 40.0, "unit": "m"},
    }


def debriefed(farm: HillFarm, *outcomes: dict, rules_file: str = "", rules: str = BOOK, **own):
    """Add a flight with a debrief that says this about limits."""
    sha256 = rules_file or farm.desk.version("rules", BOOK).sha256
    inputs = {"rules": {"id": rules, "version": "1", "sha256": sha256}}
    body = stored_debrief(None, each={"outcomes": outcomes, **own})
    body |= {"inputs": inputs, "made": f"{farm.clock.now}"}  # of another log each time
    data = json.dumps(body).encode()
    attached = farm.book.attachments.put(io.BytesIO(data), "a.bin.debrief.json")
    content = {
        "file": "a.bin",
        "sha256": attached.sha256,
        "format": "dataflash",
        "analyses": 1,
        "sorties": 1,
        "attempts": 0,
    }
    recording = farm.add("recording", content, attachments=[attached])
    return flown(farm, recording=recording)


# --- evidence of persons


def test_nothing_is_shown_before_somebody_shows_it(farm):
    rows = matrix(farm.desk, BOOK, "pannier")

    assert {"span", "box", "limiter", "fail-safe", "mass", "restraint"} <= {
        r.clause.id for r in rows
    }
    assert {"open"} == {r.state for r in rows}


def test_evidence_in_the_way_that_the_book_asks_for_shows_a_clause(farm):
    entry = showed(farm, "span", by=("mechanic", "observer"))

    found = row(farm, "span")

    assert ("shown", "measured", entry) == (found.state, found.how, found.entry)
    assert (public_of("mechanic"), public_of("observer")) == found.by


def test_evidence_in_another_way_leaves_it_open_and_says_why(farm):
    showed(farm, "span", how="declared")

    assert "open" == row(farm, "span").state
    assert "asks for it measured, it is declared" in row(farm, "span").why


def test_the_latest_evidence_counts(farm):
    showed(farm, "span", state="not-shown")
    before = row(farm, "span").state
    showed(farm, "span")

    assert ("not shown", "shown") == (before, row(farm, "span").state)


def test_of_evidence_entered_apart_the_worse_one_holds_until_somebody_knows_both(farm, tmp_path):
    other = apart(farm, tmp_path / "other")
    showed(other, "span", state="not-shown")
    other.clock.later(minutes=-30)
    farm.clock.later(minutes=30)
    showed(farm, "span")
    united(farm, other)
    both = row(farm, "span").state
    showed(farm, "span")

    assert ("not shown", "shown") == (both, row(farm, "span").state)


def test_corrected_evidence_does_not_count(farm):
    entry = showed(farm, "span")
    farm.add(
        "correction",
        {"text": "The other wing was on"},
        ("mechanic", "stated"),
        relations=[("corrects", entry)],
    )

    assert "open" == row(farm, "span").state


def test_evidence_for_another_aircraft_or_clause_is_not_meant(farm):
    farm.enter("aircraft", "drover", PANNIER.replace('"pannier"', '"drover"').encode())
    showed(farm, "span")

    other = {r.clause.id: r.state for r in matrix(farm.desk, BOOK, "drover")}

    assert ("open", "open") == (other["span"], row(farm, "box").state)


def test_a_photo_has_to_be_there_and_whole(farm):
    with pytest.raises(UsageError, match="no photo"):
        showed(farm, "identity", how="photo")
    photo = farm.book.attachments.put(io.BytesIO(b"a photo"), "serial.jpg")
    showed(farm, "identity", how="photo", photos=[photo])
    before = row(farm, "identity").state
    farm.book.attachments.path(photo.sha256).write_bytes(b"A photo")

    assert ("shown", "open") == (before, row(farm, "identity").state)
    assert "serial.jpg: the file has another content" in row(farm, "identity").why


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"clause": "spam"}, "Did you mean 'span'"),
        ({"how": "q"}, "measured, declared, tested, photo"),
        ({"state": "q"}, "shown, not-shown"),
    ],
)
def test_a_slip_is_told_with_what_there_is(farm, given, said):
    words = {"clause": "span", "how": "measured", "state": "shown", **given}

    with pytest.raises(UsageError, match=said):
        showed(farm, words.pop("clause"), **words)


# --- what changed since


def test_a_clause_that_is_worded_otherwise_is_to_be_shown_anew(farm):
    showed(farm, "span")
    showed(farm, "box", how="tested")
    farm.enter("rules", BOOK, RULES.replace("no more than 2.60 m", "no more than 2.40 m").encode())

    assert "to be shown anew" == row(farm, "span").state
    assert "the clause is worded otherwise since" == row(farm, "span").why
    assert "shown" == row(farm, "box").state
    showed(farm, "span")
    assert "shown" == row(farm, "span").state


def test_what_was_found_wrong_stays_wrong_under_another_wording(farm):
    showed(farm, "span", state="not-shown")
    farm.enter("rules", BOOK, RULES.replace("no more than 2.60 m", "no more than 2.40 m").encode())

    assert "not shown" == row(farm, "span").state


def test_an_aircraft_that_is_built_otherwise_shows_it_anew(farm):
    showed(farm, "span")
    farm.enter(
        "aircraft", "pannier", PANNIER.replace("hours_before = 3.2", "hours_before = 3.3").encode()
    )
    same = row(farm, "span").state
    farm.enter("aircraft", "pannier", PANNIER.replace('"cargo-2"', '"cargo-3"').encode())

    assert ("shown", "to be shown anew") == (same, row(farm, "span").state)
    assert "configuration" in row(farm, "span").why


# --- what flights show


def test_the_last_flight_shows_a_clause_with_a_limit(farm):
    debriefed(farm, outcome("takeoff-roll", "not met", 44.0))
    before = row(farm, "takeoff").state
    flight = debriefed(farm, outcome("takeoff-roll", "met"))

    found = row(farm, "takeoff")

    assert ("not shown", "shown") == (before, found.state)
    assert ("measured", flight, ()) == (found.how, found.entry, found.by)


def test_a_declared_number_shows_only_what_may_be_declared(farm):
    """The debrief judges mass and energy as the team stated them: no scale was read."""
    energy = {**outcome("battery-energy", "met", 88.8), "figure": "battery.nominal_energy"}
    mass = {**outcome("takeoff-mass", "met", 8.0), "figure": "mass.takeoff"}
    figures = {
        name: {"sources": ["declared"]} for name in ("mass.takeoff", "battery.nominal_energy")
    }
    debriefed(farm, energy, mass, figures=figures)

    found = {name: row(farm, name) for name in ("pack-energy", "mass")}

    assert ("shown", "declared") == (found["pack-energy"].state, found["pack-energy"].how)
    assert ("open", "declared") == (found["mass"].state, found["mass"].how)
    showed(farm, "mass", text="8.02 kg, three scales")
    assert ("shown", "measured") == (row(farm, "mass").state, row(farm, "mass").how)


def test_what_is_not_shown_by_the_numbers_is_not_shown(farm):
    debriefed(farm, outcome("takeoff-roll", "not shown", 39.5))

    assert "not shown" == row(farm, "takeoff").state


def test_a_flight_that_could_not_be_judged_takes_nothing_from_the_one_before(farm):
    unclear = {**outcome("takeoff-roll", "not assessable"), "value": None}
    debriefed(farm, unclear)
    alone = row(farm, "takeoff").state
    good = debriefed(farm, outcome("takeoff-roll", "met"))
    debriefed(farm, unclear)

    assert ("open", "shown") == (alone, row(farm, "takeoff").state)
    assert good == row(farm, "takeoff").entry


def test_a_flight_under_another_rule_book_is_not_meant(farm):
    debriefed(farm, outcome("takeoff-roll", "met"), rules="valley-trial")

    assert "open" == row(farm, "takeoff").state


def test_a_sortie_with_inputs_of_its_own_is_judged_by_those(farm):
    other = {"rules": {"id": "valley-trial", "version": "1", "sha256": "0" * 64}}
    debriefed(farm, outcome("takeoff-roll", "met"), inputs=other)

    assert "open" == row(farm, "takeoff").state


def test_a_limit_that_is_another_one_is_to_be_shown_anew(farm):
    debriefed(farm, outcome("takeoff-roll", "met"))
    farm.enter("rules", BOOK, RULES.replace("at_most = 40.0", "at_most = 35.0").encode())

    assert "to be shown anew" == row(farm, "takeoff").state
    assert "its limit is another one since" == row(farm, "takeoff").why


def test_a_person_who_finds_it_wrong_outdoes_the_flight_before_and_not_the_one_after(farm):
    debriefed(farm, outcome("takeoff-roll", "met"))
    showed(farm, "takeoff", state="not-shown", text="tape says 41 m")
    wrong = row(farm, "takeoff").state
    debriefed(farm, outcome("takeoff-roll", "met"))

    assert ("not shown", "shown") == (wrong, row(farm, "takeoff").state)


def test_a_person_does_not_outdo_a_flight_that_did_not_meet_it(farm):
    debriefed(farm, outcome("takeoff-roll", "not met", 44.0))
    showed(farm, "takeoff", text="looked shorter")

    assert "not shown" == row(farm, "takeoff").state


# --- in words


def test_the_sheet_holds_each_clause_with_number_person_and_entry(farm):
    showed(farm, "span")
    debriefed(farm, outcome("takeoff-roll", "met"))
    rows = matrix(farm.desk, BOOK, "pannier")

    texts = {texts[0]: texts for texts in matrix_rows(farm.desk, rows)}
    page = matrix_sheet(farm.desk, BOOK, "pannier", rows)

    assert texts["clause 2.3"][2:5] == (
        "shown",
        "measured",
        farm.desk.crew.label(public_of("mechanic")),
    )
    assert "met: 28.9 (27.9 to 29.9) m, at most 40" == texts["clause 4.2"][5]
    assert "log" == texts["clause 4.2"][4]
    assert "2 of 12 clauses are shown, 0 are not, 10 are open" in matrix_lines(farm.desk, rows)[-1]
    assert "a team record and no certificate" in page
    assert "serial PN-01" in page


def test_text_of_people_is_escaped_in_page_and_spreadsheet(farm):
    showed(farm, "span", text='=HYPERLINK("x")<script>alert(1)</script>')
    rows = matrix(farm.desk, BOOK, "pannier")

    page = matrix_sheet(farm.desk, BOOK, "pannier", rows)
    cells = matrix_table(farm.desk, rows)

    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert ",\"'=HYPERLINK" in cells
