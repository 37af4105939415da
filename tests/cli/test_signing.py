"""Passphrases at a terminal: asked for, asked again after a slip, never shown."""

from __future__ import annotations

import pytest

from flightlog.cli.signing import Hands
from flightlog.errors import KeyFileError, PassphraseError
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


def test_a_new_passphrase_is_asked_for_until_it_is_long_enough_and_typed_twice_alike(
    tmp_path, typed, capsys
):
    texts, _ = typed
    texts += ["short", "one and the same", "another one", "one and the same", "one and the same"]

    key = Hands([tmp_path / "keys"], None, tmp_path / "team").make("pilot")

    assert [] == texts
    assert key.path.is_file()
    said = capsys.readouterr().err
    assert "at least 8 characters" in said
    assert "the two differ" in said


def test_the_prompt_waits_until_the_next_passphrase_may_be_tried(terminal, typed):
    terminal.found()
    texts, _ = typed
    slept: list[float] = []
    hands = Hands(None, None, terminal.team, sleep=slept.append)
    key = hands.folders[0].list()[0].key
    texts += ["wrong words one", "wrong words two", "wrong words three"]

    with pytest.raises(PassphraseError):
        hands.unlock(key, "somebody")

    # After the second failure one second (the wait did not really pass, so the third is refused).
    assert [1] == slept


def test_the_end_of_input_at_a_prompt_is_an_interruption(terminal, monkeypatch):
    terminal.found()
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)

    def ended(_: str) -> str:
        raise EOFError

    monkeypatch.setattr("getpass.getpass", ended)

    assert 130 == terminal.run("logbook", "remark", "x", "--by", "pilot")
    assert "stopped" in terminal.err


def test_a_key_that_is_nowhere_names_the_places_that_were_looked_at(tmp_path):
    hands = Hands([tmp_path / "one", tmp_path / "two"], None, tmp_path / "team")

    with pytest.raises(KeyFileError, match=r"one, .*two.*--keys DIR"):
        hands.unlock("0" * 64, "pilot")


def test_a_wrong_passphrase_from_a_descriptor_is_not_asked_again(terminal):
    terminal.found()

    assert PassphraseError.exit_code == terminal.run(
        "logbook", "remark", "x", "--by", "pilot", types=["words that are wrong"]
    )
