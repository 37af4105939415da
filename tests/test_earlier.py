from __future__ import annotations

import json
from dataclasses import replace

import pytest

from flightlog.contract import dumps
from flightlog.earlier import changes_in, compared, read_earlier
from flightlog.errors import TeamFileError, UsageError
from flightlog.figures import ANALYSES_VERSION, Figure
from flightlog.inputs import Mass, Pack
from flightlog.recording import Partner
from flightlog.rules.outcomes import Score
from flightlog.uncertain import Uncertain
from tests.made_debriefs import figure, judged, made

ROLL = "takeoff.ground_roll"


def debrief(roll: float = 28.40, **other):
    return made(roll=Uncertain.of(roll, 0.6, "m", source="all"), **other)


@pytest.fixture
def stored(tmp_path):
    """Store a debrief as JSON, changed at will, and read it back."""

    def store(result, change=None):
        body = json.loads(dumps(result))
        if change is not None:
            change(body)
        place = tmp_path / "old.json"
        place.write_text(json.dumps(body), encoding="utf-8")
        return read_earlier(place)

    return store


def told(result) -> list[str]:
    everywhere = [*(f for s in result.sorties for f in s.findings), *result.findings]
    return [f.message for f in everywhere if f.code == "recomputed"]


def with_figure(result, figure):
    """Put a figure into every flight of a debrief."""
    sorties = (replace(s, figures={**s.figures, figure.id: figure}) for s in result.sorties)
    return replace(result, sorties=tuple(sorties))


def with_score(result, score):
    return replace(result, sorties=tuple(replace(s, score=score) for s in result.sorties))


def by_analyses(version):
    return lambda body: body["tool"].update(analyses=version)


def test_a_figure_that_moved_is_told_with_both_numbers_and_versions(stored):
    old = stored(debrief(28.10), by_analyses(ANALYSES_VERSION - 1))
    result = compared(debrief(28.40), old)

    assert told(result) == [
        "ground roll was 28.1 m (26.9 to 29.3), is 28.4 m (27.2 to 29.6).",
        f"analyses {ANALYSES_VERSION - 1} then, {ANALYSES_VERSION} now.",
    ]
    [finding] = [f for f in result.sorties[0].findings if f.code == "recomputed"]
    ends = {key: finding.evidence[key] for key in ("old_low", "old_high", "new_low", "new_high")}
    assert ends == pytest.approx(
        {"old_low": 26.924, "old_high": 29.276, "new_low": 27.224, "new_high": 29.576}, abs=1e-3
    )
    assert {key: finding.evidence[key] for key in finding.evidence if key not in ends} == {
        "what": "value",
        "figure": ROLL,
        "unit": "m",
        "old": 28.1,
        "new": 28.4,
        "old_analyses": ANALYSES_VERSION - 1,
        "new_analyses": ANALYSES_VERSION,
    }
    assert finding.affects == (ROLL,)
    assert finding.severity == "note"


@pytest.mark.parametrize(("old", "moved"), [(28.36, False), (28.44, False), (28.34, True)])
def test_a_change_that_rounding_hides_is_none(stored, old, moved):
    """A roll is written with one decimal: 0.05 m is half of its last digit."""
    result = compared(debrief(28.40), stored(debrief(old)))

    assert len(changes_in(result)) == moved
    assert told(result)[0].startswith("ground roll" if moved else "no figure moved")


def test_a_change_that_the_last_decimal_hides_is_written_with_one_more(stored):
    [change] = changes_in(compared(debrief(28.34), stored(debrief(28.26))))

    assert change == "ground roll was 28.26 m (27.08 to 29.44), is 28.34 m (27.16 to 29.52)"


@pytest.mark.parametrize(("std", "moved"), [(6.0, True), (0.61, False)])
def test_an_interval_that_became_another_one_is_told_though_the_value_stayed(stored, std, moved):
    wide = made(roll=Uncertain.of(28.40, std, "m", source="all"))
    changes = changes_in(compared(wide, stored(debrief(28.40))))

    told = ["ground roll was 28.4 m (27.2 to 29.6), is 28.4 m (16.6 to 40.2)"]
    assert list(changes) == (told if moved else [])


def test_a_direction_is_compared_around_the_circle(stored):
    """359 and 0 degrees are a degree apart; an interval may begin below north."""
    old, new = (figure("wind.from_deg", value, 2.0) for value in (359.8, 0.2))
    assert not changes_in(compared(with_figure(made(), new), stored(with_figure(made(), old))))

    turned = with_figure(made(), figure("wind.from_deg", 3.0, 2.0))
    assert changes_in(compared(turned, stored(with_figure(made(), old)))) == (
        "wind from was 360 deg (356 to 4), is 3 deg (359 to 7)",
    )


@pytest.mark.parametrize(
    ("before", "now", "says"),
    [
        (28.9, 45.0, "was met, is not met"),
        (45.0, 40.2, "was not met, is not shown"),
        (45.0, None, "was not met, is not assessable: hand launch, so there is no ground roll"),
    ],
)
def test_a_limit_that_is_judged_otherwise_is_told_though_no_figure_moved(stored, before, now, says):
    result = compared(made(judged(now)), stored(made(judged(before))))

    assert changes_in(result) == (f"the limit roll (ground roll <= 40 m) {says}",)


def test_limits_that_came_and_went_are_told(stored):
    other = replace(judged(28.9), limit="other")
    changes = changes_in(compared(made(other), stored(made(judged(28.9)))))

    assert changes == (
        "the limit other (ground roll <= 40 m) was not judged, is met",
        "the limit roll (ground roll <= 40 m) was met, is not judged",
    )


def test_two_limits_of_one_name_are_two(stored):
    """The aircraft's own and the pack's limit of a figure are called alike."""
    pack = replace(judged(28.9), source="pack file")

    [change] = changes_in(compared(made(judged(45.0), pack), stored(made(judged(28.9), pack))))

    assert change.endswith("was met, is not met")


@pytest.mark.parametrize(
    ("score", "says"),
    [
        (Score(Uncertain.of(800.0, 9.0, "", source="s")), "is 800.0 (782.4 to 817.6)"),
        (Score(Uncertain.of(812.0, 20.0, "", source="s")), "is 812.0 (772.8 to 851.2)"),
        (Score(None, reason="laps.count is withheld"), "is withheld: laps.count is withheld"),
        (None, "is not asked for"),
        (Score(Uncertain.of(812.01, 9.0, "", source="s")), ""),
    ],
)
def test_a_score_that_moved_or_went_is_told(stored, score, says):
    changes = changes_in(compared(with_score(made(), score), stored(made())))

    told = [f"the score was 812.0 (794.4 to 829.6), {says}"] if says else []
    assert list(changes) == told


def test_the_most_important_changes_come_first_and_say_of_which_flight_they_are(stored):
    """By hand: of two flights the first has a new figure, the second a limit and a value."""
    before = with_figure(made(judged(28.9), sorties=2), figure("wind.speed", 3.0, 0.3))
    first, second = before.sorties
    more = {**first.figures, "flight.max_range": figure("flight.max_range", 900.0, 3.0)}
    wide = {"wind.speed": figure("wind.speed", 3.0, 0.9)}
    moved = {"energy.used": figure("energy.used", 33.0, 0.2)}
    result = replace(
        before,
        sorties=(
            replace(first, figures={**more, **wide}),
            replace(second, figures={**second.figures, **moved}, outcomes=(judged(45.0),)),
        ),
    )

    changes = changes_in(compared(result, stored(before)))

    assert changes == (
        "flight 2: the limit roll (ground roll <= 40 m) was met, is not met",
        "flight 2: energy used was 31.20 Wh (30.81 to 31.60), is 33.00 Wh (32.61 to 33.39)",
        "flight 1: wind was 3.0 m/s (2.4 to 3.6), is 3.0 m/s (1.2 to 4.8)",
        "flight 1: greatest range was not there, is 900 m (894 to 906)",
    )


def test_a_figure_that_is_withheld_now_says_why(stored):
    result = made(withheld={ROLL: "the log starts in the air"})
    [change] = changes_in(compared(result, stored(debrief(28.10))))

    assert change == (
        "ground roll was 28.1 m (26.9 to 29.3), is withheld: the log starts in the air"
    )


def test_a_figure_that_was_withheld_and_is_given_now_is_told(stored):
    [change] = changes_in(compared(debrief(28.4), stored(made(withheld={ROLL: "no"}))))

    assert change == "ground roll was withheld, is 28.4 m (27.2 to 29.6)"


def test_other_inputs_are_named_because_they_move_figures_too(stored):
    heavier = debrief(28.4)
    heavier = replace(heavier, inputs=replace(heavier.inputs, mass=Mass(9.5, 0.02, "option")))
    given, roll = changes_in(compared(heavier, stored(debrief(28.1))))

    assert given == "what was given beside the log differs: mass"
    assert roll.startswith("ground roll was")


def test_a_recording_that_was_joined_since_is_named(stored):
    result = debrief(28.4)
    partner = Partner("b.csv", "12" * 32, "transmitter", 33.0, 0.3, "speed", ("battery",))
    joined = replace(result, receipt=replace(result.receipt, partners=(partner,)))
    [message] = told(compared(joined, stored(result)))  # which is no change by itself

    assert "what was given differs: joined recordings" in message


def test_debriefs_from_before_there_were_partners_can_be_read(stored):
    old = stored(debrief(28.4), lambda body: body["log"].pop("partners"))

    assert old.partners == ()


def test_debriefs_from_before_packs_were_given_compare_as_if_none_was(stored):
    old = stored(debrief(28.10), lambda body: body["inputs"].pop("pack"))
    flown = debrief(28.40)
    pack = replace(flown, inputs=replace(flown.inputs, pack=Pack("pack-a", "bb")))

    assert not any("was given differs" in message for message in told(compared(flown, old)))
    assert any("differs: pack" in message for message in told(compared(pack, old)))


def test_sorties_are_matched_by_their_time_and_lost_ones_are_told(stored):
    old = stored(debrief(28.1, sorties=1), lambda b: b["sorties"][0].update(start_s=900.0))
    messages = changes_in(compared(debrief(28.4), old))

    assert messages == (
        "the sortie that starts at 70.9 s is not in the earlier debrief",
        "the sortie that started at 900.0 s is none any more",
    )


def test_an_earlier_debrief_of_another_log_is_refused_and_named(stored):
    old = stored(debrief(), lambda b: b["log"].update(sha256="12" * 32, file="other.bin"))

    with pytest.raises(
        UsageError, match=r"is of 'other\.bin' \(SHA-256 '121212121212'\)"
    ) as raised:
        compared(debrief(), old)
    assert raised.value.where == "--against"


# --- files that are no debrief


def body_with(change) -> str:
    body = json.loads(dumps(debrief()))
    change(body)
    return json.dumps(body)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        ("", "not JSON"),
        ("[1, 2", "not JSON"),
        ("[]", "no debrief"),
        ("null", "no debrief"),
        ('{"schema": "flightlog.error/1"}', "its schema is 'flightlog.error/1'"),
        ('{"schema": ' + "[" * 200_000, "nested too deeply"),
        ('{"schema": ' + "9" * 5000 + "}", "not JSON"),
        ('{"schema": NaN}', "NaN is no number"),
        ('{"schema": "flightlog.debrief/1"}', "log is no table"),
        (body_with(lambda b: b.update(log=[])), "log is no table"),
        (body_with(lambda b: b["log"].update(sha256=5)), "log.sha256 is no text"),
        (body_with(lambda b: b["log"].update(partners={})), "log.partners is no list"),
        (body_with(lambda b: b["tool"].update(analyses=True)), "tool.analyses is no whole"),
        (body_with(lambda b: b["tool"].update(analyses="1")), "tool.analyses is no whole"),
        (body_with(lambda b: b.update(sorties={})), "sorties is no list"),
        (body_with(lambda b: b.update(sorties=[1])), r"sorties\[1\] is no table"),
        (body_with(lambda b: b["sorties"][0].update(figures=[])), "figures is no table"),
        (body_with(lambda b: b["sorties"][0].update(start_s=None)), "start_s is no number"),
        (
            body_with(lambda b: b["sorties"][0]["figures"].update(x=3)),
            r"sorties\[1\]\.x is no table",
        ),
        (
            body_with(lambda b: b["sorties"][0]["figures"].update(x={"value": "3", "unit": "m"})),
            "x.value is no number",
        ),
        (
            body_with(lambda b: b["sorties"][0]["figures"].update(x={"value": 3, "unit": 1})),
            "x.unit is no text",
        ),
        (
            body_with(
                lambda b: b["sorties"][0]["figures"].update(x={"value": 10**400, "unit": "m"})
            ),
            "x.value is too large",
        ),
        (
            body_with(
                lambda b: b["sorties"][0]["figures"].update(x={"value": 3, "unit": "m", "low": "2"})
            ),
            "x.low is no number",
        ),
        (body_with(lambda b: b["sorties"][0].update(withheld={"a": 1})), "reason that is no text"),
        (body_with(lambda b: b["sorties"][0].update(outcomes=[1])), "outcomes is no list of"),
        (body_with(lambda b: b["sorties"][0].update(outcomes=[{}])), "outcomes.kind is no text"),
        (body_with(lambda b: b["sorties"][0].update(score=5)), "score is no table"),
        (body_with(lambda b: b["sorties"][0].update(score={"total": 5})), "total is no table"),
    ],
)
def test_a_file_that_is_no_debrief_says_what_is_wrong(tmp_path, content, found):
    place = tmp_path / "old.json"
    place.write_text(content, encoding="utf-8")

    with pytest.raises(TeamFileError, match=found) as raised:
        read_earlier(place)
    assert "flightlog debrief LOG --json" in raised.value.fix


@pytest.mark.parametrize("make", ["folder", "nothing", "bytes", "huge"])
def test_a_file_that_can_not_be_read_says_so(tmp_path, monkeypatch, make):
    place = tmp_path / "old.json"
    if make == "folder":
        place.mkdir()
    elif make == "bytes":
        place.write_bytes(b"\xff\xfe\x00\xd8")
    elif make == "huge":
        place.write_text("{}", encoding="utf-8")
        monkeypatch.setattr("flightlog.earlier.LARGEST_BYTES", 1)

    with pytest.raises(TeamFileError):
        read_earlier(place)


def test_figures_of_an_id_that_no_longer_exists_are_no_fault(stored):
    old = stored(
        debrief(28.4),
        lambda b: b["sorties"][0]["figures"].update({"gone.figure": {"value": 1.0, "unit": "m"}}),
    )

    assert told(compared(debrief(28.4), old))[0].startswith("no figure moved")


def test_every_figure_of_the_same_debrief_compares_as_unmoved(stored):
    wind = Figure("wind.speed", Uncertain.of(3.14159, 0.3, "m/s", source="w"), "m", ("gps",))
    result = with_figure(made(judged(28.9), judged(None)), wind)

    [message] = told(compared(result, stored(result)))
    assert message == (
        f"no figure moved by more than it is rounded to: analyses {ANALYSES_VERSION} then, "
        f"{ANALYSES_VERSION} now."
    )
