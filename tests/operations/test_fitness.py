"""The fitness statement: when it may be made, how long it holds, and what makes it void."""

from __future__ import annotations

import shutil
from datetime import timedelta
from decimal import Decimal

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft, Logbook
from flightlog.logbook.entry import CITES, ENDS, INSPECTS, PERMITS, Effect, Signer
from flightlog.logbook.merge import merge
from flightlog.operations.desk import Desk
from flightlog.operations.fitness import draft_fitness, fitness_conditions, fitness_state
from tests.logbook.made import public_of
from tests.operations.flown import DOER, LOOKER, flown
from tests.operations.made import SAMPLES
from tests.operations.released import PARAMETERS, PLAN, baseline, stated_fit, upkept

DEFECT = {
    "aircraft": "pannier",
    "part": "hatch",
    "group": "payload",
    "severity": "deferrable",
    "text": "the latch is worn",
}
BLOCKS = ("restricts", "aircraft:pannier")


@pytest.fixture
def kept(farm):
    """A farm whose inspections are done."""
    upkept(farm)
    return farm


def draft(farm, **other):
    given = {
        "work": "winter inspection",
        "until": farm.book.now() + timedelta(days=14),
        "by": [public_of("observer")],
        **other,
    }
    return draft_fitness(farm.desk, "pannier", **given)


def state(farm):
    farm.desk.refresh()
    return fitness_state(farm.desk, "pannier")


def mended(farm, defect, by="mechanic"):
    """Put a defect right, have it inspected, close it."""
    work = farm.add(
        "rectification", {"action": "new latch"}, (by, "performed", "mechanic"), cites=[defect]
    )
    farm.add(
        "defect-closed",
        {"text": "holds"},
        ("mechanic", "closed", "mechanic"),
        cites=[work],
        relations=[(ENDS, defect)],
    )
    return work


def test_without_one_there_is_none(farm):
    assert "none" == state(farm).word
    assert not fitness_conditions(farm.desk, PLAN)[0].holds
    with pytest.raises(UsageError, match="'pannier'"):
        fitness_state(farm.desk, "panier")


def test_it_states_what_was_done_in_full(kept):
    baseline(kept)
    statement = stated_fit(kept, hours="5", landings=20)
    said = statement.body.content["statement"]

    assert "winter inspection of the whole aircraft" in said
    assert "(baseline)" in said
    assert "(task-done)" in said
    assert "independent inspections that this work needs are complete" in said
    assert "Open deferrals: none" in said
    assert "serial PN-01, in configuration cargo-2" in said
    assert "until 5 more flight hours are flown, until 20 more landings are made" in said
    assert "a team record and no certificate" in said
    assert {"file-version", "baseline", "task-done"} == {
        e.body.kind for e in kept.desk.ledger.named(statement, CITES)
    }
    assert "holds" == state(kept).word


def test_a_longest_text_still_fits(kept):
    for number in range(20):
        defect = kept.add("defect", {**DEFECT, "part": f"latch {number}", "text": "x" * 4000})
        said = {"reason": "r", "risk": "x", "limitation": "l" * 4000, "flights": 5}
        signers = ("pilot", "accepted", "pilot"), ("mechanic", "accepted", "safety")
        kept.add("deferral", said, *signers, relations=[(ENDS, defect)])

    statement = kept.sign(draft(kept, work="w" * 4000), "observer")

    assert "and 5 more" in statement.body.content["deferrals"]


# --- when it may be made


def test_an_overdue_inspection_withholds_it(farm):
    with pytest.raises(RefusedError, match=r"Linkages.* overdue"):
        draft(farm)


def test_an_open_defect_and_all_other_reasons_withhold_it(farm):
    farm.add("defect", {**DEFECT, "severity": "blocking"}, effect=BLOCKS)
    farm.add("event", {"event": "hard-landing", "aircraft": "pannier"}, effect=BLOCKS)

    with pytest.raises(RefusedError) as caught:
        draft(farm, by=[public_of("stranger")], configuration="cargo-1")

    for said in ("hatch: open", "hard-landing", "overdue", "'cargo-1'", "does not hold the role"):
        assert said in caught.value.found
    assert "flightlog defect show" in caught.value.fix


def test_a_defect_that_the_rules_of_the_record_let_end_too_easily_withholds_it(kept):
    defect = kept.add("defect", {**DEFECT, "severity": "blocking"}, effect=BLOCKS)
    kept.add(
        "defect-closed",
        {"text": "looks fine"},
        ("mechanic", "closed", "mechanic"),
        relations=[(ENDS, defect)],
    )
    assert not kept.book.standing.open_restrictions("aircraft:pannier")

    with pytest.raises(RefusedError, match="hatch: open"):
        draft(kept)


def test_who_did_the_last_work_does_not_state_that_it_is_right(kept):
    defect = kept.add("defect", DEFECT, effect=BLOCKS)
    mended(kept, defect)

    with pytest.raises(RefusedError, match=r"mechanic .* did the last work"):
        draft(kept, by=[public_of("mechanic")])
    stated_fit(kept, by="observer")
    assert "holds" == state(kept).word
    # Work before the last statement was stated by somebody else.
    kept.sign(draft(kept, by=[public_of("mechanic")]), "mechanic")
    assert "holds" == state(kept).word


def test_the_role_of_an_inspector_is_needed(kept):
    with pytest.raises(RefusedError, match="nobody is named"):
        draft(kept, by=[])
    assert "inspector" in {s.role for s in draft(kept).signers}


def test_a_fitted_part_waits_for_its_inspection(kept):
    content = {
        "component": "propeller-1",
        "aircraft": "pannier",
        "position": "nose",
        "done": "fitted",
    }
    fitting = kept.add("fitting", content, DOER)
    with pytest.raises(RefusedError, match=r"propeller-1, fitted by .*, waits for an independent"):
        draft(kept)
    found = {"result": "pass", "text": "tight, the right way round"}
    kept.add("inspection", found, LOOKER, relations=[(INSPECTS, fitting)])

    stated_fit(kept)
    assert "holds" == state(kept).word


@pytest.mark.parametrize(
    "wrong",
    [
        {"until": timedelta(days=31)},
        {"until": timedelta(minutes=-1)},
        {"hours": Decimal(0)},
        {"landings": 0},
    ],
)
def test_slips_are_told(kept, wrong):
    if "until" in wrong:
        wrong = {"until": kept.book.now() + wrong["until"]}

    with pytest.raises(UsageError):
        draft(kept, **wrong)


# --- how long it holds


def test_it_ends_at_its_time(kept):
    stated_fit(kept, days=2)
    drafted = kept.clock.now - timedelta(minutes=1)
    kept.clock.now = drafted + timedelta(days=2, seconds=-1)
    assert "holds" == state(kept).word
    kept.clock.later(seconds=1)

    assert "expired" == state(kept).word
    assert "it ended 2027-03-17" in state(kept).says


def test_it_ends_with_its_hours(kept):
    stated_fit(kept, hours="0.5")
    flown(kept, 1799)
    assert "holds" == state(kept).word
    assert state(kept).hours_left == pytest.approx(1 / 3600)
    flown(kept, 1)

    assert "expired" == state(kept).word
    assert "0.5 flight hours that it names are flown" in state(kept).says


def test_it_ends_with_its_landings(kept):
    flown(kept, 60, landings=5)
    stated_fit(kept, landings=3)
    flown(kept, 60, landings=2)
    assert 1 == state(kept).landings_left
    flown(kept, 60)

    assert "expired" == state(kept).word


def test_a_newer_one_takes_its_place_though_it_ends_sooner(kept):
    stated_fit(kept, days=20)
    stated_fit(kept, days=1)
    kept.clock.later(days=2)

    assert "expired" == state(kept).word


def by_ones_own_program(farm, *signers, effect="aircraft:pannier", **said):
    version = farm.desk.version("aircraft", "pannier")
    content = {
        "aircraft": "pannier",
        "configuration": "cargo-2",
        "aircraft_file": version.sha256,
        "work": "none",
        "until": "2027-03-20T00:00:00Z",
        **said,
    }
    signed = [Signer(public_of(s[0]), *s[1:]) for s in signers]
    made = Draft("fitness", content, signed, effect=Effect(PERMITS, effect))
    return farm.sign(made, *(s[0] for s in signers))


OBSERVER = ("observer", "released", "inspector")


def test_one_by_a_program_of_ones_own_is_judged_alike(kept):
    by_ones_own_program(kept, OBSERVER)
    assert "holds" == state(kept).word


def test_it_ends_within_thirty_days_whatever_it_says(kept):
    by_ones_own_program(kept, OBSERVER, until="2029-01-01T00:00:00Z")
    kept.clock.later(days=30)

    assert "expired" == state(kept).word


@pytest.mark.parametrize(
    ("signers", "said", "why"),
    [
        ([("observer", "released", "")], {}, "nobody of the role"),
        ([("observer", "released", "engineer")], {}, "nobody of the role"),
        ([OBSERVER], {"configuration": "cargo-1"}, "not 'cargo-1'"),
        ([OBSERVER], {"aircraft_file": "ab" * 32}, "file is another one"),
        ([OBSERVER], {"effect": "aircraft:drover"}, "does not permit this aircraft"),
    ],
)
def test_one_that_is_not_as_it_has_to_be_is_void(kept, signers, said, why):
    by_ones_own_program(kept, *signers, **said)

    assert "void" == state(kept).word
    assert why in state(kept).says


def test_one_by_who_did_the_last_work_is_void(kept):
    mended(kept, kept.add("defect", DEFECT, effect=BLOCKS))
    by_ones_own_program(kept, ("mechanic", "released", "inspector"))

    assert "void" == state(kept).word
    assert "also did the work" in state(kept).says


# --- what makes it void


def test_a_restriction_makes_it_void_though_it_is_ended(kept):
    stated_fit(kept)
    mended(kept, kept.add("defect", DEFECT, effect=BLOCKS))

    assert "void" == state(kept).word
    assert "restricted by" in state(kept).says
    assert "flightlog fitness sign" in fitness_conditions(kept.desk, PLAN)[0].clear


def test_a_cosmetic_defect_does_not(kept):
    stated_fit(kept)
    kept.add("defect", {**DEFECT, "severity": "cosmetic"})

    assert "holds" == state(kept).word


def test_another_version_of_the_file_makes_it_void(kept):
    stated_fit(kept)
    text = (SAMPLES / "pannier.toml").read_text(encoding="utf-8")
    kept.enter("aircraft", "pannier", text.replace("cargo-2", "cargo-3").encode())

    assert "void" == state(kept).word
    assert "configuration is 'cargo-3', not 'cargo-2'" in state(kept).says


def test_another_baseline_makes_it_void(kept):
    baseline(kept)
    stated_fit(kept)
    baseline(kept, parameters=PARAMETERS)

    assert "void" == state(kept).word
    assert "parameter baseline is another one" in state(kept).says


def test_a_restricted_part_makes_it_void(kept):
    content = {
        "component": "propeller-1",
        "aircraft": "pannier",
        "position": "nose",
        "done": "fitted",
    }
    kept.add("fitting", content, DOER, LOOKER)
    stated_fit(kept)
    kept.add(
        "out-of-service",
        {"component": "propeller-1", "reason": "nick"},
        effect=("restricts", "component:propeller-1"),
    )

    assert "void" == state(kept).word
    assert "propeller-1 was restricted" in state(kept).says


@pytest.mark.parametrize(("group", "word"), [("flight-controls", "void"), ("avionics", "holds")])
def test_a_part_of_the_controls_that_is_changed_makes_it_void(kept, group, word):
    text = (SAMPLES / "propeller_1.toml").read_text(encoding="utf-8")
    text = text.replace('"propeller-1"', '"servo-1"').replace('"propulsion"', f'"{group}"')
    kept.enter("component", "servo-1", text.encode())
    stated_fit(kept)
    content = {"component": "servo-1", "aircraft": "pannier", "position": "tail", "done": "fitted"}
    kept.add("fitting", content, DOER, LOOKER)

    assert word == state(kept).word


def test_statements_made_apart_are_worth_what_the_worse_one_is(kept, tmp_path):
    shutil.copytree(kept.folder.path, tmp_path / "other" / "team")
    book = Logbook.open(
        tmp_path / "other" / "team" / "logbook",
        profile=tmp_path / "other" / "profile",
        clock=kept.clock,
    )
    elsewhere = Desk(kept.folder, book)
    stated_fit(kept, days=20)
    made = draft_fitness(
        elsewhere,
        "pannier",
        work="another look",
        until=kept.clock.now + timedelta(days=1),
        by=[public_of("observer")],
    )
    here, kept.book, kept.desk = (kept.book, kept.desk), book, elsewhere
    kept.sign(made, "observer")
    (kept.book, kept.desk) = here
    merge(kept.book, tmp_path / "other" / "team" / "logbook")
    book.close()
    assert "holds" == state(kept).word
    kept.clock.later(days=2)

    assert "expired" == state(kept).word
