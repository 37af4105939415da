from __future__ import annotations

import copy
import json
import os
import pickle
import threading
import unicodedata

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.passphrases import MOST_BYTES, Passphrase, Unshared, read_passphrase


@pytest.fixture
def piped():
    """Gives a descriptor from which bytes are read, and then its end."""
    opened = []

    def pipe(data: bytes) -> int:
        reads, writes = os.pipe()
        opened.append(reads)
        # By another thread, since a pipe may be full before anybody reads.
        thread = threading.Thread(target=_write_and_close, args=(writes, data))
        thread.start()
        threads.append(thread)
        return reads

    threads: list[threading.Thread] = []
    yield pipe
    for fd in opened:
        os.close(fd)
    for thread in threads:
        thread.join()


def _write_and_close(fd: int, data: bytes) -> None:
    try:
        os.write(fd, data)
    except OSError:  # nobody reads the rest of a line that is too long
        return
    finally:
        os.close(fd)


# --- a passphrase


def test_the_same_text_typed_on_two_keyboards_is_one_passphrase():
    composed, decomposed = "Fr\u00fchst\u00fcck \u212b", "Fru\u0308hstu\u0308ck A\u030a"

    assert composed != decomposed
    assert Passphrase(composed) == Passphrase(decomposed)
    # NFC of U+212B is U+00C5: Unicode's own example of a sign that is not its own normal form.
    assert "Fr\u00fchst\u00fcck \u00c5".encode() == Passphrase(decomposed).reveal()


def test_signs_that_only_look_alike_stay_different():
    assert Passphrase("\ufb01ve kilos") != Passphrase("five kilos")


def test_passphrases_are_equal_by_their_text_alone():
    assert Passphrase("dry hay") == Passphrase("dry hay")
    assert Passphrase("dry hay") != Passphrase("dry hay ")
    assert Passphrase("dry hay") != "dry hay"
    with pytest.raises(TypeError, match="unhashable"):
        hash(Passphrase("dry hay"))


def test_a_passphrase_prints_as_one_word():
    for shown in (repr, str, "{}".format, "{!r:>3}".format, "%s".__mod__):
        assert "<passphrase>" == shown(Passphrase("dry hay"))


@pytest.mark.parametrize(
    ("text", "short"),
    [
        ("", True),
        ("1234567", True),
        ("12345678", False),
        ("   1234567   ", True),
        ("        ", True),
        ("a b c d e", False),
        # Eight characters as typed, seven in normal form.
        ("u\u0308123456", True),
        ("\u00fc1234567", False),
    ],
)
def test_a_passphrase_is_too_short_below_eight_characters(text, short):
    assert short == Passphrase(text).too_short


@pytest.mark.parametrize("text", ["x" * (MOST_BYTES + 1), "€" * (MOST_BYTES // 3 + 1)])
def test_a_passphrase_that_is_too_long_is_refused(text):
    assert MOST_BYTES == len(Passphrase("x" * MOST_BYTES).reveal())
    with pytest.raises(UsageError, match=f"the passphrase is longer than {MOST_BYTES} bytes"):
        Passphrase(text)


def test_half_a_character_is_refused():
    # What a terminal gives for the byte ff when it reads UTF-8.
    with pytest.raises(UsageError, match="bytes that are no text in the terminal's encoding"):
        Passphrase("dry hay \udcff")


class Other(Unshared):
    __slots__ = ("held",)


@pytest.mark.parametrize(
    "thing", [Passphrase("dry hay under"), Other()], ids=["passphrase", "other"]
)
def test_what_is_unshared_is_not_copied_or_stored(thing):
    acts = [copy.copy, copy.deepcopy, type(thing).__getstate__, type(thing).__reduce__]
    acts += [lambda t, p=p: pickle.dumps(t, p) for p in range(pickle.HIGHEST_PROTOCOL + 1)]
    acts += [lambda t: copy.deepcopy({"inside": [t]}), lambda t: pickle.dumps([t])]

    for act in acts:
        with pytest.raises(RefusedError, match="a secret is not copied or stored"):
            act(thing)
    with pytest.raises(TypeError, match="not JSON serializable"):
        json.dumps({"inside": thing})
    with pytest.raises(TypeError, match="__dict__"):
        vars(thing)


# --- from a descriptor


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b""], ids=["LF", "CRLF", "end of file"])
def test_a_line_is_read_without_its_end(piped, end):
    assert Passphrase("dry hay €") == read_passphrase(piped("dry hay €".encode() + end))


def test_each_person_has_a_line_and_nothing_beyond_it_is_read(piped):
    fd = piped(b"dry hay\n wet straw \r\nrest")

    assert Passphrase("dry hay") == read_passphrase(fd)
    assert Passphrase(" wet straw ") == read_passphrase(fd)
    assert b"rest" == os.read(fd, 100)


def test_a_carriage_return_inside_is_kept(piped):
    assert b"dry\rhay" == read_passphrase(piped(b"dry\rhay\n")).reveal()


def test_the_longest_line_is_a_kilobyte(piped):
    longest = b"x" * MOST_BYTES

    for data in (longest, longest + b"\r\n"):
        assert longest == read_passphrase(piped(data)).reveal()
    for data in (longest + b"x\n", b"x" * 30_000):
        with pytest.raises(UsageError, match=f"longer than {MOST_BYTES} bytes"):
            read_passphrase(piped(data))


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"", "it holds no further passphrase"),
        (b"\n", "the line with the passphrase is empty"),
        (b"\r\n", "the line with the passphrase is empty"),
        (b"\xff\xfe\n", "the passphrase is not UTF-8"),
        (b"\xed\xa0\x80\n", "the passphrase is not UTF-8"),
        (b"\xc0\xaf\n", "the passphrase is not UTF-8"),
    ],
)
def test_what_is_no_passphrase_is_told(piped, data, problem):
    fd = piped(data)

    with pytest.raises(UsageError, match=problem) as caught:
        read_passphrase(fd)
    assert f"file descriptor {fd}" == caught.value.where
    assert "one passphrase per line" in caught.value.fix


def test_a_second_passphrase_that_is_not_there_is_told(piped):
    fd = piped(b"dry hay\n")
    read_passphrase(fd)

    with pytest.raises(UsageError, match="it holds no further passphrase"):
        read_passphrase(fd)


@pytest.mark.parametrize("fd", [-1, 10**6, 2**40])
def test_a_descriptor_that_is_not_open_is_told(fd):
    with pytest.raises(UsageError, match=f"file descriptor {fd}: it can't be read"):
        read_passphrase(fd)


def test_the_normal_form_is_that_of_the_standard_library():
    text = "e\u0301\u0327 \u1e9b\u0323"

    assert unicodedata.normalize("NFC", text).encode() == Passphrase(text).reveal()
