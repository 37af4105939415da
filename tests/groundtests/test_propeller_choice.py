"""Propellers for a mission: rolls in closed form, powers of published curves, honest choices."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from flightlog.constants import G0_M_S2
from flightlog.groundtests.draws import Known, Sources
from flightlog.groundtests.limits_of_choice import FITS, OPEN, OUT, Demand, judged
from flightlog.groundtests.propeller import PropellerCurve
from flightlog.groundtests.propeller_choice import PropellerLimits, choose_propeller
from flightlog.groundtests.propeller_performance import Candidate, Mission, performance

RHO0, DIAMETER, N = 1.225, 0.4064, 7000 / 60
# The reference aircraft of 8 kg whose roll is known in closed form: 28.9158 m without wind.
AIRCRAFT = Mission(
    mass_kg=Known(8.0),
    density_kg_m3=Known(RHO0),
    sound_m_s=343.2,
    wing_area_m2=0.55,
    cl_ground=0.50,
    cd_ground=Known(0.055),
    cl_liftoff=Known(1.50 / 1.1**2),
    friction=Known(0.04),
    cd0=Known(0.040),
    induced=0.050,
    cruise_m_s=Known(17.0),
    climb_m_s=15.0,
)


def parabola(t0=38.0, b=0.70, c=0.010):
    """Give the curve whose thrust at full throttle is t0 - b V - c V²."""
    v = np.linspace(0, 40, 801)
    size = RHO0 * N**2 * DIAMETER**4
    return PropellerCurve(v / (N * DIAMETER), (t0 - b * v - c * v * v) / size, 0.03 + 0 * v)


def candidate(name="a", **changes):
    made = Candidate(
        name,
        DIAMETER,
        parabola(),
        Known(N),
        voltage_v=Known(22.4),
        drive_efficiency=Known(0.72),
        cruise_drive_efficiency=Known(0.68),
        hub_height_m=Known(0.24),
        max_rpm=9060,
    )
    return replace(made, **changes)


def figures(mission=AIRCRAFT, one=None):
    return performance(mission, one or candidate(), Sources())[0]


@pytest.mark.parametrize(
    ("mission", "roll"),
    [
        (AIRCRAFT, 28.915766238200035),
        (replace(AIRCRAFT, headwind_m_s=Known(3.0)), 18.27595380368735),
        (replace(AIRCRAFT, mass_kg=Known(9.0)), 38.26134785781592),
        (replace(AIRCRAFT, density_kg_m3=Known(1.10)), 37.33855787872983),
    ],
)
def test_the_roll_is_that_of_the_closed_form(mission, roll):
    assert roll == pytest.approx(figures(mission)["roll_m"].value, rel=1e-5)


@pytest.mark.parametrize(
    ("changes", "std_of_log"),
    [
        # Exact derivatives of the closed form: ln S by ln m, ln ρ at constant speed, by μ, by wind.
        ({"mass_kg": Known(8.0, 0.08)}, 0.01 * 2.3500397539833573),
        ({"density_kg_m3": Known(RHO0, 0.01 * RHO0)}, 0.01 * 2.350039753983846),
        ({"friction": Known(0.04, 0.002)}, 0.2 * 0.023601719475906613),
        ({"headwind_m_s": Known(0.0, 0.2)}, 0.2 * 0.1348162154713206),
    ],
)
def test_what_is_not_known_widens_the_roll_by_as_much_as_it_matters(changes, std_of_log):
    spread = figures(replace(AIRCRAFT, **changes))["roll_m"]

    assert std_of_log == pytest.approx(np.std(np.log(spread.draws)), rel=0.03)
    assert [1.0] == pytest.approx(list(spread.shares.values()), abs=0.05)


def test_thrust_power_and_current_are_those_of_the_coefficients():
    # J 0.31637, CT 0.060, CP 0.045 at 15 m/s: 26.287 N and 934.78 W; at rest the worked stand.
    flow = PropellerCurve(
        [0, 0.31, 0.33], [0.07532229710091692, 0.06, 0.06], [0.029289629479198154, 0.045, 0.045]
    )
    stand = replace(AIRCRAFT, density_kg_m3=Known(1.18))
    one = candidate(curve=flow, drive_efficiency=Known(0.7147812232674147), speed_rev_s=Known(N))
    drag = 0.5 * 1.18 * 15**2 * 0.55 * 0.04 + 0.05 * (8 * G0_M_S2) ** 2 / (
        0.5 * 1.18 * 15**2 * 0.55
    )

    found = figures(stand, one)

    assert 33.0 == pytest.approx(found["static_thrust_n"].value)
    assert 38.0 == pytest.approx(found["static_current_a"].value)
    power = 934.7750429250674 * (N / 116.667) ** 3
    assert power / 0.7147812232674147 / 22.4 == pytest.approx(found["climb_current_a"].value)
    assert found["climb_current_a"].value == found["current_a"].value
    thrust = 26.287187068246944 * (N / 116.667) ** 2
    climb = (thrust - drag) * 15 / (8 * G0_M_S2)
    assert climb == pytest.approx(found["climb_m_s"].value, rel=1e-6)
    at_rest = figures(replace(stand, climb_m_s=None), one)
    assert 0.43401334406236614 == pytest.approx(at_rest["tip_mach"].value)


def test_cruise_is_where_a_published_curve_gives_the_drag():
    # Deters, Ananda and Selig 2014, DA4002 of 9 in at 5028 rpm; at J 0.500784 η is 0.643341.
    published = PropellerCurve(
        [0.123969, 0.250515, 0.374369, 0.500784, 0.625372],
        [0.130239, 0.119574, 0.102531, 0.082563, 0.057435],
        [0.076611, 0.074178, 0.070558, 0.064268, 0.052418],
    )
    d, airspeed = 0.2286, 12.0
    drag = 0.082563 / 0.500784**2 * RHO0 * airspeed**2 * d**2
    mission = replace(
        AIRCRAFT,
        lift_over_drag=Known(8.0 * G0_M_S2 / drag),
        cruise_m_s=Known(airspeed),
        climb_m_s=None,
    )
    one = candidate(curve=published, diameter_m=d, speed_rev_s=Known(200.0))

    found, withheld = performance(mission, one, Sources())

    assert drag / (0.643341 * 0.68) / 3.6 == pytest.approx(found["wh_per_km"].value, rel=1e-5)
    assert 60 * airspeed / (0.500784 * d) == pytest.approx(found["cruise_rpm"].value, rel=1e-9)
    assert "J = 0" in withheld["roll_m"]


def test_a_lapse_of_thrust_that_is_stated_stands_in_for_a_curve():
    # CT = CT0 (1 - J/J0): with J/J0 = x, thrust is drag where CT0 (1 - x) = K (J0 x)².
    lapse = PropellerCurve([0, 1, 2], [0.075, 0, -0.075], [0.03] * 3)
    one = candidate(curve=lapse, j_scale=Known(0.7, 0.05), power_known=False)

    found, withheld = performance(AIRCRAFT, one, Sources())
    assert "cruise_efficiency" in withheld["wh_per_km"]
    found, _ = performance(AIRCRAFT, replace(one, cruise_efficiency=Known(0.6)), Sources())

    q = 0.5 * RHO0 * 17**2 * 0.55
    drag = q * (0.04 + 0.05 * (8 * G0_M_S2 / q) ** 2)
    k = drag / (RHO0 * 17**2 * DIAMETER**2) * 0.7**2
    x = (-0.075 + math.sqrt(0.075**2 + 4 * k * 0.075)) / (2 * k)
    assert 60 * 17 / (0.7 * x * DIAMETER) == pytest.approx(found["cruise_rpm"].value, rel=2e-3)
    assert drag / (0.6 * 0.68) / 3.6 == pytest.approx(found["wh_per_km"].value)


def test_a_propeller_that_can_not_lift_off_is_ruled_out_and_not_hidden():
    weak = candidate(curve=parabola(t0=12.0))
    choice = choose_propeller(AIRCRAFT, [weak], PropellerLimits(roll_m=60.0), "roll")

    (one,) = choice.candidates
    assert math.isinf(one.figures["roll_m"].value)
    assert OUT == one.state
    assert "" == choice.best


def test_a_curve_that_just_ends_past_lift_off_withholds_and_rules_nothing_out():
    """Lift-off at 13.9 m/s, 1 % before the curve ends: nothing says that it can't lift off."""
    whole = parabola()
    leave = math.sqrt(2 * 8.0 * G0_M_S2 / (RHO0 * 0.55 * 1.50 / 1.1**2))
    inside = np.asarray(whole.j) <= 1.01 * leave / (N * DIAMETER)
    curve = PropellerCurve(*(np.asarray(c)[inside] for c in (whole.j, whole.ct, whole.cp)))
    made = choose_propeller(
        AIRCRAFT, [candidate(curve=curve)], PropellerLimits(roll_m=40.0), "roll"
    ).candidates[0]

    assert "rows of higher J" in made.withheld["roll_m"]
    assert made.state == OPEN


def test_the_limits_decide_and_what_can_not_be_judged_stays_open():
    limits = PropellerLimits(
        roll_m=32.0, current_a=60.0, power_w=1400, tip_mach=0.65, clearance_mm=25
    )
    choice = choose_propeller(
        AIRCRAFT,
        [
            candidate("known"),
            candidate("no sheet", max_rpm=None),
            candidate("low", hub_height_m=Known(0.22, 0.002)),
            candidate("close", speed_rev_s=Known(N, N * 0.05)),
        ],
        limits,
        "energy",
    )

    states = {w.name: w.state for w in choice.candidates}
    assert states == {"known": FITS, "no sheet": OPEN, "low": OUT, "close": OPEN}
    assert "known" == choice.best
    words = {j.demand.figure: j.word for j in choice.candidates[1].demands}
    assert "not assessable" == words["speed_rpm"]
    assert "max_rpm" in choice.candidates[1].demands[-1].why
    low = {j.demand.figure: j.word for j in choice.candidates[2].demands}
    assert "not met" == low["clearance_mm"]


def test_a_probability_just_at_what_is_required_is_met():
    spread = figures(replace(AIRCRAFT, mass_kg=Known(8.0, 0.1)))["roll_m"]
    bound = spread.quantile(0.95)
    at = judged(Demand("roll_m", "roll", "<=", bound, "m", 0.95), {"roll_m": spread}, {})

    assert "met" == at.word
    assert "not shown" == judged(replace(at.demand, shown_at=0.96), {"roll_m": spread}, {}).word


def test_one_beats_another_only_where_that_is_shown():
    wide = replace(AIRCRAFT, mass_kg=Known(8.0, 0.4), cd0=Known(0.04, 0.008))
    better = {"curve": parabola(t0=41.0), "cruise_drive_efficiency": Known(0.75)}
    sharp = choose_propeller(
        wide, [candidate("a"), candidate("b", **better)], PropellerLimits(), "energy"
    )
    vague = choose_propeller(
        wide,
        [candidate("a"), candidate("b", ct_relative=0.06, **better)],
        PropellerLimits(),
        "energy",
    )

    # What both share (mass, drag) is far wider than the difference, and cancels in it.
    assert "b" == sharp.candidates[0].beaten_by
    assert not sharp.candidates[0].on_front
    assert "" == vague.candidates[0].beaten_by
    assert vague.candidates[0].on_front
    assert sharp.candidates[1].on_front


def test_the_best_names_those_that_are_not_shown_to_be_worse():
    own = {"cp_relative": 0.04}
    choice = choose_propeller(
        AIRCRAFT,
        [
            candidate("a", **own),
            candidate("b", cruise_drive_efficiency=Known(0.675), **own),
            candidate("c", cruise_drive_efficiency=Known(0.50), **own),
        ],
        PropellerLimits(),
        "energy",
    )

    assert "a" == choice.best
    assert ("b",) == choice.as_good


def test_an_aircraft_that_is_hardly_known_withholds_and_says_what_is_missing():
    bare = Mission(mass_kg=Known(8.0), density_kg_m3=Known(1.2))
    found, withheld = performance(bare, candidate(voltage_v=None, hub_height_m=None), Sources())

    assert {"speed_rpm", "static_thrust_n"} == set(found)
    assert "friction" in withheld["roll_m"]
    assert "cruise_m_s" in withheld["wh_per_km"]
    assert "voltage_v" in withheld["current_a"]
    assert "temperature" in withheld["tip_mach"]
    assert "hub_height_mm" in withheld["clearance_mm"]
    assert "climb_m_s" in withheld["climb_m_s"]


def test_the_same_question_has_the_same_answer():
    wide = replace(AIRCRAFT, mass_kg=Known(8.0, 0.1))

    assert (figures(wide)["roll_m"].draws == figures(wide)["roll_m"].draws).all()
