"""Local frames against the worked examples E2a and E2b, and against an independent geodesic."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.estimation.frames import LocalFrame, along_cross

latitudes = st.floats(-75, 75)
longitudes = st.floats(-180, 180)
metres = st.floats(-5000, 5000)


def arr(*values):
    return np.array(values, dtype=float)


def test_radii_of_worked_example_e2a():
    per_lat, per_lon = LocalFrame(45.0, 9.0).metres_per_degree
    assert per_lat == pytest.approx(111131.77741417568, rel=1e-10)
    assert per_lon == pytest.approx(78846.8350939781, rel=1e-10)


def test_runway_of_worked_example_e2b():
    frame = LocalFrame(45.0, 9.0, 100.0)
    east, north = frame.east_north(arr(45.00025), arr(9.00010))
    assert north[0] == pytest.approx(27.783380685989584, rel=1e-9)
    assert east[0] == pytest.approx(7.884806922794381, rel=1e-9)
    along, cross = along_cross(east, north, 30.0)
    assert along[0] == pytest.approx(28.003516938478096, rel=1e-9)
    assert cross[0] == pytest.approx(-7.06324724391945, rel=1e-9)


def test_the_equator_and_the_poles_of_the_ellipsoid():
    # Published lengths of a degree (NIMA TR8350.2): latitude 110 574.3 m, longitude 111 319.5 m.
    per_lat, per_lon = LocalFrame(0.0, 0.0).metres_per_degree
    assert per_lat == pytest.approx(110574.3, abs=0.1)
    assert per_lon == pytest.approx(111319.5, abs=0.1)
    per_lat, per_lon = LocalFrame(90.0, 0.0).metres_per_degree
    assert per_lat == pytest.approx(111693.9, abs=0.1)
    assert per_lon == pytest.approx(0.0, abs=1e-6)


def ecef(lat_deg, lon_deg, height):
    """Cartesian place on the ellipsoid, an independent way to a distance. [m]"""
    a, e2 = 6378137.0, 0.00669437999014
    lat, lon = math.radians(lat_deg), math.radians(lon_deg)
    n = a / math.sqrt(1 - e2 * math.sin(lat) ** 2)
    return np.array(
        [
            (n + height) * math.cos(lat) * math.cos(lon),
            (n + height) * math.cos(lat) * math.sin(lon),
            (n * (1 - e2) + height) * math.sin(lat),
        ]
    )


@given(latitudes, longitudes, st.floats(0, 360), st.floats(0, 2000))
def test_a_hundred_metres_are_a_hundred_metres_of_space(lat, lon, heading, height):
    frame = LocalFrame(lat, lon, height)
    psi = math.radians(heading)
    there = frame.position(100 * math.sin(psi), 100 * math.cos(psi))
    chord = float(np.linalg.norm(ecef(*there, height) - ecef(lat, lon, height)))
    assert chord == pytest.approx(100.0, abs=0.002)


@given(latitudes, longitudes, metres, metres)
def test_there_and_back(lat, lon, east, north):
    frame = LocalFrame(lat, lon)
    there = frame.position(east, north)
    back = frame.east_north(arr(there[0]), arr(there[1]))
    assert back[0][0] == pytest.approx(east, abs=1e-4)
    assert back[1][0] == pytest.approx(north, abs=1e-4)


def test_a_site_on_the_antimeridian_is_not_torn():
    lon = arr(179.9999, -179.9999, 180.0, -180.0)
    for origin in (179.9999, -179.9999):
        east, _ = LocalFrame(10.0, origin).east_north(np.full(4, 10.0), lon)
        assert np.abs(east).max() < 25.0
        step = LocalFrame(10.0, origin).metres_per_degree[1] * 0.0002
        assert east[1] - east[0] == pytest.approx(step, rel=1e-6)
        assert east[2] == pytest.approx(east[3], abs=1e-6)


@given(metres, metres, st.floats(-720, 720))
def test_turning_the_axes_keeps_lengths(east, north, heading):
    along, cross = along_cross(arr(east), arr(north), heading)
    assert math.hypot(along[0], cross[0]) == pytest.approx(math.hypot(east, north), abs=1e-6)


def test_cross_is_to_the_right():
    along, cross = along_cross(arr(1.0), arr(0.0), 0.0)  # a step east while heading north
    assert (along[0], cross[0]) == pytest.approx((0.0, 1.0))
    along, cross = along_cross(arr(1.0), arr(0.0), 90.0)
    assert (along[0], cross[0]) == pytest.approx((1.0, 0.0))
