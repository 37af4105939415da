"""A ground test enters the record with all it rests on, and what it shows stops what it is of."""

from __future__ import annotations

import pytest

from flightlog.errors import LogFileError, RefusedError, UsageError
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.groundtests.scales import WeighingDetail
from flightlog.logbook.canonical import encode
from flightlog.logbook.entry import CITES, Signer
from flightlog.logbook.flying_kinds import GROUND_TEST, GROUND_TESTS
from flightlog.operations.ground_baseline import compared, counting_tests, stored_result
from flightlog.operations.ground_entry import (
    entered_before,
    events_shown,
    ground_draft,
    note_ground_events,
    prepared,
)
from flightlog.operations.ground_record import TESTED, measured_on_ground
from flightlog.operations.ground_subject import said_of
from flightlog.operations.ground_weighing import weighing_of_test
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.service import return_draft, service_conditions, stops
from flightlog.operations.weighing import empty_of, last_weighing
from tests.groundtests.made_answer import RING, bench_file, ground_test
from tests.logbook.made import public_of
from tests.operations.lists import walk

PACK, STRUCTURE = "pack-limit", "structure-changed"
LEFT = 'aircraft = "pannier"\npart = "left wing tip"\nconfiguration = "no pack"'


def signer(name="mechanic", role="engineer", meaning="performed"):
    return Signer(public_of(name), meaning, role)


def enter(farm, test, *, role="engineer", by="mechanic", **more):
    farm.clock.later(minutes=1)
    made = prepared(farm.desk, test, **more)
    draft = ground_draft(farm.desk, made, [signer(by, role)], "calm air")
    return farm.sign(draft, by)


def ring(tmp_path, frequency=6.52, *, subject=LEFT, more="", std=0.01, name="a", **others):
    folder = tmp_path / name
    folder.mkdir(exist_ok=True)
    figures = {**RING, "ringdown.first.frequency": (frequency, std)}
    bench = bench_file(folder, subject=subject, more=more)
    return ground_test(folder, figures, bench=bench, rows=f"time,z\n0,{frequency}\n", **others)


def test_the_words_of_entries_are_those_of_the_kinds():
    assert tuple(GROUND_KINDS) == GROUND_TESTS


def test_an_entry_holds_figures_as_decimals_and_all_files(farm, tmp_path):
    test = ring(tmp_path)
    entry = enter(farm, test)

    said = entry.body.content
    assert ("ringdown", "pannier", "PN-01") == (said["test"], said["aircraft"], said["serial"])
    assert ("left wing tip", "no pack", "AC-2") == (
        said["part"], said["configuration"], said["instrument"],
    )  # fmt: skip
    first = next(f for f in said["figures"] if f["figure"] == "ringdown.first.frequency")
    # 6.52 ± 1.96 · 0.01
    assert [("6.52", "Hz"), ("6.5004", "Hz"), ("6.5396", "Hz")] == [
        (first[key]["value"], first[key]["unit"]) for key in ("value", "low", "high")
    ]
    kept = {a.name: a.sha256 for a in entry.body.attachments}
    assert {"ringdown.csv", "ringdown.toml", "ground-test.json"} == set(kept)
    assert said["bench"] == kept["ringdown.toml"]
    assert said["result"] == kept["ground-test.json"]
    assert all(farm.book.attachments.problem(a) is None for a in entry.body.attachments)
    assert encode(said)


def test_the_stored_result_gives_the_figures_again(farm, tmp_path):
    entry = enter(farm, ring(tmp_path))
    stored = stored_result(farm.desk, entry)

    assert "flightlog.groundtest/1" == stored["schema"]
    assert 6.52 == stored["figures"]["ringdown.first.frequency"]["value"]

    farm.book.attachments.path(entry.body.content["result"]).write_text("{}")
    farm.desk.lasting.clear()
    assert stored_result(farm.desk, entry) is None


def test_the_serial_is_that_of_the_file_in_force(farm, tmp_path):
    bench = bench_file(tmp_path, "discharge", subject='pack = "pack-a"')
    test = ground_test(tmp_path, {"discharge.capacity": (4.0, 0.02)}, bench=bench, kind="discharge")
    assert "PK-01" == said_of(enter(farm, test, by="pilot", role="battery")).serial


@pytest.mark.parametrize(
    ("subject", "told", "found"),
    [
        ("", {}, "nobody says what was tested"),
        ('aircraft = "stranger"', {}, "holds no aircraft file"),
        ('pack = "pack-a"', {}, "not of a pack"),
        ('aircraft = "pannier"', {"component": "propeller-1"}, "the bench file says"),
        ("", {"aircraft": "pannier", "component": "propeller-1"}, "are two things"),
    ],
)
def test_what_was_tested_has_to_be_known_and_in_the_record(farm, tmp_path, subject, told, found):
    with pytest.raises(UsageError, match=found) as caught:
        prepared(farm.desk, ring(tmp_path, subject=subject), told)
    assert caught.value.fix


def test_a_person_can_say_what_a_bench_file_does_not(farm, tmp_path):
    entry = enter(farm, ring(tmp_path, subject='part = "fin"'), told={"component": "propeller-1"})
    assert ("component", "propeller-1", "fin") == (
        said_of(entry).thing, said_of(entry).id, said_of(entry).part,
    )  # fmt: skip


def test_a_file_that_changed_since_is_refused(farm, tmp_path):
    test = ring(tmp_path)
    made = prepared(farm.desk, test)
    test.files[0].path.write_text("time,z\n0,2\n")
    with pytest.raises(LogFileError, match="changed"):
        ground_draft(farm.desk, made, [signer()])


def test_a_file_that_is_too_large_for_a_record_is_named_by_its_hash(farm, tmp_path, monkeypatch):
    test = ring(tmp_path)
    size = test.files[0].path.stat().st_size
    monkeypatch.setattr("flightlog.operations.ground_entry.MOST_ATTACHMENT_BYTES", size - 1)
    entry = enter(farm, test)

    assert [{"file": "ringdown.csv", "sha256": test.files[0].sha256}] == entry.body.content["files"]
    assert {"ringdown.toml", "ground-test.json"} == {a.name for a in entry.body.attachments}
    test.files[0].path.write_text("time,z\n0,2\n0,3\n")
    with pytest.raises(LogFileError, match="changed"):
        ground_draft(farm.desk, prepared(farm.desk, test, corrects=entry), [signer()])


def test_the_same_files_are_known_again(farm, tmp_path):
    test = ring(tmp_path)
    entry = enter(farm, test)

    assert entry == entered_before(farm.desk, prepared(farm.desk, test))
    other = prepared(farm.desk, ring(tmp_path, 6.6, name="b"))
    assert entered_before(farm.desk, other) is None


# --- against an earlier test


def test_the_first_test_of_the_same_part_is_the_baseline(farm, tmp_path):
    first = enter(farm, ring(tmp_path, name="a"))
    enter(farm, ring(tmp_path, 6.4, subject=LEFT.replace("left", "right"), name="b"))
    enter(farm, ring(tmp_path, 6.5, name="c"))

    made = prepared(farm.desk, ring(tmp_path, 6.53, name="d"))

    assert first == made.against.entry
    assert not made.against.named
    moved = next(m for m in made.against.moved if m.figure == "ringdown.first.frequency")
    assert "same" == moved.verdict
    # 6.53 - 6.52, and 0.01 twice: √2 · 0.01.
    assert pytest.approx(0.01) == moved.change.value
    assert pytest.approx(0.01414, rel=1e-3) == moved.change.std
    assert () == made.against.findings


def test_what_was_never_measured_is_not_compared(farm, tmp_path):
    enter(farm, ring(tmp_path))
    made = prepared(farm.desk, ring(tmp_path, subject='aircraft = "pannier"', name="b"))
    assert made.against is None


def test_a_baseline_needs_somebody_of_the_right_role(farm, tmp_path):
    enter(farm, ring(tmp_path), by="pilot", role="inspector")
    assert () == counting_tests(farm.desk)


def test_a_corrected_test_is_no_baseline(farm, tmp_path):
    wrong = enter(farm, ring(tmp_path))
    right = enter(farm, ring(tmp_path, 6.6, name="b"), corrects=wrong)

    assert (right,) == counting_tests(farm.desk, "ringdown")
    assert () == farm.desk.ledger.named(right, CITES, GROUND_TEST)


def test_a_named_test_has_to_be_of_the_same_kind_and_part(farm, tmp_path):
    other = enter(farm, ring(tmp_path, subject='aircraft = "pannier"\npart = "fin"'))
    test = ring(tmp_path, name="b")
    with pytest.raises(RefusedError, match="is of aircraft pannier"):
        prepared(farm.desk, test, against=named(other))
    rain = farm.add("event", {"event": "rain", "aircraft": "pannier"})
    with pytest.raises(RefusedError, match="is no ground test"):
        prepared(farm.desk, test, against=named(rain))


def test_ring_downs_with_another_count_of_oscillations_say_so(farm, tmp_path):
    enter(farm, ring(tmp_path))
    folder = tmp_path / "b"
    folder.mkdir()
    two = {**RING, "ringdown.second.frequency": (7.3, 0.01)}
    test = ground_test(folder, two, bench=bench_file(folder, subject=LEFT))
    codes = [f.code for f in prepared(farm.desk, test).test.answer.findings]
    assert ["structure-not-compared"] == codes


# --- what it stops


def test_a_structure_that_changed_is_stopped_until_two_persons_return_it(farm, tmp_path):
    first = enter(farm, ring(tmp_path))
    # 6 % lower, ± 0.4 %: shown, and beyond the limit of 5 %.
    entry = enter(farm, ring(tmp_path, 6.13, name="b"))

    assert (first,) == farm.desk.ledger.named(entry, CITES, GROUND_TEST)
    (event,) = note_ground_events(farm.desk, entry)

    assert "structure-changed" == event.body.content["event"]
    assert "fell by 6.0 %" in event.body.content["text"]
    assert (event,) == stops(farm.desk, "aircraft", "pannier")
    (held,) = service_conditions(farm.desk, Plan("pannier", "pack-a"))
    assert not held.holds
    assert "after-hard-landing" in held.clear
    with pytest.raises(RefusedError, match="list after-hard-landing"):
        return_draft(
            farm.desk, event, "looked", public_of("pilot"), public_of("mechanic"), "mechanic"
        )
    assert () == note_ground_events(farm.desk, entry)

    photos = [farm.book.attach(farm.folder.path / "checklists" / "daily.toml", "gear.jpg")]
    walk(farm, "after-hard-landing", photos=photos)
    both = public_of("pilot"), public_of("mechanic")
    farm.sign(
        return_draft(farm.desk, event, "a joiner was loose", *both, "safety"), "pilot", "mechanic"
    )
    (held,) = service_conditions(farm.desk, Plan("pannier", "pack-a"))
    assert held.holds


@pytest.mark.parametrize(
    ("kind", "subject", "figure", "bound", "event"),
    [
        (
            "discharge",
            'pack = "pack-a"',
            "discharge.capacity",
            "at_least = 4.2, unit = 'Ah'",
            "pack-limit",
        ),
        (
            "ringdown",
            LEFT,
            "ringdown.first.frequency",
            "at_least = 7.0, unit = 'Hz'",
            "structure-changed",
        ),
    ],
)
def test_a_limit_of_the_bench_file_that_is_not_met_is_an_event(
    farm, tmp_path, kind, subject, figure, bound, event
):
    more = f'[limits]\n"{figure}" = {{ {bound} }}\n'
    bench = bench_file(tmp_path, kind, subject=subject, more=more)
    test = ground_test(tmp_path, {figure: (4.0, 0.02)}, bench=bench, kind=kind)
    role = "battery" if kind == "discharge" else "engineer"
    entry = enter(farm, test, by="pilot" if role == "battery" else "mechanic", role=role)

    (shown,) = events_shown(stored_result(farm.desk, entry))
    assert event == shown.word
    assert f"{figure} was 4 " in shown.text
    assert [{"limit": figure, "outcome": "not-met"}] == entry.body.content["limits"]


def stiff(tmp_path, name, newtons, length):
    folder = tmp_path / name
    folder.mkdir()
    bench = bench_file(
        folder, "stiffness", subject=LEFT, more=f"[stiffness]\nlength_m = {length}\n"
    )
    figures = {"stiffness.stiffness": (newtons, 5.0), "stiffness.greatest_load": (19.6, 0.1)}
    rows = f"load,deflection\n0,{name}\n"
    return ground_test(folder, figures, bench=bench, kind="stiffness", rows=rows)


def test_a_softer_structure_is_stopped_and_one_loaded_elsewhere_is_not_compared(farm, tmp_path):
    enter(farm, stiff(tmp_path, "a", 1080.0, 1.0))
    elsewhere = enter(farm, stiff(tmp_path, "b", 900.0, 1.06))
    assert () == note_ground_events(farm.desk, elsewhere)
    assert "place of the load 1.06 now, 1 then" in str(stored_result(farm.desk, elsewhere))

    softer = enter(farm, stiff(tmp_path, "c", 900.0, 1.0))  # 17 % less
    (event,) = note_ground_events(farm.desk, softer)
    assert "structure-changed" == event.body.content["event"]


def test_play_beyond_its_limit_reopens_checks_and_grounds_nothing(farm, tmp_path):
    more = '[limits]\n"linkage.elevator.play" = { at_most = 1.0, unit = "deg" }\n'
    bench = bench_file(tmp_path, "linkage", more=more)
    test = ground_test(tmp_path, {"linkage.elevator.play": (2.0, 0.1)}, bench=bench, kind="linkage")
    entry = enter(farm, test)
    (event,) = note_ground_events(farm.desk, entry)
    assert "surface-play" == event.body.content["event"]
    assert () == stops(farm.desk, "aircraft", "pannier")


@pytest.mark.parametrize(
    "stored",
    [
        {},
        {"findings": 1, "outcomes": "x"},
        {"findings": [None, 1, {}], "outcomes": [None, {}]},
        {"outcomes": [{"figure": "discharge.capacity", "outcome": "not met", "bound": 3}]},
    ],
)
def test_a_result_that_somebody_else_wrote_breaks_nothing(stored):
    assert all(shown.text for shown in events_shown(stored))


@pytest.mark.parametrize("value", [1e300, 1e-300, 0.0])
def test_numbers_that_nobody_measures_are_entered_and_compared_without_a_fault(
    farm, tmp_path, value
):
    enter(farm, ring(tmp_path, 1.5 * value))
    entry = enter(farm, ring(tmp_path, -value, name="b"))
    assert stored_result(farm.desk, entry) is not None


def test_a_test_that_is_not_sure_stops_nothing(farm, tmp_path):
    enter(farm, ring(tmp_path))
    entry = enter(farm, ring(tmp_path, 6.13, std=0.3, name="b"))
    assert () == note_ground_events(farm.desk, entry)


# --- a weighing


def weighing(tmp_path, more="empty = true\n"):
    from dataclasses import replace

    bench = bench_file(tmp_path, "weighing", more=f"[weighing]\n{more}")
    test = ground_test(tmp_path, {"weighing.mass": (5.0, 0.009)}, bench=bench, kind="weighing")
    detail = WeighingDetail(
        (("nose", 0.1, 0.0, (0.65,)), ("left", 0.5, -0.25, (2.17,)), ("right", 0.5, 0.25, (2.18,))),
        0.005, 0.001, 0.448, 0.0005,
    )  # fmt: skip
    return replace(test, answer=replace(test.answer, detail=detail))


def test_a_weighing_of_the_empty_aircraft_is_what_load_sheets_start_from(farm, tmp_path):
    test = weighing(tmp_path)
    entry = enter(farm, test)
    made = prepared(farm.desk, test)
    draft = weighing_of_test(farm.desk, made, [signer()], entry)
    weighed = farm.sign(draft, "mechanic")

    assert weighed == last_weighing(farm.desk, "pannier")
    # (0.065 + 1.085 + 1.090) / 5
    body = empty_of(weighed.body.content, farm.desk.aircraft("pannier"))
    assert pytest.approx((5.0, 0.448)) == (body.mass.value, body.arm.value)
    assert (entry,) == farm.desk.ledger.named(weighed, CITES, GROUND_TEST)


def test_a_weighing_with_payload_is_none_of_the_empty_aircraft(farm, tmp_path):
    made = prepared(farm.desk, weighing(tmp_path, more="empty = false\n"))
    assert weighing_of_test(farm.desk, made, [signer()]) is None


# --- the list of what was measured


def test_it_stands_among_what_was_measured_on_the_ground(farm, tmp_path):
    entry = enter(farm, ring(tmp_path))
    (one,) = measured_on_ground(farm.desk, [TESTED])

    assert (entry, "PN-01") == (one.entry, one.serial)
    assert one.says.startswith("Ring-down of left wing tip, no pack; ")
    assert "6.520 Hz (6.500 to 6.540)" in one.says


def test_comparing_needs_no_bench_file(farm, tmp_path):
    enter(farm, ring(tmp_path, subject='aircraft = "pannier"'))
    made = prepared(farm.desk, ring(tmp_path, 6.53, subject='aircraft = "pannier"', name="b"))
    assert compared(farm.desk, made.test, made.subject) is not None
