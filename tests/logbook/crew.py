"""A made-up crew that enrols, grants, revokes and recovers, on several devices."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flightlog.logbook.entry import Entry
from flightlog.logbook.order import Order
from flightlog.logbook.people import People, Person
from flightlog.logbook.standing import Standing
from tests.logbook.made import Maker, public_of

BOTH = ("pilot", "mechanic")
NAMES = (*BOTH, "safety", "loader", "extra")


@dataclass
class Crew(Maker):
    """A maker that knows how the entries about people look.

    Unless ``seen`` is given, an entry has seen everything that was made before it, as on a
    device with which all others were merged.
    """

    def add(
        self,
        device: str,
        kind: str,
        content: Mapping[str, Any] | None = None,
        *,
        seen: Iterable[Entry] | None = None,
        after: Entry | None = None,
        **more: Any,
    ) -> Entry:
        if seen is None:
            seen = [tip for tip in self.tips() if tip is not (after or self.last.get(device))]
        return super().add(device, kind, content, seen=seen, after=after, **more)

    def tips(self) -> list[Entry]:
        followed = {parent for entry in self.entries for parent in entry.parents}
        return [entry for entry in self.entries if entry.hash not in followed]

    def enrol(self, name: str, by: str = "pilot", *, device: str = "laptop", **more: Any) -> Entry:
        signers = [(name, "enrolled", ""), (by, "witnessed", "")]
        return self.add(device, "enrolment", {"key": public_of(name)}, signers=signers, **more)

    def grant(
        self,
        name: str,
        roles: Sequence[str],
        by: Sequence[str] = BOTH,
        *,
        device: str = "laptop",
        **more: Any,
    ) -> Entry:
        content = {"person": public_of(name), "roles": list(roles)}
        signers = [(signer, "granted", "") for signer in by]
        return self.add(device, "grant", content, signers=signers, **more)

    def withdraw(
        self, name: str, roles: Sequence[str], by: str, *, device: str = "laptop", **more: Any
    ) -> Entry:
        content = {"person": public_of(name), "roles": list(roles), "reason": "left the line"}
        signers = [(by, "withdrawn", "")]
        return self.add(device, "withdrawal", content, signers=signers, **more)

    def change(
        self, name: str, old: str, new: str, *, device: str = "laptop", **more: Any
    ) -> Entry:
        content = _change(name, old, new, "old-key")
        signers = [(old, "changed", ""), (new, "changed", "")]
        return self.add(device, "key-change", content, signers=signers, **more)

    def replace(
        self, name: str, old: str, new: str, by: str, *, device: str = "laptop", **more: Any
    ) -> Entry:
        content = _change(name, old, new, "witness")
        signers = [(new, "changed", ""), (by, "witnessed", "")]
        return self.add(device, "key-change", content, signers=signers, **more)

    def revoke(
        self,
        key: str,
        by: str,
        *,
        device: str = "laptop",
        doubtful_after: Entry | None = None,
        **more: Any,
    ) -> Entry:
        content = {"key": public_of(key), "why": "lost", "reason": "fell into the slurry"}
        if doubtful_after is not None:
            content["doubtful_after"] = doubtful_after.hash
        signers = [(by, "revoked", "")]
        return self.add(device, "revocation", content, signers=signers, **more)

    def recover(
        self, names: Sequence[str], by: Sequence[str], *, device: str = "laptop", **more: Any
    ) -> Entry:
        content = {"people": [public_of(n) for n in names], "reason": "nobody else is left"}
        signers = [(signer, "recovered", "") for signer in by]
        return self.add(device, "recovery", content, signers=signers, **more)

    def remark(self, *by: str, role: str = "", device: str = "laptop", **more: Any) -> Entry:
        signers = [(signer, "noted", role) for signer in by]
        return self.add(device, "remark", signers=signers, **more)

    @property
    def order(self) -> Order:
        return Order(self.entries)

    @property
    def people(self) -> People:
        return People.of(self.order)

    @property
    def standing(self) -> Standing:
        order = self.order
        return Standing.of(order, People.of(order))


def founded(device: str = "laptop") -> Crew:
    """Pilot and mechanic, both with ``authorise``."""
    crew = Crew()
    crew.found(device)
    return crew


def _change(name: str, old: str, new: str, by: str) -> dict[str, Any]:
    return {"person": public_of(name), "old": public_of(old), "new": public_of(new), "by": by}


def counts(crew: Crew, entry: Entry) -> bool:
    """Whether all signatures on an entry count, all entries looked at."""
    return all(judged.counts for judged in crew.people.judged(entry))


def why(crew: Crew, entry: Entry) -> str:
    """Why signatures on an entry don't count."""
    return "; ".join(judged.why for judged in crew.people.judged(entry) if not judged.counts)


def roles(crew: Crew, name: str) -> tuple[str, ...]:
    """What somebody holds now."""
    person = crew.people.person(public_of(name))
    assert person is not None
    return person.roles


def names(persons: Iterable[Person]) -> set[str]:
    """The made-up names of persons."""
    known = {public_of(name): name for name in NAMES}
    return {known[person.id] for person in persons}
