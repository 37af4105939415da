from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import KeyFileError, PassphraseError
from flightlog.logbook import keyfile
from flightlog.logbook.canonical import encode
from flightlog.logbook.keyfile import (
    MOST_BYTES,
    Cost,
    read_key,
    read_small,
    seal,
    stretched,
    write_private,
)
from flightlog.logbook.passphrases import Passphrase
from flightlog.logbook.signatures import public_hex
from tests.logbook.hands import CHEAP, known
from tests.logbook.made import key_of, public_of
from tests.logbook.oracles import aead_open, aead_seal, ed25519_public, poly1305

WORDS = "dry hay under the eaves"
SEED = hashlib.sha256(b"pilot").digest()
SALT, NONCE = bytes(range(32)), bytes(range(100, 112))


def sealed_pilot():
    return seal(key_of("pilot"), Passphrase(WORDS), CHEAP, known(SALT))


@pytest.fixture(scope="module")
def record():
    return json.loads(sealed_pilot().data())


def written(folder: Path, record: dict) -> Path:
    path = folder / "made.key.json"
    path.write_bytes(encode(record))
    return path


# --- the standards


@pytest.mark.parametrize(
    ("passphrase", "salt", "cost", "expected"),
    [
        (
            "",
            b"",
            Cost(16, 1, 1),
            "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"
            "fcd0069ded0948f8326a753a0fc81f17e8d3e0fb2e0d3628cf35e20c38d18906",
        ),
        (
            "password",
            b"NaCl",
            Cost(1024, 8, 16),
            "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
            "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640",
        ),
        (
            "pleaseletmein",
            b"SodiumChloride",
            Cost(16384, 8, 1),
            "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
            "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887",
        ),
    ],
    ids=["1", "2", "3"],  # the fourth takes 1 GB
)
def test_stretching_is_scrypt_of_rfc_7914_section_12(passphrase, salt, cost, expected):
    assert expected == stretched(Passphrase(passphrase), salt, cost, 64).hex()


SUNSCREEN = (
    b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the "
    b"future, sunscreen would be it."
)
SEALED_SUNSCREEN = bytes.fromhex(
    "d31a8d34648e60db7b86afbc53ef7ec2a4aded51296e08fea9e2b5a736ee62d63dbea45e8ca9671282fafb69da92"
    "728b1a71de0a9e060b2905d6a5b67ecd3b3692ddbd7f2d778b8c9803aee328091b58fab324e4fad675945585808b"
    "4831d7bc3ff4def08e4b7a9de576d26586cec64b61161ae10b594f09e26a7e902ecbd0600691"
)


def test_the_cipher_is_that_of_rfc_8439_section_2_8_2():
    key, nonce = bytes(range(0x80, 0xA0)), bytes.fromhex("070000004041424344454647")
    bound = bytes.fromhex("50515253c0c1c2c3c4c5c6c7")

    for encrypt in (ChaCha20Poly1305(key).encrypt, lambda *a: aead_seal(key, *a)):
        assert SEALED_SUNSCREEN == encrypt(nonce, SUNSCREEN, bound)
    for decrypt in (ChaCha20Poly1305(key).decrypt, lambda *a: aead_open(key, *a)):
        assert SUNSCREEN == decrypt(nonce, SEALED_SUNSCREEN, bound)


def test_the_oracles_authenticator_is_that_of_rfc_8439_section_2_5_2():
    key = bytes.fromhex("85d6be7857556d337f4452fe42d506a80103808afb0db2fd4abff6af4149f51b")

    assert (
        "a8061dc1305136c6c22b8baf0c0127a9"
        == poly1305(key, b"Cryptographic Forum Research Group").hex()
    )


def bound_by_hand(public: str) -> bytes:
    return (
        '{"cipher":"chacha20-poly1305","kdf":{"n":1024,"name":"scrypt","p":1,"r":8,"salt":"'
        f'{SALT.hex()}"}},"nonce":"{NONCE.hex()}","public":"{public}","schema":"flightlog.key/1"}}'
    ).encode()


def test_a_key_file_made_by_hand_from_the_standards_is_opened(tmp_path):
    public = ed25519_public(SEED).hex()
    secret = hashlib.scrypt(WORDS.encode(), salt=SALT, n=1024, r=8, p=1, dklen=32)
    sealed = aead_seal(secret, NONCE, SEED, bound_by_hand(public))
    path = tmp_path / "hand.key.json"
    path.write_bytes(bound_by_hand(public)[:-1] + f',"sealed":"{sealed.hex()}"}}'.encode())

    assert SEED == read_key(path).open(Passphrase(WORDS)).private_bytes_raw()
    assert public_of("pilot") == public


def test_a_key_file_of_ours_is_opened_by_the_standards_alone(record):
    secret = hashlib.scrypt(
        WORDS.encode(), salt=bytes.fromhex(record["kdf"]["salt"]), n=1024, r=8, p=1, dklen=32
    )
    sealed = bytes.fromhex(record.pop("sealed"))
    bound = json.dumps(record, sort_keys=True, separators=(",", ":")).encode()
    record["sealed"] = sealed.hex()

    assert SEED == aead_open(secret, bytes.fromhex(record["nonce"]), sealed, bound)


def test_the_usual_cost_is_128_mib():
    assert 128 * 2**20 == 128 * Cost().n * Cost().r
    assert (2**17, 8, 1) == (Cost().n, Cost().r, Cost().p)


# --- sealed and opened


def test_what_is_sealed_is_opened_from_its_file(tmp_path):
    path = tmp_path / "a.key.json"
    path.write_bytes(sealed_pilot().data())

    assert public_of("pilot") == public_hex(read_key(path).open(Passphrase(WORDS)))


def test_two_seals_of_one_key_have_nothing_in_common():
    one, other = (seal(key_of("pilot"), Passphrase(WORDS), CHEAP) for _ in range(2))

    assert one.salt != other.salt
    assert one.nonce != other.nonce
    assert one.sealed != other.sealed


def test_a_wrong_passphrase_opens_nothing():
    with pytest.raises(PassphraseError, match=r"a\.json: the passphrase does not open this key\."):
        sealed_pilot().open(Passphrase(WORDS + "."), "a.json")


def flipped(digits: str) -> str:
    return ("1" if digits[0] == "0" else "0") + digits[1:]


@pytest.mark.parametrize("field", ["public", "nonce", "sealed", "salt", "n", "r", "p"])
def test_no_field_can_be_changed(tmp_path, record, field):
    changed = json.loads(json.dumps(record))
    part = changed if field in changed else changed["kdf"]
    part[field] = part[field] * 2 if isinstance(part[field], int) else flipped(part[field])

    with pytest.raises(PassphraseError, match="the file was changed: take the key from a copy"):
        read_key(written(tmp_path, changed)).open(Passphrase(WORDS))


def test_a_seed_that_is_not_that_of_the_public_key_is_refused():
    """Only who knows the passphrase could make such a file."""
    ours = sealed_pilot()
    secret = hashlib.scrypt(WORDS.encode(), salt=ours.salt, n=1024, r=8, p=1, dklen=32)
    other = key_of("mechanic").private_bytes_raw()
    sealed = aead_seal(secret, ours.nonce, other, ours.bound())

    with pytest.raises(KeyFileError, match="the seed is not that of its public key"):
        type(ours)(ours.public, ours.cost, ours.salt, ours.nonce, sealed).open(Passphrase(WORDS))


def test_a_cost_that_would_not_be_opened_is_not_written():
    with pytest.raises(KeyFileError, match="scrypt's n is 512"):
        seal(key_of("pilot"), Passphrase(WORDS), Cost(n=512))


def test_too_little_memory_is_said(monkeypatch):
    def none_free(*_args):
        raise MemoryError

    monkeypatch.setattr(keyfile, "_cipher", none_free)
    sealed = keyfile.SealedKey("00" * 32, Cost(), SALT, NONCE, bytes(48))
    with pytest.raises(KeyFileError, match="opening it takes 128 MB of memory, which are not free"):
        sealed.open(Passphrase(WORDS))


# --- bounds of what is read


@pytest.mark.parametrize(
    ("cost", "problem"),
    [
        (Cost(n=2**10), ""),
        (Cost(n=2**20, r=8, p=4), ""),
        (Cost(n=2**19, r=16), ""),
        (Cost(n=2**9), "scrypt's n is 512, not a power of two from 1024 to 1048576"),
        (Cost(n=2**21), "scrypt's n is 2097152"),
        (Cost(n=3 * 2**10), "scrypt's n is 3072"),
        (Cost(n=0), "scrypt's n is 0"),
        (Cost(n=-(2**12)), "scrypt's n is -4096"),
        (Cost(r=0), "scrypt's r is 0, not from 1 to 16"),
        (Cost(r=17), "scrypt's r is 17"),
        (Cost(p=0), "scrypt's p is 0, not from 1 to 4"),
        (Cost(p=5), "scrypt's p is 5"),
        # 128 * 2**20 * 16 bytes are 2 GiB; 1 GiB is given.
        (Cost(n=2**20, r=16), "scrypt would take 2147483648 bytes, more than 1073741824"),
    ],
)
def test_what_a_key_may_cost_is_bounded(cost, problem):
    assert problem == cost.problem()[: len(problem) or None]


def test_a_file_that_asks_for_too_much_is_not_opened(tmp_path, record):
    greedy = {**record, "kdf": {**record["kdf"], "n": 2**20, "r": 16}}

    with pytest.raises(KeyFileError, match="the key file is damaged: scrypt would take 2147483648"):
        read_key(written(tmp_path, greedy))


STRANGE = {
    "'cipher' is missing": lambda r: r.pop("cipher"),
    "'more' is missing or unknown": lambda r: r.update(more=1),
    "'kdf' is missing or unknown": lambda r: r.pop("kdf"),
    "an object is missing or unknown in 'kdf'": lambda r: r.update(kdf=[]),
    "'salt' is missing or unknown in 'kdf'": lambda r: r["kdf"].pop("salt"),
    "'x' is missing or unknown in 'kdf'": lambda r: r["kdf"].update(x=1),
    "'cipher' is not what": lambda r: r.update(cipher="rot13"),
    "'schema' is not what": lambda r: r.update(schema="flightlog.names/1"),
    "'public' is not what": lambda r: r.update(public="00" * 31),
    "'nonce' is not what": lambda r: r.update(nonce="00" * 13),
    "'sealed' is not what": lambda r: r.update(sealed="00" * 47),
    "'kdf.name' is not what": lambda r: r["kdf"].update(name="none"),
    "'kdf.salt' is not what": lambda r: r["kdf"].update(salt="AB" * 32),
    "'kdf.n' is not what": lambda r: r["kdf"].update(n="1024"),
    "'kdf.p' is not what": lambda r: r["kdf"].update(p=True),
    "'kdf.r' is not what": lambda r: r["kdf"].update(r=None),
}


@pytest.mark.parametrize("problem", STRANGE)
def test_a_record_that_is_not_as_it_has_to_be_is_damaged(tmp_path, record, problem):
    strange = json.loads(json.dumps(record))
    STRANGE[problem](strange)

    with pytest.raises(KeyFileError, match=f"the key file is damaged: {problem}") as caught:
        read_key(written(tmp_path, strange))
    assert caught.value.where.endswith("made.key.json")
    assert "Take the key from a copy of this file" in caught.value.fix


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"", "it is not JSON"),
        (b"[]", "it is not a JSON object"),
        (b'{"a": 1}', "its bytes are not the canonical form"),
        (b'{"a":1.5}', "it is not JSON .*is a float"),
        (b" " * (MOST_BYTES + 1), f"it is longer than {MOST_BYTES} bytes"),
    ],
)
def test_bytes_that_are_no_key_file_are_damaged(tmp_path, data, problem):
    path = tmp_path / "a.key.json"
    path.write_bytes(data)

    with pytest.raises(KeyFileError, match=f"the key file is damaged: {problem}"):
        read_key(path)


def test_a_file_of_a_newer_program_is_told_from_a_damaged_one(tmp_path, record):
    with pytest.raises(KeyFileError, match=r"'flightlog\.key/2', which is newer than this program"):
        read_key(written(tmp_path, {**record, "schema": "flightlog.key/2"}))


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(KeyFileError, match="there is no such key file"):
        read_key(tmp_path / "none.key.json")


def test_a_folder_is_no_key_file(tmp_path):
    with pytest.raises(KeyFileError, match=r"can't be read \(.* is no ordinary file\)"):
        read_key(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.key.json")

    with pytest.raises(KeyFileError, match="no ordinary file"):
        read_key(tmp_path / "pipe.key.json")


def test_at_most_a_byte_more_than_asked_for_is_read(tmp_path):
    (tmp_path / "long").write_bytes(b"x" * 100)

    assert b"x" * 11 == read_small(tmp_path / "long", 10)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_no_byte_of_a_key_file_can_be_changed(tmp_path, data):
    """Whatever is changed: damaged, refused for its cost, or the passphrase opens nothing."""
    whole = bytearray(_DATA)
    at = data.draw(st.integers(0, len(whole) - 1), label="at")
    whole[at] ^= data.draw(st.integers(1, 255), label="change")
    path = tmp_path / "changed.key.json"
    path.write_bytes(whole)

    with pytest.raises(KeyFileError):
        read_key(path).open(Passphrase(WORDS))


_DATA = sealed_pilot().data()


# --- written whole


def test_a_file_is_flushed_before_it_gets_its_name(tmp_path, monkeypatch):
    done = []
    fsync, replace = os.fsync, os.replace

    def noted_fsync(fd):
        done.append(("flushed", stat.S_ISDIR(os.fstat(fd).st_mode)))
        fsync(fd)

    def noted_replace(part, path):
        assert part.parent == path.parent
        done.append(("named", part.read_bytes()))
        replace(part, path)

    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(os, "replace", noted_replace)
    write_private(tmp_path / "a.json", b"sealed")

    assert [("flushed", False), ("named", b"sealed")] == done[:2]
    # Windows flushes no folders.
    assert [("flushed", True)] == done[2:] or os.name == "nt"
    assert b"sealed" == (tmp_path / "a.json").read_bytes()


@pytest.mark.parametrize("failing", ["fsync", "replace"])
def test_a_write_that_fails_leaves_what_was_there(tmp_path, monkeypatch, failing):
    path = tmp_path / "a.json"
    path.write_bytes(b"before")

    def full(*_args):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, failing, full)
    with pytest.raises(OSError, match="space"):
        write_private(path, b"after")

    assert [path] == list(tmp_path.iterdir())
    assert b"before" == path.read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
def test_a_file_is_for_this_user_only(tmp_path):
    write_private(tmp_path / "a.json", b"sealed")

    assert 0o600 == stat.S_IMODE((tmp_path / "a.json").stat().st_mode)
