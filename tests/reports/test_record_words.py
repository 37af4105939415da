"""Tables of the record say who, how much, what is due and what differs."""

from __future__ import annotations

from flightlog.operations.defects import defects
from flightlog.operations.ground_record import measured_on_ground
from flightlog.operations.incident import incidents, restrict
from flightlog.operations.positions import named
from flightlog.operations.working_copies import working_copies
from flightlog.reports.defect_words import HEAD as DEFECT_HEAD
from flightlog.reports.defect_words import counts_line, defect_lines, defect_rows
from flightlog.reports.entry_words import HEAD as ENTRY_HEAD
from flightlog.reports.entry_words import NOBODY, entry_rows, full_lines
from flightlog.reports.record_words import (
    CREW_HEAD,
    FILE_HEAD,
    GROUND_HEAD,
    INCIDENT_HEAD,
    THING_HEAD,
    crew_rows,
    file_rows,
    ground_rows,
    incident_lines,
    incident_rows,
    thing_rows,
)
from tests.logbook.made import public_of
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import flown, moved
from tests.operations.released import charged

__all__ = ["farm", "farm_place"]  # fixtures


def test_a_lost_key_shows_in_the_crew(farm):
    content = {"key": public_of("observer"), "why": "lost", "reason": "stick lost"}
    farm.add("revocation", content, ("pilot", "revoked"))

    rows = {
        row[0].split()[0]: dict(zip(CREW_HEAD, row, strict=True)) for row in crew_rows(farm.desk)
    }
    assert "counts" == rows["pilot"]["Key"]
    assert "inspector" in rows["pilot"]["Roles"]
    assert ("NO KEY THAT COUNTS", "no role") == (rows["observer"]["Key"], rows["observer"]["Roles"])


def test_what_a_thing_was_used_and_where_it_is(farm):
    moved(farm, "fitted")
    flown(farm, 3600)
    restrict(farm.desk, "", ["pack-b"], "swollen")

    (part,) = thing_rows(farm.desk, "component")
    packs = [
        dict(zip(THING_HEAD["pack"], row, strict=True)) for row in thing_rows(farm.desk, "pack")
    ]
    # The propeller's file has 1.4 h from before; the flight adds one.
    assert ("propeller-1", "PR-07", "pannier, nose", "2.40", "1") == part[:5]
    assert ["in service", True] == [
        packs[0]["Service"], packs[1]["Service"].startswith("OUT OF SERVICE"),
    ]  # fmt: skip


def test_a_thing_whose_file_can_t_be_read_takes_no_other_away(farm):
    path = farm.desk.version("pack", "pack-a").path
    path.chmod(0o644)
    path.write_bytes(b"x")
    farm.desk.refresh()
    farm.desk._loaded.clear()

    assert "pack-b" in [row[0] for row in thing_rows(farm.desk, "pack")]
    assert {len(THING_HEAD["pack"])} == {len(row) for row in thing_rows(farm.desk, "pack")}


def test_files_that_differ_come_first(farm):
    path = farm.folder.path / "sites" / "top-field.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# a word\n", encoding="utf-8")

    first, *rest = file_rows(farm.desk, working_copies(farm.desk))
    assert ("site", "top-field", "changed") == first[:3]
    assert {"in force"} == {dict(zip(FILE_HEAD, row, strict=True))[FILE_HEAD[2]] for row in rest}


def test_defects_that_stop_come_first_and_show_all_that_was_entered(farm):
    for part, severity in (("hatch", "cosmetic"), ("rib", "blocking")):
        content = {"aircraft": "pannier", "part": part, "group": "other", "severity": severity,
                   "text": "worn"}  # fmt: skip
        effect = ("restricts", "aircraft:pannier") if severity == "blocking" else None
        farm.add("defect", content, ("pilot", "reported"), effect=effect)

    every = defects(farm.desk)
    rows = [dict(zip(DEFECT_HEAD, row, strict=True)) for row in defect_rows(farm.desk, every)]
    assert {"hatch: worn", "rib: worn"} == {row["Part"] for row in rows}
    assert "aircraft pannier" == rows[0]["On"]
    assert rows[0]["By"].startswith("pilot (")
    assert "2 open" == counts_line(every)
    assert any("severity: blocking" in line for line in defect_lines(farm.desk, every[1]))


def test_an_incident_keeps_facts_apart_from_opinions(farm):
    first = restrict(farm.desk, "pannier", ["pack-a"], "struck the ground")
    second = restrict(farm.desk, "pannier", [], "rolled over")
    farm.add("remark", {"text": "the wind"}, ("pilot", "stated"), cites=[first])

    rows = incident_rows(farm.desk, incidents(farm.desk))
    assert [named(second), named(first)] == [row[0] for row in rows]
    row = dict(zip(INCIDENT_HEAD, rows[1], strict=True))
    assert ("aircraft pannier, pack pack-a", "0") == (row["On"], row["Files kept"])
    lines = incident_lines(farm.desk, first)
    apart = lines.index("OPINIONS, no part of the facts")
    assert any("struck the ground" in line for line in lines[:apart])
    assert any("the wind" in line for line in lines[apart:])


def test_what_was_measured_names_entry_and_persons(farm):
    entry = charged(farm)

    row = dict(
        zip(GROUND_HEAD, ground_rows(farm.desk, measured_on_ground(farm.desk))[0], strict=True)
    )
    assert ("pack pack-a", "PK-01", named(entry)) == (row["Of"], row["Serial"], row["Entry"])
    assert row["Signed by"].startswith("pilot (")


def test_an_entry_of_the_laptop_alone_says_so(farm):
    content = {"event": "battery-change", "aircraft": "pannier"}
    entry = farm.add("event", content)

    (row,) = entry_rows(farm.desk, [entry])
    said = dict(zip(ENTRY_HEAD, row, strict=True))
    assert (named(entry), "event", NOBODY) == (said["Entry"], said["Kind"], said["Signed by"])
    assert f"hash: {entry.hash}" in full_lines(farm.desk, entry)


def test_a_file_of_an_entry_that_is_gone_is_told(farm):
    entry = farm.desk.version("site", "top-field").entry
    farm.book.attachments.path(entry.body.attachments[0].sha256).unlink()

    assert any("the file is missing" in line for line in full_lines(farm.desk, entry))
