from __future__ import annotations

import subprocess
import sys

import pytest

import flightlog
from flightlog.cli import app

COMMANDS = sorted(c.name or c.callback.__name__ for c in app.app.registered_commands if c.callback)


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


@pytest.mark.parametrize("arguments", [["--help"], ["debrief", "--help"]])
def test_help_loads_nothing_heavy(arguments):
    heavy = {"numpy", "pandas", "scipy", "pyarrow", "pymavlink", "rich", "streamlit"}
    code = (
        "import sys; from flightlog.cli.app import main; main(sys.argv[1:]); "
        f"print(sorted({heavy!r} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert "[]\n" == done.stderr
