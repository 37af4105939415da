from __future__ import annotations

import pytest

from flightlog.errors import TeamFileError
from flightlog.resources import data_path
from flightlog.rules.book import Clause, load_rules

HEAD = """
schema = "flightlog.rules/1"
id = "trial"
version = "1"
[[limit]]
id = "roll"
figure = "takeoff.ground_roll"
at_most = 40.0
unit = "m"
"""
CLAUSE = """
[[clause]]
id = "span"
source = "clause 2.3"
requires = "No more than 2.60 m"
how = "measured"
"""


def read(tmp_path, text):
    path = tmp_path / "rules.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load_rules(path)


def test_clauses_are_read_in_their_order(tmp_path):
    other = CLAUSE.replace("span", "take-off") + 'limit = "roll"\n'

    assert (
        Clause("take-off", "clause 2.3", "No more than 2.60 m", "measured", "roll"),
        Clause("span", "clause 2.3", "No more than 2.60 m", "measured"),
    ) == read(tmp_path, other + CLAUSE).clauses


def test_a_book_needs_no_clauses(tmp_path):
    assert () == read(tmp_path, "").clauses


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (CLAUSE + CLAUSE, "two clauses of id 'span'"),
        (CLAUSE + 'limit = "rol"\n', "Did you mean 'roll'"),
        (CLAUSE.replace('"measured"', '"guessed"'), "measured, declared, tested or photo"),
        (CLAUSE.replace("requires", "require"), "requires"),
        (CLAUSE.replace('"No more than 2.60 m"', '""'), "requires"),
    ],
)
def test_a_slip_in_a_clause_is_told_with_its_place(tmp_path, text, said):
    with pytest.raises(TeamFileError, match=said) as caught:
        read(tmp_path, text)
    assert "[[clause]]" in caught.value.where


def test_the_sample_book_asks_for_what_no_flight_shows_too():
    book = load_rules(data_path("checklists", "club_trial_2027.toml"))
    limits = {limit.id for limit in book.limits}
    asked = {clause.id: clause for clause in book.clauses}

    assert {"span", "box", "limiter", "fail-safe", "arming-plug", "restraint"} <= asked.keys()
    assert {c.limit for c in book.clauses if c.limit} <= limits
    assert {"measured", "declared", "tested", "photo"} == {c.how for c in book.clauses}
