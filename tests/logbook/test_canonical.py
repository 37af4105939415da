from __future__ import annotations

import copy
import json
import random
from decimal import Decimal
from types import MappingProxyType
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import LogbookError
from flightlog.logbook.canonical import (
    LARGEST_INTEGER,
    MOST_BYTES,
    MOST_DEPTH,
    decode,
    encode,
    quantity,
)

# Signs on both sides of the one place where sorting by code point and by UTF-16 differ.
SIGNS = '\0\x1f "\\/a\x7f\x80ö€\ud7ff\ue000\ufb33\uffff\U00010000😀\U0010ffff'
texts = st.text(SIGNS, max_size=3) | st.text(max_size=5)
plain = st.sampled_from([None, True, False, 0, 1, -1]) | texts
plain |= st.integers(-LARGEST_INTEGER, LARGEST_INTEGER)
values = st.recursive(
    plain,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=4),
    max_leaves=6,
)
bodies = st.dictionaries(texts, values, max_size=4)


def by_hand(value: Any) -> str:
    """RFC 8785 without floats, written from its text alone."""
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: list(key.encode("utf-16-be")))
        return "{" + ",".join(f"{by_hand(k)}:{by_hand(value[k])}" for k in keys) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(by_hand, value)) + "]"
    if isinstance(value, str):
        return '"' + "".join(map(_escaped, value)) + '"'
    return "null" if value is None else str(value).lower()


def _escaped(sign: str) -> str:
    named = {8: "\\b", 9: "\\t", 10: "\\n", 12: "\\f", 13: "\\r", 34: '\\"', 92: "\\\\"}
    return named.get(ord(sign)) or (f"\\u{ord(sign):04x}" if ord(sign) < 32 else sign)


# --- vectors of RFC 8785


def test_keys_are_sorted_as_in_section_3_2_3():
    given = json.loads(
        r"""{
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\ud83d\ude00": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis"
        }"""
    )
    data = encode(given)

    assert [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ] == list(json.loads(data).values())
    assert given == decode(data)


def test_text_and_literals_are_written_as_in_sections_3_2_2_and_3_2_4():
    given = json.loads(
        r"""{
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]
        }"""
    )
    # The bytes of section 3.2.4, without its numbers, which are floats.
    expected = bytes.fromhex(
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c"
        "22737472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )

    assert expected == encode(given)
    assert given == decode(expected)


@pytest.mark.parametrize(
    ("sign", "written"),
    [
        ("\b", r"\b"),
        ("\t", r"\t"),
        ("\n", r"\n"),
        ("\f", r"\f"),
        ("\r", r"\r"),
        ('"', r"\""),
        ("\\", r"\\"),
        ("\0", r"\u0000"),
        ("\x0b", r"\u000b"),
        ("\x1f", r"\u001f"),
        ("/", "/"),
        ("\x7f", "\x7f"),
        ("\x80", "\x80"),
        ("\u2028", "\u2028"),
        ("😀", "😀"),
    ],
)
def test_signs_are_escaped_as_in_section_3_2_2_2(sign, written):
    data = f'{{"t":"{written}"}}'.encode()

    assert data == encode({"t": sign})
    assert {"t": sign} == decode(data)


def test_the_largest_and_smallest_integers_of_appendix_b():
    data = b'{"most":9007199254740991,"least":-9007199254740991}'
    sorted_data = b'{"least":-9007199254740991,"most":9007199254740991}'

    assert sorted_data == encode(json.loads(data))
    assert json.loads(data) == decode(sorted_data)


# --- laws


@given(bodies)
def test_the_bytes_are_those_of_the_library_and_of_the_standard(body):
    data = encode(body)

    assert rfc8785.dumps(body) == data
    assert by_hand(body).encode() == data


@given(bodies)
def test_bytes_of_the_library_are_read_as_what_was_written(body):
    """Reading rewrites by a faster way where it may: it has to give the library's bytes."""
    again = decode(rfc8785.dumps(body))

    # As text, since 1 and True are equal.
    assert json.dumps(body, sort_keys=True) == json.dumps(again, sort_keys=True)


@given(bodies, st.booleans(), st.sampled_from([None, 1]), st.randoms(use_true_random=False))
def test_every_other_spelling_is_refused(body, ascii_only, indent, rng):
    items = list(body.items())
    rng.shuffle(items)
    spelled = json.dumps(
        dict(items),
        ensure_ascii=ascii_only,
        indent=indent,
        separators=rng.choice([(",", ":"), (", ", ": ")]),
    ).encode()

    if spelled == rfc8785.dumps(body):
        assert body == decode(spelled)
    else:
        with pytest.raises(LogbookError, match="not the canonical form"):
            decode(spelled)


@given(bodies, st.data())
def test_a_changed_byte_is_refused_or_means_something_else(body, data):
    whole = bytearray(encode(body))
    at = data.draw(st.integers(0, len(whole) - 1), label="at")
    whole[at] ^= data.draw(st.integers(1, 255), label="change")

    try:
        other = decode(bytes(whole))
    except LogbookError:
        return
    assert bytes(whole) == rfc8785.dumps(other)
    assert other != body


@given(st.binary(max_size=60))
def test_any_bytes_are_a_record_or_refused(data):
    try:
        body = decode(data)
    except LogbookError:
        return
    assert data == encode(body)


@given(bodies)
def test_the_order_in_which_keys_came_does_not_matter(body):
    items = list(body.items())
    random.Random(len(items)).shuffle(items)

    assert encode(body) == encode(dict(items))


@given(bodies)
def test_writing_changes_nothing_of_the_callers(body):
    before = copy.deepcopy(body)
    encode(body)

    assert before == body


# --- what is refused in reading

NOT_CANONICAL = {
    "a blank": b'{"a": 1}',
    "a line feed at the end": b'{"a":1}\n',
    "a blank before": b' {"a":1}',
    "another order": b'{"b":1,"a":2}',
    "an order by code points": '{"\ufb33":1,"😀":2}'.encode(),
    "a needless escape": rb'{"a":"\u0041"}',
    "an escaped slash": rb'{"a":"\/"}',
    "an escape in capitals": rb'{"a":"\u000F"}',
    "a long escape": rb'{"a":"\u000a"}',
    "an escaped pair": rb'{"a":"\ud83d\ude00"}',
    "an escaped key": rb'{"\u0061":1}',
    "one key twice": b'{"a":1,"a":2}',
    "one key twice with one value": b'{"a":1,"a":1}',
    "one key twice, escaped once": rb'{"a":1,"\u0061":1}',
    "minus nothing": b'{"a":-0}',
}


@pytest.mark.parametrize("data", NOT_CANONICAL.values(), ids=NOT_CANONICAL)
def test_another_spelling_is_refused(data):
    assert isinstance(json.loads(data), dict)
    with pytest.raises(LogbookError, match="its bytes are not the canonical form of what they say"):
        decode(data)


NOT_JSON = {
    "nothing": b"",
    "half a record": b'{"a":1',
    "two records": b'{"a":1}{"a":1}',
    "a comma too many": b'{"a":1,}',
    "a control sign": b'{"a":"\n"}',
    "a nought before": b'{"a":01}',
    "a plus": b'{"a":+1}',
    "single quotes": b"{'a':1}",
    "a comment": b'{"a":1}//',
    "bytes that are no text": b'{"a":"\xff"}',
    "an overlong sign": b'{"a":"\xc0\xaf"}',
    "half a sign as bytes": b'{"a":"\xed\xa0\xbd"}',
    "a mark of byte order": b'\xef\xbb\xbf{"a":1}',
    "UTF-16": '{"a":1}'.encode("utf-16-le"),
    "UTF-16 with its mark": '{"a":1}'.encode("utf-16"),
    "UTF-32": '{"a":1}'.encode("utf-32-be"),
    "a capital": b'{"a":True}',
    "an escape that is none": rb'{"a":"\x41"}',
    "deeper than Python reads": b'{"a":' + b"[" * 100_000 + b"]" * 100_000 + b"}",
}


@pytest.mark.parametrize("data", NOT_JSON.values(), ids=NOT_JSON)
def test_what_is_not_json_is_refused(data):
    with pytest.raises(LogbookError, match=r"it is not JSON \("):
        decode(data)


@pytest.mark.parametrize("number", ["1.0", "0.5", "-0.0", "1e0", "1E5", "1e400", "1e-400"])
def test_a_float_is_refused(number):
    with pytest.raises(LogbookError, match=r"is a float; records hold none"):
        decode(f'{{"a":{number}}}'.encode())


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity"])
def test_what_only_python_takes_for_a_number_is_refused(number):
    with pytest.raises(LogbookError, match=r"is a float; records hold none"):
        decode(f'{{"a":{number}}}'.encode())


@pytest.mark.parametrize("number", [2**53, -(2**53), 10**17, 10**40, -(10**40)])
def test_an_integer_that_not_every_reader_keeps_is_refused(number):
    for data in (f'{{"a":{number}}}', f'{{"a":[[{number}]],"b":"😀"}}'):
        with pytest.raises(LogbookError, match=r"an integer is beyond 2\^53 - 1; write it as text"):
            decode(data.encode())


def test_an_integer_of_very_many_digits_is_refused():
    with pytest.raises(LogbookError, match=r"an integer is beyond 2\^53 - 1"):
        decode(b'{"a":1' + b"0" * 200_000 + b"}")


@pytest.mark.parametrize("escape", [r"\ud83d", r"\ude00", r"\ude00\ud83d", r"\ud83dx"])
def test_half_a_character_is_refused(escape):
    for data in (f'{{"a":"{escape}"}}', f'{{"{escape}":1}}', f'{{"a":"😀{escape}"}}'):
        with pytest.raises(LogbookError, match=r"half a character|can't be written as JSON"):
            decode(data.encode())


@pytest.mark.parametrize("data", [b"[]", b"1", b'"a"', b"null", b"true"])
def test_a_record_is_an_object(data):
    with pytest.raises(LogbookError, match="it is not a JSON object"):
        decode(data)


@pytest.mark.parametrize("last", ["1", '"😀"'], ids=["plain", "beyond the basic plane"])
@pytest.mark.parametrize(("opens", "closes"), [("[", "]"), ('{"a":', "}")])
def test_depth_ends_where_it_is_said_to(opens, closes, last):
    def nested(depth: int) -> bytes:
        return f'{{"a":{opens * (depth - 1)}{last}{closes * (depth - 1)}}}'.encode()

    deepest = nested(MOST_DEPTH)
    assert deepest == encode(decode(deepest))
    with pytest.raises(LogbookError, match=f"nested more than {MOST_DEPTH} deep"):
        decode(nested(MOST_DEPTH + 1))
    with pytest.raises(LogbookError, match=f"nested more than {MOST_DEPTH} deep"):
        encode(json.loads(nested(MOST_DEPTH + 1)))


def test_brackets_in_text_are_not_depth():
    body = {"a": "[{" * 500}

    assert body == decode(encode(body))


def test_size_ends_where_it_is_said_to():
    frame = len(b'{"a":""}')
    largest = b'{"a":"' + b"x" * (MOST_BYTES - frame) + b'"}'

    assert largest == encode(decode(largest))
    for act in (lambda: decode(largest + b" "), lambda: encode({"a": "x" * (MOST_BYTES - 7)})):
        with pytest.raises(LogbookError, match=f"it is {MOST_BYTES + 1} bytes long"):
            act()


# --- what is refused in writing


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (1.0, r"a\.b\[1\]: a record is at fault: 1\.0 is a float; write a quantity as decimal"),
        (float("nan"), "nan is a float"),
        (2**53, r"a\.b\[1\]: .*beyond 2\^53 - 1"),
        (-(2**53), r"beyond 2\^53 - 1"),
        (b"bytes", "bytes is nothing that JSON has"),
        ((1, 2), "tuple is nothing that JSON has"),
        (Decimal("1.5"), "Decimal is nothing that JSON has"),
        ({1, 2}, "set is nothing that JSON has"),
        ({1: "one"}, r"a\.b\[1\]: .*the key 1 is not text"),
        ("\ud83d", "can't be written as JSON"),
        ({"\ud83d": 1}, "can't be written as JSON"),
    ],
)
def test_what_a_record_can_not_hold_is_refused_with_its_place(value, message):
    with pytest.raises(LogbookError, match=message):
        encode({"a": {"b": [0, value]}})


def test_a_mapping_that_can_not_be_changed_can_be_written():
    assert b'{"a":1}' == encode(MappingProxyType({"a": 1}))


def test_the_place_in_a_message_is_bounded():
    with pytest.raises(LogbookError) as caught:
        encode({"k" * 5000: 1.5})

    assert len(caught.value.where) <= 200


# --- quantities


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("40.0", "40.0"),
        (40, "40"),
        (Decimal("1.50"), "1.50"),
        ("1E+3", "1000"),
        ("1e-7", "0.0000001"),
        ("-0.5", "-0.5"),
    ],
)
def test_a_quantity_keeps_its_digits(value, written):
    assert {"value": written, "unit": "m"} == quantity(value, "m")


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (40.0, r"the quantity 40\.0 is a float; give its digits as text"),
        ("forty", "'forty' is no decimal number"),
        ("", "'' is no decimal number"),
        ("NaN", "'NaN' is no finite number"),
        ("-Infinity", "'-Infinity' is no finite number"),
        ("1e999999999999999999999", "is no decimal number|is no finite number"),
    ],
)
def test_what_is_no_quantity_is_refused(value, message):
    with pytest.raises(LogbookError, match=message):
        quantity(value, "m")
