"""Standing: entries with the same text and other signatures."""

from __future__ import annotations

import hashlib

import pytest

from flightlog.logbook.entry import Entry
from flightlog.logbook.signatures import Purpose, sign
from tests.logbook.crew import Crew
from tests.logbook.deeds import (
    close,
    crew_of_three,
    defect,
    release,
    take_off,
    texts,
    why,
)
from tests.logbook.made import key_of
from tests.logbook.oracles import ed25519_sign


def twin_of(entry: Entry, signer: str, device: str = "laptop") -> Entry:
    """The same body, signed once more by its last signer, and by the device."""
    seed = hashlib.sha256(signer.encode()).digest()
    again = ed25519_sign(seed, Purpose.PERSON.value + entry.data, b"once more")
    people = (*entry.people_signatures[:-1], again)
    sealed = sign(key_of(device), Purpose.DEVICE, entry.data + b"".join(people))
    twin = Entry(entry.data, sealed, people)
    twin.verify()
    return twin


def released_twice() -> tuple[Crew, Entry, Entry]:
    crew = crew_of_three()
    entry = release(crew, "mechanic", "pilot")
    twin = twin_of(entry, "pilot")
    crew.entries.append(twin)
    return crew, entry, twin


def test_a_permission_and_its_twin_are_a_contradiction_and_neither_holds():
    crew, entry, twin = released_twice()

    assert entry.hash != twin.hash
    text = f"{entry.name} is there 2 times: the same text with other signatures"
    assert [(text,)] * 2 == [why(crew, e) for e in (entry, twin)]
    [found] = crew.standing.contradictions
    assert ({entry, twin}, text) == (set(found.entries), found.text)


@pytest.mark.parametrize("which", [0, 1])
def test_who_spends_a_permission_spends_its_twin(which):
    crew, *both = released_twice()
    first = take_off(crew, both[which], device="tablet", seen=[both[which]])

    for entry in both:
        permit = crew.standing.permit(entry)
        assert (first,) == permit.spent_by
        assert f"spent by {first.name}" in permit.why
        assert f"spent by {first.name}" in crew.standing.notes(entry)
    # Spent the one and spent the other is spent twice, and said once.
    second = take_off(crew, both[1 - which], device="desk", seen=[both[1 - which]])
    assert {first, second} == set(crew.standing.permit(both[0]).spent_by)
    assert 1 == sum("was spent 2 times" in text for text in texts(crew))


def test_who_spends_a_permission_and_its_twin_in_one_entry_is_one_spender():
    crew, entry, twin = released_twice()
    relations = [("spends", entry), ("spends", twin)]
    spender = crew.add("desk", "take-off", relations=relations, seen=[entry, twin])

    assert (spender,) == crew.standing.permit(twin).spent_by
    assert not any("was spent" in text for text in texts(crew))


@pytest.mark.parametrize(("word", "said"), [("ends", "ended"), ("corrects", "corrected")])
@pytest.mark.parametrize("which", [0, 1])
def test_who_ends_or_corrects_a_permission_does_so_to_its_twin(word, said, which):
    crew, *both = released_twice()
    end = close(crew, both[which], word=word, device="desk", seen=both)

    for entry in both:
        assert f"{said} by {end.name}" in why(crew, entry)
        assert f"{said} by {end.name}" in crew.standing.notes(entry)


def test_a_restriction_made_twice_is_ended_twice():
    crew = crew_of_three()
    bad = defect(crew, "pilot")
    close(crew, bad, "mechanic", device="tablet")
    assert () == crew.standing.open_restrictions()
    twin = twin_of(bad, "pilot")
    crew.entries.append(twin)
    assert (twin,) == crew.standing.open_restrictions()
    assert () == crew.standing.notes(twin)[1:]
    close(crew, twin, "mechanic", device="tablet")

    assert () == crew.standing.open_restrictions()


def test_a_twin_of_a_grant_gives_no_role_back():
    crew = crew_of_three()
    given = crew.grant("loader", ["pilot"])
    gone = crew.withdraw("loader", ["pilot"], "mechanic")
    twin = twin_of(given, "mechanic")
    crew.entries.append(twin)
    entry = crew.remark("loader", role="pilot", device="desk", seen=[gone, twin])

    assert not crew.standing.counts(entry)
