from __future__ import annotations

import json
from dataclasses import replace

import pytest

from flightlog.contract import dumps
from flightlog.earlier import compared, read_earlier
from flightlog.errors import TeamFileError, UsageError
from flightlog.figures import ANALYSES_VERSION, Figure
from flightlog.inputs import Mass, Pack
from flightlog.recording import Partner
from flightlog.uncertain import Uncertain
from tests.made_debriefs import made

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
    everywhere = [*result.findings, *(f for s in result.sorties for f in s.findings)]
    return [f.message for f in everywhere if f.code == "recomputed"]


def by_analyses(version):
    return lambda body: body["tool"].update(analyses=version)


def test_a_figure_that_moved_is_told_with_both_numbers_and_versions(stored):
    old = stored(debrief(28.10), by_analyses(ANALYSES_VERSION - 1))
    result = compared(debrief(28.40), old)

    assert told(result) == [
        f"{ROLL} was 28.10 m by analyses {ANALYSES_VERSION - 1} and is 28.40 m by analyses "
        f"{ANALYSES_VERSION}."
    ]
    [finding] = [f for f in result.sorties[0].findings if f.code == "recomputed"]
    assert finding.evidence == {
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
    messages = told(compared(debrief(28.40), stored(debrief(old))))

    assert (ROLL in messages[0]) is moved
    assert len(messages) == 1
    assert moved or messages[0].startswith("no figure moved")


def test_a_figure_that_is_withheld_now_says_why(stored):
    result = made(withheld={ROLL: "the log starts in the air"})
    [message] = told(compared(result, stored(debrief(28.10))))

    assert message.startswith(f"{ROLL} was 28.10 m")
    assert "is withheld by analyses" in message
    assert "(the log starts in the air)" in message


def test_a_figure_that_was_withheld_and_is_given_now_is_told(stored):
    [message] = told(compared(debrief(28.4), stored(made(withheld={ROLL: "no"}))))

    assert f"{ROLL} was withheld by analyses" in message
    assert "is 28.40 m" in message


def test_other_inputs_are_named_because_they_move_figures_too(stored):
    heavier = debrief(28.4)
    heavier = replace(heavier, inputs=replace(heavier.inputs, mass=Mass(9.5, 0.02, "option")))
    [message] = told(compared(heavier, stored(debrief(28.1))))

    assert message.endswith("; what was given differs too: mass.")


def test_a_recording_that_was_joined_since_is_named(stored):
    result = debrief(28.4)
    partner = Partner("b.csv", "12" * 32, "transmitter", 33.0, 0.3, "speed", ("battery",))
    joined = replace(result, receipt=replace(result.receipt, partners=(partner,)))
    [message] = told(compared(joined, stored(result)))

    assert "what was given differs too: joined recordings" in message


def test_debriefs_from_before_there_were_partners_can_be_read(stored):
    old = stored(debrief(28.4), lambda body: body["log"].pop("partners"))

    assert old.partners == ()


def test_debriefs_from_before_packs_were_given_compare_as_if_none_was(stored):
    old = stored(debrief(28.10), lambda body: body["inputs"].pop("pack"))
    flown = debrief(28.40)
    pack = replace(flown, inputs=replace(flown.inputs, pack=Pack("pack-a", "bb")))

    assert not any("was given differs" in message for message in told(compared(flown, old)))
    assert any("differs too: pack" in message for message in told(compared(pack, old)))


def test_sorties_are_matched_by_their_time_and_lost_ones_are_told(stored):
    old = stored(debrief(28.1, sorties=1), lambda b: b["sorties"][0].update(start_s=900.0))
    messages = told(compared(debrief(28.4), old))

    assert len(messages) == 2
    assert any("is not in the debrief by analyses" in m for m in messages)
    assert any("started at 900.0 s" in m for m in messages)


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
        (body_with(lambda b: b["sorties"][0].update(withheld={"a": 1})), "reason that is no text"),
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
    figure = Figure("wind.speed", Uncertain.of(3.14159, 0.3, "m/s", source="w"), "m", ("gps",))
    result = debrief(28.4)
    sortie = replace(result.sorties[0], figures={**result.sorties[0].figures, "wind.speed": figure})
    result = replace(result, sorties=(sortie,))

    [message] = told(compared(result, stored(result)))
    assert message == (
        f"no figure moved by more than it is rounded to: analyses {ANALYSES_VERSION} then, "
        f"{ANALYSES_VERSION} now."
    )
