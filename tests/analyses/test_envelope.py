import numpy as np
import pandas as pd
import pytest

from flightlog.analyses import climb, energy, envelope
from flightlog.constants import G0_M_S2
from flightlog.inputs import Aircraft, Inputs, Mass, Site

from .made import baro, path, recording, sortie

T = np.arange(0.0, 210.0, 0.1)
AIR = (T >= 25) & (T <= 190)
RADIUS, SPEED = 100.0, 18.0
PANNIER = Aircraft("pannier", "", reference_kg=8.0, stall_speed_m_s=9.5, empty_kg=5.6)


def height(t):
    return np.interp(t, [25, 60, 150, 190], [0, 50, 50, 0])


def east(t):
    return np.interp(t, [20, 110, 200], [0, 1620.0, 0])


def signal(t, values, column, instance=True):
    table = (
        {"time_s": t, "instance": 0, column: values} if instance else {"time_s": t, column: values}
    )
    return pd.DataFrame(table)


def airspeed(values=None):
    return signal(
        T,
        np.where(AIR, 16.0 + 0.5 * np.sin(T / 5), 0.3) if values is None else values,
        "airspeed_m_s",
    )


def attitude(roll_deg=None):
    roll = np.zeros(T.size) if roll_deg is None else np.radians(roll_deg)
    return pd.DataFrame({"time_s": T, "roll_rad": roll, "pitch_rad": 0 * T, "yaw_rad": 0 * T})


def imu(load, *, bias=0.0, vibration=0.0, hz=100):
    t = np.arange(0.0, 210.0, 1 / hz)
    rng = np.random.default_rng(2)
    n = load(t) + bias + vibration * rng.normal(0, 1, t.size)
    return signal(t, -G0_M_S2 * n, "accel_z_m_s2")


def log(**tables):
    return recording(**{"baro": baro(T, height), **tables})


def figures(inputs=None, flight=None, track=None, **tables):
    answer = envelope.answer(
        log(**tables),
        flight or sortie(),
        track or path(T, height, east),
        inputs or Inputs(),
    )
    return {k: f.quantity for k, f in answer.figures.items()}, answer


def test_duration_distance_height_range_speed():
    found, answer = figures()
    assert found["flight.duration"].value == 165.0
    # 18 m/s out and back, 165 s in the air; the ends are known to half a second each.
    assert found["flight.distance"].value == pytest.approx(18 * 165, rel=1e-3)
    assert found["flight.distance"].sources["lift-off"] == pytest.approx(9.0)
    assert found["flight.max_height"].value == pytest.approx(50.0, abs=0.3)
    assert found["flight.max_range"].value == pytest.approx(1620.0, abs=1.0)
    assert found["flight.max_ground_speed"].value == pytest.approx(18.0, abs=0.2)
    assert "log an airspeed" not in answer.withheld.get("flight.max_height", "")


def test_range_from_the_pilot():
    degrees = 100.0 / 111319.49
    site = Site("strip-2", "", pilot_deg=(0.0, -degrees))
    found, answer = figures(Inputs(site=site))
    assert found["flight.max_range"].value == pytest.approx(1720.0, abs=1.0)
    assert "the pilot's position" in answer.figures["flight.max_range"].method


def test_a_log_that_starts_in_the_air():
    flight = sortie(30, liftoff=None, starts="air", launch="air")
    found, answer = figures(flight=flight)
    assert "at least 160.0 s" in answer.withheld["flight.duration"]
    assert "starts in the air" in answer.withheld["flight.max_height"]
    assert "pilot's position in the site file" in answer.withheld["flight.max_range"]
    assert "over the seen part only" in answer.figures["flight.distance"].method
    assert found["flight.distance"].value == pytest.approx(18 * 160, rel=1e-3)


def test_a_log_that_ends_in_the_air():
    _, answer = figures(flight=sortie(end=150.0, touchdown=None, ends="air"))
    assert "the log ends in the air" in answer.withheld["flight.duration"]
    assert "the log ends in the air" in answer.figures["flight.max_height"].method


def test_gaps_are_not_measured_in_silence():
    track = path(T, height, east, gaps=((50.0, 80.0),))
    found, answer = figures(track=track)
    assert "no positions" in answer.withheld["flight.distance"]
    track = path(T, height, east, gaps=((50.0, 54.0),))
    widened, _ = figures(track=track)
    assert widened["flight.distance"].std > 10
    assert found["flight.max_range"].value == pytest.approx(1620, abs=1)


def test_without_positions():
    answer = envelope.answer(recording(), sortie(), None, Inputs())
    assert "log GPS" in answer.withheld["flight.distance"]
    assert "log a barometer" in answer.withheld["flight.max_height"]
    assert "fit and log an airspeed sensor" in answer.withheld["flight.max_airspeed"]
    assert "log the inertial sensors" in answer.withheld["flight.max_load_factor"]
    assert "attitude" in answer.withheld["flight.max_bank"]
    assert "[wing] stall_speed_m_s" in answer.withheld["flight.min_stall_margin"]
    assert set(answer.figures) == {"flight.duration"}


def test_load_factor_without_bias_and_vibration():
    # METHODS, E4b: 18 m/s at 45 m radius is a bank of 36.286 deg and a load factor of 1.2406.
    def load(t):
        return np.where((t > 80) & (t < 100), 1.2405818339622778, 1.0)

    def bank(t):
        return np.where((t > 80) & (t < 100), 36.28595429466602, 0.0)

    found, answer = figures(imu=imu(load, bias=0.04, vibration=0.25), attitude=attitude(bank(T)))
    q = found["flight.max_load_factor"]
    low, high = q.interval()
    assert low < 1.2406 < high
    assert high - low < 0.35
    assert "zero from the rest" in answer.figures["flight.max_load_factor"].method
    assert "0.2 s mean" in answer.figures["flight.max_load_factor"].method
    assert found["flight.max_bank"].value == pytest.approx(36.286, abs=0.1)
    low, high = found["flight.min_load_factor"].interval()
    assert low < 1.0 < high


def test_load_factor_of_a_slow_sensor_says_that_more_is_possible():
    found, answer = figures(imu=imu(lambda t: 1 + 0 * t, hz=10), attitude=attitude())
    assert "more is possible" in answer.figures["flight.max_load_factor"].method
    assert found["flight.max_load_factor"].value == pytest.approx(1.0, abs=1e-6)


def test_airspeed_is_a_mean_and_its_scale_is_in_the_interval():
    values = np.where(AIR, 16.0 + 0.5 * np.sin(T / 5), 0.3)
    values[1000] = 40.0
    found, _ = figures(airspeed=airspeed(values))
    q = found["flight.max_airspeed"]
    assert q.value < 19.0
    assert q.sources["airspeed scale"] == pytest.approx(0.03 * q.value)


def test_a_blocked_pitot_is_not_used():
    _, answer = figures(airspeed=airspeed(np.full(T.size, 7.0)))
    assert "check the pitot" in answer.withheld["flight.max_airspeed"]


def test_stall_margin_in_a_turn():
    # METHODS, E4b: 18 m/s over 12.46 sqrt(1.24058) = 13.878 m/s is 1.297.
    aircraft = Aircraft("pannier", "", reference_kg=8.0, stall_speed_m_s=12.46)
    inputs = Inputs(aircraft=aircraft, mass=Mass(8.0, 0.05, "option"))

    def load(t):
        return np.where((t > 80) & (t < 100), 1.2405818339622778, 1.0)

    found, answer = figures(
        inputs,
        imu=imu(load),
        attitude=attitude(),
        airspeed=airspeed(np.where(AIR, 18.0 + 0.2 * (T > 100), 0.3)),
    )
    q = found["flight.min_stall_margin"]
    assert q.value == pytest.approx(18 / 13.878123599881146, rel=2e-3)
    assert q.sources["mass"] == pytest.approx(0.5 * 0.05 / 8 * q.value)
    assert "above 2 m" in answer.figures["flight.min_stall_margin"].method


def test_stall_margin_falls_with_the_root_of_the_mass():
    tables = {"imu": imu(lambda t: 1 + 0 * t), "attitude": attitude(), "airspeed": airspeed()}
    margins = [
        figures(Inputs(aircraft=PANNIER, mass=Mass(kg, 0.05, "option")), **tables)[0][
            "flight.min_stall_margin"
        ].value
        for kg in (8.0, 11.52)
    ]
    assert margins[0] / margins[1] == pytest.approx(1.2, rel=1e-9)


@pytest.mark.parametrize(
    ("inputs", "reason"),
    [
        (Inputs(), "[wing] stall_speed_m_s"),
        (Inputs(aircraft=Aircraft("a", "", stall_speed_m_s=9.0)), "[mass] reference_kg"),
        (Inputs(aircraft=PANNIER), "--mass"),
        (Inputs(aircraft=PANNIER, mass=Mass(8, 0.05, "option")), "airspeed sensor"),
    ],
)
def test_what_the_stall_margin_lacks(inputs, reason):
    assert reason in figures(inputs)[1].withheld["flight.min_stall_margin"]


def nonsense(rng):
    """Tables of any length and scale with any share of values that are none."""
    n = int(rng.choice([1, 2, 3, 5, 12, 200]))
    t = np.sort(rng.uniform(0, rng.choice([1e-3, 10, 220, 1e6]), n))

    def column():
        x = rng.normal(20, 10, n) * rng.choice([1, 1e-6, 1e6])
        x[rng.random(n) < rng.choice([0, 0.3, 1])] = rng.choice([np.nan, np.inf, -np.inf, 0])
        return x

    names = {
        "battery": ("voltage_v", "current_a", "energy_used_j", "charge_used_coulomb"),
        "baro": ("height_m", "pressure_pa"),
        "imu": ("accel_z_m_s2",),
        "airspeed": ("airspeed_m_s",),
        "attitude": ("roll_rad", "pitch_rad", "yaw_rad"),
    }
    tables = {
        name: pd.DataFrame({"time_s": t, **{c: column() for c in columns}})
        for name, columns in names.items()
    }
    tables["battery"]["instance"] = rng.integers(0, 2, n)
    if rng.random() < 0.5:
        tables["arming"] = pd.DataFrame({"time_s": t[:1], "armed": rng.integers(0, 2, 1)})
    return recording(**tables)


@pytest.mark.parametrize("seed", range(60))
def test_nonsense_gives_figures_or_reasons_never_a_crash(seed):
    rng = np.random.default_rng(seed)
    log_ = nonsense(rng)
    flight = sortie(
        float(rng.uniform(0, 50)),
        float(rng.uniform(60, 300)),
        liftoff=rng.choice([None, 55.0]),
        touchdown=rng.choice([None, 58.0]),
        starts=str(rng.choice(["rest", "air", "rolling"])),
        ends=str(rng.choice(["standstill", "air", "log"])),
    )

    def holed(t):
        return np.where(rng.random(t.size) < rng.choice([0, 0.5]), np.nan, 0.1 * t)

    short = T[: int(rng.choice([2, 10, 2000]))]
    track = None if rng.random() < 0.2 else path(short, holed, lambda t: 18.0 * t)
    inputs = Inputs(aircraft=PANNIER, mass=Mass(8.0, 0.05, "option"))
    answers = (
        energy.answer(log_, flight, track),
        climb.answer(log_, flight, track, None, rng.choice([None, 300.0])),
        envelope.answer(log_, flight, track, inputs),
    )
    for answer in answers:
        assert not set(answer.figures) & set(answer.withheld)
        for figure in answer.figures.values():
            low, high = figure.quantity.interval()
            assert low <= figure.quantity.value <= high
        assert all(answer.withheld.values())
