"""Passphrases at a terminal: asked for, asked again after a slip, never shown."""

from __future__ import annotations

import pytest

from flightlog.cli.signing import Hands
from flightlog.errors import KeyFileError, PassphraseError, UsageError
from tests.cli.teams import passphrase_of, terminal

__all__ = ["terminal"]  # a fixture


@pytest.fixture
def typed(monkeypatch):
    """What a person types at the prompts, one after the other; and the prompts."""
    texts: list[str] = []
    prompts: list[str] = []

    def answer(prompt: str) -> str:
        prompts.append(prompt)
        return texts.pop(0)

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("getpass.getpass", answer)
    return texts, prompts


def test_a_slip_is_forgiven_at_the_terminal(terminal, typed):
    terminal.found()
    texts, prompts = typed
    texts += ["a slip of the finger", passphrase_of("pilot")]

    assert 0 == terminal.run("logbook", "remark", "x", "--by", "pilot")
    assert "does not open this key" in terminal.err
    assert 2 == len(prompts)
    assert all("pilot" in prompt for prompt in prompts)


def test_a_new_passphrase_is_typed_twice_alike(tmp_path, typed):
    texts, _ = typed
    texts += ["one and the same", "another one"]

    with pytest.raises(UsageError, match="differ"):
        Hands([tmp_path / "keys"], None, tmp_path / "team").make("pilot")
    assert not (tmp_path / "keys").exists()


def test_a_key_that_is_nowhere_names_the_places_that_were_looked_at(tmp_path):
    hands = Hands([tmp_path / "one", tmp_path / "two"], None, tmp_path / "team")

    with pytest.raises(KeyFileError, match=r"one, .*two.*--keys DIR"):
        hands.unlock("0" * 64, "pilot")


def test_a_wrong_passphrase_from_a_descriptor_is_not_asked_again(terminal):
    terminal.found()

    assert PassphraseError.exit_code == terminal.run(
        "logbook", "remark", "x", "--by", "pilot", types=["words that are wrong"]
    )
