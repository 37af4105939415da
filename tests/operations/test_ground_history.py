"""Series over ground tests: of one serial, one part, one configuration."""

from __future__ import annotations

from dataclasses import replace

import pytest

from flightlog.errors import UsageError
from flightlog.operations.ground_history import ground_history
from flightlog.reports.ground_history_words import history_json, history_lines
from tests.groundtests.made_answer import figure
from tests.operations.loads import rewritten
from tests.operations.test_ground_entry import LEFT, enter, ring

FREQUENCY = "ringdown.first.frequency"


def series(farm, **about):
    (one,) = ground_history(farm.desk, about, FREQUENCY)
    return one


def test_a_series_tells_first_last_and_the_change_with_both_uncertainties(farm, tmp_path):
    first = enter(farm, ring(tmp_path, 6.52))
    last = enter(farm, ring(tmp_path, 6.47, name="b"))

    one = series(farm, aircraft="pannier")

    assert [first, last] == [p.entry for p in one.points]
    assert pytest.approx(-0.05) == one.change.value
    assert pytest.approx(0.0141421, rel=1e-4) == one.change.std
    assert one.is_shown
    assert one.trend is None


def test_five_tests_make_a_trend(farm, tmp_path):
    for n in range(5):
        enter(farm, ring(tmp_path, 6.5 - 0.02 * n, name=f"n{n}"))
    one = series(farm)

    # A straight line: each slope between two tests is the same.
    assert pytest.approx(-0.02) == one.slope.value
    lines = "\n".join(history_lines([one], full=True))
    assert "trend -0.0200 Hz a test" in lines
    assert 5 == history_json([one])["series"][0]["tests"].__len__()


def test_another_part_serial_or_configuration_is_another_series(farm, tmp_path):
    enter(farm, ring(tmp_path))
    enter(farm, ring(tmp_path, 6.4, subject=LEFT.replace("left", "right"), name="b"))
    enter(farm, ring(tmp_path, 6.3, subject=LEFT.replace("no pack", "full"), name="c"))
    rewritten(farm, "PN-01", "PN-02")
    enter(farm, ring(tmp_path, 6.2, name="d"))

    found = ground_history(farm.desk, {}, FREQUENCY)

    assert [1, 1, 1, 1] == [len(one.points) for one in found]
    assert ["PN-01", "PN-01", "PN-01", "PN-02"] == [one.subject.serial for one in found]


def test_series_of_one_test_of_one_part_stand_together(farm, tmp_path):
    enter(farm, ring(tmp_path))
    enter(farm, ring(tmp_path, subject=LEFT.replace("left", "right"), name="b"))
    test = ring(tmp_path, 6.5, name="c")
    more = {
        **test.answer.figures,
        "ringdown.second.damping": figure("ringdown.second.damping", 2, 0.1),
    }
    enter(farm, replace(test, answer=replace(test.answer, figures=more)))

    parts = [one.subject.part for one in ground_history(farm.desk)]
    assert ["left wing tip"] * 4 + ["right wing tip"] * 3 == parts


def test_only_what_was_asked_for(farm, tmp_path):
    enter(farm, ring(tmp_path))
    assert () == ground_history(farm.desk, {"pack": "pack-a"})
    assert 3 == len(ground_history(farm.desk, {"aircraft": "pannier"}))
    with pytest.raises(UsageError, match="no such figure"):
        ground_history(farm.desk, {}, "ringdown.first.frequenzy")


def test_numbers_that_nobody_measures_make_no_series(farm, tmp_path):
    enter(farm, ring(tmp_path, 1e308))
    enter(farm, ring(tmp_path, -1e308, name="b"))
    assert () == ground_history(farm.desk, {}, FREQUENCY)
    assert history_lines(ground_history(farm.desk))


def test_words_of_one_test_and_of_none(farm, tmp_path):
    assert "No ground test is in the record" in " ".join(history_lines(()))
    enter(farm, ring(tmp_path))
    lines = "\n".join(history_lines(ground_history(farm.desk)))
    assert "Ring-down, aircraft pannier (PN-01), left wing tip, no pack" in lines
    assert "6.520 Hz (6.500 to 6.540) on 2027-03-15, one test" in " ".join(lines.split())
