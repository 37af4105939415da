"""One record: its bytes, what they say, and the signatures on them.

The body is canonical JSON::

    {"content":{"text":"Left aileron horn glued anew"},
     "device":"<public key of the device, 64 hex>",
     "kind":"remark",
     "number":17,                              place in the chain of this device, from 1
     "previous":"<hash of number 16>",         null for number 1
     "schema":"flightlog.entry/1",
     "seen":["<hash>"],                        heads of other chains, new since number 16
     "signers":[{"key":"<64 hex>","meaning":"performed","role":"mechanic"}],
     "team":"<64 hex>",
     "time":{"source":"laptop clock","utc":"2027-03-02T09:14:05Z"}}

and where they are needed ``attachments`` (hash, size, name), ``relations`` to earlier entries,
``effect`` (what it permits or restricts), ``occurred`` (of an entry made late). The persons who
sign are named in the body, so that a signature that was taken away is missed.

Each person signs the body, the device signs the body with the persons' signatures, and the hash of
the entry is the SHA-256 over the body, the device's signature and the persons' signatures, in this
order.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from flightlog.errors import LogbookError, SignatureError
from flightlog.logbook.canonical import LARGEST_INTEGER, Json, decode, encode
from flightlog.logbook.signatures import SIGNATURE_BYTES, Purpose, verify

SCHEMA = "flightlog.entry/1"
_SCHEMA_FAMILY = "flightlog.entry/"
MOST_SIGNERS = 8
MOST_SEEN = 512
MOST_RELATIONS = 256
MOST_ATTACHMENTS = 64
MOST_ATTACHMENT_BYTES = 512 * 1024 * 1024

PERMITS = "permits"
RESTRICTS = "restricts"

CORRECTS = "corrects"
"""This entry puts the other one right; both stay visible."""
ENDS = "ends"
"""This entry ends what the other one permits or restricts."""
SPENDS = "spends"
"""This entry uses up the other one, which can be used once."""
INSPECTS = "inspects"
"""The persons of this entry looked afresh at the work of the other one; none may have done it."""
EXPLAINS = "explains"
"""This entry says how the other one came about; for both branches of a fork."""
CITES = "cites"
"""This entry rests on the other one."""
RELATIONS = (CORRECTS, ENDS, SPENDS, INSPECTS, EXPLAINS, CITES)

_HEX = re.compile(r"[0-9a-f]{64}")
_WORD = re.compile(r"[a-z][a-z0-9.-]{0,39}")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T(?:[01][0-9]|2[0-3]):[0-9]{2}:[0-9]{2}Z")
_UTC = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True, slots=True)
class Signer:
    """A person's signature as the body announces it.

    Parameters
    ----------
    key : str
        Public key, 64 hexadecimal digits.
    meaning : str
        What signing means: "performed", "inspected", "released", ...
    role : str
        In which role, empty where none is needed.
    """

    key: str
    meaning: str
    role: str = ""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that an entry names: SHA-256 (64 hexadecimal digits), size [bytes], name."""

    sha256: str
    size: int
    name: str


@dataclass(frozen=True, slots=True)
class Relation:
    """What this entry is to an earlier one: a word of ``RELATIONS`` and that entry's hash."""

    word: str
    entry: str


@dataclass(frozen=True, slots=True)
class Effect:
    """What an entry does to a subject: it ``permits`` or ``restricts``."""

    word: str
    on: str


@dataclass(frozen=True, slots=True)
class Occurred:
    """When something happened that was written down late.

    Parameters
    ----------
    utc : datetime
        When it happened, as claimed; before the time of the entry.
    late_s : int
        How much later the entry was made, by its own time [s].
    reason : str
        Why so late.
    """

    utc: datetime
    late_s: int
    reason: str


@dataclass(frozen=True, slots=True)
class ClaimedTime:
    """When an entry says that it was made.

    Parameters
    ----------
    utc : datetime
        Aware, whole seconds. A claim: nobody can check it afterwards.
    source : str
        Where it comes from, such as "laptop clock".
    behind_s : int
        How much earlier this is than the latest time of its own chain before it [s]: this
        device's clock was set back. Zero otherwise.
    """

    utc: datetime
    source: str
    behind_s: int = 0


@dataclass(frozen=True, slots=True)
class Body:
    """What the bytes of an entry say. ``content`` is not to be changed."""

    team: str
    device: str
    number: int
    previous: str | None
    seen: tuple[str, ...]
    time: ClaimedTime
    kind: str
    content: Mapping[str, Any]
    signers: tuple[Signer, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    relations: tuple[Relation, ...] = ()
    effect: Effect | None = None
    occurred: Occurred | None = None

    def related(self, word: str) -> tuple[str, ...]:
        """Give the hashes of the entries to which this one has a relation."""
        return tuple(r.entry for r in self.relations if r.word == word)


@dataclass(frozen=True, slots=True)
class Entry:
    """A record with its signatures.

    Parameters
    ----------
    data : bytes
        The body, exactly as it was signed.
    device_signature : bytes
        64 bytes.
    people_signatures : tuple of bytes
        One for each signer of the body, in that order.
    """

    data: bytes
    device_signature: bytes
    people_signatures: tuple[bytes, ...]
    body: Body = field(init=False, repr=False, compare=False)
    hash: str = field(init=False, compare=False)
    parents: tuple[str, ...] = field(init=False, repr=False, compare=False)
    """Hashes of the entries that this one follows directly."""

    def __post_init__(self) -> None:
        """Read the body.

        Raises
        ------
        LogbookError
            If the body is not the canonical form of a record, or a signature is missing or has
            not 64 bytes.
        """
        object.__setattr__(self, "hash", self._digest())
        object.__setattr__(self, "body", read_body(self.data))
        previous = (self.body.previous,) if self.body.previous is not None else ()
        object.__setattr__(self, "parents", previous + self.body.seen)
        if len(self.people_signatures) != len(self.body.signers):
            raise SignatureError(
                f"{len(self.body.signers)} persons are named as signers, "
                f"{len(self.people_signatures)} signatures of persons are there",
                where=self.name,
            )
        for signature in (self.device_signature, *self.people_signatures):
            if len(signature) != SIGNATURE_BYTES:
                raise SignatureError("a signature has not 64 bytes", where=self.name)

    def _digest(self) -> str:
        digest = hashlib.sha256(self.data)
        digest.update(self.device_signature)
        for signature in self.people_signatures:
            digest.update(signature)
        return digest.hexdigest()

    @property
    def name(self) -> str:
        """The entry as messages call it: its number and the device."""
        return entry_name(self.body.number, self.body.device)

    @property
    def by_device(self) -> bytes:
        """The bytes that the device signs: the body and the persons' signatures."""
        return device_bytes(self.data, self.people_signatures)

    def verify(self) -> None:
        """Check all signatures.

        Raises
        ------
        SignatureError
            If one of them does not fit the bytes.
        """
        try:
            verify(self.body.device, Purpose.DEVICE, self.by_device, self.device_signature)
            for signer, signature in zip(self.body.signers, self.people_signatures, strict=True):
                verify(signer.key, Purpose.PERSON, self.data, signature)
        except SignatureError as error:
            raise SignatureError(f"{error.found} ({error.where})", where=self.name) from error


def device_bytes(data: bytes, people_signatures: Sequence[bytes]) -> bytes:
    """Give the bytes that a device signs: the body, and then the signatures of persons.

    Signatures too, because a person can make a second one that fits the same body: with it, but
    without the device, nobody can make a second entry out of the first.
    """
    return b"".join((data, *people_signatures))


def entry_name(number: int, device: str) -> str:
    """Name an entry in messages, like "entry 17 of device 7XK4M"."""
    return f"entry {number} of device {device_name(device)}"


def device_name(device: str) -> str:
    """Name a device: the first five signs of the code of its public key's fingerprint."""
    from flightlog.logbook.codes import short
    from flightlog.logbook.signatures import fingerprint

    return short(fingerprint(device))


# --- body to bytes


def write_body(body: Body) -> bytes:
    """Give the canonical bytes of a body; what is empty is left out.

    Raises
    ------
    LogbookError
        If the body is not one that ``read_body`` would accept.
    """
    record: dict[str, Json] = {
        "schema": SCHEMA,
        "team": body.team,
        "device": body.device,
        "number": body.number,
        "previous": body.previous,
        "seen": list(body.seen),
        "time": _time_record(body.time),
        "kind": body.kind,
        "content": dict(body.content),
        "signers": [_signer_record(s) for s in body.signers],
    }
    if body.attachments:
        record["attachments"] = [
            {"sha256": a.sha256, "size": a.size, "name": a.name} for a in body.attachments
        ]
    if body.relations:
        record["relations"] = [{"is": r.word, "entry": r.entry} for r in body.relations]
    if body.effect is not None:
        record["effect"] = {"is": body.effect.word, "on": body.effect.on}
    if body.occurred is not None:
        record["occurred"] = {
            "utc": write_utc(body.occurred.utc),
            "late_s": body.occurred.late_s,
            "reason": body.occurred.reason,
        }
    data = encode(record)
    read_body(data)
    return data


def _time_record(time: ClaimedTime) -> dict[str, Json]:
    record: dict[str, Json] = {"utc": write_utc(time.utc), "source": time.source}
    if time.behind_s:
        record["behind_s"] = time.behind_s
    return record


def _signer_record(signer: Signer) -> dict[str, Json]:
    record: dict[str, Json] = {"key": signer.key, "meaning": signer.meaning}
    if signer.role:
        record["role"] = signer.role
    return record


def write_utc(utc: datetime) -> str:
    """Write a time as "2027-03-02T09:14:05Z", in whole seconds."""
    return utc.astimezone(UTC).strftime(_UTC).rjust(20, "0")


# --- bytes to body


def read_body(data: bytes) -> Body:
    """Read the body of an entry, strictly.

    Raises
    ------
    LogbookError
        If the bytes are not canonical, a part is missing, unknown or of the wrong form, or the
        schema is newer than this program.
    """
    record = decode(data)
    schema = record.get("schema")
    if schema != SCHEMA:
        raise _strange(schema)
    part = _Part(record, "", required=_REQUIRED, optional=_OPTIONAL)
    number = part.integer("number", 1)
    previous = None if record["previous"] is None else part.hexed("previous")
    if (previous is None) != (number == 1):
        raise _bad("only number 1 of a chain has no entry before it", "previous")
    time = _time(part.inner("time", {"utc", "source"}, {"behind_s"}))
    return Body(
        team=part.hexed("team"),
        device=part.hexed("device"),
        number=number,
        previous=previous,
        seen=_seen(part),
        time=time,
        kind=part.word("kind"),
        content=part.mapping("content"),
        signers=_signers(part),
        attachments=tuple(map(_attachment, part.items("attachments", MOST_ATTACHMENTS))),
        relations=_relations(part),
        effect=_effect(part),
        occurred=_occurred(part, time.utc),
    )


_REQUIRED = {
    "schema",
    "team",
    "device",
    "number",
    "previous",
    "seen",
    "time",
    "kind",
    "content",
    "signers",
}
_OPTIONAL = {"attachments", "relations", "effect", "occurred"}


class _Part:
    """One object of a record, read key by key."""

    def __init__(
        self, record: dict[str, Any], where: str, *, required: set[str], optional: set[str]
    ) -> None:
        self.record = record
        self.where = where
        if not required <= record.keys():
            raise _bad(f"{min(required - record.keys())!r} is missing", where)
        if len(record) > len(required) and record.keys() - required - optional:
            strange = min(record.keys() - required - optional)
            raise _bad(f"{strange[:40]!r} is not known here", where)

    def _at(self, key: str) -> str:
        return f"{self.where}.{key}" if self.where else key

    def text(self, key: str, most: int = 400) -> str:
        value = self.record[key]
        if not isinstance(value, str) or not value or len(value) > most:
            raise _bad(f"not a text of 1 to {most} characters", self._at(key))
        return value

    def word(self, key: str) -> str:
        value = self.record[key]
        if not isinstance(value, str) or not _WORD.fullmatch(value):
            raise _bad("not a word of small letters, digits, dots and hyphens", self._at(key))
        return value

    def hexed(self, key: str) -> str:
        return _hexed(self.record[key], self._at(key))

    def integer(self, key: str, least: int) -> int:
        value = self.record[key]
        if isinstance(value, bool) or not isinstance(value, int):
            raise _bad("not an integer", self._at(key))
        if not least <= value <= LARGEST_INTEGER:
            raise _bad(f"{value} is below {least}", self._at(key))
        return value

    def utc(self, key: str) -> datetime:
        value = self.record[key]
        # Far quicker than strptime, which also takes what is not written like this.
        try:
            if isinstance(value, str) and _TIME.fullmatch(value):
                return datetime.fromisoformat(value[:-1]).replace(tzinfo=UTC)
        except ValueError:
            pass
        raise _bad("not a time like 2027-03-02T09:14:05Z", self._at(key))

    def mapping(self, key: str) -> dict[str, Any]:
        value = self.record[key]
        if not isinstance(value, dict):
            raise _bad("not an object", self._at(key))
        return value

    def inner(self, key: str, required: set[str], optional: set[str]) -> _Part:
        return _Part(self.mapping(key), self._at(key), required=required, optional=optional)

    def listed(self, key: str, most: int) -> list[Any]:
        value = self.record.get(key, [])
        if not isinstance(value, list) or len(value) > most:
            raise _bad(f"not a list of at most {most}", self._at(key))
        return value

    def items(self, key: str, most: int) -> list[tuple[dict[str, Any], str]]:
        listed = self.listed(key, most)
        if key in self.record and key in _OPTIONAL and not listed:
            raise _bad("an empty list is left out", self._at(key))
        for index, item in enumerate(listed):
            if not isinstance(item, dict):
                raise _bad("not an object", f"{self._at(key)}[{index}]")
        return [(item, f"{self._at(key)}[{index}]") for index, item in enumerate(listed)]


def _hexed(value: object, where: str) -> str:
    if not isinstance(value, str) or not _HEX.fullmatch(value):
        raise _bad("not 64 hexadecimal digits", where)
    return value


def _seen(part: _Part) -> tuple[str, ...]:
    seen = [_hexed(h, f"seen[{i}]") for i, h in enumerate(part.listed("seen", MOST_SEEN))]
    if seen != sorted(set(seen)):
        raise _bad("not sorted, or one twice", "seen")
    return tuple(seen)


def _time(part: _Part) -> ClaimedTime:
    behind = part.integer("behind_s", 1) if "behind_s" in part.record else 0
    return ClaimedTime(part.utc("utc"), part.text("source", 80), behind)


def _signers(part: _Part) -> tuple[Signer, ...]:
    signers = []
    for record, where in part.items("signers", MOST_SIGNERS):
        inner = _Part(record, where, required={"key", "meaning"}, optional={"role"})
        role = inner.word("role") if "role" in record else ""
        signers.append(Signer(inner.hexed("key"), inner.word("meaning"), role))
    if len({s.key for s in signers}) != len(signers):
        raise _bad("one key signs twice", "signers")
    return tuple(signers)


def _attachment(item: tuple[dict[str, Any], str]) -> Attachment:
    part = _Part(*item, required={"sha256", "size", "name"}, optional=set())
    size = part.integer("size", 0)
    if size > MOST_ATTACHMENT_BYTES:
        raise _bad(f"an attachment of {size} bytes is too large", item[1])
    return Attachment(part.hexed("sha256"), size, part.text("name", 255))


def _relations(part: _Part) -> tuple[Relation, ...]:
    relations = []
    for record, where in part.items("relations", MOST_RELATIONS):
        inner = _Part(record, where, required={"is", "entry"}, optional=set())
        relations.append(Relation(inner.word("is"), inner.hexed("entry")))
    if len(set(relations)) != len(relations):
        raise _bad("one relation stands twice", "relations")
    return tuple(relations)


def _effect(part: _Part) -> Effect | None:
    if "effect" not in part.record:
        return None
    inner = part.inner("effect", {"is", "on"}, set())
    word = inner.word("is")
    if word not in (PERMITS, RESTRICTS):
        raise _bad(f"{word!r} is neither {PERMITS!r} nor {RESTRICTS!r}", "effect.is")
    return Effect(word, inner.text("on", 120))


def _occurred(part: _Part, made: datetime) -> Occurred | None:
    if "occurred" not in part.record:
        return None
    inner = part.inner("occurred", {"utc", "late_s", "reason"}, set())
    utc, late_s = inner.utc("utc"), inner.integer("late_s", 1)
    if utc >= made:
        raise _bad("it happened no earlier than the entry was made", "occurred.utc")
    # The two times are read far apart from each other; how late it was is what is looked at.
    between_s = int((made - utc).total_seconds())
    if late_s != between_s:
        raise _bad(
            f"late by {late_s} s, where its times are {between_s} s apart", "occurred.late_s"
        )
    return Occurred(utc, late_s, inner.text("reason"))


def _strange(schema: object) -> LogbookError:
    shown = repr(schema)[:60]
    if isinstance(schema, str) and schema.startswith(_SCHEMA_FAMILY):
        return LogbookError(
            f"an entry has the schema {shown}, which is newer than this program ({SCHEMA})",
            fix="Use a newer version of flightlog; nothing was changed.",
        )
    return _bad(f"the schema is {shown}, not {SCHEMA!r}", "schema")


def _bad(found: str, where: str) -> LogbookError:
    return LogbookError(f"an entry is at fault: {found}", where=where)


def sorted_seen(hashes: Sequence[str]) -> tuple[str, ...]:
    """Give hashes as ``seen`` holds them: sorted, each once."""
    return tuple(sorted(set(hashes)))
