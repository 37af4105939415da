from __future__ import annotations

import json
import subprocess
import sys

import pytest
from typer.main import get_command

import flightlog
from flightlog.cli import app
from flightlog.cli.commands import application

HEAVY = {
    *("numpy", "pandas", "scipy", "pyarrow", "pymavlink", "rich", "streamlit", "plotly", "typst"),
    *("pydantic", "cryptography", "sqlite3", "platformdirs", "dask", "distributed", "duckdb"),
}
WHOLE = get_command(application())
COMMANDS = sorted(
    name for name, command in WHOLE.commands.items() if not hasattr(command, "commands")
)


def words_of(group, words=()):
    """Give the words of every command and of every group of them."""
    for name, command in group.commands.items():
        yield [*words, name]
        if hasattr(command, "commands"):
            yield from words_of(command, (*words, name))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command, capsys):
    assert 0 == app.main([command, "--help"])
    text = capsys.readouterr().out

    assert f"Example: flightlog {command}" in text
    assert text.isascii()


def test_the_version_is_printed(capsys):
    assert 0 == app.main(["--version"])
    assert f"flightlog {flightlog.__version__}\n" == capsys.readouterr().out


def test_without_a_command_the_help_is_shown(capsys):
    assert 2 == app.main([])
    assert "flightlog demo" in capsys.readouterr().out


def test_the_module_runs_as_a_program():
    done = subprocess.run(
        [sys.executable, "-m", "flightlog", "--version"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert (0, f"flightlog {flightlog.__version__}\n") == (done.returncode, done.stdout)


def test_help_of_every_command_loads_nothing_heavy():
    code = (
        "import contextlib, io, json, sys\n"
        "from flightlog.cli.app import main\n"
        "for words in json.load(sys.stdin):\n"
        "    with contextlib.redirect_stdout(io.StringIO()):\n"
        "        main([*words, '--help'])\n"
        f"    if loaded := {HEAVY!r} & set(sys.modules):\n"
        "        sys.exit(f'{words} loads {sorted(loaded)}')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        input=json.dumps([[], *words_of(WHOLE)]),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )

    assert (0, "") == (done.returncode, done.stderr)


def test_a_command_made_alone_says_and_takes_what_it_does_among_all(capsys):
    for words in words_of(WHOLE):
        alone = get_command(application(words))
        for made in (WHOLE, alone):
            made.main([*words, "--help"], prog_name="flightlog", standalone_mode=False)
        said = capsys.readouterr().out

        assert said[: len(said) // 2] * 2 == said, words
        assert [words[0]] == list(alone.commands)


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (["logbok"], "Did you mean 'logbook'?"),
        (["logbook", "chek"], "Did you mean 'check'?"),
        (["team", "crew", "lis"], "Did you mean 'list'?"),
    ],
)
def test_a_slip_is_answered_with_the_command_that_was_meant(words, hint, capsys):
    assert 2 == app.main(words)
    assert hint in " ".join(capsys.readouterr().err.split())
