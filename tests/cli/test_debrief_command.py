from __future__ import annotations

import json
from pathlib import Path

import pytest

from flightlog.cli import app, debriefing
from flightlog.errors import LogFileError, TeamFileError
from flightlog.uncertain import Uncertain
from tests.made_debriefs import judged, made

ROLL = Uncertain.of(28.9, 0.6, "m", source="all")
PACK = Path(__file__).parents[2] / "sample_flights" / "pack_a.toml"


@pytest.fixture
def answers(monkeypatch):
    """Give what reading and debriefing a log of a certain name gives; no file is read."""
    table = {}

    def stand_in(log, inputs, rules, columns=None):
        answer = table[log.name]
        if isinstance(answer, BaseException):
            raise answer
        return answer

    monkeypatch.setattr(debriefing, "debrief_file", stand_in)
    return table


@pytest.fixture
def rules(monkeypatch):
    monkeypatch.setattr(debriefing, "gather", lambda options: (made().inputs, object()))
    return ["--rules", "rules.toml"]


def test_a_debrief_starts_with_its_sentence_and_ends_with_zero(answers, capsys):
    answers["a.bin"] = made(judged(28.9), roll=ROLL)

    assert 0 == app.main(["debrief", "a.bin"])
    assert capsys.readouterr().out.startswith(
        "Ground roll 28.9 m (27.7 to 30.1): the 40 m limit is met."
    )


def test_a_log_without_flight_is_no_error(answers, capsys):
    answers["a.bin"] = made(sorties=0)

    assert 0 == app.main(["debrief", "a.bin"])
    assert "No flight" in capsys.readouterr().out


def test_of_several_logs_the_rest_is_done_and_the_code_is_three(answers, capsys):
    answers["a.bin"] = made(judged(28.9), roll=ROLL, file="a.bin")
    answers["b.bin"] = LogFileError("the file is empty", where="b.bin", fix="Copy it again.")
    answers["c.bin"] = made(judged(28.9), roll=ROLL, file="c.bin")

    code = app.main(["debrief", "a.bin", "b.bin", "c.bin"])
    shown = capsys.readouterr()

    assert 3 == code
    assert "c.bin; dataflash" in shown.out
    assert "flightlog: b.bin: the file is empty. Copy it again.\n" == shown.err


@pytest.mark.parametrize(
    ("outcomes", "code"),
    [
        ([judged(28.9)], 0),
        ([judged(28.9), judged(40.0)], 4),
        ([judged(28.9), judged(45.0)], 4),
        ([judged(28.9), judged(None)], 4),
        ([], 4),
    ],
)
def test_enforce_takes_nothing_but_met(answers, rules, outcomes, code):
    answers["a.bin"] = made(*outcomes, roll=ROLL)

    assert code == app.main(["debrief", "a.bin", "--enforce", *rules])


def test_enforce_does_not_pass_a_log_without_a_flight(answers, rules):
    answers["a.bin"] = made(sorties=0)

    assert 4 == app.main(["debrief", "a.bin", "--enforce", *rules])


def test_enforce_needs_a_limit(answers, capsys):
    answers["a.bin"] = made(judged(28.9), roll=ROLL)

    assert 2 == app.main(["debrief", "a.bin", "--enforce"])
    assert "there is no limit to enforce" in capsys.readouterr().err


def test_the_pack_reaches_the_debrief_and_its_limits_can_be_enforced(monkeypatch):
    seen = []

    def stand_in(log, inputs, rules, columns=None):
        seen.append(inputs.pack)
        return made(judged(28.9), roll=ROLL)

    monkeypatch.setattr(debriefing, "debrief_file", stand_in)

    assert 0 == app.main(["debrief", "a.bin", "--pack", str(PACK), "--enforce"])
    assert [("pack-a", "PK-01")] == [(pack.id, pack.serial) for pack in seen]


@pytest.mark.parametrize("typed", [["--air-temperature", "-5"], ["--air-temperature=-5"]])
def test_the_air_temperature_reaches_the_debrief_also_below_zero(monkeypatch, typed):
    seen = []

    def stand_in(log, inputs, rules, columns=None):
        seen.append(inputs.air)
        return made(judged(28.9), roll=ROLL)

    monkeypatch.setattr(debriefing, "debrief_file", stand_in)

    assert 0 == app.main(["debrief", "a.bin", *typed])
    assert [268.15] == [air.temperature_k for air in seen]


def test_the_charge_reaches_the_debrief_in_coulombs(monkeypatch):
    seen = []

    def stand_in(log, inputs, rules, columns=None):
        seen.append(inputs.charged_coulomb)
        return made(judged(28.9), roll=ROLL)

    monkeypatch.setattr(debriefing, "debrief_file", stand_in)

    assert 0 == app.main(["debrief", "a.bin", "--charged", "3.12"])
    assert seen == [pytest.approx(11232.0)]


@pytest.mark.parametrize(
    "arguments",
    [
        ["debrief"],
        ["debrief", "a.bin", "--mass", "heavy"],
        ["debrief", "a.bin", "--mass", "-1"],
        ["debrief", "a.bin", "--mass", "nan"],
        ["debrief", "a.bin", "--wind", "a breeze"],
        ["debrief", "a.bin", "--air-temperature", "288"],
        ["debrief", "a.bin", "--air-temperature", "mild"],
        ["debrief", "a.bin", "--payload-units", "-2"],
        ["debrief", "a.bin", "--charged", "3120"],
        ["debrief", "a.bin", "b.bin", "--charged", "3.1"],
        ["debrief", "a.bin", "--entered", "field_best"],
        ["debrief", "a.bin", "--entered", "field_best=nan"],
        ["debrief", "a.bin", "b.bin", "--json"],
        ["debrief", "a.bin", "--unknown"],
        ["convert", "a.bin"],
        ["convert", "a.bin", "--to", "x", "--as", "sheet"],
        ["no-such-command"],
        [],
    ],
)
def test_usage_errors_end_with_two(answers, arguments):
    assert 2 == app.main(arguments)


@pytest.mark.parametrize(
    ("raised", "code"),
    [
        (LogFileError("empty", where="a.bin", fix="Copy it again."), 3),
        (TeamFileError("unknown key 'massk'", where="p.toml", fix="Did you mean 'mass'?"), 3),
        (KeyError("surprise"), 1),
    ],
)
def test_a_failure_with_json_is_one_object(answers, capsys, raised, code):
    answers["a.bin"] = raised

    assert code == app.main(["debrief", "a.bin", "--json"])
    body = json.loads(capsys.readouterr().out)
    assert {"schema", "where", "found", "fix"} == set(body)
    assert "flightlog.error/1" == body["schema"]


def test_a_usage_error_with_json_is_one_object(capsys):
    assert 2 == app.main(["debrief", "--json"])
    assert "flightlog.error/1" == json.loads(capsys.readouterr().out)["schema"]


def test_an_interrupt_ends_with_one_line_and_130(answers, capsys):
    answers["a.bin"] = KeyboardInterrupt()
    answers["b.bin"] = made(roll=ROLL)

    assert 130 == app.main(["debrief", "a.bin", "b.bin"])
    shown = capsys.readouterr()
    assert "" == shown.out
    assert "flightlog: stopped before the end\n" == shown.err
