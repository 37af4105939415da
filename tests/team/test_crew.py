from __future__ import annotations

import pytest

from flightlog.errors import UsageError
from flightlog.logbook.codes import code
from flightlog.logbook.names import Names
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from flightlog.logbook.signatures import fingerprint
from flightlog.team.crew import Crew
from tests.logbook.made import Maker, public_of

PILOT, MECHANIC = public_of("pilot"), public_of("mechanic")


@pytest.fixture
def crew():
    maker = Maker()
    maker.found()
    names = Names().with_name(PILOT, "Ana").with_name(MECHANIC, "Ana")
    return Crew(People.of(Order(maker.entries)), names)


def test_a_person_is_found_by_name_fingerprint_or_key(crew):
    signs = code(fingerprint(PILOT))
    one = Crew(crew.people, Names().with_name(PILOT, "Ana"))

    for text in ("ana", " Ana ", signs, signs[:5].lower(), signs.replace("-", "")[:9], PILOT[:6]):
        assert PILOT == one.find(text).id, text


def test_a_name_that_two_persons_have_is_asked_back_with_both(crew):
    with pytest.raises(UsageError, match=r"several persons fit: Ana .*Ana .*in brackets"):
        crew.find("Ana")


def test_four_signs_are_too_few_for_a_fingerprint(crew):
    with pytest.raises(UsageError, match="no such person"):
        crew.find(code(fingerprint(PILOT))[:4])


def test_a_person_without_a_key_that_counts_is_told_what_to_do(crew):
    maker = Maker()
    maker.found()
    content = {"key": MECHANIC, "why": "lost", "reason": "stick lost"}
    maker.add("laptop", "revocation", content, signers=[("pilot", "revoked", "")])
    revoked = Crew(People.of(Order(maker.entries)), Names())

    with pytest.raises(UsageError, match=r"no key that counts.*change-key"):
        revoked.present_key(MECHANIC)
    assert "no key that counts" in revoked.fingerprint_line(MECHANIC)


def test_a_person_without_a_name_is_called_by_the_fingerprint(crew):
    nameless = Crew(crew.people, Names())

    assert f"person {code(fingerprint(PILOT))[:5]}" == nameless.label(PILOT)
