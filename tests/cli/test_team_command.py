from __future__ import annotations

import pytest

from tests.cli.teams import passphrase_of, terminal

__all__ = ["terminal"]  # a fixture


def roles(terminal) -> dict[str, list[str]]:
    """Roles of persons as the crew list prints them."""
    assert 0 == terminal.run("team", "crew", "list"), terminal.err
    found = {}
    for line in terminal.out.splitlines():
        if line.startswith("  "):  # a contact
            continue
        who, _, rest = line.partition(": ")
        found[who.split(" (")[0]] = rest.split("; ")[1].split(", ")
    return found


def test_a_new_team_prints_what_belongs_on_paper(terminal):
    terminal.found()

    assert "Write this on paper" in terminal.out
    assert {
        "pilot": ["authorise", "pilot"],
        "mechanic": ["authorise", "inspector", "mechanic"],
    } == (roles(terminal))


def test_one_person_founds_no_team(terminal):
    code = terminal.signs(
        *("team", "new", str(terminal.team), "--name", "x", "--person", "pilot"), by=["pilot"] * 2
    )

    assert 2 == code
    assert "nobody enrols alone" in terminal.err
    assert not terminal.team.exists()


def test_a_wrong_passphrase_leaves_no_half_team(terminal):
    given = [passphrase_of("pilot"), passphrase_of("mechanic"), "what was it again"]

    code = terminal.run(
        *("team", "new", str(terminal.team), "--name", "x", "--person", "pilot"),
        *("--person", "mechanic"),
        types=given,
    )

    assert 3 == code
    assert "does not open this key" in terminal.err
    assert not terminal.team.exists()


def test_a_folder_in_use_is_not_taken(terminal):
    terminal.team.mkdir()
    (terminal.team / "notes.txt").write_text("kept", encoding="utf-8")

    code = terminal.run(
        *("team", "new", str(terminal.team), "--name", "x", "--person", "a", "--person", "b")
    )

    assert 7 == code
    assert ["notes.txt"] == [p.name for p in terminal.team.iterdir()]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--person", "Pilot", "--person", "pilot"], "the same name"),
        (["--person", "a", "--person", "b", *["--roles", "x"] * 3], "given 3 times"),
        (["--person", "a", "--person", "b", "--roles", "x"], "given 1 times"),
        (["--person", "a", "--person", "b", *["--roles", " , "] * 2], "no role is named"),
        (["--person", "a", "--person", "b", *["--roles", "Chief!"] * 2], "is no role"),
    ],
)
def test_slips_in_founding_are_told(terminal, words, message):
    assert 2 == terminal.run("team", "new", str(terminal.team), "--name", "x", *words)
    assert message in terminal.err


def test_a_newcomer_gets_a_key_before_a_witness_and_roles_from_two(terminal):
    terminal.found()

    enrolled = terminal.signs(
        *("team", "crew", "enrol", "observer", "--witness", "pilot"),
        by=["observer", "observer", "pilot"],
    )
    alone = terminal.signs(
        *("team", "crew", "grant", "observer", "inspector", "--by", "pilot"), by=["pilot"]
    )
    assert [["no role"], 0, 2] == [roles(terminal)["observer"], enrolled, alone]

    granted = terminal.signs(
        *("team", "crew", "grant", "observer", "inspector", "--by", "pilot", "--by", "mechanic"),
        by=["pilot", "mechanic"],
    )
    assert [["inspector"], 0] == [roles(terminal)["observer"], granted]


def test_one_person_named_twice_is_not_two(terminal):
    terminal.found()

    twice = ["--by", "pilot", "--by", "pilot"]
    assert 2 == terminal.signs(
        *("team", "crew", "grant", "mechanic", "x", *twice), by=["pilot", "pilot"]
    )
    assert "Give --by twice" in terminal.err


def test_a_witness_who_may_not_is_told_before_any_passphrase(terminal):
    terminal.found()
    newcomer = ["observer", "observer", "pilot"]
    terminal.signs("team", "crew", "enrol", "observer", "--witness", "pilot", by=newcomer)
    keys = sorted((terminal.root / "profile" / "keys").iterdir())

    code = terminal.signs(
        "team", "crew", "enrol", "another", "--witness", "observer", by=["another"]
    )

    assert 5 == code
    assert "does not hold the role 'authorise'" in terminal.err
    assert keys == sorted((terminal.root / "profile" / "keys").iterdir())


def test_before_the_last_who_can_grant_is_lost_it_is_said(terminal):
    terminal.found()

    code = terminal.signs(
        *("team", "crew", "revoke", "mechanic", "--why", "left", "--by", "pilot"),
        *("--reason", "has left the team"),
        by=["pilot"],
    )

    assert 0 == code
    assert "after this one person can grant roles" in terminal.err
    assert "NOBODY CAN RECOVER" in terminal.err


def test_a_team_is_not_made_within_a_team(terminal):
    terminal.found()

    code = terminal.run(
        *("team", "new", str(terminal.team / "logs" / "inner"), "--name", "x"),
        *("--person", "a", "--person", "b"),
    )

    assert 7 == code
    assert "within the team folder" in terminal.err


def test_a_group_alone_shows_its_commands_line_by_line(terminal):
    assert 2 == terminal.run("team")
    lines = {" ".join(line.split()) for line in terminal.out.splitlines()}
    assert "crew Persons, their keys and their roles." in lines


def test_an_empty_option_is_a_slip_and_not_left_out(terminal):
    terminal.found()

    for words in (
        ["team", "show", "--team", ""],
        ["logbook", "remark", "x", "--by", "pilot", "--corrects", ""],
        ["logbook", "merge", ""],
        ["logbook", "show", ""],
        ["logbook", "remark", " ", "--unsigned"],
    ):
        assert terminal.run(*words) in (2, 5), words


def test_a_name_without_contact_keeps_the_contact(terminal):
    terminal.found()
    terminal.run("team", "crew", "name", "pilot", "pilot", "--contact", "ask at the farm")

    assert 0 == terminal.run("team", "crew", "name", "pilot", " Pilot ")
    assert 0 == terminal.run("team", "crew", "name", "pilot", "chief")
    terminal.run("team", "crew", "list")
    assert "ask at the farm" in terminal.out
    assert 2 == terminal.run("team", "crew", "name", "mechanic", "chief")


def test_nobody_grants_to_themselves(terminal):
    terminal.found()

    code = terminal.signs(
        *("team", "crew", "grant", "pilot", "inspector", "--by", "pilot", "--by", "mechanic"),
        by=["pilot", "mechanic"],
    )

    assert 5 == code
    assert "inspector" not in roles(terminal)["pilot"]


def test_roles_are_withdrawn_by_one(terminal):
    terminal.found()

    code = terminal.signs(
        *("team", "crew", "withdraw", "mechanic", "inspector", "--by", "pilot"),
        *("--reason", "has moved on"),
        by=["pilot"],
    )

    assert 0 == code
    assert ["authorise", "mechanic"] == roles(terminal)["mechanic"]


def test_a_new_key_signed_with_the_old_one_keeps_the_roles(terminal):
    terminal.found()

    code = terminal.run(
        *("team", "crew", "change-key", "mechanic"),
        types=["new words of the mechanic", passphrase_of("mechanic"), "new words of the mechanic"],
    )

    assert 0 == code, terminal.err
    assert ["authorise", "inspector", "mechanic"] == roles(terminal)["mechanic"]
    assert 0 == terminal.run(
        *("logbook", "remark", "x", "--by", "mechanic"), types=["new words of the mechanic"]
    )


def test_a_lost_key_is_replaced_before_a_witness_and_roles_come_anew(terminal):
    terminal.found()

    code = terminal.run(
        *("team", "crew", "change-key", "mechanic", "--witness", "pilot"),
        types=["new words of the mechanic", "new words of the mechanic", passphrase_of("pilot")],
    )

    assert 0 == code, terminal.err
    assert ["no role"] == roles(terminal)["mechanic"]


def test_the_last_two_recover(terminal):
    terminal.found()
    terminal.signs(
        *("team", "crew", "enrol", "observer", "--witness", "pilot"),
        by=["observer", "observer", "pilot"],
    )
    too_early = terminal.signs(
        *("team", "crew", "recover", "observer", "--by", "observer", "--by", "pilot"),
        *("--reason", "because"),
        by=["observer", "pilot"],
    )
    terminal.signs(
        *("team", "crew", "revoke", "mechanic", "--why", "left", "--by", "pilot"),
        *("--reason", "has left the team"),
        by=["pilot"],
    )
    recovered = terminal.signs(
        *("team", "crew", "recover", "observer", "--by", "observer", "--by", "pilot"),
        *("--reason", "one authoriser is left"),
        by=["observer", "pilot"],
    )

    assert [5, 0] == [too_early, recovered]
    assert ["authorise"] == roles(terminal)["observer"]


def test_what_a_doubtful_key_signed_is_listed_to_be_signed_again(terminal):
    terminal.found()
    for number in range(10):  # so that the number of the doubtful one has two digits
        assert 0 == terminal.signs("logbook", "remark", "x", "--by", "mechanic", by=["mechanic"])
        if number == 8:
            sure = terminal.head()

    code = terminal.signs(
        *("team", "crew", "revoke", "mechanic", "--why", "disclosed", "--by", "pilot"),
        *("--reason", "passphrase was on a note", "--doubtful-after", sure),
        by=["pilot"],
    )

    assert 0 == code, terminal.err
    (again,) = [x for x in terminal.out.splitlines() if x.startswith("To be signed again")]
    assert "entry 11" in again
    cited = again.split("--cites ")[1].split(")")[0]
    words = ["logbook", "remark", "seen to be right", "--by", "pilot", "--cites", cited]
    assert 0 == terminal.signs(*words, by=["pilot"]), terminal.err


def test_names_are_set_and_erased_without_a_trace_in_the_record(terminal):
    terminal.found()
    terminal.run("team", "crew", "name", "pilot", "Someone", "--contact", "at the farm")
    assert "Someone" in roles(terminal)

    assert 0 == terminal.run("team", "crew", "erase", "Someone")

    assert "Someone" not in roles(terminal)
    everything = b"".join(p.read_bytes() for p in terminal.team.rglob("*") if p.is_file())
    assert b"Someone" not in everything
    assert b"at the farm" not in everything


def test_a_passphrase_can_be_changed(terminal):
    terminal.found()

    code = terminal.run(
        *("team", "crew", "passphrase", "pilot"),
        types=[passphrase_of("pilot"), "other words of the pilot"],
    )

    assert 0 == code, terminal.err
    assert 3 == terminal.signs("logbook", "remark", "x", "--by", "pilot", by=["pilot"])
    assert 0 == terminal.run(
        *("logbook", "remark", "x", "--by", "pilot"), types=["other words of the pilot"]
    )


def test_keys_on_a_stick_are_used_from_there(terminal):
    terminal.found()
    (terminal.root / "profile" / "keys").rename(terminal.root / "stick")

    without = terminal.signs("logbook", "remark", "x", "--by", "pilot", by=["pilot"])
    message = terminal.err
    with_stick = terminal.signs(
        *("logbook", "remark", "x", "--by", "pilot", "--keys", str(terminal.root / "stick")),
        by=["pilot"],
    )

    assert [3, 0] == [without, with_stick]
    assert "--keys DIR" in message


def test_keys_are_not_made_in_the_team_folder(terminal):
    terminal.found()

    code = terminal.signs(
        *("team", "crew", "enrol", "observer", "--witness", "pilot"),
        *("--keys", str(terminal.team / "keys")),
        by=["observer", "observer", "pilot"],
    )

    assert 3 == code
    assert "never kept in the team folder" in terminal.err
    assert not (terminal.team / "keys").exists()


def test_who_is_told_by_near_misses(terminal):
    terminal.found()

    assert 2 == terminal.run("team", "crew", "erase", "pilto")
    assert "Did you mean 'pilot'?" in terminal.err
    assert 2 == terminal.run("team", "crew", "erase", "zzzzz")
    assert "team crew list" in terminal.err


def test_without_a_terminal_the_passphrase_descriptor_is_asked_for(terminal):
    terminal.found()

    assert 2 == terminal.run("logbook", "remark", "x", "--by", "pilot")
    assert "--passphrase-fd" in terminal.err


def test_the_folder_is_shown(terminal):
    terminal.found()

    assert 0 == terminal.run("team", "show")
    for text in ("Hill farm", "1 entry", "pilot", "Head 1."):
        assert text in terminal.out
