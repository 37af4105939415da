from __future__ import annotations

import dataclasses

import pytest

from flightlog.analyses.phases import Attempt
from flightlog.findings import FINDINGS, make_finding
from flightlog.recording import Partner, UtcRelation
from flightlog.reports.figure_groups import WEAR_TITLE
from flightlog.reports.strip import TYPED
from flightlog.reports.words import CAUTION, UNLOCKED_BY, debrief_lines
from flightlog.rules.outcomes import Score
from flightlog.uncertain import Uncertain
from tests.made_debriefs import judged, made
from tests.reports.wear import SLOW, worn

ROLL = Uncertain.of(28.9, 0.6, "m", source="all")
HOSTILE = "\x1b[31m[red]all well[/red]\nGround roll 1 m: met\u202e"


def text(debrief, **options):
    return "\n".join(debrief_lines(debrief, **options))


def test_the_order_is_by_importance():
    shown = text(made(judged(28.9), roll=ROLL))
    order = ["Ground roll 28.9 m (27.7", "calm.bin", "Sortie 1", "● met", "Findings", "Figures"]
    order += ["Laps, gate found", "Withheld", "This says what the log shows"]
    places = [shown.index(part) for part in order]

    assert sorted(places) == places


def test_outcomes_that_need_attention_come_first():
    bank = judged(41.2, 1.5, limit=30, figure="flight.max_bank")
    shown = text(made(judged(28.9), judged(40.0), bank, judged(None), roll=ROLL), look=TYPED)
    words = ["x not met", "? not shown", "/ not assessable", "+ met"]
    places = [shown.index("\n" + word) for word in words]

    assert sorted(places) == places


@pytest.mark.parametrize("width", [50, 80, 100])
def test_no_line_is_wider_than_the_screen(width):
    shown = debrief_lines(made(judged(28.9), judged(None), roll=ROLL), width=width)

    strips = [line for line in shown if ", needs " in line]  # of no use when they are shorter
    assert max(len(line) for line in shown if line not in strips) <= width


def test_figures_have_their_decimals_units_and_intervals():
    shown = text(made(roll=ROLL))

    # 2.131 +- 1.96 x 0.06 = 2.0134 to 2.2486
    assert "Best climb" in shown
    assert "2.13 m/s    2.01 to 2.25" in shown
    assert "Declared, not measured: take-off mass 8.00 kg" in shown


def test_withheld_figures_say_which_sensor_unlocks_them():
    shown = " ".join(text(made(roll=ROLL)).split())

    assert f"the log has no airspeed data; unlocked by {UNLOCKED_BY['airspeed']}" in shown


def test_withheld_figures_of_one_reason_stand_together():
    reason = "the flight ended 41 s after the start of roll"
    shown = text(made(withheld={"climb.height_at_60s": reason, "climb.gradient": reason}))

    assert f"  Height at 60 s, Climb gradient: {reason}" in " ".join(shown.splitlines())


def test_what_is_wearing_out_comes_in_blocks_after_what_the_flight_did():
    shown = text(worn())
    order = ["Findings", "Figures", "Laps, gate", WEAR_TITLE, "\n  Battery ", "\n  Surfaces "]
    order += ["\n  Landing ", "\n  Link ", "\n  Vibration ", "cannot be excluded", "Withheld"]
    places = [shown.index(part) for part in order]

    assert sorted(places) == places
    assert shown.index("Greatest power") < shown.index("Laps, gate"), "it is no wear"
    assert "Battery resistance              0.0312 ohm    0.0304 to 0.0320" in shown


def test_a_surface_has_one_row_and_its_intervals_below():
    lines = debrief_lines(worn())
    head = next(n for n, line in enumerate(lines) if "trim, deg" in line)

    assert "Surface" == lines[head].split()[0]
    elevator, spans, aileron = lines[head + 1 : head + 4]
    assert ["elevator", "-1.2", "1.6", "0.061"] == elevator.split()[:4]
    assert ["-1.8", "to", "-0.6", "1.2", "to", "2.0"] == spans.split()[:6]
    assert ["left", "aileron", "outer", "-", "-", "0.048"] == aileron.split()[:6]
    assert elevator.index("1.6") + 3 == spans.index("1.2 to 2.0") + 10, "they end in one column"


@pytest.mark.parametrize("width", [50, 64, 80, 100])
def test_what_is_wearing_out_fits_the_screen(width):
    shown = debrief_lines(worn(), width=width)

    assert max(map(len, shown)) <= max(width, 50)
    for word in ("trim", "play", "lag", "gain", "reversals", "0.67 m/s", "0.53 to 0.81"):
        assert word in "\n".join(shown)


def test_what_could_not_be_seen_is_told_once_and_is_no_finding():
    shown = " ".join(text(worn()).split())

    assert f"{SLOW} [not-excluded]" in shown
    assert "note: 1200 rows repeat [repeated-fixes]" in shown
    assert "note: Play" not in shown


def test_findings_carry_severity_code_and_remedy():
    shown = " ".join(text(made(roll=ROLL)).split())

    assert "note: 1200 rows repeat the fix before them [repeated-fixes]" in shown
    assert FINDINGS["repeated-fixes"].remedy in shown


def test_many_findings_of_one_kind_are_counted():
    many = tuple(make_finding("log-gap", f"gap {n}", start_s=float(n)) for n in range(50))
    shown = text(dataclasses.replace(made(roll=ROLL), findings=many))

    assert "gap 2 [log-gap]" in shown
    assert "gap 3" not in shown
    assert "and 47 more of these" in shown


def test_the_last_words_defer_to_law_and_rule_book():
    shown = " ".join(text(made()).split())

    assert shown.endswith(CAUTION)
    assert "not that the flight was safe or legal" in CAUTION


def test_text_from_the_log_forges_no_line_and_sends_no_codes():
    debrief = made(
        judged(28.9),
        file=f"{HOSTILE}.bin",
        message=HOSTILE,
        withheld={"climb.gradient": HOSTILE},
    )
    lines = debrief_lines(debrief)

    assert all(line.isprintable() for line in lines)
    assert not any(line.startswith("Ground roll 1 m: met") for line in lines)
    assert "[red]all well[/red]" in text(debrief)


@pytest.mark.parametrize("offset_s", [1e300, -1e300, float("nan"), float("inf"), -1e11])
def test_a_clock_that_tells_nonsense_is_left_out(offset_s):
    debrief = made(roll=ROLL)
    receipt = dataclasses.replace(debrief.receipt, utc=UtcRelation(offset_s, 1.0, "gps"))

    assert "began" not in text(dataclasses.replace(debrief, receipt=receipt))


def test_a_score_that_cannot_be_had_says_why():
    debrief = made(roll=ROLL)
    sortie = dataclasses.replace(debrief.sorties[0], score=Score(None, {}, "units is missing"))

    assert "Score withheld: units is missing" in text(
        dataclasses.replace(debrief, sorties=(sortie,))
    )


def test_the_short_form_keeps_sentence_and_outcomes():
    shown = text(made(judged(28.9), roll=ROLL), short=True)

    assert "● met" in shown
    assert "Figures" not in shown


def test_a_log_without_flight_is_told_in_full():
    shown = text(made(sorties=0))

    assert shown.startswith("No flight in this log")
    assert "[no-flight]" in shown


def test_an_attempt_says_how_far_it_rolled_as_far_as_the_log_shows_it():
    rolled = Uncertain.of(5.7, 0.9, "m", source="speed")
    known = Attempt(1, 40.1, 44.0, 6.13, 0.1, "stopped before lift-off", rolled, rolled * 2.0)
    half = dataclasses.replace(known, number=2, distance_in_all=None)
    unknown = dataclasses.replace(half, number=3, distance=None)
    said = text(made(attempts=(known, half, unknown)), width=200)
    assert "fastest 6.1 m/s after 5.7 m (3.9 to 7.5), 11.4 m in all: stopped before" in said
    assert "fastest 6.1 m/s after 5.7 m (3.9 to 7.5): stopped before" in said
    assert "fastest 6.1 m/s: stopped before" in said


def test_what_was_joined_stands_under_the_log_with_its_95_percent():
    partner = Partner(
        "b.csv", "12" * 32, "transmitter", -3592.6, 0.2, "speed over 262 s", ("battery",)
    )
    debrief = made(judged(28.9), roll=ROLL)
    debrief = dataclasses.replace(
        debrief, receipt=dataclasses.replace(debrief.receipt, partners=(partner,))
    )
    shown = " ".join(text(debrief).split())

    # 1.96 x 0.2 s = 0.39 s
    assert (
        "Joined with b.csv (transmitter): its zero lies at -3592.60 s ± 0.39 s (95 %) here, by "
        "speed over 262 s; taken from it: battery" in shown
    )


def test_a_partner_is_not_told_a_second_time_below():
    debrief = made(judged(28.9), roll=ROLL)
    finding = make_finding("partner-recording", "b.csv is of the same flight")
    partner = Partner("b.csv", "12" * 32, "transmitter", 1.0, 0.2, "speed over 262 s", ())
    receipt = dataclasses.replace(debrief.receipt, partners=(partner,))
    debrief = dataclasses.replace(debrief, findings=(finding,))

    assert "[partner-recording]" in text(debrief)
    assert "[partner-recording]" not in text(dataclasses.replace(debrief, receipt=receipt))


def test_all_that_moved_against_an_earlier_debrief_stands_on_top():
    debrief = made(judged(28.9), roll=ROLL)
    moved = tuple(
        make_finding("recomputed", f"figure-{n} was {n} m by analyses 1 and is 9 m by analyses 2.")
        for n in range(7)
    )
    (sortie,) = debrief.sorties
    sortie = dataclasses.replace(sortie, findings=(*sortie.findings, *moved))
    gone = make_finding("recomputed", "a sortie is gone.")
    shown = text(dataclasses.replace(debrief, sorties=(sortie,), findings=(gone,)))

    for number in range(7):
        assert shown.count(f"figure-{number} was") == 1
    assert shown.count("a sortie is gone") == 1
    assert shown.index("Against the earlier debrief [recomputed]") < shown.index("Sortie 1 of 1")
    assert shown.index("figure-6 was") < shown.index("Sortie 1 of 1")
    assert "more of these" not in shown


def test_what_every_sortie_withholds_for_one_reason_is_said_once():
    same = "no take-off mass was given; give --mass KG"
    debrief = made(sorties=2)
    first, second = debrief.sorties
    debrief = dataclasses.replace(
        debrief,
        sorties=(
            dataclasses.replace(
                first, withheld={"mass.takeoff": same, "laps.count": "no leg was flown twice"}
            ),
            dataclasses.replace(
                second, withheld={"mass.takeoff": same, "laps.count": "a hole of 8 s"}
            ),
        ),
    )
    shown = text(debrief)

    assert shown.count(same) == 1
    assert shown.index("Withheld for every sortie") < shown.index(same)
    assert "no leg was flown twice" in shown
    assert "a hole of 8 s" in shown
    assert "every sortie" not in text(made(sorties=1))


def test_names_of_a_joined_recording_can_not_write_to_the_screen():
    partner = Partner(HOSTILE, "12" * 32, HOSTILE, 1.0, 0.2, HOSTILE, (HOSTILE,))
    debrief = made(roll=ROLL)
    debrief = dataclasses.replace(
        debrief, receipt=dataclasses.replace(debrief.receipt, partners=(partner,))
    )

    assert all(c.isprintable() for line in debrief_lines(debrief) for c in line)
