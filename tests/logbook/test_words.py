from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from flightlog.logbook.entry import (
    Attachment,
    Body,
    ClaimedTime,
    Effect,
    Occurred,
    Relation,
    Signer,
    read_body,
)
from flightlog.logbook.words import duration, entry_line, entry_lines, person_name, safe
from tests.logbook.made import NOON, TEAM, Maker, public_of

A, B, C = "a" * 64, "b" * 64, "c" * 64


class Called:
    """Names of persons, for tests."""

    def __init__(self, **names: str) -> None:
        self._names = {public_of(person): name for person, name in names.items()}

    def of(self, person: str) -> str | None:
        return self._names.get(person)


def body(**parts: object) -> Body:
    usual = {
        "team": TEAM,
        "device": public_of("laptop"),
        "number": 2,
        "previous": A,
        "seen": (),
        "time": ClaimedTime(NOON, "laptop clock"),
        "kind": "remark",
        "content": {"text": "Left aileron horn glued anew"},
    }
    return Body(**{**usual, **parts})


def says(content: dict[str, object]) -> list[str]:
    """The lines of a content, without the indent of two."""
    lines = entry_lines(body(content=content))
    start = lines.index("Says:")
    end = next(i for i, line in enumerate(lines) if i > start and not line.startswith("  "))
    return [line[2:] for line in lines[start + 1 : end]]


# --- the whole


def test_an_entry_is_shown_with_all_that_it_says():
    entry = body(
        kind="repair",
        seen=(B, C),
        time=ClaimedTime(NOON, "receiver clock", 65),
        content={
            "item": "aileron horn",
            "gap": {"value": "0.40", "unit": "mm"},
            "checks": [{"name": "push", "force": {"value": "40.0", "unit": "N"}}, "free of play"],
        },
        signers=(
            Signer(public_of("mechanic"), "performed", "mechanic"),
            Signer(public_of("pilot"), "inspected"),
        ),
        effect=Effect("permits", "aircraft Pannier"),
        relations=(Relation("ends", B), Relation("cites", C)),
        attachments=(Attachment(C, 1200, "horn.jpg"),),
        occurred=Occurred(NOON - timedelta(hours=3, minutes=20), 12_000, "No laptop on the field"),
    )
    # The names of the keys: SHA-256 of the public key, its first 25 bits in signs of 5.
    assert [
        "Entry: repair",
        "Says:",
        "  checks:",
        "    - force: 40.0 N",
        "      name: push",
        "    - free of play",
        "  gap: 0.40 mm",
        "  item: aileron horn",
        "Signed by:",
        f"  performed, as mechanic, by A. Smith-Jones ({_short('mechanic')})",
        f"    key {public_of('mechanic')}",
        f"  inspected, by person {_short('pilot')}",
        f"    key {public_of('pilot')}",
        "Effect: permits aircraft Pannier",
        "Relations:",
        f"  ends entry {B}",
        f"  cites entry {C}",
        "Attachments:",
        '  "horn.jpg", 1200 bytes',
        f"    SHA-256 {C}",
        "Happened: 2027-03-02 08:40:00 UTC",
        "  written down late by 3 h 20 min",
        "  because: No laptop on the field",
        f"Team: {TEAM}",
        "Made: 2027-03-02 12:00:00 UTC, by receiver clock",
        "  clock set back by 1 min 5 s",
        f"Device: {_short('laptop')}, key {public_of('laptop')}",
        "Number: 2",
        f"After: entry {A}",
        "Has seen:",
        f"  entry {B}",
        f"  entry {C}",
    ] == entry_lines(entry, Called(mechanic="A. Smith-Jones"))


def _short(name: str) -> str:
    import hashlib

    bits = int.from_bytes(hashlib.sha256(bytes.fromhex(public_of(name))).digest()) >> 231
    signs = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    return "".join(signs[bits >> 5 * i & 31] for i in reversed(range(5)))


def test_before_signing_what_will_change_is_left_out():
    first = body(number=1, previous=None, time=ClaimedTime(NOON, "laptop clock"))
    later = body(
        number=9,
        previous=B,
        seen=(A, C),
        device=public_of("tablet"),
        time=ClaimedTime(NOON + timedelta(minutes=3), "receiver clock", 4),
    )

    assert entry_lines(first, place=False) == entry_lines(later, place=False)
    assert entry_lines(first) != entry_lines(later)


def test_an_entry_of_a_device_alone_says_that_no_person_signed():
    assert "Signed by: no person" in entry_lines(body())


def test_the_first_entry_of_a_chain_says_so():
    first = body(number=1, previous=None)

    assert "After: nothing, its chain begins" in entry_lines(first)


class Holders:
    """Which person holds which key, for tests."""

    def person_of(self, key: str) -> SimpleNamespace | None:
        pilot = SimpleNamespace(id=public_of("pilot"))
        return {public_of("new key"): pilot}.get(key)


def test_a_changed_key_is_shown_as_its_person():
    signers = (Signer(public_of("new key"), "released"), Signer(public_of("nobody"), "released"))
    lines = entry_lines(body(signers=signers), Called(pilot="B. Young"), Holders())

    assert f"  released, by B. Young ({_short('pilot')})" in lines
    assert f"  released, by a key of no known person ({_short('nobody')})" in lines


# --- values


def test_numbers_and_the_like_are_told_apart_from_texts():
    content = {
        "a": 40,
        "b": "40",
        "c": True,
        "d": "yes",
        "e": None,
        "f": "none",
        "g": "",
        "h": "No",
    }

    assert [
        "a: 40",
        'b: "40"',
        "c: yes",
        'd: "yes"',
        "e: none",
        'f: "none"',
        'g: ""',
        'h: "No"',
    ] == says(content)


def test_quantities_are_shown_with_their_unit_and_only_if_they_are_quantities():
    content = {
        "a": {"value": "40.0", "unit": "m"},
        "b": "40.0 m",
        "c": {"value": "forty", "unit": "m"},
        "d": {"value": "40.0", "unit": "m", "std": "0.1"},
        "e": {"value": "-0.5", "unit": "kg m²"},
        "f": {"value": "1", "unit": ""},
    }

    assert [
        "a: 40.0 m",
        'b: "40.0 m"',
        "c:",
        "  unit: m",
        "  value: forty",
        "d:",
        '  std: "0.1"',
        "  unit: m",
        '  value: "40.0"',
        "e: -0.5 kg m²",
        "f:",
        '  unit: ""',
        '  value: "1"',
    ] == says(content)


def test_a_line_break_in_a_value_can_not_begin_a_line_of_the_entry():
    faked = "glued\nSigned by:\n  inspected, by person 7XK4M"
    lines = entry_lines(body(content={"text": faked}))

    assert ["  text:", "    | glued", "    | Signed by:"] == lines[2:5]
    assert "    |<U+0020> inspected, by person 7XK4M" not in lines
    assert 1 == sum(line.startswith("Signed by:") for line in lines)


@pytest.mark.parametrize("sign", ["\n", "\r", "\v", "\x85", "\u2028", "\u2029", "\x1b", "\x00"])
def test_no_part_of_an_entry_gives_a_sign_that_breaks_or_moves_the_line(sign):
    text = f"one{sign}two"
    entry = body(
        content={text: text, "list": [text, [text]], "inner": {text: {"value": "1", "unit": text}}},
        effect=Effect("restricts", text),
        attachments=(Attachment(A, 1, text),),
        occurred=Occurred(NOON, 5, text),
        time=ClaimedTime(NOON, text),
        signers=(Signer(public_of("pilot"), "released"),),
    )
    lines = entry_lines(entry, Called(pilot=text))

    assert not any(sign in line for line in lines)
    assert 6 <= sum(f"<U+{ord(sign):04X}>" in line for line in lines)


# --- signs


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Zürich 40 °C ± 2", "Zürich 40 °C ± 2"),
        ("日本語 кириллица", "日本語 кириллица"),
        ("a\u202eb", "a<U+202E>b"),
        ("a\u200bb", "a<U+200B>b"),
        ("a\u00a0b", "a<U+00A0>b"),
        ("a\u3164b", "a<U+3164>b"),
        ("a\ufe0fb", "a<U+FE0F>b"),
        ("\U000e0041", "<U+E0041>"),
        ("a  b", "a <U+0020>b"),
        (" a ", "<U+0020>a<U+0020>"),
        (" ", "<U+0020>"),
        ("<U+202E>", "<U+003C>U+202E>"),
        ("a < b <b>", "a < b <b>"),
        ("e\u0301\u0323", "e\u0301\u0323"),
        ("e\u0301\u0323\u0302", "e\u0301\u0323<U+0302>"),
        ("\u0301e", "<U+0301>e"),
        ("\t", "<U+0009>"),
    ],
)
def test_signs_that_do_not_show_themselves_are_written_out(text, expected):
    assert expected == safe(text)


@given(st.text())
def test_only_signs_that_show_themselves_are_left(text):
    assert {unicodedata.category(sign) for sign in safe(text)}.isdisjoint(
        {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    )


_TRICKY = st.text(alphabet='<U+03CE> \u202e"a', max_size=12)


@given(_TRICKY, _TRICKY)
@example("<U+202E>", "\u202e")
@example("<", "<U+003C>")
def test_two_texts_never_look_the_same(one, other):
    assert (one == other) == (safe(one) == safe(other))


# --- two bodies never have the same text

_signs = st.text(alphabet='ab1 -:|"<U+\n\u202e.\u0301', max_size=6)
_keys = st.sampled_from(["a", "b", "value", "unit", "- a", "| a", "a: b", '"a"', "a\nb", ""])
_scalars = st.one_of(
    _signs,
    st.integers(-12, 12),
    st.booleans(),
    st.none(),
    st.sampled_from(["yes", "1 m", "(empty)", "(empty list)", "a: 1", "a:", "- a", "| a", A]),
)
_values = st.recursive(
    _scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_keys, inner, max_size=3)),
    max_leaves=6,
)
_hashes = st.sampled_from([A, B, C])
_words = st.sampled_from(["remark", "defect", "a-b", "c.d"])
_times = st.datetimes(datetime(2027, 1, 1), datetime(2027, 1, 1, 0, 0, 3)).map(
    lambda t: t.replace(tzinfo=UTC, microsecond=0)
)
_bodies = st.builds(
    Body,
    team=_hashes,
    device=_hashes,
    number=st.integers(2, 4),
    previous=_hashes,
    seen=st.sets(_hashes).map(lambda seen: tuple(sorted(seen))),
    time=st.builds(ClaimedTime, _times, _signs, st.integers(0, 3)),
    kind=_words,
    content=st.dictionaries(_keys, _values, max_size=3),
    signers=st.lists(
        st.builds(Signer, _hashes, _words, st.sampled_from(["", "pilot"])), max_size=2
    ).map(tuple),
    attachments=st.lists(st.builds(Attachment, _hashes, st.integers(0, 2), _signs), max_size=2).map(
        tuple
    ),
    relations=st.lists(st.builds(Relation, _words, _hashes), max_size=2).map(tuple),
    effect=st.one_of(
        st.none(), st.builds(Effect, st.sampled_from(["permits", "restricts"]), _signs)
    ),
    occurred=st.one_of(st.none(), st.builds(Occurred, _times, st.integers(1, 3), _signs)),
)


def _typed(value: object) -> object:
    """A value in a form in which 1 and True differ."""
    if isinstance(value, dict):
        return {key: _typed(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_typed(item) for item in value]
    return type(value), value


_PARTS = [f.name for f in fields(Body)]


@given(_bodies, _bodies, st.sets(st.sampled_from(_PARTS), min_size=1))
def test_two_bodies_never_have_the_same_text(one, other, parts):
    changed = replace(one, **{part: getattr(other, part) for part in parts})
    same = one == changed and _typed(one.content) == _typed(changed.content)

    assert same == (entry_lines(one) == entry_lines(changed))


def _small_values() -> Iterator[object]:
    """Many different values, made of what might be taken for something else."""
    atoms = ["", "a", "a: 1", "a:", "- a", "| a", "1", "1 m", "yes", "(empty)", "a\nb", '"']
    atoms += [1, True, None, [], {}, {"value": "1", "unit": "m"}, "| a\n| b", "b\n- a"]
    keys = ["a", "- a", "| a", "value", "unit", '"a"']
    level = atoms + [[x] for x in atoms] + [[x, y] for x in atoms for y in atoms]
    level += [{k: x} for k in keys for x in atoms]
    yield from level
    yield from ([x] for x in level if x not in atoms)
    yield from ({"a": x} for x in level if x not in atoms)
    yield from ([[x], y] for x in atoms for y in atoms)
    yield from ([x, [y]] for x in atoms for y in atoms)
    yield from ({"a": x, "b": y} for x in atoms for y in atoms)
    yield from ([{"a": x}, y] for x in atoms for y in atoms)
    yield from ([{"a": x, "b": y}] for x in atoms for y in atoms)


def test_no_two_of_many_small_contents_have_the_same_text():
    seen: dict[tuple[str, ...], str] = {}
    for value in _small_values():
        written = json.dumps(value, sort_keys=True)
        assert written == seen.setdefault(tuple(says({"x": value})), written)
    assert 2000 < len(seen)


@given(st.dictionaries(_keys, _values, max_size=2), st.dictionaries(_keys, _values, max_size=2))
@example({"a": ["a: 1"]}, {"a": [{"a": 1}]})
@example({"a": ["- a"]}, {"a": [["a"]]})
@example({"a": [[], ["a"]]}, {"a": ["(empty list)", ["a"]]})
@example({"a": [["a", "b"]]}, {"a": [["a"], "b"]})
@example({"a": "b\n| c"}, {"a": "b\nc"})
@example({"a": {"value": "1", "unit": "m"}}, {"a": "1 m"})
@example({"a": {}}, {"a": "(empty)"})
@example({"a": 1}, {"a": True})
@example({"a": ["| a"]}, {"a": ["a"]})
@example({"a": "\n"}, {"a": "\n\n"})
def test_two_contents_never_have_the_same_text(one, other):
    assert (_typed(one) == _typed(other)) == (
        entry_lines(body(content=one)) == entry_lines(body(content=other))
    )


@given(_bodies)
def test_every_line_is_one_line(entry):
    for line in entry_lines(entry):
        assert [line] == line.splitlines()


def test_the_text_is_made_from_the_bytes_that_were_signed():
    entry = Maker().found()

    assert entry_lines(entry.body) == entry_lines(read_body(entry.data))


# --- durations and names


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (0, "0 s"),
        (5, "5 s"),
        (60, "1 min"),
        (12_000, "3 h 20 min"),
        (90_061, "1 d 1 h 1 min 1 s"),
    ],
)
def test_durations_are_exact(seconds, expected):
    assert expected == duration(seconds)


def test_a_name_can_not_pretend_to_be_more_than_a_name():
    faked = "X (7XK4M), as inspector"

    assert f'"{faked}" ({_short("pilot")})' == person_name(public_of("pilot"), Called(pilot=faked))
    assert f"person {_short('pilot')}" == person_name(public_of("pilot"))


def test_persons_whose_keys_the_content_holds_are_named_beside_it():
    names = Called(observer="observer")
    stranger = public_of("stranger")
    content = {"person": public_of("observer"), "list": [{"key": stranger}], "text": "x"}

    lines = entry_lines(body(content=content), names=names)

    start = lines.index("Persons in it:")
    assert (
        f"  {public_of('observer')} is {person_name(public_of('observer'), names)}"
        == (lines[start + 1])
    )
    assert not any(f"{stranger} is" in line for line in lines)


def test_in_short_an_entry_is_one_line_of_who_and_what():
    names = Called(mechanic="mechanic")
    signers = (Signer(public_of("mechanic"), "stated"),)
    content = {"text": "horn glued\n" + "x" * 100, "person": A, "roles": ["one", "two"]}
    files = (Attachment(A, 7, "horn.jpg"),)

    line = entry_line(body(content=content, signers=signers, attachments=files), names=names)

    assert line.startswith("remark by mechanic (")
    assert "one, two horn glued<U+000A>xxx" in line
    assert line.endswith("(+1 file)")
    assert A not in line
    assert len(line) < 120
    assert "remark by device" == entry_line(body(content={"key": A}))
    # Cut at a blank, which would show itself as what it is.
    cut = entry_line(body(content={"text": "a" * 58 + " and more"}))
    assert f"remark by device: {'a' * 58}…" == cut


@pytest.mark.parametrize("stroke", ["\u0335", "\u0336", "\u0338", "\u20d2", "\u20e5", "\U00016fe4"])
def test_a_stroke_over_a_digit_is_shown_by_itself(stroke):
    assert f"4<U+{ord(stroke):04X}>0" == safe(f"4{stroke}0")
