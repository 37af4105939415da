"""The dictionary of findings, and what it spoils."""

import re
from dataclasses import FrozenInstanceError
from fnmatch import fnmatchcase

import pytest

from flightlog.figures import FIGURES
from flightlog.findings import FINDINGS, affected, make_finding

# Subjects whose figures are planned; patterns may name them before they come.
SUBJECTS = {i.split(".")[0] for i in FIGURES} | {"landing", "link", "motor", "surface"}


def test_a_finding_takes_the_defaults_of_its_kind():
    finding = make_finding("starts-in-air", "the log starts at 40 m")
    kind = FINDINGS["starts-in-air"]
    assert (finding.severity, finding.affects, finding.remedy) == (
        kind.severity, kind.spoils, kind.remedy)  # fmt: skip
    assert finding.message == "the log starts at 40 m"
    assert finding.evidence == {}
    assert (finding.start_s, finding.end_s) == (None, None)


def test_an_instance_may_be_milder_narrower_and_more_telling():
    finding = make_finding(
        "starts-in-air",
        "late",
        severity="note",
        affects=iter(["takeoff.skips"]),
        remedy="Start earlier.",
        evidence={"height_m": 40.0},
        start_s=1.0,
        end_s=2.0,
    )
    assert finding.severity == "note"
    assert finding.affects == ("takeoff.skips",)
    assert finding.remedy == "Start earlier."
    assert finding.evidence == {"height_m": 40.0}
    assert (finding.start_s, finding.end_s) == (1.0, 2.0)


def test_an_instance_may_affect_nothing():
    assert make_finding("starts-in-air", "late", affects=[]).affects == ()


def test_later_changes_of_the_evidence_do_not_reach_the_finding():
    evidence = {"height_m": 40.0}
    finding = make_finding("starts-in-air", "late", evidence=evidence)
    evidence["height_m"] = 0.0
    assert finding.evidence["height_m"] == 40.0
    with pytest.raises(FrozenInstanceError):
        finding.message = "other"  # type: ignore[misc]


def test_unknown_slugs_are_refused():
    with pytest.raises(KeyError):
        make_finding("bad-luck", "it rained")


def test_patterns_reach_a_whole_subject_or_one_figure():
    whole = make_finding("starts-in-air", "late", affects=["takeoff.*"])
    one = make_finding("starts-in-air", "late", affects=["takeoff.ground_roll"])
    assert affected(whole, "takeoff.ground_roll")
    assert affected(whole, "takeoff.skips")
    assert not affected(whole, "climb.best_rate")
    assert affected(one, "takeoff.ground_roll")
    assert not affected(one, "takeoff.ground_roll_reference")
    assert not affected(make_finding("starts-in-air", "late", affects=[]), "takeoff.skips")


def test_every_kind_is_complete():
    for code, kind in FINDINGS.items():
        assert code == kind.code
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", code)
        assert kind.remedy.endswith("."), code
        assert kind.severity in {"stop", "degrade", "note"}


def test_every_pattern_means_something():
    for code, kind in FINDINGS.items():
        for pattern in kind.spoils:
            known = any(fnmatchcase(i, pattern) for i in FIGURES)
            planned = pattern.endswith(".*") and pattern[:-2] in SUBJECTS
            assert known or planned, f"{code} spoils {pattern}, which is no figure"


def test_what_stops_spoils_something():
    assert all(kind.spoils for kind in FINDINGS.values() if kind.severity == "stop")
