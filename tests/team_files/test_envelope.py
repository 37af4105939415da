from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import TeamFileError
from flightlog.inputs import load_aircraft


def read(tmp_path, corners):
    path = tmp_path / "aircraft.toml"
    text = ", ".join(f"[{m}, {b}]" for m, b in corners)
    path.write_text(
        'schema = "flightlog.aircraft/1"\nid = "a"\n[balance]\ndatum = "nose"\nmac_m = 0.26\n'
        f"lemac_m = 0.35\nenvelope = [{text}]\n",
        "utf-8",
    )
    return load_aircraft(path).balance.envelope


SQUARE = ((5.0, 30.0), (5.0, 44.0), (9.0, 44.0), (9.0, 30.0))


@pytest.mark.parametrize(
    "corners",
    [
        SQUARE,
        SQUARE[::-1],
        ((5.0, 30.0), (5.0, 37.0), *SQUARE[1:]),  # a corner on a straight side
        (*SQUARE[:2], (7.0, 35.0), *SQUARE[2:]),  # a notch
    ],
)
def test_an_envelope_is_read_as_it_stands(tmp_path, corners):
    assert corners == read(tmp_path, corners)


@pytest.mark.parametrize(
    ("corners", "found"),
    [
        ((SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]), "touches or crosses itself"),
        ((*SQUARE, SQUARE[0]), "has corner 5 twice"),
        (((5.0, 30.0), (6.0, 31.0), (7.0, 32.0)), "encloses nothing"),
        ((*SQUARE[:2], (5.0, 37.0), *SQUARE[2:]), "turns back on itself"),
        ((*SQUARE[:2], (7.0, 30.0), *SQUARE[2:]), "touches or crosses itself"),
        ((*SQUARE[:2], (7.0, 29.0), *SQUARE[2:]), "touches or crosses itself"),
    ],
)
def test_an_envelope_that_encloses_no_single_area_is_refused(tmp_path, corners, found):
    with pytest.raises(TeamFileError, match=found) as caught:
        read(tmp_path, corners)
    assert "[balance] envelope" in caught.value.where


@given(st.integers(3, 12), st.integers(0, 2**32), st.booleans())
def test_what_runs_once_round_a_middle_is_an_envelope_and_swapped_corners_are_none(
    tmp_path_factory, count, seed, backwards
):
    chance = random.Random(seed)
    angles = [2 * math.pi * (n + 0.9 * chance.random()) / count for n in range(count)]
    radii = [chance.uniform(0.5, 2.0) for _ in range(count)]
    corners = tuple(
        (round(5 + r * math.cos(a), 6), round(35 + r * math.sin(a), 6))
        for a, r in zip(angles, radii, strict=True)
    )
    corners = corners[::-1] if backwards else corners
    root = tmp_path_factory.mktemp("files")

    assert corners == read(root, corners)
