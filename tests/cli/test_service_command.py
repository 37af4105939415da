"""``flightlog event`` and ``service`` at the command line."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.cli.hangars import entry_added, equipped
from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture


@pytest.fixture(autouse=True)
def morning(terminal):
    terminal.at(datetime(2027, 3, 15, 10, 0, tzinfo=UTC))


def test_events_are_entered_by_anybody_and_those_that_ground_say_so(terminal):
    assert 0 == terminal.run("event")
    for word in ("battery-change", "hard-landing", "transport"):
        assert word in terminal.out
    assert "flight " not in terminal.out
    equipped(terminal, "aircraft/pannier.toml")

    assert 0 == terminal.run("event", "rain", "--aircraft", "pannier"), terminal.err
    assert "Out of service" not in terminal.out
    assert 0 == terminal.run("event", "hard-landing", "--aircraft", "pannier"), terminal.err
    assert "Out of service: aircraft pannier" in terminal.out
    assert "after-hard-landing" in terminal.out
    assert 2 == terminal.run("event", "hard-landing", "--aircraft", "panier")
    assert 2 == terminal.run("event", "hard-landng", "--aircraft", "pannier")
    assert "'hard-landing'" in terminal.err
    assert 2 == terminal.run("event", "rain")


def test_two_persons_return_what_was_stopped(terminal):
    equipped(terminal, "aircraft/pannier.toml", "packs/pack-a.toml")
    words = ("service", "stop", "--pack", "pack-a", "--reason", "swollen")
    assert 0 == terminal.run(*words), terminal.err
    stopped = entry_added(terminal)
    assert 0 == terminal.run("service", "show")
    assert "pack pack-a: swollen" in terminal.out
    assert f"flightlog service return {stopped}" in terminal.out

    words = ("service", "return", stopped, "--text", "measured, good", "--by", "pilot")
    assert 2 == terminal.signs(*words, by=["pilot"])
    assert 2 == terminal.signs(*words, "--by", "pilot", by=["pilot", "pilot"])
    code = terminal.signs(*words, "--by", "mechanic", by=["pilot", "mechanic"])
    assert 0 == code, terminal.err
    assert 0 == terminal.run("service", "show")
    assert "Nothing is out of service." in terminal.out
    assert 2 == terminal.run("service", "stop", "--reason", "x")
