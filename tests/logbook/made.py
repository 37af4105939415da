"""Made-up keys, entries and chains. Keys come from seeds, so that every run has the same bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from flightlog.logbook.canonical import encode
from flightlog.logbook.entry import (
    Attachment,
    Body,
    ClaimedTime,
    Effect,
    Entry,
    Occurred,
    Relation,
    Signer,
    sorted_seen,
    write_body,
)
from flightlog.logbook.signatures import Purpose, public_hex, sign
from flightlog.logbook.store import Row

NOON = datetime(2027, 3, 2, 12, 0, 0, tzinfo=UTC)


def key_of(name: str) -> Ed25519PrivateKey:
    """The private key of somebody or something, from its name."""
    return Ed25519PrivateKey.from_private_bytes(hashlib.sha256(name.encode()).digest())


def public_of(name: str) -> str:
    return public_hex(key_of(name))


def signed_entry(
    device: str, body: Body, signers: Sequence[str] = (), *, device_key: Any = None
) -> Entry:
    """Sign a body by the named device and the named persons, in the order of ``body.signers``."""
    data = write_body(body)
    people = tuple(sign(key_of(name), Purpose.PERSON, data) for name in signers)
    sealed = data + b"".join(people)
    return Entry(data, sign(device_key or key_of(device), Purpose.DEVICE, sealed), people)


FOUNDING = {
    "nonce": "00" * 16,
    "people": [
        {"key": public_of("pilot"), "roles": ["authorise", "pilot"]},
        {"key": public_of("mechanic"), "roles": ["authorise", "mechanic"]},
    ],
}
TEAM = hashlib.sha256(b"flightlog.team/1\n" + encode(FOUNDING)).hexdigest()


@dataclass
class Maker:
    """Adds entries to chains of several devices, with previous and seen as given.

    ``add`` continues the chain of ``device`` after its last entry; ``seen`` names the entries
    of other chains whose heads it saw.
    """

    team: str = TEAM
    entries: list[Entry] = field(default_factory=list)
    last: dict[str, Entry] = field(default_factory=dict)

    def found(self, device: str = "laptop") -> Entry:
        """The founding entry: pilot and mechanic enrol each other."""
        return self.add(
            device,
            "founding",
            FOUNDING,
            signers=[("pilot", "enrolled", ""), ("mechanic", "enrolled", "")],
        )

    def add(
        self,
        device: str,
        kind: str,
        content: Mapping[str, Any] | None = None,
        *,
        signers: Sequence[tuple[str, str, str]] = (),
        seen: Iterable[Entry] = (),
        after: Entry | None = None,
        relations: Iterable[tuple[str, Entry]] = (),
        effect: tuple[str, str] | None = None,
        attachments: Iterable[Attachment] = (),
        occurred: Occurred | None = None,
        minutes: int | None = None,
        keep: bool = True,
    ) -> Entry:
        """Make an entry; ``after`` branches off an earlier one. Signers: (name, meaning, role)."""
        before = after or self.last.get(device)
        number = before.body.number + 1 if before else 1
        when = NOON + timedelta(minutes=len(self.entries) if minutes is None else minutes)
        body = Body(
            team=self.team,
            device=public_of(device),
            number=number,
            previous=before.hash if before else None,
            seen=sorted_seen([e.hash for e in seen]),
            time=ClaimedTime(when, "laptop clock"),
            kind=kind,
            content=content if content is not None else {"text": f"entry {number} of {device}"},
            signers=tuple(Signer(public_of(n), meaning, role) for n, meaning, role in signers),
            attachments=tuple(attachments),
            relations=tuple(Relation(word, e.hash) for word, e in relations),
            effect=Effect(*effect) if effect else None,
            occurred=occurred,
        )
        entry = signed_entry(device, body, [name for name, _, _ in signers])
        if keep:
            self.entries.append(entry)
            self.last[device] = entry
        return entry


def rows_of(entries: Iterable[Entry]) -> list[Row]:
    """The rows under which a store would keep entries, received in this order."""
    return [
        Row(
            received,
            entry.hash,
            entry.body.device,
            entry.body.number,
            entry.body.previous,
            entry.data,
            entry.device_signature,
            b"".join(entry.people_signatures),
        )
        for received, entry in enumerate(entries, start=1)
    ]
