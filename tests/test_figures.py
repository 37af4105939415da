"""The dictionary of figures, and the one mechanism that withholds them."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.columns import TABLES
from flightlog.figures import (
    FIGURES,
    FREE_NAME,
    Answer,
    Figure,
    settle,
    slug,
    widened_by,
)
from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Uncertain

ALL_TABLES = tuple(TABLES)
ROLL = "takeoff.ground_roll"
ids = st.sampled_from(sorted(FIGURES))


def figure(id_: str, value: float = 1.0) -> Figure:
    return Figure(id_, Uncertain(value, {}, FIGURES[id_].unit), "made", ("gps",))


def gave(*names: str) -> Answer:
    return Answer({name: figure(name) for name in names})


answers = st.builds(
    lambda given_, why: Answer({i: figure(i) for i in given_}, dict.fromkeys(why, "no reason")),
    st.sets(ids, max_size=8),
    st.sets(ids, max_size=8),
)
stops = st.builds(
    lambda affects, severity: Finding("made", severity, "it broke", affects=tuple(affects)),
    st.sets(st.sampled_from(["takeoff.*", "energy.*", ROLL, "*", "climb.gradient"]), max_size=3),
    st.sampled_from(["stop", "degrade", "note"]),
)


def test_what_was_computed_is_given():
    figures, withheld = settle([gave(ROLL), gave("climb.best_rate")], [], ALL_TABLES)
    assert set(figures) == {ROLL, "climb.best_rate"}
    assert withheld == {}


def test_a_stop_withholds_what_it_affects_and_says_why():
    stop = make_finding("starts-in-air", "the log starts at 40 m")
    figures, withheld = settle([gave(ROLL, "energy.used")], [stop], ALL_TABLES)
    assert set(figures) == {"energy.used"}
    assert withheld[ROLL] == "the log starts at 40 m (starts-in-air)"
    # Also what no analysis spoke of: the reader asks why it is not there.
    assert "flight.duration" in withheld
    assert "energy.used" not in withheld


@pytest.mark.parametrize("severity", ["degrade", "note"])
def test_milder_findings_withhold_nothing(severity):
    mild = make_finding("starts-in-air", "the log starts at 40 m", severity=severity)
    figures, withheld = settle([gave(ROLL)], [mild], ALL_TABLES)
    assert ROLL in figures
    assert withheld == {}


def test_a_narrowed_finding_spoils_only_what_it_names():
    stop = make_finding("starts-in-air", "late", affects=["takeoff.skips"])
    figures, withheld = settle([gave(ROLL, "takeoff.skips")], [stop], ALL_TABLES)
    assert (set(figures), set(withheld)) == ({ROLL}, {"takeoff.skips"})


def test_the_reason_of_the_analysis_is_kept():
    _, withheld = settle([Answer(withheld={ROLL: "launched by hand"})], [], ALL_TABLES)
    assert withheld[ROLL] == "launched by hand"


def test_a_stop_outranks_the_reason_of_the_analysis():
    stop = make_finding("starts-rolling", "it rolls at 4 m/s at the first row")
    _, withheld = settle([Answer(withheld={ROLL: "no standstill"})], [stop], ALL_TABLES)
    assert withheld[ROLL].endswith("(starts-rolling)")


def test_missing_tables_are_named():
    _, withheld = settle([], [], [])
    assert withheld[ROLL] == "the log has no gps data"
    assert withheld["energy.per_km"] == "the log has no battery and no gps data"
    assert "wind.speed" not in withheld  # needs no table of its own
    _, with_gps = settle([], [], ["gps"])
    assert ROLL not in with_gps
    assert with_gps["energy.per_km"] == "the log has no battery data"


def test_a_reason_outranks_a_missing_table():
    _, withheld = settle([Answer(withheld={ROLL: "launched by hand"})], [], [])
    assert withheld[ROLL] == "launched by hand"


def test_a_degrade_finding_with_a_share_widens_what_it_affects_and_says_so():
    wide = make_finding("current-scale", "7 % off", widen=0.07)
    used = Answer(
        {i: Figure(i, Uncertain(100.0, {"noise": 2.0}, FIGURES[i].unit), "sum", ("battery",))
         for i in ("energy.used", "battery.min_voltage")}
    )  # fmt: skip
    figures, _ = settle([used], iter([wide]), ALL_TABLES)
    energy = figures["energy.used"]
    # 7 % of 100 beside 2: the root of 53.
    assert energy.quantity.std == pytest.approx(53**0.5)
    assert energy.quantity.value == 100.0
    assert "current-scale" in energy.method
    assert figures["battery.min_voltage"] == used.figures["battery.min_voltage"]


@pytest.mark.parametrize("severity", ["stop", "note"])
def test_only_a_degrade_finding_widens(severity):
    finding = make_finding("current-scale", "7 % off", widen=0.07, severity=severity)
    number = Uncertain(100.0, {"noise": 2.0}, "Wh")
    assert widened_by([finding], "energy.used", number) is number


@given(st.lists(answers, max_size=3), st.lists(stops, max_size=3), st.sets(st.sampled_from(
    ALL_TABLES)))  # fmt: skip
def test_every_figure_is_in_exactly_one_place(given_answers, findings, tables):
    figures, withheld = settle(given_answers, findings, tables)
    assert not set(figures) & set(withheld)
    spoken = {i for a in given_answers for i in (*a.figures, *a.withheld)}
    silent = set(FIGURES) - set(figures) - set(withheld)
    # Left out altogether: only what nobody spoke of although its tables are there.
    assert not silent & spoken
    assert all(set(FIGURES[i].needs) <= tables for i in silent)
    assert all(reason for reason in withheld.values())
    stopped = [f for f in findings if f.severity == "stop"]
    if any("*" in f.affects for f in stopped):
        assert not figures
        assert set(withheld) == set(FIGURES)


@given(st.lists(answers, max_size=3))
def test_figures_come_in_the_order_of_the_dictionary(given_answers):
    figures, withheld = settle(given_answers, [], ALL_TABLES)
    order = list(FIGURES)
    assert list(figures) == sorted(figures, key=order.index)
    assert list(withheld) == sorted(withheld, key=order.index)


def test_a_figure_is_in_the_unit_of_its_kind():
    with pytest.raises(ValueError, match=r"takeoff\.ground_roll is in 'm', got 'ft'"):
        Figure(ROLL, Uncertain(3.0, {}, "ft"), "made", ())
    with pytest.raises(KeyError):
        Figure("takeoff.luck", Uncertain(3.0, {}, "m"), "made", ())


def test_every_kind_is_complete():
    for id_, kind in FIGURES.items():
        assert id_ == kind.id
        assert re.fullmatch(r"[a-z]+\.[a-z0-9_]+", id_)
        assert kind.label
        assert kind.definition
        assert 0 <= kind.decimals <= 4
        assert set(kind.needs) <= set(TABLES)


# --- families


def test_a_familys_member_is_a_figure_like_any_other():
    kind = FIGURES["surface.left_tail.play"]
    assert (kind.id, kind.unit) == ("surface.left_tail.play", "deg")
    assert kind.label == "Left tail: play"
    assert "surface.left_tail.play" in FIGURES
    assert FIGURES.get("surface.left_tail.luck") is None


@pytest.mark.parametrize(
    "id_",
    [
        "surface.NAME.play", "surface..play", "surface.a b.play", "surface._a.play",
        "surface.a.b.play", "surface.a.play.x", f"surface.{'a' * 100}.play", "surface.\u00e9.play",
    ],
)  # fmt: skip
def test_what_is_no_name_of_a_thing_is_no_member(id_):
    assert id_ not in FIGURES
    with pytest.raises(KeyError):
        FIGURES[id_]


def test_members_stand_behind_the_others_and_together():
    shuffled = ["surface.rudder.play", "energy.used", "surface.elevator.trim", "made.up", ROLL,
                "surface.elevator.play"]  # fmt: skip
    assert FIGURES.ordered(shuffled) == [
        ROLL, "energy.used", "surface.elevator.play", "surface.elevator.trim", "surface.rudder.play"
    ]  # fmt: skip


def test_members_are_settled_by_the_same_rules():
    play, lag = "surface.elevator.play", "surface.elevator.lag"
    answer = Answer({play: figure(play)}, {lag: "nothing moved"})
    figures, withheld = settle([answer], [], ALL_TABLES)
    assert set(figures) == {play}
    assert withheld == {lag: "nothing moved"}
    stop = Finding("made", "stop", "it broke", affects=("surface.*.play",))
    figures, withheld = settle([answer], [stop], ALL_TABLES)
    assert not figures
    assert withheld[play] == "it broke (made)"


def test_every_family_is_complete():
    assert FIGURES.families
    for id_, kind in FIGURES.families.items():
        assert id_ == kind.id
        assert id_.count(FREE_NAME) == 1
        assert kind.label
        assert kind.definition
        assert id_.replace(FREE_NAME, "x") in FIGURES


@given(st.text(max_size=60))
def test_every_name_makes_a_member_or_nothing(name):
    made = slug(name)
    assert not made or f"surface.{made}.play" in FIGURES
    assert slug(made) == made
