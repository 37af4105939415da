from __future__ import annotations

import dataclasses

import pytest

from flightlog.analyses.phases import Attempt
from flightlog.findings import FINDINGS, make_finding
from flightlog.reports.figure_groups import FAULTS, WEAR
from flightlog.reports.headline import headline
from flightlog.uncertain import Uncertain
from tests.made_debriefs import judged, made


def metres(value, std=0.6):
    return Uncertain.of(value, std, "m", source="all")


# Intervals by hand: value +- 1.95996 x 0.6; probabilities from a table of the normal distribution.
@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (28.9, "Ground roll 28.9 m (27.7 to 30.1): the 40 m limit is met."),
        (44.0, "Ground roll 44.0 m (42.8 to 45.2): the 40 m limit is not met."),
        (
            40.0,
            "Ground roll 40.0 m (38.8 to 41.2): the 40 m limit is not shown "
            "(probability 0.50, 0.95 required).",
        ),
        (  # one-sided met, although the two-sided interval reaches over the bound
            38.98,
            "Ground roll 39.0 m (37.8 to 40.2): the 40 m limit is met "
            "(probability 0.955, 0.95 required).",
        ),
    ],
)
def test_the_sentence_says_the_outcome(value, sentence):
    assert sentence.replace("0.955", "0.96") == headline(made(judged(value), roll=metres(value)))


def test_without_a_limit_it_says_so():
    text = headline(made(roll=metres(28.9)))

    assert "Ground roll 28.9 m (27.7 to 30.1): no limit was given for it." == text


def test_a_withheld_roll_is_no_number():
    text = headline(
        made(
            judged(None),
            withheld={"takeoff.ground_roll": "it was a hand launch, so nothing rolled"},
        )
    )

    assert (
        "Ground roll withheld: it was a hand launch, so nothing rolled; "
        "the 40 m limit is not assessable." == text
    )


def test_other_limits_are_counted_unless_they_are_met():
    bank = judged(41.2, 1.5, limit=30, figure="flight.max_bank")
    climb = judged(2.13, 0.06, limit=2.0, op=">=", figure="climb.best_rate")
    text = headline(made(judged(28.9), bank, climb, roll=metres(28.9)))

    assert text.endswith("the 40 m limit is met; of the other limits 1 not met.")


def test_the_worst_rule_limit_on_the_roll_is_the_one_that_is_told():
    text = headline(made(judged(28.9), judged(28.9, limit=25.0), roll=metres(28.9)))

    assert "the 25 m limit is not met" in text


def test_a_limit_with_its_own_definition_gives_its_own_number():
    own = dataclasses.replace(judged(26.0), definition={"end": "first_clear"})
    text = headline(made(own, roll=metres(28.9)))

    assert (
        "Ground roll 28.9 m (27.7 to 30.1); by the limit's own definition "
        "26.0 m (24.8 to 27.2): the 40 m limit is met." == text
    )


def test_no_flight_names_the_attempts():
    attempt = Attempt(1, 40.1, 44.0, 6.13, 0.1, "stopped before lift-off")

    assert (
        "No flight in this log: 1 attempt, fastest 6.1 m/s; nothing left the ground."
        == headline(made(sorties=0, attempts=(attempt,)))
    )
    assert "No flight in this log: nothing moved faster than 1 m/s." == headline(made(sorties=0))


def test_every_sortie_has_its_sentence():
    text = headline(made(judged(28.9), roll=metres(28.9), sorties=2))

    assert text.startswith("Sortie 1: Ground roll")
    assert " Sortie 2: Ground roll" in text


def test_the_reason_of_a_finding_is_part_of_the_sentence():
    text = headline(
        made(
            judged(None),
            withheld={"takeoff.ground_roll": "The log starts in the air at 4.0 s (starts-in-air)"},
        )
    )

    assert text.startswith("Ground roll withheld: the log starts in the air at 4.0 s; the 40 m")


def test_several_sorties_without_a_roll_are_one_sentence():
    debrief = made(withheld={"takeoff.ground_roll": "it rose without a roll"}, sorties=3)

    assert "3 sorties, none with a ground roll that can be measured." == headline(debrief)


def test_a_file_with_holes_is_called_damaged():
    hole = make_finding("damaged-bytes", "431 of 900 bytes", evidence={"bytes": 431, "places": 2})
    debrief = dataclasses.replace(made(judged(28.9), roll=metres(28.9)), findings=(hole,))

    assert headline(debrief).endswith(" is met. The file is damaged: see the findings first.")


def test_a_log_that_could_not_show_a_flight_is_not_called_one_without():
    debrief = made(sorties=0)
    blind = make_finding("no-position", "the log holds no position fix")
    text = headline(dataclasses.replace(debrief, findings=(blind, *debrief.findings)))

    assert text.endswith("It could not show one: the log holds no position fix.")
    assert "could not show" not in headline(debrief)


def test_what_is_to_be_inspected_is_in_the_sentence_the_gravest_first_and_not_all_of_it():
    codes = ("weak-aspect", "hard-landing", "cells-apart", "surface-play", "log-gap")
    found = tuple(make_finding(code, "found") for code in codes)
    text = headline(dataclasses.replace(made(judged(28.9), roll=metres(28.9)), findings=found))

    assert text.endswith(
        "is met. To be inspected: play in a linkage, a hard landing, cells that are apart and 1 "
        "more; see the findings first."
    )


def test_every_fault_that_has_a_group_is_a_finding():
    assert set(FAULTS) <= set(FINDINGS)
    assert {group for group, _ in FAULTS.values()} == set(WEAR)


def test_a_crash_report_of_the_autopilot_is_in_the_sentence():
    fault = make_finding("autopilot-fault", "The file carries a crash report of the autopilot")
    text = headline(dataclasses.replace(made(judged(28.9), roll=metres(28.9)), findings=(fault,)))

    assert text.endswith(
        "The file carries a crash report of the autopilot: see the findings first."
    )


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("GPS was lost", "Ground roll withheld: GPS was lost."),
        ("IMU and GPS disagree", "Ground roll withheld: IMU and GPS disagree."),
        ("Launched by hand", "Ground roll withheld: launched by hand."),
        ("A wheel was lost", "Ground roll withheld: a wheel was lost."),
    ],
)
def test_names_in_capitals_stay_in_capitals(reason, said):
    assert headline(made(withheld={"takeoff.ground_roll": reason})) == said
