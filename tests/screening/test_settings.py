"""Parameters and firmware: what was set, what changed within a log, how two sorties differ."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses.settings import (
    Setup,
    changes,
    compare_settings,
    firmware_of,
    firmwares,
    settings_of,
    setup_of,
)
from flightlog.debriefing import Debrief, debrief
from flightlog.findings import Finding, affected
from flightlog.importers import read
from flightlog.inputs import GivenWind, Inputs
from flightlog.recording import Recording
from flightlog.resources import data_path
from flightlog.screening import LogView
from flightlog.screening.settings import EFFECTS, settings_changed
from tests.analyses.made import recording as made
from tests.analyses.made import sortie

FIRMWARE = "ArduPlane V4.5.0 (55685c43)"


def parameters(*rows: tuple[float, str, float]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "time_s": [r[0] for r in rows],
            "name": pd.Series([r[1] for r in rows], dtype=object),
            "value": [float(r[2]) for r in rows],
        }
    )


def messages(*rows: tuple[float, str]) -> pd.DataFrame:
    text = pd.Series([r[1] for r in rows], dtype=object)
    return pd.DataFrame({"time_s": [r[0] for r in rows], "severity": math.nan, "text": text})


def said(log: Recording, firmware: str) -> Recording:
    tables = {name: log[name] for name in log}
    return Recording(tables, replace(log.receipt, firmware=firmware))


def found(log: Recording, *sorties, inputs: Inputs | None = None) -> list[Finding]:
    return list(settings_changed(LogView(log, sorties, (), inputs or Inputs())))


START = parameters((1, "BATT_AMP_PERVLT", 17), (1, "ARSPD_RATIO", 2), (1, "TRIM_THROTTLE", 45))


def changed_at(time_s: float, name: str, before: float, after: float) -> Recording:
    return made(parameters=parameters((1, name, before), (time_s, name, after)))


def test_the_last_value_up_to_a_time_stands():
    log = made(parameters=parameters((1, "B", 2), (1, "A", 1), (50, "A", 3), (90, "C", 7)))

    assert settings_of(log, 0.5) == {}
    assert settings_of(log, 1) == {"A": 1.0, "B": 2.0}
    assert settings_of(log, 60) == {"A": 3.0, "B": 2.0}
    assert settings_of(log, 90) == {"A": 3.0, "B": 2.0, "C": 7.0}


def test_a_value_that_is_missing_sets_nothing():
    log = made(parameters=parameters((1, "A", 1), (2, "A", math.nan), (2, "B", math.nan)))

    assert settings_of(log, 10) == {"A": 1.0}
    assert changes(log) == ()


def test_a_value_beyond_a_single_is_taken_as_it_is():
    (change,) = changes(changed_at(100, "A", 1.0, 1e300))

    assert change.after == 1e300


def test_a_log_without_parameters_tells_nothing():
    log = made()

    assert settings_of(log, 10) == {}
    assert firmware_of(log, 10) == ""
    assert found(log) == []


def test_values_stated_again_are_no_change():
    log = made(parameters=parameters(*[(t, "A", 1.1) for t in (1, 30, 60)]))

    assert changes(log) == ()
    assert found(log, sortie()) == []


@pytest.mark.parametrize(
    "name",
    [
        "STAT_RUNTIME", "STAT_FLTTIME", "STAT_BOOTCNT", "BARO1_GND_PRESS", "BARO2_GND_PRESS",
        "GND_ABS_PRESS", "GND_TEMP", "MIS_TOTAL", "CMD_INDEX", "LND_FLIGHT_T_LO",
    ],
)  # fmt: skip
def test_what_autopilots_count_by_themselves_is_no_change(name):
    assert found(changed_at(100, name, 1, 2), sortie()) == []


@pytest.mark.parametrize("name", ["STATE", "BARO_ALT_OFFSET", "MIS_RESTART", "CMD_FOO", "GND_EFF"])
def test_names_like_them_are(name):
    assert len(found(changed_at(100, name, 1, 2), sortie())) == 1


def test_a_zero_taken_at_rest_is_no_change_but_one_in_flight_is():
    log = changed_at(3.4, "ARSPD_OFFSET", 0, 2013.86)

    assert found(log, sortie(20, 200)) == []
    assert found(log, sortie(2, 200))[0].severity == "stop"


def test_a_change_on_the_ground_is_told_as_a_note():
    (finding,) = found(changed_at(10, "BATT_AMP_PERVLT", 17, 18.5), sortie(20, 200))

    assert finding.code == "settings-changed"
    assert finding.severity == "note"
    assert finding.message == (
        "1 parameter changed within the log: BATT_AMP_PERVLT from 17 to 18.5 at 10.0 s."
    )
    assert finding.start_s == 10


def test_the_message_names_how_many_and_the_first():
    rows = [(t, f"P{i}", v) for i in range(9) for t, v in ((1, i), (30 + i, i + 1))]
    (finding,) = found(made(parameters=parameters(*sorted(rows))), sortie())

    assert finding.evidence == {"changes": 9, "parameters": 9}
    assert finding.message.startswith("9 parameters changed within the log: P0 from 0 to 1 at 30.0")
    assert finding.message.endswith("P4 from 4 to 5 at 34.0 s and 4 more.")
    assert (finding.start_s, finding.end_s) == (30, 38)
    assert finding.affects == ()


# Half the width of what is possible over the root of three (JCGM 100:2008, 4.3.7), by hand:
# 17 to 18.7 is 10 %; a ratio of 2 to 2.42 is 10 % of speed, its root.
@pytest.mark.parametrize(
    ("name", "before", "after", "hit", "not_hit"),
    [
        ("BATT_AMP_PERVLT", 17, 18.7, "charge.used", "battery.min_voltage"),
        ("BATT_AMP_PERVOLT", 18.7, 17, "energy.used", "flight.max_airspeed"),
        ("BATT2_AMP_PERVLT", 17, 18.7, "battery.max_current", "takeoff.ground_roll"),
        ("BAT1_A_PER_V", 17, 18.7, "energy.per_km", "battery.min_voltage"),
        ("BATT_VOLT_MULT", 10, 11, "battery.min_voltage", "charge.used"),
        ("BAT_V_DIV", 10, 11, "energy.per_lap", "battery.max_current"),
        ("ARSPD_RATIO", 2, 2.42, "flight.max_airspeed", "energy.used"),
        ("ASPD_SCALE", 1, 1.1, "flight.min_stall_margin", "flight.max_ground_speed"),
    ],
)
def test_a_scale_that_changed_in_flight_widens_what_it_scales(name, before, after, hit, not_hit):
    finding = found(changed_at(100, name, before, after), sortie())[0]

    assert finding.severity == "degrade"
    assert affected(finding, hit)
    assert not affected(finding, not_hit)
    assert finding.evidence["share"] == pytest.approx(0.1)
    assert finding.widen == pytest.approx(0.1 / math.sqrt(3))
    assert "10.0 %" in finding.message


@pytest.mark.parametrize(
    ("name", "hit"),
    [
        ("BATT_AMP_OFFSET", "energy.used"),
        ("BATT_MONITOR", "battery.min_voltage"),
        ("ARSPD_OFFSET", "flight.max_airspeed"),
        ("ARSPD_TYPE", "wind.speed"),
        ("BARO_ALT_OFFSET", "flight.max_height"),
        ("AHRS_ORIENTATION", "flight.max_load_factor"),
    ],
)
def test_a_zero_or_a_kind_that_changed_in_flight_withholds(name, hit):
    (finding,) = found(changed_at(100, name, 3, 4), sortie())

    assert finding.severity == "stop"
    assert affected(finding, hit)
    assert not affected(finding, "laps.count")


def test_a_scale_from_zero_has_no_share():
    (finding,) = found(changed_at(100, "BATT_AMP_PERVLT", 0, 17), sortie())

    assert finding.severity == "stop"
    assert affected(finding, "charge.used")


def test_a_take_off_before_the_change_stands():
    late, early = (changed_at(t, "AHRS_ORIENTATION", 0, 4) for t in (100, 22))

    assert not affected(found(late, sortie(20, 200))[0], "takeoff.ground_roll")
    assert affected(found(early, sortie(20, 200))[0], "takeoff.ground_roll")


def test_the_wind_is_withheld_when_the_airspeed_changed_by_more_than_a_percent():
    small, large = (changed_at(100, "ARSPD_RATIO", 2, after) for after in (2.02, 2.42))
    given = Inputs(wind=GivenWind(3.0, 270.0))

    assert [f.severity for f in found(small, sortie())] == ["degrade"]
    widened, withheld = found(large, sortie())
    assert (widened.severity, withheld.severity) == ("degrade", "stop")
    assert affected(withheld, "wind.speed")
    assert affected(withheld, "takeoff.headwind")
    assert not affected(withheld, "flight.max_airspeed")
    assert not affected(found(large, sortie(), inputs=given)[1], "takeoff.headwind")


def test_a_change_concerns_the_sortie_that_it_is_in():
    log = changed_at(300, "BATT_AMP_PERVLT", 17, 18.7)
    first, second = sortie(20, 200), replace(sortie(250, 400), number=2)
    (finding,) = found(log, first, second)

    assert "sortie 2" in finding.message
    assert finding.start_s is not None
    assert finding.start_s > first.end_s


def test_all_names_of_effects_are_whole_names():
    patterns = [effect.names for effect in EFFECTS]

    assert len(set(patterns)) == len(patterns)
    assert found(changed_at(100, "MY_BATT_AMP_PERVLT", 1, 2), sortie())[0].severity == "note"


def test_another_firmware_within_the_log_is_told():
    log = said(
        made(
            messages=messages(
                (1, FIRMWARE),
                (2, "Ready V1.0"),
                (50, FIRMWARE),
                (90, "ArduPlane V4.6.1 (0123abcd)"),
            )
        ),
        FIRMWARE,
    )
    (finding,) = found(log)

    assert finding.code == "settings-changed"
    assert FIRMWARE in finding.message
    assert "V4.6.1" in finding.message
    assert finding.start_s == 90
    assert firmware_of(log, 60) == FIRMWARE
    assert firmware_of(log, 100) == "ArduPlane V4.6.1 (0123abcd)"


def test_one_firmware_said_twice_is_no_change():
    log = said(
        made(messages=messages((1, FIRMWARE), (50, FIRMWARE), (60, "script v1.0"))), FIRMWARE
    )

    assert firmwares(log) == ((1, FIRMWARE),)
    assert found(log) == []


def test_two_sorties_are_compared_by_name():
    a = made(parameters=parameters((1, "A", 1), (1, "B", 2), (1, "STAT_RUNTIME", 5), (1, "D", 9)))
    b = made(parameters=parameters((1, "A", 1), (1, "B", 3), (1, "STAT_RUNTIME", 9), (1, "C", 4)))
    difference = compare_settings(setup_of(said(a, "X V1.0"), 10), setup_of(said(b, "X V1.1"), 10))

    assert difference.changed == {"B": (2.0, 3.0)}
    assert difference.only_first == ("D",)
    assert difference.only_second == ("C",)
    assert difference.firmware == ("X V1.0", "X V1.1")
    assert not difference.same


def test_two_sorties_of_one_recording():
    log = made(parameters=parameters((1, "A", 1), (1, "B", 2), (220, "B", 2.5)))
    difference = compare_settings(setup_of(log, 20), setup_of(log, 300))

    assert difference.changed == {"B": (2.0, 2.5)}
    assert difference.firmware is None
    assert compare_settings(setup_of(log, 20), setup_of(log, 200)).same


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (float(np.float32(0.1)), 0.1, True),
        (float(np.float32(-153.1084)), -153.108, True),
        (float(np.float32(2.738894)), 2.73889, True),
        (float(np.float32(2.738894)), 2.7389, False),
        (131071.0, 131070.0, False),
        (1048575.0, 1048574.0, False),
        (1048575.0, 1048580.0, True),
        (0.0, 1e-6, False),
        (17.0, -17.0, False),
    ],
)
def test_what_counts_as_the_same_value(one, other, same):
    """A single, and the same printed with six digits; two integers that differ by one don't."""
    for a, b in ((one, other), (other, one)):
        assert compare_settings(Setup({"P": a}, ""), Setup({"P": b}, "")).same is same


# ---------------------------------------------------------------- a whole log


@cache
def flight() -> Recording:
    return read(data_path("sample_flights", "calm.bin"))


def with_change(name: str, before: float, after: float) -> Recording:
    """The calm sample, with a parameter that changes 60 s after lift-off."""
    log = flight()
    at = debrief(log).sorties[0].sortie.liftoff_s
    assert at is not None
    first = float(log["gps"]["time_s"].iloc[0])
    tables = {n: log[n] for n in log}
    rows = parameters((first, name, before), (at + 60, name, after))
    tables["parameters"] = pd.concat([log["parameters"], rows]).sort_values("time_s", kind="stable")
    return Recording(tables, log.receipt)


@cache
def plain() -> Debrief:
    return debrief(flight())


def test_the_sample_without_a_change_has_no_such_finding():
    every = [*plain().findings, *(f for s in plain().sorties for f in s.findings)]

    assert not [f for f in every if f.code == "settings-changed"]


def test_a_scale_that_changed_in_flight_widens_the_energy_of_that_flight():
    changed = debrief(with_change("BATT_AMP_PERVLT", 17, 18.7)).sorties[0]
    before = plain().sorties[0]
    finding = next(f for f in changed.findings if f.code == "settings-changed")

    assert finding.severity == "degrade"
    for id_ in ("energy.used", "charge.used"):
        old, new = before.figures[id_].quantity, changed.figures[id_].quantity
        assert new.value == old.value
        # 10 % of the value over the root of three, added in quadrature.
        assert new.std == pytest.approx(math.hypot(old.std, 0.1 / math.sqrt(3) * old.value))
    same = "flight.max_height"
    assert changed.figures[same].quantity == before.figures[same].quantity


def test_a_zero_that_changed_in_flight_withholds_the_energy_of_that_flight():
    changed = debrief(with_change("BATT_AMP_OFFSET", 0.0, 0.1)).sorties[0]

    assert "energy.used" in plain().sorties[0].figures
    assert "energy.used" not in changed.figures
    assert "settings-changed" in changed.withheld["energy.used"]
    assert "BATT_AMP_OFFSET from 0 to 0.1" in changed.withheld["energy.used"]
    assert "flight.max_height" in changed.figures
