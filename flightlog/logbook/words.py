"""An entry as text, made from its body: shown before signing, in lists, and in exports.

Everything that the body says stands in the text, each part on lines of its own, and two different
bodies never have the same text. So that nobody signs what they could not see, only signs that
show themselves are printed as they are. Control signs, signs that turn the direction of writing,
invisible and unassigned ones are printed as ``<U+202E>``; so are a second space in a row and a
``<`` before ``U+``. A line break within a value starts a new line with ``|``, which no other line
has.

A text stands bare where it can't be taken for anything else, and in quotes otherwise: ``"40"`` is
a text and ``40`` is a number.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any, Protocol

from flightlog.logbook.entry import Body, Occurred, Signer, device_name, write_utc
from flightlog.logbook.kinds import KINDS

_STEP = "  "
_KEY = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")
_HEX = re.compile(r"[0-9a-f]{64}")
_DIGITS = re.compile(r"[0-9a-f]{16,}")
_DECIMAL = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")
_LIKE_A_KEY = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*:(?: |$)")
_TAKEN = {"yes", "no", "none"}
_LONGEST_UNIT = 20

_PLAIN = re.compile(r"[!-;=-~]+(?: [!-;=-~]+)*")
"""Texts of ASCII without ``<`` and with single spaces inside: nothing to escape, at a glance."""
_HIDDEN_CATEGORIES = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
# Signs that print nothing, though their category does not say so (grapheme joiner, fillers,
# vowels without a shape, variation selectors, the blank Braille pattern), and strokes that are
# laid over the sign before: they would change a digit.
_INVISIBLE = re.compile(
    "[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180d\u180f\u2800\u3164\ufe00-\ufe0f\uffa0"
    "\u0334-\u0338\u20d2\u20d3\u20d8-\u20da\u20dd-\u20e0\u20e2-\u20e6\u20ea\u20eb"
    "\U00016fe4\U0001d159\U000e0100-\U000e01ef]"
)
_MOST_IN_SHORT = 60
"""How much of its text an entry shows in a list [characters]."""
_MOST_MARKS = 2
"""Accents on one letter; more of them reach into other lines."""


class NamesOfPersons(Protocol):
    """What is asked of ``names.Names``."""

    def of(self, person: str, /) -> str | None:
        """Give the name of a person (id, 64 hexadecimal digits)."""


class HasId(Protocol):
    """What is asked of ``people.Person``."""

    @property
    def id(self) -> str:
        """The person's first key."""


class PersonsOfKeys(Protocol):
    """What is asked of ``people.People``."""

    def person_of(self, key: str, /) -> HasId | None:
        """Give the person who holds or held a key."""


def entry_lines(
    body: Body,
    names: NamesOfPersons | None = None,
    people: PersonsOfKeys | None = None,
    place: bool = True,
) -> list[str]:
    """Give the text of an entry: everything that its body says.

    Parameters
    ----------
    body : Body
        From ``entry.read_body``, so from the bytes that are signed.
    names : Names, optional
        Names of persons; without it they are called by their id.
    people : People, optional
        Which person holds a key; without it a key is taken for the person's first.
    place : bool
        Whether to say where the entry stands in the record and when it was made: what changes
        between showing and signing (device, number, previous, seen, time).

    Returns
    -------
    list of str
        Lines without line breaks, of signs that show themselves.
    """
    kind = KINDS.get(body.kind)
    label = kind.label if kind is not None else body.kind
    said = "" if label.casefold() == body.kind else f" ({label})"
    lines = [f"Entry: {body.kind}{said}"]
    lines += _section("Says", body.content)
    lines += _named_lines(body.content, names, people)
    lines += _signer_lines(body.signers, names, people)
    if body.effect is not None:
        lines.append(f"Effect: {body.effect.word} {_scalar(body.effect.on)}")
    if body.relations:
        lines.append("Relations:")
        lines += [f"{_STEP}{r.word} entry {r.entry}" for r in body.relations]
    if body.attachments:
        lines.append("Attachments:")
        for file in body.attachments:
            lines.append(f"{_STEP}{quoted(file.name)}, {file.size} bytes")
            lines.append(f"{_STEP * 2}SHA-256 {file.sha256}")
    if body.occurred is not None:
        lines += _late_lines(body.occurred)
    lines.append(f"Team: {body.team}")
    if place:
        lines += _place_lines(body)
    return lines


def entry_line(
    body: Body, names: NamesOfPersons | None = None, people: PersonsOfKeys | None = None
) -> str:
    """Give an entry in short, for lists: kind, who signed, and the beginning of what it says."""
    who = ", ".join(_who(signer.key, names, people) for signer in body.signers) or "device"
    said = safe(_beginning(" ".join(_texts_in(body.content))))
    files = len(body.attachments)
    attached = f" (+{files} {'file' if files == 1 else 'files'})" if files else ""
    return f"{body.kind} by {who}{': ' if said else ''}{said}{attached}"


def _beginning(text: str) -> str:
    """Cut a text that is too long for a list, with no blank at the cut that would show itself."""
    if len(text) <= _MOST_IN_SHORT:
        return text
    return text[: _MOST_IN_SHORT - 1].rstrip() + "…"


def _texts_in(content: Mapping[str, Any]) -> Iterator[str]:
    """Give the words of a content: its texts, without keys and hashes."""
    for key in sorted(content):
        value = content[key]
        texts = value if isinstance(value, list) else [value]
        words = [t for t in texts if isinstance(t, str) and not _DIGITS.fullmatch(t)]
        if words:
            yield ", ".join(words)


def _named_lines(
    content: Mapping[str, Any], names: NamesOfPersons | None, people: PersonsOfKeys | None
) -> Iterator[str]:
    """Say who the persons are whose keys the content holds, as far as that is known."""
    if names is None and people is None:
        return
    known = [
        f"{_STEP}{key} is {_who(key, names, people)}"
        for key in dict.fromkeys(_keys_in(content))
        if (people is not None and people.person_of(key) is not None)
        or (names is not None and names.of(key) is not None)
    ]
    if known:
        yield "Persons in it:"
        yield from known


def _keys_in(value: object) -> Iterator[str]:
    if isinstance(value, str):
        if _HEX.fullmatch(value):
            yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _keys_in(item)
    elif isinstance(value, list):
        for item in value:
            yield from _keys_in(item)


def _signer_lines(
    signers: Iterable[Signer], names: NamesOfPersons | None, people: PersonsOfKeys | None
) -> Iterator[str]:
    listed = list(signers)
    yield "Signed by:" if listed else "Signed by: no person"
    for signer in listed:
        role = f", as {signer.role}" if signer.role else ""
        yield f"{_STEP}{signer.meaning}{role}, by {_who(signer.key, names, people)}"
        yield f"{_STEP * 2}key {signer.key}"


def _late_lines(occurred: Occurred) -> Iterator[str]:
    yield f"Happened: {_time(occurred.utc)}"
    yield f"{_STEP}written down late by {duration(occurred.late_s)}"
    yield f"{_STEP}because: {_scalar(occurred.reason)}"


def _place_lines(body: Body) -> Iterator[str]:
    back = body.time.behind_s
    yield f"Made: {_time(body.time.utc)}, by {_scalar(body.time.source)}"
    if back:
        yield f"{_STEP}clock set back by {duration(back)}"
    yield f"Device: {device_name(body.device)}, key {body.device}"
    yield f"Number: {body.number}"
    yield f"After: entry {body.previous}" if body.previous else "After: nothing, its chain begins"
    if body.seen:
        yield "Has seen:"
        yield from (f"{_STEP}entry {digest}" for digest in body.seen)


def person_name(person: str, names: NamesOfPersons | None = None) -> str:
    """Name a person (id, 64 hexadecimal digits), like "person 7XK4M" or "A. Pilot (7XK4M)"."""
    short = device_name(person)
    name = names.of(person) if names is not None else None
    if name is None:
        return f"person {short}"
    letters = all(unicodedata.category(c)[0] in "LM" or c in " .'-" for c in name)
    return f"{safe(name) if letters else quoted(name)} ({short})"


def _who(key: str, names: NamesOfPersons | None, people: PersonsOfKeys | None) -> str:
    if people is None:
        return person_name(key, names)
    person = people.person_of(key)
    if person is None and names is not None and names.of(key) is not None:
        return f"{person_name(key, names)}, whom the record does not know yet"
    if person is None:
        return f"a key of no known person ({device_name(key)})"
    return person_name(person.id, names)


def _time(utc: datetime) -> str:
    written = write_utc(utc)
    return f"{written[:10]} {written[11:19]} UTC"


def duration(seconds: int) -> str:
    """Write a duration exactly, like "3 h 20 min"; days are of 24 hours."""
    parts = []
    for unit, length in (("d", 86_400), ("h", 3_600), ("min", 60), ("s", 1)):
        count, seconds = divmod(seconds, length)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts) or "0 s"


# --- values


def _section(title: str, value: object) -> list[str]:
    """Give a value under its title: on the same line where it fits there."""
    if isinstance(value, str) and "\n" in value:
        return [f"{title}:", *(_STEP + line for line in _block(value))]
    if not isinstance(value, (Mapping, list)):
        return [f"{title}: {_scalar(value)}"]
    short = _short(value)
    if short:
        return [f"{title}: {short}"]
    return [f"{title}:", *(_STEP + line for line in _nested(value))]


def _nested(value: Mapping[str, Any] | list[Any]) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key in sorted(value):
            title = key if _KEY.fullmatch(key) else quoted(key)
            yield from _section(title, value[key])
    else:
        for item in value:
            first, *others = _item(item)
            yield f"- {first}"
            yield from (_STEP + line for line in others)


def _item(value: object) -> list[str]:
    if isinstance(value, str) and "\n" in value:
        return _block(value)
    if not isinstance(value, (Mapping, list)):
        return [_scalar(value)]
    short = _short(value)
    return [short] if short else list(_nested(value))


def _short(value: Mapping[str, Any] | list[Any]) -> str:
    """Give a quantity or something empty on one line; an empty text for anything else."""
    if not value:
        return "(empty list)" if isinstance(value, list) else "(empty)"
    if not isinstance(value, Mapping) or value.keys() != {"value", "unit"}:
        return ""
    number, unit = value["value"], value["unit"]
    if not isinstance(number, str) or not isinstance(unit, str):
        return ""
    plain = _DECIMAL.fullmatch(number) and 0 < len(unit) <= _LONGEST_UNIT and safe(unit) == unit
    return f"{number} {unit}" if plain else ""


def _block(text: str) -> list[str]:
    return [f"| {safe(line)}" for line in text.split("\n")]


def _scalar(value: object) -> str:
    if isinstance(value, str):
        return safe(value) if _stands_bare(value) else quoted(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "none" if value is None else str(value)


def _stands_bare(text: str) -> bool:
    if _HEX.fullmatch(text):
        return True  # 64 digits are no integer that a record may hold
    if not text or unicodedata.category(text[0])[0] != "L" or text.casefold() in _TAKEN:
        return False
    return not _LIKE_A_KEY.match(text)


def quoted(text: str) -> str:
    """Give a text in quotes, every sign showing itself."""
    return '"' + safe(text).replace('"', "<U+0022>") + '"'


# --- signs


def safe(text: str) -> str:
    """Give a text in which every sign shows itself; others are written as ``<U+202E>``.

    Two different texts stay different.
    """
    if _PLAIN.fullmatch(text):
        return text
    signs = []
    marks, before = _MOST_MARKS, " "
    for index, sign in enumerate(text):
        marks = marks + 1 if unicodedata.category(sign)[0] == "M" else 0
        at_the_end = index == len(text) - 1
        hidden = (
            _hidden(sign)
            or marks > _MOST_MARKS
            or (sign == " " and (before == " " or at_the_end))
            or (sign == "<" and text.startswith("U+", index + 1))
        )
        signs.append(f"<U+{ord(sign):04X}>" if hidden else sign)
        before = sign
    return "".join(signs)


@lru_cache(maxsize=4096)
def _hidden(sign: str) -> bool:
    category = unicodedata.category(sign)
    if category == "Zs":
        return sign != " "
    return category in _HIDDEN_CATEGORIES or category == "Me" or bool(_INVISIBLE.match(sign))
