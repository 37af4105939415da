"""A team at the command line with the sample files in force."""

from __future__ import annotations

from pathlib import Path

from tests.cli.teams import Terminal

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_flights"
FILES = {
    "aircraft/pannier.toml": SAMPLES / "pannier.toml",
    "packs/pack-a.toml": SAMPLES / "pack_a.toml",
    "components/propeller-1.toml": SAMPLES / "propeller_1.toml",
    "rules/club-trial-2027.toml": ROOT / "checklists" / "club_trial_2027.toml",
}


def equipped(terminal: Terminal, *files: str) -> None:
    """Found a record whose persons hold all roles between them, and enter sample files."""
    names = ("pilot", "mechanic")
    code = terminal.signs(
        *("team", "new", str(terminal.team), "--name", "Hill farm"),
        *("--person", "pilot", "--roles", "pilot,inspector,battery"),
        *("--person", "mechanic", "--roles", "mechanic,inspector"),
        by=[*names, *names],
    )
    assert 0 == code, terminal.err
    for name in files:
        place = terminal.team / name
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(FILES[name].read_bytes())
        code = terminal.signs(
            *("team", "enter", str(place), "--by", "mechanic", "--by", "pilot"),
            by=["mechanic", "pilot"],
        )
        assert 0 == code, terminal.err


def entry_added(terminal: Terminal) -> str:
    """Give the short name of the entry that the last command added, like 14.H3MED."""
    line = next(one for one in terminal.out.splitlines() if "added: entry" in one.lower())
    return line.rpartition("head ")[2].partition("-")[0]
