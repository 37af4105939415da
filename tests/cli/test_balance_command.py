from __future__ import annotations

from datetime import timedelta

import pytest

from tests.cli.measured import (
    FILES,
    MORNING,
    SHEET,
    WEIGH,
    enter_files,
    entry_of,
    kept_team,
    measuring,
)

__all__ = ["kept_team", "measuring"]  # fixtures


def weighed(measuring, *more):
    assert 0 == measuring.signs(*WEIGH, *more, by=["mechanic"]), measuring.err
    measuring.at(MORNING + timedelta(minutes=1))


def test_a_weighing_says_mass_arm_side_and_shares_and_is_signed(measuring):
    weighed(measuring)

    assert "5.000 kg ± 0.017" in measuring.out
    # (0.065 + 1.085 + 1.090) / 5, and 0.25 · 10 g / 5 kg to the right.
    assert "0.4480 m aft of the datum ± 0.0014" in measuring.out
    assert "+0.5 mm to the right" in measuring.out
    assert "nose bears 13.0%" in measuring.out
    assert "Signed and added" in measuring.out


def test_a_second_person_looks_afresh_and_is_another_one(measuring):
    code = measuring.signs(*WEIGH, "--inspected-by", "mechanic", by=["mechanic"])
    assert 2 == code
    assert "can't look at it afresh" in measuring.err

    code = measuring.signs(*WEIGH, "--inspected-by", "pilot", by=["mechanic", "pilot"])
    assert 0 == code, measuring.err


def test_a_load_can_be_tried_by_anybody_before_it_is_signed(measuring):
    weighed(measuring)

    assert 0 == measuring.run(*SHEET, "--units", "8"), measuring.err
    assert "Mass 8.000 kg ± 0.082" in measuring.out
    assert "Only tried" in measuring.out
    assert "worst corner, inside" in measuring.out
    assert "no certificate" in measuring.out
    assert 5 == measuring.run("balance", "show", "--aircraft", "pannier")
    assert "load: HELD: there is no load sheet" in measuring.out

    assert 5 == measuring.run(*SHEET, "--units", "20"), measuring.err
    assert "OUTSIDE: 11.6" in measuring.out
    assert "worst corner, NOT inside" in measuring.out


def test_a_load_can_be_tried_from_a_weighing_that_is_too_old_and_not_signed(measuring):
    weighed(measuring)
    measuring.at(MORNING + timedelta(days=366))

    assert 5 == measuring.run(*SHEET, "--units", "8"), measuring.err
    assert "Mass 8.000 kg" in measuring.out
    assert "Only tried; it can't be signed: the weighing is 366 days old" in measuring.out
    assert 5 == measuring.signs(*SHEET, "--units", "8", "--by", "mechanic", by=["mechanic"])
    assert "there is no weighing to start from" in measuring.err


def test_a_sheet_is_signed_and_shown_with_whether_it_holds(measuring):
    weighed(measuring)
    words = (*SHEET, "--units", "7", "--item", "camera,0.12,payload", "--unit-mass", "0.31")

    assert 0 == measuring.signs(*words, "--by", "mechanic", by=["mechanic"]), measuring.err
    assert 0 == measuring.run("balance", "show", "--aircraft", "pannier"), measuring.err
    assert "7 x payload unit: 2.170 kg at 0.4700 m (payload)" in measuring.out
    assert "1 x camera: 0.120 kg" in measuring.out
    assert "weighing: holds" in measuring.out
    assert "load: holds: 7.890 ± 0." in measuring.out

    measuring.at(MORNING + timedelta(hours=25))
    assert 5 == measuring.run("balance", "show", "--aircraft", "pannier")
    assert "25.0 h old; it holds for 24" in measuring.out
    assert "Make it anew: 'flightlog balance sheet" in measuring.out


def test_a_sheet_that_corrects_another_takes_its_place(measuring):
    weighed(measuring)
    weighing = entry_of(measuring)
    assert 0 == measuring.signs(*SHEET, "--units", "7", "--by", "mechanic", by=["mechanic"])
    wrong = entry_of(measuring)
    measuring.at(MORNING + timedelta(minutes=2))
    words = (*SHEET, "--units", "6", "--by", "mechanic")

    assert 5 == measuring.signs(*words, "--corrects", weighing, by=["mechanic"])
    assert "is of the kind 'weighing'" in measuring.err
    assert 0 == measuring.signs(*words, "--corrects", wrong, by=["mechanic"]), measuring.err
    assert 0 == measuring.run("balance", "show", "--aircraft", "pannier")
    assert "load: holds: 7.400 ± " in measuring.out


def test_a_pack_that_was_on_board_is_taken_off(measuring):
    weighed(measuring, "--with-pack", "pack-a")

    assert "4.400 kg ± 0.020, pack pack-a taken off" in measuring.out


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ((*SHEET, "--units", "8"), 5, "never weighed"),
        (
            ("balance", "sheet", "--aircraft", "panier", "--pack", "a", "--units", "1"),
            2,
            "'pannier'",
        ),
        ((*WEIGH[:-1], "pilot"), 5, "holds none of the roles that sign this: engineer, mechanic"),
        ((*WEIGH, "--with-pack", ""), 2, "--with-pack: is empty"),
        ((*WEIGH, "--scale", "nose"), 2, "is no scale"),
    ],
)
def test_what_can_not_be_is_told_with_a_code_of_its_own(measuring, words, code, says):
    assert code == measuring.signs(*words, by=["mechanic"])
    assert says in measuring.err


def test_screens_that_know_no_other_signs_get_plain_ones(measuring, monkeypatch):
    weighed(measuring)
    monkeypatch.setattr("flightlog.cli.console.Console.can", lambda self, signs: signs.isascii())

    assert 0 == measuring.run(*SHEET, "--units", "8"), measuring.err
    assert ". envelope   # what the load can be   + load sheet   X worst corner" in measuring.out


def test_a_file_without_a_balance_is_told(measuring):
    weighed(measuring)
    text = FILES["aircraft/pannier.toml"]
    table = text[text.index("[balance]") : text.index("[stations.payload]")]
    place = measuring.team / "aircraft" / "pannier.toml"
    place.write_text(text.replace(table, ""), "utf-8")
    enter_files(measuring, "aircraft/pannier.toml")

    assert 2 == measuring.run(*SHEET, "--units", "8")
    assert "pannier: its file has no [balance]" in measuring.err
