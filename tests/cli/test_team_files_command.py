"""Files and parameters of a team at the command line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import typer

from flightlog.cli.app import main
from flightlog.cli.team_files import restore_files
from tests.cli.teams import passphrase_of, terminal

__all__ = ["terminal"]  # a fixture

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_flights"
TWO = ("--by", "mechanic", "--by", "pilot")


@pytest.fixture
def team(terminal):
    terminal.found()
    shutil.copy(SAMPLES / "pannier.toml", terminal.team / "aircraft" / "pannier.toml")
    shutil.copy(SAMPLES / "pack_a.toml", terminal.team / "packs" / "pack-a.toml")
    return terminal


def enter(team, *files: str, by=("mechanic", "pilot")) -> int:
    named = [word for name in by for word in ("--by", name)]
    return team.signs("team", "enter", *files, *named, by=by)


def edit(team, old: str, new: str) -> Path:
    place = team.team / "aircraft" / "pannier.toml"
    text = place.read_text(encoding="utf-8")
    assert old in text
    place.write_text(text.replace(old, new), encoding="utf-8")
    return place


def states(team) -> dict[str, str]:
    assert 0 == team.run("team", "files"), team.err
    rows = [line for line in team.out.splitlines() if not line.startswith(("  ", "Brings"))]
    return {" ".join(row.split()[:2]): " ".join(row.split()[2:]) for row in rows}


def test_a_new_team_has_the_check_lists_as_files_that_were_not_entered(terminal):
    terminal.found()

    found = states(terminal)
    shipped = {p.stem for p in (ROOT / "checklists").glob("*.toml")} - {"club_trial_2027"}
    assert {f"checklist {name}" for name in shipped} == set(found)
    assert {"not entered no version in force"} == set(found.values())


def test_several_files_are_entered_with_one_passphrase_of_each_person(team):
    lists = sorted((team.team / "checklists").glob("*.toml"))

    code = enter(team, "aircraft/pannier.toml", "packs/pack-a.toml", *map(str, lists))

    assert 0 == code, team.err
    assert 2 + len(lists) == team.out.count("Signed and added")
    assert "sets" in team.out
    found = states(team)
    assert {"in force"} == {" ".join(text.split()[:2]) for text in found.values()}
    assert all(" of 20" in text for text in found.values())


def test_files_in_force_are_listed_with_entry_and_date(team):
    from datetime import UTC, datetime

    team.at(datetime(2027, 3, 15, 7, 0, tzinfo=UTC))
    assert 0 == enter(team, "aircraft/pannier.toml"), team.err
    name = team.out.splitlines()[-1].split("head ")[1][:7]

    assert f"in force {name} of 2027-03-15" == states(team)["aircraft pannier"]


def test_a_second_signature_is_asked_for_and_nothing_is_entered_without(team):
    code = enter(team, "packs/pack-a.toml", "aircraft/pannier.toml", by=("mechanic",))

    assert 5 == code
    assert "two persons sign that. Give --by twice" in team.err
    assert {"version in force"} == {" ".join(s.split()[-3:]) for s in states(team).values()}


def test_a_change_without_limits_is_entered_by_one(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    edit(team, '"PN-01"', '"PN-02"')

    assert 0 == enter(team, "aircraft/pannier.toml", by=("pilot",)), team.err
    assert 'serial: in force "PN-01", here "PN-02"' in team.out


def test_a_change_of_a_limit_is_shown_and_takes_two(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    edit(team, "at_most = 24.0", "at_most = 26.0")
    line = 'limits."flight.max_airspeed".at_most: in force 24.0, here 26.0, a limit'

    assert 5 == enter(team, "aircraft/pannier.toml", by=("pilot",))
    assert line in team.out
    assert "changed" in states(team)["aircraft pannier"]
    assert line in team.out
    assert 0 == enter(team, "aircraft/pannier.toml")


def test_somebody_who_is_named_twice_is_one_person(team):
    code = enter(team, "aircraft/pannier.toml", by=("pilot", "pilot"))

    assert 2 == code
    assert "two different persons" in team.err


def test_a_file_at_fault_is_told_and_nothing_is_entered(team):
    (team.team / "packs" / "pack-b.toml").write_text("x = \n", encoding="utf-8")

    assert 3 == enter(team, "aircraft/pannier.toml", "packs/pack-b.toml")
    assert "pack-b.toml:1: not valid TOML" in team.err
    assert "not entered" in states(team)["aircraft pannier"]
    assert "at fault" in states(team)["pack pack-b"]


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["none.toml"], 3, "no such file"),
        (["packs/pack-a.toml", "packs/pack-a.toml"], 2, "is given twice"),
        (["team.toml"], 3, "is a team file, which the record does not keep"),
    ],
)
def test_slips_in_entering_are_told(team, words, code, message):
    assert code == enter(team, *words)
    assert message in team.err


def test_what_is_in_force_is_left_as_it_is(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    assert 0 == enter(team, "aircraft/pannier.toml")

    assert "Signed and added" not in team.out


def test_a_file_from_elsewhere_is_put_into_the_folder(team, tmp_path):
    place = tmp_path / "mine.toml"
    place.write_text('schema = "flightlog.site/1"\nid = "top-field"\n', encoding="utf-8")

    assert 0 == enter(team, str(place), by=("pilot",)), team.err
    home = team.team / "sites" / "top-field.toml"
    assert place.read_bytes() == home.read_bytes()

    place.write_text('schema = "flightlog.site/1"\nid = "top-field"\n#\n', encoding="utf-8")
    assert 2 == enter(team, str(place), by=("pilot",))
    assert "the team folder has another file of this id" in team.err


def test_text_of_a_file_reaches_the_screen_without_its_controls(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    edit(team, '"PN-01"', '"\\u001b[2J\\u202ePN"')

    assert 0 == team.run("team", "files")
    assert "\x1b" not in team.out
    assert "\u202e" not in team.out


def test_files_are_put_back(team, capsys):
    assert 0 == enter(team, "aircraft/pannier.toml")
    place = edit(team, '"PN-01"', '"PN-02"')
    app = typer.Typer()
    app.command()(restore_files)

    app([str(place), "--team", str(team.team)], standalone_mode=False)
    assert "is kept as" in capsys.readouterr().out
    assert states(team)["aircraft pannier"].startswith("in force ")


def test_help_says_what_the_commands_do(capsys):
    for words in (["files"], ["enter"], ["baseline"], ["parameters"]):
        assert 0 == main(["team", *words, "--help"])
        assert "Example: flightlog team" in capsys.readouterr().out


# --- parameters


def parameters(team, values: str, *more: str) -> int:
    place = team.root / "today.param"
    place.write_text(values, encoding="utf-8")
    return team.run("team", "parameters", str(place), "--aircraft", "pannier", *more)


def baseline(team, source: Path, *more: str) -> int:
    words = ("team", "baseline", str(source), "--aircraft", "pannier", *TWO, *more)
    return team.signs(*words, by=("mechanic", "pilot"))


def test_parameters_are_compared_with_the_baseline(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    place = team.root / "bench.param"
    place.write_text("ROLL_P 0.12\n", encoding="utf-8")

    assert 5 == parameters(team, "ROLL_P 0.12\n")
    assert "There is no baseline" in team.out
    assert 2 == baseline(team, place)
    assert "does not tell the firmware" in team.err
    assert 0 == baseline(team, place, "--firmware", "Made 1.0"), team.err

    assert 0 == parameters(team, "ROLL_P,0.12000\n", "--firmware", "Made 1.0"), team.err
    assert "Equal to the baseline" in team.out
    assert 5 == parameters(team, "ROLL_P 0.13\n", "--firmware", "Made 1.1")
    assert "ROLL_P 0.12 -> 0.13" in team.out
    assert "firmware Made 1.0 -> Made 1.1" in team.out
    assert 5 == parameters(team, "ROLL_P 0.12\n")
    assert "the firmware is not known" in team.out


def test_a_new_baseline_is_shown_beside_the_one_before(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    assert 0 == baseline(team, SAMPLES / "calm.bin"), team.err
    assert "8 parameters, firmware: Simulated autopilot 1.0" in team.out
    place = team.root / "bench.param"
    place.write_text("SERVO3_MAX 1940\n", encoding="utf-8")

    assert 0 == baseline(team, place, "--firmware", "Made 1.0")
    assert "SERVO3_MAX: 1950 -> 1940" in team.out
    assert "firmware: Simulated autopilot 1.0 -> Made 1.0" in team.out


def test_one_person_signs_no_baseline(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    words = ("team", "baseline", str(SAMPLES / "calm.bin"), "--aircraft", "pannier")

    code = team.run(*words, "--by", "pilot", types=[passphrase_of("pilot")])
    assert 2 == code
    assert "two different persons" in team.err


def test_parameters_of_no_aircraft_and_of_no_file_are_told(team):
    assert 0 == enter(team, "aircraft/pannier.toml")
    words = ("team", "parameters", str(SAMPLES / "calm.bin"), "--aircraft")

    assert 2 == team.run(*words, "panier")
    assert "Did you mean 'pannier'" in team.err
    assert 3 == parameters(team, "ROLL_P soft\n")
    assert "today.param:1" in team.err
