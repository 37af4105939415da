from __future__ import annotations

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import UsageError
from flightlog.logbook.codes import Head, code, head_code, read_head, short

SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
digests = st.binary(min_size=32, max_size=32).map(bytes.hex)

ABC = hashlib.sha256(b"abc").hexdigest()


def by_hand(digest: str) -> str:
    """A code from the text of the bits, by another way than ours."""
    bits = f"{int(digest, 16):0256b}"[:125]
    bits += f"{int(bits, 2) % 1021:010b}"
    return "".join(SIGNS[int(bits[i : i + 5], 2)] for i in range(0, 135, 5))


def plain(digest: str) -> str:
    return code(digest).replace("-", "")


@given(digests)
def test_a_code_holds_the_first_125_bits_and_their_remainder(digest):
    assert by_hand(digest) == plain(digest)


@pytest.mark.parametrize(
    ("digest", "expected"),
    [
        ("00" * 32, "00000-00000-00000-00000-00000-00"),
        # 125 ones: 2**125 - 1. 2**10 = 1024 = 3 mod 1021, so 2**120 = 3**12 = 531441 = 521
        # (520 * 1021 = 530920), times 2**5 is 16672 = 336 (16 * 1021 = 16336), less 1 is 335:
        # ten bits 01010 01111, the signs A and F.
        ("ff" * 32, "ZZZZZ-ZZZZZ-ZZZZZ-ZZZZZ-ZZZZZ-AF"),
    ],
)
def test_codes_that_are_worked_out_on_paper(digest, expected):
    assert expected == code(digest)


@given(digests, st.integers(1, 999_999_999))
def test_what_is_printed_is_read_again(digest, number):
    head = read_head(head_code(number, digest))

    assert (number, 125) == (head.number, head.length)
    assert head.fits(digest)


@given(digests, digests)
def test_a_code_fits_the_hashes_that_start_with_its_125_bits_only(one, other):
    same = f"{int(one, 16):0256b}"[:125] == f"{int(other, 16):0256b}"[:125]

    assert same == read_head(code(one)).fits(other)


@pytest.mark.parametrize("bit", [0, 1, 62, 123, 124])
def test_each_of_the_125_bits_counts(bit):
    assert not read_head(code(ABC)).fits(f"{int(ABC, 16) ^ 1 << (255 - bit):064x}")


def test_bits_beyond_the_code_are_not_in_it():
    assert read_head(code(ABC)).fits(f"{int(ABC, 16) ^ 1 << (255 - 125):064x}")


@given(digests)
def test_a_hash_can_be_typed_in_full(digest):
    for text in (digest, digest.upper(), f"17.{digest}", f" {digest[:32]} {digest[32:]}\n"):
        head = read_head(text)
        assert head.length == 256
        assert head.fits(digest)
        assert not head.fits(f"{int(digest, 16) ^ 1:064x}")

    assert read_head(f"17.{digest}").number == 17
    assert read_head(digest).number is None


def test_a_code_is_read_with_or_without_number_hyphens_blanks_and_capitals():
    expected = Head(None, int(ABC, 16) >> 131, 125)

    for text in (code(ABC), plain(ABC), code(ABC).lower(), code(ABC).replace("-", " ")):
        assert expected == read_head(text)
    assert Head(120, expected.bits, 125) == read_head(f"  120.{code(ABC)}  ")


@given(digests)
def test_letters_that_look_like_others_are_read_as_those(digest):
    looks = plain(digest).replace("1", "I").replace("0", "O").replace("V", "U")
    small = plain(digest).replace("1", "l").lower().replace("0", "o").replace("v", "u")

    assert read_head(code(digest)) == read_head(looks) == read_head(small)


@given(digests)
def test_no_code_holds_a_letter_that_looks_like_another(digest):
    assert not set(plain(digest)) & set("ILOU")


def test_every_single_wrong_sign_is_told():
    signs = plain(ABC)
    for at in range(27):
        for wrong in SIGNS.replace(signs[at], ""):
            with pytest.raises(UsageError, match="one of the signs is wrong"):
                read_head(signs[:at] + wrong + signs[at + 1 :])


@settings(max_examples=40)
@given(digests)
def test_every_swap_of_neighbours_is_told(digest):
    signs = plain(digest)
    for at in range(26):
        if signs[at] != signs[at + 1]:
            swapped = signs[:at] + signs[at + 1] + signs[at] + signs[at + 2 :]
            with pytest.raises(UsageError, match="one of the signs is wrong"):
                read_head(swapped)


@given(digests, st.integers(0, 26), st.sampled_from(SIGNS))
def test_every_single_wrong_sign_of_any_code_is_told(digest, at, sign):
    signs = plain(digest)
    changed = signs[:at] + sign + signs[at + 1 :]
    if changed != signs:
        with pytest.raises(UsageError, match="the last two don't fit the others"):
            read_head(changed)


@pytest.mark.parametrize("length", [0, 1, 26, 28, 63, 65])
def test_a_sign_too_few_or_too_many_is_told(length):
    with pytest.raises(UsageError, match=rf"{length} signs, not 27\. A head is typed as it is"):
        read_head((plain(ABC) * 3)[:length])


@pytest.mark.parametrize("sign", ["*", "–", "é", "²", "ß", "ſ", "ı", "К", "\0"])
def test_a_sign_that_is_in_no_code_is_named(sign):
    """Also letters whose capital, or whose look, is that of a letter that is in codes."""
    with pytest.raises(UsageError) as caught:
        read_head(sign + plain(ABC)[1:])

    assert f"the sign {sign!r} is in no code" == caught.value.found


@pytest.mark.parametrize("number", ["x", "-1", "1234567890", "٣", "1 2", "0", "000"])
def test_a_number_that_no_entry_has_is_told(number):
    with pytest.raises(UsageError, match="before the dot is no number of an entry"):
        read_head(f"{number}.{code(ABC)}")


@pytest.mark.parametrize("text", ["", ".", "..", "1.", "1.2.3"])
def test_what_is_no_head_at_all_is_refused(text):
    with pytest.raises(UsageError, match=r"signs, not 27|is in no code"):
        read_head(text)


@given(st.text(max_size=80))
def test_any_text_is_a_head_or_refused(text):
    try:
        head = read_head(text)
    except UsageError:
        return
    assert head.length in (125, 256)


@given(digests)
def test_the_short_name_is_the_start_of_the_code(digest):
    assert code(digest).startswith(short(digest))
    assert len(short(digest)) == 5
