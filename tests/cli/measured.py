"""A team at the command line that measures: an engineer, and the files of aircraft and site."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.cli.teams import Terminal
from tests.operations.meters import MAP

MORNING = datetime(2027, 3, 15, 7, 0, tzinfo=UTC)
ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_flights"
FILES = {
    "aircraft/pannier.toml": (SAMPLES / "pannier.toml").read_text("utf-8"),
    "packs/pack-a.toml": (SAMPLES / "pack_a.toml").read_text("utf-8"),
    "sites/top-field.toml": (SAMPLES / "site.toml").read_text("utf-8"),
    "meters/pole-meter.toml": MAP,
}
WEIGH = (
    *("balance", "weigh", "--aircraft", "pannier", "--scale", "nose=0.10,0=0.650"),
    *("--scale", "left=0.50,-0.25=2.170", "--scale", "right=0.50,0.25=2.180"),
    *("--reading-std", "0.005", "--arm-std", "0.001", "--instrument", "SC-1 to SC-3"),
    *("--state", "level, without pack", "--by", "mechanic"),
)
SHEET = ("balance", "sheet", "--aircraft", "pannier", "--pack", "pack-a")
WEATHER = {
    "--place": "top-field",
    "--mast-height": "2",
    "--wind": "3.3@70",
    "--gust": "4.6",
    "--pressure": "1009.5",
    "--temperature": "17",
    "--humidity": "60",
    "--instrument": "AM-1",
    "--by": "mechanic",
}


def _equipped(terminal: Terminal) -> None:
    """Found a record with an engineer, and enter the files by two persons."""
    names = ("pilot", "mechanic")
    code = terminal.signs(
        *("team", "new", str(terminal.team), "--name", "Hill farm"),
        *("--person", "pilot", "--roles", "pilot,inspector"),
        *("--person", "mechanic", "--roles", "mechanic,inspector,engineer"),
        by=[*names, *names],
    )
    assert 0 == code, terminal.err
    for name, text in FILES.items():
        place = terminal.team / name
        place.parent.mkdir(exist_ok=True)
        place.write_text(text, "utf-8")
    enter_files(terminal, *FILES)


def enter_files(terminal: Terminal, *names: str) -> None:
    paths = [str(terminal.team / name) for name in names]
    words = ("team", "enter", *paths, "--by", "mechanic", "--by", "pilot")
    assert 0 == terminal.signs(*words, by=["mechanic", "pilot"]), terminal.err


@pytest.fixture(scope="session")
def kept_team(tmp_path_factory):
    """Where the team is kept once it was founded: to copy it takes a tenth of the time."""
    return tmp_path_factory.mktemp("kept") / "root"


@pytest.fixture
def measuring(tmp_path, capsys, monkeypatch, kept_team):
    """A team with an engineer at the command line, on a morning of the sample season."""
    terminal = Terminal(tmp_path, capsys, monkeypatch)
    terminal.at(MORNING)
    if not kept_team.exists():
        _equipped(terminal)
        shutil.copytree(tmp_path, kept_team)
    else:
        shutil.copytree(kept_team, tmp_path, dirs_exist_ok=True)
    return terminal


def added_weather(terminal: Terminal, **changed: str) -> int:
    """Type ``weather add``; options without their hyphens, and with lines below for hyphens."""
    options = {**WEATHER, **{f"--{k.replace('_', '-')}": v for k, v in changed.items()}}
    words = [word for pair in options.items() for word in pair]
    return terminal.signs("weather", "add", *words, by=["mechanic"])


def entry_of(terminal: Terminal) -> str:
    """Give the short name of the entry that was added last, like 14.H3MED."""
    line = next(one for one in terminal.out.splitlines() if one.startswith("Signed and added"))
    return line.rpartition("head ")[2].partition("-")[0]
