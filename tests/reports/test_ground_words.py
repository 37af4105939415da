"""A ground test in words and as JSON: the answer first, nothing that no number is."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.ground_findings import ground_finding
from flightlog.operations.ground_json import ground_json, ground_text
from flightlog.reports.ground_words import ground_headline, ground_lines
from tests.groundtests.made_answer import RING, bench_file, ground_test


def test_the_answer_stands_first_and_says_how_sure_it_is(tmp_path):
    lines = ground_lines(ground_test(tmp_path))
    assert lines[0].startswith("Ring-down: first natural frequency 6.520 Hz (6.500 to 6.540)")


def test_a_limit_that_is_not_met_is_in_the_first_sentence(tmp_path):
    more = '[limits]\n"ringdown.first.frequency" = { at_least = 7.0, unit = "Hz" }\n'
    test = ground_test(tmp_path, bench=bench_file(tmp_path, more=more))
    assert ground_headline(test).endswith("A limit is NOT met.")
    assert any("not met" in line and "▲" not in line for line in ground_lines(test))


def test_what_is_withheld_says_why(tmp_path):
    test = ground_test(tmp_path, {}, withheld={"ringdown.first.frequency": "nothing rings"})
    text = "\n".join(ground_lines(test))
    assert "no figure stands" in text
    assert "natural frequency: nothing rings" in text.lower()


def test_findings_and_cautions_are_told(tmp_path):
    found = ground_finding("ring-single", "One release.")
    text = " ".join(" ".join(ground_lines(ground_test(tmp_path, findings=[found]))).split())
    assert "[ring-single]" in text
    assert "hands, feet and faces" in text


@pytest.mark.parametrize("width", [20, 50, 80, 300])
def test_lines_keep_to_the_width_of_the_screen(tmp_path, width):
    lines = ground_lines(ground_test(tmp_path), width=width)
    assert max(map(len, lines)) <= max(width, 50)


@settings(max_examples=15, deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False), st.floats(min_value=0, max_value=1e300))
def test_json_never_holds_what_is_no_number(tmp_path_factory, value, std):
    figures = {**RING, "ringdown.first.frequency": (value, std)}
    test = ground_test(tmp_path_factory.mktemp("t"), figures)
    body = json.loads(ground_text(test), parse_constant=pytest.fail)
    known = {**body["figures"], **body["withheld"]}
    assert "ringdown.first.frequency" in known
    for figure in body["figures"].values():
        assert all(map(math.isfinite, (figure["value"], figure["low"], figure["high"])))


def test_json_names_files_bench_subject_and_tables(tmp_path):
    test = ground_test(tmp_path, bench=bench_file(tmp_path, more="[ringdown]\nmass_kg = 5.0\n"))
    body = ground_json(test)
    assert "pannier" == body["subject"]["aircraft"]
    assert "AC-2" == body["instrument"]
    assert 5.0 == body["bench"]["setup"]["mass_kg"]
    assert test.files[0].sha256 == body["files"][0]["sha256"]
    assert {"release": 2, "frequency_hz": None, "frequency_std_hz": 0.02} == (
        body["tables"]["releases"]["rows"][1]
    )
    assert {"value", "unit", "low", "high", "level", "method", "sources"} == set(
        body["figures"]["ringdown.first.frequency"]
    )
