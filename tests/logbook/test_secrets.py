"""Passphrases and seeds are searched wherever this room may have left them."""

from __future__ import annotations

import base64
import hashlib
import json
import logging
import os
import pickle
import subprocess
import sys
import tempfile
from pathlib import Path
from types import SimpleNamespace

import pytest
from cryptography.hazmat.primitives.asymmetric import ed25519
from cryptography.hazmat.primitives.kdf import scrypt

from flightlog.cli.wall import shielded
from flightlog.errors import FlightlogError, PassphraseError, RefusedError, UsageError
from flightlog.logbook import keyfile, keys, tries
from flightlog.logbook.keyfile import read_key
from flightlog.logbook.keys import KeyFolder, Passphrase, Session, read_passphrase
from tests.logbook.hands import CHEAP, Clock, known
from tests.logbook.secrets import forms, own_process, traces

ROOT = Path(__file__).parents[2]
SECRETS: dict[str, str | bytes] = {
    "passphrase": "Grünes Heu 7 unterm Dach",
    "wrong passphrase": "Nasses Heu 8 unterm Dach",
    "new passphrase": "Altes Stroh 9 überm Stall",
    "seed": hashlib.sha256(b"the seed of nobody").digest(),
}


def right() -> Passphrase:
    return Passphrase(str(SECRETS["passphrase"]))


def wrong() -> Passphrase:
    return Passphrase(str(SECRETS["wrong passphrase"]))


def new() -> Passphrase:
    return Passphrase(str(SECRETS["new passphrase"]))


def seeded(path: Path) -> KeyFolder:
    return KeyFolder(path, cost=CHEAP, randomness=known(SECRETS["seed"]), clock=Clock().wall)


# --- the search finds what is there

PLANTED = "Grünes Heu 7 unterm Dach"
BYTES = PLANTED.encode()
HIDDEN = {
    "text": BYTES,
    "decomposed text": "Gru\u0308nes Heu 7 unterm Dach".encode(),
    "half of it": BYTES[: len(BYTES) // 2],
    "the other half": BYTES[len(BYTES) // 2 :],
    "UTF-16": PLANTED.encode("utf-16"),
    "UTF-16, big end first": PLANTED.encode("utf-16-be"),
    "UTF-16, reversed": PLANTED[::-1].encode("utf-16-le"),
    "bytes of UTF-16 from behind": PLANTED.encode("utf-16-le")[::-1],
    "reversed": BYTES[::-1],
    "hex": BYTES.hex().encode(),
    "hex in capitals": BYTES.hex().upper().encode(),
    "hex with colons": BYTES.hex(":").encode(),
    "hex in UTF-16": BYTES.hex().encode("utf-16"),
    "base64": base64.b64encode(BYTES),
    "base64 one further": base64.b64encode(b"x" + BYTES + b"y"),
    "base64 two further": base64.b64encode(b"xx" + BYTES),
    "urlsafe base64": base64.urlsafe_b64encode(BYTES),
    "base32": base64.b32encode(BYTES),
    "base85": base64.b85encode(BYTES),
    "bytes as Python shows them": repr(BYTES).encode(),
    "text as Python shows it": ascii(PLANTED).encode(),
    "JSON": json.dumps(PLANTED).encode(),
    "numbers": str(list(BYTES)).encode(),
    "numbers in JSON": json.dumps(list(BYTES), separators=(",", ":")).encode(),
    "one number": str(int.from_bytes(BYTES, "little")).encode(),
    "percent signs": b"Gr%C3%BCnes%20Heu%207%20unterm%20Dach",
    "a pickle": pickle.dumps({"held": PLANTED}),
    "a capital form": PLANTED.upper().encode(),
}


@pytest.mark.parametrize("form", HIDDEN)
def test_the_search_finds_every_form(tmp_path, form):
    (tmp_path / "deep" / "er").mkdir(parents=True)
    (tmp_path / "deep" / "er" / "file.bin").write_bytes(b"\0before" + HIDDEN[form] + b"after")

    found = traces({"planted": PLANTED}, {"folder": tmp_path})
    assert found
    assert all(trace.startswith("planted as ") for trace in found)
    assert all(trace.endswith(f" in folder: {Path('deep/er/file.bin')}") for trace in found)


@pytest.mark.parametrize("written", [bytes.hex, base64.b64encode, base64.urlsafe_b64encode, repr])
def test_the_search_finds_bytes_that_are_no_text(written):
    # Each byte from fb to ff makes + and / in base64, so that its two alphabets differ.
    seed = bytes(range(0xFF, 0xDF, -1))
    shown = written(seed)

    assert traces({"seed": seed}, {"place": shown})
    assert traces({"seed": seed}, {"place": seed})
    assert not traces({"seed": seed[::2]}, {"place": shown})


class Holder:
    def __init__(self, held: object) -> None:
        self.held = held


class Shown:
    def __repr__(self) -> str:
        return f"<shown {PLANTED}>"


def raised_with_local() -> BaseException:
    def inner() -> None:
        planted = PLANTED
        raise ValueError(len(planted))

    return caught(inner)


def raised_with_argument() -> BaseException:
    return ValueError(PLANTED)


def raised_from_something_hidden() -> BaseException:
    def inner() -> None:
        try:
            raise ValueError(PLANTED)
        except ValueError:
            raise KeyError("said") from None

    return caught(inner)


def caught(act) -> BaseException:
    try:
        act()
    except Exception as error:
        return error
    raise AssertionError("nothing was raised")


PLACES = {
    "text": f"x{PLANTED}x",
    "bytes": bytearray(BYTES),
    "a list": ["x", {"deep": [f"x{PLANTED}"]}],
    "a key": {PLANTED: 1},
    "an attribute": Holder(PLANTED),
    "what it shows": Shown(),
    "a slot that is pickled": SimpleNamespace(inner=[PLANTED]),
    "a variable of a frame": raised_with_local(),
    "an argument of an exception": raised_with_argument(),
    "an exception that a traceback leaves out": raised_from_something_hidden(),
}


@pytest.mark.parametrize("place", PLACES)
def test_the_search_looks_into_every_place(place):
    assert traces({"planted": PLANTED}, {"here": PLACES[place]})
    assert not traces({"planted": "another text altogether"}, {"here": PLACES[place]})


def test_the_search_looks_at_names_and_links_of_files(tmp_path):
    (tmp_path / f"a {PLANTED}").write_bytes(b"")
    assert [f"planted as raw bytes in folder: a {PLANTED}: the name"] == traces(
        {"planted": PLANTED}, {"folder": tmp_path}
    )[:1]

    (tmp_path / f"a {PLANTED}").unlink()
    assert [] == traces({"planted": PLANTED}, {"folder": tmp_path})
    try:
        (tmp_path / "link").symlink_to(PLANTED)
    except OSError:
        return  # this user may make no links here
    assert traces({"planted": PLANTED}, {"folder": tmp_path})


def test_the_search_looks_at_this_process(monkeypatch):
    assert [] == traces({"planted": PLANTED}, own_process())
    monkeypatch.setenv("FLIGHTLOG_SECRET", PLANTED)
    assert traces({"planted": PLANTED}, {"environment": own_process()["environment"]})
    monkeypatch.setattr(sys, "argv", ["flightlog", "--passphrase", PLANTED])
    assert traces({"planted": PLANTED}, {"arguments": own_process()["arguments"]})


def test_a_place_that_is_not_there_is_not_taken_for_clean(tmp_path):
    with pytest.raises(AssertionError, match="not there to be searched"):
        traces(SECRETS, {"folder": tmp_path / "none"})


def test_nothing_that_is_searched_is_short_enough_to_be_found_by_chance():
    for secret in SECRETS.values():
        assert min(map(len, forms(secret).values())) >= 8
        assert len(forms(secret)) > 50


# --- and finds nothing where keys are used


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """The folder for temporary files, of this test alone."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    for name in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.setenv(name, str(folder))
    monkeypatch.setattr(tempfile, "tempdir", None)
    tries._KEPT.clear()
    return folder


def test_using_a_key_leaves_nothing(tmp_path, temporary, caplog, capfd):
    caplog.set_level(logging.DEBUG)
    folder = seeded(tmp_path / "keys")
    made = folder.create(right())
    errors = []
    with Session("a list") as session:
        unlocked = session.unlock(folder, made.key, right())
        signature = unlocked.sign(b"{}", "a list")
        for act in (
            lambda: unlocked.sign(b"{}", "another list"),
            lambda: folder.unlock(made.key, wrong()),
            lambda: folder.unlock(made.key, wrong()),
            lambda: folder.unlock(made.key, right()),
            lambda: seeded(folder.path).create(right()),
            lambda: folder.create(Passphrase("short")),
            lambda: folder.change_passphrase(made.key, wrong(), new()),
            lambda: pickle.dumps(unlocked),
            lambda: pickle.dumps(right()),
            lambda: json.dumps([unlocked, right()]),
        ):
            errors.append(caught(act))
        assert {True} == {isinstance(error, FlightlogError | TypeError) for error in errors}
    folder.path.joinpath(f"{made.key[:16]}.tries.json").unlink()
    folder.change_passphrase(made.key, right(), new())
    after = folder.unlock(made.key, new())

    places = {
        "keys": folder.path,
        "everything": tmp_path,
        "log": caplog.text,
        "output": list(capfd.readouterr()),
        "errors": errors,
        "objects": [
            *(folder, made, session, unlocked, after, signature, right(), wrong()),
            *(read_key(made.path), folder.list(), folder.find("")),
        ],
        "process": own_process(),
    }
    assert [] == traces(SECRETS, places)
    assert temporary.is_dir()


def test_the_search_of_the_key_folder_would_find_an_unsealed_key(tmp_path, temporary):
    """With a cipher that seals nothing, the same search finds the seed."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            keyfile,
            "_cipher",
            lambda *_: SimpleNamespace(encrypt=lambda nonce, seed, bound: seed + bytes(16)),
        )
        folder = seeded(tmp_path / "keys")
        folder.create(right())

    assert any(trace.startswith("seed as hex") for trace in traces(SECRETS, {"keys": folder.path}))


def test_the_part_of_a_key_file_is_sealed_already(tmp_path, temporary, monkeypatch):
    """A process that is killed before the file has its name leaves this part behind."""
    kept = []
    monkeypatch.setattr(os, "replace", lambda part, _path: kept.append(Path(part).read_bytes()))
    folder = seeded(tmp_path / "keys")
    folder.create(right())

    assert 1 == len(kept)
    assert [] == traces(SECRETS, {"part": kept, "keys": folder.path, "temporary": temporary})


# What meets a fault: where it is put -> something that fails there with an error of Python's own.
# Nothing written in Python, so that the last frames are those of the program.
FAULTS = {
    "making the key": (ed25519, "Ed25519PrivateKey", SimpleNamespace(from_private_bytes=abs)),
    "stretching": (scrypt, "Scrypt", lambda **_: SimpleNamespace(derive=abs)),
    "the cipher": (keyfile, "_cipher", lambda *_: SimpleNamespace(encrypt=abs, decrypt=abs)),
    "the public key": (keyfile, "public_hex", abs),
    "what is bound": (keyfile.SealedKey, "bound", abs),
    "writing": (keys, "write_private", len),
    "naming": (os, "replace", len),
    "flushing": (os, "fsync", divmod),
    "counting": (tries, "write_private", len),
    "reading": (keyfile, "decode", abs),
    "the unlock": (keys, "Unlocked", abs),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_anywhere_shows_nothing(tmp_path, temporary, monkeypatch, capfd, fault):
    folder = seeded(tmp_path / "keys")
    made = folder.create(right())
    monkeypatch.setattr(*FAULTS[fault])
    acts = (
        lambda: folder.unlock(made.key, right()),
        lambda: folder.unlock(made.key, wrong()),
        lambda: folder.change_passphrase(made.key, right(), new()),
        lambda: seeded(tmp_path / "other keys").create(right()),
    )
    errors: list[Exception] = []
    for act in acts:
        shielded(lambda act=act: _noted(act, errors))
    assert [e for e in errors if not isinstance(e, FlightlogError)]

    places = {
        "errors": errors,
        "output": list(capfd.readouterr()),
        "everything": tmp_path,
    }
    assert list(temporary.glob("flightlog-fault-*.txt"))
    assert [] == traces(SECRETS, places)


def _noted(act, errors: list[Exception]) -> int:
    try:
        act()
    except Exception as error:
        errors.append(error)
        raise
    return 0


def test_a_passphrase_that_is_refused_is_not_shown():
    def too_long() -> None:
        Passphrase(str(SECRETS["passphrase"]) * 99)

    def half_a_character() -> None:
        Passphrase(str(SECRETS["passphrase"]) + "\udcff")

    errors = [caught(too_long), caught(half_a_character)]

    assert [UsageError, UsageError] == [type(error) for error in errors]
    assert [] == traces(SECRETS, {"errors": errors})


@pytest.mark.parametrize("ending", [b"\xff\n", b"x" * 1100 + b"\n", b"\xed\xa0\x80"])
def test_a_line_that_is_refused_is_not_shown(ending):
    reads, writes = os.pipe()
    os.write(writes, str(SECRETS["passphrase"]).encode() + ending)
    os.close(writes)
    error = caught(lambda: read_passphrase(reads))
    os.close(reads)

    assert UsageError is type(error)
    assert [] == traces(SECRETS, {"error": error})


def test_a_key_that_runs_out_of_time_is_gone_from_what_can_be_reached(tmp_path, temporary):
    folder = seeded(tmp_path / "keys")
    unlocked = folder.unlock(folder.create(right()).key, right())
    unlocked.end()
    error = caught(lambda: unlocked.sign(b"{}"))

    assert RefusedError is type(error)
    assert [] == traces(SECRETS, {"error": error, "unlock": unlocked})


def test_a_wrong_passphrase_is_said_without_it(tmp_path, temporary):
    folder = seeded(tmp_path / "keys")
    key = folder.create(right()).key
    error = caught(lambda: folder.unlock(key, wrong()))

    assert PassphraseError is type(error)
    assert [] == traces(SECRETS, {"error": error})


# --- another process


def lines() -> bytes:
    """What is given to the process by its standard input."""
    words = (bytes(SECRETS["seed"]).hex(), SECRETS["passphrase"], SECRETS["wrong passphrase"])
    return "".join(f"{word}\n" for word in words).encode()


def test_a_process_that_meets_a_fault_leaves_nothing(tmp_path, temporary):
    done = subprocess.run(
        [sys.executable, "-X", "dev", "-m", "tests.logbook.signing_child", tmp_path / "keys"],
        input=lines(),
        capture_output=True,
        cwd=ROOT,
        timeout=60,
        check=False,
    )
    faults = list(temporary.glob("flightlog-fault-*.txt"))

    # It did what it was to do: refused (5), a fault (1), a wrong passphrase (3), no more lines (2).
    assert b"[5, 1, 3, 2]" in done.stdout, done.stderr
    assert b"nobody catches this" in done.stderr
    assert 1 == len(faults)
    assert "in sign" in faults[0].read_text(encoding="utf-8")
    assert [] == traces(
        SECRETS,
        {
            "output": done.stdout,
            "errors": done.stderr,
            "everything": tmp_path,
            "keys": tmp_path / "keys",
        },
    )
