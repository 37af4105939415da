"""What wears in a record: series from stored debriefs, where they break, and what is named."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.errors import UsageError
from flightlog.figures import FIGURES
from flightlog.operations.trends import all_courses, trends_answer
from flightlog.operations.trends_baseline import baseline_lines_of
from flightlog.operations.trends_watched import WATCHED, watched_ids, watched_kind
from flightlog.prediction.wear import BEYOND, CROSSES, NOTHING, STANDS_OUT, TOO_FEW, WEARING
from tests.operations.worn import (
    PLAY,
    RESISTANCE,
    SINK,
    TRIM,
    flew,
    season,
    worn_farm,
    worn_place,
)

__all__ = ["worn_farm", "worn_place"]  # fixtures


def course_of(farm, figure):
    (course,) = trends_answer(farm.desk, figure=figure).courses
    return course


def test_every_watched_figure_is_in_the_dictionary():
    for id_ in WATCHED:
        assert id_ in FIGURES or id_ in FIGURES.families


def test_members_of_a_family_are_watched_and_others_not():
    assert watched_kind("surface.left_aileron.play") is WATCHED["surface.NAME.play"]
    assert watched_kind("surface.elevator.travel") is None
    assert watched_kind("battery.energy_left") is None
    assert watched_ids(["mass.takeoff", PLAY, RESISTANCE]) == [RESISTANCE, PLAY]


def test_a_pack_that_ages_is_named_and_what_stays_is_not(worn_farm):
    answer = trends_answer(worn_farm.desk)

    assert [course.line.figure for course in answer.named] == [RESISTANCE]
    (course,) = answer.named
    assert (course.line.thing, course.line.id) == ("pack", "pack-a")
    assert course.judged.word in (WEARING, CROSSES, BEYOND)
    assert course.judged.trend.slope.value == pytest.approx(0.02 * 0.030, rel=0.15)
    assert {NOTHING} == {c.judged.word for c in answer.courses if not c.judged.named}


def test_the_series_is_what_the_debriefs_say(worn_farm):
    part = course_of(worn_farm, PLAY).line.now
    flown = season()

    assert [p.value for p in part.points] == [f[PLAY] for f in flown if PLAY in f]
    assert part.points[0].std == pytest.approx(0.01 * flown[0][PLAY])
    # The flight that lacks it keeps its number, and says why.
    assert [p.number for p in part.points] == [k for k in range(1, 21) if k != 4]
    assert ["its debrief does not have it"] == [why for _, why in part.lacking]


def test_landings_add_up(worn_farm):
    total, counted, missing = course_of(worn_farm, SINK).landings

    assert total == pytest.approx(sum(f[SINK] ** 2 for f in season()))
    assert (counted, missing) == (20, 0)


def test_a_trim_that_jumps_is_named_at_once(worn_farm):
    flew(worn_farm, 20, {**season()[0], TRIM: 2.0})

    assert course_of(worn_farm, TRIM).judged.word == STANDS_OUT


def test_the_answer_is_the_same_however_it_is_asked(worn_farm):
    whole = {course.key: course.judged for course in trends_answer(worn_farm.desk).courses}

    for asked in ({"aircraft": "pannier"}, {"pack": "pack-a"}, {"figure": RESISTANCE}):
        for course in trends_answer(worn_farm.desk, **asked).courses:
            assert course.judged == whole[course.key]
    assert {c.line.thing for c in trends_answer(worn_farm.desk, pack="pack-a").courses} == {"pack"}


@pytest.mark.parametrize(
    ("event", "about", "broken"),
    [
        ("configuration-change", {"aircraft": "pannier"}, {TRIM, PLAY, SINK}),
        ("repair", {"aircraft": "pannier"}, {TRIM, PLAY, SINK}),
        ("parameter-change", {"aircraft": "pannier"}, {TRIM, PLAY}),
        # What should be seen ends nothing.
        ("hard-landing", {"aircraft": "pannier"}, set()),
        ("rain", {"aircraft": "pannier"}, set()),
    ],
)
def test_what_changes_the_aircraft_breaks_its_series(worn_farm, event, about, broken):
    worn_farm.add("event", {"event": event, **about})
    flew(worn_farm, 20, season()[0])

    courses = {c.line.figure: c for c in all_courses(worn_farm.desk)}
    assert broken == {id_ for id_, course in courses.items() if len(course.line.parts) == 2}
    for id_ in broken:
        assert courses[id_].judged.word == TOO_FEW
        assert courses[id_].line.now.since.startswith(event)
        ((part, trend),) = courses[id_].before
        assert part.last == 20
        assert trend is not None


def test_a_part_that_is_fitted_breaks_what_rests_on_it(worn_farm):
    (component, *_) = worn_farm.desk.versions.ids("component")
    said = {"component": component, "aircraft": "pannier", "position": "nose", "done": "fitted"}
    worn_farm.add("fitting", said, ("mechanic", "performed", "mechanic"))
    flew(worn_farm, 20, {**season()[0], "energy.per_lap": 3.0})

    parts = {c.line.figure: len(c.line.parts) for c in all_courses(worn_farm.desk)}
    assert parts["energy.per_lap"] == 2
    assert parts[TRIM] == 1


def test_another_pack_is_another_series(worn_farm):
    for count in range(20, 23):
        flew(worn_farm, count, season()[0], pack="pack-b")

    by_id = {c.line.id: c for c in all_courses(worn_farm.desk) if c.line.figure == RESISTANCE}
    assert len(by_id["pack-a"].line.now.points) == 20
    assert [p.number for p in by_id["pack-b"].line.now.points][-1] - by_id[
        "pack-b"
    ].line.now.first == 2
    assert by_id["pack-b"].judged.word == TOO_FEW


def test_the_limit_of_a_pack_is_half_more_than_when_it_was_new(worn_farm):
    course = course_of(worn_farm, RESISTANCE)
    (edge,) = [e.edge for e in course.judged.edges]
    new = worn_farm.desk.pack("pack-a").resistance_ohm
    if new is None:
        new = float(np.median([f[RESISTANCE] for f in season()[:5]]))

    assert (edge.op, edge.value) == ("<=", pytest.approx(1.5 * new))


def test_the_baseline_is_of_sound_flights(worn_farm):
    flew(worn_farm, 20, {**season()[0], TRIM: 2.0})
    lines = {line.figure: line for line in baseline_lines_of(worn_farm.desk, "pannier")}
    trims = [f[TRIM] for f in season()]

    assert set(lines) == {TRIM, PLAY, SINK}
    # The flight that stood out is no sound one.
    assert lines[TRIM].value == pytest.approx(float(np.median(trims)))
    assert lines[TRIM].spread == pytest.approx(float(np.std(trims, ddof=1)))
    assert lines[TRIM].flights == 20


def test_a_baseline_of_few_flights_is_withheld(worn_farm):
    worn_farm.add("event", {"event": "configuration-change", "aircraft": "pannier"})
    flew(worn_farm, 20, season()[0])

    (line,) = [b for b in baseline_lines_of(worn_farm.desk, "pannier") if b.figure == TRIM]
    assert line.why == "1 sound flight, 5 are needed"


def test_an_empty_record_says_nothing(farm):
    assert trends_answer(farm.desk).courses == ()


def test_what_is_not_watched_is_refused_with_the_near_one(worn_farm):
    with pytest.raises(UsageError, match="none of the figures that are watched") as refused:
        trends_answer(worn_farm.desk, figure="battery.resistance_25")
    assert f"Did you mean '{RESISTANCE}'?" in refused.value.fix
    with pytest.raises(UsageError, match="fewer than those of the table") as refused:
        trends_answer(worn_farm.desk, figure="takeoff.ground_roll")
    assert "'flightlog trends --table --figure takeoff.ground_roll'" in refused.value.fix
    assert all(id_ in refused.value.fix for id_ in WATCHED)
    with pytest.raises(UsageError):
        trends_answer(worn_farm.desk, aircraft="nobody")


def test_what_is_expected_stays_within_what_can_be(worn_farm):
    course = course_of(worn_farm, PLAY)
    far = course.flight(course.end + 500)

    assert 0.0 <= far.low <= far.value <= far.high
    assert course.judged.trend.flight(course.end + 500).low < 0.0
