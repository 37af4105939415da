"""Ground tests at the command line: reduced by anybody, entered by those who may."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from flightlog.cli.app import main
from flightlog.groundtests.registry import GROUND_KINDS
from tests.cli.hangars import entry_added
from tests.cli.measured import kept_team, measuring
from tests.groundtests.made_answer import RING, bench_file, ground_test

__all__ = ["kept_team", "measuring"]  # fixtures

SUBJECT = 'aircraft = "pannier"\npart = "left wing tip"'
SCALES = """scale,arm (m),side (m),reading (kg)
nose,0.10,0,0.650
left,0.50,-0.25,2.170
right,0.50,0.25,2.180
"""
EMPTY = "[weighing]\nreading_std_kg = 0.005\narm_std_m = 0.001\nempty = true\n"


@pytest.fixture
def ringing(tmp_path, monkeypatch):
    """Let the command reduce to what a test says: no samples are fitted."""

    def made(frequency=6.52, *, std=0.01, name="a", subject=SUBJECT, more="", **others):
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        figures = {**RING, "ringdown.first.frequency": (frequency, std)}
        bench = bench_file(folder, subject=subject, more=more)
        test = ground_test(folder, figures, bench=bench, rows=f"t,z\n0,{frequency}\n", **others)
        monkeypatch.setattr("flightlog.operations.ground_test.run_ground_test", lambda *given: test)
        return ("groundtest", "ringdown", str(test.files[0].path), "--bench", str(bench.path))

    return made


@pytest.fixture
def nowhere(tmp_path, monkeypatch):
    monkeypatch.delenv("FLIGHTLOG_TEAM", raising=False)
    monkeypatch.chdir(tmp_path)


def weighed(folder: Path, more: str = EMPTY) -> tuple[str, ...]:
    folder.mkdir(exist_ok=True)
    (folder / "scales.csv").write_text(SCALES)
    bench = bench_file(folder, "weighing", more=more)
    return ("groundtest", "weighing", str(folder / "scales.csv"), "--bench", str(bench.path))


def test_a_test_is_reduced_without_any_record(tmp_path, nowhere, capsys):
    assert 0 == main(weighed(tmp_path / "w"))
    said = capsys.readouterr().out
    assert said.startswith("Weighing: mass 5.000 kg")
    assert "scales.csv" in said
    assert "safe or fit to fly" in " ".join(said.split())


def test_its_json_is_that_of_a_program(tmp_path, nowhere, capsys):
    assert 0 == main([*weighed(tmp_path / "w"), "--json"])
    body = json.loads(capsys.readouterr().out)
    assert "flightlog.groundtest/1" == body["schema"]
    assert pytest.approx(5.0) == body["figures"]["weighing.mass"]["value"]
    assert body["against"] is None


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_a_sheet_needs_no_record(tmp_path, nowhere, capsys, ending):
    to = tmp_path / f"sheet.{ending}"
    assert 0 == main([*weighed(tmp_path / "w"), "--sheet", str(to)])
    assert b"%PDF" == to.read_bytes()[:4] if ending == "pdf" else "5.000 kg" in to.read_text()
    assert 2 != main([*weighed(tmp_path / "w"), "--sheet", str(to)])  # it is there already
    assert "is there already" in capsys.readouterr().err


def test_slips_are_refused_before_anything_is_read(tmp_path, nowhere, capsys):
    words = ("groundtest", "weighing", "none.csv")
    for more, found in (
        (("--sheet", "s.doc"), "ends in neither"),
        (("--text", "calm"), "nobody signs"),
        (("--json", "--by", "mechanic"), "does not go with --by"),
    ):
        assert 2 == main([*words, *more])
        assert found in capsys.readouterr().err


def test_a_file_at_fault_ends_with_its_code(tmp_path, nowhere, capsys):
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    assert 3 == main(["groundtest", "weighing", str(tmp_path / "x.csv")])
    assert "has no scale" in capsys.readouterr().err


def test_enforce_asks_for_every_limit(tmp_path, nowhere, capsys):
    limit = '[limits]\n"weighing.mass" = { at_most = 4.9, unit = "kg" }\n'
    words = weighed(tmp_path / "w", EMPTY + limit)
    assert 0 == main(words)
    assert "A limit is NOT met" in capsys.readouterr().out
    assert 4 == main([*words, "--enforce"])


def test_every_kind_has_its_command(capsys):
    for word in GROUND_KINDS:
        assert 0 == main(["groundtest", word, "--help"])
        assert f"Example: flightlog groundtest {word}" in capsys.readouterr().out


# --- with a record


def test_a_test_is_entered_and_the_next_is_told_against_it(measuring, ringing, tmp_path):
    sheet = tmp_path / "ring.html"
    code = measuring.signs(
        *ringing(), "--by", "mechanic", "--inspected-by", "pilot", "--sheet", str(sheet),
        by=["mechanic", "pilot"],
    )  # fmt: skip
    assert 0 == code, measuring.err
    first = entry_added(measuring)
    assert "Against" not in measuring.out
    text = sheet.read_text()
    assert "performed as engineer by mechanic" in text
    assert first in text

    assert 0 == measuring.run(*ringing(6.53, name="b"), "--team", str(measuring.team))
    assert f"Against {first} of 2027-03-15 (the first of the same thing and part)" in measuring.out
    assert "no change is shown" in measuring.out

    assert 0 == measuring.run("groundtest", "history", "--aircraft", "pannier")
    assert "Ring-down, aircraft pannier (PN-01), left wing tip" in measuring.out


def test_a_changed_structure_is_out_of_service_at_once(measuring, ringing):
    assert 0 == measuring.signs(*ringing(), "--by", "mechanic", by=["mechanic"]), measuring.err
    first = entry_added(measuring)
    words = (*ringing(6.1, name="b"), "--by", "mechanic", "--against", first)
    assert 0 == measuring.signs(*words, by=["mechanic"]), measuring.err

    assert "The structure is NOT what it was." in measuring.out
    assert "OUT OF SERVICE: aircraft pannier (PN-01), left wing tip." in measuring.out
    assert 0 == measuring.run("service", "show")
    assert "structure-changed" in measuring.out

    assert 0 == measuring.run(*words)  # nothing is left to sign
    assert "are in the record already" in measuring.out


def test_who_may_not_test_is_refused(measuring, ringing):
    assert 2 <= measuring.signs(*ringing(), "--by", "pilot", by=["pilot"])
    assert "holds none of the roles that sign this: engineer, mechanic" in measuring.err


def test_what_the_team_does_not_have_is_refused(measuring, ringing):
    words = ringing(subject='component = "wing-left"')
    assert 2 == measuring.signs(*words, "--by", "mechanic", by=["mechanic"])
    assert "flightlog team enter FILE" in measuring.err


def test_a_weighing_is_signed_twice_with_one_passphrase(measuring, tmp_path):
    words = (*weighed(tmp_path / "w"), "--by", "mechanic")
    assert 0 == measuring.signs(*words, by=["mechanic"]), measuring.err
    assert 2 == measuring.out.count("Signed and added")

    measuring.run("balance", "sheet", "--aircraft", "pannier", "--pack", "pack-a", "--units", "8")
    assert "5.000 kg at 0.4480 m" in measuring.out


def test_history_as_json(measuring, ringing):
    assert 0 == measuring.signs(*ringing(), "--by", "mechanic", by=["mechanic"])
    assert 0 == measuring.run("groundtest", "history", "--json")
    (one,) = [
        s for s in json.loads(measuring.out)["series"] if s["figure"] == "ringdown.first.damping"
    ]
    assert ("pannier", "PN-01", 1.8) == (one["aircraft"], one["serial"], one["tests"][0]["value"])


def test_a_weighing_of_a_test_that_is_put_right_is_not_left_standing_unsaid(measuring, tmp_path):
    assert 0 == measuring.signs(*weighed(tmp_path / "w"), "--by", "mechanic", by=["mechanic"])
    test = measuring.out.partition("head ")[2].split("-")[0]
    loaded = weighed(tmp_path / "w", EMPTY.replace("true", "false"))

    assert 0 < measuring.signs(*loaded, "--by", "mechanic", by=["mechanic"])
    assert f"--corrects {test}" in measuring.err, "one measurement would count as two"

    words = (*loaded, "--by", "mechanic", "--corrects", test)
    assert 0 == measuring.signs(*words, by=["mechanic"]), measuring.err
    assert "load sheets still start from it" in measuring.out
