from __future__ import annotations

from pathlib import Path

import pytest

from flightlog.cli import wall
from flightlog.errors import Interrupted, LogFileError, NotEnoughDataError


def raising(error):
    def step():
        raise error

    return step


def test_a_step_that_works_gives_its_own_code():
    assert 4 == wall.shielded(lambda: 4)


@pytest.mark.parametrize(
    ("error", "code"), [(LogFileError("empty"), 3), (NotEnoughDataError("too short"), 1)]
)
def test_what_is_raised_on_purpose_has_its_own_code(error, code, capsys):
    assert code == wall.shielded(raising(error))
    assert f"flightlog: {error.sentence()}\n" == capsys.readouterr().err


def test_a_fault_is_one_line_and_its_details_are_kept(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    code = wall.shielded(raising(ZeroDivisionError("the secret detail")))
    line = capsys.readouterr().err
    (details,) = tmp_path.iterdir()

    assert 1 == code
    assert 1 == line.count("\n")
    assert "Traceback" not in line
    assert str(details) in line
    assert "the secret detail" in details.read_text(encoding="utf-8")


def test_a_fault_without_a_place_for_its_details_is_still_one_line(monkeypatch, capsys):
    monkeypatch.setattr("tempfile.tempdir", str(Path("no") / "such" / "folder"))

    assert 1 == wall.shielded(raising(ZeroDivisionError()))
    assert "could not be written" in capsys.readouterr().err


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Interrupted("stopped")])
def test_an_interrupt_passes(error):
    with pytest.raises(type(error)):
        wall.shielded(raising(error))


@pytest.mark.parametrize(
    ("codes", "code"), [([], 0), ([0, 0], 0), ([0, 4], 4), ([4, 3, 0], 3), ([3, 1], 1)]
)
def test_the_gravest_code_wins(codes, code):
    assert code == wall.gravest(codes)


def test_hostile_text_in_an_error_is_one_harmless_line(capsys):
    wall.report(LogFileError("there is no such file", where="\x1b[2Ja\nflightlog: all is well"))

    assert "flightlog: a flightlog: all is well: there is no such file\n" == capsys.readouterr().err
