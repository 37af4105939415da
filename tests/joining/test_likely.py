"""The quick way through very many recordings finds what comparing each with each finds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flightlog.estimation.correlation import Trace
from flightlog.joining import group
from flightlog.joining.sketch import Sketch, sketch
from flightlog.recording import UtcRelation
from tests.joining import pairwise
from tests.joining.made import NOON, card, cut, digest, logger, one_flight

DAY_S = 86_400.0


@pytest.fixture(scope="module")
def flights():
    """Sketches of three flights: on board in full and in part, a second logger, a card."""
    found = []
    for seed in (1, 2, 3):
        story = one_flight(seed)
        whole = logger(story, f"{seed}.bin")
        found.append(
            [
                sketch(whole),
                sketch(cut(whole, 0.0, 150.0, f"{seed} early.bin")),
                sketch(logger(story, f"{seed} second.bin", clock_s=37.0, seed=5)),
                sketch(card(story, f"{seed}.csv", clock_s=11.0)),
            ]
        )
    return found


def moved(one: Sketch, rng: np.random.Generator) -> Sketch:
    """Give a recording another day, another clock or another place, or take something from it."""
    by_s = float(rng.choice([0.0, 0.0, 5.0, 40.0, 900.0, DAY_S, 3 * DAY_S]))
    utc = one.utc
    match int(rng.integers(8)):
        case 0:
            utc = UtcRelation()  # it tells none
        case 1:
            utc = replace(utc, offset_s=by_s, std_s=0.5)  # never set
        case 2:
            utc = replace(utc, offset_s=NOON + by_s, zone_known=False, std_s=60.0)
        case 3:
            utc = replace(utc, offset_s=NOON + by_s, std_s=float(rng.choice([0.0, 30.0, 400.0])))
        case 4:
            utc = replace(utc, offset_s=float(rng.choice([np.inf, np.nan])))
        case _:
            utc = replace(utc, offset_s=(utc.offset_s or 0.0) + by_s)
    shift = float(rng.choice([0.0, 0.0, 0.0, 0.01, 0.03]))
    latitude = replace(one.latitude_deg, value=one.latitude_deg.value + shift)
    one = replace(one, utc=utc, latitude_deg=latitude)
    nothing = Trace("", np.empty(0), np.empty(0))
    match int(rng.integers(8)):
        case 0:
            one = replace(one, latitude_deg=nothing, longitude_deg=nothing)
        case 1:
            one = replace(one, start_s=np.nan, end_s=np.nan)  # no sensor was recorded
            if rng.random() < 0.5:
                traces = ("latitude_deg", "longitude_deg", "speed", "height")
                one = replace(one, **dict.fromkeys(traces, nothing))
        case 2:
            one = replace(one, speed=nothing, height=nothing)
        case 3:
            clock = float(rng.choice([0.4, 2.0]))  # rows that begin later, of the same clock
            one = replace(one, start_s=one.start_s + clock)
    return one


def with_files(sketches, rng, folder):
    """Give recordings files, some of which begin as others do, or are the beginning of others."""
    whole = [rng.bytes(200_000) for _ in range(2)]
    for number, one in enumerate(sketches):
        if rng.random() < 0.2:
            continue  # there is no file any more
        size = int(rng.choice([0, 1, 3, 511, 512, 4000, 65_535, 65_536, 70_000, 200_000]))
        data = whole[int(rng.integers(2))][:size]
        if rng.random() < 0.3:
            data = data[: size // 2] + rng.bytes(size - size // 2)
        path = folder / f"{number}.bin"
        path.write_bytes(data)
        claimed = size + int(rng.random() < 0.1)  # it has grown since
        sketches[number] = replace(one, path=path, size=claimed)
    return sketches


@pytest.mark.parametrize("seed", range(6))
def test_flights_and_copies_are_those_of_comparing_each_with_each(flights, tmp_path, seed):
    rng = np.random.default_rng(seed)
    sketches = []
    for number in range(18):
        one = flights[int(rng.integers(3))][int(rng.integers(4))]
        same = rng.random() < 0.1
        sha256 = one.sha256 if same else digest(str(number))
        sketches.append(replace(moved(one, rng), sha256=sha256, size=one.size + number % 3))
    if seed % 2:
        sketches = with_files(sketches, rng, tmp_path)

    found, expected = group(sketches), pairwise.group(sketches)

    assert repr(expected) == repr(found)  # which tells all, and takes two NaN for the same
    assert expected.copies or any(one.partners for one in expected.groups)


def test_very_many_recordings_are_not_compared_each_with_each(flights, monkeypatch, tmp_path):
    """A season of a flight a day, whose logs begin alike as those of one autopilot do."""
    asked = []

    def counted(name):
        whole = getattr(pairwise.grouping, name)
        monkeypatch.setattr(
            pairwise.grouping, name, lambda *given: asked.append(name) or whole(*given)
        )

    for name in ("match", "is_beginning", "has_rows_of"):
        counted(name)
    rng = np.random.default_rng(7)
    one, head = flights[0][0], rng.bytes(1000)
    sketches = []
    for day in range(150):
        path = tmp_path / f"{day}.bin"
        path.write_bytes(head + rng.bytes(2000 + day))
        utc = replace(one.utc, offset_s=NOON + day * DAY_S)
        sketches.append(
            replace(
                one,
                file=path.name,
                sha256=digest(path.name),
                size=3000 + day,
                path=path,
                utc=utc,
            )
        )

    found = group(sketches)

    assert 150 == len(found.groups)
    assert not asked
