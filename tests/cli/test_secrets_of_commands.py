"""Private keys and passphrases are searched wherever whole commands may have left them."""

from __future__ import annotations

import json
import logging
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from flightlog.logbook.keys import KeyFolder
from tests.cli.teams import CHEAP, passphrase_of, terminal
from tests.logbook.secrets import own_process, traces

__all__ = ["terminal"]  # a fixture

_HANDED_OUT: list[bytes] = []
WRONG = "words that were never right"


def _noted(count: int) -> bytes:
    data = os.urandom(count)
    _HANDED_OUT.append(data)
    return data


def _seeds(keys: Path) -> dict[str, bytes]:
    """Those of the random bytes that became private keys, by what is public of them."""
    public = {json.loads(p.read_bytes())["public"] for p in keys.glob("*.key.json")}
    found = {}
    for data in _HANDED_OUT:
        if len(data) == 32:
            key = Ed25519PrivateKey.from_private_bytes(data).public_key().public_bytes_raw().hex()
            if key in public:
                found[f"private key {key[:8]}"] = data
    return found


@pytest.fixture
def noted_terminal(terminal, monkeypatch):
    folder = partial(KeyFolder, cost=CHEAP, randomness=_noted)
    monkeypatch.setattr("flightlog.logbook.keys.KeyFolder", folder)
    return terminal


def test_no_command_leaves_a_secret_anywhere(noted_terminal, tmp_path, monkeypatch, caplog):
    caplog.set_level(logging.DEBUG)
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    monkeypatch.setattr("tempfile.TemporaryDirectory", _kept)
    run = noted_terminal
    said: list[str] = []

    def signs(*words: str, by: list[str]) -> int:
        code = run.signs(*words, by=by)
        said.extend((run.out, run.err))
        return code

    run.found()
    said += [run.out, run.err]
    newcomer = ["observer", "observer", "pilot"]
    assert 0 == signs("team", "crew", "enrol", "observer", "--witness", "pilot", by=newcomer)
    assert 0 == signs("logbook", "remark", "x", "--by", "mechanic", by=["mechanic"])
    assert 3 == run.run("logbook", "remark", "x", "--by", "pilot", types=[WRONG])
    said += [run.out, run.err]
    other = run.root / "other"
    shutil.copytree(run.team, other)
    run.laptop("second")
    assert 0 == run.run("logbook", "remark", "y", "--unsigned", "--team", str(other))
    run.laptop("profile")
    assert 0 == run.run("logbook", "merge", str(other))
    assert 0 == run.run("logbook", "export", str(run.root / "export"), "--with-names")
    with monkeypatch.context() as broken:  # a fault of ours in the middle of signing
        broken.setattr("flightlog.logbook.book.Logbook.append", _breaks)
        assert 1 == signs("logbook", "remark", "x", "--by", "mechanic", by=["mechanic"])

    names = ("pilot", "mechanic", "observer")
    seeds = _seeds(run.root / "profile" / "keys")
    secrets = {f"passphrase of {name}": passphrase_of(name) for name in names} | seeds
    secrets["a wrong passphrase"] = WRONG
    places = {
        "what was printed": said,
        "log": caplog.text,
        "temporary folder": temporary,
        "team folder": run.team,
        "other team folder": other,
        "export": run.root / "export",
        "keys": run.root / "profile" / "keys",
        **own_process(),
    }
    assert 3 == len(seeds)
    assert list(temporary.glob("flightlog-fault-*"))
    assert list(temporary.glob("flightlog-merge-*"))
    assert [] == traces(secrets, places)


@contextmanager
def _kept(prefix: str) -> Iterator[str]:
    """A temporary folder that is not removed, so that it can be searched."""
    yield tempfile.mkdtemp(prefix=prefix)


def _breaks(*_: object, **__: object) -> None:
    raise ZeroDivisionError("a fault of ours")
