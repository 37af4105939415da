from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.cli.hangars import entry_added, equipped
from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture

AIRCRAFT, PACK, PROPELLER = (
    "aircraft/pannier.toml",
    "packs/pack-a.toml",
    "components/propeller-1.toml",
)
FIT = ("team", "fit", "propeller-1", "--aircraft", "pannier", "--position", "nose")


@pytest.fixture(autouse=True)
def morning(terminal):
    terminal.at(datetime(2027, 3, 15, 7, 0, tzinfo=UTC))


def test_an_aircraft_shows_what_it_is_what_it_flew_and_what_is_due(terminal):
    equipped(terminal, AIRCRAFT)

    assert 0 == terminal.run("team", "aircraft", "pannier"), terminal.err

    for said in (
        "pannier, serial PN-01, configuration cargo-2",
        "Used: 3.20 h, 14 landings, 0 flights here, 191 days in use",
        "overdue: Linkages, servo gears and their screws [linkages]: 1.8 h left, 6 landings left",
        "never done in this record",
        "No firmware and parameter baseline is in the record.",
        "Restricted by: nothing",
    ):
        assert said in terminal.out


def test_without_an_id_all_are_listed_in_a_line_each(terminal):
    equipped(terminal, AIRCRAFT, PACK, PROPELLER)

    lines = []
    for thing in ("aircraft", "pack", "component"):
        assert 0 == terminal.run("team", thing), terminal.err
        lines += terminal.out.splitlines()

    # Of the tasks of the sample aircraft one is over by days, linkages; of the pack its capacity.
    assert [
        "pannier: 3.20 h, 14 landings, 0 flights here, 191 days in use; 1 overdue",
        "pack-a: 0.00 h, 0 landings, 22 cycles, 191 days in use; 1 overdue",
        "propeller-1, not fitted: 1.40 h, 0 landings, 0 flights here, 115 days in use; nothing due",
    ] == lines


def test_where_there_is_no_file_it_is_said_how_to_enter_one(terminal):
    equipped(terminal)

    assert 0 == terminal.run("team", "component")
    assert "flightlog team enter components/ID.toml" in terminal.out
    assert 2 == terminal.run("team", "component", "propeller-1")


def test_fitting_and_removing_shows_in_aircraft_and_component(terminal):
    equipped(terminal, AIRCRAFT, PROPELLER)

    assert 0 == terminal.signs(*FIT, "--by", "mechanic", by=["mechanic"]), terminal.err
    assert 0 == terminal.run("team", "aircraft", "pannier")
    fitted = terminal.out
    again = terminal.signs(*FIT, "--by", "mechanic", by=["mechanic"]), terminal.err
    removed = terminal.signs("team", "remove", "propeller-1", "--by", "mechanic", by=["mechanic"])
    assert 0 == terminal.run("team", "component", "propeller-1")

    assert "propeller-1, serial PR-07, Propeller 16 x 8, nose: 1.40 h" in fitted
    assert "life 8.6 h left" in fitted
    assert (5, 0) == (again[0], removed)
    assert "it is fitted in pannier, nose" in again[1]
    assert "pannier, nose: from 2027-03-15 07:00 UTC" in terminal.out
    assert 5 == terminal.signs("team", "remove", "propeller-1", "--by", "mechanic", by=[])
    assert "it is fitted nowhere" in terminal.err


def test_a_component_written_down_late_says_when_it_was_fitted(terminal):
    equipped(terminal, AIRCRAFT, PROPELLER)

    code = terminal.signs(
        *(*FIT, "--by", "mechanic", "--occurred", "2027-03-13T09:00:00Z", "--reason", "no laptop"),
        by=["mechanic"],
    )

    assert 0 == code, terminal.err
    assert 0 == terminal.run("team", "component", "propeller-1")
    assert "from 2027-03-13 09:00 UTC" in terminal.out


def test_who_holds_no_role_for_it_signs_no_work(terminal):
    equipped(terminal, AIRCRAFT, PROPELLER, PACK)

    for words in (
        (*FIT, "--by", "pilot"),
        ("team", "done", "linkages", "--aircraft", "pannier", "--by", "pilot"),
        ("team", "charge", "pack-a", "--voltage", "25.1", "--by", "mechanic"),
    ):
        assert 5 == terminal.signs(*words, by=[])
        assert "does not hold the role" in terminal.err


def test_an_independent_task_waits_for_a_second_person_who_comes_later(terminal):
    equipped(terminal, AIRCRAFT)
    done = ("team", "done", "linkages", "--aircraft", "pannier", "--by", "mechanic")

    assert 0 == terminal.signs(*done, by=["mechanic"]), terminal.err
    waits, entry = terminal.out, entry_added(terminal)
    look = ("team", "inspect", entry, "--text", "locked and free")
    own = terminal.signs(*look, "--by", "mechanic", by=["mechanic"])
    assert 0 == terminal.signs(*look, "--by", "pilot", by=["pilot"]), terminal.err
    assert 0 == terminal.run("team", "aircraft", "pannier")

    assert f"flightlog team inspect {entry}" in waits
    assert 5 == own
    assert "later: Linkages, servo gears and their screws [linkages]: 5.0 h left" in terminal.out
    assert f"last done by {entry}" in terminal.out


def test_both_can_sign_at_once_and_one_person_is_not_two(terminal):
    equipped(terminal, AIRCRAFT)
    done = ("team", "done", "linkages", "--aircraft", "pannier", "--by", "mechanic")

    alone = terminal.signs(*done, "--inspected-by", "mechanic", by=["mechanic", "mechanic"])
    assert "can't look at it afresh" in terminal.err
    both = terminal.signs(*done, "--inspected-by", "pilot", by=["mechanic", "pilot"])

    assert (5, 0) == (alone, both), terminal.err
    assert "aircraft pannier: Linkages, servo gears and their screws later" in terminal.out


def test_a_slip_in_what_was_done_is_told(terminal):
    equipped(terminal, AIRCRAFT, PACK)

    for words, said in (
        (("linkage", "--aircraft", "pannier"), "Did you mean 'linkages'?"),
        (("linkages", "--pack", "pack-a"), "It has capacity."),
        (("linkages",), "Give one of --aircraft, --pack, --component."),
        (("linkages", "--aircraft", "pannier", "--pack", "pack-a"), "Give one of"),
        (("linkages", "--aircraft", "panier"), "pannier"),
        (("linkages", "--aircraft", "pannier", "--text", " "), "is empty"),
    ):
        assert 2 == terminal.signs("team", "done", *words, "--by", "mechanic", by=[])
        assert said in terminal.err


def test_charges_are_listed_with_the_pack(terminal):
    equipped(terminal, PACK)

    code = terminal.signs(
        *("team", "charge", "pack-a", "--voltage", "25.1", "--charge", "3.62", "--spread", "0.012"),
        *("--resistance", "0.033", "--temperature", "21", "--by", "pilot"),
        by=["pilot"],
    )
    assert 0 == code, terminal.err
    assert 0 == terminal.run("team", "pack", "pack-a")

    # Its file says 0.030 ohm when new.
    assert "25.1 V, 3.62 Ah, spread 0.012 V, 0.033 ohm (1.10 of new), 21 °C" in terminal.out
    assert "pack-a, serial PK-01, lithium polymer, 6 cells, 4 Ah, 88.8 Wh" in terminal.out


def test_numbers_of_a_charge_in_other_units_are_refused(terminal):
    equipped(terminal, PACK)

    for option, value in (
        ("--charge", "3620"),  # milliampere-hours
        ("--voltage", "2510"),
        ("--voltage", "25,1"),
        ("--spread", "12"),  # millivolts
        ("--resistance", "33"),  # milliohms
        ("--temperature", "294"),  # kelvin
    ):
        given = {"--voltage": "25.1", option: value}
        words = [word for pair in given.items() for word in pair]
        assert 2 == terminal.signs("team", "charge", "pack-a", *words, "--by", "pilot", by=[])
        assert option in terminal.err


def test_what_is_due_is_listed_with_what_clears_it_and_the_age_of_the_copy(terminal):
    equipped(terminal, AIRCRAFT, PACK, PROPELLER)

    assert 0 == terminal.run("team", "due"), terminal.err

    lines = terminal.out.splitlines()
    assert lines[0].startswith("overdue  aircraft pannier: Linkages")
    assert "flightlog team done capacity --pack pack-a --by WHO" in terminal.out
    assert "Second copy: NONE YET" in lines[-1]
