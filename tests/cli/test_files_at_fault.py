from __future__ import annotations

import json
import os
import sys

import pytest

from flightlog.cli import app

COMMANDS = [["debrief"], ["explain"], ["convert", "--to", "tables"]]


@pytest.fixture(params=["missing", "folder", "empty", "no log", "denied", "odd name"])
def at_fault(request, tmp_path):
    path = tmp_path / "given.bin"
    if request.param == "folder":
        path.mkdir()
    elif request.param == "empty":
        path.write_bytes(b"")
    elif request.param == "no log":
        path.write_bytes(b"\x1b[31mDear diary,\nno flying today\n" * 100)
    elif request.param == "denied":
        path.write_bytes(b"\xa3\x95" * 100)
        path.chmod(0)
        if sys.platform == "win32" or os.access(path, os.R_OK):
            pytest.skip("this user may read everything")
    elif request.param == "odd name":
        if sys.platform == "win32":
            pytest.skip("such names can't be given here")
        path = tmp_path / "\x1b[31m[red]gone\nforged.bin"
    return path


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: c[0])
def test_a_file_at_fault_is_one_line_and_three(command, at_fault, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)

    code = app.main([command[0], str(at_fault), *command[1:]])
    shown = capsys.readouterr()

    assert (3, "") == (code, shown.out)
    assert 1 == shown.err.count("\n")
    assert shown.err.startswith("flightlog: ")
    assert shown.err.rstrip("\n").isprintable()
    assert not (tmp_path / "tables").exists()


def test_a_file_at_fault_with_json_is_one_object(at_fault, capsys):
    code = app.main(["debrief", str(at_fault), "--json"])
    body = json.loads(capsys.readouterr().out)

    assert 3 == code
    assert "flightlog.error/1" == body["schema"]
    assert body["found"]
    assert body["fix"]


@pytest.mark.parametrize("option", ["--site", "--aircraft", "--rules"])
@pytest.mark.parametrize(
    "content", [None, b"", b"not = [closed", b'schema = "flightlog.other/1"\n', b"\xff\xfe\x00"]
)
def test_a_team_file_at_fault_is_one_line_and_three(option, content, tmp_path, capsys):
    given = tmp_path / "given.toml"
    if content is not None:
        given.write_bytes(content)

    code = app.main(["debrief", "a.bin", option, str(given)])
    shown = capsys.readouterr()

    assert (3, "") == (code, shown.out)
    assert 1 == shown.err.count("\n")
    assert "given.toml" in shown.err
