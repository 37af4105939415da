"""The closed form against worked examples E1, an independent integral, and its laws."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from flightlog.constants import ISA_RHO0_KG_M3
from flightlog.errors import NotEnoughDataError
from flightlog.estimation.ground_roll import RollModel, _closed, _quadrature, at_reference

# The worked examples take 1.225 kg/m³ for the standard density; ours has eight more digits.
REL = 1e-6
REF8 = RollModel(
    mass_kg=8.0,
    density_kg_m3=1.225,
    wing_area_m2=0.55,
    cl_ground=0.50,
    cd_ground=0.055,
    rolling_friction=0.04,
    cl_liftoff=1.50 / 1.10**2,
    static_thrust_n=38.0,
    thrust_b=0.70,
    thrust_c=0.010,
)


def stepped(model: RollModel, wind: float = 0.0) -> float:
    """The roll by stepping the motion itself, from the forces and not from their integral."""
    share = model.density_kg_m3 / 1.225

    def motion(_, state):
        v = state[1] + wind
        q = 0.5 * model.density_kg_m3 * v * v * model.wing_area_m2
        thrust = share * (model.static_thrust_n - model.thrust_b * v - model.thrust_c * v * v)
        load = model.mass_kg * 9.80665 - q * model.cl_ground
        hill = model.mass_kg * 9.80665 * model.slope / np.hypot(1, model.slope)
        force = thrust - q * model.cd_ground - model.rolling_friction * load - hill
        return [state[1], force / model.mass_kg]

    def off(_, state):
        return state[1] + wind - model.liftoff_airspeed_m_s

    off.terminal = True  # type: ignore[attr-defined]
    path = solve_ivp(motion, (0, 120), [0, 0], events=off, rtol=1e-9, atol=1e-10)
    return float(path.y_events[0][0][0])


@pytest.mark.parametrize(
    ("changes", "wind", "metres", "speed"),
    [
        ({}, 0.0, 28.915766238200035, 13.706229379720881),
        ({}, 3.0, 18.27595380368735, 13.706229379720881),
        ({"density_kg_m3": 1.10}, 0.0, 37.33855787872983, 14.464042772798113),
        ({"mass_kg": 9.0}, 0.0, 38.26134785781592, 14.537651608348382),
    ],
    ids=["calm", "wind 3 m/s", "thin air", "9 kg"],
)
def test_worked_example_e1(changes, wind, metres, speed):
    model = replace(REF8, **changes)
    assert model.distance_m(wind) == pytest.approx(metres, rel=REL)
    assert model.liftoff_airspeed_m_s == pytest.approx(speed, rel=REL)


def test_forces_of_worked_example_e1():
    assert REF8.force_coefficients() == pytest.approx((34.861872, 0.7, 0.021790625), rel=REL)
    thin = replace(REF8, density_kg_m3=1.10).force_coefficients()
    assert thin == pytest.approx((30.984320979591836, 0.6285714285714286, 0.019567091836734697),
                                 rel=REL)  # fmt: skip


@pytest.mark.parametrize(
    ("wind", "share"),
    [
        (-2.0, 1.285301274424957),
        (-1.0, 1.138757712837581),
        (1.0, 0.8691797012077154),
        (2.0, 0.7464647436535228),
        (4.0, 0.5261150038306043),
        (6.0, 0.3406949698325716),
    ],
)
def test_wind_table_of_e1_sensitivities(wind, share):
    assert REF8.distance_m(wind) / REF8.distance_m() == pytest.approx(share, rel=REL)


def slope_of_log(change, by: float) -> float:
    up, down = change(by).distance_m(), change(-by).distance_m()
    return float(np.log(up / down) / 2)


def test_derivatives_of_e1_sensitivities():
    by = 1e-4
    mass = slope_of_log(lambda e: replace(REF8, mass_kg=8.0 * (1 + e)), by) / by
    density = slope_of_log(lambda e: replace(REF8, density_kg_m3=1.225 * (1 + e)), by) / by
    static = slope_of_log(lambda e: replace(REF8, static_thrust_n=38.0 * (1 + e)), by) / by
    lift = slope_of_log(lambda e: replace(REF8, cl_liftoff=REF8.cl_liftoff / (1 + e) ** 2), by) / by
    # The worked value is the change over a whole hundredth of friction.
    friction = slope_of_log(lambda e: replace(REF8, rolling_friction=0.04 + e), 0.01)
    hill = slope_of_log(lambda e: replace(REF8, slope=e), by) / by * 0.01
    wind = (REF8.distance_m(by) - REF8.distance_m(-by)) / (2 * by * REF8.distance_m())
    assert mass == pytest.approx(2.3500397539833573, rel=1e-4)
    assert density == pytest.approx(-2.350039753983846, rel=1e-4)
    assert static == pytest.approx(-1.4858206218179904, rel=1e-4)
    assert lift == pytest.approx(2.4547001418940395, rel=1e-4)
    assert friction == pytest.approx(0.023601719475906613, rel=1e-4)
    assert hill == pytest.approx(0.0306774986196241, rel=1e-4)
    assert wind == pytest.approx(-0.1348162154713206, rel=1e-4)


@pytest.mark.parametrize("wind", [0.0, 2.5])
@pytest.mark.parametrize("slope", [-0.02, 0.0, 0.03])
def test_stepping_the_motion_gives_the_same_roll(wind, slope):
    model = replace(REF8, slope=slope, density_kg_m3=1.13, mass_kg=8.6)
    assert model.distance_m(wind) == pytest.approx(stepped(model, wind), rel=1e-5)


@given(
    st.floats(20, 60),
    st.floats(0.0, 1.0),
    st.floats(1e-5, 0.03),
    st.floats(0, 5),
    st.floats(8, 16),
)
def test_quadrature_agrees_with_the_closed_form(a, b, c, w, v):
    assume(a - b * 1.05 * v - c * (1.05 * v) ** 2 > 1.0)
    assert _quadrature(a, b, c, w, v) == pytest.approx(_closed(a, b, c, w, v), rel=1e-6)


def test_both_ways_join_where_the_square_term_vanishes():
    # C = s c + rho S (cd - mu cl) / 2; without drag it is the thrust's own c.
    flat = replace(REF8, cd_ground=0.04 * 0.50)
    at = replace(flat, thrust_c=0.0).distance_m(2.0)
    assert at == pytest.approx(stepped(replace(flat, thrust_c=0.0), 2.0), rel=1e-5)
    # The true change is 4 C of the roll; a closed form that loses digits here is 1 % off.
    for c in (1e-9, 2e-9, 1e-8, 1e-7, 1e-6, -1e-9, -1e-7):
        assert replace(flat, thrust_c=c).distance_m(2.0) == pytest.approx(at, rel=5 * abs(c) + 1e-9)


def test_linear_force_has_its_own_closed_form():
    # For C = 0: S = m [-V/B - (A/B²) ln(A - B V)] between standstill and lift-off.
    model = replace(REF8, cd_ground=0.04 * 0.50, thrust_c=0.0)
    a, b, c = model.force_coefficients()
    v = model.liftoff_airspeed_m_s
    assert c == pytest.approx(0.0, abs=1e-12)
    linear = 8.0 * (-v / b - a / b**2 * (np.log(a - b * v) - np.log(a)))
    assert model.distance_m() == pytest.approx(linear, rel=1e-9)


def test_a_constant_force_has_the_schoolbook_roll():
    model = replace(REF8, cd_ground=0.04 * 0.50, thrust_b=0.0, thrust_c=0.0)
    a, *_ = model.force_coefficients()
    v = model.liftoff_airspeed_m_s
    assert model.distance_m(3.0) == pytest.approx(8.0 * (v - 3.0) ** 2 / (2 * a), rel=1e-9)


models = st.builds(
    RollModel,
    mass_kg=st.floats(4, 15),
    density_kg_m3=st.floats(0.95, 1.3),
    wing_area_m2=st.floats(0.4, 0.9),
    cl_ground=st.floats(0.0, 0.8),
    cd_ground=st.floats(0.04, 0.12),
    rolling_friction=st.floats(0.02, 0.12),
    cl_liftoff=st.floats(0.9, 1.5),
    static_thrust_n=st.floats(30, 80),
    thrust_b=st.floats(0.0, 1.0),
    thrust_c=st.floats(0.0, 0.02),
    slope=st.floats(-0.03, 0.03),
)


def roll(model: RollModel, wind: float = 0.0) -> float:
    """The roll; the examples that can't take off are left to a test of their own."""
    try:
        return model.distance_m(wind)
    except NotEnoughDataError:
        assume(False)
        raise


@given(models, st.floats(1.001, 1.2))
def test_more_mass_rolls_further(model, factor):
    assert roll(replace(model, mass_kg=model.mass_kg * factor)) > roll(model)


@given(models, st.floats(0.001, 0.05))
def test_more_friction_rolls_further(model, more):
    # Up to wheels that carry nothing: at lift-off speed the ground attitude must not fly.
    assume(model.cl_ground < model.cl_liftoff)
    rough = replace(model, rolling_friction=model.rolling_friction + more)
    assert roll(rough) > roll(model)


@given(models, st.floats(0.0005, 0.03))
def test_uphill_rolls_further(model, more):
    assert roll(replace(model, slope=model.slope + more)) > roll(model)


@given(models, st.floats(1.001, 1.2))
def test_denser_air_shortens(model, factor):
    assert roll(replace(model, density_kg_m3=model.density_kg_m3 * factor)) < roll(model)


@given(models, st.floats(0.01, 3), st.floats(-2, 3))
def test_headwind_shortens(model, more, wind):
    assert roll(model, wind + more) < roll(model, wind)


@given(models, st.floats(1.001, 1.3))
def test_thrust_shortens(model, factor):
    strong = replace(
        model,
        static_thrust_n=model.static_thrust_n * factor,
        thrust_b=model.thrust_b * factor,
        thrust_c=model.thrust_c * factor,
    )
    # More of a thrust that still pushes at lift-off.
    v = model.liftoff_airspeed_m_s * 1.02
    assume(model.static_thrust_n - model.thrust_b * v - model.thrust_c * v * v > 0)
    assert roll(strong) < roll(model)


def test_too_little_thrust_is_refused_with_the_physics():
    weak = replace(REF8, static_thrust_n=14.0)
    with pytest.raises(NotEnoughDataError) as caught:
        weak.distance_m()
    assert "does not reach the lift-off airspeed of 13.7 m/s" in caught.value.found
    assert "drag and friction" in caught.value.found
    assert "thrust, mass and polar" in caught.value.fix


def test_a_thrust_that_cannot_start_is_refused():
    with pytest.raises(NotEnoughDataError, match="drag and friction"):
        replace(REF8, rolling_friction=0.6).distance_m()


def test_thrust_that_barely_reaches_is_refused():
    # The force vanishes 1 % above the lift-off speed: the roll would be a guess.
    v = REF8.liftoff_airspeed_m_s * 1.01
    _, b, c = REF8.force_coefficients()
    friction = 0.04 * REF8.weight_n
    barely = replace(REF8, static_thrust_n=friction + b * v + c * v * v)
    with pytest.raises(NotEnoughDataError, match="does not reach"):
        barely.distance_m()


def test_a_wind_that_carries_the_aircraft_is_refused():
    with pytest.raises(NotEnoughDataError, match=r"14\.0 m/s is above the lift-off airspeed"):
        REF8.distance_m(14.0)


def test_reference_is_standard_air_on_the_flat():
    flown = replace(REF8, mass_kg=8.4, density_kg_m3=1.15, slope=0.02)
    reference = at_reference(flown, 8.0)
    assert (reference.mass_kg, reference.slope) == (8.0, 0.0)
    assert reference.density_kg_m3 == ISA_RHO0_KG_M3
    assert reference.distance_m() == pytest.approx(28.915766238200035, rel=REL)
