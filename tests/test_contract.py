from __future__ import annotations

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from flightlog.analyses.laps import Gate, Lap
from flightlog.analyses.phases import Attempt, Sortie
from flightlog.contract import dumps, error_to_json, to_json
from flightlog.debriefing import Debrief, SortieDebrief
from flightlog.errors import TeamFileError
from flightlog.figures import Figure
from flightlog.findings import Finding
from flightlog.inputs import Aircraft, GivenAir, GivenWind, Inputs, Mass, Pack, Site
from flightlog.recording import Partner, Receipt, UtcRelation
from flightlog.rules.outcomes import Bound, Outcome, Score
from flightlog.uncertain import Posterior, Uncertain

NORMAL_95 = 1.959963984540054
"""Half-width of the central 95 % of a standard Gaussian (tables of the normal distribution)."""

# The keys of every object, from the written contract; a trailing "?" may be missing.
QUANTITY = "value unit low high level"
ROLLED = Uncertain.of(6.0, 4.0, "m", source="speed")
SHAPE = {
    "": "schema tool log inputs attempts sorties findings",
    "tool": "version analyses",
    "log": "file sha256 format duration_s start_utc time_origin utc partners",
    "log.utc": "offset_s std_s zone_known source clock",
    "log.partners[]": "file sha256 format offset rate_ppm method tables",
    "log.partners[].offset": QUANTITY,
    "inputs": "site aircraft pack rules mass weather payload_units screen_height_m entered charged",
    "inputs.site": "id sha256",
    "inputs.rules": "id version sha256",
    "inputs.mass": "value unit source",
    "attempts[]": "number start_s stop_s peak_ground_speed distance distance_in_all reason",
    "attempts[].peak_ground_speed": "value unit low high",
    "attempts[].distance": "value unit low high",
    "attempts[].distance_in_all": "value unit low high",
    "sorties[]": "number launch starts ends start_s liftoff_s touchdown_s end_s figures withheld"
    " gate laps outcomes score findings",
    "sorties[].figures.takeoff.ground_roll": f"{QUANTITY} method sources",
    "sorties[].gate": "origin left right",
    "sorties[].laps[]": "number start_s end_s time energy distance",
    "sorties[].laps[].time": QUANTITY,
    "sorties[].laps[].energy": QUANTITY,
    "sorties[].outcomes[]": "limit kind figure definition value low high unit outcome probability"
    " bound required_probability source reason?",
    "sorties[].outcomes[].bound": "op value unit",
    "sorties[].score": "total terms reason?",
    "sorties[].score.total": "value low high",
    "sorties[].findings[]": "code severity message evidence affects remedy start_s end_s",
    "findings[]": "code severity message evidence affects remedy start_s end_s",
}


def roll_outcome(**changes: object) -> Outcome:
    outcome = Outcome(
        limit="takeoff-roll",
        kind="rule",
        figure="takeoff.ground_roll",
        definition=None,
        quantity=Uncertain.of(28.9, 0.6, "m", source="a"),
        outcome="met",
        probability=0.998,
        bound=Bound("<=", 40.0, "m"),
        required_probability=0.95,
        source="clause 4.2",
    )
    return replace(outcome, **changes)  # type: ignore[arg-type]


def sortie_debrief(**changes: object) -> SortieDebrief:
    roll = Uncertain.of(28.9, 0.6, "m", source="a")
    sortie = SortieDebrief(
        sortie=Sortie(1, "runway", "rest", "standstill", 70.9, 74.8, 540.2, 552.0, (60.0, 90.0)),
        figures={"takeoff.ground_roll": Figure("takeoff.ground_roll", roll, "track", ("gps",))},
        withheld={"climb.height_at_60s": "the flight ended 41 s after the start of roll"},
        gate=Gate("given", (1.0, 2.0), (1.0, 2.001)),
        laps=(
            Lap(
                1,
                101.22,
                141.03,
                Uncertain.of(39.81, 0.02, "s", source="t"),
                Uncertain.of(3.76, 0.05, "Wh", source="e"),
                None,
            ),
        ),
        outcomes=(roll_outcome(),),
        score=Score(Uncertain.of(812.0, 9.0, "", source="s"), {"cargo": Uncertain(800.0)}),
        findings=(
            Finding("baro-drift", "note", "drifted 1.2 m", {"drift_m": 1.2}, ("climb.*",), "Wait."),
        ),
    )
    return replace(sortie, **changes)  # type: ignore[arg-type]


def debrief(*sorties: SortieDebrief, **changes: object) -> Debrief:
    receipt = Receipt(
        "a.bin",
        4_000_000,
        "ab" * 32,
        "dataflash",
        1,
        duration_s=812.4,
        utc=UtcRelation(1_803_978_845.0, 0.1, "gps"),
        partners=(Partner("b.csv", "12" * 32, "transmitter", -3592.6, 0.2, "speed", ("battery",)),),
    )
    whole = Debrief(
        receipt=receipt,
        inputs=Inputs(site=Site("strip-2", "cd" * 32), mass=Mass(8.0, 0.02, "option")),
        rules={"id": "club-trial-2027", "version": "1", "sha256": "ef" * 32},
        attempts=(
            Attempt(1, 40.1, 44.0, 6.1, 0.05, "stopped before lift-off", ROLLED, ROLLED * 2.0),
        ),
        sorties=sorties or (sortie_debrief(),),
        findings=(Finding("damaged-bytes", "note", "12 bytes skipped"),),
    )
    return replace(whole, **changes)  # type: ignore[arg-type]


def at(body: object, path: str) -> object:
    """Follow a path of the shape; figure ids hold full stops, so they stand last."""
    if path.startswith("sorties[].figures."):
        figures = at(body, "sorties[]")["figures"]  # type: ignore[index]
        return figures[path.removeprefix("sorties[].figures.")]
    for step in filter(None, path.split(".")):
        name, _, index = step.partition("[")
        body = body[name]  # type: ignore[index]
        body = body[0] if index else body  # type: ignore[index]
    return body


def test_how_far_an_attempt_rolled_is_never_less_than_nothing_and_may_be_unknown():
    (rolled,) = to_json(debrief())["attempts"]
    assert (6.0, 0.0) == (rolled["distance"]["value"], rolled["distance"]["low"])
    assert 13.8 == pytest.approx(rolled["distance"]["high"], abs=0.1)
    unknown = Attempt(1, 40.1, 44.0, 6.1, 0.05, "the log ends during the roll")
    (rolled,) = to_json(debrief(attempts=(unknown,)))["attempts"]
    assert (None, None) == (rolled["distance"], rolled["distance_in_all"])


@pytest.mark.parametrize("path", SHAPE)
def test_every_object_has_the_keys_of_the_contract_in_their_order(path):
    wanted = SHAPE[path].split()
    found = list(at(to_json(debrief()), path))  # type: ignore[call-overload]

    assert [k for k in (w.rstrip("?") for w in wanted) if k in found] == found
    assert {k for k in wanted if not k.endswith("?")} <= set(found)


def test_low_and_high_are_the_ends_of_the_95_percent_interval():
    figure = at(to_json(debrief()), "sorties[].figures.takeoff.ground_roll")

    assert figure == {
        "value": 28.9,
        "unit": "m",
        "low": pytest.approx(28.9 - NORMAL_95 * 0.6, rel=1e-9),
        "high": pytest.approx(28.9 + NORMAL_95 * 0.6, rel=1e-9),
        "level": 0.95,
        "method": "track",
        "sources": ["gps"],
    }


def test_the_clock_is_told_as_utc():
    # 1 803 978 845 s after 1970: 20 879 whole days, which is 2027-03-02, and 33 245 s
    # into the day, which is 09:14:05.
    assert to_json(debrief())["log"]["start_utc"] == "2027-03-02T09:14:05Z"


@pytest.mark.parametrize("offset", [None, math.nan, 1e18, -1e18])
def test_a_clock_that_does_not_tell_is_null(offset):
    receipt = replace(debrief().receipt, utc=UtcRelation(offset))

    assert to_json(debrief(receipt=receipt))["log"]["start_utc"] is None


def test_the_relation_to_utc_says_how_sure_it_is():
    utc = UtcRelation(1_803_978_845.0, 0.2, "week and time of week of the fixes")
    receipt = replace(debrief().receipt, utc=utc, clock="the boot clock")

    assert to_json(debrief(receipt=receipt))["log"]["utc"] == {
        "offset_s": 1_803_978_845.0,
        "std_s": 0.2,
        "zone_known": True,
        "source": "week and time of week of the fixes",
        "clock": "the boot clock",
    }


def test_local_time_of_an_unknown_zone_is_never_told_as_utc():
    utc = UtcRelation(1_803_978_845.0, 60.0, "the transmitter's clock", zone_known=False)
    log = to_json(debrief(receipt=replace(debrief().receipt, utc=utc)))["log"]

    assert (log["start_utc"], log["utc"]["zone_known"]) == (None, False)


def test_what_the_charger_put_back_is_told_in_ampere_hours():
    given = replace(debrief().inputs, charged_coulomb=11_160.0)  # 3.1 Ah x 3600 C/Ah

    assert to_json(replace(debrief(), inputs=given))["inputs"]["charged"] == {
        "value": pytest.approx(3.1),
        "unit": "Ah",
    }


def test_events_that_the_log_does_not_hold_are_null():
    sortie = replace(sortie_debrief().sortie, starts="air", liftoff_s=None, touchdown_s=None)
    found = to_json(debrief(sortie_debrief(sortie=sortie, gate=None, laps=(), score=None)))
    first = found["sorties"][0]

    assert (first["liftoff_s"], first["touchdown_s"]) == (None, None)
    assert (first["gate"], first["laps"], first["score"]) == (None, [], None)


def test_a_limit_that_is_not_assessable_has_no_numbers_but_a_reason():
    outcome = roll_outcome(
        quantity=None, outcome="not assessable", probability=None, reason="hand launch"
    )
    found = to_json(debrief(sortie_debrief(outcomes=(outcome,))))["sorties"][0]["outcomes"][0]

    assert [found[k] for k in ("value", "low", "high", "probability")] == [None] * 4
    assert (found["unit"], found["reason"]) == ("m", "hand launch")


def test_a_score_that_cant_be_had_says_why():
    score = Score(None, {"cargo": Uncertain(800.0)}, "field_best is not given")
    found = to_json(debrief(sortie_debrief(score=score)))["sorties"][0]["score"]

    assert found == {
        "total": None,
        "terms": {"cargo": {"value": 800.0, "low": 800.0, "high": 800.0}},
        "reason": "field_best is not given",
    }


def test_no_flight_is_an_empty_list():
    empty = replace(debrief(), sorties=(), attempts=())
    found = json.loads(dumps(empty))

    assert (found["sorties"], found["attempts"]) == ([], [])


class Boundless:
    """A number whose interval has no end."""

    value, unit, std = 28.9, "m", math.inf

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        return -math.inf, math.inf

    def probability_below(self, bound: float) -> float:
        return 0.5

    def scaled(self, factor: float, unit: str) -> Boundless:
        return self


def test_a_figure_that_is_not_finite_is_withheld_with_a_reason():
    figure = Figure("takeoff.ground_roll", Boundless(), "track", ("gps",))
    found = to_json(debrief(sortie_debrief(figures={figure.id: figure})))["sorties"][0]

    assert found["figures"] == {}
    assert "not a finite number" in found["withheld"]["takeoff.ground_roll"]


def test_hostile_values_become_plain_json():
    evidence = {
        "nan": math.nan,
        "inf": np.float64(math.inf),
        "count": np.int64(3),
        "share": np.float32(0.5),
        "yes": np.bool_(True),
        "text": "half a pair \ud800, \x1b[31m",
    }
    finding = Finding("baro-drift", "note", "x", evidence)  # type: ignore[arg-type]
    text = dumps(debrief(findings=(finding,)))
    found = json.loads(text.encode("utf-8"))["findings"][0]["evidence"]

    assert found["nan"] is None
    assert found["inf"] is None
    assert (found["count"], found["share"], found["yes"]) == (3, 0.5, True)
    assert found["text"].startswith("half a pair ?")
    assert "\x1b" not in text, "control codes are escaped"
    assert not re.search(r"\b(NaN|Infinity)\b", text)


def test_a_skewed_number_keeps_its_skew():
    # Quantiles of 0, 1, 4, 9, ... n²: the upper side is longer than the lower.
    skewed = Posterior.from_samples(np.arange(101.0) ** 2 / 100, unit="m")
    figure = Figure("takeoff.ground_roll", skewed, "track", ("gps",))
    found = to_json(debrief(sortie_debrief(figures={figure.id: figure})))["sorties"][0]
    body = found["figures"]["takeoff.ground_roll"]

    assert body["value"] == pytest.approx(25.0)
    assert body["high"] - body["value"] > 2 * (body["value"] - body["low"])


def test_what_was_given_is_told():
    aircraft = Aircraft("pannier", "aa", serial="PN-01")
    given = Inputs(
        aircraft=aircraft,
        pack=Pack("pack-a", "bb", serial="PK-01"),
        wind=GivenWind(3.5, 270.0),
        air=GivenAir(288.15),
        payload_units=8,
        entered={"field_best": 30.0},
    )
    found = to_json(debrief(inputs=given, rules=None))["inputs"]

    assert found["aircraft"]["id"] == "pannier"
    assert found["pack"] == {"id": "pack-a", "serial": "PK-01", "sha256": "bb"}
    assert found["rules"] is None
    assert found["weather"]["wind_speed"]["value"] == 3.5
    assert found["weather"]["wind_from"]["unit"] == "deg"
    assert found["weather"]["air_temperature"]["value"] == 288.15
    assert (found["payload_units"], found["entered"]) == (8, {"field_best": 30.0})


def test_the_same_debrief_gives_the_same_text():
    assert dumps(debrief()) == dumps(debrief())


def test_an_error_has_its_three_parts():
    error = TeamFileError("is missing", where="a.toml: id", fix="Add it.")

    assert error_to_json(error) == {
        "schema": "flightlog.error/1",
        "where": "a.toml: id",
        "found": "is missing",
        "fix": "Add it.",
    }
    assert json.loads(dumps(error))["found"] == "is missing"


def test_a_mapping_with_nan_is_refused():
    with pytest.raises(ValueError, match="not JSON compliant"):
        dumps({"x": math.nan})
