"""``flightlog groundtest compare`` and ``choose``: what they print, and what they refuse."""

from __future__ import annotations

import contextlib
import itertools
import json
import math

import pytest

from flightlog.cli.ground_compare import choose, compare
from flightlog.errors import (
    FlightlogError,
    NotEnoughDataError,
    OutputError,
    TeamFileError,
    UsageError,
)
from flightlog.operations.ground_choice import run_choice
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.ground_pareto_chart import pareto_chart
from tests.groundtests.missions import MISSION, stand_file

# Thrust at equal power 5.714 % apart; drifts are shared by files of one turn.
DRIFT = (0.02, -0.03, 0.01)
OWN = itertools.cycle((0.001, -0.002, 0.0015, -0.0005))


@pytest.fixture(scope="module")
def stand(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stand")
    for turn, drift in enumerate(DRIFT):
        for name, factor in (("a", 0.35), ("b", 0.33), ("c", 0.35)):
            errors = iter([drift + next(OWN)])
            text = stand_file(factor, sweeps=1, noise=errors)
            (folder / f"{name}{turn}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def mission(tmp_path):
    path = tmp_path / "mission.toml"
    path.write_text(MISSION, encoding="utf-8")
    return path


def files(stand, name):
    return [stand / f"{name}{turn}.csv" for turn in range(len(DRIFT))]


def said(capsys):
    return " ".join(capsys.readouterr().out.split())


def test_turns_in_pairs_show_what_drift_hides(stand, capsys):
    sides = {"first": files(stand, "a"), "second": files(stand, "b")}
    named = ["tractor", "pusher"]

    assert 0 == compare("thrust", **sides, named=named, at=["power=600"], paired=True)
    paired = said(capsys)
    assert "tractor is better by more than 2 %" in paired
    assert "first A then B, next B then A" in paired
    assert 0 == compare("thrust", **sides, named=named, at=["power=600"])
    apart = said(capsys)
    assert "better by more" not in apart
    assert "--paired takes out" in apart


def test_json_has_the_difference_and_its_interval_unrounded(stand, capsys):
    compare(
        "thrust",
        first=files(stand, "a"),
        second=files(stand, "b"),
        at=["power=600", "speed=6000", "thrust=20"],
        paired=True,
        as_json=True,
    )
    body = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)

    assert "flightlog.comparison/1" == body["schema"]
    assert ["thrust", "thrust", "electrical power"] == [
        c["quantity"]["name"] for c in body["comparisons"]
    ]
    power, speed, thrust = body["comparisons"]
    for one in (power, speed):
        low, high = one["percent_95"]
        assert low < 100 * (1 - 0.33 / 0.35) < high
    # Power for a given thrust goes with the -3/2 power of the factor: the second needs more.
    low, high = thrust["percent_95"]
    assert low < 100 * (1 - (0.35 / 0.33) ** 1.5) < high
    assert "first is better by more than 2 %" == thrust["says"] == power["says"]
    assert {3} == {c["held_together"] for c in body["comparisons"]}
    assert 64 == len(body["configurations"][0]["files"][0]["sha256"])


def test_three_configurations_are_compared_each_with_each(stand, capsys):
    compare(
        "thrust",
        first=files(stand, "a"),
        second=files(stand, "b"),
        third=files(stand, "c"),
        at=["power=600"],
        paired=True,
        threshold=3.0,
        as_json=True,
    )
    pairs = json.loads(capsys.readouterr().out)["comparisons"]

    assert [("first", "second"), ("first", "third"), ("second", "third")] == [
        (p["first"], p["second"]) for p in pairs
    ]
    assert "no difference that matters" == pairs[1]["verdict"]


def test_without_places_power_and_speed_are_compared_where_all_reach(stand, capsys):
    compare("thrust", first=files(stand, "a"), second=files(stand, "b"), as_json=True)

    at = [c["at"] for c in json.loads(capsys.readouterr().out)["comparisons"]]
    assert ["power"] * 3 + ["speed"] * 3 == [place["coordinate"] for place in at]
    assert [400, 600, 800] == [place["value"] for place in at[:3]]


@pytest.mark.parametrize(
    ("options", "where"),
    [
        ({"at": ["power"]}, "--at"),
        ({"at": ["beauty=3"]}, "--at"),
        ({"at": ["power=nan"]}, "--at"),
        ({"threshold": 0.0}, "--threshold"),
        ({"threshold": math.nan}, "--threshold"),
        ({"apart": -1.0}, "--apart"),
        ({"named": ["one"]}, "--named"),
        ({"named": ["one", "one"]}, "--named"),
        ({"second": None}, "--first, --second"),
        ({"kind": "weighing"}, "KIND"),
    ],
)
def test_what_can_not_be_understood_is_refused(stand, options, where):
    given = {"kind": "thrust", "first": files(stand, "a"), "second": files(stand, "b")}

    with pytest.raises(UsageError) as caught:
        compare(**{**given, **options})
    assert where == caught.value.where


def test_a_place_that_no_sweep_reaches_is_refused_with_the_reason(stand):
    with pytest.raises(NotEnoughDataError, match="no settled steps about 5000 W"):
        compare("thrust", first=files(stand, "a"), second=files(stand, "b"), at=["power=5000"])


def test_one_file_of_one_sweep_is_no_repeat(stand):
    with pytest.raises(NotEnoughDataError, match="1 repeat"):
        compare("thrust", first=files(stand, "a")[:1], second=files(stand, "b"), at=["power=600"])


def test_a_choice_names_the_best_and_what_is_not_shown(mission, capsys):
    assert 0 == choose(mission)
    text = said(capsys)

    assert "least energy per distance, of those that hold every limit: 16x8" in text
    assert "not assessable: speed at full throttle: the maker's highest speed is not" in text
    assert "4.0 Ah" in text
    assert "As many units, with less energy left: 3.0 Ah" in text
    assert "taken as exact: [[propeller]] 15x10 voltage_v" in text
    assert "it approves nothing" in text
    assert "safe" not in text


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_a_choice_is_written_as_a_sheet_with_its_chart(mission, tmp_path, ending):
    sheet = tmp_path / f"choice.{ending}"

    assert 0 == choose(mission, sheet=sheet)
    if ending == "html":
        text = sheet.read_text(encoding="utf-8")
        assert "<svg" in text
        assert all(f">{name}</text>" in text for name in ("16x8", "15x10")), "beside the spots"
        assert "it approves nothing" in text
    else:
        assert sheet.read_bytes().startswith(b"%PDF-")
    with pytest.raises(OutputError, match="is there already"):
        choose(mission, sheet=sheet)


def test_a_sheet_of_another_ending_is_refused_before_anything_is_weighed(mission, tmp_path):
    with pytest.raises(UsageError, match=r"neither \.pdf nor \.html"):
        choose(tmp_path / "none.toml", sheet=tmp_path / "choice.doc")


def test_a_choice_as_json_has_no_number_that_is_none(mission, capsys):
    mission.write_text(MISSION.replace("speed_rpm = 7300", "speed_rpm = 3000"), encoding="utf-8")

    assert 0 == choose(mission, as_json=True)
    body = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)

    assert "flightlog.choice/1" == body["schema"]
    weak = body["propellers"]["candidates"][1]
    assert weak["figures"]["roll_m"]["value"] is None
    assert "ruled out" == weak["state"]
    assert "16x8" == body["propellers"]["best"] == body["packs"]["energy_and_current_of"]
    assert {"met"} == {one["outcome"] for one in body["packs"]["candidates"][0]["limits"]}


def test_where_nothing_holds_nothing_is_named_best(mission, capsys):
    mission.write_text(MISSION.replace("roll_m = 50", "roll_m = 20"), encoding="utf-8")

    choose(mission)
    text = said(capsys)
    assert "Propeller: none of 2 is shown to hold every limit" in text
    assert "Pack: none of 2" in text


def test_a_propeller_from_the_stand_needs_what_the_bench_file_must_say(mission, stand):
    row = 'name = "15x10"\nfiles = ["a0.csv"]\n'
    text = MISSION.replace('name = "15x10"\n', row).replace("ct = 0.083\n", "")
    path = stand / "mission.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(NotEnoughDataError, match="no CT"):
        choose(path)


BENCH = """\
schema = "flightlog.bench/1"
id = "stand"
kind = "thrust"

[thrust]
diameter_m = 0.4064
diameter_std_m = 0.0005
density_kg_m3 = 1.18
density_std_kg_m3 = 0.01
thrust_std_pct = 1.0
torque_std_pct = 1.0
speed_std_rpm = 20.0
voltage_std_v = 0.05
current_std_pct = 1.0
"""


def worked_stand():
    """Write the worked step, 33 N and 0.83 N·m at 7000 rpm, 22.4 V, 38 A, and slower ones."""
    rows = ["Time (s),Throttle (%),Thrust (N),Torque (N·m),Voltage (V),Current (A),Speed (RPM)"]
    speeds = (0, 4000, 5000, 6000, 7000, 0)
    for place, rpm in enumerate(speeds):
        share = (rpm / 7000) ** 2
        cells = (rpm / 70, 33 * share, 0.83 * share, 22.4, 38 * share * rpm / 7000, rpm)
        for n in range(25):
            wave = 1 + 1e-4 * math.sin(7.0 * n)
            noisy = (cells[0], *(wave * c for c in cells[1:]))
            rows.append(",".join(f"{x:.8g}" for x in (5 * place + n / 5, *noisy)))
    return "\n".join(rows) + "\n"


def test_a_propeller_from_the_stand_is_as_good_as_what_was_worked_by_hand(mission):
    (mission.parent / "s1.csv").write_text(worked_stand(), encoding="utf-8")
    (mission.parent / "stand.toml").write_text(BENCH, encoding="utf-8")
    start, end = MISSION.index('name = "15x10"'), MISSION.index("zero_thrust_j = 0.75")
    table = (
        'name = "stand"\ndiameter_in = 16\nfiles = ["s1.csv"]\nbench = "stand.toml"\n'
        "cruise_drive_efficiency = 0.66\n"
    )
    text = MISSION[:start] + table + MISSION[end:]
    text = text.replace("pressure_hpa = 986\n", "density_kg_m3 = 1.18\n")
    mission.write_text(text, encoding="utf-8")

    answer = run_choice(mission)
    (stand,) = answer.stand
    found = answer.propellers.candidates[1].figures

    assert 0.07532229710091692 == pytest.approx(stand.ct.value, rel=1e-4)
    assert 0.029289629479198154 == pytest.approx(stand.cp.value, rel=1e-4)
    assert 0.7147812232674147 == pytest.approx(stand.drive_efficiency.value, rel=1e-4)
    assert 33.0 == pytest.approx(found["static_thrust_n"].value, rel=5e-3)
    assert 38.0 == pytest.approx(found["static_current_a"].value, rel=5e-3)

    mission.write_text(text.replace("diameter_in = 16\nfiles", "diameter_in = 15\nfiles"))
    with pytest.raises(TeamFileError, match=r"381\.0 mm, and 406\.4 mm in the bench file"):
        run_choice(mission)


def test_a_standard_uncertainty_larger_than_its_number_is_refused(mission):
    mission.write_text(MISSION.replace("cd0_std = 0.003", "cd0_std = 3"), encoding="utf-8")

    with pytest.raises(TeamFileError, match="cd0"):
        choose(mission)


def test_the_chart_has_each_propeller_and_the_limit(mission):
    chart = pareto_chart(run_choice(mission))

    (panel,) = chart.panels
    assert ["16x8", "15x10"] == [spot.name.split(":")[0] for spot in panel.spots]
    assert ["circle", "cross"] == [spot.shape for spot in panel.spots]
    assert (50, "at most 50 m (club rules 4.2)") == (panel.bounds[0].value, panel.bounds[0].name)
    assert "16x8" in chart_svg(chart)


def test_the_chart_says_why_it_is_empty(mission):
    no_cruise = MISSION.replace("cruise_m_s = 17.0\ncruise_m_s_std = 0.5\n", "")
    mission.write_text(no_cruise, encoding="utf-8")
    assert "cruise_m_s" in pareto_chart(run_choice(mission)).lacking

    cut = MISSION[: MISSION.index("[[propeller]]")] + MISSION[MISSION.index("[[pack]]") :]
    mission.write_text(cut, encoding="utf-8")
    chart = pareto_chart(run_choice(mission))
    assert "no propellers" in chart.lacking
    assert "<svg" in chart_svg(chart)


@pytest.mark.parametrize("text", ["", "schema = 1", 'schema = "flightlog.mission/1"', "\x00"])
def test_a_file_that_is_no_mission_is_refused(mission, text):
    mission.write_text(text, encoding="utf-8")

    with pytest.raises(FlightlogError):
        choose(mission)


@pytest.mark.parametrize("value", ["1e-300", "0.999", "9e3", "1e300"])
@pytest.mark.parametrize(
    "key", ["mass_kg", "cruise_m_s", "cd0", "wing_area_m2", "diameter_in", "hub_height_mm"]
)
def test_no_number_of_a_mission_breaks_the_choice(mission, capsys, key, value):
    old = next(line for line in MISSION.splitlines() if line.startswith(f"{key} = "))
    mission.write_text(MISSION.replace(old, f"{key} = {value}", 1), encoding="utf-8")

    with contextlib.suppress(FlightlogError):
        choose(mission, as_json=True)
        assert json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
