from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import LogbookError
from flightlog.logbook import kinds
from flightlog.logbook.entry import RELATIONS, Body, ClaimedTime, Effect, Relation, Signer
from flightlog.logbook.flying_kinds import FLYING_KINDS
from flightlog.logbook.forms import (
    Kind,
    flag,
    hexed,
    integer,
    listed,
    optional,
    quantity,
    records,
    text,
    word,
    words,
)
from flightlog.logbook.kinds import (
    ABOUT_PEOPLE,
    KINDS,
    content_problem,
    form_problem,
    team_of,
)
from tests.logbook.made import FOUNDING, TEAM

A, B, C = "aa" * 32, "bb" * 32, "cc" * 32

GOOD: dict[str, dict[str, Any]] = {
    "founding": {
        "nonce": "0f" * 16,
        "people": [{"key": A, "roles": ["authorise"]}, {"key": B, "roles": ["authorise", "pilot"]}],
    },
    "enrolment": {"key": A},
    "grant": {"person": A, "roles": ["pilot", "load.master"]},
    "withdrawal": {"person": A, "roles": ["pilot"], "reason": "asked for it"},
    "key-change": {"person": A, "old": A, "new": B, "by": "old-key"},
    "revocation": {"key": A, "why": "lost", "reason": "left on the bus"},
    "recovery": {"people": [A, B], "reason": "the others left"},
    "correction": {"text": "it was the left horn"},
    "remark": {"text": "sheep on the strip"},
    "chain-start": {"reason": "a new laptop"},
}


def body(kind: str, content: dict[str, Any], **more: Any) -> Body:
    time = ClaimedTime(datetime(2027, 3, 2, tzinfo=UTC), "laptop clock")
    return replace(Body(TEAM, C, 1, None, (), time, kind, content), **more)


def signers(*meanings: str) -> tuple[Signer, ...]:
    return tuple(Signer(f"{i:064x}", meaning) for i, meaning in enumerate(meanings))


def test_every_kind_of_people_and_of_the_record_itself_is_known():
    assert set(GOOD) == set(KINDS) - {kind.name for kind in FLYING_KINDS}


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_a_content_with_exactly_its_keys_is_of_the_right_form(kind):
    assert content_problem(body(kind, GOOD[kind])) is None


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_each_key_of_each_kind_is_needed(kind):
    for key in GOOD[kind]:
        less = {k: v for k, v in GOOD[kind].items() if k != key}
        assert f"in its content {key!r} is missing" == content_problem(body(kind, less))


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_a_key_more_is_a_problem(kind):
    more = {**GOOD[kind], "colour": "red"}

    assert "in its content 'colour' is not known" == content_problem(body(kind, more))


@pytest.mark.parametrize("kind", sorted(GOOD))
@pytest.mark.parametrize("wrong", [None, 7, "", [], {}, True, [[]], "Ä ", "A" * 64])
def test_no_value_of_another_form_passes_under_any_key(kind, wrong):
    for key in GOOD[kind]:
        if isinstance(wrong, str) and wrong and key in ("reason", "text"):
            continue
        problem = content_problem(body(kind, {**GOOD[kind], key: wrong}))
        assert problem is not None
        assert problem.startswith(f"in its content {key!r} ")


def test_of_a_kind_that_is_not_known_nothing_is_said():
    strange = body("moon-landing", {"anything": [1, {"deep": None}]}, signers=signers("waved"))

    assert content_problem(strange) is None
    assert form_problem(strange) is None


def test_an_optional_key_may_stand_there_and_has_a_form_too():
    sure = {**GOOD["revocation"], "doubtful_after": B}
    unsure = {**GOOD["revocation"], "doubtful_after": "entry 12"}

    assert content_problem(body("revocation", sure)) is None
    assert "'doubtful_after' is not 64 hexadecimal digits" in str(
        content_problem(body("revocation", unsure))
    )


def test_a_problem_within_a_list_says_where():
    people = [*GOOD["founding"]["people"], {"key": C, "roles": ["pilot", "Chief Pilot"]}]
    found = content_problem(body("founding", {**GOOD["founding"], "people": people}))

    assert (
        "in its content 'people' [2] 'roles' [1] is not a word of small letters, digits, "
        "dots and hyphens"
    ) == found


@pytest.mark.parametrize(
    ("kind", "more", "found"),
    [
        ("grant", {"signers": signers("granted", "shown")}, "signed as 'shown'.*by 'granted'"),
        ("chain-start", {"signers": signers("noted")}, "signed as 'noted'.*by no person"),
        ("enrolment", {"signers": signers("enrolled")}, "2 persons have to sign it, and 1 would"),
        ("withdrawal", {}, "a person has to sign it, and none would"),
        ("correction", {}, "does not say which entry it corrects"),
        ("chain-start", {"number": 2, "previous": A}, "number 2 of its chain"),
    ],
)
def test_what_can_be_told_from_one_entry_alone(kind, more, found):
    assert re.search(found, str(form_problem(body(kind, GOOD[kind], **more))))


@pytest.mark.parametrize(
    ("kind", "more"),
    [
        ("remark", {"signers": signers("performed")}),
        ("remark", {}),
        ("correction", {"relations": (Relation("corrects", A),)}),
        ("chain-start", {}),
        ("revocation", {"signers": signers("revoked")}),
    ],
)
def test_what_is_in_order_is_no_problem(kind, more):
    assert form_problem(body(kind, GOOD[kind], **more)) is None


def in_form(kind: str) -> Body:
    """An entry of a kind with which nothing is wrong."""
    meanings, needed = KINDS[kind].meanings or ("noted",), KINDS[kind].signers
    relation = KINDS[kind].relation
    return body(
        kind,
        GOOD[kind],
        signers=signers(*(meanings[i % len(meanings)] for i in range(needed))),
        relations=(Relation(relation, A),) if relation else (),
    )


@pytest.mark.parametrize("kind", sorted(ABOUT_PEOPLE))
def test_an_entry_about_people_does_nothing_else(kind):
    good = in_form(kind)
    assert form_problem(good) is None

    for said in ("permits", "restricts"):
        assert f"it {said} something; an entry about people does nothing else" == form_problem(
            replace(good, effect=Effect(said, "pannier"))
        )
    for said in (*RELATIONS, "replaces"):
        found = form_problem(replace(good, relations=(Relation("cites", A), Relation(said, B))))
        if said in ("corrects", "cites"):
            assert found is None
        else:
            assert f"it {said} another entry; an entry about people does nothing else" == found


@pytest.mark.parametrize("kind", sorted(set(GOOD) - set(ABOUT_PEOPLE)))
def test_an_entry_about_other_things_may_have_any_effect_and_relation(kind):
    good = in_form(kind)

    for said in ("permits", "restricts"):
        assert form_problem(replace(good, effect=Effect(said, "pannier"))) is None
    more = tuple(Relation(said, B) for said in (*RELATIONS, "replaces"))
    assert form_problem(replace(good, relations=(*good.relations, *more))) is None


def test_the_form_problem_begins_with_the_content():
    assert "in its content 'text' is missing" == form_problem(body("remark", {}))


def test_the_id_of_a_team_is_the_hash_of_the_canonical_founding_with_its_prefix():
    people = ",".join(
        f'{{"key":"{p["key"]}","roles":["authorise","{p["roles"][1]}"]}}'
        for p in FOUNDING["people"]
    )
    written = f'flightlog.team/1\n{{"nonce":"{"00" * 16}","people":[{people}]}}'

    assert hashlib.sha256(written.encode()).hexdigest() == team_of(FOUNDING)


def test_a_founding_that_is_no_record_has_no_team():
    with pytest.raises(LogbookError, match="is a float"):
        team_of({"nonce": 0.5})


# --- forms, as later kinds will use them

WEIGHING = Kind(
    "weighing",
    "Weighing",
    content={
        "mass": quantity("kg"),
        "points": records({"name": word("nose", "left", "right"), "load": quantity()}, least=2),
        "count": integer(least=1, most=9),
        "level": flag(),
        "tags": optional(words(least=0, most=2)),
        "files": optional(listed(hexed(8))),
        "note": optional(text(most=5)),
    },
    meanings=("performed",),
)
WEIGHED: dict[str, Any] = {
    "mass": {"value": "8.00", "unit": "kg"},
    "points": [
        {"name": "nose", "load": {"value": "-0.5", "unit": "N"}},
        {"name": "left", "load": {"value": "40", "unit": ""}},
    ],
    "count": 3,
    "level": True,
}


@pytest.fixture
def _weighing(monkeypatch):
    monkeypatch.setitem(kinds.KINDS, "weighing", WEIGHING)


@pytest.mark.usefixtures("_weighing")
def test_a_kind_is_added_by_one_line_of_the_table():
    assert form_problem(body("weighing", WEIGHED, signers=signers("performed"))) is None
    assert form_problem(body("weighing", WEIGHED, signers=signers("guessed"))) is not None


@pytest.mark.usefixtures("_weighing")
@pytest.mark.parametrize(
    ("key", "value", "found"),
    [
        ("mass", {"value": "8.00", "unit": "lb"}, "is in 'lb', not in 'kg'"),
        ("mass", {"value": 8, "unit": "kg"}, "is not a decimal text"),
        ("mass", {"value": "8e0", "unit": "kg"}, "'8e0', which is not a decimal number"),
        ("mass", {"value": "08", "unit": "kg"}, "which is not a decimal number"),
        ("mass", {"value": "8.", "unit": "kg"}, "which is not a decimal number"),
        ("mass", {"value": "٨", "unit": "kg"}, "which is not a decimal number"),
        ("mass", {"value": "8" * 41, "unit": "kg"}, "of at most 40 signs"),
        ("mass", {"value": "8", "unit": "k" * 21}, "a text of at most 20 characters"),
        ("mass", {"value": "8"}, "is not a quantity"),
        ("mass", "8 kg", "is not a quantity"),
        ("points", WEIGHED["points"][:1], "is not a list of 2 to 256"),
        ("points", WEIGHED["points"][:1] * 2, r"\[1\] stands there twice"),
        ("points", [*WEIGHED["points"], {"name": "tail"}], r"\[2\] 'name' is none of nose, left"),
        ("points", [*WEIGHED["points"], {"name": "right"}], r"\[2\] 'load' is missing"),
        ("points", ["nose", "left"], r"\[0\] is not an object"),
        ("count", 0, "is not a whole number from 1 to 9"),
        ("count", 10, "is not a whole number"),
        ("count", True, "is not a whole number"),
        ("count", "3", "is not a whole number"),
        ("level", 1, "is neither true nor false"),
        ("tags", ["a", "b", "c"], "is not a list of 0 to 2"),
        ("files", ["0123456G"], r"\[0\] is not 8 hexadecimal digits"),
        ("files", ["0123456\n"], r"\[0\] is not 8 hexadecimal digits"),
        ("note", "longer", "is not a text of 1 to 5 characters"),
    ],
)
def test_a_value_of_another_form_is_named(key, value, found):
    problem = content_problem(body("weighing", {**WEIGHED, key: value}))

    assert re.search(rf"^in its content '{key}' .*{found}", str(problem))


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=4),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=6,
)


@given(st.sampled_from(sorted(GOOD)), st.data())
def test_any_content_gets_an_answer_and_never_an_error(kind, data):
    key = data.draw(st.sampled_from(sorted(GOOD[kind])))
    content = {**GOOD[kind], key: data.draw(json_values)}
    answer = content_problem(body(kind, content))

    assert answer is None or key in answer


def test_kinds_have_labels_and_notes_in_words():
    for kind in KINDS.values():
        assert kind.label
        assert kind.note.endswith(".")
